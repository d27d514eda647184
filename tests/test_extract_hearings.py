"""Ways of hearing that differ in more than the number: place, appliance, unit, quantity, denial. Each asks."""

from __future__ import annotations

import pytest

from extract import Setting, start, step
from schemas.evidence import Hypothesis, MadeBy, Utterance
from schemas.job import JobAppliance
from schemas.readings import Reading
from tests.test_extract_talk import grammar, heard

BY = MadeBy(reader="test", version="1")


def two_ways(best: str, other: str, second: str) -> Utterance:
    """An utterance of which half the hypotheses, and the second opinion, have something else than the best."""
    return Utterance(
        evidence="e" * 64, number=1, start=5.0, end=7.0, made_by=BY, second_opinion=second,
        hypotheses=(Hypothesis(text=best, mass=0.5), Hypothesis(text=other, mass=0.5)),
    )  # fmt: skip


def readings(*told: str | Utterance, tags: tuple[str, ...] = ()) -> list[Reading]:
    context = start(Setting(units="us", appliances=tuple(JobAppliance(tag=tag) for tag in tags)))
    for n, one in enumerate(told):
        utterance = one if isinstance(one, Utterance) else heard(one, n)
        context, _ = step(utterance, 5.0 * n, context, grammar())
    return list(context.live())


@pytest.mark.parametrize(
    ("best", "other", "second"),
    [
        ("Supply one sixty.", "Return one sixty.", "Return 160."),
        ("Inlet twenty millibar.", "Inlet twenty inches.", "Inlet 20 inches."),
        ("CO eighty.", "CO air free eighty.", "CO air free 80."),
        ("CO2 nine point three.", "CO2 not nine point three.", "CO2 not 9.3."),
        ("CO2 nine point three.", "CO2 should be nine point three.", "CO2 should be 9.3."),
    ],
)
def test_the_same_number_as_something_else_is_asked(best: str, other: str, second: str) -> None:
    assert [r.taken for r in readings("High fire.", two_ways(best, other, second))][:1] == [False]


def test_ways_that_agree_are_taken() -> None:
    assert [r.taken for r in readings("High fire.", two_ways("Supply one sixty.", "supply 160", "Supply 160."))] == [
        True
    ]


def test_what_is_read_where_only_some_heard_it_go_is_asked() -> None:
    going = two_ways("Low fire.", "High fire.", "High fire.")
    assert [r.taken for r in readings("High fire, CO2 nine point three.", going, "O2 four point four.")] == [
        True, False,
    ]  # fmt: skip


def test_the_appliance_that_only_some_heard_is_asked() -> None:
    first = "Boiler one high fire CO2 nine point three."
    going = two_ways("Boiler two.", "Boiler one.", "Boiler one.")
    assert [r.taken for r in readings(first, going, "O2 four point four.", tags=("one", "two"))] == [True, False]
    within = two_ways("Boiler two high fire O2 four four.", "Boiler one high fire O2 four four.", "Boiler one O2 4.4.")
    assert [r.taken for r in readings(first, within, tags=("one", "two"))] == [True, False]


def test_on_two_is_the_second_of_two() -> None:
    found = readings("Boiler one high fire CO2 nine point three.", "On two nine point one.", tags=("one", "two"))
    assert [(r.appliance, r.quantity, r.value) for r in found] == [("one", "co2", "9.3"), ("two", "co2", "9.1")]


def test_a_correction_that_the_best_way_of_hearing_lost_is_asked() -> None:
    """ "Know that's the static." was "No, that's the static."."""
    behind = Utterance(
        evidence="e" * 64, number=1, start=5.0, end=7.0, made_by=BY, second_opinion="No, that's the static.",
        hypotheses=(Hypothesis(text="Know that's the static.", mass=1.0),),
    )  # fmt: skip
    assert [r.taken for r in readings("Inlet at high fire is seven nine.", behind)] == [False]


def test_a_name_that_the_second_opinion_has_too_stands_against_other_hypotheses() -> None:
    """ "Flow" for "flue" in half of the hypotheses says nothing where both opinions have "flue"."""
    one = two_ways("Flue one twelve.", "Flow one twelve.", "Flue 112.")
    assert [r.taken for r in readings("High fire.", one)] == [True]
    other = two_ways("Flow one twelve.", "Flue one twelve.", "Flue 112.")
    assert not any(r.taken for r in readings("High fire.", other))


