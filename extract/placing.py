"""Where the point may stand in digits that were said in groups, and how odd each way to say a number is.

The costs are in the unit of ``extract/numbers.py``, which finds the groups.
"""

from __future__ import annotations

from functools import lru_cache

__all__ = ["UNNATURAL", "placements", "tidy"]

UNNATURAL = 2.0  # nobody says 315 as "thirty one five"
SPLIT = 0.7  # digits written apart: "1 12"
INSIDE = 2.0  # a point inside a spoken group: "eighty nine" for 8.9


def tidy(text: str) -> str:
    """Return a decimal text in our notation: no needless zeros in front, none behind taken away."""
    whole, point, tail = text.partition(".")
    return (whole.lstrip("0") or "0") + (point + tail if tail else "")


@lru_cache(maxsize=65536)
def placements(groups: tuple[tuple[str, str], ...], whole: bool = False) -> tuple[tuple[str, float], ...]:
    """Every value that digits said in these groups may have, with its cost: as a whole, and with an unsaid point."""
    kinds = "".join(k for k, _ in groups)
    digits = "".join(d for _, d in groups)
    written = SPLIT if "N" in kinds and len(groups) > 1 else 0.0
    cost = _whole_cost(groups, kinds, digits)
    out: dict[str, float] = {}
    if digits.startswith("0") and len(digits) > 1:
        out[tidy(digits)] = 0.8
        for p in range(1, min(len(digits), 4)):
            out[tidy(f"{digits[:p]}.{digits[p:]}")] = 0.8 + 0.1 * p
        if kinds[0] == "O":
            out.setdefault(tidy("0." + digits), 1.0)
    else:
        out[tidy(digits)] = cost
        if not whole and kinds not in ("H", "T"):  # nobody says 9.1 as "ninety one"; "91" may be written for it
            ends, at = set(), 0
            for _, d in groups[:-1]:
                at += len(d)
                ends.add(at)
            for p in range(1, len(digits)):
                value = tidy(f"{digits[:p]}.{digits[p:]}")
                c = _point_cost(groups, kinds, digits, p, p in ends)
                out[value] = min(c, out.get(value, c))
    return tuple(sorted(((v, c + written) for v, c in out.items()), key=lambda x: x[1]))


def _whole_cost(groups: tuple[tuple[str, str], ...], kinds: str, digits: str) -> float:
    """How odd it is to say a whole number in these groups."""
    if len(groups) == 1:
        return 0.0
    if all(k in "DO" for k in kinds):
        if len(digits) == 2:
            return 0.5 if kinds == "DD" else 1.5
        return 0.2 if len(digits) <= 4 else 1.0
    if kinds in ("DT", "TT", "TOD", "NN", "DN", "ND", "TN", "NT"):
        return 0.0
    return UNNATURAL


def _point_cost(groups: tuple[tuple[str, str], ...], kinds: str, digits: str, p: int, boundary: bool) -> float:
    """How odd it is to leave out the point before digit ``p``."""
    tail = len(digits) - p
    odd = 0.0 if "T" not in kinds or kinds in _DECIMALS else UNNATURAL  # "one thirty twenty eight" is two numbers
    if odd:
        return odd + 0.5 * tail
    if not boundary:
        return INSIDE - (0.5 if tail == 1 else 0.0) + 0.5 * (tail - 1)
    if tail == 2 and kinds in ("DOD", "TOD"):
        return 0.3
    if tail == 1 and kinds in ("DOD", "TOD"):
        return 1.2  # nobody says 90.5 as "nine oh five"
    if tail == 1:
        return 0.2 if len(groups) <= 3 else 0.6
    return 0.8 + 0.3 * (tail - 1)


_DECIMALS = frozenset(("T", "DT", "TT", "TD", "DTD", "TOD", "DTO", "TO", "TDD", "DTDD", "TODD"))
"""Patterns of groups that a point may have been left out of."""
