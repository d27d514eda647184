"""What stops the work, said aloud: caught in any wording, not where it is denied, asked, told or supposed.

The wordings are ours; how many of many are caught is what ``python -m bench.stops`` measures.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from functools import cache

import pytest

from extract import Grammar, Setting, compile_sheet, start, step
from extract.alarms import Alarms, compile_alarms
from schemas.evidence import Hypothesis, MadeBy, Utterance, Word
from schemas.load import load_sheet
from schemas.readings import Alarm

BY = MadeBy(reader="typed", version="1")


@cache
def alarms(sheet: str = "gas-boiler-start-up") -> Alarms:
    return compile_alarms(load_sheet(sheet)[0])


@cache
def grammar() -> Grammar:
    return compile_sheet(load_sheet("gas-boiler-start-up")[0])


def said(text: str) -> list[str]:
    return [one.stop for one in alarms().heard(text)]


def utterance(
    *texts: tuple[str, float],
    second: str | None = None,
    words: tuple[Word, ...] = (),
    perhaps: Sequence[dict[str, float]] = (),
) -> Utterance:
    hypotheses = tuple(
        Hypothesis(text=text, mass=mass, words=words if n == 0 else ()) for n, (text, mass) in enumerate(texts)
    )
    listened = tuple(tuple(Hypothesis(text=text, mass=mass) for text, mass in one.items()) for one in perhaps)
    return Utterance(
        evidence="a" * 64, number=3, start=10.0, end=14.0, hypotheses=hypotheses, second_opinion=second,
        perhaps=listened, made_by=BY,
    )  # fmt: skip


def alarms_of(one: Utterance) -> list[Alarm]:
    _, operations = step(one, one.start, start(Setting(units="us")), grammar())
    return [operation for operation in operations if isinstance(operation, Alarm)]


@pytest.mark.parametrize(
    ("text", "stop"),
    [
        ("I can smell gas in here.", "gas_smell"),
        ("it stinks of gas behind the boiler", "gas_smell"),
        ("That's a gassy smell.", "gas_smell"),
        ("Strong odour of gas at the meter", "gas_smell"),
        ("My CO monitor's going off.", "alarm_sounding"),
        ("The detector has gone into alarm", "alarm_sounding"),
        ("I'm feeling a bit light-headed.", "someone_unwell"),
        ("The customer has got a headache", "someone_unwell"),
        ("I don't feel well", "someone_unwell"),
        ("It lit with a bang.", "late_ignition"),
        ("There was a loud thump when she fired", "late_ignition"),
        ("Flames came right out of the front", "roll_out"),
        ("The analyser won't zero.", "zero_check_failed"),
        ("It's dropped two millibar on the tightness test", "tightness_drop"),
        ("Leak test failed", "gas_leak"),
        ("We've got bubbles on the union", "gas_leak"),
        ("The sniffer's screaming at the tee.", "gas_leak"),
        ("My clip-on's going off", "alarm_sounding"),
        ("It locked out three times on ignition.", "repeated_lockout"),
        ("It keeps locking out.", "repeated_lockout"),
    ],
)
def test_a_stop_is_heard(text: str, stop: str) -> None:
    assert stop in said(text)


@pytest.mark.parametrize(
    "text",
    [
        "No smell of gas.",  # denied
        "Nobody here is feeling ill",
        "I can't smell any gas",
        "The alarm is not going off",
        "Gas smell: none.",
        "Gas smell? No.",
        "no bangs, pops or late ignition",
        "Did you smell gas?",  # asked
        "dave can you smell gas at all",
        "Any gas smell",
        "Last winter they had a bang on lighting.",  # another time
        "They smelled gas here a month ago",
        "They could smell gas at the last house",  # another place
        "If you smell gas, call the number on the card.",  # supposed
        "it'll light with a bang if you do that",
        "Checked for a gas smell, nothing",
        "I thought it smelled of gas but it was the paint",
        "gas leak test done",  # looks like it
        "Bang the panel on.",
        "CO2's bang on nine",
        "Flame went out.",
        "The rollout switch is closed",
        "I'm sick of this screw",
        "This wiring is giving me a headache",
        "Tested the CO alarm, it's sounding, good.",
        "Flame failure test, it locked out twice, good.",
        "It locked out as it should.",
    ],
)
def test_what_only_looks_like_a_stop_is_none(text: str) -> None:
    assert said(text) == []


@pytest.mark.parametrize(
    "text",
    [
        "No, I can smell gas.",
        "no i can smell gas",
        "Not sure, but I smell gas",
        "No doubt about it, that's a smell of gas",
        "I don't know why it smells of gas in here",
        "Why can I smell gas?",
        "Can anybody else smell gas?",
        "Is that gas I can smell?",
        "I don't like this, it smells of gas",
        "It smells of gas, like it did last winter, and it's in here now",
        "There was no smell of gas upstairs but I can smell gas down here",
        "I can't work in here it smells of gas",
    ],
)
def test_what_only_looks_like_a_denial_is_a_stop(text: str) -> None:
    assert said(text) == ["gas_smell"]


@pytest.mark.parametrize(
    "text",
    [
        "I can't smell gas, wait I can",
        "No smell of gas. Hang on, yes there is.",
        "I can't smell any gas in here... actually, yes, I can",
        "Can you smell gas? Oh, I can.",
        "I can't smell gas but he can",
        "No gas smell. Hold on. Yes.",
    ],
)
def test_a_denial_that_is_turned_round_is_a_stop(text: str) -> None:
    assert said(text) == ["gas_smell"]


@pytest.mark.parametrize(
    "text",
    [
        "No gas smell. Wait, I can see the flame",
        "No smell of gas, yes, confirmed.",
        "No gas smell, but there is a bit of condensate",
        "No gas smell. Now it is time for low fire",
        "No smell of gas, the pilot's not lit, wait, it is",
    ],
)
def test_what_goes_on_after_a_denial_does_not_turn_it_round(text: str) -> None:
    assert said(text) == []


@pytest.mark.parametrize(
    ("first", "then", "after", "stops"),
    [
        ("No smell of gas.", "Wait, there is.", 4.0, ["gas_smell"]),
        ("The alarm isn't going off.", "Oh, it is now.", 4.0, ["alarm_sounding"]),
        ("No smell of gas.", "Wait, there is.", 60.0, []),  # of something else by then
        ("No smell of gas.", "Wait, it is nine point three.", 4.0, []),
        ("Flame is steady.", "Wait, it is.", 4.0, []),
    ],
)
def test_a_denial_is_turned_round_by_what_is_said_next(first: str, then: str, after: float, stops: list[str]) -> None:
    context, _ = step(utterance((first, 1.0)), 0.0, start(Setting(units="us")), grammar())
    _, operations = step(utterance((then, 1.0)), after, context, grammar())
    assert [op.stop for op in operations if isinstance(op, Alarm)] == stops


def test_the_source_is_the_stretch_of_speech() -> None:
    words = tuple(
        Word(text=w, start=10 + 0.3 * n, end=10.3 + 0.3 * n)
        for n, w in enumerate(("okay", "hold", "on", "I", "can", "smell", "gas", "in", "here"))
    )
    (alarm,) = alarms_of(utterance(("okay hold on I can smell gas in here", 1.0), words=words))
    assert (alarm.stop, alarm.source.heard, alarm.source.span) == ("gas_smell", "smell gas", (19, 28))
    assert (alarm.source.start, alarm.source.end) == pytest.approx((11.5, 12.1))
    assert alarm.source.utterance == 3


def test_the_worst_of_what_may_have_been_said_counts() -> None:
    (alarm,) = alarms_of(utterance(("I can spell gas", 0.9), ("I can smell gas", 0.1)))
    assert (alarm.stop, alarm.source.span, alarm.source.heard) == ("gas_smell", None, "smell gas")
    assert alarms_of(utterance(("I can spell gas", 0.98), ("I can smell gas", 0.02))) == []
    assert [a.stop for a in alarms_of(utterance(("I can spell gas", 1.0), second="I can smell gas"))] == ["gas_smell"]


@pytest.mark.parametrize(
    ("one", "sure"),
    [
        (utterance(("I can smell gas", 1.0)), True),
        (utterance(("I can smell gas", 0.6), ("I can spell gas", 0.4), second="I can spell gas"), True),
        (utterance(("I can spell gas", 0.9), second="I can smell gas"), True),
        (utterance(("I can smell gas", 0.9), second="I can't smell gas"), False),
        (utterance(("I can't smell gas", 0.9), second="I can smell gas"), False),
        (utterance(("I can spell gas", 0.9), ("I can smell gas", 0.1)), False),
    ],
)
def test_a_stop_is_sure_where_it_was_heard_best_and_not_denied(one: Utterance, sure: bool) -> None:
    assert [(alarm.stop, alarm.sure) for alarm in alarms_of(one)] == [("gas_smell", sure)]


def test_a_denial_that_was_heard_twice_outweighs_a_faint_stop() -> None:
    no, yes = "Gas leak test done, no leaks.", "Gas leak test done, gas leak."
    assert alarms_of(utterance((no, 0.95), (yes, 0.05), second=no)) == []
    assert [one.sure for one in alarms_of(utterance((no, 0.7), (yes, 0.3), second=no))] == [False]
    assert [one.sure for one in alarms_of(utterance((no, 0.95), (yes, 0.05), second="Gas leak"))] == [False]


def test_what_is_heard_only_by_listening_for_it_is_never_sure() -> None:
    said = ("the three sump cas in here", 0.6)
    listened = {"It reeks of gas in here!": 0.5, "The three some cast in here": 0.5}
    (alarm,) = alarms_of(utterance(said, perhaps=[{"The thirst": 1.0}, listened]))
    assert (alarm.stop, alarm.sure, alarm.source.heard) == ("gas_smell", False, "It reeks of gas in here!")
    assert (alarm.source.start, alarm.source.end, alarm.source.span) == (10.0, 14.0, None)
    little = {"It reeks of gas in here!": 0.1, "The three some cast in here": 0.9}
    assert alarms_of(utterance(said, perhaps=[little, little, little])) == []  # the passes do not add up


def test_what_is_heard_by_listening_for_it_gives_way_to_what_was_heard() -> None:
    listened = [{"I smell gas": 1.0}]
    (sure,) = alarms_of(utterance(("I smell gas", 1.0), perhaps=listened))
    assert sure.sure
    assert alarms_of(utterance(("I don't smell gas", 1.0), perhaps=listened)) == []
    assert alarms_of(utterance(("High fire", 1.0), second="Does it smell of gas?", perhaps=listened)) == []
    other = [{"The alarm is going off": 1.0}]
    (alarm,) = alarms_of(utterance(("I don't smell gas", 1.0), perhaps=other))
    assert alarm.stop == "alarm_sounding"


@pytest.mark.parametrize(
    ("text", "stops"),
    [
        ("I can't smell gas", {"gas_smell"}),
        ("Did the alarm go off?", {"alarm_sounding"}),
        ("I smell gas", set()),
        ("No smell of gas. I smell gas!", set()),
        ("High fire, nine point two", set()),
    ],
)
def test_what_is_said_not_to_be_so_is_known(text: str, stops: set[str]) -> None:
    assert alarms().not_so(text) == stops


@pytest.mark.parametrize(
    ("text", "stop"),
    [("It lit with a band.", "late_ignition"), ("the C O a lot of it's sounding", "alarm_sounding")],
)
def test_what_recognisers_write_instead_counts(text: str, stop: str) -> None:
    # both were heard of "it lit with a bang" and "the CO alarm is sounding" in a burner's noise (sounds_like)
    assert stop in said(text)


def test_each_stop_is_told_once_an_utterance_and_numbers_are_still_read() -> None:
    one = utterance(("Smell of gas! I smell gas. Ambient CO forty parts per million.", 1.0))
    context, operations = step(one, one.start, start(Setting(units="us")), grammar())
    assert [operation.op for operation in operations] == ["alarm", "record"]
    assert [r.value for r in context.readings.values()] == ["40"]


def test_another_sheet_has_its_own_stops() -> None:
    assert [one.stop for one in alarms("hydronic-balancing").heard("I scalded myself, and I smell gas")] == [
        "someone_scalded"
    ]


def test_it_takes_no_time() -> None:
    # 0.1 ms an utterance is the aim, on talk; three times that leaves room for a busy machine.
    texts = [
        "High fire, CO2 nine point two, O2 four point four, CO eighty-eight parts.",
        "Just letting it settle for a minute before I touch the throttle again.",
        "It lit first time, nice and smooth, no bang.",
        "Leak check on the union, no bubbles.",
    ]
    for text in texts:
        alarms().heard(text)
    begun = time.process_time()
    for _ in range(100):
        for text in texts:
            alarms().heard(text)
    assert (time.process_time() - begun) / 400 < 0.0003


@pytest.mark.parametrize(
    ("text", "stop"),
    [
        ("My nose says gas.", "gas_smell"),
        ("It's a bit gassy in here.", "gas_smell"),
        ("This analyser will not zero.", "zero_check_failed"),
        ("Kicked back when it lit.", "late_ignition"),
        ("I need to sit down, I feel awful.", "someone_unwell"),
        ("It dropped 3 millibar in two minutes.", "tightness_drop"),
    ],
)
def test_wordings_that_nobody_had_thought_of(text: str, stop: str) -> None:
    assert [one.stop for one in alarms().heard(text)] == [stop]


@pytest.mark.parametrize(
    "text",
    [
        "CO maxed out at ninety.",
        "CO maxed at 120.",
        "Told her about the smell of gas and the emergency number.",
        "Soaped every joint for leaks, leak test is good.",
        "High fire supply is bang on one forty.",
        "Lost pressure on the primary, topped up to one bar.",
    ],
)
def test_what_was_taken_for_a_stop_once(text: str) -> None:
    assert alarms().heard(text) == []


def test_what_may_say_it_is_asked() -> None:
    (alarm,) = alarms_of(utterance(("There's gas in here.", 1.0)))
    assert (alarm.stop, alarm.sure) == ("gas_smell", False)


def test_where_nothing_is_likely_both_ways_of_hearing_must_say_it() -> None:
    yes, no = "I smell gas in here.", "I spell brass in here."
    for second, sure in ((yes, True), (no, False)):
        one = utterance((yes, 0.3), (no, 0.3), ("I spell it", 0.2), second=second)
        assert [alarm.sure for alarm in alarms_of(one) if alarm.stop == "gas_smell"] == [sure]
    assert [alarm.sure for alarm in alarms_of(utterance((yes, 0.6), second=no))] == [True]


def test_what_says_a_stop_is_the_same_on_every_sheet() -> None:
    boiler, other = (load_sheet(name)[0] for name in ("gas-boiler-start-up", "gas-tightness-test"))
    known = {stop.id: stop for stop in boiler.stops}
    shared = [stop for stop in other.stops if stop.id in known]
    assert len(shared) == 3
    for stop in shared:
        for field in ("said", "perhaps", "phrases", "look_alikes"):
            assert getattr(stop, field) == getattr(known[stop.id], field), (stop.id, field)
    assert other.word_sets.items() <= boiler.word_sets.items()


def test_what_is_heard_as_a_look_alike_both_ways_is_not_asked_for_what_it_sounds_like() -> None:
    listened = {"The flame's rolled out": 1.0}
    gone, other = "The flame's gone out.", "The claims on out."
    assert alarms_of(utterance((gone, 0.9), second=gone, perhaps=[listened])) == []
    for second in (other, None):
        found = alarms_of(utterance((other if second is None else gone, 0.9), second=second, perhaps=[listened]))
        assert [(one.stop, one.sure) for one in found] == [("roll_out", False)]
