"""Make the four sample photos and their true values from samples/scenario.toml.

    python -m samples.make_photos [--out FOLDER]

writes manometer.jpg, analyser.jpg, slip.jpg, plate.jpg and labels.csv (the columns of the eval sets: file, kind,
severity, values as JSON [[label, value, unit], ...], corners of the display, meta as JSON; boxes are those of the
upright picture, after the EXIF orientation). The pictures are made, not taken: nothing in them exists. They were made
and committed before any extractor was tuned to them.
"""

import argparse
import csv
import json
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from training.render import (
    BodyStyle,
    Box,
    DotStyle,
    Image,
    PlateStyle,
    SegmentStyle,
    SlipStyle,
    encode_jpeg,
    exif_block,
    find,
    mount,
    render_dot_display,
    render_plate,
    render_seven_segment,
    render_slip,
    take_photo,
)
from training.render.exif import TURNS
from training.render.segments import SegmentShape
from training.render.styles import Look

HERE = Path(__file__).parent
SEVERITY = 1
LARGEST = 480_000
"""bytes; the quality is lowered until a picture fits"""
Table = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Sample:
    """One finished photo: upright pixels, boxes in them, and what its file says of time and turn."""

    name: str
    kind: str
    photo: Image
    boxes: tuple[Box, ...]
    taken: datetime
    orientation: int
    shown: tuple[tuple[str, str, str], ...]


def manometer(scenario: Table) -> Sample:
    """The manometer in a gloved hand before lagged pipes, held upright: the phone stores it on its side."""
    facts = scenario["photos"]["manometer"]
    rng = np.random.default_rng(4)
    style = SegmentStyle(
        shape=SegmentShape(aspect=0.52, thickness=0.125, gap=0.022, cut=0.55, slant=7, pitch=1.42, point="square"),
        look=Look((166, 174, 152), (26, 30, 28), contrast=0.9, ghost=0.03, shadow=0.28, unevenness=0.08),
        height=230,
        cells=4,
        legends=("P1",),
        ghost_legends=("HOLD", "MAX", "MIN"),
    )
    window, boxes = render_seven_segment(facts["display"], facts["unit_shown"], style, rng)
    body = BodyStyle(
        keys=(("ON", "HOLD", "ZERO"), ("UNIT", "LIGHT", "MAX")),
        ports=2,
        edge="rubber",
        edge_colour=(88, 62, 104),
        name=_instrument(scenario, "manometer"),
        caption="PRESSURE",
    )
    front, boxes = mount(window, boxes, body, rng)
    photo, boxes = take_photo(
        front, boxes, SEVERITY, rng, size=(1728, 2304), fill=0.84, behind="lagging",
        hand="black glove", compress=False,
    )  # fmt: skip
    row = ("main", facts["display"], facts["unit_shown"])
    return Sample("manometer", "seg", photo, boxes, datetime.fromisoformat(facts["taken"]), 6, (row,))


def analyser(scenario: Table) -> Sample:
    """The analyser's text display, the instrument hung on the casing."""
    facts = scenario["photos"]["analyzer"]
    rng = np.random.default_rng(11)
    style = DotStyle(
        look=Look((206, 216, 208), (24, 28, 44), contrast=0.9, unevenness=0.12, shadow=0.15),
        pitch=6,
        fill=0.9,
        leading=6,
        border=9,
        foot=("HOLD", "PRINT", "MENU"),
    )
    rows = _rows(facts)
    window, boxes = render_dot_display(rows, facts["heading"], style, rng)
    body = BodyStyle(
        colour=(126, 122, 112),
        face=(50, 50, 52),
        keys=(("ON", "UP", "OK"), ("BACK", "DOWN", "PUMP")),
        round_keys=True,
        head=0.12,
        bezel=0.04,
        name=_instrument(scenario, "flue gas analyzer"),
    )
    front, boxes = mount(window, boxes, body, rng)
    photo, boxes = take_photo(
        front, boxes, SEVERITY, rng, size=(1728, 2304), fill=0.9, behind="casing",
        compress=False,
    )  # fmt: skip
    return Sample("analyser", "dot", photo, boxes, datetime.fromisoformat(facts["taken"]), 1, rows)


