"""The heat that the water takes, held against the heat that the clocked gas gives: law H1, an energy balance."""

from __future__ import annotations

from collections.abc import Iterator

from checks.gas_input import clocked_heat
from checks.rows import Rows, in_unit, number
from checks.words import named
from physics.water import heat_to_water
from schemas.findings import Finding
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["heat_findings"]

# Flow meters keep 5 %, clocking 5 %: 10 % together (common practice, no source). Two displays in whole degrees leave a
# degree of the temperature rise open, which is added as its share of the rise.
_ALLOWED = 0.10
_DEGREE = 1 / 1.8
_LITRE_A_MINUTE = 1e-3 / 60
_BASIS = "energy balance: flow, temperature rise and properties of plain water against clocked input and efficiency"


def heat_findings(rows: Rows, sheet: Sheet) -> Iterator[Finding]:
    """Yield the balance of each firing rate that has all of it: flow, both temperatures, clocked input, efficiency.

    It never says more than "look again": glycol, a bypass or an efficiency on the net basis shift it too.
    """
    for condition in sheet.conditions:
        names = ("flow", "supply_temp", "return_temp", "efficiency")
        readings = [r for name in names if (r := rows.standing(name, condition.id)) is not None]
        gas = clocked_heat(rows, condition.id)
        if len(readings) < len(names) or gas is None:
            continue
        flow, supply, back, share = (
            _in(r, unit) for r, unit in zip(readings, ("L/min", "Cel", "Cel", "%"), strict=True)
        )
        if flow is None or supply is None or back is None or not share or supply <= back:
            continue
        if not 0 <= (supply + back) / 2 <= 120:
            continue
        water = heat_to_water(flow * _LITRE_A_MINUTE, supply, back) / 1000
        useful = float(gas.kilowatt) * share / 100
        allowed = _ALLOWED + _DEGREE / (supply - back)
        off = water / useful - 1
        if abs(off) > allowed:
            yield _finding(sheet, [*readings, *gas.readings], water, useful, off)


def _in(reading: Reading, unit: str) -> float | None:
    value = number(reading)
    found = None if value is None else in_unit(value, reading.unit, unit)
    return None if found is None else float(found)


def _finding(sheet: Sheet, readings: list[Reading], water: float, useful: float, off: float) -> Finding:
    values = "; ".join(named(sheet, r) for r in readings)
    side = "more" if off > 0 else "less"
    text = (
        f"the water takes about {water:.1f} kW, {abs(off) * 100:.0f} % {side} than the {useful:.1f} kW that gas and "
        "efficiency give; look at flow, temperatures, their units, and the clocking (an estimate, for plain water)"
    )
    return Finding(
        rule="heat_balance",
        verdict="look again",
        text=f"{values}: {text}.",
        appliance=readings[0].appliance,
        quantity=readings[0].quantity,
        condition=readings[0].condition,
        readings=tuple(r.id for r in readings),
        basis=_BASIS,
    )
