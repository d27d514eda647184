"""What stops the work, measured and said. The levels come from sources that tests/test_sheets.py compares."""

from __future__ import annotations

from typing import Any

import pytest

from checks import check, said_stops
from schemas.appliance import ApplianceLimit
from schemas.doubts import Doubt, DoubtKind
from schemas.findings import Finding
from schemas.load import load_appliance, load_sheet, shipped
from schemas.readings import Alarm, Alternative, Reading, Source

SHEET, _ = load_sheet("gas-boiler-start-up")
FILE, SHA256 = load_appliance("orrinvale-ov-240c")
HEARD = Source(evidence="0" * 64, heard="smells of gas down here")


def reading(quantity: str | None, condition: str | None, value: str, unit: str = "", **more: Any) -> Reading:
    more.setdefault("id", f"{quantity}={value}")
    return Reading(quantity=quantity, condition=condition, value=value, unit=unit, source=HEARD, **more)


def doubtful(
    quantity: str | None, condition: str | None, value: str, unit: str, *others: Alternative, **more: Any
) -> Reading:
    doubts = (Doubt(kind=DoubtKind.RUN_TOGETHER),)
    return reading(quantity, condition, value, unit, doubts=doubts, alternatives=others, **more)


def stops(*readings: Reading, file: Any = FILE) -> list[Finding]:
    findings = check(readings, SHEET, appliance=file, file_sha256=SHA256 if file else None)
    return [f for f in findings if f.verdict in ("stop", "caution")]


def names(*readings: Reading, file: Any = FILE) -> list[str]:
    return [f.rule for f in stops(*readings, file=file)]


@pytest.mark.parametrize("quantity", ["ambient_co", "ambient_co_end"])
@pytest.mark.parametrize(
    ("value", "rule"),
    [
        ("0", None),
        ("8", None),
        ("9", "ambient_co_9"),
        ("34", "ambient_co_9"),
        ("35", "ambient_co_35"),
        ("199", "ambient_co_35"),
        ("200", "ambient_co_200"),
        ("1500", "ambient_co_200"),
        ("OL", "ambient_co_200"),
    ],
)
def test_ambient_co(quantity: str, value: str, rule: str | None) -> None:
    assert names(reading(quantity, "", value, "[ppm]")) == ([rule] if rule else [])


def test_start_and_end_are_judged_each() -> None:
    first, last = reading("ambient_co", "", "40", "[ppm]"), reading("ambient_co_end", "", "12", "[ppm]")
    assert names(first, last) == ["ambient_co_35", "ambient_co_9"]


def test_co_air_free_above_400() -> None:
    assert "flue_co_air_free_400" in names(reading("co_air_free", "high_fire", "401", "[ppm]"), file=None)
    assert names(reading("co_air_free", "high_fire", "400", "[ppm]"), file=None) == []


def test_co_air_free_is_worked_out_from_co_and_o2() -> None:
    # 330 ppm at 4.4 % O2 are 418 ppm air-free (US EPA Method 19: 330 · 20.9 / 16.5).
    (stop,) = [
        f
        for f in stops(reading("co", "high_fire", "330", "[ppm]"), reading("o2", "high_fire", "4.4", "%"), file=None)
        if f.rule == "flue_co_air_free_400"
    ]
    assert stop.verdict == "stop"
    assert "worked out from CO and O2 is 418.0 ppm" in stop.text
    assert stop.readings == ("co=330", "o2=4.4")


NATURAL = reading("fuel", "", "natural_gas")


def test_without_o2_it_is_worked_out_from_co2() -> None:
    # 330 · 12.17 / 9.3 = 432 with the richest natural gas; at 11 % CO2 it is 365.
    for co2, stopped in (("9.3", True), ("11.0", False)):
        row = reading("co", "high_fire", "330", "[ppm]"), reading("co2", "high_fire", co2, "%")
        assert ("flue_co_air_free_400" in names(NATURAL, *row, file=None)) is stopped


