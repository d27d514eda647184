"""Words in and words out: commands, numbers as they are spoken, questions, replies, tones, and the own voice."""

from __future__ import annotations

import re
import tomllib
from itertools import combinations
from pathlib import Path
from typing import NoReturn

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words
from pydantic import ValidationError

import extract
from capture.typed import typed_utterance
from front.voice.replies import Replies
from front.voice.wording import Asked, Wording, say_number
from front.voice.words import command_of, note_of, spoken, spoken_on
from schemas.doubts import Doubt, DoubtKind
from schemas.errors import BadInput
from schemas.evidence import Hypothesis, MadeBy, Utterance
from schemas.job import JobAppliance
from schemas.load import load_sheet
from schemas.questions import Candidate, Question
from schemas.readings import Reading, Record, Source
from schemas.sheet import Sheet

SHEET = load_sheet("gas-boiler-start-up")[0]
GRAMMAR = extract.compile_sheet(SHEET)
SETTING = extract.Setting(units="us", appliances=(JobAppliance(tag="boiler"),))
REPLIES = Replies(SHEET, GRAMMAR, SETTING)
WORDING = Wording(SHEET, several=False)


def fail() -> NoReturn:
    raise AssertionError("there is no question")


def heard(*texts: str, second: str | None = None) -> Utterance:
    masses = [Hypothesis(text=text, mass=1 / len(texts)) for text in texts]
    made = MadeBy(reader="test", version="1")
    return Utterance(
        evidence="0" * 64, number=0, start=0, end=1, hypotheses=tuple(masses), second_opinion=second, made_by=made
    )


def about(value: str, quantity: str = "co2", condition: str = "high_fire", unit: str = "%") -> Candidate:
    return Candidate(reading="r", quantity=quantity, condition=condition, value=value, unit=unit, appliance="boiler")


# -- numbers -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("9.3", "nine point three"),
        ("9.30", "nine point three zero"),
        ("9.0", "nine point zero"),
        ("-0.02", "minus point oh two"),
        ("0.50", "point five zero"),
        ("4980", "forty-nine eighty"),
        ("4905", "forty-nine oh five"),
        ("4900", "forty-nine hundred"),
        ("5000", "five thousand"),
        ("76", "seventy-six"),
        ("0", "zero"),
        ("100", "one hundred"),
    ],
)
def test_numbers_are_spoken_as_the_trade_says_them(value: str, words: str) -> None:
    assert say_number(value, spoken()) == words  # wordings of issue 4; the others common practice, no source


@given(st.one_of(st.integers(0, 999), st.integers(10_000, 10**9 - 1)))
def test_whole_numbers_are_those_of_num2words(number: int) -> None:
    """num2words, a general-purpose library, as the outside reference (US wording, without its "and" and commas)."""
    assert say_number(str(number), spoken()) == num2words(number).replace(" and ", " ").replace(",", "")


def test_all_that_can_be_has_words_and_what_is_larger_is_said_digit_by_digit() -> None:
    bounds = [(one, bound) for one in SHEET.quantities if one.units for bound in one.range.possible if bound]
    assert max(float(bound) for _, bound in bounds) > 10**7
    for one, bound in bounds:
        words = WORDING.value(bound, one.units[0], one.id)
        if float(bound) >= 10_000:
            assert words.startswith(num2words(int(bound)).replace(" and ", " ").replace(",", "")), (one.id, bound)
    assert say_number("2500000000", spoken()) == "two five" + 8 * " zero"


@settings(deadline=None)
@given(st.integers(0, 300), st.booleans())
def test_what_is_spoken_is_understood_as_the_same_value(hundredths: int, minus: bool) -> None:
    sign = "-" if minus and hundredths else ""
    value = f"{sign}{hundredths // 100}.{hundredths % 100:02d}"
    asked = Asked("?", "value", (about("1.00", "outlet_pressure", "low_fire", "[in_i'H2O]"),))
    words = say_number(value, spoken())
    reply = REPLIES.understand(heard(words, second=words), asked)
    assert reply is not None
    assert reply.candidate.value == value


# -- commands ----------------------------------------------------------------------------------------------------------


