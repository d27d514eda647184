"""One piece of a sentence, as the lexicon reads it."""

from __future__ import annotations

from typing import Any, NamedTuple

__all__ = ["KNOWN", "OTHER", "Item"]

KNOWN = 0.5  # the cost of a phrase or number we know
OTHER = "?"  # the tag of "the next boiler" until the context says which that is


class Item(NamedTuple):
    """One piece of a sentence: ``kind`` with its ``value``, tokens ``start`` to ``end``.

    ``also`` holds what else the same words may be, by kind; the clause decides which of them counts.
    """

    kind: str
    start: int
    end: int
    value: Any
    cost: float
    also: tuple[tuple[str, Any], ...] = ()

    def get(self, kind: str) -> Any:
        """What this is as a ``kind``, None if it is none."""
        if self[0] == kind:  # by place, not by name: this is asked a hundred times a sentence
            return self[3]
        for other, value in self[5]:
            if other == kind:
                return value
        return None

    def role(self, name: str) -> bool:
        """Whether it is a cue with this role."""
        if self[0] == "cue":
            return name in self[3]
        if not self[5]:
            return False
        roles = self.get("cue")
        return roles is not None and name in roles
