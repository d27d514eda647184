"""Photos of instruments with one large number, drawn by chance, for measuring: whole ones, or with a place hidden.

    python -m training.make_photos FOLDER [--count 100] [--hidden] [--seed 7]

writes photos and labels.csv as `python -m bench.see` reads it. With --hidden, glare, a finger or a shade lies over the
minus, the first digit, the point or the unit, so no value may be taken; the kind then begins with seg_hidden and names
the place.
"""

from __future__ import annotations

import argparse
import csv
import json
from pathlib import Path

import numpy as np

from training.render import (
    Box,
    Image,
    Quad,
    encode_jpeg,
    find,
    hide,
    mount,
    random_body,
    random_number,
    random_style,
    render_seven_segment,
    take_photo,
)
from training.render.styles import UNITS, pick

__all__ = ["HIDEABLE", "make_photo", "make_photos", "photo_of_number"]

HIDEABLE = ("minus", "leading digit", "point", "unit")
_BEHIND = ("plaster", "blocks", "casing", "lagging", "bench")


def photo_of_number(
    rng: np.random.Generator, hidden: str = "", size: tuple[int, int] = (1024, 768)
) -> tuple[Image, str, str]:
    """A photo of one large number (RGB), the number and its unit; ``hidden`` is one of HIDEABLE or nothing."""
    number = random_number(rng)
    while {"minus": "-", "point": "."}.get(hidden, "") not in number:
        number = random_number(rng)
    unit = pick(rng, UNITS)
    window, boxes = render_seven_segment(number, unit, random_style(rng), rng)
    front, boxes = mount(window, boxes, random_body(rng), rng)
    severity = int(rng.integers(3))
    photo, boxes = take_photo(
        front, boxes, severity, rng, size=size, fill=float(rng.uniform(0.6, 0.95)), behind=pick(rng, _BEHIND),
        compress=False,
    )  # fmt: skip
    if hidden:
        photo = hide(photo, _place(boxes, number, hidden), pick(rng, ("glare", "finger", "shade")), rng)
    return photo, number, unit


def _place(boxes: tuple[Box, ...], number: str, hidden: str) -> Quad:
    if hidden == "unit":
        return find(boxes, "unit")[0].quad
    chars = find(boxes, "char")
    if hidden == "point":
        return next(box.quad for box in chars if box.value == ".")
    if hidden == "minus":
        return next(box.quad for box in chars if box.value == "-")
    return next(box.quad for box in chars if box.value.isdigit())


def make_photo(folder: Path, index: int, seed: int, hidden: bool = False) -> tuple[str, str, list[list[str]]]:
    """Write one photo into a folder; returns its file, its kind and its true values as [label, value, unit].

    Seed and index make the photo, whatever else is drawn.
    """
    rng = np.random.default_rng([seed, index])
    place = HIDEABLE[index % len(HIDEABLE)] if hidden else ""
    photo, number, unit = photo_of_number(rng, place)
    name = f"seg_{index:04d}.jpg"
    (folder / name).write_bytes(encode_jpeg(photo, int(rng.integers(60, 95))))
    return name, f"seg_hidden {place}" if hidden else "seg", [["main", number, unit]]


def make_photos(folder: Path, count: int, seed: int, hidden: bool = False) -> Path:
    """Write photos and their labels.csv into a folder; returns the labels."""
    folder.mkdir(parents=True, exist_ok=True)
    labels = folder / "labels.csv"
    with labels.open("w", encoding="utf-8", newline="") as out:
        table = csv.writer(out)
        table.writerow(("file", "kind", "values(label,value,unit)"))
        for index in range(count):
            name, kind, values = make_photo(folder, index, seed, hidden)
            table.writerow((name, kind, json.dumps(values)))
    return labels


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--hidden", action="store_true")
    parser.add_argument("--seed", type=int, default=7)
    chosen = parser.parse_args()
    print(make_photos(chosen.folder, chosen.count, chosen.seed, chosen.hidden))


if __name__ == "__main__":
    main()
