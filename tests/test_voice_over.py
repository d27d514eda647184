"""What a person said in the tool's own voice: alarms, numbers and a no that the tool did not say."""

from __future__ import annotations

import pytest

import extract
from capture.typed import typed_utterance
from front.voice.over import alarm_beyond, words_beyond
from front.voice.words import spoken
from schemas.evidence import Hypothesis, Utterance
from schemas.job import JobAppliance
from schemas.load import load_sheet

SHEET = load_sheet("gas-boiler-start-up")[0]
GRAMMAR = extract.compile_sheet(SHEET)
SETTING = extract.Setting(units="us", appliances=(JobAppliance(tag="boiler"),))
QUESTION = "C O two, high fire, nine point one, or nine point seven?"


def beyond(heard: str, *told: str) -> str:
    return words_beyond(typed_utterance(heard, "0" * 64), told, SETTING, GRAMMAR, spoken())


def alarm(heard: str, *told: str) -> bool:
    return alarm_beyond(typed_utterance(heard, "0" * 64), told, GRAMMAR, SHEET)


@pytest.mark.parametrize(
    "heard", ["C O two high fire nine point one or nine point seven", "CO2 high fire 9.1 or 9.7?", "high fire nine one"]
)
def test_what_the_tool_said_itself_is_nothing_beyond(heard: str) -> None:
    assert beyond(heard, QUESTION) == ""


@pytest.mark.parametrize(
    ("heard", "words"),
    [
        ("C O two high fire nine point four", "94"),
        ("C O two, no, nine point seven", "no"),
        ("C O two high fire stop", "stop"),
        ("nope, it is nine point four or so", "nope 94"),
    ],
)
def test_numbers_and_denials_that_the_tool_did_not_say_are_named(heard: str, words: str) -> None:
    assert beyond(heard, QUESTION) == words


@pytest.mark.parametrize(
    "heard",
    ["I smell gas", "C O two high fire, the CO alarm is going off", "flame rollout at the burner", "I feel sick"],
)
def test_an_alarm_that_the_tool_did_not_say_is_one(heard: str) -> None:
    assert alarm(heard, QUESTION)
    assert alarm(heard)


def test_a_stop_that_the_tool_is_telling_is_no_new_alarm_and_another_one_is() -> None:
    for stop in SHEET.stops:
        told = f"{stop.name}. {stop.say}"
        assert not alarm(told, told), stop.id
        assert not alarm(told, "Missing, high fire: O two.", told), stop.id
    gas = next(f"{stop.name}. {stop.say}" for stop in SHEET.stops if stop.id == "gas_smell")
    assert not alarm("gas was smelt no flames I smell gas", gas)
    assert alarm("gas was smelt and the CO alarm is going off", gas)


def test_in_its_own_voice_too_faint_to_be_made_out_only_what_was_surely_heard_is_an_alarm() -> None:
    def heard(text: str, mass: float, second: str | None) -> Utterance:
        ways = (Hypothesis(text=text, mass=mass), Hypothesis(text="C O two", mass=1 - mass))
        return typed_utterance(text, "0" * 64).model_copy(update={"hypotheses": ways, "second_opinion": second})

    for one, sure in (
        (heard("I feel dizzy, I feel dizzy.", 0.34, "I feel dizzy."), False),
        (heard("It didn't have high fire.", 0.7, "I feel dizzy."), False),
        (heard("I smell gas.", 0.7, None), True),
    ):
        assert alarm_beyond(one, [QUESTION], GRAMMAR, SHEET, faint=True) == sure
        assert alarm_beyond(one, [QUESTION], GRAMMAR, SHEET)
