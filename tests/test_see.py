"""Pictures of displays become figures: right or asked about, never silently wrong.

Renders come from training/render, whose truth is known; the bars of the whole are measured by bench.see on pictures of
another renderer.
"""

from __future__ import annotations

import hashlib
import importlib
import json
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from capture.advice import BLURRED, DARK
from capture.agree import View, verdict
from capture.display import ALPHABET, FOLDER, DisplayReader, grouped, prepared, texts_of
from capture.readers import Readers, load_readers
from capture.see import look
from capture.steps import write_steps
from capture.words import number_in, split_number, unit_code
from schemas.errors import StoreFailed
from schemas.evidence import Look
from training.render import SegmentStyle, mount, render_seven_segment, take_photo
from training.render.scene import BACKGROUNDS, background
from training.render.styles import BodyStyle

pytestmark = pytest.mark.slow

SAMPLES = Path(__file__).parent.parent / "samples" / "photos"


@pytest.fixture(scope="module")
def readers() -> Readers:
    return load_readers()


def seen(picture: NDArray[np.uint8], folder: Path, readers: Readers) -> Look:
    """What is read in a picture (RGB)."""
    path = folder / "p.png"
    cv2.imwrite(str(path), picture[:, :, ::-1])
    return look(path, hashlib.sha256(path.read_bytes()).hexdigest(), readers)


def photo_of(text: str, unit: str, seed: int) -> NDArray[np.uint8]:
    rng = np.random.default_rng(seed)
    window, boxes = render_seven_segment(text, unit, SegmentStyle(), rng)
    front, boxes = mount(window, boxes, BodyStyle(), rng)
    photo, _ = take_photo(front, boxes, 0, rng, size=(800, 600), behind="plaster")
    return photo


@pytest.mark.parametrize(
    ("text", "unit", "code"), [("228", "°C", "Cel"), ("-1.4", "mbar", "mbar"), ("3.5", "Pa", "Pa")]
)
def test_a_number_is_read_with_its_unit(text: str, unit: str, code: str, tmp_path: Path, readers: Readers) -> None:
    found = seen(photo_of(text, unit, 5), tmp_path, readers)
    assert [(one.value, one.unit) for one in found.figures] == [(text, code)]


@pytest.mark.parametrize("kind", sorted(BACKGROUNDS))
def test_where_no_display_is_nothing_is_taken(kind: str, tmp_path: Path, readers: Readers) -> None:
    light = background(kind, 480, 640, np.random.default_rng(3))
    picture = np.clip(255 * light ** (1 / 2.2), 0, 255).astype(np.uint8)
    assert not [one for one in seen(picture, tmp_path, readers).figures if not one.doubts]


def test_a_clock_face_is_no_reading(tmp_path: Path, readers: Readers) -> None:
    picture = np.full((600, 600, 3), 245, np.uint8)
    cv2.circle(picture, (300, 300), 250, (20, 20, 20), 8)
    for hour in range(1, 13):
        turn = np.radians(30 * hour - 90)
        x, y = int(300 + 205 * np.cos(turn)) - 18, int(300 + 205 * np.sin(turn)) + 14
        cv2.putText(picture, str(hour), (x, y), cv2.FONT_HERSHEY_SIMPLEX, 1.2, (20, 20, 20), 3)
    cv2.line(picture, (300, 300), (300, 160), (20, 20, 20), 8)
    cv2.line(picture, (300, 300), (390, 340), (20, 20, 20), 10)
    assert not [one for one in seen(picture, tmp_path, readers).figures if not one.doubts]


@pytest.mark.slow
@pytest.mark.parametrize("text", ["69.9", "6.9", "96"])
def test_upside_down_is_not_taken_for_another_number(text: str, tmp_path: Path, readers: Readers) -> None:
    """6 and 9 turn into each other; the unit does not."""
    turned = np.ascontiguousarray(photo_of(text, "mbar", 6)[::-1, ::-1])
    assert not [one for one in seen(turned, tmp_path, readers).figures if not one.doubts]


