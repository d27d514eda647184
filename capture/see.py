"""A photo becomes a look: open, find text, decide what kind of display it is, read it, and say what is unsure."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Literal

import numpy as np

from capture.advice import advice_on
from capture.photo import open_photo
from capture.readers import Readers, load_readers
from capture.segments import read_segments
from capture.sights import Sight, best_sight
from capture.table import is_table, kind_of_table, read_table
from schemas.evidence import Box, Figure, Look

Display = Literal["segments", "screen", "slip", "plate", "unknown"]

__all__ = ["Readers", "load_readers", "look"]


def look(path: Path, sha256: str, readers: Readers) -> Look:
    """Read one photo. ``sha256`` is its name as evidence. The same picture gives the same look.

    Raises:
        BadInput: the file is no picture that can be read.
    """
    photo = open_photo(path)
    plain, best = best_sight(photo.pixels, readers)
    display, sight, figures = _read(plain, best, readers)
    figures = [_placed(figure, sight) for figure in figures]
    printed = [(row.text, _box(best.in_photo(row.quad))) for row in best.rows if not row.values and row.text]
    return Look(
        evidence=sha256,
        display=display,
        width=photo.facts.width,
        height=photo.facts.height,
        figures=tuple(_scaled(figure, photo.scale) for figure in figures),
        printed=tuple((text, _box(box.corners, photo.scale)) for text, box in printed),
        advice=advice_on(photo.pixels, figures, [w.quad for row in plain.rows for w in row.values]),
        made_by=readers.made_by,
    )


def _read(plain: Sight, best: Sight, readers: Readers) -> tuple[Display, Sight, list[Figure]]:
    """Read rows as a table where they are one, else the one large number; the sight is the one that was read."""
    if is_table(best.rows):
        kind = kind_of_table(best.rows)
        return kind, best, read_table(best, readers, kind)
    figures = read_segments(plain.tokens, plain.pixels, readers)
    return ("segments" if figures else "unknown"), plain, figures


def _placed(figure: Figure, sight: Sight) -> Figure:
    """The figure with its boxes in pixels of the photo."""
    return _moved(figure, lambda box: _box(sight.in_photo(np.array(box.corners, np.float32))))


def _scaled(figure: Figure, scale: float) -> Figure:
    """The figure with its boxes in pixels of the full picture."""
    return figure if scale == 1.0 else _moved(figure, lambda box: _box(box.corners, scale))


def _moved(figure: Figure, move: Callable[[Box], Box]) -> Figure:
    boxes = {"box": move(figure.box)}
    if figure.label_box is not None:
        boxes["label_box"] = move(figure.label_box)
    return figure.model_copy(update=boxes)


def _box(corners: Iterable[Iterable[float]], scale: float = 1.0) -> Box:
    a, b, c, d = ((round(float(x) * scale, 1), round(float(y) * scale, 1)) for x, y in corners)
    return Box(corners=(a, b, c, d))