# 320 ppm at 10.5 % CO2 by hand: 320 · 12.17 / 10.5 = 371 with natural gas, · 14.00 = 427 with propane, · 14.02 = 427
# with butane (ultimate CO2 computed with cantera in test_physics_flue.py).
@pytest.mark.parametrize(
    ("fuel", "file", "stopped"),
    [
        (None, None, True),  # nothing is known of the gas: the worst that the sheet knows
        ("natural_gas", None, False),
        ("propane", None, True),
        (None, FILE, False),
        ("natural_gas", FILE, False),
        ("propane", FILE, True),  # file and word differ
    ],
)
def test_the_worst_gas_still_open_counts(fuel: str | None, file: Any, stopped: bool) -> None:
    row = [reading("co", "high_fire", "320", "[ppm]"), reading("co2", "high_fire", "10.5", "%")]
    said = [reading("fuel", "", fuel)] if fuel else []
    assert ("flue_co_air_free_400" in names(*said, *row, file=file)) is stopped


def test_a_gas_that_may_have_been_said_counts() -> None:
    row = [reading("co", "high_fire", "320", "[ppm]"), reading("co2", "high_fire", "10.5", "%")]
    unsure = doubtful("fuel", "", "natural_gas", "", Alternative(value="propane"))
    assert "flue_co_air_free_400" in names(unsure, *row, file=None)


def test_of_o2_and_co2_that_do_not_fit_the_worse_counts() -> None:
    # By O2 300 · 20.9 / 16.9 = 371, by CO2 300 · 12.17 / 8 = 456.
    co = reading("co", "high_fire", "300", "[ppm]")
    for make in (reading, doubtful):
        row = co, make("o2", "high_fire", "4.0", "%"), make("co2", "high_fire", "8.0", "%")
        (stop,) = [f for f in stops(NATURAL, *row, file=None) if f.rule == "flue_co_air_free_400"]
        assert "456.4 ppm" in stop.text
        assert stop.readings == ("co=300", "co2=8.0")


def test_a_co2_that_fits_its_o2_adds_nothing_whatever_the_gas() -> None:
    # 300 ppm at 4.6 % O2 are 385; 9.2 % CO2 alone could be butane's, 457, but not with that O2.
    row = [reading("co", "high_fire", "300", "[ppm]"), reading("o2", "high_fire", "4.6", "%")]
    assert "flue_co_air_free_400" not in names(*row, reading("co2", "high_fire", "9.2", "%"), file=None)


# ---------------------------------------------------------------- UK practice: 350 ppm, and CO to CO2 0.0040
@pytest.mark.parametrize(("value", "stopped"), [("0.0040", False), ("0.0041", True), ("0.012", True)])
def test_a_ratio_that_was_read(value: str, stopped: bool) -> None:
    assert ("flue_co_ratio" in names(reading("co_ratio", "high_fire", value), file=None)) is stopped


def test_a_ratio_is_worked_out_from_co_and_co2() -> None:
    # By definition: 400 ppm / 10.0 % = 0.0040; 401 ppm is above.
    for co, stopped in (("400", False), ("401", True)):
        row = reading("co", "high_fire", co, "[ppm]"), reading("co2", "high_fire", "10.0", "%")
        found = {f.rule: f for f in stops(*row, file=None)}
        assert ("flue_co_ratio" in found) is stopped
        if stopped:
            assert "worked out from CO and CO2 is 0.00401." in found["flue_co_ratio"].text
            assert found["flue_co_ratio"].readings == ("co=401", "co2=10.0")
    row = reading("co", "high_fire", "60", "[ppm]"), doubtful("co2", "high_fire", "9.2", "%", Alternative(value="0.92"))
    assert "flue_co_ratio" in names(*row, file=None)


def test_350_ppm_stops_where_the_maker_gives_no_figure() -> None:
    assert names(reading("co", "high_fire", "350", "[ppm]"), file=None) == ["flue_co_100"]
    assert names(reading("co", "high_fire", "351", "[ppm]"), file=None) == ["flue_co_350"]
    allows = FILE.model_copy(update={"limits": (ApplianceLimit(quantity="co", high="390", unit="[ppm]"),)})
    assert names(reading("co", "high_fire", "351", "[ppm]"), file=allows) == ["flue_co_100"]


