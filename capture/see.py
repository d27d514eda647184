"""A photo becomes a look: open, find text, decide what kind of display it is, read it, and say what is unsure."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from capture.advice import advice_on
from capture.locate import cut
from capture.photo import Pixels, open_photo
from capture.readers import DETECT_SIDE, LINE_HEIGHT, Readers, load_readers
from capture.rows import Row, Token, rows_of
from capture.segments import read_segments
from capture.table import is_table, kind_of_table, read_table
from schemas.evidence import Box, Figure, Look

SMALL_SIDE = 512

Display = Literal["segments", "screen", "slip", "plate", "unknown"]

__all__ = ["Readers", "load_readers", "look", "tokens_of"]


def look(path: Path, sha256: str, readers: Readers) -> Look:
    """Read one photo. ``sha256`` is its name as evidence. The same picture gives the same look.

    Raises:
        BadInput: the file is no picture that can be read.
    """
    photo = open_photo(path)
    tokens = tokens_of(photo.pixels, readers)
    rows = rows_of(tokens)
    if not is_table(rows):  # print of thin dots falls apart in a large picture, and is whole in a small one
        softer = tokens_of(photo.pixels, readers, SMALL_SIDE)
        if is_table(softer_rows := rows_of(softer)):
            tokens, rows = softer, softer_rows
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
