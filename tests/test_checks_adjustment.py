"""Adjustments, calibration, limits by altitude and fuel, the heat balance, and what rows give away of the instrument.

Physics behind the figures is compared with outside sources in test_physics_*.py; figures of a maker are invented.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from checks import calibration_findings, check
from checks.learned import FlueRow, off_the_formula
from physics.flue import efficiency, siegert_gross_efficiency
from physics.fuels import FUELS
from schemas.appliance import ApplianceFile, ApplianceLimit, ScrewEffect
from schemas.doubts import Doubt, DoubtKind
from schemas.errors import BadInput
from schemas.findings import Finding
from schemas.job import Instrument
from schemas.load import load_appliance, load_sheet
from schemas.readings import Reading, Source

SHEET, _ = load_sheet("gas-boiler-start-up")
FILE, SHA256 = load_appliance("orrinvale-ov-240c")
UNITS = {"co2": "%", "o2": "%", "co": "[ppm]", "valve_move": "{turn}", "altitude": "[ft_i]", "efficiency": "%"}


def reading(quantity: str, condition: str, value: str, phase: Any = "", **more: Any) -> Reading:
    more.setdefault("unit", UNITS.get(quantity, ""))
    more.setdefault("id", f"{quantity}/{condition}/{phase}/{value}")
    return Reading(
        quantity=quantity, condition=condition, value=value, phase=phase, source=Source(evidence="0" * 64), **more
    )


def rule(name: str, *readings: Reading, file: ApplianceFile | None = FILE) -> Finding | None:
    found = [f for f in check(readings, SHEET, appliance=file, file_sha256=SHA256 if file else None) if f.rule == name]
    assert len(found) < 2
    return found[0] if found else None


def adjusted(quantity: str, before: str, after: str, condition: str = "high_fire") -> list[Reading]:
    return [reading(quantity, condition, before, "before"), reading(quantity, condition, after, "after")]


# ---------------------------------------------------------------- before and after
@pytest.mark.parametrize(
    ("co2", "o2", "told"),
    [
        (("8.8", "9.2"), ("5.1", "5.5"), True),  # both up
        (("9.4", "9.0"), ("4.9", "4.5"), True),  # both down
        (("8.8", "9.2"), ("5.1", "4.4"), False),
        (("9.0", "9.1"), ("4.8", "4.9"), False),  # a step of the display
        (("9.0", "9.0"), ("4.8", "5.2"), False),
        (("8.9", "9.1"), ("5.1", "5.3"), False),  # an instrument that measures both may show this
    ],
)
def test_co2_and_o2_do_not_move_the_same_way(co2: tuple[str, str], o2: tuple[str, str], told: bool) -> None:
    finding = rule("co2_and_o2_same_way", *adjusted("co2", *co2), *adjusted("o2", *o2))
    assert (finding is not None) is told
    if finding is not None:
        assert finding.verdict == "conflicting"
        assert len(finding.readings) == 4


def with_screw(richer: Any) -> ApplianceFile:
    return FILE.model_copy(update={"screws": (ScrewEffect(screw="high_fire_screw", richer=richer, page="33"),)})


def moved(way: str, screw: str = "high_fire_screw") -> Reading:
    return reading("valve_move", "high_fire", "0.25", note=f"{screw} {way}".strip())


def test_the_way_told_by_the_maker() -> None:
    name, rose = "co2_against_the_turn", adjusted("co2", "8.8", "9.3")
    assert rule(name, *rose, moved("cw"), file=with_screw("clockwise")) is None
    finding = rule(name, *rose, moved("cw"), file=with_screw("counterclockwise"))
    assert finding is not None
    assert finding.verdict == "conflicting"
    assert "makes it leaner" in finding.text
    assert "page 33" in finding.basis
    assert rule(name, *rose, moved("ccw"), file=with_screw("counterclockwise")) is None
    # Without the maker's word, without a way, with turns both ways, or with another screw, nothing is said.
    assert rule(name, *rose, moved("cw")) is None
    assert rule(name, *rose, moved(""), file=with_screw("counterclockwise")) is None
    assert rule(name, *rose, moved("cw"), moved("ccw"), file=with_screw("counterclockwise")) is None
    assert rule(name, *rose, moved("cw", "low_fire_screw"), file=with_screw("counterclockwise")) is None


@pytest.mark.parametrize(
    ("before", "after", "told"), [("40", "80", True), ("40", "79", False), ("8", "18", False), ("0", "25", True)]
)
def test_a_co_that_doubles(before: str, after: str, told: bool) -> None:
    finding = rule("co_doubled", *adjusted("co", before, after))
    assert (finding is not None) is told
    assert finding is None or finding.verdict == "caution"


# ---------------------------------------------------------------- calibration
def test_calibration_past_due() -> None:
    on = date(2026, 3, 10)
    instruments = (
        Instrument(name="analyser", kind="analyser", serial="A1", due=date(2026, 3, 9)),
        Instrument(name="manometer", kind="manometer", due=date(2026, 3, 10)),
        Instrument(name="thermometer", kind="thermometer", calibrated=date(2025, 3, 8)),
        Instrument(name="meter", kind="multimeter", calibrated=date(2025, 3, 11)),
        Instrument(name="other", kind="other"),
    )
    first, second = calibration_findings(instruments, on)
    assert (first.verdict, second.verdict) == ("caution", "caution")
    assert "analyser (A1): its calibration was due on 2026-03-09" in first.text
    assert "thermometer: calibrated on 2025-03-08, more than a year before" in second.text


# ---------------------------------------------------------------- limits by altitude and fuel
def by_altitude(*limits: ApplianceLimit) -> ApplianceFile:
    return FILE.model_copy(update={"limits": limits, "relations": ()})


LOW = ApplianceLimit(quantity="co2", low="8.5", high="9.5", unit="%", altitude_to="2000", page="34")
HIGH = ApplianceLimit(quantity="co2", low="8.0", high="9.0", unit="%", altitude_from="2001", page="35")


@pytest.mark.parametrize(
    ("altitude", "unit", "verdict"),
    [("1200", "[ft_i]", "within"), ("2000", "[ft_i]", "within"), ("5200", "[ft_i]", "outside"), ("600", "m", "within"),
     ("609.6", "m", "within"), ("1600", "m", "outside")],
)  # fmt: skip
def test_the_limit_of_the_altitude_counts(altitude: str, unit: str, verdict: str) -> None:
    here = reading("altitude", "", altitude, unit=unit)
    finding = rule("limit", here, reading("co2", "high_fire", "9.3"), file=by_altitude(LOW, HIGH))
    assert finding is not None
    assert finding.verdict == verdict


def test_without_the_altitude_it_cannot_be_told() -> None:
    finding = rule("limit", reading("co2", "high_fire", "9.3"), file=by_altitude(LOW, HIGH))
    assert finding is not None
    assert finding.verdict == "cannot tell"
    assert "depends on the altitude" in finding.text


ASKED = (Doubt(kind=DoubtKind.HEARD_UNCLEARLY),)
HERE = reading("altitude", "", "5200")
HERE_PERHAPS = reading("altitude", "", "5200", doubts=ASKED)
LOWER = reading("altitude", "", "1000")


@pytest.mark.parametrize(
    ("known", "co2", "verdict"),
    [
        ([], "9.3", "cannot tell"),
        ([HERE_PERHAPS], "9.3", "cannot tell"),
        ([LOWER, HERE_PERHAPS], "9.3", "cannot tell"),
        ([LOWER], "9.3", "within"),
        ([HERE], "9.3", "outside"),
        # What every limit says of it needs no altitude.
        ([], "8.7", "within"),
        ([], "9.6", "outside"),
        ([HERE_PERHAPS], "8.7", "within"),
    ],
)
def test_a_general_limit_stands_while_one_of_an_altitude_would_say_the_same(
    known: list[Reading], co2: str, verdict: str
) -> None:
    general = ApplianceLimit(quantity="co2", low="8.5", high="9.5", unit="%")
    file = by_altitude(general, ApplianceLimit(quantity="co2", low="7.8", high="8.8", unit="%", altitude_from="4500"))
    finding = rule("limit", *known, reading("co2", "high_fire", co2), file=file)
    assert finding is not None
    assert finding.verdict == verdict
    assert (verdict == "cannot tell") is ("is one of 8.5 to 9.5 %, 7.8 to 8.8 %" in finding.text)


def test_what_no_altitude_allows_is_a_stop_without_the_altitude() -> None:
    low = ApplianceLimit(quantity="co", high="100", unit="[ppm]", altitude_to="2000")
    high = ApplianceLimit(quantity="co", high="90", unit="[ppm]", altitude_from="2000")
    inlet = ApplianceLimit(quantity="inlet_pressure", high="14", unit="[in_i'H2O]", altitude_to="10000")
    file = by_altitude(low, high, inlet)
    static = reading("inlet_pressure", "static", "20", unit="[in_i'H2O]")
    assert rule("inlet_pressure_too_high", static, file=file)
    assert rule("flue_co_limit", reading("co", "high_fire", "101"), file=file)
    # Some altitudes allow it: no stop before there is one that does not.
    between = reading("co", "high_fire", "95")
    assert rule("flue_co_limit", between, file=file) is None
    finding = rule("flue_co_limit", between, HERE_PERHAPS, file=file)
    assert finding is not None
    assert "the altitude is still in question" in finding.text
    assert rule("flue_co_limit", between, LOWER, file=file) is None


@pytest.mark.parametrize(
    ("plate", "static", "told"), [("10.5", "12", True), ("10.5", "10.5", False), ("0.5", "7", False)]
)
def test_a_plate_s_figure_in_question_stops_too(plate: str, static: str, told: bool) -> None:
    highest = reading("inlet_pressure_max", "", plate, unit="[in_i'H2O]", doubts=ASKED)
    finding = rule("inlet_pressure_too_high", highest, reading("inlet_pressure", "static", static, unit="[in_i'H2O]"))
    assert (finding is not None) is told
    assert finding is None or "the plate's figure is still in question" in finding.text


def test_the_limit_of_the_fuel_counts() -> None:
    gas = ApplianceLimit(quantity="co2", low="8.5", high="9.5", unit="%", fuel="natural_gas")
    propane = ApplianceLimit(quantity="co2", low="9.8", high="10.8", unit="%", fuel="propane")
    file = by_altitude(gas, propane)
    for fuel, verdict in (("natural_gas", "outside"), ("propane", "within")):
        finding = rule("limit", reading("fuel", "", fuel), reading("co2", "high_fire", "10.2"), file=file)
        assert finding is not None
        assert finding.verdict == verdict


def test_the_limits_of_another_gas_say_nothing() -> None:
    propane = reading("fuel", "", "propane")
    for row in (reading("co2", "high_fire", "9.2"), reading("co2", "high_fire", "9.8")):
        finding = rule("limit", propane, row)
        assert finding is not None
        assert finding.verdict == "cannot tell"
        assert "are for natural gas, and propane is recorded" in finding.text
    # With limits of that gas in the file, they count.
    named_gas = ApplianceLimit(quantity="co2", low="9.8", high="10.8", unit="%", fuel="propane")
    file = FILE.model_copy(update={"limits": (*FILE.limits, named_gas)})
    finding = rule("limit", propane, reading("co2", "high_fire", "9.9"), file=file)
    assert finding is not None
    assert finding.verdict == "within"


def test_a_stop_is_judged_on_the_limits_of_another_gas_too() -> None:
    propane = reading("fuel", "", "propane")
    assert rule("inlet_pressure_too_high", propane, reading("inlet_pressure", "static", "14.1", unit="[in_i'H2O]"))
    assert rule("flue_co_limit", propane, reading("co", "high_fire", "171"))


def test_a_limit_s_altitudes_run_upwards() -> None:
    with pytest.raises(ValueError, match="altitude_from 5000 is above altitude_to 2000"):
        ApplianceLimit(quantity="co2", low="8", unit="%", altitude_from="5000", altitude_to="2000")


# ---------------------------------------------------------------- heat balance
# 8 gpm and 20 °F are 78,700 Btu/h at 140 °F mean (500 · gpm · ΔT with real water: ASHRAE's 500 less 1.6 %; CoolProp in
# test_physics_supply.py). 1 ft³ in 40 s at 1,020 Btu/ft³ are 91,800 Btu/h, 86 % of which is 78,900.
def balance(flow: str = "8", supply: str = "150", back: str = "130", seconds: str = "40") -> list[Reading]:
    return [
        reading("flow", "high_fire", flow, unit="[gal_us]/min"),
        reading("supply_temp", "high_fire", supply, unit="[degF]"),
        reading("return_temp", "high_fire", back, unit="[degF]"),
        reading("efficiency", "high_fire", "86"),
        reading("clock_time", "high_fire", seconds, unit="s", note="1 [cft_i]"),
        reading("heating_value", "", "1020", unit="[Btu_IT]/[cft_i]"),
    ]


def test_the_heat_balance_closes() -> None:
    assert rule("heat_balance", *balance()) is None
    assert rule("heat_balance", *balance(flow="7.2")) is None  # 10 %, and a degree of 20


@pytest.mark.parametrize("slip", [{"flow": "18"}, {"flow": "5"}, {"back": "103"}, {"seconds": "14"}])
def test_a_slip_opens_the_heat_balance(slip: dict[str, str]) -> None:
    finding = rule("heat_balance", *balance(**slip))
    assert finding is not None
    assert finding.verdict == "look again"
    assert "estimate" in finding.text


def test_without_all_of_it_there_is_no_balance() -> None:
    for n in range(6):
        rows = balance(flow="18")
        del rows[n]
        assert rule("heat_balance", *rows) is None


# ---------------------------------------------------------------- the instrument's own formula
STATES = [(48.0, 20.0, 4.4), (55.0, 21.0, 4.9), (62.0, 20.0, 5.4), (70.0, 22.0, 6.0)]


@pytest.mark.parametrize("bias", [-0.3, 0.0, 0.35])
@pytest.mark.parametrize("condensing", [False, True])
def test_rows_teach_the_formula(bias: float, condensing: bool) -> None:
    gas = FUELS["natural_gas"]

    def shown(flue: float, air: float, o2: float) -> float:
        if condensing:
            return round(efficiency(flue, air, o2, gas, "net").value + bias, 1)
        return round(siegert_gross_efficiency(flue, air, o2, "natural_gas") + bias, 1)

    rows = [FlueRow(*state, shown(*state)) for state in STATES]
    assert list(off_the_formula(rows, "natural_gas")) == []
    wrong = [*rows[:2], rows[2]._replace(shown=rows[2].shown + 1.5), rows[3]]
    ((_, name, gap),) = [one for one in off_the_formula(wrong, "natural_gas") if one[0] == 2]
    assert name.endswith(" condensation")
    assert 0.6 < gap < 1.8
    assert list(off_the_formula(wrong[1:], "natural_gas")) == []  # three rows teach nothing


def test_a_row_that_is_no_flue_gas_teaches_nothing() -> None:
    rows = [FlueRow(50, 20, 20.95, 90.0)] * 5
    assert list(off_the_formula(rows, "natural_gas")) == []
    with pytest.raises(BadInput):
        siegert_gross_efficiency(50, 20, 20.95, "natural_gas")


def test_an_efficiency_off_the_formula_is_looked_at_again() -> None:
    rows = [reading("ambient_temp", "", "20", unit="Cel")]
    places = [("high_fire", "before"), ("high_fire", "after"), ("low_fire", "before"), ("low_fire", "after")]
    for (condition, phase), (flue, _, o2) in zip(places, STATES, strict=True):
        shown = siegert_gross_efficiency(flue, 20.0, o2, "natural_gas") + (
            2.1 if phase == "before" and condition == "low_fire" else 0
        )
        rows += [
            reading("flue_temp", condition, f"{flue:.0f}", phase, unit="Cel"),
            reading("o2", condition, f"{o2:.1f}", phase),
            reading("efficiency", condition, f"{shown:.1f}", phase),
        ]
    finding = rule("efficiency_of_the_instrument", *rows)
    assert finding is not None
    assert finding.verdict == "look again"
    assert finding.readings[0].startswith("efficiency/low_fire/before")
