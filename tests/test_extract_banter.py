"""Talk as people at work really speak: begun anew, answered by a colleague, told in rows, about several boilers.

Found by inventing some hundred utterances; each phenomenon has a sentence here that is none of those it was found with.
"""

from __future__ import annotations

import pytest

from extract import Setting, start, step
from schemas.readings import Alarm, QuotedLimit
from tests.test_extract_talk import grammar, heard, talk
from tests.test_extract_told import plainly, told

Placed = list[tuple[str | None, str | None, str, bool]]


def placed(*texts: str, units: str = "us", tags: tuple[str, ...] = ()) -> Placed:
    return [(r.appliance or r.quantity, r.condition, r.value, r.taken) for r in told(*texts, units=units, tags=tags)]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("O2 four point, uh, four point six.", "4.6"),
        ("O2 four point, four point six.", "4.6"),
        ("O2 four, um, four point six.", "4.6"),
        ("Stack one thirty, er, one thirty four.", "134"),
        ("CO seventy, uh, seventy two.", "72"),
        ("CO seventy, uh, two.", "72"),
        ("O2 four point, um, six.", "4.6"),
    ],
)
def test_a_number_begun_anew_over_a_hesitation_is_one_number(text: str, value: str) -> None:
    assert [(v, taken) for _, v, taken in plainly(text)] == [(value, True)]


def test_two_numbers_over_a_hesitation_stay_two() -> None:
    assert [v for _, v, _ in plainly("Supply one forty, uh, one eighteen return.")] == ["140", "118"]


@pytest.mark.parametrize(
    "texts",
    [
        ("Boiler A CO sixty, boiler B CO seventy.",),
        ("On A, CO sixty.", "B's CO is seventy."),
        ("A's CO is sixty, B's is seventy.",),
    ],
)
def test_boilers_that_go_by_letters(texts: tuple[str, ...]) -> None:
    assert placed(*texts, tags=("A", "B")) == [("A", "high_fire", "60", True), ("B", "high_fire", "70", True)]


@pytest.mark.parametrize(
    "texts",
    [
        ("One's CO is sixty.", "Two's CO is seventy."),
        ("Boiler one, CO sixty.", "Two is a bit higher, CO's seventy."),
        ("CO on one is sixty.", "Hop over to two.", "CO seventy."),
    ],
)
def test_the_number_of_a_boiler_in_passing_is_no_value(texts: tuple[str, ...]) -> None:
    assert placed(*texts, tags=("1", "2")) == [("1", "high_fire", "60", True), ("2", "high_fire", "70", True)]


def test_on_two_is_a_boiler_also_where_none_was_named_before() -> None:
    assert placed("The O2 on two is four four.") == [("2", "high_fire", "4.4", True)]


def test_a_row_without_names_is_asked_in_the_order_of_the_row_before() -> None:
    found = told("Boiler one, CO2 nine one, CO fifty, stack one ten.", "Boiler two, nine three, fifty two, one twelve.")
    second = [(r.quantity, r.value, r.taken) for r in found if r.appliance == "2"]
    assert second == [("co2", "9.3", False), ("co", "52", False), ("flue_temp", "112", False)]


def test_several_values_without_a_name_are_not_all_of_what_was_spoken_of() -> None:
    assert not any(taken for _, _, taken in plainly("CO2?", "Boiler two: nine one, four six, seventy two.")[1:])


def test_an_answer_and_a_value_with_its_name() -> None:
    assert plainly("What's the CO2?", "Nine one, and the O2's four seven.") == [
        ("co2", "9.1", False), ("o2", "4.7", True)
    ]  # fmt: skip


def test_the_answer_is_of_the_condition_that_was_asked_about() -> None:
    assert placed("CO2 nine one.", "And low fire?", "Eight six.") == [
        ("co2", "high_fire", "9.1", True), ("co2", "low_fire", "8.6", False)
    ]  # fmt: skip
    context, _ = talk("Low fire CO2?", "Eight six, O2 five five.")
    assert [r.condition for r in context.live()] == ["low_fire", "low_fire"]


def test_ambient_zero_is_asked_and_ambient_sixty_is_not() -> None:
    assert plainly("Ambient's zero.") == [("ambient_co", "0", False)]
    assert plainly("Ambient's sixty six.") == [("ambient_temp", "66", True)]
    assert plainly("Room's sixty six.") == [("ambient_temp", "66", True)]
    assert plainly("The CO level in this room is two.")[0][0] != "ambient_temp"


