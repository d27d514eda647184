"""The renderer: same seed, same bytes; boxes where the ink is; perspective as OpenCV has it; true photos."""

import csv
import itertools
import json
import re
import tomllib
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pytesseract
import pytest
from PIL import ExifTags, ImageOps
from PIL import Image as Pil

from samples import make_photos
from schemas.errors import BadInput
from training.render import (
    Box,
    DotStyle,
    Image,
    PlateStyle,
    SegmentStyle,
    encode_jpeg,
    exif_block,
    find,
    hide,
    line_crop,
    mount,
    random_body,
    random_crop,
    random_dot_style,
    random_number,
    random_plate_style,
    random_slip_style,
    random_style,
    render_dot_display,
    render_plate,
    render_seven_segment,
    render_slip,
    take_photo,
)
from training.render.crops import HEIGHT, REJECT, WORDS
from training.render.dots import OWN, dot_table
from training.render.lettering import font
from training.render.picture import map_boxes, map_points, rect, to_linear, to_srgb
from training.render.scene import BACKGROUNDS, HANDS
from training.render.segments import GLYPHS, SegmentShape, lay_out, lit
from training.render.styles import Look

pytestmark = pytest.mark.slow

ROWS = (("O2", "4.4", "%"), ("CO", "76", "ppm"), ("Flue temp", "112", "°F"), ("Draft", "-0.04", "in. w.c."))
PHOTOS = Path(make_photos.__file__).parent / "photos"
SCENARIO = tomllib.loads((Path(make_photos.__file__).parent / "scenario.toml").read_text(encoding="utf-8"))
Made = tuple[Image, tuple[Box, ...]]


def _segment(seed: int) -> Made:
    rng = np.random.default_rng(seed)
    return render_seven_segment("-7.9", "mbar", random_style(rng, height=90), rng)


def _dots(seed: int) -> Made:
    rng = np.random.default_rng(seed)
    return render_dot_display(ROWS, "FUEL", random_dot_style(rng, pitch=4), rng)


def _slip(seed: int) -> Made:
    rng = np.random.default_rng(seed)
    return render_slip(("TEST", "08:24"), ROWS, ("end",), random_slip_style(rng), rng)


def _plate(seed: int) -> Made:
    rng = np.random.default_rng(seed)
    return render_plate("BOILER", ROWS, ("note",), random_plate_style(rng), rng)


def _photo(seed: int) -> Made:
    rng = np.random.default_rng(seed)
    front, boxes = mount(*_segment(seed), random_body(rng), rng)
    return take_photo(front, boxes, seed % 3, rng, size=(480, 360), hand="grey glove")


MAKERS = (_segment, _dots, _slip, _plate, _photo)


@pytest.mark.parametrize("make", MAKERS)
def test_same_seed_same_bytes(make: Callable[[int], Made]) -> None:
    (first, boxes), (again, same_boxes), (other, _) = make(7), make(7), make(8)
    assert first.dtype == np.uint8
    assert first.tobytes() == again.tobytes()
    assert boxes == same_boxes
    assert first.tobytes() != other.tobytes()


def test_crop_same_seed_same_bytes() -> None:
    first, again = random_crop(np.random.default_rng(3)), random_crop(np.random.default_rng(3))
    assert first.text == again.text
    assert first.image.tobytes() == again.image.tobytes()


# --------------------------------------------------------------------------------------- boxes


def _inside(shape: tuple[int, ...], boxes: tuple[Box, ...], pad: int) -> Image:
    mask = np.zeros(shape[:2], np.uint8)
    for box in boxes:
        cv2.fillPoly(mask, [np.round(np.array(box.quad)).astype(np.int32)], 255)
    return cv2.dilate(mask, np.ones((2 * pad + 1, 2 * pad + 1), np.uint8)).astype(np.uint8)


