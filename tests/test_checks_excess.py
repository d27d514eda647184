"""Law L3: excess air against O2, and which formula the instrument goes by."""

from __future__ import annotations

import pytest

from checks import check
from schemas.findings import Finding
from schemas.load import load_appliance, load_sheet
from schemas.readings import Reading, Source

SHEET, _ = load_sheet("gas-boiler-start-up")
FILE, SHA256 = load_appliance("orrinvale-ov-240c")


def rows(*pairs: tuple[str, str]) -> list[Finding]:
    """The findings on excess air for pairs of O2 and excess air: high fire before and after, then low fire."""
    places = (("high_fire", "before"), ("high_fire", "after"), ("low_fire", "before"), ("low_fire", "after"))
    readings = [
        Reading.model_validate(
            {
                "id": f"{quantity}/{condition}/{phase}", "quantity": quantity, "condition": condition, "phase": phase,
                "value": value, "unit": "%", "source": Source(evidence="0" * 64),
            }
        )
        for (o2, excess), (condition, phase) in zip(pairs, places, strict=False)
        for quantity, value in (("o2", o2), ("excess_air", excess))
    ]  # fmt: skip
    found = check(readings, SHEET, appliance=FILE, file_sha256=SHA256)
    return [one for one in found if one.rule.startswith("excess_air")]


# US DOE Steam Tip Sheet 4, natural gas: 9.5, 15.0, 28.1, 44.9 and 81.6 % excess air at 2, 3, 5, 7 and 10 % O2.
@pytest.mark.parametrize(("o2", "excess"), [("2.0", "9.5"), ("3.0", "15.0"), ("5.0", "28.1"), ("7.0", "44.9")])
def test_the_exact_excess_air_fits(o2: str, excess: str) -> None:
    assert rows((o2, excess)) == []
    assert rows((o2, f"{float(excess):.0f}")) == []


def test_the_short_cut_fits_too() -> None:
    # O2 / (20.9 - O2): 16.8, 31.4 and 50.4 % at 3, 5 and 7 % O2, worked by hand.
    assert rows(("3.0", "16.8"), ("5.0", "31.4"), ("7.0", "50.4")) == []


@pytest.mark.parametrize("slip", ["82", "38", "18", "2.8", "25.1"])
def test_a_slip_fits_neither_and_both_ends_are_named(slip: str) -> None:
    (one,) = rows(("5.0", slip))
    assert (one.rule, one.verdict) == ("excess_air_of_o2", "conflicting")
    assert set(one.readings) == {"o2/high_fire/before", "excess_air/high_fire/before"}
    assert "28 % exactly and 31 % by the short-cut" in one.text


def test_rows_teach_which_formula_the_instrument_goes_by() -> None:
    (one,) = rows(("5.0", "28.1"), ("7.0", "44.9"), ("5.5", "35.7"))  # the last one by the short-cut
    assert (one.rule, one.verdict) == ("excess_air_of_the_instrument", "look again")
    assert one.readings[0] == "excess_air/low_fire/before"
    assert "the other rows go by the exact formula" in one.text
    (one,) = rows(("5.0", "28.1"), ("7.0", "50.4"))
    assert "the other row goes by the exact formula" in one.text


def test_a_slip_of_o2_is_asked_about_first() -> None:
    readings = {"o2": "2.4", "co2": "9.1", "co": "60", "co_air_free": "76", "excess_air": "24"}  # O2 4.4 misread
    found = check(
        [
            Reading(
                id=name, quantity=name, condition="high_fire", value=value,
                unit="[ppm]" if name.startswith("co_") or name == "co" else "%", source=Source(evidence="0" * 64),
            )
            for name, value in readings.items()
        ],
        SHEET, appliance=FILE, file_sha256=SHA256,
    )  # fmt: skip
    broken = [one for one in found if one.verdict == "conflicting"]
    assert {one.rule for one in broken} == {"co2_o2_line", "air_free_of_co_and_o2", "excess_air_of_o2"}
    assert all("Ask about O2, high fire 2.4 % first" in one.text for one in broken)
