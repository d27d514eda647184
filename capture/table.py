"""Displays, slips and plates made of rows: every row is read twice, the second time wider and as one piece."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.agree import alternatives_of, differences, likeliest
from capture.display import Spread, grouped, texts_of
from capture.locate import Quad, cut
from capture.photo import Pixels
from capture.readers import LINE_HEIGHT, Line, Readers
from capture.rows import Row, Word, grow, row_of_line, span
from capture.sights import Sight
from capture.words import (
    Label,
    is_moment,
    is_near_label,
    is_part_of_label,
    known_label,
    unit_code,
    unit_like,
)
from schemas.base import is_value_text
from schemas.displays import label_key
from schemas.doubts import LABEL_TWICE, Doubt, DoubtKind
from schemas.evidence import Box, Figure, Opinion

_CUTS = ((0.15, 0.05), (0.3, -0.05), (0.3, 0.12))
"""How much wider than a number a cut of it is, in its heights: along, across. Along, it never reaches the next word."""
_THIRD_CUTS = ((0.3, 0.15), (0.5, 0.25))
_CONTRADICTS = 0.5
_MOST = 2
_BLANK = "pp-ocr, wider, no number"
_FAIRLY_SURE, _QUITE_SURE, _SURE, _VERY_SURE = 0.75, 0.8, 0.9, 0.97
_TWIN = 0.1
_LABEL_REACH = 6.0
"""heights behind a label in which more of it may stand"""
_BESIDE = 1.2
"""heights beside a number in which a sign or one more digit would stand"""
_BLOWN, _WIPED, _LIT = 253, 0.4, 240
"""the light in which no ink is left, the share of a place that it may take, and a ground as light as that"""
_PATCH = 45.0
"""of 256: so much lighter than the ground of a label is no ground"""

__all__ = ["is_table", "kind_of_table", "read_table"]

Kind = Literal["screen", "slip", "plate"]

# Words of rating plates (EN 15502-1 clause on data plates names serial number, heat input and output, pressure).
_PLATE_WORDS = re.compile(r"\b(model|type|serial|s/?n|ser\.? ?no|input|output|max\.?|min\.?|kw|btu/?h|volts?)\b", re.I)
_THOUSANDS = re.compile(r"\d{1,3},\d{3}", re.ASCII)
_POINT_BEFORE_THREE = re.compile(r"\d{1,3}\.\d{3}", re.ASCII)
_LONGEST = 6
"""words; a longer row of a plate is a sentence"""


def is_table(rows: list[Row]) -> bool:
    """Say whether rows are a table: two or more of them hold a value with a label, or several with a known one."""
    return sum(1 for row in rows if row.label and (len(row.values) == 1 or (row.values and _measured(row)))) >= 2


def _measured(row: Row) -> bool:
    """Whether a row's label is that of a quantity: then several numbers in it are columns."""
    label = known_label(row.label)
    return label is not None and label.units is not None


def kind_of_table(rows: list[Row]) -> Kind:
    """Tell print from screen and plate by what stands there: a slip has a date, a plate the words of plates."""
    text = " ".join(row.text for row in rows)
    if len(_PLATE_WORDS.findall(text)) >= 3:
        return "plate"
    dated = any(is_moment(row.text) and re.search(r"\d[-/.]\d", row.text) for row in rows)
    return "slip" if dated else "screen"


def read_table(sight: Sight, readers: Readers, kind: Kind) -> list[Figure]:
    """One figure for each value in a sight's rows, each with what other readings of its row made of it."""
    figures: list[Figure] = []
    for row in sight.rows:
        if len(row.values) == 1:
            figures.append(_figure(row, sight, readers, kind))
        elif kind == "plate" and row.values:
            figures.append(_words_of(row))
        elif row.values:
            figures += _crowded(row, sight, readers, kind)
        elif kind == "plate" and (code := _code(row)):
            figures.append(code)
    figures = _borne_out(figures, sight, readers)
    return [_among(figure, figures) for figure in figures]


