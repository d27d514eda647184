"""What an adjustment did: the readings as found against those after it, and the way that was told for the screw.

It judges readings only; it never says what to turn.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from checks.rows import Rows, in_unit, number
from checks.words import named, shown
from physics.laws import CO2_MAX, O2_IN_AIR
from schemas.appliance import ApplianceFile, ScrewEffect
from schemas.findings import Finding, Verdict
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["adjustment_findings"]

# How far CO2 and O2 must move to say that they moved: two steps of the display (common practice, no source).
_MOVED = Decimal("0.2")
# How far such changes must lie off the line, % CO2: true pairs of rows of an instrument that measures both gases go as
# far in 1 of 500 (as bench/misreads.py draws them).
_OFF = Decimal("0.6")
# A doubling of CO below this many ppm is within an instrument's tolerance (EN 50379-2: ±20 ppm, from memory).
_CO_STEP = Decimal(20)

_LINE = "dilution of dry flue gas with air: less air makes more CO2 and less O2 (US EPA Method 3B, fuel factor Fo)"
_DOUBLED = "common practice, no source: a CO that doubles after a change deserves care"
_WAYS = {"cw": "clockwise", "ccw": "counterclockwise"}


def adjustment_findings(rows: Rows, sheet: Sheet, file: ApplianceFile | None) -> Iterator[Finding]:
    """Yield what does not fit between a firing rate's readings before and after its adjustment."""
    for condition in sheet.conditions:
        if not condition.adjusted:
            continue
        co2, o2, co = (_pair(rows, quantity, condition.id) for quantity in ("co2", "o2", "co"))
        if co2 is not None and o2 is not None and _same_way(_change(*co2), _change(*o2)):
            way = "rose" if _change(*co2) > 0 else "fell"
            text = f"CO2 and O2 both {way} with the adjustment, which air alone cannot do; one of the four is wrong"
            yield _finding(sheet, "co2_and_o2_same_way", "conflicting", [*co2, *o2], text, _LINE)
        elif co2 is not None and file is not None:
            yield from _against_the_way_told(rows, sheet, file, condition.id, co2)
        if co is not None:
            before, after = (_value(r) for r in co)
            if after >= 2 * before and after - before >= _CO_STEP:
                text = "CO has doubled with the adjustment, or more"
                yield _finding(sheet, "co_doubled", "caution", list(co), text, _DOUBLED)


def _pair(rows: Rows, quantity: str, condition: str) -> tuple[Reading, Reading] | None:
    before = rows.as_found(quantity, condition)
    after = next((r for r in reversed(rows.of(quantity, condition)) if r.phase == "after"), None)
    if before is None or after is None or number(before) is None or number(after) is None:
        return None
    return before, after


def _value(reading: Reading) -> Decimal:
    value = number(reading)
    assert value is not None  # _pair lets numbers through only
    return in_unit(value, reading.unit, {"co": "[ppm]"}.get(reading.quantity or "", "%")) or value


def _change(before: Reading, after: Reading) -> Decimal:
    return _value(after) - _value(before)


def _same_way(co2: Decimal, o2: Decimal) -> bool:
    """Say whether two changes went the same way, and by more than an instrument that measures both is mostly off."""
    moved = min(abs(co2), abs(o2)) >= _MOVED and co2 * o2 > 0
    return moved and abs(co2 + CO2_MAX["natural_gas"] / O2_IN_AIR * o2) >= _OFF


def _against_the_way_told(
    rows: Rows, sheet: Sheet, file: ApplianceFile, condition: str, co2: tuple[Reading, Reading]
) -> Iterator[Finding]:
    """Yield a CO2 that went against the maker's word on the screw. Only where all turns there went the same way."""
    told = {effect.screw: effect for effect in file.screws}
    moves = [r for q in sheet.quantities if q.kind == "move" for r in rows.of(q.id, condition)]
    expected: set[bool] = set()
    effect: ScrewEffect | None = None
    for move in moves:
        screw, _, way = move.note.partition(" ")
        if screw not in told or way not in _WAYS:
            return
        effect = told[screw]
        expected.add(effect.richer == _WAYS[way])
    change = _change(*co2)
    if effect is None or len(expected) != 1 or abs(change) < _MOVED or (change > 0) == expected.pop():
        return
    way = "richer" if change < 0 else "leaner"
    turned = _WAYS[moves[-1].note.partition(" ")[2]]
    where = f", page {effect.page}" if effect.page else ""
    text = (
        f"the maker says that {turned} makes it {way}, and CO2 went the other way; a reading, the way of the turn, or "
        "which was before and which after, is wrong"
    )
    basis = f"{file.document}{where}"
    yield _finding(sheet, "co2_against_the_turn", "conflicting", [*co2, *moves], text, basis)


def _finding(sheet: Sheet, rule: str, verdict: Verdict, readings: list[Reading], text: str, basis: str) -> Finding:
    values = "; ".join(
        named(sheet, r) if r.unit != "{turn}" else f"{shown(r.value, r.unit)} {r.note.replace('_', ' ')}"
        for r in readings
    )
    return Finding(
        rule=rule,
        verdict=verdict,
        text=f"{values}: {text}.",
        appliance=readings[0].appliance,
        quantity=readings[0].quantity,
        condition=readings[0].condition,
        readings=tuple(r.id for r in readings),
        basis=basis,
    )
