"""Displays, slips and plates made of rows: every row is read twice, the second time wider and as one piece."""

from __future__ import annotations

import re
from typing import Literal

import numpy as np

from capture.agree import alternatives_of, differences, likeliest
from capture.locate import Quad, cut
from capture.photo import Pixels
from capture.readers import LINE_HEIGHT, Readers, tesseract_line
from capture.rows import Row, Word, row_of_line, span
from capture.words import is_moment, label_key, number_in
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Box, Figure, Opinion

__all__ = ["is_table", "kind_of_table", "read_table"]

Kind = Literal["screen", "slip", "plate"]

# Words of rating plates (EN 15502-1 clause on data plates names serial number, heat input and output, pressure).
_PLATE_WORDS = re.compile(r"\b(model|type|serial|s/?n|ser\.? ?no|input|output|max\.?|min\.?|kw|btu/?h|volts?)\b", re.I)
_CODE = re.compile(r"[A-Z0-9][A-Z0-9./-]{2,}", re.ASCII)


def is_table(rows: list[Row]) -> bool:
    """Say whether rows are a table: two or more of them hold a value with a label."""
    return sum(1 for row in rows if len(row.values) == 1 and row.label) >= 2


def kind_of_table(rows: list[Row]) -> Kind:
    """Tell print from screen and plate by what stands there: a slip has a date, a plate the words of plates."""
    text = " ".join(row.text for row in rows)
    if len(_PLATE_WORDS.findall(text)) >= 3:
        return "plate"
    dated = any(is_moment(row.text) and re.search(r"\d[-/.]\d", row.text) for row in rows)
    return "slip" if dated else "screen"


def read_table(rows: list[Row], pixels: Pixels, readers: Readers, kind: Kind) -> list[Figure]:
    """One figure for each value in the rows, each with what other readings of its row made of it."""
    figures = []
    for row in rows:
        if len(row.values) == 1:
            figures.append(_figure(row, pixels, readers))
        elif row.values:
            figures += [_crowded(row, value) for value in row.values]
        elif kind == "plate" and (code := _code(row)):
            figures.append(code)
    return figures


def _figure(row: Row, pixels: Pixels, readers: Readers) -> Figure:
    value = row.values[0]
    again = _again(row, value, pixels, readers)
    label_again = _label_again(row, pixels, readers)
    close = span([value], 0.15, 0.05)
    opinions = [
        Opinion(reader="pp-ocr", text=value.value, score=round(value.score, 4)),
        Opinion(reader="pp-ocr, wider", text=_only_value(again), score=round(_score(again), 4)),
        Opinion(reader="tesseract", text=number_in(tesseract_line(cut(pixels, close, 40), "0123456789.-")), score=0.5),
    ]
    shown = likeliest(opinions)
    doubts = differences(shown, opinions) + _label_doubts(row, label_again) + _unit_doubts(row, again)
    return Figure(
        label=row.label,
        value=shown,
        unit=row.unit,
        box=_box(value.quad),
        label_box=_box(span(row.label_words)) if row.label_words else None,
        opinions=tuple(opinions),
        alternatives=alternatives_of(shown, opinions),
        doubts=tuple(doubts),
    )


def _again(row: Row, value: Word, pixels: Pixels, readers: Readers) -> Row:
    """Value and unit read once more from a wider piece, which reaches left to where a sign or a digit could stand."""
    at = row.words.index(value)
    piece = [value, *row.unit_words]
    quad = span(piece, 0.25, 0.12)
    height = float(np.linalg.norm(quad[3] - quad[0]))
    room = 1.0 * height
    if at:
        room = min(room, 0.7 * float(np.linalg.norm(value.quad[0] - row.words[at - 1].quad[1])))
    if not row.unit:  # where a unit would stand
        quad[1:3] += (quad[1] - quad[0]) / max(float(np.linalg.norm(quad[1] - quad[0])), 1.0) * np.float32(2.5 * height)
    step = (quad[0] - quad[1]) / max(float(np.linalg.norm(quad[1] - quad[0])), 1.0) * np.float32(max(room, 0.0))
    quad[0] += step
    quad[3] += step
    return row_of_line(readers.text.read(cut(pixels, quad, LINE_HEIGHT)), quad)


def _label_again(row: Row, pixels: Pixels, readers: Readers) -> str:
    """The label read once more from a wider piece."""
    if not row.label_words:
        return ""
    quad = span(row.label_words, 0.2, 0.12)
    return row_of_line(readers.text.read(cut(pixels, quad, LINE_HEIGHT)), quad).label


def _only_value(row: Row) -> str:
    return row.values[0].value if len(row.values) == 1 else ""


def _score(row: Row) -> float:
    return min((word.score for word in row.values), default=0.0)


def _label_doubts(row: Row, again: str) -> list[Doubt]:
    if not row.label:
        return [Doubt(kind=DoubtKind.QUANTITY_UNCLEAR, detail="no label beside it")]
    if label_key(row.label) != label_key(again):
        return [Doubt(kind=DoubtKind.QUANTITY_UNCLEAR, detail=f"label read as {row.label} and as {again or 'nothing'}")]
    return []


def _unit_doubts(row: Row, again: Row) -> list[Doubt]:
    unread = [word.text for word in again.words if not word.value and word not in again.unit_words]
    if row.unit != again.unit or (not row.unit and unread):
        other = again.unit_text or " ".join(unread) or "none"
        return [Doubt(kind=DoubtKind.UNIT_UNCLEAR, detail=f"read as {row.unit_text or 'none'} and as {other}")]
    return []


def _crowded(row: Row, value: Word) -> Figure:
    doubt = Doubt(kind=DoubtKind.VALUE_UNCLEAR, detail=f"{len(row.values)} numbers in one row: {row.text}")
    opinion = Opinion(reader="pp-ocr", text=value.value, score=round(value.score, 4))
    return Figure(
        label=row.label, value=value.value, unit=row.unit, box=_box(value.quad), opinions=(opinion,), doubts=(doubt,)
    )


def _code(row: Row) -> Figure | None:
    """A row of a plate that holds words instead of a number, such as a model: always to be confirmed."""
    if len(row.words) < 2 or not _CODE.fullmatch(row.words[-1].text) or is_moment(row.text):
        return None
    value = row.words[-1]
    label = " ".join(word.text for word in row.words[:-1])
    doubt = Doubt(kind=DoubtKind.TO_CONFIRM, detail="words on a plate are read by one reader only")
    opinion = Opinion(reader="pp-ocr", text=value.text, score=round(value.score, 4))
    return Figure(label=label, value=value.text, unit="", box=_box(value.quad), opinions=(opinion,), doubts=(doubt,))


def _box(quad: Quad) -> Box:
    a, b, c, d = ((round(float(x), 1), round(float(y), 1)) for x, y in quad)
    return Box(corners=(a, b, c, d))
