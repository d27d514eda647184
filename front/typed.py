"""What a person typed as an answer, as the candidate that it means."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from jobs.questions import TURN_WAYS
from schemas.base import is_value_text
from schemas.errors import WrongUse
from schemas.questions import Candidate, Question
from schemas.sheet import Quantity, Sheet
from schemas.units import units

__all__ = ["typed_answer", "typed_unit", "typed_words"]


def typed_answer(question: Question, said: str, sheet: Sheet, *, reading: str | None = None) -> Candidate:
    """Return a typed value as an answer for one reading of a question, its first one unless told.

    A number takes the unit that was asked about unless another is typed behind it: ``9.3``, ``22.5 mbar``.

    Raises:
        WrongUse: it is no such value, nothing is known that it could be of, the question is where several readings
            belong, or it is about several quantities and none is named: ``o2 4.6``.
    """
    if question.alike:
        raise WrongUse("The question is where the readings belong; choose one of the answers, or edit a single value.")
    if reading is None and len({one.quantity for one in question.candidates}) > 1:
        reading, said = _named(question, said, sheet)
    mine = [one for one in question.candidates if one.reading == (reading or question.readings[0])]
    if not mine:
        raise WrongUse("Nothing is known that the value could be of; enter it with its quantity.")
    first = mine[0]
    quantity = sheet.quantity(first.quantity)
    text, _, rest = said.strip().partition(" ")
    if quantity.kind == "move":
        rest, note = _turn(rest, mine, sheet)
        first = first.model_copy(update={"note": note})
    if quantity.kind not in ("number", "move"):
        return first.model_copy(update={"value": typed_words(said, quantity), "unit": "", "why": "typed"})
    if not is_value_text(text):
        raise WrongUse(f"{said!r} is neither an answer above nor a value; type a value like 9.3 or -0.02.")
    return first.model_copy(update={"value": text, "unit": typed_unit(rest, first.unit), "why": "typed"})


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
    """Return the reading that the first word names, and the rest."""
    word, _, rest = said.strip().partition(" ")
    names = {one.quantity: sheet.quantity(one.quantity).name for one in question.candidates}
    for one in question.candidates:
        if rest.strip() and word.casefold() in (one.quantity, names[one.quantity].casefold()):
            return one.reading, rest
    raise WrongUse(f"Say of which one: {' or '.join(names)} in front of the value, such as {next(iter(names))} 9.3.")


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