def test_without_either_co_alone_is_the_least() -> None:
    assert "flue_co_air_free_400" in names(reading("co", "high_fire", "450", "[ppm]"), file=None)
    assert "flue_co_air_free_400" not in names(reading("co", "high_fire", "390", "[ppm]"), file=None)


@pytest.mark.parametrize("value", ["OL", "over range", "pegged"])
def test_over_range_is_the_worst_never_no_reading(value: str) -> None:
    found = stops(reading("co", "high_fire", value, "[ppm]"))
    assert {"flue_co_air_free_400", "flue_co_limit"} <= {f.rule for f in found}
    assert all("over range" in f.text for f in found)


def test_the_maker_s_limit_stops() -> None:
    assert "flue_co_limit" in names(reading("co", "high_fire", "171", "[ppm]"))
    assert "flue_co_limit" not in names(reading("co", "high_fire", "170", "[ppm]"))
    assert "flue_co_limit" in names(reading("co_air_free", "high_fire", "201", "[ppm]"))
    assert "flue_co_limit" not in names(reading("co_air_free", "high_fire", "201", "[ppm]"), file=None)


def test_the_worst_value_still_open_counts() -> None:
    assert names(doubtful("ambient_co", "", "4", "[ppm]", Alternative(value="40"))) == ["ambient_co_35"]
    (stop,) = stops(doubtful("ambient_co", "", "4", "[ppm]", Alternative(value="40")))
    assert "may be 40 ppm" in stop.text
    assert names(doubtful("ambient_co", "", "4", "[ppm]", Alternative(value="7"))) == []


def test_a_value_whose_place_alone_is_asked_is_not_taken_for_what_its_digits_might_be() -> None:
    place = (Doubt(kind=DoubtKind.CONDITION_UNCLEAR),)
    co = reading("co", "", "18", "[ppm]", doubts=place, alternatives=(Alternative(value="78"),))
    co2 = reading("co2", "", "9.1", "%", doubts=place, alternatives=(Alternative(value="0.1"),))
    assert names(co, co2) == []
    heard = (*place, Doubt(kind=DoubtKind.DIGIT_UNSURE))
    assert names(co, co2.model_copy(update={"doubts": heard})) != []


def test_digits_run_together_are_taken_at_their_worst() -> None:
    # "8.774 parts": 8.7 % and 74 ppm, or 8 % and 774 ppm.
    row = doubtful("co", "high_fire", "74", "[ppm]", Alternative(value="774")), reading("o2", "high_fire", "5.5", "%")
    assert "flue_co_air_free_400" in names(*row)
    assert "flue_co_air_free_400" not in names(doubtful("co", "high_fire", "74", "[ppm]"), row[1])


def test_the_worst_o2_still_open_counts() -> None:
    # 230 ppm are 292 air-free at 4.4 % O2 and 482 at 10.9 % (US EPA Method 19).
    co = reading("co", "low_fire", "230", "[ppm]")
    assert "flue_co_air_free_400" in names(co, doubtful("o2", "low_fire", "4.4", "%", Alternative(value="10.9")))
    assert "flue_co_air_free_400" not in names(co, reading("o2", "low_fire", "4.4", "%"))


def test_a_value_whose_quantity_is_open_counts_too() -> None:
    unsure = doubtful(None, "", "60", "[ppm]", Alternative(quantity="ambient_co"), Alternative(quantity="co"))
    assert names(unsure) == ["ambient_co_35"]


def test_as_found_stays_a_stop_and_a_caution_goes() -> None:
    found = stops(
        reading("co", "high_fire", "500", "[ppm]", phase="before"),
        reading("co", "high_fire", "80", "[ppm]", phase="after"),
    )
    assert {(f.rule, f.superseded) for f in found} == {
        ("flue_co_air_free_400", False),
        ("flue_co_limit", False),
        ("flue_co_100", True),
    }


