"""What is possible, what is usual, another unit, and the fan against the input. Ranges are the sheet's."""

from __future__ import annotations

from typing import Any

import pytest

from checks import check
from schemas.appliance import ApplianceFile, ApplianceLimit
from schemas.doubts import Doubt, DoubtKind
from schemas.findings import Finding
from schemas.load import load_appliance, load_sheet
from schemas.readings import Reading, Source

SHEET, _ = load_sheet("gas-boiler-start-up")
FILE, SHA256 = load_appliance("orrinvale-ov-240c")
PROPANE, _ = load_appliance("ulverdeen-ud-28p")
BARE = FILE.model_copy(update={"limits": (), "relations": ()})


def reading(quantity: str, condition: str, value: str, unit: str = "", **more: Any) -> Reading:
    more.setdefault("id", f"{quantity}/{condition}={value}")
    return Reading(
        quantity=quantity, condition=condition, value=value, unit=unit, source=Source(evidence="0" * 64), **more
    )


def judged(*readings: Reading, file: ApplianceFile | None = None) -> list[Finding]:
    rules = ("impossible", "unusual", "unit_slip", "fan_speed_and_input")
    return [f for f in check(readings, SHEET, appliance=file) if f.rule in rules]


@pytest.mark.parametrize(
    ("quantity", "condition", "value", "unit"),
    [
        ("flue_temp", "high_fire", "290", "[degF]"),
        ("flue_temp", "high_fire", "15", "Cel"),  # 59 °F
        ("o2", "low_fire", "12", "%"),
        ("efficiency", "high_fire", "70", "%"),
        ("co2", "high_fire", "12.9", "%"),
        ("co2", "high_fire", "5.9", "%"),
        ("fan_speed", "high_fire", "9800", "/min"),
        ("supply_temp", "high_fire", "240", "[degF]"),
    ],
)
def test_an_unusual_value_is_looked_at_again(quantity: str, condition: str, value: str, unit: str) -> None:
    (finding,) = judged(reading(quantity, condition, value, unit))
    assert (finding.rule, finding.verdict) == ("unusual", "look again")
    assert finding.readings == (f"{quantity}/{condition}={value}",)
    assert "mostly it is" in finding.text


@pytest.mark.parametrize(
    ("quantity", "condition", "value", "unit"),
    [
        ("flue_temp", "high_fire", "240", "[degF]"),
        ("flue_temp", "high_fire", "115.5", "Cel"),  # 239.9 °F by the definition of the scales
        ("o2", "low_fire", "10.5", "%"),
        ("co2", "high_fire", "6", "%"),
        ("co2", "high_fire", "11.6", "%"),
    ],
)
def test_the_ends_of_what_is_usual_are_usual(quantity: str, condition: str, value: str, unit: str) -> None:
    assert judged(reading(quantity, condition, value, unit)) == []


def test_what_cannot_be_is_conflicting() -> None:
    for one in (reading("efficiency", "high_fire", "9.34", "%"), reading("flue_temp", "high_fire", "1180", "[degF]")):
        (finding,) = judged(one)
        assert (finding.rule, finding.verdict) == ("impossible", "conflicting")


def test_another_unit_is_named_where_it_explains_the_number() -> None:
    # 17.4 mbar are 6.99 in. w.c., 131 °F are 55 °C (NIST SP 811, Appendix B.8 and B.9).
    for one, unit in (
        (reading("inlet_pressure", "static", "17.4", "[in_i'H2O]"), "mbar"),
        (reading("flue_temp", "high_fire", "55", "[degF]"), "°C"),
        (reading("flue_temp", "high_fire", "131", "Cel"), "°F"),
    ):
        (finding,) = judged(one)
        assert (finding.rule, finding.verdict) == ("unit_slip", "look again")
        assert f"was it {unit}?" in finding.text


