"""Where a minus, a first digit, a point or a last digit would stand: is something in front of it?

With its strokes taken away, the glass around a number shows its ground alone. Where that ground is of another colour,
blown out by light, or without any light, ink would not be seen: a finger, glare or a shade hides what may stand there.
The display's frame does too, but its edge is straight, upright and not close to the digits. Whatever the digits say,
a number beside or under something that hides is not clear.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.locate import Quad, cut, grey_of
from capture.photo import Pixels
from capture.unit import reaching
from schemas.doubts import Doubt, DoubtKind

__all__ = ["hidden_places"]

_ROW = 48
"""pixels that the number is high where this is looked at"""
_LEFT, _ABOVE, _RIGHT, _BELOW = 1.1, 0.1, 0.55, 0.1
_FURTHER = 1.7
"""heights to the right in which more digits are looked for, behind one that is hidden"""
_STROKE = 13
"""pixels, wider than a stroke of a digit of _ROW"""
_BLOB = 9
"""pixels, the least thing that hides"""
_COLOUR = 0.12
"""difference of chromaticity (shares of blue, green and red)"""
_AWAY = 13.0
"""Lab distance from the usual ground that makes another ground"""
_STEEP, _LEANING = 1.6, 0.3
"""rise of that distance a pixel, and down against across, that make an edge of a thing"""
_OUTLINE = 25
"""pixels of such edges that make a thing"""
_OVER = 0.03
"""heights squared of a number that may be covered before it counts; half of that at its foot, where the point stands"""


def hidden_places(number: Quad, dark: bool, value: str, pixels: Pixels) -> list[Doubt]:
    """Doubts for what stands in front of a number (a tight quad, ``dark`` ink or light) or of the places beside it.

    Before a minus nothing more can stand.
    """
    patch = cut(pixels, reaching(number, _LEFT, _ABOVE, _RIGHT, _BELOW), round(_ROW * (1 + _ABOVE + _BELOW)))
    x0, x1 = round(_LEFT * _ROW), patch.shape[1] - round(_RIGHT * _ROW)
    y0, y1 = round(_ABOVE * _ROW), patch.shape[0] - round(_BELOW * _ROW)
    if x1 - x0 < 8:
        return []
    ground = _ground(patch, dark)
    row = ground[y0:y1, x0:x1].reshape(-1, 3)
    if float(np.median(row, axis=0).min()) >= _BLOWN and dark:
        return [_doubt("the ground is blown out: glare would not be seen")]
    covered = _covered(patch, ground, dark, (slice(y0, y1), slice(x0, x1)))
    doubts = []
    # Strokes are as strong as the strongest in sight, which another thing further on may be: both are looked at.
    wide = cut(pixels, reaching(number, _LEFT, _ABOVE, _FURTHER, _BELOW), patch.shape[0])
    ends = ((patch, x1), (wide, wide.shape[1] - round(_FURTHER * _ROW)))
    if any(_ink_beside(part, dark, (slice(y0, y1), slice(x0, end))) for part, end in ends):
        doubts.append(Doubt(kind=DoubtKind.CUT_OFF, detail="something as tall as a digit stands beside it"))
    foot = y0 + round(0.6 * _ROW)
    digits, point = (float(part.sum()) / _ROW**2 for part in (covered[y0:foot, x0:x1], covered[foot:, x0:x1]))
    if digits > _OVER or point > _OVER / 2 or _blot(patch, dark, (slice(foot, None), slice(x0, x1))):
        doubts.append(_doubt("something lies over the digits"))
    strange = _stranger(ground[y0:y1, :x0], np.median(row, axis=0))
    before = covered[:, : x0 - 2]
    if not value.startswith("-") and (strange or _hides(before) or _bends(before, number, dark, pixels)):
        doubts.append(_doubt("something stands in front of the place before it"))
    if _hides(covered[:, : x1 + 2 : -1]):
        doubts.append(_doubt("something stands in front of the place behind it"))
    return doubts


_BLOWN = 246


def _doubt(detail: str) -> Doubt:
    return Doubt(kind=DoubtKind.HIDDEN, detail=detail)


def _ground(patch: Pixels, dark: bool) -> Pixels:
    """The patch without strokes of its ink."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_STROKE, _STROKE))
    way = cv2.MORPH_CLOSE if dark else cv2.MORPH_OPEN
    bare = cv2.morphologyEx(cv2.GaussianBlur(patch, (0, 0), 1.0), way, kernel)
    return np.asarray(cv2.medianBlur(bare, 7), np.uint8)


def _light(picture: Pixels) -> NDArray[np.float32]:
    """Luminance in linear light, 0 to 1 (weights of Rec. 709; the curve of sRGB as a power)."""
    weights = np.array([0.0722, 0.7152, 0.2126], np.float32)
    return np.asarray((picture.astype(np.float32) / 255) ** 2.2 @ weights, np.float32)


