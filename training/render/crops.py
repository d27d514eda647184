"""Grey line crops of seven-segment numbers for training the display reader.

A crop is what localisation hands to the reader: one row of digits, roughly upright, 32 pixels high, with the
slips that localisation makes (loose or tight edges, a little turn and squash, a piece of unit or legend).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from training.render.faces import render_seven_segment
from training.render.lettering import CORE_FONTS
from training.render.photo import decode, encode_jpeg
from training.render.picture import Box, Field, Image, blur, find
from training.render.styles import UNITS, SegmentStyle, pick, random_style

HEIGHT = 32
REJECT = "#"
"""stands in a crop's text for a digit that is cut, and alone for a word that is no number"""
WORDS = (
    "Err", "OL", "Lo", "Hi", "---", "----",
    "OFF", "On", "bAt", "CAL", "PASS", "FULL", "dOnE", "rEC", "ESC", "SEt", "E-1",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class LineCrop:
    """One example: grey picture of uint8, 32 x width (width is the true one, nothing padded), and what it says."""

    image: Image
    text: str


def random_number(rng: np.random.Generator) -> str:
    """What a display might show: one to five digits, up to three of them after the point, seldom a minus."""
    digits = int(pick(rng, (1, 2, 3, 4, 5), (1, 3, 5, 4, 1)))
    decimals = int(rng.integers(0, min(digits, 4)))
    if decimals and rng.random() < 0.25:  # 0.04 and its like: common on manometers
        whole = "0"
    else:
        whole = str(int(rng.integers(1, 10))) + "".join(str(d) for d in rng.integers(0, 10, digits - decimals - 1))
    if not decimals and digits == 1 and rng.random() < 0.1:
        whole = "0"
    part = "".join(str(d) for d in rng.integers(0, 10, decimals))
    minus = "-" if rng.random() < 0.15 else ""
    return f"{minus}{whole}.{part}" if decimals else f"{minus}{whole}"


def line_crop(
    text: str,
    unit: str,
    style: SegmentStyle,
    severity: int,
    rng: np.random.Generator,
    cut: str = "",
    wide: bool = False,
) -> LineCrop:
    """Render one crop.

    text: what the digits show, a number or one of `WORDS`. severity: 0 to 2. cut: "first" or "last" slices that
    digit on purpose; its place in the crop's text is then `REJECT`. wide: the crop
    reaches over unlit places to the left and over the whole unit to the right, which is then `REJECT` in the text.
    """
    window, boxes = render_seven_segment(text, unit, style, rng)
    line, reading = _extent(text, boxes, style.height, cut, severity, rng)
    if wide and not cut and text not in WORDS:
        line, reading = _widened(line, reading, boxes, style.height, window.shape[1], rng)
    crop = _light(_straighten(window, line, severity, rng), severity, rng)
    return LineCrop(crop, reading)


def random_crop(rng: np.random.Generator, fonts: Sequence[str] = CORE_FONTS, severity: int | None = None) -> LineCrop:
    """One crop with everything drawn by chance: number or word, style, severity, cut or whole."""
    hard = int(rng.integers(3)) if severity is None else severity
    style = random_style(rng, fonts, height=int(rng.integers(22, 64)))
    if rng.random() < 0.2:
        style = replace(style, dim=float(rng.uniform(0.15, 0.55)))
    text = pick(rng, WORDS) if rng.random() < 0.07 else random_number(rng)
    digits = sum(char.isdigit() for char in text)
    cut = pick(rng, ("first", "last")) if digits > 1 and rng.random() < 0.06 else ""
    unit = pick(rng, UNITS) if rng.random() < 0.7 else ""
    return line_crop(text, unit, style, hard, rng, cut, wide=bool(rng.random() < 0.35))


def _extent(
    text: str, boxes: Sequence[Box], height: int, cut: str, severity: int, rng: np.random.Generator
) -> tuple[NDArray[np.float64], str]:
    """The rectangle to cut out (left, top, right, bottom) and what the crop then says."""
    value = np.array(find(boxes, "value")[0].quad)
    (left, top), (right, bottom) = value.min(axis=0), value.max(axis=0)
    chars = find(boxes, "char")
    tall = float(height)
    if bottom - top < 0.5 * tall:  # only bars: a row is as high as its places, not as its ink
        top, bottom = top - tall / 2, bottom + tall / 2
    loose = rng.uniform((0.04, 0.02, 0.04, 0.02), (0.5, 0.25, 0.5, 0.25)) * tall * (0.6 + 0.4 * severity)
    line = np.array([left - loose[0], top - loose[1], right + loose[2], bottom + loose[3]])
    if text in WORDS:
        return line, REJECT
    if not cut:
        return line, text
    digits = [box for box in chars if box.value.isdigit()]
    edges = np.array(digits[0 if cut == "first" else -1].quad)[:, 0]
    knife = edges.min() + rng.uniform(0.3, 0.7) * np.ptp(edges)
    if cut == "first":
        line[0] = knife
        return line, REJECT + text.lstrip("-")[1:]
    line[2] = knife
    return line, text[:-1] + REJECT


def _widened(
    line: NDArray[np.float64], reading: str, boxes: Sequence[Box], height: int, width: int, rng: np.random.Generator
) -> tuple[NDArray[np.float64], str]:
    """The rectangle with more room beside it, and what it says then."""
    wider = line.copy()
    wider[0] = max(line[0] - rng.uniform(0.2, 1.2) * height, 0)
    units = find(boxes, "unit")
    if not units:
        wider[2] = min(line[2] + rng.uniform(0.2, 0.8) * height, width)
        return wider, reading
    (left, top), (right, bottom) = (getattr(np.array(units[0].quad), side)(axis=0) for side in ("min", "max"))
    beside = left > line[2] - 0.3 * height and min(bottom, line[3]) - max(top, line[1]) > 0.5 * (bottom - top)
    if beside:
        wider[2] = min(right + rng.uniform(0.05, 0.5) * height, width)
        return wider, reading + REJECT
    return wider, reading


def _straighten(window: Image, line: NDArray[np.float64], severity: int, rng: np.random.Generator) -> Field:
    """The rectangle brought to 32 pixels high, not quite straight, as grey 0..255."""
    grey: Field = window.astype(np.float32) @ rng.dirichlet((3, 6, 2)).astype(np.float32)
    left, top, right, bottom = line
    tall = bottom - top
    squash = rng.uniform(0.75, 1.3)
    width = max(round((right - left) / tall * HEIGHT * squash), 8)
    corners = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
    turn = np.radians(rng.uniform(-1, 1) * (1, 2.5, 4)[severity])
    about = corners.mean(axis=0)
    # The far end of a long row moves most when it is turned: no more than keeps the digits in the crop.
    turn *= min(1.0, 4 * tall / max(right - left, 1))
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners = (corners - about) @ spin.T + about
    corners += rng.uniform(-1, 1, (4, 2)) * tall * (0.01, 0.03, 0.05)[severity]
    goal = np.array([[0, 0], [width, 0], [width, HEIGHT], [0, HEIGHT]], np.float32)
    matrix = cv2.getPerspectiveTransform(corners.astype(np.float32), goal)
    shrink = tall / HEIGHT
    if shrink > 1.2:
        grey = blur(grey, 0.4 * shrink)
    straight = cv2.warpPerspective(grey, matrix, (width, HEIGHT), borderMode=cv2.BORDER_REPLICATE)
    return straight.astype(np.float32)


def _light(grey: Field, severity: int, rng: np.random.Generator) -> Image:
    """Lamp, shadow, glare, blur, noise, JPEG: the same troubles as in `photo`, for one row and quickly."""
    height, width = grey.shape
    xs, ys = np.linspace(-1, 1, width, dtype=np.float32), np.linspace(-1, 1, height, dtype=np.float32)[:, None]
    slope = rng.uniform(-1, 1) * xs + 0.4 * rng.uniform(-1, 1) * ys
    light: Field = grey * (1 + (0.1, 0.25, 0.45)[severity] * slope)
    if rng.random() < (0.1, 0.3, 0.5)[severity]:  # the edge of a shadow
        edge = xs + rng.uniform(-1, 1) * ys * height / width + rng.uniform(-1, 1)
        light = light * (1 - rng.uniform(0.15, 0.6) / (1 + np.exp(np.clip(edge / rng.uniform(0.02, 0.3), -30, 30))))
    if rng.random() < (0.05, 0.2, 0.4)[severity]:  # glare; never so much that the digits are gone
        px, py, wide = rng.uniform(-1, 1), rng.uniform(-1.2, 1.2), rng.uniform(0.1, 0.6)
        away = ((xs - px) * width / height / wide) ** 2 + ((ys - py) / wide) ** 2
        light = light + rng.uniform(15, (60, 90, 130)[severity]) * np.exp(-away)
    if rng.random() < (0.05, 0.2, 0.35)[severity]:  # a lamp or a window in the glass: a veil with an edge
        veil = _veil(height, width, rng) * rng.uniform(0.15, (0.4, 0.55, 0.7)[severity])
        light = light * (1 - veil) + 255 * veil
    low, high = rng.uniform(0, 50), rng.uniform(120, 255)
    grain = rng.uniform(0.5, (3, 8, 16)[severity])
    chance = rng.random()
    if chance < (0.05, 0.12, 0.25)[severity]:  # a dark or hazy picture: little between ink and ground
        low = rng.uniform(0, 170)
        high = low + rng.uniform(40, 100)
        grain = min(grain, 0.08 * (high - low))
    elif chance > 0.85:  # too much light: what is bright runs out into white
        high = rng.uniform(260, 400)
    light = low + light * (high - low) / 255
    soft = rng.uniform(0, (0.5, 1.0, 2.0)[severity])
    if soft > 0.25:
        light = blur(np.clip(light, 0, 255), soft)
    if rng.random() < (0.0, 0.15, 0.3)[severity]:  # the hand moved
        shake = int(rng.integers(2, 5))
        light = np.asarray(cv2.blur(light, (shake, 1) if rng.random() < 0.5 else (1, shake)), np.float32)
    light = light + rng.standard_normal(light.shape, np.float32) * grain
    out = np.clip(light, 0, 255).astype(np.uint8)
    if rng.random() < 0.5:
        quality = int(rng.integers((70, 45, 25)[severity], 95))
        out = decode(encode_jpeg(out, quality))[..., 0]
    return out


def _veil(height: int, width: int, rng: np.random.Generator) -> Field:
    """Where a reflection lies, 0 to 1: a spot or a band, its edge soft or hard."""
    ys, xs = np.mgrid[0:height, 0:width].astype(np.float32) / height
    turn = rng.uniform(0, np.pi)
    across, along = np.cos(turn), np.sin(turn)
    x, y = xs - rng.uniform(0, width / height), ys - rng.uniform(-0.2, 1.2)
    u, v = x * across + y * along, y * across - x * along
    wide = rng.uniform(0.08, 0.5)
    away = np.abs(v) / wide if rng.random() < 0.4 else np.hypot(u / (wide * rng.uniform(1, 3)), v / wide)
    soft = rng.uniform(0.03, 0.5)
    return np.asarray(1 / (1 + np.exp(np.clip((away - 1) / soft, -30, 30))), np.float32)