def test_every_way_to_say_a_command_is_heard_as_that_and_no_other() -> None:
    said = spoken()
    for name, ways in said.commands.items():
        for way in (*ways, *said.sounds_like[name]):
            assert command_of(heard(f"{way.capitalize()}."), said) == name, way
    for one, other in combinations(said.commands, 2):
        mine = said.commands[one] | said.sounds_like[one]
        assert not mine & (said.commands[other] | said.sounds_like[other]), (one, other)


def test_a_yes_or_no_may_be_said_in_several_ways_after_each_other() -> None:
    for text in ("Yeah, that's it.", "yes, yes, that is right", "yep, spot on"):
        assert command_of(heard(text, second=text), spoken()) == "yes", text
    for text in ("No, no, no.", "no, that's wrong", "nope, not right"):
        assert command_of(heard(text, second=text), spoken()) == "no", text
    for text in ("no, that's it", "yes, no", "no undo", "that's it, the valve"):
        assert command_of(heard(text, second=text), spoken()) is None, text


@pytest.mark.parametrize("text", ["Okay, yes please.", "um, yes", "Yes, thank you."])
def test_small_words_around_a_command_do_not_matter(text: str) -> None:
    assert command_of(heard(text), spoken()) == "yes"


@pytest.mark.parametrize(
    "text",
    [
        "Yes, the valve is open.",
        "No, nine point five.",
        "I told him no.",
        "Take that back to the van.",
        "",
        "Yesterday.",
    ],
)
def test_talk_that_only_begins_like_a_command_is_none(text: str) -> None:
    assert command_of(heard(text or " "), spoken()) is None


def test_a_command_that_the_second_opinion_hears_as_another_is_none() -> None:
    assert command_of(heard("Yes.", second="No."), spoken()) is None
    assert command_of(heard("Yes.", second="Yes."), spoken()) == "yes"


@pytest.mark.parametrize("text", ["Yes.", "No.", "Scratch that.", "I don't know."])
def test_what_changes_the_job_must_be_heard_by_both_recognisers(text: str) -> None:
    for other in ("nine point five", "CO is twelve", "the wrench"):
        assert command_of(heard(text, second=other), spoken()) is None
        assert command_of(heard(other, second=text), spoken()) is None
    assert command_of(heard(text, second=" "), spoken()) is not None  # the other heard nothing


def test_a_number_is_not_thrown_away_with_a_request_that_only_one_recogniser_heard() -> None:
    assert command_of(heard("CO forty", second="hold"), spoken()) is None
    assert command_of(heard("CO forty", "hold", second="CO 40"), spoken()) is None
    assert command_of(heard("hull", second="hold"), spoken()) == "hold"


@pytest.mark.parametrize("text", ["hold on", "wait", "wait a minute", "next", "later", "pass", "guess"])
def test_what_is_said_on_site_all_the_time_is_no_command(text: str) -> None:
    assert command_of(heard(text, second=text), spoken()) is None


def test_no_command_means_a_reading() -> None:
    said = spoken()
    for ways in said.commands.values():
        for way in ways:
            context, _ = extract.step(
                typed_utterance("High fire. CO2 9.3.", "0" * 64), 0.0, extract.start(SETTING), GRAMMAR
            )
            _, operations = extract.step(typed_utterance(way, "1" * 64), 5.0, context, GRAMMAR)
            assert not [one for one in operations if isinstance(one, Record)], way


def test_a_note_is_what_follows_its_word() -> None:
    assert (
        note_of(heard("note, valve cover cracked", second="Note, valve cover cracked."), spoken())
        == "valve cover cracked."
    )
    assert note_of(heard("note, valve cover cracked"), spoken()) is None  # heard by one recogniser only
    assert note_of(heard("noted"), spoken()) is None
    assert note_of(heard("note fourteen", second="Note 14."), spoken()) is None
    assert note_of(heard("no, cover it", second="Note cover it."), spoken()) is None
    assert value_of("note fourteen", Asked("…", "value", (about("40", "co", "high_fire", "[ppm]"),))) == "14"


