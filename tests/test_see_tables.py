"""Rows of displays and slips: what belongs to a number, what it measures, and where text is looked for."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import cv2
import numpy as np
import pytest

from bench.see import score
from capture.agree import likeliest
from capture.locate import Quad, rectify
from capture.readers import Readers
from capture.rows import Row, Word, parse_row
from capture.sights import Glance, _closer
from capture.table import _label, _nameless, _number_in, is_table
from capture.words import known_label, number_in
from schemas.evidence import Opinion


def box(left: float, top: float, right: float, bottom: float) -> Quad:
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)


def word(text: str, left: float, right: float) -> Word:
    return Word(text, box(left, 0, right, 20), number_in(text), 1.0)


def test_a_cut_of_a_number_ends_midway_to_the_words_beside_it() -> None:
    row = parse_row([word("CO", 0, 30), word("9.6", 100, 140), word("%", 142, 160)])
    left, top, right, bottom = _number_in(row, 0.5, 0.1)[[0, 0, 1, 2], [0, 1, 0, 1]]
    assert (left, right) == (90, 141)  # half a height where there is room, half the gap where there is not
    assert (top, bottom) == (-2, 22)


@pytest.mark.parametrize(
    ("label", "unit", "asked"),
    [
        ("Fuel", "", True),  # G20, its letter read as a six
        ("Programme", "", True),
        ("Fuel", "kW", False),
        ("CO/CO2", "", False),
        ("Serial", "", False),
        ("Programme", "mbar", False),
    ],
)
def test_a_number_that_neither_label_nor_unit_explains_is_asked(label: str, unit: str, asked: bool) -> None:
    assert bool(_nameless(known_label(label), unit)) is asked


@pytest.mark.parametrize(
    ("first", "again", "unit", "asked"),
    [
        ("Deu pt", "Deu pt", "°C", False),
        ("Deu pt", "Deu pt", "ppm", True),  # no unit of a dew point
        ("CO anb", "CO anb", "ppm", True),  # CO af is not far off
        ("Deu pt", "Lou pt", "°C", True),
    ],
)
def test_a_misread_label_is_set_right_where_nothing_else_is_near(
    first: str, again: str, unit: str, asked: bool
) -> None:
    a, b = first.split()
    row = parse_row([word(a, 0, 30), word(b, 35, 60), word("41.3", 100, 140), word(unit, 150, 180)])
    assert bool(_label(row, again)[2]) is asked


def test_a_label_with_the_word_of_an_average_is_another_label() -> None:
    labels = [known_label(text) for text in ("CO2 avg", "CO max.")]
    told = [(label.key, label.units, label.exact) for label in labels if label]
    assert told == [("co2 average", ("%",), True), ("co held", ("[ppm]",), True)]
    row = parse_row([word("CO2", 0, 30), word("9.4", 100, 140), word("%", 142, 160)])
    assert _label(row, "CO2 avg")[2]  # one reading of it has the word, and one has not


def test_the_oxygen_that_a_gas_is_referred_to_is_part_of_its_label() -> None:
    words = [word("CO", 0, 30), word("ref", 35, 60), word("3", 65, 75), word("%", 76, 90), word("97", 130, 160)]
    row = parse_row([*words, word("ppm", 165, 200)])
    assert ([one.value for one in row.values], row.label, row.unit) == (["97"], "CO ref 3 %", "[ppm]")
    for first in ("CO2", "Eff"):  # two columns, and one of the labels not read
        assert len(parse_row([word(first, 0, 30), *words[2:], word("ppm", 165, 200)]).values) == 2


def test_rows_of_columns_are_a_table_where_their_labels_are_known() -> None:
    def columns(label: str) -> Row:
        return parse_row([word(label, 0, 30), word("9.3", 100, 140), word("9.5", 180, 220), word("9.4", 260, 300)])

    assert is_table([columns("CO2"), columns("O2")])
    assert not is_table([columns("A"), columns("B")])


def test_of_two_that_are_held_alike_a_point_is_lost_rather_than_made() -> None:
    texts = (("1040", 0.9), ("104.0", 0.6), ("1040", 0.9), ("104.0", 0.6))
    assert likeliest([Opinion(reader="r", text=text, score=score) for text, score in texts]) == "104.0"


def test_rows_are_looked_for_where_a_glance_saw_them_and_a_number_everywhere() -> None:
    rows = [box(100, 200 + 40 * at, 300, 220 + 40 * at) for at in range(4)]
    assert Glance(rows).part((800, 600, 3)) == (slice(180, 361), slice(80, 321))
    assert Glance(rows).scaled(2).part((1600, 1200, 3)) == (slice(360, 721), slice(160, 641))
    assert Glance(rows[:3]).part((800, 600, 3)) == (slice(0, 800), slice(0, 600))


def test_a_line_that_only_the_glance_saw_is_kept() -> None:
    rows = [box(100, 200 + 40 * at, 300, 220 + 40 * at) for at in range(4)]
    start = np.array([80, 180], np.float32)  # of the part that is looked at more closely
    text = SimpleNamespace(find=lambda part, side: [quad - start for quad in rows[:3]])
    found = _closer(np.zeros((800, 600, 3), np.uint8), Glance(rows), cast(Readers, SimpleNamespace(text=text)))
    assert np.array_equal(found, rows)


def test_of_a_photo_with_a_hidden_place_nothing_may_be_taken() -> None:
    true = [["main", "7.9", "mbar"]]
    found = {"label": "", "value": "7.9", "unit": "mbar", "state": "taken"}
    assert score("seg_hidden point", true, [found])[0] == {"true": 1, "taken wrong": 1}
    assert score("seg_hidden point", true, [found | {"state": "asked"}])[0] == {"true": 1, "left alone": 1}


def test_a_large_photo_is_straightened_as_a_small_one_is() -> None:
    small = np.full((300, 400, 3), 200, np.uint8)
    cv2.rectangle(small, (90, 80), (150, 170), (20, 40, 60), -1)
    large = np.asarray(cv2.resize(small, None, fx=8, fy=8, interpolation=cv2.INTER_NEAREST), np.uint8)
    quad = np.array([[60, 40], [300, 50], [310, 220], [50, 230]], np.float32)
    flat, back = rectify(small, quad, 120)
    same, further = rectify(large, 8 * quad, 120)
    assert float(np.abs(flat.astype(int) - same.astype(int)).mean()) < 2
    points = np.array([[[30, 30], [120, 90]]], np.float32)
    assert np.allclose(8 * cv2.perspectiveTransform(points, back), cv2.perspectiveTransform(points, further), atol=0.1)
