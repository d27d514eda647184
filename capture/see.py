"""A photo becomes a look: open, find text, decide what kind of display it is, read it, and say what is unsure."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import cv2
import numpy as np

from capture.advice import advice_on
from capture.locate import Quad
from capture.photo import Pixels, open_photo
from capture.readers import Readers, load_readers
from capture.rows import rows_of
from capture.segments import find_number, read_number
from capture.sights import Glance, Sight, best_sight, glance, read_tokens
from capture.table import is_table, kind_of_table, read_table
from schemas.displays import display_labels, label_key
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Box, Figure, Look

Display = Literal["segments", "screen", "slip", "plate", "unknown"]

__all__ = ["Readers", "load_readers", "look"]


_NUMBER_SIDE = 2048
"""A number that may be looked for alone is large: so many pixels of the long side show it and its unit."""
_CLOSER_SIDE = 640
"""pixels of the long side in which text is looked for where a glance did not see the number"""
_LIKE = 0.6
"""Times as tall as a display's number another one in the picture is at least, to be one of a display too."""
_SCALE = 2
"""So many other numbers beside it are a scale, a clock's face or stamped parts."""
_NOT_OF_DIGITS = (DoubtKind.UNIT_UNCLEAR, DoubtKind.HIDDEN)


@dataclass(frozen=True)
class _Seen:
    """What was read: the kind of display, its figures in the photo's pixels, and the rows of text beside them."""

    display: Display
    figures: list[Figure]
    printed: list[tuple[str, Box]]
    numbers: list[Quad]


def look(path: Path, sha256: str, readers: Readers) -> Look:
    """Read one photo. ``sha256`` is its name as evidence. The same picture gives the same look.

    Raises:
        BadInput: the file is no picture that can be read.
    """
    photo = open_photo(path)
    first = glance(photo.pixels, readers)
    seen = _one_number(photo.pixels, first, readers) or _rows_or_number(photo.pixels, first, readers)
    return Look(
        evidence=sha256,
        display=seen.display,
        width=photo.facts.width,
        height=photo.facts.height,
        figures=tuple(_scaled(figure, photo.scale) for figure in seen.figures),
        printed=tuple((text, _box(box.corners, photo.scale)) for text, box in seen.printed),
        advice=advice_on(photo.pixels, seen.figures, seen.numbers),
        made_by=readers.made_by,
    )


def _one_number(pixels: Pixels, first: Glance, readers: Readers) -> _Seen | None:
    """One large number beside which all text is small, its digits sure: nothing else need be looked for. Else None."""
    if first.shows_rows:
        return None
    shrink = min(1.0, _NUMBER_SIDE / max(pixels.shape[:2]))
    small = np.asarray(cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.uint8)
    seen = first.scaled(shrink)
    tokens = read_tokens(small, seen.quads, readers)
    place = find_number(tokens, small, readers)
    if place is None or place.beside:
        return None
    if not seen.holds(place.quad):
        seen = glance(small, readers, _CLOSER_SIDE)
    figures = read_number(place, tokens, small, readers) if seen.stands_alone(place.quad) else []
    if not figures or any(doubt.kind not in _NOT_OF_DIGITS for one in figures for doubt in one.doubts):
        return None
    sight = Sight(pixels, small, tokens, rows_of(tokens), np.diag([1 / shrink, 1 / shrink, 1.0]))
    return _seen("segments", [_placed(one, sight) for one in figures], sight, sight)


def _rows_or_number(pixels: Pixels, first: Glance, readers: Readers) -> _Seen:
    """Rows of text read as a table where they are one, else the one large number."""
    plain, best = best_sight(pixels, first, readers)
    if is_table(best.rows):
        kind = kind_of_table(best.rows)
        return _seen(kind, [_placed(one, best) for one in read_table(best, readers, kind)], best, plain)
    place = find_number(plain.tokens, pixels, readers)
    figures = read_number(place, plain.tokens, pixels, readers) if place is not None else []
    beside = place.beside if place is not None else ()
    return _seen("segments" if figures else "unknown", figures, best, plain, beside)


def _seen(display: Display, figures: list[Figure], best: Sight, plain: Sight, beside: Sequence[Quad] = ()) -> _Seen:
    printed = [(row.text, _box(best.in_photo(row.quad))) for row in best.rows if not row.values and row.text]
    words = [word for row in plain.rows for word in row.values]
    numbers = [plain.in_photo(word.quad) for word in words]
    if display == "segments" and len(figures) == 1:
        legends = any(label_key(row.label) in display_labels() for row in plain.rows)
        mine = np.array(figures[0].box.corners, np.float32)
        read = [(word.value, quad) for word, quad in zip(words, numbers, strict=True)]
        counted = [quad for quad in numbers if _height(quad) > _LIKE * _height(mine)]
        unread = [quad for quad in beside if not any(_meet(quad, number) for number in counted)]
        figures = _among(read, figures[0], legends, bool(unread))
        numbers += [*unread, mine] if unread else []
    return _Seen(display if figures else "unknown", figures, printed, numbers)


def _among(numbers: list[tuple[str, Quad]], figure: Figure, legends: bool, unread: bool = False) -> list[Figure]:
    """The number of a display among the others of its size in the picture: which one is meant is not clear.

    ``unread``: one of them was seen and not read.

    Three that neither a unit nor a label explains are a dial, the face of a clock or stamped parts: no reading.
    """
    mine = np.array(figure.box.corners, np.float32)
    tall = _height(mine)
    others = [value for value, quad in numbers if _height(quad) > _LIKE * tall and not _meet(quad, mine)]
    if len(others) >= _SCALE and not figure.unit and not legends:
        return []
    if not (others or unread):
        return [figure]
    told = " and ".join([*others, *(["another number"] if unread else [])])
    doubt = Doubt(kind=DoubtKind.VALUE_UNCLEAR, detail=f"the picture shows {told} too")
    alternatives = tuple(dict.fromkeys((*others, *figure.alternatives)))
    return [figure.model_copy(update={"doubts": (*figure.doubts, doubt), "alternatives": alternatives})]


def _height(quad: Quad) -> float:
    a, b, c, d = quad
    return float(np.linalg.norm(d - a) + np.linalg.norm(c - b)) / 2


def _meet(one: Quad, other: Quad) -> bool:
    """Whether the middle of one lies in the other."""
    pairs = ((one, other), (other, one))
    middles = [(np.float32(a).reshape(-1, 1, 2), tuple(float(v) for v in b.mean(axis=0))) for a, b in pairs]
    return any(cv2.pointPolygonTest(shape, middle, False) >= 0 for shape, middle in middles)


def _placed(figure: Figure, sight: Sight) -> Figure:
    """The figure with its boxes in pixels of the photo."""
    return _moved(figure, lambda box: _box(sight.in_photo(np.array(box.corners, np.float32))))


def _scaled(figure: Figure, scale: float) -> Figure:
    """The figure with its boxes in pixels of the full picture."""
    return figure if scale == 1.0 else _moved(figure, lambda box: _box(box.corners, scale))


def _moved(figure: Figure, move: Callable[[Box], Box]) -> Figure:
    boxes = {"box": move(figure.box)}
    if figure.label_box is not None:
        boxes["label_box"] = move(figure.label_box)
    return figure.model_copy(update=boxes)


def _box(corners: Iterable[Iterable[float]], scale: float = 1.0) -> Box:
    a, b, c, d = ((round(float(x) * scale, 1), round(float(y) * scale, 1)) for x, y in corners)
    return Box(corners=(a, b, c, d))
