"""The stretch of sound or the part of the picture that a reading came from, for a person to hear and see."""

from __future__ import annotations

import io
import shutil
import subprocess
import wave
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from schemas.errors import BadInput
from schemas.evidence import Box

__all__ = ["crop", "open_picture", "play", "stretch"]

AROUND_S = 1.0
"""Seconds played before and after: word times are not exact, least of all after a silence."""

_PLAYERS = (("play", "-q"), ("aplay", "-q"), ("ffplay", "-autoexit", "-nodisp", "-loglevel", "quiet"))


def stretch(path: Path, start: float, end: float) -> bytes:
    """Return the WAV bytes (16-bit mono) of a stretch of a sound file, a second wider on both sides.

    Raises:
        BadInput: the file is no sound.
    """
    from capture.sound import RATE, samples

    first, last = int(max(0.0, start - AROUND_S) * RATE), int((end + AROUND_S) * RATE)
    parts = list(_between(samples(path), first, last))
    sound = np.concatenate(parts) if parts else np.zeros(0, np.float32)
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
    return buffer.getvalue()


def _between(blocks: Iterator[NDArray[np.float32]], first: int, last: int) -> Iterator[NDArray[np.float32]]:
    at = 0
    for block in blocks:
        if at >= last:
            return
        part = block[max(0, first - at) : last - at]
        if part.size:
            yield part
        at += block.size


def crop(path: Path, box: Box, *, most: int = 900) -> bytes:
    """Return the PNG bytes of a picture around a box, with the box drawn in; at most ``most`` pixels wide.

    Raises:
        BadInput: the file is no picture.
    """
    import cv2

    from capture.photo import open_photo

    photo = open_photo(path)
    pixels, corners = photo.pixels, np.array(box.corners, np.float32) / photo.scale
    left, top = corners.min(axis=0)
    right, bottom = corners.max(axis=0)
    room = 1.5 * max(float(bottom - top), 12.0)
    x0, y0 = max(0, int(left - room)), max(0, int(top - room))
    part: NDArray[Any] = np.ascontiguousarray(pixels[y0 : int(bottom + room), x0 : int(right + room)])
    outline = (corners - (x0, y0)).round().astype(np.int32)
    cv2.polylines(part, [outline], True, (20, 20, 20), max(2, part.shape[1] // 200))
    if part.shape[1] > most:
        scale = most / part.shape[1]
        part = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    written, data = cv2.imencode(".png", part)
    if not written:
        raise BadInput(f"{path.name}: the part of the picture could not be cut out; open the whole picture.")
    return bytes(data)


def play(wav: Path) -> bool:
    """Play a WAV file with a player that is installed; say whether there was one."""
    for name, *options in _PLAYERS:
        if place := shutil.which(name):
            subprocess.run([place, *options, str(wav)], check=False, capture_output=True)
            return True
    return False


def open_picture(png: Path) -> bool:
    """Open a picture with the desktop's own viewer; say whether there is one."""
    place = shutil.which("xdg-open")
    if place is None:
        return False
    subprocess.Popen([place, str(png)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return True
