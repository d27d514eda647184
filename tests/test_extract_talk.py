"""Talk to readings: sentences of our own, and properties that no sentence may break.

tests/data/own_talk.jsonl was written beside the extractor in three lots, each in patterns unlike the dev corpus and
measured once before anything was mended for it (91, 94 and 89 % of records right); tests/data/talk.jsonl by a second
author. Both are in the corpus' format, so bench.extract runs on them too.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bench.extract import predict, rows
from extract import Context, Grammar, Setting, apply, compile_sheet, start, step
from schemas.doubts import DoubtKind
from schemas.evidence import Hypothesis, MadeBy, Utterance, Word
from schemas.load import load_sheet
from schemas.readings import Alarm, Change, Operation, QuotedLimit, Reading, Record, Remove

BY = MadeBy(reader="typed", version="1")
# Asked or missed today though they could be taken; never taken wrong.
NOT_YET = frozenset(("two021", "two130", "thr000", "thr086"))
OWN = Path(__file__).parent / "data" / "own_talk.jsonl"
OTHERS = ("third", "fourth", "fifth", "sixth", "seventh", "eighth")


@cache
def grammar() -> Grammar:
    return compile_sheet(load_sheet("gas-boiler-start-up")[0])


def heard(text: str, number: int = 0, *others: tuple[str, float], second: str | None = None) -> Utterance:
    hypotheses = (Hypothesis(text=text, mass=1.0), *(Hypothesis(text=t, mass=m) for t, m in others))
    return Utterance(
        evidence="a" * 64, number=number, start=5.0 * number, end=5.0 * number + 3, hypotheses=hypotheses,
        second_opinion=second, made_by=BY,
    )  # fmt: skip


def talk(*texts: str, units: Any = "us", setting: Setting | None = None) -> tuple[Context, list[Operation]]:
    context = start(setting or Setting(units=units))
    operations: list[Operation] = []
    for n, text in enumerate(texts):
        context, more = step(heard(text, n), 5.0 * n, context, grammar())
        operations += more
    return context, operations


def only(*texts: str, units: Any = "us") -> Reading:
    (reading,) = talk(*texts, units=units)[0].readings.values()
    return reading


def kinds(reading: Reading) -> set[DoubtKind]:
    return {d.kind for d in reading.doubts}


def _rows_of(entry: dict[str, Any]) -> tuple[Any, ...]:
    value = entry["value"]
    try:
        value = round(float(value), 6)
    except (TypeError, ValueError):
        value = "".join(c for c in str(value).lower() if c.isalnum())
    return entry["quantity"], entry["condition"], value, entry["unit"], entry.get("appliance")


@pytest.mark.parametrize("item", [json.loads(x) for x in OWN.read_text("utf-8").splitlines()], ids=lambda i: i["id"])
def test_talk_own_sentences(item: dict[str, Any]) -> None:
    """What must be taken is taken and nothing else; what must be asked is asked about."""
    found = predict(item, grammar(), [])
    taken, true = (sorted(map(repr, map(_rows_of, rows))) for rows in (found["readings"], item["readings"]))
    if item["id"] in NOT_YET:
        assert set(taken) < set(true)
        return
    assert taken == true
    for ask in item["ask"]:
        assert any(set(a["quantity"]) & set(ask["quantity"]) or "unknown" in ask["quantity"] for a in found["asks"])


@pytest.mark.parametrize("author", OTHERS)
def test_talk_other_authors_are_hardly_ever_taken_wrong(author: str) -> None:
    """At most 2 in 100 of these talks have a row that is not in the gold (tests/data/README.md: who wrote them)."""
    wrong = 0
    items = [json.loads(x) for x in OWN.with_name(f"{author}_talk.jsonl").read_text("utf-8").splitlines()]
    for item in items:
        found = predict(item, grammar(), [])["readings"]
        taken, true = (set(map(repr, map(_rows_of, rows))) for rows in (found, item["readings"]))
        wrong += not taken <= true
    assert wrong <= 0.02 * len(items)


def test_talk_condition_is_carried_and_traced() -> None:
    context, _ = talk("Going to high fire.", "CO2 nine point one.")
    (reading,) = context.readings.values()
    assert (reading.quantity, reading.condition, reading.value, reading.unit) == ("co2", "high_fire", "9.1", "%")
    assert reading.source.heard == "CO2 nine point one"
    assert reading.source.span == (0, 18)
    assert DoubtKind.CONDITION_UNCLEAR.value in reading.passed


@pytest.mark.parametrize(
    ("texts", "kind"),
    [
        (("High fire CO2 is nineteen percent.",), DoubtKind.IMPOSSIBLE),
        (("High fire CO is sixty and change.",), DoubtKind.HEDGED),
        (("High fire CO bouncing between sixty and eighty.",), DoubtKind.RANGE),
        (("Low fire offset point oh one.",), DoubtKind.SIGN_UNCLEAR),
        (("High fire flue temp fifty five.",), DoubtKind.UNIT_UNCLEAR),
        (("CO2 nine point one.",), DoubtKind.CONDITION_UNCLEAR),
        (("High fire CO2 is eight point",), DoubtKind.CUT_OFF),
        (("High fire carbon reading is nine.",), DoubtKind.QUANTITY_UNCLEAR),
        (("Both boilers are running. High fire CO2 nine one.",), DoubtKind.APPLIANCE_UNCLEAR),
        (("At high fire I gave the throttle half a turn.",), DoubtKind.DIRECTION_UNCLEAR),
        (("Low fire, turned it an eighth clockwise.",), DoubtKind.SCREW_UNCLEAR),
        (("High fire CO2 nine one, right?",), DoubtKind.TO_CONFIRM),
        (("High fire flow two eight.",), DoubtKind.VALUE_UNCLEAR),
    ],
)
def test_talk_doubts_are_named(texts: tuple[str, ...], kind: DoubtKind) -> None:
    assert kind in kinds(only(*texts))


def test_talk_two_values_run_together_are_asked_as_one() -> None:
    context, _ = talk("Low fire, 8.774 parts per million.")
    first, second = context.readings.values()
    assert {(first.quantity, first.value), (second.quantity, second.value)} == {("co2", "8.7"), ("co", "74")}
    assert kinds(first) == kinds(second) == {DoubtKind.RUN_TOGETHER}
    assert first.asked_with == second.id


def test_talk_impossible_pair_is_asked_until_one_is_corrected() -> None:
    context, _ = talk("High fire CO2 nine point two and O2 nine point two.")
    assert all(kinds(r) == {DoubtKind.RELATION} for r in context.readings.values())
    context, _ = talk("High fire CO2 nine point two and O2 nine point two.", "Sorry, O2 is four point five.")
    assert all(r.taken for r in context.readings.values())


def test_talk_conflict_of_two_gauges_takes_neither() -> None:
    context, _ = talk("High fire inlet, gauge says seven two but the manometer says six four.")
    assert [DoubtKind.CONFLICT in kinds(r) for r in context.readings.values()] == [True, True]


def test_talk_corrections_are_operations() -> None:
    _, ops = talk("High fire CO2 nine two.", "Scratch that, nine point oh.", "Delete that last one.")
    assert [type(o) for o in ops] == [Record, Change, Remove]
    _, ops = talk("Boiler one, high fire CO2 nine one.", "Sorry, that was boiler two.")
    assert ops[-1].op == "relabel"
    assert ops[-1].appliance == "2"


def test_talk_operations_fold_to_the_context() -> None:
    context, ops = talk(
        "High fire as found, CO2 nine eight, CO one forty.", "Throttle a quarter turn clockwise.", "CO2 nine two now.",
        "No, nine three.", "That was boiler two.", "Delete the CO.",
    )  # fmt: skip
    assert apply(ops, {}) == context.readings


def test_talk_a_move_makes_before_and_after() -> None:
    context, _ = talk("High fire CO2 nine eight.", "Turned the throttle a quarter turn in.", "CO2 nine two.")
    before, move, after = sorted(context.readings.values(), key=lambda r: r.id)
    assert (before.phase, after.phase) == ("before", "after")
    assert move.note == "high_fire_screw cw"


def test_talk_limits_are_quoted_not_read() -> None:
    context, ops = talk(
        "Book says CO2 between nine and nine point five at high fire.", "CO must stay below one hundred."
    )
    assert not context.readings
    assert [(o.quantity, o.low, o.high) for o in ops if isinstance(o, QuotedLimit)] == [
        ("co2", "9", "9.5"), ("co", None, "100"),
    ]  # fmt: skip


def test_talk_gas_smell_is_an_alarm_and_its_denial_is_none() -> None:
    assert [o.stop for o in talk("Hang on, I can smell gas in here.")[1] if isinstance(o, Alarm)] == ["gas_smell"]
    assert not [o for o in talk("No smell of gas at all.")[1] if isinstance(o, Alarm)]


def test_talk_other_hypotheses_raise_doubt() -> None:
    said = "High fire CO2 nine point one."
    c = start(Setting(units="us"))
    sure, _ = step(heard(said), 0.0, c, grammar())
    agreeing, _ = step(heard(said, 0, (said.lower(), 0.4), second="high fire co2 9.1"), 0.0, c, grammar())
    unsure, _ = step(heard(said, 0, ("High fire CO2 five point one.", 0.5)), 0.0, c, grammar())
    apart, _ = step(heard(said, 0, second="High fire CO2 nine point nine."), 0.0, c, grammar())
    assert all(r.taken for x in (sure, agreeing) for r in x.readings.values())
    for x, other in ((unsure, "5.1"), (apart, "9.9")):
        (r,) = x.readings.values()
        assert DoubtKind.HEARD_UNCLEARLY in kinds(r)
        assert other in [a.value for a in r.alternatives]


def test_talk_words_the_recogniser_doubts_are_asked() -> None:
    words = tuple(
        Word(text=w, start=0.3 * n, end=0.3 * n + 0.2, certainty=0.2 if w == "one." else 0.95)
        for n, w in enumerate(["High", "fire", "CO2", "nine", "point", "one."])
    )
    h = Hypothesis(text="High fire CO2 nine point one.", mass=1.0, words=words)
    u = Utterance(evidence="a" * 64, number=0, start=0, end=2, hypotheses=(h,), made_by=BY)
    (r,) = step(u, 0.0, start(Setting(units="us")), grammar())[0].readings.values()
    assert kinds(r) == {DoubtKind.HEARD_UNCLEARLY}
    assert r.source.start == pytest.approx(0.6)


def test_talk_is_pure_and_the_same_each_time() -> None:
    context = talk("High fire.", "CO2 nine one, CO seventy.")[0]
    before = dict(context.readings)
    once = step(heard("CO two ten, no, delete that.", 2), 10.0, context, grammar())
    twice = step(heard("CO two ten, no, delete that.", 2), 10.0, context, grammar())
    assert once == twice
    assert context.readings == before


WORDS = st.sampled_from(
    [
        "high",
        "fire",
        "low",
        "static",
        "inlet",
        "CO2",
        "O2",
        "CO",
        "nine",
        "one",
        "point",
        "oh",
        "two",
        "eighty",
        "minus",
        "offset",
        "screw",
        "quarter",
        "turn",
        "clockwise",
        "in",
        "sorry",
        "no",
        "scratch",
        "that",
        "delete",
        "was",
        "boiler",
        "two",
        "and",
        "or",
        "between",
        "to",
        "about",
        "spec",
        "max",
        "?",
        ".",
        ",",
        "—",
        "it's",
        "the",
        "on",
        "9.1",
        "118",
        "-.02",
        "4",
        ".5",
        "6.",
        "%",
        "ppm",
        "leak",
        "test",
        "done",
        "not",
        "yet",
        "note",
        "model",
        "is",
        "serial",
        "A",
        "B",
        "seven",
    ]
)


@pytest.mark.slow
@given(st.lists(WORDS, max_size=25).map(" ".join))
@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_talk_no_words_raise(text: str) -> None:
    context, operations = talk("High fire CO2 nine one.", text, text)
    assert apply(operations, {}) == context.readings
    assert len({r.id for r in context.readings.values()}) == len(context.readings)


@given(st.text(max_size=80))
@settings(max_examples=200, deadline=None)
def test_talk_no_text_raises(text: str) -> None:
    talk(text)


def _digits(value: str) -> str:
    names = ("oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
    return " ".join("point" if c == "." else names[int(c)] for c in value)


FORMS = st.sampled_from(
    ["{v}", "{words}", "{words} percent", "{v}%", "is {words}", "reads {v} percent", "at {words} now"]
)


@given(
    st.integers(60, 115),
    FORMS,
    st.sampled_from(["High fire CO2 {x}.", "CO2 at high fire {x}.", "High fire, CO2, {x}."]),
)
@settings(max_examples=300, deadline=None)
def test_talk_a_spoken_value_comes_back_or_is_asked(tenths: int, form: str, frame: str) -> None:
    """Any value in any spoken form comes back or is asked about, never another."""
    value = f"{tenths // 10}.{tenths % 10}"
    context, _ = talk(frame.format(x=form.format(v=value, words=_digits(value))))
    assert context.readings
    for r in context.readings.values():
        assert not r.taken or (r.quantity, r.value) == ("co2", value)


def test_talk_predictions_name_at_most_three_quantities() -> None:
    context, _ = talk("High fire, nine point one.")
    (ask,) = rows(context.readings.values(), grammar())["asks"]
    assert 1 <= len(ask["quantity"]) <= 3
    assert ask["value"] == "9.1"


@pytest.mark.parametrize(
    ("texts", "values"),
    [
        (("High fire. CO2 nine one. Negative nine three.",), {"9.1": "9.3"}),
        (("High fire. CO is seventy.", "Minus seventy two."), {"70": "72"}),
        (("High fire. CO2 nine one.", "Or nine four."), {"9.1": "9.4"}),
        # a draft may well be less than none: it is another reading, and the CO2 stands
        (("High fire. CO2 nine one. Negative point oh two.",), {"9.1": "", "-0.02": ""}),
    ],
)
def test_talk_what_cannot_be_negative_is_denied_by_a_negative(texts: tuple[str, ...], values: dict[str, str]) -> None:
    context, _ = talk(*texts)
    found = {r.value: r for r in context.readings.values()}
    assert found.keys() == values.keys()
    for value, other in values.items():
        if other:
            assert not found[value].taken
            assert [a.value for a in found[value].alternatives][:1] == [other]
