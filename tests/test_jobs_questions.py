"""What is asked, how it is put, and what answers, edits and undo make of it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

import extract
from jobs import decisions
from jobs.add import Typed, add
from jobs.book import NewAppliance, job_of, new_job, sheet_of
from jobs.findings import check_job
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.stops import stops_of, undealt
from jobs.store import Store
from schemas.doubts import Doubt, DoubtKind
from schemas.errors import BadInput, WrongUse
from schemas.findings import NotApplicable
from schemas.questions import Candidate, Question
from schemas.readings import Alternative, Reading, Record, Source
from tests import jobs_doubles as doubles
from tests.jobs_doubles import NOON, Ears, photo, sound


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    doubles.install(lambda where, name, what: monkeypatch.setattr(where, name, what, raising=False))
    sheet = tmp_path / "plain.toml"
    sheet.write_text(doubles.SHEET)
    with Store(tmp_path / "home", clock=doubles.ticking()) as store:
        for tags in (["boiler"], ["number one", "number two"]):
            new_job(
                store,
                sheet=str(sheet),
                site="Mill",
                technician="Ada",
                units="us",
                appliances=[NewAppliance(tag) for tag in tags],
            )
        yield store


def give(store: Store, folder: Path, *files: bytes, number: str = "job-1") -> Job:
    paths = []
    for data in files:
        paths.append(folder / doubles.sha_of(data)[:6])
        paths[-1].write_bytes(data)
    return add(store, number, paths, senses=Ears().senses(), author="Ada").job


def questions(store: Store, number: str = "job-1") -> tuple[Question, ...]:
    job = job_of(store, number)
    return open_questions(job, sheet_of(store, job.head))


def say(store: Store, readings: list[Reading], monkeypatch: pytest.MonkeyPatch, number: str = "job-1") -> None:
    """Let extraction find these readings in a typed line."""

    def step(utterance: object, at: float, context: doubles.Context, grammar: object) -> object:
        found = tuple(Record(reading=reading) for reading in readings)
        return replace(context, readings=extract.apply(found, context.readings)), found

    monkeypatch.setattr("extract.step", step)
    monkeypatch.setattr("jobs.extraction._last", deque(maxlen=1))
    add(store, number, [Typed("talk")], senses=Ears().senses(), author="Ada")


def reading(key: str = "r1", **changes: Any) -> Reading:
    given: dict[str, Any] = {
        "id": key,
        "quantity": "co2",
        "condition": "high_fire",
        "value": "9.2",
        "unit": "%",
        "source": Source(evidence="0" * 64, utterance=0, start=1.0, end=2.0, heard="nine two"),
    }
    return Reading.model_validate(given | changes)


def doubt(kind: DoubtKind, detail: str = "") -> tuple[Doubt, ...]:
    return (Doubt(kind=kind, detail=detail),)


def test_an_impossible_pair_is_one_question(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    pair = [
        reading(doubts=doubt(DoubtKind.RELATION), asked_with="r2", alternatives=(Alternative(value="8.2"),)),
        reading("r2", quantity="o2", doubts=doubt(DoubtKind.RELATION), asked_with="r1"),
    ]
    say(store, pair, monkeypatch)
    (one,) = questions(store)
    assert one.text == "High fire: CO2 9.2 % and O2 9.2 % cannot both be right. Which one stands?"
    assert [(c.quantity, c.value) for c in one.candidates] == [("co2", "9.2"), ("o2", "9.2"), ("co2", "8.2")]
    assert one.quantities == ("co2", "o2")


def test_another_value_for_one_of_a_pair_lets_the_other_stand(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    pair = [
        reading(doubts=doubt(DoubtKind.RELATION), asked_with="r2", alternatives=(Alternative(value="8.2"),)),
        reading("r2", quantity="o2"),
    ]
    say(store, pair, monkeypatch)
    (one,) = questions(store)
    at = job_of(store, "job-1").position
    settled = decisions.settled_by(one, one.candidates[2])
    job = decisions.answer(store, "job-1", one, asked_at=at, by="Ada", how="chosen", settled=settled)
    assert [(r.reading.value, r.how, r.by) for r in job.rows.values()] == [
        ("8.2", "answered", "Ada"),
        ("9.2", "answered", "Ada"),
    ]
    assert questions(store) == ()


def test_saying_that_one_of_a_pair_was_right_drops_the_other(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    pair = [
        reading(doubts=doubt(DoubtKind.RELATION), asked_with="r2"),
        reading("r2", quantity="o2", doubts=doubt(DoubtKind.RELATION)),
    ]
    say(store, pair, monkeypatch)
    (one,) = questions(store)
    settled = decisions.settled_by(one, one.candidates[0])
    at = job_of(store, "job-1").position
    job = decisions.answer(store, "job-1", one, asked_at=at, by="Ada", how="chosen", settled=settled)
    assert list(job.rows) == ["r1"]
    assert [(row.reading.id, row.how, row.history[-1].what) for row in job.gone] == [
        ("r2", "dropped", "answered as wrong")
    ]


@pytest.mark.parametrize(
    ("changes", "text", "offered"),
    [
        (
            {"doubts": doubt(DoubtKind.HEARD_UNCLEARLY), "alternatives": (Alternative(value="9.3"),)},
            "High fire: CO2: 9.2 % or 9.3 %?",
            ["9.2", "9.3"],
        ),
        ({"doubts": doubt(DoubtKind.TO_CONFIRM)}, "High fire: CO2 9.2 %. Right?", ["9.2"]),
        ({"doubts": doubt(DoubtKind.HEDGED)}, "High fire: CO2: what is it exactly? Heard: “nine two”.", ["9.2"]),
        (
            {"condition": None, "doubts": doubt(DoubtKind.CONDITION_UNCLEAR)},
            "CO2 9.2 %: high fire or low fire?",
            ["9.2", "9.2"],
        ),
        (
            {
                "quantity": None,
                "doubts": doubt(DoubtKind.QUANTITY_UNCLEAR),
                "alternatives": (Alternative(quantity="o2"), Alternative(quantity="co2")),
            },
            "High fire: 9.2 %: O2 or CO2?",
            ["9.2"] * 6,
        ),
        (
            {"quantity": None, "unit": "[ppm]", "doubts": doubt(DoubtKind.QUANTITY_UNCLEAR)},
            "High fire: 9.2 ppm: what is it?",
            [],
        ),
        (
            {
                "quantity": "inlet_pressure",
                "value": "0.02",
                "unit": "[in_i'H2O]",
                "doubts": doubt(DoubtKind.SIGN_UNCLEAR),
            },
            "High fire: Inlet pressure: 0.02 in. w.c. or -0.02 in. w.c.?",
            ["0.02", "-0.02"],
        ),
        (
            {"quantity": "inlet_pressure", "unit": "mbar", "doubts": doubt(DoubtKind.UNIT_UNCLEAR)},
            "High fire: Inlet pressure: 9.2 mbar or 9.2 in. w.c.?",
            ["9.2", "9.2"],
        ),
        (
            {"phase": "before", "doubts": doubt(DoubtKind.IMPOSSIBLE), "value": "92"},
            "High fire, before the adjustment: CO2 92 % cannot be. What is it?",
            ["92"],
        ),
        (
            {
                "quantity": "fuel",
                "condition": "",
                "unit": "",
                "value": "natural_gas",
                "doubts": doubt(DoubtKind.UNUSUAL),
            },
            "Fuel natural gas is unusual. Is it right?",
            ["natural_gas"],
        ),
    ],
)
def test_questions_in_trade_words(
    store: Store, monkeypatch: pytest.MonkeyPatch, changes: dict[str, Any], text: str, offered: list[str]
) -> None:
    say(store, [reading(**changes)], monkeypatch)
    (one,) = questions(store)
    assert one.text == text
    assert [c.value for c in one.candidates] == offered


@pytest.mark.parametrize("kind", list(DoubtKind))
def test_every_doubt_has_a_short_question(store: Store, monkeypatch: pytest.MonkeyPatch, kind: DoubtKind) -> None:
    say(store, [reading(doubts=doubt(kind, "the particulars"))], monkeypatch)
    (one,) = questions(store)
    assert one.text.startswith("High fire: ")
    assert "?" in one.text
    assert len(one.text) < 120
    assert one.candidates[0].value == "9.2"


def test_the_appliance_is_named_where_there_are_several(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    readings = [
        reading(appliance="number two", doubts=doubt(DoubtKind.TO_CONFIRM)),
        reading("r2", doubts=doubt(DoubtKind.APPLIANCE_UNCLEAR)),
    ]
    say(store, readings, monkeypatch, "job-2")
    first, second = questions(store, "job-2")
    assert first.text == "Number two, high fire: CO2 9.2 %. Right?"
    assert second.text == "High fire: CO2 9.2 %: number one or number two?"
    assert [c.appliance for c in second.candidates] == [None, "number one", "number two"]


def lacking(key: str, quantity: str, value: str, **changes: Any) -> Reading:
    unit = "[degF]" if quantity == "flue_temp" else "%"
    kinds = {"doubts": doubt(DoubtKind.APPLIANCE_UNCLEAR), "quantity": quantity, "value": value, "unit": unit}
    return reading(key, **(kinds | changes))


def test_whose_readings_are_is_asked_once_and_each_keeps_its_condition(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    low = lacking("r4", "co2", "8.4", condition="low_fire")
    readings = [lacking("r1", "co2", "9.2"), lacking("r2", "o2", "4.6"), lacking("r3", "flue_temp", "130"), low]
    say(store, readings, monkeypatch, "job-2")
    (one,) = questions(store, "job-2")
    assert one.text == "High fire CO2 9.2 %, high fire O2 4.6 % and 2 more: number one or number two?"
    second = next(c for c in one.candidates if c.appliance == "number two")
    settled = decisions.settled_by(one, second)
    job = decisions.answer(store, "job-2", one, asked_at=0, by="Ada", how="spoken", settled=settled)
    stand = {(r.reading.quantity, r.reading.condition, r.reading.value) for r in job.rows.values()}
    assert stand == {(one.quantity, one.condition, one.value) for one in readings}
    assert {(row.reading.appliance, row.how) for row in job.rows.values()} == {("number two", "answered")}


def test_a_second_value_or_a_known_appliance_between_begins_another_question(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    known = reading("r3", quantity="o2", value="4.6", appliance="number one")
    readings = [lacking("r1", "co2", "9.2"), lacking("r2", "o2", "4.6"), known, lacking("r4", "flue_temp", "130")]
    say(store, [*readings, lacking("r5", "flue_temp", "135"), lacking("r6", "co2", "9.0")], monkeypatch, "job-2")
    assert [one.readings for one in questions(store, "job-2")] == [("r1", "r2"), ("r4",), ("r5", "r6")]


def test_what_was_said_in_one_breath_is_asked_once_for_its_condition(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    unclear = {"doubts": doubt(DoubtKind.CONDITION_UNCLEAR), "condition": None}
    another = {"source": Source(evidence="0" * 64, utterance=1, start=3.0, end=4.0, heard="one thirty")}
    readings = [lacking("r1", "co2", "9.2", **unclear), lacking("r2", "o2", "4.6", **unclear)]
    say(store, [*readings, lacking("r3", "flue_temp", "130", **unclear, **another)], monkeypatch)
    both, alone = questions(store)
    assert (both.readings, alone.readings) == (("r1", "r2"), ("r3",))
    assert both.text == "CO2 9.2 % and O2 4.6 %: high fire or low fire?"
    low = next(c for c in both.candidates if c.condition == "low_fire")
    job = decisions.answer(store, "job-1", both, asked_at=0, by="Ada", how="chosen", settled=[low])
    stand = [(row.reading.quantity, row.reading.condition, row.reading.value) for row in job.rows.values()]
    assert stand[:2] == [("co2", "low_fire", "9.2"), ("o2", "low_fire", "4.6")]


def test_three_readings_at_most_in_one_question(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    chain = [reading(f"r{i}", doubts=doubt(DoubtKind.CONFLICT), asked_with=f"r{i + 1}") for i in range(5)]
    say(store, chain, monkeypatch)
    assert [len(one.readings) for one in questions(store)] == [3, 2]


def test_of_two_sources_the_chosen_one_stands(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 high_fire co2 9.3 %"], NOON), photo(["high_fire co2 9.8 %"], NOON))
    (one,) = questions(store)
    assert one.text == "High fire: 9.3 % was said and a photo shows 9.8 %. Which one stands?"
    shown = next(c for c in one.candidates if c.value == "9.8")
    at = job_of(store, "job-1").position
    settled = decisions.settled_by(one, shown)
    job = decisions.answer(store, "job-1", one, asked_at=at, by="Ada", how="chosen", settled=settled)
    assert [(r.reading.value, r.how) for r in job.rows.values()] == [("9.8", "answered")]


def settle(store: Store, question: Question, value: str, by: str = "Ada", *, sure: bool = False) -> Job:
    given = question.candidates[0].model_copy(update={"value": value})
    at = job_of(store, "job-1").position
    return decisions.answer(store, "job-1", question, asked_at=at, by=by, how="typed", settled=[given], sure=sure)


def test_a_stale_answer_is_refused_and_says_what_changed(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 high_fire co2 9.3 % ?heard unclearly"], NOON))
    (one,) = questions(store)
    at = job_of(store, "job-1").position
    settle(store, one, "9.2", "Bo")
    with pytest.raises(WrongUse, match=r"high fire CO2 9\.2 % was answered by Bo"):
        decisions.answer(store, "job-1", one, asked_at=at, by="Ada", how="chosen", settled=[one.candidates[0]])
    assert [r.reading.value for r in job_of(store, "job-1").rows.values()] == ["9.2"]


def test_cannot_tell_leaves_the_reading_out_and_in_sight(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 high_fire co2 9.3 % ?cut off"], NOON))
    (one,) = questions(store)
    at = job_of(store, "job-1").position
    job = decisions.answer(store, "job-1", one, asked_at=at, by="Ada", how="cannot tell")
    assert [r.how for r in job.rows.values()] == ["left out"]
    assert (job.readings, questions(store)) == ((), ())


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"value": "9,3"}, "not a number"),
        ({"value": "1e400"}, "not a number"),
        ({"value": "٩.٣"}, "not a number"),
        ({"unit": "mbar"}, "is given in %, not in mbar"),
        ({"condition": ""}, "is read at high fire, low fire"),
        ({"appliance": "kettle"}, "no appliance 'kettle'"),
        ({"quantity": "nox"}, "no quantity 'nox'"),
    ],
)
def test_an_answer_that_cannot_be_is_refused(store: Store, tmp_path: Path, change: dict[str, str], says: str) -> None:
    give(store, tmp_path, sound(["5 high_fire co2 9.3 % ?cut off"], NOON))
    (one,) = questions(store)
    before = job_of(store, "job-1")
    given = one.candidates[0].model_copy(update=change)
    with pytest.raises(BadInput, match=says):
        decisions.answer(store, "job-1", one, asked_at=before.position, by="Ada", how="typed", settled=[given])
    assert job_of(store, "job-1") == before


def test_a_slip_of_the_hand_is_refused_unless_the_person_is_sure(store: Store, tmp_path: Path) -> None:
    sheet = tmp_path / "ranged.toml"
    ranged = doubles.SHEET.replace('id = "co2"\n', 'id = "co2"\nrange = { possible = ["2", "13.9"] }\n')
    sheet.write_text(ranged)
    new_job(store, sheet=str(sheet), site="Mill", technician="Ada", units="us", number="ranged")
    give(store, tmp_path, sound(["5 high_fire co2 9.3 % ?cut off"], NOON), number="ranged")
    (one,) = questions(store, "ranged")
    given = [one.candidates[0].model_copy(update={"value": "93"})]
    at = job_of(store, "ranged").position
    with pytest.raises(BadInput, match=r"93 % is outside what CO2 can be \(2 to 13\.9 %\)"):
        decisions.answer(store, "ranged", one, asked_at=at, by="Ada", how="typed", settled=given)
    job = decisions.answer(store, "ranged", one, asked_at=at, by="Ada", how="typed", settled=given, sure=True)
    assert [r.reading.value for r in job.rows.values()] == ["93"]


def test_an_edit_has_a_reason_a_history_and_can_be_undone(store: Store, tmp_path: Path) -> None:
    before = give(store, tmp_path, sound(["5 high_fire co2 9.3 %"], NOON))
    (key,) = before.rows
    after = Candidate(reading=key, quantity="co2", condition="low_fire", value="9.3", unit="%")
    with pytest.raises(WrongUse, match="reason"):
        decisions.edit(store, "job-1", after, by="Bo", why=" ")
    job = decisions.edit(store, "job-1", after, by="Bo", why="it was low fire")
    assert [(r.reading.condition, r.how, r.by) for r in job.rows.values()] == [("low_fire", "edited", "Bo")]
    last = job.rows[key].history[-1]
    assert last.before is not None
    assert (last.by, last.why, last.before.condition) == ("Bo", "it was low fire", "high_fire")
    job = decisions.undo(store, "job-1", job.position, by="Bo")
    assert job.rows == before.rows
    with pytest.raises(WrongUse, match="undone already"):
        decisions.undo(store, "job-1", job.position - 1, by="Bo")
    with pytest.raises(WrongUse, match="not an answer"):
        decisions.undo(store, "job-1", 1, by="Bo")


def test_a_reading_can_be_left_out_with_a_reason(store: Store, tmp_path: Path) -> None:
    job = give(store, tmp_path, sound(["5 high_fire co2 9.3 %"], NOON))
    job = decisions.leave_out(store, "job-1", next(iter(job.rows)), by="Bo", why="another site's")
    assert job.readings == ()
    with pytest.raises(WrongUse, match="no reading 'x'"):
        decisions.leave_out(store, "job-1", "x", by="Bo", why="y")


def test_evidence_added_later_never_overrides_a_person(store: Store, tmp_path: Path) -> None:
    """A correction that comes to light after the answer: neither value may stand unasked."""
    give(store, tmp_path, sound(["5 high_fire co2 9.3 % ?heard unclearly"], NOON))
    (one,) = questions(store)
    settle(store, one, "9.2")
    job = give(store, tmp_path, sound(["8 change high_fire co2 9.4 %"], NOON))
    assert [(r.reading.value, r.how) for r in job.rows.values()] == [("9.4", "open")]
    (again,) = questions(store)
    assert again.text == "High fire: CO2 9.4 %. Ada gave 9.2 before this was found. Which one stands?"


def test_an_answer_stands_though_extraction_finds_the_reading_no_longer(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 here co2 9.3 %"], NOON))
    (one,) = questions(store)
    settle(store, one, "9.2")
    job = give(store, tmp_path, sound(["0 now quiet"], NOON))
    assert [(r.reading.value, r.reading.condition, r.how) for r in job.rows.values()] == [
        ("9.2", "high_fire", "answered")
    ]


def test_taken_back_aloud_after_the_answer_is_asked(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 high_fire co2 9.3 % ?cut off"], NOON))
    (one,) = questions(store)
    settle(store, one, "9.2")
    job = give(store, tmp_path, sound(["8 remove high_fire co2"], NOON))
    assert [(r.reading.value, r.how) for r in job.rows.values()] == [("9.2", "open")]
    (again,) = questions(store)
    assert again.text.endswith("Ada gave 9.2, and it was taken back later. Which one stands?")


def test_another_condition_that_comes_to_light_after_the_answer_is_asked(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 here co2 9.3 %"], NOON))
    (one,) = questions(store)
    settle(store, one, "9.2")  # as of high fire, the first candidate
    job = give(store, tmp_path, sound(["0 now low_fire"], NOON))
    assert [(r.reading.condition, r.how) for r in job.rows.values()] == [("high_fire", "open")]


@pytest.mark.parametrize(("said", "how"), [("9.8", "agreed by voice and photo"), ("9.7", "open")])
def test_a_photo_that_was_answered_before_the_talk_was_added(store: Store, tmp_path: Path, said: str, how: str) -> None:
    give(store, tmp_path, photo(["high_fire co2 9.8 % ?reader unsure of a digit"], NOON))
    (one,) = questions(store)
    settle(store, one, "9.8")
    job = give(store, tmp_path, sound([f"5 high_fire co2 {said} %"], NOON))
    assert [(r.reading.value, r.how) for r in job.rows.values()] == [(said, how)]
    assert len(questions(store)) == (how == "open")


def test_a_second_value_in_a_slot_is_asked(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 high_fire co2 9.3 %", "9 none co2 8.7 %"], NOON))
    (one,) = questions(store)
    job = settle(store, one, "8.7")  # the first candidate is high fire, where 9.3 stands already
    assert sorted((r.reading.value, r.how) for r in job.rows.values()) == [("8.7", "open"), ("9.3", "open")]
    (again,) = questions(store)
    assert again.text == "High fire: CO2 9.3 % and CO2 8.7 % were both given. Which one stands?"
    job = settle(store, again, "9.3")
    assert [(r.reading.value, r.how) for r in job.rows.values()] == [("9.3", "answered")]
    assert questions(store) == ()


def test_two_values_that_persons_gave_for_one_slot_are_asked_about_once(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 none co2 9.3 %", "9 none co2 8.7 %"], NOON))
    settle(store, questions(store)[0], "9.3")  # the first candidate of each is high fire
    settle(store, questions(store)[0], "8.7")
    (one,) = questions(store)
    assert [candidate.value for candidate in one.candidates][:2] == ["9.3", "8.7"]
    job = settle(store, one, "8.7")
    assert [(r.reading.value, r.how) for r in job.rows.values()] == [("8.7", "answered")]
    assert questions(store) == ()


def test_an_answer_that_puts_one_value_elsewhere_leaves_the_other(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 high_fire co2 9.3 %", "9 none co2 8.7 %"], NOON))
    settle(store, questions(store)[0], "8.7")
    (one,) = questions(store)
    moved = next(c for c in one.candidates if c.value == "8.7").model_copy(update={"condition": "low_fire"})
    asked_at = job_of(store, "job-1").position
    settled = decisions.settled_by(one, moved)
    job = decisions.answer(store, "job-1", one, asked_at=asked_at, by="Ada", how="typed", settled=settled)
    rows = sorted((r.reading.value, r.reading.condition, r.how) for r in job.rows.values())
    assert rows == [("8.7", "low_fire", "answered"), ("9.3", "high_fire", "taken unasked")]
    assert questions(store) == ()


def test_limits_read_back_are_the_jobs_own(store: Store, tmp_path: Path) -> None:
    job = give(store, tmp_path, sound(["1 limit high_fire co2 8.5 9.0 %", "5 high_fire co2 9.3 %"], NOON))
    assert not any(f.verdict == "outside" for f in job.findings)
    (limit,) = job.limits
    decisions.read_back_limit(store, "job-1", limit.key, agreed=True, by="Ada")
    job = add(store, "job-1", [], senses=Ears().senses(), author="Ada").job
    (outside,) = [f for f in job.findings if f.verdict == "outside"]
    assert outside.limit is not None
    assert (outside.limit.origin.kind, outside.limit.origin.by) == ("quoted", "Ada")
    with pytest.raises(WrongUse, match="no quoted limit"):
        decisions.read_back_limit(store, "job-1", "x", agreed=True, by="Ada")


def test_what_does_not_apply_needs_to_be_on_the_sheet(store: Store) -> None:
    slot = NotApplicable(appliance="boiler", quantity="co2", condition="low_fire", reason="one rate only")
    job = decisions.does_not_apply(store, "job-1", slot, by="Ada")
    assert [(one.reason, one.by) for one in job.not_applicable] == [("one rate only", "Ada")]
    with pytest.raises(WrongUse, match="no quantity 'nox'"):
        decisions.does_not_apply(store, "job-1", slot.model_copy(update={"quantity": "nox"}), by="Ada")


def test_closing_needs_a_reason_where_something_is_open(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 high_fire co2 9.3 % ?cut off"], NOON))
    with pytest.raises(WrongUse, match="1 open"):
        decisions.close(store, "job-1", by="Bo")
    job = decisions.close(store, "job-1", by="Bo", why="customer called off")
    assert job.closed is not None
    assert (job.closed.open, job.closed.why) == (1, "customer called off")
    with pytest.raises(WrongUse, match="closed already"):
        decisions.close(store, "job-1", by="Bo", why="x")
    assert decisions.reopen(store, "job-1", by="Bo", why="a photo came").closed is None


def test_no_reason_closes_over_a_stop(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 alarm gas_smell"], NOON))
    with pytest.raises(WrongUse, match="gas_smell"):
        decisions.close(store, "job-1", by="Bo", why="in a hurry")
    marks = open_stops(store)
    decisions.stop_dealt_with(store, "job-1", marks, what="shut off, supplier called", by="Bo")
    job = decisions.close(store, "job-1", by="Bo")
    assert job.closed is not None
    assert any(finding.verdict == "stop" for finding in job.findings)
    with pytest.raises(WrongUse, match="no longer has that stop"):
        decisions.stop_dealt_with(store, "job-1", ["0" * 16], what="x", by="Bo")


def open_stops(store: Store) -> tuple[str, ...]:
    """The marks of what stops job-1 and nobody has dealt with."""
    job = check_job(store, "job-1")
    return tuple(mark for one in undealt(job, job.findings) for mark in one.open)


def test_what_was_done_about_a_stop_covers_no_later_one(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 alarm gas_smell", "9 alarm gas_smell"], NOON))
    first = open_stops(store)
    assert len(first) == 2  # said twice: told once, dealt with at once
    job = check_job(store, "job-1")
    assert len(stops_of(job, job.findings)) == 1
    decisions.stop_dealt_with(store, "job-1", first, what="union remade", by="Ada")
    assert open_stops(store) == ()
    give(store, tmp_path, sound(["5 alarm gas_smell"], NOON + timedelta(hours=1)))
    (again,) = open_stops(store)
    assert again not in first
    with pytest.raises(WrongUse, match="cannot be closed over a stop"):
        decisions.close(store, "job-1", by="Bo", why="done")
    job = check_job(store, "job-1")
    (one,) = stops_of(job, job.findings)
    assert ([(done.what, done.by) for done in one.done], one.open) == ([("union remade", "Ada")], (again,))


def test_what_came_since_the_page_was_seen_is_not_closed_over(store: Store, tmp_path: Path) -> None:
    seen = job_of(store, "job-1").position
    give(store, tmp_path, sound(["5 high_fire co2 9.3 %"], NOON))
    with pytest.raises(WrongUse, match="has changed since it was shown"):
        decisions.close(store, "job-1", by="Bo", why="done", seen_at=seen)
    assert decisions.close(store, "job-1", by="Bo", seen_at=job_of(store, "job-1").position).closed is not None


def test_a_file_that_is_not_read_to_its_end_is_open(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "broken"
    path.write_bytes(sound(["5 high_fire co2 9.3 %", "9 alarm gas_smell"], NOON))
    add(store, "job-1", [path], senses=Ears(broken="gas_smell").senses(), author="Ada")
    with pytest.raises(WrongUse, match="1 open"):
        decisions.close(store, "job-1", by="Bo")
    job = decisions.close(store, "job-1", by="Bo", why="the rest of the file is damaged")
    assert job.closed is not None
    assert job.closed.open == 1


@pytest.mark.parametrize(
    ("said", "shown", "stands"),
    [
        ("9 % ?cut off", "9.4 %", False),  # the decimal was cut off
        ("10 %", "9.6 %", False),  # the same only at the coarser precision
        ("9.3 % ?heard unclearly", "9.28 %", True),
        ("9.0 % ?cut off", "9.0 %", True),
    ],
)
def test_a_photo_confirms_only_what_it_shows(store: Store, tmp_path: Path, said: str, shown: str, stands: bool) -> None:
    job = give(store, tmp_path, sound([f"5 high_fire co2 {said}"], NOON), photo([f"high_fire co2 {shown}"], NOON))
    assert ([row.how for row in job.rows.values()] == ["agreed by voice and photo"]) is stands
    assert bool(questions(store)) is not stands


def test_choosing_between_two_sources_never_drops_another_quantity(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """CO2 misheard: it disagrees with the photo and, by physics, with an O2 that is right."""
    relation = Doubt(kind=DoubtKind.RELATION, detail="they cannot both be right")
    apart = Doubt(kind=DoubtKind.SOURCES_DISAGREE, detail="a photo shows 8.2 %")
    readings = [
        reading("said", value="9.2", doubts=(relation, apart), asked_with="shown"),
        reading("o2", quantity="o2", value="6.4", doubts=(relation,), asked_with="said"),
        reading("shown", value="8.2", doubts=(apart,), asked_with="said"),
    ]
    say(store, readings, monkeypatch)
    first, *_ = questions(store)
    assert set(first.readings) == {"said", "shown"}
    chosen = next(c for c in first.candidates if c.reading == "shown")
    at = job_of(store, "job-1").position
    settled = decisions.settled_by(first, chosen)
    job = decisions.answer(store, "job-1", first, asked_at=at, by="Ada", how="chosen", settled=settled)
    assert job.rows["o2"].reading.value == "6.4"
    assert job.rows["o2"].how == "open"


def test_what_replaces_a_reading_that_was_left_out_is_asked(store: Store, tmp_path: Path) -> None:
    job = give(store, tmp_path, sound(["5 high_fire co2 9.3 %"], NOON))
    (key,) = job.rows
    decisions.leave_out(store, "job-1", key, by="Ada", why="the probe had slipped")
    job = give(store, tmp_path, sound(["8 change high_fire co2 9.4 %"], NOON))
    assert [(r.reading.value, r.how) for r in job.rows.values()] == [("9.4", "open")]
