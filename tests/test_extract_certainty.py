"""How certain a value must be: the file of thresholds, its rule, and what asks sooner because something hangs on it."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from typing import cast

import pytest

from bench.calibrate import AT_STAKE, FILE, RULE, SPARE, START, STEPS, calibrate, choose, written
from bench.hear import _hear_all
from capture.hear import Recogniser
from extract import Bound, Certainty, Setting, certainty, start, step
from extract.certainty import Measured, Point, read_calibration
from jobs.book import job_of, sheet_of
from jobs.extraction import setting_of
from jobs.store import Store
from schemas.errors import BadInput
from schemas.evidence import Hypothesis, MadeBy, Utterance
from schemas.readings import Reading
from tests.test_extract_talk import grammar, heard

BY = MadeBy(reader="test", version="1")
MADE = Measured(
    manifest="m.jsonl", sha256="0" * 64, items=10, hearings=("as it is",), reader="test", version="1", options={}
)


def shipped() -> str:
    return FILE.read_text("utf-8")


def test_the_shipped_thresholds_are_those_that_the_rule_chooses_on_their_curves() -> None:
    found = read_calibration(shipped())
    assert found.measured.rule == RULE
    for name, curve in found.thresholds.items():
        assert [p.at for p in curve.curve] == list(STEPS[name])
        spare = AT_STAKE if name.endswith("_at_stake") else SPARE
        assert choose(curve.curve, found.measured.readings, spare).at == curve.value, name
    assert certainty() == found.certainty()


def test_what_is_written_is_read_again() -> None:
    assert written(read_calibration(shipped())) == shipped()


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        (r"\[measured\]", "[measured", "not valid TOML"),
        (r"\[thresholds\.noisy\]", "[thresholds.loud]", "missing, or not known: loud, noisy"),
        (
            r"(?<=\[thresholds\.support\])([^\n]*)\nvalue = [0-9.]+",
            r"\1\nvalue = 0.61",
            "0.61 is no point of its curve",
        ),
        (r"sha256 = \"[0-9a-f]{64}\"", 'sha256 = "?"', "measured.sha256"),
    ],
)
def test_a_bad_file_is_told_in_one_sentence_that_names_the_command(old: str, new: str, why: str) -> None:
    text, changed = re.subn(old, new, shipped(), count=1)
    assert changed
    with pytest.raises(BadInput) as error:
        read_calibration(text)
    message = str(error.value)
    assert why in message
    assert "bench.hear" in message
    assert "\n" not in message


def points(*rows: tuple[float, int, int]) -> list[Point]:
    return [Point(at=at, wrong=wrong, questions=questions, right=0) for at, wrong, questions in rows]


def test_the_rule_looks_at_what_is_silently_wrong_first_and_at_questions_second() -> None:
    loose_is_wrong = points((0.2, 1, 10), (0.4, 0, 20), (0.6, 0, 20), (0.8, 0, 30))
    assert choose(loose_is_wrong, 200, 0.5).at == 0.6
    assert choose(loose_is_wrong, 2000, 0.5).at == 0.8  # ten questions more are half of one in a hundred


def test_the_same_counts_give_the_same_file_and_every_threshold_has_its_curve() -> None:
    def judge(item: int, certain: Certainty) -> tuple[str, Counter[str]]:
        wrong, asked = int(item == 0 and certain.support < 0.5), int(certain.support > 0.1 * item)
        return f"{wrong} {asked}", Counter(wrong=wrong, questions=asked, right=1, readings=1, entries=1)

    def once() -> str:
        found = calibrate(judge, 10, MADE)
        assert (found.measured.items, found.measured.entries) == (10, 10)
        assert found.certainty().support == 0.5
        assert found.certainty().alone == max(STEPS["alone"])  # costs nothing
        return written(found)

    assert once() == once()
    assert START.support in STEPS["support"]


# ---------------------------------------------------------------------- what hangs on it
def two_ways(best: str, other: str, mass: float, second: str | None, number: int = 1) -> Utterance:
    return Utterance(
        evidence="e" * 64, number=number, start=5.0 * number, end=5.0 * number + 2, made_by=BY, second_opinion=second,
        hypotheses=(Hypothesis(text=best, mass=mass), Hypothesis(text=other, mass=round(1 - mass, 3))),
    )  # fmt: skip


def readings(*told: str | Utterance, bounds: tuple[Bound, ...] = ()) -> list[Reading]:
    context = start(Setting(units="us", bounds=bounds))
    for n, one in enumerate(told):
        context, _ = step(heard(one, n) if isinstance(one, str) else one, 5.0 * n, context, grammar())
    return list(context.live())


def faint(text: str, other: str, second: str) -> Utterance:
    """An utterance that is heard surely enough for most values, and no more."""
    certain = certainty()
    mass = round((certain.support + certain.support_at_stake) / 2, 2)
    assert 1 - mass < certain.against
    return two_ways(text, other, mass, second)


MAKERS = (Bound(None, "co2", "high_fire", "8.5", "9.5", "%"),)


@pytest.mark.parametrize(
    ("text", "other", "second", "bounds", "taken"),
    [
        ("CO2 nine point five.", "See you nine", "CO2 9.5", MAKERS, False),  # a step from the limit
        ("CO2 nine point six.", "See you nine", "CO2 9.6", MAKERS, False),  # beyond it
        ("CO2 nine point one.", "See you nine", "CO2 9.1", MAKERS, True),  # far from it
        ("CO2 nine point one.", "CO2 nine point nine.", "CO2 9.1", MAKERS, False),  # what was heard too is beyond it
        ("CO2 nine point five.", "See you nine", "CO2 9.5", (), True),  # no limit is known
        ("CO2 nine point five.", "CO2, 9.5.", "CO2 9.5", MAKERS, True),  # heard cleanly, however close
    ],
)
def test_a_value_close_to_a_limit_is_asked_sooner(
    text: str, other: str, second: str, bounds: tuple[Bound, ...], taken: bool
) -> None:
    (found,) = readings("High fire.", faint(text, other, second), bounds=bounds)
    assert found.taken == taken
    if not taken:
        assert "close to a limit" in found.doubts[0].detail


def test_a_limit_of_the_condition_takes_the_place_of_the_general_one() -> None:
    general = Bound(None, "co2", "", "8.0", "9.1", "%")
    said = faint("CO2 nine point one.", "See you nine", "CO2 9.1")
    assert [r.taken for r in readings("High fire.", said, bounds=(general,))] == [False]
    assert [r.taken for r in readings("High fire.", said, bounds=(general, *MAKERS))] == [True]


@pytest.mark.parametrize(
    ("limit", "value", "taken"),
    [
        ("Book says eight five to nine five on the CO2.", "9.5", False),
        ("Book says eight five to nine five on the CO2.", "9.1", True),
        ("Max CO2 on the sheet is nine five.", "9.5", False),
        ("Book says eight five to nine five on the CO2 at low fire.", "9.5", True),  # at the other rate
    ],
)
def test_a_value_close_to_a_limit_said_aloud_is_asked_sooner(limit: str, value: str, taken: bool) -> None:
    said = faint(f"CO2 {value}.", "See you nine", f"CO2 {value}")
    assert [r.taken for r in readings(limit, "High fire.", said)] == [taken]


def test_a_value_close_to_what_stops_the_work_is_asked_sooner() -> None:
    above = next(s for s in grammar().sheet.stops if s.quantity == "co" and s.above).above
    said = faint(f"CO {above}.", "See you", f"CO {above}")
    assert [r.taken for r in readings("High fire.", said)] == [False]


def test_a_value_that_breaks_a_relation_is_asked_sooner() -> None:
    row = "High fire CO2 nine point one."
    above = faint("Low fire CO2 nine point four.", "Low fire, see you nine", "Low fire CO2 9.4")
    below = faint("Low fire CO2 eight point nine.", "Low fire, see you nine", "Low fire CO2 8.9")
    clean = two_ways("Low fire CO2 nine point four.", "low fire CO2 9.4", 0.6, "Low fire CO2 9.4")
    assert [r.taken for r in readings(row, above)] == [True, False]
    assert [r.taken for r in readings(row, below)] == [True, True]
    assert [r.taken for r in readings(row, clean)] == [True, True]


def test_the_number_heard_too_is_offered() -> None:
    said = faint("CO2 nine point one.", "CO2 nine point nine.", "CO2 9.1")
    (found,) = readings("High fire.", said, bounds=MAKERS)
    assert [a.value for a in found.alternatives][:1] == ["9.9"]


def test_the_makers_limits_and_relations_reach_extraction(prepared: Path) -> None:
    with Store(prepared) as store:
        job = job_of(store, "t1")
        setting = setting_of(store, job, sheet_of(store, job.head))
    assert Bound("boiler", "co2", "high_fire", "8.5", "9.5", "%") in setting.bounds
    assert ("boiler", "running_drop_most") in [(tag, rule.id) for tag, rule in setting.rules]


def test_transcripts_of_a_run_with_other_options_are_refused(tmp_path: Path) -> None:
    kept = tmp_path / "kept.jsonl"
    kept.write_text('{"id": "a", "utterances": []}\n', encoding="utf-8")
    with pytest.raises(BadInput, match="lacks 'a in a room'"):
        _hear_all([{"id": "a"}, {"id": "a in a room"}], tmp_path, cast(Recogniser, None), kept)


@pytest.mark.parametrize(
    ("told", "taken"),
    [
        (("Flue temperature is eighty four Celsius, no, eighty one.",), [False]),
        (("Flow is twenty litres a minute.", "Correction, twenty two."), [False]),
        (("Supply temp eighty Celsius.", "Return temp sixty."), [True, False]),
        (("Supply temp eighty Celsius.", "Return temp sixty Celsius."), [True, True]),
        (("Supply temp eighty Celsius.", "CO2 nine point three."), [True, True]),  # no quantity of that unit
        (("Flue temp one eighty.", "Correction, one eighty two."), [True]),
    ],
)
def test_a_bare_number_behind_another_unit_than_the_usual_one_is_asked(
    told: tuple[str, ...], taken: list[bool]
) -> None:
    assert [r.taken for r in readings("High fire.", *told)] == taken