def _borne_out(figures: list[Figure], sight: Sight, readers: Readers) -> list[Figure]:
    """The figures without the doubt that readers differ, where a third reader holds the value in two cuts."""
    unsure = [at for at, figure in enumerate(figures) if _only_readers_differ(figure)]
    quads = [np.array(figures[at].box.corners, np.float32) for at in unsure]
    texts = readers.third.numbers(
        [cut(sight.pixels, grow(quad, along, across), LINE_HEIGHT) for quad in quads for along, across in _THIRD_CUTS]
    )
    kept = list(figures)
    for n, at in enumerate(unsure):
        said = texts[2 * n : 2 * n + 2]
        if all(opinion.text == figures[at].value for opinion in said):
            opinions = (*figures[at].opinions, *said)
            kept[at] = figures[at].model_copy(update={"doubts": (), "opinions": opinions})
    return kept


def _only_readers_differ(figure: Figure) -> bool:
    """Say whether a figure's only doubt is that our reader or one cut differs, and not about a nought for an eight."""
    second = [opinion.text for opinion in figure.opinions if opinion.reader.startswith("pp-ocr")]
    ours = [opinion.text for opinion in figure.opinions if opinion.reader.startswith("display reader")]
    return (
        bool(figure.doubts)
        and all(doubt.kind is DoubtKind.DIGIT_UNSURE for doubt in figure.doubts)
        and second.count(figure.value) >= _MOST
        and not set(ours[:_MOST]) & set(_noughts(figure.value))
    )


def _among(figure: Figure, figures: list[Figure]) -> Figure:
    """A figure with the doubts and the unit that the others of its table give it."""
    others = [one for one in figures if one is not figure]
    doubts = list(figure.doubts)
    if figure.label and any(
        label_key(one.label) == label_key(figure.label) and one.value != figure.value for one in others
    ):
        doubts.append(Doubt(kind=DoubtKind.QUANTITY_UNCLEAR, detail=LABEL_TWICE))
    known = known_label(figure.label) if figure.label else None
    unit = figure.unit
    if not unit and known and known.units:
        column = {one.unit for one in others if one.unit in known.units}
        unit = next(iter(column)) if len(column) == 1 else ""
    value, alternatives = figure.value, figure.alternatives
    alike = [one.value for one in others if one.unit == unit and is_value_text(one.value)]
    places = {len(text.partition(".")[2]) for text in alike}
    whole = is_value_text(value) and "." not in value and len(value.lstrip("-")) > 1
    if known and known.units == () and whole:
        doubts.append(Doubt(kind=DoubtKind.DIGIT_UNSURE, detail="such a value has a point"))
    if unit and whole and places == {1}:
        doubts.append(Doubt(kind=DoubtKind.DIGIT_UNSURE, detail="the others in this unit have a point"))
        value, alternatives = f"{value[:-1]}.{value[-1]}", (value, *alternatives)
    return figure.model_copy(
        update={"unit": unit, "value": value, "alternatives": alternatives, "doubts": tuple(doubts)}
    )


def _figure(row: Row, sight: Sight, readers: Readers, kind: Kind) -> Figure:
    pixels = sight.pixels
    value = row.values[0]
    line, again = _again(row, value, pixels, readers)
    label, known, label_doubts = _label(row, _label_again(row, pixels, readers))
    label_doubts += _cut_label(row, known, sight, readers)
    label_doubts += _blown_beside(row, sight)
    ours, spreads = _our_reading(row, pixels, readers)
    opinions = [
        Opinion(reader="pp-ocr", text=value.value, score=round(value.score, 4)),
        _wider(line, again),
        *_alone(row, pixels, readers),
        *ours,
    ]
    grouped_by_comma = kind == "plate" and bool(_THOUSANDS.fullmatch(value.text))
    if grouped_by_comma:
        opinions = [o.model_copy(update={"text": _without_comma(o.text)}) for o in opinions]
    shown = likeliest(opinions)
    unit, unit_doubts = _unit(row, again, known, pixels, readers)
    if not row.unit_words and (trimmed := _without_unit(shown, known, opinions)):
        shown = trimmed
    alternatives = alternatives_of(shown, opinions)
    if grouped_by_comma:
        alternatives = (value.value, *(other for other in alternatives if other != value.value))
    doubts = [*_value_doubts(shown, opinions, spreads, kind), *label_doubts, *unit_doubts, *_nameless(known, unit)]
    return Figure(
        label=label,
        value=shown,
        unit=unit,
        box=_box(value.quad),
        label_box=_box(span(row.label_words)) if row.label_words else None,
        opinions=tuple(opinions),
        alternatives=alternatives,
        doubts=tuple(doubts),
    )


