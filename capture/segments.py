"""A display with one large number: find where it stands, read it in many cuts by two readers, and weigh them.

Localisation is never trusted alone: every window and every row in it is read, rows in the same place are put together,
and the place where the most and the largest digits are read alike wins. A number is taken only if all cuts of the
place, narrow and wide, as it is and with the light evened out, hold the same value.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.agree import GHOST_FREE, INK, View, verdict
from capture.display import Table, grouped, texts_of
from capture.hidden import hidden_places
from capture.locate import Quad, back, cut, evened, grey_of, rectify, tall_rows, whole, windows
from capture.photo import Pixels
from capture.readers import LINE_HEIGHT, Readers
from capture.rows import Token, grow
from capture.unit import unit_beside
from capture.words import number_in, split_number
from schemas.evidence import Box, Figure

__all__ = ["find_number", "places_in", "read_number", "views_of"]

_CUTS = ((0.1, 0.12), (0.18, 0.35), (0.12, 0.7))
"""How much wider than the row a cut is, in its heights: across, along."""


_SEARCH_SIDE = 1000


@dataclass(frozen=True)
class Place:
    """A row of characters somewhere in the picture, dark ink or light, and what was read there in two cuts.

    ``beside``: where else in the picture another number of its height stands.
    """

    quad: Quad
    dark: bool
    value: str = ""
    share: float = 0.0
    beside: tuple[Quad, ...] = ()

    @property
    def area(self) -> float:
        return float(cv2.contourArea(self.quad))

    @property
    def length(self) -> float:
        return float(np.linalg.norm(self.quad[1] - self.quad[0]))

    @property
    def rank(self) -> float:
        """How surely a large number stands here, and one that is as long as the place is."""
        across = float(np.linalg.norm(self.quad[3] - self.quad[0]))
        cells = sum(1.0 if char.isdigit() else 0.8 if char == "-" else 0.2 for char in self.value)
        narrow = cells - 0.65 * self.value.count("1")
        length = self.length / max(across, 1.0)
        fits = min(1.0, length / (0.35 * narrow), 1.25 * cells / length)
        few = (0.4, 0.85, 1.0)[min(sum(char.isdigit() for char in self.value), 3) - 1]
        return float(self.share**1.5 * fits**2 * few * self.area**0.5)


def read_number(place: Place, tokens: list[Token], pixels: Pixels, readers: Readers) -> list[Figure]:
    """The number in a place as one figure, with its unit and what is unsure; none where no number is read there."""
    views = views_of(place, pixels, readers)
    weighed = verdict(views)
    if not weighed.value:
        return []
    unit, unit_doubts, _ = unit_beside(place.quad, place.dark, tokens, pixels, readers)
    doubts = [*weighed.doubts, *hidden_places(place.quad, place.dark, weighed.value, pixels), *unit_doubts]
    return [
        Figure(
            label="",
            value=weighed.value,
            unit=unit,
            box=_box(place.quad),
            opinions=weighed.opinions,
            alternatives=weighed.alternatives,
            doubts=tuple(doubts),
        )
    ]


def find_number(tokens: list[Token], pixels: Pixels, readers: Readers) -> Place | None:
    """Where the large number stands. It is looked for in a smaller picture: it is large."""
    shrink = min(1.0, _SEARCH_SIDE / max(pixels.shape[:2]))
    if shrink < 1:
        pixels = np.asarray(cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.uint8)
        tokens = [replace(token, quad=token.quad * np.float32(shrink)) for token in tokens]
    places = _read_places(places_in(tokens, pixels), pixels, readers)
    place = _best(places, pixels, readers)
    if place is None:
        return None
    quad = _tightened(place, pixels, readers)
    beside = tuple(one.quad / np.float32(shrink) for one in _beside(place, places))
    return replace(place, quad=quad / np.float32(shrink), dark=_is_dark(pixels, quad), beside=beside)


_LIKE = 0.5
"""Of the height of another number, so high a number is at least as much of the display, or of another, as that."""
_SURE = 0.65
"""The share from which a row is a number: what else stands beside 70 displays of one number came to 0.5 at most."""


def _beside(place: Place, places: list[Place]) -> list[Place]:
    """The rows that are surely read as a number of like height and share no ground with the number and each other."""
    high, found = _height(place.quad), [place]
    for one in sorted(places, key=lambda one: -one.rank):
        like = _LIKE * high <= _height(one.quad) <= high / _LIKE
        if like and one.share >= _SURE and not any(_touch(one.quad, other.quad) for other in found):
            found.append(one)
    return found[1:]


def _height(quad: Quad) -> float:
    a, b, c, d = quad
    return float(np.linalg.norm(d - a) + np.linalg.norm(c - b)) / 2


def _touch(a: Quad, b: Quad) -> bool:
    return bool(cv2.intersectConvexConvex(a, b)[0] > 0)


def _tightened(place: Place, pixels: Pixels, readers: Readers) -> Quad:
    """The row of digits in a place, without the room, frame and unit beside it; the place where no row reads as it.

    What stands beside a number is judged from where the number ends.
    """
    rows = []
    for along, across in ((0.5, 0.35), (0.15, 0.12)):
        flat, matrix = rectify(pixels, grow(place.quad, along, across), 120)
        rows += [Place(back(row, matrix), row.dark) for row in tall_rows(flat)]
    inner = [row for row in rows if _inside(row.quad, place.quad)]
    same = [row for row in _read_places(inner, pixels, readers) if row.value == place.value]
    surest = max((row.share for row in same), default=0.0)
    sure = sorted((row for row in same if row.share > 0.93 * surest), key=lambda row: row.length)
    if not sure:
        return place.quad
    # The shortest may miss faint edges of its digits: others that end but little further say where they are.
    corners = _in_heights(np.stack([row.quad for row in sure]), sure[0].quad)
    near = np.abs(corners - corners[0]) < _EDGE
    low = np.where(near, corners, corners[0]).min(axis=0)
    high = np.where(near, corners, corners[0]).max(axis=0)
    ends = np.stack([low[0], [high[1][0], low[1][1]], high[2], [low[3][0], high[3][1]]])
    return _from_heights(ends, sure[0].quad)


_EDGE = 0.3
"""heights of a row by which two finds of the same row may end apart"""


def _axes(quad: Quad) -> NDArray[np.float64]:
    """The directions along and across a quad's line, each as long as the quad is high."""
    a, b, c, d = quad.astype(np.float64)
    height = float(np.linalg.norm(d - a) + np.linalg.norm(c - b)) / 2
    along, across = (b - a + c - d) / 2, (d - a + c - b) / 2
    return np.stack([line / max(float(np.linalg.norm(line)), 1e-6) * height for line in (along, across)])


