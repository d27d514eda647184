"""The efficiency an instrument shows, against what temperatures and O2 give: laws L4 and L6, gross or net heat."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Literal, NamedTuple

from checks.rows import in_unit
from physics.flue import efficiency
from physics.fuels import FUELS
from physics.laws import O2_IN_AIR
from schemas.appliance import Fuel
from schemas.base import decimal_of
from schemas.findings import Verdict
from schemas.readings import Reading

__all__ = ["Broken", "basis_of", "efficiency_broken"]

Basis = Literal["gross", "net"]

_HEAT = "heat balance of the flue gas on the gross and on the net heat, without condensation to all of it, and a point"
_MOST = "mass and energy balance: of the gross heat some leaves with any flue gas"
# Words at an efficiency that name its basis: higher and lower heating value. The note may be such a word alone.
_NAMES: dict[Basis, str] = {"gross": "gross|hhv|gcv", "net": "net|lhv|ncv"}
_BESIDE = r"^(?:{0})$|\b(?:{0}) (?:combustion |thermal )?eff|\beff\w*[\W_]+(?:on |of |the )*(?:{0})\b"
# Formulas in use differ by 0.3 to 0.7 point (shown in tests/test_physics_flue.py): one point of room at each end. With
# flue gas up to 400 °F above the air they lie less than 0.6 below ours, and above it only by an instrument's constants
# (0.4, assumed as in bench/misreads.py) and rounding. A row further off is looked at again, unless another is off
# alike: that is the instrument's formula. Where water condenses, formulas with moist air go higher than ours with dry.
_ROOM = Decimal(1)
_SELDOM_BELOW, _SELDOM_ABOVE = Decimal("0.6"), Decimal("0.5")
_ALIKE = Decimal("0.4")
_MOST_GROSS = Decimal("99.5")


class Broken(NamedTuple):
    """Readings that cannot be true together, in words, and the rule's source."""

    rule: str
    readings: tuple[Reading, ...]
    text: str
    basis: str
    verdict: Verdict = "conflicting"


class _Row(NamedTuple):
    readings: tuple[Reading, ...]
    shown: Decimal
    spans: dict[Basis, tuple[Decimal, Decimal]]
    """What formulas give, by basis; only that of a basis that was named."""

    def fitting(self) -> set[Basis]:
        return {basis for basis, gap in self.off().items() if abs(gap) <= _ROOM}

    def off(self) -> dict[Basis, Decimal]:
        """Return how far the shown value lies above (+) or below (−) the span of each basis."""
        return {
            basis: max(self.shown - high, Decimal(0)) + min(self.shown - low, Decimal(0))
            for basis, (low, high) in self.spans.items()
        }

    def seldom(self) -> dict[Basis, Decimal]:
        """Return how far it is off each basis that it fits, where that is more than usual for all of them."""
        off = {basis: gap for basis, gap in self.off().items() if abs(gap) <= _ROOM}
        for basis, gap in off.items():
            low, high = self.spans[basis]
            if -_SELDOM_BELOW <= gap <= (_ROOM if low < high else _SELDOM_ABOVE):
                return {}
        return off


def basis_of(reading: Reading) -> Basis | None:
    """Return the heat that an efficiency is counted on, where it was said or shown beside it."""
    for text in (reading.note, reading.source.heard):
        named = [basis for basis, words in _NAMES.items() if re.search(_BESIDE.format(words), text.casefold())]
        if len(named) == 1:
            return named[0]
    return None


def efficiency_broken(
    gas_rows: Sequence[dict[str, Reading]], air: Reading | None, fuels: Sequence[Fuel]
) -> Iterator[Broken]:
    """Yield each efficiency that cannot be, that no way of counting gives, and rows that no one basis gives."""
    for row in gas_rows:
        if (shown := row.get("efficiency")) is not None and decimal_of(shown.value) > _MOST_GROSS:
            yield from _above_gross(shown)
    rows = [made for row in gas_rows if air is not None and (made := _row(row, air, fuels)) is not None]
    for one in rows:
        if not one.fitting():
            spans = " or ".join(
                f"{low - _ROOM:.0f} to {high + _ROOM:.0f} % {basis}" for basis, (low, high) in one.spans.items()
            )
            yield Broken(
                "efficiency_of_losses", one.readings, f"they do not fit, temperatures and O2 give {spans}", _HEAT
            )
    yield from _seldom(rows)
    fitting = [one for one in rows if one.fitting()]
    if len(fitting) > 1 and not set.intersection(*(one.fitting() for one in fitting)):
        text = "one instrument counts on one heat, and these are some on the gross and some on the net one"
        readings = tuple(one.readings[0] for one in fitting)
        yield Broken("efficiency_on_two_bases", readings, text, _HEAT, "look again")


def _seldom(rows: Sequence[_Row]) -> Iterator[Broken]:
    for one in rows:
        seldom = one.seldom()
        others = [other.off() for other in rows if other is not one]
        alike = any(
            off[basis] * gap > 0 and abs(off[basis] - gap) <= _ALIKE
            for basis, gap in seldom.items()
            for off in others
            if basis in off
        )
        if seldom and not alike:
            gap = min(seldom.values(), key=abs)
            side = "above" if gap > 0 else "below"
            text = f"{abs(gap):.1f} points {side} what temperatures and O2 give, formulas seldom differ by so much"
            yield Broken("efficiency_of_losses", one.readings, text, _HEAT, "look again")


def _above_gross(shown: Reading) -> Iterator[Broken]:
    basis = basis_of(shown)
    if basis == "gross":
        text = f"more than {_MOST_GROSS} % of the gross heat cannot be"
        yield Broken("efficiency_above_gross", (shown,), text, _MOST)
    elif basis is None:
        text = f"above {_MOST_GROSS} % it can only be of the net heat; the basis was not named"
        yield Broken("efficiency_above_gross", (shown,), text, _MOST, "look again")


def _row(row: dict[str, Reading], air: Reading, fuels: Sequence[Fuel]) -> _Row | None:
    if not {"o2", "flue_temp", "efficiency"} <= row.keys():
        return None
    o2, flue, air_in = decimal_of(row["o2"].value), _celsius(row["flue_temp"]), _celsius(air)
    if flue is None or air_in is None or not (0 <= o2 < O2_IN_AIR and -40 <= air_in <= 60 and 0 <= flue <= 500):
        return None
    named = basis_of(row["efficiency"])
    bases: tuple[Basis, ...] = (named,) if named else ("gross", "net")
    spans = {basis: _span(float(flue), float(air_in), float(o2), fuels, basis) for basis in bases}
    return _Row((row["efficiency"], row["flue_temp"], row["o2"], air), decimal_of(row["efficiency"].value), spans)


def _span(flue: float, air: float, o2: float, fuels: Sequence[Fuel], basis: Basis) -> tuple[Decimal, Decimal]:
    values = [
        efficiency(flue, air, o2, FUELS[fuel], basis, condensing=condensing).value
        for fuel in fuels
        for condensing in (False, True)
    ]
    return Decimal(str(min(values))), Decimal(str(max(values)))


def _celsius(reading: Reading) -> Decimal | None:
    return in_unit(decimal_of(reading.value), reading.unit, "Cel")
