"""Voice and photo weighed against each other: two independent sources of one value are worth more than either alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from jobs.compare import compare
from jobs.journal import Agreement
from jobs.show import show_value
from jobs.timeline import Filed
from schemas.base import decimal_of, is_value_text
from schemas.readings import Reading
from schemas.sheet import Quantity, Sheet

__all__ = ["weigh"]

SAME_MOMENT = 20.0
"""Seconds between saying and photographing within which the two are of the same moment."""


def weigh(readings: Sequence[Reading], filed: Mapping[str, Filed], sheet: Sheet) -> tuple[Agreement, ...]:
    """Return how each photo's reading compares with what was said, or an earlier photo shows, of the same slot.

    ``readings`` are in the order of the work, ``filed`` is the evidence by hash. A photo of a slot that nothing else
    tells of is not in the result, nor is one that does not say what it shows, unless it has the other sign than what
    was said there.
    """
    spoken = [one for one in readings if one.source.utterance is not None and one.quantity]
    earlier: list[Reading] = []
    found: list[Agreement] = []
    for shown in readings:
        if shown.source.box is None:
            continue
        if not shown.quantity:
            found += _other_sign(spoken, shown, filed, sheet)
            continue
        quantity = sheet.quantity(shown.quantity)
        partners = [one for one in spoken if one.quantity == shown.quantity and _fits(one, shown, filed)]
        if partners:
            weighed = _with_voice(_nearest(partners, shown, filed), shown, quantity)
        else:
            same_slot = [one for one in earlier if _slot(one) == _slot(shown) and shown.condition is not None]
            other = [one for one in same_slot if one.source.evidence != shown.source.evidence]
            weighed = _with_photo(other[-1], shown, quantity) if other else None
        if weighed is None or weighed.under != shown.id or weighed.outcome == "apart":
            earlier.append(shown)
        if weighed is not None:
            found.append(weighed)
    return tuple(found)


def _other_sign(
    spoken: Sequence[Reading], shown: Reading, filed: Mapping[str, Filed], sheet: Sheet
) -> Iterator[Agreement]:
    """Yield that a photo which does not say what it shows has what was said there with the other sign.

    None where something else was said there that it may show as it is.
    """
    if not is_value_text(shown.value):
        return
    turned = shown.model_copy(update={"value": f"{-decimal_of(shown.value):f}"})
    there = [
        one
        for one in spoken
        if shown.unit in sheet.quantity(one.quantity or "").units
        and (shown.condition, shown.appliance) in ((one.condition, one.appliance), (None, one.appliance))
        and (shown.condition is not None or _seconds_apart(one, shown, filed) <= SAME_MOMENT)
    ]
    alike = {one.id: sheet.quantity(one.quantity or "") for one in there}
    if any(compare(one, shown, alike[one.id]).outcome != "apart" for one in there):
        return
    signed = [one for one in there if alike[one.id].sign != "plain"]
    other = [one for one in signed if compare(one, turned, alike[one.id]).outcome == "same"]
    if other:
        nearest = _nearest(other, shown, filed)
        yield _agreement(nearest, shown, alike[nearest.id], "voice")


def _with_voice(said: Reading, shown: Reading, quantity: Quantity) -> Agreement | None:
    weighed = _agreement(said, shown, quantity, "voice")
    # A photo that has no place of its own is only taken to be of this moment if its value says so too.
    return weighed if weighed.outcome != "apart" or _slot(said) == _slot(shown) else None


def _with_photo(earlier: Reading, later: Reading, quantity: Quantity) -> Agreement | None:
    if not earlier.taken and not later.taken:
        return None  # both are asked anyway, and one reader's two looks confirm nothing
    near = compare(earlier, later, quantity).outcome != "apart"
    if near and later.taken:  # what was left counts, as with what is said
        return _agreement(later, earlier, quantity, "photo")
    return _agreement(earlier, later, quantity, "photo")


def _agreement(stands: Reading, under: Reading, quantity: Quantity, by: str) -> Agreement:
    compared = compare(stands, under, quantity)
    first, second = (show_value(one.value, one.unit) for one in (stands, under))
    told = f"{first} was said" if by == "voice" else f"one photo shows {first}"
    also = "a photo shows" if by == "voice" else "another one shows"
    why = {
        "same": f"{told} and {also} it too",
        "within": f"{told} and {also} {second}, no more apart than readings drift",
        "apart": f"{told} and {also} {second}",
    }[compared.outcome]
    return Agreement.model_validate(
        {"stands": stands.id, "by": by, "under": under.id, "why": why} | vars(compared), strict=False
    )


def _slot(reading: Reading) -> tuple[object, ...]:
    return reading.quantity, reading.condition, reading.phase, reading.appliance


def _fits(spoken: Reading, shown: Reading, filed: Mapping[str, Filed]) -> bool:
    """Say whether both are of one slot: the same labels, or the same moment where the photo's labels are not known."""
    if _slot(spoken) == _slot(shown):
        return True
    unknown = shown.condition is None or (shown.appliance is None and spoken.appliance is not None)
    fits = shown.condition in (None, spoken.condition) and shown.appliance in (None, spoken.appliance)
    return unknown and fits and _seconds_apart(spoken, shown, filed) <= SAME_MOMENT


def _nearest(spoken: Sequence[Reading], shown: Reading, filed: Mapping[str, Filed]) -> Reading:
    """Return the one said nearest in time to the photo; of equals the last one said."""
    apart = [_seconds_apart(one, shown, filed) for one in spoken]
    return spoken[-1 - apart[::-1].index(min(apart))]


def _seconds_apart(spoken: Reading, shown: Reading, filed: Mapping[str, Filed]) -> float:
    said, taken = filed[spoken.source.evidence], filed[shown.source.evidence]
    if said.at is None or taken.at is None:
        return float("inf")
    return abs(said.at.timestamp() + (spoken.source.start or 0.0) - taken.at.timestamp())
