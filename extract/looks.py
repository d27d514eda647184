"""Figures of a photo bound to quantities: by label, by unit, by what was said at that moment; else they are asked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from extract.averages import slot_of, weigh_averages
from extract.book import DISPLAY_SLACK, phase_at
from extract.context import Context, Known
from extract.doubt import TESTS, against_governor, broken, doubt
from extract.labels import named, plain_words, told
from extract.lexicon import Grammar
from extract.numbers import Number
from extract.over_range import OVER_RANGE
from extract.prints import Headings, Senses, headings, is_over, is_time, legend, senses, valueless
from extract.values import basis_named, fit
from schemas.base import decimal_of, is_value_text
from schemas.displays import Sense, is_known_label
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Figure, Look
from schemas.readings import AGREES_WITH_FILE, Alternative, Operation, Reading, Record, Source
from schemas.sheet import Quantity
from schemas.units import show_unit, units

__all__ = ["bind_look"]

_ONE_NUMBER = ("segments", "unknown")
"""displays on which a number alone is the reading; on others it is a clock, a counter, a number of the copy"""


def bind_look(
    look: Look, at: float | None, context: Context, grammar: Grammar
) -> tuple[Context, tuple[Operation, ...]]:
    """Return the context after a photo and its readings. ``at``: seconds in the job's time, None if not known.

    Pure: the same arguments give the same result, and ``context`` is left as it was.
    """
    after = context.copy()
    made: list[Reading] = []
    nameless: list[int] = []
    said: dict[str, Sense] = {}
    beyond: set[str] = set()
    printed = headings(look, grammar)
    blocks = senses(look, grammar, printed)
    bare = valueless(look, grammar, lambda label: named(label, grammar)[0])
    for n, figure in enumerate((*look.figures, *bare)):
        if is_time(figure, look):
            continue
        reading, sense, more = _bound(figure, n, look, at, after, grammar, printed, blocks)
        if n >= len(look.figures) and reading is not None and any(r.quantity == reading.quantity for r in made):
            continue  # its value was read elsewhere in the picture
        if reading is None:
            if _may_be_wanted(figure, look, grammar):
                nameless.append(n)
            continue
        reading = against_governor(reading, after.setting)
        found = None
        if reading.quantity is not None and reading.condition is not None and is_value_text(reading.value):
            found = broken(reading, made, grammar, after.setting)
        if found:
            reading = reading.model_copy(update={"doubts": (*reading.doubts, found[0])})
        failed = {d.kind.value for d in reading.doubts}
        reading = reading.model_copy(update={"passed": (*reading.passed, *(t for t in TESTS if t not in failed))})
        made.append(reading)
        said |= {reading.id: sense} if sense else {}
        beyond |= {reading.id} if more else set()
    made = weigh_averages(made, said)
    plain = [r for r in made if r.id not in beyond]
    made = [r if r.id in beyond else _unless_twice(r, plain) for r in made]
    if nameless:
        made.append(_nameless(nameless, look, after, grammar))
    operations = tuple(Record(reading=r) for r in made)
    for r in made:
        after.readings[r.id] = r
        if at is not None:
            after.times[r.id] = at
    return after, operations


def _unless_twice(reading: Reading, made: Sequence[Reading]) -> Reading:
    """A quantity that one picture shows twice with different values: one of the labels was misread."""
    same = [r for r in made if slot_of(r) == slot_of(reading) and r.value != reading.value]
    if reading.quantity is None or not same:
        return reading
    text = doubt(DoubtKind.QUANTITY_UNCLEAR, f"the picture shows {same[0].value} for it too")
    passed = tuple(t for t in reading.passed if t != text.kind.value)
    return reading.model_copy(update={"doubts": (*reading.doubts, text), "passed": passed})


def _may_be_wanted(figure: Figure, look: Look, grammar: Grammar) -> bool:
    """Say whether a figure that could be given to nothing may all the same be a reading of the sheet.

    A label that is known in the trade and not on the sheet, and print that is no reading (a date, a time, a serial
    number, the count of a copy), is none. In a picture of one number everything is asked about; in a table what has no
    label that could be read but a unit of the sheet, or a point.
    """
    if is_known_label(figure.label):
        return False
    if look.display in _ONE_NUMBER:
        return bool(figure.value)
    sure = not any(d.kind == DoubtKind.QUANTITY_UNCLEAR for d in figure.doubts)
    if figure.label.strip() and sure:
        return False
    value = _plain(figure.value)
    unit = grammar.unit_written(figure.unit)
    wanted = any(unit in q.units for q in grammar.sheet.quantities if q.kind == "number")
    return is_value_text(value) and (wanted if unit else "." in value)


def _nameless(numbers: Sequence[int], look: Look, c: Context, grammar: Grammar) -> Reading:
    """One question for all figures of a picture that could be given to nothing, at the box of the first."""
    figures = [look.figures[n] for n in numbers]
    first = figures[0]
    shown = ", ".join(" ".join(part for part in (f.label, f.value, _shown(f.unit)) if part) for f in figures[1:])
    text = "the picture does not say what it shows" + (f"; nor what {shown} is" if shown else "")
    others = (d for d in first.doubts if d.kind != DoubtKind.QUANTITY_UNCLEAR)
    return Reading(
        id=f"{look.evidence[:16]}-f{numbers[0]}",
        quantity=None,
        condition=None,
        value=_plain(first.value),
        unit=grammar.unit_written(first.unit),
        appliance=c.tag(),
        source=Source(evidence=look.evidence, box=first.box, heard=first.value),
        alternatives=tuple(Alternative(value=_plain(a), why="may be read so") for a in first.alternatives[:3]),
        doubts=(*others, doubt(DoubtKind.QUANTITY_UNCLEAR, text)),
    )


def _shown(unit: str) -> str:
    return show_unit(unit) if unit in units() else unit


def _bound(
    figure: Figure,
    n: int,
    look: Look,
    at: float | None,
    c: Context,
    grammar: Grammar,
    printed: Headings,
    blocks: Senses,
) -> tuple[Reading | None, Sense | None, bool]:
    """One figure as a reading, whether it is an average or held, and whether its label says more than is understood.

    No reading where the sheet does not want it.
    """
    doubts: list[Doubt] = list(figure.doubts)
    alternatives = [Alternative(value=_plain(a), why="may be read so") for a in figure.alternatives[:3]]
    unit = grammar.unit_written(figure.unit)
    value = _plain(figure.value)
    measured = look.display != "plate" and (is_value_text(value) or is_over(value))
    quantity, sense, unclear, beyond = told(figure.label, unit, grammar, measured=measured)
    if sense is not None and look.display == "plate":
        return None, None, False  # the highest or lowest that an appliance may have is no reading
    sense = sense or blocks.of(figure)
    announced: Reading | None = None
    if unclear:
        doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, unclear))
    if beyond:
        kin = [q.id for q in grammar.sheet.quantities if q.kind_of == quantity]
        alternatives = [*(Alternative(quantity=q, why="its label says more") for q in kin), *alternatives]
    if quantity is None:
        if figure.label.strip():
            return None, None, False  # something that this sheet does not ask for, or nothing that can be told
        quantity, announced, more = _unlabelled(value, unit, at, c, grammar)
        if quantity is None:
            if not more or not (unit or look.display in _ONE_NUMBER):
                return None, None, False
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the picture does not say what it shows"))
            alternatives += [Alternative(quantity=q, why="the value fits") for q in more]
    q = grammar.quantities[quantity] if quantity else None
    if q is not None and q.kind == "number":
        if figure.unit.strip() and not unit:
            doubts.append(doubt(DoubtKind.UNIT_UNCLEAR, f"the unit was read as {figure.unit}"))
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
        running = c.state if at is not None else None
        condition = announced.condition if announced else running
        if printed.found:
            condition = printed.of(figure)
            if printed.several or (look.display != "slip" and running not in (None, condition)):
                names = " and ".join(dict.fromkeys(grammar.conditions[one].name for _, one in printed.found))
                doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, f"the picture says {names}"))
        if q is not None and condition not in q.conditions:
            condition = None
        if condition is None and not any(d.kind == DoubtKind.CONDITION_UNCLEAR for d in doubts):
            doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "the picture does not say when it was taken in the work"))
    appliance = None if q is not None and q.every_job else (announced.appliance if announced else c.tag())
    if c.several() and (appliance is None or at is None) and not (q is not None and q.every_job):
        appliance = None  # what was spoken of when it was added says nothing of a picture without a moment
        doubts.append(doubt(DoubtKind.APPLIANCE_UNCLEAR, "it was not said which appliance"))
    held = "its label" if sense == "held" else legend(look, printed)
    if held and q is not None and q.conditions:
        doubts.append(doubt(DoubtKind.VALUE_UNCLEAR, f"{held} says that it is held, and not what is shown at present"))
    doubts, says_so = _against_file(quantity, value, unit, appliance, doubts, c.setting.known)
    reading = Reading(
        id=f"{look.evidence[:16]}-f{n}",
        quantity=quantity,
        condition=condition,
        phase=announced.phase if announced else phase_at(c, condition, grammar) if at is not None else "",
        value=value,
        unit=unit,
        appliance=appliance,
        note=basis_named(q, figure.label) if q is not None else "",
        source=Source(evidence=look.evidence, box=figure.box, heard=figure.value),
        alternatives=tuple(alternatives),
        doubts=tuple(doubts),
        passed=(says_so,) if says_so else (),
    )
    return reading, sense, beyond


_SETTLED_BY_THE_FILE = frozenset((DoubtKind.TO_CONFIRM, DoubtKind.DIGIT_UNSURE, DoubtKind.HIDDEN))


def _against_file(
    quantity: str | None, value: str, unit: str, appliance: str | None, doubts: list[Doubt], known: Sequence[Known]
) -> tuple[list[Doubt], str]:
    """Weigh a figure against the appliance file: the same is a second source, another value is a doubt."""
    told = [one for one in known if one.quantity == quantity and appliance in (None, one.appliance)]
    if not told:
        return doubts, ""
    if any(one.unit == unit and _same(one.value, value) for one in told):
        return [d for d in doubts if d.kind not in _SETTLED_BY_THE_FILE], AGREES_WITH_FILE
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
    if is_over(value):
        doubts.append(doubt(DoubtKind.VALUE_UNCLEAR, f"the display shows {value}, over its range"))
        return OVER_RANGE, unit or measure.default(c.setting.units)
    if not value:
        return value, unit
    if not is_value_text(value):
        doubts.append(doubt(DoubtKind.IMPOSSIBLE, "it is not a number"))
        return value, unit
    f = fit(_number(value), unit, measure, c.setting.units)
    if "unit kind" in f.doubts or "unit" in f.doubts:
        doubts.append(doubt(DoubtKind.UNIT_UNCLEAR, "the unit shown does not fit"))
        alternatives[:0] = _in_parts(value, unit, grammar.quantities[quantity])
    elif "impossible" in f.doubts:
        doubts.append(doubt(DoubtKind.IMPOSSIBLE, "no such value can be"))
        alternatives += f.alternatives()
    return value, f.choices[0].unit


def _in_parts(value: str, unit: str, q: Quantity) -> list[Alternative]:
    """A share in per cent as a quantity in parts per million has it: CO 0.0076 % is 76 ppm."""
    if unit != "%" or "[ppm]" not in q.units:
        return []
    parts = f"{(decimal_of(value) * 10_000).normalize():f}"
    return [Alternative(value=parts, unit="[ppm]", why="so much is what the display shows in per cent")]


def _option(value: str, choices: dict[str, tuple[str, ...]]) -> str | None:
    words = plain_words(value)
    for option, phrases in choices.items():
        if words == plain_words(option.replace("_", " ")) or words in {plain_words(p) for p in phrases}:
            return option
    return None
