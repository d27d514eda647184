"""Words on screens and print: labels set right, units told in spite of a slip, numbers glued to labels."""

from __future__ import annotations

import pytest

from capture.words import (
    is_moment,
    is_near_label,
    is_part_of_label,
    known_label,
    split_label,
    split_number,
    unit_like,
)


@pytest.mark.parametrize(
    ("read", "key"),
    [
        ("C0/C02", "coco2"), ("(02", "co2"), ("CD", "co"), ("Deu pt", "dewpt"), ("I flue", "tflue"), ("L055", "loss"),
        ("CO/C12", "coco2"), ("Air J", "airt"), ("NO×", "nox"), ("Dew pt", "dewpt"),
    ],
)  # fmt: skip
def test_a_misread_label_is_set_right(read: str, key: str) -> None:
    label = known_label(read)
    assert label is not None
    assert label.key == key


@pytest.mark.parametrize("read", ["HO", "N3", "P flue", "CD2x", "Gas out", "TEST", "7.4", "C"])
def test_a_formula_is_never_guessed_over_a_letter(read: str) -> None:
    """NO, CO, CO2 and O2 differ by single letters: what is none of them stays what was read."""
    assert known_label(read) is None


def test_only_a_label_as_it_is_written_is_exact() -> None:
    assert [label.exact for text in ("CO2", "C02:", "[02", "Dew pt.", "Deu pt") if (label := known_label(text))] == [
        True, True, False, True, False,
    ]  # fmt: skip


def test_labels_that_may_go_on() -> None:
    assert [key for key in ("co", "coaf", "flue", "eff", "co2", "no") if is_part_of_label(key)] == ["co", "flue", "eff"]
    assert [text for text in ("NOL", "N3", "Excess", "Boiler", "pH") if is_near_label(text)] == ["NOL", "N3", "Excess"]


@pytest.mark.parametrize(
    ("read", "codes"),
    [
        ("X", ("%",)),
        ("*0", ("Cel",)),
        ("+0", ("Cel",)),
        ("abar", ("mbar",)),
        ("pp", ("[ppm]",)),
        ("5", ()),
        ("RUN", ()),
    ],
)
def test_a_misread_unit(read: str, codes: tuple[str, ...]) -> None:
    assert unit_like(read) == codes


@pytest.mark.parametrize(
    ("word", "parts"),
    [
        ("CO/C020.0022", ("CO/C02", "0.0022")), ("C02:9.4", ("C02:", "9.4")), ("CO2", ("", "")), ("G20", ("", "")),
        ("12:41", ("", "")), ("C02", ("", "")),
    ],
)  # fmt: skip
def test_a_number_glued_to_its_label(word: str, parts: tuple[str, str]) -> None:
    assert split_label(word) == parts


def test_a_number_glued_to_a_misread_unit() -> None:
    assert split_number("27.9*0") == ("27.9", "*0")
    assert split_number("5.0X") == ("5.0", "X")
    assert split_number("3RUN") == ("", "3RUN")


def test_a_date_with_a_stroke_read_as_a_digit_is_no_value() -> None:
    assert is_moment("25/01722 17.12")
    assert not is_moment("Gas in 19.3 mbar")