def _covered(patch: Pixels, ground: Pixels, dark: bool, row: tuple[slice, slice]) -> NDArray[np.bool_]:
    """Where ink would not be seen: too much light, none, or another thing's colour."""
    light, ink = _light(ground), _light(patch)[row]
    usual = float(np.median(light[row]))
    common = np.median(ground[row].reshape(-1, 3), axis=0) + 6
    least = ground.min(axis=2)
    if dark:
        full = float(np.percentile(ink, 8))
        bright = (least >= 240) & (common.min() < 231)
        none = light < min(0.35 * usual, full + 0.15 * (usual - full))
    else:
        full = float(np.percentile(ink, 92))
        veiled = light > max(usual + 0.25 * (full - usual), 1.8 * usual)
        bright = (veiled & ~_soft(light, veiled, full)) | ((least >= 249) & (common.min() < 250))
        none = light < 0.3 * float(np.percentile(light[row], 25))
    shares = (ground.astype(np.float32) + 6) / (ground.astype(np.float32) + 6).sum(axis=2, keepdims=True)
    strange = np.linalg.norm(shares - common / common.sum(), axis=2) > _COLOUR
    mask = (bright | none | strange).astype(np.uint8)
    return cv2.morphologyEx(mask, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_BLOB, _BLOB))) > 0


