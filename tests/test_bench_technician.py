"""The bench's technician: what he makes of the tool's words. He must neither help it nor be led astray by it."""

from __future__ import annotations

from typing import Any

import pytest

from bench.technician import Mind
from schemas.load import load_sheet

GOLD: list[dict[str, Any]] = [
    {"quantity": "co2", "condition": "high_fire/before", "value": 10.1},
    {"quantity": "co2", "condition": "high_fire/after", "value": 9.3},
    {"quantity": "co", "condition": "high_fire", "value": 76},
    {"quantity": "o2", "condition": "low_fire", "value": 5},
    {"quantity": "flue_temp", "condition": "low_fire", "value": 121, "appliance": "2"},
    {"quantity": "fuel", "condition": "", "value": "natural_gas"},
    {"quantity": "serial", "condition": "", "value": "TW44B"},
]
MIND = Mind(GOLD, load_sheet("gas-boiler-start-up")[0])


@pytest.mark.parametrize(
    ("told", "answer"),
    [
        ("C O two, high fire, after, nine point three, right?", "yes"),
        ("C O two, high fire, after, nine point five, right?", "nine point three"),
        ("C O two, high fire, before: nine point one, or ten point one?", "ten point one"),
        ("C O, high fire, seventy-six? Say the value.", "seventy six"),
        ("C O, low fire, seventy-six? Say the value.", "skip"),
        ("C O, high fire: what is it?", "seventy six"),
        ("What is it?", "seventy six"),
        ("C O, high fire, seventy-six.", None),
        ("Missing, high fire: Inlet pressure, C O air-free, Efficiency, and 2 more.", None),
        ("C O, high fire, sixty-six. It was seventy-six.", "no, seventy six"),
        ("C O, high fire, seven.", "no, seventy six"),
        ("O two, low fire, five point zero.", None),
        ("O two, low fire, five point two.", "no, five"),
        ("Draft, low fire, five.", "take that back"),
        ("seventy-six: C O, or Flue temperature?", "C O"),
        ("five, O two: high fire, or low fire?", "low fire"),
        ("five, C O two: high fire, or low fire?", "skip"),
        ("high fire: C O two nine point three, C O seventy-six.", None),
        ("high fire: C O two nine point three, C O sixty-six.", "no, C O seventy six"),
        ("C O seventy-six and O two seventy-six. Which one is right?", "C O"),
        ("Limit, C O two, high fire, eight to nine, right?", "yes"),
        ("Missing, high fire: O two, C O, and 5 more.", None),
        ("Taken back: C O, high fire, seventy-six.", None),
        ("one hundred thirty-one degrees, Flue temperature, low fire: boiler 1, or boiler 2?", "skip"),
        ("one hundred twenty-one degrees, Flue temperature, and 2 more: boiler 1, or boiler 2?", "boiler two"),
        ("That was boiler 2, right?", "yes"),
        ("That was boiler 1, right?", "boiler two"),
        ("Fuel, natural gas, right?", "yes"),
        ("Serial number, T W four seven B? Say the value.", "T W four four B"),
        ("Serial number, T W four four B.", None),
        ("Later.", None),
    ],
)
def test_he_answers_what_is_true(told: str, answer: str | None) -> None:
    assert MIND.answer(told) == answer


def test_he_says_where_he_is_when_what_he_just_said_is_put_elsewhere() -> None:
    gold = [
        {"quantity": "co", "condition": "high_fire", "value": n, "appliance": tag} for n, tag in ((62, "1"), (55, "2"))
    ]
    mind = Mind(gold, load_sheet("gas-boiler-start-up")[0])
    mind.at, mind.just = "2", "high fire. c o fifty five."
    assert mind.answer("1, C O, high fire, fifty-five, right?") == "no, boiler two"
    assert mind.answer("1, C O, high fire, fifty-five.") == "no, boiler two"
    assert mind.answer("1, C O, high fire, sixty-two, right?") == "yes"  # what was left open at the other one
    assert mind.answer("2, C O, high fire, fifty-five, right?") == "yes"
    assert mind.answer("fifty-five: boiler 1 C O two, or boiler 1 Draft?") == "skip"
    assert mind.answer("fifty-five: boiler 1 C O two, or boiler 2 C O?") == "boiler two C O"
