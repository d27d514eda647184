"""Units are spelled from what a recogniser saw, and what hides a number's places is found by the ground around it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from bench.see_peers import found_among
from capture.hidden import hidden_places
from capture.locate import Quad
from capture.segments import _is_dark
from capture.sights import Glance
from capture.spelling import Speller, ends_another, known_unit
from capture.unit import legends_near
from schemas.doubts import DoubtKind
from training.render import SegmentStyle, find, render_seven_segment
from training.render.segments import SegmentShape

ALPHABET = ["", *"mbarhPk°CFV%", "℃", *"HAµΩMz2Oin"]


def table(text: str, alphabet: list[str] = ALPHABET, sure: float = 0.9) -> NDArray[np.float32]:
    """A recogniser's table that says a text: a step a character, a blank between."""
    steps = np.full((2 * len(text) + 1, len(alphabet)), (1 - sure) / (len(alphabet) - 1), np.float32)
    steps[::2, 0] = sure
    for at, char in enumerate(text):
        steps[2 * at + 1, alphabet.index(char)] = sure
    return steps


@pytest.mark.parametrize(
    ("text", "unit"),
    [("mbar", "mbar"), ("bar", "bar"), ("hPa", "hPa"), ("Pa", "Pa"), ("°C", "Cel"), ("℃", "Cel"), ("V", "V"),
     ("mV", "mV"), ("µA", "uA"), ("mA", "mA"), ("A", "A"), ("Ω", "Ohm"), ("kΩ", "kOhm"), ("MΩ", "MOhm"), ("Hz", "Hz"),
     ("mmH2O", "mm[H2O]"), ("inH2O", "[in_i'H2O]")],
)  # fmt: skip
def test_a_unit_is_spelled(text: str, unit: str) -> None:
    fits = Speller(ALPHABET).fits(table(text))
    assert fits[0].unit == unit
    assert fits[0].fit > -0.5
    assert fits[0].fit - fits[1].fit > 1.0


def test_a_spelling_is_the_sum_of_all_its_paths() -> None:
    """By hand: of two steps with 0.6 for V and 0.4 for none, V is said by VV, V-, -V: 1 - 0.16 (Graves 2012, 7.3)."""
    steps = np.array([[0.4, 0.6], [0.4, 0.6]], np.float32)
    fit = Speller(["", "V"]).fits(steps)[0]
    assert fit.unit == "V"
    assert fit.fit == pytest.approx(np.log(0.84) - np.log(0.36), abs=1e-4)


def test_what_is_no_unit_fits_none() -> None:
    assert Speller(ALPHABET).fits(table("HAHA"))[0].fit < -5


def test_legends_are_no_units() -> None:
    assert [known_unit(text) for text in ("MIN", "h", "inH₂O", "in. w.c.", "KPA", "µA")] == [
        "", "", "[in_i'H2O]", "[in_i'H2O]", "kPa", "uA",
    ]  # fmt: skip


def window(text: str, unit: str, thickness: float = 0.13) -> tuple[NDArray[np.uint8], Quad, Quad]:
    """A flat display, the tight quad of its number, and that of its unit; strokes as thick as that share of a digit."""
    style = SegmentStyle(shape=SegmentShape(thickness=thickness))
    picture, boxes = render_seven_segment(text, unit, style, np.random.default_rng(4))
    chars = np.concatenate([np.array(box.quad) for box in find(boxes, "char")])
    (x0, y0), (x1, y1) = chars.min(axis=0), chars.max(axis=0)
    number = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], np.float32)
    return np.ascontiguousarray(picture[:, :, ::-1]), number, np.array(find(boxes, "unit")[0].quad, np.float32)


def test_the_unit_is_the_nearest_small_word() -> None:
    picture, number, unit = window("12.8", "mbar")
    legend = legends_near(number, _is_dark(picture, number), picture)[0]
    assert np.abs(legend.quad.mean(axis=0) - unit.mean(axis=0)).max() < 0.15 * (number[3][1] - number[0][1])


