"""Values told by pointing at others: "same on the offset", "the one before was right", "up a tenth", "it's halved".

No number of its own is said, or none that is a reading. A careful colleague asks what to write down; so does this.
"""

from __future__ import annotations

from extract.assign import Value
from extract.book import Book
from extract.context import RECENT, Topic
from extract.doubt import doubt
from extract.numbers import number_like
from extract.parse import Parsed
from schemas.doubts import DoubtKind
from schemas.readings import Alternative, Reading, Relabel

__all__ = ["differences", "earlier", "same_as", "wondered"]

FEW = 9  # a sentence that points at a value before is no longer than this
_UP_OR_DOWN = frozenset(("up", "down", "higher", "lower"))


def same_as(b: Book, p: Parsed) -> None:
    """ "Same on the offset": the value that it had elsewhere is offered, and asked about."""
    if p.moves or p.sentence.mark == "?" or not any(s.has("same") for s in p.sentence.segments):
        return
    for name in p.names:
        s = p.sentence.segments[name.segment]
        if name.used or len(name.ids) != 1 or s.numbers or s.kind != "reading":
            continue
        q = name.ids[0]
        if not (s.has("same") or not p.values):
            continue
        told = [c for c in (b.resolve(one) for one in s.conditions) if c is not None]
        here = b.c.state if b.c.state in b.g.quantities[q].conditions else None
        old = next(
            (
                r
                for r in reversed(list(b.c.live()))
                if r.quantity == q and b.measured(r) and (not told or r.condition in told or here is None)
            ),
            None,
        )
        condition = here or (told[-1] if told else None)
        if old is None or condition is None:
            continue
        phase, tag = b.phase_for(condition), b.appliance_for(q)
        if b.c.at_slot(q, condition, phase, tag) is not None:
            continue
        text = doubt(DoubtKind.TO_CONFIRM, "it was said to be the same as before")
        new = old.model_copy(
            update={
                "id": b.new_id(), "condition": condition, "phase": phase, "appliance": tag, "doubts": (text,),
                "alternatives": (), "asked_with": None, "source": b.source(name.start, name.end),
            }
        )  # fmt: skip
        b.settle(new, None, "")
        name.used += 1


def differences(b: Book, p: Parsed) -> None:
    """ "It's up a tenth", "dropped by ten", "CO's halved": how far a value moved; what it is now is asked."""
    moved = [v for v in p.values if _by_how_much(b, v)]
    for v in moved:
        p.values.remove(v)
    if not moved and (p.values or not any(s.has("multiplied") for s in p.sentence.segments)):
        return
    ids = moved[0].name.ids if moved and moved[0].name is not None else ()
    ids = ids or next((n.ids for n in p.names if n.ids and not n.implied), ())
    r = b.last_of(ids)
    for n in p.names:
        n.used += n.ids == ids
    if r is None or not b.measured(r) or not r.taken or b.at - b.c.times.get(r.id, float("-inf")) > RECENT:
        return
    _ask(b, r, p, "it was said to have changed since")


def _by_how_much(b: Book, v: Value) -> bool:
    """Whether a number is a difference: behind "by" in a clause that tells of a change, or a share behind "up"."""
    ahead = [b.tokens[k].low for k in range(max(0, v.start - 3), v.start) if b.tokens[k].low not in ("a", "another")]
    if ahead[-1:] == ["by"]:
        return not (ahead[:-1] and number_like(b.tokens[v.start - 2], b.g.lang))  # but "four by two"
    small = v.number.digits.endswith("/") and v.number.first.startswith("0.") and v.unit in ("", "%")
    return small and bool(ahead) and ahead[-1] in _UP_OR_DOWN


def earlier(b: Book, p: Parsed) -> bool:
    """ "No, the one before": what was put right was right after all, or it is the reading before that is wrong."""
    if p.values or p.checks or p.moves or p.captures or len(p.laid.items) > FEW or p.sentence.mark == "?":
        return False
    if not any(s.has("earlier") for s in p.sentence.segments) or any(n.ids for n in p.names):
        return False
    last = b.last_of()
    if last is None or not b.measured(last) or b.at - b.c.times.get(last.id, float("-inf")) > RECENT:
        return False
    old = dict(b.c.replaced).get(last.id)
    if old is not None:
        text = doubt(DoubtKind.CONFLICT, f"{old.value} was said to be right after all")
        other = Alternative(value=last.value, unit=last.unit, why="said before")
        new = last.model_copy(
            update={"id": b.new_id(), "value": old.value, "unit": old.unit, "doubts": (*last.doubts, text),
                    "alternatives": (other, *last.alternatives)}
        )  # fmt: skip
        b.settle(new, last.id, text.detail)
        return True
    rows = [r for r in b.c.live() if b.measured(r) and r.id != last.id]
    if rows and rows[-1].taken:
        _ask(b, rows[-1], p, "what follows may put it right")
        b.c.pending, b.c.last = Topic((str(rows[-1].quantity),), rows[-1].condition, b.at), (rows[-1].id,)
    elif last.taken:
        _ask(b, last, p, "it may have been another value")
    return True


def wondered(b: Book, p: Parsed) -> None:
    """ "Was that nine one or nine seven?": whoever asks that of what was just said is not sure of it."""
    r = b.last_of()
    if r is None or not r.taken or not b.measured(r) or b.at - b.c.times.get(r.id, float("-inf")) > RECENT:
        return
    for v in p.values:
        if v.hedge != "or" or p.sentence.segments[v.segment].kind != "question":
            continue
        said = [v.number, *v.others]
        if (v.name is not None and r.quantity not in v.name.ids) or not any(
            r.value == text for number in said for text, _ in number.choices
        ):
            continue
        _ask(b, r, p, "whoever said it asked what it was")
        return


def _ask(b: Book, r: Reading, p: Parsed, why: str) -> None:
    source = b.source(p.laid.items[0].start, p.laid.items[-1].end)
    text = doubt(DoubtKind.TO_CONFIRM, why)
    b.emit(Relabel(target=r.id, doubts=(*r.doubts, text), source=source, why=why))
