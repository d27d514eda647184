"""The input by the meter: what the clocked gas carries, held against the rating. It needs to know its quantities."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import NamedTuple

from checks.rows import Rows, in_unit, number
from checks.words import named, shown
from physics.gas_supply import atmospheric_pressure, volume_factor
from schemas.appliance import ApplianceFile
from schemas.base import decimal_of, is_value_text
from schemas.findings import Finding, Verdict
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["clocked_heat", "input_findings", "input_kilowatt"]

# Firing rate, the plate's quantity, the appliance file's field.
_RATED = (("high_fire", "input_max", "input_high"), ("low_fire", "input_min", "input_low"))
_CAUTION, _STOP = Decimal("0.05"), Decimal("0.10")
_BASIS = (
    "3600 · volume / time · heating value, the volume at the base conditions of the heating value (ideal gas); 5 % is "
    "common practice, no source; beyond 10 % at high fire a US trade page asks for it to be put right"
)
# Volumes of gas are sold at 60 °F and 14.73 psia where heat is told in Btu, else at 15 °C and 101.325 kPa (ISO 13443).
_BASES = {"[Btu_IT]/[cft_i]": (101560.0, 15.5556, "60 °F")}
_ISO_BASE = (101325.0, 15.0, "15 °C")
# Above this, in metres (2,000 ft), makers rate an appliance lower than its plate says (common practice, no source).
_DERATED_ABOVE = 610
_LOOK = "the meter's dial, the seconds, the heating value and the meter's own pressure"


class ClockedHeat(NamedTuple):
    """The heat of the clocked gas in kW, the readings that it is worked out from, and what was taken for granted."""

    kilowatt: Decimal
    readings: list[Reading]
    assumed: str


def clocked_heat(rows: Rows, condition: str) -> ClockedHeat | None:
    """Return the heat that the clocked gas carries; None where volume, time or heating value are not known.

    The volume is brought to the base conditions of the heating value with the inlet pressure of the firing rate and the
    altitude, where they are known, and with the gas temperature where that was read; else the gas is taken to be at the
    base temperature, which is said.
    """
    clocked, heat = rows.standing("clock_time", condition), rows.standing("heating_value", "")
    if clocked is None or heat is None:
        return None
    volume, seconds, per_volume = _volume(clocked), _in(clocked, "s"), _in(heat, "MJ/m3")
    if volume is None or not seconds or per_volume is None:
        return None
    factor, used, assumed = _to_base(rows, condition, heat.unit)
    kilowatt = volume * Decimal(str(factor)) * per_volume * 1000 / seconds
    return ClockedHeat(kilowatt, [clocked, heat, *used], assumed)


def _to_base(rows: Rows, condition: str, heat_unit: str) -> tuple[float, list[Reading], str]:
    """Return the volume factor, the readings behind it, and what it takes for granted."""
    base_pressure, base_temperature, degrees = _BASES.get(heat_unit, _ISO_BASE)
    inlet = rows.standing("inlet_pressure", condition) or rows.standing("inlet_pressure", "running")
    gauge = None if inlet is None else _in(inlet, "Pa")
    if inlet is None or gauge is None:
        return 1.0, [], f"the volume is not corrected: the pressure at the meter is not known; gas at {degrees} assumed"
    used, height, assumed = [inlet], _height(rows), []
    if height is None:
        assumed.append("sea level")
    if (altitude := rows.standing("altitude", "")) is not None and height is not None:
        used.append(altitude)
    warmth = _warmth(rows)
    if warmth is None:
        assumed.append(f"gas at {degrees}")
    else:
        used.append(warmth[0])
    factor = volume_factor(
        float(gauge),
        base_temperature if warmth is None else warmth[1],
        atmospheric_pressure(height or 0.0),
        base_pressure=base_pressure,
        base_temperature=base_temperature,
    )
    how = "pressure" if warmth is None else "pressure and temperature"
    taken = f"; {' and '.join(assumed)} assumed" if assumed else ""
    told = f"volume times {factor:.3f}, corrected for {how}{taken}; right for a meter that corrects nothing itself"
    return factor, used, told


def _warmth(rows: Rows) -> tuple[Reading, float] | None:
    """Return the gas temperature at the meter that was read, and it in °C, where gas can have it."""
    measured = rows.standing("gas_temp", "")
    celsius = None if measured is None else _in(measured, "Cel")
    return None if measured is None or celsius is None or not -60 <= celsius <= 80 else (measured, float(celsius))


def _height(rows: Rows) -> float | None:
    """Return the altitude in metres where it is known and the standard atmosphere reaches there."""
    altitude = rows.standing("altitude", "")
    metres = None if altitude is None else _in(altitude, "m")
    return float(metres) if metres is not None and -1000 <= metres <= 11000 else None


def input_findings(rows: Rows, sheet: Sheet, file: ApplianceFile | None) -> Iterator[Finding]:
    """Yield what the clocked meter, and an input that was read as such, say at each firing rate."""
    for condition, plate, field in _RATED:
        rated = _rated(rows, plate, file, field)
        told = rows.standing("clocked_input", condition)
        kilowatt = None if told is None else _in(told, "kW")
        if told is not None and kilowatt is not None and rated is not None:
            yield _judged(rows, sheet, ClockedHeat(kilowatt, [told], ""), *rated)
        clocked = rows.standing("clock_time", condition)
        if clocked is None:
            continue
        volume, seconds = _volume(clocked), _in(clocked, "s")
        heat = clocked_heat(rows, condition)
        if volume is None or not seconds:
            yield _finding(sheet, "cannot tell", [clocked], "the volume that was clocked is not known")
        elif heat is None:
            flow = f"{volume / seconds * 3600:.2f} m³/h"
            text = f"{flow} by the meter; the input cannot be told without the gas's heating value"
            yield _finding(sheet, "cannot tell", [clocked], text)
        elif rated is None:
            text = f"{heat.kilowatt:.1f} kW by the meter; no rated input is known to hold it against"
            yield _finding(sheet, "cannot tell", heat.readings, text)
        else:
            yield _judged(rows, sheet, heat, *rated)


def input_kilowatt(rows: Rows, file: ApplianceFile | None) -> tuple[Decimal, Decimal] | None:
    """Return the input at low and at high fire in kW: clocked at both, else both as maker or plate rate them."""
    clocked = [clocked_heat(rows, condition) for condition, _, _ in _RATED]
    rated = [_rated(rows, plate, file, field) for _, plate, field in _RATED]
    found = [None if heat is None else heat.kilowatt for heat in clocked]
    if None in found:
        found = [None if one is None else in_unit(one[0], one[1], "kW") for one in rated]
    high, low = found
    return None if not high or not low else (low, high)


def _judged(rows: Rows, sheet: Sheet, heat: ClockedHeat, value: Decimal, unit: str) -> Finding:
    input_ = in_unit(heat.kilowatt, "kW", unit)
    assert input_ is not None  # both are powers
    off = input_ / value - 1
    shown_input = shown(f"{round(input_, -3 if input_ > 10000 else 1):f}", unit)
    side = "above" if off > 0 else "below"
    assumed = f" ({heat.assumed})" if heat.assumed else ""
    text = f"{shown_input} by the meter, {abs(off) * 100:.1f} % {side} the rated {shown(str(value), unit)}{assumed}"
    if abs(off) <= _CAUTION:
        return _finding(sheet, "within", heat.readings, text)
    if off < 0 and (_height(rows) or 0.0) > _DERATED_ABOVE:
        text += "; the rating at this altitude is not known, makers derate above 2,000 ft"
        return _finding(sheet, "cannot tell", heat.readings, text)
    if heat.readings[0].condition != "high_fire":
        return _finding(sheet, "look again", heat.readings, f"{text}; look at {_LOOK} first")
    if abs(off) <= _STOP:
        text += f"; look at {_LOOK} first, then compare with the maker's instructions before going on"
        return _finding(sheet, "caution", heat.readings, text)
    text += (
        f". That is outside what the plate allows. Go no further: {_LOOK} are looked at again first, then the "
        "regulator, by a qualified person after the maker's instructions"
    )
    return _finding(sheet, "stop", heat.readings, text)


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
