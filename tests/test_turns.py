"""A turn of a screw is asked, answered and changed with its screw and its way; "about" stays with its value."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from front.typed import typed_answer
from jobs.add import Typed, add
from jobs.book import job_of, new_job, sheet_of
from jobs.decisions import answer, edit, settled_by
from jobs.doings import decided, names_in
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.senses import senses
from jobs.store import Store
from jobs.table import JobRow
from schemas.doubts import Doubt, DoubtKind
from schemas.errors import BadInput, WrongUse
from schemas.questions import Candidate, Question
from schemas.sheet import Sheet


def said(tmp_path: Path, *lines: str) -> tuple[Store, Job, Sheet, tuple[Question, ...]]:
    store = Store(tmp_path / "home")
    new_job(store, sheet="gas-boiler-start-up", site="Kiln Yard", technician="Una Farrow", units="us")
    add(store, "job-1", [Typed(line) for line in lines], senses=senses(), author="Una Farrow")
    job = job_of(store, "job-1")
    sheet = sheet_of(store, job.head)
    return store, job, sheet, open_questions(job, sheet)


def turn(job: Job, sheet: Sheet) -> JobRow:
    return next(
        r for r in job.rows.values() if r.reading.quantity and sheet.quantity(r.reading.quantity).kind == "move"
    )


def test_a_turn_whose_way_was_not_said_is_answered_with_a_way(tmp_path: Path) -> None:
    store, job, sheet, asked = said(tmp_path, "High fire now. Quarter turn on the high fire screw.")
    (question,) = asked
    assert question.text == "High fire: Screw turned 0.25 turn high-fire screw: which way?"
    assert [one.note for one in question.candidates] == ["high_fire_screw cw", "high_fire_screw ccw"]
    assert {one.why for one in question.candidates} == {"which way was not said"}
    settled = settled_by(question, question.candidates[1])
    job = answer(store, "job-1", question, asked_at=job.position, by="Ines Pell", how="chosen", settled=settled)
    assert (turn(job, sheet).reading.note, turn(job, sheet).how) == ("high_fire_screw ccw", "answered")
    entries = store.entries("job-1")
    assert "0.25 turn (high-fire screw ccw)" in decided(entries[-1], job, sheet, names_in(entries))
    store.close()


def test_a_turn_of_no_screw_offers_the_screw_of_its_firing_rate_first(tmp_path: Path) -> None:
    store, _, _, (question,) = said(tmp_path, "Low fire now. Quarter turn in.")
    assert [one.note for one in question.candidates] == ["low_fire_screw cw", "high_fire_screw cw"]
    store.close()


def test_a_typed_turn_is_taken_only_with_what_was_not_said(tmp_path: Path) -> None:
    store, _, sheet, (question,) = said(tmp_path, "High fire now. Quarter turn on the high fire screw.")
    with pytest.raises(WrongUse, match="the screw and the way"):
        typed_answer(question, "0.5 turn", sheet)
    for text in ("0.5 turn counterclockwise", "0.5 ccw", "0.5 turn high-fire screw ccw", "0.5 throttle ccw"):
        one = typed_answer(question, text, sheet)
        assert (one.value, one.unit, one.note) == ("0.5", "{turn}", "high_fire_screw ccw")
    assert typed_answer(question, "0.5 low-fire screw cw", sheet).note == "low_fire_screw cw"
    store.close()


def test_screw_and_way_are_changed_and_what_is_no_screw_is_refused(tmp_path: Path) -> None:
    store, job, sheet, _ = said(tmp_path, "High fire now. Quarter turn clockwise on the high fire screw.")
    one = turn(job, sheet).reading
    given = Candidate(
        reading=one.id, quantity=one.quantity or "", condition=one.condition or "", value="0.25", unit=one.unit,
        appliance=one.appliance, note="high_fire_screw ccw",
    )  # fmt: skip
    job = edit(store, "job-1", given, by="Ines Pell", why="it was the other way")
    assert turn(job, sheet).reading.note == "high_fire_screw ccw"
    for note in ("high_fire_screw", "ccw", "lid ccw", "high_fire_screw up"):
        with pytest.raises(BadInput, match="which screw"):
            edit(store, "job-1", given.model_copy(update={"note": note}), by="Ines Pell", why="so")
    kept = given.model_copy(update={"note": None, "value": "0.5"})
    assert turn(edit(store, "job-1", kept, by="Ines Pell", why="half"), sheet).reading.note == "high_fire_screw ccw"
    store.close()


def test_about_stays_with_its_value_and_goes_with_another(tmp_path: Path) -> None:
    store, job, _, _ = said(tmp_path, "High fire now. CO2 is about nine point three.")
    one = next(row.reading for row in job.rows.values() if row.reading.quantity == "co2")
    assert one.approx
    given = Candidate(
        reading=one.id, quantity="co2", condition="low_fire", value="9.3", unit="%", appliance=one.appliance
    )
    job = edit(store, "job-1", given, by="Ines Pell", why="it was low fire")
    assert job.rows[one.id].reading.approx
    job = edit(store, "job-1", given.model_copy(update={"approx": False}), by="Ines Pell", why="it was exact")
    assert not job.rows[one.id].reading.approx
    job = edit(store, "job-1", given.model_copy(update={"value": "9.2"}), by="Ines Pell", why="misheard")
    assert not job.rows[one.id].reading.approx
    store.close()


def test_the_history_quotes_a_typed_line(tmp_path: Path) -> None:
    store, job, sheet, _ = said(tmp_path, "High fire now. CO2 is nine point three.")
    entries = store.entries("job-1")
    told = [words for one in entries if (words := decided(one, job, sheet, names_in(entries)))]
    assert told == ["added a typed line “High fire now. CO2 is nine point three.”"]
    store.close()


def test_a_turn_that_is_asked_about_its_amount_names_screw_and_way(tmp_path: Path) -> None:
    store, job, sheet, _ = said(tmp_path, "High fire now. Quarter turn clockwise on the high fire screw.")
    row = turn(job, sheet)
    unclear = row.reading.model_copy(update={"doubts": (Doubt(kind=DoubtKind.HEARD_UNCLEARLY),)})
    (question,) = open_questions(replace(job, rows={row.reading.id: replace(row, reading=unclear, how="open")}), sheet)
    assert question.text == "High fire: Screw turned: 0.25 turn high-fire screw cw?"
    store.close()
