"""Flat pictures of display windows, as they are before any camera: one number, or rows of text."""

from collections.abc import Sequence

import cv2
import numpy as np

from training.render.dots import OWN, dots_wide, ink_of, write_dots
from training.render.lettering import text_width, write
from training.render.picture import Box, Image, Role, around, blur, map_boxes, noise, rect, shift_boxes
from training.render.segments import Stroke, lay_out
from training.render.styles import DotStyle, Look, SegmentStyle

Row = tuple[str, str, str]
"""label, value, unit, each as shown"""


def render_seven_segment(
    text: str, unit: str, style: SegmentStyle, rng: np.random.Generator
) -> tuple[Image, tuple[Box, ...]]:
    """A window with one number.

    text: what the digits show (see `segments.GLYPHS`); unit: as printed on the glass, or "".
    Returns the picture (RGB) and the boxes: display, value, unit (when there is one), and one
    "char" for each sign with ink.
    """
    h = style.height
    strokes, ink_quads, width = lay_out(text, style.shape, h, style.cells)
    unit_px, word_px = max(round(style.unit_size * h), 8), max(round(0.13 * h), 8)
    unit_wide = text_width(unit, style.font, unit_px) if unit else 0.0
    beside = style.unit_at in ("foot", "head")
    pad_x, pad_y = style.margin[0] * h, style.margin[1] * h
    left, top = pad_x, pad_y + (1.3 * unit_px if style.unit_at == "above" else 0)
    total_w = 2 * pad_x + width + (0.12 * h + unit_wide if beside else 0)
    total_w = max(total_w, unit_wide + 2 * pad_x)
    total_h = top + h + pad_y + (1.2 * unit_px if style.unit_at == "below" else 0)
    shape = (round(total_h), round(total_w))

    ink, ghost = np.zeros(shape, np.uint8), np.zeros(shape, np.uint8)
    _fill(ink, [s for s in strokes if s.lit], left, top)
    if style.look.ghost:
        _fill(ghost, [s for s in strokes if not s.lit], left, top)
    if style.shape.rounding:
        ink, ghost = (_rounded(mask, style.shape.rounding * style.shape.thickness * h) for mask in (ink, ghost))
    if style.dim:
        ink = _dimmed(ink, [s for s in strokes if s.lit], left, top, style.dim, rng)

    chars = tuple(Box("char", quad, value=char) for char, quad in zip(text, ink_quads, strict=True) if quad)
    boxes = list(shift_boxes(chars, left, top))
    if boxes:
        boxes.insert(0, Box("value", around(box.quad for box in boxes), "main", text, unit))
    if unit:
        x = left + width + 0.12 * h if beside else left + width - unit_wide
        over = {"foot": h - 1.05 * unit_px, "head": 0.0, "below": h + 0.25 * unit_px, "above": -1.45 * unit_px}
        quad = write(ink, x, top + over[style.unit_at], unit, style.font, unit_px)
        boxes.append(Box("unit", quad, "main", unit=unit))
    _legends(ink, ghost, style, word_px, top - 0.5 * pad_y if style.unit_at != "above" else 0.5 * pad_y)
    boxes.append(Box("display", rect(0, 0, shape[1], shape[0])))
    return paint(ink, ghost, style.look, h, rng), tuple(boxes)


def render_dot_display(
    rows: Sequence[Row], heading: str, style: DotStyle, rng: np.random.Generator
) -> tuple[Image, tuple[Box, ...]]:
    """A text display of dots with a heading and rows of label, value and unit.

    Returns the picture (RGB) and the boxes: display, and label, value, unit of every row.
    """
    raster, boxes = dot_raster(rows, heading, style)
    ink = ink_of(raster, style.pitch, style.fill, style.dot)
    scale = np.diag([style.pitch, style.pitch, 1.0])
    return paint(ink, np.zeros_like(ink), style.look, style.pitch * 7, rng), map_boxes(boxes, scale)