def test_every_phrase_is_used_and_every_one_used_is_there() -> None:
    folder = Path(__file__).parents[1]
    phrases = set(tomllib.loads((folder / "schemas/language/en-spoken.toml").read_text("utf-8"))["phrases"])
    code = "".join(path.read_text("utf-8") for path in (folder / "front/voice").glob("*.py"))
    assert {name for name in phrases if f'"{name}"' not in code} == set(), "a phrase that nothing says"
    assert set(re.findall(r'phrase\("(\w+)"', code)) <= phrases


# -- replies -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value", "denies"),
    [
        ("Nine point five.", "9.5", False),
        ("No, nine point five.", "9.5", True),
        ("it's nine four", "9.4", False),
        ("yes, nine point three", "9.3", False),
    ],
)
def test_a_reply_that_carries_the_value(text: str, value: str, denies: bool) -> None:
    reply = REPLIES.understand(heard(text, second=text), Asked("?", "yes", (about("9.3"),)))
    assert reply is not None
    assert (reply.candidate.value, reply.clear, reply.denies) == (value, True, denies)


@pytest.mark.parametrize(
    "text",
    [
        "O2 four point four.",
        "hand me the wrench",
        "no",
        "low fire CO2 nine point one",
        "CO2 nine four and O2 four four",
    ],
)
def test_other_talk_is_no_reply(text: str) -> None:
    assert REPLIES.understand(heard(text, second=text), Asked("?", "yes", (about("9.3"),))) is None


def questioned(*candidates: Candidate) -> Asked:
    """A question about one or more candidates, as it is after it was said."""
    question = Question(
        id="q",
        readings=tuple(dict.fromkeys(one.reading for one in candidates)),
        appliance="boiler",
        quantities=tuple(dict.fromkeys(one.quantity for one in candidates)),
        condition=candidates[0].condition,
        text="?",
        doubts=(Doubt(kind=DoubtKind.UNUSUAL),),
        candidates=candidates,
        source=Source(evidence="0" * 64),
    )
    return Asked("?", "yes", candidates, question)


def reading(quantity: str, condition: str, value: str, unit: str = "") -> Reading:
    return Reading(
        id="r",
        quantity=quantity,
        condition=condition,
        value=value,
        unit=unit,
        appliance="boiler",
        source=Source(evidence="0" * 64),
    )


def value_of(text: str, asked: Asked, here: tuple[str | None, str | None] | None = None) -> str | None:
    reply = REPLIES.understand(heard(text, second=text), asked, here)
    return reply.candidate.value if reply else None


@pytest.mark.parametrize(
    "text",
    [
        "not nine point three",
        "it's not nine point three",
        "isn't nine point three",
        "wasn't nine point three",
        "nine point three, no",
        "nine point three or nine point eight",
        "less than nine point three",
        "nine point three ish",
        "nine point three I think",
        "nine point three last time",
        "nine point three can't be right",
        "was nine point three before the turn",
        "need nine point six",
        "limit is nine point six",
        "target is nine point three",
        "not nine point three but eight",
        "page forty two",
    ],
)
def test_a_value_that_is_denied_doubted_or_of_something_else_is_asked_back(text: str) -> None:
    asked = questioned(about("9.3"))
    for one in (heard(text, second=text), heard("nine point three", second=text)):
        reply = REPLIES.understand(one, asked)
        assert reply is not None
        assert (reply.clear, reply.faint) == (False, False)


@pytest.mark.parametrize("text", ["O2 eighty", "C O two eighty", "inlet eighty", "draft, eighty", "clocking eighty"])
def test_a_number_said_of_another_quantity_is_asked_back_also_where_it_cannot_be_that_ones(text: str) -> None:
    asked = questioned(about("80", "co", unit="[ppm]"))
    for one in (heard(text, second=text), heard("eighty", second=text), heard(text, second="CO eighty")):
        reply = REPLIES.understand(one, asked)
        assert reply is None or (reply.clear, reply.faint) == (False, False)
    reply = REPLIES.understand(heard("CO eighty", second="carbon monoxide 80"), asked)
    assert reply is not None
    assert reply.clear


