"""What a phone makes of a flat picture: place, lamp, glare, shadow, lens, sensor, JPEG.

Light is added up in linear terms and only brought to sRGB at the end, as a camera does; so glare
burns out and shadows keep their colour.
"""

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from PIL import Image as Pil

from training.render.picture import (
    Box,
    Field,
    Image,
    Matrix,
    Quad,
    as_quad,
    blur,
    find,
    map_boxes,
    map_points,
    noise,
    rect,
    to_linear,
    to_srgb,
)
from training.render.scene import BACKGROUNDS, HANDS, background, finger, holding

Surface = Literal["glass", "paper", "metal"]


@dataclass(frozen=True, slots=True)
class Severity:
    """How hard a photo is. Ranges are drawn evenly; blur is in pixels of a picture 1000 wide."""

    tilt: float
    """degrees off the camera's axis, at most"""
    roll: float
    glare: tuple[float, float]
    """light of the brightest reflection; 1 is white"""
    glare_chance: float
    shadow_chance: float
    shadow_depth: tuple[float, float]
    lamp: tuple[float, float]
    """fall of the light over the picture"""
    focus: tuple[float, float]
    motion: tuple[float, float]
    grain: tuple[float, float]
    """noise of the sensor at middle grey, linear"""
    exposure: tuple[float, float]
    balance: float
    """error of the white balance, share per channel"""
    jpeg: tuple[int, int]
    haze: tuple[float, float]


SEVERITIES = (
    Severity(
        tilt=5, roll=2, glare=(0.05, 0.2), glare_chance=0.3, shadow_chance=0.2, shadow_depth=(0.1, 0.25),
        lamp=(0.05, 0.2), focus=(0.2, 0.5), motion=(0, 0.3), grain=(0.002, 0.006), exposure=(0.9, 1.1),
        balance=0.04, jpeg=(85, 94), haze=(0, 0.01),
    ),
    Severity(
        tilt=15, roll=7, glare=(0.15, 0.6), glare_chance=0.6, shadow_chance=0.5, shadow_depth=(0.2, 0.5),
        lamp=(0.15, 0.5), focus=(0.4, 0.9), motion=(0, 1.0), grain=(0.006, 0.016), exposure=(0.75, 1.2),
        balance=0.09, jpeg=(70, 90), haze=(0, 0.03),
    ),
    Severity(
        tilt=27, roll=15, glare=(0.4, 1.6), glare_chance=0.85, shadow_chance=0.75, shadow_depth=(0.35, 0.75),
        lamp=(0.3, 0.9), focus=(0.7, 1.8), motion=(0, 3.0), grain=(0.014, 0.04), exposure=(0.4, 1.5),
        balance=0.16, jpeg=(35, 75), haze=(0.01, 0.1),
    ),
)  # fmt: skip
"""easy, usual, hard"""


def take_photo(
    image: Image,
    boxes: Sequence[Box],
    severity: int,
    rng: np.random.Generator,
    *,
    size: tuple[int, int] = (1024, 768),
    aim: Quad | None = None,
    fill: float = 0.7,
    surface: Surface = "glass",
    behind: str | None = None,
    hand: str | None = None,
    compress: bool = True,
) -> tuple[Image, tuple[Box, ...]]:
    """Photograph a flat picture.

    image: RGB, or RGB and cover. severity: 0 easy, 1 usual, 2 hard. size: width and height of the photo.
    aim: what the camera points at and what fills `fill` of the frame (if None: the thing without its hose). behind: a
    name of `scene.BACKGROUNDS`; hand: a name of `scene.HANDS` to hold it. compress: put it through JPEG.
    Returns the photo (RGB) and the boxes in its pixels.
    """
    hard = SEVERITIES[severity]
    width, height = size
    matrix = camera(aim or solid(image), size, fill, hard, rng)
    placed = map_boxes(boxes, matrix)
    kinds = sorted(BACKGROUNDS)
    light = background(behind or kinds[int(rng.integers(len(kinds)))], height, width, rng)
    light = blur(light, width / 1000 * rng.uniform(0.8, 4))
    thing, cover = _project(image, matrix, size)
    light *= (1 - _contact_shadow(cover, width, rng))[..., None]
    light = light * (1 - cover[..., None]) + thing
    windows = find(placed, "display")
    if hand:
        body = as_quad(map_points(solid(image), matrix))
        holding(light, body, windows[0].quad if windows else body, hand, rng)
    light *= lamp(height, width, hard, rng)[..., None]
    thrown = reflections(height, width, [box.quad for box in windows], surface, hard, rng)
    light += thrown if surface == "glass" else thrown * cover[..., None]
    photo = develop(light, hard, rng)
    if compress:
        photo = decode(encode_jpeg(photo, int(rng.integers(*hard.jpeg))))
    return photo, placed


