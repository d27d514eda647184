"""What is behind and around the thing photographed: walls, lagged pipes, casings, a hand.

Every background is linear light, height x width x 3, about 0..1 before the lamp is put on it.
"""

from collections.abc import Callable

import cv2
import numpy as np

from training.render.picture import Colour, Field, Quad, blur, noise, to_linear

Background = Callable[[int, int, np.random.Generator], Field]


def linear(colour: Colour) -> Field:
    """One sRGB colour as linear light."""
    return to_linear(np.array(colour, np.uint8))


def _flat(height: int, width: int, colour: Colour) -> Field:
    out = np.empty((height, width, 3), np.float32)
    out[:] = linear(colour)
    return out


def _pick(rng: np.random.Generator, *colours: Colour) -> Colour:
    return colours[int(rng.integers(len(colours)))]


def plaster(height: int, width: int, rng: np.random.Generator) -> Field:
    """A painted wall, rough or smooth, sometimes with a conduit on it."""
    paint = _pick(rng, (196, 192, 180), (172, 178, 176), (206, 200, 188), (150, 160, 158), (186, 170, 146))
    out = _flat(height, width, paint)
    grain = noise(height, width, width / 90, rng, 4)
    gy, gx = np.gradient(grain)
    bumps = rng.uniform(0.15, 0.7) * (gx + gy) + 0.05 * noise(height, width, width / 2, rng, 3)
    out *= np.clip(1 + bumps, 0.4, 1.5)[..., None]
    if rng.random() < 0.5:
        _pipe(out, float(rng.uniform(0.05, 0.95)) * width, 0.016 * width, linear((158, 160, 160)), rng)
    return out


def blocks(height: int, width: int, rng: np.random.Generator) -> Field:
    """A wall of bricks or concrete blocks, painted or not."""
    course = height * float(rng.uniform(0.1, 0.22))
    long = course * float(rng.uniform(2.0, 3.2))
    ys, xs = np.mgrid[0:height, 0:width].astype(np.float32)
    wobble = 0.02 * course * noise(height, width, course, rng, 2)
    row = np.floor((ys + wobble) / course)
    across = (xs + wobble) / long + 0.5 * (row % 2)
    in_joint = np.minimum(
        np.minimum((ys + wobble) % course, course - (ys + wobble) % course),
        np.minimum(across % 1, 1 - across % 1) * long,
    )
    joint = np.exp(-((in_joint / (0.045 * course)) ** 2))
    tone = 1 + 0.1 * np.sin(np.floor(across) * 12.9898 + row * 78.233)  # each block its own tone
    out = _flat(height, width, _pick(rng, (150, 148, 142), (168, 112, 88), (196, 194, 186), (132, 130, 126)))
    out *= (tone * (1 + 0.12 * noise(height, width, width / 60, rng, 4)))[..., None]
    out *= (1 - 0.45 * joint)[..., None]
    return out


