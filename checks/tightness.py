"""A pressure that falls in a closed pipe: how much of it the pipe's cooling explains, and what it does not."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from decimal import Context, Decimal
from itertools import product

from checks.possible import Possible
from checks.words import shown
from physics.gas_supply import closed_pipe_pressure
from schemas.sheet import Sheet, Stop
from schemas.units import convert

__all__ = ["falls_beyond_cooling"]

_THERMOMETER = 2 / 1.8
"""Kelvin that the two temperatures together may be off: common practice, no source."""


def falls_beyond_cooling(values: Sequence[Possible], sheet: Sheet, stop: Stop) -> Iterator[Possible]:
    """Yield each end pressure that lies below what the cooling of the closed pipe explains, as the fall beyond it.

    What a tight pipe comes to is reckoned by the ideal gas law at the standard barometer, which explains more than a
    lower one. The pressures' last digit and what the thermometer may be off are allowed for together, as the root of
    their squares (JCGM 100:2008, 5.1.2). Without both temperatures nothing is said here.
    """
    assert stop.quantity is not None
    assert stop.cooled_with is not None
    first, last = sheet.quantity(stop.quantity).conditions[0], sheet.quantity(stop.quantity).conditions[-1]
    slots = ((stop.quantity, first), (stop.quantity, last), (stop.cooled_with, first), (stop.cooled_with, last))
    found = [[v for v in values if (v.quantity, v.condition) == slot] for slot in slots]
    for start, end, warm, cold in product(*found):
        read = [v.measured(unit) for v, unit in ((start, "Pa"), (end, "Pa"), (warm, "Cel"), (cold, "Cel"))]
        if None in read or len({v.appliance for v in (start, end, warm, cold)}) > 1:
            continue
        before, after, at_first, at_last = (float(one) for one in read if one is not None)
        if before <= 0 or min(at_first, at_last - _THERMOMETER) <= -273.15:
            continue
        explained = closed_pipe_pressure(before, at_first, at_last)
        colder = explained - closed_pipe_pressure(before, at_first, at_last - _THERMOMETER)
        # A pipe that grew warmer explains no fall.
        if min(before, explained) - after > math.hypot(colder, max(_step(start), _step(end))):
            all_settled = all(v.settled for v in (start, end, warm, cold))
            text = _text(start, end, before - after, max(0.0, before - explained))
            yield end._replace(
                readings=tuple(dict.fromkeys(r for v in (end, start, warm, cold) for r in v.readings)),
                settled=all_settled,
                how=f"{'is' if all_settled else 'may be'} {text}; it reads",
            )


def _step(value: Possible) -> float:
    """Return the last digit of a pressure, in Pa."""
    step = Decimal(1).scaleb(int(Decimal(value.value).as_tuple().exponent))
    return float(convert(step, value.unit, "Pa"))


def _text(start: Possible, end: Possible, fall: float, explained: float) -> str:
    fallen, cooled = (_shown(pascal, end.unit) for pascal in (fall, explained))
    return f"{fallen} below {start.shown} at the start, and cooling explains about {cooled}"


def _shown(pascal: float, unit: str) -> str:
    two_digits = Context(prec=2).plus(convert(Decimal(pascal), "Pa", unit))
    return shown(f"{two_digits:f}", unit)
