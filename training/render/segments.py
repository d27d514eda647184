"""Seven-segment digits as polygons of our own.

Unit coordinates: a digit is 1 high and `aspect` wide, x to the right, y down. The segments carry the
usual letters: a top, b upper right, c lower right, d bottom, e lower left, f upper left, g middle
(the lettering of IEC and of every data sheet of such displays; common practice, no single source).
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from schemas.errors import BadInput
from training.render.picture import Quad, as_quad, rect

Polygon = NDArray[np.float64]

# Which segments are lit. The forms of 6, 7 and 9 differ between makers: see `lit`.
GLYPHS = {
    "0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc", "5": "afgcd",
    "6": "afgcde", "7": "abc", "8": "abcdefg", "9": "abcdfg", "-": "g", " ": "",
    "A": "abcefg", "b": "cdefg", "C": "adef", "c": "deg", "d": "bcdeg", "E": "adefg",
    "F": "aefg", "H": "bcefg", "h": "cefg", "i": "c", "J": "bcd", "L": "def", "n": "ceg",
    "O": "abcdef", "o": "cdeg", "P": "abefg", "r": "eg", "S": "afgcd", "t": "defg",
    "U": "bcdef", "u": "cde", "_": "d",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class SegmentShape:
    """How the digits of one display are cut. Lengths in digit heights unless said otherwise."""

    aspect: float = 0.54
    """width of a digit"""
    thickness: float = 0.13
    gap: float = 0.02
    """clear space between two segments"""
    cut: float = 0.5
    """outer corners: 0 square, 1 cut so far that the segments are hexagons"""
    waist: float = 0.5
    """notch where the verticals meet the middle bar, 0 none, 1 pointed"""
    ends: Literal["mitred", "square"] = "mitred"
    slant: float = 6.0
    """degrees from upright, the top to the right"""
    pitch: float = 1.28
    """step from digit to digit, in digit widths"""
    point: Literal["square", "round", "comma"] = "square"
    point_size: float = 1.0
    """in thicknesses"""
    point_at: float = 0.5
    """place of the point in the space between two digits, 0 left, 1 right"""
    point_drop: float = 0.0
    """how far the point hangs below the foot of the digits"""
    point_room: float = 0.0
    """extra width that a lit point takes, in digit widths (0: the point stands in the space)"""
    rounding: float = 0.0
    """rounding of all corners, in thicknesses"""
    stub: float = 0.0
    """how much of its length every segment lacks at its ends, as in displays of short square marks"""
    tail_6: bool = True
    tail_9: bool = True
    hook_7: bool = False
    half_cell: bool = False
    """the first place can only show a 1 (the "half digit" of 3 1/2 digits) and is narrower"""
    short_minus: bool = False
    """the minus is a bar of its own before the digits, not the middle bar of a place"""


@dataclass(frozen=True, slots=True)
class Stroke:
    """One polygon of a row of digits, pixels before the picture's own offset."""

    char: int
    """index of the sign in the text; -1 for what belongs to no sign"""
    lit: bool
    points: Polygon


def lit(char: str, shape: SegmentShape) -> str:
    """The letters of the segments that one sign lights, after the maker's habit."""
    if char not in GLYPHS:
        raise BadInput(f"Seven segments cannot show {char!r}; use digits, - . : and the letters of segments.GLYPHS.")
    letters = GLYPHS[char]
    if char == "6" and not shape.tail_6:
        return letters.replace("a", "")
    if char == "9" and not shape.tail_9:
        return letters.replace("d", "")
    if char == "7" and shape.hook_7:
        return letters + "f"
    return letters


def segment_polygons(shape: SegmentShape) -> dict[str, Polygon]:
    """The seven polygons of a digit in unit coordinates, upright (no slant yet)."""
    whole = _square(shape) if shape.ends == "square" else _mitred(shape)
    return {name: _shortened(points, shape.stub) for name, points in whole.items()}


def _shortened(points: Polygon, share: float) -> Polygon:
    """A segment drawn in along its length."""
    low, high = points.min(axis=0), points.max(axis=0)
    along = np.where(high - low == (high - low).max(), 1 - share, 1.0)
    shortened: Polygon = (points - (low + high) / 2) * along + (low + high) / 2
    return shortened


def _mitred(shape: SegmentShape) -> dict[str, Polygon]:
    w, t, h = shape.aspect, shape.thickness, shape.gap / 2
    k = max(shape.cut * t, h)
    top = [(k, 0.0), ((k + h) / 2, (k - h) / 2), (t + h, t)]
    a = [*top, *((w - x, y) for x, y in reversed(top))]
    notch = 0.5 - h - shape.waist * t / 2
    f = [
        (0.0, k),
        ((k - h) / 2, (k + h) / 2),
        (t, t + h),
        (t, 0.5 - t / 2 - h),
        (t / 2, 0.5 - h),
        (0.0, notch),
    ]
    half = [(t + h, 0.5 + t / 2), (t / 2 + h, 0.5), (t + h, 0.5 - t / 2)]
    g = [*half, *((w - x, y) for x, y in reversed(half))]
    return _mirrored(a, f, g, w)