def camera(aim: Quad, size: tuple[int, int], fill: float, hard: Severity, rng: np.random.Generator) -> Matrix:
    """The homography of a pinhole camera that looks at `aim` from a little beside; aim fills `fill` of the frame."""
    width, height = size
    (x0, y0), (x1, y1) = np.min(aim, axis=0), np.max(aim, axis=0)
    scale = fill * min(width / (x1 - x0), height / (y1 - y0))
    yaw, pitch = (math.radians(rng.uniform(-hard.tilt, hard.tilt)) for _ in range(2))
    roll = math.radians(rng.uniform(-hard.roll, hard.roll))
    cy, sy, cp, sp, cr, sr = (f(a) for a in (yaw, pitch, roll) for f in (math.cos, math.sin))
    turn = (
        np.array([[cr, -sr, 0], [sr, cr, 0], [0, 0, 1]])
        @ np.array([[1, 0, 0], [0, cp, -sp], [0, sp, cp]])
        @ np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    )
    focal = 1.15 * max(width, height)  # a phone's main camera sees about 70 degrees over the diagonal
    away = focal / scale
    drift = rng.uniform(-0.25, 0.25, 2) * (1 - fill) * np.array([width, height]) / scale
    inner = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    outer = np.c_[turn[:, 0], turn[:, 1], [drift[0], drift[1], away]]
    centre = np.array([[1, 0, -(x0 + x1) / 2], [0, 1, -(y0 + y1) / 2], [0, 0, 1]])
    matrix = inner @ outer @ centre
    scaled: Matrix = matrix / matrix[2, 2]
    return scaled


def _project(image: Image, matrix: Matrix, size: tuple[int, int]) -> tuple[Field, Field]:
    """The picture in the frame as linear light (times its cover) and its cover."""
    rgb = to_linear(image[..., :3])
    cover = image[..., 3].astype(np.float32) / 255 if image.shape[2] == 4 else np.ones(image.shape[:2], np.float32)
    x, y = image.shape[1] / 2, image.shape[0] / 2
    scale = float(np.linalg.norm(np.subtract(*map_points([(x, y), (x + 1, y)], matrix))))
    sheet: Field = np.dstack([rgb * cover[..., None], cover])
    if scale < 1:  # fine detail would alias: blur it to the pixel of the photo first
        sheet = blur(sheet, 0.45 * math.sqrt(1 / scale**2 - 1) + 0.01)
    # Picture coordinates run from corner to corner of a pixel, OpenCV's from middle to middle.
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    centred = np.linalg.inv(half) @ matrix @ half
    seen = cv2.warpPerspective(sheet, centred, size, borderValue=(0, 0, 0, 0)).astype(np.float32)
    return seen[..., :3], seen[..., 3]


def solid(image: Image) -> Quad:
    """The rectangle in which the rows of the thing have most of their width (a body without its hose)."""
    if image.shape[2] == 3:
        return rect(0, 0, image.shape[1], image.shape[0])
    full = (image[..., 3] > 127).mean(axis=1) > 0.5
    rows = np.flatnonzero(full)
    return rect(0, int(rows[0]), image.shape[1], int(rows[-1] - rows[0]))


def _contact_shadow(cover: Field, width: int, rng: np.random.Generator) -> Field:
    """The shadow that the thing throws on what is behind it."""
    reach = width * rng.uniform(0.004, 0.03)
    turn = rng.uniform(0.2, 1.4)
    move = np.array([[1, 0, reach * math.cos(turn)], [0, 1, reach * math.sin(turn)]], np.float32)
    moved = cv2.warpAffine(cover, move, (cover.shape[1], cover.shape[0])).astype(np.float32)
    near = blur(cover, 0.3 * reach + 1)
    shadow: Field = 0.5 * blur(moved, 0.7 * reach + 1) + 0.3 * near
    return shadow


