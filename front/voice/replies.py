"""What an utterance says as a reply to what the tool has just asked or said back.

A reply is read by the same extraction as everything else, in the place that was asked about: so numbers, signs and
units are understood alike, and what other hypotheses and the second opinion heard raises the same doubts.
"""

from __future__ import annotations

import re
from collections.abc import Set
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

import extract
from extract.lexicon import Item
from extract.parse import parse
from extract.tokens import tokenize
from front.voice.wording import Asked, say_number
from front.voice.words import Said, plain, spoken
from schemas.base import decimal_of, is_value_text
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Hypothesis, Utterance
from schemas.questions import Candidate
from schemas.readings import Reading, Record
from schemas.sheet import Quantity, Sheet
from schemas.units import unit_of

__all__ = ["Place", "Replies", "Reply"]

_UNCLEAR = {
    DoubtKind.HEARD_UNCLEARLY,
    DoubtKind.VALUE_UNCLEAR,
    DoubtKind.RUN_TOGETHER,
    DoubtKind.RANGE,
    DoubtKind.HEDGED,
    DoubtKind.CUT_OFF,
    DoubtKind.SIGN_UNCLEAR,
    DoubtKind.UNIT_UNCLEAR,
    DoubtKind.IMPOSSIBLE,
}
"""Doubts about the answer itself; that a value is unusual or fits badly is what the question was about."""


Place = tuple[str | None, str | None]
"""Appliance and condition; None where not known."""
_OF_A_NAME = frozenset(("quantity", "condition", "appliance"))
_OF_A_VALUE = _OF_A_NAME | {"number", "unit", "state"}
_BETWEEN = frozenset(("between", "to", "and", "limit"))
MOST_WORDS = 8
"""A longer utterance is a statement of its own, no answer that was not made out."""


@dataclass(frozen=True)
class Reply:
    """An answer that carries a value or names one of the candidates. ``clear``: nothing in it is in doubt.

    ``faint``: nothing but how well it was heard is in doubt. ``denies``: it begins with a no. ``unclear``: some number
    was said in answer, and which cannot be made out; ``candidate`` is then what was asked.
    """

    kind: Literal["value", "choice", "unclear"]
    candidate: Candidate
    clear: bool
    denies: bool = False
    faint: bool = False