@pytest.mark.parametrize(
    ("quantity", "state", "rule"),
    [
        ("zero_check", "failed", "zero_check_failed"),
        ("sample_line", "failed", "zero_check_failed"),
        ("leak_test", "failed", "gas_leak"),
        ("leak_recheck", "failed", "gas_leak"),
        ("tightness_test", "failed", "tightness_drop"),
        ("conversion", "failed", "conversion_incomplete"),
        ("venting_checked", "failed", "vent_not_in_order"),
        ("relief_valve", "failed", "no_relief_valve"),
        ("polarity", "failed", "electrics_not_in_order"),
        ("flame_failure_test", "failed", "device_failed"),
        ("spill_test", "failed", "device_failed"),
        ("ignition_behaviour", "delayed", "late_ignition"),
        ("ignition_behaviour", "rough", "late_ignition"),
        ("ignition_behaviour", "roll_out", "roll_out"),
        ("fuel", "propane", "wrong_gas"),
        ("ports_closed", "failed", "ports_open"),
        ("combustion_air", "failed", "check_failed"),
        ("trap_filled", "failed", "check_failed"),
        ("supply_gas_piping", "failed", "check_failed"),
        ("co_alarm_present", "failed", "check_failed"),
    ],
)
def test_what_was_found_stops(quantity: str, state: str, rule: str) -> None:
    assert names(reading(quantity, "", state)) == [rule]


@pytest.mark.parametrize(
    ("quantity", "state"),
    [("leak_test", "passed"), ("tightness_test", "done"), ("ignition_behaviour", "smooth"), ("fuel", "natural_gas")],
)
def test_what_is_in_order_does_not(quantity: str, state: str) -> None:
    assert names(reading(quantity, "", state)) == []


@pytest.mark.parametrize("name", shipped("sheets"))
def test_no_check_fails_without_a_word(name: str) -> None:
    sheet, _ = load_sheet(name)
    for quantity in sheet.quantities:
        if "failed" in quantity.states:
            (told,) = check([reading(quantity.id, "", "failed")], sheet)
            assert told.verdict in ("stop", "caution")
            assert told.quantity == quantity.id
            assert told.readings == (f"{quantity.id}=failed",)


def test_what_was_put_right_is_no_longer_told() -> None:
    failed, passed = reading("combustion_air", "", "failed"), reading("combustion_air", "", "passed")
    assert names(failed, passed) == []
    (told,) = stops(passed, failed)
    assert "recorded as failed" in told.text
    assert "qualified person" in told.text


def test_a_failed_test_that_is_still_open_stops() -> None:
    assert names(doubtful("leak_test", "", "passed", "", Alternative(value="failed"))) == ["gas_leak"]


def test_inlet_pressure_above_plate_or_file() -> None:
    assert names(reading("inlet_pressure", "static", "14.1", "[in_i'H2O]")) == ["inlet_pressure_too_high"]
    assert names(reading("inlet_pressure", "static", "14.0", "[in_i'H2O]")) == []
    plate = reading("inlet_pressure_max", "", "10.5", "[in_i'H2O]")
    assert names(plate, reading("inlet_pressure", "static", "27", "mbar"), file=None) == ["inlet_pressure_too_high"]


def test_inlet_pressure_below_plate_or_file() -> None:
    """Part C.9 of the trade report (common practice, no source): outside the plate stops."""
    plate = reading("inlet_pressure_min", "", "3.5", "[in_i'H2O]")
    assert names(plate, reading("inlet_pressure", "high_fire", "3.4", "[in_i'H2O]"), file=None) == [
        "inlet_pressure_too_low"
    ]
    assert names(plate, reading("inlet_pressure", "high_fire", "3.5", "[in_i'H2O]"), file=None) == []
    assert names(plate, reading("inlet_pressure", "high_fire", "8", "mbar"), file=None) == ["inlet_pressure_too_low"]
    open_still = doubtful("inlet_pressure", "high_fire", "4.4", "[in_i'H2O]", Alternative(value="3.4"))
    assert names(plate, open_still, file=None) == ["inlet_pressure_too_low"]
    oxygen = doubtful("o2", "high_fire", "3.4", "%", Alternative(quantity="inlet_pressure", unit="[in_i'H2O]"))
    assert "inlet_pressure_too_low" not in names(plate, oxygen, file=None)


