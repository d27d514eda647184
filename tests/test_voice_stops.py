"""The conversation's rules for stops, lost hearing and its own voice, without sound: issue 4's."""

from __future__ import annotations

from dataclasses import replace

import pytest

from front.voice.events import (
    Answering,
    Began,
    Changed,
    Ended,
    Heard,
    Hush,
    Lost,
    Mark,
    News,
    Play,
    Played,
    Playing,
    Say,
    Show,
    Stopped,
    TakeBack,
    Tick,
)
from front.voice.replies import Reply
from front.voice.talk import Talk
from front.voice.words import Command
from tests.test_voice_talk import ASKED, answers, candidate, run, said, said_back, saying


def test_after_a_stop_that_was_said_the_tool_speaks_once_and_is_quiet_until_somebody_resumes() -> None:
    news = News(stops=(("gas", "Gas smelt. Everyone out.", True),), questions=(ASKED,), new=frozenset({"r1"}))
    talk, actions = run(Talk(), Changed(1, 2, news), Began(2.1), Tick(2.2))
    assert [(one.tone, one.text) for one in actions if isinstance(one, Say)] == [("stop", "Gas smelt. Everyone out.")]
    talk, _ = run(talk, Played(9.0, saying(actions), True), Ended(9.5))
    talk, actions = run(talk, Changed(10, 11, replace(news, taken=("r2",), stops=())), Tick(20.0), Tick(40.0))
    assert actions == []
    talk, actions = run(talk, Heard(50, 50.5, "carry_on"), Changed(60, 61, replace(news, stops=())), Tick(70.0))
    assert isinstance(actions[-1], Say)


def test_who_says_carry_on_while_a_stop_is_being_told_is_heard() -> None:
    talk, _ = run(Talk(), Changed(1, 2, News(stops=(("gas", "Gas smelt. Everyone out.", True),))), Tick(2.2))
    talk, actions = run(talk, Playing(20.0), Heard(9, 9.6, "carry_on", over=True))
    assert actions == [Mark("command"), Show("carried_on")]
    assert not talk.quiet


def test_who_asks_whether_it_is_there_after_a_stop_is_answered() -> None:
    talk, actions = run(Talk(), Changed(1, 2, News(stops=(("gas", "Gas smelt.", True),))), Tick(2.2))
    talk, _ = run(talk, Played(9.0, saying(actions), True))
    heard = Heard(50, 50.5, "there"), Answering(Say("Listening.", 1)), Changed(50, 50.5, News())
    talk, actions = run(talk, *heard, Tick(51.0))
    assert actions == [Mark("command"), Show("there"), Say("Listening.", 1)]
    assert talk.quiet


def test_each_new_alarm_is_told_also_of_the_same_stop_and_while_quiet() -> None:
    news = News(stops=(("gas", "Gas smelt.", True),))
    talk, first = run(Talk(), Changed(1, 2, news), Tick(2.1))
    talk, _ = run(talk, Played(4.0, saying(first), True))
    talk, second = run(talk, Changed(10, 11, news), Tick(11.1))
    assert [one.text for one in (*first, *second) if isinstance(one, Say)] == ["Gas smelt.", "Gas smelt."]


def test_a_stop_and_lost_hearing_cut_short_whatever_is_being_said() -> None:
    talk, actions = run(Talk(), Changed(1, 2, News(gone=("Taken back: a long row.",))), Tick(2.1), Playing(30.0))
    say = saying(actions)
    for event in (Changed(3, 4, News(stops=(("gas", "Gas smelt.", True),))), Lost(4.0, "Hearing lost.")):
        cut, actions = run(talk, event)
        assert actions == [Hush()]
        cut, actions = run(cut, Played(4.1, say, False), Tick(4.2))
        assert saying(actions).priority == 0
        assert run(cut, Changed(5, 6, News(stops=(("flue", "CO.", False),))))[1] == []  # a stop is not cut by another


def test_a_stop_that_others_brought_is_told_at_once() -> None:
    talk, actions = run(said_back(), Stopped(13.0, (("flue", "CO. Shut the appliance off.", False),)), Tick(13.1))
    assert (saying(actions).text, saying(actions).tone) == ("CO. Shut the appliance off.", "stop")
    assert not talk.quiet


def test_lost_hearing_is_told_even_while_somebody_speaks() -> None:
    _, actions = run(Talk(), Began(1.0), Lost(2.0, "Hearing lost: headset."), Tick(2.0))
    assert [(one.tone, one.text) for one in actions if isinstance(one, Say)] == [
        ("hearing lost", "Hearing lost: headset.")
    ]


# -- its own voice -----------------------------------------------------------------------------------------------------


def test_its_own_voice_is_set_aside_whatever_it_says() -> None:
    reply = Reply("value", candidate("9.3"), clear=True)
    for heard in (Heard(10, 12, "yes", own=True), Heard(10, 12, None, reply, own=True), Heard(10, 12, own=True)):
        assert run(said(), heard)[1] == [Mark("own voice")]


def test_a_yes_spoken_over_the_tool_settles_nothing() -> None:
    assert run(said(), Heard(12.1, 12.5, "yes", over=True))[1] == [Mark("stray")]


def test_words_in_its_own_voice_that_it_did_not_say_sound_and_have_it_say_the_same_once_more() -> None:
    talk, actions = run(said_back(), Heard(10.5, 12.4, own=True, beyond="no 66"), Ended(13.0), Tick(13.1))
    assert actions[:2] == [Mark("own voice", note="no 66"), Play("nothing kept")]
    assert saying(actions).text == "C O, high fire, seventy-six."
    talk, _ = run(talk, Playing(15.0), Played(15.0, saying(actions), True))
    talk, actions = run(talk, Heard(13.2, 15.4, own=True, beyond="no 66"), Ended(16.0), Tick(16.1))
    assert actions == [Mark("own voice", note="no 66"), Play("nothing kept")]  # it does not answer itself forever
    assert TakeBack(("r1",)) in answers(talk, 16.5, "no")


@pytest.mark.parametrize("command", ["no", "take_back"])
def test_a_no_spoken_over_a_value_said_back_has_it_said_again(command: Command) -> None:
    _, actions = run(said_back(), Heard(11.0, 11.5, command, over=True), Ended(12.2), Tick(12.3))
    assert actions[:2] == [Mark("command"), Play("nothing kept")]
    assert saying(actions).text == "C O, high fire, seventy-six."
