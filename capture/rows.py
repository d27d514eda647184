"""Text displays, slips and plates: from lines of text in a picture to rows of label, value and unit.

Rows lean with the picture. The lean is taken from the lines themselves before they are put into rows, or a value
slides to the label of the next row.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.locate import Quad
from capture.readers import Line
from capture.words import is_moment, known_label, number_in, split_label, split_number, tidy_label, unit_code, unit_like

__all__ = ["Row", "Token", "Word", "grow", "parse_row", "row_of_line", "rows_of", "span"]


@dataclass(frozen=True)
class Token:
    """One line of text as found: its quad in the picture and what was read in it."""

    quad: Quad
    line: Line

    @property
    def height(self) -> float:
        a, b, c, d = self.quad
        return float(np.linalg.norm(d - a) + np.linalg.norm(c - b)) / 2

    @property
    def width(self) -> float:
        a, b, c, d = self.quad
        return float(np.linalg.norm(b - a) + np.linalg.norm(c - d)) / 2


@dataclass(frozen=True)
class Word:
    """One word, the quad it takes in the picture, and the value it is (empty for no number)."""

    text: str
    quad: Quad
    value: str = ""
    score: float = 0.0


@dataclass(frozen=True)
class Row:
    """One row of a display: its words from left to right, parted into label, value and unit.

    ``values`` holds every number word of the row; a row with one is a figure, with more a question. ``guesses`` are
    the units that misread ``unit_words`` may have been, where ``unit`` is empty.
    """

    words: tuple[Word, ...]
    label: str
    label_words: tuple[Word, ...]
    values: tuple[Word, ...]
    unit: str
    unit_words: tuple[Word, ...]
    guesses: tuple[str, ...] = ()

    @property
    def unit_text(self) -> str:
        return " ".join(word.text for word in self.unit_words)

    @property
    def text(self) -> str:
        return " ".join(word.text for word in self.words)

    @property
    def quad(self) -> Quad:
        return span(self.words)


def rows_of(tokens: list[Token]) -> list[Row]:
    """Put tokens into rows, from top to bottom, and part each row."""
    if not tokens:
        return []
    places = _level(tokens)
    height = float(np.median([token.height for token in tokens]))
    order = np.argsort(places, kind="stable")
    groups: list[list[int]] = []
    for index in order:
        near = [g for g in groups[-2:] if abs(np.mean([places[i] for i in g]) - places[index]) < 0.5 * height]
        free = [g for g in near if not any(_same_columns(tokens[i], tokens[index]) for i in g)]
        if free:
            min(free, key=lambda g: abs(np.mean([places[i] for i in g]) - places[index])).append(int(index))
        else:
            groups.append([int(index)])
    rows = []
    for group in groups:
        inner = sorted((tokens[i] for i in group), key=lambda token: float(token.quad[:, 0].mean()))
        rows.append(parse_row([word for token in inner for word in _words(token)]))
    return rows


def _level(tokens: list[Token]) -> NDArray[np.float64]:
    """The height of each token's middle with the lean of its place taken out.

    The lean of a line is fitted as a plane over the picture (a + bx + cy) to the long boxes, so that rows that run
    together towards one side are followed too.
    """
    middles = np.array([token.quad.mean(axis=0) for token in tokens], np.float64)
    runs = np.array([(t.quad[1] - t.quad[0] + t.quad[2] - t.quad[3]) / 2 for t in tokens], np.float64)
    slopes = runs[:, 1] / np.maximum(runs[:, 0], 1.0)
    weights = np.maximum(runs[:, 0], 1.0) ** 2
    centre = np.average(middles, axis=0, weights=weights)
    scale = max(float(np.ptp(middles)), 1.0)
    places = (middles - centre) / scale
    terms = np.c_[np.ones(len(tokens)), places]
    keep = np.abs(slopes - np.median(slopes)) < 0.35
    fit = np.array([np.median(slopes), 0.0, 0.0])
    if keep.sum() >= 5:
        for _ in range(3):  # lines that lean otherwise count less and less
            off = np.abs(slopes - terms @ fit)
            w = np.sqrt(weights * keep / (1 + (off / 0.03) ** 2))
            ridge = np.diag([0.0, 0.05, 0.05]) * float((w**2).sum())
            fit = np.linalg.solve(terms.T @ (terms * (w**2)[:, None]) + ridge, terms.T @ (slopes * w**2))
    # Along a row the lean changes with x: follow it from the token to the middle of the picture.
    dx = middles[:, 0] - centre[0]
    halfway = np.c_[np.ones(len(tokens)), places[:, 0] / 2, places[:, 1]]
    level: NDArray[np.float64] = middles[:, 1] - dx * (halfway @ fit)
    return level


def _same_columns(a: Token, b: Token) -> bool:
    """Two tokens over one another cannot stand in one row."""
    shared = min(a.quad[:, 0].max(), b.quad[:, 0].max()) - max(a.quad[:, 0].min(), b.quad[:, 0].min())
    return bool(shared > 0.5 * min(a.width, b.width))


def _words(token: Token) -> list[Word]:
    """A token's words, each with its share of the quad; a number and the unit glued to it are two words."""
    text = token.line.text
    words = []
    for match in re.finditer(r"\S+", text):
        start, end = match.span()
        label, number = split_label(match[0])
        if label:
            words.append(_word(token, start, start + len(label), ""))
            start = end - len(number)
        value, rest = split_number(text[start:end])
        if value and rest:
            at = start + text[start:end].rindex(rest)
            words.append(_word(token, start, at, value))
            words.append(_word(token, at, end, ""))
        else:
            words.append(_word(token, start, end, number_in(text[start:end])))
    return words


