"""No reading that can be recorded stops the checks, however odd: over range, without its unit, far off, anywhere."""

from __future__ import annotations

import random

import pytest

from checks import check
from schemas.load import load_appliance, load_sheet
from schemas.readings import Reading, Source
from schemas.sheet import Quantity
from tests.test_checks_verdicts import SHEET, found, reading

FILE, _ = load_appliance("orrinvale-ov-240c")
VALUES = ("0", "-1", "5", "9.3", "20.9", "21", "100", "500", "over range", "over range", "7.50", "-0.02", "1000000")


def test_an_ambient_temperature_over_range_is_no_figure_of_the_flue_gas() -> None:
    row = [reading(q, "high_fire", v) for q, v in (("o2", "4.1"), ("flue_temp", "120"), ("efficiency", "60"))]
    air = reading("ambient_temp", "", "over range", unit="[degF]")
    assert not [one for one in found(*row, air) if air.id in one.readings and one.verdict == "conflicting"]


@pytest.mark.parametrize("unit", ["", "[in_i'H2O]"])
def test_a_rated_input_whose_unit_was_not_made_out_rates_nothing(unit: str) -> None:
    clocked = reading("clocked_input", "high_fire", "300000")
    plate = reading("input_max", "", "240000", unit=unit)
    assert "stop" not in {one.verdict for one in found(clocked, plate, file=None)}
    plate = reading("input_max", "", "240000")
    assert "stop" in {one.verdict for one in found(clocked, plate, file=None)}


@pytest.mark.parametrize("name", [SHEET.id, "gas-tightness-test"])
def test_jobs_of_odd_readings_are_checked(name: str) -> None:
    draw, sheet = random.Random(40), load_sheet(name)[0]
    for _ in range(150):
        numbers = [quantity for quantity in sheet.quantities if quantity.kind == "number"]
        job = [_odd(n, quantity, draw) for n, quantity in enumerate(draw.choices(numbers, k=draw.randint(5, 25)))]
        assert isinstance(check(job, sheet, appliance=draw.choice((None, FILE))), tuple)


def _odd(n: int, quantity: Quantity, draw: random.Random) -> Reading:
    places = (*quantity.conditions, *quantity.conditions, "", None)
    return Reading(
        id=f"r{n}",
        quantity=quantity.id,
        condition=draw.choice(places),
        value=draw.choice(VALUES),
        phase=draw.choice(("", "before", "after")),
        unit=draw.choice((*quantity.units, "")),
        source=Source(evidence="0" * 64),
    )
