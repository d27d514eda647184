"""Questions and limits as they are said."""

from __future__ import annotations

import pytest

import extract
from front.limits import limit_words
from front.voice.replies import Replies
from front.voice.wording import Asked, Wording
from front.voice.words import plain
from jobs.fold import JobLimit
from schemas.doubts import Doubt, DoubtKind
from schemas.findings import Finding
from schemas.job import JobAppliance
from schemas.questions import Candidate, Question
from schemas.readings import QuotedLimit, Source
from tests.test_voice_words import GRAMMAR, REPLIES, SHEET, WORDING, about, heard, questioned, reading


def test_a_value_is_said_with_its_place_and_its_unit_where_another_could_be_meant() -> None:
    assert WORDING.reading(reading("co2", "high_fire", "9.3", "%")) == "C O two, high fire, nine point three"
    assert WORDING.reading(reading("inlet_pressure", "static", "7.0", "[in_i'H2O]")).endswith("seven point zero inches")
    assert WORDING.reading(reading("serial", "", "AB-17")).endswith("A B dash one seven")
    several = Wording(SHEET, several=True)
    assert several.reading(reading("co2", "high_fire", "9.3", "%")).startswith("boiler, ")


@pytest.mark.parametrize(
    ("value", "words"),
    [("2026-03-03", "March 3, 2026"), ("2026-11", "November 2026"), ("2026", "2026"), ("soon", "soon")],
)
def test_a_date_is_said_with_the_name_of_its_month(value: str, words: str) -> None:
    assert WORDING.value(value, "", "cal_date") == words


def test_what_is_missing_is_told_where_a_condition_begins_with_at() -> None:
    lacks = [Finding(rule="r", verdict="missing", text="-", quantity="inlet_pressure", condition="ignition")]
    told = WORDING.missing(WORDING.place("boiler", "ignition"), lacks)
    assert told == "Missing, at ignition: Inlet pressure."


def test_co_signs_and_serials_must_be_answered_with_their_value() -> None:
    for one in (reading("co", "high_fire", "76", "[ppm]"), reading("serial", "", "AB17")):
        assert WORDING.must_carry_value(one)
    assert WORDING.must_carry_value(reading("outlet_pressure", "low_fire", "0.02", "[in_i'H2O]"))
    assert WORDING.must_carry_value(reading("ambient_temp", "", "-3", "[degF]"))
    assert not WORDING.must_carry_value(reading("co2", "high_fire", "9.3", "%"))


def test_what_may_stop_the_work_is_confirmed_only_by_its_value_and_said_back_only_where_the_sheet_says_so() -> None:
    for one in (reading("ambient_co", "", "4", "[ppm]"), reading("leak_test", "", "failed", "")):
        assert WORDING.must_carry_value(one)
        assert not WORDING.must_say_back(one)
    assert not WORDING.must_carry_value(reading("leak_test", "", "passed", ""))


def test_a_pressure_beyond_the_makers_limit_is_confirmed_only_by_its_value() -> None:
    question = questioned(about("16.2", "inlet_pressure", "static", "[in_i'H2O]")).question
    assert question is not None
    mild, grave = WORDING.question(question), WORDING.question(question, question.readings)
    assert mild is not None
    assert grave is not None
    assert (mild.wants, grave.wants) == ("yes", "value")
    assert grave.text.endswith("Say the value.")


@pytest.mark.parametrize(
    ("candidates", "kind", "text", "wants"),
    [
        (
            (about("140", "flue_temp", unit="Cel"), about("140", "flue_temp", unit="[degF]")),
            DoubtKind.UNIT_UNCLEAR,
            "Flue temperature, high fire: one hundred forty degrees Celsius, or one hundred forty degrees Fahrenheit?",
            "value",
        ),
        (
            (about("49.8", "flue_temp", unit="Cel"), about("49.8", "return_temp", unit="Cel")),
            DoubtKind.QUANTITY_UNCLEAR,
            "forty-nine point eight: Flue temperature, or Return temperature?",
            "choice",
        ),
        (
            (about("9.3"), about("9.3", condition="low_fire")),
            DoubtKind.CONDITION_UNCLEAR,
            "nine point three, C O two: high fire, or low fire?",
            "choice",
        ),
        (
            (
                about("62", "co", unit="[ppm]").model_copy(update={"appliance": None}),
                about("6.2", "co", unit="[ppm]").model_copy(update={"appliance": None}),
                *(about("62", "co", unit="[ppm]").model_copy(update={"appliance": tag}) for tag in ("1", "2")),
            ),
            DoubtKind.APPLIANCE_UNCLEAR,
            "sixty-two, C O, high fire: boiler 1, or boiler 2?",
            "choice",
        ),
    ],
)
def test_what_is_unclear_is_all_that_is_asked(
    candidates: tuple[Candidate, ...], kind: DoubtKind, text: str, wants: str
) -> None:
    question = Question(
        id="q",
        readings=("r1",),
        appliance=None,
        quantities=tuple(dict.fromkeys(one.quantity for one in candidates)),
        condition="high_fire",
        text="?",
        doubts=(Doubt(kind=kind),),
        candidates=candidates,
        source=Source(evidence="0" * 64),
    )
    asked = WORDING.question(question)
    assert asked is not None
    assert (asked.text, asked.wants) == (text, wants)


