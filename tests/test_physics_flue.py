"""Flue gas against cantera and CoolProp, computed here, and against published tables named beside each value."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

import cantera
import pytest
from hypothesis import given
from hypothesis import strategies as st

from physics import flue
from physics.fuels import FUELS, LATENT_HEAT, burning, elements_of, gas_of
from physics.laws import CO2_MAX, CO2_MAX_BAND
from schemas.errors import BadInput
from tests.references import coolprop

# The names that cantera's nasa_gas.yaml (NASA polynomials) and CoolProp give to our gases.
CANTERA = {
    "methane": "CH4",
    "ethane": "C2H6",
    "propane": "C3H8",
    "n-butane": "C4H10,n-butane",
    "isobutane": "C4H10,isobutane",
    "n-pentane": "C5H12,n-pentane",
    "isopentane": "C5H12,i-pentane",
    "nitrogen": "N2",
    "carbon dioxide": "CO2",
}
COOLPROP = {
    "Methane": "methane",
    "Ethane": "ethane",
    "n-Propane": "propane",
    "IsoButane": "isobutane",
    "n-Butane": "n-butane",
    "Isopentane": "isopentane",
    "n-Pentane": "n-pentane",
    "n-Hexane": "n-hexane",
    "Nitrogen": "nitrogen",
    "CarbonDioxide": "carbon dioxide",
}
AIR = {"O2": 0.20946, "N2": 0.79054}
METHANE, PROPANE, BUTANE = FUELS["methane"], FUELS["propane"], FUELS["butane"]


def mixture(name: str) -> dict[str, float]:
    """A reference natural gas of GERG/AGA-8 as CoolProp holds it."""
    state = coolprop().AbstractState("HEOS", f"{name}.mix")
    return {COOLPROP[f]: x for f, x in zip(state.fluid_names(), state.get_mole_fractions(), strict=True)}


EKOFISK = mixture("Ekofisk")
FUEL_MIXES = {"methane": {"methane": 1.0}, "propane": {"propane": 1.0}, "butane": {"n-butane": 1.0}, "ekofisk": EKOFISK}


@pytest.fixture(scope="module")
def gas_phase() -> Any:
    species = {s.name: s for s in cantera.Species.list_from_file("nasa_gas.yaml")}
    wanted = {*CANTERA.values(), "O2", "H2O"}
    return cantera.Solution(thermo="ideal-gas", species=[species[name] for name in sorted(wanted)])


def burned(phase: Any, mix: Mapping[str, float], excess: float) -> dict[str, float]:
    """Mole fractions of the wet flue gas after full burning, by cantera's equilibrium at 500 K, per mole of it."""
    fuel = {CANTERA[name]: share for name, share in mix.items()}
    phase.set_equivalence_ratio(1 / (1 + excess), fuel, AIR)
    phase.TP = 500, 101325
    phase.equilibrate("TP")
    return dict(zip(phase.species_names, phase.X, strict=True))


def dry(flue_gas: Mapping[str, float], name: str) -> float:
    return 100 * flue_gas[name] / (1 - flue_gas["H2O"])


# Ultimate CO2, computed: cantera equilibrium with the composition named; % dry, air of 20.946 % oxygen.
@pytest.mark.parametrize(
    ("fuel", "expected"),
    [
        ("methane", 11.70),  # also the value of combustion handbooks, from memory 11.7
        ("propane", 13.72),  # from memory 13.7
        ("butane", 14.02),  # from memory 14.0 to 14.1
        ("ekofisk", 12.19),  # CoolProp's Ekofisk.mix
    ],
)
def test_most_co2_that_a_fuel_makes(gas_phase: Any, fuel: str, expected: float) -> None:
    reference = dry(burned(gas_phase, FUEL_MIXES[fuel], 0.0), "CO2")
    assert reference == pytest.approx(expected, abs=0.006)
    assert gas_of(FUEL_MIXES[fuel]).burning.co2_max == pytest.approx(reference, abs=0.005)


