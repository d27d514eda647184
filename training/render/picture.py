"""Pictures and the boxes of what stands in them.

A picture is an array of uint8, height x width x 3 (RGB) or x 4 (RGB and cover: 255 where the thing
is, 0 around it). A box is a quad of four corners (x, y) in pixels, clockwise from the top left of
the thing itself, whatever way up the picture is.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]
Field = NDArray[np.floating[Any]]
Matrix = NDArray[np.float64]
Point = tuple[float, float]
Quad = tuple[Point, Point, Point, Point]
Colour = tuple[int, int, int]
Role = Literal["display", "value", "unit", "label", "char"]


@dataclass(frozen=True, slots=True)
class Box:
    """Where one thing stands in a picture.

    role: the window ("display"), a whole number ("value"), its unit or label, or one sign of a
    number ("char", the sign in `value`: needed to hide a minus or a point on purpose).
    """

    role: Role
    quad: Quad
    label: str = ""
    value: str = ""
    unit: str = ""


def rect(x: float, y: float, width: float, height: float) -> Quad:
    """The quad of an upright rectangle, pixels."""
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def around(quads: Iterable[Quad], pad: float = 0.0) -> Quad:
    """The smallest upright rectangle around some quads, `pad` pixels wider on every side."""
    points = np.array([corner for quad in quads for corner in quad])
    (left, top), (right, bottom) = points.min(axis=0) - pad, points.max(axis=0) + pad
    return rect(float(left), float(top), float(right - left), float(bottom - top))


def map_points(points: Iterable[Point], matrix: Matrix) -> NDArray[np.float64]:
    """Points through a 3 x 3 homography; n x 2."""
    flat = np.array(list(points), dtype=np.float64).reshape(-1, 2)
    out = np.c_[flat, np.ones(len(flat))] @ matrix.T
    mapped: NDArray[np.float64] = out[:, :2] / out[:, 2:]
    return mapped


def as_quad(points: NDArray[np.float64]) -> Quad:
    """Four rows (x, y) as a quad of plain numbers."""
    a, b, c, d = ((float(x), float(y)) for x, y in points)
    return (a, b, c, d)


def map_boxes(boxes: Iterable[Box], matrix: Matrix) -> tuple[Box, ...]:
    """Every box through a 3 x 3 homography."""
    return tuple(replace(box, quad=as_quad(map_points(box.quad, matrix))) for box in boxes)


def shift_boxes(boxes: Iterable[Box], dx: float, dy: float) -> tuple[Box, ...]:
    """Every box moved by (dx, dy) pixels."""
    return map_boxes(boxes, np.array([[1, 0, dx], [0, 1, dy], [0, 0, 1]], dtype=np.float64))


def find(boxes: Iterable[Box], role: Role) -> tuple[Box, ...]:
    """The boxes of one role, in order."""
    return tuple(box for box in boxes if box.role == role)


def to_linear(image: Image) -> Field:
    """sRGB bytes to linear light 0..1 (IEC 61966-2-1 transfer curve)."""
    levels = np.arange(256) / 255.0
    table = np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4)
    return table.astype(np.float32)[image]


def to_srgb(light: Field) -> Image:
    """Linear light to sRGB bytes; what is over 1 is burnt out (IEC 61966-2-1)."""
    steps = 4096
    levels = np.arange(steps + 1) / steps
    curve = np.where(levels <= 0.0031308, levels * 12.92, 1.055 * levels ** (1 / 2.4) - 0.055)
    table = (curve * 255 + 0.5).astype(np.uint8)
    return table[(np.clip(light, 0, 1) * steps + 0.5).astype(np.int32)]


def noise(height: int, width: int, cell: float, rng: np.random.Generator, octaves: int = 3) -> Field:
    """Smooth noise of about -1..1; the coarsest lumps are `cell` pixels wide."""
    total = np.zeros((height, width), np.float32)
    for octave in range(octaves):
        step = max(cell / 2**octave, 1.0)
        rows, cols = int(height / step) + 2, int(width / step) + 2
        lumps = rng.standard_normal((rows, cols)).astype(np.float32)
        total += cv2.resize(lumps, (width, height), interpolation=cv2.INTER_CUBIC) / 2**octave
    return total * np.float32(0.55)


def blur(field: Field, sigma: float) -> Field:
    """A field out of focus by `sigma` pixels."""
    soft = cv2.GaussianBlur(field, (0, 0), max(float(sigma), 0.01))
    return soft.astype(np.float32, copy=False)
