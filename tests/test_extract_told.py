"""Talk that tells a value in a roundabout way: by another one, in another unit, at a time of day, of several boilers.

Found by inventing some hundred utterances in running talk; each phenomenon has one sentence here that is none of those
it was found with.
"""

from __future__ import annotations

import pytest

from extract import Setting, start, step
from schemas.job import JobAppliance
from schemas.readings import QuotedLimit, Reading
from tests.test_extract_talk import grammar, heard, talk

Told = list[tuple[str | None, str, bool]]


def told(*texts: str, units: str = "us", tags: tuple[str, ...] = ()) -> list[Reading]:
    """The readings of a job at high fire."""
    appliances = tuple(JobAppliance(tag=tag) for tag in tags)
    context = start(Setting(units="uk" if units == "uk" else "us", appliances=appliances))
    for n, text in enumerate(("High fire.", *texts)):
        context, _ = step(heard(text, n), 5.0 * n, context, grammar())
    return list(context.live())


def plainly(*texts: str, units: str = "us") -> Told:
    return [(r.quantity, r.value, r.taken) for r in told(*texts, units=units)]


@pytest.mark.parametrize(
    "text",
    [
        "It's twenty past four, and the CO's sixty.",
        "The time's five to two and CO's sixty.",
        "CO at four forty pm was sixty.",
        "At nine thirty the CO was sixty.",
        "Quarter to three, CO sixty.",
    ],
)
def test_a_time_of_day_is_no_value(text: str) -> None:
    assert plainly(text) == [("co", "60", True)]


def test_from_one_value_to_another_is_no_time() -> None:
    assert [taken for _, _, taken in plainly("CO ten to twelve.")] == [False]


@pytest.mark.parametrize(
    "going", ["Two's on max.", "And two.", "Right, over to two.", "On two.", "Two, high fire.", "Okay, two: max rate."]
)
@pytest.mark.parametrize("tags", [("1", "2"), ()])
def test_the_number_of_a_boiler_is_no_value(going: str, tags: tuple[str, ...]) -> None:
    found = told("Boiler two, CO2 nine.", "Boiler one, CO2 nine two, CO sixty.", going, "CO eighty.", tags=tags)
    co = [(r.appliance, r.value, r.taken) for r in found if r.quantity == "co"]
    assert co == [("1", "60", True), ("2", "80", True)]


def test_a_value_that_is_the_number_of_a_boiler_stays_one() -> None:
    found = told("Boiler two, CO2 nine.", "Boiler one, CO2 nine two.", "Supply on one fifty.", "CO back to two.")
    assert [(r.appliance, r.value) for r in found if r.quantity == "co"] == [("1", "2")]
    assert {r.appliance for r in found if r.value == "150"} == {"1"}


def test_going_to_another_boiler_puts_nothing_right() -> None:
    found = told("Boiler two, CO2 nine one.", "Wait.", "Moving on to boiler one.", "CO2 nine four.", tags=("1", "2"))
    assert [(r.appliance, r.value, r.taken) for r in found] == [("2", "9.1", True), ("1", "9.4", True)]


@pytest.mark.parametrize(
    "text", ["Maker needs nine four on the CO2 here.", "The model's a nice one.", "Model is this one."]
)
def test_what_names_nothing_is_no_name(text: str) -> None:
    assert not told(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [("CO point oh two percent.", "0.02"), ("The fan's running at sixty percent.", "60")],
)
def test_a_value_in_a_unit_of_another_kind_is_asked_and_not_lost(text: str, value: str) -> None:
    (r,) = told(text)
    assert (r.value, r.unit, r.taken) == (value, "%", False)
    if r.quantity == "co":
        assert [(a.value, a.unit) for a in r.alternatives] == [("200", "[ppm]")]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("Input max two point five million BTU.", "2500000"),
        ("Input max four eighty thousand.", "480000"),
        ("Input max two hundred and fifty MBH.", "250000"),
        ("Input max 650k.", "650000"),
    ],
)
def test_large_inputs(text: str, value: str) -> None:
    assert plainly(text) == [("input_max", value, True)]


