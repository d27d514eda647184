"""A new reading among the old: recorded, put in the place of one, or set against it."""

from __future__ import annotations

from decimal import Decimal

from extract.aloud import sound_alike
from extract.assign import Value
from extract.book import Book, slot
from extract.context import CHANGED, LAST_KEPT, RECENT, TURNED
from extract.doubt import doubt
from extract.parse import Parsed
from schemas.base import decimal_of, is_value_text
from schemas.doubts import DoubtKind
from schemas.readings import (
    Alternative,
    Change,
    Reading,
    Record,
    Relabel,
)
from schemas.units import convert, unit_of

__all__ = ["place", "stand_alone"]


def place(b: Book, reading: Reading, v: Value, p: Parsed, target: Reading | None) -> None:
    """Record, replace, or set against what stands at the slot already."""
    if target is None and b.undone:
        for rid in b.undone:
            r = b.c.readings.get(rid)
            if r is not None and r.quantity == reading.quantity and r.condition == reading.condition:
                target = r
    old = target or b.c.at_slot(str(reading.quantity), reading.condition, reading.phase, reading.appliance)
    if old is None and b.c.correcting and reading.quantity is not None:
        r = b.last_of((reading.quantity,))
        again = r is not None and r.value == reading.value and b.last_of() is r
        if again and r is not None and b.at - b.c.times.get(r.id, float("-inf")) < RECENT:
            b.settle(reading, r.id, "corrected")  # "no, that's high fire: high fire CO twelve"
            return
        if r is not None and v.condition is None and (b.made or b.at - b.c.last_at < LAST_KEPT):
            old = target = r
            reading = reading.model_copy(update={"condition": r.condition, "phase": r.phase, "appliance": r.appliance})
            reading = reading.model_copy(
                update={
                    "doubts": tuple(
                        d for d in reading.doubts if d.kind != DoubtKind.CONDITION_UNCLEAR or r.condition is None
                    )
                }
            )
        elif v.condition is not None and (r := _at_another(b, reading)) is not None:
            old = target = r
            here = Alternative(appliance=reading.appliance, why="the work is there")
            text = doubt(DoubtKind.APPLIANCE_UNCLEAR, "only another appliance has a value there that it may correct")
            update = {"doubts": (*reading.doubts, text), "alternatives": (here, *reading.alternatives)}
            reading = reading.model_copy(update=update | {"appliance": r.appliance, "phase": r.phase})
    if old is None:
        old = unplaced(b, reading)
        b.settle(reading, old.id if old else None, "said again with its condition" if old else "")
        return
    same = (old.value == reading.value and old.unit == reading.unit) or in_other_words(old, reading)
    same = same and reading.note in ("", old.note)  # else as many seconds, but for another volume
    if same and p.sentence.continues and b.c.correcting and old.id in b.made:
        other = misheard_again(b, reading, old)
        if other.doubts and not reading.doubts:
            b.settle(other, old.id, "corrected")
            return
        text = doubt(DoubtKind.HEARD_UNCLEARLY, "it was corrected, but to the same value")
        b.emit(Relabel(target=old.id, doubts=(*old.doubts, text), source=reading.source, why=text.detail))
        return
    if same and target is None:
        b.touched.append(old.id)
        if old.doubts and not reading.doubts:
            b.settle(reading, old.id, "said again, clearly")
        elif lost(b, old, reading):
            ask_appliance(b, reading)
        elif _checked_since(b, old):
            b.settle(reading, old.id, CHANGED)
        return
    why = ""
    changes = v.name is not None and p.sentence.segments[0].has("change")  # also the second: "and the CO to sixty"
    if target is not None or b.c.correcting or changes:
        why = "corrected"
    elif v.changed or says_change(b, p, v):
        why = CHANGED
    elif moved_since(b, old):
        why = TURNED
    elif old.doubts and old.id not in b.made and not _other_value_of_a_sure_one(reading, old):
        why = "said again, clearly" if not reading.doubts else "said again"
    elif refines(b, old, reading):
        why = "said again in full"
    elif signs(old, reading):
        why = "said again with its sign"
    if v.name is not None and why.startswith("said again") and not same and _less_sure_of_what(reading, old):
        b.settle(reading, None, "")  # "nett temp thirty eight" puts no flue temperature right
        return
    if why and why != "corrected" and perhaps_adjusted(b, old):
        why = ""
    if why:
        if why == "corrected":
            reading = misheard_again(b, reading, old)
        b.settle(reading, old.id, why)
        b.c.correcting = False
        return
    if b.c.several() and not reading.doubts:
        ask_appliance(b, reading)
        return
    clash = doubt(DoubtKind.CONFLICT, f"{old.value} was said before, {reading.value} now")
    b.emit(
        Relabel(
            target=old.id, doubts=(*old.doubts, clash), asked_with=reading.id, source=reading.source, why="two values"
        )
    )
    reading = reading.model_copy(
        update={
            "doubts": (*reading.doubts, clash), "asked_with": old.id,
            "alternatives": (Alternative(value=old.value, unit=old.unit, why="said before"), *reading.alternatives),
        }
    )  # fmt: skip
    b.settle(reading, None, "")


