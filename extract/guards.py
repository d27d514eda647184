"""Structural safety: what stands beside a value and is not understood is a reason to ask, whatever the words are.

No vocabulary is ever complete. A limit, another site, a firing rate or a correction said in words that are not in the
language file must not turn a number into a reading unasked.
"""

from __future__ import annotations

from extract.assign import Value
from extract.book import Book
from extract.context import RECENT
from extract.doubt import doubt
from extract.parse import Parsed
from extract.values import fit
from schemas.doubts import DoubtKind
from schemas.readings import Alternative, Reading

__all__ = ["contradicted", "not_understood"]


def not_understood(b: Book, v: Value, p: Parsed) -> str:
    """The first word beside a value, in its own clause, that is not known; empty where all are."""
    for n, i in enumerate(p.laid.items):
        if p.laid.segment_of[n] == v.segment and i.kind == "word":
            return b.tokens[i.start].text
    return ""


def contradicted(b: Book, v: Value, p: Parsed) -> bool:
    """Whether a bare number that nothing else claims may be the last reading once more, with another value.

    "Stack is one thirty four. Let me look once more. One twenty four.": if no correction was understood the last
    reading is asked about, and the new value is offered.
    """
    old = _comparable(b, v)
    if old is None or any(s.kind != "reading" for s in p.sentence.segments) or v.followed:
        return False
    f = fit(v.number, v.unit, b.g.measures[str(old.quantity)], b.c.setting.units)
    best = f.choices[0]
    if f.doubts or not best.usual or best.unit != old.unit or best.value == old.value:
        return False
    text = doubt(DoubtKind.CONFLICT, f"{old.value} was said before, {best.value} behind it")
    new = old.model_copy(
        update={
            "id": b.new_id(), "value": best.value, "source": b.source(v.start, v.end),
            "doubts": (*old.doubts, text),
            "alternatives": (Alternative(value=old.value, unit=old.unit, why="said before"), *old.alternatives),
        }
    )  # fmt: skip
    b.settle(new, old.id, text.detail)
    return True


def _comparable(b: Book, v: Value) -> Reading | None:
    """The reading that a bare number may be said against: the last one, of a moment ago, with as many decimals."""
    last = b.last_of()
    if last is None or last.quantity is None or not b.measured(last) or v.condition or v.hedge or v.noted:
        return None
    if b.at - b.c.times.get(last.id, float("-inf")) > RECENT or v.number.cut:
        return None
    return last
