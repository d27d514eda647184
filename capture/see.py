"""A photo becomes a look: open, find text, decide what kind of display it is, read it, and say what is unsure."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import cv2
import numpy as np

from capture.advice import advice_on
from capture.locate import cut
from capture.photo import Pixels, open_photo
from capture.readers import DETECT_SIDE, LINE_HEIGHT, Readers, load_readers
from capture.rows import Row, Token, rows_of
from capture.segments import read_segments
from capture.table import is_table, kind_of_table, read_table
from schemas.evidence import Box, Figure, Look

SMALL_SIDE = 512
RAISED_SIDE = 900

Display = Literal["segments", "screen", "slip", "plate", "unknown"]

__all__ = ["Readers", "load_readers", "look", "tokens_of"]


def look(path: Path, sha256: str, readers: Readers) -> Look:
    """Read one photo. ``sha256`` is its name as evidence. The same picture gives the same look.

    Raises:
        BadInput: the file is no picture that can be read.
    """
    photo = open_photo(path)
    tokens, rows = _found(photo.pixels, readers)
    printed = [(row.text, row.quad) for row in rows if not row.values and row.text]
    display, figures = _read(rows, tokens, photo.pixels, readers)
    return Look(
        evidence=sha256,
        display=display,
        width=photo.facts.width,
        height=photo.facts.height,
        figures=tuple(_placed(figure, photo.scale) for figure in figures),
        printed=tuple((text, _box(quad.tolist(), photo.scale)) for text, quad in printed),
        advice=advice_on(photo.pixels, figures),
        made_by=readers.made_by,
    )


def _read(rows: list[Row], tokens: list[Token], pixels: Pixels, readers: Readers) -> tuple[Display, list[Figure]]:
    """Read rows as a table where they are one, else the one large number."""
    if is_table(rows):
        kind = kind_of_table(rows)
        return kind, read_table(rows, pixels, readers, kind)
    figures = read_segments(tokens, pixels, readers)
    return ("segments" if figures else "unknown"), figures


def _found(pixels: Pixels, readers: Readers) -> tuple[list[Token], list[Row]]:
    """Lines of text and the rows that they make, from the way of looking that finds most values with a label.

    Print of thin dots falls apart in a large picture and is whole in a small one; pale print shows when its contrast is
    raised. Lines that another way found where the best way found nothing are added.
    """
    ways = [tokens_of(pixels, readers), tokens_of(pixels, readers, SMALL_SIDE)]
    rows = [rows_of(tokens) for tokens in ways]
    numbers = any(row.values for one in rows for row in one)
    if any(is_table(one) for one in rows) or not numbers:
        ways.append(tokens_of(_raised(pixels), readers, RAISED_SIDE))
        rows.append(rows_of(ways[-1]))
    best = max(range(len(ways)), key=lambda at: sum(len(row.values) == 1 and bool(row.label) for row in rows[at]))
    if not is_table(rows[best]):
        return ways[0], rows[0]
    tokens = list(ways[best])
    for way in ways:
        tokens += [token for token in way if not any(_share_ground(token, other) for other in tokens)]
    return tokens, rows_of(tokens)


def _share_ground(a: Token, b: Token) -> bool:
    shared, _ = cv2.intersectConvexConvex(a.quad, b.quad)
    return bool(shared > 0.1 * min(a.width * a.height, b.width * b.height))


def _raised(pixels: Pixels) -> Pixels:
    """The picture with the contrast of every part raised (CLAHE, Zuiderveld 1994)."""
    lab = cv2.cvtColor(pixels, cv2.COLOR_BGR2LAB)
    lab[:, :, 0] = cv2.createCLAHE(4.0, (8, 8)).apply(lab[:, :, 0])
    return np.asarray(cv2.cvtColor(lab, cv2.COLOR_LAB2BGR), np.uint8)


def tokens_of(pixels: Pixels, readers: Readers, side: int = DETECT_SIDE) -> list[Token]:
    """Every line of text in the picture with what it says; what was read as nothing is left out."""
    tokens = [
        Token(quad, readers.text.read(cut(pixels, quad, LINE_HEIGHT))) for quad in readers.text.find(pixels, side)
    ]
    return [token for token in tokens if token.line.text.strip() and token.line.score > 0.3]


def _placed(figure: Figure, scale: float) -> Figure:
    """The figure with its boxes in pixels of the full picture."""
    if scale == 1.0:
        return figure
    boxes = {"box": _box(figure.box.corners, scale)}
    if figure.label_box is not None:
        boxes["label_box"] = _box(figure.label_box.corners, scale)
    return figure.model_copy(update=boxes)


def _box(corners: Sequence[Sequence[float]], scale: float) -> Box:
    a, b, c, d = ((round(float(x) * scale, 1), round(float(y) * scale, 1)) for x, y in corners)
    return Box(corners=(a, b, c, d))
