"""Which of the readings of an appliance stand for a quantity in a condition."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from schemas.base import is_value_text
from schemas.readings import Reading
from schemas.units import convert, unit_of

__all__ = ["Rows", "in_unit", "inside", "number"]

_LAST_WORD = ("after", "", "before")


def number(reading: Reading) -> Decimal | None:
    """Return a reading's value as an exact decimal, None where it is no number (``passed``, ``OL``)."""
    return Decimal(reading.value) if is_value_text(reading.value) else None


def in_unit(value: Decimal, source: str, target: str) -> Decimal | None:
    """Return ``value`` in another unit, exactly; None where the two units do not measure the same thing."""
    if source == target:
        return value
    if not source or not target or unit_of(source).kind != unit_of(target).kind:
        return None
    return convert(value, source, target)


def inside(value: Decimal, bounds: tuple[str | None, str | None]) -> bool:
    """Say whether a value is no less than the lowest and no more than the highest, None where there is no such end."""
    low, high = bounds
    return (low is None or value >= Decimal(low)) and (high is None or value <= Decimal(high))


class Rows:
    """The readings of one appliance, in the order they were given.

    Readings of the visit (those without an appliance) are part of every appliance's rows. ``tag`` None takes all.
    """

    def __init__(self, readings: Sequence[Reading], tag: str | None) -> None:
        self.all = tuple(r for r in readings if tag is None or r.appliance in (None, tag))
        self.taken = tuple(r for r in self.all if r.taken and r.quantity is not None and r.condition is not None)
        self._of: dict[tuple[str | None, str | None], tuple[Reading, ...]] = {}
        for r in self.taken:
            place = r.quantity, r.condition
            self._of[place] = (*self._of.get(place, ()), r)

    def of(self, quantity: str, condition: str) -> tuple[Reading, ...]:
        """Return every taken reading of a quantity in a condition."""
        return self._of.get((quantity, condition), ())

    def standing(self, quantity: str, condition: str) -> Reading | None:
        """Return the reading that counts now: the last one after the adjustment, else the last one, else as found."""
        readings = self.of(quantity, condition)
        for phase in _LAST_WORD:
            for reading in reversed(readings):
                if reading.phase == phase:
                    return reading
        return None

    def as_found(self, quantity: str, condition: str) -> Reading | None:
        """Return the last reading from before the adjustment."""
        return next((r for r in reversed(self.of(quantity, condition)) if r.phase == "before"), None)

    def pairs(self, first: tuple[str, str], second: tuple[str, str]) -> Iterator[tuple[Reading, Reading]]:
        """Yield the two readings that stand now, and the two as found where those are others."""
        now = self.standing(*first), self.standing(*second)
        found = self.as_found(*first), self.as_found(*second)
        if found[0] is not None and found[1] is not None and found != now:
            yield found[0], found[1]
        if now[0] is not None and now[1] is not None:
            yield now[0], now[1]

    def superseded(self, reading: Reading) -> bool:
        """Say whether a reading from before an adjustment has its reading after."""
        return reading.phase == "before" and any(
            r.phase == "after" and (r.quantity, r.condition) == (reading.quantity, reading.condition)
            for r in self.taken
        )