def test_readings_from_before_the_second_boiler_was_named_are_asked_whose_they_are() -> None:
    found = readings("High fire, CO2 nine point three.", "Boiler two.", "CO2 nine point one.")
    assert [(r.appliance, r.taken) for r in found] == [(None, False), ("2", True)]


@pytest.mark.parametrize(
    ("snr_db", "clipped", "second", "taken"),
    [(0.0, False, None, False), (25.0, True, None, False), (0.0, False, "CO2 9.3", True), (25.0, False, None, True)],
)
def test_in_noise_or_clipped_only_what_is_confirmed_is_taken(
    snr_db: float, clipped: bool, second: str | None, taken: bool
) -> None:
    one = Utterance(
        evidence="e" * 64, number=1, start=5.0, end=7.0, made_by=BY, second_opinion=second, snr_db=snr_db,
        clipped=clipped, hypotheses=(Hypothesis(text="CO2 nine point three.", mass=1.0),),
    )  # fmt: skip
    assert [r.taken for r in readings("High fire.", one)] == [taken]


# ---------------------------------------------------------------------- what is asked no more, and what is asked now
def heard_as(*told: tuple[str, float], second: str | None, number: int = 1) -> Utterance:
    return Utterance(
        evidence="e" * 64, number=number, start=5.0 * number, end=5.0 * number + 2, made_by=BY, second_opinion=second,
        hypotheses=tuple(Hypothesis(text=text, mass=mass) for text, mass in told),
    )  # fmt: skip


def test_a_hypothesis_that_breaks_off_in_front_of_a_value_says_nothing_against_it() -> None:
    cut = ("Flue forty seven Celsius, ambient", 0.45)
    whole = ("Flue forty seven Celsius, ambient nineteen Celsius.", 0.55)
    found = readings("High fire.", heard_as(cut, whole, second="Flue 47 Celsius, ambient 19 Celsius."))
    assert [(r.quantity, r.taken) for r in found] == [("flue_temp", True), ("ambient_temp", True)]
    unconfirmed = readings("High fire.", heard_as(cut, whole, second="Flue 47 Celsius."))
    assert [r.taken for r in unconfirmed if r.quantity == "ambient_temp"] == [False]


def test_a_firing_rate_heard_in_another_clause_is_no_doubt_of_a_value_with_its_own() -> None:
    best = ("Plate says minimum inlet four inches, high fire inlet is six point six.", 1.0)
    found = readings(heard_as(best, second="Plate says low fire four inches. High fire inlet is 6.6."))
    assert [(r.condition, r.value, r.taken) for r in found] == [("high_fire", "6.6", True)]


def test_a_garbled_name_is_put_right_by_the_others_where_all_have_the_number() -> None:
    said = heard_as(("Step 121.", 0.5), ("Stack 121.", 0.5), second="Stack 121.")
    assert [(r.quantity, r.taken) for r in readings("High fire.", said)] == [("flue_temp", True)]
    named = heard_as(("Return 121.", 0.5), ("Stack 121.", 0.5), second="Stack 121.")
    assert not any(r.taken for r in readings("High fire.", named))


@pytest.mark.parametrize("letters", ["B P M", "BPM", "T P M", "D P N", "V P N"])
def test_letters_that_sound_like_p_p_m_are_parts_per_million(letters: str) -> None:
    (found,) = readings("High fire.", heard_as((f"CO is 69 {letters}.", 1.0), second=f"CO is 69 {letters}."))
    assert (found.quantity, found.value, found.unit, found.taken) == ("co", "69", "[ppm]", True)


def test_gallons_a_minute_stay_what_they_are() -> None:
    (found,) = readings("High fire.", heard_as(("Flow is 28 G P M.", 1.0), second="Flow is 28 GPM."))
    assert (found.quantity, found.unit) == ("flow", "[gal_us]/min")


def test_the_second_opinion_is_put_together_again_too() -> None:
    said = heard_as(("Stack one nineteen.", 1.0), second="Stack one nine team.")
    assert [(r.value, r.taken) for r in readings("High fire.", said)] == [("119", True)]


def test_another_volume_of_the_same_time_is_asked() -> None:
    said = heard_as(("One minute 12 seconds for two cubic feet.", 1.0), second="1 minute 12 seconds for 5 cubic feet.")
    assert [(r.quantity, r.taken) for r in readings("High fire.", said)] == [("clock_time", False)]