def test_a_number_without_its_unit_is_in_the_one_that_was_asked_about_and_another_number_is_asked_back() -> None:
    """Each: the unit and value asked about, what is said, the value and unit that it is, whether it is taken."""
    for quantity, condition, value, unit, text, wanted, clear in (
        ("flue_temp", "high_fire", "84", "Cel", "eighty four", ("84", "Cel"), True),
        ("flue_temp", "high_fire", "84", "Cel", "no, eighty one", ("81", "Cel"), False),
        ("flue_temp", "high_fire", "84", "Cel", "eighty four degrees", ("84", "Cel"), False),
        ("flue_temp", "high_fire", "84", "Cel", "eighty four Fahrenheit", ("84", "[degF]"), True),
        ("inlet_pressure", "static", "2.1", "kPa", "two point one", ("2.1", "kPa"), True),
        ("flow", "high_fire", "20", "L/min", "um, it's twenty", ("20", "L/min"), True),
        ("outlet_pressure", "high_fire", "-3", "Pa", "no, minus four", ("-4", "Pa"), True),  # no such inches can be
        ("inlet_pressure", "static", "20", "mbar", "twenty or so", ("20", "mbar"), False),
    ):
        asked = questioned(about(value, quantity, condition, unit))
        reply = REPLIES.understand(heard(text, second=text), asked)
        assert reply is not None, text
        assert ((reply.candidate.value, reply.candidate.unit), reply.clear) == (wanted, clear), text
    either = questioned(*(about("21", "inlet_pressure", "static", unit) for unit in ("[in_i'H2O]", "mbar")))
    reply = REPLIES.understand(heard("twenty one", second="21"), either)
    assert reply is not None
    assert not reply.clear
    bound = about("20", "inlet_pressure", "static", "mbar").model_copy(update={"why": "at_most"})
    limit = Asked("Limit, …", "yes", (bound,), limit="k")
    assert [clear_of(text, limit) for text in ("at most twenty", "twenty millibar", "twenty inches")] == [
        True,
        True,
        None,
    ]


def test_a_value_said_again_less_exactly_keeps_its_trailing_zero_and_a_denied_one_does_not() -> None:
    assert value_of("nine point three", questioned(about("9.30"))) == "9.30"
    assert value_of("yes, nine point three", questioned(about("9.30"))) == "9.30"
    assert value_of("no, nine point three", questioned(about("9.30"))) == "9.3"
    assert value_of("nine point three", questioned(about("9.31"))) == "9.3"
    assert value_of("nine point three zero", questioned(about("9.3"))) == "9.30"
    assert value_of("nine point three", questioned(about("9.3"), about("9.30"))) == "9.3"


def clear_of(text: str, asked: Asked) -> bool | None:
    reply = REPLIES.understand(heard(text, second=text), asked)
    return reply.clear if reply else None


def test_a_value_that_the_other_recogniser_hears_as_a_bare_yes_or_no_is_asked_back() -> None:
    for texts in (("nine point five", "yes"), ("yes", "nine point five"), ("nine point three", "no")):
        reply = REPLIES.understand(heard(texts[0], second=texts[1]), questioned(about("9.3")))
        assert reply is None or (reply.clear, reply.faint) == (False, False)


@pytest.mark.parametrize("text", ["it's nine point six percent", "um, reading nine point six now", "I said 9.6 %"])
def test_small_words_beside_a_value_do_not_matter(text: str) -> None:
    reply = REPLIES.understand(heard(text, second="9.6%"), questioned(about("9.3")))
    assert reply is not None
    assert (reply.candidate.value, reply.clear) == ("9.6", True)


def test_who_names_a_quantity_where_the_work_is_now_means_it_there() -> None:
    asked, high, low = questioned(about("9.3")), ("boiler", "high_fire"), ("boiler", "low_fire")
    assert value_of("CO2 nine point six percent", asked, high) == "9.6"
    assert value_of("CO2 nine point six percent", asked, low) is None
    assert value_of("nine point six", asked, low) == "9.6"
    assert value_of("no, CO2 is nine point six", asked, low) == "9.6"


