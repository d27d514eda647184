"""The unit beside one large number: small words near it, found by their ink, read in several cuts, spelled as units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from statistics import fmean

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.locate import Quad, cut, evened, grey_of, rectify
from capture.photo import Pixels
from capture.readers import LINE_HEIGHT, Readers, TextReader
from capture.rows import Token, grow
from capture.spelling import Fit, Speller, ends_another, known_unit
from schemas.doubts import Doubt, DoubtKind
from schemas.units import show_unit

__all__ = ["Legend", "legends_near", "reaching", "unit_beside"]

_ROW = 80
"""pixels that a number is high while small words are looked for around it"""
_LEFT, _ABOVE, _RIGHT, _BELOW = 0.2, 0.9, 2.6, 0.9
"""how far around they are looked for, in heights of the number"""
_FEW = 5

_CLEAR = ((-1.0, 3.0), (-2.5, 5.0), (-3.5, 8.0))
"""a cut says a unit where the unit's fit is above the first and above the next unit's by the second, of any pair"""
_HOPELESS = -9.0
_POOR = -6.0
"""the mean fit over the cuts below which a word is no unit, not even to be asked about"""


_FAINT, _PLAIN = 0.35, -0.5
"""words much fainter than the number are noise, if they are not plainly a unit"""
_LIKE_OTHERS = ("A",)
"""An omega is read as a small a, and mA with its m in a shadow is A: never taken unasked."""


@dataclass(frozen=True)
class Legend:
    """A small word near a number: where, and how far from the number's right end in the number's heights.

    ``whole``: it does not begin where the number's digits end, so none of its letters can have been taken for those.
    ``strength``: of its ink against its ground, as share of that of the number.
    """

    quad: Quad
    away: float
    whole: bool = True
    strength: float = 1.0


@dataclass(frozen=True)
class _Sense:
    """What the cuts of one small word make of it: the unit that fits best over all, how well, how many say it."""

    unit: str
    fit: float
    clear: int
    away: float

    @property
    def rank(self) -> float:
        return self.fit - self.away


def unit_beside(
    number: Quad, dark: bool, tokens: list[Token], pixels: Pixels, readers: Readers
) -> tuple[str, list[Doubt], Quad | None]:
    """The UCUM code of the unit that belongs to a number (empty for none), the doubts about it, and where it stands.

    ``number`` is a tight quad; ``dark``: its ink is darker than its ground.
    """
    found: list[tuple[_Sense, Quad]] = []
    for legend in legends_near(number, dark, pixels)[:_FEW]:
        sense = _sense(legend, dark, pixels, readers)
        if sense is not None and sense.fit > _POOR:
            found.append((sense, legend.quad))
    found.sort(key=lambda one: -one[0].rank)
    if not found:
        code = _among(number, tokens)
        return code, [_doubt("read once only" if code else "no unit found")], None
    first, quad = found[0]
    rivals = [sense for sense, _ in found[1:] if sense.unit != first.unit and sense.clear > 1]
    if rivals:
        return first.unit, [_doubt(f"{show_unit(rivals[0].unit)} stands beside it too")], quad
    if first.unit in _LIKE_OTHERS:
        return first.unit, [_doubt("one letter that another unit may be taken for")], quad
    return first.unit, [] if first.clear > 1 else [_doubt("not read alike in all cuts")], quad


def _doubt(detail: str) -> Doubt:
    return Doubt(kind=DoubtKind.UNIT_UNCLEAR, detail=detail)


def _sense(legend: Legend, dark: bool, pixels: Pixels, readers: Readers) -> _Sense | None:
    """Read a small word in a close cut, a wider one, and one of its ink alone; none where it spells no unit at all."""
    cuts = [cut(pixels, grow(legend.quad, along, 0.8 * along), LINE_HEIGHT) for along in (0.2, 0.4)]
    first = _fits(cuts[0], readers)
    faint = legend.strength < _FAINT
    if first[0].fit < (_PLAIN if faint else _HOPELESS) or (faint and len(show_unit(first[0].unit)) == 1):
        return None
    views = [first, _fits(cuts[1], readers), _fits(_inked(legend.quad, dark, pixels), readers)]
    by_unit = {
        unit: fmean(max(next(one.fit for one in view if one.unit == unit), _HOPELESS) for view in views)
        for unit in sorted({view[0].unit for view in views})
    }
    unit = max(by_unit, key=lambda one: by_unit[one])
    whole = legend.whole or not ends_another(unit)
    clear = sum(whole and view[0].unit == unit and _is_clear(view) for view in views)
    return _Sense(unit, by_unit[unit], clear, legend.away)


def _is_clear(fits: list[Fit]) -> bool:
    return any(fits[0].fit > least and fits[0].fit - fits[1].fit > lead for least, lead in _CLEAR)


def _fits(crop: Pixels, readers: Readers) -> list[Fit]:
    return _speller(readers.text).fits(readers.text.shares(crop))


@cache
def _speller(reader: TextReader) -> Speller:
    return Speller(reader.alphabet)


def _inked(word: Quad, dark: bool, pixels: Pixels) -> Pixels:
    """A cut of a small word in which only its ink is left, dark on light, whatever light lies on it."""
    margin = 0.3
    crop = cut(pixels, grow(word, margin, 0.8 * margin), 64)
    height = 64 / (1 + 1.6 * margin)
    ink = evened(grey_of(crop), dark, round(0.45 * height), round(1.2 * height))
    return np.repeat((255 - ink)[:, :, None], 3, axis=2)


def legends_near(number: Quad, dark: bool, pixels: Pixels) -> list[Legend]:
    """Small words around the tight quad of a number, in ink like its own, nearest to its right end first."""
    around = reaching(number, _LEFT, _ABOVE, _RIGHT, _BELOW)
    flat, matrix = rectify(pixels, around, round(_ROW * (1 + _ABOVE + _BELOW)))
    inside = cv2.perspectiveTransform(number[None].astype(np.float32), np.linalg.inv(matrix))[0]
    (x0, y0), (x1, y1) = inside.min(axis=0), inside.max(axis=0)
    soft = cv2.GaussianBlur(grey_of(flat), (0, 0), 0.02 * _ROW)
    ink = evened(np.asarray(soft, np.uint8), dark, round(0.16 * _ROW), round(0.5 * _ROW))
    mask = np.asarray((ink > 80) * 255, np.uint8)
    room = round(0.06 * _ROW)
    top, bottom, left = max(0, int(y0) - room), int(y1) + room, max(0, int(x0) - room)
    end = left + _digits_end(mask[max(0, int(y0)) : int(y1), left : int(x1)], x1 - left) + room // 2
    mask[top:bottom, left:end] = 0
    strength = _strength(grey_of(flat), dark)
    own = strength(x0, y0, x1, y1)
    found = []
    for a, b, c, d in _words_in(mask):
        away = (max(a - end, end - 0.9 * _ROW - c, 0) + max(y0 - d, b - y1, 0)) / _ROW
        corners = np.array([[[a, b], [c, b], [c, d], [a, d]]], np.float32)
        whole = a > end + 1 or b >= bottom or d <= top
        quad = cv2.perspectiveTransform(corners, matrix)[0].astype(np.float32)
        found.append(Legend(quad, float(away), whole, strength(a, b, c, d) / max(own, 1.0)))
    return sorted(found, key=lambda legend: legend.away)


def _strength(grey: NDArray[np.uint8], dark: bool) -> Callable[[float, float, float, float], float]:
    """How far the ink in a box (left, top, right, bottom) of a picture is from its ground, levels of grey."""
    kernel = np.ones((_ROW // 4 | 1, _ROW // 4 | 1), np.uint8)
    way = cv2.MORPH_BLACKHAT if dark else cv2.MORPH_TOPHAT
    hat = cv2.morphologyEx(cv2.GaussianBlur(grey, (3, 3), 0), way, kernel)

    def strength(left: float, top: float, right: float, bottom: float) -> float:
        part = hat[max(0, int(top)) : int(bottom) + 1, max(0, int(left)) : int(right) + 1]
        return float(np.percentile(part, 90)) if part.size else 0.0

    return strength


def _digits_end(band: NDArray[np.uint8], width: float) -> int:
    """Where the last tall stretch of ink in a number's row ends; a unit may stand within a loose place of a number."""
    inked = np.concatenate([[0], (band > 0).any(axis=0).astype(np.int8), [0]])
    ends = np.flatnonzero(np.diff(inked)).reshape(-1, 2)
    tall = [int(b) for a, b in ends if np.ptp(np.flatnonzero((band[:, a:b] > 0).any(axis=1))) > 0.5 * len(band)]
    return max(tall, default=round(width))


