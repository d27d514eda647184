"""From a number of many choices to the value of one quantity: unit, range and usual decimals choose, or none does."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from extract.numbers import Number, signed
from schemas.readings import Alternative
from schemas.sheet import Quantity
from schemas.units import convert, unit_of

__all__ = ["Choice", "Fit", "Measure", "fit"]

MARGIN = 1.0  # the best value must beat the second by this much; set on the dev corpus, see bench.extract
FAR = 2.5  # a value this far fetched is asked about even where it is the only one
UNUSUAL = 1.5  # outside what is usual
MANY_DECIMALS = 3.0
NO_DECIMALS = 0.3


class Choice(NamedTuple):
    """One value with its unit and cost."""

    value: str
    unit: str
    cost: float
    usual: bool


class Fit(NamedTuple):
    """What a number may be as a quantity. ``choices`` best first; ``doubts`` by short name: value, impossible, unit,
    sign, fused. ``cost`` is how badly it fits (0 well); 6 where the unit is of another kind."""

    choices: tuple[Choice, ...]
    doubts: tuple[str, ...]
    cost: float

    def alternatives(self) -> tuple[Alternative, ...]:
        """The other choices, likeliest first, at most three."""
        best = self.choices[0]
        rest = [c for c in self.choices[1:] if (c.value, c.unit) != (best.value, best.unit)][:3]
        return tuple(Alternative(value=c.value, unit=c.unit, score=round(1 / (2 + c.cost), 3)) for c in rest)


class Measure:
    """A quantity with its bounds worked out in each of its units; compared and hashed as itself."""

    def __init__(self, quantity: Quantity) -> None:
        self.id = quantity.id
        self.units = quantity.units
        self.decimals = quantity.decimals
        self.default_units: dict[str, str] = {str(k): v for k, v in quantity.default_units.items()}
        self.sign = quantity.sign
        self.bounds = {code: _bounds(quantity, code) for code in quantity.units or ("",)}

    def default(self, system: str) -> str:
        """The unit that an unspoken unit means."""
        return self.default_units.get(system, self.units[0] if self.units else "")


def _bounds(q: Quantity, code: str) -> tuple[float | None, float | None, float | None, float | None]:
    """Possible and usual bounds in a unit: (possible low, high, usual low, high)."""
    out = [
        None if b is None else float(convert(Decimal(b), q.units[0], code)) if code else float(b)
        for b in (*q.range.possible, *q.range.usual)
    ]
    return out[0], out[1], out[2], out[3]


@lru_cache(maxsize=65536)
def fit(number: Number, unit: str, q: Measure, system: str) -> Fit:
    """Return how ``number``, said with ``unit`` (empty: none said; ``deg``: degrees), fits quantity ``q``."""
    default = q.default(system)
    if unit and unit != "deg":
        candidates = [unit] if unit in q.units else []
        if not candidates:
            return Fit((Choice(number.first, unit, 6.0, False),), ("unit kind",), 6.0)
    elif unit == "deg" and (not default or unit_of(default).kind != "temperature"):
        return Fit((Choice(number.first, default, 6.0, False),), ("unit kind",), 6.0)
    else:
        candidates = [default]
    found = _choices(number, candidates, q)
    doubts: list[str] = []
    unsaid = unit in ("", "deg") and bool(default)
    others = [u for u in q.units if u != default and _plausible_unsaid(u)] if unsaid else []
    if not found:
        elsewhere = _choices(number, others, q)
        if elsewhere:
            heard = Choice(elsewhere[0].value, elsewhere[0].unit, 2.0, False)
            return Fit((heard, *elsewhere[1:]), ("unit",), 2.0)
        shifted = _shifted(number, candidates, q)
        first = Choice(number.first, candidates[0] if candidates else "", 3.0, False)
        return Fit((first, *shifted), ("fused" if _fused(number, q, candidates[0]) else "impossible",), 3.0)
    best = found[0]
    if _fused(number, q, best.unit):
        doubts.append("fused")
    if number.led and len(number.digits) > 2:
        doubts.append("fused")
    rival = next((c for c in found[1:] if c.value != best.value), None)
    if (rival is not None and rival.cost - best.cost < MARGIN) or best.cost >= FAR:
        doubts.append("value")
    if not best.usual and number.exact and "." in best.value and not unit_said(unit):
        moved = [c for c in _shifted(number, candidates, q) if abs(len(c.value) - len(best.value)) <= 2]
        if moved and max(q.decimals.get(best.unit, (0,))) > 0:
            doubts.append("unusual")
            found = (best, *moved[:1], *found[1:])
    if not best.usual and others:
        better = [
            c
            for c in _choices(number, others, q)
            if c.usual and (c.value == best.value or c.cost + MARGIN <= best.cost)
        ]
        if better:
            doubts.append("unit")
            found = (best, better[0], *found[1:])
    if q.sign == "must be said" and not number.sign and _sign_matters(best, q):
        doubts.append("sign")
        found = (best, Choice("-" + best.value, best.unit, best.cost, True), *found[1:])
    return Fit(found, tuple(doubts), best.cost)


def made_otherwise(q: Quantity, words: str) -> str:
    """Return what ``words`` say that makes a value something else than the quantity; empty where nothing."""
    plain = f" {' '.join(words.lower().split())} "
    return next((way for way in q.otherwise if f" {way} " in plain), "")


def basis_named(q: Quantity, words: str) -> str:
    """Return the basis that ``words`` name for a quantity that may be reckoned on several; empty where not one is."""
    plain = f" {' '.join(words.lower().replace('(', ' ').replace(')', ' ').split())} "
    named = [basis for basis, ways in q.bases.items() if any(f" {way} " in plain for way in ways)]
    return named[0] if len(named) == 1 else ""


def unit_said(unit: str) -> bool:
    """Whether a unit was said."""
    return unit not in ("", "deg")


def _plausible_unsaid(code: str) -> bool:
    """Units that people leave unsaid: those of the two usual systems, not kPa and the like."""
    return code in ("[in_i'H2O]", "mbar", "[degF]", "Cel", "[psi]", "bar")


def _choices(number: Number, candidates: list[str], q: Measure) -> tuple[Choice, ...]:
    out = []
    for code in candidates:
        bounds = q.bounds[code]
        allowed = q.decimals.get(code, ())
        for text, said in number.choices:
            cost = said
            value = signed(text, number.sign)
            x = float(value)
            if (bounds[0] is not None and x < bounds[0]) or (bounds[1] is not None and x > bounds[1]):
                continue
            if x < 0 and q.sign == "plain":
                continue
            usual = (bounds[2] is None or x >= bounds[2]) and (bounds[3] is None or x <= bounds[3])
            places = len(text.partition(".")[2])
            if (allowed and not number.exact) or (allowed and places > max(allowed)):
                if places > max(allowed):
                    cost += MANY_DECIMALS if not number.exact else 0.5
                elif places == 0 and 0 not in allowed:
                    cost += NO_DECIMALS
            out.append(Choice(value, code, cost + (0.0 if usual else UNUSUAL), usual))
    out.sort(key=lambda c: c.cost)
    return tuple(out)


def _shifted(number: Number, candidates: list[str], q: Measure) -> tuple[Choice, ...]:
    """The same digits with the point elsewhere, where that is usual: offered, never taken."""
    out = []
    base = Decimal(number.first)
    for code in candidates[:1]:
        low, _, usual_low, usual_high = q.bounds[code]
        for power in (1, -1, 2, -2, 3):
            moved = base.scaleb(power)
            text = format(moved, "f")
            if "." in text:
                text = text.rstrip("0").rstrip(".")
            x = float(text)
            if (
                (usual_low is None or x >= usual_low)
                and (usual_high is None or x <= usual_high)
                and x
                and low is not None
            ):
                out.append(Choice(text, code, 4.0, True))
    return tuple(out[:3])


def _fused(number: Number, q: Measure, code: str) -> bool:
    """More digits behind a said point than the instrument has: two values may have run together."""
    allowed = q.decimals.get(code, ())
    places = len(number.choices[0][0].partition(".")[2])
    return number.exact and bool(allowed) and places > max(allowed) and "/" not in number.digits


def _sign_matters(best: Choice, q: Measure) -> bool:
    low = q.bounds[best.unit][0]
    x = float(best.value)
    return x > 0 and low is not None and -x >= low
