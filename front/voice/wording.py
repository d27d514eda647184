"""How the tool words what it says: values as the trade says them, short, and never losing a trailing zero."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from capture.prompt import spelled
from front.voice.words import Said, spoken
from jobs.show import name_of, place_of, say_reading
from schemas.base import is_value_text
from schemas.doubts import DoubtKind
from schemas.findings import Finding
from schemas.questions import Candidate, Question
from schemas.readings import QuotedLimit, Reading
from schemas.sheet import Sheet
from schemas.units import unit_of

__all__ = ["LIMIT", "Asked", "Wording", "say_number"]

LIMIT = "limit"
"""What the slot of a limit begins with: it stays open until somebody agrees or refuses."""
MOST_MISSING = 4
"""So many missing things are named; of the others only the number."""

_OPEN_VALUE = {DoubtKind.HEDGED, DoubtKind.RANGE, DoubtKind.CUT_OFF, DoubtKind.IMPOSSIBLE}
_NAMES = {
    DoubtKind.APPLIANCE_UNCLEAR: "appliance",
    DoubtKind.QUANTITY_UNCLEAR: "quantity",
    DoubtKind.CONDITION_UNCLEAR: "condition",
}
_LABEL = {DoubtKind.CONDITION_UNCLEAR, DoubtKind.QUANTITY_UNCLEAR, DoubtKind.APPLIANCE_UNCLEAR, DoubtKind.UNIT_UNCLEAR}


@dataclass(frozen=True)
class Asked:
    """Something said that an answer may be about: a question, or values said back.

    ``wants``: ``yes`` takes yes, no or a value; ``value`` only an answer that carries the value; ``choice`` only one
    that names one of the candidates; ``offer`` a yes to the first of them, too. ``candidates`` are the complete
    answers, what was heard first. ``limit`` is the key of a limit that was quoted, ``candidates`` then its bounds: a
    yes, or the limit said again, lets it bind. ``was`` is what stood before, where that was said with it: a no may be
    meant for either.
    """

    text: str
    wants: Literal["yes", "value", "choice", "offer"]
    candidates: tuple[Candidate, ...]
    question: Question | None = None
    limit: str = ""
    was: Candidate | None = None

    @property
    def readings(self) -> tuple[str, ...]:
        """What it is about."""
        if self.question is not None and self.question.alike:
            return self.question.readings
        return tuple(dict.fromkeys(one.reading for one in self.candidates))

    @property
    def which_appliance(self) -> bool:
        """Whether it is asked which appliance something is of."""
        return self.wants in ("choice", "offer") and len({one.appliance for one in self.candidates}) > 1

    @property
    def slot(self) -> tuple[str, ...]:
        """The place that it is about, the same for whatever is heard for it next."""
        if self.limit:
            return (LIMIT, self.limit)
        first = self.candidates[0]
        return (first.appliance or "", first.quantity, first.condition, first.phase)


def say_number(value: str, said: Said) -> str:
    """Return a decimal text in words: ``-0.02`` minus point oh two, ``9.30`` nine point three zero, ``4980`` forty-nine
    eighty."""
    saying = said.saying
    sign, digits = (saying["minus"] + " ", value[1:]) if value.startswith("-") else ("", value)
    whole, _, tail = digits.partition(".")
    if not tail:
        return sign + _whole(int(whole), said)
    zeros = len(tail) - len(tail.lstrip("0")) if tail.strip("0") else 0
    spoken_tail = [saying["oh"]] * zeros + [saying["digits"][int(digit)] for digit in tail[zeros:]]
    front = "" if whole == "0" and tail.strip("0") else _whole(int(whole), said) + " "
    return f"{sign}{front}{saying['point']} {' '.join(spoken_tail)}"


def _whole(number: int, said: Said) -> str:
    if 1000 < number < 10000 and number // 100 % 10:
        head, rest = divmod(number, 100)
        oh = f"{said.saying['oh']} " if rest < 10 else ""
        return f"{_small(head, said)} {said.saying['hundred'] if not rest else oh + _small(rest, said)}"
    if number >= 10**9:  # more than anything can be: as it was heard
        return " ".join(said.saying["digits"][int(digit)] for digit in str(number))
    groups = (number // 10**6, said.saying["million"]), (number // 1000 % 1000, said.saying["thousand"])
    parts = [f"{_small(count, said)} {name}" for count, name in groups if count]
    if number % 1000 or not parts:
        parts.append(_small(number % 1000, said))
    return " ".join(parts)


def _small(number: int, said: Said) -> str:
    """Return a number below 1000 in words."""
    hundreds, rest = divmod(number, 100)
    parts = [f"{said.saying['digits'][hundreds]} {said.saying['hundred']}"] if hundreds else []
    if rest >= 20:
        ten, one = divmod(rest, 10)
        parts.append(said.saying["tens"][ten] + (f"-{said.saying['digits'][one]}" if one else ""))
    elif rest or not hundreds:
        parts.append(said.saying["digits"][rest])
    return " ".join(parts)


class Wording:
    """Words the readings, questions and findings of one job."""

    def __init__(
        self, sheet: Sheet, *, several: bool, units: Literal["us", "uk"] = "us", said: Said | None = None
    ) -> None:
        self._sheet = sheet
        self._units = units
        self._several = several
        self._said = said or spoken()
        self._phrases = self._said.phrases

    def phrase(self, name: str, **parts: object) -> str:
        """Return one of the tool's phrases, its blanks filled."""
        return self._phrases[name].format(**parts)

    def value(self, value: str, unit: str, quantity: str, *, briefly: bool = False) -> str:
        """Return a value as it is spoken, with its unit where it could be another; ``briefly``: not the usual one."""
        one = self._sheet.quantity(quantity)
        if one.choices.get(value):
            return one.choices[value][0]
        if one.kind in ("number", "move") and is_value_text(value):
            words = say_number(value, self._said)
            unsaid = not unit or (len(one.units) == 1 and unit in self._said.saying["unsaid_units"])
            usual = briefly and unit == one.default_units.get(self._units)
            return words if unsaid or usual else f"{words} {unit_of(unit).say}"
        if one.kind == "text" and one.form == "code":
            return self._spelt(value)
        return self._dated(value) if one.kind == "date" else value

    def what(self, one: Candidate | Reading) -> str:
        """Return appliance if there are several, quantity, condition."""
        names = [one.appliance or ""] if self._several else []
        names.append(self._name(one.quantity) if one.quantity else "")
        names.append(self._sheet.condition(one.condition).name if one.condition else "")
        names.append(one.phase)
        return ", ".join(name for name in names if name)

    def reading(self, one: Candidate | Reading) -> str:
        """Return ``CO2, high fire, nine point three``."""
        return f"{self.what(one)}, {self.of(one)}"

    def of(self, one: Candidate | Reading) -> str:
        """Return a reading's value as it is spoken."""
        return self.value(one.value, one.unit, one.quantity) if one.quantity else one.value

    def shown(self, one: Reading) -> str:
        """Return a reading for who looks: ``high fire: CO2 9.3 %``."""
        where = place_of(one, self._sheet, appliance=self._several)
        return f"{where}: {name_of(one, self._sheet)} {say_reading(one, self._sheet)}".removeprefix(": ")

    def must_say_back(self, one: Candidate | Reading) -> bool:
        """Say whether a value is said back whenever it is taken: CO, signs, serials, and what else the sheet says."""
        if one.quantity is None:
            return True
        quantity = self._sheet.quantity(one.quantity)
        signed = one.value.startswith("-") or quantity.sign == "must be said"
        return quantity.say_back or signed or quantity.form == "code"

    def must_carry_value(self, one: Candidate | Reading) -> bool:
        """Say whether only an answer with the value confirms it: what is said back, and what may stop the work."""
        return self.must_say_back(one) or any(
            stop.at is not None or stop.above is not None or one.value in stop.states
            for stop in self._sheet.stops
            if one.quantity == stop.quantity or one.quantity in stop.also
        )

    def question(self, question: Question, stopping: Collection[str] = ()) -> Asked | None:
        """Return a question as it is spoken; one about a reading in ``stopping``, which may stop the work, wants the
        value.

        None for what is better shown: where a picture belongs and what it shows, how a screw was turned, names, which
        no recogniser spells as they are, and what is of an appliance that the job does not have.
        """
        if question.alike and question.source.box is None:
            return self._which(question, question.candidates, stopping)
        if question.alike or not question.candidates or any(self._is_shown(one) for one in question.candidates):
            return None
        if question.source.box is not None and not question.quantities:
            return None
        first, kinds = question.candidates[0], {doubt.kind for doubt in question.doubts}
        mine = [one for one in question.candidates if one.reading == first.reading]
        what, value = self.what(first), self.of(first)
        if len({one.reading for one in question.candidates}) > 1:
            heard = list({one.reading: one for one in reversed(question.candidates)}.values())[::-1]
            if len({(one.appliance, one.quantity, one.condition, one.phase) for one in heard}) == 1:
                text = self.phrase(
                    "either", what=what, value=value, other=self._or([self.of(one) for one in heard[1:]])
                )
                return Asked(text, "value", question.candidates, question)
            link = self.phrase("and")
            values = f" {link} ".join(f"{self._name(one.quantity)} {self.of(one)}" for one in heard)
            return Asked(self.phrase("stands", values=values), "choice", question.candidates, question)
        if DoubtKind.APPLIANCE_UNCLEAR in kinds and len({one.appliance for one in mine if one.appliance}) < 2:
            return None
        if kinds & _LABEL and len(mine) > 1:
            return self._which(question, mine, stopping)
        quantity = self._sheet.quantity(first.quantity)
        if kinds & _OPEN_VALUE or (quantity.kind == "choice" and first.value not in quantity.choices):
            return Asked(self.phrase("what_is_it", what=what), "value", question.candidates, question)
        others = [one for one in mine[1:] if (one.value, one.unit) != (first.value, first.unit)]
        if others:
            text = self.phrase("either", what=what, value=value, other=self.of(others[0]))
            return Asked(text, "value", question.candidates, question)
        if self.must_carry_value(first) or first.reading in stopping:
            return Asked(self.phrase("say_value", what=what, value=value), "value", question.candidates, question)
        return Asked(self.phrase("right", what=what, value=value), "yes", question.candidates, question)

    def _which(self, question: Question, mine: Sequence[Candidate], stopping: Collection[str]) -> Asked:
        """Return a question of what a value is: its unit or digits, or else its place."""
        placed = [one for one in mine if one.appliance is not None] or mine  # which appliance is all the question then
        placed = _one_label(placed, question)
        first, same = placed[0], len({one.quantity for one in placed}) == 1
        if len({(one.appliance, one.quantity, one.condition) for one in placed}) == 1:
            other = self._or([self.of(one) for one in placed[1:3]])
            if not other:
                carried = self.must_carry_value(first) or first.reading in stopping
                wants: Literal["yes", "value"] = "value" if carried else "yes"
                phrase = "say_value" if wants == "value" else "right"  # what asks for a yes takes one
                text = self.phrase(phrase, what=self.what(first), value=self.of(first))
                return Asked(text, wants, (first, *(one for one in question.candidates if one != first)), question)
            text = self.phrase("either", what=self.what(first), value=self.of(first), other=other)
            return Asked(text, "value", question.candidates, question)
        one_condition = same and len({one.condition for one in placed}) == 1 and first.condition
        told = [self.of(first) if same else self._bare(first), self._name(first.quantity) if same else ""]
        told.append(self._sheet.condition(first.condition).name if one_condition else "")
        told.append(self.phrase("more", count=len(question.readings) - 1) if question.alike else "")
        text = self.phrase(
            "place",
            value=", ".join(part for part in told if part),
            places=self._or([self._difference(one, placed) for one in placed[:3]]),
        )
        kept = tuple(one for one in question.candidates if one in placed or one == question.candidates[0])
        return Asked(text, "choice", kept, question)

    def back(self, asked: Asked, candidate: Candidate, *, stands: bool = False) -> Asked:
        """Return an answer that was not heard clearly, asked back: what it is about stays the same.

        ``stands``: nothing says that the value said back is wrong; which of the two is right is asked then.
        """
        standing = next((one for one in asked.candidates if one.reading == candidate.reading), candidate)
        other = asked.was if asked.was is not None and standing.value == candidate.value else candidate
        if stands or other is not candidate:
            text = self.phrase("either", what=self.what(standing), value=self.of(standing), other=self.of(other))
            return Asked(text, "value", (standing, other), asked.question)
        if asked.wants in ("choice", "offer") and candidate in asked.candidates:
            place = self._difference(candidate, asked.candidates)
            others = (one for one in asked.candidates if one != candidate)
            return Asked(self.phrase("offer", place=place), "offer", (candidate, *others), asked.question)
        wants: Literal["yes", "value"] = "value" if self.must_carry_value(candidate) else "yes"
        phrase = "say_value" if wants == "value" else "right"
        text = self.phrase(phrase, what=self.what(candidate), value=self.of(candidate))
        return Asked(text, wants, (candidate, *asked.candidates), asked.question)

    def said_back(self, reading: Reading) -> Asked:
        """Return one value, said back."""
        text = self.phrase("said_back", what=self.what(reading), value=self.of(reading))
        return Asked(text, "value", (_as_heard(reading),))

    def replaced(self, reading: Reading, before: Reading) -> Asked:
        """Return a value that took another one's place, with what stood there, or what it was of until now."""
        now = _as_heard(reading)
        other = self.of(before)
        if (before.value, before.unit) == (now.value, now.unit) and before.quantity:
            then = _as_heard(before)
            other = self._difference(then, (now, then)) or other
        text = self.phrase("was", what=self.what(now), value=self.of(now), other=other)
        was = now.model_copy(update={"value": before.value, "unit": before.unit})
        return Asked(text, "value", (now,), was=was)

    def moved(self, readings: Sequence[Reading], before: Reading) -> Asked:
        """Return values that came to another place together, with the place that they were of until now."""
        if len(readings) == 1:
            return self.replaced(readings[0], before)
        row = self.row(self.place(readings[0].appliance, readings[0].condition), readings)
        now, then = row.candidates[0], _as_heard(before)
        return replace(row, text=self.phrase("moved", row=row.text, other=self._difference(then, (now, then))))

    def limit(self, key: str, quoted: QuotedLimit) -> Asked:
        """Return a limit that was quoted, read back: it binds once somebody agrees.

        With several appliances it names the one it was quoted for, or says that it holds for all.
        """
        low, high = (
            None if bound is None else self.value(bound, quoted.unit, quoted.quantity)
            for bound in (quoted.low, quoted.high)
        )
        if low is not None and high is not None:
            told = self.phrase("limits", low=self.value(quoted.low or "", "", quoted.quantity), high=high)
        else:
            told = self.phrase("at_most", value=high) if high is not None else self.phrase("at_least", value=low)
        bounds = tuple(
            Candidate(
                reading=key,
                quantity=quoted.quantity,
                condition=quoted.condition or "",
                value=bound,
                unit=quoted.unit,
                appliance=quoted.appliance,
                why=why,
            )
            for bound, why in ((quoted.low, "at_least"), (quoted.high, "at_most"))
            if bound is not None
        )
        of_one = self._several and not self._sheet.quantity(quoted.quantity).every_job
        names = [quoted.appliance or self.phrase("all_appliances") if of_one else "", self._name(quoted.quantity)]
        names.append(self._sheet.condition(quoted.condition).name if quoted.condition else "")
        what = ", ".join(name for name in names if name)
        signed = any(bound is not None and bound.startswith("-") for bound in (quoted.low, quoted.high))
        if signed or self._sheet.quantity(quoted.quantity).say_back:
            return Asked(self.phrase("limit_again", what=what, value=told), "value", bounds, limit=key)
        return Asked(self.phrase("limit_right", what=what, value=told), "yes", bounds, limit=key)

    def row(self, where: str, readings: Sequence[Reading]) -> Asked:
        """Return all values of a place, said in one breath."""
        values = ", ".join(
            f"{self._name(one.quantity)} {self.value(one.value, one.unit, one.quantity, briefly=True)}"
            for one in readings
            if one.quantity
        )
        text = self.phrase("row", where=where, values=values) if where else f"{values}."
        return Asked(text, "value", tuple(_as_heard(one) for one in readings if one.quantity))

    def place(self, appliance: str | None, condition: str | None) -> str:
        """Return ``number two, high fire``."""
        parts = [appliance or ""] if self._several else []
        parts.append(self._sheet.condition(condition).name if condition else "")
        return ", ".join(part for part in parts if part)

    def missing(self, where: str, findings: Sequence[Finding]) -> str:
        """Return the names of what is missing, the first few of them."""
        names = list(dict.fromkeys(self._name(one.quantity) for one in findings if one.quantity))
        told = names[:MOST_MISSING]
        if len(names) > MOST_MISSING:
            told.append(self.phrase("more", count=len(names) - MOST_MISSING))
        if not names:
            return self.phrase("nothing_missing")
        return self.phrase("missing" if where else "missing_visit", where=where, names=", ".join(told))

    def _name(self, quantity: str) -> str:
        return spelled(self._sheet.quantity(quantity).name)

    def _is_shown(self, one: Candidate) -> bool:
        quantity = self._sheet.quantity(one.quantity)
        return quantity.kind == "move" or (quantity.kind == "text" and quantity.form != "code")

    def _or(self, words: Sequence[str]) -> str:
        link = self.phrase("or")
        return f", {link} ".join(dict.fromkeys(words))

    def _difference(self, one: Candidate, among: Sequence[Candidate]) -> str:
        """Return what tells a candidate from the others: its quantity, appliance, condition or value."""
        parts = []
        if len({other.appliance for other in among}) > 1:
            parts.append(self._called(one.appliance or ""))
        if len({other.quantity for other in among}) > 1:
            parts.append(self._name(one.quantity))
        if len({other.condition for other in among}) > 1 and one.condition:
            parts.append(self._sheet.condition(one.condition).name)
        if len({other.value for other in among}) > 1:
            parts.append(self._bare(one))
        return " ".join(part for part in parts if part)

    def _called(self, tag: str) -> str:
        """Return an appliance's tag with what it is, where it is no more than a number or a letter."""
        what = self._sheet.appliance_words[:1] if len(tag) == 1 or tag.isdecimal() else ()
        return " ".join((*what, tag))

    def _bare(self, one: Candidate) -> str:
        """Return a value without its unit, which another quantity would not have."""
        return say_number(one.value, self._said) if is_value_text(one.value) else self.of(one)

    def _spelt(self, code: str) -> str:
        letters, digits = self._said.saying["letters"], self._said.saying["digits"]
        return " ".join(letters.get(c, digits[int(c)] if c.isdecimal() else c.upper()) for c in code if c != " ")

    def _dated(self, value: str) -> str:
        """Return a date as people say it: ``2026-03-03`` March 3, 2026."""
        found = re.fullmatch(r"(\d{4})-(0[1-9]|1[0-2])(?:-(\d\d))?", value)
        if found is None:
            return value
        month = self._said.saying["months"][int(found[2]) - 1]
        return f"{month} {int(found[3])}, {found[1]}" if found[3] else f"{month} {found[1]}"


def _one_label(candidates: Sequence[Candidate], question: Question) -> Sequence[Candidate]:
    """Return the candidates that differ from the first in nothing but the one label that is in doubt.

    Where two labels are, all of them: an answer to the one must not settle the other.
    """
    doubted = {doubt.kind for doubt in question.doubts} & _NAMES.keys()
    if len(doubted) != 1:
        return candidates
    label, first = _NAMES[doubted.pop()], candidates[0]
    names = {"appliance", "quantity", "condition", "value"} - {label}
    alike = [one for one in candidates if all(getattr(one, name) == getattr(first, name) for name in names)]
    return alike if len({getattr(one, label) for one in alike}) > 1 else candidates


def _as_heard(reading: Reading) -> Candidate:
    assert reading.quantity is not None
    return Candidate(
        reading=reading.id,
        quantity=reading.quantity,
        condition=reading.condition or "",
        phase=reading.phase,
        value=reading.value,
        unit=reading.unit,
        appliance=reading.appliance,
    )
