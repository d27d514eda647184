"""Voice and photo weighed against each other: two independent sources of one value are worth more than either alone."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Decimal

from jobs.journal import Agreement
from jobs.show import show_value
from jobs.timeline import Filed
from schemas.base import decimal_of, is_value_text
from schemas.readings import Reading
from schemas.sheet import Quantity, Sheet
from schemas.units import convert

__all__ = ["weigh"]

SAME_MOMENT = 20.0
"""Seconds between saying and photographing within which the two are of the same moment."""


def weigh(readings: Sequence[Reading], filed: Mapping[str, Filed], sheet: Sheet) -> tuple[Agreement, ...]:
    """Return how each photo's reading compares with what was said of the same slot, in the order of ``readings``.

    ``filed`` is the evidence by hash. A photo that shows a slot nobody spoke of is not in the result.
    """
    spoken = [one for one in readings if one.source.utterance is not None and one.quantity]
    found = []
    for shown in readings:
        if shown.source.box is None or not shown.quantity:
            continue
        quantity = sheet.quantity(shown.quantity)
        partners = [one for one in spoken if one.quantity == shown.quantity and _fits(one, shown, filed)]
        if not partners:
            continue
        apart = [_seconds_apart(one, shown, filed) for one in partners]
        partner = partners[-1 - apart[::-1].index(min(apart))]  # the nearest in time; of equals the last one said
        weighed = _compare(partner, shown, quantity)
        if weighed.outcome != "apart" or _slot(partner) == _slot(shown):
            found.append(weighed)
    return tuple(found)


def _slot(reading: Reading) -> tuple[object, ...]:
    return reading.quantity, reading.condition, reading.phase, reading.appliance


def _fits(spoken: Reading, shown: Reading, filed: Mapping[str, Filed]) -> bool:
    """Say whether both are of one slot: the same labels, or the same moment where the photo's labels are not known."""
    if _slot(spoken) == _slot(shown):
        return True
    unknown = shown.condition is None or (shown.appliance is None and spoken.appliance is not None)
    fits = shown.condition in (None, spoken.condition) and shown.appliance in (None, spoken.appliance)
    return unknown and fits and _seconds_apart(spoken, shown, filed) <= SAME_MOMENT


def _seconds_apart(spoken: Reading, shown: Reading, filed: Mapping[str, Filed]) -> float:
    said, taken = filed[spoken.source.evidence], filed[shown.source.evidence]
    if said.at is None or taken.at is None:
        return float("inf")
    return abs(said.at.timestamp() + (spoken.source.start or 0.0) - taken.at.timestamp())


def _compare(spoken: Reading, shown: Reading, quantity: Quantity) -> Agreement:
    unit = quantity.units[0] if quantity.units else ""
    tolerance = decimal_of(quantity.settling or "0")
    difference: Decimal | None = None
    if _is_number(spoken, quantity) and _is_number(shown, quantity):
        difference = _in(unit, shown) - _in(unit, spoken)
        same = _same_number(spoken, shown) or any(
            _same_number(spoken, shown.model_copy(update={"value": other.value, "unit": other.unit or shown.unit}))
            for other in shown.alternatives
            # A second guess of an unsure photo confirms a sure word; two guesses confirm nothing.
            if spoken.taken and not shown.taken and other.value is not None and is_value_text(other.value)
        )
        outcome = "same" if same else "within" if abs(difference) <= tolerance else "apart"
    else:
        outcome = "same" if _letters(spoken.value) == _letters(shown.value) else "apart"
    said, seen = (show_value(one.value, one.unit) for one in (spoken, shown))
    why = {
        "same": f"{said} was said and a photo shows it too",
        "within": f"{said} was said and a photo shows {seen}, no more apart than readings drift",
        "apart": f"{said} was said and a photo shows {seen}",
    }[outcome]
    return Agreement.model_validate(
        {
            "spoken": spoken.id,
            "shown": shown.id,
            "outcome": outcome,
            "difference": None if difference is None else _plain(difference),
            "tolerance": _plain(tolerance),
            "unit": unit,
            "why": why,
        }
    )


def _is_number(reading: Reading, quantity: Quantity) -> bool:
    return quantity.kind in ("number", "move") and is_value_text(reading.value) and bool(reading.unit)


def _in(unit: str, reading: Reading) -> Decimal:
    return convert(decimal_of(reading.value), reading.unit, unit)


def _same_number(spoken: Reading, shown: Reading) -> bool:
    """Compare in the spoken unit, at the coarser of the two precisions."""
    said, seen = decimal_of(spoken.value), _in(spoken.unit, shown)
    places = [-int(decimal_of(one.value).as_tuple().exponent) for one in (spoken, shown)]
    step = Decimal(1).scaleb(-(min(places) if spoken.unit == shown.unit else places[0]))
    return said.quantize(step, ROUND_HALF_EVEN) == seen.quantize(step, ROUND_HALF_EVEN)


def _letters(text: str) -> str:
    return re.sub(r"[\W_]", "", text).casefold()


def _plain(number: Decimal) -> str:
    rounded = number.quantize(Decimal("0.0001")).normalize()
    return f"{rounded if rounded else Decimal(0):f}"