def lamp(height: int, width: int, hard: Severity, rng: np.random.Generator) -> Field:
    """How much light falls where: a slope, a lamp's cone, the lens's dark corners, perhaps a shadow edge."""
    ys, xs = np.linspace(-1, 1, height, dtype=np.float32)[:, None], np.linspace(-1, 1, width, dtype=np.float32)
    fall, turn = rng.uniform(*hard.lamp), rng.uniform(0, 2 * math.pi)
    slope = np.cos(turn) * xs + np.sin(turn) * ys
    px, py = rng.uniform(-0.8, 0.8, 2)
    cone = np.exp(-((xs - px) ** 2 + (ys - py) ** 2) / rng.uniform(0.8, 2.5))
    field = (1 - 0.35 * fall * slope) * (1 - fall * 0.7 + fall * cone) * (1 - 0.12 * (xs**2 + ys**2))
    if rng.random() < hard.shadow_chance:
        turn = rng.uniform(0, 2 * math.pi)
        wavy = 0.08 * noise(height, width, width / 2, rng, 1)
        edge = np.cos(turn) * xs + np.sin(turn) * ys + rng.uniform(-0.5, 0.5) + wavy
        field = field * (1 - rng.uniform(*hard.shadow_depth) * _step(-edge / rng.uniform(0.01, 0.12)))
    shaded: Field = np.clip(field, 0.03, None).astype(np.float32)
    return shaded


def reflections(
    height: int, width: int, windows: Sequence[Quad], surface: Surface, hard: Severity, rng: np.random.Generator
) -> Field:
    """Light that the glass, paper or metal throws back, linear, height x width x 3."""
    out = np.zeros((height, width), np.float32)
    for quad in windows:
        inside = np.zeros((height, width), np.uint8)
        cv2.fillPoly(inside, [np.round(np.array(quad) * 16).astype(np.int32)], 255, cv2.LINE_AA, shift=4)
        glass = inside.astype(np.float32) / 255
        out += glass * rng.uniform(0.2, 1) * 0.02 * hard.glare[1] * (surface == "glass")
        if rng.random() < hard.glare_chance:
            out += glass * _glare(height, width, quad, surface, float(rng.uniform(*hard.glare)), rng)
    tint = np.array([1, rng.uniform(0.94, 1), rng.uniform(0.85, 1.02)], np.float32)
    return out[..., None] * tint


def _glare(height: int, width: int, quad: Quad, surface: Surface, strength: float, rng: np.random.Generator) -> Field:
    """One reflection: a lamp, a tube or a window on glass; a broad sheen on paper and metal."""
    corners = np.array(quad)
    sides = np.array([corners[1] - corners[0], corners[3] - corners[0]])
    middle = corners.mean(axis=0) + rng.uniform(-0.55, 0.55, 2) @ sides
    long = float(np.linalg.norm(corners[1] - corners[0]))
    ys, xs = np.mgrid[0:height, 0:width].astype(np.float32)
    turn = rng.uniform(0, math.pi)
    u = ((xs - middle[0]) * math.cos(turn) + (ys - middle[1]) * math.sin(turn)) / long
    v = (-(xs - middle[0]) * math.sin(turn) + (ys - middle[1]) * math.cos(turn)) / long
    if surface != "glass":
        broad = 0.55 if surface == "metal" else 0.8
        sheen: Field = 0.45 * strength * np.exp(-((u / broad) ** 2 + (v / (broad * 0.4)) ** 2))
        return sheen
    kind = int(rng.integers(3))
    if kind == 0:  # a lamp
        away = (u**2 + v**2) / rng.uniform(0.03, 0.1) ** 2
        lamp_spot: Field = strength * (np.exp(-(away**1.3)) + 0.3 * np.exp(-away / 6))
        return lamp_spot
    if kind == 1:  # a fluorescent tube
        tube: Field = 0.7 * strength * np.exp(-((v / rng.uniform(0.02, 0.06)) ** 2)) * _step((0.6 - np.abs(u)) / 0.02)
        return tube
    soft = rng.uniform(0.004, 0.03)  # a window with its cross bar
    pane = _step((0.32 - np.abs(u)) / soft) * _step((0.2 - np.abs(v)) / soft)
    window: Field = 0.35 * strength * pane * (1 - 0.7 * np.exp(-((u / 0.015) ** 2)))
    return window


def _step(x: Field) -> Field:
    """A soft step from 0 to 1 over a few units of x."""
    rise: Field = 1 / (1 + np.exp(np.clip(-x, -30, 30)))
    return rise