@pytest.mark.parametrize(("text", "value"), [("CO a dozen or so.", "12"), ("CO three dozen.", "36")])
def test_dozens_are_asked(text: str, value: str) -> None:
    assert plainly(text) == [("co", value, False)]


def test_a_value_told_as_the_same_is_asked() -> None:
    found = told("O2 four eight.", "Low fire.", "O2 unchanged.")
    assert [(r.condition, r.value, r.taken) for r in found] == [("high_fire", "4.8", True), ("low_fire", "4.8", False)]


@pytest.mark.parametrize("back", ["No, it was right the first time.", "Sorry, the first one.", "As you were."])
def test_the_value_before_is_offered_again(back: str) -> None:
    (r,) = told("CO sixty.", "No, eighty.", back)
    assert (r.value, r.taken, r.alternatives[0].value) == ("60", False, "80")


def test_the_reading_before_is_put_right() -> None:
    assert plainly("CO sixty.", "O2 four eight.", "Sorry, the one before that.", "Eighty.") == [
        ("o2", "4.8", True), ("co", "80", True),
    ]  # fmt: skip


@pytest.mark.parametrize("then", ["It's trebled.", "Down two tenths.", "It's come up by point three."])
def test_how_far_a_value_moved_is_no_value_and_has_it_asked(then: str) -> None:
    assert plainly("CO2 nine one.", then) == [("co2", "9.1", False)]


def test_who_asks_what_it_was_is_not_sure() -> None:
    assert plainly("CO sixty.", "Was it sixty or sixteen?") == [("co", "60", False)]


def test_a_bare_number_that_sounds_like_the_last_value_is_against_it() -> None:
    assert plainly("CO thirteen.", "Three zero.") == [("co", "30", False)]


def test_a_correction_that_is_announced() -> None:
    assert plainly("CO2 nine one.", "CO sixty.", "Let me correct the CO2.", "Nine six.") == [
        ("co", "60", True), ("co2", "9.6", True),
    ]  # fmt: skip
    assert plainly("CO2 nine one.", "I should've said the O2.") == [("o2", "9.1", True)]


@pytest.mark.parametrize("text", ["The CO2 was nine six, not nine one.", "Nine six, not nine one."])
def test_what_is_denied_behind_its_correction(text: str) -> None:
    assert plainly("CO2 nine one.", text) == [("co2", "9.6", True)]
    assert [taken for _, _, taken in plainly("CO2 nine one.", "Six, not one.")] == [False]  # of one digit


def test_several_readings_are_taken_back_or_doubted() -> None:
    assert plainly("CO2 nine one.", "CO sixty.", "Scrap the last two.") == []
    assert [taken for _, _, taken in plainly("CO2 nine one.", "CO sixty.", "Both of those are wrong.")] == [False] * 2
    assert plainly("CO2 nine one.", "CO sixty.", "Scrap the lot.") == [("co2", "9.1", False)]


@pytest.mark.parametrize("behind", ["give or take three", "give or take a few"])
def test_a_tolerance_is_no_second_value(behind: str) -> None:
    (r,) = told(f"CO sixty {behind}.")
    assert (r.value, r.approx) == ("60", True)


def test_what_a_value_is_set_against_is_another_days() -> None:
    assert plainly("O2 four eight, versus five two last winter.") == [("o2", "4.8", True)]
    assert plainly("CO's up on last year, sixty against thirty.") == [("co", "60", True)]


def test_the_same_pressure_in_two_units_is_one_reading() -> None:
    assert plainly("Inlet seven inches, so about seventeen millibar.") == [("inlet_pressure", "7", True)]
    assert [t for _, _, t in plainly("Inlet seven inches, so about twenty millibar.")] == [False, False]


def test_degrees_over_another_temperature_are_none_of_that() -> None:
    assert plainly("Flue temp is seventy five above ambient.") == [("flue_temp", "75", False)]


@pytest.mark.parametrize(
    "text",
    ["Owner says it was at nine six CO2.", "Most CO I saw was ninety.", "Max CO was ninety.", "CO good for ninety."],
)
def test_what_others_say_and_extremes_are_asked(text: str) -> None:
    found = talk("High fire.", text)
    assert [r.taken for r in found[0].live()] == [False]
    assert not any(isinstance(o, QuotedLimit) for o in found[1])


