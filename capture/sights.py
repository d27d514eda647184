"""Ways of looking for rows of text in a photo, and the one of them in which most rows make sense.

First a glance at a small picture, which tells a display with one large number from rows of text, and where the rows
are. Then that part or the whole of the picture, large and small; and each shape that may be a display, straightened,
its light evened out. Print that is pale, in shadow or beside glare is found and read only there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.locate import Quad, cut, grey_of, rectify, windows
from capture.photo import Pixels
from capture.readers import DETECT_SIDE, LINE_HEIGHT, Readers
from capture.rows import Row, Token, rows_of
from capture.words import is_moment, known_label

__all__ = ["Glance", "Sight", "best_sight", "glance", "read_tokens", "straightened", "tokens_of"]

_SMALL_SIDE = 512
_ROWS = 4
"""lines of like height that may be rows of a table"""
_LIKE = 0.6
"""of the height of another, so high a line is as high as that"""
_ROWS_SIDE = 720
"""pixels of the long side of a part with rows in which text is looked for, if the photo has so many there"""
_STRAIGHT_SIDE = 560
_WINDOWS = 2
_SOFT = 1.2
_ENOUGH = 0.75
"""share of the rows that must make sense before no other way is tried"""


@dataclass(frozen=True)
class Sight:
    """A picture of a scene with the text found in it; ``back`` leads from its pixels to those of the photo."""

    photo: Pixels
    pixels: Pixels
    tokens: list[Token]
    rows: list[Row]
    back: NDArray[np.float64] | None = None

    @property
    def sense(self) -> float:
        """How many rows hold one value beside a label; those whose label is a known word count more."""
        labelled = [row for row in self.rows if len(row.values) == 1 and row.label]
        return sum(1.0 if known_label(row.label) else 0.4 for row in labelled)

    @property
    def share(self) -> float:
        """The share of the rows that are good, a value beside a known label, among those with either."""
        wanted = [row for row in self.rows if (row.values or _wants_value(row)) and not is_moment(row.text)]
        return self.sense / len(wanted) if wanted else 0.0

    def in_photo(self, corners: Quad) -> Quad:
        """Corners in the photo's pixels."""
        if self.back is None:
            return corners
        points = cv2.perspectiveTransform(np.asarray([corners], np.float32), self.back)
        return np.asarray(points[0], np.float32)


def _wants_value(row: Row) -> bool:
    label = known_label(row.label)
    return label is not None and label.units is not None


@dataclass(frozen=True)
class Glance:
    """Where lines of text stand in a picture; nothing is read yet."""

    quads: list[Quad]

    @property
    def shows_rows(self) -> bool:
        """Whether so many lines are of one height that they may be the rows of a table."""
        heights = sorted((_height(quad) for quad in self.quads), reverse=True)
        return any(other >= _LIKE * high for high, other in zip(heights, heights[_ROWS - 1 :], strict=False))

    def scaled(self, by: float) -> Glance:
        """The same in a picture that is so many times as large."""
        return Glance([quad * np.float32(by) for quad in self.quads])

    def part(self, shape: tuple[int, ...]) -> tuple[slice, slice]:
        """Where the lines are in a picture of such a shape: from a line's height above to one below, and beside them.

        All of it where the lines are no rows: then there may be more that the glance missed.
        """
        if not self.shows_rows:
            return slice(0, shape[0]), slice(0, shape[1])
        room = float(np.median([_height(quad) for quad in self.quads]))
        corners = np.concatenate(self.quads)
        (left, top), (right, bottom) = np.maximum(corners.min(axis=0) - room, 0), corners.max(axis=0) + room
        return slice(int(top), int(bottom) + 1), slice(int(left), int(right) + 1)

    def holds(self, number: Quad) -> bool:
        """Whether a line as high as a number is where the number stands."""
        return any(_meet(quad, number) and _height(quad) > _LIKE * _height(number) for quad in self.quads)

    def stands_alone(self, number: Quad) -> bool:
        """Whether all lines of text beside a number are much lower than it, and none that it is part of much higher."""
        high = _height(number)
        return all(_height(quad) < (high / _LIKE if _meet(quad, number) else _LIKE * high) for quad in self.quads)


def glance(pixels: Pixels, readers: Readers, side: int = _SMALL_SIDE) -> Glance:
    """Find lines of text without reading them, in a small picture if nothing else is said: large text is not missed."""
    return Glance(readers.text.find(pixels, side))


def _height(quad: Quad) -> float:
    a, b, c, d = quad
    return float(np.linalg.norm(d - a) + np.linalg.norm(c - b)) / 2


