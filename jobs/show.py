"""Values and places as the trade writes them on screens and on paper. Files keep the decimal text and the UCUM code."""

from __future__ import annotations

import re

from schemas.findings import Limit
from schemas.readings import Phase, Reading
from schemas.sheet import Sheet
from schemas.units import show_unit, units

__all__ = [
    "name_of",
    "phase_words",
    "place_of",
    "say_limit",
    "say_note",
    "say_reading",
    "say_value",
    "show_value",
    "signed",
    "verdict_words",
]

_PHASE = {"before": "before the adjustment", "after": "after the adjustment"}


_MINUS = re.compile(r"(?<![\w.,-])-(?=\d)")
_VERDICTS = {"caution": "take care"}


def signed(text: str) -> str:
    """Return a text with a minus sign where a hyphen stands in front of a number; dates and names stay as they are."""
    return _MINUS.sub("−", text)


def verdict_words(verdict: str) -> str:
    """Return a verdict as people read it: plain words, none of them borrowed from warning signs."""
    return _VERDICTS.get(verdict, verdict)


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


def say_reading(one: Reading, sheet: Sheet) -> str:
    """Return a reading's value as :func:`say_value`, with ``about`` and with what belongs to it."""
    text = say_value(one.value, one.unit, sheet, one.quantity)
    text = f"about {text}" if one.approx else text
    return f"{text} ({say_note(one.note, sheet)})" if one.note else text


def say_limit(limit: Limit) -> str:
    """Return a limit as people read it: ``8.5 to 9.5 %``, ``at most 100 ppm``, ``at least 4 in. w.c.``."""
    if limit.low is not None and limit.high is not None:
        return f"{limit.low} to {show_value(limit.high, limit.unit)}"
    if limit.high is not None:
        return f"at most {show_value(limit.high, limit.unit)}"
    return f"at least {show_value(limit.low or '', limit.unit)}"


def say_note(note: str, sheet: Sheet) -> str:
    """Return what belongs to a value in words: ``high-fire screw cw``, ``5 ft³``; other notes stay as they are."""
    names = {one.id: one.name for one in sheet.screws} | {code: unit.show for code, unit in units().items()}
    return " ".join(names.get(word, word) for word in note.split(" "))


def phase_words(phase: Phase) -> str:
    """Return ``before the adjustment``, ``after the adjustment``, or nothing."""
    return _PHASE.get(phase, "")


def place_of(reading: Reading, sheet: Sheet, *, appliance: bool) -> str:
    """Return where a reading belongs: ``number two, high fire, before the adjustment``; empty where nothing is known.

    ``appliance`` says whether the job has several, so that the tag is needed.
    """
    parts = [reading.appliance or ""] if appliance else []
    parts.append(sheet.condition(reading.condition).name if reading.condition else "")
    parts.append(phase_words(reading.phase))
    return ", ".join(part for part in parts if part)


def name_of(reading: Reading, sheet: Sheet) -> str:
    """Return the name of a reading's quantity; ``a value`` where it could not be told."""
    return sheet.quantity(reading.quantity).name if reading.quantity else "a value"