def test_what_came_back_after_the_ignition_is_of_no_ignition() -> None:
    found = told("On light off seven two, came back to seven eight.")
    assert [(r.value, r.taken) for r in found][-1] == ("7.8", False)


@pytest.mark.parametrize(
    ("text", "value", "note"),
    [
        ("Forty seconds a foot.", "40", "1 [cft_i]"),
        ("Ninety seconds per cubic metre.", "90", "1 m3"),
        ("Two feet in sixty one.", "61", "2 [cft_i]"),
        ("The two foot dial in thirty seconds.", "30", "2 [cft_i]"),
    ],
)
def test_clocking_in_other_words(text: str, value: str, note: str) -> None:
    assert [(r.quantity, r.value, r.note, r.taken) for r in told(text)] == [("clock_time", value, note, True)]


def test_a_clocking_for_another_volume_takes_the_place_of_the_first() -> None:
    assert [r.note for r in told("One cubic metre in fifty seconds.", "No, one foot in fifty.")] == ["1 [cft_i]"]


def test_an_amount_in_minutes_is_no_flow() -> None:
    assert [taken for _, _, taken in plainly("Sixty litres in two minutes.", units="uk")] == [False]


@pytest.mark.parametrize(
    ("text", "quantity"),
    [("One point six bar on the dial.", "fill_pressure"), ("Two forty volts at the spur.", "supply_volts")],
)
def test_a_value_in_a_unit_of_its_own_is_asked_without_its_name(text: str, quantity: str) -> None:
    assert [(q, taken) for q, _, taken in plainly(text)] == [(quantity, False)]
    assert not told("It's a twenty four volt valve.")


def test_clean_is_of_the_ignition_only_beside_it() -> None:
    assert not told("Filter's clean.", "Nice and smooth, that.")
    assert [(r.quantity, r.value) for r in told("It lit clean.")] == [("ignition_behaviour", "smooth")]


def test_what_a_check_was_before_it_was_put_right() -> None:
    assert plainly("The trap was empty but I've filled it.") == [("trap_filled", "passed", True)]
    assert plainly("Trap was empty.") == [("trap_filled", "failed", True)]
    assert plainly("The trap's primed, isn't it?") == [("trap_filled", "passed", False)]


@pytest.mark.parametrize("gone", ["It's modulated down.", "It's shut itself off.", "Flame's out."])
def test_where_the_burner_left_the_rate_by_itself_the_rate_is_not_known(gone: str) -> None:
    assert [taken for _, _, taken in plainly("CO2 nine one.", gone, "O2 four eight.")] == [True, False]


def test_over_range_as_the_display_writes_it() -> None:
    assert plainly("CO is reading HI.") == [("co", "over range", True)]


def test_a_list_by_the_numbers_of_the_boilers() -> None:
    found = told("Statics: one's seven one, two's seven three, three is seven oh.", tags=("B-1", "B-2", "B-3"))
    assert [(r.appliance, r.value, r.taken) for r in found] == [
        ("B-1", "7.1", True), ("B-2", "7.3", True), ("B-3", "7.0", True),
    ]  # fmt: skip


def test_a_check_on_both_is_of_two_and_of_no_three() -> None:
    for tags in (("1", "2"), ("1", "2", "3")):
        found = told("Boiler one.", "Condensate's primed on both.", tags=tags)
        assert {r.appliance for r in found} == ({"1", "2"} if len(tags) == 2 else {"1"})


def test_a_serial_number_is_of_the_boiler_named_with_it() -> None:
    (r,) = told("Boiler one.", "Serial on boiler two is K four four one.", tags=("1", "2"))
    assert (r.quantity, r.value, r.appliance, r.taken) == ("serial", "K441", "2", True)


@pytest.mark.parametrize("where", ["Halfway up,", "Eighty percent modulation,", "At eighty percent load"])
def test_what_is_read_at_another_rate_is_asked(where: str) -> None:
    assert [taken for q, _, taken in plainly(f"{where} CO2 nine three.") if q == "co2"] == [False]