class Replies:
    """Understands replies for one job."""

    def __init__(self, sheet: Sheet, grammar: extract.Grammar, setting: extract.Setting, said: Said | None = None):
        self._sheet = sheet
        self._grammar = grammar
        self._setting = setting
        self._said = said or spoken()
        saying = self._said.saying
        small = (saying[name] for name in ("minus", "point", "hundred", "thousand"))
        self._number_words = frozenset((*saying["digits"], *saying["tens"], *small))

    def understand(
        self, utterance: Utterance, asked: Asked, here: Place | None = None, *, left: bool = False, prompt: bool = False
    ) -> Reply | None:
        """Return what an utterance answers to ``asked``; None if it is no answer that carries anything.

        ``here`` is the place that the work is at, ``left`` whether it came there since ``asked`` was said, ``prompt``
        whether this came right after it. An answer binds where the work still is at the place that was asked about, or
        where it names that; else it is asked back. Whoever names another appliance, or later a quantity where the work
        is now, says something new. And who names a quantity after it was only said back corrects it with a "no".
        """
        if self._names_other_appliance(utterance, asked):
            return None
        if asked.limit:
            return self._limit(utterance, asked)
        denies = any(self._split(text)[0] == "no" for text in self._texts(utterance)[:2])
        signed = self.sign(utterance, asked)
        if signed is not None:
            return signed
        chosen = self._choice(utterance, asked)
        if chosen is not None:
            return Reply("choice", chosen, clear=True, denies=denies)
        counted = self._counted(utterance, asked)
        if counted is not None:
            return Reply("choice" if asked.wants == "choice" else "value", counted, clear=False, denies=denies)
        if asked.wants in ("choice", "offer") and all(self._is_neither(text) for text in self._texts(utterance)[:2]):
            return Reply("unclear", asked.candidates[0], clear=False)
        likely = self._likely(utterance, asked, here)
        if likely is not None:
            return Reply("choice", likely, clear=False, denies=denies)
        # A bare value is an answer only where there is one thing that it can be of.
        alone = len({(one.appliance, one.quantity, one.condition) for one in asked.candidates}) == 1
        for candidate in {one.quantity: one for one in reversed(asked.candidates)}.values():
            may_name = denies or (asked.question is not None and (prompt or not _elsewhere(candidate, here)))
            found = self._value(utterance, candidate, asked, alone=alone, may_name=may_name)
            if found is not None:
                told = (found.quantity, found.value, found.unit)
                same = (one for one in asked.candidates if (one.quantity, one.value, one.unit) == told)
                mine = next(same, next((one for one in asked.candidates if one.quantity == found.quantity), None))
                if mine is None or not self._is_spelt(utterance, found):
                    return None
                given = mine.model_copy(update={"value": found.value, "unit": found.unit, "why": "said"})
                given = given if denies else _as_exact(given, asked)
                doubts = {doubt.kind for doubt in found.doubts} & _UNCLEAR
                own = {one.quantity for one in asked.candidates}
                texts = self._texts(utterance)[:2]
                alone = all(self._stands_alone(text) and not self._names_another(text, own) for text in texts)
                if not self._is_of_place(utterance, asked, given, here, left=left, denies=denies):
                    if asked.question is None and not denies:
                        return None  # what was said back before the move is over
                    return Reply("value", given, False, denies)
                if alone or self._sheet.quantity(candidate.quantity).kind == "text":
                    return Reply("value", given, not doubts, denies, doubts == {DoubtKind.HEARD_UNCLEARLY})
                return Reply("value", given, False, denies)
        if asked.question is not None and self._is_bare_number(utterance, asked, here):
            return Reply("unclear", asked.candidates[0], clear=False, denies=denies)
        return None

    def sign(self, utterance: Utterance, asked: Asked) -> Reply | None:
        """Return the answer that is no more than a sign, where two values were asked about that differ in nothing else.

        "Negative" may be a no, so it is asked back.
        """
        values = {one.value.startswith("-"): one for one in asked.candidates}
        if len(values) != 2 or len({one.value.removeprefix("-") for one in asked.candidates}) != 1:
            return None
        heard = [set(plain(text).split()) - self._said.beside for text in self._texts(utterance)[:2]]
        for minus, words in ((True, self._said.minus), (False, self._said.plus)):
            if all(len(one) == 1 and one <= words for one in heard):
                is_no = any(one & self._said.commands["no"] for one in heard)
                return Reply("value", values[minus], clear=not is_no)
        return None

    def _counted(self, utterance: Utterance, asked: Asked) -> Candidate | None:
        """Return which of the two that were offered is meant by "the first one", to be asked back; None if neither."""
        offered = list(dict.fromkeys(one.model_copy(update={"reading": "", "why": ""}) for one in asked.candidates))
        heard = (plain(text).split() for text in self._texts(utterance)[:2])
        said = {" ".join(word for word in words if word not in ("the", "one")) for words in heard}
        place = next((n for n, words in enumerate(self._said.counted) if said <= words), None)
        if asked.question is None or asked.wants not in ("choice", "value") or len(offered) < 2 or place is None:
            return None
        return next(c for c in asked.candidates if c.model_copy(update={"reading": "", "why": ""}) == offered[place])

    def _is_neither(self, text: str) -> bool:
        """Say whether a text tells nothing of what something is of: "both", "the left one"."""
        words = set(plain(text).split())
        return bool(words & self._said.neither) and words <= self._said.beside | self._said.neither | {
            "one",
            "ones",
            "of",
        }

    def _limit(self, utterance: Utterance, asked: Asked) -> Reply | None:
        """Return what an utterance answers to a limit that was read back; clear if it says its bounds and no more.

        A limit that is quoted anew, with its quantity, is for extraction, as is another value with its name; and so is
        another value by itself where the limit need not be said again.
        """
        heard = [self._bounds(text, asked) for text in self._texts(utterance)[:2]]
        if None in heard or not any(heard):
            return None
        agreed = heard.count("agreed") == len(heard)
        other = asked.wants == "value" and len(plain(utterance.text).split()) <= MOST_WORDS
        return Reply("value", asked.candidates[0], agreed) if agreed or other else None

    def _bounds(self, text: str, asked: Asked) -> Literal["agreed", "other", ""] | None:
        """Return whether a text says the bounds of a limit; empty if it says no number, None if it says more."""
        bounds, first = {one.why for one in asked.candidates}, asked.candidates[0]
        tokens = tokenize(text, self._grammar.glued)
        items = self._grammar.rows(tokens, self._setting.appliances)[0].items if tokens else ()
        ends = [item for item in items if item.role("at_most") or item.role("at_least")]
        numbers = [item.value for item in items if item.kind == "number"]
        named = [{*item.value.ids, *item.value.vague} for item in items if item.kind == "quantity"]
        anew = named and any(item.role("limit") for item in items)
        places = {item.value for item in items if item.kind == "condition" and item not in ends}
        units = {item.value for item in items if item.kind == "unit" and item.value != "deg"}
        known = units <= set(self._sheet.quantity(first.quantity).units) and places <= {first.condition}
        if anew or not known or any(first.quantity not in names for names in named):
            return None
        if not numbers:
            return ""
        said = {Decimal(one.sign.strip("+") + value) for one in numbers for value, _ in one.choices}
        same = len(numbers) == len(asked.candidates) and all(Decimal(one.value) in said for one in asked.candidates)
        same = same and units <= {first.unit}
        if named and not same:
            return None
        told = [item for item in items if item.kind in _OF_A_VALUE or item in ends]
        rest = set(range(len(tokens))) - {n for item in told for n in range(item.start, item.end)}
        small = all(tokens[n].kind == "mark" or tokens[n].low in self._said.beside | _BETWEEN for n in rest)
        right = all(any(end.role(one) for one in bounds) for end in ends)
        return "agreed" if same and small and right else "other"

    def _names_other_appliance(self, utterance: Utterance, asked: Asked) -> bool:
        """Say whether an appliance is named, and none of those that were asked about."""
        mine = {one.appliance for one in asked.candidates if one.appliance is not None}
        named = {tag for text in self._texts(utterance)[:2] for tag in self._appliances(text)}
        return bool(mine and named) and named.isdisjoint(mine)

    def _is_of_place(
        self, utterance: Utterance, asked: Asked, given: Candidate, here: Place | None, *, left: bool, denies: bool
    ) -> bool:
        """Say whether an answer is surely of the place that was asked about, and not of where the work is now.

        A question that was said after the firing rate had changed named the one it is of, for a bare value, and a no
        denies what was said; but with another appliance before one's eyes, only who names the one asked about or says
        the value that was offered surely heard which.
        """
        texts = self._texts(utterance)[:2]
        offered = not left and given.value == asked.candidates[0].value
        if here is None or offered:
            return True
        if given.appliance not in (None, here[0]) and not all(
            given.appliance in self._appliances(one) for one in texts
        ):
            return False
        kinds = [{item.kind for item in self._items(one)} for one in texts]
        stated = any("quantity" in one for one in kinds)  # as a reading is, where the work is now
        moved = not denies and (left or stated) and given.condition not in ("", here[1])
        return not moved or all("condition" in one for one in kinds)

    def _is_bare_number(self, utterance: Utterance, asked: Asked, here: Place | None) -> bool:
        """Say whether a number was said and nothing that makes it more than an answer."""
        heard = parse(utterance.text, extract.start(self._setting), self._grammar)
        return any(one.values or one.clock for one in heard.sentences) and self._is_short(utterance, asked, here)

    def _is_short(self, utterance: Utterance, asked: Asked, here: Place | None) -> bool:
        """Say whether nothing makes an utterance more than an answer: no other quantity, no condition, few words."""
        mine = {one.quantity for one in asked.candidates if not _elsewhere(one, here)}
        heard = parse(utterance.text, extract.start(self._setting), self._grammar)
        names = {name for one in heard.sentences for found in one.names for name in (*found.ids, *found.vague)}
        places = any(segment.conditions for one in heard.sentences for segment in one.sentence.segments)
        words = len(plain(utterance.text).split())
        return names <= mine and not places and words <= MOST_WORDS

    def _names_another(self, text: str, own: Set[str]) -> bool:
        """Say whether a quantity other than those asked about is named: its number may be that one's, misheard."""
        named = [item.value for item in self._items(text) if item.kind == "quantity"]
        return any(own.isdisjoint((*one.ids, *one.vague)) for one in named)

    def _stands_alone(
        self, text: str, kinds: frozenset[str] = _OF_A_VALUE, names: frozenset[str] = frozenset()
    ) -> bool:
        """Say whether nothing but small words stands beside what was told.

        Any other may deny it, doubt it, or tell that it is a limit, a target or what was there before.
        """
        tokens = tokenize(self._split(text)[1], self._grammar.glued)
        if not tokens:
            return not plain(text)  # a yes or no by itself is no value: the two ways of hearing differ
        told = {n for item in self._items(text) if item.kind in kinds for n in range(item.start, item.end)}
        others = (token.low for n, token in enumerate(tokens) if n not in told and token.kind != "mark")
        return all(word in self._said.beside or word in names for word in others)

    def _is_spelt(self, utterance: Utterance, found: Reading) -> bool:
        """Say whether a code was spelt, letter by letter: what is spoken as a word is not heard as it is written."""
        quantity = self._sheet.quantity(found.quantity or "")
        if quantity.kind != "text":
            return True
        names = {word for name in quantity.said for word in plain(name).split()}
        numbers = {*self._said.saying["digits"], *self._said.saying["tens"], *self._said.saying["letters"].values()}
        known = names | numbers | {self._said.saying["oh"]}
        words = plain(self._split(utterance.text)[1]).split()
        if any(len(name) > 1 and name in found.value.lower() for name in names):
            return False  # "serial number T, number four": a word of its name was heard in it
        return all(len(word) == 1 or word.isdecimal() or word in known for word in words)

    def _texts(self, utterance: Utterance) -> list[str]:
        second = [utterance.second_opinion] if utterance.second_opinion is not None else []
        return [utterance.text, *second, *(one.text for one in utterance.hypotheses[1:])]

    def _split(self, text: str) -> tuple[str, str]:
        """Return the yes or no that a text begins with (empty: neither), and the rest."""
        found = re.match(r"\W*([A-Za-z']+)\b[\W_]*", text)
        word = found[1].lower() if found else ""
        for name, words in (("yes", self._said.yes), ("no", self._said.no)):
            if found and word in words:
                return name, text[found.end() :]
        return "", text

    def _choice(self, utterance: Utterance, asked: Asked) -> Candidate | None:
        """Return the one candidate that is named by what tells it from the others, both ways that it was heard."""
        if asked.wants not in ("choice", "offer"):
            return None
        heard = [self._named(text, asked) for text in self._texts(utterance)[:2]]
        found = {one for one in heard if one is not None}
        return found.pop() if len(found) == 1 and None not in heard else None

    def _likely(self, utterance: Utterance, asked: Asked, here: Place | None) -> Candidate | None:
        """Return what one way of hearing a short answer has, to which appliance or quantity it is, to be asked back.

        Not so a condition: whoever names one may be there now.
        """
        if asked.wants not in ("choice", "offer") or not self._is_short(utterance, asked, here):
            return None
        if not asked.which_appliance:
            heard = {self._named(text, asked) for text in self._texts(utterance)[:2]} - {None}
            return heard.pop() if len(heard) == 1 and not _differ(asked, "condition") else None
        named = {tag for text in self._texts(utterance)[:2] for tag in self._appliances(text) | self._tags(text)}
        fitting = [one for one in asked.candidates if one.appliance in named]
        return fitting[0] if len({one.appliance for one in fitting}) == 1 else None

    def _tags(self, text: str) -> set[str]:
        """Return the appliance whose tag is a word of a text, and the only number in it."""
        words = set(plain(text).split())
        if len([word for word in words if word in self._number_words or word.isdecimal()]) > 1:
            return set()
        tags = [one.tag for one in self._setting.appliances]
        return {tag for tag in tags if {tag.lower(), say_number(tag, self._said) if tag.isdecimal() else tag} & words}

    def _named(self, text: str, asked: Asked) -> Candidate | None:
        """Return the one candidate that is named, with nothing but small words beside its name."""
        words, fitting = plain(self._split(text)[1]), []
        appliances, known = self._appliances(text), set[str]()
        alone = not appliances and asked.which_appliance and len(words.split()) == 1  # "two"; but "that one" is none
        appliances = self._tags(text) if alone else appliances
        for one in asked.candidates:
            told = [self._sheet.quantity(one.quantity).said] if _differ(asked, "quantity") else []
            if _differ(asked, "condition") and one.condition:
                told.append(self._sheet.condition(one.condition).said)
            here = not _differ(asked, "appliance") or appliances == {one.appliance}
            found = [[name for name in names if f" {plain(name)} " in f" {words} "] for names in told]
            if here and all(found) and (found or appliances):
                fitting.append(one)
                known.update(word for names in found for name in names for word in plain(name).split())
        distinct = {(one.quantity, one.condition, one.appliance): one for one in reversed(fitting)}
        alone = alone or self._stands_alone(text, _OF_A_NAME, frozenset((*known, *self._said.past)))
        return next(iter(distinct.values())) if len(distinct) == 1 and alone else None

    def _appliances(self, text: str) -> set[str]:
        """Return the tags of the appliances that are named, by whatever they are called."""
        return {tag for item in self._items(text) if item.kind == "appliance" for tag in item.value}

    def _items(self, text: str) -> tuple[Item, ...]:
        """Return what a text holds beside a yes or no that it begins with, read in the likeliest way."""
        tokens = tokenize(self._split(text)[1], self._grammar.glued)
        rows = self._grammar.rows(tokens, self._setting.appliances) if tokens else []
        return rows[0].items if rows else ()

    def _value(
        self, utterance: Utterance, about: Candidate, asked: Asked, *, alone: bool, may_name: bool
    ) -> Reading | None:
        """Return the one reading that the utterance is, said where ``about`` is; None if it is another or more.

        A number without its unit is in the unit that was asked about, whatever the usual one is. Another number than
        those asked about may still be meant in the usual one, where it can be: so may any where the unit was asked.
        """
        found = self._told(utterance, about, alone=alone, may_name=may_name)
        same = [one for one in asked.candidates if one.quantity == about.quantity]
        told = any(item.kind == "unit" and item.value != "deg" for item in self._all_items(utterance))
        if found is None or not about.unit or told or {found.unit} == {one.unit for one in same}:
            return found
        again = self._told(utterance, about, alone=alone, may_name=may_name, unit=unit_of(about.unit).say)
        again = again if again is not None and again.unit == about.unit else None
        offered = again is not None and again.value in {one.value for one in same if one.unit == about.unit}
        impossible = any(doubt.kind == DoubtKind.IMPOSSIBLE for doubt in found.doubts)
        if again is not None and (offered or impossible) and len({one.unit for one in same}) == 1:
            return again
        found = again or found.model_copy(update={"unit": about.unit})
        return found.model_copy(update={"doubts": (*found.doubts, Doubt(kind=DoubtKind.UNIT_UNCLEAR))})

    def _told(
        self, utterance: Utterance, about: Candidate, *, alone: bool, may_name: bool, unit: str = ""
    ) -> Reading | None:
        """Return what :meth:`_value` does, with ``unit`` said behind it."""
        quantity = self._sheet.quantity(about.quantity)
        named = self._read(utterance, about, quantity, "", unit)
        if named is not None and not any(doubt.kind == DoubtKind.QUANTITY_UNCLEAR for doubt in named.doubts):
            return named if may_name else None
        return self._read(utterance, about, quantity, quantity.said[0], unit) if alone and quantity.said else None

    def _all_items(self, utterance: Utterance) -> list[Item]:
        return [item for text in self._texts(utterance)[:2] for item in self._items(text)]

    def _read(self, utterance: Utterance, about: Candidate, quantity: Quantity, name: str, unit: str) -> Reading | None:
        def put(text: str) -> str:
            rest = self._split(text)[1]
            return f"{name} {rest.rstrip(' .!?') if unit else rest} {unit}".strip()

        texts = {put(one.text): one.mass for one in reversed(utterance.hypotheses)}
        best = put(utterance.text)
        if not best:
            return None
        masses = [(best, texts.pop(best, 1.0)), *texts.items()]
        second = utterance.second_opinion
        said = utterance.model_copy(
            update={
                "hypotheses": tuple(Hypothesis(text=text, mass=mass) for text, mass in masses if text),
                "second_opinion": None if second is None else put(second),
            }
        )
        context = extract.start(self._setting)
        context.appliance = about.appliance if about.appliance is not None else context.appliance
        context.state = about.condition or None
        _, operations = extract.step(said, 0.0, context, self._grammar)
        if len(operations) != 1 or not isinstance(operations[0], Record):
            return None
        found = operations[0].reading
        same = found.quantity == about.quantity and (found.condition or "") == (about.condition or "")
        return found if same and found.appliance in (None, about.appliance) else None


def _as_exact(given: Candidate, asked: Asked) -> Candidate:
    """Return the value asked about where it is the same and was said more exactly: "nine point three" to 9.30."""
    if not is_value_text(given.value) or given in asked.candidates:
        return given
    for one in asked.candidates:
        alike = given.model_copy(update={"value": one.value}) == one.model_copy(update={"why": given.why})
        if alike and one.value.startswith(given.value) and decimal_of(one.value) == decimal_of(given.value):
            return one
    return given


def _elsewhere(one: Candidate, here: Place | None) -> bool:
    return here is not None and here != (one.appliance, one.condition or None)


def _differ(asked: Asked, name: str) -> bool:
    return len({getattr(one, name) for one in asked.candidates}) > 1