def test_natural_gas_of_the_files_is_the_gulf_coast_mix() -> None:
    gas = gas_of(mixture("GulfCoast"))
    assert gas.elements == pytest.approx(FUELS["natural_gas"].elements, rel=1e-5)
    assert gas.burning.co2_max == pytest.approx(11.85, abs=0.01)  # computed from CoolProp's GulfCoast.mix


def test_most_co2_of_oil_from_its_analysis() -> None:
    # C 87.0, H 12.7, S 0.3 mass %, from memory; handbooks, from memory: 15.2 to 15.6 %.
    assert FUELS["oil_no2"].burning.co2_max == pytest.approx(15.60, abs=0.05)


@pytest.mark.parametrize("fuel", ["methane", "propane", "butane", "oil_no2"])
def test_lines_of_the_laws_hold_what_the_fuel_makes(fuel: Any) -> None:
    at_20_9 = Decimal(str(burning(FUELS[fuel].elements, 0.209).co2_max))
    low, high = CO2_MAX_BAND[fuel]
    assert low <= at_20_9 <= high
    assert low <= CO2_MAX[fuel] <= high


def test_line_of_natural_gas_holds_its_mixes() -> None:
    low, high = CO2_MAX_BAND["natural_gas"]
    for mix in ({"methane": 1.0}, mixture("GulfCoast"), mixture("Amarillo"), EKOFISK):
        assert low <= Decimal(str(burning(gas_of(mix).elements, 0.209).co2_max)) <= high


# CO2 on the dilution line, and exact excess air: both from cantera's flue gas at the same excess air.
@pytest.mark.parametrize("fuel", ["methane", "propane", "butane", "ekofisk"])
@pytest.mark.parametrize("excess", [0.095, 0.15, 0.281, 0.45, 0.82])
def test_dilution_line_and_excess_air_are_those_of_cantera(gas_phase: Any, fuel: str, excess: float) -> None:
    reference = burned(gas_phase, FUEL_MIXES[fuel], excess)
    o2, gas = dry(reference, "O2"), gas_of(FUEL_MIXES[fuel])
    assert flue.co2_at(o2, gas) == pytest.approx(dry(reference, "CO2"), abs=0.003)
    assert flue.excess_air(o2, gas) == pytest.approx(100 * excess, abs=0.02)


# CO2 at 3 and 5 % O2, computed with cantera 3.2.0 and rounded.
@pytest.mark.parametrize(
    ("mix", "o2", "expected"),
    [
        ("methane", 3.0, 10.02),
        ("methane", 5.0, 8.91),
        ("propane", 3.0, 11.75),
        ("propane", 5.0, 10.44),
        ("butane", 3.0, 12.01),
        ("butane", 5.0, 10.67),
    ],
)
def test_co2_at_o2(mix: str, o2: float, expected: float) -> None:
    assert flue.co2_at(o2, gas_of(FUEL_MIXES[mix])) == pytest.approx(expected, abs=0.006)


@pytest.mark.parametrize(("o2", "expected"), [(3.0, 10.16), (5.0, 9.02)])
def test_co2_at_o2_of_gulf_coast_gas(o2: float, expected: float) -> None:
    assert flue.co2_at(o2, FUELS["natural_gas"]) == pytest.approx(expected, abs=0.006)  # CoolProp's GulfCoast.mix


# US DOE Steam Tip Sheet #4 (January 2006), "Improve Your Boiler's Combustion Efficiency", table for natural gas.
@pytest.mark.parametrize(("o2", "expected"), [(2.0, 9.5), (3.0, 15.0), (5.0, 28.1), (7.0, 44.9), (10.0, 81.6)])
def test_excess_air_of_natural_gas_by_the_doe_table(o2: float, expected: float) -> None:
    assert flue.excess_air(o2, METHANE) == pytest.approx(expected, abs=0.2)


def test_excess_air_of_propane() -> None:
    assert flue.excess_air(5.0, PROPANE) == pytest.approx(28.7, abs=0.2)  # stoichiometry, computed with cantera 3.2.0


