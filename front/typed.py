"""What a person typed as an answer, as the candidate that it means."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from jobs.questions import TURN_WAYS
from jobs.show import show_value
from schemas.base import is_value_text
from schemas.doubts import DoubtKind
from schemas.errors import WrongUse
from schemas.questions import Candidate, Question
from schemas.sheet import Quantity, Sheet
from schemas.units import show_unit, units

__all__ = ["example", "typed_answer", "typed_unit", "typed_words"]


def typed_answer(question: Question, said: str, sheet: Sheet, *, reading: str | None = None) -> Candidate:
    """Return a typed value as an answer for one reading of a question, its first one unless told.

    A number takes the unit that was asked about unless another is typed behind it: ``9.3``, ``22.5 mbar``. Beside it
    may stand what it is of, and must where that is asked: ``inlet pressure 7.2 static``. Without a number, what the
    place was asked of keeps its value: ``inlet pressure static``.

    Raises:
        WrongUse: it is no such value, what it is of is asked and not told, the question is where several readings
            belong, or it is about several quantities and none is named: ``o2 4.6``.
    """
    if question.alike:
        raise WrongUse(
            "The question is where the readings belong: choose one of its answers; their values stay as they are."
        )
    several = len({one.quantity for one in question.candidates}) > 1
    rest = said
    if reading is None and len(question.readings) > 1 and several:
        reading, rest = _named(question, said, sheet)
    mine = [one for one in question.candidates if one.reading == (reading or question.readings[0])]
    kind = sheet.quantity(mine[0].quantity).kind if mine else "number"
    if kind == "number":
        return _number(question, said, mine, sheet, reading or question.readings[0])
    first = mine[0]
    quantity = sheet.quantity(first.quantity)
    if kind != "move":
        return first.model_copy(update={"value": typed_words(rest, quantity), "unit": "", "why": "typed"})
    text, _, rest = rest.strip().partition(" ")
    rest, note = _turn(rest, mine, sheet)
    unit = typed_unit(rest, first.unit)
    return first.model_copy(update={"note": note, "value": _value(text, said), "unit": unit, "why": "typed"})


def example(question: Question, sheet: Sheet) -> str:
    """Return an answer that says all, as it may be typed: ``CO2 9.3 % high fire``.

    Empty where what the value is of is not in doubt, or nothing is likely.
    """
    if DoubtKind.QUANTITY_UNCLEAR not in {doubt.kind for doubt in question.doubts} or not question.candidates:
        return ""
    one = question.candidates[0]
    several = len({each.appliance for each in question.candidates}) > 1
    tag = _tag_words(one.appliance) if several and one.appliance else ""
    at = sheet.condition(one.condition).name if one.condition else ""
    parts = (tag, sheet.quantity(one.quantity).name, show_value(one.value, one.unit), at)
    return " ".join(part for part in parts if part)


def _value(text: str, said: str) -> str:
    if not is_value_text(text):
        raise WrongUse(f"{said!r} is neither an answer above nor a value; type a value like 9.3 or -0.02.")
    return text


def _number(question: Question, said: str, mine: Sequence[Candidate], sheet: Sheet, reading: str) -> Candidate:
    """Return a typed number with what it is of: as typed, else as it was asked where that is not in doubt.

    Raises:
        WrongUse: it is no number, or quantity, condition, appliance or unit are not known.
    """
    left, told = _taken_out(said, question, sheet)
    _refuse_what_was_not_asked(told, question, mine, sheet)
    asked = {doubt.kind for doubt in question.doubts}
    first = mine[0] if mine else None
    one_kind = len({one.quantity for one in mine}) == 1 and DoubtKind.QUANTITY_UNCLEAR not in asked
    known = first if one_kind else None
    implied = sheet.condition(told["condition"]).implies if "condition" in told else ""
    name = told.get("quantity") or (known.quantity if known else implied)
    if not name:
        such_as = f", such as {shown}" if (shown := example(question, sheet)) else ""
        raise WrongUse(f"Type what it is, its value and when it was read{such_as}.")
    quantity = sheet.quantity(name)
    condition = told.get("condition") or _condition(question, quantity, mine, sheet)
    of_it = [one for one in mine if one.quantity == name]
    same = next((one for one in of_it if one.condition == condition), None)
    appliance = None if quantity.every_job else told.get("appliance") or _appliance(question, mine)
    text, _, rest = left.partition(" ")
    if not text and first is not None:
        text = first.value
    value = _value(text, said)
    usual = [one.unit for one in (*of_it, *mine) if one.unit in quantity.units]
    usual += quantity.units if len(quantity.units) == 1 else ()
    unit = typed_unit(rest, told.get("unit") or next(iter(usual), ""))
    if not unit and quantity.units:
        raise WrongUse(f"Type the unit behind the value, such as {show_unit(quantity.units[0])}.")
    return Candidate(
        reading=reading,
        quantity=name,
        condition=condition,
        phase=same.phase if same else first.phase if first else "",
        value=value,
        unit=unit,
        appliance=appliance,
        why="typed",
    )


def _taken_out(said: str, question: Question, sheet: Sheet) -> tuple[str, dict[str, str]]:
    """Return a typed line without the words that name quantity, condition, appliance and unit, and what they name."""
    names = [("unit", one.code, way) for one in units().values() for way in (one.code, one.show, *one.said)]
    numbers = [one for one in sheet.quantities if one.kind == "number"]
    names += [("quantity", one.id, way) for one in numbers for way in (one.id, one.name, *one.said, *one.shown)]
    names += [("condition", one.id, way) for one in sheet.conditions for way in (one.name, *one.said)]
    tags = dict.fromkeys(one.appliance for one in question.candidates if one.appliance)
    names += [("appliance", tag, _tag_words(tag)) for tag in tags]
    left, told = f" {re.sub(r'[,:;]+(?=[ ]|$)', ' ', ' '.join(said.casefold().split()))} ", dict[str, str]()
    left = f" {' '.join(left.split())} "
    for part, name, way in sorted(names, key=lambda one: -len(one[2])):
        words = f" {way.casefold()} "
        # What begins with a digit is a value here, though "100 %" may name a condition.
        if part not in told and words in left and not way[0].isdigit():
            left = left.replace(words, " ", 1)
            told[part] = name
    return left.strip(), told


def _tag_words(tag: str) -> str:
    """Return an appliance as it is typed beside a value: one that is called by a number is not taken for the value."""
    return f"appliance {tag}" if tag[0].isdigit() else tag


def _refuse_what_was_not_asked(
    told: dict[str, str], question: Question, mine: Sequence[Candidate], sheet: Sheet
) -> None:
    """Refuse a quantity or condition that the question leaves no choice of: it may be another reading's."""
    asked = {doubt.kind for doubt in question.doubts}
    if not mine or DoubtKind.QUANTITY_UNCLEAR in asked:
        return
    open_ = {"condition"} if DoubtKind.CONDITION_UNCLEAR in asked else set()
    offered = {"quantity": {one.quantity for one in mine}, "condition": {one.condition for one in mine}}
    if any(part in told and part not in open_ and told[part] not in names for part, names in offered.items()):
        first = mine[0]
        at = f", {sheet.condition(first.condition).name}" if first.condition else ""
        raise WrongUse(
            f"The question is about {sheet.quantity(first.quantity).name}{at}; add a value of something else by itself."
        )