def test_dark_and_light_ink_are_told_apart() -> None:
    picture, number, _ = window("-7.82", "Pa")
    assert _is_dark(picture, number)
    assert not _is_dark(255 - picture, number)


@pytest.mark.parametrize(
    ("way", "light"), [("finger", (96, 140, 200)), ("shade", (2, 2, 2)), ("glare", (255, 255, 255))]
)
@pytest.mark.parametrize("place", ["before", "point"])
def test_what_hides_a_place_is_found(way: str, light: tuple[int, int, int], place: str) -> None:
    picture, number, _ = window("27.71", "mbar")
    assert hidden_places(number, True, "27.71", picture) == []
    height = float(number[3][1] - number[0][1])
    before = number[0] + np.array([-0.45 * height, 0.5 * height])
    middle = before if place == "before" else number[[2, 3]].mean(axis=0)
    covered = cv2.circle(picture.copy(), (int(middle[0]), int(middle[1])), int(0.3 * height), light, -1)
    found = hidden_places(number, True, "27.71", cv2.GaussianBlur(covered, (0, 0), 2.0).astype(np.uint8))
    assert [doubt.kind for doubt in found if doubt.kind is DoubtKind.HIDDEN], way


def test_a_frame_beside_a_number_hides_nothing() -> None:
    picture, number, _ = window("27.71", "mbar")
    height = float(number[3][1] - number[0][1])
    framed = picture.copy()
    framed[:, : int(number[0][0] - 0.4 * height)] = (30, 32, 34)
    assert hidden_places(number, True, "27.71", framed) == []


def test_a_frame_seen_at_a_slant_hides_nothing_and_a_finger_from_below_does() -> None:
    picture, number, _ = window("27.71", "mbar")
    height, (left, top) = float(number[3][1] - number[0][1]), number[0]
    framed, covered = picture.copy(), picture.copy()
    edge = [[0, 0], [left - 0.3 * height, 0], [left - 0.9 * height, len(picture)], [0, len(picture)]]
    cv2.fillPoly(framed, [np.array(edge).astype(np.int32)], (30, 32, 34))
    assert hidden_places(number, True, "27.71", framed) == []
    tip = (int(left - 0.5 * height), int(top + 0.5 * height))
    cv2.line(covered, tip, (tip[0], len(picture)), (96, 140, 200), int(0.6 * height))
    assert hidden_places(number, True, "27.71", covered)


def test_a_fingertip_whose_side_is_as_upright_as_a_frame_hides() -> None:
    picture, number, _ = window("27.71", "mbar")
    room = round(float(number[3][1] - number[0][1]))
    picture = np.pad(picture, ((room, room), (room, room), (0, 0)), "edge")
    number = number + np.float32(room)
    tip = (int(number[0][0] - 0.9 * room), int(number[0][1] + 0.1 * room))
    covered, framed = picture.copy(), picture.copy()
    cv2.line(covered, tip, (tip[0], len(picture)), (30, 32, 34), int(1.2 * room))
    assert [doubt.kind for doubt in hidden_places(number, True, "27.71", covered)] == [DoubtKind.HIDDEN]
    cv2.rectangle(framed, (0, 0), (tip[0] + int(0.6 * room), len(picture)), (30, 32, 34), -1)
    assert hidden_places(number, True, "27.71", framed) == []


def test_a_digit_behind_one_that_is_hidden_is_seen() -> None:
    picture, number, _ = window("27.71", "mbar")
    height = float(number[3][1] - number[0][1])
    first = number.copy()
    first[[1, 2], 0] = number[0][0] + 0.6 * height
    hidden = (int(number[0][0] + 1.05 * height), int(number[:, 1].mean()))
    cv2.ellipse(picture, hidden, (int(0.42 * height), int(0.7 * height)), 0, 0, 360, picture[2, 2].tolist(), -1)
    assert DoubtKind.CUT_OFF in [doubt.kind for doubt in hidden_places(first, True, "2", picture)]


