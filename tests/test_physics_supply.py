"""Pressures, gas meter, altitude, air and water against NIST SP 811, fluids and CoolProp."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from fluids import ATMOSPHERE_1976
from hypothesis import given
from hypothesis import strategies as st

from physics import gas_supply, water
from schemas.errors import BadInput
from schemas.units import convert
from tests.references import coolprop

PSI, INCH_WATER, FOOT, GALLON, BTU_PER_HOUR = 6894.757, 249.08891, 0.3048, 3.785411784e-3, 0.29307107
CUBIC_FOOT = 0.028316846592


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


# NIST SP 811 (2008), Appendix B.9: the factors to pascal, to their last printed digit.
@pytest.mark.parametrize(
    ("code", "pascal", "digits"),
    [
        ("[in_i'H2O]", "249.0889", 4),
        ("[psi]", "6894.757", 3),
        ("mbar", "100", 6),
        ("kPa", "1000", 6),
        ("bar", "1E5", 6),
    ],
)
def test_pressure_units_are_those_of_sp_811(code: str, pascal: str, digits: int) -> None:
    assert round(convert(Decimal(1), code, "Pa"), digits) == Decimal(pascal)


# The conventional inch of water, NIST SP 811 Appendix B.9 (249.0889 Pa); 1 psi is 27.680 of them.
@pytest.mark.parametrize(
    ("value", "source", "target", "expected", "within"),
    [
        ("3.5", "[in_i'H2O]", "Pa", "871.8", "0.1"),
        ("7.0", "[in_i'H2O]", "Pa", "1743.6", "0.1"),
        ("11.0", "[in_i'H2O]", "Pa", "2740.0", "0.1"),
        ("14.0", "[in_i'H2O]", "Pa", "3487.2", "0.1"),
        ("7.0", "[in_i'H2O]", "mbar", "17.44", "0.005"),
        ("1", "[psi]", "[in_i'H2O]", "27.680", "0.001"),
        ("-5", "Pa", "[in_i'H2O]", "-0.0201", "0.0001"),
        ("100000", "[Btu_IT]/h", "kW", "29.307", "0.001"),  # NIST SP 811, Appendix B.8: Btu (IT) an hour
        ("55", "Cel", "[degF]", "131", "0"),  # the definition of the scales
        ("1", "[gal_us]/min", "L/min", "3.785412", "0.000001"),  # NIST SP 811, Appendix B.8: gallon (US)
    ],
)
def test_conversions(value: str, source: str, target: str, expected: str, within: str) -> None:
    assert abs(convert(Decimal(value), source, target) - Decimal(expected)) <= Decimal(within)


# US Standard Atmosphere 1976 by the fluids package, and its table's pressures in psia (not of 4,000 ft: the printed
# 12.682 does not fit the standard's own formula, which gives 12.692).
@pytest.mark.parametrize(
    ("feet", "psia"), [(0, 14.696), (2000, 13.664), (4000, None), (5000, 12.230), (7000, 11.341), (10000, 10.108)]
)
def test_standard_atmosphere(feet: float, psia: float | None) -> None:
    reference = ATMOSPHERE_1976(feet * FOOT)
    pressure = gas_supply.atmospheric_pressure(feet * FOOT)
    assert pressure == pytest.approx(reference.P, rel=2e-5)
    if psia is not None:
        assert pressure / PSI == pytest.approx(psia, abs=0.003)
    assert gas_supply.air_density(reference.T - 273.15, pressure) == pytest.approx(reference.rho, rel=1e-4)


def test_air_density_of_the_sensible_heat_factor() -> None:
    # 70 °F at sea level: density in lb/ft³ · heat capacity in Btu/(lb °F) · 60 = 1.08, both by CoolProp for dry air.
    heat = coolprop().PropsSI("C", "T", celsius(70) + 273.15, "P", 101325, "Air") / 4186.8
    density = gas_supply.air_density(celsius(70)) / 16.018463
    assert density * heat * 60 == pytest.approx(1.08, abs=0.005)
    assert gas_supply.air_density(celsius(70)) == pytest.approx(
        coolprop().PropsSI("D", "T", celsius(70) + 273.15, "P", 101325, "Air"), rel=1e-3
    )


def test_moist_air_is_lighter() -> None:
    vapour = 0.5 * coolprop().PropsSI("P", "T", 298.15, "Q", 0, "Water")
    reference = 1 / coolprop().HAPropsSI("Vha", "T", 298.15, "P", 101325, "R", 0.5)
    assert gas_supply.air_density(25, vapour=vapour) == pytest.approx(reference, rel=1e-3)


def test_clocking_the_meter() -> None:
    # The definition, 3600 · V / t, worked by hand: 2 ft³ in 65 s at 1,035 Btu/ft³.
    assert gas_supply.clocked_flow(2, 65) * 1035 == pytest.approx(114646, abs=1)


# Ideal gas to 14.73 psia and 60 °F, worked by hand from the definition.
@pytest.mark.parametrize(
    ("gauge", "barometer", "fahrenheit", "expected"),
    [
        (7 * INCH_WATER, 14.696, 60, 1.0149),
        (7 * INCH_WATER, 14.696, 40, 1.0555),
        (7 * INCH_WATER, 12.228, 60, 0.8473),
        (2 * PSI, 14.696, 60, 1.1335),
    ],
)
def test_volume_at_base_conditions(gauge: float, barometer: float, fahrenheit: float, expected: float) -> None:
    factor = gas_supply.volume_factor(
        gauge, celsius(fahrenheit), barometer * PSI, base_pressure=14.73 * PSI, base_temperature=celsius(60)
    )
    assert factor == pytest.approx(expected, abs=0.0005)


def test_orifice_flow() -> None:
    assert gas_supply.orifice_flow_ratio(3.5, 3.2) == pytest.approx(0.956, abs=0.001)  # square root of the ratio


def test_a_closed_pipe_follows_the_temperature() -> None:
    # Ideal gas: 3.00 psig at 70 °F and 14.696 psia falls to 2.67 psig at 60 °F; 20 mbar at 15 °C rises to 23.6 at 16.
    cooled = gas_supply.closed_pipe_pressure(3 * PSI, celsius(70), celsius(60), 14.696 * PSI)
    assert cooled / PSI == pytest.approx(2.67, abs=0.01)
    assert gas_supply.closed_pipe_pressure(2000, 15, 16) == pytest.approx(2360, abs=10)


@given(st.floats(100, 1e5), st.floats(-30, 50), st.floats(-30, 50))
def test_a_tight_pipe_comes_back(gauge: float, start: float, end: float) -> None:
    there = gas_supply.closed_pipe_pressure(gauge, start, end)
    assert gas_supply.closed_pipe_pressure(there, end, start) == pytest.approx(gauge, rel=1e-6, abs=1e-3)


# Btu/h for each gpm and °F, computed here with CoolProp (IAPWS-95) at 300 kPa; beside it the figure that comes out.
@pytest.mark.parametrize(
    ("fahrenheit", "expected"), [(60, 500.33), (100, 496.33), (140, 492.08), (180, 487.25), (200, 484.71)]
)
def test_water_factor(fahrenheit: float, expected: float) -> None:
    kelvin = celsius(fahrenheit) + 273.15
    per_kelvin = coolprop().PropsSI("D", "T", kelvin, "P", 3e5, "Water") * coolprop().PropsSI(
        "C", "T", kelvin, "P", 3e5, "Water"
    )
    reference = GALLON / 60 * per_kelvin / 1.8 / BTU_PER_HOUR
    assert reference == pytest.approx(expected, abs=0.1)
    found = water.heat_to_water(GALLON / 60, celsius(fahrenheit + 0.5), celsius(fahrenheit - 0.5)) / BTU_PER_HOUR
    assert found == pytest.approx(reference, abs=0.15)


def test_the_rule_of_500_is_a_cold_water_figure() -> None:
    # 8 gpm and 20 °F at 140 °F: 78,734 Btu/h by CoolProp 8.0.0, where the rule of 500 gives 80,000.
    heat = water.heat_to_water(8 * GALLON / 60, celsius(150), celsius(130)) / BTU_PER_HOUR
    assert heat == pytest.approx(78734, abs=30)


def test_weight_of_a_gallon() -> None:
    # US EPA AP-42, Appendix A (miscellaneous data): a gallon of water weighs 8.33 lb.
    assert water.density(celsius(60)) * GALLON / 0.45359237 == pytest.approx(8.33, abs=0.01)


@pytest.mark.parametrize("temperature", [1, 10, 25, 60, 95, 119])
def test_water_is_that_of_iapws(temperature: float) -> None:
    kelvin = temperature + 273.15
    assert water.density(temperature) == pytest.approx(coolprop().PropsSI("D", "T", kelvin, "P", 3e5, "Water"), abs=0.2)
    assert water.heat_capacity(temperature) == pytest.approx(
        coolprop().PropsSI("C", "T", kelvin, "P", 3e5, "Water"), abs=1.0
    )


@pytest.mark.parametrize("temperature", [5, 30, 54.4444, 60, 100, 180, 300])
def test_saturation_is_that_of_iapws(temperature: float) -> None:
    reference = coolprop().PropsSI("P", "T", temperature + 273.15, "Q", 0, "Water")
    assert water.saturation_pressure(temperature) == pytest.approx(reference, rel=3e-4)
    assert water.saturation_temperature(reference) == pytest.approx(temperature, abs=0.01)


# Steam tables, from memory: 2.225 psia boils at 130 °F, 2.892 psia at 140 °F.
@pytest.mark.parametrize(("psia", "fahrenheit"), [(2.225, 130.0), (2.892, 140.0)])
def test_saturation_by_the_steam_tables(psia: float, fahrenheit: float) -> None:
    assert water.saturation_temperature(psia * PSI) * 1.8 + 32 == pytest.approx(fahrenheit, abs=0.1)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: gas_supply.clocked_flow(1, 0), "time above zero"),
        (lambda: gas_supply.atmospheric_pressure(20000), "outside"),
        (lambda: gas_supply.volume_factor(0, -300, base_pressure=1e5, base_temperature=15), "absolute zero"),
        (lambda: gas_supply.closed_pipe_pressure(0, -274, 15), "absolute zero"),
        (lambda: gas_supply.air_density(20, 1000, 2000), "vapour"),
        (lambda: gas_supply.orifice_flow_ratio(0, 3), "above zero"),
        (lambda: water.density(130), "0 to 120"),
        (lambda: water.heat_to_water(1, 200, 190), "0 to 120"),
        (lambda: water.saturation_pressure(-1), "0 to 373"),
        (lambda: water.saturation_temperature(1), "saturation pressures"),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], float], says: str) -> None:
    with pytest.raises(BadInput, match=says):
        call()
