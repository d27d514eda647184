"""Flat pictures of what is printed: the slip of an analyser, the rating plate of an appliance."""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from training.render.dots import OWN, dots_wide, ink_of, write_dots
from training.render.faces import Row
from training.render.lettering import text_width, write
from training.render.picture import Box, Field, Image, Quad, Role, as_quad, blur, map_boxes, noise, rect
from training.render.styles import PlateStyle, SlipStyle


def render_slip(
    head: Sequence[str], rows: Sequence[Row], foot: Sequence[str], style: SlipStyle, rng: np.random.Generator
) -> tuple[Image, tuple[Box, ...]]:
    """A printed slip: lines of head (first one in the middle), a rule, the rows, a rule, lines of foot.

    Returns the picture (RGB and cover) and the boxes: display (the paper), and label, value, unit of every row.
    """
    # Drawn in the dots of the print head, then brought to pixels: two or three pixels a dot.
    pitch = 3 if style.face == OWN else 2
    size = 7 if style.face == OWN else max(style.size // pitch, 9)
    double = 2 if style.face == OWN else 1  # print heads draw the small table twice as large
    step = round(size * style.leading) + 1
    widest = [max((dots_wide(row[i], style.face, size) for row in rows), default=0) for i in range(3)]
    lines_wide = max((dots_wide(line, style.face, size) for line in (*head, *foot)), default=0)
    needed = max(sum(widest) + 2 * size, lines_wide)
    wide = max(style.width // (pitch * double), round(needed * 1.17))  # paper as wide as the print needs
    border = max(wide // 14, 3)
    lines = len(head) + len(rows) + len(foot) + 2
    tall = lines * step + 9 * step // 2
    raster = np.zeros((tall, wide), np.uint8)
    _, value_w, unit_w = widest
    x_unit = wide - border - unit_w
    x_value = x_unit - value_w - size // 2 - 1
    boxes = [Box("display", rect(0, 0, wide, tall))]
    y = 2 * step
    rule = style.rule * ((wide - 2 * border) // max(dots_wide(style.rule, style.face, size), 1))
    for index, line in enumerate((*head, rule)):
        x = (wide - dots_wide(line, style.face, size)) // 2 if index == 0 else border
        write_dots(raster, x, y, line, style.face, size)
        y += step
    for label, value, unit in rows:
        right = x_value + value_w - dots_wide(value, style.face, size)
        x_number = right if style.values == "right" else x_value
        parts: dict[Role, tuple[int, str]] = {
            "label": (border, label),
            "value": (x_number, value),
            "unit": (x_unit, unit),
        }
        for role, (x, text) in parts.items():
            if text:
                quad = write_dots(raster, x, y, text, style.face, size)
                boxes.append(Box(role, quad, label, value, unit))
        y += step
    for line in (rule, *foot):
        write_dots(raster, border, y, line, style.face, size)
        y += step
    if double > 1:
        raster = np.repeat(np.repeat(raster, 2, axis=0), 2, axis=1)
    scale = np.diag([pitch * double, pitch * double, 1.0])
    ink = ink_of(raster, pitch, 0.92 if style.dots else 1.0, "round" if style.dots else "square")
    paper = _printed(ink, style, rng)
    return _curled(_torn(paper, style, rng), map_boxes(boxes, scale), style.curl, rng)


def _printed(ink: Image, style: SlipStyle, rng: np.random.Generator) -> Image:
    """Ink on thermal paper: it spreads a little, fades in bands, and misses dead columns."""
    height, width = ink.shape
    dark = np.clip(blur(ink.astype(np.float32), 0.8) / 200, 0, 1)  # the dots run together
    bands = np.interp(np.arange(height), np.linspace(0, height, 7), rng.uniform(0, 1, 7)).astype(np.float32)
    dark *= (1 - style.fade * bands)[:, None] * (0.93 + 0.07 * noise(height, width, 6, rng, 2))
    for column in rng.integers(width // 12, width - width // 12, style.dead_dots):
        dark[:, int(column) : int(column) + 2] *= 0.25
    sheet = np.array(style.paper, np.float32) * (1 + 0.008 * noise(height, width, 9, rng, 3))[..., None]
    dark = np.clip(dark, 0, 0.95)[..., None]
    return np.clip(sheet * (1 - dark) + np.array(style.ink, np.float32) * dark, 0, 255).astype(np.uint8)


def _torn(paper: Image, style: SlipStyle, rng: np.random.Generator) -> Image:
    """Cover with the teeth of the cutter at head and foot."""
    height, width = paper.shape[:2]
    tooth = width / int(rng.integers(34, 48))
    saw = np.abs((np.arange(width) / tooth) % 1 - 0.5) * 2 * 0.45 * tooth
    rough = np.interp(np.arange(width), np.linspace(0, width, 60), rng.uniform(0, 0.2 * tooth, 60))
    rows = np.arange(height)[:, None]
    cover = (rows > saw + rough) & (rows < height - 1 - saw - rough[::-1])
    return np.dstack([paper, (cover * 255).astype(np.uint8)])


def _curled(
    paper: Image, boxes: Sequence[Box], amount: float, rng: np.random.Generator
) -> tuple[Image, tuple[Box, ...]]:
    """The paper bent as it comes off its roll: both ends rise, so they look shorter, nearer and shaded."""
    if amount <= 0:
        return paper, tuple(boxes)
    height, width = paper.shape[:2]
    along = np.linspace(-1, 1, 801)
    ends = rng.uniform(0.45, 1.0, 2) * amount
    slope = np.where(along < 0, ends[0], ends[1]) * np.sign(along) * np.abs(along) ** 3  # radians
    shown = np.concatenate([[0], np.cumsum((np.cos(slope[1:]) + np.cos(slope[:-1])) / 2)]) * height / 800
    lift = np.concatenate([[0], np.cumsum((np.sin(slope[1:]) + np.sin(slope[:-1])) / 2)])
    lift = (lift - lift.min()) * height / 800
    tall = int(shown[-1])
    source = np.interp(np.arange(tall), shown, np.linspace(0, height, 801))
    nearer = 1 + np.interp(source, np.linspace(0, height, 801), lift) / (3.2 * height)
    wide = int(width * nearer.max()) + 2
    xs = (np.arange(wide)[None, :] - wide / 2) / nearer[:, None] + width / 2
    ys = np.repeat(source[:, None], wide, axis=1)
    out = cv2.remap(paper, xs.astype(np.float32), ys.astype(np.float32), cv2.INTER_LINEAR, borderValue=(0, 0, 0, 0))
    angle = np.interp(source, np.linspace(0, height, 801), slope)
    light = (1 - 0.35 * np.clip(np.sin(angle), -1, 1) ** 2 - 0.12 * np.sin(angle)).astype(np.float32)
    out[..., :3] = np.clip(out[..., :3] * light[:, None, None], 0, 255)

    def bent(quad: Quad) -> Quad:
        points = np.array(quad)
        y = np.interp(points[:, 1], np.linspace(0, height, 801), shown)
        grow = 1 + np.interp(points[:, 1], np.linspace(0, height, 801), lift) / (3.2 * height)
        return as_quad(np.c_[(points[:, 0] - width / 2) * grow + wide / 2, y])

    return out.astype(np.uint8), tuple(replace(box, quad=bent(box.quad)) for box in boxes)


def render_plate(
    heading: str, rows: Sequence[Row], notes: Sequence[str], style: PlateStyle, rng: np.random.Generator
) -> tuple[Image, tuple[Box, ...]]:
    """A rating plate: a heading, rows of label, value and unit, small notes at the foot.

    Returns the picture (RGB and cover) and the boxes: display (the plate), and label, value, unit of every row.
    """
    size, wide = style.size, style.width
    border, step = round(1.5 * size), round(1.9 * size)
    small = round(0.62 * size)
    top = border + round(2.3 * size)
    tall = top + len(rows) * step + len(notes) * round(1.5 * small) + round(1.9 * size)
    mask = np.zeros((tall, wide), np.uint8)
    inner = (border, wide - border)
    if style.heading == "bar":
        mask[border - size // 3 : border + round(1.55 * size), inner[0] : inner[1]] = 255
        bar = np.zeros_like(mask)
        write(bar, wide / 2, border, heading, style.heading_font, size, "middle")
        mask = np.where(bar > 0, 255 - bar, mask).astype(np.uint8)
    else:
        write(mask, wide / 2, border, heading, style.heading_font, round(1.15 * size), "middle")
    boxes = [Box("display", rect(0, 0, wide, tall))]
    x_value = round(style.value_at * wide)
    for index, (label, value, unit) in enumerate(rows):
        y = top + index * step + (step - 1.2 * size) / 2
        boxes.append(Box("label", write(mask, border + size // 2, y, label, style.font, size), label, value, unit))
        boxes.append(Box("value", write(mask, x_value, y, value, style.font, size), label, value, unit))
        if unit:
            x = x_value + text_width(value, style.font, size) + 0.45 * size
            boxes.append(Box("unit", write(mask, x, y, unit, style.font, size), label, value, unit))
    if style.grid:
        line = max(size // 18, 2)
        for index in range(len(rows) + 1):
            mask[top + index * step : top + index * step + line, inner[0] : inner[1]] = 255
        for x in (inner[0], x_value - size // 2, inner[1] - line):
            mask[top : top + len(rows) * step + line, x : x + line] = 255
    y = top + len(rows) * step + round(0.7 * size)
    for note in notes:
        write(mask, border + size // 2, y, note, style.font, small)
        y += round(1.5 * small)
    return _metal(mask, style, border, rng), tuple(boxes)


def _metal(mask: Image, style: PlateStyle, border: int, rng: np.random.Generator) -> Image:
    """Print on a sheet of metal, with its corners, fixings and wear."""
    height, width = mask.shape
    speckle = rng.standard_normal((height, width)).astype(np.float32)
    streaks = cv2.blur(speckle, (max(width // 12, 3), 1)).astype(np.float32)
    streaks /= max(float(streaks.std()), 1e-6)
    sheet = 1 + 0.035 * style.brushed * streaks + 0.03 * noise(height, width, width / 3, rng, 2)
    out: Field = np.array(style.metal, np.float32) * sheet[..., None]
    ink = mask.astype(np.float32) / 255
    worn = np.clip(noise(height, width, width / 6, rng, 4) - 1.25, 0, 0.6) * style.wear
    ink *= 1 - np.clip(worn, 0, 0.7)
    if style.engraved:  # cut letters: dark on the side of the light, bright on the other
        edge = blur(ink, 1.2)
        relief = np.roll(edge, (2, 2), (0, 1)) - np.roll(edge, (-2, -2), (0, 1))
        out *= (1 + 0.5 * relief)[..., None]
    out = out * (1 - 0.94 * ink[..., None]) + np.array(style.ink, np.float32) * 0.94 * ink[..., None]
    out *= (1 - 0.25 * style.wear * np.clip(noise(height, width, width / 4, rng, 5) - 0.8, 0, 1))[..., None]
    for _ in range(int(14 * style.wear)):
        start = rng.uniform((0, 0), (width, height))
        end = start + rng.normal(0, width / 12, 2)
        scratch = np.zeros((height, width), np.uint8)
        cv2.line(scratch, start.astype(int).tolist(), end.astype(int).tolist(), 255, 1, cv2.LINE_AA)
        out += (scratch.astype(np.float32) / 255 * rng.uniform(-18, 30))[..., None]
    cover = np.zeros((height, width), np.uint8)
    _rounded_rect(cover, (0, 0, width - 1, height - 1), round(0.02 * width))
    if style.fixing != "glued":
        _fixings(out, style, border)
    picture = np.clip(out, 0, 255).astype(np.uint8)
    return np.dstack([picture, cover])


def _fixings(out: Field, style: PlateStyle, border: int) -> None:
    """Rivets or screws in the four corners, in place."""
    height, width = out.shape[:2]
    r = border * 0.3
    ys, xs = np.mgrid[0:height, 0:width].astype(np.float32)
    for x in (border * 0.5, width - border * 0.5):
        for y in (border * 0.5, height - border * 0.5):
            dx, dy = (xs - x) / r, (ys - y) / r
            away = np.sqrt(dx**2 + dy**2)
            dome = np.clip(1 - away**2, 0, 1)
            shade = 0.75 + 0.45 * dome - 0.25 * (dx + dy) * (away < 1)
            rim = np.exp(-(((away - 1.05) / 0.14) ** 2))
            edge = np.clip((1 - away) * r + 0.5, 0, 1)[..., None]
            out[:] = out * (1 - 0.45 * rim[..., None])
            out[:] = out * (1 - edge) + np.array(style.metal, np.float32) * np.clip(shade, 0, 1.3)[..., None] * edge
            if style.fixing == "screws":
                slot = (np.abs(dx * 0.8 + dy * 0.6) < 0.16) & (away < 0.85)
                out[slot] *= 0.45


def _rounded_rect(mask: Image, box: tuple[int, int, int, int], radius: int) -> None:
    x0, y0, x1, y1 = box
    cv2.rectangle(mask, (x0 + radius, y0), (x1 - radius, y1), 255, -1)
    cv2.rectangle(mask, (x0, y0 + radius), (x1, y1 - radius), 255, -1)
    for x in (x0 + radius, x1 - radius):
        for y in (y0 + radius, y1 - radius):
            cv2.circle(mask, (x, y), radius, 255, -1, cv2.LINE_AA)