def casing(height: int, width: int, rng: np.random.Generator) -> Field:
    """The enamelled sheet of a boiler, with a seam, its screws, and slots."""
    out = _flat(height, width, _pick(rng, (214, 216, 216), (120, 126, 132), (88, 92, 98), (190, 192, 188)))
    out *= (1 + 0.02 * noise(height, width, width / 2, rng, 2))[..., None]
    seam = int(rng.uniform(0.1, 0.9) * width)
    half = max(width // 420, 1)
    out[:, max(seam - half, 0) : seam + half] *= 0.25
    out[:, seam + half : seam + 2 * half] *= 1.3
    for y in np.arange(rng.uniform(0.05, 0.2), 1, 0.31):
        _dome(out, seam + 0.035 * width, y * height, 0.009 * width)
    if rng.random() < 0.6:
        left, top = rng.uniform(0.0, 0.7) * width, rng.uniform(0, 0.7) * height
        for i in range(int(rng.integers(4, 9))):
            y0 = int(top + i * 0.03 * height)
            y1 = y0 + max(int(0.01 * height), 2)
            out[y0:y1, int(left) : int(left + 0.22 * width)] *= 0.12
            out[y1 : y1 + max(height // 500, 1), int(left) : int(left + 0.22 * width)] *= 1.25
    return out


def lagging(height: int, width: int, rng: np.random.Generator) -> Field:
    """Lagged pipes side by side before a dim wall."""
    out = plaster(height, width, rng) * 0.5
    upright = rng.random() < 0.6
    if not upright:
        out = np.ascontiguousarray(out.transpose(1, 0, 2))
    across = out.shape[1]
    x = rng.uniform(-0.1, 0.15) * across
    while x < across:
        radius = float(rng.uniform(0.05, 0.14)) * across
        tone = linear(_pick(rng, (64, 66, 68), (188, 190, 192), (206, 200, 186), (120, 122, 118)))
        _pipe(out, x + radius, radius, tone, rng, tape=True)
        x += radius * 2 + rng.uniform(0.01, 0.16) * across
    return out if upright else np.ascontiguousarray(out.transpose(1, 0, 2))


def bench(height: int, width: int, rng: np.random.Generator) -> Field:
    """Wooden boards."""
    board = height / float(rng.uniform(2.2, 5))
    ys = np.arange(height, dtype=np.float32)[:, None] + rng.uniform(0, board)
    plank = np.floor(ys / board)
    short = noise(height, max(width // 24, 8), height / 18, rng, 4)
    stretch = cv2.resize(short, (width, height), interpolation=cv2.INTER_CUBIC)
    rings = np.sin(5 * stretch + 2 * noise(height, width, width, rng, 1) + 3 * plank)
    tone = 1 + 0.12 * np.sin(plank * 12.9898) + 0.07 * rings + 0.04 * noise(height, width, 6, rng, 2)
    crack = np.exp(-((np.minimum(ys % board, board - ys % board) / max(height / 500, 0.7)) ** 2))
    out = _flat(height, width, _pick(rng, (150, 112, 72), (176, 142, 100), (108, 84, 62), (132, 126, 116)))
    boards: Field = out * np.clip(tone * (1 - 0.7 * crack), 0.1, 1.6)[..., None]
    return boards


BACKGROUNDS: dict[str, Background] = {
    "plaster": plaster,
    "blocks": blocks,
    "casing": casing,
    "lagging": lagging,
    "bench": bench,
}


def background(kind: str, height: int, width: int, rng: np.random.Generator) -> Field:
    """One of `BACKGROUNDS` by name. Drawn at half size: it is out of focus anyway."""
    small = BACKGROUNDS[kind](height // 2 + 1, width // 2 + 1, rng)
    return np.clip(cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR), 0, 1).astype(np.float32)


def _pipe(
    out: Field, middle: float, radius: float, colour: Field, rng: np.random.Generator, tape: bool = False
) -> None:
    """An upright pipe over the whole height, with its shadow on what is behind, in place."""
    height, width = out.shape[:2]
    xs = np.arange(width, dtype=np.float32)
    shadow = np.exp(-(((xs - middle - 1.3 * radius) / (0.7 * radius + 1)) ** 2))
    out *= (1 - 0.35 * shadow)[None, :, None]
    left, right = max(int(middle - radius), 0), min(int(middle + radius) + 1, width)
    if right - left < 2:
        return
    across = (xs[left:right] - middle) / radius
    shade = 0.22 + 0.78 * np.clip(np.sqrt(np.clip(1 - across**2, 0, 1)) * 0.75 - across * 0.35, 0, None)
    skin = 1 + 0.12 * noise(height, right - left, max(radius / 2, 4), rng, 4)
    tube = colour * (shade[None, :] * skin)[..., None]
    if tape:
        step = height * float(rng.uniform(0.25, 0.5))
        band = (np.arange(height) + rng.uniform(0, step)) % step < 0.05 * height
        tube[band] = tube[band] * 0.35 + 0.3 * shade[None, :, None]
    out[:, left:right] = tube


def _dome(out: Field, x: float, y: float, radius: float) -> None:
    """A screw head, in place."""
    r = int(radius * 1.6) + 1
    x0, y0 = int(x) - r, int(y) - r
    if x0 < 0 or y0 < 0 or x0 + 2 * r >= out.shape[1] or y0 + 2 * r >= out.shape[0]:
        return
    ys, xs = (np.mgrid[0 : 2 * r, 0 : 2 * r].astype(np.float32) - r) / radius
    away = np.sqrt(xs**2 + ys**2)
    shade = np.where(away < 1, 0.8 - 0.35 * (xs + ys), np.where(away < 1.35, 0.6, 1.0))
    shade = np.where((np.abs(xs - ys) < 0.22) & (away < 0.8), 0.3, shade)
    out[y0 : y0 + 2 * r, x0 : x0 + 2 * r] *= shade[..., None].astype(np.float32)


# ------------------------------------------------------------------------------------------ hands

# Work gloves and bare skin of many people, sRGB.
HANDS: dict[str, Colour] = {
    "black glove": (36, 37, 40),
    "grey glove": (112, 114, 116),
    "blue glove": (44, 84, 142),
    "skin 1": (226, 180, 152),
    "skin 2": (186, 132, 98),
    "skin 3": (124, 82, 58),
}


def finger(
    light: Field, points: list[tuple[float, float]], radius: tuple[float, float], hand: str, rng: np.random.Generator
) -> None:
    """A finger from its root to its tip along `points`, thinner to the tip, with its shadow; in place.

    light: linear picture; radius: at the root and at the tip, pixels.
    """
    height, width = light.shape[:2]
    pad = 2.5 * radius[0]
    xs_all, ys_all = [p[0] for p in points], [p[1] for p in points]
    x0, x1 = int(max(min(xs_all) - pad, 0)), int(min(max(xs_all) + pad, width))
    y0, y1 = int(max(min(ys_all) - pad, 0)), int(min(max(ys_all) + pad, height))
    if x1 - x0 < 4 or y1 - y0 < 4:
        return
    ys, xs = np.mgrid[y0:y1, x0:x1].astype(np.float32)
    bulge, cover = np.full(xs.shape, -1e9, np.float32), np.zeros(xs.shape, np.float32)
    along = np.zeros(xs.shape, np.float32)
    joints = len(points) - 1
    for i in range(joints):
        (ax, ay), (bx, by) = points[i], points[i + 1]
        length = max((bx - ax) ** 2 + (by - ay) ** 2, 1e-3)
        t = np.clip(((xs - ax) * (bx - ax) + (ys - ay) * (by - ay)) / length, 0, 1)
        r = radius[0] + (radius[1] - radius[0]) * (i + t) / joints
        away = np.sqrt((xs - ax - t * (bx - ax)) ** 2 + (ys - ay - t * (by - ay)) ** 2)
        here = r - away
        along = np.where(here > bulge, (i + t) / joints, along).astype(np.float32)
        bulge = np.maximum(bulge, here)
        cover = np.maximum(cover, np.clip(here + 0.5, 0, 1))
    round_height = np.sqrt(np.clip(radius[1] ** 2 - np.clip(radius[1] - bulge, 0, None) ** 2, 0, None))
    texture = 0.03 * radius[1] * noise(y1 - y0, x1 - x0, radius[1] / 3, rng, 3)
    if "glove" in hand:
        folds = np.sin(along * 34 + 2 * noise(y1 - y0, x1 - x0, radius[0], rng, 2))
        texture = texture + 0.035 * radius[1] * folds * np.exp(-(((along - 0.45) / 0.12) ** 2))
    surface = blur(round_height + texture, 0.05 * radius[1] + 0.8)
    gy, gx = np.gradient(surface)
    lit = np.clip((0.35 * gx + 0.5 * gy + 0.8) / np.sqrt(gx**2 + gy**2 + 1), 0, None)
    tone = linear(HANDS[hand]) * (0.25 + 0.9 * lit[..., None])
    if "glove" in hand:
        tone += 0.05 * np.clip(lit - 0.8, 0, None)[..., None] * 4
    spot = light[y0:y1, x0:x1]
    move = np.array([[1, 0, 0.25 * radius[1]], [0, 1, 0.25 * radius[1]]], np.float32)
    moved = cv2.warpAffine(cover, move, (x1 - x0, y1 - y0), borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    shadow = blur(moved, 0.35 * radius[1] + 0.5)
    spot *= (1 - 0.55 * shadow)[..., None]
    soft = blur(cover, 0.8)[..., None]
    spot[:] = spot * (1 - soft) + tone * soft


def holding(light: Field, body: Quad, clear: Quad, hand: str, rng: np.random.Generator) -> None:
    """A hand that holds a thing from below left: a thumb over its left edge, fingertips over its right; in place.

    body: corners of the thing; clear: corners of the part that no finger may cover.
    """
    a, b, c, d = np.array(body)
    window = np.array(clear)
    wide, tall = float(np.linalg.norm(b - a)), float(np.linalg.norm(d - a))
    across, left_edge, right_edge = (b - a) / wide, (d - a) / tall, (c - b) / float(np.linalg.norm(c - b))
    thick = float(rng.uniform(0.07, 0.09)) * wide
    room_left, room_right = float(np.min((window - a) @ across)), float(np.min((b - window) @ across))
    below = float(np.max((window - a) @ left_edge)) + 1.4 * thick  # below the window there is more room
    reach = float(rng.uniform(0.10, 0.14)) * wide
    for i in range(4):
        at = below + (i - 1.2) * 2.1 * thick
        if at > tall:
            break
        beside = at < below - 0.3 * thick
        deep = min(reach, 0.6 * room_right) if beside else reach * (1 - 0.12 * abs(i - 1))
        edge = b + right_edge * at
        root = edge + across * 1.6 * thick + right_edge * 0.5 * thick
        bent = edge + across * 0.5 * thick + right_edge * 0.05 * thick
        tip = edge - across * max(deep - thick, -0.5 * thick)
        finger(light, [_xy(root), _xy(bent), _xy(tip)], (thick * 1.05, thick * 0.88), hand, rng)
    at = min(below + 1.2 * thick, tall - thick)
    deep = 1.5 * reach if at > below else min(reach, 0.7 * room_left)
    edge = a + left_edge * at
    root = edge - across * 2.6 * thick + left_edge * 3.4 * thick
    knuckle = edge - across * 0.6 * thick + left_edge * 0.9 * thick
    tip = edge + across * max(deep - thick, -0.4 * thick) - left_edge * 0.2 * thick
    finger(light, [_xy(root), _xy(knuckle), _xy(tip)], (thick * 1.45, thick * 1.08), hand, rng)


def _xy(point: Field) -> tuple[float, float]:
    return (float(point[0]), float(point[1]))
