"""What a picture prints beside its figures, as far as it tells of them: the firing rate of a block, a label whose value
could not be read, a time of day that is no reading, that rows are averages, that what is shown is held."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from extract.doubt import doubt
from extract.lexicon import Grammar
from schemas.displays import Sense, over_marks, sense_words
from schemas.doubts import DoubtKind
from schemas.evidence import Box, Figure, Look

__all__ = ["Headings", "Senses", "headings", "is_over", "is_time", "legend", "senses", "valueless"]

_TIME = re.compile(r"(?<![\d:])([01]?\d|2[0-3]):([0-5]\d)(?::[0-5]\d)?(?![\d:])", re.ASCII)
_LONGEST = 5  # words that a heading has at most, with those around the firing rate
_AROUND = frozenset(
    ("of", "the", "value", "values", "result", "results", "all", "readings", "measurements", "tests", "runs")
)
_NEAR = 0.9  # heights of the numbers above, below and beside them in which a display's own marks stand


class Headings(NamedTuple):
    """The conditions that a print names above its blocks, from top to bottom, and how far down (pixels) each stands."""

    found: tuple[tuple[float, str], ...] = ()

    @property
    def several(self) -> bool:
        """Whether blocks of different conditions are on one print."""
        return len({condition for _, condition in self.found}) > 1

    def of(self, figure: Figure) -> str | None:
        """Return the condition of the block that a figure stands in; None where no heading is above it."""
        top = _top(figure.box)
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
        y = _top(box)
        phrases = [" ".join(words[a:b]) for a in range(len(words)) for b in range(a + 2, len(words) + 1)]
        named = {ways[phrase] for phrase in phrases if phrase in ways}
        if len(named) == 1:
            long.append((y, named.pop()))
        elif len(words) == 1 and words[0] in ways:
            short.append((y, ways[words[0]]))
    together = Headings(tuple(sorted([*long, *short])))
    return together if together.several else Headings(tuple(long))


class Senses(NamedTuple):
    """Where a print begins to show averages, and where single values, from top to bottom, in pixels."""

    found: tuple[tuple[float, Sense], ...] = ()

    def of(self, figure: Figure) -> Sense | None:
        """Return ``average`` for a figure below such a heading; None for a single value."""
        top = _top(figure.box)
        above = [sense for y, sense in self.found if y <= top]
        return "average" if above and above[-1] == "average" else None


def senses(look: Look, grammar: Grammar, printed: Headings) -> Senses:
    """Return the headings of averages and of single measurements on a slip or a screen.

    A firing rate named below the heading of averages, before any figure, is that of the averages; named after them, it
    begins single values again. The mark of an average beside one number alone is one too.
    """
    if look.display not in ("slip", "screen"):
        marks = [box for text, box in look.printed if _all_of(text, "average") and _is_by(box, look)]
        return Senses(((0.0, "average"),)) if marks else Senses()
    unclear = DoubtKind.VALUE_UNCLEAR  # one of several numbers in a row: the heading of columns
    counted = [(f.label, f.box) for f in look.figures if not f.unit and unclear not in {d.kind for d in f.doubts}]
    rates = {word for c in grammar.sheet.conditions for way in (c.name, *c.said) for word in way.lower().split()}
    found: list[tuple[float, Sense]] = []
    for text, box in (*look.printed, *counted):
        if _all_of(text, "average", also=_AROUND | sense_words("single") | rates):
            found.append((_top(box), "average"))
        elif _all_of(text, "single", also=_AROUND):
            found.append((_top(box), "single"))
    for y, _ in printed.found:
        before = max((one for one in found if one[0] <= y), default=None)
        between = before and any(before[0] < _top(f.box) < y for f in look.figures if f.unit)
        if before and (between or before[1] == "single"):
            found.append((y, "single"))
    return Senses(tuple(sorted(found)))


def legend(look: Look, printed: Headings) -> str:
    """Return the words by which a display or a print says that its values are held (``HOLD``, ``MAX``); else nothing.

    The keys of an instrument bear such words too: what is not right by the numbers is no mark. ``MAX`` and ``MIN``
    above two blocks are firing rates.
    """
    if look.display == "plate" or printed.several:
        return ""
    also = sense_words("average") | sense_words("single") | {"auto"}
    marks = [text for text, box in look.printed if _all_of(text, "held", also=also) and _is_by(box, look)]
    return " and ".join(marks)


def _all_of(text: str, sense: Sense, also: frozenset[str] | set[str] = frozenset()) -> bool:
    """Whether a short text says so, and nothing that is not among ``also``."""
    words = re.findall(r"[a-z\u00f8]+", text.lower())
    said = [word for word in words if word in sense_words(sense)]
    return bool(said) and len(words) <= _LONGEST and all(word in said or word in also for word in words)


def _is_by(box: Box, look: Look) -> bool:
    """Whether a printed text stands right by the numbers of a picture, as the marks of a display do."""
    corners = [corner for f in look.figures for corner in f.box.corners]
    if not corners:
        return False
    highs = sorted(max(y for _, y in f.box.corners) - _top(f.box) for f in look.figures)
    room = _NEAR * highs[len(highs) // 2] * (1 if len(highs) == 1 else 2)
    across, down = [x for x, _ in corners], [y for _, y in corners]
    x, y = (sum(corner[axis] for corner in box.corners) / 4 for axis in (0, 1))
    return min(across) - room <= x <= max(across) + room and min(down) - room <= y <= max(down) + room


def _top(box: Box) -> float:
    return min(y for _, y in box.corners)


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
