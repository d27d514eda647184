"""Fuels: what they are made of, the air they need, the flue gas they make, the heat they give."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from schemas.appliance import Fuel
from schemas.errors import BadInput

__all__ = ["FUELS", "O2_OF_DRY_AIR", "Burning", "Elements", "FuelGas", "burning", "elements_of", "gas_of"]

O2_OF_DRY_AIR = 0.20946
"""Oxygen in dry air, mole fraction, as handbooks round it (US Standard Atmosphere 1976: 0.209476)."""

LATENT_HEAT = 43.99
"""Heat that a mole of water gives off when it condenses at 25 °C, kJ/mol (IAPWS-95)."""


class Elements(NamedTuple):
    """Moles of each element, and of nitrogen as N2, in one mole of a gas (or in 100 g of an oil)."""

    c: float
    h: float
    o: float = 0.0
    s: float = 0.0
    n2: float = 0.0


class Burning(NamedTuple):
    """What one mole of fuel (100 g of oil) needs and makes when it burns fully without excess air, in moles."""

    air: float
    dry_flue: float
    co2: float
    water: float

    @property
    def co2_max(self) -> float:
        """The most CO2 that dry flue gas can hold, % by volume."""
        return 100 * self.co2 / self.dry_flue


class FuelGas(NamedTuple):
    """A fuel: its elements and its gross heat of combustion at 25 °C in kJ, both for one mole (100 g of an oil)."""

    elements: Elements
    gross: float

    @property
    def burning(self) -> Burning:
        """Its need of air and its flue gas."""
        return burning(self.elements)

    @property
    def net(self) -> float:
        """Net heat of combustion at 25 °C in kJ: gross less the heat in the water that stays vapour."""
        return self.gross - self.burning.water * LATENT_HEAT


# One mole of each: its elements, and its gross heat of combustion at 25 °C in kJ/mol. ISO 6976:2016, Table 3, from
# memory; tests/test_physics_fuels.py compares them with the NASA data in cantera.
_GASES: Mapping[str, FuelGas] = MappingProxyType(
    {
        "methane": FuelGas(Elements(1, 4), 890.58),
        "ethane": FuelGas(Elements(2, 6), 1560.69),
        "propane": FuelGas(Elements(3, 8), 2219.17),
        "n-butane": FuelGas(Elements(4, 10), 2877.40),
        "isobutane": FuelGas(Elements(4, 10), 2868.20),
        "n-pentane": FuelGas(Elements(5, 12), 3535.77),
        "isopentane": FuelGas(Elements(5, 12), 3528.83),
        "n-hexane": FuelGas(Elements(6, 14), 4194.95),
        "hydrogen": FuelGas(Elements(0, 2), 285.83),
        "carbon monoxide": FuelGas(Elements(1, 0, 1), 282.98),
        "nitrogen": FuelGas(Elements(0, 0, n2=1), 0.0),
        "carbon dioxide": FuelGas(Elements(1, 0, 2), 0.0),
        "oxygen": FuelGas(Elements(0, 0, 2), 0.0),
    }
)


def gas_of(fractions: Mapping[str, float]) -> FuelGas:
    """Return the gas mixed of the given mole fractions (``{"methane": 0.95, …}``), which must sum to 1 within 0.001.

    Raises:
        BadInput: an unknown component, or fractions that do not sum to 1.
    """
    unknown = sorted(set(fractions) - set(_GASES))
    if unknown:
        raise BadInput(f"{', '.join(unknown)}: not a gas known here; use {', '.join(_GASES)}.")
    total = sum(fractions.values())
    if abs(total - 1) > 0.001 or min(fractions.values(), default=-1) < 0:
        raise BadInput(f"The parts of a gas must be positive and sum to 1; these sum to {total:g}.")
    parts = [(_GASES[name], share / total) for name, share in fractions.items()]
    mixed = Elements(*(sum(gas.elements[i] * share for gas, share in parts) for i in range(5)))
    return FuelGas(mixed, sum(gas.gross * share for gas, share in parts))


def elements_of(mass_percent: Mapping[str, float]) -> Elements:
    """Return the moles in 100 g of an oil from its mass per cent of ``c``, ``h``, ``s``, ``o`` and ``n``.

    Molar masses in g/mol: IUPAC standard atomic weights, abridged.
    """
    molar = {"c": 12.011, "h": 1.008, "s": 32.06, "o": 15.999}
    parts = {name: mass_percent.get(name, 0.0) / mass for name, mass in molar.items()}
    return Elements(**parts, n2=mass_percent.get("n", 0.0) / 28.014)


def burning(elements: Elements, o2_of_air: float = O2_OF_DRY_AIR) -> Burning:
    """Return the air that a fuel needs and the flue gas that it makes without excess air, in moles.

    C + O2 → CO2, 2 H2 + O2 → 2 H2O, S + O2 → SO2; all else of the air goes through. Dry air, mole fraction
    ``o2_of_air`` of oxygen. SO2 counts as CO2, as an absorbing instrument takes it.
    """
    oxygen = elements.c + elements.h / 4 + elements.s - elements.o / 2
    air = oxygen / o2_of_air
    co2 = elements.c + elements.s
    return Burning(air=air, dry_flue=co2 + elements.n2 + air * (1 - o2_of_air), co2=co2, water=elements.h / 2)


# Natural gas is a band; this one stands for it: the Gulf Coast mix of the AGA-8 / GERG reference gases (CoolProp's
# GulfCoast.mix). Its CO2max with air of 20.946 % oxygen is 11.85 %.
_NATURAL_GAS = {
    "methane": 0.965222,
    "nitrogen": 0.002595,
    "carbon dioxide": 0.005956,
    "ethane": 0.018186,
    "propane": 0.004596,
    "isobutane": 0.000977,
    "n-butane": 0.001007,
    "isopentane": 0.000473,
    "n-pentane": 0.000324,
    "n-hexane": 0.000664,
}

# No. 2 oil as C 87.0, H 12.7, S 0.3 mass % with 19,500 Btu/lb gross, handbook figures from memory: 45.36 MJ/kg.
FUELS: Mapping[Fuel, FuelGas] = MappingProxyType(
    {
        "natural_gas": gas_of(_NATURAL_GAS),
        "methane": _GASES["methane"],
        "propane": _GASES["propane"],
        "butane": _GASES["n-butane"],
        "oil_no2": FuelGas(elements_of({"c": 87.0, "h": 12.7, "s": 0.3}), 4536.0),
    }
)
"""The fuels of appliance files; gases for one mole, oil for 100 g."""