@pytest.mark.parametrize(
    ("text", "value", "taken"),
    [
        ("Serial's K as in kilo, four, four, dash, two.", "K44-2", True),
        ("Serial K four four two, I reckon.", "K442", False),
        ("Model's a Tarwick Duo sixty, I think.", "Tarwick Duo 60", False),
    ],
)
def test_a_code_to_its_end(text: str, value: str, taken: bool) -> None:
    assert [(v, sure) for _, v, sure in plainly(text)] == [(value, taken)]


def test_a_code_spelt_behind_its_name_is_asked() -> None:
    assert plainly("What's the serial number?", "K, four, four, double two, B for bravo.") == [
        ("serial", "K4422B", False)
    ]  # fmt: skip
    assert not plainly("What's the serial number?", "Nine.")


def test_a_value_said_once_more_with_its_minus_is_no_other_value() -> None:
    found = told("Low fire, offset's minus six pascals.", "Minus six?", "Minus six.", units="uk")
    assert [(r.value, r.taken) for r in found] == [("-6", True)]


def test_what_the_book_wants_behind_a_reading_is_asked() -> None:
    assert plainly("CO2 is nine two, that's what the handbook wants.") == [("co2", "9.2", False)]


@pytest.mark.parametrize(
    "text", ["Flue one ten, so fifty net.", "So one point two drop.", "That is a twelve degree difference."]
)
def test_what_was_worked_out_is_no_reading(text: str) -> None:
    assert {v for _, v, _ in plainly(text)} <= {"110"}


@pytest.mark.parametrize(
    "texts",
    [
        ("CO2 was ten flat.", "Throttle in a quarter, down to nine three."),
        ("CO2 was ten flat.", "Came in a quarter on the throttle, nine three."),
    ],
)
def test_a_value_behind_the_turn_of_a_screw(texts: tuple[str, ...]) -> None:
    found = told(*texts)
    assert [(r.quantity, r.value, r.phase, r.taken) for r in found] == [
        ("co2", "10", "before", True), ("valve_move", "0.25", "", True), ("co2", "9.3", "after", True)
    ]  # fmt: skip
    assert found[1].note == "high_fire_screw cw"


@pytest.mark.parametrize(
    "texts",
    [
        ("Before I cleaned it CO eighty, after it's fifty.",),
        ("CO was eighty before I cleaned it, fifty now.",),
        ("Before cleaning, CO eighty.", "After cleaning it's fifty."),
    ],
)
def test_before_and_after_a_clean(texts: tuple[str, ...]) -> None:
    assert [(r.value, r.phase, r.taken) for r in told(*texts)] == [("80", "before", True), ("50", "after", True)]


def test_another_volume_than_the_one_before() -> None:
    found = told("Clocking, two feet.", "No, hang on, it's the one foot dial.", "Fifty seconds.")
    assert [(r.value, r.note) for r in found] == [("50", "1 [cft_i]")]
    found = told("Half of a cubic foot in twenty five seconds.")
    assert [(r.value, r.note) for r in found] == [("25", "0.5 [cft_i]")]


def test_volts_of_which_the_other_is_named() -> None:
    assert plainly("Volts one eighteen, ground point two.") == [
        ("supply_volts", "118", True), ("ground_volts", "0.2", True)
    ]  # fmt: skip


def test_a_length_is_of_what_is_told_in_feet() -> None:
    assert plainly("Vent run is PVC, thirty feet.") == [("vent_length", "30", True)]


@pytest.mark.parametrize("text", ["CO nine in the flat upstairs.", "CO was nine on Thursday."])
def test_elsewhere_and_another_day(text: str) -> None:
    assert not any(r.taken for r in told(text))


@pytest.mark.parametrize(
    ("text", "check"),
    [
        ("Low water cutoff test, it trips.", "low_water_test"),
        ("Kill switch works.", "emergency_stop_test"),
        ("Tested the overheat stat, it cut out at one ninety.", "high_limit_test"),
        ("Flame failure test, locked out in three seconds.", "flame_failure_test"),
        ("Relief valve lifts fine.", "relief_valve"),
    ],
)
def test_checks_in_trade_words(text: str, check: str) -> None:
    assert plainly(text) == [(check, "passed", True)]


def test_bubbles_nowhere_is_no_leak() -> None:
    context, operations = talk("Leak test on every union, bubbles nowhere.")
    assert [r.value for r in context.live()] == ["done"]
    assert not [o for o in operations if isinstance(o, Alarm)]


