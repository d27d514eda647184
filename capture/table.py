"""Displays, slips and plates made of rows: every row is read twice, the second time wider and as one piece."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Literal

import numpy as np

from capture.agree import alternatives_of, differences, likeliest
from capture.display import Spread, grouped, texts_of
from capture.locate import Quad, cut
from capture.photo import Pixels
from capture.readers import LINE_HEIGHT, Readers
from capture.rows import Row, Word, row_of_line, span
from capture.words import is_moment, label_key, unit_code
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Box, Figure, Opinion

_CUTS = ((0.15, 0.05), (0.3, 0.12), (0.15, 0.25))
"""How much wider than a number a cut of it is, in its heights: along, across."""
_CONTRADICTS = 0.5
_MOST = 2
_TWIN = 0.1

__all__ = ["is_table", "kind_of_table", "read_table"]

Kind = Literal["screen", "slip", "plate"]

# Words of rating plates (EN 15502-1 clause on data plates names serial number, heat input and output, pressure).
_PLATE_WORDS = re.compile(r"\b(model|type|serial|s/?n|ser\.? ?no|input|output|max\.?|min\.?|kw|btu/?h|volts?)\b", re.I)
_THOUSANDS = re.compile(r"\d{1,3},\d{3}", re.ASCII)
_POINT_BEFORE_THREE = re.compile(r"\d{1,3}\.\d{3}", re.ASCII)
_LONGEST = 6
"""words; a longer row of a plate is a sentence"""


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
            figures.append(_figure(row, pixels, readers, kind))
        elif kind == "plate" and row.values:
            figures.append(_words_of(row))
        elif row.values:
            figures += [_crowded(row, value) for value in row.values]
        elif kind == "plate" and (code := _code(row)):
            figures.append(code)
    return figures


def _figure(row: Row, pixels: Pixels, readers: Readers, kind: Kind) -> Figure:
    value = row.values[0]
    again = _again(row, value, pixels, readers)
    label_again = _label_again(row, pixels, readers)
    ours, spreads = _our_reading(value, pixels, readers)
    opinions = [
        Opinion(reader="pp-ocr", text=value.value, score=round(value.score, 4)),
        Opinion(reader="pp-ocr, wider", text=_only_value(again), score=round(_score(again), 4)),
        *_alone(value, pixels, readers),
        *ours,
    ]
    grouped_by_comma = kind == "plate" and bool(_THOUSANDS.fullmatch(value.text))
    if grouped_by_comma:
        opinions = [o.model_copy(update={"text": _without_comma(o.text)}) for o in opinions]
    shown = likeliest(opinions)
    unit = row.unit or again.unit
    alternatives = alternatives_of(shown, opinions)
    if grouped_by_comma:
        alternatives = (value.value, *(other for other in alternatives if other != value.value))
    doubts = _value_doubts(shown, opinions, spreads) + _label_doubts(row, label_again)
    doubts += _unit_doubts(row, again, pixels, readers)
    return Figure(
        label=row.label,
        value=shown,
        unit=unit,
        box=_box(value.quad),
        label_box=_box(span(row.label_words)) if row.label_words else None,
        opinions=tuple(opinions),
        alternatives=alternatives,
        doubts=tuple(doubts),
    )


def _without_comma(text: str) -> str:
    """A value whose point was a comma between thousands; recognisers that lose a nought behind it are left as read."""
    return text.replace(".", "") if _POINT_BEFORE_THREE.fullmatch(text) else text


def _alone(value: Word, pixels: Pixels, readers: Readers) -> list[Opinion]:
    """What PP-OCR reads in a close cut of the number alone, if it is surely a number."""
    along, across = _CUTS[0]
    table = readers.text.read(cut(pixels, span([value], along, across), LINE_HEIGHT)).table
    spread = grouped(texts_of(table)) if table is not None else {}
    text, share = next(iter(spread.items()), ("", 0.0))
    sure = text and share > _CONTRADICTS
    return [Opinion(reader="pp-ocr, number alone", text=text, score=round(min(share, 1.0), 4))] if sure else []


def _our_reading(value: Word, pixels: Pixels, readers: Readers) -> tuple[list[Opinion], list[Spread]]:
    """What the display reader makes of the number alone, in three cuts, and all that it thinks possible."""
    cuts = [cut(pixels, span([value], along, across), 48) for along, across in _CUTS]
    spreads = [grouped(texts_of(table)) for table in readers.display.tables(cuts)]
    names = ("display reader", "display reader, wider", "display reader, high")
    opinions = [
        Opinion(reader=name, text=next(iter(spread), ""), score=round(min(next(iter(spread.values()), 0.0), 1.0), 4))
        for name, spread in zip(names, spreads, strict=True)
    ]
    return opinions, spreads


def _value_doubts(value: str, opinions: list[Opinion], spreads: list[Spread]) -> list[Doubt]:
    """Doubts where PP-OCR holds it not in every cut, or our reader in no cut or, against another value, in one only.

    A nought with a slash or a dot is an eight to PP-OCR: there our reader must see no nought.
    """
    second = [opinion for opinion in opinions if opinion.reader.startswith("pp-ocr")]
    ours = [opinion for opinion in opinions if not opinion.reader.startswith("pp-ocr")]
    doubts = differences(value, second)
    held = sum(opinion.text == value for opinion in ours)
    others = [opinion for opinion in ours if opinion.text not in ("", value) and opinion.score > _CONTRADICTS]
    if not held or (held < _MOST and others):
        said = others or ours
        doubts.append(Doubt(kind=DoubtKind.DIGIT_UNSURE, detail=f"{said[0].reader} read {said[0].text or 'nothing'}"))
    for twin in _noughts(value):
        if sum(spread.get(twin, 0.0) for spread in spreads) / len(spreads) > _TWIN:
            doubts.append(Doubt(kind=DoubtKind.DIGIT_UNSURE, detail=f"it may be {twin}"))
    return doubts


def _noughts(value: str) -> list[str]:
    """The value with one eight as a nought or one nought as an eight."""
    swap = {"0": "8", "8": "0"}
    return [value[:at] + swap[char] + value[at + 1 :] for at, char in enumerate(value) if char in swap]


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


def _unit_doubts(row: Row, again: Row, pixels: Pixels, readers: Readers) -> list[Doubt]:
    unread = [word.text for word in again.words if not word.value and word not in again.unit_words]
    unread = [text for text in unread if any(char.isalnum() or char == "%" for char in text)]
    if row.unit == again.unit and (row.unit or not unread):
        return []
    if not row.unit and again.unit:  # seen in the wider piece only: a third look must find it too
        third = readers.text.read(cut(pixels, span(again.unit_words, 0.3, 0.1), LINE_HEIGHT)).text
        if unit_code(third) == again.unit:
            return []
    other = again.unit_text or " ".join(unread) or "none"
    return [Doubt(kind=DoubtKind.UNIT_UNCLEAR, detail=f"read as {row.unit_text or 'none'} and as {other}")]


def _crowded(row: Row, value: Word) -> Figure:
    doubt = Doubt(kind=DoubtKind.VALUE_UNCLEAR, detail=f"{len(row.values)} numbers in one row: {row.text}")
    opinion = Opinion(reader="pp-ocr", text=value.value, score=round(value.score, 4))
    return Figure(
        label=row.label, value=value.value, unit=row.unit, box=_box(value.quad), opinions=(opinion,), doubts=(doubt,)
    )


def _words_of(row: Row) -> Figure:
    """A row of a plate that is text with numbers in it, such as volts, hertz and phases: one value, to be confirmed."""
    label, words = _parted(list(row.words))
    return _text_figure(label, words)


def _code(row: Row) -> Figure | None:
    """A row of a plate that holds words instead of a number, such as a model: always to be confirmed."""
    if len(row.words) < 2 or is_moment(row.text) or not 0 < len(row.words) <= _LONGEST:
        return None
    label, words = _parted(list(row.words))
    if not label or not _same_gap_as_columns(words, row):
        return None
    return _text_figure(label, words)


def _parted(words: list[Word]) -> tuple[list[Word], list[Word]]:
    """A plate's row parted at its widest gap: label and value stand in two columns."""
    gaps = [float(np.linalg.norm(b.quad[0] - a.quad[1])) for a, b in pairwise(words)]
    at = int(np.argmax(gaps)) + 1
    return words[:at], words[at:]


def _same_gap_as_columns(words: list[Word], row: Row) -> bool:
    """Whether the value stands clear of its label, as columns do: more than a height away. A heading does not."""
    before = row.words[len(row.words) - len(words) - 1]
    gap = float(np.linalg.norm(words[0].quad[0] - before.quad[1]))
    return gap > float(np.linalg.norm(words[0].quad[3] - words[0].quad[0]))


def _text_figure(label: list[Word], words: list[Word]) -> Figure:
    doubt = Doubt(kind=DoubtKind.TO_CONFIRM, detail="words on a plate are read by one reader only")
    text = " ".join(word.text for word in words)
    opinion = Opinion(reader="pp-ocr", text=text, score=round(min(word.score for word in words), 4))
    return Figure(
        label=" ".join(word.text for word in label),
        value=text,
        unit="",
        box=_box(span(words)),
        label_box=_box(span(label)),
        opinions=(opinion,),
        doubts=(doubt,),
    )


def _box(quad: Quad) -> Box:
    a, b, c, d = ((round(float(x), 1), round(float(y), 1)) for x, y in quad)
    return Box(corners=(a, b, c, d))
