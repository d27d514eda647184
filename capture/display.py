"""Our own reader of one line of a display: how likely each number is, from one or several cuts of the same place.

The network (display_reader/reader.onnx, trained by training/train_reader.py, its card beside it) gives for every step
along a crop a share to each sign; CTC sums these up to whole texts. PP-OCR's tables are brought to the same signs
here, so both readers are asked the same question in the same words.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.locate import grey_of
from capture.photo import Pixels
from schemas.base import is_value_text
from schemas.errors import BadInput
from schemas.evidence import MadeBy

__all__ = ["ALPHABET", "FOLDER", "OTHER", "DisplayReader", "Spread", "Table", "grouped", "prepared", "texts_of"]

FOLDER = Path(__file__).with_name("display_reader")
OTHER = "#"
"""Stands for whatever is no sign of a number: a word, a unit, a digit that is cut."""
ALPHABET = "0123456789.-" + OTHER

HEIGHT = 32
_STEP = 4
_WIDEST = 480
_BEAM = 12

Table = NDArray[np.float32]
"""Steps x 14: the share of each sign at each step along a line; column 0 is CTC's blank, the rest ``ALPHABET``."""
Spread = dict[str, float]
"""Texts, or values, each with its share; likeliest first; the shares sum to 1 at most."""


class DisplayReader:
    """The network on one thread."""

    def __init__(self) -> None:
        import onnxruntime

        data, card = _checked()
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        options.enable_cpu_mem_arena = False
        self._session: Any = onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
        self.made_by = MadeBy(reader="display reader", version=str(card["recipe"]["seed"]), model_sha256=card["sha256"])

    def tables(self, crops: list[Pixels]) -> list[Table]:
        """The table of each crop (height x width x 3 of any height), all in one run."""
        lines = [prepared(crop) for crop in crops]
        steps = [-(-line.shape[1] // _STEP) for line in lines]
        sheet = np.zeros((len(lines), 1, HEIGHT, max(steps) * _STEP), np.float32)
        for row, line in enumerate(lines):
            sheet[row, 0, :, : line.shape[1]] = line
        scores = self._session.run(None, {"line": sheet})[0]
        return [_shares(scores[row, :, :count].T) for row, count in enumerate(steps)]


def _checked() -> tuple[bytes, dict[str, Any]]:
    """The model's bytes, if they are those of its card."""
    try:
        data = (FOLDER / "reader.onnx").read_bytes()
        card: dict[str, Any] = json.loads((FOLDER / "reader.json").read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise BadInput(f"The display reader in {FOLDER} cannot be loaded; install sayback again.") from error
    if hashlib.sha256(data).hexdigest() != card["sha256"]:
        raise BadInput(f"The display reader in {FOLDER} is not the one of its card; install sayback again.")
    return data, card


def prepared(crop: Pixels) -> NDArray[np.float32]:
    """A crop as the network wants it: grey, 32 high, mean 0 and deviation 1."""
    grey = grey_of(crop) if crop.ndim == 3 else crop
    height, width = grey.shape
    wide = int(np.clip(round(width * HEIGHT / height), 8, _WIDEST))
    small = cv2.resize(grey, (wide, HEIGHT), interpolation=cv2.INTER_AREA if height > HEIGHT else cv2.INTER_LINEAR)
    line = small.astype(np.float32) / 255
    centred = line - line.mean()
    return np.asarray(centred / (np.sqrt((centred**2).mean()) + 0.01), np.float32)


def _shares(scores: NDArray[np.float32]) -> Table:
    shares = np.exp(scores - scores.max(axis=1, keepdims=True))
    return np.asarray(shares / shares.sum(axis=1, keepdims=True), np.float32)


def texts_of(table: Table, beam: int = _BEAM) -> Spread:
    """The likeliest texts of a table with their shares, by CTC's prefix search (Graves 2012, chapter 7)."""
    # For each prefix: the share of paths that end in a blank, and of those that end in its last sign.
    ends: dict[str, tuple[float, float]] = {"": (1.0, 0.0)}
    for step in table:
        likely = [int(code) for code in np.flatnonzero(step > 1e-4)]
        if likely == [0]:  # nothing but a gap: all texts stay as they are
            ends = {text: (sum(shares) * float(step[0]), 0.0) for text, shares in ends.items()}
            continue
        new: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0])
        for text, (blank, sign) in ends.items():
            both = blank + sign
            for code in likely:
                share = float(step[code])
                if code == 0:
                    new[text][0] += both * share
                    continue
                char = ALPHABET[code - 1]
                if text.endswith(char):
                    new[text][1] += sign * share
                    new[text + char][1] += blank * share
                else:
                    new[text + char][1] += both * share
        best = sorted(new.items(), key=lambda item: (-sum(item[1]), item[0]))[:beam]
        ends = {text: (shares[0], shares[1]) for text, shares in best}
    return _ordered({text: sum(shares) for text, shares in ends.items()})


def grouped(texts: Spread) -> Spread:
    """Texts brought together by the number in them; what holds none, or two, counts as the empty value."""
    values: defaultdict[str, float] = defaultdict(float)
    for text, share in texts.items():
        values[_value(text)] += share
    return _ordered(values)


def _value(text: str) -> str:
    parts = [part for part in text.split(OTHER) if any(char.isdigit() for char in part)]
    if len(parts) != 1:
        return ""
    value = parts[0].strip(".")
    return value if is_value_text(value) else ""


def _ordered(shares: dict[str, float]) -> Spread:
    return dict(sorted(shares.items(), key=lambda item: (-item[1], item[0])))
