"""What an utterance does to the readings when it is heard in another way: where the ways differ, it is asked.

Numbers are weighed one by one (extract/weighed.py). This is for what has no number of its own: a reading that gets
another label ("that was minimum" for "down to minimum"), a fuel, a date, the way in which a screw was turned.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from extract.context import Context
from extract.doubt import doubt
from extract.lexicon import Grammar
from extract.ways import SECOND, Way, same_words, ways
from extract.whereabouts import enough
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Hypothesis, Utterance
from schemas.readings import Alternative, Change, Operation, Reading, Record

__all__ = ["unsettled"]

_NAMED = {
    "condition": (DoubtKind.CONDITION_UNCLEAR, "heard in another way it was not read there"),
    "appliance": (DoubtKind.APPLIANCE_UNCLEAR, "heard in another way it is not of that one"),
    "quantity": (DoubtKind.QUANTITY_UNCLEAR, "heard in another way it is not that"),
    "unit": (DoubtKind.UNIT_UNCLEAR, "heard in another way it has another unit"),
}
"""The labels of a reading, and what is asked where the ways of hearing differ in one."""
_KINDS = ("choice", "date")
_ELSE = doubt(DoubtKind.HEARD_UNCLEARLY, "another way it was heard has something else")


class _Done(NamedTuple):
    """What one way of hearing did: what became of the readings that stood before, and what is new and no number, in
    its order."""

    was: dict[str, Reading | None]
    new: dict[tuple[str | None, ...], list[Reading]]


def unsettled(
    utterance: Utterance,
    at: float,
    context: Context,
    after: Context,
    operations: Sequence[Operation],
    grammar: Grammar,
    step: Callable[[Utterance, float, Context, Grammar], tuple[Context, tuple[Operation, ...]]],
) -> Iterator[tuple[Reading, Doubt, Alternative | None]]:
    """Yield readings that enough other ways of hearing leave as they were or make otherwise, each with its doubt."""
    if utterance.second_opinion is None:
        return
    mine = _done(context, after, operations, grammar)
    touched = {rid: r for rid, r in mine.was.items() if r is not None and _labels(r) != _labels(context.readings[rid])}
    if not touched and not mine.new:
        return
    others: list[tuple[Way, _Done]] = []
    things = "|".join(map(re.escape, grammar.appliance_words))
    # "that was boiler too": nobody can hear whether that is a two
    texts = [
        (way, re.sub(rf"(?i)\b({things}),? too\b(?=\W*$)", r"\1 two", way.text))
        for way in ways(utterance, grammar.appliance_words)
    ]
    texts = [(way, text) for way, text in texts if same_words(text) != same_words(utterance.text)]
    few = sum(way.mass for way, _ in texts) < grammar.certain.against  # then only the second opinion is enough
    for way, text in texts:
        if way.who == SECOND or not few:
            said = Hypothesis(text=text, mass=1.0)
            alone = utterance.model_copy(update={"hypotheses": (said,), "second_opinion": None})
            others.append((way, _done(context, *step(alone, at, context, grammar), grammar)))
    for rid, reading in touched.items():
        old = context.readings[rid]
        for label, (kind, why) in _NAMED.items():
            now = getattr(reading, label)
            if now == getattr(old, label) or reading.value != old.value or not reading.taken:
                continue
            found = [(way, getattr(r, label)) for way, done in others if (r := done.was.get(rid)) is not None]
            against = [way for way, other in found if other != now]
            against += [way for way, done in others if done.was.get(rid) is None]
            if enough(against, grammar):
                other = next((told for _, told in found if told not in (now, getattr(old, label))), getattr(old, label))
                yield reading, doubt(kind, why), Alternative(**{label: other}, why="heard so, or as it was")
                break
    for key, made in mine.new.items():
        for n, reading in enumerate(made):
            # what a way of hearing has no turn for says nothing of which way it was
            differing = [(way, done.new[key][n]) for way, done in others if len(done.new.get(key, ())) > n]
            differing = [(way, r) for way, r in differing if _told(r, grammar) != _told(reading, grammar)]
            if reading.taken and enough([way for way, _ in differing], grammar):
                turn = reading.quantity == grammar.move
                yield reading, _ELSE, None if turn else Alternative(value=differing[0][1].value, why="heard so too")


def _done(context: Context, after: Context, operations: Sequence[Operation], grammar: Grammar) -> _Done:
    became = {op.target: op.reading.id for op in operations if isinstance(op, Change)}
    was: dict[str, Reading | None] = {}
    for rid in context.readings:
        last = rid
        while last in became:
            last = became[last]
        was[rid] = after.readings.get(last)
    new: dict[tuple[str | None, ...], list[Reading]] = {}
    for op in operations:
        made = after.readings.get(op.reading.id) if isinstance(op, Record | Change) else None
        if made is not None and _told(made, grammar):
            new.setdefault((made.quantity, made.condition, made.appliance), []).append(made)
    return _Done(was, new)


def _labels(r: Reading) -> tuple[str | None, ...]:
    return tuple(getattr(r, label) for label in _NAMED)


def _told(r: Reading, grammar: Grammar) -> str:
    """What a reading says that is no number: a choice, a date, which screw was turned and which way."""
    if r.quantity == grammar.move:
        return r.note
    q = grammar.quantities.get(r.quantity or "")
    if q is not None and q.kind == "text" and q.form == "code":
        return re.sub(r"[^A-Z0-9]", "", r.value.upper())
    return r.value if q is not None and q.kind in _KINDS else ""