def test_a_row_that_was_read_without_a_rate_is_named_behind_it() -> None:
    context, _ = talk("O2 four eight.", "CO2 nine one.", "That was at max.", "Now these are for min.", "O2 five three.")
    assert [(r.condition, r.value) for r in context.live()] == [
        ("high_fire", "4.8"), ("high_fire", "9.1"), ("low_fire", "5.3"),
    ]  # fmt: skip


def test_a_vague_name_puts_no_reading_right() -> None:
    context, _ = talk("Flue temp one forty.", "Temperature one twenty.")
    assert "140" in {r.value for r in context.live()}


def test_the_digit_of_a_name_may_be_of_the_value() -> None:
    (r,) = told("CO two eleven.")
    assert not r.taken
    assert {(r.quantity, r.value), *((a.quantity, a.value) for a in r.alternatives)} >= {("co", "211")}


def test_what_a_value_lies_well_under_is_no_second_value() -> None:
    assert plainly("CO sixty, comfortably below one hundred.") == [("co", "60", True)]


@pytest.mark.parametrize("text", ["CO2 nine three, got that?", "CO2 nine three, see that?"])
def test_a_reading_that_is_shown_to_somebody_is_not_lost(text: str) -> None:
    assert [(q, value) for q, value, _ in plainly(text)] == [("co2", "9.3")]


def test_what_it_was_when_they_came_takes_no_readings_place() -> None:
    assert plainly("CO sixty.", "It was ninety when we arrived.") == [("co", "60", True)]


def test_the_same_on_another_boiler_is_asked() -> None:
    found = told("Boiler one, static seven two.", "Boiler two's the same, static.", tags=("1", "2"))
    assert [(r.appliance, r.value, r.taken) for r in found] == [("1", "7.2", True), ("2", "7.2", False)]


def test_the_last_two_are_checks_too() -> None:
    assert plainly("CO sixty.", "Trap's primed.", "High limit passed.", "Scrap the last two.") == [("co", "60", True)]


def test_a_firing_rate_with_a_general_word_behind_it_counts() -> None:
    context, _ = talk("Lighting it now.", "Max rate, it's been running a while.", "CO2 nine one.")
    assert [(r.condition, r.taken) for r in context.live()] == [("high_fire", True)]


def test_another_value_of_a_reading_that_only_lacks_its_rate_is_against_it() -> None:
    context, _ = talk("CO sixty.", "CO ninety.")
    assert sorted(r.value for r in context.live()) == ["60", "90"]


def test_a_year_is_no_value() -> None:
    assert not told("Gas was converted in twenty twenty one.")


@pytest.mark.parametrize(
    "said",
    [
        "CO alarm's in date, replace by twenty thirty one.",
        "CO alarm dated twenty thirty two.",
        "CO detector replaced twenty twenty three.",
        "CO alarm, replace by March twenty thirty.",
        "The CO alarm replace by date is twenty thirty one.",
        "CO alarm, best before 2031.",
        "CO alarm due twenty thirty.",
        "CO alarm, twenty thirty one is the year on the label.",
        "Fan's dated twenty nineteen.",
    ],
)
def test_when_something_was_made_or_is_to_be_replaced_is_no_value(said: str) -> None:
    assert [r for r in told(said) if r.quantity in ("co", "fan_speed")] == []


@pytest.mark.parametrize(
    ("said", "quantity", "value"),
    [
        ("CO alarm reads twenty thirty.", "co", "2030"),
        ("CO alarm's twenty thirty, everybody out.", "co", "2030"),
        ("The CO in the back is twenty thirty.", "co", "2030"),
        ("CO in the back twenty thirty.", "co", "2030"),
        ("CO alarm's in date until twenty thirty one, CO two thousand and fifty.", "co", "2050"),
        ("Replaced the alarm. CO's now twenty thirty.", "co", "2030"),
        ("CO alarm due, twenty thirty parts per million.", "co", "2030"),
        ("New fan fitted twenty fifty at high fire.", "fan_speed", "2050"),
        ("Fan replaced, twenty thirty.", "fan_speed", "2030"),
    ],
)
def test_a_reading_that_looks_like_a_year_is_kept(said: str, quantity: str, value: str) -> None:
    assert [(r.quantity, r.value) for r in told(said) if r.quantity == quantity] == [(quantity, value)]


