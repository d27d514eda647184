"""The input by the meter: what the clocked gas carries, held against the rating. It needs to know its quantities."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal

from checks.rows import Rows, in_unit, number
from checks.words import named, shown
from schemas.appliance import ApplianceFile
from schemas.base import decimal_of, is_value_text
from schemas.findings import Finding, Verdict
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["clocked_kilowatt", "input_findings"]

# Firing rate, the plate's quantity, the appliance file's field.
_RATED = (("high_fire", "input_max", "input_high"), ("low_fire", "input_min", "input_low"))
_ALLOWED = Decimal("0.05")
_BASIS = "3600 · volume / time · heating value; 5 % is common practice, no source"


def clocked_kilowatt(rows: Rows, condition: str) -> tuple[list[Reading], Decimal] | None:
    """Return the heat that the clocked gas carries in kW and the readings that it is worked out from; None without."""
    clocked, heat = rows.standing("clock_time", condition), rows.standing("heating_value", "")
    if clocked is None or heat is None:
        return None
    volume, seconds, per_volume = _volume(clocked), _in(clocked, "s"), _in(heat, "MJ/m3")
    if volume is None or not seconds or per_volume is None:
        return None
    return [clocked, heat], volume * per_volume * 1000 / seconds


def input_findings(rows: Rows, sheet: Sheet, file: ApplianceFile | None) -> Iterator[Finding]:
    """Yield what the clocked meter says of the input at each firing rate; never more than "look again".

    The volume is as the meter showed it: its pressure and temperature are not corrected for.
    """
    for condition, plate, field in _RATED:
        clocked = rows.standing("clock_time", condition)
        if clocked is None:
            continue
        volume, seconds = _volume(clocked), _in(clocked, "s")
        heat = rows.standing("heating_value", "")
        if volume is None or not seconds:
            yield _finding(sheet, "cannot tell", [clocked], "the volume that was clocked is not known")
            continue
        per_volume = None if heat is None else _in(heat, "MJ/m3")
        if heat is None or per_volume is None:
            flow = f"{volume / seconds * 3600:.2f} m³/h"
            text = f"{flow} by the meter; the input cannot be told without the gas's heating value"
            yield _finding(sheet, "cannot tell", [clocked], text)
            continue
        kilowatt = volume * per_volume * 1000 / seconds
        rated = _rated(rows, plate, file, field)
        if rated is None:
            text = f"{kilowatt:.1f} kW by the meter; no rated input is known to hold it against"
            yield _finding(sheet, "cannot tell", [clocked, heat], text)
            continue
        yield _judged(sheet, [clocked, heat], kilowatt, *rated)


def _judged(sheet: Sheet, readings: list[Reading], kilowatt: Decimal, value: Decimal, unit: str) -> Finding:
    input_ = in_unit(kilowatt, "kW", unit)
    assert input_ is not None  # both are powers
    off = input_ / value - 1
    shown_input = shown(f"{round(input_, -3 if input_ > 10000 else 1):f}", unit)
    side = "above" if off > 0 else "below"
    text = f"{shown_input} by the meter, {abs(off) * 100:.1f} % {side} the rated {shown(str(value), unit)}"
    if abs(off) <= _ALLOWED:
        return _finding(sheet, "within", readings, text)
    more = "; look at the meter's dial, the seconds, the heating value and the meter's own pressure first"
    return _finding(sheet, "look again", readings, text + more)


def _rated(rows: Rows, plate: str, file: ApplianceFile | None, field: str) -> tuple[Decimal, str] | None:
    stated = getattr(file, field, None)
    if file is not None and stated is not None:
        return decimal_of(stated), file.input_unit
    reading = rows.standing(plate, "")
    value = None if reading is None else number(reading)
    return None if reading is None or not value else (value, reading.unit)


def _volume(clocked: Reading) -> Decimal | None:
    """Return the clocked volume in m³ from the reading's note (``5 [cft_i]``)."""
    found = re.fullmatch(r"(\S+) (\[cft_i\]|m3)", clocked.note.strip())
    if found is None or not is_value_text(found[1]) or Decimal(found[1]) <= 0:
        return None
    return in_unit(Decimal(found[1]), found[2], "m3")


def _in(reading: Reading, unit: str) -> Decimal | None:
    value = number(reading)
    return None if value is None else in_unit(value, reading.unit, unit)


def _finding(sheet: Sheet, verdict: Verdict, readings: list[Reading], text: str) -> Finding:
    return Finding(
        rule="input_by_meter",
        verdict=verdict,
        text=f"{'; '.join(named(sheet, r) for r in readings)}: {text}.",
        appliance=readings[0].appliance,
        quantity=readings[0].quantity,
        condition=readings[0].condition,
        readings=tuple(r.id for r in readings),
        basis=_BASIS,
    )