def test_what_may_have_been_said_stops_as_well_and_is_asked() -> None:
    (sure,) = said_stops([Alarm(stop="gas_smell", source=HEARD)], SHEET)
    (asked,) = said_stops([Alarm(stop="gas_smell", sure=False, source=HEARD)], SHEET)
    assert (asked.rule, asked.verdict, asked.said) == ("gas_smell", "stop", HEARD)
    assert asked.text.startswith('Gas smell? It may have been said (heard: "smells of gas down here")')
    assert "If so: Gas was smelt." in asked.text
    assert "?" not in sure.text


def test_what_was_said_stops_in_the_order_it_was_said() -> None:
    alarms = [Alarm(stop="gas_smell", source=HEARD), Alarm(stop="someone_unwell", source=HEARD)]
    first, second = said_stops(alarms, SHEET)
    assert (first.rule, first.verdict, second.rule) == ("gas_smell", "stop", "someone_unwell")
    assert 'heard: "smells of gas down here"' in first.text
    assert "gas supplier or the fire service from outside" in first.text


def test_a_stop_of_another_sheet_is_not_lost() -> None:
    (finding,) = said_stops([Alarm(stop="flooding", source=HEARD)], SHEET)
    assert finding.verdict == "stop"
    assert "treat it as the worst" in finding.text


def test_stops_say_the_sheet_s_words_and_their_source() -> None:
    (stop,) = stops(reading("ambient_co", "", "40", "[ppm]"))
    words = {s.id: s for s in SHEET.stops}["ambient_co_35"]
    assert stop.text.endswith(words.say)
    assert stop.basis == words.basis


# ---------------------------------------------------------------- what is not known may be any
PLACE = (Doubt(kind=DoubtKind.CONDITION_UNCLEAR),)


@pytest.mark.parametrize(
    ("condition", "appliance", "stopped"),
    [(None, "1", True), (None, None, True), ("high_fire", None, True), ("low_fire", "1", False)],
)
def test_an_o2_of_unknown_place_may_be_of_this_row(condition: str | None, appliance: str | None, stopped: bool) -> None:
    # 340 · 20.9 / (20.9 − 6.1) = 480 (US EPA Method 19).
    co = reading("co", "high_fire", "340", "[ppm]", appliance="1")
    open_ = PLACE if condition is None or appliance is None else ()
    o2 = reading("o2", condition, "6.1", "%", appliance=appliance, doubts=open_)
    found = {f.rule: f for f in stops(co, o2, file=None)}
    assert ("flue_co_air_free_400" in found) is stopped
    if stopped:
        assert "may be 480.1 ppm" in found["flue_co_air_free_400"].text
    row = co, o2, reading("o2", "high_fire", "3.0", "%", id="its own", appliance="1")
    assert "flue_co_air_free_400" not in names(*row, file=None)


@pytest.mark.parametrize(
    ("quantity", "unit", "condition", "kind", "stopped"),
    [
        ("co", "[ppm]", None, DoubtKind.QUANTITY_UNCLEAR, True),
        ("ambient_temp", "[ppm]", "", DoubtKind.UNIT_UNCLEAR, True),  # parts are no temperature
        ("ambient_temp", "[degF]", "", DoubtKind.UNIT_UNCLEAR, False),
        ("co", "[ppm]", "high_fire", DoubtKind.QUANTITY_UNCLEAR, False),  # what is read at high fire is flue gas
        ("co", "[ppm]", None, DoubtKind.CONDITION_UNCLEAR, False),
    ],
)
def test_a_value_whose_quantity_is_asked_is_judged_as_what_its_unit_may_be_of(
    quantity: str, unit: str, condition: str | None, kind: DoubtKind, stopped: bool
) -> None:
    unsure = reading(quantity, condition, "45", unit, appliance="1", doubts=(Doubt(kind=kind),))
    found = stops(unsure, file=None)
    assert [f.rule for f in found] == (["ambient_co_35"] if stopped else [])
    assert all(f.appliance is None for f in found)


