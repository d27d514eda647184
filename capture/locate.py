"""Where a display is in a picture, and where its tallest row of characters is in the display.

Pure functions from picture to coordinates; each result can be drawn. Quads are float arrays of four corners (x, y),
clockwise from the upper left. Nothing here reads.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.photo import Pixels

__all__ = ["Field", "Quad", "RowPlace", "back", "cut", "evened", "grey_of", "rectify", "tall_rows", "whole", "windows"]

Quad = NDArray[np.float32]
Field = NDArray[np.uint8]
"""Height x width, one channel."""

_SEARCH_SIDE = 640
_KEEP = 5
_SOFTENED = 1.4
"""times smaller, beyond which a picture is softened before"""


@dataclass(frozen=True)
class RowPlace:
    """A row of characters in a straightened display: pixels of that display, upright.

    ``dark``: dark ink on light ground.
    """

    left: float
    top: float
    right: float
    bottom: float
    dark: bool = True

    @property
    def height(self) -> float:
        return self.bottom - self.top

    def widened(self, across: float, along: float) -> RowPlace:
        """The place with margins, in its own heights: ``across`` above and below, ``along`` left and right."""
        h = self.height
        return replace(
            self,
            left=self.left - along * h,
            top=self.top - across * h,
            right=self.right + along * h,
            bottom=self.bottom + across * h,
        )


def grey_of(pixels: Pixels) -> Field:
    """One channel that shows the ink best: the one with most contrast between its darkest and lightest parts.

    A red display is black on a black ground in green light; an average would lose it.
    """
    grey = cast(Field, cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY))
    channels = [grey, *(np.ascontiguousarray(pixels[:, :, k]) for k in range(3))]
    spreads = [float(np.subtract(*np.percentile(channel[::4, ::4], (97, 3)))) for channel in channels]
    best = int(np.argmax(spreads))
    return channels[best] if spreads[best] > 1.25 * spreads[0] else grey


def whole(pixels: Pixels) -> Quad:
    """The whole picture as a quad."""
    height, width = pixels.shape[:2]
    return np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)


def windows(pixels: Pixels) -> list[Quad]:
    """Up to five four-sided shapes that may be a display, the likeliest first.

    Several thresholds on several channels each give outlines; a shape that many of them give is likelier. Bezels and
    whole instruments are among them: reading decides.
    """
    shrink = min(1.0, _SEARCH_SIDE / max(pixels.shape[:2]))
    small = cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    area = float(small.shape[0] * small.shape[1])
    found: list[tuple[Quad, float]] = []
    for mask in _masks(cast(Pixels, small)):
        outlines, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
        for outline in outlines:
            if cv2.contourArea(outline) < 0.01 * area:
                continue
            quad = _as_quad(cast(NDArray[np.int32], outline))
            if quad is not None and 0.01 * area < cv2.contourArea(quad) < 0.9 * area:
                found.append((quad, cv2.contourArea(quad)))
    groups = _gather(found)
    groups.sort(key=lambda group: -_rank(group, area))
    return [np.median(np.stack(group), axis=0).astype(np.float32) / np.float32(shrink) for group in groups[:_KEEP]]


def _masks(small: Pixels) -> list[Field]:
    lab = cv2.cvtColor(small, cv2.COLOR_BGR2LAB)
    saturation = cv2.cvtColor(small, cv2.COLOR_BGR2HSV)[:, :, 1]
    masks: list[Field] = []
    for channel in (lab[:, :, 0], lab[:, :, 1], lab[:, :, 2], saturation):
        smooth = cv2.GaussianBlur(channel, (5, 5), 0)
        otsu, mask = cv2.threshold(smooth, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
        masks.append(cast(Field, mask))
        for level in (0.75 * otsu, otsu + 0.25 * (255 - otsu)):
            masks.append(cast(Field, cv2.threshold(smooth, level, 255, cv2.THRESH_BINARY)[1]))
        edges = cv2.Canny(smooth, 20, 60)
        masks.append(cast(Field, cv2.dilate(edges, np.ones((3, 3), np.uint8))))
    for size in (31, 101):
        light = cv2.GaussianBlur(lab[:, :, 0], (3, 3), 0)
        masks.append(
            cast(Field, cv2.adaptiveThreshold(light, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, size, 3))
        )
    return masks


def _as_quad(outline: NDArray[np.int32]) -> Quad | None:
    hull = cv2.convexHull(outline)
    size = cv2.contourArea(hull)
    corners = cv2.approxPolyDP(hull, 0.03 * cv2.arcLength(hull, True), True)
    if len(corners) == 4 and cv2.contourArea(corners) > 0.88 * size:
        points = corners.reshape(4, 2).astype(np.float32)
    else:
        points = cv2.boxPoints(cv2.minAreaRect(hull)).astype(np.float32)
        if size < 0.9 * cv2.contourArea(points):
            return None
    quad = _ordered(points)
    width, height = _sides(quad)
    return quad if 0.12 < height / max(width, 1.0) < 4.0 else None


def _ordered(points: NDArray[np.float32]) -> Quad:
    """Corners clockwise from the upper left."""
    middle = points.mean(axis=0)
    turn = np.arctan2(points[:, 1] - middle[1], points[:, 0] - middle[0])
    points = points[np.argsort(turn)]
    return np.roll(points, -int(np.argmin(points.sum(axis=1))), axis=0).astype(np.float32)


def _sides(quad: Quad) -> tuple[float, float]:
    """Mean width and height of a quad, pixels."""
    a, b, c, d = quad
    width = (np.linalg.norm(b - a) + np.linalg.norm(c - d)) / 2
    height = (np.linalg.norm(d - a) + np.linalg.norm(c - b)) / 2
    return float(width), float(height)


def _gather(found: list[tuple[Quad, float]]) -> list[list[Quad]]:
    """Put shapes that lie on each other into one group (corners within 6 % of the side)."""
    groups: list[list[Quad]] = []
    for quad, size in found:
        reach = 0.06 * size**0.5
        for group in groups:
            if float(np.abs(group[0] - quad).max()) < reach:
                group.append(quad)
                break
        else:
            groups.append([quad])
    return groups


def _rank(group: list[Quad], area: float) -> float:
    share = cv2.contourArea(group[0]) / area
    return float(len(group) ** 0.5 * min(share, 0.3) ** 0.4)


def rectify(pixels: Pixels, quad: Quad, height: int = 240) -> tuple[Pixels, NDArray[np.float64]]:
    """Straighten what is in a quad to the given height, keeping its shape; also the matrix back to the picture."""
    width_in, height_in = _sides(quad)
    width = int(np.clip(round(height * width_in / max(height_in, 1.0)), 16, 16 * height))
    goal = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    # Only the part of the picture around the quad is touched: a photo may hold 12 million pixels.
    low = np.clip(np.floor(quad.min(axis=0)) - 4, 0, None).astype(int)
    high = np.ceil(quad.max(axis=0)).astype(int) + 5
    part = pixels[low[1] : max(high[1], low[1] + 2), low[0] : max(high[0], low[0] + 2)]
    if part.size == 0:
        low, part = np.zeros(2, int), pixels
    corners = (quad - low).astype(np.float32)
    matrix = cv2.getPerspectiveTransform(corners, goal)
    shrink = height_in / height
    around = part
    if shrink >= 2 * _SOFTENED:  # a large photo: whole blocks of pixels are put together first, which is soon done
        block = int(shrink / _SOFTENED)
        size = (max(part.shape[1] // block, 1), max(part.shape[0] // block, 1))
        scale = np.array(size, np.float32) / np.array(part.shape[1::-1], np.float32)
        around = cast(Pixels, cv2.resize(part, size, interpolation=cv2.INTER_AREA))
        corners, shrink = (corners + np.float32(0.5)) * scale - np.float32(0.5), shrink / block
    if shrink > _SOFTENED:
        around = cast(Pixels, cv2.GaussianBlur(around, (0, 0), 0.4 * shrink))
    onto = cv2.getPerspectiveTransform(corners, goal)
    flat = cv2.warpPerspective(around, onto, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    shift = np.array([[1, 0, low[0]], [0, 1, low[1]], [0, 0, 1]], np.float64)
    return cast(Pixels, flat), shift @ np.linalg.inv(matrix)


def back(place: RowPlace, matrix: NDArray[np.float64]) -> Quad:
    """A place in a straightened display as a quad of the picture; ``matrix`` as ``rectify`` gave it."""
    corners = [
        [place.left, place.top],
        [place.right, place.top],
        [place.right, place.bottom],
        [place.left, place.bottom],
    ]
    points = np.array([corners], np.float32)
    return cast(Quad, cv2.perspectiveTransform(points, matrix)[0].astype(np.float32))


def cut(pixels: Pixels, quad: Quad, height: int) -> Pixels:
    """The part of a picture in a quad, upright, ``height`` pixels high, from the full picture."""
    return rectify(pixels, quad, height)[0]


def tall_rows(flat: Pixels, limit: int = 4) -> list[RowPlace]:
    """The rows of tall characters in a straightened display, the best first.

    Dark ink and light ink are both tried, as they are and with the light evened out; strokes are joined across the gaps
    between segments; a row is a run of shapes of one height on one line, with the small shapes (point, minus) between
    and just before them.
    """
    grey = grey_of(flat)
    rows: list[tuple[float, RowPlace]] = []
    for dark in (True, False):
        for mask in (*_ink(grey, dark), *_even_ink(grey, dark)):
            rows += _rows_of(mask, dark)
    rows.sort(key=lambda row: -row[0])
    kept: list[RowPlace] = []
    for _, row in rows:
        if all(_alike(row, other) < 0.8 for other in kept):
            kept.append(row)
        if len(kept) == limit:
            break
    return kept


def evened(grey: Field, dark: bool, stroke: int, reach: int) -> Field:
    """Ink alone, equally strong under glare, lamp and shadow: 0 ground, 255 ink.

    What is narrower than ``stroke`` pixels and darker (or lighter) than the ground beside it is ink; it is measured
    against the strongest ink within ``reach`` pixels, but never raised more than fourfold.
    """
    soft = cv2.GaussianBlur(grey, (3, 3), 0)
    kernel = cv2.getStructuringElement(cv2.MORPH_RECT, (stroke | 1, stroke | 1))
    hat = cv2.morphologyEx(soft, cv2.MORPH_BLACKHAT if dark else cv2.MORPH_TOPHAT, kernel).astype(np.float32)
    around = cv2.getStructuringElement(cv2.MORPH_RECT, (reach | 1, reach | 1))
    strong = cv2.blur(cv2.dilate(cv2.blur(hat, (3, 3)), around), (reach | 1, reach | 1))
    strong = np.maximum(strong, max(0.25 * float(np.percentile(hat, 99)), 4.0))
    return cast(Field, np.clip(255 * hat / strong, 0, 255).astype(np.uint8))


def _even_ink(grey: Field, dark: bool) -> list[Field]:
    height = grey.shape[0]
    even = evened(grey, dark, height // 5, height // 2)
    masks = []
    for level, reach in ((110, 28), (80, 20)):
        join = cv2.getStructuringElement(cv2.MORPH_RECT, (max(3, height // 60), max(3, height // reach)))
        mask = ((even > level) * 255).astype(np.uint8)
        masks.append(cast(Field, cv2.morphologyEx(mask, cv2.MORPH_CLOSE, join)))
    return masks


def _ink(grey: Field, dark: bool) -> list[Field]:
    """Where there is ink, at a strong and at a weak threshold, joined a little and more."""
    height = grey.shape[0]
    size = max(3, height // 60) | 1
    smooth = cv2.GaussianBlur(grey, (size, size), 0)
    ground = cv2.blur(cv2.medianBlur(smooth, 5), (height // 2 * 2 + 1, height // 2 * 2 + 1))
    above = cv2.subtract(ground, smooth) if dark else cv2.subtract(smooth, ground)
    level, _ = cv2.threshold(above, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    masks = []
    for share, reach in ((1.0, 28), (0.6, 28), (0.8, 14)):
        join = cv2.getStructuringElement(cv2.MORPH_RECT, (max(3, height // 60), max(3, height // reach)))
        mask = ((above > max(4.0, share * level)) * 255).astype(np.uint8)
        masks.append(cast(Field, cv2.morphologyEx(mask, cv2.MORPH_CLOSE, join)))
    return masks


def _rows_of(mask: Field, dark: bool) -> list[tuple[float, RowPlace]]:
    height, width = mask.shape
    count, marks, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    shapes = [tuple(int(v) for v in stats[i, :5]) for i in range(1, count)]
    inner = [s for s in shapes if s[0] > 1 and s[1] > 1 and s[0] + s[2] < width - 1 and s[1] + s[3] < height - 1]
    tall = [
        s for s in inner if 0.15 * height < s[3] < 0.92 * height and s[2] < 1.6 * s[3] and s[4] > 0.08 * s[2] * s[3]
    ]
    tall.sort(key=lambda s: (-s[3], s[0]))
    rows: list[tuple[float, RowPlace]] = []
    left = list(tall)
    while left and len(rows) < 3:
        seed = left[0]
        middle = seed[1] + seed[3] / 2
        line = [s for s in left if s[3] > 0.7 * seed[3] and abs(s[1] + s[3] / 2 - middle) < 0.3 * seed[3]]
        left = [s for s in left if s not in line]
        line = _run(line, seed)
        rows.append(_row(line, np.asarray(marks, np.int32), np.asarray(stats, np.int32), dark))
    return rows


def _run(line: list[tuple[int, ...]], seed: tuple[int, ...]) -> list[tuple[int, ...]]:
    """The shapes that stand with the seed without a gap of more than one and a half heights."""
    line = sorted(line)
    at = line.index(seed)
    first = last = at
    while first > 0 and line[first][0] - (line[first - 1][0] + line[first - 1][2]) < 1.5 * seed[3]:
        first -= 1
    while last < len(line) - 1 and line[last + 1][0] - (line[last][0] + line[last][2]) < 1.5 * seed[3]:
        last += 1
    return line[first : last + 1]


def _row(
    line: list[tuple[int, ...]], marks: NDArray[np.int32], stats: NDArray[np.int32], dark: bool
) -> tuple[float, RowPlace]:
    """The row that a run of tall shapes belongs to, with everything of its height that stands beside it.

    A digit whose segments are not joined is several shapes; seen from above they are one stretch of ink.
    """
    top, bottom = min(s[1] for s in line), max(s[1] + s[3] for s in line)
    x0, x1 = min(s[0] for s in line), max(s[0] + s[2] for s in line)
    h = bottom - top
    stretches = _stretches(_within(marks, stats, top, bottom))
    digits = [(a, b) for a, b, high, _ in stretches if high > 0.6 * h]
    x0, x1 = _grown(x0, x1, digits, 1.3 * h)
    flat = [(a, b) for a, b, high, middle in stretches if high < 0.3 * h and 0.3 * h < middle < 0.7 * h]
    bars = [(a, b) for a, b in flat if 0.15 * h < b - a < 0.9 * h]
    x0 = min([a for a, b in bars if 0 <= x0 - b < 1.3 * h], default=x0)
    score = h * (1 + 0.15 * min(len(digits), 5))
    return score, RowPlace(float(x0), float(top), float(x1), float(bottom), dark)


def _within(marks: NDArray[np.int32], stats: NDArray[np.int32], top: int, bottom: int) -> Field:
    """The shapes in a row's band without those that run far out of it, as the frame of a display does."""
    reach = 0.25 * (bottom - top)
    first = stats[:, cv2.CC_STAT_TOP]
    keeps = (first >= top - reach) & (first + stats[:, cv2.CC_STAT_HEIGHT] <= bottom + reach)
    keeps[0] = False  # the ground
    return cast(Field, keeps[marks[top:bottom]].astype(np.uint8))


