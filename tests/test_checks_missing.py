"""What is missing: in the order of the work, by appliance and condition. The sheet's list is common practice."""

from __future__ import annotations

from typing import Any

import pytest

from checks import missing
from schemas.doubts import Doubt, DoubtKind
from schemas.findings import NotApplicable
from schemas.load import load_sheet, shipped
from schemas.readings import Reading, Source
from schemas.sheet import Sheet

SHEET, _ = load_sheet("gas-boiler-start-up")
ONE = ("boiler",)


def reading(quantity: str, condition: str = "", value: str = "1", **more: Any) -> Reading:
    more.setdefault("id", f"{quantity}/{condition}/{more.get('phase', '')}")
    return Reading(quantity=quantity, condition=condition, value=value, source=Source(evidence="0" * 64), **more)


def slots(*readings: Reading, sheet: Sheet = SHEET, tags: tuple[str, ...] = ONE, **more: Any) -> list[tuple[str, str]]:
    return [(f.quantity or "", f.condition or "") for f in missing(readings, sheet, tags, **more)]


def complete(sheet: Sheet) -> list[Reading]:
    return [reading(r.quantity, r.condition, id=f"r{n}") for n, r in enumerate(sheet.required) if not r.phase]


@pytest.mark.parametrize("name", shipped("sheets"))
def test_an_empty_job_misses_all_in_the_order_of_the_work(name: str) -> None:
    sheet, _ = load_sheet(name)
    assert slots(sheet=sheet) == [(r.quantity, r.condition) for r in sheet.required if r.when is None]


@pytest.mark.parametrize("name", shipped("sheets"))
def test_a_complete_job_misses_nothing(name: str) -> None:
    sheet, _ = load_sheet(name)
    assert slots(*complete(sheet), sheet=sheet) == []


@pytest.mark.parametrize("gone", range(0, 70, 10))
def test_what_is_taken_out_is_missing(gone: int) -> None:
    readings = complete(SHEET)
    one = readings.pop(gone)
    assert slots(*readings) == [(one.quantity, one.condition)]
    (finding,) = missing(readings, SHEET, ONE)
    assert finding.verdict == "missing"
    assert finding.text.endswith("not recorded yet.")


def test_each_appliance_is_asked_for_its_own_and_the_visit_once() -> None:
    readings = [
        r.model_copy(update={"appliance": tag, "id": f"{tag}/{r.id}"})
        for tag in ("one", "two")
        for r in complete(SHEET)
    ]
    short = [
        r for r in readings if not (r.appliance == "two" and r.quantity == "flue_temp") and r.quantity != "zero_check"
    ]
    found = [(f.appliance, f.quantity, f.condition) for f in missing(short, SHEET, ("one", "two"))]
    assert found == [(None, "zero_check", ""), ("two", "flue_temp", "high_fire"), ("two", "flue_temp", "low_fire")]


def test_of_several_appliances_a_reading_without_one_belongs_to_none() -> None:
    assert ("model", "") in slots(reading("model"), tags=("one", "two"))
    assert ("model", "") not in slots(reading("model"))
    assert ("model", "") not in slots(reading("model", appliance="boiler"))


def test_an_open_question_is_not_missing() -> None:
    open_one = reading("model", doubts=(Doubt(kind=DoubtKind.HEARD_UNCLEARLY),))
    assert ("model", "") not in slots(open_one)


def test_not_yet_is_missing() -> None:
    found = {f.quantity: f for f in missing([reading("leak_test", value="not yet")], SHEET, ONE)}
    assert "not done yet" in found["leak_test"].text
    later = reading("leak_test", value="passed", id="later")
    assert ("leak_test", "") not in slots(reading("leak_test", value="not yet"), later)


def test_not_applicable_needs_a_reason() -> None:
    bare = {f.quantity: f for f in missing([reading("low_water_test", value="not applicable")], SHEET, ONE)}
    assert "the reason is missing" in bare["low_water_test"].text
    reasoned = reading("low_water_test", value="not applicable", note="no cut-off on this model")
    assert ("low_water_test", "") not in slots(reasoned)


def test_a_waiver_names_appliance_and_condition() -> None:
    waiver = NotApplicable(appliance="one", quantity="outlet_pressure", condition="low_fire", reason="no port", by="MT")
    found = slots(tags=("one", "two"), not_applicable=[waiver])
    assert found.count(("outlet_pressure", "low_fire")) == 1
    everywhere = waiver.model_copy(update={"appliance": None})
    assert ("outlet_pressure", "low_fire") not in slots(tags=("one", "two"), not_applicable=[everywhere])


def test_an_adjustment_asks_for_its_readings_after() -> None:
    move = reading("valve_move", "high_fire", "0.25")
    before = [reading(q, "high_fire", phase="before") for q in ("co2", "o2", "co")]
    after = [reading(q, "high_fire", phase="after") for q in ("co2", "o2", "co")]
    asked = [(q, "high_fire") for q in ("co2", "o2", "co")]
    assert [slot for slot in slots(move, *before) if slot in asked] == asked
    assert [slot for slot in slots(*before) if slot in asked] == []
    assert [slot for slot in slots(move, *before, *after) if slot in asked] == []
    assert [slot for slot in slots(move, *before, after[0]) if slot in asked] == asked[1:]


def test_an_after_without_a_before_is_kept_and_told() -> None:
    readings = [reading("co2", "low_fire", phase="after"), reading("fan_speed", "low_fire", phase="after")]
    (told,) = [f for f in missing(readings, SHEET, ONE) if f.rule == "after_without_before"]
    assert told.verdict == "look again"
    assert told.text == "After the adjustment, low fire: kept without a reading from before it: CO2."
    assert told.readings == ("co2/low_fire/after",)
    with_before = [*readings, reading("co2", "low_fire", phase="before")]
    assert all(f.rule != "after_without_before" for f in missing(with_before, SHEET, ONE))
