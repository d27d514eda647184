"""The rules of the conversation, one by one, without sound. They are issue 4's; there is nothing outside to compare."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest

from front.voice.events import (
    Action,
    Agree,
    Began,
    Changed,
    Edit,
    Ended,
    Event,
    Heard,
    Hush,
    Leaving,
    Mark,
    News,
    Note,
    Play,
    Played,
    Playing,
    Say,
    Settle,
    Show,
    TakeBack,
    Tick,
)
from front.voice.replies import Reply
from front.voice.talk import Talk, step
from front.voice.wording import Asked
from front.voice.words import Command
from schemas.doubts import Doubt, DoubtKind
from schemas.questions import Candidate, Question
from schemas.readings import Source


def candidate(value: str = "9.3", reading: str = "r1", quantity: str = "co2") -> Candidate:
    return Candidate(reading=reading, quantity=quantity, condition="high_fire", phase="", value=value, unit="%")


def question(*candidates: Candidate, wants: Literal["yes", "value", "choice"] = "yes", name: str = "q-1") -> Asked:
    first = candidates[0]
    asked = Question(
        id=name,
        readings=tuple(dict.fromkeys(one.reading for one in candidates)),
        appliance=None,
        quantities=(first.quantity,),
        condition="high_fire",
        text="?",
        doubts=(Doubt(kind=DoubtKind.UNUSUAL),),
        candidates=candidates,
        source=Source(evidence="0" * 64),
    )
    return Asked(f"{first.quantity} {first.value}, right?", wants, candidates, asked)


ASKED = question(candidate())
OFFER = Asked("That was boiler 2, right?", "offer", (candidate(),))
RESERVED = question(candidate("76", quantity="co"), wants="value")


def run(talk: Talk, *events: Event) -> tuple[Talk, list[Action]]:
    done: list[Action] = []
    for event in events:
        talk, actions = step(talk, event)
        done += actions
    return talk, done


def saying(actions: list[Action]) -> Say:
    """The last thing that is said."""
    return [one for one in actions if isinstance(one, Say)][-1]


def said(asked: Asked = ASKED, *, at: float = 10.0, lasts: float = 2.0) -> Talk:
    """A talk in which a question has just been said, from ``at`` on."""
    news = News(questions=(asked,), new=frozenset(asked.readings))
    talk, actions = run(Talk(), Changed(at - 2, at - 1, news), Tick(at))
    talk, _ = run(talk, Playing(at + lasts), Played(at + lasts, saying(actions), True))
    return talk


def answers(talk: Talk, start: float, command: Command | None = None, reply: Reply | None = None) -> list[Action]:
    return run(talk, Heard(start, start + 0.5, command, reply))[1]


# -- what a bare yes or no binds to ------------------------------------------------------------------------------------


@pytest.mark.parametrize("after", [0.0, 1.0, 3.9])
def test_a_yes_within_four_seconds_of_the_end_of_a_question_settles_it(after: float) -> None:
    assert answers(said(), 12.0 + after, "yes") == [Mark("answer", "q-1"), Settle(ASKED, candidate())]


@pytest.mark.parametrize("start", [12.0 + 4.1, 60.0, 11.0])
def test_a_yes_later_or_before_the_question_is_over_settles_nothing(start: float) -> None:
    assert answers(said(), start, "yes") == [Mark("stray")]


@pytest.mark.parametrize("command", ["yes", "no", "take_back", "cannot_tell"])
def test_strays_between_colleagues_do_nothing_and_extraction_never_sees_them(command: Command) -> None:
    talk = Talk()
    for n in range(50):
        talk, actions = run(talk, Heard(10.0 * n, 10.0 * n + 0.5, command), Ended(10.0 * n + 1), Tick(10.0 * n + 2))
        assert actions == [Mark("stray")]


def test_co_signs_serials_and_stops_are_not_confirmed_by_a_bare_yes() -> None:
    talk, actions = run(said(RESERVED), Heard(13.0, 13.5, "yes"), Ended(14.0), Tick(14.1))
    assert actions[0] == Mark("command", "q-1")
    assert isinstance(actions[1], Say)  # it is asked again
    assert actions[1].about == RESERVED
    assert talk.asked == RESERVED


def test_an_answer_that_carries_the_value_settles_what_a_yes_does_not() -> None:
    reply = Reply("value", candidate("76", quantity="co"), clear=True)
    assert answers(said(RESERVED), 14.0, None, reply) == [Mark("answer", "q-1"), Settle(RESERVED, reply.candidate)]


def test_a_no_asks_for_the_value_and_a_value_then_settles_it() -> None:
    talk, actions = run(said(), Heard(13.0, 13.4, "no"))
    assert actions == [Mark("command", "q-1"), Show("what_is_it")]
    reply = Reply("value", candidate("9.5"), clear=True)
    assert answers(talk, 16.0, None, reply) == [Mark("answer", "q-1"), Settle(ASKED, candidate("9.5"))]


def test_an_answer_that_is_itself_unclear_is_asked_again_and_settles_nothing() -> None:
    reply = Reply("value", candidate("9.5"), clear=False)
    _, actions = run(said(), Heard(13.0, 14.0, None, reply), Ended(14.6), Tick(14.7))
    assert actions[0] == Mark("answer", "q-1")
    assert [type(one) for one in actions[1:]] == [Say]


def test_an_unclear_answer_is_asked_back_as_it_was_heard_and_a_yes_then_settles_it() -> None:
    reply = Reply("value", candidate("9.5"), clear=False)
    back = Asked("co2 9.5, right?", "yes", (candidate("9.5"), candidate()), ASKED.question)
    talk, actions = run(said(), Heard(13.0, 14.0, None, reply, back), Ended(14.6), Tick(14.7))
    say = actions[1]
    assert isinstance(say, Say)
    assert say.text == back.text
    talk, _ = run(talk, Playing(17.0), Played(17.0, say, True))
    assert answers(talk, 18.0, "yes") == [Mark("answer", "q-1"), Settle(back, candidate("9.5"))]
    faint = replace(reply, faint=True)  # the noise that made 9.5 of it once makes it of it twice
    assert not any(isinstance(one, Settle) for one in answers(talk, 18.0, None, faint))
    offered = replace(faint, candidate=candidate())
    assert answers(said(), 13.0, None, offered) == [Mark("answer", "q-1"), Settle(ASKED, candidate())]
    asked_back = answers(talk, 18.0, None, reply)  # "not nine point five", "nine point five or six"
    assert not any(isinstance(one, Settle) for one in asked_back)


@pytest.mark.parametrize("wants", ["yes", "value"])
def test_an_unclear_number_never_confirms_what_was_asked(wants: Literal["yes", "value"]) -> None:
    for reply in (Reply("unclear", candidate(), clear=False), Reply("value", candidate(), clear=False)):
        _, actions = run(said(question(candidate(), wants=wants)), Heard(13.0, 14.0, None, reply), Tick(14.7))
        assert [type(one) for one in actions] == [Mark, Say]  # asked again


def test_a_choice_that_begins_with_a_no_is_asked_back() -> None:
    asked = question(candidate(), candidate("9.3", quantity="o2"), wants="choice")
    for n in (0, 1):
        reply = Reply("choice", asked.candidates[n], clear=True, denies=True)
        _, actions = run(said(asked), Heard(13.0, 14.0, None, reply, asked), Tick(14.7))
        assert [type(one) for one in actions] == [Mark, Say]


def test_a_yes_to_an_appliance_that_was_offered_settles_it_and_says_where_the_work_is() -> None:
    one, two = (candidate().model_copy(update={"appliance": tag}) for tag in ("1", "2"))
    asked = question(one, two, wants="choice")
    _, actions = run(said(asked), Heard(13.0, 14.0, None, Reply("choice", two, clear=False), OFFER), Tick(14.7))
    assert [one for one in actions if not isinstance(one, Say)] == [Mark("answer", "q-1")]
    assert saying(actions).about == OFFER
    offered = question(two, one)
    offered = replace(offered, wants="offer")
    assert answers(said(offered), 13.0, "yes") == [Mark("answer", "q-1", appliance="2"), Settle(offered, two)]
    clear = Reply("choice", one, clear=True)
    assert answers(said(asked), 13.0, None, clear) == [Mark("answer", "q-1", appliance="1"), Settle(asked, one)]


def test_no_and_then_the_same_value_is_not_taken() -> None:
    reply = Reply("value", candidate("9.3"), clear=True, denies=True)
    assert not [one for one in answers(said(), 13.0, None, reply) if isinstance(one, Settle)]


def test_an_unclear_answer_is_asked_at_most_so_often_then_put_off() -> None:
    talk, reply = said(), Reply("value", candidate("9.5"), clear=False)
    for n in range(10):
        talk, actions = run(talk, Heard(13.0 + n, 13.5 + n, None, reply))
        if Show("skipped") in actions:
            break
    assert n < 5
    assert talk.asked is None


def test_an_answer_asked_back_about_another_slot_than_the_open_question_is_put_off_too() -> None:
    talk, reply = said(), Reply("value", candidate("9.5"), clear=False)
    still = News(questions=(question(candidate(quantity="o2")),))
    for n in range(10):
        talk, actions = run(talk, Heard(13.0 + n, 13.5 + n, None, reply), Changed(13.0 + n, 13.5 + n, still))
        if Show("skipped") in actions:
            break
    assert n < 5


def test_a_value_long_after_the_question_is_a_reading_like_any_other() -> None:
    reply = Reply("value", candidate("9.5"), clear=True)
    assert answers(said(), 12.0 + 13, None, reply) == []


def test_who_interrupts_a_question_at_its_beginning_does_not_answer_it() -> None:
    talk, actions = run(Talk(), Changed(8, 9, News(questions=(ASKED,), new=frozenset({"r1"}))), Tick(10.0))
    talk, _ = run(talk, Playing(13.0), Began(10.4), Played(10.4, saying(actions), False))
    assert answers(talk, 10.3, None, Reply("value", candidate("9.5"), clear=True)) == []


# -- commands ----------------------------------------------------------------------------------------------------------


def test_take_that_back_means_what_was_just_taken_and_nothing_else() -> None:
    talk, _ = run(Talk(), Heard(9.0, 10.0), Ended(10.6), Changed(9.0, 10.0, News(taken=("r1", "r2"))))
    _, actions = run(talk, Began(12.1), Ended(13.5), Heard(12.0, 12.8, "take_back"))
    assert actions == [Mark("command"), TakeBack(("r2",))]
    later, _ = run(talk, Heard(12.0, 13.0), Ended(13.6), Changed(12.0, 13.0, News()))  # talk came between
    still = [Mark("stray"), Show("stands_still")]
    assert run(later, Heard(14.0, 14.8, "take_back"))[1] == still
    assert run(talk, Heard(25.0, 25.8, "take_back"))[1] == still
    again, _ = run(talk, Heard(12.0, 12.8, "take_back"))
    assert run(again, Heard(14.0, 14.8, "take_back"))[1] == [Mark("stray"), Show("nothing_to_take_back")]


def test_say_again_says_the_last_thing_again_and_its_question_binds_anew() -> None:
    talk, actions = run(said(), Heard(20.0, 20.5, "say_again"), Ended(21.0), Tick(21.1))
    assert [type(one) for one in actions] == [Mark, Say]
    talk, _ = run(talk, Playing(23.0), Played(23.0, saying(actions), True))
    assert answers(talk, 24.0, "yes") == [Mark("answer", "q-1"), Settle(ASKED, candidate())]


def test_skip_puts_a_question_off_until_its_place_is_left() -> None:
    talk, actions = run(said(), Heard(13.0, 13.5, "skip"))
    assert actions == [Mark("command", "q-1"), Show("skipped")]
    news = News(questions=(ASKED,), new=frozenset({"r1"}))
    talk, actions = run(talk, Changed(20, 21, news), Tick(30.0))
    assert not [one for one in actions if isinstance(one, Say)]
    left = replace(news, left=Leaving((ASKED,), "", None))
    _, actions = run(talk, Changed(40, 41, left), Tick(50.0))
    assert [one.about for one in actions if isinstance(one, Say)] == [ASKED]


def test_take_that_back_while_something_is_asked_means_what_is_asked_about() -> None:
    news = News(taken=("r0",), questions=(RESERVED,), new=frozenset({"r1"}))
    talk, actions = run(Talk(), Heard(8, 9), Changed(8, 9, news), Tick(10.0), Playing(12.0))
    talk, _ = run(talk, Played(12.0, saying(actions), True))
    assert answers(talk, 13.0, "take_back") == [Mark("command"), TakeBack(("r1",))]
    late, actions = run(talk, Heard(18.0, 18.5, "take_back"), Ended(19.0), Tick(19.1))
    assert [type(one) for one in actions] == [Mark, Say]  # too late to bind: it is asked again
    assert late.asked == RESERVED


def test_take_that_back_after_a_question_about_two_readings_takes_neither_and_asks() -> None:
    both = question(candidate(), candidate("4.4", "r2", "o2"), wants="choice")
    assert answers(said(both), 13.0, "take_back") == [Mark("command"), Show("what_is_it")]


@pytest.mark.parametrize("command", ["what_taken", "what_missing", "there"])
def test_requests_are_answered(command: Literal["what_taken", "what_missing", "there"]) -> None:
    assert answers(Talk(), 5.0, command) == [Mark("command"), Show(command)]


def test_what_is_missing_of_the_visit_is_told_behind_the_last_row_before_the_technician_leaves() -> None:
    assert answers(Talk(), 5.0, "finished") == [Mark("command"), Show("what_taken"), Show("all_missing")]


def test_that_the_work_is_at_no_appliance_of_the_job_is_said_once_until_it_is_back() -> None:
    away, back = News(new=frozenset({"r1"}), number=True, elsewhere="Not in this job."), News(taken=("r2",))
    talk, words = Talk(), []
    for n, news in enumerate((away, away, back, away)):
        talk, actions = run(talk, Changed(20.0 * n, 20.0 * n + 2, news), Tick(20.0 * n + 10))
        words.append([one.text for one in actions if isinstance(one, Say)])
        if talk.saying is not None:
            talk, _ = run(talk, Played(20.0 * n + 12, talk.saying, True))
    assert words == [["Not in this job."], [], [], ["Not in this job."]]


def test_a_note_is_kept() -> None:
    assert run(Talk(), Heard(1, 2, note="valve cover cracked"))[1] == [
        Mark("note", note="valve cover cracked"),
        Note("valve cover cracked"),
        Show("noted"),
    ]


def test_hold_keeps_questions_back_and_carry_on_lets_them_out() -> None:
    talk, _ = run(Talk(), Heard(1, 1.5, "hold"))
    talk, actions = run(talk, Changed(5, 6, News(questions=(ASKED,), new=frozenset({"r1"}))), Tick(20.0))
    assert actions == []
    _, actions = run(talk, Heard(21, 21.5, "carry_on"), Tick(22.0))
    assert actions[0] == Mark("command")
    assert isinstance(actions[-1], Say)


def test_a_question_that_was_not_answered_before_a_hold_is_asked_again_behind_it() -> None:
    open_still = Changed(13.0, 13.5, News(questions=(ASKED,)))
    talk, actions = run(said(), Heard(13.0, 13.5, "hold"), open_still, Tick(20.0))
    assert actions == [Mark("command"), Show("held")]
    _, actions = run(talk, Heard(31.0, 31.5, "carry_on"), Tick(32.0))
    assert saying(actions).about == ASKED
    answered, _ = run(talk, Heard(15.0, 15.5, None, Reply("value", candidate(), clear=True)), Changed(15, 15.5, News()))
    _, actions = run(answered, Heard(31.0, 31.5, "carry_on"), Tick(32.0))
    assert not [one for one in actions if isinstance(one, Say)]


# -- when to speak -----------------------------------------------------------------------------------------------------


def test_a_value_that_is_taken_sounds_at_once_and_a_number_that_is_not_sounds_otherwise() -> None:
    assert run(Talk(), Changed(1, 2, News(taken=("r1",), number=True)))[1] == [Play("taken")]
    assert run(Talk(), Changed(1, 2, News(number=True)))[1] == [Play("nothing kept")]
    assert run(Talk(), Changed(1, 2, News()))[1] == []


def test_nothing_is_said_while_somebody_speaks() -> None:
    news = News(questions=(ASKED,), new=frozenset({"r1"}))
    talk, actions = run(Talk(), Changed(1, 2, news), Began(2.5), Tick(3.0), Tick(9.0))
    assert actions == []
    assert isinstance(run(talk, Ended(10.0), Tick(10.1))[1][0], Say)


def test_a_question_waits_until_a_count_of_readings_is_over() -> None:
    news = News(questions=(ASKED,), new=frozenset({"r1"}))
    talk, actions = run(Talk(), Changed(8, 9, News(taken=("r0",))), Changed(11, 12, news), Tick(12.7), Tick(14.4))
    assert actions == [Play("taken")]
    assert isinstance(run(talk, Tick(14.6))[1][0], Say)


def test_whoever_speaks_interrupts_the_tool_and_the_question_comes_again() -> None:
    talk, actions = run(Talk(), Changed(8, 9, News(questions=(ASKED,), new=frozenset({"r1"}))), Tick(10.0))
    assert isinstance(actions[-1], Say)
    talk, hush = run(talk, Playing(13.0), Began(10.5))
    assert hush == [Hush()]
    talk, _ = run(talk, Played(10.5, saying(actions), False), Ended(12.0))
    _, actions = run(talk, Tick(30.0))
    assert [one.about for one in actions if isinstance(one, Say)] == [ASKED]


def test_a_question_is_said_twice_at_most_while_the_work_stays_there() -> None:
    talk, count = Talk(), 0
    news = News(questions=(ASKED,), new=frozenset({"r1"}))
    for n in range(8):
        talk, actions = run(talk, Changed(100 * n, 100 * n + 1, news), Tick(100 * n + 50))
        for one in [one for one in actions if isinstance(one, Say)]:
            count += 1
            talk, _ = run(talk, Played(100 * n + 52, one, True))
    assert count == 2


def test_before_a_place_is_left_its_questions_come_then_what_is_missing_then_the_row() -> None:
    row = Asked("high fire: C O two nine point three.", "value", (candidate(),))
    left = Leaving((ASKED,), "Missing, high fire: O two.", row)
    talk, order = Talk(), []
    talk, _ = run(talk, Changed(1, 2, News(questions=(ASKED,), left=left)))
    for n in range(10, 60):
        talk, actions = run(talk, Tick(float(n)))
        for one in [one for one in actions if isinstance(one, Say)]:
            order.append(one.text)
            talk, _ = run(talk, Played(n + 0.5, one, True))
    assert order == [ASKED.text, left.missing, row.text]


def test_a_slot_that_stays_open_is_asked_twice_whatever_is_heard_for_it_and_anew_once_it_was_settled() -> None:
    talk, count = Talk(), 0
    for n in range(6):
        asked = question(candidate(reading=f"r{n}"), name=f"q-{n}")
        news = News(questions=(asked,), new=frozenset({f"r{n}"}))
        talk, actions = run(talk, Changed(100 * n, 100 * n + 1, news), Tick(100 * n + 50))
        for one in [one for one in actions if isinstance(one, Say)]:
            count += 1
            talk, _ = run(talk, Played(100 * n + 52, one, True))
    assert count == 2
    talk, _ = run(talk, Changed(700, 701, News()))
    talk, actions = run(talk, Changed(800, 801, News(questions=(ASKED,), new=frozenset({"r1"}))), Tick(850))
    assert [one.about for one in actions if isinstance(one, Say)] == [ASKED]


def test_silence_confirms_nothing() -> None:
    talk, actions = said(), []
    for n in range(13, 80):
        talk, done = run(talk, Tick(float(n)))
        actions += done
    assert not [one for one in actions if isinstance(one, Settle | Edit)]
    assert talk.asked is None


def test_a_question_that_is_settled_otherwise_is_not_asked() -> None:
    talk, _ = run(Talk(), Changed(1, 2, News(questions=(ASKED,), new=frozenset({"r1"}))), Changed(3, 4, News()))
    assert run(talk, Tick(20.0))[1] == []


# -- values said back --------------------------------------------------------------------------------------------------


def test_a_value_said_back_can_be_corrected_by_saying_it() -> None:
    back = Asked("C O, high fire, seventy-six.", "value", (candidate("76", quantity="co"),))
    talk, actions = run(Talk(), Changed(8, 9, News(taken=("r1",), said_back=(back,))), Tick(10.0))
    assert isinstance(actions[-1], Say)
    talk, _ = run(talk, Playing(12.0), Played(12.0, saying(actions), True))
    other = Reply("value", candidate("66", quantity="co"), clear=True)
    assert answers(talk, 13.0, None, replace(other, denies=True)) == [Mark("answer"), Edit(other.candidate)]
    assert answers(talk, 13.0, "yes") == [Mark("command"), Play("taken")]  # heard; it stands anyway
    assert answers(talk, 17.0, "yes") == [Mark("stray")]
    same = Reply("value", back.candidates[0], clear=True)
    assert answers(talk, 13.0, None, same) == [Mark("answer"), Play("taken")]


def test_another_value_without_a_no_is_asked_and_then_taken_and_what_stands_stays_till_then() -> None:
    given = Reply("value", candidate("66", quantity="co"), clear=True)
    either = Asked(
        "C O, high fire: seventy-six, or sixty-six?", "value", (candidate("76", quantity="co"), given.candidate)
    )
    talk, actions = run(said_back(), Heard(13.0, 13.9, None, given, either), Ended(14.5), Tick(14.6))
    assert [type(one) for one in actions] == [Mark, Say]
    assert saying(actions).about == either
    talk, _ = run(talk, Playing(17.0), Played(17.0, saying(actions), True))
    assert answers(talk, 18.0, None, given) == [Mark("answer"), Edit(given.candidate)]
    same = Reply("value", either.candidates[0], clear=True)
    assert answers(talk, 18.0, None, same) == [Mark("answer"), Play("taken")]


def test_a_no_with_the_value_that_took_anothers_place_may_deny_either_and_takes_nothing_out() -> None:
    now, before = candidate("66", quantity="co"), candidate("76", quantity="co")
    told = Asked("C O, high fire, sixty-six. It was seventy-six.", "value", (now,), was=before)
    talk, actions = run(Talk(), Changed(8, 9, News(replaced=(told,))), Tick(10.0), Playing(12.0))
    talk, _ = run(talk, Played(12.0, saying(actions), True))
    either = Asked("C O, high fire: sixty-six, or seventy-six?", "value", (now, before))
    reply = Reply("value", now, clear=False, denies=True)  # "no, CO was sixty-six"
    _, actions = run(talk, Heard(13.0, 13.9, None, reply, either), Ended(14.5), Tick(14.6))
    assert [type(one) for one in actions] == [Mark, Say]
    assert saying(actions).about == either


def test_a_yes_to_a_denied_value_asked_back_gives_it() -> None:
    reply = Reply("value", candidate("4.1"), clear=False, denies=True)
    back = Asked("co2 4.1, right?", "yes", (candidate("4.1"), candidate()))
    talk, actions = run(
        Talk(), Changed(8, 9, News(said_back=(Asked("co2 9.3.", "value", (candidate(),)),))), Tick(10.0)
    )
    talk, _ = run(talk, Playing(12.0), Played(12.0, saying(actions), True))
    talk, actions = run(talk, Heard(13.0, 13.9, None, reply, back), Ended(14.5), Tick(14.6))
    assert actions[:2] == [Mark("answer"), TakeBack(("r1",))]
    talk, _ = run(talk, Playing(17.0), Played(17.0, saying(actions), True))
    talk, actions = run(talk, Heard(18.0, 18.5, "yes"))
    assert actions == [Mark("answer"), Edit(candidate("4.1"))]
    assert talk.denied == frozenset()


def said_back() -> Talk:
    back = Asked("C O, high fire, seventy-six.", "value", (candidate("76", quantity="co"),))
    talk, actions = run(Talk(), Changed(8, 9, News(taken=("r1",), said_back=(back,))), Tick(10.0), Playing(12.0))
    return run(talk, Played(12.0, saying(actions), True))[0]


def interrupted() -> Talk:
    """A talk in which somebody goes on reading while a value is said back."""
    talk, actions = run(Talk(), Changed(8, 9, News(taken=("r1",), said_back=(BACK,))), Tick(10.0), Playing(12.0))
    return run(talk, Began(10.6), Played(10.6, saying(actions), False), Ended(12.0))[0]


BACK = Asked("C O, high fire, seventy-six.", "value", (candidate("76", quantity="co"),))


def test_a_value_said_back_into_a_count_is_said_once_more_when_the_count_is_over() -> None:
    talk, actions = run(interrupted(), Changed(10.5, 11.5, News(taken=("r2",))), Tick(13.0))
    assert actions == [Play("taken")]
    talk, actions = run(talk, Tick(15.0))
    assert saying(actions).about == BACK
    talk, _ = run(talk, Playing(17.0), Played(17.0, saying(actions), True))
    assert not [one for one in run(talk, Tick(30.0))[1] if isinstance(one, Say)]


def test_a_value_is_not_said_once_more_where_its_answer_came_while_it_was_said() -> None:
    same, other = (Reply("value", candidate(value, quantity="co"), clear=True) for value in ("76", "66"))
    for reply in (same, replace(other, denies=True)):
        talk, _ = run(interrupted(), Heard(11.1, 11.9, None, reply))
        assert not [one for one in run(talk, Tick(20.0))[1] if isinstance(one, Say)]
    both = question(candidate("76", quantity="co"), candidate("66", "r2", "co"), wants="value")
    talk, _ = run(interrupted(), Changed(10.5, 11.5, News(questions=(both,), new=frozenset({"r1", "r2"}))))
    assert [one.about for one in talk.waiting] == [both]
    talk, _ = run(interrupted(), Heard(10.7, 11.0, "no", over=True))
    assert [(one.about, one.priority) for one in talk.waiting] == [(BACK, 1)]


def test_a_value_said_back_and_denied_stands_no_longer_and_is_asked_for() -> None:
    talk, actions = run(said_back(), Heard(13.0, 13.4, "no"))
    assert actions == [Mark("command"), TakeBack(("r1",)), Show("what_is_it")]
    assert answers(talk, 14.0, "no") == [Mark("command"), Show("what_is_it")]  # it is gone already
    # Even the same value is written anew: nothing stands.
    same = Reply("value", candidate("76", quantity="co"), clear=True)
    assert answers(talk, 15.0, None, same) == [Mark("answer"), Edit(same.candidate)]


@pytest.mark.parametrize("value", ["76", "66"])
def test_a_no_with_a_value_that_is_not_clear_takes_out_what_was_said_back(value: str) -> None:
    """Heard with the same value, it was misheard twice; heard with another, it is asked back. Neither may stand."""
    reply = Reply("value", candidate(value, quantity="co"), clear=value == "76", denies=True)
    back = Asked(f"C O, high fire, {value}? Say the value.", "value", (reply.candidate,))
    _, actions = run(said_back(), Heard(13.0, 13.9, None, reply, back), Ended(14.5), Tick(14.6))
    assert actions[:2] == [Mark("answer"), TakeBack(("r1",))]
    assert actions[2] == Show("what_is_it") if value == "76" else isinstance(actions[2], Say)


def test_a_no_too_late_for_a_value_said_back_has_it_said_again_and_a_no_then_counts() -> None:
    talk, actions = run(said_back(), Heard(17.0, 17.4, "no"), Ended(18.0), Tick(18.1))
    assert [type(one) for one in actions] == [Mark, Say]
    talk, _ = run(talk, Playing(20.0), Played(20.0, saying(actions), True))
    assert TakeBack(("r1",)) in answers(talk, 21.0, "no")


def test_what_was_replaced_or_taken_back_is_said() -> None:
    news = News(gone=("Taken back: C O two, nine point three.",))
    _, actions = run(Talk(), Changed(1, 2, news), Tick(3.0))
    assert [one.text for one in actions if isinstance(one, Say)] == list(news.gone)


def test_what_waits_to_be_said_of_a_value_that_was_corrected_is_said_as_it_is_now_or_not_at_all() -> None:
    back = Say("C O, high fire, seventy-six.", 2, Asked("", "value", (candidate("76", quantity="co"),)))
    row = Say("high fire: C O seventy-six.", 4, Asked("", "value", (candidate("76", quantity="co"),)), row=True)
    now = replace(row, text="high fire: C O sixty-six.")
    talk = Talk(waiting=(back, row), last_said=back, asked=back.about)
    new, _ = run(talk, Changed(8, 9, News(renewed=((back, None), (row, now)))))
    assert (new.waiting, new.last_said, new.asked) == ((now,), None, None)
    denied = replace(talk, denied=frozenset({"r1"}))
    assert run(denied, Changed(8, 9, News(renewed=((back, None),))))[0].waiting == (back, row)
    assert run(denied, Changed(8, 9, News(renewed=((row, now),))))[0].waiting == (back, now)


# -- limits that were quoted -------------------------------------------------------------------------------------------


def quoted(wants: Literal["yes", "value"] = "yes") -> Talk:
    limit = Asked("Limit, C O two, eight to nine, right?", wants, (candidate("9", reading="k1"),), limit="k1")
    talk, actions = run(Talk(), Changed(8, 9, News(limits=((limit, frozenset()),), number=True)), Tick(10.0))
    assert saying(actions).tone == "question"
    return run(talk, Playing(12.0), Played(12.0, saying(actions), True))[0]


def test_a_limit_binds_by_a_yes_to_its_read_back_and_by_nothing_later() -> None:
    assert answers(quoted(), 13.0, "yes") == [Mark("command"), Agree(("k1",), True), Play("taken")]
    assert answers(quoted(), 13.0, "no") == [Mark("command"), Agree(("k1",), False), Show("limit_refused")]
    assert answers(quoted(), 17.0, "yes") == [Mark("stray")]
    assert answers(quoted(), 17.0, "no") == [Mark("stray")]
    assert answers(quoted(), 13.0, "there") == [Mark("command"), Show("there")]


def test_a_limit_nobody_answers_is_read_back_twice_at_most() -> None:
    limit = Asked("Limit, C O two, eight to nine, right?", "yes", (), limit="k1")
    talk, actions = run(Talk(), Changed(8, 9, News(limits=((limit, frozenset()),), number=True)))
    count = 0
    for n in range(10, 100):
        talk, actions = run(talk, Tick(float(n)), Changed(n + 0.1, n + 0.2, News()))
        for one in [one for one in actions if isinstance(one, Say)]:
            count += 1
            talk, _ = run(talk, Began(n + 0.5), Played(n + 0.5, one, False), Ended(n + 0.8))
    assert count == 2


def test_a_limit_of_co_binds_only_when_it_is_said_again() -> None:
    again, actions = run(quoted("value"), Heard(13.0, 13.4, "yes"), Ended(14.0), Tick(14.1))
    assert [type(one) for one in actions] == [Mark, Say]
    again, _ = run(again, Playing(16.0), Played(16.0, saying(actions), True))
    bound = candidate("40", reading="k1", quantity="co")
    assert answers(again, 17.0, None, Reply("value", bound, clear=True)) == [
        Mark("answer"),
        Agree(("k1",), True),
        Play("taken"),
    ]
    _, actions = run(again, Heard(17.0, 17.9, None, Reply("value", bound, clear=False, denies=True)), Tick(18.6))
    assert [type(one) for one in actions] == [Mark, Say]
    assert saying(actions).about == again.asked
    same = Asked("Limit, C O, at most forty? Say the limit again.", "value", (), limit="k2")
    event = Changed(17.0, 18.0, News(limits=((same, frozenset({"k1"})),), number=True))
    assert run(again, event)[1] == [Agree(("k1", "k2"), True), Play("taken")]
    other = replace(event, news=News(limits=((same, frozenset()),), number=True))
    assert [one for one in run(again, other, Tick(30.0))[1] if isinstance(one, Agree)] == []