def _meet(a: Quad, b: Quad) -> bool:
    """Whether a good part of the smaller of two quads lies on the other."""
    shared, _ = cv2.intersectConvexConvex(a, b)
    return bool(shared > 0.3 * min(cv2.contourArea(a), cv2.contourArea(b)))


def best_sight(pixels: Pixels, first: Glance, readers: Readers) -> tuple[Sight, Sight]:
    """The plain look at a picture, and the look in which most rows make sense, which may be the same.

    ``first`` is the glance at it. Lines that another look at the whole picture found where the best one found nothing
    are added.
    """
    plain = _seen(pixels, _closer(pixels, first, readers), readers)
    whole = [plain]
    best = plain
    if plain.share < _ENOUGH or plain.sense < 2:
        whole.append(_seen(pixels, first.quads, readers))
        best = max(whole, key=lambda sight: sight.sense)
    if best.share < _ENOUGH or best.sense < 2:
        for flat, back in islice(straightened(pixels), _WINDOWS):
            found = readers.text.find(flat, _STRAIGHT_SIDE)
            sight = replace(_seen(flat, found, readers), photo=pixels, back=back)
            best = max(best, sight, key=lambda one: one.sense)
            if sight.share >= _ENOUGH and sight.sense >= 2:
                break
    return plain, _completed(best, whole) if best.back is None else best


def _closer(pixels: Pixels, first: Glance, readers: Readers) -> list[Quad]:
    """The lines of text in the part of a picture where a glance saw rows, or in all of it.

    Large lines are found best in a small picture: those of the glance with no other on them are kept.
    """
    down, across = first.part(pixels.shape)
    part = pixels[down, across]
    side = max(DETECT_SIDE * max(part.shape[:2]) / max(pixels.shape[:2]), _ROWS_SIDE)
    start = np.array([across.start, down.start], np.float32)
    found = [quad + start for quad in readers.text.find(part, round(side))]
    return found + [quad for quad in first.quads if not any(_share_ground(quad, other) for other in found)]


def _seen(pixels: Pixels, quads: list[Quad], readers: Readers) -> Sight:
    tokens = read_tokens(pixels, quads, readers)
    return Sight(pixels, pixels, tokens, rows_of(tokens))


def _completed(best: Sight, whole: list[Sight]) -> Sight:
    tokens = list(best.tokens)
    for other in whole:
        tokens += [token for token in other.tokens if not any(_share_ground(token.quad, mine.quad) for mine in tokens)]
    return replace(best, tokens=tokens, rows=rows_of(tokens))


def _share_ground(a: Quad, b: Quad) -> bool:
    shared, _ = cv2.intersectConvexConvex(a, b)
    return bool(shared > 0.1 * min(cv2.contourArea(a), cv2.contourArea(b)))


def straightened(pixels: Pixels) -> Iterator[tuple[Pixels, NDArray[np.float64]]]:
    """Each shape that may be a display, straightened and evened out, and the way back; the likeliest shape first."""
    for quad in windows(pixels):
        a, b, c, d = quad
        wide = max(float(np.linalg.norm(b - a)), float(np.linalg.norm(c - d)))
        high = max(float(np.linalg.norm(d - a)), float(np.linalg.norm(c - b)))
        flat, back = rectify(pixels, quad, max(round(_STRAIGHT_SIDE * high / max(wide, high)), 32))
        yield _even(flat), back


def _even(flat: Pixels) -> Pixels:
    """A display in even light: each part's own mean and spread taken out (local normalisation), a little softened."""
    grey = cv2.GaussianBlur(grey_of(flat).astype(np.float32), (0, 0), _SOFT)
    reach = max(flat.shape[:2]) // 10 | 1
    ground = cv2.blur(cv2.blur(grey, (reach, reach)), (reach, reach))
    above = grey - ground
    spread = cv2.blur(np.sqrt(np.maximum(cv2.blur(above * above, (reach, reach)), 0.0)), (reach, reach))
    spread = np.maximum(spread, max(0.5 * float(np.percentile(spread, 60)), 1.0))
    even = np.clip(150 + 45 * above / spread, 0, 255).astype(np.uint8)
    return np.asarray(cv2.cvtColor(even, cv2.COLOR_GRAY2BGR), np.uint8)


def tokens_of(pixels: Pixels, readers: Readers) -> list[Token]:
    """Every line of text in the picture with what it says; what was read as nothing is left out."""
    return read_tokens(pixels, _closer(pixels, glance(pixels, readers), readers), readers)


def read_tokens(pixels: Pixels, quads: list[Quad], readers: Readers) -> list[Token]:
    """What stands in quads of the picture; what was read as nothing is left out."""
    tokens = [Token(quad, readers.text.read(cut(pixels, quad, LINE_HEIGHT))) for quad in quads]
    return [token for token in tokens if token.line.text.strip() and token.line.score > 0.3]