def test_excess_air_by_method_3b_is_near_the_exact_one() -> None:
    # US EPA Method 3B, Eq. 3B-1, from memory; natural gas with 5.0 % O2, 8.91 % CO2, the rest N2.
    assert flue.excess_air_method_3b(5.0, 86.09) == pytest.approx(28.2, abs=0.1)


def test_short_cut_for_excess_air_is_another_number() -> None:
    assert flue.excess_air_short_cut(5.0) == pytest.approx(31.4, abs=0.1)  # common practice, no source
    assert flue.excess_air_short_cut(5.0) - flue.excess_air(5.0, METHANE) > 3


# Fo ranges of US EPA Method 3B (40 CFR 60, Appendix A-2), from memory.
@pytest.mark.parametrize(
    ("fuel", "low", "high"),
    [
        ("natural_gas", 1.600, 1.836),
        ("propane", 1.434, 1.586),
        ("butane", 1.405, 1.553),
        ("oil_no2", 1.260, 1.413),
    ],
)
@pytest.mark.parametrize("o2", [2.0, 5.0, 9.0])
def test_fuel_factor_lies_in_the_range_of_method_3b(fuel: Any, low: float, high: float, o2: float) -> None:
    assert low < flue.fuel_factor(o2, flue.co2_at(o2, FUELS[fuel])) < high


def test_fuel_factor_of_a_reading() -> None:
    # The definition in US EPA Method 3B, worked by hand.
    assert flue.fuel_factor(4.4, 9.2) == pytest.approx(1.793, abs=0.001)
    assert flue.fuel_factor(4.5, 9.0, co=0.10) == pytest.approx(1.808, abs=0.002)


def test_reference_oxygen() -> None:
    # US EPA Method 19 (40 CFR 60, Appendix A-7): (20.9 − 3) / (20.9 − 5).
    assert flue.to_reference_oxygen(100, 5, 3) == pytest.approx(112.58, abs=0.01)


@given(st.floats(0, 20), st.floats(0, 20), st.floats(0.1, 5000))
def test_reference_oxygen_and_back_is_the_reading(o2: float, reference: float, ppm: float) -> None:
    there = flue.to_reference_oxygen(ppm, o2, reference)
    assert flue.to_reference_oxygen(there, reference, o2) == pytest.approx(ppm, rel=1e-9)


CO, NO2, SO2 = 28.0101, 46.0055, 64.064  # g/mol, IUPAC abridged atomic weights


@pytest.mark.parametrize(
    ("ppm", "molar", "temperature", "expected", "within"),
    [
        (1, CO, 25, 1.145, 0.001),  # 29 CFR 1910.1000, Table Z-1, footnote (a): ppm at 25 °C and 760 torr
        (200, CO, 25, 229, 0.5),  # NIOSH ceiling for carbon monoxide: 200 ppm (229 mg/m³)
        (35, CO, 25, 40, 0.2),  # NIOSH REL for carbon monoxide: 35 ppm (40 mg/m³)
        (1, CO, 0, 1.25, 0.001),  # ideal gas at 0 °C and 101.325 kPa
        (1, NO2, 20, 1.194e-7 * 453592.37 * 35.31467, 0.002),  # 40 CFR 60.64: K for NOx, lb/dscf a ppm at 68 °F
        (1, SO2, 20, 1.660e-7 * 453592.37 * 35.31467, 0.006),  # 40 CFR 75, Appendix F, section 2: K for SO2
        (1, CO, 20, 7.269e-8 * 453592.37 * 35.31467, 0.002),  # 28.0101 g/mol over 385.3 ft³/lbmol at 68 °F
    ],
)
def test_ppm_to_mg(ppm: float, molar: float, temperature: float, expected: float, within: float) -> None:
    assert flue.mg_per_m3(ppm, molar, temperature) == pytest.approx(expected, abs=within)


def test_carbon_monoxide_per_kwh() -> None:
    # EN 15502-1, Annex: 1 ppm CO (dry, without excess air) is 1.074 mg/kWh for methane (G20); from memory.
    assert flue.carbon_monoxide_mg_per_kwh(1, "methane") == pytest.approx(1.074, abs=0.002)


