"""What would make a better picture, while another one can be taken: one sentence each."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.locate import Quad, windows
from capture.photo import Pixels
from schemas.doubts import DoubtKind
from schemas.evidence import Figure

__all__ = ["advice_on"]

DARK = "The picture is too dark: add light from the side and take it again."
BLURRED = "The picture is blurred: hold still, let it focus, and take it again."
NOTHING = "No value could be found: move closer, hold the display straight and take it again."


GLARE = "Light is reflected over the digits: turn the display or stand elsewhere and take it again."
HIDDEN = "Something is in front of the number: take it again with all of the display in sight."
TWO = "Two displays are in the picture: take one of each, so that it is clear which was read."
CUT = "The number reaches the edge of the picture: take it again with all of the display in sight."

_APART = 0.01
_LIKE = 3.0
"""times as large as another a display beside it may be"""
_SHARP = 6.0
"""The least change of light from pixel to pixel at the figures' edges, of 256, in a picture that is in focus."""


def advice_on(pixels: Pixels, figures: list[Figure], numbers: Sequence[Quad] = ()) -> tuple[str, ...]:
    """Sentences for the person with the camera, none where the picture is good; ``numbers`` is where numbers stand."""
    grey = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY), np.uint8)
    said = []
    if float(np.percentile(grey[::4, ::4], 95)) < 45:
        said.append(DARK)
    if not figures:
        said.append(NOTHING)
        return tuple(said)
    hidden = [doubt.detail for one in figures for doubt in one.doubts if doubt.kind is DoubtKind.HIDDEN]
    if any("glare" in detail for detail in hidden):
        said.append(GLARE)
    elif hidden:
        said.append(HIDDEN)
    height, width = grey.shape
    corners = np.array([one.box.corners for one in figures]).reshape(-1, 2)
    if corners.min() < 2 or corners[:, 0].max() > width - 3 or corners[:, 1].max() > height - 3:
        said.append(CUT)
    if _two_displays(numbers, pixels):
        said.append(TWO)
    if any(one.doubts for one in figures) and _sharpness(grey, corners) < _SHARP:
        said.append(BLURRED)
    return tuple(said)


def _two_displays(numbers: Sequence[Quad], pixels: Pixels) -> bool:
    """Whether numbers stand in two shapes of like size that may be displays and share no ground."""
    if len(numbers) < 2:
        return False
    middles = [tuple(float(v) for v in quad.mean(axis=0)) for quad in numbers]
    holders = [
        window
        for window in windows(pixels)
        if any(cv2.pointPolygonTest(window.reshape(-1, 1, 2), middle, False) > 0 for middle in middles)
    ]
    for one, other in combinations(holders, 2):
        sizes = sorted((cv2.contourArea(one), cv2.contourArea(other)))
        shared, _ = cv2.intersectConvexConvex(one, other)
        if shared < _APART * sizes[0] and sizes[1] < _LIKE * sizes[0]:
            return True
    return False


def _sharpness(grey: NDArray[np.uint8], corners: NDArray[np.float64]) -> float:
    """The steepest hundredth of the changes from pixel to pixel around the figures."""
    (left, top), (right, bottom) = corners.min(axis=0).astype(int), corners.max(axis=0).astype(int)
    part = grey[max(top, 0) : bottom + 1, max(left, 0) : right + 1]
    if min(part.shape) < 3:
        return 255.0
    return float(np.percentile(np.abs(np.diff(part.astype(np.int16), axis=1)), 99))