def develop(light: Field, hard: Severity, rng: np.random.Generator) -> Image:
    """Lens, sensor and the phone's own processing: blur, haze, noise, white balance, sharpening."""
    height, width = light.shape[:2]
    unit = max(width, height) / 1000
    light = blur(light, unit * rng.uniform(*hard.focus))
    shake = unit * rng.uniform(*hard.motion)
    if shake > 0.7:
        light = cv2.filter2D(light, -1, _motion(shake, rng.uniform(0, math.pi))).astype(np.float32)
    small = cv2.resize(light, (128, 128), interpolation=cv2.INTER_AREA).astype(np.float32)
    veil = blur(small, 12)
    light = light + rng.uniform(*hard.haze) + 0.04 * cv2.resize(veil, (width, height))
    light *= rng.uniform(*hard.exposure) * 0.58 / max(float(np.percentile(light, 92)), 0.04)
    light *= (1 + rng.uniform(-hard.balance, hard.balance, 3)).astype(np.float32)
    grain = rng.uniform(*hard.grain)
    speckle = rng.standard_normal(light.shape, np.float32)
    # The phone smooths colour more than brightness.
    speckle = 0.6 * speckle.mean(axis=2, keepdims=True) * 1.7 + 0.8 * blur(speckle, 1.1)
    light = light + grain * np.sqrt(np.clip(light, 0, None) / 0.2 + 0.04) * speckle
    light = np.where(light > 0.8, 0.8 + 0.2 * np.tanh((light - 0.8) / 0.2), light)  # a soft shoulder before white
    picture = to_srgb(light)
    fine = cv2.GaussianBlur(picture, (0, 0), 1.2 * max(unit, 0.7))
    return cv2.addWeighted(picture, 1.35, fine, -0.35, 0).astype(np.uint8)


def _motion(length: float, turn: float) -> Field:
    """The kernel of a straight shake of `length` pixels."""
    n = 2 * math.ceil(length / 2) + 3
    kernel = np.zeros((n, n), np.uint8)
    half = np.array([math.cos(turn), math.sin(turn)]) * length / 2
    ends = [np.round((np.array([n / 2 - 0.5, n / 2 - 0.5]) + s * half) * 16).astype(int).tolist() for s in (-1, 1)]
    cv2.line(kernel, ends[0], ends[1], 255, 1, cv2.LINE_AA, shift=4)
    spread = kernel.astype(np.float32)
    return spread / max(float(spread.sum()), 1.0)


def hide(photo: Image, quad: Quad, way: Literal["glare", "finger", "shade"], rng: np.random.Generator) -> Image:
    """Cover one thing in a photo (a minus, a point, a unit) so that nobody can read it.

    quad: its box in the photo. Returns a new photo.
    """
    corners = np.array(quad)
    middle = corners.mean(axis=0)
    reach = float(np.linalg.norm(corners - middle, axis=1).max())
    light = to_linear(photo)
    height, width = photo.shape[:2]
    if way == "finger":
        hand = sorted(HANDS)[int(rng.integers(len(HANDS)))]
        radius = 1.6 * reach + 0.012 * width
        tip = middle + rng.uniform(-0.2, 0.2, 2) * reach
        root = tip + np.array([rng.uniform(-0.3, 0.3), 1.0]) * height * 0.7
        bent = (tip + root) / 2 + np.array([0.1 * radius, 0])
        finger(light, [(float(x), float(y)) for x, y in (root, bent, tip)], (radius * 1.2, radius), hand, rng)
        return to_srgb(light)
    ys, xs = np.mgrid[0:height, 0:width].astype(np.float32)
    away = ((xs - middle[0]) ** 2 + (ys - middle[1]) ** 2) / (2.4 * reach + 3) ** 2
    spot = np.clip(1.5 * np.exp(-(away**2)), 0, 1)[..., None]
    if way == "glare":
        return to_srgb(light * (1 - spot) + spot * 1.6 + 0.2 * np.exp(-away / 6)[..., None])
    return to_srgb(light * (1 - spot) + 0.002 * spot)


def encode_jpeg(image: Image, quality: int, exif: bytes = b"") -> bytes:
    """An RGB picture as JPEG bytes with the EXIF block given."""
    out = io.BytesIO()
    Pil.fromarray(image).save(out, "JPEG", quality=quality, exif=exif, subsampling="4:2:0", optimize=True)
    return out.getvalue()


def decode(data: bytes) -> Image:
    """The RGB pixels of picture bytes as stored (EXIF orientation not applied)."""
    with Pil.open(io.BytesIO(data)) as picture:
        return np.array(picture.convert("RGB"), dtype=np.uint8)