def test_an_answer_binds_where_the_work_still_is_or_where_it_names_the_place_and_is_asked_back_elsewhere() -> None:
    """Each: what is said, the work's place, whether it came there since the question; the value, whether it binds."""
    boilers = (JobAppliance(tag="1", called=("boiler one",)), JobAppliance(tag="2", called=("boiler two",)))
    replies = Replies(SHEET, GRAMMAR, extract.Setting(units="us", appliances=boilers))
    asked = questioned(about("4.5", "o2").model_copy(update={"appliance": "1"}))
    here, low, there = ("1", "high_fire"), ("1", "low_fire"), ("2", "high_fire")

    def answer(text: str, at: tuple[str, str], left: bool, asked: Asked = asked) -> tuple[str, bool] | None:
        reply = replies.understand(heard(text, second=text), asked, at, left=left, prompt=True)
        return (reply.candidate.value, reply.clear) if reply else None

    assert answer("five point two", here, False) == ("5.2", True)
    assert answer("five point two", low, False) == ("5.2", True)  # asked after the move, the question named its place
    assert answer("five point two", low, True) == ("5.2", False)
    assert answer("high fire five point two", low, True) == ("5.2", True)
    assert answer("O2 is five point two", low, False) == ("5.2", False)
    assert answer("five point two", there, False) == ("5.2", False)
    assert answer("high fire, five point two", there, False) == ("5.2", False)
    assert answer("boiler one, five point two", there, True) == ("5.2", True)
    assert answer("four point five", there, False) == ("4.5", True)  # what was offered, with its place
    assert answer("boiler two, five point two", here, False) is None
    assert answer("on boiler two I can't make it out, seventy something", here, False) is None
    back = Asked("…", "value", (asked.candidates[0],))
    assert answer("five point two", low, True, back) is None
    assert answer("no, five point two", low, True, back) == ("5.2", True)
    assert answer("no, five point two", there, True, back) == ("5.2", False)


def test_what_was_only_said_back_is_corrected_with_a_no_where_a_quantity_is_named() -> None:
    row = Asked("high fire: …", "value", (about("9.3"), about("4.4", "o2").model_copy(update={"reading": "s"})))
    assert value_of("O2 four point six", row) is None
    assert value_of("no, O2 four point six", row) == "4.6"
    assert value_of("no, four point six", row) is None  # of which of them?
    assert value_of("nine point six", Asked("…", "value", (about("9.3"),))) == "9.6"


def test_another_value_than_the_one_that_stands_is_asked_with_it() -> None:
    back = WORDING.said_back(reading("co", "high_fire", "31", "[ppm]"))
    other = back.candidates[0].model_copy(update={"value": "47"})
    asked = WORDING.back(back, other, stands=True)
    assert asked.text == "C O, high fire: thirty-one, or forty-seven?"
    assert [one.value for one in asked.candidates] == ["31", "47"]
    was = WORDING.replaced(reading("co", "high_fire", "31", "[ppm]"), reading("co", "high_fire", "13", "[ppm]"))
    assert was.text == "C O, high fire, thirty-one. It was thirteen."
    assert WORDING.back(was, was.candidates[0]).text == "C O, high fire: thirty-one, or thirteen?"


def test_a_number_that_cannot_be_made_out_is_an_unclear_answer_and_no_new_reading() -> None:
    asked = questioned(about("76", "co", "high_fire", "[ppm]"))
    for text in ("seven G four", "76 or so 12"):
        reply = REPLIES.understand(heard(text, second=text), asked)
        assert reply is not None
        assert not reply.clear
    for text in ("O2 four point four", "low fire, seven G four", "the wrench"):
        assert REPLIES.understand(heard(text, second=text), asked) is None


def test_a_code_is_answered_by_spelling_it() -> None:
    asked = questioned(about("AB12", "serial", "", ""))
    assert value_of("A B one three", asked) == "AB13"
    assert value_of("serial A B one three", asked) == "AB13"
    assert value_of("Velmora four hundred", asked) is None
    assert value_of("T number one three B", asked) is None


def test_of_two_values_of_one_slot_the_one_that_is_said_is_meant() -> None:
    first, second = about("9.3"), about("9.5").model_copy(update={"reading": "s"})
    question = questioned(first, second).question
    assert question is not None
    asked = WORDING.question(question)
    assert asked is not None
    assert asked.text == "C O two, high fire: nine point three, or nine point five?"
    for text, reading in (("nine point five", "s"), ("nine point three", "r"), ("nine point six", "r")):
        reply = REPLIES.understand(heard(text, second=text), asked)
        assert reply is not None
        assert reply.candidate.reading == reading


