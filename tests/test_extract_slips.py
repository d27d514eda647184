"""Pieces of numbers that recognisers lose or add in noise: asked, where what stands beside the value tells of them."""

from __future__ import annotations

import pytest

from schemas.evidence import Utterance
from tests.test_extract_hearings import heard_as, readings


def noisy(text: str, snr_db: float = 10.0) -> Utterance:
    return heard_as((text, 1.0), second=text).model_copy(update={"snr_db": snr_db})


@pytest.mark.parametrize(
    "text",
    [
        "So return temperature settled at one twenty high enough maximum rate.",  # one twenty nine at
        "The supply water reads at one hundred thirty high net maximum rate.",
        "The fan reads five thousand six hundred and I'm at high fire.",
        "Flame signal is 12 and all microamps.",
        "The efficiency is 88 and I not.",
        "CO is seven G.",  # seventy
        "CO seven.",
        "I'm getting 5.44 oxygen.",
    ],
)
def test_a_number_that_may_lack_a_piece_or_have_one_too_many_is_asked(text: str) -> None:
    found = readings("High fire.", noisy(text))
    assert found
    assert not any(r.taken for r in found)


@pytest.mark.parametrize(
    "text",
    [
        "The supply water reads one hundred thirty, high fire.",
        "The fan reads five thousand six hundred and fifty at high fire.",
        "Return temperature is one hundred twenty and CO is forty five parts.",
        "CO is seven parts.",
        "CO is seventy.",
        "I'm getting 5.4 for oxygen.",
        "Oxygen is 5.44.",
    ],
)
def test_whole_numbers_are_taken_in_noise_too(text: str) -> None:
    found = readings("High fire.", noisy(text))
    assert found
    assert all(r.taken for r in found)


@pytest.mark.parametrize("text", ["CO is seven.", "Return temperature is 120 and I'm happy with that."])
def test_where_speech_is_clear_they_are_taken(text: str) -> None:
    assert [r.taken for r in readings("High fire.", noisy(text, 40.0))] == [True]


def test_talk_of_the_heating_behind_a_pressure_does_not_change_it() -> None:
    found = readings("Static on the inlet is 21.6 millibar.", noisy("The heating up to twenty five.", 40.0))
    assert [r.value for r in found if r.taken] in ([], ["21.6"])


@pytest.mark.parametrize(
    ("text", "condition"),
    [
        ("Millibar rate, fan speed three thousand eight hundred ten RPM.", "low_fire"),
        ("Mid even higher, the CO one hundred twenty two.", "low_fire"),
        ("The supply water is sitting at one hundred and ninety degrees at full iron.", "high_fire"),
        ("Gas pressure is sitting at four four inches, that smacks even rate.", "high_fire"),
    ],
)
def test_what_noise_makes_of_the_rates_is_known(text: str, condition: str) -> None:
    assert [r.condition for r in readings(noisy(text))] == [condition]


def test_a_rate_that_only_some_ways_of_hearing_have_is_offered_where_none_was_said_before() -> None:
    ways = ("Mini van grade, the flame current nine seven.", 0.6), ("Minimum rate, the flame current nine seven.", 0.4)
    said = heard_as(*ways, second="The flame current, 9.7.")
    (alone,) = readings(said)
    assert (alone.condition, alone.value, alone.taken) == ("low_fire", "9.7", False)
    (behind,) = [r for r in readings("High fire. CO2 nine three.", said) if r.quantity == "flame_signal"]
    assert (behind.condition, behind.taken) == ("high_fire", False)


def test_a_boiler_that_only_other_ways_of_hearing_name_puts_what_follows_in_doubt() -> None:
    garbled = heard_as(("Unboiler to melt.", 0.6), ("On boiler two now.", 0.4), second="On boiler two now.")
    found = readings("Boiler one, high fire. CO2 nine three.", garbled, "CO2 nine one.", tags=("1", "2"))
    assert [(r.value, r.taken) for r in found if r.appliance == "1"] == [("9.3", True)]
    assert [r.taken for r in found if r.value == "9.1"] == [False]
    again = heard_as(("Looking good.", 0.7), ("On boiler one.", 0.3), second="Looking good on boiler one.")
    found = readings("Boiler one, high fire. CO2 nine three.", again, "CO is seventy.", tags=("1", "2"))
    assert [(r.appliance, r.value, r.taken) for r in found] == [("1", "9.3", True), ("1", "70", True)]


def test_a_boiler_that_most_ways_of_hearing_name_is_offered_where_the_best_names_none() -> None:
    said = heard_as(("Bo two inlet static seven six.", 0.45), ("Boiler two inlet static seven six.", 0.55),
                    second="Boiler tube inlet static 7-6.")  # fmt: skip
    found = readings("Boiler one inlet static seven eight.", said, tags=("1", "2"))
    assert [(r.appliance, r.value, r.taken) for r in found] == [("1", "7.8", True), ("2", "7.6", False)]


