"""What stopped the work is not forgotten when another value is told: a person records what was done about it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from jobs import decisions
from jobs.add import Typed, add
from jobs.book import new_job
from jobs.bundle import pack, unpack
from jobs.findings import check_job
from jobs.senses import senses
from jobs.stops import undealt
from jobs.store import Store
from schemas.errors import WrongUse


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "home") as store:
        new_job(store, sheet="gas-boiler-start-up", site="Mill", technician="Ada", units="us")
        yield store


def stops(store: Store, *lines: str) -> list[str]:
    """The stops that stand after some typed lines, by rule."""
    add(store, "job-1", [Typed(line) for line in lines], senses=senses(), author="Ada")
    job = check_job(store, "job-1")
    return [one.finding.rule for one in undealt(job, job.findings)]


@pytest.mark.parametrize(
    ("first", "then", "stop"),
    [
        ("Ambient CO is forty.", "Ambient CO is two now.", "ambient_co_35"),
        ("Flame failure test failed.", "Flame failure test passed.", "device_failed"),
    ],
)
def test_a_stop_that_another_value_took_away_is_still_to_be_dealt_with(
    store: Store, first: str, then: str, stop: str
) -> None:
    assert stops(store, first, then) == [stop]
    job = check_job(store, "job-1")
    with pytest.raises(WrongUse, match="over a stop"):
        decisions.close(store, "job-1", by="Ada", why="done")
    (one,) = undealt(job, job.findings)
    assert "Another value was told since" in one.finding.text
    decisions.stop_dealt_with(store, "job-1", one.open, what="aired, cause found", by="Ada")
    assert decisions.close(store, "job-1", by="Ada", why="the rest is another visit").closed is not None


@pytest.mark.parametrize(
    "lines",
    [
        ("Ambient CO is forty.", "No, correction, ambient CO is four."),  # the first was never measured
        ("Ambient CO is two.", "Ambient CO is three now."),
    ],
)
def test_what_never_stopped_the_work_is_none(store: Store, lines: tuple[str, ...]) -> None:
    assert stops(store, *lines) == []


def test_a_stop_that_grew_is_told_once(store: Store) -> None:
    assert stops(store, "Ambient CO is forty.", "Ambient CO is fifty now.") == ["ambient_co_35"]


@pytest.mark.parametrize("mark", ["\u2028", "\u2029", "\x85", "\x0b", "\x1e"])
def test_a_job_whose_words_hold_a_mark_of_line_end_is_packed_and_unpacked(
    store: Store, tmp_path: Path, mark: str
) -> None:
    add(store, "job-1", [Typed("High fire CO2 is nine one.")], senses=senses(), author="Ada")
    job = check_job(store, "job-1")
    decisions.leave_out(store, "job-1", next(iter(job.rows)), by="Ada", why=f"one{mark}two")
    with (tmp_path / "job.zip").open("wb") as file:
        pack(store, "job-1", file)
    with Store(tmp_path / "other") as other:
        unpack(other, tmp_path / "job.zip")
        assert other.rows("job-1") == store.rows("job-1")


def test_stops_of_one_cause_are_dealt_with_at_once(store: Store) -> None:
    told = stops(store, "I can smell gas.", "High fire. CO2 is nine four.", "CO is pegged.")
    assert sorted(told) == ["flue_co_350", "flue_co_air_free_400", "flue_co_air_free_400", "gas_smell"]
    job = check_job(store, "job-1")
    smell = next(one for one in undealt(job, job.findings) if one.finding.rule == "gas_smell")
    pegged = next(one for one in undealt(job, job.findings) if one.finding.rule == "flue_co_350")
    assert (smell.together, len(pegged.together)) == (smell.open, 3)
    with pytest.raises(WrongUse, match="no longer has that stop"):
        decisions.stop_dealt_with(store, "job-1", (*smell.open, *pegged.open), what="aired", by="Ada")
    decisions.stop_dealt_with(store, "job-1", pegged.together, what="shut off, burner looked at", by="Ada")
    job = check_job(store, "job-1")
    assert [one.finding.rule for one in undealt(job, job.findings)] == ["gas_smell"]


@pytest.mark.parametrize(
    ("lines", "left"),
    [
        (("There's gas in here.", "No, there's no smell of gas."), []),
        (("There's gas in here.", "Static pressure is seven inches.", "I don't smell gas."), []),
        (("There's gas in here.", "No."), ["gas_smell"]),  # a bare no may be of anything
        (("There's gas in here.", "No alarm is going off."), ["gas_smell"]),
        (("There's gas in here.", "One.", "Two.", "No smell of gas."), ["gas_smell"]),
        (
            ("I smell gas in here.", "No, there's no smell of gas."),
            ["gas_smell"],
        ),  # said for sure: somebody deals with it
    ],
)
def test_a_stop_that_only_may_have_been_said_is_denied_by_name(
    store: Store, lines: tuple[str, ...], left: list[str]
) -> None:
    assert stops(store, *lines) == left
    told = [one for one in check_job(store, "job-1").findings if one.rule == "gas_smell"]
    assert [one.verdict for one in told] == ["stop" if left else "look again"]
    assert left or "denied right after it" in told[0].text