def _nameless(label: Label | None, unit: str) -> list[Doubt]:
    """A doubt where neither label nor unit says what a number measures: it may be a name, as G20 is that of a gas."""
    if unit or (label and not label.named):
        return []
    return [Doubt(kind=DoubtKind.QUANTITY_UNCLEAR, detail="neither its label nor a unit says what it measures")]


def _without_unit(value: str, label: Label | None, opinions: list[Opinion]) -> str:
    """A share whose sign for per cent was read as one more digit, if any reading lacks that digit; else nothing."""
    if not label or label.units != ("%",) or len(value.partition(".")[2]) != _MOST:
        return ""
    return value[:-1] if any(one.text == value[:-1] for one in opinions) else ""


def _without_comma(text: str) -> str:
    """A value whose point was a comma between thousands; recognisers that lose a nought behind it are left as read."""
    return text.replace(".", "") if _POINT_BEFORE_THREE.fullmatch(text) else text


def _alone(row: Row, pixels: Pixels, readers: Readers) -> list[Opinion]:
    """What PP-OCR reads in a close cut of the number alone, if it is surely a number."""
    table = readers.text.read(cut(pixels, _number_in(row, *_CUTS[0]), LINE_HEIGHT)).table
    spread = grouped(texts_of(table)) if table is not None else {}
    text, share = next(iter(spread.items()), ("", 0.0))
    sure = text and share > _CONTRADICTS
    return [Opinion(reader="pp-ocr, number alone", text=text, score=round(min(share, 1.0), 4))] if sure else []


def _number_in(row: Row, along: float, across: float) -> Quad:
    """The quad of a row's number widened by shares of its height, along only to midway to the words beside it.

    The first stroke of a unit makes one more digit.
    """
    value = row.values[0]
    at = row.words.index(value)
    a, b, c, d = value.quad
    height = max(float(np.linalg.norm(d - a) + np.linalg.norm(c - b)) / 2, 1.0)
    run = (b - a + c - d) / 2
    run = run / max(float(np.linalg.norm(run)), 1e-6)
    before = float((a - row.words[at - 1].quad[1]) @ run) if at else np.inf
    behind = float((row.words[at + 1].quad[0] - b) @ run) if at + 1 < len(row.words) else np.inf
    left, right = (run * np.float32(min(along * height, max(gap, 0.0) / 2)) for gap in (before, behind))
    return grow(np.array([a - left, b + right, c + right, d - left], np.float32), 0.0, across)


def _our_reading(row: Row, pixels: Pixels, readers: Readers) -> tuple[list[Opinion], list[Spread]]:
    """What the display reader makes of the number alone, in three cuts, and all that it thinks possible."""
    cuts = [cut(pixels, _number_in(row, along, across), 48) for along, across in _CUTS]
    spreads = [grouped(texts_of(table)) for table in readers.display.tables(cuts)]
    names = ("display reader", "display reader, low", "display reader, wider")
    opinions = [
        Opinion(reader=name, text=next(iter(spread), ""), score=round(min(next(iter(spread.values()), 0.0), 1.0), 4))
        for name, spread in zip(names, spreads, strict=True)
    ]
    return opinions, spreads


