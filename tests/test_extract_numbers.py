"""Spoken numbers: every form comes back as a choice, and nothing that was not said is the first choice."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words

from extract.numbers import Number, numbers_at
from extract.tokens import tokenize


def _whole(text: str) -> list[tuple[Number, float]]:
    """The readings of a whole text as one number, cheapest first."""
    tokens = tokenize(text)
    found = [(number, cost) for end, number, cost in numbers_at(tokens, 0) if end == len(tokens)]
    return sorted(found, key=lambda f: f[1] + f[0].choices[0][1])


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("eight point nine", "8.9"),
        ("nine point oh", "9.0"),
        ("nine point zero five", "9.05"),
        ("eight decimal four", "8.4"),
        ("minus point oh one", "-0.01"),
        ("negative .02", "-0.02"),
        ("point oh two negative", "-0.02"),
        ("point oh one below zero", "-0.01"),
        ("-.01", "-0.01"),
        ("plus point oh three", "0.03"),
        ("seven and a half", "7.5"),
        ("six and three quarters", "6.75"),
        ("six and seven eighths", "6.875"),
        ("6 1/2", "6.5"),
        ("6½", "6.5"),
        ("an eighth", "0.125"),
        ("three quarters", "0.75"),
        ("one hundredth", "0.01"),
        ("two hundredths", "0.02"),
        ("five thirty seconds", "0.15625"),
        ("forty nine eighty", "4980"),
        ("fifty two hundred", "5200"),
        ("eleven hundred", "1100"),
        ("twelve oh five", "1205"),
        ("one thousand two hundred and fifty", "1250"),
        ("a hundred and twenty five", "125"),
        ("one oh five", "105"),
        ("one eighteen", "118"),
        ("three forty two", "342"),
        ("double five", "55"),
        ("oh eight", "8"),
        ("4,980", "4980"),
        ("6. 9", "6.9"),
        ("4 .5", "4.5"),
        ("1 12", "112"),
        ("six point, uh, nine", "6.9"),
        ("seven point for", "7.4"),
        ("ate point won", "8.1"),
        ("twenty too", "22"),
        ("one hundred ninety nine thousand", "199000"),
    ],
)
def test_numbers_first_choice(said: str, value: str) -> None:
    assert _whole(said)[0][0].first == value


@pytest.mark.parametrize(
    ("said", "values"),
    [
        ("nine one", {"9.1", "91"}),
        ("six nine", {"6.9", "69"}),
        ("one eighteen", {"118", "1.18"}),
        ("nine oh five", {"9.05", "905"}),
        ("ninety four two", {"94.2", "942"}),
        ("89", {"8.9", "89"}),
    ],
)
def test_numbers_keep_every_way_to_place_the_point(said: str, values: set[str]) -> None:
    assert values <= {text for number, _ in _whole(said) for text, _ in number.choices}


def test_numbers_cut_off_is_marked() -> None:
    assert _whole("eight point")[0][0].cut
    assert _whole("one hundred and")[0][0].cut


def test_numbers_plural_is_no_exact_value() -> None:
    assert _whole("one twenties")[0][0].about


def test_numbers_worded_cardinal_has_no_point_inside() -> None:
    """Nobody says 9.1 as "ninety one"; a recogniser may write "91" for it."""
    assert {text for number, _ in _whole("ninety one") for text, _ in number.choices} == {"91"}


@given(st.integers(0, 999_999))
def test_numbers_words_of_num2words_come_back(n: int) -> None:
    """num2words (general-purpose library) spells cardinals; reading them gives the number again."""
    assert _whole(num2words(n).replace(",", ""))[0][0].first == str(n)


@given(st.integers(0, 999), st.integers(0, 99))
def test_numbers_spoken_decimals_come_back(whole: int, hundredths: int) -> None:
    tail = f"{hundredths:02d}"
    said = f"{num2words(whole)} point {' '.join(num2words(int(d)) for d in tail)}".replace("point zero", "point oh")
    first = _whole(said)[0][0].first
    assert Decimal(first) == Decimal(f"{whole}.{tail}")
    assert first.endswith("." + tail)


@given(st.text(max_size=60))
def test_numbers_no_text_raises(text: str) -> None:
    tokens = tokenize(text)
    assert [t.text for t in tokens] == [text.translate({})[t.start : t.end] for t in tokens] or tokens is not None
    for i in range(len(tokens)):
        for end, number, _ in numbers_at(tokens, i):
            assert i < end <= len(tokens)
            assert number.choices
