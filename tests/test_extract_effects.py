"""What an utterance does to readings without a number of its own: asked where the ways of hearing it differ."""

from __future__ import annotations

import pytest

from schemas.doubts import DoubtKind
from tests.test_extract_hearings import heard_as, readings


def test_a_reading_that_only_one_way_of_hearing_moves_is_asked_and_offered_where_it_was() -> None:
    """ "Down to minimum.", heard as "that was a minimum"."""
    ways = ("That was a minimum.", 0.57), ("Now it's a minimum.", 0.27), ("That's a minimum.", 0.16)
    (co2,) = readings("High fire. CO2 nine three.", heard_as(*ways, second="Now it's a minimum."))
    assert (co2.condition, [d.kind for d in co2.doubts]) == ("low_fire", [DoubtKind.CONDITION_UNCLEAR])
    assert co2.alternatives[0].condition == "high_fire"


@pytest.mark.parametrize("text", ["Sorry, that was low fire.", "No, low fire."])
def test_one_that_all_of_them_move_is_not(text: str) -> None:
    (co2,) = readings("High fire. CO2 nine three.", heard_as((text, 1.0), second=text))
    assert (co2.condition, co2.taken) == ("low_fire", True)


@pytest.mark.parametrize(
    ("best", "other"),
    [
        ("It's on natural gas.", "It's on propane gas."),
        ("Analyser calibrated May third twenty twenty six.", "Analyser calibrated June 3, 2026."),
        ("Serial is A B 4 4 1.", "Serial is AD 441."),
    ],
)
def test_a_fuel_a_date_or_a_code_heard_in_two_ways_is_asked_with_both(best: str, other: str) -> None:
    (found,) = readings(heard_as((best, 0.8), (other, 0.2), second=other))
    assert not found.taken
    assert found.alternatives[0].value not in (None, found.value)
    (found,) = readings(heard_as((best, 1.0), second=best))
    assert found.taken


def test_the_way_a_screw_was_turned_heard_in_two_ways_is_asked() -> None:
    ways = ("Throttle a quarter turn in.", 0.7), ("Throttle a quarter turn out.", 0.3)
    *_, turn = readings("High fire. CO2 nine nine.", heard_as(*ways, second="Throttle a quarter turn out."))
    assert not turn.taken
    *_, turn = readings("High fire. CO2 nine nine.", heard_as(*ways, second="Throttle a quarter turn in."))
    assert turn.taken


def test_what_follows_a_firing_rate_gone_to_in_one_way_of_hearing_only_is_asked() -> None:
    ways = ("Going to low fire.", 0.8), ("Going to high fire.", 0.2)
    (co2,) = readings(heard_as(*ways, second="Going to high fire."), "CO2 nine three.")
    assert [d.kind for d in co2.doubts] == [DoubtKind.CONDITION_UNCLEAR]
    (co2,) = readings(heard_as(*ways, second="Going to low fire."), "CO2 nine three.")
    assert co2.taken


def test_a_number_whose_twin_with_teen_or_ty_was_heard_too_is_asked() -> None:
    ways = ("High fire, the fan is at 1515.", 0.62), ("High fire, the fan is at 1550.", 0.38)
    (fan,) = readings(heard_as(*ways, second="High fire, the fan is at 1515."))
    assert not fan.taken
    assert fan.alternatives[0].value == "1550"


def test_going_to_another_firing_rate_moves_nothing_and_behind_a_no_it_is_asked() -> None:
    (co2,) = readings("High fire. CO2 nine three.", "No, down to minimum.")
    assert (co2.condition, co2.taken, co2.alternatives[0].condition) == ("high_fire", False, "low_fire")
    (co2,) = readings("High fire. CO2 nine three.", "Now down to minimum.")
    assert (co2.condition, co2.taken) == ("high_fire", True)


def test_the_turn_that_was_heard_in_two_ways_is_the_one_that_is_asked() -> None:
    earlier = "High fire. Turned the throttle a quarter turn out."
    heard = heard_as(("Turned the throttle an eighth turn out.", 1.0), second="Turned the throttle an eighth turn in.")
    found = readings(earlier, "CO2 nine two.", heard)
    assert [(r.value, r.taken) for r in found if r.quantity == "valve_move"] == [("0.25", True), ("0.125", False)]
    two = "Turned the throttle a quarter out. Turned the offset an eighth in."
    found = readings("High fire.", heard_as((two, 0.5), (two[:34], 0.5), second=two))
    assert all(r.taken for r in found)


def test_a_first_label_heard_in_two_ways_is_asked() -> None:
    ways = ("That was high fire.", 0.6), ("That was low fire.", 0.4)
    (co2,) = readings("CO2 nine two.", heard_as(*ways, second="That was low fire."))
    assert (co2.taken, co2.alternatives[0].condition) == (False, "low_fire")


def test_a_reading_that_was_asked_so_can_still_be_corrected() -> None:
    moved = heard_as(("That was low fire.", 1.0), second="That was high fire.")
    (fan,) = readings("High fire.", "Fan speed 5800.", moved, "Correction, fifty seven hundred.")
    assert (fan.value, fan.taken) == ("5700", False)


def test_a_past_going_is_a_correction_of_all_that_was_said_and_a_going_behind_a_label_is_of_what_follows() -> None:
    row = "CO2 nine two, O2 four eight."
    assert {r.condition for r in readings("High fire.", row, "No, I was down to minimum.")} == {"low_fire"}
    assert not any(r.taken for r in readings("High fire.", row, "No, down to minimum."))
    found = readings("High fire. CO2 nine two.", "That was high fire, now going to low fire.", "CO2 eight eight.")
    assert [(r.condition, r.value, r.taken) for r in found] == [("high_fire", "9.2", True), ("low_fire", "8.8", True)]


def test_a_value_behind_one_of_no_firing_rate_that_was_taken_back_stops_nothing() -> None:
    (found,) = readings("Ambient 72.", "Scratch that.", "Seventy three.")
    assert (found.quantity, found.value) == ("ambient_temp", "73")