def _value_doubts(value: str, opinions: list[Opinion], spreads: list[Spread], kind: Kind) -> list[Doubt]:
    """Doubts where PP-OCR holds it not in every cut, or our reader in no cut or, against another value, in one only.

    A unit's first stroke, read as one more digit in one cut, a piece without a number, and another reading by our
    reader in wider cuts are passed over where everything else is very sure. A nought with a slash or a dot is an eight
    to PP-OCR: there our reader must see no nought. A plate's print is not what our reader learned: there it need not
    hold the value.
    """
    second = [opinion for opinion in opinions if opinion.reader.startswith("pp-ocr")]
    ours = [opinion for opinion in opinions if not opinion.reader.startswith("pp-ocr")]
    longer = [opinion for opinion in second if opinion.text[:-1] == value or opinion.reader == _BLANK]
    rest = [opinion for opinion in second if opinion not in longer]
    if len(longer) == 1 and _hold(value, rest, _SURE) and _hold(value, ours[:2], _FAIRLY_SURE):
        second = rest
    doubts = differences(value, second)
    if not doubts and max(one.score for one in second) < _SURE:
        doubts.append(Doubt(kind=DoubtKind.DIGIT_UNSURE, detail="pp-ocr is not sure of it in any cut"))
    held = sum(opinion.text == value for opinion in ours)
    others = [opinion for opinion in ours if opinion.text not in ("", value) and opinion.score > _CONTRADICTS]
    clear = sum(one.score >= _VERY_SURE for one in second) >= _MOST and _hold(value, second, _QUITE_SURE)
    passed = (held or kind == "plate") and clear and all(one.score < _SURE for one in others)
    if not passed and (not held or (held < _MOST and others)):
        said = others or ours
        doubts.append(Doubt(kind=DoubtKind.DIGIT_UNSURE, detail=f"{said[0].reader} read {said[0].text or 'nothing'}"))
    if not (clear and _hold(value, second, _SURE) and _hold(value, ours[:2], _SURE)):
        for twin in _noughts(value):
            if sum(spread.get(twin, 0.0) for spread in spreads) / len(spreads) > _TWIN:
                doubts.append(Doubt(kind=DoubtKind.DIGIT_UNSURE, detail=f"it may be {twin}"))
    return doubts


def _hold(value: str, opinions: list[Opinion], score: float) -> bool:
    """Say whether two or more opinions all hold a value with at least such a score."""
    return len(opinions) >= _MOST and all(one.text == value and one.score >= score for one in opinions)


def _noughts(value: str) -> list[str]:
    """The value with one eight as a nought or one nought as an eight."""
    swap = {"0": "8", "8": "0"}
    return [value[:at] + swap[char] + value[at + 1 :] for at, char in enumerate(value) if char in swap]


def _again(row: Row, value: Word, pixels: Pixels, readers: Readers) -> tuple[Line, Row]:
    """Value and unit read once more from a wider piece, which reaches left to where a sign or a digit could stand."""
    at = row.words.index(value)
    piece = [value, *row.unit_words]
    quad = span(piece, 0.25, 0.12)
    height = float(np.linalg.norm(quad[3] - quad[0]))
    room = 1.0 * height
    if at:
        room = min(room, 0.7 * float(np.linalg.norm(value.quad[0] - row.words[at - 1].quad[1])))
    if not row.unit_words:  # where a unit would stand
        quad[1:3] += (quad[1] - quad[0]) / max(float(np.linalg.norm(quad[1] - quad[0])), 1.0) * np.float32(2.5 * height)
    step = (quad[0] - quad[1]) / max(float(np.linalg.norm(quad[1] - quad[0])), 1.0) * np.float32(max(room, 0.0))
    quad[0] += step
    quad[3] += step
    line = readers.text.read(cut(pixels, quad, LINE_HEIGHT))
    return line, row_of_line(line, quad)


def _wider(line: Line, again: Row) -> Opinion:
    """The number in the wider piece: its only number word, else the only run of a number's signs in its line."""
    text, score = _only_value(again), _score(again)
    if not again.values and line.table is not None:
        text, share = next(iter(grouped(texts_of(line.table)).items()), ("", 0.0))
        text, score = (text, min(share, 1.0)) if share > _CONTRADICTS else ("", 0.0)
    reader = "pp-ocr, wider" if again.values or text else _BLANK
    return Opinion(reader=reader, text=text, score=round(score, 4))


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