@pytest.mark.parametrize("seed", range(12))
def test_what_changes_with_the_number_lies_in_its_box(seed: int) -> None:
    """The ink of a number is exactly where its box says: another number of the same places changes nothing else."""
    style = random_style(np.random.default_rng(seed), height=80)
    full, boxes = render_seven_segment("88.8", "", style, np.random.default_rng(1))
    other, _ = render_seven_segment("11.1", "", style, np.random.default_rng(1))
    changed = np.abs(full.astype(int) - other).max(axis=2) > 24
    box = find(boxes, "value")
    # Halo and shadow of a display fall a little outside its ink.
    assert changed.any()
    assert not (changed & (_inside(full.shape, box, 14) == 0)).any()
    for char in find(boxes, "char"):
        here = _inside(full.shape, (char,), 0) > 0
        if char.value == "8":
            assert changed[here].any()


@pytest.mark.parametrize("seed", range(6))
def test_dot_boxes_hug_their_ink(seed: int) -> None:
    rng = np.random.default_rng(seed)
    style = random_dot_style(rng, pitch=5)
    full, boxes = render_dot_display(ROWS, "HEAD", style, np.random.default_rng(1))
    rows = list(ROWS)
    rows[1] = ("CO", "18", "ppm")  # as wide as 76 in the table of our own
    if style.face != OWN:
        rows[1] = ("CO", "67", "ppm")
    other, _ = render_dot_display(rows, "HEAD", style, np.random.default_rng(1))
    changed = np.abs(full.astype(int) - other).max(axis=2) > 24
    target = tuple(box for box in boxes if box.role == "value" and box.label == "CO")
    assert len(target) == 1
    assert changed.any()
    assert not (changed & (_inside(full.shape, target, 6) == 0)).any()


def test_every_row_has_its_label_value_and_unit() -> None:
    for make in (_dots, _slip, _plate):
        _, boxes = make(2)
        assert [(box.label, box.value, box.unit) for box in find(boxes, "value")] == list(ROWS)
        assert len(find(boxes, "label")) == len(find(boxes, "unit")) == len(ROWS)
        assert len(find(boxes, "display")) == 1


@pytest.mark.parametrize("seed", range(4))
def test_slip_boxes_follow_the_curl(seed: int) -> None:
    """On bent paper, each value's box holds dark print and its border does not."""
    paper, boxes = _slip(seed)
    grey = cv2.cvtColor(paper[..., :3].copy(), cv2.COLOR_RGB2GRAY).astype(float)
    for box in find(boxes, "value"):
        inner = grey[_inside(paper.shape, (box,), 0) > 0]
        ring = grey[(_inside(paper.shape, (box,), 4) > 0) & (_inside(paper.shape, (box,), 2) == 0)]
        assert np.percentile(inner, 5) < np.median(ring) - 25
        assert np.percentile(ring, 5) > np.percentile(inner, 5) + 10


def test_map_points_equals_opencv() -> None:
    rng = np.random.default_rng(0)
    matrix = np.eye(3) + rng.normal(0, 1e-4, (3, 3))
    points = rng.uniform(0, 500, (20, 2))
    want = cv2.perspectiveTransform(points[None], matrix)[0]
    np.testing.assert_allclose(map_points([(x, y) for x, y in points], matrix), want, rtol=1e-9)
    box = Box("value", rect(10, 20, 30, 40))
    corners = cv2.perspectiveTransform(np.array(box.quad, np.float64)[None], matrix)[0]
    np.testing.assert_allclose(map_boxes((box,), matrix)[0].quad, corners, rtol=1e-9)


@pytest.mark.parametrize(("severity", "seed"), list(itertools.product(range(3), range(3))))
def test_photo_boxes_land_where_the_camera_put_the_thing(severity: int, seed: int) -> None:
    """Four green patches on red: found by colour in the photo, they stand where their boxes say."""
    flat = np.zeros((300, 400, 3), np.uint8)
    flat[:] = (200, 40, 40)
    boxes = []
    for x, y in ((40, 30), (330, 30), (330, 240), (40, 240)):
        flat[y : y + 30, x : x + 30] = (30, 220, 60)
        boxes.append(Box("value", rect(x, y, 30, 30)))
    photo, placed = take_photo(
        flat, boxes, severity, np.random.default_rng(seed), size=(800, 600), surface="paper", behind="casing"
    )
    green = (photo[..., 1].astype(int) - photo[..., 0] > 20) & (photo[..., 1].astype(int) - photo[..., 2] > 10)
    for box in placed:
        near = green & (_inside(photo.shape, (box,), 12) > 0)
        ys, xs = np.nonzero(near)
        middle = cv2.moments(np.array(box.quad, np.float32))
        want = np.array([middle["m10"], middle["m01"]]) / middle["m00"]
        assert np.abs(np.array([xs.mean() + 0.5, ys.mean() + 0.5]) - want).max() < 2.0