def slip(scenario: Table) -> Sample:
    """The printed slip on a board, photographed after the talk: the time printed on it is the one that counts."""
    facts = scenario["photos"]["slip"]
    rng = np.random.default_rng(21)
    printed = datetime.fromisoformat(facts["printed"])
    rows = _rows(facts)
    head = (
        "FLUE GAS TEST",
        f"Date  {printed:%Y-%m-%d}",
        f"Time  {printed:%H:%M}",
        f"Fuel  {facts['fuel']}",
    )
    style = SlipStyle(fade=0.3, curl=1.0, size=36, width=860)
    paper, boxes = render_slip(head, rows, ("", "Sign. ................"), style, rng)
    photo, boxes = take_photo(
        paper, boxes, SEVERITY, rng, size=(1728, 2304), fill=0.8, surface="paper", behind="bench", compress=False
    )
    return Sample("slip", "slip", photo, boxes, printed + timedelta(seconds=75), 1, rows)


def plate(scenario: Table) -> Sample:
    """The rating plate on the boiler's casing."""
    facts = scenario["photos"]["plate"]
    rng = np.random.default_rng(32)
    rows = _rows(facts)
    notes = ("For indoor installation. See the maker's instructions before work on gas parts.",)
    style = PlateStyle(size=40, width=1500, brushed=0.5, value_at=0.52, wear=0.35)
    sheet, boxes = render_plate("GAS BOILER", rows, notes, style, rng)
    photo, boxes = take_photo(
        sheet, boxes, SEVERITY, rng, size=(2240, 1680), fill=0.82, surface="metal", behind="casing", compress=False
    )
    return Sample("plate", "plate", photo, boxes, datetime.fromisoformat(facts["taken"]), 1, rows)


def write(samples: Sequence[Sample], folder: Path) -> None:
    """Write the pictures and labels.csv into a folder, which is made if need be."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "labels.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(["file", "kind", "severity", "values(label,value,unit)", "display_quad", "meta"])
        for sample in samples:
            name = f"{sample.name}.jpg"
            (folder / name).write_bytes(_jpeg(sample))
            quad = [[round(x, 1), round(y, 1)] for x, y in find(sample.boxes, "display")[0].quad]
            values = [[label, value.replace(",", ""), unit] for label, value, unit in sample.shown]
            meta: Table = {
                "taken": sample.taken.isoformat(),
                "orientation": sample.orientation,
                "boxes": [[round(v, 1) for corner in box.quad for v in corner] for box in find(sample.boxes, "value")],
            }
            grouped = {label: value for label, value, _ in sample.shown if "," in value}
            if grouped:
                meta["printed"] = grouped  # the values column has the number without its thousands comma
            cells = [json.dumps(cell, ensure_ascii=False) for cell in (values, quad, meta)]
            table.writerow([name, sample.kind, SEVERITY, *cells])


def _jpeg(sample: Sample) -> bytes:
    """The file: stored on its side if the orientation says so, at the best quality that fits."""
    stored = np.ascontiguousarray(np.rot90(sample.photo, TURNS[sample.orientation]))
    block = exif_block(sample.taken, sample.orientation)
    for quality in range(92, 40, -3):
        data = encode_jpeg(stored, quality, block)
        if len(data) <= LARGEST:
            return data
    raise ValueError(f"{sample.name}: no quality above 40 brings the picture under {LARGEST} bytes")


def _rows(facts: Table) -> tuple[tuple[str, str, str], ...]:
    return tuple((row["label"], row["shown"], row["unit_shown"]) for row in facts["rows"])


def _instrument(scenario: Table, kind: str) -> str:
    return str(next(item["name"] for item in scenario["instruments"] if item["kind"] == kind))


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; returns its exit code."""
    parser = argparse.ArgumentParser(prog="python -m samples.make_photos", description="Make the sample photos.")
    parser.add_argument("--out", type=Path, default=HERE / "photos", help="folder for the pictures (samples/photos)")
    chosen = parser.parse_args(arguments)
    scenario = tomllib.loads((HERE / "scenario.toml").read_text(encoding="utf-8"))
    write([make(scenario) for make in (manometer, analyser, slip, plate)], chosen.out)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
