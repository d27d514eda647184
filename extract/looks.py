"""Figures of a photo bound to quantities: by label, by unit, by what was said at that moment; else they are asked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from difflib import SequenceMatcher

from extract.book import DISPLAY_SLACK, phase_at
from extract.context import Context, Known
from extract.doubt import TESTS, broken, doubt
from extract.lexicon import Grammar
from extract.numbers import Number
from extract.values import fit
from schemas.base import is_value_text
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Figure, Look
from schemas.readings import Alternative, Operation, Reading, Record, Source

__all__ = ["bind_look"]

_LETTERS = str.maketrans({"0": "O", "o": "O", "c": "C"})
"""What readers take for the letters of short labels: C0 and 02 are CO and O2."""
LIKE = 0.86  # how alike a label must be to one of the sheet's: one letter misread in seven


def bind_look(
    look: Look, at: float | None, context: Context, grammar: Grammar
) -> tuple[Context, tuple[Operation, ...]]:
    """Return the context after a photo and its readings. ``at``: seconds in the job's time, None if not known.

    Pure: the same arguments give the same result, and ``context`` is left as it was.
    """
    after = context.copy()
    made: list[Reading] = []
    for n, figure in enumerate(look.figures):
        reading = _bound(figure, n, look, at, after, grammar)
        if reading is None:
            continue
        found = None
        if reading.quantity is not None and reading.condition is not None and is_value_text(reading.value):
            found = broken(reading, made, grammar, after.setting)
        if found:
            reading = reading.model_copy(update={"doubts": (*reading.doubts, found[0])})
        failed = {d.kind.value for d in reading.doubts}
        reading = reading.model_copy(update={"passed": (*reading.passed, *(t for t in TESTS if t not in failed))})
        made.append(reading)
    made = [_unless_twice(r, made) for r in made]
    operations = tuple(Record(reading=r) for r in made)
    for r in made:
        after.readings[r.id] = r
        if at is not None:
            after.times[r.id] = at
    return after, operations


def _unless_twice(reading: Reading, made: Sequence[Reading]) -> Reading:
    """A quantity that one picture shows twice with different values: one of the labels was misread."""
    slot = (reading.quantity, reading.condition, reading.phase, reading.appliance)
    same = [r for r in made if (r.quantity, r.condition, r.phase, r.appliance) == slot and r.value != reading.value]
    if reading.quantity is None or not same:
        return reading
    text = doubt(DoubtKind.QUANTITY_UNCLEAR, f"the picture shows {same[0].value} for it too")
    passed = tuple(t for t in reading.passed if t != text.kind.value)
    return reading.model_copy(update={"doubts": (*reading.doubts, text), "passed": passed})


def _bound(figure: Figure, n: int, look: Look, at: float | None, c: Context, grammar: Grammar) -> Reading | None:
    """One figure as a reading; None where the sheet does not want it."""
    doubts: list[Doubt] = list(figure.doubts)
    alternatives = [Alternative(value=_plain(a), why="may be read so") for a in figure.alternatives[:3]]
    unit = grammar.unit_written(figure.unit)
    value = _plain(figure.value)
    quantity = _named(figure.label, grammar)
    announced: Reading | None = None
    if quantity is None and (quantity := _named(figure.label.translate(_LETTERS), grammar)):
        doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, f"its label was read as {figure.label}"))
    if quantity is None:
        if figure.label.strip():
            return None  # something that this sheet does not ask for
        quantity, announced, more = _unlabelled(value, unit, at, c, grammar)
        if quantity is None:
            if not more:
                return None
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the picture does not say what it shows"))
            alternatives += [Alternative(quantity=q, why="the value fits") for q in more]
    q = grammar.quantities[quantity] if quantity else None
    if q is not None and q.kind == "number":
        value, unit = _measured(value, unit, q.id, doubts, alternatives, c, grammar)
    elif q is not None and q.kind == "choice":
        picked = _option(value, q.choices)
        if picked is None:
            doubts.append(doubt(DoubtKind.VALUE_UNCLEAR, "it is none of the choices"))
        value, unit = picked or value, ""
    elif q is not None:
        unit = ""
    condition: str | None = ""
    if q is None or q.conditions:
        condition = announced.condition if announced else (c.state if at is not None else None)
        if q is not None and condition not in q.conditions:
            condition = None
        if condition is None:
            doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "the picture does not say when it was taken in the work"))
    appliance = None if q is not None and q.every_job else (announced.appliance if announced else c.tag())
    if c.several() and appliance is None and not (q is not None and q.every_job):
        doubts.append(doubt(DoubtKind.APPLIANCE_UNCLEAR, "it was not said which appliance"))
    doubts, says_so = _against_file(quantity, value, unit, appliance, doubts, c.setting.known)
    return Reading(
        id=f"{look.evidence[:16]}-f{n}",
        quantity=quantity,
        condition=condition,
        phase=announced.phase if announced else phase_at(c, condition, grammar) if at is not None else "",
        value=value,
        unit=unit,
        appliance=appliance,
        source=Source(evidence=look.evidence, box=figure.box, heard=figure.value),
        alternatives=tuple(alternatives),
        doubts=tuple(doubts),
        passed=(says_so,) if says_so else (),
    )


_SETTLED_BY_THE_FILE = frozenset((DoubtKind.TO_CONFIRM, DoubtKind.DIGIT_UNSURE, DoubtKind.HIDDEN))


def _against_file(
    quantity: str | None, value: str, unit: str, appliance: str | None, doubts: list[Doubt], known: Sequence[Known]
) -> tuple[list[Doubt], str]:
    """Weigh a figure against the appliance file: the same is a second source, another value is a doubt."""
    told = [one for one in known if one.quantity == quantity and appliance in (None, one.appliance)]
    if not told:
        return doubts, ""
    if any(one.unit == unit and _same(one.value, value) for one in told):
        return [d for d in doubts if d.kind not in _SETTLED_BY_THE_FILE], "agrees with the appliance file"
    text = f"the appliance file says {told[0].value.replace('_', ' ')}"
    return [*doubts, doubt(DoubtKind.SOURCES_DISAGREE, text)], ""


def _same(one: str, other: str) -> bool:
    if is_value_text(one) and is_value_text(other):
        return Decimal(one) == Decimal(other)
    letters = ["".join(c for c in text.casefold() if c.isalnum()) for text in (one, other)]
    return letters[0] == letters[1]


def _plain(text: str) -> str:
    """A shown number without the marks of thousands; other text as it is."""
    bare = text.strip().replace("−", "-")
    if re.fullmatch(r"-?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]+)?", bare):
        bare = bare.replace(",", "")
    if re.fullmatch(r"-?\.[0-9]+", bare):
        bare = bare.replace(".", "0.")
    return bare


def _words(label: str) -> str:
    """A label to compare: letters and digits, without what stands in brackets."""
    return " ".join(re.findall(r"[a-z0-9]+", re.sub(r"\([^)]*\)", " ", label.lower()).replace("₂", "2")))


def _named(label: str, grammar: Grammar) -> str | None:
    """The quantity of a label, where one and only one is meant."""
    words = _words(label)
    if not words:
        return None
    for table in (grammar.shown, grammar.said):
        if words in table:
            return table[words]
    if len(words) < 6:
        return None  # short labels (CO, CO2, O2) are told apart by single letters
    near = [(SequenceMatcher(None, words, known).ratio(), known) for known in grammar.shown if len(known) >= 6]
    score, known = max(near, default=(0.0, ""))
    return grammar.shown[known] if score >= LIKE else None


def _unlabelled(
    value: str, unit: str, at: float | None, c: Context, grammar: Grammar
) -> tuple[str | None, Reading | None, list[str]]:
    """A bare number: what was said of the same value at that moment, what was announced, or what it might be."""
    if at is not None:
        for r in reversed(list(c.live())):
            near = abs(c.times.get(r.id, float("-inf")) - at) <= DISPLAY_SLACK
            if near and r.source.box is None and r.quantity and r.value == value and (not unit or r.unit == unit):
                return r.quantity, r, []
        for topic in (c.pending, c.topic):
            if topic is None or at - topic.at > DISPLAY_SLACK:
                continue
            fitting = [q for q in topic.ids if _fits(value, unit, q, grammar, c)]
            if len(fitting) == 1:
                return fitting[0], None, []
    more = [
        q.id
        for q in grammar.sheet.quantities
        if q.kind == "number"
        and q.conditions
        and (not unit or unit in q.units)
        and _fits(value, unit, q.id, grammar, c)
    ]
    return None, None, more[:3]


def _fits(value: str, unit: str, quantity: str, grammar: Grammar, c: Context) -> bool:
    if not is_value_text(value):
        return False
    f = fit(_number(value), unit, grammar.measures[quantity], c.setting.units)
    return f.cost < 3 and f.choices[0].usual


def _number(value: str) -> Number:
    sign = "-" if value.startswith("-") else ""
    return Number(((value.lstrip("-"), 0.0),), sign=sign, exact=True, digits=value + "/")


def _measured(
    value: str,
    unit: str,
    quantity: str,
    doubts: list[Doubt],
    alternatives: list[Alternative],
    c: Context,
    grammar: Grammar,
) -> tuple[str, str]:
    """Check a shown number against its quantity: unit and range. A display shows its sign."""
    measure = grammar.measures[quantity]
    if not is_value_text(value):
        doubts.append(doubt(DoubtKind.IMPOSSIBLE, "it is not a number"))
        return value, unit
    f = fit(_number(value), unit, measure, c.setting.units)
    if "unit kind" in f.doubts or "unit" in f.doubts:
        doubts.append(doubt(DoubtKind.UNIT_UNCLEAR, "the unit shown does not fit"))
    elif "impossible" in f.doubts:
        doubts.append(doubt(DoubtKind.IMPOSSIBLE, "no such value can be"))
        alternatives += f.alternatives()
    return value, f.choices[0].unit


def _option(value: str, choices: dict[str, tuple[str, ...]]) -> str | None:
    words = _words(value)
    for option, phrases in choices.items():
        if words == _words(option.replace("_", " ")) or words in {_words(p) for p in phrases}:
            return option
    return None
