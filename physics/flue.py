"""Flue gas: excess air, reference oxygen, ppm and mg/m³, losses, efficiency, dew point. All estimates from readings.

Gas shares are % by volume of dry gas, temperatures °C, pressures Pa unless a name says otherwise. What comes out is an
estimate for comparing readings with each other; the appliance's instructions and certified figures come first.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal, NamedTuple

from physics.fuels import FUELS, LATENT_HEAT, O2_OF_DRY_AIR, FuelGas
from physics.water import saturation_pressure, saturation_temperature
from schemas.appliance import Fuel
from schemas.errors import BadInput

__all__ = [
    "Efficiency",
    "carbon_monoxide_mg_per_kwh",
    "co2_at",
    "condensate",
    "dew_point",
    "efficiency",
    "excess_air",
    "excess_air_method_3b",
    "excess_air_short_cut",
    "fuel_factor",
    "mg_per_m3",
    "siegert_constants",
    "siegert_gross_efficiency",
    "siegert_loss",
    "to_reference_oxygen",
]

_O2_AIR = 100 * O2_OF_DRY_AIR
_GAS_CONSTANT = 8.314462618  # J/(mol K), exact by the SI of 2019
_ATMOSPHERE = 101325.0


def _below_air(o2: float) -> float:
    if not 0 <= o2 < 20.9:
        raise BadInput(f"O2 {o2:g} % is no flue gas: it must be at least 0 and below 20.9 %, that of fresh air.")
    return o2


def co2_at(o2: float, gas: FuelGas) -> float:
    """Return the CO2 (% dry) of flue gas with ``o2`` (% dry): CO2max · (1 − O2 / 20.946), by mixing with dry air.

    Raises:
        BadInput: ``o2`` is below 0 or that of fresh air.
    """
    return gas.burning.co2_max * (1 - _below_air(o2) / _O2_AIR)


def fuel_factor(o2: float, co2: float, co: float = 0.0) -> float:
    """Return Fo = (20.9 − O2) / CO2, all % dry; ``co`` (%) is counted as burned to CO2.

    US EPA Method 3B (40 CFR 60, Appendix A-2); the correction is CO2 + CO and O2 − CO / 2.
    """
    return (20.9 - (o2 - co / 2)) / (co2 + co)


def excess_air(o2: float, gas: FuelGas) -> float:
    """Return the excess air in % of the air needed, exactly: 100 · (dry flue / air) · O2 / (20.946 − O2).

    Stoichiometry with dry air; dry flue and air are those without excess air.

    Raises:
        BadInput: ``o2`` is below 0 or that of fresh air.
    """
    need = gas.burning
    return 100 * need.dry_flue / need.air * _below_air(o2) / (_O2_AIR - o2)


def excess_air_short_cut(o2: float) -> float:
    """Return the trade's short-cut for excess air in %, 100 · O2 / (20.9 − O2); label it so wherever it is shown.

    It leaves out that dry flue gas has less volume than the air, and is some 3 points above the exact figure at 5 % O2.

    Raises:
        BadInput: ``o2`` is below 0 or that of fresh air.
    """
    return 100 * _below_air(o2) / (20.9 - o2)


def excess_air_method_3b(o2: float, n2: float, co: float = 0.0) -> float:
    """Return the excess air in % after US EPA Method 3B, Eq. 3B-1 (from memory): O2 − CO/2 over 0.264 N2 less that."""
    spare = o2 - co / 2
    return 100 * spare / (0.264 * n2 - spare)


def to_reference_oxygen(ppm: float, o2: float, reference: float) -> float:
    """Return a concentration measured at ``o2`` (% dry) as it would be at ``reference`` % O2.

    ppm · (20.9 − reference) / (20.9 − O2): US EPA Method 19 (40 CFR 60, Appendix A-7).

    Raises:
        BadInput: ``o2`` is below 0 or that of fresh air.
    """
    return ppm * (20.9 - reference) / (20.9 - _below_air(o2))


def mg_per_m3(ppm: float, molar_mass: float, temperature: float, pressure: float = _ATMOSPHERE) -> float:
    """Return mg/m³ of a gas of ``molar_mass`` (g/mol) from ppm by volume, at ``temperature`` °C and ``pressure`` Pa.

    Ideal gas. US exposure limits are stated at 25 °C and 760 torr (29 CFR 1910.1000, Table Z-1); normal cubic metres
    are at 0 °C and 101.325 kPa.
    """
    return ppm * molar_mass * pressure / (_GAS_CONSTANT * (temperature + 273.15)) / 1000


# Siegert constants A2 and B of the German 1. BImSchV, Annex 2 (from memory), flue loss in % of the net heat.
_SIEGERT: Mapping[Fuel, tuple[float, float]] = MappingProxyType(
    {"natural_gas": (0.66, 0.009), "propane": (0.63, 0.008), "butane": (0.63, 0.008), "oil_no2": (0.68, 0.007)}
)


def siegert_loss(flue: float, air: float, o2: float, fuel: Fuel) -> float:
    """Return the flue loss in % of the net heat, (flue − air) · (A2 / (21 − O2) + B), temperatures in °C.

    Siegert's form with the constants of the German 1. BImSchV (from memory); for liquid gas they run about 4 % low.
    Without condensation.

    Raises:
        BadInput: ``o2`` is no flue gas, or the regulation has no constants for the fuel.
    """
    a2, b = siegert_constants(fuel)
    return (flue - air) * (a2 / (21 - _below_air(o2)) + b)


def siegert_constants(fuel: Fuel) -> tuple[float, float]:
    """Return A2 and B of ``siegert_loss``.

    Raises:
        BadInput: the regulation has no constants for the fuel.
    """
    if fuel not in _SIEGERT:
        raise BadInput(f"There are no Siegert constants for {fuel.replace('_', ' ')}.")
    return _SIEGERT[fuel]


def siegert_gross_efficiency(flue: float, air: float, o2: float, fuel: Fuel) -> float:
    """Return the efficiency in % of the gross heat without condensation: (100 − ``siegert_loss``) · net / gross.

    The figure that many instruments show in North America; theirs may differ by a bias of their own.

    Raises:
        BadInput: as ``siegert_loss``.
    """
    gas = FUELS[fuel]
    return (100 - siegert_loss(flue, air, o2, fuel)) * gas.net / gas.gross


# Molar heat at constant pressure a + b·t + c·t² in J/(mol K), t in °C, fitted by us to the NASA polynomials (NASA
# TP-2002-211556) from 0 to 300 °C; off by at most 0.05 J/(mol K).
_HEAT = {
    "co2": (36.0149, 4.58291e-2, -3.45797e-5),
    "h2o": (33.4534, 4.89178e-3, 1.241082e-5),
    "n2": (29.1147, 1.53682e-4, 8.70451e-6),
    "o2": (29.2141, 6.06246e-3, 9.20261e-6),
}


_HEAT_OF_LIQUID = 0.0753  # kJ/(mol K), liquid water at 25 to 60 °C (IAPWS-95)


def _warmth(gas: str, low: float, high: float) -> float:
    """Return the heat in kJ/mol between two temperatures in °C."""
    a, b, c = _HEAT[gas]
    return (a * (high - low) + b * (high**2 - low**2) / 2 + c * (high**3 - low**3) / 3) / 1000


class Efficiency(NamedTuple):
    """An estimate in % of the heat of the fuel, on the named basis, with its losses in % on the same basis.

    ``latent`` is the heat of the water that leaves as vapour: 0 on the net basis unless less of it leaves than burning
    makes, when it is negative (the gain above 100 %). ``condensing`` says that the flue gas is below its dew point;
    then the value is an upper bound, since real boilers condense less than a flue gas in equilibrium.
    """

    value: float
    basis: Literal["gross", "net"]
    sensible: float
    latent: float
    condensing: bool


def efficiency(
    flue: float, air: float, o2: float, gas: FuelGas, basis: Literal["gross", "net"], *, condensing: bool = True
) -> Efficiency:
    """Return the combustion efficiency from ``flue`` and ``air`` in °C and ``o2`` in % dry, by a heat balance.

    Dry combustion air at ``air``; flue gas leaves at ``flue``, saturated where that is below the dew point and
    ``condensing`` is set; condensate leaves at ``flue`` too. No loss through the casing. An estimate: instruments with
    constants of their own differ by up to a point.

    Raises:
        BadInput: ``o2`` is no flue gas.
    """
    need = gas.burning
    spare = excess_air(o2, gas) / 100 * need.air
    made = need.water
    dry = need.dry_flue + spare
    ceiling = saturation_pressure(flue) if flue < 100 else math.inf
    vapour = made
    if condensing and ceiling < _ATMOSPHERE:
        vapour = min(made, dry * ceiling / (_ATMOSPHERE - ceiling))
    inert = dry - need.co2 - spare * O2_OF_DRY_AIR
    sensible = (
        need.co2 * _warmth("co2", air, flue)
        + inert * _warmth("n2", air, flue)
        + spare * O2_OF_DRY_AIR * _warmth("o2", air, flue)
        + vapour * _warmth("h2o", air, flue)
        + (made - vapour) * _HEAT_OF_LIQUID * (flue - air)
    )
    heat = gas.gross if basis == "gross" else gas.net
    latent = LATENT_HEAT * (vapour if basis == "gross" else vapour - made)
    losses = 100 * sensible / heat, 100 * latent / heat
    return Efficiency(100 - sum(losses), basis, *losses, condensing=vapour < made)


def dew_point(o2: float, gas: FuelGas, pressure: float = _ATMOSPHERE, air_vapour: float = 0.0) -> float:
    """Return the temperature in °C at which water begins to condense from the flue gas.

    ``pressure`` in Pa; ``air_vapour`` is the partial pressure in Pa of the water in the combustion air. Stoichiometry
    and the saturation line of IAPWS; acids are left out.

    Raises:
        BadInput: ``o2`` is no flue gas.
    """
    need = gas.burning
    spare = excess_air(o2, gas) / 100 * need.air
    moist = (need.air + spare) * air_vapour / (pressure - air_vapour)
    water = need.water + moist
    return saturation_temperature(pressure * water / (need.dry_flue + spare + water))


def condensate(gas: FuelGas) -> float:
    """Return the water in kg for each kWh of gross heat if all of it condenses: stoichiometry, 18.015 g/mol."""
    return gas.burning.water * 18.015268e-3 / (gas.gross / 3600)


def carbon_monoxide_mg_per_kwh(ppm_air_free: float, fuel: Fuel) -> float:
    """Return mg of CO for each kWh of net heat from CO air-free in ppm; dry flue gas without excess air, ideal gas."""
    gas = FUELS[fuel]
    return ppm_air_free * 1e-6 * gas.burning.dry_flue * 28.0101e3 / (gas.net / 3600)