def test_names_are_not_asked_aloud() -> None:
    assert WORDING.question(questioned(about("Ray Ostrinder", "technician", "", "")).question or fail()) is None


def test_a_reply_that_two_ways_of_hearing_do_not_share_is_not_clear() -> None:
    reply = REPLIES.understand(heard("nine point five", second="9.9"), Asked("?", "yes", (about("9.3"),)))
    assert reply is not None
    assert not reply.clear


def test_a_minus_that_is_not_said_again_is_not_clear() -> None:
    asked = Asked("?", "value", (about("-0.02", "outlet_pressure", "low_fire", "[in_i'H2O]"),))
    clear = REPLIES.understand(heard("minus point oh two", second="minus 0.02"), asked)
    bare = REPLIES.understand(heard("point oh two", second="0.02"), asked)
    assert clear is not None
    assert (clear.candidate.value, clear.clear) == ("-0.02", True)
    assert bare is None or not bare.clear


def test_a_choice_is_made_by_its_name() -> None:
    high, low = about("9.3"), about("9.3", condition="low_fire")
    asked = Asked("nine point three, high fire, or low fire?", "choice", (high, low))
    reply = REPLIES.understand(heard("Low fire.", second="Low fire."), asked)
    assert reply is not None
    assert reply.candidate == low
    assert REPLIES.understand(heard("Low fire.", second="High fire."), asked) is None


def test_a_choice_told_of_the_past_is_made_and_words_that_choose_nothing_are_asked_back() -> None:
    high, low = about("4.1", "o2"), about("4.1", "o2", "low_fire")
    asked = Asked("four point one, O two: high fire, or low fire?", "choice", (high, low))
    reply = REPLIES.understand(heard("that was high fire", second="That was high fire."), asked)
    assert reply is not None
    assert (reply.candidate, reply.clear) == (high, True)
    for text in ("neither", "the other one", "it's the same"):
        unclear = REPLIES.understand(heard(text, second=text), asked)
        assert unclear is not None
        assert (unclear.kind, unclear.clear) == ("unclear", False)
    for text in ("left hand thread on that", "both the pumps are running", "right", "all right then"):
        assert REPLIES.understand(heard(text, second=text), asked) is None


@pytest.mark.parametrize(
    ("text", "value", "clear"), [("It's minus.", "-0.03", True), ("plus", "0.03", True), ("negative", "-0.03", False)]
)
def test_a_sign_by_itself_answers_where_only_the_sign_was_asked(text: str, value: str, clear: bool) -> None:
    one = about("0.03", "outlet_pressure", "low_fire", "[in_i'H2O]")
    asked = Asked("point oh three, or minus point oh three?", "value", (one, one.model_copy(update={"value": "-0.03"})))
    reply = REPLIES.understand(heard(text, second=text), asked)
    assert reply is not None
    assert (reply.candidate.value, reply.clear) == (value, clear)
    other = Asked("…", "value", (one, one.model_copy(update={"value": "-0.3"})))
    assert REPLIES.understand(heard(text, second=text), other) is None


def test_a_quantity_that_only_one_way_of_hearing_has_is_offered() -> None:
    inlet, offset = about("18.6", "inlet_pressure", unit="mbar"), about("18.6", "outlet_pressure", unit="mbar")
    asked = Asked("eighteen point six: Inlet pressure, or Offset pressure?", "choice", (inlet, offset))
    reply = REPLIES.understand(heard("Inlet pressure", second="It didn't lift pressure."), asked)
    assert reply is not None
    assert (reply.kind, reply.candidate, reply.clear) == ("choice", inlet, False)
    assert WORDING.back(asked, inlet).text == "That was Inlet pressure, right?"
    assert REPLIES.understand(heard("Inlet pressure", second="Offset pressure"), asked) is None
    long = "inlet pressure goes up when they run the other one on that line"
    assert REPLIES.understand(heard(long, second=long), asked) is None


