"""What sounds the same is the same: digits read aloud, endings and names that were heard as other words."""

from __future__ import annotations

import pytest
from num2words import num2words

from extract import Setting, start, step
from extract.aloud import aloud, rejoined, respelled, said_in
from schemas.doubts import DoubtKind
from schemas.evidence import Hypothesis
from schemas.readings import Reading
from tests.test_extract_talk import grammar, heard


def read(second: str, *ways: tuple[str, float], before: str = "High fire.") -> list[Reading]:
    context, _ = step(heard(before, 0), 0.0, start(Setting(units="us")), grammar())
    said = tuple(Hypothesis(text=text, mass=mass) for text, mass in ways)
    utterance = heard("", 1).model_copy(update={"hypotheses": said, "second_opinion": second})
    context, _ = step(utterance, 3.0, context, grammar())
    return list(context.readings.values())


def test_aloud_numbers_below_a_hundred_are_as_num2words_says_them() -> None:
    assert [aloud(str(n)) for n in range(100)] == [num2words(n).replace("-", " ") for n in range(100)]


@pytest.mark.parametrize(
    ("text", "words"),
    [("CO2 9.05", "co nine point zero five"), ("118", "one eighteen"), ("1,300", "thirteen hundred"),
     ("2,000", "two thousand"), ("4908", "forty nine oh eight"), ("007", "zero zero seven"),
     ("one hundred, 34", "one thirty four"), ("two thousand five hundred and six", "twenty five oh six")],
)  # fmt: skip
def test_aloud_longer_numbers_are_said_in_pairs(text: str, words: str) -> None:
    assert aloud(text).replace("co two", "co") == words


def test_aloud_a_number_is_found_whole_or_not_at_all() -> None:
    assert said_in("fifty two hundred", "Fan 50-200.")
    assert said_in("one nineteen point six", "Bolts won 19.6, ground")
    assert not said_in("eighteen", "stack 118")
    assert not said_in("nine point one", "9.15")
    assert not said_in("two", "down to low fire")


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("C O seven T", "C O seventy"),
        ("C O two and key.", "C O twenty."),
        ("stack one nine team,", "stack one nineteen,"),
        ("C O one for key.", "C O one forty."),
        ("four team", "fourteen"),
        ("serial T W seven T 4", "serial T W seven T 4"),
        ("stop for tea", "stop for tea"),
        ("offset and high point seven", "offset and five point seven"),
        ("at the high point of it", "at the high point of it"),
        ("seven turns", "seven turns"),
    ],
)
def test_aloud_endings_heard_as_words_are_put_together(text: str, meant: str) -> None:
    assert respelled(text) == meant


def test_aloud_what_follows_an_appliance_may_be_its_number() -> None:
    assert respelled("Unboiler to now", ("boiler",)) == "on boiler two now"
    assert respelled("Take the boiler to high fire", ("boiler",)) == "Take the boiler to high fire"
    assert respelled("I did the other boiler too.", ("boiler",)) == "I did the other boiler too."
    (co,) = read("CO2 9.1", ("C O two nine point one.", 1.0), before="High fire, unboiler to now.")
    assert co.appliance == "2"


def test_aloud_an_ending_put_together_is_taken_where_all_agree() -> None:
    (co,) = read("CO70.", ("C O seven T", 0.6), ("C O 70", 0.25), ("C O seventy.", 0.15))
    assert (co.value, co.taken) == ("70", True)
    (co,) = read("CO 7.", ("C O seven T", 0.6), ("C O 70", 0.25), ("C O seventy.", 0.15))
    assert not co.taken


def test_aloud_a_name_that_cannot_have_the_unit_is_a_misheard_one() -> None:
    ways = (("Flue one fifty eight degrees.", 0.5), ("Flow one fifty eight degrees.", 0.5))
    (flue,) = read("flu 158 degrees", *ways)
    assert (flue.quantity, flue.value, flue.taken) == ("flue_temp", "158", True)


