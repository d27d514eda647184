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
