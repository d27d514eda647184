"""A value that does not say what it is: what is offered for it, and how it is answered by typing."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from capture.media import Media
from front.typed import example, typed_answer
from front.voice.wording import Wording
from jobs.add import Typed, add
from jobs.book import NewAppliance, job_of, new_job, sheet_of
from jobs.decisions import answer, settled_by
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.senses import Senses
from jobs.store import Store
from schemas.errors import WrongUse
from schemas.evidence import Box, Figure, Look, MadeBy
from schemas.questions import Question

NOON = datetime(2026, 11, 12, 12, 0, tzinfo=UTC)
BOX = Box(corners=((0, 0), (10, 0), (10, 5), (0, 5)))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "home") as store:
        yield store


def job_with(store: Store, folder: Path, value: str, unit: str, *lines: tuple[int, str], tags: int = 1) -> Job:
    """A job with lines typed so many minutes after noon, and a photo of one bare number taken at noon."""

    def look(path: Path, sha256: str) -> Look:
        # What the reader of the display thought of next is no doubt about the value, and confirms nothing.
        figure = Figure(label="", value=value, unit=unit, box=BOX, alternatives=(value.lstrip("-"),))
        by = (MadeBy(reader="test", version="1"),)
        return Look(evidence=sha256, display="segments", width=100, height=80, figures=(figure,), made_by=by)

    def hear(*_: Any, **__: Any) -> Any:
        raise AssertionError

    senses = Senses(lambda path: Media("photo", "image/jpeg", NOON, "exif"), hear, look)
    appliances = [NewAppliance(f"boiler {n}") for n in range(1, tags + 1)]
    new_job(store, sheet="gas-boiler-start-up", site="Mill", technician="Ada", units="us", appliances=appliances)
    (folder / "p.jpg").write_bytes(b"picture")
    add(store, "job-1", [folder / "p.jpg"], senses=senses, author="Ada")
    for minutes, line in lines:
        add(store, "job-1", [Typed(line)], senses=senses, author="Ada", at=NOON + timedelta(minutes=minutes))
    return job_of(store, "job-1")


def asked(store: Store, job: Job) -> Question:
    (question,) = open_questions(job, sheet_of(store, job.head))
    return question


def places(question: Question) -> list[tuple[str, str]]:
    return [(one.quantity, one.condition) for one in question.candidates]


def test_what_was_said_with_the_same_value_is_offered_first(store: Store, tmp_path: Path) -> None:
    job = job_with(
        store, tmp_path, "6.9", "inH2O", (3, "Static is seven point two."), (9, "High fire. Inlet six nine.")
    )
    question = asked(store, job)
    assert places(question)[0] == ("inlet_pressure", "high_fire")
    assert question.candidates[0].why == "the same was said for it"
    assert ("inlet_pressure", "static") not in places(question)  # another value stands there
    assert Wording(sheet_of(store, job.head), several=False, units="us").question(question) is None


def test_else_what_its_unit_and_size_allow(store: Store, tmp_path: Path) -> None:
    question = asked(store, job_with(store, tmp_path, "134", "°F"))
    assert places(question)[:2] == [("flue_temp", "high_fire"), ("supply_temp", "high_fire")]
    assert question.text == "134 °F: Flue temperature or Supply temperature or Return temperature?"


def test_a_chosen_place_settles_it(store: Store, tmp_path: Path) -> None:
    job = job_with(store, tmp_path, "7.2", "inH2O")
    question = asked(store, job)
    settled = settled_by(question, question.candidates[0])
    job = answer(store, "job-1", question, asked_at=job.position, by="Ada", how="chosen", settled=settled)
    (row,) = job.rows.values()
    assert (row.reading.quantity, row.reading.condition, row.how) == ("inlet_pressure", "static", "answered")


ANSWERS = {
    "inlet pressure 7.2 static": ("inlet_pressure", "static", "7.2", "[in_i'H2O]"),
    "static 7.2": ("inlet_pressure", "static", "7.2", "[in_i'H2O]"),
    "High fire, inlet pressure": ("inlet_pressure", "high_fire", "7.2", "[in_i'H2O]"),
    "inlet pressure low fire 17.9 mbar": ("inlet_pressure", "low_fire", "17.9", "mbar"),
    "low fire draft -0.02": ("draft", "low_fire", "-0.02", "[in_i'H2O]"),
    "supply temperature 134 °F high fire": ("supply_temp", "high_fire", "134", "[degF]"),
    "ambient CO 3 ppm": ("ambient_co", "", "3", "[ppm]"),
}
REFUSED = {
    "7.2": "what it is, its value and when it was read, such as Inlet pressure 7.2 in. w.c. static",
    "inlet pressure 7.2": "when Inlet pressure was read",
    "inlet pressure was 7.2 static": "neither an answer above nor a value",
    "supply temperature high fire 134": "Type the unit",
}


def test_it_is_answered_in_words_with_all_that_is_asked(store: Store, tmp_path: Path) -> None:
    job = job_with(store, tmp_path, "7.2", "inH2O")
    question, sheet = asked(store, job), sheet_of(store, job.head)
    for line, told in ANSWERS.items():
        given = typed_answer(question, line, sheet)
        assert (given.quantity, given.condition, given.value, given.unit) == told
    for line, why in REFUSED.items():
        with pytest.raises(WrongUse, match=why):
            typed_answer(question, line, sheet)
    settled = settled_by(question, typed_answer(question, "static 7.2", sheet))
    job = answer(store, "job-1", question, asked_at=job.position, by="Ada", how="typed", settled=settled)
    assert not open_questions(job, sheet)


def test_of_several_appliances_each_is_offered_and_must_be_typed(store: Store, tmp_path: Path) -> None:
    job = job_with(store, tmp_path, "7.2", "inH2O", tags=2)
    question, sheet = asked(store, job), sheet_of(store, job.head)
    assert {one.appliance for one in question.candidates} == {"boiler 1", "boiler 2"}
    assert example(question, sheet) == "boiler 1 Inlet pressure 7.2 in. w.c. static"
    with pytest.raises(WrongUse, match="which appliance"):
        typed_answer(question, "static 7.2", sheet)
    assert typed_answer(question, example(question, sheet), sheet) == question.candidates[0].model_copy(
        update={"why": "typed"}
    )
    assert typed_answer(question, "boiler 2 static 7.2", sheet).appliance == "boiler 2"


def test_what_was_not_asked_is_refused(store: Store, tmp_path: Path) -> None:
    job = job_with(store, tmp_path, "9.3", "%", (0, "High fire. CO2 nine and change."), (1, "O2 is four point six."))
    sheet = sheet_of(store, job.head)
    question = next(one for one in open_questions(job, sheet) if one.quantities == ("co2",))
    assert typed_answer(question, "CO2 9.3 high fire", sheet).value == "9.3"
    for line in ("O2 4.6", "9.3 low fire"):
        with pytest.raises(WrongUse, match="The question is about CO2, high fire"):
            typed_answer(question, line, sheet)


@pytest.mark.parametrize("minutes", [-1, 1])
def test_the_other_sign_than_was_said_there_is_one_question(store: Store, tmp_path: Path, minutes: int) -> None:
    said = (minutes, "Offset is plus point oh two.")
    job = job_with(store, tmp_path, "-0.02", "inH2O", (-2, "Low fire. CO2 eight point seven."), said)
    question = asked(store, job)
    assert question.text == "Low fire: 0.02 in. w.c. was said and a photo shows -0.02 in. w.c. Which one stands?"
    offered = [(one.quantity, one.condition, one.value) for one in question.candidates]
    assert set(offered[:2]) == {("outlet_pressure", "low_fire", "0.02"), ("outlet_pressure", "low_fire", "-0.02")}
    for line in ("offset pressure -0.02 low fire", "Offset -0.02 low fire", "outlet_pressure -0.02 low fire"):
        assert typed_answer(question, line, sheet_of(store, job.head)).value == "-0.02"
    draft = next(one for one in question.candidates if one.quantity == "draft")
    at, settled = job.position, settled_by(question, draft)
    kept = answer(store, "job-1", question, asked_at=at, by="Ada", how="chosen", settled=settled)
    assert [row.reading.value for row in kept.rows.values() if row.reading.quantity == "outlet_pressure"] == ["0.02"]


def test_what_a_photo_may_show_as_it_was_said_has_no_other_sign(store: Store, tmp_path: Path) -> None:
    lines = (-3, "Low fire. Draft is minus point oh two."), (-1, "Offset is plus point oh two.")
    job = job_with(store, tmp_path, "-0.02", "inH2O", *lines)
    question = asked(store, job)
    assert places(question)[0] == ("draft", "low_fire")
    assert len(question.readings) == 1