@pytest.mark.slow
def test_the_samples_are_read_right(readers: Readers) -> None:
    truth = {
        "manometer.jpg": {"": "7.9"},
        "analyser.jpg": {"o2": "4.4", "co": "76", "co air-free": "96", "flue temp": "112", "co2": "9.3"},
        "slip.jpg": {"o2": "5.5", "co": "27", "co air-free": "37", "flue temp": "103", "co2": "8.7"},
        "plate.jpg": {"maker": "Orrinvale", "input max": "240000", "electrical": "120 V 60 Hz 1 ph"},
    }
    for name, values in truth.items():
        found = look(SAMPLES / name, "0" * 64, readers)
        read = {one.label.casefold(): one.value for one in found.figures}
        assert values.items() <= read.items(), name


def test_the_same_picture_gives_the_same_look(tmp_path: Path, readers: Readers) -> None:
    picture = photo_of("12.8", "mbar", 9)
    assert seen(picture, tmp_path, readers) == seen(picture, tmp_path, readers)


def test_the_model_is_the_one_of_its_card() -> None:
    card = json.loads((FOLDER / "reader.json").read_text(encoding="utf-8"))
    data = (FOLDER / "reader.onnx").read_bytes()
    assert hashlib.sha256(data).hexdigest() == card["sha256"]
    assert card["alphabet"] == ALPHABET
    assert len(data) <= 3_000_000


def test_the_prefix_search_sums_all_paths() -> None:
    """Against a count of all paths by hand (Graves 2012, section 7.3: blanks and repeats fall away)."""
    table = np.zeros((2, len(ALPHABET) + 1), np.float32)
    table[:, 0], table[:, ALPHABET.index("7") + 1] = 0.6, 0.4
    assert texts_of(table, 2) == pytest.approx({"7": 1 - 0.36, "": 0.36})


def test_values_are_what_stands_alone() -> None:
    assert grouped({"7.9#": 0.5, "7.9": 0.3, "1#2": 0.1, "#": 0.1}) == pytest.approx({"7.9": 0.8, "": 0.2})


def test_lines_come_in_at_one_brightness() -> None:
    line = np.tile(np.arange(60, dtype=np.uint8), (40, 1))
    bright = np.asarray(line * 2 + 30, np.uint8)
    assert prepared(np.dstack([line] * 3)) == pytest.approx(prepared(np.dstack([bright] * 3)), abs=0.15)


def views(values: list[str], second: list[str]) -> list[View]:
    cuts = ["close", "wider", "widest", "close, even light", "wider, even light", "squeezed", "stretched"]
    ours = [
        View("display reader", cut, {value: 0.99}, {value: 0.99}, "even" in cut)
        for cut, value in zip(cuts, values, strict=True)
    ]
    return ours + [View("pp-ocr", cut, {v: 0.99}, {v: 0.99}) for cut, v in zip(("close", "wider"), second, strict=True)]


def test_all_alike_is_taken() -> None:
    weighed = verdict(views(["7.9"] * 7, ["7.9", "7.9"]))
    assert (weighed.value, weighed.doubts) == ("7.9", ())


@pytest.mark.parametrize(
    ("ours", "second"),
    [
        (["7.9"] * 7, ["1.9", "1.9"]),  # the recognisers differ
        (["7.9"] * 7, ["-7.9", "7.9"]),  # a sign in one
        (["7.9"] * 7, ["7.9", "-7.9"]),  # a sign in the wider cut only
        (["7.9"] * 7, ["7.9", "17.9"]),  # a leading digit in the wider cut only
        (["7.9"] * 7, ["", ""]),  # one recogniser alone
        (["7.9", "17.9", *["7.9"] * 5], ["7.9", "7.9"]),  # one more digit in a wider cut
        (["7.9"] * 3 + ["79"] * 2 + ["7.9"] * 2, ["7.9", "7.9"]),  # no point in even light
        (["79"] * 7, ["7.9", "7.9"]),  # a point that only one sees
    ],
)
def test_a_difference_is_asked_about_with_the_other_kept(ours: list[str], second: list[str]) -> None:
    weighed = verdict(views(ours, second))
    assert weighed.doubts
    assert {weighed.value, *weighed.alternatives} >= {*ours[:3], *second} - {weighed.value, ""}


def test_a_one_between_digits_that_only_one_cut_of_the_second_reader_shows_is_a_stroke() -> None:
    assert verdict(views(["36.69"] * 7, ["316.69", "36.69"])).doubts == ()
    unsure = views(["36.69"] * 7, ["316.69", "36.69"])
    unsure[1] = View("display reader", "wider", {"36.69": 0.7}, {"36.69": 0.7})
    assert verdict(unsure).doubts
    assert verdict(views(["36.69"] * 7, ["136.69", "36.69"])).doubts


