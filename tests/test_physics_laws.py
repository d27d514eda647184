"""The laws that readings keep together, against Method 3B and 19, cantera's line, and their own algebra."""

from __future__ import annotations

from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from physics import laws
from schemas.errors import BadInput

SHARES = st.decimals("0.1", "20", places=1)
FUELS = st.sampled_from(sorted(laws.CO2_MAX))


def test_dilution_line_by_hand() -> None:
    # US EPA Method 3B: Fo = (20.9 − O2) / CO2 = 20.9 / CO2max, solved for CO2 by hand at 4.4 % O2 and 11.9 % CO2max.
    assert laws.co2_on_line(D("4.4"), D("11.9")) == pytest.approx(D("9.3947"), abs=D("0.0001"))


@given(SHARES, FUELS)
def test_readings_on_the_line_have_no_gap(o2: D, fuel: Any) -> None:
    co2 = laws.co2_on_line(o2, laws.CO2_MAX[fuel])
    assert abs(laws.dilution_gap(co2, o2, fuel)) < D("1e-20")
    assert abs(laws.o2_on_line(co2, laws.CO2_MAX[fuel]) - o2) < D("1e-20")


# CO2 as cantera 3.2.0 computes it (test_physics_flue.py does so again): methane, Gulf Coast and Ekofisk gas, propane,
# butane at 5 % O2. None may be called impossible.
@pytest.mark.parametrize(
    ("co2", "fuel"),
    [
        ("8.91", "natural_gas"),
        ("9.02", "natural_gas"),
        ("9.28", "natural_gas"),
        ("10.44", "propane"),
        ("10.67", "butane"),
    ],
)
def test_true_flue_gas_is_within_tolerance(co2: str, fuel: Any) -> None:
    assert abs(laws.dilution_gap(D(co2), D("5.0"), fuel)) < laws.dilution_tolerance() / 2
    assert laws.dilution_gap(D(co2), D("5.0"), None) <= laws.dilution_tolerance()


def test_another_fuel_on_the_instrument_shows() -> None:
    gap = laws.dilution_gap(D("10.44"), D("5.0"), "natural_gas")  # propane's CO2, cantera
    assert gap > laws.dilution_tolerance() * 2


@pytest.mark.parametrize(
    ("co2", "o2"), [("9.2", "6.4"), ("4.4", "9.3"), ("93", "4.4"), ("9.3", "0.44"), ("8.3", "4.4"), ("10.3", "4.4")]
)
def test_misheard_pairs_are_off_the_line(co2: str, o2: str) -> None:
    assert abs(laws.dilution_gap(D(co2), D(o2), "natural_gas")) > laws.dilution_tolerance()
    assert abs(laws.dilution_gap(D("9.3"), D("4.4"), "natural_gas")) < laws.dilution_tolerance()


def test_without_a_fuel_all_gases_are_possible() -> None:
    for co2 in ("9.3", "10.5", "11.0"):
        assert abs(laws.dilution_gap(D(co2), D("4.4"), None)) <= laws.dilution_tolerance()
    assert laws.dilution_gap(D("7.5"), D("4.4"), None) < -laws.dilution_tolerance()
    assert laws.dilution_gap(D("12.5"), D("4.4"), None) > laws.dilution_tolerance()


def test_whole_numbers_get_half_a_step_more() -> None:
    assert laws.dilution_tolerance() == D("0.55")
    assert laws.dilution_tolerance(co2_step=D(1)) == D("1.0")
    assert laws.dilution_tolerance(o2_step=D(1)) == D("0.775")


def test_co_air_free_by_hand() -> None:
    # US EPA Method 19 to 0 % O2: 96 · 20.9 / (20.9 − 4.4); by CO2: 96 · 11.7 / 9.2.
    assert laws.co_air_free(D(96), D("4.4")) == D("121.6")
    assert laws.co_air_free_by_co2(D(96), D("9.2"), D("11.7")) == pytest.approx(D("122.1"), abs=D("0.1"))


@given(st.decimals(0, 4000, places=0), SHARES, FUELS)
def test_both_forms_agree_on_the_line_and_never_fall_below_co(co: D, o2: D, fuel: Any) -> None:
    by_o2 = laws.co_air_free(co, o2)
    by_co2 = laws.co_air_free_by_co2(co, laws.co2_on_line(o2, laws.CO2_MAX[fuel]), laws.CO2_MAX[fuel])
    assert abs(by_o2 - by_co2) < D("1e-15")
    assert laws.shortfall(co, by_o2) == 0


@given(st.decimals(1, 2000, places=0), st.decimals("1.5", "10.5", places=1))
def test_rounding_is_explained(co: D, o2: D) -> None:
    # What an instrument shows when it rounds CO, O2 and the result, having measured up to half a step beside.
    for d_co, d_o2 in ((D("0.49"), D("0.049")), (D("-0.49"), D("-0.049"))):
        shown = round(laws.co_air_free(co + d_co, o2 + d_o2))
        assert abs(laws.air_free_gap(D(shown), co, o2)) <= laws.air_free_tolerance(co, o2)


def test_co_to_co2_by_definition() -> None:
    # 96 ppm to 9.2 %: 96e-4 / 9.2.
    assert laws.co_to_co2(D(96), D("9.2")) == pytest.approx(D("0.00104"), abs=D("0.000005"))
    with pytest.raises(BadInput, match="nothing burns"):
        laws.co_to_co2(D(96), D(0))


def test_shortfall_is_one_sided() -> None:
    assert laws.shortfall(D("7.9"), D("7.7")) == D("0.2")
    assert laws.shortfall(D("7.1"), D("7.7")) == 0


def test_fresh_air_has_no_air_free() -> None:
    with pytest.raises(BadInput, match="fresh air"):
        laws.co_air_free(D(5), D("20.9"))
    with pytest.raises(BadInput, match="nothing burns"):
        laws.co_air_free_by_co2(D(5), D(0), D("11.9"))