def _checked_since(b: Book, old: Reading) -> bool:
    """Whether the instrument was checked since a value was read: the same value again is a measurement of its own."""
    checks = {q for stop in b.g.sheet.stops if old.quantity in stop.voids for q in (stop.quantity, *stop.also)}
    told = b.c.times
    return any(r.quantity in checks and told.get(r.id, 0.0) > told.get(old.id, 0.0) for r in b.c.live())


def _other_value_of_a_sure_one(new: Reading, old: Reading) -> bool:
    """Whether the old value was clear, and only its place was asked: then another value is against it."""
    place_only = {DoubtKind.CONDITION_UNCLEAR, DoubtKind.APPLIANCE_UNCLEAR}
    return new.value != old.value and place_only.issuperset(d.kind for d in old.doubts)


def _less_sure_of_what(new: Reading, old: Reading) -> bool:
    """Whether it is not clear that the new reading is of the quantity that the old one is of."""
    kinds = [{d.kind for d in r.doubts} for r in (new, old)]
    return DoubtKind.QUANTITY_UNCLEAR in kinds[0] and DoubtKind.QUANTITY_UNCLEAR not in kinds[1]


def _at_another(b: Book, new: Reading) -> Reading | None:
    """The one value of another appliance that a correction may mean, where its own has none; none where it is named."""
    if b.appliance_said or new.appliance is None:
        return None
    like = [r for r in b.c.live() if (r.quantity, r.condition) == (new.quantity, new.condition)]
    return like[0] if len(like) == 1 and like[0].source.box is None else None


def stand_alone(b: Book) -> None:
    """No two values that were said stand unasked in one place: whatever brought them there, it is asked which holds."""
    changed = [op.target for op in b.operations if isinstance(op, Relabel)]
    changed += [op.reading.id for op in b.operations if isinstance(op, Record | Change)]
    for rid in dict.fromkeys(changed):
        r = b.c.readings.get(rid)
        if r is None or not _stands(b, r):
            continue
        rivals = [x for x in b.c.live() if x.id != rid and _stands(b, x) and slot(x) == slot(r)]
        other = next((x for x in rivals if not in_other_words(x, r) and (x.value, x.unit) != (r.value, r.unit)), None)
        if other is None:
            continue
        text = doubt(DoubtKind.CONFLICT, f"{other.value} stands there too, beside {r.value}")
        for one, two in ((r, other), (other, r)):
            op = Relabel(target=one.id, doubts=(*one.doubts, text), asked_with=two.id, source=r.source, why=text.detail)
            b.emit(op)


def _stands(b: Book, r: Reading) -> bool:
    return r.taken and r.source.box is None and b.measured(r) and r.quantity != b.g.move


def in_other_words(old: Reading, new: Reading) -> bool:
    """Whether two values in different units are one, as far as their digits go: 6 in. w.c. and 15 mbar."""
    if old.unit == new.unit or not (old.unit and new.unit and is_value_text(old.value) and is_value_text(new.value)):
        return False
    if unit_of(old.unit).kind != unit_of(new.unit).kind:
        return False
    there = convert(decimal_of(old.value), old.unit, new.unit)
    own = Decimal(1).scaleb(-len(new.value.partition(".")[2]))
    last = Decimal(1).scaleb(-len(old.value.partition(".")[2]))
    coarse = abs(convert(decimal_of(old.value) + last, old.unit, new.unit) - there)
    return abs(there - decimal_of(new.value)) <= max(own, coarse) / 2


