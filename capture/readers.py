"""The recognisers, each behind the same small face: a crop of one line in, what it says out.

Everything runs offline on one thread; the models are files of installed packages or of this one.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Any, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display import ALPHABET, DisplayReader, Table
from capture.locate import Quad
from capture.photo import Pixels
from capture.tesseract import Tesseract
from schemas.evidence import MadeBy

__all__ = ["DETECT_SIDE", "LINE_HEIGHT", "Char", "Line", "Readers", "TextReader", "load_readers"]

DETECT_SIDE = 1024
"""Text is looked for on at most this many pixels of the long side; crops are read from the full picture."""
LINE_HEIGHT = 48


@dataclass(frozen=True)
class Char:
    """One character: its certainty in 0..1 and where its middle stands along the crop, 0 left to 1 right."""

    text: str
    certainty: float
    at: float


@dataclass(frozen=True)
class Line:
    """What a recogniser made of one crop. ``score`` is the mean certainty of the characters.

    ``table`` is the same in the signs of numbers only, as our own reader gives it.
    """

    chars: tuple[Char, ...]
    table: Table | None = field(default=None, compare=False)

    @property
    def text(self) -> str:
        return "".join(char.text for char in self.chars)

    @property
    def score(self) -> float:
        return float(np.mean([char.certainty for char in self.chars])) if self.chars else 0.0


class TextReader:
    """PP-OCR (small) as rapidocr ships it: finds lines of text, and reads a line."""

    def __init__(self) -> None:
        os.environ.setdefault("OMP_NUM_THREADS", "1")
        from rapidocr import RapidOCR

        engine: Any = RapidOCR(
            params={
                "Global.log_level": "critical",
                "Global.text_score": 0.0,
                "EngineConfig.onnxruntime.intra_op_num_threads": 1,
                "EngineConfig.onnxruntime.inter_op_num_threads": 1,
                "Det.limit_type": "max",
                "Det.limit_side_len": DETECT_SIDE,
            }
        )
        self._detector: Any = engine._load_det_model()
        recogniser: Any = engine._load_rec_model()
        self._session: Any = recogniser.session
        self.alphabet: list[str] = recogniser.postprocess_op.character
        alike = {".": ".,·。", "-": "-–—−"}
        self._signs = [
            [at for at, char in enumerate(self.alphabet) if at and char in alike.get(sign, sign)]
            for sign in ALPHABET[:-1]
        ]
        folder = Path(engine.cfg.Global.model_root_dir)
        self.made_by = tuple(
            MadeBy(
                reader=name,
                version=version("rapidocr"),
                model_sha256=hashlib.sha256(file.read_bytes()).hexdigest(),
                options=(("detect_side", str(DETECT_SIDE)),),
            )
            for name, pattern in (("pp-ocr find", "*_det_small.onnx"), ("pp-ocr read", "*_rec_small.onnx"))
            for file in sorted(folder.glob(pattern))
        )

    def find(self, pixels: Pixels, side: int = DETECT_SIDE) -> list[Quad]:
        """The quads of all lines of text, from top to bottom, looked for on ``side`` pixels of the long side."""
        shrink = min(1.0, side / max(pixels.shape[:2]))
        small = cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 1 else pixels
        found = self._detector(small)
        boxes = [] if found.boxes is None else found.boxes
        return [np.asarray(box, np.float32) / np.float32(shrink) for box in boxes]

    def read(self, crop: Pixels) -> Line:
        """What one crop says. The alphabet is large; nothing is filtered by its score."""
        table, length = self._shares(crop)
        best = table.argmax(axis=1)
        chars = []
        for step, code in enumerate(best):
            if code == 0 or (step and best[step - 1] == code):
                continue
            at = (step + 0.5) / length
            chars.append(Char(self.alphabet[code], float(table[step, code]), float(min(at, 1.0))))
        return Line(tuple(chars), self._as_signs(table[: int(np.ceil(length)) + 1]))

    def shares(self, crop: Pixels) -> NDArray[np.float32]:
        """Steps x ``alphabet``: the share of each character at each step along one crop; column 0 is CTC's blank."""
        table, length = self._shares(crop)
        return table[: int(np.ceil(length)) + 1]

    def _shares(self, crop: Pixels) -> tuple[NDArray[np.float32], float]:
        """The whole table, padding included, and how many of its steps lie on the crop."""
        height, width = crop.shape[:2]
        wide = max(int(np.ceil(LINE_HEIGHT * width / height)), 8)
        room = int(np.ceil(wide / 64)) * 64  # few different widths, so that few buffers are kept
        room = max(room, 192)
        sheet = np.zeros((1, 3, LINE_HEIGHT, room), np.float32)
        shape = cv2.resize(crop, (wide, LINE_HEIGHT), interpolation=cv2.INTER_AREA if height > 96 else cv2.INTER_LINEAR)
        sheet[0, :, :, :wide] = shape.transpose(2, 0, 1).astype(np.float32) / 127.5 - 1.0
        table = cast(NDArray[np.float32], self._session(sheet))[0]
        return table, len(table) * wide / room

    def _as_signs(self, table: NDArray[np.float32]) -> Table:
        """A table of the large alphabet in the signs of numbers; all other characters are one sign together."""
        signs = np.zeros((len(table), len(ALPHABET) + 1), np.float32)
        signs[:, 0] = table[:, 0]
        for at, codes in enumerate(self._signs, 1):
            signs[:, at] = table[:, codes].sum(axis=1)
        signs[:, -1] = np.clip(1.0 - signs[:, :-1].sum(axis=1), 0, 1)
        return signs


@dataclass(frozen=True)
class Readers:
    """All recognisers of pictures, loaded once."""

    text: TextReader
    display: DisplayReader
    made_by: tuple[MadeBy, ...]
    third: Tesseract = field(default_factory=Tesseract)


def load_readers() -> Readers:
    """Load every recogniser that is installed."""
    cv2.setNumThreads(1)
    text = TextReader()
    display = DisplayReader()
    third = Tesseract()
    return Readers(text, display, (*text.made_by, display.made_by, *third.made_by), third)
