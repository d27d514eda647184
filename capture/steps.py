"""The steps from a photo to its figures as pictures, to see where reading goes wrong: ``sayback look --steps``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np

from capture.locate import Quad, cut, windows
from capture.photo import Pixels, open_photo
from capture.readers import Readers
from capture.rows import grow
from capture.see import look
from capture.segments import find_number, places_in
from capture.sights import tokens_of
from schemas.errors import StoreFailed

__all__ = ["steps", "write_steps"]

_RED, _BLUE = (40, 40, 230), (230, 120, 20)


def write_steps(path: Path, folder: Path, readers: Readers) -> list[Path]:
    """Write each step of reading a photo as a JPEG into a folder, and return the files in their order.

    Raises:
        BadInput: the file is no picture that can be read.
        StoreFailed: the folder cannot be written.
    """
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number, (name, picture) in enumerate(steps(path, readers), 1):
            file = folder / f"{number}-{name}.jpg"
            file.write_bytes(cv2.imencode(".jpg", picture)[1].tobytes())
            written.append(file)
    except OSError as error:
        why = error.strerror or str(error)
        raise StoreFailed(f"The steps cannot be written to {folder} ({why}); give another --steps.") from error
    return written


def steps(path: Path, readers: Readers) -> Iterator[tuple[str, Pixels]]:
    """Name and picture of each step: upright, text found, windows, rows tried, the number's cut, figures."""
    pixels = open_photo(path).pixels
    yield "upright", pixels
    tokens = tokens_of(pixels, readers)
    yield "text", _drawn(pixels, [token.quad for token in tokens], [token.line.text for token in tokens])
    yield "windows", _drawn(pixels, windows(pixels))
    yield "rows", _drawn(pixels, [place.quad for place in places_in(tokens, pixels)])
    place = find_number(tokens, pixels, readers)
    if place is not None:
        yield "number", cut(pixels, grow(place.quad, 0.35, 0.18), 160)
    figures = look(path, "0" * 64, readers).figures
    scale = max(max(pixels.shape[:2]) / 1000, 1.0)
    boxes = [np.array(one.box.corners, np.float32) for one in figures]
    captions = [f"{one.label} {one.value} {one.unit}{' ?' if one.doubts else ''}" for one in figures]
    yield "figures", _drawn(pixels, boxes, captions, scale)


def _drawn(pixels: Pixels, quads: Sequence[Quad], captions: Sequence[str] = (), scale: float = 1.0) -> Pixels:
    picture = pixels.copy()
    thick = max(round(max(pixels.shape[:2]) / 500), 1)
    for at, quad in enumerate(quads):
        cv2.polylines(picture, [np.round(quad).astype(np.int32)], True, _RED, thick)
        if at < len(captions):
            x, y = (round(float(v)) for v in quad[0])
            text = captions[at].encode("ascii", "replace").decode()
            cv2.putText(picture, text, (x, max(y - 4, 12)), cv2.FONT_HERSHEY_SIMPLEX, 0.5 * scale, _BLUE, thick)
    return picture