# ---------------------------------------------------------------- heat
def gross_by_cantera(phase: Any, name: str) -> float:
    """Gross heat in kJ/mol at 25 °C from cantera's formation enthalpies and CoolProp's latent heat (IAPWS-95)."""
    kelvin = 298.15
    enthalpy = {s.name: s.thermo.h(kelvin) / 1e6 for s in phase.species()}
    gas = gas_of({name: 1.0}).elements
    net = enthalpy[CANTERA[name]] + (gas.c + gas.h / 4) * enthalpy["O2"]
    net -= gas.c * enthalpy["CO2"] + gas.h / 2 * enthalpy["H2O"]
    vapour, liquid = (coolprop().PropsSI("H", "T", kelvin, "Q", q, "Water") for q in (1, 0))
    return float(net + gas.h / 2 * (vapour - liquid) * 18.015268e-6)


@pytest.mark.parametrize("name", ["methane", "ethane", "propane", "n-butane", "isobutane", "n-pentane", "isopentane"])
def test_heat_of_combustion_is_that_of_the_nasa_data(gas_phase: Any, name: str) -> None:
    assert gas_of({name: 1.0}).gross == pytest.approx(gross_by_cantera(gas_phase, name), rel=1e-3)


def test_heat_of_the_example_of_iso_6976() -> None:
    # ISO 6976:2016, Annex D.2, example 1: 906.17996 kJ/mol at 15 °C; the composition is from memory. At 25 °C a gas of
    # this kind gives 0.1 % less (methane 890.58 against 891.51).
    mix = {
        "methane": 0.933212,
        "ethane": 0.025656,
        "propane": 0.015368,
        "nitrogen": 0.010350,
        "carbon dioxide": 0.015414,
    }
    assert gas_of(mix).gross * 891.51 / 890.58 == pytest.approx(906.17996, rel=2e-4)


def test_latent_heat_is_that_of_iapws() -> None:
    vapour, liquid = (coolprop().PropsSI("H", "T", 298.15, "Q", q, "Water") for q in (1, 0))
    assert pytest.approx((vapour - liquid) * 18.015268e-6, abs=0.01) == LATENT_HEAT


# Gross over net heat at 25 °C, computed with cantera 3.2.0 and CoolProp 8.0.0.
@pytest.mark.parametrize(
    ("fuel", "expected"), [("methane", 1.1096), ("natural_gas", 1.1085), ("propane", 1.0861), ("butane", 1.0828)]
)
def test_gross_over_net(fuel: Any, expected: float) -> None:
    assert FUELS[fuel].gross / FUELS[fuel].net == pytest.approx(expected, abs=0.0006)


def test_latent_loss_without_condensation() -> None:
    # 1 − net / gross: 9.88 % for methane, 9.78 % for Gulf Coast gas, computed with cantera 3.2.0 and CoolProp 8.0.0.
    for gas, expected in ((METHANE, 9.88), (FUELS["natural_gas"], 9.78)):
        assert flue.efficiency(25, 25, 5, gas, "gross", condensing=False).latent == pytest.approx(expected, abs=0.05)


def fahrenheit(value: float) -> float:
    return (value - 32) / 1.8


# US DOE Steam Tip Sheet #4 (January 2006), table for natural gas: O2 %, flue less air °F, combustion efficiency %.
# Its constants are older: it runs 0.3 to 0.7 points below a heat balance with the NASA data.
DOE = [
    (2, 200, 85.4),
    (2, 300, 83.1),
    (2, 400, 80.8),
    (5, 200, 84.7),
    (5, 300, 82.1),
    (5, 400, 79.5),
    (10, 200, 82.8),
    (10, 300, 79.3),
    (10, 400, 75.6),
]


@pytest.mark.parametrize(("o2", "net", "expected"), DOE)
def test_efficiency_by_the_doe_table(o2: float, net: float, expected: float) -> None:
    found = flue.efficiency(fahrenheit(70 + net), fahrenheit(70), o2, METHANE, "gross", condensing=False)
    assert found.value == pytest.approx(expected, abs=0.7)


