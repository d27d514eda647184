"""A display's number among others of its size: which one is meant is asked; a scale or the face of a clock is none."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from capture.advice import TWO
from capture.readers import load_readers
from capture.see import _among, look
from capture.segments import Place, _beside
from schemas.doubts import DoubtKind
from schemas.evidence import Box, Figure
from training.render import mount, random_body, random_style, render_seven_segment, take_photo


def quad(x: float, height: float = 40.0) -> NDArray[np.float32]:
    return np.array([(x, 0), (x + 60, 0), (x + 60, height), (x, height)], np.float32)


def figure(unit: str) -> Figure:
    return Figure(label="", value="7.2", unit=unit, box=Box(corners=((0, 0), (60, 0), (60, 40), (0, 40))))


@pytest.mark.parametrize(
    ("unit", "others", "legends", "kept", "alternatives"),
    [
        ("mbar", [("7.2", quad(2))], False, True, ()),  # itself
        ("mbar", [("7.2", quad(2)), ("3.5", quad(200))], False, True, ("3.5",)),
        ("mbar", [("7.2", quad(2)), ("240", quad(200, 15))], False, True, ()),  # small print
        ("mbar", [("3.5", quad(200)), ("9.1", quad(400))], False, True, ("3.5", "9.1")),
        ("", [("3.5", quad(200))], False, True, ("3.5",)),
        ("", [("12", quad(200)), ("3", quad(400))], False, False, ()),  # a dial
        ("", [("9.3", quad(200)), ("4.4", quad(400))], True, True, ("9.3", "4.4")),  # rows with labels, badly read
    ],
)
def test_a_number_among_others(
    unit: str, others: list[tuple[str, NDArray[np.float32]]], legends: bool, kept: bool, alternatives: tuple[str, ...]
) -> None:
    found = _among(others, figure(unit), legends)
    assert len(found) == kept
    for one in found:
        assert one.alternatives == alternatives
        assert [d.kind for d in one.doubts] == ([DoubtKind.VALUE_UNCLEAR] if alternatives else [])


def test_a_number_that_was_seen_and_not_read_is_told() -> None:
    (one,) = _among([("7.2", quad(2))], figure("mbar"), False, unread=True)
    assert [d.detail for d in one.doubts] == ["the picture shows another number too"]
    assert one.alternatives == ()


def test_what_counts_as_another_number() -> None:
    mine = Place(quad(0), True, "7.2", 1.0)
    twice, other, low, faint = quad(20), quad(200), quad(200, 15), quad(400)
    read = [Place(twice, True, "2", 1.0), Place(other, True, "13", 0.7), Place(quad(210), True, "3", 0.9)]
    assert [float(one.quad[0][0]) for one in _beside(mine, read)] == [200]
    assert not _beside(mine, [mine, Place(low, True, "134", 1.0), Place(faint, True, "1", 0.5)])


@pytest.mark.slow
def test_of_two_displays_none_is_lost(tmp_path: Path) -> None:
    halves = []
    for seed, (number, unit) in enumerate((("7.2", "inH2O"), ("134", "°F")), 3):
        rng = np.random.default_rng(seed)
        front = mount(*render_seven_segment(number, unit, random_style(rng), rng), random_body(rng), rng)
        halves.append(take_photo(*front, 0, rng, size=(1024, 768), fill=0.8, behind="plaster", compress=False)[0])
    path, readers = tmp_path / "two.png", load_readers()
    cv2.imwrite(str(path), np.concatenate(halves, 1)[:, :, ::-1])
    found = look(path, "0" * 64, readers)
    assert TWO in found.advice
    assert all(one.doubts for one in found.figures)
    cv2.imwrite(str(path), halves[0][:, :, ::-1])
    assert look(path, "0" * 64, readers).advice == ()