def test_what_is_thicker_than_a_point_may_hide_one() -> None:
    picture, number, _ = window("27.71", "mbar", thickness=0.08)
    height = float(number[3][1] - number[0][1])
    foot, ink = number[[2, 3]].mean(axis=0) - np.array([0, 0.05 * height]), picture.reshape(-1, 3).min(axis=0)
    for share, hides in ((0.06, False), (0.13, True)):
        spot = picture.copy()
        cv2.circle(spot, (int(foot[0]), int(foot[1])), int(share * height), ink.tolist(), -1)
        assert bool(hidden_places(number, True, "27.71", spot)) is hides


def test_light_ink_shines_through_a_soft_weak_reflection_and_not_through_a_strong_one() -> None:
    picture, number, _ = window("27.71", "mbar")
    dark = np.asarray(30 + 0.6 * (255 - picture.astype(np.float32)), np.float32)
    height, (x, y) = float(number[3][1] - number[0][1]), number.mean(axis=0)
    ys, xs = np.mgrid[: picture.shape[0], : picture.shape[1]]
    veil = np.exp(-((xs - x) ** 2 + (ys - y) ** 2) / (0.6 * height) ** 2)[..., None]
    weak, strong = (np.clip(dark + by * veil, 0, 255).astype(np.uint8) for by in (60, 400))
    assert hidden_places(number, False, "27.71", weak) == []
    assert hidden_places(number, False, "27.71", strong)


def test_a_unit_is_as_strong_as_its_number_and_specks_are_not() -> None:
    picture, number, unit = window("12.8", "mbar")
    height = float(number[3][1] - number[0][1])
    x, y = number[1] + np.array([0.3 * height, 0.25 * height])
    ground = picture[int(y), int(x)]
    speck = np.asarray(ground * 0.94, np.uint8).tolist()
    cv2.rectangle(picture, (int(x), int(y)), (int(x + 0.1 * height), int(y + 0.2 * height)), speck, -1)
    legends = legends_near(number, True, picture)
    strengths = {
        np.abs(one.quad.mean(axis=0) - unit.mean(axis=0)).max() < 0.15 * height: one.strength for one in legends
    }
    assert strengths[True] > 0.5
    assert strengths.get(False, 0.0) < 0.35


def test_a_unit_that_ends_as_another_may_have_lost_a_letter() -> None:
    assert [ends_another(code) for code in ("Pa", "bar", "V", "hPa", "mbar", "Cel")] == [True] * 3 + [False] * 3


def line_at(x: float, y: float, wide: float, high: float) -> Quad:
    return np.array([[x, y], [x + wide, y], [x + wide, y + high], [x, y + high]], np.float32)


def test_one_number_stands_alone_where_all_other_text_is_much_lower() -> None:
    number = line_at(100, 100, 400, 120)
    legends = [line_at(100, 40, 80, 30), line_at(520, 180, 60, 40)]
    assert Glance([number, *legends]).stands_alone(number)
    assert Glance(legends).stands_alone(number)
    assert Glance([number]).holds(number)
    assert not Glance(legends).holds(number)
    assert not Glance([line_at(100, 300, 400, 90)]).stands_alone(number)  # a second number
    assert not Glance([line_at(50, 20, 600, 400)]).stands_alone(number)  # text that was found as one piece


def test_lines_of_one_height_may_be_rows() -> None:
    rows = [line_at(50, 60 * at, 200, 40 - at) for at in range(4)]
    assert Glance(rows).shows_rows
    assert not Glance(rows[:3]).shows_rows
    assert not Glance([line_at(0, 0, 400, 200), *rows[:3]]).shows_rows


@pytest.mark.parametrize(
    ("line", "found"),
    [("7.9 mbar", True), ("CO 7.9ppm", True), ("17.9", False), ("7.95", False), ("-7.9", False), ("7,9", True)],
)
def test_a_peer_is_credited_with_whole_values(line: str, found: bool) -> None:
    assert found_among("7.9", [line]) is found
