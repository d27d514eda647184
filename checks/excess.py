"""Excess air against O2: law L3. Instruments count it exactly or by the short-cut, and one instrument always by one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Literal, NamedTuple

from checks.efficiencies import Broken
from physics.flue import excess_air, excess_air_short_cut
from physics.fuels import FUELS
from physics.laws import O2_IN_AIR
from schemas.appliance import Fuel
from schemas.base import decimal_of
from schemas.readings import Reading

__all__ = ["excess_air_broken"]

Formula = Literal["the exact formula", "the short-cut O2 / (20.9 − O2)"]

_BASIS = (
    "stoichiometry with dry air, as the US DOE's table for natural gas has it; the short-cut O2 / (20.9 − O2), in use "
    "too, is common practice, no source"
)
# What the two formulas may be off besides rounding, in points: air with 20.9 to 21 % oxygen, and gases beside ours.
_ROOM = 0.4


class _Row(NamedTuple):
    shown: Reading
    o2: Reading
    fits: frozenset[Formula]
    made: str


def excess_air_broken(gas_rows: Sequence[dict[str, Reading]], fuels: Sequence[Fuel]) -> Iterator[Broken]:
    """Yield each excess air that neither formula makes of its O2, and one by another formula than the rest."""
    rows = [
        _row(row["excess_air"], row["o2"], fuels)
        for row in gas_rows
        if {"excess_air", "o2"} <= row.keys() and 0 <= decimal_of(row["o2"].value) < O2_IN_AIR - 3
    ]
    for row in rows:
        if not row.fits:
            yield Broken("excess_air_of_o2", (row.shown, row.o2), f"they do not fit, this O2 makes {row.made}", _BASIS)
    rows = [row for row in rows if row.fits]
    for place, row in enumerate(rows):
        others = [other.fits for n, other in enumerate(rows) if n != place]
        learned = frozenset.intersection(*others) if others else frozenset()
        if learned and not learned & row.fits and (len(others) > 1 or place == 1):
            rest = "the other rows go" if len(others) > 1 else "the other row goes"
            text = f"{rest} by {' or '.join(sorted(learned))}, and this one by {' or '.join(sorted(row.fits))}"
            yield Broken("excess_air_of_the_instrument", (row.shown, row.o2), text, _BASIS, "look again")


def _row(shown: Reading, o2: Reading, fuels: Sequence[Fuel]) -> _Row:
    share, told = float(decimal_of(o2.value)), float(decimal_of(shown.value))
    exact = [excess_air(share, FUELS[fuel]) for fuel in fuels]
    spans: dict[Formula, tuple[float, float]] = {
        "the exact formula": (min(exact), max(exact)),
        "the short-cut O2 / (20.9 − O2)": (excess_air_short_cut(share),) * 2,
    }
    slope = 100 * 20.9 / (20.9 - share) ** 2  # points of excess air for a point of O2, by the short-cut, the steeper
    room = _ROOM + _step(shown) / 2 + slope * _step(o2) / 2
    fits = frozenset(name for name, (low, high) in spans.items() if low - room <= told <= high + room)
    low, high = spans["the exact formula"]
    span = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    made = f"{span} % exactly and {excess_air_short_cut(share):.0f} % by the short-cut"
    return _Row(shown, o2, fits, made)


def _step(reading: Reading) -> float:
    return float(Decimal(1).scaleb(int(decimal_of(reading.value).as_tuple().exponent)))
