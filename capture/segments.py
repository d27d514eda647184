"""A display with one large number: find its window and tallest row, read it closely and widely, find its unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from capture.agree import alternatives_of, differences, likeliest
from capture.locate import Quad, back, cut, rectify, tall_rows, windows
from capture.photo import Pixels
from capture.readers import LINE_HEIGHT, Line, Readers
from capture.rows import Token, grow
from capture.words import number_in, split_number, unit_code
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Box, Figure, Opinion

__all__ = ["read_segments"]


@dataclass(frozen=True)
class Candidate:
    """A row of digits somewhere in the picture and what was read there, closely and more widely cut."""

    quad: Quad
    close: Line
    wide: Line

    @property
    def values(self) -> tuple[str, str]:
        return _number(self.close), _number(self.wide)

    @property
    def rank(self) -> float:
        close, wide = self.values
        tall = float(np.linalg.norm(self.quad[3] - self.quad[0]))
        sure = 2.0 * bool(close) + bool(wide) + 2.0 * (close == wide != "") + self.close.score
        return float(sure * tall**0.5)


def read_segments(tokens: list[Token], pixels: Pixels, readers: Readers) -> list[Figure]:
    """The large number of a display as one figure, none where there is no number."""
    candidates = [_candidate(quad, pixels, readers) for quad in _places(tokens, pixels)]
    candidates = [candidate for candidate in candidates if any(candidate.values)]
    if not candidates:
        return []
    best = max(candidates, key=lambda candidate: candidate.rank)
    close, wide = best.values
    opinions = [
        Opinion(reader="pp-ocr", text=close, score=best.close.score),
        Opinion(reader="pp-ocr, wider", text=wide, score=best.wide.score),
    ]
    shown = likeliest(opinions)
    doubts = differences(shown, opinions)
    doubts.append(Doubt(kind=DoubtKind.DIGIT_UNSURE, detail="read by one recogniser only"))
    unit, text = _unit(tokens, best)
    if not unit:
        doubts.append(Doubt(kind=DoubtKind.UNIT_UNCLEAR, detail=f"read as {text}" if text else "no unit found"))
    return [
        Figure(
            label="",
            value=shown,
            unit=unit,
            box=_box(best.quad),
            opinions=tuple(opinions),
            alternatives=alternatives_of(shown, opinions),
            doubts=tuple(doubts),
        )
    ]


def _places(tokens: list[Token], pixels: Pixels) -> list[Quad]:
    """Where digits may stand: tall rows in windows, and lines of text that begin with a digit."""
    places = []
    for window in windows(pixels):
        flat, matrix = rectify(pixels, window)
        places += [back(row, matrix) for row in tall_rows(flat)]
    places += [grow(token.quad, -0.1, -0.1) for token in tokens if _number(token.line)]
    return places


def _candidate(quad: Quad, pixels: Pixels, readers: Readers) -> Candidate:
    close = readers.text.read(cut(pixels, grow(quad, 0.2, 0.15), LINE_HEIGHT))
    wide = readers.text.read(cut(pixels, grow(quad, 0.7, 0.3), LINE_HEIGHT))
    return Candidate(quad, close, wide)


def _number(line: Line) -> str:
    """The number of a line of large digits, spaces between digits left out; empty where there is none."""
    text = line.text.replace(" ", "").strip("'`,:;|、。·")
    value, _ = split_number(text.removesuffix("."))
    return value or number_in(text)


def _unit(tokens: list[Token], best: Candidate) -> tuple[str, str]:
    """The unit nearest to the right end of the digits, as code and as text."""
    end = (best.quad[1] + best.quad[2]) / 2
    reach = 2.5 * float(np.linalg.norm(best.quad[3] - best.quad[0]))
    near = []
    for token in tokens:
        away = float(np.linalg.norm(token.quad.mean(axis=0) - end))
        if away < reach and unit_code(token.line.text):
            near.append((away, unit_code(token.line.text), token.line.text))
    rest = split_number(best.wide.text.replace(" ", ""))[1]
    if rest:
        near.append((0.0, unit_code(rest), rest))
    return min(near)[1:] if near else ("", "")


def _box(quad: Quad) -> Box:
    a, b, c, d = ((round(float(x), 1), round(float(y), 1)) for x, y in quad)
    return Box(corners=(a, b, c, d))
