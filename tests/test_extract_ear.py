"""Small words that lead to a number, as recognisers write them in noise: put back where speech was heard."""

from __future__ import annotations

import pytest

from extract.ear import put_back
from tests.test_extract_hearings import heard_as, readings


@pytest.mark.parametrize(
    ("heard", "other", "said"),
    [
        ("CO2, K been at eight point two.", "CO2, 8.2.", "CO2, at eight point two."),
        ("Fan speed, cabin at 6,600.", "", "Fan speed, at 6,600."),
        ("Inlet pressure cadence of 11 seven.", "", "Inlet pressure at 11 seven."),
        ("CO2, K the atom eight.", "", "CO2, at eight."),
        ("Flue temp is sitting at home 119.", "", "Flue temp is sitting at um 119."),
        ("C O two shows firm 8.3.", "", "C O two shows um 8.3."),
        ("1730 R P M, how?", "1730 RPM now.", "1730 R P M now."),
    ],
)
def test_words_are_put_back(heard: str, other: str, said: str) -> None:
    assert put_back(heard, heard_as((heard, 1.0), second=other)) == said


@pytest.mark.parametrize(
    ("heard", "other"),
    [
        ("The house is at home seventy degrees.", ""),
        ("Alarm showed C O sitting at home 35.", ""),
        ("Mine's sitting at home 9.3 CO2.", ""),
        ("Supply is sitting at home 160.", "Supply is sitting at home 160."),
        ("CO in the cabin 35.", ""),
        ("CO cabin at 35.", ""),
        ("Supply in the cabin at 160.", ""),
        ("Cabin 12, supply 160.", ""),
        ("I set all that back, nine.", ""),
        ("It is firm now, nine.", ""),
        ("CO2 K been at nine.", "CO2 can be at nine."),
        ("Input 100 K been at 9.", ""),
        ("CO 300, how?", "CO 300, how?"),
        ("CO 300, how?", "CO 300."),
    ],
)
def test_words_that_are_meant_are_left(heard: str, other: str) -> None:
    assert put_back(heard, heard_as((heard, 1.0), second=other)) == heard


def test_a_value_behind_them_is_taken_as_if_they_had_been_heard() -> None:
    ways = (
        ("Okay, high fire, C O two, K been at eight point two.", 0.6),
        ("Okay, high fire, C O two, K the atom 8.2.", 0.4),
    )
    (co2,) = readings(heard_as(*ways, second="Okay, high fire, CO2 came in at 8.2."))
    assert (co2.quantity, co2.value, co2.taken) == ("co2", "8.2", True)


def test_other_words_between_name_and_value_are_asked_about() -> None:
    ways = ("High fire, C O two, target at eight point two.", 0.6), ("High fire, C O two, turgid at 8.2.", 0.4)
    assert not any(r.taken for r in readings(heard_as(*ways, second="High fire, CO2 turgid at 8.2.")))


def test_what_was_typed_is_left_as_it_is() -> None:
    found = readings("High fire, C O two K been at eight point two.")
    assert not any(r.taken for r in found)