def test_digits_behind_a_point_stay_together() -> None:
    found = placed("Outlet of the gas valve at low fire, minus point oh two five.")
    assert found == [("outlet_pressure", "low_fire", "-0.025", True)]
    assert plainly("co two nine point one o two four point seven") == [("co2", "9.1", True), ("o2", "4.7", True)]


@pytest.mark.parametrize(
    ("texts", "condition"),
    [
        (("CO sixty, O2 four six.", "Those are both low fire."), "low_fire"),
        (("CO sixty, O2 four six.", "Those are both low fire actually."), "low_fire"),
        (("CO sixty.", "That's low fire, actually."), "low_fire"),
        (("CO sixty.", "That's low fire now."), "high_fire"),
    ],
)
def test_where_what_was_said_was_read(texts: tuple[str, ...], condition: str) -> None:
    assert {(r.condition, r.taken) for r in told(*texts)} == {(condition, True)}


def test_whether_two_are_the_other_way_round_is_no_swap() -> None:
    found = told("Supply one fifty, return one thirty.", "Other way around? No, that's right.")
    assert [(r.quantity, r.value, r.taken) for r in found] == [
        ("supply_temp", "150", False), ("return_temp", "130", False)
    ]  # fmt: skip


def test_what_is_spoken_of_goes_along_to_another_firing_rate() -> None:
    assert placed("CO2 nine three. Low fire, hmm, eight point... eight point four.")[1:] == [
        ("co2", "low_fire", "8.4", False)
    ]  # fmt: skip


def test_two_values_changed_in_one_sentence() -> None:
    found = plainly("CO2 nine one, CO sixty.", "Change the CO2 to nine two and the CO to fifty four.")
    assert found == [("co2", "9.2", True), ("co", "54", True)]


def test_the_same_value_with_its_zero_is_the_same() -> None:
    assert plainly("Efficiency ninety-five. Ninety-five point oh.") == [("efficiency", "95", True)]


def test_a_change_downwards_is_no_range() -> None:
    assert plainly("CO2 went from nine nine to nine two.") == [("co2", "9.2", True)]
    assert [taken for _, _, taken in plainly("CO2 from nine two to nine nine.")] == [False]


def test_counted_aloud_is_no_value() -> None:
    assert plainly("Four, three, two, one.", "CO2 nine two.") == [("co2", "9.2", True)]


def test_a_name_behind_values_under_a_heading() -> None:
    assert plainly("High fire: nine one, fifty, one ten.", "CO2, CO, stack.") == [
        ("co2", "9.1", True), ("co", "50", True), ("flue_temp", "110", True)
    ]  # fmt: skip
    assert placed("Seven point four.", "That's static.")[-1] == ("inlet_pressure", "static", "7.4", True)


def test_volts_beside_the_neutral() -> None:
    assert plainly("One eighteen point two volts at the switch, point three neutral to ground.") == [
        ("supply_volts", "118.2", False), ("ground_volts", "0.3", True)
    ]  # fmt: skip


def test_a_revolution_of_the_dial_turns_no_screw() -> None:
    assert [(r.value, r.note) for r in told("Clocked one revolution of the half foot dial, twelve seconds.")] == [
        ("12", "0.5 [cft_i]")
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["Manufacturer says four thousand to five thousand.", "Stack loss is six point four."])
def test_what_names_neither_maker_nor_temperature(text: str) -> None:
    assert not plainly(text)


@pytest.mark.parametrize("ask", ["Read me the supply temp.", "The supply temp's one fifty?"])
def test_what_somebody_asked_for_is_asked(ask: str) -> None:
    assert plainly(ask, "One forty eight.")[-1] == ("supply_temp", "148", False)


def test_wanting_to_say_is_not_sure() -> None:
    assert plainly("CO2 I want to say nine three.") == [("co2", "9.3", False)]


def test_the_second_row_of_a_sentence_follows_the_first() -> None:
    found = placed("Nine two on CO2, sixty CO; at low fire eight seven and twelve.")
    assert found[2:] == [("co2", "low_fire", "8.7", False), ("co", "low_fire", "12", False)]


@pytest.mark.parametrize(
    "text",
    [
        "Boiler two CO2 nine five, which is point two more than boiler one.",
        "CO2 nine five. That's point three over where it should sit.",
    ],
)
def test_how_much_more_is_no_reading(text: str) -> None:
    assert [v for _, v, _ in plainly(text)] == ["9.5"]


