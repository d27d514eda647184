"""Laws of the flue gas that several readings keep together: efficiency on its basis, and CO air-free with CO, O2, CO2.

The spans of the efficiency come from the heat balance that test_physics_flue.py compares with cantera; CO air-free from
US EPA Method 19 and its algebra.
"""

from __future__ import annotations

from typing import Any

import pytest

from checks import check
from checks.efficiencies import basis_of
from schemas.findings import Finding
from schemas.load import load_appliance, load_sheet
from schemas.readings import Reading, Source

SHEET, _ = load_sheet("gas-boiler-start-up")
FILE, _ = load_appliance("orrinvale-ov-240c")
BARE = FILE.model_copy(update={"limits": (), "relations": ()})
UNITS = {**dict.fromkeys(("co", "co_air_free"), "[ppm]"), **dict.fromkeys(("flue_temp", "ambient_temp"), "[degF]")}


def reading(quantity: str, value: str, condition: str = "high_fire", heard: str = "", **more: Any) -> Reading:
    more.setdefault("id", f"{quantity}/{condition}={value}")
    return Reading(
        quantity=quantity,
        condition=condition,
        value=value,
        unit=UNITS.get(quantity, "%"),
        source=Source(evidence="0" * 64, heard=heard),
        **more,
    )


def laws(*readings: Reading, file: Any = BARE) -> list[Finding]:
    found = check(readings, SHEET, appliance=file)
    return [f for f in found if f.rule.startswith(("efficiency_", "air_free_"))]


AIR = reading("ambient_temp", "70", "")


def flue(efficiency: str, heard: str = "", condition: str = "high_fire") -> list[Reading]:
    """118 °F flue, 70 °F air, 4.6 % O2: 89.0 to 92.1 % of the gross heat, 98.7 to 102.1 % of the net."""
    return [
        reading("flue_temp", "118", condition),
        reading("o2", "4.6", condition),
        reading("efficiency", efficiency, condition, heard),
    ]


@pytest.mark.parametrize(
    ("shown", "heard", "broken"),
    [
        ("89.0", "gross efficiency eighty nine", False),
        ("99.0", "gross efficiency ninety nine", True),
        ("92.9", "Efficiency (gross)", False),
        ("99.0", "net efficiency ninety nine", False),
        ("89.0", "EFF net", True),
        ("102.9", "EFF net", False),
        ("89.0", "", False),
        ("99.0", "", False),
        ("95.0", "", True),  # neither
        ("87.5", "", True),
        ("98.4", "net temperature forty eight, efficiency ninety eight point four", False),  # names no basis
    ],
)
def test_an_efficiency_is_held_against_its_basis(shown: str, heard: str, broken: bool) -> None:
    found = [f for f in laws(AIR, *flue(shown, heard)) if f.rule == "efficiency_of_losses"]
    assert bool(found) is broken
    assert all(f.verdict == "conflicting" for f in found)


def test_a_basis_is_named_beside_the_efficiency() -> None:
    one = reading("efficiency", "89", note="net")
    assert basis_of(one) == "net"
    assert basis_of(reading("efficiency", "89", heard="net flue temp, efficiency eighty nine")) is None
    assert basis_of(reading("efficiency", "89", heard="efficiency on the gross is eighty nine")) == "gross"


def test_rows_of_one_instrument_share_a_basis() -> None:
    (finding,) = laws(AIR, *flue("89.0"), *flue("99.0", condition="low_fire"))
    assert (finding.rule, finding.verdict) == ("efficiency_on_two_bases", "look again")
    assert finding.readings == ("efficiency/high_fire=89.0", "efficiency/low_fire=99.0")
    assert laws(AIR, *flue("89.0"), *flue("91.8", condition="low_fire")) == []


@pytest.mark.parametrize(
    ("shown", "heard", "verdict"),
    [
        ("104", "efficiency one oh four", "look again"),
        ("104", "gross efficiency one oh four", "conflicting"),
        ("104", "net efficiency one oh four", None),
        ("99.5", "efficiency", None),
        ("99.6", "efficiency", "look again"),
    ],
)
def test_above_the_gross_heat(shown: str, heard: str, verdict: str | None) -> None:
    found = laws(reading("efficiency", shown, heard=heard), file=None)
    assert [(f.rule, f.verdict) for f in found] == ([("efficiency_above_gross", verdict)] if verdict else [])


