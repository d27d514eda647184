"""What stopped the work is not forgotten when another value is told: a person records what was done about it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from front.check import is_open, print_findings
from front.voice.news import stops_of
from jobs import decisions
from jobs.add import Typed, add
from jobs.book import NewAppliance, new_job, sheet_of
from jobs.bundle import pack, unpack
from jobs.findings import check_job
from jobs.senses import senses
from jobs.stops import undealt
from jobs.store import Store
from schemas.errors import WrongUse
from schemas.findings import NotApplicable
from schemas.questions import Candidate


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
    assert one.finding.past
    assert "This stood:" in one.finding.text
    assert "Told since:" in one.finding.text
    decisions.stop_dealt_with(store, "job-1", one.open, what="aired, cause found", by="Ada")
    assert decisions.close(store, "job-1", by="Ada", why="the rest is another visit").closed is not None


@pytest.mark.parametrize("again", ["start is twelve", "end is fifteen"])
def test_a_fall_in_a_closed_pipe_stays_to_be_dealt_with_when_a_pressure_is_read_again(
    tmp_path: Path, again: str
) -> None:
    with Store(tmp_path / "pipe") as store:
        new_job(store, sheet="gas-tightness-test", site="Mill", technician="Ada", units="us")
        told = "Test pressure at the {} point oh psi, pipe temperature at the {} is seventy degrees."
        fell = (told.format("start is fifteen", "start"), told.format("end is twelve", "end"))
        assert stops(store, *fell, f"Test pressure at the {again} point oh psi now.") == ["drop_beyond_cooling"]
        job = check_job(store, "job-1")
        (one,) = undealt(job, job.findings)
        assert one.finding.past
        assert "is 3.0 psi below 15.0 psi at the start" in one.finding.text
        with pytest.raises(WrongUse, match="over a stop"):
            decisions.close(store, "job-1", by="Ada", why="done")


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


HIGH = "High fire. CO2 is eight point three, O2 six point one, CO forty-one."
OVER = (
    "Half a turn clockwise on the high-fire screw.",
    "CO2 is nine point nine, O2 three point three, CO five hundred.",
)
BACK = (
    "A quarter turn counterclockwise on the high-fire screw.",
    "CO2 is nine point two, O2 four point five, CO sixty.",
)


def test_a_stop_on_the_way_of_a_tuning_is_dealt_with_by_one_entry(store: Store) -> None:
    told = stops(store, HIGH, *OVER, *BACK)
    assert sorted(told) == ["flue_co_350", "flue_co_air_free_400", "flue_co_ratio"]
    job = check_job(store, "job-1")
    first = undealt(job, job.findings)[0]
    assert "CO, high fire is 500 ppm. Told since: CO, high fire, after the adjustment 60 ppm." in "".join(
        one.finding.text for one in undealt(job, job.findings)
    )
    decisions.stop_dealt_with(store, "job-1", first.together, what="turned back", by="Ada")
    assert stops(store, *OVER[:1], "CO2 is nine point eight.") == []
    assert "flue_co_350" in stops(store, "CO is four hundred and fifty.")


def test_what_stood_before_is_not_said_aloud_again(store: Store) -> None:
    stops(store, HIGH, *OVER)
    before = check_job(store, "job-1")
    sheet = sheet_of(store, before.head)
    stops(store, *BACK)
    after = check_job(store, "job-1")
    assert stops_of(before, after, sheet) == ()
    stops(store, "Another half turn clockwise on the high-fire screw.", "CO is six hundred.")
    again = [words for rule, words, _ in stops_of(after, check_job(store, "job-1"), sheet) if rule == "flue_co_350"]
    assert len(again) == 1
    assert "Shut the appliance off." in again[0]


def test_stops_that_took_each_other_s_place_are_told_in_one_line(store: Store) -> None:
    less = ("An eighth of a turn counterclockwise on the high-fire screw.", "CO2 is nine point eight, CO four hundred.")
    stops(store, HIGH, *OVER, *less, *BACK)
    job = check_job(store, "job-1")
    lines = {one.finding.rule: one for one in undealt(job, job.findings)}
    assert "CO, high fire is 400 ppm. Told since:" in lines["flue_co_350"].finding.text
    assert lines["flue_co_350"].finding.text.endswith("Before: 500 ppm.")
    assert len(lines["flue_co_350"].open) == 2
    assert len({one.together for one in lines.values()}) == len(lines)
    assert len({frozenset(one.together) for one in lines.values()}) == 1


def test_a_stop_that_was_dealt_with_stays_so_when_a_screw_is_turned(store: Store) -> None:
    assert stops(store, "High fire. O2 is four point oh. CO is five hundred.")
    job = check_job(store, "job-1")
    decisions.stop_dealt_with(store, "job-1", undealt(job, job.findings)[0].together, what="shut off", by="Ada")
    assert stops(store, *BACK) == []  # as found it stands, and with it what was done about it


@pytest.mark.parametrize(
    ("lines", "left"),
    [
        (
            ("Static is fifteen inches.", "Static has changed, now seven point five inches."),
            ["inlet_pressure_too_high"],
        ),
        (
            ("High fire. O2 six point one, CO three hundred and forty.", "CO is now sixty."),
            ["flue_co_air_free_400", "flue_co_limit"],
        ),
        (("It is running on propane.", "Running on natural gas."), ["wrong_gas"]),
        (("It is running on propane.", "No, natural gas."), []),
    ],
)
def test_what_stood_is_judged_by_the_appliance_s_limits_and_with_its_row(
    tmp_path: Path, lines: tuple[str, ...], left: list[str]
) -> None:
    with Store(tmp_path / "other") as store:
        boiler = NewAppliance("boiler", file="orrinvale-ov-240c")
        new_job(store, sheet="gas-boiler-start-up", site="Mill", technician="Ada", units="us", appliances=[boiler])
        assert sorted(set(stops(store, *lines))) == left


def test_check_shows_what_was_done_and_by_whom(store: Store, capsys: pytest.CaptureFixture[str]) -> None:
    assert stops(store, "Ambient CO is forty.")
    told = "Stop work and see to this first (1)"
    job = check_job(store, "job-1")
    print_findings(job, job.findings)
    assert told in capsys.readouterr().out
    decisions.stop_dealt_with(store, "job-1", undealt(job, job.findings)[0].open, what="aired", by="Ada")
    job = check_job(store, "job-1")
    print_findings(job, job.findings)
    printed = capsys.readouterr().out
    assert told not in printed
    assert "Stopped the work, and was dealt with (1)" in printed
    assert "What was done: aired (Ada, " in printed
    assert is_open(job)
    assert not is_open(replace(job, findings=tuple(one for one in job.findings if one.verdict == "stop")))


@pytest.mark.parametrize("blank", ["", "   ", "\t"])
def test_blanks_say_nothing_of_what_was_done(store: Store, blank: str) -> None:
    assert stops(store, "Ambient CO is forty.") == ["ambient_co_35"]
    job = check_job(store, "job-1")
    with pytest.raises(WrongUse, match="what was done"):
        decisions.stop_dealt_with(store, "job-1", undealt(job, job.findings)[0].open, what=blank, by="Ada")


def test_blanks_are_no_reason_why_something_does_not_apply(store: Store) -> None:
    with pytest.raises(WrongUse, match="needs a reason"):
        decisions.does_not_apply(
            store, "job-1", NotApplicable(appliance="boiler", quantity="sample_line", reason="  "), by="Ada"
        )


FIVE_HUNDRED = "High fire. CO is five hundred."


@pytest.mark.parametrize(
    ("lines", "stays"),
    [
        ((FIVE_HUNDRED, "Scratch that last CO."), True),
        ((FIVE_HUNDRED, "Scratch that.", "Low fire. CO is fifty."), True),
        ((FIVE_HUNDRED, "Scratch that. CO is fifty."), False),
        ((FIVE_HUNDRED, "Scratch that.", "CO is fifty."), False),
        (("High fire. CO is five hundred, no, fifty.",), False),
    ],
)
def test_a_stop_is_not_lifted_by_taking_its_value_back(store: Store, lines: tuple[str, ...], stays: bool) -> None:
    assert ("flue_co_350" in stops(store, *lines)) is stays


def test_a_stop_is_not_lifted_by_leaving_its_value_out(store: Store) -> None:
    assert stops(store, FIVE_HUNDRED)
    key = next(row.reading.id for row in check_job(store, "job-1").rows.values() if row.reading.quantity == "co")
    decisions.leave_out(store, "job-1", key, by="Ada", why="typo")
    assert "It was left out by Ada: typo." in undealt(job := check_job(store, "job-1"), job.findings)[0].finding.text


def test_a_value_that_a_person_put_right_before_it_was_read_again_was_no_stop(store: Store) -> None:
    assert stops(store, FIVE_HUNDRED)
    job = check_job(store, "job-1")
    one = next(row.reading for row in job.rows.values() if row.reading.quantity == "co")
    right = Candidate(
        reading=one.id, quantity="co", condition="high_fire", value="50", unit="[ppm]", appliance="boiler"
    )
    decisions.edit(store, "job-1", right, by="Ada", why="misheard")
    assert stops(store, "CO is now sixty.") == []


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


def test_the_stops_of_two_appliances_are_dealt_with_one_by_one(tmp_path: Path) -> None:
    with Store(tmp_path / "two") as store:
        two = (NewAppliance("boiler 1"), NewAppliance("boiler 2"))
        new_job(store, sheet="gas-boiler-start-up", site="Mill", technician="Ada", units="us", appliances=two)
        stops(store, "Boiler one high fire CO is five hundred, boiler two high fire CO is six hundred.")
        job = check_job(store, "job-1")
        marks = {(one.finding.appliance, one.mark) for one in undealt(job, job.findings)}
        assert len(marks) == 2
        assert {tag for tag, _ in marks} == {"boiler 1", "boiler 2"}
        first = undealt(job, job.findings)[0]
        decisions.stop_dealt_with(store, "job-1", first.together, what="shut off", by="Ada")
        job = check_job(store, "job-1")
        assert {one.finding.appliance for one in undealt(job, job.findings)} == {"boiler 2"}


ZEROED = ("The analyzer won't zero.", "Zero check failed.")
FLUE = "High fire CO2 is nine, CO sixty."


@pytest.mark.parametrize(
    ("lines", "within"),
    [
        ((ZEROED[1], FLUE, "Zero check passed."), set()),
        ((FLUE, ZEROED[1], "Zero check passed."), set()),  # nor does it say since when it was off
        ((ZEROED[1], FLUE, "Zero check passed.", "High fire CO2 is nine now."), {"co2"}),
        ((ZEROED[1], FLUE, "Zero check passed.", "High fire CO is sixty two now."), {"co"}),
        ((ZEROED[1], FLUE, "Zero check passed.", "No, correction, CO2 is nine point one."), set()),
        ((ZEROED[1], "Zero check passed.", FLUE), {"co2", "co"}),
        ((ZEROED[0], FLUE), set()),
        ((ZEROED[0], FLUE, "Zero check passed.", FLUE.replace("CO sixty", "CO is sixty")), {"co2", "co"}),
        (("Zero check passed.", FLUE), {"co2", "co"}),
    ],
)
def test_what_was_read_while_the_analyser_was_off_is_within_nothing_until_it_is_read_again(
    tmp_path: Path, lines: tuple[str, ...], within: set[str]
) -> None:
    with Store(tmp_path / "off") as store:
        ours = (NewAppliance("boiler", file="orrinvale-ov-240c"),)
        new_job(store, sheet="gas-boiler-start-up", site="Mill", technician="Ada", units="us", appliances=ours)
        stops(store, *lines)
        job = check_job(store, "job-1")
        for one in undealt(job, job.findings):
            decisions.stop_dealt_with(store, "job-1", one.open, what="another analyser", by="Ada")
        found = [one for one in check_job(store, "job-1").findings if one.rule == "limit"]
        assert {one.quantity for one in found if one.verdict == "within"} == within
        assert {one.verdict for one in found} <= {"within", "cannot tell"}


def test_what_is_said_of_something_else_in_one_breath_has_its_own_mark(store: Store) -> None:
    assert set(stops(store, "I can smell gas, and high fire CO is five hundred.")) > {"gas_smell"}
    job = check_job(store, "job-1")
    smell = next(one for one in undealt(job, job.findings) if one.finding.rule == "gas_smell")
    assert smell.together == smell.open


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


@pytest.mark.parametrize(
    ("line", "rules"),
    [
        ("Ambient CO is over range.", {"ambient_co_200"}),
        ("Room CO is off the scale.", {"ambient_co_200"}),
        ("Ambient CO is two, flue CO is over range.", {"flue_co_350", "flue_co_air_free_400"}),
        (
            "Ambient CO is over range and flue CO is over range.",
            {"ambient_co_200", "flue_co_350", "flue_co_air_free_400"},
        ),
        ("Forty five parts in the plant room.", {"ambient_co_35"}),
        ("Ambient forty five parts.", {"ambient_co_35"}),
        ("High fire. Forty five parts.", set()),
    ],
)
def test_whose_co_it_is(store: Store, line: str, rules: set[str]) -> None:
    assert set(stops(store, line)) == rules