def _in_heights(points: NDArray[np.floating[Any]], quad: Quad) -> NDArray[np.float64]:
    """Points of the picture as heights of a quad along and across its line, from its first corner."""
    return np.asarray((points - quad[0]) @ np.linalg.inv(_axes(quad)), np.float64)


def _from_heights(points: NDArray[np.float64], quad: Quad) -> Quad:
    return np.asarray(points @ _axes(quad) + quad[0], np.float32)


def _inside(inner: Quad, outer: Quad) -> bool:
    shared, _ = cv2.intersectConvexConvex(inner, outer)
    return bool(shared > 0.6 * cv2.contourArea(inner))


def places_in(tokens: list[Token], pixels: Pixels) -> list[Place]:
    """Where digits may stand: tall rows in windows and in the whole picture, and lines of text with a number."""
    places = []
    for window in (*windows(pixels), whole(pixels)):
        flat, matrix = rectify(pixels, window)
        places += [Place(back(row, matrix), row.dark) for row in tall_rows(flat)]
    for token in tokens:
        text = token.line.text.replace(" ", "").strip("'`,:;|、。·.")
        if split_number(text)[0] or number_in(text):
            quad = grow(token.quad, -0.1, -0.1)
            places.append(Place(quad, _is_dark(pixels, quad)))
    return places


def _read_places(places: list[Place], pixels: Pixels, readers: Readers) -> list[Place]:
    """Every place with the value that its two cuts share, and how surely."""
    read = []
    crops = [cut(pixels, grow(place.quad, along, across), 32) for place in places for across, along in _CUTS[:2]]
    tables = _tables(crops, readers)
    for at, place in enumerate(places):
        close, wide = (grouped(texts_of(table, 6)) for table in tables[2 * at : 2 * at + 2])
        shares = {value: (close.get(value, 0.0) * wide.get(value, 0.0)) ** 0.5 for value in close if value}
        if shares:
            value = max(shares, key=lambda one: shares[one])
            if shares[value] > 0.05:
                read.append(replace(place, value=value, share=shares[value]))
    return read


def _tables(crops: list[Pixels], readers: Readers) -> list[Table]:
    """Read crops in runs of like width: a run is as wide as its widest."""
    order = sorted(range(len(crops)), key=lambda at: crops[at].shape[1])
    tables: dict[int, Table] = {}
    for start in range(0, len(order), 16):
        part = order[start : start + 16]
        tables.update(zip(part, readers.display.tables([crops[at] for at in part]), strict=True))
    return [tables[at] for at in range(len(crops))]


def _best(places: list[Place], pixels: Pixels, readers: Readers) -> Place | None:
    """The place that wins: rows that lie on each other and are read alike count together, large and sure ones more.

    Keys, frames and pipes look like single digits to a reader of digits: PP-OCR is asked about the foremost places, and
    one digit alone counts less than a row.
    """
    groups: list[list[Place]] = []
    for place in sorted(places, key=lambda one: -one.rank):
        for group in groups:
            if group[0].value == place.value and _on_each_other(group[0].quad, place.quad):
                group.append(place)
                break
        else:
            groups.append([place])
    if not groups:
        return None
    groups.sort(key=lambda group: -sum(place.rank for place in group[:4]))
    # Of those that are nearly as sure, the largest: a row without its first digit is read as surely as the whole row.
    # A much larger one that is less sure is a box around a row that leans.
    best = [
        max((p for p in group if p.rank > 0.6 * group[0].rank and p.share > 0.85 * group[0].share), key=_area)
        for group in groups[:8]
    ]
    ranks = [
        sum(place.rank for place in group[:4]) * _second_look(place, pixels, readers)
        for group, place in zip(groups, best, strict=False)
    ]
    return best[int(np.argmax(ranks))]


