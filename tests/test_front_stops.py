"""``sayback stops``: a technician records by name what was done about stops that are listed, and about no other."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from front.office.people import Accounts, Person

Command = Callable[..., tuple[int, str, str]]


def listed(sayback: Command, job: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(sayback("stops", job, "--json")[1])["stops"]
    return found


@pytest.fixture
def smelt(sayback: Command, job: str) -> str:
    """The job t1, where gas was smelt too, and CO that is high as measured and air-free."""
    sayback("add", job, "--text", "I can smell gas in here.", "--text", "CO at low fire is five hundred.")
    return job


def test_what_was_done_covers_the_stops_of_one_cause_and_leaves_the_others(sayback: Command, smelt: str) -> None:
    code, printed, _ = sayback("stops", smelt)
    assert code == 1
    marks = {one["finding"]["rule"]: one["mark"] for one in listed(sayback, smelt)}
    assert marks["flue_co_limit"] == marks["flue_co_air_free_400"] != marks["gas_smell"]
    assert f"--about {marks['flue_co_limit']} --done WHAT --by NAME" in printed
    what = ("--about", marks["flue_co_limit"], "--done", "shut off, burner looked at")
    code, printed, _ = sayback("stops", smelt, *what, "--by", "Una Farrow")
    assert code == 1
    assert "What was done: shut off, burner looked at (Una Farrow, " in printed
    assert [one["finding"]["rule"] for one in listed(sayback, smelt) if one["open"]] == ["gas_smell"]
    assert sayback("stops", smelt, *what, "--by", "Una Farrow")[0] == 2  # there is no such stop any more
    assert "sayback stops t1" in sayback("check", smelt)[1]
    code, _, _ = sayback(
        "stops", smelt, "--about", marks["gas_smell"], "--done", "supplier called", "--by", "Una Farrow"
    )
    assert code == 0
    assert "To record what was done" not in sayback("check", smelt)[1]


def test_what_came_since_the_list_was_seen_is_not_dealt_with(sayback: Command, smelt: str) -> None:
    (mark,) = {one["mark"] for one in listed(sayback, smelt) if one["finding"]["rule"] == "gas_smell"}
    sayback("add", smelt, "--text", "I still smell gas in here.")
    code, _, told = sayback("stops", smelt, "--about", mark, "--done", "aired", "--by", "Una Farrow")
    assert (code, "as it was listed" in told) == (2, True)
    assert all(one["open"] for one in listed(sayback, smelt))


def test_a_job_without_stops_has_nothing_to_list(sayback: Command, job: str) -> None:
    assert sayback("stops", job) == (0, "Nothing stops the work on job t1.\n", "")


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--done", "aired"), "both which stop and what was done"),
        (("--done", " ", "--by", "Una Farrow"), "blanks tell nobody"),
        (("--done", "a\x1b[31mred", "--by", "Una Farrow"), "cannot be printed"),
        (("--done", "aired", "--about", "1", "--by", "Una Farrow"), "no stop '1'"),
        (("--done", "aired", "--by", "x" * 61), "A name has"),
        (("--done", "aired"), "by name"),
        (("--done", "aired", "--by", "Ines Pell"), "the technician's word"),
    ],
)
def test_wrong_use_is_one_sentence_and_records_nothing(
    sayback: Command, smelt: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: tuple[str, ...], told: str
) -> None:
    """Who is known as a clerk at the office's page records nothing about a stop here either."""
    monkeypatch.delenv("SAYBACK_BY", raising=False)
    accounts = Accounts(tmp_path / "store")
    accounts.note(Person("Ines Pell", "clerk"))
    accounts.close()
    about = () if "which" in told else ("--about", listed(sayback, smelt)[0]["mark"])
    code, _, error = sayback("stops", smelt, *about, *more)
    assert (code, told in error) == (2, True)
    assert all(one["open"] for one in listed(sayback, smelt))