def _square(shape: SegmentShape) -> dict[str, Polygon]:
    w, t, g = shape.aspect, shape.thickness, shape.gap
    if shape.cut < 0.5:  # the horizontals reach over the verticals
        a = list(rect(0, 0, w, t))
        f = list(rect(0, t + g, t, 0.5 - t * 1.5 - 2 * g))
        bar = list(rect(0, 0.5 - t / 2, w, t))
    else:  # the verticals reach over the horizontals
        a = list(rect(t + g, 0, w - 2 * t - 2 * g, t))
        f = list(rect(0, 0, t, 0.5 - g / 2))
        bar = list(rect(t + g, 0.5 - t / 2, w - 2 * t - 2 * g, t))
    return _mirrored(a, f, bar, w)


def _mirrored(
    a: list[tuple[float, float]],
    f: list[tuple[float, float]],
    g: list[tuple[float, float]],
    width: float,
) -> dict[str, Polygon]:
    """All seven segments from the top, the upper left and the middle one."""
    across = [(width - x, y) for x, y in f]
    return {
        "a": np.array(a),
        "b": np.array(across),
        "c": np.array([(x, 1 - y) for x, y in across]),
        "d": np.array([(x, 1 - y) for x, y in a]),
        "e": np.array([(x, 1 - y) for x, y in f]),
        "f": np.array(f),
        "g": np.array(g),
    }


def _point(shape: SegmentShape, x: float, y: float) -> Polygon:
    """A decimal point with its middle at (x, y)."""
    r = shape.thickness * shape.point_size / 2
    if shape.point == "square":
        return np.array(rect(x - r, y - r, 2 * r, 2 * r))
    turn = np.linspace(0, 2 * math.pi, 20, endpoint=False)
    disc: Polygon = np.column_stack([x + r * np.cos(turn), y + r * np.sin(turn)])
    if shape.point == "comma":
        foot = np.array([[x - 0.6 * r, y + 2.6 * r]])
        return np.vstack([disc[:3], foot, disc[10:]])
    return disc


def lay_out(
    text: str, shape: SegmentShape, height: float, cells: int, ghost_points: bool = True
) -> tuple[list[Stroke], list[Quad | None], float]:
    """A row of digits as polygons.

    text: digits, minus, point, colon and the letters of `GLYPHS`; `cells` places, filled from the
    right (never fewer than the text needs). height in pixels.
    Returns the strokes in pixels (origin at the top left of the first place), for each sign of the
    text the upright rectangle around its ink (None for a blank), and the width of the row.
    """
    marks = _cells(text, cells)
    lean = math.tan(math.radians(shape.slant))
    strokes: list[Stroke] = []
    x = 0.0
    for place, (index, char, mark_index, mark) in enumerate(marks):
        narrow = shape.half_cell and place == 0 and char in " 1-"
        width = 3.2 * shape.thickness if narrow else shape.aspect
        strokes += _cell(char, index, shape, x, narrow)
        space = (shape.pitch - 1) * shape.aspect
        room = shape.point_room * shape.aspect if mark else 0.0
        at = x + width + (space + room) * shape.point_at
        foot = 1 - shape.thickness * shape.point_size / 2 + shape.point_drop
        if mark == ":":
            for y in (0.3, 0.7):
                strokes.append(Stroke(mark_index, True, _point(shape, at, y)))
        elif mark or (ghost_points and place < len(marks) - 1):
            strokes.append(Stroke(mark_index, bool(mark), _point(shape, at, foot)))
        x += width + space + room
    placed = [_lean(stroke, lean, height) for stroke in strokes]
    row = (x - (shape.pitch - 1) * shape.aspect + lean) * height
    return placed, [_ink(placed, i) for i in range(len(text))], row


def _cells(text: str, cells: int) -> list[tuple[int, str, int, str]]:
    """(index, sign, index of the mark after it, mark) for each place, from the left."""
    places: list[tuple[int, str, int, str]] = []
    for index, char in enumerate(text):
        if char in ".:":
            if not places:
                places.append((-1, " ", -1, ""))
            before = places[-1]
            places[-1] = (before[0], before[1], index, char)
        else:
            places.append((index, char, -1, ""))
    blank = (-1, " ", -1, "")
    return [blank] * (cells - len(places)) + places


def _cell(char: str, index: int, shape: SegmentShape, x: float, narrow: bool) -> list[Stroke]:
    """The segments of one place, in unit coordinates, lit and unlit."""
    polygons = segment_polygons(shape)
    if char == "-" and (shape.short_minus or narrow):
        y, width = 0.5 - shape.thickness / 2, (3.0 if narrow else 2.4) * shape.thickness
        right = x + (3.2 * shape.thickness if narrow else shape.aspect)
        left = right - width if narrow else x + (shape.aspect - width) / 2
        return [Stroke(index, True, np.array(rect(left, y, width, shape.thickness)))]
    letters = lit(char, shape)
    if narrow:
        shift = 3.2 * shape.thickness - shape.aspect
        return [Stroke(index, s in letters, polygons[s] + np.array((x + shift, 0))) for s in "bc"]
    return [Stroke(index, s in letters, polygons[s] + np.array((x, 0))) for s in "abcdefg"]


def _lean(stroke: Stroke, lean: float, height: float) -> Stroke:
    points = stroke.points.copy()
    points[:, 0] += lean * (1 - points[:, 1])
    return Stroke(stroke.char, stroke.lit, points * height)


def _ink(strokes: list[Stroke], index: int) -> Quad | None:
    mine = [s.points for s in strokes if s.char == index and s.lit]
    if not mine:
        return None
    points = np.vstack(mine)
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return as_quad(np.array(rect(left, top, right - left, bottom - top)))
