"""The unit beside one large number: among the lines of text, or looked for again where units stand; read twice."""

from __future__ import annotations

import numpy as np

from capture.locate import Quad, cut
from capture.photo import Pixels
from capture.readers import LINE_HEIGHT, Readers
from capture.rows import Token, grow
from capture.words import split_number, unit_code
from schemas.doubts import Doubt, DoubtKind

__all__ = ["unit_beside"]

# Where a unit stands beside a number: left, top, right, bottom from the row's right upper corner, in its heights.
_SPOTS = (
    (0.05, 0.5, 1.9, 1.1),
    (0.05, -0.1, 1.9, 0.5),
    (0.05, 0.25, 1.9, 0.85),
    (0.02, 0.6, 1.1, 1.1),
    (-1.6, 1.02, 0.6, 1.6),
    (-1.6, -0.6, 0.6, -0.02),
)


# MIN and MAX are what stands beside a number then, never minutes.
_LEGENDS = {"min", "h", "s"}


def unit_beside(number: Quad, tokens: list[Token], pixels: Pixels, readers: Readers) -> tuple[str, list[Doubt]]:
    """The UCUM code of the unit that belongs to a number (empty for none) and the doubts about it."""
    found = _among(number, tokens)
    for token, code, text in found[:2]:
        again = _read(cut(pixels, grow(token.quad, 0.35, 0.15), LINE_HEIGHT), readers)
        if again[0] == code:
            rival = next((other for _, other, _ in found if other != code), "")
            if rival:
                return code, [Doubt(kind=DoubtKind.UNIT_UNCLEAR, detail=f"two units beside it: {text} and {rival}")]
            return code, []
    reads = [_read(cut(pixels, _spot(number, spot), LINE_HEIGHT), readers) for spot in _SPOTS]
    codes = [code for code, _ in reads if code]
    if found:
        codes = [found[0][1], *codes]
    if not codes:
        text = next((text for _, text in reads if text), "")
        return "", [Doubt(kind=DoubtKind.UNIT_UNCLEAR, detail=f"read as {text}" if text else "no unit found")]
    first = max(codes, key=codes.count)
    if codes.count(first) < 2 or len(set(codes)) > 1:
        return first, [Doubt(kind=DoubtKind.UNIT_UNCLEAR, detail="read once only")]
    return first, []


def _among(number: Quad, tokens: list[Token]) -> list[tuple[Token, str, str]]:
    """The lines of text near the right end of a number that are units, nearest first."""
    height = float(np.linalg.norm(number[3] - number[0]))
    near = []
    for token in tokens:
        text = token.line.text
        rest = split_number(text.replace(" ", ""))[1] if text[:1].isdigit() or text[:1] in "-." else text
        code = _code(rest)
        away = _away(token.quad, number)
        if code and away < 1.6 * height and token.height < 0.9 * height:
            near.append((away, token, code, rest))
    near.sort(key=lambda item: item[0])
    return [(token, code, text) for _, token, code, text in near]


def _away(quad: Quad, number: Quad) -> float:
    """How far a line's left end is from the number's right end, or its middle from the number's right half."""
    ends = [(number[1] + number[2]) / 2, number[1], number[2]]
    points = [(quad[0] + quad[3]) / 2, quad.mean(axis=0), (quad[1] + quad[2]) / 2]
    return min(float(np.linalg.norm(point - end)) for point in points for end in ends)


def _read(crop: Pixels, readers: Readers) -> tuple[str, str]:
    text = readers.text.read(crop).text.strip(" .,:;|'`")
    return _code(text), text


def _code(text: str) -> str:
    code = unit_code(text)
    return "" if code in _LEGENDS else code


def _spot(number: Quad, spot: tuple[float, float, float, float]) -> Quad:
    left, top, right, bottom = spot
    height = float(np.linalg.norm(number[2] - number[1]))
    run = (number[1] - number[0]) / max(float(np.linalg.norm(number[1] - number[0])), 1e-6) * height
    fall = (number[2] - number[1]) / max(height, 1e-6) * height
    corner = number[1]
    corners = [corner + run * x + fall * y for x, y in ((left, top), (right, top), (right, bottom), (left, bottom))]
    return np.array(corners, np.float32)
