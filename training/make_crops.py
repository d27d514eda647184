"""The training set of the display reader: grey crops of one line each, and what each says.

    python3 -m training.make_crops FOLDER [--count 400000] [--digits digits.npz] [--workers 16] [--seed 1]

Five kinds, mixed by `SHARES`: rendered seven-segment rows, lines of print and of dots (numbers beside words, as on
screens and slips), rows put together from real digit crops, rows that say nothing, and pieces of what stands around
displays (walls, pipes, frames, keys), which say nothing either. Every chunk has its own seed,
so the same recipe gives the same crops on any number of workers.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import replace
from functools import cache, partial
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from schemas.errors import BadInput
from training.render.bodies import mount
from training.render.crops import HEIGHT, REJECT, LineCrop, _light, random_crop, random_number
from training.render.dots import OWN, ink_of, write_dots
from training.render.lettering import CORE_FONTS, WIDE_FONTS, font, text_mask
from training.render.photo import take_photo
from training.render.picture import Box, rect, to_srgb
from training.render.scene import BACKGROUNDS, background
from training.render.styles import LOOKS, UNITS, pick, random_body, random_look

ALPHABET = "0123456789.-" + REJECT
"""What the reader can say; the blank of CTC comes before them as code 0."""
CHUNK = 2000
MAX_WIDTH = 384
SHARES = {"segments": 0.52, "text": 0.3, "real": 0.1, "nothing": 0.03, "scene": 0.05}

# Beside the renderer's list: faces with a slashed or dotted nought, faces of matrix printers and terminals.
# Debian: fonts-3270 fonts-anonymous-pro fonts-fantasque-sans fonts-freefont-ttf fonts-hack fonts-inconsolata
# fonts-jetbrains-mono fonts-ocr-a fonts-ocr-b fonts-spleen. Those that are not installed are left out.
MORE_FONTS = (
    "3270-Regular.ttf",
    "3270SemiCondensed-Regular.ttf",
    "Anonymous Pro.ttf",
    "Anonymous Pro B.ttf",
    "FantasqueSansMono-Regular.ttf",
    "FreeMonoBold.ttf",
    "FreeSans.ttf",
    "FreeSansBold.ttf",
    "Hack-Regular.ttf",
    "Hack-Bold.ttf",
    "Inconsolata.otf",
    "JetBrainsMono-Regular.ttf",
    "JetBrainsMono-Bold.ttf",
    "OCRA.ttf",
    "OCRB.otf",
    "spleen-8x16.otf",
    "spleen-16x32.otf",
)
_TAILS = (
    "CO",
    "O2",
    "CO2",
    "NO",
    "in",
    "out",
    "pt",
    "air",
    "gas",
    "af",
    "T",
    "p",
    "Eff",
    "loss",
    "flow",
    ":",
    "=",
    "t:",
)


@cache
def fonts() -> tuple[str, ...]:
    """The faces of both lists that are installed here."""
    found = []
    for name in (*WIDE_FONTS, *MORE_FONTS):
        try:
            font(name, 20)
        except BadInput:
            continue
        found.append(name)
    return tuple(found)


def text_line(rng: np.random.Generator) -> LineCrop:
    """A number as print or dots show it, often with the end of a label before it and a unit behind."""
    number = _printed_number(rng)
    before = pick(rng, _TAILS) if rng.random() < 0.3 else ""
    after = pick(rng, UNITS) if rng.random() < 0.55 else ""
    if rng.random() < 0.04:
        number, said = "".join(pick(rng, "ABCEFHKLMNPRSTUaceimnoprstu") for _ in range(int(rng.integers(1, 6)))), REJECT
        before = after = ""
    else:
        said = (REJECT if before else "") + number + (REJECT if after else "")
    gaps = [" " * int(rng.integers(1, 3)) if part else "" for part in (before, after)]
    if after in ("%", "mbar", "°C", "V") and rng.random() < 0.4:
        gaps[1] = ""
    text = before + gaps[0] + number + gaps[1] + after
    ink = _dotted(text, rng) if rng.random() < 0.5 else _set_in_type(text, rng)
    return LineCrop(_crop(ink, rng), said)


def _printed_number(rng: np.random.Generator) -> str:
    chance = rng.random()
    if chance < 0.08:
        return f"0.{int(rng.integers(0, 10000)):04d}"
    if chance < 0.14:
        return str(int(rng.integers(10**5, 10**8)))
    if chance < 0.2:
        return f"{pick(rng, ('-', ''))}0.{int(rng.integers(0, 100)):02d}"
    return random_number(rng)


def _set_in_type(text: str, rng: np.random.Generator) -> NDArray[np.uint8]:
    """A line as a mask of ink, 20 to 60 pixels to the em."""
    mask, _, _ = text_mask(text, pick(rng, fonts()), int(rng.integers(20, 60)))
    if rng.random() < 0.35:  # a print head shows its dots
        dots = np.ones_like(mask)
        pitch = int(rng.integers(3, 6))
        dots[::pitch] = 0
        dots[:, ::pitch] = 0
        mask = mask * dots
    return mask


def _dotted(text: str, rng: np.random.Generator) -> NDArray[np.uint8]:
    """A line as a mask of dots."""
    face = OWN if rng.random() < 0.5 else pick(rng, fonts())
    size = 7 if face == OWN else int(rng.integers(9, 20))
    raster = np.zeros((2 * size + 4, 2 * size * len(text) + 8), np.uint8)
    quad = np.array(write_dots(raster, 2, 2, text, face, size))
    (x0, y0), (x1, y1) = quad.min(axis=0).astype(int), quad.max(axis=0).astype(int)
    if face == OWN:
        y0, y1 = 2, 9
    part = raster[max(y0, 0) : y1 + 1, max(x0, 0) : x1 + 1]
    return ink_of(part, int(rng.integers(3, 7)), float(rng.uniform(0.6, 0.98)), pick(rng, ("square", "round")))


def _crop(ink: NDArray[np.uint8], rng: np.random.Generator) -> NDArray[np.uint8]:
    """A mask of ink laid on a ground, with loose margins, a little turned, 32 pixels high, under some light."""
    severity = int(rng.integers(3))
    tall = ink.shape[0]
    pads = (rng.uniform(0.02, 0.55, 4) * tall).astype(int) + 1
    pads[:2] = (pads[:2] * 0.6).astype(int) + 1
    lit = np.pad(ink, ((pads[0], pads[1]), (pads[2], pads[3]))).astype(np.float32) / 255
    look = pick(rng, LOOKS[pick(rng, ("positive", "negative", "emitting"), (6, 3, 1))])
    weights = rng.dirichlet((3, 6, 2))
    ground, dark = float(np.dot(look.ground, weights)), float(np.dot(look.ink, weights))
    grey = ground + (dark - ground) * lit * rng.uniform(0.45, 1.0)
    grey = grey + rng.uniform(-12, 12) * np.linspace(-1, 1, grey.shape[1], dtype=np.float32)
    width = int(np.clip(round(grey.shape[1] / grey.shape[0] * HEIGHT * rng.uniform(0.75, 1.3)), 8, MAX_WIDTH))
    height, long = grey.shape
    lean = np.tan(np.radians(rng.uniform(-1, 1) * (0.5, 1.2, 2.0)[severity])) * long / 2
    lean = float(np.clip(lean, -0.1 * height, 0.1 * height))
    slant = rng.uniform(-0.12, 0.12) * height
    corners = np.array([[slant, lean], [long + slant, -lean], [long - slant, height - lean], [-slant, height + lean]])
    corners += rng.uniform(-1, 1, (4, 2)) * height * (0.01, 0.03, 0.05)[severity]
    goal = np.array([[0, 0], [width, 0], [width, HEIGHT], [0, HEIGHT]], np.float32)
    matrix = cv2.getPerspectiveTransform(corners.astype(np.float32), goal)
    if height > 1.2 * HEIGHT:
        grey = cv2.GaussianBlur(grey, (0, 0), 0.4 * height / HEIGHT)
    flat = cv2.warpPerspective(grey.astype(np.float32), matrix, (width, HEIGHT), borderMode=cv2.BORDER_REPLICATE)
    return _light(flat.astype(np.float32), severity, rng)


def real_line(rng: np.random.Generator, digits: dict[int, NDArray[np.uint8]]) -> LineCrop:
    """A row of real digit crops set side by side, with a point and a minus drawn in their ink."""
    text = random_number(rng)
    tall = int(rng.integers(30, 44))
    aspect = rng.uniform(0.5, 0.85)
    cells: list[NDArray[np.float32]] = []
    for sign in text:
        if sign.isdigit():
            stock = digits[int(sign)]
            cells.append(
                cv2.resize(stock[int(rng.integers(len(stock)))], (int(tall * aspect), tall)).astype(np.float32)
            )
    dark_ink = bool(np.mean([np.median(cell) > cell.mean() for cell in cells]) > 0.5)
    ink = float(np.mean([np.percentile(cell, 4 if dark_ink else 96) for cell in cells]))
    ground = float(np.mean([np.median(cell) for cell in cells]))
    row: list[NDArray[np.float32]] = []
    at = 0
    for sign in text:
        if sign.isdigit():
            cell = cells[at]
            row.append(cell + (ground - float(np.median(cell))))  # one ground for the whole row
            at += 1
        else:
            row.append(_drawn(sign, tall, ink, ground, rng))
    band = np.concatenate(row, axis=1)
    pad = int(rng.integers(1, 14))
    band = np.pad(band, ((int(rng.integers(1, 6)),) * 2, (pad, int(rng.integers(1, 14)))), mode="edge")
    width = int(np.clip(round(band.shape[1] / band.shape[0] * HEIGHT * rng.uniform(0.85, 1.2)), 8, MAX_WIDTH))
    flat = cv2.resize(band, (width, HEIGHT), interpolation=cv2.INTER_AREA).astype(np.float32)
    return LineCrop(_light(flat, int(rng.integers(2)), rng), text)


def _drawn(sign: str, tall: int, ink: float, ground: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """A point or a minus as wide as it needs, softened as the digits beside it are."""
    thick = max(int(tall * rng.uniform(0.08, 0.14)), 2)
    wide = thick + int(rng.integers(1, 4)) if sign == "." else int(tall * rng.uniform(0.35, 0.55))
    cell = np.full((tall, wide), ground, np.float32)
    if sign == ".":
        foot = tall - int(tall * rng.uniform(0.06, 0.16))
        cell[foot - thick : foot, 1 : 1 + thick] = ink
    else:
        y = (tall - thick) // 2
        cell[y : y + thick, 2:-2] = ink
    return cv2.GaussianBlur(cell, (0, 0), rng.uniform(0.4, 0.9)).astype(np.float32)


def nothing_line(rng: np.random.Generator) -> LineCrop:
    """Ground without a sign: noise, an edge, a patch of light."""
    width = int(rng.integers(16, 240))
    flat = np.full((HEIGHT, width), rng.uniform(30, 220), np.float32)
    for _ in range(int(rng.integers(0, 3))):
        a, b = sorted(int(v) for v in rng.integers(0, width, 2))
        flat[:, a:b] += rng.uniform(-60, 60)
    if rng.random() < 0.3:
        y = int(rng.integers(0, HEIGHT))
        flat[y:] += rng.uniform(-70, 70)
    coarse = rng.standard_normal((4, max(width // 10, 2))).astype(np.float32) * rng.uniform(0, 20)
    flat += cv2.resize(coarse, (width, HEIGHT), interpolation=cv2.INTER_CUBIC)
    return LineCrop(_light(flat, int(rng.integers(3)), rng), "")


class Scenes:
    """Pieces of pictures without a number: a new picture after every `EACH` pieces."""

    EACH = 25

    def __init__(self) -> None:
        self._left = 0
        self._grey = np.zeros((8, 8), np.float32)

    def __call__(self, rng: np.random.Generator) -> LineCrop:
        """One piece of any size and shape, 32 pixels high."""
        if not self._left:
            self._grey, self._left = _scene(rng), self.EACH
        self._left -= 1
        height, width = self._grey.shape
        tall = int(height * rng.uniform(0.06, 0.5))
        wide = int(np.clip(tall * rng.uniform(0.4, 5), 8, width - 1))
        y, x = int(rng.integers(0, height - tall)), int(rng.integers(0, width - wide))
        piece = self._grey[y : y + tall, x : x + wide]
        across = int(np.clip(round(wide / tall * HEIGHT), 8, MAX_WIDTH))
        flat = cv2.resize(piece, (across, HEIGHT), interpolation=cv2.INTER_AREA).astype(np.float32)
        return LineCrop(_light(flat, int(rng.integers(2)), rng), "")


def _scene(rng: np.random.Generator) -> NDArray[np.float32]:
    """A wall or pipes, or an instrument with blank keys and an empty window before them, as grey 0..255."""
    if rng.random() < 0.35:
        kinds = sorted(BACKGROUNDS)
        light = background(kinds[int(rng.integers(len(kinds)))], 360, 480, rng)
        picture = to_srgb(light)
    else:
        body = random_body(rng)
        body = replace(body, keys=tuple(tuple(" " for _ in row) for row in body.keys), name="", caption="")
        look = random_look(rng)
        window = np.empty((160, int(rng.integers(240, 420)), 3), np.uint8)
        window[:] = look.ground
        front, boxes = mount(window, (Box("display", rect(0, 0, window.shape[1], 160)),), body, rng)
        picture, _ = take_photo(front, boxes, int(rng.integers(3)), rng, size=(480, 360), fill=0.9, compress=False)
    return picture.astype(np.float32) @ rng.dirichlet((3, 6, 2)).astype(np.float32)


def chunk_of(index: int, seed: int, folder: Path, digits: Path | None) -> Path:
    """Make one chunk of crops and store it: flat pixels, widths, texts."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, index])
    kinds = _kinds(digits)
    names = [name for name in SHARES if name in kinds]
    weights = np.array([SHARES[name] for name in names])
    images, texts = [], []
    while len(texts) < CHUNK:
        made = kinds[names[int(rng.choice(len(names), p=weights / weights.sum()))]](rng)
        if 8 <= made.image.shape[1] <= MAX_WIDTH and set(made.text) <= set(ALPHABET):
            images.append(made.image)
            texts.append(made.text)
    path = folder / f"crops-{index:05d}.npz"
    pixels = np.concatenate([image.T.reshape(-1) for image in images])  # column by column: widths can be cut anywhere
    np.savez(path, pixels=pixels, widths=np.array([i.shape[1] for i in images], np.int32), texts=np.array(texts))
    return path


