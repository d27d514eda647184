"""Dot letters: the table of our own, fonts brought to dots, and dots brought to ink."""

from functools import cache
from pathlib import Path
from typing import Literal

import cv2
import numpy as np

from training.render.lettering import stamp, text_mask, text_width
from training.render.picture import Image, Quad, rect

OWN = "own 5x7"
"""name of the table in dots_5x7.txt where a font's file name may stand"""


@cache
def dot_table() -> dict[str, Image]:
    """The signs of dots_5x7.txt, each 7 x 5, 0 or 255."""
    table: dict[str, Image] = {" ": np.zeros((7, 5), np.uint8)}
    lines = (Path(__file__).parent / "dots_5x7.txt").read_text(encoding="utf-8").splitlines()
    lines = [line for line in lines if not line.startswith("# ")]
    for band in range(0, len(lines), 8):
        signs = lines[band].split()[1:]
        columns = zip(*(line.split() for line in lines[band + 1 : band + 8]), strict=True)
        for sign, rows in zip(signs, columns, strict=True):
            table[sign] = np.array([[255 * (dot == "#") for dot in row] for row in rows], np.uint8)
    return table


def dots_wide(text: str, face: str, size: int) -> int:
    """How many dots a line takes across; `size` is not used for the own table, which is 7 high."""
    return 6 * len(text) if face == OWN else round(text_width(text, face, size))


def write_dots(raster: Image, x: int, y: int, text: str, face: str, size: int) -> Quad:
    """Write a line into a raster of dots (uint8, 0 or 255), the top of the line at (x, y).

    Returns the quad of its ink, in dots; for signs without ink, that of the place they take.
    """
    if face == OWN:
        table = dot_table()
        ink = np.zeros((7, 6 * len(text)), np.uint8)
        for i, sign in enumerate(text):
            stamp(ink, table.get(sign, table["?"]), 6 * i, 0)
        dx, dy = 0, 0
    else:
        ink, dx, dy = text_mask(text, face, size, sharp=True)
    stamp(raster, ink, x + dx, y + dy)
    rows, cols = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    if len(rows) == 0:
        return rect(x, y, dots_wide(text, face, size), size)
    return rect(x + dx + int(cols[0]), y + dy + int(rows[0]), int(np.ptp(cols)) + 1, int(np.ptp(rows)) + 1)


def ink_of(raster: Image, pitch: int, fill: float, shape: Literal["square", "round"]) -> Image:
    """Dots as ink: every dot a square or disc, `fill` of the pitch wide, `pitch` pixels apart."""
    fine = 8
    cell = np.zeros((pitch * fine, pitch * fine), np.uint8)
    middle, half = pitch * fine / 2, pitch * fine * fill / 2
    if shape == "round":
        cv2.circle(cell, (int(middle), int(middle)), int(half * 1.08), 255, -1)
    else:
        low, high = int(middle - half), max(int(middle + half) - 1, int(middle - half))
        cv2.rectangle(cell, (low, low), (high, high), 255, -1)
    dot = cv2.resize(cell, (pitch, pitch), interpolation=cv2.INTER_AREA).astype(np.uint16)
    big = np.repeat(np.repeat(raster.astype(np.uint16), pitch, axis=0), pitch, axis=1)
    tiled = np.tile(dot, raster.shape)
    return (big * tiled // 255).astype(np.uint8)
