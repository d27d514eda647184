"""Where a minus, a first digit, a point or a last digit would stand: is something in front of it?

The ground around a number is of one colour. What differs from it beside the number is the display's frame (its edge is
straight) or something that hides: a finger, a shade, a patch of light. Whatever the digits say then, the value is not
clear.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.locate import Quad, cut
from capture.photo import Pixels
from capture.rows import grow
from schemas.doubts import Doubt, DoubtKind

__all__ = ["hidden_places"]

_ROW = 48
_BESIDE = 1.2
_ACROSS = 0.3
_BLOB = 20


def hidden_places(number: Quad, dark: bool, pixels: Pixels) -> list[Doubt]:
    """Doubts for what stands in front of a number or of the places beside it."""
    height = round(_ROW * (1 + 2 * _ACROSS))
    patch = cut(pixels, grow(number, _BESIDE, _ACROSS), height)
    beside = round(_ROW * _BESIDE)
    if patch.shape[1] < 2 * beside + 8:
        return []
    lab = cv2.cvtColor(cv2.GaussianBlur(patch, (5, 5), 0), cv2.COLOR_BGR2LAB).astype(np.float32)
    lab[..., 0] *= 0.6
    row = lab[height // 6 : -height // 6, beside:-beside]
    ground = np.median(row.reshape(-1, 3), axis=0)
    away = np.linalg.norm(lab - ground, axis=2)
    doubts = []
    for side, zone in (("before", away[:, : beside - 3]), ("behind", away[:, : beside + 2 : -1][:, : beside - 3])):
        if _covered(zone):
            doubts.append(Doubt(kind=DoubtKind.HIDDEN, detail=f"something stands in front of the place {side} it"))
    blown = (patch.min(axis=2) >= 250)[:, beside:-beside]
    if ground[0] < 0.6 * 240 and dark and float(blown.mean()) > 0.02:
        doubts.append(Doubt(kind=DoubtKind.HIDDEN, detail="glare over the digits"))
    return doubts


def _covered(zone: NDArray[np.float32]) -> bool:
    """Whether a zone beside a number (its far end first) is covered by a thing whose edge is no straight frame."""
    blob = np.ones((_BLOB, _BLOB), np.uint8)  # larger than a stroke of a legend or a unit
    mask = cv2.morphologyEx((zone > 30).astype(np.uint8), cv2.MORPH_OPEN, blob) > 0
    share = float(mask.mean())
    if share < 0.12:
        return False
    # Per line, how far from the far end the strange colour reaches without a break.
    reach = np.array([int(np.argmin(line)) if not line.all() else len(line) for line in mask])
    if share > 0.9:
        return False  # all of it is of another colour: the number stands at the frame
    lines = np.arange(len(reach))
    fit = np.polyfit(lines, reach, 1)
    off = float(np.percentile(np.abs(reach - np.polyval(fit, lines)), 90))
    inside = mask.sum() - reach.sum()
    return off > 0.08 * _ROW or inside > 0.12 * mask.size