def perhaps_adjusted(b: Book, old: Reading) -> bool:
    """Whether a value as found would be lost: a turn may have been said after it that was not understood, or it was
    said to be as found and the new one was not."""
    adjusted = old.condition in b.g.conditions and b.g.conditions[str(old.condition)].adjusted
    return adjusted and (bool(b.c.turned) or (old.phase == "before" and not b.touched_phase))


def unplaced(b: Book, new: Reading) -> Reading | None:
    """The same value said just before without its condition; what a picture shows keeps its own place."""
    if not b.made and b.at - b.c.last_at > RECENT:
        return None
    for r in reversed(list(b.c.live())):
        same = r.quantity == new.quantity and r.condition is None and r.value == new.value
        if same and new.condition is not None and r.source.box is None:
            return r
    return None


def lost(b: Book, old: Reading, new: Reading) -> bool:
    """With several appliances, a filled row that begins again may be the next appliance's."""
    return b.c.several() and new.condition not in (None, "") and b.at - b.c.last_at > RECENT


def ask_appliance(b: Book, reading: Reading) -> None:
    b.c.appliance_lost = True
    text = "this was filled already; is it the next appliance?"
    nexts = [a for a in b.known_appliances() if a != reading.appliance]
    reading = reading.model_copy(
        update={
            "doubts": (*reading.doubts, doubt(DoubtKind.APPLIANCE_UNCLEAR, text)),
            "alternatives": (*(Alternative(appliance=a, why="the next one") for a in nexts[:2]), *reading.alternatives),
        }
    )  # fmt: skip
    b.settle(reading, None, "")


def misheard_again(b: Book, new: Reading, old: Reading) -> Reading:
    """A heard correction to -teen or -ty is asked about: that may be what had to be corrected. Offered first is what
    shares more digits with the value corrected: "one twenty eight, correction, one eighteen" heard as 128 and 180."""
    other = sound_alike(new.value)
    if b.u.second_opinion is None or new.doubts or not other:
        return new
    first, second = new.value, other
    if _shared(other, old.value) > _shared(new.value, old.value) or new.value == old.value:
        first, second = second, first
    return new.model_copy(
        update={
            "value": first,
            "doubts": (doubt(DoubtKind.HEARD_UNCLEARLY, f"{second} sounds alike"),),
            "alternatives": (Alternative(value=second, unit=new.unit, why="sounds alike"), *new.alternatives),
        }
    )


def _shared(a: str, b: str) -> int:
    """How many digits stand at the same place."""
    return sum(x == y for x, y in zip(a, b, strict=False)) if len(a) == len(b) else 0


def says_change(b: Book, p: Parsed, v: Value) -> bool:
    s = p.sentence.segments[v.segment]
    return s.has("changed", "change", "now", "restate") or any(
        x.has("now", "changed", "change") for x in p.sentence.segments[: v.segment] if not x.numbers
    )


def moved_since(b: Book, old: Reading) -> bool:
    """Whether a screw was turned at this reading's firing rate after it was recorded."""
    seen = False
    for r in b.c.live():
        if r.id == old.id:
            seen = True
        elif seen and r.quantity == b.g.move and r.condition == old.condition and r.appliance == old.appliance:
            return True
    return False


def refines(b: Book, old: Reading, new: Reading) -> bool:
    """ "Seven", then "seven point four": the same number with its decimals."""
    return "." not in old.value and new.value.partition(".")[0] == old.value and "." in new.value


def signs(old: Reading, new: Reading) -> bool:
    """ "Point oh one, minus point oh one": the same number with the sign that it lacked."""
    lacked = any(d.kind == DoubtKind.SIGN_UNCLEAR for d in old.doubts)
    return (
        lacked
        and new.value.lstrip("-") == old.value.lstrip("-")
        and not any(d.kind == DoubtKind.SIGN_UNCLEAR for d in new.doubts)
    )