def _label(row: Row, again: str) -> tuple[str, Label | None, list[Doubt]]:
    """A row's label as two readings of it have it, with what is known of such a label, and the doubts about it.

    A misread label is set right where only one known label is near; without doubt only if one of the two readings is
    that label as it is written, or if nothing else is near it in both and its unit stands beside it.
    """
    if not row.label:
        return "", None, [Doubt(kind=DoubtKind.QUANTITY_UNCLEAR, detail="no label beside it")]
    first, second = known_label(row.label), known_label(again) if again else None
    unsure = Doubt(kind=DoubtKind.QUANTITY_UNCLEAR, detail=f"label read as {row.label} and as {again or 'nothing'}")
    if first and second and first.key == second.key:
        label = row.label if first.exact else again if second.exact else first.words
        told = first.clear and second.clear and row.unit in (first.units or ())
        return label, first, [] if first.exact or second.exact or told else [unsure]
    if first or second:
        known = first if first and (first.exact or not second) else second
        assert known is not None
        label = row.label if known.exact and known is first else again if known.exact else known.words
        return label, known, [unsure]
    alike = label_key(row.label) == label_key(again) and any(char.isalpha() for char in row.label)
    return row.label, None, [] if alike and not is_near_label(row.label) else [unsure]


def _cut_label(row: Row, label: Label | None, sight: Sight, readers: Readers) -> list[Doubt]:
    """A doubt where a label may go on, as ``CO`` in ``CO af``: more is read behind it, or light lies there."""
    if not label or not row.label_words or not is_part_of_label(label.key):
        return []
    a, b, c, d = span(row.label_words)
    start, low = row.values[0].quad[0], row.values[0].quad[3]
    height = max(float(np.linalg.norm(d - a)), 1.0)
    gap = float(np.linalg.norm(start - b))
    if float((start - b) @ (b - a)) <= 0 or gap < height:
        return []
    reach = min(gap - 0.4 * height, _LABEL_REACH * height) / gap
    ends = np.array([b + (start - b) * reach, c + (low - c) * reach], np.float32)
    whole = np.array([a, ends[0], ends[1], d], np.float32)
    read = row_of_line(readers.text.read(cut(sight.pixels, grow(whole, 0.1, 0.1), LINE_HEIGHT)), whole)
    longer = known_label(read.text)
    if longer and longer.key != label.key and longer.key.startswith(label.key):
        return [Doubt(kind=DoubtKind.QUANTITY_UNCLEAR, detail=f"label read as {row.label} and as {read.text}")]
    parts = (np.array([a, b, c, d], np.float32), np.array([b, ends[0], ends[1], c], np.float32))
    ground, behind = (_light(sight, part) for part in parts)
    if float(np.percentile(behind, 90)) - float(np.median(ground)) > _PATCH:
        return [Doubt(kind=DoubtKind.HIDDEN, detail="light lies on the place behind its label")]
    return []


def _blown_beside(row: Row, sight: Sight) -> list[Doubt]:
    """A doubt where light has wiped out the place before a number, or behind it where no unit is read there."""
    value = row.values[0]
    a, b, c, d = value.quad
    run = (b - a) / max(float(np.linalg.norm(b - a)), 1e-6) * np.float32(np.linalg.norm(d - a) * _BESIDE)
    if float(np.median(_light(sight, value.quad))) >= _LIT:
        return []
    zones = {"before": [a - run, a, d, d - run]}
    if not row.unit:
        zones["behind"] = [b, b + run, c + run, c]
    return [
        Doubt(kind=DoubtKind.HIDDEN, detail=f"light lies on the place {side} the number")
        for side, corners in zones.items()
        if float((_light(sight, np.array(corners, np.float32)) >= _BLOWN).mean()) > _WIPED
    ]


def _light(sight: Sight, part: Quad) -> NDArray[np.float32]:
    """The light in a part of a sight, as in the photo, without what is as thin as a stroke."""
    grey = cv2.cvtColor(cut(sight.photo, sight.in_photo(part), 32), cv2.COLOR_BGR2GRAY)
    return cv2.medianBlur(np.asarray(grey, np.uint8), 15).astype(np.float32)