def reaching(number: Quad, left: float, above: float, right: float, below: float) -> Quad:
    """A quad that reaches so many of its heights further on each side."""
    a, b, c, d = number
    height = float(np.linalg.norm(d - a) + np.linalg.norm(c - b)) / 2
    run, fall = (b - a + c - d) / 2, (d - a + c - b) / 2
    run = run / max(float(np.linalg.norm(run)), 1e-6) * height
    fall = fall / max(float(np.linalg.norm(fall)), 1e-6) * height
    up, down = fall * above, fall * below
    return np.array(
        [a - run * left - up, b + run * right - up, c + run * right + down, d - run * left + down], np.float32
    )


Box = tuple[int, int, int, int]
"""left, top, right, bottom"""


def _words_in(mask: NDArray[np.uint8]) -> list[Box]:
    """Boxes of what may be small words: strokes joined along the line, not cut by the edge."""
    height, width = mask.shape
    join = cv2.getStructuringElement(cv2.MORPH_RECT, (round(0.12 * _ROW), max(3, round(0.04 * _ROW))))
    count, _, stats, _ = cv2.connectedComponentsWithStats(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, join))
    boxes = [
        (x, y, x + w, y + h)
        for x, y, w, h in stats[1:count, :4].tolist()
        if 0.09 * _ROW < h < 0.62 * _ROW and 0.03 * _ROW < w < 2.6 * _ROW
    ]
    return [
        (a, b, c, d)
        for a, b, c, d in _joined(sorted(boxes))
        if d - b > 0.13 * _ROW and (d - b) * (c - a) > 0.02 * _ROW**2 and min(a, b, width - c, height - d) > 1
    ]