def test_two_digits_that_were_written_as_a_list_are_one_value() -> None:
    said = heard_as(("High fire, C O two, eight, nine, C O fifty six.", 1.0), second="High fire, CO2, 8, 9, CO56.")
    assert [(r.quantity, r.value) for r in readings(said)] == [("co2", "8.9"), ("co", "56")]


def test_a_change_names_what_was_taken_before_although_something_else_is_open() -> None:
    said = heard_as(("High fire, C O two, eight nine, C O fifty six.", 1.0), second="High fire, CO2, 890, CO56.")
    found = readings(said, "Change the CO to 65.")
    assert [(r.quantity, r.value, r.taken) for r in found] == [("co2", "8.9", False), ("co", "65", True)]


def test_a_turn_heard_as_turning_is_asked_and_what_follows_was_read_after_it() -> None:
    text = "Going three eights of the turning on the high fire screw."
    found = readings(
        "High fire, as found CO2 is ten even.", heard_as((text, 1.0), second=text), "Efficiency ninety three."
    )
    assert [(r.quantity, r.value, r.phase) for r in found] == [
        ("co2", "10", "before"), ("valve_move", "0.375", ""), ("efficiency", "93", "after"),
    ]  # fmt: skip


def test_behind_a_turn_that_was_not_understood_nothing_is_taken_as_found() -> None:
    text = "Going three heights of the turning on the high fire screw."
    found = readings(
        "High fire, as found CO2 is ten even.", heard_as((text, 1.0), second=text), "Efficiency ninety three."
    )
    assert [(r.quantity, r.taken) for r in found if r.quantity == "efficiency"] == [("efficiency", False)]
    assert [a.phase for r in found if r.quantity == "efficiency" for a in r.alternatives] == ["after"]


@pytest.mark.parametrize(
    ("text", "second"),
    [
        ("At minimum, higher supply temperature shows 86 now.", "At minimum, higher supply temperature shows 86 now."),
        ("High fire, carbon dioxide seven eight.", "High fire, carbon, dioxide, seven, eight."),
        ("Maximum rate, CO2 is seven point oh percent.", "Maximum rate, CO2, minimum, 7.0 percent."),
        ("O2 is sitting at six oh percent, that's minimum rate.", "O2 is sitting at 6%. That's minimum rate."),
    ],
)
def test_what_a_second_opinion_writes_otherwise_and_means_alike_is_no_doubt(text: str, second: str) -> None:
    assert [r.taken for r in readings(heard_as((text, 1.0), second=second))] == [True]


def test_a_second_opinion_with_fewer_places_and_no_unit_is_no_confirmation() -> None:
    ways = ("Lock up is a day no eight point oh wait.", 0.6), ("Lock up is a day no eight wait.", 0.4)
    found = readings(heard_as(*ways, second="Lock up is a day, no, 8 wait."))
    assert not any(r.taken for r in found)


@pytest.mark.parametrize("word", ["or", "all", "a"])
def test_a_minus_with_a_word_behind_it_is_not_lost_unasked(word: str) -> None:
    text = f"Low fire outlet pressure negative {word} one three inches."
    assert not any(r.taken for r in readings(heard_as((text, 1.0), second=text)))


def test_before_behind_a_digit_may_be_the_end_of_a_number_and_says_nothing_of_what_comes_next() -> None:
    """ "Eighty four", heard as "eight before"."""
    ways = ("No, CO eight before.", 0.7), ("No, CO a before.", 0.3)
    found = readings("Low fire. CO 84.", heard_as(*ways, second="No, CO8 before."), "O2 five five.")
    assert [(r.quantity, r.value, r.phase) for r in found if r.taken] == [("o2", "5.5", "")]


def test_before_behind_a_whole_value_is_of_that_value() -> None:
    text = "CO2 8.6 before."
    found = readings("Low fire.", heard_as((text, 1.0), second=text))
    assert [(r.value, r.phase, r.taken) for r in found] == [("8.6", "before", True)]


def test_a_letter_that_only_some_ways_of_hearing_have_makes_no_unit_unasked() -> None:
    """ "Sixty six", heard as "six C six"."""
    ways = ("No, CO six C six.", 0.7), ("No, CO six T six.", 0.3)
    found = readings("High fire. Flue temp 116.", heard_as(*ways, second="No, CO6-66."))
    assert not [r for r in found if r.unit == "Cel" and r.taken]
    both = readings("High fire.", heard_as(("Flue temp 56 C.", 1.0), second="Flue temp 56 C."))
    assert [(r.unit, r.taken) for r in both] == [("Cel", True)]
    spelt = readings("High fire.", heard_as(("CO air free is 38 P P M.", 1.0), second="CO air-free is 38 km."))
    assert [(r.value, r.taken) for r in spelt] == [("38", True)]