def test_what_is_asked_for_a_yes_takes_one() -> None:
    first = about("8.7", condition="low_fire").model_copy(update={"appliance": None})
    question = questioned(first, first.model_copy(update={"appliance": "1"})).question
    assert question is not None
    doubts = (Doubt(kind=DoubtKind.CONDITION_UNCLEAR),)
    asked = WORDING.question(question.model_copy(update={"doubts": doubts}))
    assert asked is not None
    assert asked.text.endswith("right?")
    assert asked.wants == "yes"


def test_of_one_label_in_doubt_only_that_is_asked_and_of_two_both() -> None:
    first = about("55", "co", unit="[ppm]").model_copy(update={"appliance": None})
    ways = [first.model_copy(update={"appliance": tag, "value": n}) for tag in ("1", "2") for n in ("55", "5.5")]
    ways.append(ways[0].model_copy(update={"quantity": "co2", "unit": "%"}))

    def asked(*kinds: DoubtKind) -> Asked:
        question = questioned(first, *ways).question
        assert question is not None
        found = WORDING.question(question.model_copy(update={"doubts": tuple(Doubt(kind=kind) for kind in kinds)}))
        assert found is not None
        return found

    one = asked(DoubtKind.APPLIANCE_UNCLEAR, DoubtKind.VALUE_UNCLEAR)
    assert one.text == "fifty-five, C O, high fire: boiler 1, or boiler 2?"
    appliances = (JobAppliance(tag="1", called=("boiler one",)), JobAppliance(tag="2", called=("boiler two",)))
    replies = Replies(SHEET, GRAMMAR, extract.Setting(units="us", appliances=appliances))
    reply = replies.understand(heard("boiler two", second="boiler two"), one)
    assert reply is not None
    assert (reply.candidate, reply.clear) == (ways[2], True)
    both = asked(DoubtKind.APPLIANCE_UNCLEAR, DoubtKind.QUANTITY_UNCLEAR)
    assert len({candidate.quantity for candidate in both.candidates}) == 2


@pytest.mark.parametrize(("appliance", "named"), [("boiler two", "boiler two"), (None, "all appliances")])
def test_with_several_appliances_a_limit_says_for_which_it_holds(appliance: str | None, named: str) -> None:
    quoted = QuotedLimit(
        quantity="co2",
        condition="high_fire",
        low="8.5",
        high="9.5",
        unit="%",
        appliance=appliance,
        source=Source(evidence="0" * 64),
    )
    said = Wording(SHEET, several=True).limit("k", quoted).text
    assert said == f"Limit, {named}, C O two, high fire, eight point five to nine point five, right?"
    listed = limit_words(JobLimit(key="k", quoted=quoted), SHEET, several=True)
    assert listed == f"{named}, high fire CO2 8.5 to 9.5 %"


def test_a_limit_is_read_back_with_both_ends_and_no_zero_lost() -> None:
    def limit(quantity: str, low: str | None, high: str | None, unit: str) -> Asked:
        source = Source(evidence="0" * 64)
        return WORDING.limit(
            "k", QuotedLimit(quantity=quantity, condition="high_fire", low=low, high=high, unit=unit, source=source)
        )

    assert limit("co2", "8.50", "9.5", "%").text == (
        "Limit, C O two, high fire, eight point five zero to nine point five, right?"
    )
    again = limit("co", None, "100", "[ppm]")
    assert again.text == "Limit, C O, high fire, at most one hundred? Say the limit again."
    assert (again.wants, again.limit, [one.value for one in again.candidates]) == ("value", "k", ["100"])
    assert limit("inlet_pressure", "4.0", None, "[in_i'H2O]").text == (
        "Limit, Inlet pressure, high fire, at least four point zero inches, right?"
    )


@pytest.mark.parametrize(
    ("text", "clear"),
    [
        ("eighty", True),
        ("eighty ppm", True),
        ("max eighty", True),
        ("no more than eighty", True),
        ("under eighty", True),
        ("CO eighty", True),
        ("yes, limit eighty", True),
        ("ninety", False),
        ("at least eighty", False),
        ("not eighty", False),
        ("no, eighty", False),
        ("eighty or ninety", False),
        ("eighty yesterday", False),
        ("CO sixty", None),
        ("O2 eighty", None),
        ("low fire, eighty", None),
        ("eighty inches", None),
        ("CO limit is eighty", None),
        ("pass me that wrench", None),
    ],
)
def test_a_limit_said_again_is_that_limit_and_no_reading(text: str, clear: bool | None) -> None:
    source = Source(evidence="0" * 64)
    quoted = QuotedLimit(quantity="co", condition="high_fire", low=None, high="80", unit="[ppm]", source=source)
    reply = REPLIES.understand(heard(text, second=text), WORDING.limit("k", quoted))
    assert (None if reply is None else reply.clear) == clear


def test_both_ends_of_a_limit_are_said_again() -> None:
    source, unit = Source(evidence="0" * 64), "[in_i'H2O]"
    quoted = QuotedLimit(
        quantity="outlet_pressure", condition="low_fire", low="-0.06", high="-0.02", unit=unit, source=source
    )
    asked = WORDING.limit("k", quoted)
    for text, clear in (("minus point oh six to minus point oh two", True), ("minus point oh two", False)):
        reply = REPLIES.understand(heard(text, second=text), asked)
        assert reply is not None
        assert reply.clear == clear


def test_texts_are_made_plain() -> None:
    assert plain("  That’s RIGHT, 9.3!") == "that's right 9.3"
