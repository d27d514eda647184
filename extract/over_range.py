"""An instrument at the end of its scale ("the CO is pegged", "O L on the CO"): that is a reading, never none."""

from __future__ import annotations

from extract.book import Book
from extract.context import CHANGED, RECENT
from extract.doubt import doubt
from extract.lexicon import Item
from extract.parse import Parsed, parse
from extract.place import moved_since
from schemas.doubts import Doubt, DoubtKind
from schemas.readings import Alternative, Reading

__all__ = ["OVER_RANGE", "over_range"]

OVER_RANGE = "over range"
"""The value of such a reading; its unit is the one that the instrument would have shown."""


def over_range(b: Book, p: Parsed) -> None:
    """Record the quantities that a sentence says to be over range.

    A clause with numbers is read as numbers ("pegged at nine one"). A quantity that is not named is the one spoken of
    last, and is asked about.
    """
    if p.sentence.mark != "?":
        for place, cue in {p.laid.segment_of[n]: i for n, i in enumerate(p.laid.items) if i.role("over_range")}.items():
            _of_clause(b, p, cue, place)


def _of_clause(b: Book, p: Parsed, cue: Item, place: int) -> None:
    segment = p.sentence.segments[place]
    if any(v.segment == place for v in p.values):
        return
    if segment.kind != "reading" or any(s.has("not", "unsure") for s in p.sentence.segments):
        return
    measured = [n for n in p.names if n.ids and not n.implied and b.g.quantities[n.ids[0]].kind == "number"]
    here = [n for n in measured if any(i.start <= n.start < i.end for i in segment.items)]
    if p.values or here:  # "CO2 eight nine, CO pegged": of the list, what is named in this clause
        measured = here
    doubts: list[Doubt] = []
    if measured:
        quantity, start = measured[-1].ids[0], min(measured[-1].start, cue.start)
        end = max(measured[-1].end, cue.end)
    elif b.c.topic is not None and b.at - b.c.topic.at < RECENT:
        quantity, start, end = b.c.topic.ids[0], cue.start, cue.end
        doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "no quantity was named"))
    else:
        return
    if not _heard_by_all(b):
        doubts.append(doubt(DoubtKind.HEARD_UNCLEARLY, "not every way it was heard has it so"))
    q = b.g.quantities[quantity]
    said = list(segment.conditions) or [c for s in p.sentence.segments for c in s.conditions]
    condition: str | None = (b.resolve(said[-1]) if said else b.c.state) if q.conditions else ""
    if condition is None or (q.conditions and condition not in q.conditions):
        condition = None
        doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "no condition was said"))
    _place(
        b,
        Reading(
            id=b.new_id(), quantity=quantity, condition=condition, phase=b.phase_for(condition), value=OVER_RANGE,
            unit=b.g.measures[quantity].default(b.c.setting.units), appliance=b.appliance_for(quantity),
            source=b.source(start, end), doubts=tuple(doubts),
        ),
        changed=segment.has("now", "changed", "change"),
    )  # fmt: skip


def _place(b: Book, new: Reading, *, changed: bool) -> None:
    old = b.c.at_slot(str(new.quantity), new.condition, new.phase, new.appliance)
    if old is None or old.value == new.value:
        b.settle(new, old.id if old else None, "said again" if old else "")
    elif changed or b.c.correcting or moved_since(b, old):
        b.settle(new, old.id, CHANGED)
    else:
        clash = doubt(DoubtKind.CONFLICT, f"{old.value} was said before, {new.value} now")
        other = Alternative(value=old.value, unit=old.unit, why="said before")
        b.settle(
            new.model_copy(update={"doubts": (*new.doubts, clash), "alternatives": (other,)}), old.id, clash.detail
        )


def _heard_by_all(b: Book) -> bool:
    others = [h.text for h in b.u.hypotheses[1:]] + ([b.u.second_opinion] if b.u.second_opinion is not None else [])
    return all(
        any(i.role("over_range") for s in parse(text, b.c, b.g).sentences for i in s.laid.items) for text in others
    )
