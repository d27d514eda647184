"""How findings name readings, values and limits. One wording for every check."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Decimal

from schemas.base import decimal_of
from schemas.doubts import DoubtKind
from schemas.findings import Limit
from schemas.readings import Reading
from schemas.sheet import Sheet
from schemas.units import convert, show_unit

__all__ = ["ended", "named", "shown", "shown_limit", "slot_name", "why_open"]

_PHASES = {"": "", "before": ", before the adjustment", "after": ", after the adjustment"}


def slot_name(sheet: Sheet, quantity: str, condition: str, phase: str = "") -> str:
    """Return ``CO2, high fire, after the adjustment``."""
    place = f", {sheet.condition(condition).name}" if condition else ""
    return f"{sheet.quantity(quantity).name}{place}{_PHASES[phase]}"


def named(sheet: Sheet, reading: Reading) -> str:
    """Return the name of a reading with its value as it was given: ``CO2, high fire 9.3 %``.

    A reading must have its quantity; a condition that is not settled is left out.
    """
    assert reading.quantity is not None
    name = slot_name(sheet, reading.quantity, reading.condition or "", reading.phase)
    about = "about " if reading.approx else ""
    return f"{name} {about}{shown(reading.value, reading.unit)}"


def shown(value: str, unit: str) -> str:
    """Return a value with its unit in the trade's notation: ``7.2 in. w.c.``."""
    return f"{value} {show_unit(unit)}".rstrip()


def ended(text: str) -> str:
    """Return a text with its full stop; one that ends in a unit such as ``in. w.c.`` has it already."""
    return text if text.endswith(".") else f"{text}."


def shown_limit(limit: Limit, unit: str, decimals: int) -> str:
    """Return a limit in ``unit``, and as it is written where that is another unit.

    A converted limit carries one digit more than the reading, so that it can be told from it; it is for the eye only.
    """
    written = _span(limit.low, limit.high, limit.unit)
    if unit == limit.unit:
        return written

    def converted(bound: str | None) -> str | None:
        if bound is None:
            return None
        step = Decimal(1).scaleb(-(decimals + 1))
        return str(convert(decimal_of(bound), limit.unit, unit).quantize(step, ROUND_HALF_EVEN))

    return f"{_span(converted(limit.low), converted(limit.high), unit)} (written as {written})"


def _span(low: str | None, high: str | None, unit: str) -> str:
    if low is None:
        return f"at most {shown(high or '', unit)}"
    if high is None:
        return f"at least {shown(low, unit)}"
    return f"{low} to {shown(high, unit)}"


def why_open(readings: Sequence[Reading]) -> str:
    """Return the kinds of doubt that keep readings open, in the order of ``DoubtKind``."""
    kinds = {doubt.kind for reading in readings for doubt in reading.doubts}
    return ", ".join(kind.value for kind in DoubtKind if kind in kinds)
