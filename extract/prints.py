"""What a picture prints beside its figures, as far as it tells of them: the firing rate of a block, a label whose value
could not be read, a time of day that is no reading."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from extract.doubt import doubt
from extract.lexicon import Grammar
from schemas.displays import over_marks
from schemas.doubts import DoubtKind
from schemas.evidence import Figure, Look

__all__ = ["Headings", "headings", "is_over", "is_time", "valueless"]

_TIME = re.compile(r"(?<![\d:])([01]?\d|2[0-3]):([0-5]\d)(?::[0-5]\d)?(?![\d:])", re.ASCII)
_LONGEST = 5  # words that a heading has at most, with those around the firing rate


class Headings(NamedTuple):
    """The conditions that a print names above its blocks, from top to bottom, and how far down (pixels) each stands."""

    found: tuple[tuple[float, str], ...] = ()

    @property
    def several(self) -> bool:
        """Whether blocks of different conditions are on one print."""
        return len({condition for _, condition in self.found}) > 1

    def of(self, figure: Figure) -> str | None:
        """Return the condition of the block that a figure stands in; None where no heading is above it."""
        top = min(y for _, y in figure.box.corners)
        above = [condition for y, condition in self.found if y <= top]
        if not self.several:
            return self.found[0][1] if self.found else None
        return above[-1] if above else None


def headings(look: Look, grammar: Grammar) -> Headings:
    """Return the conditions that a slip or a screen names in rows without a value.

    A single word (``MAX``) may be of a value that is held, so that it counts only beside another.
    """
    if look.display not in ("slip", "screen"):
        return Headings()
    ways = {way: c.id for c in grammar.sheet.conditions for way in (c.name, *c.said)}
    long, short = [], []
    for text, box in look.printed:
        words = re.findall(r"[a-z]+", text.lower())
        if not 0 < len(words) <= _LONGEST:
            continue
        y = min(y for _, y in box.corners)
        phrases = [" ".join(words[a:b]) for a in range(len(words)) for b in range(a + 2, len(words) + 1)]
        named = {ways[phrase] for phrase in phrases if phrase in ways}
        if len(named) == 1:
            long.append((y, named.pop()))
        elif len(words) == 1 and words[0] in ways:
            short.append((y, ways[words[0]]))
    together = Headings(tuple(sorted([*long, *short])))
    return together if together.several else Headings(tuple(long))


def is_over(text: str) -> bool:
    """Whether a display says with this that the value is beyond its range."""
    return " ".join(re.findall(r"[a-z]+", text.lower())) in over_marks() and not re.search(r"\d", text)


def is_time(figure: Figure, look: Look) -> bool:
    """Whether a number without label and unit is a time of day: digits with a colon between them are no reading."""
    if figure.unit or figure.label.strip():
        return False
    digits = re.sub(r"\D", "", figure.value)
    shown = [figure.value, *(text for text, _ in look.printed)]
    return any(re.sub(r"\D", "", match[0]) == digits for text in shown for match in _TIME.finditer(text))


def valueless(look: Look, grammar: Grammar, named: Callable[[str], str | None]) -> list[Figure]:
    """Return the rows of a slip or a screen that have a label of the sheet and its unit, or a mark, and no value.

    ``named`` gives the quantity of a label.
    """
    found: list[Figure] = []
    for text, box in look.printed if look.display in ("slip", "screen") else ():
        words = text.split()
        unit, mark = "", ""
        while words and ((code := grammar.unit_written(words[-1])) or is_over(words[-1]) or _blank(words[-1])):
            unit, mark = code or unit, words[-1] if is_over(words[-1]) else mark
            words.pop()
        quantity = named(" ".join(words)) if words and len(words) < len(text.split()) else None
        if quantity is None or grammar.quantities[quantity].kind != "number":
            continue
        none = doubt(DoubtKind.VALUE_UNCLEAR, "its label is there and no value that could be read")
        doubts = () if mark else (none,)
        found.append(Figure(label=" ".join(words), value=mark, unit=unit, box=box, doubts=doubts))
    return found


def _blank(word: str) -> bool:
    """Whether a word is the dashes that stand in place of a value."""
    return re.fullmatch(r"[-_.*–—]+", word) is not None