def test_one_and_two_are_both_boilers() -> None:
    found = placed("One and two both have seven six static.", tags=("1", "2"))
    assert found == [("1", "static", "7.6", False), ("2", "static", "7.6", False)]
    assert placed("On two I gave the throttle a quarter in.", tags=("1", "2"))[0][0] == "2"


def test_a_limit_that_is_not_to_be_passed_is_an_upper_one() -> None:
    _, operations = talk("I don't want to see more than one fifty on the stack.")
    assert [(o.low, o.high) for o in operations if isinstance(o, QuotedLimit)] == [(None, "150")]


def test_what_i_get_is_no_part_of_what_another_wrote() -> None:
    assert plainly("The last engineer wrote nine six, I get nine three at high fire.") == [("co2", "9.3", False)]


def test_what_is_read_again_behind_a_turn_is_asked_in_the_order_of_before() -> None:
    before = ("CO2 ten one, O2 two eight, CO one fifty.", "Throttle an eighth in.")
    found = told(*before, "Nine three, four three, CO eighty.")
    after = [(r.quantity, r.value, r.taken) for r in found if r.phase == "after"]
    assert after == [("co2", "9.3", False), ("o2", "4.3", False), ("co", "80", True)]
    found = told(*before, "Nine three and eighty.")
    assert [(r.quantity, r.value) for r in found if r.phase == "after"] == [("co2", "9.3"), ("co", "80")]


def test_a_bare_value_behind_a_turn_beside_a_gas_pressure() -> None:
    found = told("Inlet six eight.", "CO2 ten one.", "Throttle an eighth in.", "Nine three.")
    assert [(r.quantity, r.value, r.taken) for r in found if r.phase == "after"] == [("co2", "9.3", True)]


def test_where_a_screw_was_moved_from_and_to_is_asked() -> None:
    assert not any(r.taken for r in told("Moved the throttle from three turns out to two and a half out."))


@pytest.mark.parametrize(
    "text", ["Found the CO2 at nine eight, left it at nine one.", "CO2 pre nine eight, post nine one."]
)
def test_found_and_left(text: str) -> None:
    assert [(r.phase, r.value, r.taken) for r in told(text)] == [("before", "9.8", True), ("after", "9.1", True)]


@pytest.mark.parametrize("behind", ["No.", "I think.", "That can't be right."])
def test_a_doubt_in_the_same_breath_is_heard(behind: str) -> None:
    assert plainly(f"CO2 nine three. {behind}") == [("co2", "9.3", False)]
    assert plainly("CO2 nine three. No problem.") == [("co2", "9.3", True)]


def test_a_correction_in_one_breath_holds_also_late_in_a_job() -> None:
    context = start(Setting(units="us"))
    for n, (at, text) in enumerate(((0.0, "High fire, O2 four six."), (700.0, "Stack one twenty. Sorry, one thirty."))):
        context, _ = step(heard(text, n), at, context, grammar())
    assert [(r.value, r.taken) for r in context.live()] == [("4.6", True), ("130", True)]


def test_the_sign_said_behind_a_value() -> None:
    assert placed("Low fire offset's point oh two, it's negative.") == [("outlet_pressure", "low_fire", "-0.02", True)]
    assert placed("Low fire offset's point oh two. Negative.") == [("outlet_pressure", "low_fire", "-0.02", True)]


def test_left_at_a_firing_rate_is_a_way_to_turn() -> None:
    found = told("Offset screw an eighth left at low fire.")
    assert [(r.quantity, r.note, r.phase, r.taken) for r in found] == [
        ("valve_move", "low_fire_screw ccw", "", True)
    ]  # fmt: skip


def test_where_a_number_is_found_is_no_part_of_it() -> None:
    assert plainly("The serial's on the flap, four four two, nine.") == [("serial", "4429", True)]
    assert plainly("Site is 22 Brackenfield Lane.") == [("site", "22 Brackenfield Lane", True)]


def test_a_quantity_behind_lets_see_is_read() -> None:
    assert plainly("Let's see here, the CO2 is, uh, nine, nine point two.") == [("co2", "9.2", True)]


def test_a_drop_of_nothing_is_no_drop() -> None:
    _, operations = talk("Soundness test, drop of nothing in two minutes.")
    assert not [o for o in operations if isinstance(o, Alarm)]


