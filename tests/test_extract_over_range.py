"""An instrument at the end of its scale is a reading, and for carbon monoxide it stops the work."""

from __future__ import annotations

import pytest

from bench.stops import _stops
from schemas.doubts import DoubtKind
from schemas.load import load_sheet
from tests.test_extract_talk import grammar, kinds, talk


@pytest.mark.parametrize(
    ("text", "quantity", "condition"),
    [
        ("High fire. The CO is pegged.", "co", "high_fire"),
        ("High fire, O L on the CO.", "co", "high_fire"),
        ("Low fire. CO reads OL.", "co", "low_fire"),
        ("At high fire the CO is off the scale.", "co", "high_fire"),
        ("The flue temp's over range at high fire.", "flue_temp", "high_fire"),
    ],
)
def test_over_range_is_recorded(text: str, quantity: str, condition: str) -> None:
    context, _ = talk(text)
    (r,) = context.readings.values()
    assert (r.quantity, r.condition, r.value, r.taken) == (quantity, condition, "over range", True)


@pytest.mark.parametrize(
    "text",
    [
        "High fire, CO is not pegged.",
        "If the CO goes off the scale, shut it down.",
        "High fire. Is the CO pegged?",
        "High fire. CO was off the scale last year.",
    ],
)
def test_over_range_only_where_it_is_so(text: str) -> None:
    context, _ = talk(text)
    assert not context.readings


def test_over_range_a_number_beside_it_is_the_reading() -> None:
    context, _ = talk("High fire, CO pegged at 85.")
    assert [r.value for r in context.readings.values()] == ["85"]


def test_over_range_against_a_value_said_before_is_asked() -> None:
    context, _ = talk("High fire. CO eighty five.", "CO is maxed out.")
    (r,) = context.readings.values()
    assert (r.value, [a.value for a in r.alternatives]) == ("over range", ["85"])
    assert DoubtKind.CONFLICT in kinds(r)
    context, _ = talk("High fire. CO eighty five.", "Now the CO is off the scale.")
    assert [(r.value, r.taken) for r in context.readings.values()] == [("over range", True)]


def test_over_range_without_a_name_is_asked() -> None:
    context, _ = talk("High fire. CO?", "It's pegged.")
    (r,) = context.readings.values()
    assert r.quantity == "co"
    assert not r.taken


@pytest.mark.parametrize("text", ["High fire. The CO is pegged.", "Low fire. It reads O L on the CO."])
def test_over_range_co_stops_the_work(text: str) -> None:
    sheet = load_sheet("gas-boiler-start-up")[0]
    assert {f.rule for f in _stops([text], text, sheet, grammar())} >= {"flue_co_air_free_400"}


def test_over_range_in_a_list_of_values_is_of_its_own_clause() -> None:
    context, _ = talk("Low fire CO2 eight nine, O2 five one, CO pegged.")
    found = {r.quantity: (r.condition, r.value) for r in context.readings.values()}
    assert found == {"co2": ("low_fire", "8.9"), "o2": ("low_fire", "5.1"), "co": ("low_fire", "over range")}


@pytest.mark.parametrize("text", ["High fire. CO is over range. Forty.", "High fire. CO is over range. Over range."])
def test_a_number_behind_it_without_a_name_breaks_nothing(text: str) -> None:
    context, _ = talk(text)
    assert "over range" in {r.value for r in context.readings.values()}


def test_each_clause_that_says_it_is_recorded() -> None:
    context, _ = talk("Ambient CO is over range and CO at high fire is over range.")
    found = {(r.quantity, r.condition) for r in context.readings.values() if r.value == "over range"}
    assert found == {("ambient_co", ""), ("co", "high_fire")}