def dot_raster(rows: Sequence[Row], heading: str, style: DotStyle) -> tuple[Image, tuple[Box, ...]]:
    """The same before it has pixels: which dots are lit (0 or 255), and the boxes in dots."""
    face, size = style.face, style.size
    line = size if face == OWN else round(size * 1.1)
    label_w, value_w, unit_w = (max((dots_wide(row[i], face, size) for row in rows), default=0) for i in range(3))
    x_value = style.border + label_w + style.column_gap
    x_unit = x_value + value_w + style.unit_gap
    foot = "   ".join(style.foot)
    words = max(dots_wide(text, face, size) for text in (heading, foot))
    wide = max(x_unit + unit_w, style.border + words) + style.border
    step = line + style.leading
    lines = len(rows) + bool(heading) + bool(style.foot)
    head_room = 3 if heading else 0
    tall = 2 * style.border + lines * step - style.leading + head_room + (3 if style.foot else 0)
    raster = np.zeros((tall, wide), np.uint8)
    boxes = [Box("display", rect(0, 0, wide, tall))]
    y = style.border
    if heading:
        _dot_heading(raster, y, heading, style, line)
        y += step + head_room
    for index, (label, value, unit) in enumerate(rows):
        parts: dict[Role, tuple[int, str]] = {
            "label": (style.border, label),
            "value": (x_value, value),
            "unit": (x_unit, unit),
        }
        if style.values == "right":
            parts["value"] = (x_value + value_w - dots_wide(value, face, size), value)
        for role, (x, text) in parts.items():
            if text:
                quad = write_dots(raster, x, y, text, face, size)
                boxes.append(Box(role, quad, label, value, unit))
        if style.raised_from == index:
            raster[y - 2 : y + line + 1, 3:-3] = 255 - raster[y - 2 : y + line + 1, 3:-3]
        if style.rules and index + 1 < len(rows):
            raster[y + line + style.leading // 2, style.border : -style.border] = 255
        y += step
    if style.foot:
        raster[y, 2:-2] = 255
        for i, word in enumerate(style.foot):
            middle = (2 * i + 1) * wide // (2 * len(style.foot))
            write_dots(raster, middle - dots_wide(word, face, size) // 2, y + 3, word, face, size)
    return raster, tuple(boxes)


def paint(ink: Image, ghost: Image, look: Look, unit_length: float, rng: np.random.Generator) -> Image:
    """Ink and ghosts on their ground, as colours.

    ink, ghost: masks of the same shape. unit_length: pixels that shadow and glow are measured by
    (the height of the digits).
    """
    height, width = ink.shape
    lit = ink.astype(np.float32) / 255
    ground = np.empty((height, width, 3), np.float32)
    ground[:] = look.ground
    if look.unevenness:
        turn = rng.uniform(0, 2 * np.pi)
        xs, ys = np.linspace(-1, 1, width, dtype=np.float32), np.linspace(-1, 1, height, dtype=np.float32)[:, None]
        slope = 0.5 + 0.5 * np.clip(np.cos(turn) * xs + np.sin(turn) * ys, -1, 1)
        patches = 0.1 * noise(height, width, max(width, height) / 2, rng, 1)
        ground *= (1 - look.unevenness * np.clip(slope + patches, 0, 1.4))[..., None]
    if look.shadow:
        away = max(0.02 * unit_length, 1.0)
        move = np.array([[1, 0, away], [0, 1, away * 1.3]], np.float32)
        soft = blur(cv2.warpAffine(lit, move, (width, height)).astype(np.float32), 0.5 * away + 0.4)
        ground *= (1 - look.shadow * look.contrast * soft)[..., None]
    cover = look.contrast * lit
    if look.ghost:
        cover = np.maximum(cover, look.ghost * (ghost.astype(np.float32) / 255))
    out = ground * (1 - cover[..., None]) + np.array(look.ink, np.float32) * cover[..., None]
    if look.glow:
        near = blur(lit, 0.05 * unit_length + 0.5)
        halo = near + 0.4 * blur(lit, 0.2 * unit_length + 1)
        core = blur(lit, 0.02 * unit_length + 0.4) * lit
        out += (0.45 * look.glow * halo)[..., None] * np.array(look.ink, np.float32)
        out += (55 * look.glow * core)[..., None]  # the middle of a bright bar burns out towards white
    return np.clip(out, 0, 255).astype(np.uint8)


def _fill(mask: Image, strokes: Sequence[Stroke], left: float, top: float) -> None:
    """Fill polygons on a mask with soft edges, to a sixteenth of a pixel."""
    for stroke in strokes:
        points = np.round((stroke.points + np.array((left, top))) * 16).astype(np.int32)
        cv2.fillPoly(mask, [points], 255, cv2.LINE_AA, shift=4)


def _dimmed(
    ink: Image, strokes: Sequence[Stroke], left: float, top: float, most: float, rng: np.random.Generator
) -> Image:
    """The ink with each segment weaker by its own share, up to ``most``."""
    kept = np.full(ink.shape, 255, np.uint8)
    for stroke in strokes:
        points = np.round((stroke.points + np.array((left, top))) * 16).astype(np.int32)
        cv2.fillPoly(kept, [points], round(255 * (1 - rng.uniform(0, most))), cv2.LINE_AA, shift=4)
    weaker: Image = (ink.astype(np.uint16) * kept // 255).astype(np.uint8)
    return weaker


def _rounded(mask: Image, radius: float) -> Image:
    """Corners rounded: blurred and brought back to an edge."""
    if radius < 0.6:
        return mask
    soft = blur(mask.astype(np.float32), radius * 0.6) / 255
    steep = min(radius, 6.0)
    edge: Image = (np.clip((soft - 0.5) * steep + 0.5, 0, 1) * 255).astype(np.uint8)
    return edge


def _legends(ink: Image, ghost: Image, style: SegmentStyle, size: int, middle: float) -> None:
    """Small words in one line above the digits, lit ones and ghosts mixed."""
    words = [(word, ink) for word in style.legends]
    words += [(word, ghost) for word in style.ghost_legends]
    x = 0.12 * style.height
    for word, mask in words:
        wide = text_width(word, style.font, size)
        if x + wide > mask.shape[1] - 0.1 * style.height:
            return
        write(mask, x, middle - 0.6 * size, word, style.font, size)
        x += wide + 1.1 * size


def _dot_heading(raster: Image, y: int, heading: str, style: DotStyle, line: int) -> None:
    wide = raster.shape[1]
    x = (wide - dots_wide(heading, style.face, style.size)) // 2
    if style.heading == "bar":
        raster[y - 2 : y + line + 2] = 255
        ink = np.zeros_like(raster)
        write_dots(ink, x, y, heading, style.face, style.size)
        raster[ink > 0] = 0
        return
    write_dots(raster, style.border if style.heading == "ruled" else x, y, heading, style.face, style.size)
    if style.heading == "ruled":
        raster[y + line + 2, style.border : wide - style.border] = 255
