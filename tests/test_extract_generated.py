"""Ten thousand generated sentences, and two hundred generated jobs on two identical boilers."""

from __future__ import annotations

import random
from decimal import Decimal
from functools import cache

import pytest

from extract import Context, Grammar, Setting, compile_sheet, start, step
from schemas.evidence import Hypothesis, MadeBy, Utterance
from schemas.job import JobAppliance
from schemas.load import load_sheet
from tests.spoken import sentences

BY = MadeBy(reader="typed", version="1")


@cache
def grammar() -> Grammar:
    return compile_sheet(load_sheet("gas-boiler-start-up")[0])


def said(text: str, number: int, at: float, context: Context) -> Context:
    utterance = Utterance(
        evidence="b" * 64,
        number=number,
        start=at,
        end=at + 3,
        hypotheses=(Hypothesis(text=text, mass=1.0),),
        made_by=BY,
    )
    return step(utterance, at, context, grammar())[0]


def _count(count: int, seed: int) -> tuple[int, int, int, list[str]]:
    """Taken and right, asked or passed over, silently wrong, and the sentences of the wrong ones."""
    right = asked = 0
    wrong = []
    for one in sentences(count, seed):
        context = said(one.text, 0, 0.0, start(Setting(units="us")))
        hit = False
        for r in context.readings.values():
            same = (r.quantity, r.condition, r.unit) == (one.quantity, one.condition, one.unit)
            if r.taken and same and Decimal(r.value) == Decimal(one.value):
                hit = True
            elif r.taken:
                wrong.append(f"{one.text} -> {r.quantity} {r.condition} {r.value}")
        right += hit
        asked += not hit
    return right, asked, len(wrong), wrong


def test_generated_sentences_few() -> None:
    right, _, wrong, which = _count(600, seed=7)
    assert wrong == 0, which
    assert right >= 0.97 * 600


@pytest.mark.slow
def test_generated_sentences_ten_thousand() -> None:
    """The issue's bar: at most 5 silently wrong in 10,000."""
    right, _, wrong, which = _count(10_000, seed=20261124)
    assert wrong <= 5, which
    assert right >= 9_700


ROW = (("high fire", ("CO2", "O2", "CO", "stack temp")), ("low fire", ("CO2", "O2", "CO", "stack temp")))
LOWS = {"CO2": (86, 94), "O2": (43, 57), "CO": (20, 90), "stack temp": (100, 128)}


def _job(rng: random.Random, *, announced: bool) -> tuple[list[str], list[tuple[str, str, str, str]]]:
    """The talk of one job on two boilers, and its true rows (appliance, quantity, condition, value)."""
    names = {"CO2": "co2", "O2": "o2", "CO": "co", "stack temp": "flue_temp"}
    texts, true = [], []
    for tag in ("1", "2"):
        if tag == "1" or announced:
            texts.append(f"On boiler {'one' if tag == '1' else 'two'} now.")
        static = rng.randint(72, 82)
        texts.append(f"Static inlet {static // 10}.{static % 10}.")
        true.append((tag, "inlet_pressure", "static", f"{static // 10}.{static % 10}"))
        for condition, quantities in ROW:
            texts.append(f"{condition.capitalize()}.")
            co2 = rng.randint(*LOWS["CO2"])
            for q in quantities:
                # O2 on the line of natural gas, so that no law is broken by chance
                n = (
                    round(10 * (20.9 - co2 / 10 * 20.9 / 11.9))
                    if q == "O2"
                    else co2
                    if q == "CO2"
                    else rng.randint(*LOWS[q])
                )
                value = f"{n // 10}.{n % 10}" if q in ("CO2", "O2") else str(n)
                texts.append(f"{q} {value}.")
                true.append((tag, names[q], condition.replace(" ", "_"), value))
    return texts, true


@pytest.mark.slow
def test_generated_two_boilers_changeover_missing() -> None:
    """200 jobs on two identical boilers, the change-over unsaid in a quarter of them: at most 1 % of rows silently on
    the wrong boiler, at most one needless question a job."""
    rng = random.Random(11)
    rows = wrong = needless = 0
    setting = Setting(units="us", appliances=(JobAppliance(tag="1"), JobAppliance(tag="2")))
    for n in range(200):
        announced = n % 4 != 0
        texts, true = _job(rng, announced=announced)
        context = start(setting)
        for k, text in enumerate(texts):
            context = said(text, k, 8.0 * k + (60.0 if k > len(texts) // 2 else 0.0), context)
        rows += len(true)
        truth = set(true)
        for r in context.readings.values():
            row = (str(r.appliance), str(r.quantity), str(r.condition), r.value)
            if r.taken and row not in truth:
                wrong += 1
            if not r.taken and announced:
                needless += 1
    assert wrong <= 0.01 * rows, f"{wrong} of {rows} rows"
    assert needless <= 200