def test_aloud_a_name_that_only_one_way_has_needs_words_that_sound_like_it() -> None:
    alike = (("Supply bolts one nineteen point six.", 0.7), ("Supply volts one nineteen point six.", 0.3))
    (volts,) = read("Supply bolts won 19.6.", *alike)
    assert (volts.quantity, volts.value, volts.taken) == ("supply_volts", "119.6", True)
    other = (("Surprise one nineteen point six.", 0.7), ("Supply volts one nineteen point six.", 0.3))
    assert not any(r.taken for r in read("Surprise won 19.6.", *other))


def test_aloud_a_check_heard_both_ways_is_asked() -> None:
    (passed,) = read("Leak test passed.", ("Leak test passed.", 1.0))
    assert passed.taken
    (asked,) = read("Leak test failed.", ("Leak test passed.", 1.0))
    assert DoubtKind.HEARD_UNCLEARLY in {d.kind for d in asked.doubts}


def test_heard_a_firing_rate_that_most_ways_lack_is_asked() -> None:
    ways = (("At low fire flame signal nine point eight.", 0.45), ("At flow flame signal nine point eight.", 0.55))
    (asked,) = read("At flow flame signal 9.8.", *ways)
    assert (asked.condition, asked.taken) == ("low_fire", False)
    (taken,) = read("At low fire flame signal 9.8.", *ways)
    assert (taken.condition, taken.taken) == ("low_fire", True)


def test_heard_another_firing_rate_in_another_way_is_asked() -> None:
    said = ("Low fire C O forty.", 0.6), ("High fire C O forty.", 0.4)
    assert not any(r.taken for r in read("Low fire CO 40.", *said, before="Right then."))
    (taken,) = read(
        "Low fire CO 40.", ("Low fire C O forty.", 0.8), ("High fire C O forty.", 0.2), before="Right then."
    )
    assert (taken.condition, taken.taken) == ("low_fire", True)


def test_heard_a_value_that_runs_on_into_the_next_word_is_asked() -> None:
    (asked,) = read("10.9 months of fire.", ("10 point nine one C O two, full fire", 1.0))
    assert not asked.taken


def test_heard_negative_in_front_of_a_number_is_its_sign() -> None:
    for said in ("Offset negative point one five.", "The offset reads negative 0.15."):
        (reading,) = read(said, (said, 1.0), before="Low fire.")
        assert reading.value == "-0.15"


def test_heard_a_value_where_the_line_broke_off_is_asked() -> None:
    said = heard("High fire C O two nine point one.", 0, second="High fire CO2 9.1.")
    for broken in (False, True):
        context, _ = step(said.model_copy(update={"broken": broken}), 0.0, start(Setting(units="us")), grammar())
        (co2,) = context.readings.values()
        assert co2.taken is not broken


def test_aloud_a_volume_that_was_heard_as_a_small_word_is_kept_with_its_time() -> None:
    ways = (("Clocked to cubic feet in 61 seconds.", 0.5), ("Clocked two cubic feet in 61 seconds", 0.4))
    (time,) = read("Clocked two cubic feet in 61 seconds.", *ways, before="High fire.")
    assert (time.value, time.note, time.taken) == ("61", "2 [cft_i]", True)


def test_aloud_to_cubic_feet_are_two() -> None:
    assert respelled("Clocked to cubic feet in 61 seconds.") == "Clocked two cubic feet in 61 seconds."


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("The return is 140-8 degrees", "The return is 148 degrees"),
        ("5,800 and 80 RPM", "5880 RPM"),
        ("100 and 47", "147"),
        ("92-8", "92 8"),
        ("it's 6'7\".", "it's 6 7."),
        ("from 4-14 inches", "from 4-14 inches"),
        ("9-9.5", "9-9.5"),
        ("0800 555-1234", "0800 555-1234"),
        ("10-8", "10 8"),
        ("CO 100 and 300", "CO 100 and 300"),
    ],
)
def test_aloud_pieces_of_one_number_are_put_together(written: str, meant: str) -> None:
    assert rejoined(written) == meant