@pytest.mark.parametrize(
    "text",
    ["not high fire", "it isn't high fire", "not sure if high fire", "maybe high fire", "going to high fire now"],
)
def test_a_choice_is_not_taken_from_words_that_deny_or_doubt_it(text: str) -> None:
    asked = Asked(
        "nine point three, high fire, or low fire?", "choice", (about("9.3"), about("9.3", "co2", "low_fire"))
    )
    assert REPLIES.understand(heard(text, second=text), asked) is None
    assert REPLIES.understand(heard("high fire", second=text), asked) is None


@pytest.mark.parametrize(
    ("text", "tag"), [("boiler one", "1"), ("number two", "2"), ("It's boiler two.", "2"), ("Two.", "2")]
)
def test_an_appliance_is_chosen_by_its_name(text: str, tag: str) -> None:
    appliances = (JobAppliance(tag="1", called=("boiler one",)), JobAppliance(tag="2", called=("boiler two",)))
    replies = Replies(SHEET, GRAMMAR, extract.Setting(units="us", appliances=appliances))
    one, two = (about("9.3").model_copy(update={"appliance": tag}) for tag in ("1", "2"))
    reply = replies.understand(heard(text, second=text), Asked("nine point three: 1, or 2?", "choice", (one, two)))
    assert reply is not None
    assert (reply.kind, reply.candidate.appliance) == ("choice", tag)
    north = Replies(
        SHEET,
        GRAMMAR,
        extract.Setting(units="us", appliances=(JobAppliance(tag="1", called=("north",)), JobAppliance(tag="2"))),
    )
    named = north.understand(heard("north", second="North."), Asked("?", "choice", (one, two)))
    assert named is not None
    assert (named.candidate.appliance, named.clear) == ("1", True)
    faint = replies.understand(heard("Oh, either one.", second="Oh, either one."), Asked("?", "choice", (one, two)))
    assert faint is not None
    assert (faint.candidate.appliance, faint.clear) == ("1", False)
    asked_back = WORDING.back(Asked("?", "choice", (one, two)), faint.candidate)
    assert (asked_back.text, asked_back.wants) == ("That was boiler 1, right?", "offer")
    for text in ("nine point one", "CO2 nine point one", "that one there is stuck again and the fan is humming along"):
        other = replies.understand(heard(text, second=text), Asked("?", "choice", (one, two)))
        assert other is None or other.kind != "choice"
    denied = replies.understand(heard("not boiler two", second="boiler two"), Asked("?", "choice", (one, two)))
    assert denied is not None
    assert not denied.clear


def test_the_first_of_two_that_were_offered_is_asked_back() -> None:
    asked = questioned(about("7.0", "inlet_pressure"), about("7.6", "inlet_pressure"))
    asked = Asked("seven point zero, or seven point six?", "value", asked.candidates, asked.question)
    for text, value in (("The first one.", "7.0"), ("The second.", "7.6")):
        reply = REPLIES.understand(heard(text, second=text), asked)
        assert reply is not None
        assert (reply.candidate.value, reply.clear) == (value, False)
    assert REPLIES.understand(heard("The first one.", second="The thirst one."), asked) is None
    only = Asked("seven point zero, right?", "value", asked.candidates[:1], asked.question)
    assert REPLIES.understand(heard("The first one.", second="The first one."), only) is None


def both(text: str) -> Utterance:
    return heard(text, second=text)


def test_a_sheet_adds_ways_to_say_a_command() -> None:
    more = spoken_on(SHEET.model_copy(update={"commands": {"hold": ("Pipe down.",), "note": ("jot this down",)}}))
    assert command_of(both("Pipe down, mate."), more) == "hold"
    assert command_of(both("Hold it."), more) == "hold"
    assert command_of(both("Pipe down, mate."), spoken()) is None
    assert note_of(both("Jot this down the flap sticks."), more) == "the flap sticks."


def test_a_sheet_cannot_give_the_words_of_one_command_to_another() -> None:
    sheet = SHEET.model_copy(update={"commands": {"yes": ("leave it",)}})
    with pytest.raises(BadInput, match="“leave it” as a way to say yes, which is skip already"):
        spoken_on(sheet)


def test_a_sheet_cannot_name_a_command_that_there_is_not() -> None:
    sheet = SHEET.model_dump(mode="json")
    with pytest.raises(ValidationError, match="commands"):
        Sheet.model_validate({**sheet, "commands": {"louder": ["speak up"]}})
