"""What speaks for a value and what says nothing of it: a rate or a digit lost in noise, words that noise made."""

from __future__ import annotations

import pytest

from tests.test_extract_aloud import read
from tests.test_extract_hearings import readings, two_ways

RATE = "Efficiency ninety one, minimum rate."


def test_ways_that_name_no_rate_say_nothing_of_it_where_the_second_opinion_has_it() -> None:
    ways = ((RATE, 0.4), ("Efficiency ninety one, the dim made.", 0.6))
    (agreed,) = read("Efficiency 91, minimum rate.", *ways)
    assert agreed.taken
    assert agreed.condition == "low_fire"
    (alone,) = read("Efficiency 91, the dim made.", *ways)
    assert not alone.taken


def test_another_rate_in_some_ways_is_asked_though_the_second_opinion_agrees() -> None:
    (asked,) = read("Efficiency 91, minimum rate.", (RATE, 0.5), ("Efficiency ninety one, maximum rate.", 0.5))
    assert not asked.taken


def test_a_rate_that_the_best_lost_is_that_of_another_way_and_the_second_opinion() -> None:
    ways = (("Efficiency ninety one, the dim made.", 0.5), (RATE, 0.5))
    (taken,) = read("Efficiency 91, minimum rate.", *ways, before="Here we go.")
    assert taken.taken
    (asked,) = read("Efficiency 91, the dim made.", *ways, before="Here we go.")
    assert not asked.taken


@pytest.mark.parametrize(
    ("said", "second"),
    [
        ("Supply one hundred and twenty nine.", "Supply 120."),
        ("Inlet nine point six.", "Inlet high and 0.6."),
        ("Efficiency ninety six point seven.", "Efficiency 96."),
        ("Fan thirty eight seventy.", "Fan 870."),
    ],
)
def test_a_piece_of_a_number_that_all_hypotheses_have_is_no_other_number(said: str, second: str) -> None:
    (sure,) = read(second, (said, 1.0))
    assert sure.taken
    other = {"nine": "five", "seven": "four", "seventy": "sixty"}
    last = said.rstrip(".").split()[-1] if "point six" not in said else "nine"
    (unsure,) = read(second, (said, 0.6), (said.replace(last, other[last]), 0.4))
    assert not unsure.taken


@pytest.mark.parametrize(
    ("said", "second"),
    [
        ("C O two forty.", "CO 40."),  # "two" may be of the name
        ("C O one twenty two.", "CO 120."),  # "to"
        ("Supply one hundred and twenty nine.", "Supply 130."),
        ("Fan four thousand nine hundred.", "Fan 4,000."),  # less than half of it
    ],
)
def test_another_number_or_too_little_of_it_is_asked(said: str, second: str) -> None:
    assert [r.taken for r in read(second, (said, 1.0))] == [False]


def test_for_behind_a_number_without_a_point_is_no_digit() -> None:
    said = "One seventy three four supply temperature."
    assert not any(r.taken for r in read("173 for supply temperature.", (said, 1.0)))


def test_words_that_noise_made_each_time_anew_are_none() -> None:
    ways = (("Flame signal K beta nine point five.", 0.5), ("Flame signal came in at nine point five.", 0.5))
    (taken,) = read("Flame signal cave in 9.5.", *ways)
    assert taken.taken


def test_a_word_that_is_not_known_and_heard_alike_each_time_is_asked() -> None:
    ways = (("Flame signal blorven nine point five.", 1.0),)
    assert [r.taken for r in read("Flame signal blorven 9.5.", *ways)] == [False]
    assert [r.taken for r in read("Flame signal 9.5.", *ways)] == [False]


def test_um_before_a_number_is_no_word() -> None:
    (taken,) = read("CO2 settled at home, 7.6.", ("C O two settled at hum seven six.", 1.0))
    assert (taken.value, taken.taken) == ("7.6", True)


def test_digits_right_before_a_value_are_asked() -> None:
    """ "Five five on flame signal" was heard as "five five one flame signal"."""
    found = read("551 flame signal.", ("Five five one flame signal.", 1.0))
    assert found
    assert not any(r.taken for r in found)
    denied = "O two five point one, not five point one, five point seven."
    assert [r.value for r in read("O2, 5.1, not 5.1, 5.7.", (denied, 1.0)) if r.taken] == ["5.7"]


def test_two_rates_side_by_side_are_asked() -> None:
    """ "At minimum fire is uh 96.7" was heard as "at minimum, high pressure, 96.7 percent"."""
    said = "Efficiency at minimum, high pressure, 96 point seven percent."
    found = read("Efficiency at minimum, high pressure, 96.7%.", (said, 1.0))
    assert not any(r.taken for r in found)


def test_the_two_of_o_two_is_no_value() -> None:
    ways = (("O two five seven, C O one, two, air free.", 0.5), ("O two five seven, C O two is air free.", 0.5))
    found = {r.quantity: r.taken for r in read("O2 57, O2 parts per million.", *ways)}
    assert found["co_air_free"] is False


def test_an_appliance_whose_number_was_not_made_out_is_asked() -> None:
    going = two_ways("Now boiler just try it.", "Now boiler just try it.", "Now boiler heat is trying.")
    first = "Boiler one high fire CO2 nine point three."
    assert [r.taken for r in readings(first, going, "Low fire CO sixteen.")] == [True, False]
    staying = two_ways("Now boiler is lit again.", "Now boiler is lit again.", "Now boiler is lit again.")
    assert [r.taken for r in readings(first, staying, "Low fire CO sixteen.")] == [True, True]