def _stretches(band: Field) -> list[tuple[int, int, int, float]]:
    """Runs of columns with ink, away from the display's edge: first, last + 1, height of the ink, its middle."""
    inked = (band > 0).any(axis=0)
    steps = np.flatnonzero(np.diff(np.concatenate([[0], inked.astype(np.int8), [0]])))
    found = []
    for a, b in steps.reshape(-1, 2):
        if a > 1 and b < band.shape[1] - 1:
            rows = np.flatnonzero((band[:, a:b] > 0).any(axis=1))
            found.append((int(a), int(b), int(rows[-1] - rows[0] + 1), float(rows[-1] + rows[0]) / 2))
    return found


def _grown(x0: int, x1: int, digits: list[tuple[int, int]], reach: float) -> tuple[int, int]:
    """An extent that takes in its neighbours, nearest first."""
    for a, b in sorted(digits, reverse=True):
        if a < x0 and x0 - b < reach:
            x0 = a
    for a, b in sorted(digits):
        if b > x1 and a - x1 < reach:
            x1 = b
    return x0, x1


def _alike(a: RowPlace, b: RowPlace) -> float:
    """How much of both places taken together is shared (0 to 1)."""
    across = min(a.bottom, b.bottom) - max(a.top, b.top)
    along = min(a.right, b.right) - max(a.left, b.left)
    if across <= 0 or along <= 0:
        return 0.0
    inter = across * along
    return inter / max(a.height * (a.right - a.left) + b.height * (b.right - b.left) - inter, 1.0)
