"""Two values of one quantity from two sources compared: the same, no further apart than readings drift, or apart."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Literal

from schemas.base import decimal_of, is_value_text
from schemas.doubts import DoubtKind
from schemas.readings import Reading
from schemas.sheet import Quantity
from schemas.units import convert

__all__ = ["Compared", "compare"]

_NOT_OF_VALUE = frozenset({DoubtKind.QUANTITY_UNCLEAR, DoubtKind.CONDITION_UNCLEAR, DoubtKind.APPLIANCE_UNCLEAR})
"""Doubts of what and where a value is: its digits are sure, and what else they might be is no guess."""


@dataclass(frozen=True)
class Compared:
    """How two values compare; ``difference`` and ``tolerance`` are in ``unit``, the difference None for words."""

    outcome: Literal["same", "within", "apart"]
    difference: str | None
    tolerance: str
    unit: str


def compare(one: Reading, photo: Reading, quantity: Quantity) -> Compared:
    """Compare a photo's value with another of the same quantity, which was said or is another photo's."""
    unit = quantity.units[0] if quantity.units else ""
    tolerance = decimal_of(quantity.settling or "0")
    if not (_is_number(one, quantity) and _is_number(photo, quantity)):
        alike = _letters(one.value) == _letters(photo.value)
        return Compared("same" if alike else "apart", None, _plain(tolerance), unit)
    difference = _in(unit, photo) - _in(unit, one)
    # "Nine" and 9.4 are the same at the coarser precision, and not the same value.
    near = abs(difference) <= max(tolerance, min(_half_step(unit, one), _half_step(unit, photo)))
    if (_same_number(one, photo) and near) or _is_second_guess(one, photo, tolerance, unit):
        return Compared("same", _plain(difference), _plain(tolerance), unit)
    return Compared("within" if near else "apart", _plain(difference), _plain(tolerance), unit)


def _is_second_guess(one: Reading, photo: Reading, tolerance: Decimal, unit: str) -> bool:
    """Say whether an unsure photo's other guess is a sure value: it confirms it. Two guesses confirm nothing."""
    if {doubt.kind for doubt in photo.doubts} <= _NOT_OF_VALUE or not one.taken:
        return False
    guesses = [
        photo.model_copy(update={"value": other.value, "unit": other.unit or photo.unit})
        for other in photo.alternatives
        if other.value is not None and is_value_text(other.value)
    ]
    apart = {guess.value: abs(_in(unit, guess) - _in(unit, one)) for guess in guesses}
    return any(
        _same_number(one, g) and apart[g.value] <= max(tolerance, min(_half_step(unit, one), _half_step(unit, g)))
        for g in guesses
    )


def _is_number(reading: Reading, quantity: Quantity) -> bool:
    return quantity.kind in ("number", "move") and is_value_text(reading.value) and bool(reading.unit)


def _in(unit: str, reading: Reading) -> Decimal:
    return convert(decimal_of(reading.value), reading.unit, unit)


def _half_step(unit: str, reading: Reading) -> Decimal:
    """Return what a value may be off by its own rounding, in ``unit``."""
    value = decimal_of(reading.value)
    half = Decimal(5).scaleb(int(value.as_tuple().exponent) - 1)
    return abs(convert(value + half, reading.unit, unit) - convert(value, reading.unit, unit))


def _same_number(one: Reading, photo: Reading) -> bool:
    """Compare in the unit of the first, at the coarser of the two precisions."""
    first, second = decimal_of(one.value), _in(one.unit, photo)
    places = [-int(decimal_of(each.value).as_tuple().exponent) for each in (one, photo)]
    step = Decimal(1).scaleb(-(min(places) if one.unit == photo.unit else places[0]))
    return first.quantize(step, ROUND_HALF_EVEN) == second.quantize(step, ROUND_HALF_EVEN)


def _letters(text: str) -> str:
    return re.sub(r"[\W_]", "", text).casefold()


def _plain(number: Decimal) -> str:
    rounded = number.quantize(Decimal("0.0001")).normalize()
    return f"{rounded if rounded else Decimal(0):f}"