def test_a_teen_behind_a_spoken_point_is_asked() -> None:
    said = heard_as(("Static inlet eight point twelve inches.", 1.0), second="Static inlet 8.12 inches.")
    assert [r.taken for r in readings(said)] == [False]
    digits = heard_as(("Static inlet eight point one two inches.", 1.0), second="Static inlet 8.12 inches.")
    assert [r.taken for r in readings(digits)] == [True]


ROW = ("High fire, as found CO2 ten point one.", "CO2 nine point seven.")


@pytest.mark.parametrize(
    "move",
    [
        heard_as(("Feratilic water, turn clockwise.", 1.0), second=None, number=9),  # no hearing has the amount
        heard_as(
            ("So tell a quarter turned o'clock wise.", 1.0), second="Throttle a quarter turn clockwise.", number=9
        ),
        heard_as(("Nothing of it.", 0.6), ("Throttle a quarter turn clockwise.", 0.4), second=None, number=9),
    ],
)
def test_a_turn_that_only_some_heard_loses_no_value_as_found(move: Utterance) -> None:
    found = readings(ROW[0], move, ROW[1])
    taken = [(r.quantity, r.phase, r.value) for r in found if r.taken]
    assert ("co2", "before", "9.7") not in taken
    assert {r.value for r in found if r.quantity == "co2"} == {"10.1", "9.7"}
    assert all(not r.taken for r in found if r.quantity == "valve_move")


def test_a_value_as_found_gives_way_to_a_correction_alone() -> None:
    found = readings(ROW[0], "Now CO2 nine point seven.")
    assert not any(r.taken for r in found)
    put_right = readings(ROW[0], "No, sorry, ten point two.")
    assert [(r.value, r.taken) for r in put_right] == [("10.2", True)]


def test_what_is_no_number_says_nothing_against_one_that_both_have() -> None:
    """ "One hundred eight eight" is nothing that anybody says."""
    ways = ("Low fire, CO one hundred eighty eight.", 0.7), ("Low fire, CO one hundred eight eight.", 0.3)
    (co,) = readings(heard_as(*ways, second="Low fire, CO 188."))
    assert (co.value, co.taken) == ("188", True)
    (co,) = readings(heard_as(*ways, second="Low fire, CO 108."))
    assert not co.taken


def test_a_value_meant_alike_has_the_place_that_it_was_said_at() -> None:
    ways = (
        ("Efficiency is sitting at 86 five percent at minimum rate.", 0.5),
        ("If you shouldn't see it sitting at 86, five percent at minimum rate.", 0.5),
    )
    (found,) = readings(heard_as(*ways, second="Efficiency is sitting at 86.5 percent at minimum rate."))
    assert (found.value, found.condition, found.taken) == ("86.5", "low_fire", True)


def test_two_firing_rates_side_by_side_in_the_second_opinion_are_asked() -> None:
    text = "Return temperature at minimum rate is 87."
    (found,) = readings(heard_as((text, 1.0), second="Return temperature, maximum rate, minimum rate is 87."))
    assert (found.value, found.taken) == ("87", False)


@pytest.mark.parametrize(
    ("text", "second"),
    [
        ("CO forty eight.", "CO 148."),
        ("CO ninety.", "CO 190."),
        ("Fan 880.", "Fan 5,880."),
        ("CO one hundred eighty.", "CO 1808."),
    ],
)
def test_a_longer_number_does_not_confirm_its_end(text: str, second: str) -> None:
    assert not any(r.taken for r in readings("High fire.", heard_as((text, 1.0), second=second)))


def test_a_neighbour_of_another_name_makes_no_pieces() -> None:
    ways = ("CO 40 94 efficiency.", 0.6), ("CO 140 94 efficiency.", 0.4)
    found = readings("High fire.", heard_as(*ways, second="CO 140, 94 efficiency."))
    assert not [r for r in found if r.quantity == "co" and r.taken]


def test_two_values_joined_by_and_stay_two() -> None:
    found = readings("High fire.", heard_as(("Fan six thousand and forty CO.", 1.0), second="Fan 6,000 and 40 CO."))
    assert [(r.quantity, r.value) for r in found if r.taken] == [("fan_speed", "6000"), ("co", "40")]


@pytest.mark.parametrize("text", ["CO2 9.3 after, CO 40 before.", "After adjustment CO2 9.3, CO 40 before."])
def test_before_and_after_in_one_sentence_are_each_of_their_value(text: str) -> None:
    found = readings("High fire.", heard_as((text, 1.0), second=text))
    assert {r.quantity: r.phase for r in found} == {"co2": "after", "co": "before"}