def test_the_maker_s_limit_goes_before_what_is_usual() -> None:
    allows = BARE.model_copy(update={"limits": (ApplianceLimit(quantity="co2", low="11", high="12.2", unit="%"),)})
    assert judged(reading("co2", "high_fire", "11.9", "%"), file=allows) == []
    (outside,) = check(
        [reading("co2", "high_fire", "12.4", "%")], SHEET, appliance=allows.model_copy(update={"fuel": "propane"})
    )
    assert outside.verdict == "outside"


def test_within_a_limit_of_one_end_is_not_all() -> None:
    ends = (
        ApplianceLimit(quantity="flame_signal", low="1.5", unit="uA"),
        ApplianceLimit(quantity="flue_temp", high="185", unit="[degF]"),
    )
    file = BARE.model_copy(update={"limits": ends})
    for one, told in (
        (reading("flame_signal", "high_fire", "500", "uA"), ["impossible"]),
        (reading("flue_temp", "high_fire", "20", "[degF]"), ["impossible"]),
        (reading("flue_temp", "high_fire", "55", "[degF]"), ["unit_slip"]),
        (reading("flue_temp", "high_fire", "130", "[degF]"), []),
    ):
        assert [f.rule for f in judged(one, file=file)] == told


def test_what_is_said_of_a_reading_is_not_said_twice() -> None:
    (finding,) = check([reading("ambient_co", "", "40", "[ppm]")], SHEET)
    assert finding.rule == "ambient_co_35"


def test_a_high_co_is_told_once() -> None:
    row = [reading("co", "high_fire", "290", "[ppm]"), reading("co_air_free", "high_fire", "367", "[ppm]")]
    assert [
        f.rule for f in check([*row, reading("o2", "high_fire", "4.4", "%")], SHEET) if f.verdict != "cannot tell"
    ] == ["flue_co_100"]
    assert [f.rule for f in judged(row[1])] == ["unusual"]


def test_a_value_that_is_asked_about_is_not_judged() -> None:
    doubts = (Doubt(kind=DoubtKind.UNUSUAL),)
    assert judged(reading("flue_temp", "high_fire", "290", "[degF]", doubts=doubts)) == []


def test_an_unusual_value_from_before_is_superseded() -> None:
    before = reading("o2", "high_fire", "12", "%", phase="before")
    (finding,) = judged(before, reading("o2", "high_fire", "4.6", "%", phase="after"))
    assert finding.superseded


# ---------------------------------------------------------------- fan and input
def fans(low: str, high: str) -> list[Reading]:
    return [reading("fan_speed", "low_fire", low, "/min"), reading("fan_speed", "high_fire", high, "/min")]


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        ("1315", "5260", False),  # a quarter, as the inputs of this file: 60,000 and 240,000 Btu/h
        ("1500", "5260", False),  # 14 % above
        ("1550", "5260", True),  # 18 % above
        ("1100", "5260", True),  # 16 % below
        ("380", "5260", True),  # a digit dropped
    ],
)
def test_the_fan_follows_the_input(low: str, high: str, told: bool) -> None:
    found = [f for f in judged(*fans(low, high), file=BARE) if f.rule == "fan_speed_and_input"]
    assert bool(found) is told
    if told:
        assert found[0].verdict == "look again"
        assert found[0].readings == (f"fan_speed/low_fire={low}", f"fan_speed/high_fire={high}")


def test_fan_speeds_within_the_maker_s_limits_need_no_rule() -> None:
    rule = "fan_speed_and_input"  # 26 % of the speed for 20 % of the input, as this maker wants it
    assert rule not in [f.rule for f in judged(*fans("1700", "6500"), file=PROPANE)]
    bare = PROPANE.model_copy(update={"limits": (), "relations": ()})
    assert rule in [f.rule for f in judged(*fans("1700", "6500"), file=bare)]


def test_without_inputs_nothing_is_said_of_the_fan() -> None:
    assert judged(*fans("1550", "5260")) == []
    plate = [reading("input_max", "", "240000", "[Btu_IT]/h"), reading("input_min", "", "60000", "[Btu_IT]/h")]
    assert len(judged(*fans("1550", "5260"), *plate)) == 1
