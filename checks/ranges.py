"""What the sheet says a value can be and mostly is, and whether another unit would explain one that is not so.

Where a value is within the maker's limit, that goes before what is usual, not before what can be, nor before another
unit that would explain it: a limit with one end says nothing of the other. What a graver rule already says of a reading
is not said again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from checks.rows import Rows, in_unit, inside, number
from checks.words import named, shown
from schemas.findings import Finding, Verdict
from schemas.readings import Reading
from schemas.sheet import Quantity, Sheet
from schemas.units import show_unit

__all__ = ["range_findings"]

# Verdicts that settle what is to be said of a reading.
_SAID: frozenset[Verdict] = frozenset({"stop", "caution", "conflicting", "outside"})
_BASIS = "the sheet's range of what is usual in the field: common practice, no source; the maker's instructions rule"
_POSSIBLE = "the sheet's range of what can be: beyond it no plant or instrument goes (common practice, no source)"
_UNIT = "one number in two units of the same quantity; factors exact after NIST SP 811"


def range_findings(rows: Rows, sheet: Sheet, others: Sequence[Finding]) -> Iterator[Finding]:
    """Yield a finding for each number that cannot be, or that is unusual, of which ``others`` say nothing yet."""
    said = {name for f in others if f.verdict in _SAID for name in f.readings}
    within = {name for f in others if f.verdict == "within" for name in f.readings}
    grave = {name for f in others if f.verdict in ("stop", "caution") for name in f.readings}
    kin = {(kin, *_place(r)) for r in rows.taken if r.id in grave for kin in _kin(sheet, r.quantity)}
    for reading in rows.taken:
        assert reading.quantity is not None
        quantity = sheet.quantity(reading.quantity)
        value = number(reading)
        if value is None or quantity.kind == "text" or reading.id in said or (quantity.id, *_place(reading)) in kin:
            continue
        yield from (
            one
            for one in _judged(rows, sheet, quantity, reading, value)
            if one.rule != "unusual" or reading.id not in within
        )


def _place(reading: Reading) -> tuple[str | None, str, str | None]:
    return reading.condition, reading.phase, reading.appliance


def _kin(sheet: Sheet, quantity: str | None) -> set[str | None]:
    """Return the quantities that a stop of the sheet is about together with this one: CO and CO air-free."""
    groups = [{stop.quantity, *stop.also} for stop in sheet.stops]
    return {name for group in groups if quantity in group for name in group}


def _judged(rows: Rows, sheet: Sheet, quantity: Quantity, reading: Reading, value: Decimal) -> Iterator[Finding]:
    base = quantity.units[0] if quantity.units else ""
    here = in_unit(value, reading.unit, base)
    if here is None or inside(here, quantity.range.usual):
        return
    name = named(sheet, reading)
    if not inside(here, quantity.range.possible):
        text = f"{name}: that cannot be, {_span(quantity.range.possible, base)} is what there is."
        yield _finding(rows, reading, "impossible", "conflicting", text, _POSSIBLE)
        return
    meant = [unit for unit in quantity.units if _usual_as(quantity, value, reading.unit, unit)]
    if meant:
        units = " or ".join(show_unit(unit) for unit in meant)
        text = f"{name}: unusual, and as {units} it would not be; was it {units}?"
        yield _finding(rows, reading, "unit_slip", "look again", text, _UNIT)
    else:
        text = f"{name}: unusual, mostly it is {_span(quantity.range.usual, base)}."
        yield _finding(rows, reading, "unusual", "look again", text, _BASIS)


def _usual_as(quantity: Quantity, value: Decimal, unit: str, other: str) -> bool:
    """Say whether the same number in another unit would be usual."""
    if other == unit:
        return False
    there = in_unit(value, other, quantity.units[0])
    return there is not None and inside(there, quantity.range.usual)


def _span(bounds: tuple[str | None, str | None], unit: str) -> str:
    low, high = bounds
    if low is None:
        return f"at most {shown(high or '', unit)}"
    return f"at least {shown(low, unit)}" if high is None else f"{low} to {shown(high, unit)}"


def _finding(rows: Rows, reading: Reading, rule: str, verdict: Verdict, text: str, basis: str) -> Finding:
    return Finding(
        rule=rule,
        verdict=verdict,
        text=text,
        appliance=reading.appliance,
        quantity=reading.quantity,
        condition=reading.condition,
        readings=(reading.id,),
        basis=basis,
        superseded=rows.superseded(reading),
    )