def _area(place: Place) -> float:
    return place.area


def _second_look(place: Place, pixels: Pixels, readers: Readers) -> float:
    """How much PP-OCR speaks for a place: from 1, no digit alike, to 7, the same digits in the same order."""
    table = readers.text.read(cut(pixels, grow(place.quad, 0.2, 0.15), LINE_HEIGHT)).table
    if table is None:
        return 1.0
    said, digits = (
        "".join(char for char in text if char.isdigit()) for text in (next(iter(texts_of(table, 4)), ""), place.value)
    )
    return 1.0 + 6.0 * SequenceMatcher(None, said, digits, autojunk=False).ratio() ** 2


def _on_each_other(a: Quad, b: Quad) -> bool:
    """Whether one of two quads lies mostly on the other."""
    shared, _ = cv2.intersectConvexConvex(a, b)
    return bool(shared > 0.5 * min(cv2.contourArea(a), cv2.contourArea(b)))


def views_of(place: Place, pixels: Pixels, readers: Readers) -> list[View]:
    """The number read again and again: narrow, wide, squeezed, stretched, in even light, and by the other reader."""
    quads = [grow(place.quad, along, across) for across, along in _CUTS]
    plain = [cut(pixels, quad, 64) for quad in quads]
    even = [_even(crop, place.dark, share) for crop, (share, _) in zip(plain, _CUTS, strict=True)]
    wide, high = plain[1].shape[1], plain[1].shape[0]
    shaped = [np.asarray(cv2.resize(plain[1], (max(round(wide * by), 8), high)), np.uint8) for by in (0.82, 1.2)]
    names = ["close", "wider", "widest", "close, even light", "wider, even light", "widest, even light"]
    names += ["squeezed", "stretched", GHOST_FREE]
    strong = _strong(plain[1], place.dark, _CUTS[1][0])
    tables = readers.display.tables([*plain, *even, *shaped, strong])
    views = [
        View("display reader", name, grouped(texts_of(table)), texts_of(table), "even" in name)
        for name, table in zip(names, tables, strict=True)
    ]
    for name, (across, along) in (("close", (0.15, 0.2)), ("wider", (0.3, 0.7))):
        crop = cut(pixels, grow(place.quad, along, across), 64)
        for kind, picture in ((name, crop), (f"{name}, {INK}", _strong(crop, place.dark, across))):
            table = readers.text.read(picture).table
            if table is not None:
                views.append(View("pp-ocr", kind, grouped(texts_of(table)), texts_of(table)))
    return views


def _is_dark(pixels: Pixels, number: Quad) -> bool:
    """Whether the ink of a number is darker than its ground: strokes are narrower than the gaps between them.

    What is darker than its neighbours within a fifth of the height is weighed against what is lighter: unlike the mean
    light of ink and ground, this holds under glare and shadow.
    """
    grey = cv2.GaussianBlur(grey_of(cut(pixels, grow(number, 0.15, 0.15), 83)), (3, 3), 0)
    kernel = cv2.getStructuringElement(cv2.MORPH_RECT, (15, 15))
    dark, light = (cv2.morphologyEx(grey, way, kernel) for way in (cv2.MORPH_BLACKHAT, cv2.MORPH_TOPHAT))
    return float(dark.sum()) >= float(light.sum())


def _even(crop: Pixels, dark: bool, margin: float) -> Pixels:
    """A cut with the light evened out; ``margin`` is what it has above and below, in heights of its row."""
    height = crop.shape[0] / (1 + 2 * margin)
    ink = evened(grey_of(crop), dark, round(0.35 * height), round(0.9 * height))
    return np.repeat((255 - ink if dark else ink)[:, :, None], 3, axis=2)


def _strong(crop: Pixels, dark: bool, margin: float) -> Pixels:
    """A cut in which only ink of at least half the common strength is left: segments that are not lit fall away."""
    height = crop.shape[0] / (1 + 2 * margin)
    stroke = round(0.35 * height) | 1
    kernel = cv2.getStructuringElement(cv2.MORPH_RECT, (stroke, stroke))
    way = cv2.MORPH_BLACKHAT if dark else cv2.MORPH_TOPHAT
    hat = cv2.morphologyEx(grey_of(crop), way, kernel).astype(np.float32)
    full = max(float(np.percentile(hat, 97)), 1.0)
    ink = np.clip(255 * (hat / full - 0.4) / 0.5, 0, 255).astype(np.uint8)
    return np.repeat((255 - ink if dark else ink)[:, :, None], 3, axis=2)


def _box(quad: Quad) -> Box:
    a, b, c, d = ((round(float(x), 1), round(float(y), 1)) for x, y in quad)
    return Box(corners=(a, b, c, d))
