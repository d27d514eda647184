"""What the conversation does to the journal, without sound: answers, corrections, what was taken back and read back."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from capture.typed import typed_utterance
from front.voice import events
from front.voice.deeds import Deeds
from front.voice.news import news_of, row_of
from front.voice.talk import Talk
from front.voice.wording import Asked, Wording
from jobs.add import Typed, add
from jobs.book import NewAppliance, job_of, new_job, sheet_of
from jobs.decisions import answer, edit
from jobs.extraction import bring_up_to_date, place_now
from jobs.fold import Job
from jobs.journal import Draft, Entry, SetAside, Told
from jobs.questions import open_questions
from jobs.senses import senses
from jobs.store import Store
from jobs.told import read_back
from schemas.questions import Candidate
from tests.conftest import Command


@pytest.fixture
def store(job: str, tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "store") as opened:
        assert job == "t1"
        yield opened


@pytest.fixture
def wording(store: Store) -> Wording:
    return Wording(sheet_of(store, job_of(store, "t1").head), several=False)


@pytest.fixture
def deeds(store: Store, wording: Wording) -> Deeds:
    return Deeds(store, "t1", sheet_of(store, job_of(store, "t1").head), wording, "Una Farrow")


def reading(job: Job, quantity: str, condition: str) -> str:
    return next(
        key for key, row in job.rows.items() if (row.reading.quantity, row.reading.condition) == (quantity, condition)
    )


def heard(store: Store, text: str) -> Job:
    add(store, "t1", [Typed(text)], senses=senses(), author="Una Farrow")
    return job_of(store, "t1")


def test_an_answer_is_one_entry_in_the_name_of_who_gave_it(store: Store, wording: Wording, deeds: Deeds) -> None:
    job = job_of(store, "t1")
    question = open_questions(job, sheet_of(store, job.head))[0]
    asked = wording.question(question)
    assert asked is not None
    before = job.position
    assert list(deeds.do(events.Settle(asked, asked.candidates[0]))) == []
    after = job_of(store, "t1")
    assert after.position == before + 1
    assert [(one.by, one.how) for one in after.answers] == [("Una Farrow", "spoken")]
    (refused,) = deeds.do(events.Settle(asked, asked.candidates[0]))
    assert refused.startswith("The question was not answered")


def test_what_nobody_can_tell_is_left_out_and_said(store: Store, wording: Wording, deeds: Deeds) -> None:
    job = job_of(store, "t1")
    asked = wording.question(open_questions(job, sheet_of(store, job.head))[0])
    assert asked is not None
    assert list(deeds.do(events.Settle(asked, None))) == [
        f"Left out: {wording.reading(job.rows[key].reading)}." for key in asked.readings
    ]
    assert {job_of(store, "t1").rows[key].how for key in asked.readings} == {"left out"}


def test_what_is_taken_back_is_left_out_and_said(store: Store, deeds: Deeds) -> None:
    co = reading(job_of(store, "t1"), "co", "high_fire")
    assert list(deeds.do(events.TakeBack((co,)))) == ["Taken back: C O, high fire, seventy-six."]
    assert job_of(store, "t1").rows[co].how == "left out"
    assert list(deeds.do(events.TakeBack(("gone",)))) == ["There is nothing to take back."]


def test_an_answer_that_is_taken_back_opens_its_question_again(store: Store, wording: Wording, deeds: Deeds) -> None:
    job = job_of(store, "t1")
    asked = wording.question(open_questions(job, sheet_of(store, job.head))[0])
    assert asked is not None
    list(deeds.do(events.Settle(asked, asked.candidates[0])))
    assert not open_questions(job_of(store, "t1"), sheet_of(store, job.head))
    list(deeds.do(events.TakeBack((asked.candidates[0].reading,))))
    assert open_questions(job_of(store, "t1"), sheet_of(store, job.head))


def test_only_what_was_said_to_its_end_and_stands_unchanged_is_read_back(
    store: Store, wording: Wording, deeds: Deeds, sayback: Command
) -> None:
    job = job_of(store, "t1")
    row = row_of(job, wording, ("boiler", "high_fire"))
    assert row is not None
    assert row.text == "high fire: C O two nine point three, O two four point four, C O seventy-six."
    say = events.Say(row.text, 4, row, row=True)
    deeds.told(say, whole=False)
    assert read_back(store.entries("t1"), job_of(store, "t1")) == frozenset()
    deeds.told(say, whole=True)
    assert read_back(store.entries("t1"), job_of(store, "t1")) == frozenset(row.readings)
    shown = json.loads(sayback("show", "t1", "--json")[1])["readings"]
    assert {one["quantity"] for one in shown if one["read_back"]} == {"co2", "o2", "co"}
    assert "read back" in sayback("show", "t1")[1]
    co = job.rows[reading(job, "co", "high_fire")].reading
    after = Candidate(
        reading=co.id, quantity="co", condition="high_fire", value="67", unit=co.unit, appliance=co.appliance
    )
    edit(store, "t1", after, by="Una Farrow", why="misread")
    assert co.id not in read_back(store.entries("t1"), job_of(store, "t1"))


def test_silence_and_read_backs_settle_nothing(store: Store, wording: Wording, deeds: Deeds) -> None:
    before = {key: row.how for key, row in job_of(store, "t1").rows.items()}
    row = row_of(job_of(store, "t1"), wording, ("boiler", "high_fire"))
    assert row is not None
    deeds.told(events.Say(row.text, 4, row, row=True), whole=True)
    assert {key: row.how for key, row in job_of(store, "t1").rows.items()} == before


def test_what_is_set_aside_is_passed_over_by_extraction(store: Store, deeds: Deeds) -> None:
    job = heard(store, "No, CO2 is nine point nine.")
    assert "9.9" in {row.reading.value for row in job.rows.values()}
    last = job.utterances[-1]
    deeds.set_aside(last, events.Mark("stray"))
    deeds.set_aside(last, events.Mark("stray"))  # written once
    bring_up_to_date(store, "t1", sheet_of(store, job.head))
    assert "9.9" not in {row.reading.value for row in job_of(store, "t1").rows.values()}
    assert sum(isinstance(one.body, SetAside) for one in store.entries("t1")) == 1


def test_an_appliance_named_in_answer_is_where_the_work_goes_on_unless_another_was_known(tmp_path: Path) -> None:
    with Store(tmp_path / "two") as store:
        boilers = [NewAppliance("1", ("boiler 1",)), NewAppliance("2", ("boiler 2",))]
        kind = "gas-boiler-start-up"
        new_job(store, sheet=kind, site="Mill", technician="Ada", units="us", appliances=boilers, number="t1")
        sheet = sheet_of(store, job_of(store, "t1").head)
        deeds = Deeds(store, "t1", sheet, Wording(sheet, several=True), "Ada")

        def answered(text: str, tag: str) -> None:
            deeds.set_aside(heard(store, text).utterances[-1], events.Mark("answer", appliance=tag))
            bring_up_to_date(store, "t1", sheet)

        heard(store, "High fire, CO2 nine point one percent.")
        answered("two", "2")
        heard(store, "O2 is four point six percent.")
        answered("one", "1")  # about something before: it is known where the work is
        job = heard(store, "Flue temperature is one hundred and thirty five degrees.")
        rows = [(row.reading.quantity, row.reading.appliance) for row in job.rows.values()]
        assert rows == [("co2", None), ("o2", "2"), ("flue_temp", "2")]


def test_a_turn_after_an_answer_makes_it_the_value_before_and_asks_nothing(tmp_path: Path) -> None:
    with Store(tmp_path / "turned") as store:
        new_job(store, sheet="gas-boiler-start-up", site="Mill", technician="Ada", units="us", number="t1")
        job = heard(store, "High fire. CO2 is nine point one and change.")
        sheet = sheet_of(store, job.head)
        (one,) = open_questions(job, sheet)
        given = one.candidates[0].model_copy(update={"value": "9.2"})
        answer(store, "t1", one, asked_at=job.position, by="Ada", how="spoken", settled=[given])
        job = heard(store, "Turned the throttle screw an eighth clockwise.")
        row = next(row for row in job.rows.values() if row.reading.quantity == "co2")
        assert (row.reading.value, row.reading.phase, row.how) == ("9.2", "before", "answered")


def test_what_is_of_an_appliance_that_the_job_does_not_have_is_shown_and_not_asked_aloud(
    store: Store, wording: Wording
) -> None:
    before, sheet = job_of(store, "t1"), sheet_of(store, job_of(store, "t1").head)
    after = heard(store, "Now boiler two. High fire. CO2 is nine point nine percent.")
    news = news_of(before, after, sheet, wording, utterances=[], was_at=(None, None), is_at=(None, None), number=True)
    assert [text for text in news.shown if "CO2 9.9 %" in text]
    assert news.elsewhere == "That appliance is not in this job. What is read there stays open."
    assert not [asked for asked in news.questions if asked.candidates[0].value == "9.9"]


def test_what_changed_is_found_with_what_there_is_to_say(store: Store, wording: Wording) -> None:
    sheet = sheet_of(store, job_of(store, "t1").head)

    def said(text: str) -> tuple[Job, events.News]:
        before = job_of(store, "t1")
        was = place_now(store, before, sheet)
        after = heard(store, text)
        spoken = [typed_utterance(text, "0" * 64)]
        now = place_now(store, after, sheet)
        news = news_of(before, after, sheet, wording, utterances=spoken, was_at=was, is_at=now, number=True)
        return after, news

    _, news = said("Flue temperature is one hundred and thirty five degrees.")
    assert (len(news.taken), news.said_back, news.replaced, news.left) == (1, (), (), None)
    _, news = said("Correction, flue temperature is one hundred and thirty seven degrees.")
    assert [one.text for one in news.replaced] == [
        "Flue temperature, low fire, one hundred thirty-seven degrees Fahrenheit. "
        "It was one hundred thirty-five degrees Fahrenheit."
    ]
    _, news = said("Scratch that last one.")
    assert len(news.gone) == 1
    assert news.gone[0].startswith("Taken back: Flue temperature, low fire, one hundred thirty-seven")
    _, news = said("CO is eighty-one.")
    assert [one.text for one in news.said_back] == ["C O, low fire, eighty-one."]
    _, news = said("Okay, back up to high fire.")
    assert news.left is not None
    assert news.left.missing.startswith("Missing, low fire: ")
    assert news.left.row is not None
    assert "C O eighty-one" in news.left.row.text
    said("The fuel is natural gas.")
    _, news = said("The fuel is propane.")
    assert news.new or [one.text for one in news.replaced] == ["Fuel, propane. It was natural gas."]
    _, news = said("I smell gas.")
    assert [(rule, aloud) for rule, _, aloud in news.stops] == [("gas_smell", True)]


def test_a_value_that_only_changed_its_unit_is_said_with_what_stood_there(store: Store, wording: Wording) -> None:
    before, at = heard(store, "Flue temperature is one hundred and thirty five degrees."), ("boiler", "high_fire")
    sheet = sheet_of(store, before.head)
    flue = next(row.reading for row in before.rows.values() if row.reading.quantity == "flue_temp")
    other = wording.said_back(flue).candidates[0].model_copy(update={"unit": "Cel"})
    edit(store, "t1", other, by="Una Farrow", why="misread")
    after = job_of(store, "t1")
    news = news_of(before, after, sheet, wording, utterances=[], was_at=at, is_at=at, number=False)
    assert [one.text.endswith("degrees Fahrenheit.") for one in news.replaced] == [True]


def test_what_came_to_another_place_is_said_with_where_it_was_all_that_moved_in_one_breath(
    store: Store, wording: Wording
) -> None:
    sheet, at = sheet_of(store, job_of(store, "t1").head), ("boiler", "low_fire")

    def told(before: str, text: str) -> list[str]:
        job, after = heard(store, before), heard(store, text)
        news = news_of(job, after, sheet, wording, utterances=[], was_at=at, is_at=at, number=True)
        return [one.text for one in news.replaced]

    assert told("Fan speed is three thousand.", "No, that was high fire.") == [
        "Fan speed, high fire, three thousand rpm. It was low fire."
    ]
    assert told("Low fire. Return temperature one ten. Supply temperature one thirty.", "No, that was max rate.") == [
        "high fire: Return temperature one hundred ten, Supply temperature one hundred thirty. It was low fire."
    ]
    assert told("Low fire. Efficiency is ninety one point five.", "Going up to high fire now.") == []


def test_a_stop_that_is_said_and_a_value_at_once_is_told_once(store: Store, wording: Wording) -> None:
    sheet, at = sheet_of(store, job_of(store, "t1").head), ("boiler", "high_fire")
    before, after = job_of(store, "t1"), heard(store, "The leak test failed.")
    assert [row.reading.value for row in after.rows.values() if row.reading.quantity == "leak_test"] == ["failed"]
    news = news_of(before, after, sheet, wording, utterances=[], was_at=at, is_at=at, number=False)
    assert [(rule, aloud) for rule, _, aloud in news.stops] == [("gas_leak", True)]


@pytest.mark.parametrize("text", ["Correction, ambient CO is forty-five.", "Ambient CO is forty-five now."])
def test_a_corrected_value_that_still_stops_the_work_is_told_again(store: Store, wording: Wording, text: str) -> None:
    sheet = sheet_of(store, job_of(store, "t1").head)

    def stops(text: str) -> list[tuple[str, bool]]:
        before, at = job_of(store, "t1"), place_now(store, job_of(store, "t1"), sheet)
        after = heard(store, text)
        news = news_of(before, after, sheet, wording, utterances=[], was_at=at, is_at=at, number=True)
        return [(rule, "everyone out" in words) for rule, words, _ in news.stops]

    assert stops("Ambient CO is forty.") == [("ambient_co_35", True)]
    assert stops("The weather is fine.") == []
    assert stops(text) == [("ambient_co_35", False)]  # its name: what to do was said a moment ago


def test_what_waits_to_be_said_is_renewed_with_what_was_corrected(store: Store, wording: Wording) -> None:
    job, sheet = job_of(store, "t1"), sheet_of(store, job_of(store, "t1").head)
    place = ("boiler", "high_fire")
    about = row_of(job, wording, place)
    assert about is not None
    co = wording.said_back(job.rows[reading(job, "co", "high_fire")].reading)
    said = events.Say(about.text, 4, about, row=True), events.Say(co.text, 2, co)

    def renewed(after: Job) -> list[str | None]:
        news = news_of(job, after, sheet, wording, utterances=[], was_at=place, is_at=place, number=False, said=said)
        return [new.text if new else None for _, new in news.renewed]

    assert renewed(job) == []
    edit(store, "t1", co.candidates[0].model_copy(update={"value": "58"}), by="Una Farrow", why="misread")
    assert renewed(job_of(store, "t1")) == [about.text.replace("seventy-six", "fifty-eight"), None]


def test_what_was_said_is_in_the_journal(store: Store, deeds: Deeds) -> None:
    deeds.told(events.Say("Listening.", 1), whole=True)
    deeds.told(events.Say("", 1), whole=True)
    assert [one.body.text for one in store.entries("t1") if isinstance(one.body, Told)] == ["Listening."]


def test_requests_are_answered_from_the_job(store: Store, deeds: Deeds) -> None:
    place = ("boiler", "high_fire")
    assert deeds.reply("there", Talk(), place).text.startswith("Listening. ")
    assert deeds.reply("there", Talk(quiet=True), place).text.endswith("Say carry on to go on.")
    assert deeds.reply("what_taken", Talk(), place).text.startswith("high fire: C O two nine point three")
    assert deeds.reply("what_missing", Talk(), place).text.startswith("Missing, high fire: ")
    assert re.fullmatch(r"Missing: .*\.( \d+ open\.)?", deeds.reply("all_missing", Talk(), place).text)
    last = deeds.reply("what_taken", Talk(), ("boiler", "ignition")).text  # nothing here: what was taken last
    assert last.startswith("high fire: ")


def test_nothing_was_taken_only_where_nothing_was(tmp_path: Path) -> None:
    with Store(tmp_path / "empty") as store:
        new_job(store, sheet="gas-boiler-start-up", site="Mill", technician="Ada", units="us", number="t1")
        sheet = sheet_of(store, job_of(store, "t1").head)
        deeds = Deeds(store, "t1", sheet, Wording(sheet, several=False), "Ada")
        assert deeds.reply("what_taken", Talk(), ("boiler", "high_fire")).text == "Nothing yet."


def test_a_question_of_two_that_cannot_both_be_names_both(store: Store, wording: Wording) -> None:
    job = job_of(store, "t1")
    asked = wording.question(open_questions(job, sheet_of(store, job.head))[0])
    assert isinstance(asked, Asked)
    assert asked.wants == "choice"
    assert asked.text == "C O two nine point two and O two nine point two. Which one is right?"


@pytest.mark.parametrize("what", ["settle", "edit", "take back", "agree"])
def test_what_is_set_aside_and_what_it_decided_are_one_step_on_the_disk(
    store: Store, wording: Wording, deeds: Deeds, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    job = heard(store, "The manual says CO2 between 8.5 and 9.50 at high fire.")
    co = job.rows[reading(job, "co", "high_fire")].reading
    asked = wording.question(open_questions(job, sheet_of(store, job.head))[0])
    assert asked is not None
    decided: dict[str, events.Action] = {
        "settle": events.Settle(asked, asked.candidates[0]),
        "edit": events.Edit(Candidate(reading=co.id, quantity="co", condition="high_fire", value="66", unit="[ppm]")),
        "take back": events.TakeBack((co.id,)),
        "agree": events.Agree((job.limits[-1].key,), True),
    }
    append, steps = store.append, list[list[str]]()

    def noted(number: str, drafts: Sequence[Draft], *, after: int | None = None) -> tuple[Entry, ...]:
        added = append(number, drafts, after=after)
        steps.append([one.body.kind for one in added])
        return added

    monkeypatch.setattr(store, "append", noted)
    deeds.set_aside(job.utterances[-1], events.Mark("answer"), decided[what])
    (first, *_) = steps
    assert len(first) == 2
    assert first[0] == "set-aside"
    assert sum(step.count("set-aside") for step in steps) == 1


def test_an_answer_that_cannot_be_carried_out_is_set_aside_all_the_same(store: Store, deeds: Deeds) -> None:
    utterance = job_of(store, "t1").utterances[-1]
    gone = Candidate(reading="gone", quantity="co", condition="high_fire", value="66", unit="[ppm]")
    assert deeds.set_aside(utterance, events.Mark("answer"), events.Edit(gone)) != ()
    assert [one.body.number for one in store.entries("t1") if isinstance(one.body, SetAside)] == [utterance.number]