def _condition(question: Question, quantity: Quantity, mine: Sequence[Candidate], sheet: Sheet) -> str:
    """Return the condition that was asked about, where it is not in doubt."""
    if not quantity.conditions:
        return ""
    asked = DoubtKind.CONDITION_UNCLEAR in {doubt.kind for doubt in question.doubts}
    ways: list[str] = list(dict.fromkeys(one.condition for one in mine)) or [question.condition or ""]
    if len(quantity.conditions) == 1:
        ways = list(quantity.conditions)
    if (asked and len(ways) > 1) or ways[0] not in quantity.conditions:
        names = ", ".join(sheet.condition(one).name for one in quantity.conditions)
        raise WrongUse(f"Type behind the value when {quantity.name} was read: {names}.")
    return ways[0]


def _appliance(question: Question, mine: Sequence[Candidate]) -> str | None:
    """Return the appliance that was asked about, where it is not in doubt."""
    asked = DoubtKind.APPLIANCE_UNCLEAR in {doubt.kind for doubt in question.doubts}
    tags = list(dict.fromkeys(one.appliance for one in mine))
    if asked and len(tags) > 1:
        raise WrongUse(
            f"Type behind the value of which appliance it is: {', '.join(_tag_words(one) for one in tags if one)}."
        )
    return tags[0] if tags else question.appliance