# -------------------------------------------------------------------------------------- shapes


def test_digits_light_the_usual_segments() -> None:
    """The usual code of common seven-segment decoders, bit 0 = a to bit 6 = g (from memory)."""
    codes = (0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F)
    for digit, code in enumerate(codes):
        want = {letter for bit, letter in enumerate("abcdefg") if code >> bit & 1}
        assert set(GLYPHS[str(digit)]) == want
    assert set(lit("6", SegmentShape(tail_6=False))) == set("cdefg")
    assert set(lit("9", SegmentShape(tail_9=False))) == set("abcfg")


@pytest.mark.parametrize("seed", range(30))
def test_neighbours_never_touch(seed: int) -> None:
    """In every random style, signs stand apart: a point is a piece of its own, and so is each digit."""
    style = random_style(np.random.default_rng(seed), height=200)
    strokes, quads, _ = lay_out("8.8", style.shape, 200, 2, ghost_points=False)
    masks = []
    for index in range(3):
        mask = np.zeros((320, 900), np.uint8)
        for stroke in strokes:
            if stroke.char == index and stroke.lit:
                cv2.fillPoly(mask, [np.round(stroke.points + 20).astype(np.int32)], 255)
        masks.append(mask > 0)
        assert mask.any()
    for one, two in itertools.combinations(masks, 2):
        assert not (one & two).any()
    assert all(quads)


def test_dot_letters_are_all_different() -> None:
    table = dot_table()
    assert set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz.,:-+%/°()µλ") <= set(table)
    shapes = {sign: bits.tobytes() for sign, bits in table.items()}
    assert len(set(shapes.values())) == len(shapes)
    assert all(bits.shape == (7, 5) for bits in table.values())


def test_plate_can_be_read_by_another_program() -> None:
    """Tesseract, which knows nothing of this renderer, reads the values off a flat plate."""
    rows = (("INPUT MAX", "240,000", "Btu/h"), ("INLET PRESSURE", "3.5", "in. w.c."), ("SERIAL", "40628", ""))
    plate, _ = render_plate("GAS BOILER", rows, (), PlateStyle(grid=False, wear=0), np.random.default_rng(0))
    text = pytesseract.image_to_string(Pil.fromarray(plate[..., :3].copy()), config="--psm 6")
    for _, value, _ in rows:
        assert value in text


