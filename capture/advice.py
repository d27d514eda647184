"""What would make a better picture, while another one can be taken: one sentence each."""

from __future__ import annotations

import cv2
import numpy as np

from capture.photo import Pixels
from schemas.evidence import Figure

__all__ = ["advice_on"]

DARK = "The picture is too dark: add light from the side and take it again."
BLURRED = "The picture is blurred: hold still, let it focus, and take it again."
NOTHING = "No value could be found: move closer, hold the display straight and take it again."


def advice_on(pixels: Pixels, figures: list[Figure]) -> tuple[str, ...]:
    """Sentences for the person with the camera, none where the picture is good."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY)
    said = []
    if float(np.percentile(grey[::4, ::4], 95)) < 45:
        said.append(DARK)
    if not figures:
        said.append(NOTHING)
    return tuple(said)
