"""Text displays and print become figures with label, value and unit; what cannot be read is never taken.

Renders come from training/render, whose truth is known; the bars of the whole are measured by bench.see on pictures of
another renderer.
"""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from capture.advice import TWO
from capture.readers import Readers, load_readers
from capture.see import look
from capture.tesseract import Tesseract
from extract import Setting, bind_look, compile_sheet, start
from schemas.doubts import DoubtKind
from schemas.evidence import Look
from schemas.load import load_sheet
from schemas.readings import Reading
from training.render import (
    mount,
    random_body,
    random_dot_style,
    random_slip_style,
    render_dot_display,
    render_slip,
    take_photo,
)
from training.render.dots import OWN, dot_table

pytestmark = pytest.mark.slow

Picture = NDArray[np.uint8]
ROWS = (
    ("CO2", "9.3", "%"),
    ("O2", "4.4", "%"),
    ("CO", "76", "ppm"),
    ("Flue temp", "112.5", "°C"),
    ("Lambda", "1.27", ""),
)
UNITS = {"%": "%", "ppm": "[ppm]", "°C": "Cel", "": ""}


@pytest.fixture(scope="module")
def readers() -> Readers:
    return load_readers()


def seen(picture: Picture, folder: Path, readers: Readers) -> Look:
    """What is read in a picture (RGB)."""
    path = folder / "p.png"
    cv2.imwrite(str(path), picture[:, :, ::-1])
    return look(path, "0" * 64, readers)


def flat(kind: str, seed: int) -> tuple[Picture, Sequence[object]]:
    rng = np.random.default_rng(seed)
    if kind == "slip":
        head = ["COMBUSTION TEST", "04/03/26 09:31", "Fuel  G20"]
        return render_slip(head, ROWS, ["Taken by"], random_slip_style(rng), rng)
    window, boxes = render_dot_display(ROWS, "HIGH FIRE", random_dot_style(rng), rng)
    return mount(window, boxes, random_body(rng), rng)


def photo_of(kind: str, seed: int, severity: int = 0) -> Picture:
    rng = np.random.default_rng([seed, 1])
    front, boxes = flat(kind, seed)
    size = (960, 1280) if kind == "slip" else (1024, 768)
    return take_photo(front, boxes, severity, rng, size=size, fill=0.85, behind="plaster", compress=False)[0]  # type: ignore[arg-type]  # boxes of either kind


def wrong(found: Look) -> list[tuple[str, str, str]]:
    """What was taken and is not on the display."""
    true = {("".join(label.split()).casefold(), value, UNITS[unit]) for label, value, unit in ROWS}
    taken = [one for one in found.figures if not one.doubts]
    return [
        (one.label, one.value, one.unit)
        for one in taken
        if ("".join(one.label.split()).casefold(), one.value, one.unit) not in true
    ]


@pytest.mark.parametrize("kind", ["slip", "dots"])
@pytest.mark.parametrize("seed", [1, 2])
def test_rows_are_read_with_label_and_unit(kind: str, seed: int, tmp_path: Path, readers: Readers) -> None:
    found = seen(photo_of(kind, seed), tmp_path, readers)
    assert not wrong(found)
    read = {("".join(one.label.split()).casefold(), one.value) for one in found.figures}
    assert len(read & {("".join(label.split()).casefold(), value) for label, value, _ in ROWS}) >= 4
    for figure in found.figures:  # boxes are in the photo, though it was read straightened
        corners = np.array(figure.box.corners)
        assert (corners >= -2).all()
        assert (corners.max(axis=0) <= (found.width + 2, found.height + 2)).all()


@pytest.mark.parametrize("dots", [((4, 1), (3, 2), (2, 3)), ((3, 2),)], ids=["slash", "dot"])
def test_a_nought_with_a_slash_or_a_dot_is_no_eight_or_six(
    dots: tuple[tuple[int, int], ...], tmp_path: Path, readers: Readers, monkeypatch: pytest.MonkeyPatch
) -> None:
    nought = np.zeros((7, 5), np.uint8)
    nought[1:-1, [0, -1]] = nought[[0, -1], 1:-1] = 255
    for at in dots:
        nought[at] = 255
    monkeypatch.setitem(dot_table(), "0", nought)
    rows = (("CO2", "10.0", "%"), ("CO", "100", "ppm"), ("T flue", "106.0", "°C"), ("Eff", "90.8", "%"))
    rng = np.random.default_rng([1, 11])
    style = replace(random_slip_style(rng), face=OWN)
    slip = render_slip(["COMBUSTION TEST", "04/03/26 09:31"], rows, ["Taken by"], style, rng)
    photo = take_photo(*slip, 1, rng, size=(1280, 960), fill=0.9, behind="plaster", compress=False)[0]
    found = seen(photo, tmp_path, readers)
    assert {one.value for one in found.figures if not one.doubts} <= {value for _, value, _ in rows}
    assert len(found.figures) == len(rows)


