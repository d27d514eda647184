"""Corrections of what was read elsewhere: of another firing rate, another boiler, or before the adjustment."""

from __future__ import annotations

import pytest

from extract import Context, Setting, start, step
from schemas.job import JobAppliance
from tests.test_extract_talk import grammar, heard, talk


def two_boilers(*texts: str) -> Context:
    setting = Setting(units="us", appliances=(JobAppliance(tag="1"), JobAppliance(tag="2")))
    context = start(setting)
    for n, text in enumerate(texts):
        context, _ = step(heard(text, n), 5.0 * n, context, grammar())
    return context


def values(context: Context) -> list[tuple[str | None, str | None, str, bool]]:
    return [(r.appliance, r.condition, r.value, r.taken) for r in context.live()]


@pytest.mark.parametrize("said", ["sorry, the low fire one was eight nine", "wait, that low fire was eight nine"])
def test_a_correction_of_another_row_is_of_the_row_that_it_names(said: str) -> None:
    context, _ = talk("Low fire. CO2 eight point two.", "High fire. CO2 nine point one.", said, "O2 four point nine.")
    assert values(context) == [
        (None, "high_fire", "9.1", True), (None, "low_fire", "8.9", True), (None, "high_fire", "4.9", True),
    ]  # fmt: skip


def test_a_correction_of_another_boiler_is_of_the_boiler_that_it_names() -> None:
    context = two_boilers(
        "Boiler one, static eight point oh.", "Boiler two, static eight point two.",
        "sorry, boiler one was seven point nine", "High fire CO2 nine two.",
    )  # fmt: skip
    assert values(context) == [
        ("2", "static", "8.2", True), ("1", "static", "7.9", True), ("2", "high_fire", "9.2", True),
    ]  # fmt: skip


def test_a_correction_that_only_another_boiler_has_a_value_for_is_asked() -> None:
    context = two_boilers(
        "Boiler one high fire O2 four four.", "Boiler two low fire O2 five one.", "no, the high fire O2 was four six"
    )
    assert values(context) == [("2", "low_fire", "5.1", True), ("1", "high_fire", "4.6", False)]


def test_two_values_that_come_to_stand_in_one_place_are_asked() -> None:
    context, _ = talk("Low fire. O2 five six.", "Now high fire. O2 four four.", "no, still on low")
    assert values(context) == [(None, "low_fire", "5.6", False), (None, "low_fire", "4.4", False)]


@pytest.mark.parametrize(
    "said",
    [
        ("Before I adjusted it O2 was three one, now it's four two.",),
        ("O2 three one before adjustment, four two now.",),
        ("O2 three one.", "that was before touching it", "O2 four two."),
    ],
)
def test_before_and_now_are_two_readings(said: tuple[str, ...]) -> None:
    context, _ = talk("High fire.", *said)
    assert [(r.phase, r.value, r.taken) for r in context.live()] == [("before", "3.1", True), ("after", "4.2", True)]


def test_a_turn_that_is_taken_back_leaves_the_reading_behind_it() -> None:
    context, _ = talk(
        "Low fire. O2 five six.", "eighth of a turn in on the low fire screw.", "O2 five two.", "scratch that turn"
    )
    assert [(r.quantity, r.phase, r.value) for r in context.live()] == [("o2", "before", "5.6"), ("o2", "after", "5.2")]


@pytest.mark.parametrize(
    ("said", "behind"),
    [
        ("Low fire. CO eighty.", "no, that's undiluted"),
        ("Low fire. O2 five six, no, that's last week's, five two.", ""),
        ("Low fire. O2 five six.", "that was last visit"),
        ("Low fire. CO2 eight nine or O2, not sure.", ""),
        ("Low fire. O2 five six.", "no, it was the other way round"),
    ],
)
def test_what_is_denied_behind_a_value_puts_it_in_question(said: str, behind: str) -> None:
    context, _ = talk(said, *([behind] if behind else []))
    assert [r.taken for r in context.live()] == [False]


@pytest.mark.parametrize("behind", ["no, that's fine", "no, that's it", "that's the same as last time"])
def test_small_talk_behind_a_value_leaves_it(behind: str) -> None:
    context, _ = talk("Low fire. O2 five six.", behind)
    assert [r.taken for r in context.live()] == [True]


def test_a_value_of_up_there_is_not_of_where_the_work_is() -> None:
    context, _ = talk("High fire. CO2 nine three.", "Low fire.", "CO was eighty up there.")
    assert values(context) == [(None, "high_fire", "9.3", True), (None, "low_fire", "80", False)]


def test_back_to_a_number_is_the_boiler_of_that_number() -> None:
    context = two_boilers(
        "Boiler one high fire O2 four four.", "Boiler two high fire.", "Okay, back to one. CO eighty."
    )
    assert values(context) == [("1", "high_fire", "4.4", True), ("1", "high_fire", "80", True)]


@pytest.mark.parametrize(
    ("said", "value", "taken"),
    [
        (("Spillage test.", "That failed."), "failed", True),
        (("Did you do the spillage test? It failed.",), "failed", True),
        (("Low water cut-off.", "Passed."), "passed", True),
        (("Did the low water cut-off pass?", "Yes."), "passed", False),
        (("Did the low water cut-off pass?", "No."), "failed", False),
    ],
)
def test_what_became_of_a_check_is_said_behind_its_name(said: tuple[str, ...], value: str, taken: bool) -> None:
    context, _ = talk(*said)
    assert [(r.value, r.taken) for r in context.live()] == [(value, taken)]


@pytest.mark.parametrize(
    "said", ["We still need to do the leak test.", "Don't forget the leak test.", "Leak test next."]
)
@pytest.mark.parametrize("behind", ["Good.", "Okay, good.", "Done."])
def test_small_talk_behind_a_check_that_is_to_come_passes_nothing(said: str, behind: str) -> None:
    context, _ = talk(said, behind)
    assert not [r for r in context.live() if r.taken and r.value != "not yet"]


def test_a_value_that_should_be_another_is_asked() -> None:
    context, _ = talk("Low fire. O2 five six, CO forty.", "the five point six should be five point two")
    assert sorted((r.value, r.taken) for r in context.live()) == [("40", True), ("5.6", False)]


def test_a_change_of_rate_named_behind_a_value_may_come_after_it() -> None:
    context, _ = talk("Low fire.", "O2?", "five six, now going to high fire")
    (reading,) = context.live()
    assert not reading.taken
    assert {reading.condition, reading.alternatives[0].condition} == {"low_fire", "high_fire"}


def test_a_firing_rate_that_was_not_made_out_is_asked() -> None:
    context, _ = talk("High fire. CO2 nine three.", "Roof fire, CO eighty.")
    assert values(context) == [(None, "high_fire", "9.3", True), (None, "high_fire", "80", False)]


def test_a_low_temperature_may_be_the_flow_or_the_flue() -> None:
    context = start(Setting(units="uk"))
    context, _ = step(heard("High fire, low temperature sixty six.", 0), 0.0, context, grammar())
    (reading,) = context.live()
    assert not reading.taken
    assert "supply_temp" in {reading.quantity, *(a.quantity for a in reading.alternatives)}


def test_the_rest_of_a_number_that_sounds_like_a_name_is_offered() -> None:
    context, _ = talk("High fire. CO three, O two.")
    (reading,) = context.live()
    assert (reading.quantity, reading.value, reading.taken) == ("co", "3", False)
    assert "302" in [a.value for a in reading.alternatives]
