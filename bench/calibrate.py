"""How certain a value must be, found on what was heard: ``python -m bench.hear MANIFEST.jsonl --calibrate``.

Every threshold of ``extract/certainty.py`` is moved over its steps while the others stand, round after round until
none moves any more; what its rule chooses is written to ``extract/certainty.toml`` with the curve. The same
transcripts give the same file, but for the date.
"""

from __future__ import annotations

import datetime
import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from bench.intervals import wilson
from extract.certainty import COMMAND, Calibration, Certainty, Curve, Measured, Point

__all__ = ["FILE", "STEPS", "calibrate", "choose", "written"]

FILE = Path(__file__).parents[1] / "extract" / "certainty.toml"

STEPS: Mapping[str, tuple[float, ...]] = {
    "support": (0.5, 0.6, 0.7, 0.8, 0.9),
    "alone": (0.5, 0.65, 0.8, 0.95),
    "against": (0.5, 0.4, 0.3, 0.2, 0.1),
    "placed": (0.5, 0.6, 0.75, 0.9),
    "named": (0.2, 0.3, 0.4, 0.5, 0.6),
    "lone": (0.0, 0.15, 0.3, 0.45, 0.6),
    "name": (0.1, 0.3, 0.5, 0.7, 0.9),
    "notable": (0.6, 0.3, 0.15, 0.05),
    "noisy": (0.0, 5.0, 10.0, 15.0, 20.0, 25.0),
    "support_at_stake": (0.6, 0.7, 0.8, 0.9, 0.95, 0.98),
    "alone_at_stake": (0.65, 0.8, 0.9, 0.95, 0.98),
}
"""What is tried, the loosest first. What fewer than half of the hypotheses have is never taken, whatever a set says."""

START = Certainty(
    support=0.6, alone=0.65, against=0.3, placed=0.5, named=0.4, lone=0.3, name=0.5, notable=0.15, noisy=15.0,
    support_at_stake=0.9, alone_at_stake=0.95,
)  # fmt: skip
"""Where the search begins: what was chosen by eye before there was this command."""

ROUNDS = 5
SPARE = 0.25
"""Questions in 100 readings that a stricter threshold may cost where nothing is taken wrongly either way."""
AT_STAKE = 8.0
"""The same for the thresholds at stake, if something hung on every reading."""
RULE = (
    "of the steps that take the fewest wrong silently, the strictest that asks at most "
    f"{SPARE:g} questions in 100 readings more than the one of them that asks the fewest; for those at stake, with all "
    f"values held to be at stake, {AT_STAKE:g} in 100"
)

Judge = Callable[[int, Certainty], tuple[str, Counter[str]]]
"""What an item gives under thresholds: its readings and questions as text, and its counts: ``wrong``, ``questions``,
``right``, ``readings``, ``entries``."""


def calibrate(judge: Judge, items: int, measured: Measured) -> Calibration:
    """Return the thresholds that the rule chooses on so many items, with their curves.

    ``measured`` says what the items are; its counts, date and rule are filled in here.
    """
    known: dict[tuple[int, Certainty], tuple[str, Counter[str]]] = {}

    def judged(item: int, certain: Certainty) -> tuple[str, Counter[str]]:
        if (item, certain) not in known:
            known[item, certain] = judge(item, certain)
        return known[item, certain]

    now = START
    totals = sum((judged(item, now)[1] for item in range(items)), Counter[str]())
    for _ in range(ROUNDS):
        curves = {}
        before = now
        for name, steps in STEPS.items():
            curves[name] = _curve(name, steps, now, judged, items, totals)
            now = now.model_copy(update={name: curves[name].value})
        if now == before:
            break
    else:
        raise RuntimeError(f"the thresholds do not settle in {ROUNDS} rounds")  # a fault of the steps or the rule
    found = {
        "entries": totals["entries"], "readings": totals["readings"], "date": datetime.date.today().isoformat(),
        "rule": RULE,
    }  # fmt: skip
    return Calibration(measured=measured.model_copy(update=found), thresholds=curves)


def _curve(name: str, steps: Sequence[float], now: Certainty, judged: Judge, items: int, totals: Counter[str]) -> Curve:
    plain = name.removesuffix("_at_stake")  # all values at stake: the plain threshold is at this step
    tried = [now.model_copy(update={plain: step}) for step in steps]
    counts = [Counter[str]() for _ in steps]
    for item in range(items):
        # What is the same at both ends is the same between them.
        moves = judged(item, tried[0])[0] != judged(item, tried[-1])[0]
        for count, certain in zip(counts, tried, strict=True):
            count.update(judged(item, certain if moves else tried[0])[1])
    points = [
        Point(at=step, wrong=count["wrong"], questions=count["questions"], right=count["right"])
        for step, count in zip(steps, counts, strict=True)
    ]
    chosen = choose(points, totals["readings"], AT_STAKE if plain != name else SPARE)
    return Curve(
        value=chosen.at,
        silently_wrong=_rate(chosen.wrong, totals["entries"]),
        asked=_rate(chosen.questions, totals["readings"]),
        curve=tuple(points),
    )


def choose(points: Sequence[Point], readings: int, spare: float) -> Point:
    """Return the point that the rule chooses; ``points`` are the loosest first, ``spare`` is in 100 ``readings``."""
    safest = [p for p in points if p.wrong == min(one.wrong for one in points)]
    fewest = min(p.questions for p in safest)
    return next(p for p in reversed(safest) if p.questions <= fewest + spare * readings / 100)


def _rate(hits: int, of: int) -> str:
    low, high = wilson(hits, of)
    return f"{hits} of {of}, {100 * hits / max(1, of):.1f} % [{low:.1f}–{high:.1f}]"


def written(found: Calibration) -> str:
    """Return the file's text."""
    lines = [
        f"# Written by {COMMAND}; never by hand. What each threshold means stands in certainty.py.",
        "# A curve's points: the threshold at a step; entries taken wrongly, questions asked, readings right (taken,",
        "# or asked with the true value first), over all hearings, the other thresholds at their values here.",
        "",
        "[measured]",
    ]
    for name, value in found.measured:
        if name == "options":
            continue
        lines.append(f"{name} = {_toml(list(value) if isinstance(value, tuple) else value)}")
    lines += ["", "[measured.options]"]
    lines += [f"{_toml(name)} = {_toml(value)}" for name, value in found.measured.options.items()]
    for name, curve in found.thresholds.items():
        lines += [
            "", f"[thresholds.{name}] # {Certainty.model_fields[name].description}", f"value = {curve.value}",
            f"silently_wrong = {_toml(curve.silently_wrong)}", f"asked = {_toml(curve.asked)}", "curve = [",
        ]  # fmt: skip
        lines += [
            f"    {{ at = {p.at}, wrong = {p.wrong}, questions = {p.questions}, right = {p.right} }},"
            for p in curve.curve
        ]
        lines.append("]")
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    """Return a string, a number or a list of strings as TOML writes it (its basic strings are JSON's)."""
    return json.dumps(value, ensure_ascii=False)