@pytest.mark.parametrize("behind", ["Don't quote me on that.", "Probe's not all the way in.", "The hose is kinked."])
def test_what_makes_a_value_worth_nothing_behind_it(behind: str) -> None:
    assert plainly(f"Stack one eighteen. {behind}") == [("flue_temp", "118", False)]


@pytest.mark.parametrize(
    ("text", "taken"),
    [
        ("Please write down CO2 nine point three.", True),
        ("Let's record CO2 nine point three.", True),
        ("Could you log CO2 nine point three?", False),
    ],
)
def test_what_is_to_be_written_down_is_a_reading(text: str, taken: bool) -> None:
    assert plainly(text) == [("co2", "9.3", taken)]


def test_who_waits_for_a_value_reads_it_himself() -> None:
    assert plainly("Wait for the CO.", "Fifty eight.") == [("co", "58", True)]


@pytest.mark.parametrize(
    "texts",
    [
        ("We'll do low fire first.", "CO2 eight seven."),
        ("Back to low real quick.", "CO2 eight seven."),
        ("Before I go to high fire, low fire CO2 is eight seven.",),
    ],
)
def test_where_the_work_goes(texts: tuple[str, ...]) -> None:
    assert placed(*texts) == [("co2", "low_fire", "8.7", True)]


@pytest.mark.parametrize(
    "text",
    [
        "Installer's card: CO2 nine five.",
        "The manual for the other model says nine five.",
        "Trips on high stack at two ten.",
    ],
)
def test_what_is_of_somebody_or_something_else(text: str) -> None:
    assert not plainly(text)


def test_a_heading_with_a_word_that_is_not_known_is_asked() -> None:
    assert plainly("Customer's blorven: CO2 nine five.") == [("co2", "9.5", False)]


@pytest.mark.parametrize(("state", "taken"), [("is dry", True), ("isn't", False)])
def test_the_check_of_another_boiler_without_its_name(state: str, taken: bool) -> None:
    found = told(f"Boiler one's trap is full, boiler two's {state}.", tags=("1", "2"))
    assert [(r.appliance, r.value, r.taken) for r in found] == [("1", "passed", True), ("2", "failed", taken)]


def test_each_boiler_has_its_own_turn() -> None:
    found = told("Boiler one throttle a quarter in, boiler two an eighth in.", tags=("1", "2"))
    assert [(r.appliance, r.value) for r in found] == [("1", "0.25"), ("2", "0.125")]


@pytest.mark.parametrize("text", ["With two off, one's CO is sixty.", "One reads sixty on the CO."])
def test_a_boiler_spoken_of_in_passing_is_no_value(text: str) -> None:
    assert placed(text, tags=("1", "2")) == [("1", "high_fire", "60", True)]


def test_the_same_value_of_another_boiler_is_its_own() -> None:
    assert placed("Boiler one CO2 nine three.", "Boiler two nine three as well.", tags=("1", "2")) == [
        ("1", "high_fire", "9.3", True), ("2", "high_fire", "9.3", True)
    ]  # fmt: skip


def test_a_row_of_boilers_is_no_row_of_values() -> None:
    assert {v for _, _, v, _ in placed("One, two and three all have CO sixty.", tags=("1", "2", "3"))} == {"60"}


@pytest.mark.parametrize(
    "text", ["Row three, O2 four six.", "Item four: O2 four six.", "First number's the O2, four six."]
)
def test_the_number_of_a_line_is_no_value(text: str) -> None:
    assert placed(text) == [("o2", "high_fire", "4.6", True)]


def test_what_a_page_says_is_no_reading() -> None:
    assert not plainly("Page nine says CO2 nine two.")


@pytest.mark.parametrize(
    "text",
    [
        "Book says high fire CO2 is nine four, low fire CO2 is eight seven.",
        "book says high fire co two is nine four low fire co two is eight seven",
    ],
)
def test_the_second_rate_of_a_book_is_asked_about(text: str) -> None:
    assert not any(taken for _, _, taken in plainly(text))


def test_a_reading_behind_a_limit_without_a_comma() -> None:
    found = plainly("spec is nine to nine and a half high fire co two is nine three")
    assert found == [("co2", "9.3", True)]


def test_the_letter_of_a_name_behind_digits() -> None:
    found = plainly("co two ten point one o two three point zero")
    assert found == [("co2", "10.1", True), ("o2", "3.0", True)]


def test_how_far_a_screw_was_turned_alone_is_asked() -> None:
    assert [(r.quantity, r.taken) for r in told("Throttle, an eighth.")] == [("valve_move", False)]