@pytest.mark.parametrize(("co", "stopped"), [("40", True), ("4", False), ("0", False)])
def test_co_beside_the_o2_of_air_has_no_end_air_free(co: str, stopped: bool) -> None:
    found = stops(reading("co", "high_fire", co, "[ppm]"), reading("o2", "high_fire", "20.9", "%"), file=None)
    assert [f.rule for f in found] == (["flue_co_air_free_400"] if stopped else [])
    assert all("past any figure" in f.text for f in found)


def test_what_is_worked_out_is_compared_unrounded() -> None:
    # 320 · 20.9 / (20.9 − 4.181) = 400.024
    row = reading("co", "high_fire", "320", "[ppm]"), reading("o2", "high_fire", "4.181", "%")
    (stop,) = [f for f in stops(*row, file=None) if f.rule == "flue_co_air_free_400"]
    assert "is 400.024 ppm" in stop.text


def test_what_was_read_after_a_turn_makes_no_row_with_what_was_read_before() -> None:
    before = reading("co", "high_fire", "330", "[ppm]", phase="before")
    after = reading("o2", "high_fire", "4.4", "%", phase="after")
    assert "flue_co_air_free_400" not in names(before, after, file=None)
    assert "flue_co_air_free_400" in names(before, after.model_copy(update={"phase": ""}), file=None)


# ---------------------------------------------------------------- a closed pipe
TIGHTNESS, _ = load_sheet("gas-tightness-test")


@pytest.mark.parametrize(
    ("last", "warm", "cold", "stopped"),
    [
        # (3.0 + 14.696) · 519.67 / 529.67 − 14.696 = 2.666 psi (ideal gas law by hand); 2 °F more are 0.07 psi.
        ("2.5", "70", "60", True),
        ("2.6", "70", "60", False),
        ("2.9", "70", "70", False),  # the gauges' last digits and the thermometer
        ("2.8", "70", "70", True),
        ("2.8", "60", "70", True),  # warmer pipe, lower pressure
    ],
)
def test_a_fall_beyond_what_cooling_explains_stops(last: str, warm: str, cold: str, stopped: bool) -> None:
    rows = [
        reading("test_pressure", "start", "3.0", "[psi]"),
        reading("test_pressure", "end", last, "[psi]"),
        reading("pipe_temp", "start", warm, "[degF]"),
        reading("pipe_temp", "end", cold, "[degF]"),
    ]
    found = [f for f in check(rows, TIGHTNESS) if f.verdict == "stop"]
    assert [f.rule for f in found] == (["drop_beyond_cooling"] if stopped else [])
    assert not [f for f in check(rows[:3], TIGHTNESS) if f.verdict == "stop"]
    assert all("below 3.0 psi at the start" in f.text for f in found)


def test_a_fall_is_told_in_plain_figures() -> None:
    rows = [
        reading("test_pressure", "start", "1000", "mbar"),
        reading("test_pressure", "end", "850", "mbar"),
        *(reading("pipe_temp", condition, "20", "Cel") for condition in ("start", "end")),
    ]
    (text,) = (f.text for f in check(rows, TIGHTNESS) if f.verdict == "stop")
    assert "150 mbar below 1000 mbar at the start" in text


@pytest.mark.parametrize(
    ("fuel", "recorded", "stopped"),
    [("methane", "natural_gas", False), ("natural_gas", "methane", False), ("methane", "propane", True)],
)
def test_methane_is_a_natural_gas(fuel: str, recorded: str, stopped: bool) -> None:
    file = FILE.model_copy(update={"fuel": fuel})
    here, co2 = reading("fuel", "", recorded), reading("co2", "high_fire", "9.6", "%")
    findings = check([here, co2], SHEET, appliance=file, file_sha256=SHA256)
    assert ("wrong_gas" in [f.rule for f in findings]) is stopped
    # The file's limits hold for it too.
    assert [f.verdict for f in findings if f.rule == "limit"] == ["cannot tell" if stopped else "outside"]