# 140 °F flue, 70 °F air, 5.0 % O2 by the heat balance without condensation: 88.45 %.
@pytest.mark.parametrize(
    ("shown", "told"),
    [("88.0", False), ("88.9", False), ("87.8", True), ("89.0", True)],
)
def test_an_efficiency_that_formulas_seldom_give_is_looked_at_again(shown: str, told: bool) -> None:
    def row(value: str, condition: str) -> list[Reading]:
        heard = f"gross efficiency {value}"
        values = {"flue_temp": "140", "o2": "5.0"}
        return [reading(name, value, condition) for name, value in values.items()] + [
            reading("efficiency", value, condition, heard)
        ]

    found = laws(AIR, *row(shown, "high_fire"))
    assert [(f.rule, f.verdict) for f in found] == ([("efficiency_of_losses", "look again")] if told else [])
    # A second row off the same way is the instrument's own formula; one that is not off is no excuse.
    assert laws(AIR, *row(shown, "high_fire"), *row(shown, "low_fire")) == []
    assert bool(laws(AIR, *row(shown, "high_fire"), *row("88.4", "low_fire"))) is told


# ---------------------------------------------------------------- CO air-free
def row(co: str, air_free: str, condition: str = "high_fire", **gases: str) -> list[Reading]:
    return [
        reading("co", co, condition),
        reading("co_air_free", air_free, condition),
        *(reading(name, value, condition) for name, value in gases.items()),
    ]


# US EPA Method 19: 96 · 20.9 / (20.9 − 4.4) = 121.6; with every digit half a step off 119.6 to 123.6, and 0.4 for the
# oxygen of the instrument's air; beyond 1.3 ppm it is looked at again already.
@pytest.mark.parametrize(
    ("air_free", "verdict"),
    [
        ("122", None),
        ("121", None),
        ("123", "look again"),
        ("119", "look again"),
        ("127", "conflicting"),
    ],
)
def test_an_instrument_that_counts_by_o2_leaves_rounding_only(air_free: str, verdict: str | None) -> None:
    found = laws(*row("96", air_free, o2="4.4", co2="9.4"))
    assert [f.verdict for f in found] == ([verdict] if verdict else [])


@pytest.mark.parametrize("oxygen", [20.9, 20.95, 21.0])
@pytest.mark.parametrize("o2", ["2.0", "4.4", "6.6", "9.8"])
def test_the_oxygen_that_an_instrument_takes_for_air_is_no_reason_to_look_again(oxygen: float, o2: str) -> None:
    for co in (8, 60, 96, 310):
        air_free = round(co * oxygen / (oxygen - float(o2)))
        assert laws(*row(str(co), str(air_free), o2=o2)) == []


def test_a_misread_that_no_co2_explains_is_conflicting() -> None:
    (finding,) = laws(*row("96", "124", o2="4.4"))
    assert (finding.rule, finding.verdict) == ("air_free_of_co_and_o2", "conflicting")


def test_rows_teach_that_the_instrument_counts_by_co2() -> None:
    # 12.1 · 96 / 9.2 = 126.3 and 12.1 · 150 / 8.5 = 213.5, where O2 makes 121.6 and 205.
    one = row("96", "126", o2="4.4", co2="9.2")
    two = row("150", "213", "low_fire", o2="5.6", co2="8.5")
    assert [f.verdict for f in laws(*one)] == ["look again"]
    assert laws(*one, *two) == []
    assert [f.verdict for f in laws(*one, *row("150", "205", "low_fire", o2="5.6", co2="8.7"))] == ["look again"]


def test_an_o2_in_whole_per_cent_leaves_more_room() -> None:
    # 96 at 3.5 % O2 make 115, at 4.5 % 122.
    assert laws(*row("96", "121", o2="4")) == []
    assert [f.verdict for f in laws(*row("96", "128", o2="4"))] == ["conflicting"]


@pytest.mark.parametrize(("air_free", "broken"), [("25", False), ("26", False), ("27", False), ("200", True)])
def test_without_o2_it_is_held_against_co2(air_free: str, broken: bool) -> None:
    # 20 ppm at 9.2 % CO2 by hand: 20 · 11.9 / 9.2 = 25.9.
    found = laws(*row("20", air_free, co2="9.2"))
    assert [(f.rule, f.verdict) for f in found] == ([("air_free_of_co_and_co2", "conflicting")] if broken else [])


@pytest.mark.parametrize(
    ("co", "air_free", "told"),
    [("20", "200", True), ("96", "122", False), ("96", "97", True), ("1", "1", False), ("0", "0", False)],
)
def test_without_o2_and_co2_it_tells_the_o2_that_it_takes(co: str, air_free: str, told: bool) -> None:
    # 20.9 · (1 − 20 / 200) = 18.8 % O2; 20.9 · (1 − 96 / 122) = 4.5 %.
    found = laws(*row(co, air_free))
    assert [(f.rule, f.verdict) for f in found] == ([("air_free_needs_o2", "look again")] if told else [])
    if co == "20":
        assert "18.8 %" in found[0].text
