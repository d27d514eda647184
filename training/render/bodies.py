"""The instrument around a display: body, frame, keys and hose ports, of a plain design of our own.

The body is a height field in pixels, lit from the upper left; so edges, frame and keys catch light
and throw shade as solid things do.
"""

from collections.abc import Sequence

import cv2
import numpy as np

from training.render.lettering import font, text_width, write
from training.render.picture import Box, Colour, Field, Image, blur, noise, shift_boxes
from training.render.styles import BodyStyle

LIGHT = np.array([-0.38, -0.55, 0.74], np.float32)


def mount(
    window: Image, boxes: Sequence[Box], style: BodyStyle, rng: np.random.Generator
) -> tuple[Image, tuple[Box, ...]]:
    """Put a display window into an instrument.

    Returns the picture (RGB and cover) and the boxes moved with the window.
    """
    win_h, win_w = window.shape[:2]
    frame, side, head = (round(share * win_w) for share in (style.bezel, style.side, style.head))
    key_h = round(0.15 * win_w)
    name_h = round(0.1 * win_w) if style.name or style.caption else 0
    foot = name_h + len(style.keys) * round(1.5 * key_h) + key_h // 4 + round(0.12 * win_w)
    width = win_w + 2 * (frame + side)
    top = round(0.9 * win_w) if style.ports else 0  # room for ports and hose above the body
    height = top + head + win_h + 2 * frame + foot
    x0, y0 = side + frame, top + head + frame

    body = rounded(height, width, (0, top, width, height), style.radius * width)
    relief = _bevel(body, 0.035 * width, 0.03 * width)
    colour = np.empty((height, width, 3), np.float32)
    colour[:] = style.colour
    rim = round(0.05 * width) if style.edge == "rubber" else round(0.025 * width)
    panel = rounded(height, width, (rim, top + rim, width - rim, height - rim), 0.7 * style.radius * width)
    relief += _bevel(panel, 0.008 * width, -0.008 * width)
    if style.edge == "rubber":
        colour[:] = style.edge_colour
        relief += np.clip(noise(height, width, 3, rng, 1), -1, 1) * 0.12 * (1 - panel)
    colour = _over(colour, style.face if style.edge == "plain" else style.colour, panel)
    bezel = rounded(height, width, (side, top + head, width - side, top + head + win_h + 2 * frame), 0.6 * frame)
    colour = _over(colour, _darker(style.face, 0.55), bezel)
    relief += _bevel(bezel, 0.3 * frame, -0.35 * frame)

    legends = np.zeros((height, width), np.uint8)
    y = y0 + win_h + frame
    if name_h:
        size = round(0.055 * win_w)
        write(legends, x0, y + 0.4 * name_h, style.name, "DejaVuSans-Bold.ttf", size)
        write(legends, width - x0, y + 0.4 * name_h, style.caption, "DejaVuSans.ttf", round(0.8 * size), "right")
        y += name_h
    colour = _over(colour, style.key_ink, 0.85 / 255 * legends.astype(np.float32))
    _keys(colour, relief, style, (side, y + key_h // 4, width - side), key_h)

    cover = body
    if style.ports:
        _ports(colour, relief, cover, style, top, rng)
    lit = _shade(colour, relief, rng)
    lit[y0 : y0 + win_h, x0 : x0 + win_w] = window
    _glass_edge(lit, x0, y0, win_w, win_h, max(frame // 5, 2))
    picture = np.dstack([np.clip(lit, 0, 255), cover * 255]).astype(np.uint8)
    return picture, shift_boxes(boxes, x0, y0)


def rounded(height: int, width: int, box: tuple[float, float, float, float], radius: float) -> Field:
    """A rounded rectangle (left, top, right, bottom) as a field 0..1 with a soft edge of one pixel."""
    left, top, right, bottom = box
    xs, ys = np.arange(width, dtype=np.float32) + 0.5, np.arange(height, dtype=np.float32)[:, None] + 0.5
    dx = np.maximum(np.maximum(left + radius - xs, xs - (right - radius)), 0)
    dy = np.maximum(np.maximum(top + radius - ys, ys - (bottom - radius)), 0)
    inside: Field = np.clip(radius - np.sqrt(dx**2 + dy**2) + 0.5, 0, 1).astype(np.float32)
    return inside


def _bevel(shape: Field, width: float, rise: float) -> Field:
    """Height of a shape whose rim rises by `rise` over `width` pixels."""
    solid = cv2.copyMakeBorder((shape > 0.5).astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    away = cv2.distanceTransform(solid, cv2.DIST_L2, 5)[1:-1, 1:-1]
    step = np.clip(away / max(width, 1.0), 0, 1)
    rim: Field = (rise * step * (2 - step)).astype(np.float32)
    return blur(rim, 1.0)


def _over(colour: Field, paint: Colour, cover: Field) -> Field:
    return colour * (1 - cover[..., None]) + np.array(paint, np.float32) * cover[..., None]


def _darker(colour: Colour, by: float) -> Colour:
    return (int(colour[0] * by), int(colour[1] * by), int(colour[2] * by))


def _keys(colour: Field, relief: Field, style: BodyStyle, space: tuple[int, int, int], key_h: int) -> None:
    """Rows of keys with their words on them, between left and right from y downwards, in place."""
    left, y, right = space
    face = "DejaVuSans-Bold.ttf"
    for row in style.keys:
        pitch = (right - left) / len(row)
        key_w = key_h if style.round_keys else round(min(0.8 * pitch, 2.6 * key_h))
        for i, word in enumerate(row):
            x = round(left + (i + 0.5) * pitch - key_w / 2)
            radius = key_h / 2 if style.round_keys else 0.28 * key_h
            spot = np.s_[y - 2 : y + key_h + 2, x - 2 : x + key_w + 2]
            key = rounded(key_h + 4, key_w + 4, (2, 2, key_w + 2, key_h + 2), radius)
            full = round(0.36 * key_h)
            size = max(round(min(full, 0.31 * key_h * key_w / max(text_width(word, face, full), 1))), 6)
            ink = np.zeros(key.shape, np.uint8)
            capital = font(face, size).getbbox("H")
            write(ink, key_w / 2 + 2, key_h / 2 + 2 - (capital[1] + capital[3]) / 2, word, face, size, "middle")
            painted = _over(colour[spot], style.key_colour, key)
            colour[spot] = _over(painted, style.key_ink, 0.9 / 255 * ink.astype(np.float32))
            relief[spot] += _bevel(key, 0.16 * key_h, 0.12 * key_h)
        y += round(1.5 * key_h)


def _ports(colour: Field, relief: Field, cover: Field, style: BodyStyle, top: int, rng: np.random.Generator) -> None:
    """Hose ports at the head of the body, ribbed stems with a hose on the first, in place."""
    width = relief.shape[1]
    stem = round(0.13 * width)
    for i in range(style.ports):
        middle = width * (0.5 + (i - (style.ports - 1) / 2) * 0.28)
        y = np.arange(top + 4, dtype=np.float32)[:, None]
        up = np.clip(top - y, 0, None)
        ribs = 0.036 * width * (1 + 0.12 * np.abs((up / (0.25 * stem)) % 1 - 0.5) * 2)
        _tube(colour, relief, cover, np.full_like(y, middle), ribs * (up < stem), (176, 160, 116))
        if i == 0:
            bend = rng.uniform(-0.35, 0.35) * width * (np.clip(up - stem, 0, None) / max(top, 1)) ** 2
            tube = np.full_like(y, 0.052 * width) * (up > 0.45 * stem)
            _tube(colour, relief, cover, middle + bend, tube, (34, 34, 36))


def _tube(colour: Field, relief: Field, cover: Field, middle: Field, radius: Field, paint: Colour) -> None:
    """An upright round tube; its middle and radius are given for each row, radius 0 where it is not. In place."""
    xs = np.arange(relief.shape[1], dtype=np.float32) + 0.5
    rows = np.s_[: len(middle)]
    away = np.abs(xs - middle)
    inside = (np.clip(radius - away + 0.5, 0, 1) * (radius > 0)).astype(np.float32)
    bulge = np.sqrt(np.clip(radius**2 - away**2, 0, None))
    colour[rows] = _over(colour[rows], paint, inside)
    relief[rows] = np.where(inside > 0.5, bulge, relief[rows])
    cover[rows] = np.maximum(cover[rows], inside)


def _shade(colour: Field, relief: Field, rng: np.random.Generator) -> Field:
    """Light on the height field: diffuse, a dull highlight, and the grain of moulded plastic."""
    height, width = relief.shape
    grained = relief + 0.05 * noise(height, width, 2.5, rng, 1)
    gy, gx = np.gradient(grained)
    steep = np.sqrt(gx**2 + gy**2 + 1)
    normal_light = (-gx * LIGHT[0] - gy * LIGHT[1] + LIGHT[2]) / steep
    diffuse = 0.35 + 0.65 * np.clip(normal_light, 0, None) / LIGHT[2]
    half = LIGHT + np.array([0, 0, 1], np.float32)
    half /= np.linalg.norm(half)
    shine = _to_40th(np.clip((-gx * half[0] - gy * half[1] + half[2]) / steep, 0, 1)) - _to_40th(half[2:])
    out: Field = (colour * diffuse[..., None] + 60 * np.clip(shine, 0, 1)[..., None]).astype(np.float32)
    return out


def _to_40th(base: Field) -> Field:
    """The 40th power by squaring, ten times as fast as numpy's."""
    eighth = ((base * base) ** 2) ** 2
    power: Field = eighth * (eighth * eighth) ** 2
    return power


def _glass_edge(picture: Field, x: int, y: int, width: int, height: int, reach: int) -> None:
    """The shade that the frame throws on the glass, along its upper and left edge, in place."""
    fall = (1 - 0.55 * np.exp(-np.arange(4 * reach) / reach)).astype(np.float32)
    n = min(4 * reach, width, height)
    picture[y : y + n, x : x + width] *= fall[:n, None, None]
    picture[y : y + height, x : x + n] *= fall[None, :n, None]