def _word(token: Token, start: int, end: int, value: str) -> Word:
    score = min(char.certainty for char in token.line.chars[start:end])
    return Word(token.line.text[start:end], _part(token, start, end), value, score)


def _part(token: Token, start: int, end: int) -> Quad:
    """The quad of characters start to end of a token, from where the recogniser saw them."""
    at = [char.at for char in token.line.chars]
    left = 0.0 if start == 0 else (at[start - 1] + at[start]) / 2
    right = 1.0 if end >= len(at) else (at[end - 1] + at[end]) / 2
    a, b, c, d = token.quad
    return np.array([a + (b - a) * left, a + (b - a) * right, d + (c - d) * right, d + (c - d) * left], np.float32)


def parse_row(words: list[Word]) -> Row:
    """Part the words of one row: the value, its unit beside it, and the label from what is left."""
    text = " ".join(word.text for word in words)
    values = [] if is_moment(text) else [i for i, word in enumerate(words) if word.value]
    if not values:
        return Row(tuple(words), tidy_label([w.text for w in words]), tuple(words), (), "", ())
    reference = _is_reference(words, values)
    values = values[1:] if reference else values
    at = values[0]
    unit, guesses, unit_words, after = _unit_after(words, values[-1])
    rest = words[:at] or words[after:]
    label_words = tuple(word for word in rest if reference or not word.value)
    label = tidy_label([word.text for word in label_words])
    return Row(tuple(words), label, label_words, tuple(words[i] for i in values), unit, unit_words, guesses)


def _is_reference(words: list[Word], values: list[int]) -> bool:
    """Whether the first of two numbers is the O2 that a gas is referred to, a part of its label: ``CO ref 3% 97 ppm``.

    It is a whole number of per cent, and nothing but O2 stands between it and the other.
    """
    if len(values) != 2 or not re.fullmatch(r"1?\d(\.0)?", words[values[0]].value):
        return False
    first, second = values
    unit, _, _, after = _unit_after(words, first)
    gas = known_label(words[0].text) if first else None
    between = tidy_label([word.text for word in words[after:second]])
    amount = _unit_after(words, second)[0]
    return unit == "%" and amount == "[ppm]" and between in ("", "O2") and gas is not None and gas.units == ("[ppm]",)


def _unit_after(words: list[Word], at: int) -> tuple[str, tuple[str, ...], tuple[Word, ...], int]:
    """The unit in the words after the value: its code, else those it may have been; its words; where words go on."""
    pieces = [tuple(words[at + 1 : at + 1 + count]) for count in (3, 2, 1) if len(words) > at + count]
    texts = [(" ".join(word.text for word in piece), piece) for piece in pieces]
    for text, piece in texts:
        if code := unit_code(text):
            return code, (), piece, at + 1 + len(piece)
    for text, piece in texts:
        if codes := unit_like(text):
            return "", codes, piece, at + 1 + len(piece)
    return "", (), (), at + 1


def span(words: tuple[Word, ...] | list[Word], along: float = 0.0, across: float = 0.0) -> Quad:
    """The quad from the first word to the last, widened by shares of its height."""
    first, last = words[0].quad, words[-1].quad
    quad = np.array([first[0], last[1], last[2], first[3]], np.float32)
    return grow(quad, along, across)


def grow(quad: Quad, along: float, across: float) -> Quad:
    """A quad widened by shares of its height, along its line and across it."""
    a, b, c, d = quad
    height = float(np.linalg.norm(d - a) + np.linalg.norm(c - b)) / 2
    run = (b - a + c - d) / 2
    run = run / max(float(np.linalg.norm(run)), 1e-6) * height * along
    fall = (d - a + c - b) / 2
    fall = fall / max(float(np.linalg.norm(fall)), 1e-6) * height * across
    return np.array([a - run - fall, b + run - fall, c + run + fall, d - run + fall], np.float32)


def row_of_line(line: Line, quad: Quad) -> Row:
    """A whole row that was read as one line."""
    return parse_row(_words(Token(quad, line)))