def test_unlit_segments_show_only_when_they_should() -> None:
    none = SegmentStyle(look=Look(ghost=0.0, unevenness=0.0), height=100)
    some = SegmentStyle(look=Look(ghost=0.2, unevenness=0.0), height=100)
    plain, _ = render_seven_segment("1", "", none, np.random.default_rng(0))
    ghosts, _ = render_seven_segment("1", "", some, np.random.default_rng(0))
    left = np.s_[:, : plain.shape[1] // 2]
    assert np.ptp(plain[left], axis=(0, 1)).max() == 0
    assert np.ptp(ghosts[left], axis=(0, 1)).min() > 15


def test_what_segments_cannot_show_is_said() -> None:
    with pytest.raises(BadInput, match="cannot show 'k'"):
        render_seven_segment("1k", "", SegmentStyle(height=40), np.random.default_rng(0))


def test_missing_font_says_what_to_do() -> None:
    with pytest.raises(BadInput, match="not installed; install fonts-dejavu-core"):
        font("No-Such-Font.ttf", 20)


# ---------------------------------------------------------------------------------- light, file


def test_srgb_curve() -> None:
    """IEC 61966-2-1: linear 0.5 is sRGB 0.7354 (188 of 255), linear 0.18 is 0.4614 (118)."""
    assert to_srgb(np.array([0.0, 0.18, 0.5, 1.0, 3.0], np.float32)).tolist() == [0, 118, 188, 255, 255]
    levels = np.arange(256, dtype=np.uint8)
    assert np.abs(to_srgb(to_linear(levels)).astype(int) - levels).max() <= 1


@pytest.mark.parametrize(("kind", "hand"), list(zip(itertools.cycle(sorted(BACKGROUNDS)), sorted(HANDS), strict=False)))
def test_backgrounds_and_hands(kind: str, hand: str) -> None:
    """A hand shows, and moves neither the thing nor its boxes."""
    front = np.full((200, 300, 3), 120, np.uint8)
    boxes = (Box("display", rect(80, 40, 140, 80)),)
    bare, placed = take_photo(front, boxes, 0, np.random.default_rng(1), size=(240, 180), behind=kind)
    held, same = take_photo(front, boxes, 0, np.random.default_rng(1), size=(240, 180), behind=kind, hand=hand)
    assert same == placed
    assert (np.abs(held.astype(int) - bare).max(axis=2) > 40).mean() > 0.01
    assert bare.std() > 3


@pytest.mark.parametrize("way", ["glare", "finger", "shade"])
def test_hidden_point_cannot_be_seen(way: str) -> None:
    window, boxes = render_seven_segment("7.9", "", SegmentStyle(height=120), np.random.default_rng(0))
    point = next(box for box in find(boxes, "char") if box.value == ".")
    spot = _inside(window.shape, (point,), 1) > 0
    before = window[spot].astype(int)
    covered = hide(window, point.quad, way, np.random.default_rng(0))  # type: ignore[arg-type]  # parametrised literal
    assert np.ptp(before[:, 1]) > 80
    grey = cv2.cvtColor(covered, cv2.COLOR_RGB2GRAY)
    edges = cv2.Canny(grey, 40, 90)
    assert not edges[spot].any()


def test_exif_tells_time_and_turn_and_nothing_of_place_or_camera() -> None:
    taken = datetime(2026, 3, 4, 5, 6, 7, tzinfo=timezone(timedelta(hours=-3, minutes=-30)))
    data = encode_jpeg(np.zeros((20, 30, 3), np.uint8), 80, exif_block(taken, 6))
    with Pil.open(BytesIO(data)) as picture:
        exif = picture.getexif()
        times = exif.get_ifd(ExifTags.IFD.Exif)
        assert exif[ExifTags.Base.Orientation] == 6
        assert times[ExifTags.Base.DateTimeOriginal] == "2026:03:04 05:06:07"
        assert times[ExifTags.Base.OffsetTimeOriginal] == "-03:30"
        assert not exif.get_ifd(ExifTags.IFD.GPSInfo)
        assert ExifTags.Base.Make not in exif
        assert ExifTags.Base.Model not in exif
        assert ImageOps.exif_transpose(picture).size == (20, 30)


def test_exif_needs_a_zone() -> None:
    with pytest.raises(ValueError, match="zone"):
        exif_block(datetime(2026, 1, 1))


# --------------------------------------------------------------------------------------- crops


def test_random_numbers_look_like_a_display() -> None:
    rng = np.random.default_rng(0)
    seen = {random_number(rng) for _ in range(2000)}
    assert all(re.fullmatch(r"-?(0|[1-9]\d*)(\.\d+)?", text) for text in seen)
    assert any(text.startswith("-") for text in seen)
    assert any(text.startswith("0.") for text in seen)
    assert max(len(re.sub(r"\D", "", text)) for text in seen) == 5


@pytest.mark.parametrize("severity", range(3))
def test_crops(severity: int) -> None:
    rng = np.random.default_rng(severity)
    allowed = re.compile(r"-?\d*\.?\d*|#|-?#?\d*\.?\d*#?")
    for _ in range(30):
        crop = random_crop(rng, severity=severity)
        assert crop.image.shape[0] == HEIGHT
        assert crop.image.dtype == np.uint8
        assert crop.text
        assert allowed.fullmatch(crop.text)
        assert np.ptp(crop.image) > 10


def test_cut_digits_and_words_are_rejects() -> None:
    style = SegmentStyle(height=40)
    rng = np.random.default_rng(0)
    whole = line_crop("47.9", "%", style, 0, np.random.default_rng(5))
    assert whole.text == "47.9"
    first = line_crop("47.9", "%", style, 0, np.random.default_rng(5), cut="first")
    assert first.text == REJECT + "7.9"
    assert line_crop("-47.9", "%", style, 0, rng, cut="first").text == REJECT + "7.9"
    assert line_crop("47.9", "%", style, 0, rng, cut="last").text == "47." + REJECT
    assert first.image.shape[1] < whole.image.shape[1]
    for word in WORDS:
        crop = line_crop(word, "", style, 0, rng)
        assert crop.text == REJECT
        assert crop.image.shape[1] < 12 * HEIGHT


# ------------------------------------------------------------------------------------- samples


def _labels() -> list[dict[str, str]]:
    with (PHOTOS / "labels.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_sample_labels_are_the_scenario() -> None:
    facts = SCENARIO["photos"]
    truth = {row["file"]: json.loads(row["values(label,value,unit)"]) for row in _labels()}
    assert truth["manometer.jpg"] == [["main", facts["manometer"]["display"], facts["manometer"]["unit_shown"]]]
    for name, key in (("analyser", "analyzer"), ("slip", "slip"), ("plate", "plate")):
        want = [[r["label"], r["shown"].replace(",", ""), r["unit_shown"]] for r in facts[key]["rows"]]
        assert truth[f"{name}.jpg"] == want


@pytest.mark.parametrize("name", ["manometer", "analyser", "slip", "plate"])
def test_sample_photos(name: str) -> None:
    """Small enough, big enough, dated as the scenario says, and with ink in every box."""
    path = PHOTOS / f"{name}.jpg"
    assert path.stat().st_size <= 500_000
    row = next(row for row in _labels() if row["file"] == path.name)
    meta = json.loads(row["meta"])
    with Pil.open(path) as picture:
        exif = picture.getexif()
        times = exif.get_ifd(ExifTags.IFD.Exif)
        assert not exif.get_ifd(ExifTags.IFD.GPSInfo)
        upright = np.array(ImageOps.exif_transpose(picture).convert("L"))
    assert 3e6 <= upright.size <= 4.2e6
    zone = times[ExifTags.Base.OffsetTimeOriginal]
    stamp = datetime.strptime(times[ExifTags.Base.DateTimeOriginal] + zone, "%Y:%m:%d %H:%M:%S%z")
    assert stamp == datetime.fromisoformat(meta["taken"])
    facts = SCENARIO["photos"]["analyzer" if name == "analyser" else name]
    earliest = datetime.fromisoformat(facts.get("taken") or facts["printed"])
    assert timedelta(0) <= stamp - earliest < timedelta(minutes=5)
    assert len(meta["boxes"]) == len(json.loads(row["values(label,value,unit)"]))
    for flat in meta["boxes"]:
        quad = np.array(flat).reshape(4, 2)
        (x0, y0), (x1, y1) = quad.min(axis=0).astype(int), quad.max(axis=0).astype(int)
        assert np.ptp(np.percentile(upright[y0:y1, x0:x1], (3, 97))) > 35


@pytest.mark.slow
def test_making_the_samples_again_gives_the_same_truth(tmp_path: Path) -> None:
    assert make_photos.main(["--out", str(tmp_path)]) == 0
    assert (tmp_path / "labels.csv").read_text(encoding="utf-8") == (PHOTOS / "labels.csv").read_text(encoding="utf-8")


def test_dot_style_rows_fit_the_screen() -> None:
    long = (("Efficiency (gross)", "93.4", "%"), ("CO", "12345", "in. w.c."))
    picture, boxes = render_dot_display(long, "H", DotStyle(pitch=3), np.random.default_rng(0))
    for box in boxes:
        corners = np.array(box.quad)
        assert (corners >= 0).all()
        assert (corners <= (picture.shape[1], picture.shape[0])).all()
