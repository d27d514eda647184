"""Where the ways of hearing an utterance take the work: the firing rates and appliances that they name.

What only some of them name is a doubt about the place of what was said, and of what follows.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from extract.aloud import aloud
from extract.context import Context
from extract.lexicon import Grammar
from extract.parse import Heard, parse
from extract.ways import SECOND, Way, ways
from schemas.evidence import Utterance

__all__ = [
    "appliances_of",
    "elsewhere",
    "enough",
    "firing_of",
    "other_appliance",
    "place_in_doubt",
    "rates_of",
    "rates_together",
    "speaking_of_appliances",
]

_UM = re.compile(r"\b(?:minimum|maximum),? (?=[0-9])", re.IGNORECASE)
"""What the second opinion makes of "is um, seven": a rate beside the one that every way of hearing has."""


def place_in_doubt(utterance: Utterance, heard: Heard, context: Context, grammar: Grammar) -> tuple[bool, bool]:
    """Return whether the firing rate, and whether the appliance, that an utterance goes to was heard in two ways."""
    heard_ways = ways(utterance, grammar.appliance_words)
    if not firing_of(heard, grammar) and not appliances_of(heard):
        # Others may name an appliance; a firing rate that only they name is looked for where a value follows.
        others = speaking_of_appliances(heard_ways, grammar)
        here: set[object] = {context.appliance} if context.appliance else set()
        named = [set(appliances_of(parse(w.text, context, grammar))) for w in others]
        return False, enough(_divided(here, named, others), grammar)
    parsed = [heard if w.text == utterance.text else parse(w.text, context, grammar) for w in heard_ways]
    last = [set(firing_of(one, grammar)[-1:]) for one in (heard, *parsed)]  # what follows goes where it went last
    astray = _divided(last[0], last[1:], heard_ways)
    return enough(astray, grammar), enough(other_appliance(heard, parsed, heard_ways), grammar)


def rates_of(heard: Heard) -> list[object]:
    """Firing rates and other conditions that are named, or gone to."""
    found = [c.value for p in heard.sentences for s in p.sentence.segments for c in s.conditions]
    return [c[0] if isinstance(c, tuple) and len(c) == 1 else c for c in found]


def firing_of(heard: Heard, grammar: Grammar) -> list[object]:
    """Firing rates that are adjusted, of those named, in their order."""
    return [rate for rate in rates_of(heard) if rate in grammar.conditions and grammar.conditions[str(rate)].adjusted]


def rates_together(heard: Heard, grammar: Grammar) -> bool:
    """Whether two firing rates stand side by side, of which one was heard for another word: "at max, minimum rate"."""
    for p in heard.sentences:
        items = [i for i in p.laid.items if i.kind not in ("mark", "filler")]
        rates = [str(i.value) if i.kind == "condition" else "" for i in items]
        rates = [rate if rate in grammar.conditions and grammar.conditions[rate].adjusted else "" for rate in rates]
        if any(one and other and one != other for one, other in pairwise(rates)):
            return True
    return False


def appliances_of(heard: Heard) -> list[object]:
    """Appliances that are named."""
    return [i.get("appliance") for p in heard.sentences for i in p.laid.items if i.get("appliance") is not None]


def speaking_of_appliances(heard_ways: Sequence[Way], grammar: Grammar) -> list[Way]:
    """The ways of hearing that have a word for an appliance."""
    return [way for way in heard_ways if set(aloud(way.text).split()) & grammar.appliance_words]


def elsewhere(
    heard: Heard, parsed: Sequence[Heard], heard_ways: Sequence[Way], state: str | None, grammar: Grammar
) -> list[Way]:
    """The ways of hearing that name other firing rates, than ``state`` where none is named."""
    mine = set(firing_of(heard, grammar)) or {rate for rate in (state,) if rate}
    found = [set(firing_of(other, grammar)) for other in parsed]
    for n, way in enumerate(heard_ways):
        if way.who == SECOND and mine < found[n] and _UM.search(way.text):
            found[n] = mine
    return _divided(mine, found, heard_ways)


def other_appliance(heard: Heard, parsed: Sequence[Heard], heard_ways: Sequence[Way]) -> list[Way]:
    """The ways of hearing that name another appliance."""
    return _divided(set(appliances_of(heard)), [set(appliances_of(other)) for other in parsed], heard_ways)


def _divided(mine: set[object], others: Sequence[set[object]], heard_ways: Sequence[Way]) -> list[Way]:
    """The ways of hearing that name another place than ``mine``; what names none says nothing."""
    return [w for found, w in zip(others, heard_ways, strict=True) if mine and found and found != mine]


def enough(against: Sequence[Way], grammar: Grammar) -> bool:
    """Whether so many ways of hearing have something else that it is unclear; the second opinion alone is enough."""
    return sum(w.mass for w in against) >= grammar.certain.against or any(w.who == SECOND for w in against)
