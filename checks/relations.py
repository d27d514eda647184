"""Relations between readings, as the sheet and the appliance file state them: typed rules, no formula language."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise

from checks.rows import Rows, in_unit, number
from checks.words import ended, named, shown
from schemas.appliance import ApplianceFile
from schemas.findings import Finding, Verdict
from schemas.readings import Reading
from schemas.sheet import Relation, Sheet

__all__ = ["relation_findings"]

_SO = ("done", "passed")
"""The states of a check that was carried out."""


def relation_findings(rows: Rows, sheet: Sheet, file: ApplianceFile | None) -> Iterator[Finding]:
    """Yield a finding for each relation that does not hold; lacking a reading, only what calls for it."""
    stated = {relation.id: relation for relation in (*sheet.relations, *(file.relations if file else ()))}
    for relation in stated.values():
        yield from _judged(rows, sheet, relation)


def _judged(rows: Rows, sheet: Sheet, relation: Relation) -> Iterator[Finding]:
    slots = [(slot.quantity, slot.condition) for slot in relation.slots]
    if relation.kind == "each between":
        for reading in (r for slot in slots for r in rows.of(*slot)):
            value = _value(reading, relation.unit or reading.unit)
            if value is not None and not relation.between(value):
                yield _finding(sheet, relation, [reading], "")
    elif relation.kind == "sum at most":
        for readings in _summed(rows, sheet, slots):
            unit = relation.unit or readings[0].unit
            parts = [(r, value) for r in readings if (value := _value(r, unit)) is not None]
            total = sum((abs(value) for _, value in parts), Decimal(0))
            if total > Decimal(relation.amount or "0"):
                told = in_unit(total, unit, readings[0].unit)
                off = _shown(total if told is None else told, readings)
                yield _finding(sheet, relation, [r for r, _ in parts], f"sum {off}")
    elif relation.kind == "calls for":
        so = [one for slot in slots if (one := rows.standing(*slot)) is not None and one.value in _SO]
        if [(one.quantity, one.condition) for one in so] == slots[:1]:
            yield _finding(sheet, relation, so, "")
    elif relation.kind == "ordered":
        for first, second in pairwise(slots):
            yield from _pair(rows, sheet, relation, first, second)
    else:
        yield from _pair(rows, sheet, relation, slots[0], slots[1])


def _summed(rows: Rows, sheet: Sheet, slots: list[tuple[str, str]]) -> Iterator[list[Reading]]:
    """Yield the readings that are added up: all of the slots, or of a quantity of moves the turns of each screw.

    A move belongs to the firing rate that its screw sets, wherever it was turned; one of no known screw to the firing
    rate that it was recorded at.
    """
    sets = {screw.id: screw.condition for screw in sheet.screws}
    plain = [r for name, condition in slots if sheet.quantity(name).kind != "move" for r in rows.of(name, condition)]
    moves: dict[str, list[Reading]] = {}
    for reading in rows.taken:
        if reading.quantity is not None and sheet.quantity(reading.quantity).kind == "move":
            screw = reading.note.partition(" ")[0]
            condition = sets.get(screw) or reading.condition or ""
            if (reading.quantity, condition) in slots:
                moves.setdefault(screw if screw in sets else "", []).append(reading)
    yield from (readings for readings in (plain, *moves.values()) if readings)


def _pair(
    rows: Rows, sheet: Sheet, relation: Relation, first: tuple[str, str], second: tuple[str, str]
) -> Iterator[Finding]:
    # A law binds the rows as found too; a rule of the trade is about how the plant is left.
    pairs = list(rows.pairs(first, second))
    for a, b in pairs if relation.law else pairs[-1:]:
        # Where the rule names no unit (a ratio has none), the second is brought to the unit of the first.
        unit = relation.unit or a.unit
        x, y = _value(a, unit), _value(b, unit)
        if x is None or y is None:
            continue
        off = _off(relation, x, y, a, b)
        if off is not None:
            yield _finding(sheet, relation, [a, b], off)


def _off(relation: Relation, x: Decimal, y: Decimal, a: Reading, b: Reading) -> str | None:
    """Return by how much two values break a relation, in words, in the unit of the first; None if they keep it."""
    if relation.kept(x, y):
        return None
    if relation.kind == "ratio":
        return f"ratio {x / y:.2f}"
    first, second = number(a), _value(b, a.unit)
    assert first is not None
    assert second is not None
    difference = _shown(abs(first - second), [a, b])
    match relation.kind:
        case "difference at least":
            return f"difference {_shown(first - second, [a, b])}"
        case "difference at most" | "within":
            return f"difference {difference}"
        case _:  # not above, ordered
            return f"above by {difference}"


def _shown(value: Decimal, readings: list[Reading]) -> str:
    """Return what was reckoned from readings in the unit of the first: exact, or where another unit was converted, with
    one digit more than the first has."""
    unit = readings[0].unit
    if any(r.unit != unit for r in readings):
        value = value.quantize(Decimal(1).scaleb(int(Decimal(readings[0].value).as_tuple().exponent) - 1)).normalize()
    return shown(f"{value:f}", unit)


def _value(reading: Reading, unit: str) -> Decimal | None:
    value = number(reading)
    return None if value is None else in_unit(value, reading.unit, unit)


def _finding(sheet: Sheet, relation: Relation, readings: list[Reading], off: str) -> Finding:
    verdict: Verdict = "conflicting" if relation.law else "look again" if relation.soft else "outside"
    values = "; ".join(named(sheet, r) for r in readings)
    return Finding(
        rule=relation.id,
        verdict=verdict,
        text=f"{ended(values + (f': {off}' if off else ''))} {relation.text}",
        appliance=readings[0].appliance,
        quantity=readings[0].quantity,
        condition=readings[0].condition,
        readings=tuple(r.id for r in readings),
        basis=relation.basis,
    )