def efficiency_by_cantera(phase: Any, mix: Mapping[str, float], o2: float, flue_c: float, air_c: float) -> float:
    """Gross efficiency in %, flue gas saturated at its exit and condensate as warm, by cantera and CoolProp."""
    gas = gas_of(mix)
    share = flue.excess_air(o2, gas) / 100
    wet = burned(phase, mix, share)
    enthalpy = {s.name: s.thermo for s in phase.species()}
    made = wet["H2O"]
    if flue_c < 100:
        ceiling = coolprop().PropsSI("P", "T", flue_c + 273.15, "Q", 0, "Water")
        made = min(made, (1 - wet["H2O"]) * ceiling / (101325 - ceiling))
    left = {**wet, "H2O": made}
    sensible = sum(
        x * (enthalpy[n].h(flue_c + 273.15) - enthalpy[n].h(air_c + 273.15)) / 1e6 for n, x in left.items() if x > 1e-12
    )
    # One mole of fuel makes gas.elements.c moles of CO2 (none of it in these fuels beforehand), which scales the flue.
    moles = gas.elements.c / wet["CO2"]
    liquid = [coolprop().PropsSI("H", "T", t + 273.15, "P", 101325, "Water") * 18.015268e-6 for t in (air_c, flue_c)]
    if made < wet["H2O"]:
        sensible += (wet["H2O"] - made) * (liquid[1] - liquid[0])
    return float(100 - 100 * moles * (sensible + made * 43.99) / gas.gross)


@pytest.mark.parametrize("flue_c", [30, 40, 45, 50, 60, 80, 150])
@pytest.mark.parametrize("fuel", ["methane", "propane"])
def test_efficiency_is_the_heat_balance_of_cantera(gas_phase: Any, flue_c: float, fuel: str) -> None:
    mix = FUEL_MIXES[fuel]
    reference = efficiency_by_cantera(gas_phase, mix, 5.0, flue_c, 20.0)
    assert flue.efficiency(flue_c, 20.0, 5.0, gas_of(mix), "gross").value == pytest.approx(reference, abs=0.05)


# Flue gas saturated at its exit, air 20 °C dry, 5 % O2, natural gas; computed with cantera 3.2.0 and CoolProp 8.0.0.
@pytest.mark.parametrize(
    ("flue_c", "expected"), [(30, 97.04), (40, 94.60), (45, 92.94), (50, 90.83), (60, 88.36), (80, 87.45)]
)
def test_condensing_efficiency(flue_c: float, expected: float) -> None:
    assert flue.efficiency(flue_c, 20, 5, FUELS["natural_gas"], "gross").value == pytest.approx(expected, abs=0.06)


def test_efficiency_names_its_basis_and_whether_it_condenses() -> None:
    gross = flue.efficiency(40, 20, 5, METHANE, "gross")
    net = flue.efficiency(40, 20, 5, METHANE, "net")
    assert (gross.basis, net.basis, gross.condensing) == ("gross", "net", True)
    assert net.value == pytest.approx(gross.value * METHANE.gross / METHANE.net, abs=0.01)
    assert not flue.efficiency(80, 20, 5, METHANE, "gross").condensing


@given(st.floats(60, 250), st.floats(1, 100), st.floats(0, 13), st.floats(0.1, 2))
def test_efficiency_falls_with_flue_temperature_and_with_oxygen(flue_c: float, d: float, o2: float, do: float) -> None:
    here = flue.efficiency(flue_c, 20, o2, METHANE, "gross").value
    assert flue.efficiency(flue_c + d, 20, o2, METHANE, "gross").value < here
    assert flue.efficiency(flue_c, 20, o2 + do, METHANE, "gross").value < here