def test_unlit_segments_are_no_digits() -> None:
    ghosts = [*views(["8817"] * 7, ["8817", "17"]), View("display reader", "without ghosts", {"17": 0.9}, {"17": 0.9})]
    weighed = verdict(ghosts)
    assert weighed.value == "17"
    assert weighed.doubts
    assert "8817" in weighed.alternatives


@pytest.mark.parametrize(
    ("text", "value"), [("–0,17", "-0.17"), ("02", ""), ("20.8", "20.8"), ("1-2", ""), ("-0.00", "")]
)
def test_numbers_in_words(text: str, value: str) -> None:
    assert number_in(text) == value


def test_units_as_displays_show_them() -> None:
    assert [unit_code(text) for text in ("in, w.c.", "hPa", "*C", "°F", "kw")] == [
        "[in_i'H2O]", "hPa", "Cel", "[degF]", "kW",
    ]  # fmt: skip
    assert split_number("20.2mbar") == ("20.2", "mbar")


def test_onnx_equals_its_source() -> None:
    torch = pytest.importorskip("torch", reason="torch trains the reader and is not needed to run it")
    pytest.importorskip("onnx", reason="onnx writes the reader's file and is not needed to run it")
    import onnxruntime

    source = importlib.import_module("training.reader_net")
    torch.manual_seed(4)
    net = source.ReaderNet().eval()
    line = np.random.default_rng(4).standard_normal((2, 1, 32, 96)).astype(np.float32)
    with torch.no_grad():
        expected = net(torch.from_numpy(line)).numpy()
    session = onnxruntime.InferenceSession(source.to_onnx(net, {}), providers=["CPUExecutionProvider"])
    assert session.run(None, {"line": line})[0] == pytest.approx(expected, abs=1e-4)


@pytest.mark.slow
def test_the_recipe_trains_from_rendered_crops_alone(tmp_path: Path) -> None:
    pytest.importorskip("torch", reason="torch trains the reader and is not needed to run it")
    pytest.importorskip("onnx", reason="onnx writes the reader's file and is not needed to run it")
    command = [sys.executable, "-m", "training.train_reader", "--out", str(tmp_path), "--count", "4000"]
    command += ["--steps", "3", "--batch", "32", "--workers", "2"]
    subprocess.run(command, check=True, cwd=SAMPLES.parent.parent)
    card = json.loads((tmp_path / "reader.json").read_text(encoding="utf-8"))
    assert card["recipe"]["steps"] == 3
    assert card["data"]["real digits"] == "none"
    assert hashlib.sha256((tmp_path / "reader.onnx").read_bytes()).hexdigest() == card["sha256"]


def test_the_reader_gives_shares(readers: Readers) -> None:
    crop = np.full((40, 120, 3), 90, np.uint8)
    table = DisplayReader().tables([crop, crop[:, :60]])
    assert [part.shape[1] for part in table] == [len(ALPHABET) + 1] * 2
    assert table[0].sum(axis=1) == pytest.approx(np.ones(len(table[0])), abs=1e-5)
    assert readers.display.made_by.model_sha256


def test_every_step_can_be_looked_at(tmp_path: Path, readers: Readers) -> None:
    cv2.imwrite(str(tmp_path / "p.png"), photo_of("228", "°C", 5)[:, :, ::-1])
    files = write_steps(tmp_path / "p.png", tmp_path / "steps", readers)
    assert [file.stem for file in files] == ["1-upright", "2-text", "3-windows", "4-rows", "5-number", "6-figures"]
    assert all(cv2.imread(str(file)) is not None for file in files)
    with pytest.raises(StoreFailed, match="cannot be written"):
        write_steps(tmp_path / "p.png", tmp_path / "p.png" / "steps", readers)


@pytest.mark.parametrize(("change", "advice"), [("dark", DARK), ("blur", BLURRED)])
def test_what_would_make_a_better_picture_is_said(change: str, advice: str, tmp_path: Path, readers: Readers) -> None:
    photo = photo_of("3.81", "mbar", 8)
    assert seen(photo, tmp_path, readers).advice == ()
    worse = np.asarray(photo * 0.1 if change == "dark" else cv2.GaussianBlur(photo, (0, 0), 14), np.uint8)
    assert advice in seen(worse, tmp_path, readers).advice
