"""Physics of one flame: which readings of a row cannot be true together. A law never corrects; it names both ends.

This is the one place outside the sheets that must know quantities by name: CO2, O2, CO, CO air-free, excess air, and
the offset pressure of a zero or negative governor.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from checks.air_free import air_free_broken
from checks.efficiencies import Broken, efficiency_broken
from checks.excess import excess_air_broken
from checks.learned import FlueRow, off_the_formula, off_the_line
from checks.possible import open_fuels, possible_values
from checks.rows import Rows, in_unit, number
from checks.words import named
from physics.laws import CO2_MAX_BAND, O2_IN_AIR, OFFSET_TOLERANCE, dilution_gap, dilution_tolerance
from schemas.appliance import ApplianceFile, Fuel, same_gas
from schemas.base import decimal_of
from schemas.findings import Finding
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["combustion_findings", "fuel_of"]

_ROW = ("co2", "o2", "co", "co_air_free", "flue_temp", "efficiency", "excess_air")

_LINE = "dilution of dry flue gas with air; fuel factor Fo of US EPA Method 3B (40 CFR 60, Appendix A-2)"
_FORMULA = "one instrument counts by one formula (Siegert's, or a heat balance), with one bias; no source"
_OFFSET = "common practice, no source: a zero or negative governor holds the offset at or below zero"


def fuel_of(rows: Rows, file: ApplianceFile | None) -> Fuel | None:
    """Return the fuel that the lines are drawn for: the appliance file's, else the recorded one, else None.

    Where the two differ, None: nothing is presumed of the gas until that is settled. Of natural gas and methane it is
    natural gas, whose band holds both.
    """
    reading = rows.standing("fuel", "")
    said: Fuel | None = next((fuel for fuel in CO2_MAX_BAND if reading is not None and reading.value == fuel), None)
    if file is None or said is None:
        return said if file is None else file.fuel
    if said == file.fuel:
        return said
    return "natural_gas" if same_gas(said, file.fuel) else None


def combustion_findings(rows: Rows, sheet: Sheet, file: ApplianceFile | None) -> Iterator[Finding]:
    """Yield a finding for each law of the flue gas that taken readings of one row break together."""
    fuel = fuel_of(rows, file)
    fuels = (fuel,) if fuel else open_fuels([*possible_values(rows, sheet)], sheet, file)
    gas_rows = list(_rows_of_gas(rows))
    air = rows.standing("ambient_temp", "")
    air = air if air is not None and number(air) is not None else None  # over range is no figure
    usual_o2 = next((q.range.usual for q in sheet.quantities if q.id == "o2"), (None, None))
    broken = [
        *(fault for row in gas_rows for fault in (*_impossible(row, fuels), *_off_the_line(row, fuel))),
        *air_free_broken(gas_rows, fuels, usual_o2),
        *efficiency_broken(gas_rows, air, fuels),
        *excess_air_broken(gas_rows, fuels),
    ]
    for fault in broken:
        yield _finding(sheet, fault, _suspects(fault, broken))
    for fault in (*_off_the_instrument(gas_rows, fuel), *_off_the_formula(gas_rows, air, fuel)):
        yield _finding(sheet, fault, ())
    if file is not None and file.governor == "zero or negative":
        yield from _offset_sign(rows, sheet)


def _rows_of_gas(rows: Rows) -> Iterator[dict[str, Reading]]:
    """Yield the readings of one condition and phase, by quantity, where there are any; the last of each counts."""
    found: dict[tuple[str | None, str, str | None], dict[str, Reading]] = {}
    for reading in rows.taken:
        if reading.quantity in _ROW and number(reading) is not None:
            key = reading.condition, reading.phase, reading.appliance
            found.setdefault(key, {})[reading.quantity] = reading
    yield from found.values()


def _impossible(row: dict[str, Reading], fuels: Sequence[Fuel]) -> Iterator[Broken]:
    highest = max(CO2_MAX_BAND[fuel][1] for fuel in fuels)
    allowed = {"co2": highest + Decimal("0.1"), "o2": O2_IN_AIR + Decimal("0.1")}
    for quantity, most in allowed.items():
        reading = row.get(quantity)
        if reading is not None and _of(reading) > most:
            text = f"more than {most} % cannot be in the flue gas{' of this fuel' if quantity == 'co2' else ''}"
            yield Broken("flue_gas_share", (reading,), text, _LINE)


def _off_the_line(row: dict[str, Reading], fuel: Fuel | None) -> Iterator[Broken]:
    if "co2" not in row or "o2" not in row:
        return
    co2, o2 = row["co2"], row["o2"]
    gap = dilution_gap(_of(co2), _of(o2), fuel)
    if abs(gap) > dilution_tolerance(co2_step=_step(co2), o2_step=_step(o2)):
        side = "above" if gap > 0 else "below"
        text = f"they cannot both be right, CO2 lies {abs(gap):.1f} % {side} the line that this O2 gives"
        yield Broken("co2_o2_line", (co2, o2), text, _LINE)


def _off_the_instrument(gas_rows: list[dict[str, Reading]], fuel: Fuel | None) -> Iterator[Broken]:
    """Yield a pair that lies off the line which the other rows of the job share, where the wide law lets it pass."""
    pairs = [
        (row["co2"], row["o2"])
        for row in gas_rows
        if "co2" in row and "o2" in row and _of(row["o2"]) < 18 and max(_step(row["co2"]), _step(row["o2"])) < 1
    ]
    for place, gap in off_the_line([(_of(co2), _of(o2)) for co2, o2 in pairs]):
        co2, o2 = pairs[place]
        if abs(dilution_gap(_of(co2), _of(o2), fuel)) <= dilution_tolerance(co2_step=_step(co2), o2_step=_step(o2)):
            text = f"the other rows lie on one line, and this pair is {gap:.1f} % CO2 off it"
            yield Broken("co2_o2_line_of_the_instrument", (co2, o2), text, _LINE, "look again")


def _off_the_formula(gas_rows: list[dict[str, Reading]], air: Reading | None, fuel: Fuel | None) -> Iterator[Broken]:
    """Yield an efficiency beside the formula that the other rows of the job follow."""
    air_in = None if air is None else _in(air, "Cel")
    if fuel is None or air is None or air_in is None:
        return
    found = [
        (row, FlueRow(float(flue), float(air_in), float(_of(row["o2"])), float(_of(row["efficiency"]))))
        for row in gas_rows
        if {"o2", "flue_temp", "efficiency"} <= row.keys() and (flue := _in(row["flue_temp"], "Cel")) is not None
    ]
    for place, name, gap in off_the_formula([flue_row for _, flue_row in found], fuel):
        row = found[place][0]
        text = f"the other rows follow one formula ({name}), and this efficiency is {abs(gap):.1f} points off it"
        readings = (row["efficiency"], row["flue_temp"], row["o2"], air)
        yield Broken("efficiency_of_the_instrument", readings, text, _FORMULA, "look again")


def _suspects(fault: Broken, broken: list[Broken]) -> tuple[Reading, ...]:
    """Return the readings that every law broken in the fault's row has a part in, where that is more than one law.

    O2 stands in the CO2 line and in CO air-free, so a slip of O2 breaks both; a slip of CO2 breaks only the first.
    """
    row = {(r.condition, r.phase, r.appliance) for r in fault.readings if r.condition}
    mine = [other for other in broken if any((r.condition, r.phase, r.appliance) in row for r in other.readings)]
    if len(mine) < 2:
        return ()
    return tuple(r for r in fault.readings if all(r in other.readings for other in mine))


def _offset_sign(rows: Rows, sheet: Sheet) -> Iterator[Finding]:
    for reading in rows.taken:
        if reading.quantity != "outlet_pressure":
            continue
        value = number(reading)
        pascal = None if value is None else in_unit(value, reading.unit, "Pa")
        if pascal is not None and pascal > OFFSET_TOLERANCE:
            text = "a zero or negative governor gives no plus; was a minus left out?"
            yield _finding(sheet, Broken("offset_sign", (reading,), text, _OFFSET, "look again"), ())


def _of(reading: Reading) -> Decimal:
    return decimal_of(reading.value)


def _in(reading: Reading, unit: str) -> Decimal | None:
    return in_unit(_of(reading), reading.unit, unit)


def _step(reading: Reading) -> Decimal:
    return Decimal(1).scaleb(int(_of(reading).as_tuple().exponent))


def _finding(sheet: Sheet, fault: Broken, suspects: tuple[Reading, ...]) -> Finding:
    readings = sorted(fault.readings, key=lambda r: r not in suspects)
    values = "; ".join(named(sheet, r) for r in readings)
    first = f" Ask about {named(sheet, suspects[0])} first: it is in every rule that fails." if suspects else ""
    return Finding(
        rule=fault.rule,
        verdict=fault.verdict,
        text=f"{values}: {fault.text}.{first}",
        appliance=readings[0].appliance,
        quantity=readings[0].quantity,
        condition=readings[0].condition,
        readings=tuple(r.id for r in readings),
        basis=fault.basis,
    )
