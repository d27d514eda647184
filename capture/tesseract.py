"""Tesseract as a third reader of numbers, asked only where the others differ: all such numbers of a picture at once.

It is a program of its own, a quarter of a second a start, and right too seldom to ask it about everything; where it
reads in two cuts what PP-OCR holds, the doubt of one more reader is needless. Without it nothing is taken that
would not be taken anyway.
"""

from __future__ import annotations

import os
import shutil

import cv2
import numpy as np
import pytesseract

from capture.locate import Field, grey_of
from capture.photo import Pixels
from schemas.evidence import MadeBy, Opinion

__all__ = ["Tesseract"]

_TALL, _SLOT, _SIDE = 64, 112, 24
_OPTIONS = "--oem 1 --psm 6 -c tessedit_char_whitelist=0123456789.-"
_PATIENCE = 20


class Tesseract:
    """The installed program, if there is one."""

    def __init__(self) -> None:
        os.environ.setdefault("OMP_THREAD_LIMIT", "1")
        self.there = shutil.which("tesseract") is not None
        self.made_by = (
            (MadeBy(reader="tesseract", version=str(pytesseract.get_tesseract_version())),) if self.there else ()
        )

    def numbers(self, crops: list[Pixels]) -> list[Opinion]:
        """What each crop of one number says, empty where it says nothing or more than one word."""
        words: list[list[tuple[str, float]]] = [[] for _ in crops]
        if crops and self.there:
            try:
                found = pytesseract.image_to_data(
                    _stacked(crops), config=_OPTIONS, output_type=pytesseract.Output.DICT, timeout=_PATIENCE
                )
            except (RuntimeError, OSError):  # it failed, was stopped, or took too long: it has no opinion
                found = {"text": [], "top": [], "height": [], "conf": []}
            for text, top, height, sure in zip(*(found[k] for k in ("text", "top", "height", "conf")), strict=True):
                slot = int((top + height / 2) // _SLOT)
                if text.strip() and slot < len(words):
                    words[slot].append((text.strip(), float(sure)))
        return [
            Opinion(reader="tesseract", text=one[0][0], score=round(max(one[0][1], 0.0) / 100, 4))
            if len(one) == 1
            else Opinion(reader="tesseract", text="", score=0.0)
            for one in words
        ]


def _stacked(crops: list[Pixels]) -> Field:
    """The crops one below the other, each on its own ground, dark on light, the same height."""
    lines = [_line(crop) for crop in crops]
    sheet = np.full((_SLOT * len(lines), max(line.shape[1] for line in lines) + 2 * _SIDE), 255, np.uint8)
    edge = (_SLOT - _TALL) // 2
    for at, line in enumerate(lines):
        sheet[at * _SLOT : (at + 1) * _SLOT] = int(np.percentile(line, 80))
        sheet[at * _SLOT + edge : at * _SLOT + edge + _TALL, _SIDE : _SIDE + line.shape[1]] = line
    return sheet


def _line(crop: Pixels) -> Field:
    grey = grey_of(crop)
    wide = max(round(crop.shape[1] * _TALL / crop.shape[0]), 8)
    line = np.asarray(cv2.resize(grey, (wide, _TALL), interpolation=cv2.INTER_AREA), np.uint8)
    low, high = (float(v) for v in np.percentile(line, (2, 98)))
    even = np.clip((line.astype(np.float32) - low) * 255 / max(high - low, 1.0), 0, 255).astype(np.uint8)
    return np.asarray(255 - even if float(np.median(even)) < 110 else even, np.uint8)