@cache
def _kinds(digits: Path | None) -> dict[str, Callable[[np.random.Generator], LineCrop]]:
    kinds: dict[str, Callable[[np.random.Generator], LineCrop]] = {
        "segments": partial(random_crop, fonts=tuple(name for name in fonts() if name in CORE_FONTS) or fonts()),
        "text": text_line,
        "nothing": nothing_line,
        "scene": Scenes(),
    }
    if digits is not None:
        with np.load(digits) as stored:
            images, labels = stored["images"], stored["labels"]
        kinds["real"] = partial(real_line, digits={d: images[labels == d] for d in range(10)})
    return kinds


def make_crops(
    folder: Path, count: int, seed: int, workers: int, digits: Path | None, seconds: float = 1e9
) -> Iterator[Path]:
    """Make `count` crops in chunks on several processes, and give each chunk's file as it is ready.

    After `seconds` no new chunk is begun.
    """
    folder.mkdir(parents=True, exist_ok=True)
    start = time.monotonic()
    chunks = iter(range((count + CHUNK - 1) // CHUNK))
    with ProcessPoolExecutor(workers) as pool:
        running = {pool.submit(chunk_of, i, seed, folder, digits) for _, i in zip(range(workers), chunks, strict=False)}
        while running:
            done = next(as_completed(running))
            running.remove(done)
            yield done.result()
            if time.monotonic() - start < seconds and (index := next(chunks, None)) is not None:
                running.add(pool.submit(chunk_of, index, seed, folder, digits))


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--count", type=int, default=400_000)
    parser.add_argument("--digits", type=Path)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    for path in make_crops(chosen.folder, chosen.count, chosen.seed, chosen.workers, chosen.digits):
        print(path)


if __name__ == "__main__":
    main()