# Siegert's form, constants of the German 1. BImSchV from memory; beside it the heat balance of this house.
@pytest.mark.parametrize(
    ("fuel", "flue_c", "o2", "expected", "within"),
    [("natural_gas", 180, 5.0, 8.04, 0.15), ("propane", 150, 3.0, 5.59, 0.25)],
)
def test_siegert_loss(fuel: Any, flue_c: float, o2: float, expected: float, within: float) -> None:
    assert flue.siegert_loss(flue_c, 20, o2, fuel) == pytest.approx(expected, abs=0.005)
    balance = flue.efficiency(flue_c, 20, o2, FUELS[fuel], "net", condensing=False)
    assert 100 - balance.value == pytest.approx(expected, abs=within)


def test_condensate_of_natural_gas() -> None:
    # Stoichiometry: 0.1443 kg a kWh of gross heat, 1.12 US gallons a therm.
    assert flue.condensate(FUELS["natural_gas"]) == pytest.approx(0.1443, abs=0.0015)
    assert flue.condensate(FUELS["natural_gas"]) * 29.3071 / 3.785411784 == pytest.approx(1.12, abs=0.02)


# Dew point at 101.325 kPa with dry air, by CoolProp (IAPWS-95) at the partial pressure of the water in cantera's flue
# gas; beside it the figure that comes out, in °C.
@pytest.mark.parametrize(
    ("fuel", "excess", "expected"),
    [
        ("methane", 0.0, 59.2),
        ("methane", 0.2, 55.7),
        ("methane", 0.4, 52.7),
        ("propane", 0.2, 51.4),
        ("butane", 0.2, 50.6),
    ],
)
def test_dew_point(gas_phase: Any, fuel: str, excess: float, expected: float) -> None:
    wet = burned(gas_phase, FUEL_MIXES[fuel], excess)
    reference = coolprop().PropsSI("T", "P", wet["H2O"] * 101325, "Q", 0, "Water") - 273.15
    assert reference == pytest.approx(expected, abs=0.06)
    o2 = max(0.0, dry(wet, "O2"))
    assert flue.dew_point(o2, gas_of(FUEL_MIXES[fuel])) == pytest.approx(reference, abs=0.02)


def test_dew_point_at_altitude_and_in_moist_air() -> None:
    o2 = next(x / 1000 for x in range(20000) if flue.excess_air(x / 1000, METHANE) >= 30)
    # Computed with CoolProp 8.0.0: 50.4 °C at 84.307 kPa (5,000 ft); 55.8 °C with air of 25 °C and 50 % humidity.
    assert flue.dew_point(o2, METHANE, 84307) == pytest.approx(50.4, abs=0.1)
    vapour = 0.5 * coolprop().PropsSI("P", "T", 298.15, "Q", 0, "Water")
    assert flue.dew_point(o2, METHANE, air_vapour=vapour) == pytest.approx(55.8, abs=0.1)


@pytest.mark.parametrize(
    "call",
    [
        lambda: flue.excess_air(20.9, METHANE),
        lambda: flue.excess_air_short_cut(-0.1),
        lambda: flue.co2_at(21.0, METHANE),
        lambda: flue.to_reference_oxygen(10, 20.95, 3),
        lambda: flue.siegert_loss(100, 20, 25, "natural_gas"),
        lambda: flue.dew_point(20.9, METHANE),
    ],
)
def test_fresh_air_is_no_flue_gas(call: Callable[[], float]) -> None:
    with pytest.raises(BadInput, match="is no flue gas"):
        call()


@pytest.mark.parametrize(
    ("mix", "says"),
    [({"methane": 0.5}, "sum to 0.5"), ({"unobtainium": 1.0}, "unobtainium: not a gas"), ({}, "sum to 0")],
)
def test_a_gas_that_cannot_be(mix: dict[str, float], says: str) -> None:
    with pytest.raises(BadInput, match=says):
        gas_of(mix)


def test_siegert_knows_its_fuels() -> None:
    with pytest.raises(BadInput, match="no Siegert constants for methane"):
        flue.siegert_loss(100, 20, 5, "methane")


def test_oil_analysis_to_elements() -> None:
    # 100 g with 12.011 % carbon are one mole of carbon (IUPAC atomic weight).
    assert elements_of({"c": 12.011, "h": 1.008}).c == pytest.approx(1.0)
