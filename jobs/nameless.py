"""What a value that does not say what it is may be: what was told with the same value, then all that it could be."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from jobs.compare import compare
from jobs.fold import Job
from schemas.base import decimal_of, is_value_text
from schemas.readings import Alternative, Reading
from schemas.sheet import Quantity, Sheet
from schemas.units import convert

__all__ = ["allowed", "told_the_same", "within"]


def told_the_same(reading: Reading, job: Job, sheet: Sheet) -> Iterator[Alternative]:
    """Yield every place for which other evidence has the same value, the nearest in time first."""
    if not is_value_text(reading.value):
        return
    for one in _told(reading, job):
        quantity = sheet.quantity(one.quantity or "")
        unit = reading.unit or one.unit
        if quantity.kind != "number" or unit not in quantity.units or one.condition is None:
            continue
        if compare(one, reading.model_copy(update={"unit": unit}), quantity).outcome == "same":
            why = "the same was said for it" if one.source.box is None else "another picture shows the same for it"
            yield Alternative(
                quantity=one.quantity,
                condition=one.condition,
                phase=one.phase,
                appliance=one.appliance,
                unit=unit,
                why=why,
            )


def allowed(reading: Reading, job: Job, sheet: Sheet) -> Iterator[Alternative]:
    """Yield the places whose quantity is given in the value's unit and can be as much as it, the likeliest first.

    Usual values come before unusual ones, and empty places before those that another value stands in.
    """
    if not is_value_text(reading.value):
        return
    told = _told(reading, job)
    held = {(one.quantity, one.condition, one.appliance) for one in told}
    spoken = [reading.condition, *(one.condition for one in told)]
    tags = [reading.appliance] if reading.appliance else [one.tag for one in job.appliances]
    found = []
    for quantity in sheet.quantities:
        unit = reading.unit or quantity.default_units.get(job.head.units, "")
        if quantity.kind != "number" or unit not in quantity.units:
            continue
        if not within(quantity.range.possible, reading.value, unit, quantity):
            continue
        unusual = not within(quantity.range.usual, reading.value, unit, quantity)
        near = [one for one in spoken if one and one in quantity.conditions]
        conditions = list(dict.fromkeys([*near, *quantity.conditions])) or [""]
        for turn, condition in enumerate(conditions):
            for tag in [None] if quantity.every_job else tags:
                rank = (unusual, (quantity.id, condition, tag) in held, not quantity.conditions, turn)
                found.append((rank, Alternative(quantity=quantity.id, condition=condition, appliance=tag, unit=unit)))
    for _, way in sorted(found, key=lambda one: one[0]):
        yield way.model_copy(update={"why": "its unit and its size fit" if reading.unit else "its size fits"})


def _told(reading: Reading, job: Job) -> list[Reading]:
    """Return what other evidence tells with its quantity, the nearest in time first."""
    told = [row.reading for row in job.rows.values() if row.how != "left out" and row.reading.quantity is not None]
    told = [one for one in told if one.source.evidence != reading.source.evidence]
    return sorted(told, key=lambda one: _seconds_apart(one, reading, job))


def within(bounds: tuple[str | None, str | None], value: str, unit: str, quantity: Quantity) -> bool:
    """Say whether a value in one of a quantity's units lies within bounds in its first."""
    low, high = bounds
    inside = convert(decimal_of(value), unit, quantity.units[0])
    return (low is None or inside >= decimal_of(low)) and (high is None or inside <= decimal_of(high))


def _seconds_apart(one: Reading, other: Reading, job: Job) -> float:
    filed = {each.sha256: each for each in job.filed}
    moments = []
    for source in (one.source, other.source):
        at = filed[source.evidence].at if source.evidence in filed else None
        moments.append(None if at is None else at + timedelta(seconds=source.start or 0.0))
    first, second = moments
    return float("inf") if first is None or second is None else abs((first - second).total_seconds())