def _joined(boxes: list[Box]) -> list[Box]:
    """Boxes on one line that stand closer than about half their height as one."""
    for at, one in enumerate(boxes):
        for other in boxes[at + 1 :]:
            high, low = one[3] - one[1], other[3] - other[1]
            shared = min(one[3], other[3]) - max(one[1], other[1])
            gap = max(one[0], other[0]) - min(one[2], other[2])
            both = (min(one[0], other[0]), min(one[1], other[1]), max(one[2], other[2]), max(one[3], other[3]))
            level = shared > 0.4 * min(high, low) and both[3] - both[1] < 0.66 * _ROW
            if level and gap < 0.55 * max(high, low):
                return _joined(sorted([both, *(box for box in boxes if box not in (one, other))]))
    return boxes


def _among(number: Quad, tokens: list[Token]) -> str:
    """The unit in the lines of text near the right end of a number, empty for none."""
    height = float(np.linalg.norm(number[3] - number[0]))
    near = []
    for token in tokens:
        code = known_unit(token.line.text.lstrip("-0123456789., "))
        away = _away(token.quad, number)
        if code and away < 1.6 * height and token.height < 0.9 * height:
            near.append((away, code))
    return min(near)[1] if near else ""


def _away(quad: Quad, number: Quad) -> float:
    """How far a line's left end is from the number's right end, or its middle from the number's right half."""
    ends = [(number[1] + number[2]) / 2, number[1], number[2]]
    points = [(quad[0] + quad[3]) / 2, quad.mean(axis=0), (quad[1] + quad[2]) / 2]
    return min(float(np.linalg.norm(point - end)) for point in points for end in ends)