def _turn(rest: str, mine: Sequence[Candidate], sheet: Sheet) -> tuple[str, str | None]:
    """Return what is typed behind an amount without the screw and the way in it, and these as a turn's note.

    Raises:
        WrongUse: one of them is in doubt, and not typed.
    """
    left = f" {' '.join(rest.casefold().split())} "
    found = {}
    for name, words in _turn_words(sheet):
        if f" {words} " in left:
            left = left.replace(f" {words} ", " ")
            found["way" if name in TURN_WAYS else "screw"] = name
    known = {one.note for one in mine}
    each = {"screw": {note.split()[0] for note in known if note}, "way": {note.split()[-1] for note in known if note}}
    for part, names in each.items():
        if part not in found and len(names) == 1:
            found[part] = next(iter(names))
    if found or known != {None}:
        if len(found) < 2:
            raise WrongUse("Type the screw and the way behind the amount: 0.25 turn high-fire screw ccw.")
        return left, f"{found['screw']} {found['way']}"
    return left, None


def _turn_words(sheet: Sheet) -> Iterator[tuple[str, str]]:
    """Yield every screw and way with the words that name it, the longest first."""
    every = [(one.id, words) for one in sheet.screws for words in (one.name, *one.said)]
    every += [("cw", "cw"), ("cw", "clockwise"), ("ccw", "ccw"), ("ccw", "counterclockwise"), ("ccw", "anticlockwise")]
    for name, words in sorted(every, key=lambda pair: -len(pair[1])):
        yield name, words.casefold()


def _named(question: Question, said: str, sheet: Sheet) -> tuple[str, str]:
    """Return the reading whose quantity is named first, and the rest."""
    names = {one.quantity: sheet.quantity(one.quantity) for one in question.candidates}
    ways = [(way, one) for one in names.values() for way in (one.id, one.name, *one.said)]
    text = " ".join(said.split())
    for way, quantity in sorted(ways, key=lambda pair: -len(pair[0])):
        if text.casefold().startswith(f"{way.casefold()} "):
            reading = next(one.reading for one in question.candidates if one.quantity == quantity.id)
            return reading, text[len(way) + 1 :]
    told = [quantity.name for quantity in names.values()]
    raise WrongUse(f"Say of which one: {' or '.join(told)} in front of the value, such as {told[0]} 9.3.")


def typed_words(said: str, quantity: Quantity) -> str:
    """Return typed words as the value they mean: a choice by any of its wordings, everything else as it stands."""
    text = said.strip()
    for choice, words in quantity.choices.items():
        if text.casefold() in (choice, *(one.casefold() for one in words)):
            return choice
    return text


def typed_unit(said: str, usual: str) -> str:
    """Return the UCUM code of a typed unit, ``usual`` where none was typed.

    Raises:
        WrongUse: no unit known here is called so.
    """
    wanted = said.strip().casefold()
    if not wanted:
        return usual
    for unit in units().values():
        if wanted in (unit.code.casefold(), unit.show.casefold(), *unit.said):
            return unit.code
    raise WrongUse(
        f"{said.strip()!r} is not a unit known here; use one of {', '.join(u.show for u in units().values())}."
    )