def test_a_slips_own_average_is_weighed_and_columns_are_asked(tmp_path: Path, readers: Readers) -> None:
    grammar = compile_sheet(load_sheet("gas-boiler-start-up")[0])

    def bound(*rows: tuple[str, str, str]) -> dict[str | None, Reading]:
        rng = np.random.default_rng([1, 7])
        slip = render_slip(["COMBUSTION TEST", "04/03/26 09:31"], rows, ["Taken by"], random_slip_style(rng), rng)
        photo = take_photo(*slip, 0, rng, size=(1280, 960), fill=0.9, behind="plaster", compress=False)[0]
        context, _ = bind_look(seen(photo, tmp_path, readers), None, start(Setting(units="uk")), grammar)
        return {one.quantity: one for one in context.readings.values()}

    found = bound(("CO2", "9.3", "%"), ("CO2", "9.5", "%"), ("Mean CO2", "9.4", "%"), ("CO corr", "76", "ppm"))
    assert (found["co2"].value, found["co2"].note) == ("9.4", "the instrument's own average of 9.3 and 9.5")
    assert DoubtKind.QUANTITY_UNCLEAR in {doubt.kind for doubt in found["co"].doubts}
    found = bound(("", "NOW   MAX   MIN", ""), ("CO2", "9.3   9.5   9.1", "%"), ("CO", " 76   120    60", "ppm"))
    for quantity, value in (("co2", "9.3"), ("co", "76")):
        assert found[quantity].value == value
        assert DoubtKind.VALUE_UNCLEAR in {doubt.kind for doubt in found[quantity].doubts}


def test_pale_print_in_shadow_is_found(tmp_path: Path, readers: Readers) -> None:
    """A third of the contrast, a shadow over half: nothing is found in it as it is."""
    photo = photo_of("slip", 1).astype(np.float32)
    pale = 90 + 0.3 * (photo - 90)
    pale[:, : photo.shape[1] // 2] *= 0.75
    found = seen(np.clip(pale, 0, 255).astype(np.uint8), tmp_path, readers)
    assert not wrong(found)
    assert len(found.figures) >= 4


@pytest.mark.parametrize("kind", ["slip", "dots"])
@pytest.mark.parametrize("harm", ["blur", "dark", "glare", "small"])
def test_what_cannot_be_read_is_never_taken(kind: str, harm: str, tmp_path: Path, readers: Readers) -> None:
    photo = photo_of(kind, 3)
    if harm == "blur":
        photo = np.asarray(cv2.GaussianBlur(photo, (0, 0), 9), np.uint8)
    elif harm == "dark":
        rng = np.random.default_rng(3)
        photo = np.clip(photo * 0.02 + rng.normal(0, 4, photo.shape), 0, 255).astype(np.uint8)
    elif harm == "glare":
        height, width = photo.shape[:2]
        disc = np.zeros((height, width), np.float32)
        cv2.circle(disc, (width // 2, height // 2), min(height, width) // 3, 1.0, -1)
        light = np.asarray(cv2.GaussianBlur(disc, (0, 0), 40), np.float32)[..., None]
        photo = np.clip(photo * (1 - light) + 255 * light, 0, 255).astype(np.uint8)
    else:
        small = cv2.resize(photo, None, fx=0.12, fy=0.12, interpolation=cv2.INTER_AREA)
        photo = np.asarray(cv2.resize(small, photo.shape[1::-1], interpolation=cv2.INTER_LINEAR), np.uint8)
    assert not wrong(seen(photo, tmp_path, readers))


def test_a_clock_on_the_wall_and_a_calendar_are_no_reading(tmp_path: Path, readers: Readers) -> None:
    picture = np.full((600, 800, 3), (190, 186, 170), np.uint8)
    cv2.rectangle(picture, (150, 180), (650, 420), (30, 34, 32), -1)
    cv2.putText(picture, "12:41", (190, 350), cv2.FONT_HERSHEY_SIMPLEX, 5, (120, 240, 150), 14)
    assert not [one for one in seen(picture, tmp_path, readers).figures if not one.doubts]
    cv2.rectangle(picture, (150, 180), (650, 420), (240, 240, 236), -1)
    for line, text in enumerate(("WED 04/03/26", "THU 05/03/26", "FRI 06/03/26")):
        cv2.putText(picture, text, (200, 250 + 65 * line), cv2.FONT_HERSHEY_SIMPLEX, 1.6, (20, 20, 20), 4)
    assert not [one for one in seen(picture, tmp_path, readers).figures if not one.doubts]


def test_two_displays_are_told(tmp_path: Path, readers: Readers) -> None:
    one, other = (cv2.resize(photo_of("dots", seed), (800, 600)) for seed in (1, 2))
    assert TWO in seen(np.asarray(np.hstack([one, other]), np.uint8), tmp_path, readers).advice
    assert TWO not in seen(np.asarray(one, np.uint8), tmp_path, readers).advice


def test_the_third_reader_reads_each_crop_for_itself() -> None:
    crops = []
    for text in ("158.5", "", "20.8"):
        crop = np.full((70, 60 + 45 * len(text), 3), 230, np.uint8)
        cv2.putText(crop, text, (20, 52), cv2.FONT_HERSHEY_SIMPLEX, 1.4, (20, 20, 20), 4)
        crops.append(crop)
    crops[2] = 255 - crops[2]  # light on dark
    assert [opinion.text for opinion in Tesseract().numbers(crops)] == ["158.5", "", "20.8"]
    assert Tesseract().numbers([]) == []


def test_without_the_program_the_third_reader_has_no_opinion(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    third = Tesseract()
    assert third.made_by == ()
    assert [opinion.text for opinion in third.numbers([np.full((40, 90, 3), 200, np.uint8)])] == [""]