def _unit(row: Row, again: Row, label: Label | None, pixels: Pixels, readers: Readers) -> tuple[str, list[Doubt]]:
    """The unit as the row, its wider piece and its label have it, and the doubts about it.

    A label that is shown in one unit only stands for a reading of it, where nothing contradicts it.
    """
    fit = label.units if label else None
    clear = {one.unit for one in (row, again) if one.unit}
    guessed = [{code for code in one.guesses if fit is None or code in fit} for one in (row, again)]
    unread = [word.text for word in again.words if not word.value and word not in again.unit_words]
    unread = [text for text in unread if any(char.isalnum() or char == "%" for char in text)]
    doubt = Doubt(kind=DoubtKind.UNIT_UNCLEAR, detail=f"read as {_shown(row)} and as {_shown(again, unread)}")
    if len(clear) > 1:
        return row.unit, [doubt]
    if not clear:
        both = set.intersection(*guessed) or set.union(*guessed)
        unit = next(iter(both)) if len(both) == 1 else ""
        if unit:
            return unit, [] if fit == (unit,) or (fit and all(guessed)) else [doubt]
        if fit == () and not any(unit_code(rest) or unit_like(rest) for rest in _behind(unread)):
            return "", []
        if fit:
            return fit[0] if len(fit) == 1 else "", [Doubt(kind=DoubtKind.UNIT_UNCLEAR, detail="no unit could be read")]
        return "", [doubt] if unread else []
    (unit,) = clear
    if fit is not None and unit not in fit:
        detail = f"{label.words if label else ''} is not shown in {_shown(row)}"
        return unit, [Doubt(kind=DoubtKind.UNIT_UNCLEAR, detail=detail)]
    if row.unit == again.unit or fit == (unit,) or any(unit in codes for codes in guessed):
        return unit, []
    seen = row.unit_words or again.unit_words
    third = readers.text.read(cut(pixels, span(seen, 0.3, 0.1), LINE_HEIGHT)).text
    sure = unit_code(third) == unit or (fit is not None and unit in unit_like(third))
    return unit, [] if sure else [doubt]


def _behind(texts: list[str]) -> list[str]:
    """What stands behind the last digit of each text: specks, or a unit."""
    return [text[max((at for at, char in enumerate(text) if char.isdigit()), default=-1) + 1 :] for text in texts]


def _shown(row: Row, unread: list[str] | None = None) -> str:
    return row.unit_text or " ".join(unread or []) or "none"


def _crowded(row: Row, sight: Sight, readers: Readers, kind: Kind) -> list[Figure]:
    """The figures of a row with several numbers: read once more as one, or each by itself; always to be asked about."""
    doubt = Doubt(kind=DoubtKind.VALUE_UNCLEAR, detail=f"{len(row.values)} numbers in one row: {row.text}")
    label = known_label(row.label) if row.label else None
    if label and label.units is not None:
        one = _joined(row, label, sight, readers)
        figure = _figure(one, sight, readers, kind)
        others = (value.value for value in row.values if value.value != figure.value)
        alternatives = tuple(dict.fromkeys((*others, *figure.alternatives)))
        return [figure.model_copy(update={"alternatives": alternatives, "doubts": (doubt, *figure.doubts)})]
    return [
        Figure(
            label=row.label,
            value=value.value,
            unit=row.unit,
            box=_box(value.quad),
            opinions=(Opinion(reader="pp-ocr", text=value.value, score=round(value.score, 4)),),
            doubts=(doubt,),
        )
        for value in row.values
    ]


def _joined(row: Row, label: Label, sight: Sight, readers: Readers) -> Row:
    """A row with its numbers as one: what their place says when it is read as one piece, else the first."""
    first, last = row.values[0], row.values[-1]
    if label.units == ("%",) and len(row.values) == _MOST and len(last.text) == 1 and "." in first.value:
        return replace(row, values=(first,), unit_words=(last,), guesses=("%",))  # the sign for per cent as a digit
    piece = [*row.words[row.words.index(first) : row.words.index(last) + 1], *row.unit_words]
    quad = span(piece)
    read = row_of_line(readers.text.read(cut(sight.pixels, grow(quad, 0.2, 0.1), LINE_HEIGHT)), quad)
    text = read.values[0].value if len(read.values) == 1 else first.value
    words = span([first, last]) if len(read.values) == 1 else first.quad
    number = Word(text, words, text, min(first.score, last.score))
    rest = tuple(word for word in row.words if word not in row.values)
    at = row.words.index(first)
    return replace(row, words=(*rest[:at], number, *rest[at:]), values=(number,))


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
