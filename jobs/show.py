"""Values and labels as the trade writes them on screens and on paper. Files keep the decimal text and the UCUM code."""

from __future__ import annotations

from schemas.readings import Reading
from schemas.sheet import Sheet
from schemas.units import show_unit

__all__ = ["label_of", "say_value", "show_value"]

_PHASE = {"": "", "before": "as found", "after": "as left"}


def show_value(value: str, unit: str) -> str:
    """Return a value with its unit in trade notation: ``9.3 %``, ``-0.02 in. w.c.``, ``4980 rpm``, ``passed``."""
    return f"{value} {show_unit(unit)}".strip()


def say_value(value: str, unit: str, sheet: Sheet, quantity: str | None = None) -> str:
    """Return a value as people read it: as :func:`show_value`, and a choice by its own words instead of its name."""
    if quantity is not None:
        words = sheet.quantity(quantity).choices.get(value)
        if words:
            return words[0]
    return show_value(value, unit)


def label_of(reading: Reading, sheet: Sheet, *, appliance: bool = False) -> str:
    """Return what a reading is of: ``high fire: CO2 as left``; what is not known is left out.

    With ``appliance`` the tag stands first.
    """
    parts = []
    if appliance and reading.appliance:
        parts.append(reading.appliance)
    if reading.condition:
        parts.append(sheet.condition(reading.condition).name)
    name = sheet.quantity(reading.quantity).name if reading.quantity else "a value"
    parts.append(f"{name} {_PHASE[reading.phase]}".strip())
    return ": ".join((", ".join(parts[:-1]), parts[-1])) if len(parts) > 1 else parts[0]
