"""A display's number among others of its size: which one is meant is asked; a scale or the face of a clock is none."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from capture.see import _among
from schemas.doubts import DoubtKind
from schemas.evidence import Box, Figure


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
