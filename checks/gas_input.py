"""The input by the meter: what the clocked gas carries, held against the rating. It needs to know its quantities."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Literal, NamedTuple

from checks.combustion import fuel_of
from checks.possible import possible_values
from checks.rows import Rows, in_unit, inside, number
from checks.words import named, shown
from physics.fuels import FUELS
from physics.gas_supply import atmospheric_pressure, volume_factor
from schemas.appliance import ApplianceFile
from schemas.base import decimal_of, is_value_text
from schemas.findings import Finding, Verdict
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["clocked_heat", "input_findings", "input_kilowatt"]

# Firing rate, the plate's quantity, the appliance file's field.
_RATED = (("high_fire", "input_max", "input_high"), ("low_fire", "input_min", "input_low"))
# What tells the input by the meter, and the firing rate at which it can stop the work.
_CLOCKED, _STOPS_AT = ("clocked_input", "clock_time"), "high_fire"
_CAUTION, _STOP = Decimal("0.05"), Decimal("0.10")
_BASIS = (
    "3600 · volume / time · heating value, the volume at the base conditions of the heating value (ideal gas); 5 % is "
    "common practice, no source; beyond 10 % at high fire a US trade page asks for it to be put right; gas is sold by "
    "its gross heating value, ratings in Btu/h are on it, those in kW mostly on net (common practice, no source)"
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


class Rating(NamedTuple):
    """A rated input, and on which heating value it is reckoned: None where that is not said."""

    value: Decimal
    unit: str
    basis: Literal["gross", "net"] | None


def input_findings(rows: Rows, sheet: Sheet, file: ApplianceFile | None) -> Iterator[Finding]:
    """Yield what the clocked meter, and an input that was read as such, say at each firing rate.

    Of one whose question is open only a stop is told, and only for too much gas, the worst that it may mean.
    """
    yield from _settled(rows, sheet, file)
    rated = _rated(rows, "input_max", file, "input_high")
    if rated is None:
        return
    own = {r.id: r for r in rows.all if r.quantity in _CLOCKED and r.condition == _STOPS_AT and not r.taken}
    told: set[str] = set()
    for way in possible_values(rows, sheet) if own else ():
        (name,) = way.readings
        quantity = sheet.quantity(way.quantity)
        there = None if name not in own else way.measured(quantity.units[0])
        if there is None or name in told or (way.quantity, way.condition) != (own[name].quantity, _STOPS_AT):
            continue
        if not inside(there, quantity.range.possible):
            continue
        as_if = own[name].model_copy(update={"value": way.value, "unit": way.unit, "doubts": (), "alternatives": ()})
        supposed = Rows([as_if if r.id == name else r for r in rows.all], None)
        for heat in (_told_heat(supposed, _STOPS_AT), clocked_heat(supposed, _STOPS_AT)):
            mine = heat is not None and name in [r.id for r in heat.readings]
            if heat is not None and mine and _offs(supposed, file, heat, rated)[0][0] > _STOP:
                told.add(name)
                finding = _judged(supposed, sheet, file, heat, rated)
                yield finding.model_copy(update={"text": f"It may be so, its question is open: {finding.text}"})


def _settled(rows: Rows, sheet: Sheet, file: ApplianceFile | None) -> Iterator[Finding]:
    for condition, plate, field in _RATED:
        rated = _rated(rows, plate, file, field)
        told = _told_heat(rows, condition)
        if told is not None and rated is not None:
            yield _judged(rows, sheet, file, told, rated)
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
            yield _judged(rows, sheet, file, heat, rated)


def _told_heat(rows: Rows, condition: str) -> ClockedHeat | None:
    told = rows.standing("clocked_input", condition)
    kilowatt = None if told is None else _in(told, "kW")
    return None if told is None or kilowatt is None else ClockedHeat(kilowatt, [told], "")


def input_kilowatt(rows: Rows, file: ApplianceFile | None) -> tuple[Decimal, Decimal] | None:
    """Return the input at low and at high fire in kW: clocked at both, else both as maker or plate rate them."""
    clocked = [clocked_heat(rows, condition) for condition, _, _ in _RATED]
    rated = [_rated(rows, plate, file, field) for _, plate, field in _RATED]
    found = [None if heat is None else heat.kilowatt for heat in clocked]
    if None in found:
        found = [None if one is None else in_unit(one.value, one.unit, "kW") for one in rated]
    high, low = found
    return None if not high or not low else (low, high)


def _judged(rows: Rows, sheet: Sheet, file: ApplianceFile | None, heat: ClockedHeat, rated: Rating) -> Finding:
    """Judge an input by its rating.

    Where it is not said on which heating value one of them is reckoned, and it makes a difference, the kinder way is
    taken and named, and the work is stopped only where each way would stop it.
    """
    offs = _offs(rows, file, heat, rated)
    off, words = offs[0]
    input_ = _power(heat, rated)
    shown_input = shown(f"{round(input_, -3 if input_ > 10000 else 1):f}", rated.unit)
    assumed = f" ({heat.assumed})" if heat.assumed else ""
    text = f"{shown_input} by the meter, {_beside(off)} the rated {shown(str(rated.value), rated.unit)}{assumed}"
    if words:
        text += f"; reckoned with {words}"
    for other, otherwise in offs[1:]:
        text += f", which is not said: with {otherwise} it would be {_beside(other)}"
    if abs(off) <= _CAUTION:
        return _finding(sheet, "within", heat.readings, text)
    if off < 0 and (_height(rows) or 0.0) > _DERATED_ABOVE:
        text += "; the rating at this altitude is not known, makers derate above 2,000 ft"
        return _finding(sheet, "cannot tell", heat.readings, text)
    if heat.readings[0].condition != _STOPS_AT or abs(off) <= _STOP < abs(offs[-1][0]):
        return _finding(sheet, "look again", heat.readings, f"{text}; look at {_LOOK} first")
    if abs(off) <= _STOP:
        text += f"; look at {_LOOK} first, then compare with the maker's instructions before going on"
        return _finding(sheet, "caution", heat.readings, text)
    text += (
        f". That is outside what the plate allows. Go no further: {_LOOK} are looked at again first, then the "
        "regulator, by a qualified person after the maker's instructions"
    )
    return _finding(sheet, "stop", heat.readings, text)


def _offs(rows: Rows, file: ApplianceFile | None, heat: ClockedHeat, rated: Rating) -> list[tuple[Decimal, str]]:
    """Return by how much an input is off its rating, with how both may be reckoned; the kindest way first."""
    gas = FUELS[fuel_of(rows, file) or "natural_gas"]
    ways = _ways(heat.readings[0], rated, Decimal(gas.net / gas.gross))
    offs = ((_power(heat, rated) * factor / rated.value - 1, words) for words, factor in ways)
    return sorted(offs, key=lambda way: abs(way[0]))


def _power(heat: ClockedHeat, rated: Rating) -> Decimal:
    power = in_unit(heat.kilowatt, "kW", rated.unit)
    assert power is not None  # both are powers
    return power


def _ways(clocked: Reading, rated: Rating, net: Decimal) -> list[tuple[str, Decimal]]:
    """Return how input and rating may be reckoned, in words, and the factor on the input; ``net`` of one gross kWh.

    Gas is sold by its gross heating value, and ratings in Btu/h are on it. What is told in kW may be on either.
    """
    told = clocked.quantity == "clocked_input" and clocked.unit == "kW"
    if rated.basis == "net":
        return [("the input gross and the rating net", net), *([("both net", Decimal(1))] if told else [])]
    if rated.basis == "gross":
        return [("both gross", Decimal(1)), *([("the input net and the rating gross", 1 / net)] if told else [])]
    if rated.unit == "kW":
        return [("both alike" if told else "both gross", Decimal(1)), ("the input gross and the rating net", net)]
    return [("", Decimal(1))]


def _beside(off: Decimal) -> str:
    return f"{abs(off) * 100:.1f} % {'above' if off > 0 else 'below'}"


def _rated(rows: Rows, plate: str, file: ApplianceFile | None, field: str) -> Rating | None:
    stated = getattr(file, field, None)
    if file is not None and stated is not None:
        return Rating(decimal_of(stated), file.input_unit, file.input_basis)
    reading = rows.standing(plate, "")
    value = None if reading is None else number(reading)
    if reading is None or not value or value < 0 or in_unit(value, reading.unit, "kW") is None:
        return None  # a plate whose unit was not made out rates nothing
    return Rating(value, reading.unit, None)


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