def _soft(light: NDArray[np.float32], veiled: NDArray[np.bool_], full: float) -> NDArray[np.bool_]:
    """Which of the parts that are too light are a veil that ink shines through: weak, and without an edge."""
    count, marks = cv2.connectedComponents(veiled.astype(np.uint8))
    steep = np.hypot(cv2.Scharr(light, cv2.CV_32F, 1, 0), cv2.Scharr(light, cv2.CV_32F, 0, 1)) / 32
    soft = np.zeros(veiled.shape, bool)
    for mark in range(1, count):
        part = marks == mark
        rim = cv2.dilate(part.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
        rise = float(np.percentile(steep[rim], 90)) / max(float(light[part].max()) - float(np.median(light)), 1e-6)
        soft |= part & (float(light[part].max()) < _VEIL) & (rise < _EDGE)
    return soft


_VEIL = 0.55
"""linear light below which a reflection lets light ink through"""
_EDGE = 0.13
"""rise a pixel, as share of the whole, that an edge has"""


def _stranger(ground: Pixels, common: NDArray[np.floating[Any]]) -> bool:
    """Whether the ground just before a number (its row, far end first) is not the number's own, with an edge between.

    A frame's edges stand upright, and glow fades out: neither is meant.
    """
    lab = cv2.cvtColor(ground, cv2.COLOR_BGR2LAB).astype(np.float32)
    own = cv2.cvtColor(np.asarray(common, np.uint8)[None, None], cv2.COLOR_BGR2LAB).astype(np.float32)
    away = np.linalg.norm((lab - own) * np.array([100 / 255, 1, 1], np.float32), axis=2)
    near = away[round(0.35 * len(away)) : round(0.65 * len(away)), -round(0.55 * _ROW) : -round(0.1 * _ROW)]
    if float((near > _AWAY).mean()) < 0.5:
        return False
    across, down = (cv2.Scharr(away, cv2.CV_32F, *way) / 32 for way in ((1, 0), (0, 1)))
    edges = (np.hypot(across, down) > _STEEP) & (np.abs(down) > _LEANING * np.abs(across))
    return int(edges[:, : -round(0.1 * _ROW)].sum()) > _OUTLINE


def _hides(zone: NDArray[np.bool_]) -> bool:
    """Whether a zone beside a number (its far end first) is covered by a thing that is no frame."""
    # A minus and a first digit both cross the middle: what leaves it free cannot hide them.
    middle = zone[round(0.35 * len(zone)) : round(0.65 * len(zone))]
    if float((middle.mean(axis=0) > 0.5).sum()) < 0.12 * _ROW:
        return False
    # Per line, how far from the number the strange thing begins: a frame's edge is straight, and not close.
    near = zone[:, ::-1]
    clear = np.where(near.any(axis=1), near.argmax(axis=1), near.shape[1]).astype(np.float64)
    lines = np.arange(len(clear))
    met = clear < near.shape[1]
    if float(clear.min()) > _ROOM * _ROW:
        return False  # a digit or a minus would be seen in what is clear
    if met.mean() < _MOST:
        return True
    slope, start = np.polyfit(lines[met], clear[met], 1)
    edge = np.minimum(start + slope * lines, near.shape[1])
    uneven = float(np.percentile(np.abs(clear - edge), 80)) / _ROW
    return uneven > _STRAIGHT or abs(float(slope)) > _SLOPE or float(edge.min()) < _CLOSE * _ROW


def _bends(zone: NDArray[np.bool_], number: Quad, dark: bool, pixels: Pixels) -> bool:
    """Whether what covers all lines of a zone before a number, and could be a frame, bends away above or below it.

    A fingertip's side is as straight and upright as a frame's, but further on it leaves its line; no frame does.
    """
    if not zone.any(axis=1).all():
        return False
    tall = cut(pixels, reaching(number, _LEFT, _TALL, _RIGHT, _TALL), round(_ROW * (1 + 2 * _TALL)))
    y0, x0, x1 = round(_TALL * _ROW), round(_LEFT * _ROW), tall.shape[1] - round(_RIGHT * _ROW)
    covered = _covered(tall, _ground(tall, dark), dark, (slice(y0, y0 + _ROW), slice(x0, x1)))
    near = covered[:, : x0 - 2][:, ::-1]
    clear = np.where(near.any(axis=1), near.argmax(axis=1), near.shape[1]).astype(np.float64)
    lines = np.arange(len(clear))
    own = slice(y0, y0 + _ROW)
    if float(clear[own].max()) >= near.shape[1]:
        return False
    away = clear - np.polyval(np.polyfit(lines[own], clear[own], 1), lines)
    return any(_leaves(way) for way in (away[y0 + _ROW :], away[y0 - 1 :: -1]))


def _leaves(away: NDArray[np.float64]) -> bool:
    """Whether an edge bends off its straight line: from line to line, away from the number. A jump is another edge."""
    steps = np.abs(np.diff(away, prepend=0.0))
    end = int(np.argmax(steps > _JUMP)) if (steps > _JUMP).any() else len(away)
    return float(away[:end].max(initial=0.0)) > _BENT * _ROW


_TALL = 1.0
"""heights above and below a number to which a frame beside it is followed"""
_JUMP, _BENT = 4.0, 0.25
"""pixels from line to line that one edge moves, and heights by which it then leaves its line"""
_MOST = 0.7
"""the share of the lines of a place that a frame crosses"""
_ROOM = 0.8
"""heights of a number in which its next place stands"""
_STRAIGHT = 0.035
"""heights of a number by which a frame's edge may leave a straight line"""
_SLOPE = 0.45
"""along against across, of a frame's edge seen at a slant"""
_CLOSE = 0.03
"""heights of a number that a frame is away from it"""


def _blot(patch: Pixels, dark: bool, foot: tuple[slice, slice]) -> bool:
    """Whether something much thicker than the strokes of a number, in colour like them, lies at its foot.

    A point is at most half as thick again as a stroke; what is thicker may hide one, or be taken for one.
    """
    kernel = np.ones((2 * _STROKE - 1, 2 * _STROKE - 1), np.uint8)
    grey = grey_of(patch)
    hat = cv2.morphologyEx(grey, cv2.MORPH_BLACKHAT if dark else cv2.MORPH_TOPHAT, kernel)[:, foot[1]]
    full = float(np.percentile(hat, 95))
    # Under a lamp's edge the ground itself is darker or lighter than beside it, but not than it usually is.
    from_ground = (grey[:, foot[1]] - float(np.median(grey[:, foot[1]]))) * (-1 if dark else 1)
    ink = np.asarray((hat > _INK * full) & (from_ground > 0.5 * full), np.uint8)
    depth = cv2.distanceTransform(ink, cv2.DIST_L2, 5)
    stroke = float(depth[: foot[0].start].max(initial=0.0))
    return float(depth[foot[0]].max(initial=0.0)) > max(_THICK * stroke, _LEAST)


_INK = 0.65
"""of the strength of a number's strokes, that makes ink"""
_THICK, _LEAST = 2.0, 4.0
"""times as thick as the thickest stroke, and pixels from the middle of a thing to its edge: none of the number's"""


def _ink_beside(patch: Pixels, dark: bool, row: tuple[slice, slice]) -> bool:
    """Whether strokes as tall as most of a digit, and as strong, stand beside a number: more digits, cut or covered."""
    kernel = np.ones((_STROKE, _STROKE), np.uint8)
    way = cv2.MORPH_BLACKHAT if dark else cv2.MORPH_TOPHAT
    hat = cv2.morphologyEx(cv2.GaussianBlur(grey_of(patch), (3, 3), 0), way, kernel)
    full = float(np.percentile(hat[row], 97))
    columns = row[1]
    mask = np.asarray((hat > 0.5 * full) * 255, np.uint8)
    mask[:, columns.start - 2 : columns.stop + 2] = 0
    tall = round(0.45 * _ROW)
    room = cv2.copyMakeBorder(mask, tall, tall, tall, tall, cv2.BORDER_CONSTANT, value=0)
    joined = cv2.morphologyEx(room, cv2.MORPH_CLOSE, np.ones((tall, 5), np.uint8))[tall:-tall, tall:-tall]
    count, _, stats, _ = cv2.connectedComponentsWithStats(np.ascontiguousarray(joined))
    for left, top, wide, high, area in stats[1:count].tolist():
        within = top > 0 and top + high < len(patch)
        near = left + wide > columns.start - 0.75 * _ROW
        if within and near and high > 0.6 * _ROW and wide < 0.9 * _ROW and area > 0.05 * _ROW**2:
            return True
    return False