def test_a_foot_every_so_many_seconds() -> None:
    assert [(r.value, r.note) for r in told("Meter's doing a foot every forty seconds.")] == [("40", "1 [cft_i]")]


@pytest.mark.parametrize("behind", ["the book's min is three", "plate says max fourteen", "min three max fourteen"])
def test_the_rate_of_a_quoted_limit_is_not_the_readings(behind: str) -> None:
    found = told(f"Inlet seven two, {behind}.")
    assert [(r.condition, r.value) for r in found if r.quantity == "inlet_pressure"][:1] == [("high_fire", "7.2")]


@pytest.mark.parametrize("doubt", ["with any luck", "if you believe this thing", "supposedly", "from memory"])
def test_what_the_speaker_does_not_vouch_for_is_asked(doubt: str) -> None:
    assert [taken for _, _, taken in plainly(f"CO sixty, {doubt}.")] == [False]


def test_what_the_speaker_would_like_is_no_reading() -> None:
    assert plainly("We'd like nine five CO2 but it reads nine two.") == [("co2", "9.2", True)]


def test_a_condition_beside_a_named_value_implies_no_pressure() -> None:
    assert not any(q == "inlet_pressure" for q, _, _ in plainly("CO ninety at light off, sixty settled."))


def test_min_beside_max_is_no_minute() -> None:
    context, _ = talk("O2 four eight max, five four min.")
    assert [(r.condition, r.value, r.taken) for r in context.live()] == [
        ("high_fire", "4.8", True), ("low_fire", "5.4", True),
    ]  # fmt: skip


@pytest.mark.parametrize("then", ["Took it back out.", "I've put that back."])
def test_a_turn_that_was_put_back_is_asked(then: str) -> None:
    found = told("Throttle out an eighth.", then)
    assert [(r.quantity, r.value, r.taken) for r in found] == [("valve_move", "0.125", False)]


@pytest.mark.parametrize(
    ("texts", "value", "taken"),
    [
        (("Serial is four four one seven.", "No, four four one nine."), "4419", False),
        (("Serial is four four one seven.", "Sorry, the last one's a nine."), "4417", False),
        (("Serial is four four one seven.", "Change the serial to four four one nine."), "4419", True),
        (("Serial number four four something.",), "44", False),
        (("Serial K for king, T for table, four four.",), "KT44", True),
        (("Serial KT44 it says on here.",), "KT44", True),
    ],
)
def test_codes_put_right_spelt_and_left_open(texts: tuple[str, ...], value: str, taken: bool) -> None:
    assert plainly(*texts) == [("serial", value, taken)]


@pytest.mark.parametrize(
    "new", ["We fitted a new regulator.", "The regulator's brand new.", "This is a new regulator."]
)
def test_a_new_regulator_and_a_second_look_at_lock_up_are_noted(new: str) -> None:
    found = told(new, "Lock-up is seven eight.", "Rechecked the lock-up, seven eight.")
    assert [(r.quantity, r.value, r.taken) for r in found] == [
        ("regulator_new", "done", True),
        ("inlet_pressure", "7.8", True),
        ("lockup_again", "done", True),
    ]


@pytest.mark.parametrize(
    "said",
    ["It'll need a new regulator.", "I'd put a new regulator on that.", "They put in a new regulator last year.",
     "There's a new regulator in the van.", "Needs a new regulator on this one.",
     "Is the regulator new?", "Changed the regulator spring.", "I'd have fitted a new regulator.",
     "They fitted a new regulator on the other boiler.", "The water regulator's new.", "Lock up again please.",
     "I want to see lock up again.", "Do the lock up a second time.", "Lock up twice what it should be.",
     "I want lock up checked again.", "I should have checked lock up again.",
     "We fitted a new regulator on the other boiler."],
)  # fmt: skip
def test_what_was_not_done_to_the_regulator_on_this_visit_is_not_noted(said: str) -> None:
    assert not [r for r in told(said) if r.taken]
