"""Which unit a small word is: how well what a recogniser saw spells each unit that there is.

A recogniser of words knows no units: a blurred ``hPa`` is ``nba`` to it. Asked for the share of all its paths that
spell ``hPa`` (CTC's forward sum, Graves 2012, chapter 7) it tells units apart where its first guess is none.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from schemas.units import units

__all__ = ["Fit", "Speller", "ends_another", "known_unit"]

_LONGEST = 6
# MIN and MAX are what stands beside a number then, never minutes; one letter may be a scrap of anything.
_NO_UNITS = {"min", "mins", "h", "s", "m", "f", "c", "in", "turn", "turns", "feet", "foot", "meg", "megs", "inch", '"'}
_DEGREES = {"℃": "Cel", "℉": "[degF]", "oc": "Cel", "of": "[degF]"}
# The digit 0 stands in no unit: recognisers write it for the letter.
# Marks that carry nothing in a unit are taken for no sign at all.
_MARKS = frozenset(" .,_'`:;|·")
_ALIKE = {"μ": "µ", "₂": "2", "º": "°", "˚": "°", "％": "%", "0": "o"}
_FLOOR = 1e-7
_LETTER, _SCRAP = -1.0, 4.0
"""a unit of one letter fits scraps of anything a little: below the first its fit is lowered by the second"""


@dataclass(frozen=True)
class Fit:
    """A unit and how well it is spelled: the logarithm of its share beside that of the likeliest path; 0 is perfect."""

    unit: str
    fit: float


def known_unit(text: str) -> str:
    """The UCUM code of a unit as displays write it, whatever its case and marks; empty where it is none."""
    return _ways().get("".join(_folded(char) for char in text), "")


@cache
def _ways() -> dict[str, str]:
    """Every way to write a unit on a display, folded, with its code; the first unit of a wording keeps it."""
    ways: dict[str, str] = {}
    for code, unit in units().items():
        for said in (unit.show, code, *unit.said, unit.pint):
            way = "".join(_folded(char) for char in said)
            if 0 < len(way) <= _LONGEST and way not in _NO_UNITS and not re.search(r"[\[\]{}]", way):
                ways.setdefault(way, code)
    return ways | _DEGREES


@cache
def ends_another(unit: str) -> bool:
    """Whether another unit ends as this one is written: hPa, its first letter lost, would be Pa."""
    own = [way for way, code in _ways().items() if code == unit]
    return any(
        code != unit and len(other) > len(way) and other.endswith(way) for other, code in _ways().items() for way in own
    )


def _folded(char: str) -> str:
    return "" if char in _MARKS else _ALIKE.get(char, char).lower()


class Speller:
    """Spells units in the tables of one recogniser; ``alphabet`` names its columns, the first is CTC's blank."""

    def __init__(self, alphabet: list[str]) -> None:
        columns: defaultdict[str, list[int]] = defaultdict(list)
        for at, char in enumerate(alphabet):
            columns[_folded(char) if at else ""].append(at)
        self._ways = [way for way in _ways() if all(sign in columns for sign in way)]
        signs = ["", *sorted({sign for way in self._ways for sign in way})]
        self._columns = [columns[sign] for sign in signs]
        states = np.zeros((len(self._ways), 2 * _LONGEST + 1), int)
        for row, way in enumerate(self._ways):
            states[row, 1 : 2 * len(way) : 2] = [signs.index(sign) for sign in way]
        self._states = states
        self._last = np.array([2 * len(way) for way in self._ways])
        # A state may be reached from two before it where a sign stands there that is another than that one.
        self._skips = np.zeros_like(states, bool)
        self._skips[:, 2:] = (states[:, 2:] > 0) & (states[:, 2:] != states[:, :-2])

    def fits(self, table: NDArray[np.float32]) -> list[Fit]:
        """All units, the best spelled first. ``table``: steps x alphabet, shares."""
        signs = np.stack([table[:, at].sum(axis=1) for at in self._columns], axis=1)
        path = float(np.log(np.maximum(table.max(axis=1), signs.max(axis=1)) + _FLOOR).sum())
        logs = np.log(signs + _FLOOR)
        none = np.full((len(self._ways), 1), -1e9)
        ends = np.full(self._states.shape, -1e9)
        ends[:, :2] = logs[0][self._states[:, :2]]
        for step in logs[1:]:
            before = np.hstack([none, ends[:, :-1]])
            skipped = np.where(self._skips, np.hstack([none, none, ends[:, :-2]]), -1e9)
            ends = np.logaddexp(np.logaddexp(ends, before), skipped) + step[self._states]
        rows = np.arange(len(self._ways))
        shares = np.logaddexp(ends[rows, self._last], ends[rows, self._last - 1])
        best: dict[str, float] = {}
        for way, share in zip(self._ways, shares, strict=True):
            unit, fit = _ways()[way], float(share) - path
            if len(way) == 1 and way.isalpha() and fit < _LETTER:
                fit -= _SCRAP
            best[unit] = max(best.get(unit, -1e9), fit)
        return [Fit(unit, fit) for unit, fit in sorted(best.items(), key=lambda item: (-item[1], item[0]))]
