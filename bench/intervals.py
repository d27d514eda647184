"""How far a rate that was counted may be off."""

from __future__ import annotations

__all__ = ["wilson"]


def wilson(hits: int, total: int) -> tuple[float, float]:
    """Return the 95 % interval of a rate in percent (E. B. Wilson 1927, score interval)."""
    if not total:
        return 0.0, 100.0
    z, p = 1.959964, hits / total
    middle = (p + z * z / (2 * total)) / (1 + z * z / total)
    half = z * (p * (1 - p) / total + z * z / (4 * total * total)) ** 0.5 / (1 + z * z / total)
    return 100 * max(0.0, middle - half), 100 * min(1.0, middle + half)
