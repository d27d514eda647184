"""What changes readings said before: taken back, named again, completed, swapped, or bound to what follows them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from extract.assign import Name, Value
from extract.book import Book
from extract.circumstances import states
from extract.clauses import PAST
from extract.context import LAST_KEPT, RECENT
from extract.doubt import doubt
from extract.lexicon import OTHER, Item
from extract.numbers import Number
from extract.parse import Parsed
from extract.take import make_reading, quantity_of
from extract.unnamed import ANOTHER_NAME, NAMED_BEHIND
from extract.values import fit
from schemas.base import is_value_text
from schemas.doubts import DoubtKind
from schemas.readings import (
    Alternative,
    Change,
    Reading,
    Relabel,
    Source,
)

__all__ = [
    "announces",
    "bind_back",
    "completes_move",
    "doubt_the_last",
    "doubted",
    "goes_on",
    "interrupted",
    "named_afterwards",
    "not_so",
    "put_back",
    "relabels",
    "signed_afterwards",
    "signed_within",
    "swaps",
    "undo",
    "unit_afterwards",
]


FEW_WORDS = 4  # "I think so maybe": no longer than this it is of what stands before it
GOES_ON = 12.0  # seconds within which "point one" goes on with "nine"
SOON = 6.0  # seconds within which a bare "no" is of what was just said
MOVING = frozenset(("turn", "turned", "turning", "move", "moved", "adjust", "adjusted"))
TOO_LATE = frozenset(("actually", "though"))  # "that's low fire actually"
ALIKE = frozenset(("too", "same", "also", "like", "as"))
CONTENT = frozenset(
    ("it", "all", "fine", "good", "ok", "okay", "right", "correct", "great", "lovely", "grand", "perfect", "alright")
)
MANY = frozenset(("those", "both", "all", "lot", "two", "three", "everything", "them"))


def undo(b: Book, p: Parsed) -> None:
    """ "Scratch that", "delete the last CO"."""
    if p.sentence.corrects or any(s.has("swap") for s in p.sentence.segments):
        b.c.correcting = True
    for n, i in enumerate(p.laid.items):
        if i.role("correct") and i.kind in ("cue", "plain", "word", "state"):
            b.c.correcting = True
        if not i.role("undo") or (n and p.laid.items[n - 1].role("not")):
            continue  # "don't scratch that"
        k = p.laid.segment_of[n]
        rest = [x for m, x in enumerate(p.laid.items) if m > n and p.laid.segment_of[m] in (k, k + 1)]
        strangers = [x for x in rest if x.kind not in ("plain", "cue", "condition", "enter", "appliance", "filler")]
        more = len(strangers) > 1 or any(x.kind in ("word", "other") for x in strangers)
        if more and not any(x.kind == "number" for x in strangers):
            may_undo(b, p, [m for m in p.names if m.segment == k and m.place > n and m.ids])
            continue  # "kill that exhaust fan for me"
        b.c.correcting = True
        here = [m for m in p.names if m.segment in (k, k + 1) and m.place > n and not m.used and m.ids]
        turned = any(x.role("turn_words") for x in rest) and b.g.move is not None and not here
        ids = here[0].ids if here else ((b.g.move,) if turned and b.g.move else ())
        target = b.last_of(ids)  # "scratch that turn": not the reading behind it
        words = {b.tokens[x].low for x in range(i.start, i.end + 2) if x < len(b.tokens)}
        if not here and words & MANY:
            group, near = several(b, words)
            b.undone.extend(r.id for r in group if r.id not in b.undone)
            for r in near:
                text = doubt(DoubtKind.TO_CONFIRM, "it may have been taken back with what followed it")
                b.emit(Relabel(target=r.id, doubts=(*r.doubts, text), source=r.source, why=text.detail))
        if target is not None and target.id not in b.undone:
            b.undone.append(target.id)
            if here:
                here[0].used += 1


def several(b: Book, words: set[str]) -> tuple[list[Reading], list[Reading]]:
    """The readings that "both", "the last three", "all that" mean, and others of a moment ago that it may mean too."""
    group = b.group()
    near = [r for r in b.c.live() if b.at - b.c.times.get(r.id, float("-inf")) < RECENT]
    near.sort(key=lambda r: b.c.times[r.id])
    count = 2 if words & {"two", "both"} else 3 if "three" in words else 0
    if count:
        return (near[-count:] if len(near) >= count else group), []
    near = [r for r in near if b.measured(r)]
    mine = {r.id for r in group}
    row = (group[-1].condition, group[-1].appliance) if group else (None, None)
    return group, [r for r in near if r.id not in mine and r.taken and (r.condition, r.appliance) == row]


def doubted(b: Book, p: Parsed) -> bool:
    """ "That can't be right", "I think", a bare "no": what was just said is asked about."""
    if p.values or p.names or p.checks or p.moves or p.captures or p.sentence.mark == "?":
        return False
    items = [i for i in p.laid.items if i.kind not in ("filler", "mark")]
    plain = all(i.kind in ("plain", "cue", "condition") for i in items)
    said = any(s.has("doubted") for s in p.sentence.segments)
    unsure = plain and len(items) <= FEW_WORDS and any(s.has("unsure") for s in p.sentence.segments)
    no = len(items) <= 2 and all(i.role("no") for i in items) and bool(items)
    ago = 0.0 if b.made else b.at - b.c.last_at
    if not (said or unsure or no) or ago > (SOON if no else RECENT):
        return False
    done = False
    words = {b.tokens[k].low for i in items for k in range(i.start, i.end)}
    meant = several(b, words)[0] if words & MANY else b.group()
    for r in meant:
        if r.taken and r.quantity is not None:
            text = doubt(DoubtKind.TO_CONFIRM, "it was doubted behind it")
            b.emit(Relabel(target=r.id, doubts=(*r.doubts, text), source=r.source, why=text.detail))
            done = True
    return done


def not_so(b: Book, p: Parsed) -> None:
    """What puts in doubt that which was said before, without saying what holds instead: it is asked about.

    "No, I didn't turn it", "mixed them up, swap them" of two boilers, "no, that's the old one, nine five".
    """
    if p.moves or b.undone or p.sentence.mark == "?":
        return
    items = p.laid.items
    group: list[Reading] = []
    other: Alternative | None = None
    why = "it was denied behind it"
    words = {t.low for t in b.tokens[items[0].start : items[-1].end]} if items else set()
    denied = any(i.role("not") for i in items) and words & MOVING
    if denied and b.g.move is not None and not p.values and not p.names:
        group = [r for r in (b.last_of((b.g.move,)),) if r is not None]
    elif any(s.has("swap") for s in p.sentence.segments) and not p.values:
        group = [r for r in b.c.live() if b.measured(r) and r.source.box is None][-2:]
        why = "it may have been said the other way round"
    elif _called_anothers(p) and not words & ALIKE:
        at = next(n for n, i in enumerate(items) if i.role("history"))
        group = b.group()[-1:]
        later = [v for v in p.values if v.place > at and v.name is None]
        why = "it was called another time's behind it"
        if group and later and group[0].quantity is not None:
            f = fit(later[0].number, later[0].unit, b.g.measures[group[0].quantity], b.c.setting.units)
            if f.cost < 3:
                other = Alternative(value=f.choices[0].value, unit=f.choices[0].unit, why="said behind it")
    elif not (p.values or p.names or b.touched) and _no_that_is(b, p):
        group = b.group()[-1:]
    for r in group:
        if r.taken and b.at - b.c.times.get(r.id, float("-inf")) < RECENT:
            text = doubt(DoubtKind.TO_CONFIRM, why)
            more = (other, *r.alternatives) if other else r.alternatives
            new = r.model_copy(update={"id": b.new_id(), "doubts": (*r.doubts, text), "alternatives": more})
            b.settle(new, r.id, why)


def _called_anothers(p: Parsed) -> bool:
    """ "That's the old one"; "it was ninety when we came" tells of another value."""
    told = {n for n, s in enumerate(p.sentence.segments) if s.has("that_was") and s.has("history")}
    return bool(told) and not any(v.segment in told for v in p.values)


def _no_that_is(b: Book, p: Parsed) -> bool:
    """ "No, that's as measured": a correction of which nothing was understood; "no, that's fine" is none."""
    items = [i for i in p.laid.items if i.kind not in ("filler", "mark")]
    at = next((n for n, i in enumerate(items) if i.role("that_was")), 0)
    rest = {b.tokens[k].low for i in items[at + 1 :] for k in range(i.start, i.end)}
    led = at > 0 and all(i.role("correct") for i in items[:at])
    return led and bool(rest) and not rest & CONTENT and not any(s.conditions for s in p.sentence.segments)


def doubt_the_last(b: Book) -> None:
    """Ask about what was just said: another way of hearing what follows puts it right."""
    for r in b.group():
        if r.taken and r.quantity is not None and b.at - b.c.times.get(r.id, float("-inf")) <= GOES_ON:
            text = doubt(DoubtKind.TO_CONFIRM, "heard in another way, what follows puts it right")
            b.emit(Relabel(target=r.id, doubts=(*r.doubts, text), source=r.source, why=text.detail))


def goes_on(b: Book, p: Parsed) -> bool:
    """ "CO2 nine." "Point one."; "nine one." "Or nine four.", "Negative nine four.": it is of what was just said."""
    r = b.last_of()
    if r is None or not r.taken or not b.measured(r) or len(p.values) != 1:
        return False
    begin = p.laid.items[0].start
    if p.values[0].start > begin + 1:
        return False
    if b.at - b.c.times.get(r.id, float("-inf")) > GOES_ON or any(n.ids for n in p.names):
        return False
    v, measure = p.values[0], b.g.measures[str(r.quantity)]
    if v.number.first == r.value:
        return False  # "minus four pascals." "Minus four."
    signed, bare = (fit(v.number._replace(sign=sign), v.unit, measure, b.c.setting.units) for sign in ("-", ""))
    denied = v.number.sign == "-" and "impossible" in signed.doubts and not bare.doubts and bare.choices[0].usual
    if b.tokens[begin].low in b.g.lang.points and "." not in r.value and 0 not in measure.decimals.get(r.unit, ()):
        value, why = f"{r.value}.{v.number.first.partition('.')[2]}", doubt(DoubtKind.CUT_OFF, "it went on behind it")
    elif p.laid.items[0].role("or") or denied:  # nothing is less than none of it: "negative" may be a no
        value, why = bare.choices[0].value, doubt(DoubtKind.VALUE_UNCLEAR, "another value was offered behind it")
    else:
        return False
    other = Alternative(value=value, unit=r.unit, why="said behind it")
    update = {"id": b.new_id(), "doubts": (*r.doubts, why), "alternatives": (other, *r.alternatives)}
    b.settle(r.model_copy(update=update), r.id, why.detail)
    return True


def may_undo(b: Book, p: Parsed, named: Sequence[Name]) -> None:
    """Words of taking back in front of something more than a reading: what may be meant is asked about."""
    target = b.last_of(named[0].ids if named else ())
    if target is None or not target.taken or b.at - b.c.times.get(target.id, float("-inf")) > RECENT:
        return
    text = doubt(DoubtKind.TO_CONFIRM, "it may have been taken back")
    src = b.source(p.laid.items[0].start, p.laid.items[-1].end)
    b.emit(Relabel(target=target.id, doubts=(*target.doubts, text), source=src, why=text.detail))


def relabelling(b: Book, p: Parsed) -> bool:
    """ "No, that's the static", "that was boiler two": a label without a value."""
    roles = {r for s in p.sentence.segments for r in s.roles}
    past = bool(p.names) and any(s.conditions and s.says(PAST, b.tokens) for s in p.sentence.segments)
    return not p.values and (past or (b.c.correcting and not b.undone) or "that_was" in roles or "correct" in roles)


def announces(b: Book, p: Parsed) -> None:
    """ "Let me correct the CO2." "Nine three.": the value comes next, and takes the place of that reading."""
    named = [n for n in p.names if len(n.ids) == 1 and not n.implied]
    wanted = any(s.has("change") or (s.has("correct") and not s.has("weak")) for s in p.sentence.segments)
    if p.values or len(named) != 1 or not wanted:
        return
    r = b.last_of(named[0].ids)
    if r is not None and r.taken and b.measured(r):
        b.c.last, b.c.last_at, b.awaits = (r.id,), b.at, True


def relabels(b: Book, p: Parsed) -> bool:
    """Carry out a label that changes readings said before. True if it was one."""
    if not relabelling(b, p) or not p.laid.items:
        return False
    group = b.group()
    if not group:
        return False
    names = [n for n in p.names if n.ids and not n.implied]
    conditions = [c for s in p.sentence.segments if s.kind != "question" for c in s.conditions]
    tags = [i.get("appliance") for i in p.laid.items if i.get("appliance") not in (None, (OTHER,))]
    corrected = b.c.correcting or any(s.has("correct", "not") for s in p.sentence.segments)
    said = {t.low for t in b.tokens[p.laid.items[0].start : p.laid.items[-1].end + 2]}
    corrected = corrected or (bool(said & TOO_LATE) and any(s.has("that_was") for s in p.sentence.segments))
    src = b.source(p.laid.items[0].start, p.laid.items[-1].end)
    done = False
    same = bool(names) and group[-1].quantity in names[0].ids
    if names and same and conditions and group[-1].condition is not None and not corrected:
        condition = b.resolve(conditions[-1])
        r = group[-1]
        if condition is not None and condition != r.condition and r.taken:
            text = doubt(DoubtKind.CONDITION_UNCLEAR, "another firing rate was named behind it")
            b.emit(Relabel(target=r.id, doubts=(*r.doubts, text), source=src, why=text.detail))
            return True
    if names and not same and (corrected or any(r.quantity is None or unclear(b, r) for r in group)):
        done = relabel_quantity(b, names[0], group[-1:], src, conditions)
    elif names and not same and len(names) == 1 and _all_said(b, p):
        done = ask_which(b, names[0], group[-1], src)
    elif conditions and _goes_there_now(b, p, group, conditions[-1]):
        pass
    elif conditions:
        labels = [c for s in p.sentence.segments if s.has("that_was") for c in s.conditions]
        gone = conditions[-1].kind == "enter" and bool(labels)  # "that was high fire, now going to low fire"
        condition = b.resolve(labels[-1] if gone else conditions[-1])
        many = plural(b, p)
        many = many or group[-1].condition is None  # "that was at max", behind a row that was read without a rate
        near = [r for r in b.c.live() if b.at - b.c.times.get(r.id, float("-inf")) < LAST_KEPT]
        loose = [r for r in near if many and r.condition is None and r not in group]
        for r in [*loose, *group]:
            if condition is None or r.quantity is None or condition not in b.g.quantities[r.quantity].conditions:
                continue
            if r.condition == condition:
                continue
            past = any(s.has("that_was") and s.says(PAST, b.tokens) for s in p.sentence.segments)
            past = past or {"those", "both"} <= said  # "those are both low fire": not where the work is now
            if r.condition is not None and not corrected and not past:
                continue
            relabel(b, r, src, condition=condition)
            done = True
        entered = b.resolve(conditions[-1]) if gone else condition
        if done and entered is not None:
            b.enter(entered)
    if tags and any(b.tokens[i.start].low in b.g.lang.motion for i in p.laid.items[:1]):
        b.c.correcting = False  # "over to boiler one": from here on, not of what was said before
    elif tags and tags[-1] != ("*",):
        tag = b.tag_of(tags[-1][0])
        since = [b.c.readings[rid] for rid in b.c.since_appliance if rid in b.c.readings]
        since = [r for r in since if r not in group]
        for r in [*(since if plural(b, p) else ()), *group]:
            if r.quantity is not None and not b.g.quantities[r.quantity].every_job and r.appliance != tag:
                relabel(b, r, src, appliance=tag)
                done = True
        b.c.appliance, b.c.appliance_lost = tag, False
    if done:
        b.c.correcting = False
    return done


def _goes_there_now(b: Book, p: Parsed, group: Sequence[Reading], last: Item) -> bool:
    """ "No, down to minimum": the work goes there; said as a correction, what was said last may have been read there.

    Not where it is told as past: "no, I was down to minimum". True where that is all that was said.
    """
    beside = next(s for s in p.sentence.segments if last in s.conditions)
    told = any(s.has("that_was") and s.conditions for s in p.sentence.segments)
    if last.kind != "enter" or told or beside.says(PAST, b.tokens):
        return False
    condition = b.resolve(last)
    if any(s.has("correct", "not", "no") for s in p.sentence.segments):
        text = doubt(DoubtKind.CONDITION_UNCLEAR, "another firing rate was named behind it")
        for r in group:
            allowed = r.quantity is not None and condition in b.g.quantities[r.quantity].conditions
            if allowed and r.taken and condition != r.condition:
                b.doubted(r, text, Alternative(condition=condition, why="named behind it"))
    b.c.correcting = False
    return True


def relabel_quantity(b: Book, name: Name, group: Sequence[Reading], src: Source, conditions: Sequence[Item]) -> bool:
    q = name.ids[0]
    for r in group:
        if not is_value_text(r.value):
            continue  # a serial number, or over range: no value of another quantity
        value = Number(
            ((r.value.lstrip("-"), 0.0),), sign="-" if r.value.startswith("-") else "", exact=True, digits=r.value
        )
        f = fit(value, "", b.g.measures[q], b.c.setting.units)
        if f.cost >= 3:
            continue
        condition = b.resolve(conditions[-1]) if conditions else (r.condition or b.c.state)
        allowed = b.g.quantities[q].conditions
        if not allowed:
            condition = ""
        elif condition not in allowed:
            condition = None
        doubts = [
            d for d in r.doubts if d.kind not in (DoubtKind.QUANTITY_UNCLEAR, DoubtKind.RELATION, DoubtKind.CONFLICT)
        ]
        if condition is None:
            doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR))
        if not f.choices[0].usual:
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the value would be unusual there"))
        new = r.model_copy(
            update={
                "id": b.new_id(), "quantity": q, "condition": condition, "unit": f.choices[0].unit,
                "doubts": tuple(doubts), "alternatives": (), "phase": b.phase_for(condition),
            }
        )  # fmt: skip
        b.emit(Change(target=r.id, reading=new, why="named again"))
        b.mark(new.id)
    return True


def _all_said(b: Book, p: Parsed) -> bool:
    """Whether the sentence is nothing but "that's the O2"."""
    kinds = ("quantity", "plain", "cue", "condition")
    return all(i.kind in kinds for i in p.laid.items) and all(s.kind == "reading" for s in p.sentence.segments)


def ask_which(b: Book, name: Name, r: Reading, src: Source) -> bool:
    """ "CO2 five eight. That's the O2.": another name for the same value, without a word of correction, is asked."""
    if not r.taken or not b.measured(r) or name.place < 1:
        return False
    value = Number(((r.value, 0.0),), exact=True, digits=r.value)
    q = next((q for q in name.ids if fit(value, "", b.g.measures[q], b.c.setting.units).cost < 3), None)
    if q is None:
        return False
    text = doubt(DoubtKind.QUANTITY_UNCLEAR, ANOTHER_NAME)
    unit = fit(value, "", b.g.measures[q], b.c.setting.units).choices[0].unit
    other = Alternative(quantity=q, value=r.value, unit=unit, why=NAMED_BEHIND)
    new = r.model_copy(update={"id": b.new_id(), "doubts": (*r.doubts, text), "alternatives": (other, *r.alternatives)})
    b.emit(Change(target=r.id, reading=new, why=text.detail))
    b.made = [rid for rid in b.made if rid != r.id]
    b.mark(new.id)
    return True


def relabel(b: Book, r: Reading, src: Source, *, condition: str | None = None, appliance: str | None = None) -> None:
    gone = {DoubtKind.CONDITION_UNCLEAR} if condition else {DoubtKind.APPLIANCE_UNCLEAR}
    doubts = tuple(d for d in r.doubts if d.kind not in gone)
    phase = b.phase_for(condition) if condition else None
    b.emit(
        Relabel(
            target=r.id, condition=condition, appliance=appliance, phase=phase,
            doubts=doubts if doubts != r.doubts else None, source=src, why="named afterwards",
        )
    )  # fmt: skip


def plural(b: Book, p: Parsed) -> bool:
    """ "Those", "all of that": more than the last utterance is meant."""
    return any(
        b.tokens[k].low in ("those", "them", "these", "all", "they", "everything", "lot")
        for i in p.laid.items
        for k in range(i.start, i.end)
    )


def swaps(b: Book, p: Parsed) -> bool:
    """ "Flip those": the last two readings change places."""
    if not any(s.has("swap") for s in p.sentence.segments) or len(p.values) > 1:
        return False
    group = [r for r in b.group() if b.measured(r)][-2:]
    if len(group) != 2 or group[0].unit != group[1].unit:
        return False
    if p.sentence.mark == "?":  # "Other way round?"
        for r in group:
            text = doubt(DoubtKind.TO_CONFIRM, "it was asked whether the two are the other way round")
            b.emit(Relabel(target=r.id, doubts=(*r.doubts, text), source=r.source, why=text.detail))
        return True
    for v in p.values:  # "other way round, supply's the one forty": one of them is said once more
        said = {text for text, _ in v.number.choices}
        swapped = [other.value for r, other in (group, group[::-1]) if v.name and r.quantity in v.name.ids]
        if not said & set(swapped):
            return False
    for r, other in (group, group[::-1]):
        doubts = tuple(d for d in r.doubts if d.kind != DoubtKind.RELATION)
        new = r.model_copy(update={"id": b.new_id(), "value": other.value, "doubts": doubts, "asked_with": None})
        b.emit(Change(target=r.id, reading=new, why="the two were swapped"))
        b.made = [rid for rid in b.made if rid != r.id]
        b.mark(new.id)
    b.c.correcting = False
    return True


def signed_afterwards(b: Book, p: Parsed) -> bool:
    """ "Offset point oh two. Put a minus on that.": the sign of the reading just made."""
    plus = any(s.has("make_plus") for s in p.sentence.segments)
    group = [r for r in b.group() if b.measured(r)][-1:]
    asked = bool(group) and any(d.kind == DoubtKind.SIGN_UNCLEAR for d in group[0].doubts)
    words = [b.tokens[k].low for i in p.laid.items for k in range(i.start, i.end)]
    if asked and len(words) == 1:  # "Offset point oh one." "Negative."
        plus = words[0] in b.g.lang.plus
    alone = asked and len(words) == 1 and (plus or words[0] in b.g.lang.minus)
    if p.values or not (alone or plus or any(s.has("make_minus") for s in p.sentence.segments)):
        return False
    if not group or group[0].value.startswith("-") != plus:
        return False
    r = group[0]
    if b.g.measures[str(r.quantity)].sign == "plain":
        return False
    doubts = tuple(d for d in r.doubts if d.kind != DoubtKind.SIGN_UNCLEAR)
    new = r.model_copy(update={"id": b.new_id(), "value": r.value[1:] if plus else f"-{r.value}", "doubts": doubts})
    b.emit(Change(target=r.id, reading=new, why="the sign was said behind it"))
    b.made = [rid for rid in b.made if rid != r.id]
    b.mark(new.id)
    b.c.correcting = False
    return True


def signed_within(p: Parsed) -> None:
    """ "Offset point oh two, it's negative": the sign of the one value in front of it."""
    if len(p.values) == 1 and not p.values[0].number.sign:
        v = p.values[0]
        behind = [s for s in p.sentence.segments[v.segment + 1 :] if not s.numbers]
        if any(s.items[-1].role("make_minus") for s in behind if s.items):  # not "it's negative pressure in the room"
            v.number = v.number._replace(sign="-")


def unit_afterwards(b: Book, p: Parsed) -> bool:
    """ "Flue temp one twenty. That's Celsius.": the unit of the reading just made."""
    if p.values or p.names or len(b.tokens) > 2 * FEW_WORDS:
        return False
    group = [r for r in b.group() if b.measured(r)][-1:]
    span = [b.tokens[k] for i in p.laid.items for k in range(i.start, i.end)]
    texts = [" ".join(t.low for t in span[k:m]) for k in range(len(span)) for m in range(len(span), k, -1)]
    code = next((u for text in texts if len(text) > 2 and (u := b.g.unit_written(text))), "")
    if not group or not code or code == group[0].unit or code not in b.g.measures[str(group[0].quantity)].units:
        return False
    r = group[0]
    sign: Literal["", "-"] = "-" if r.value.startswith("-") else ""
    number = Number(((r.value.lstrip("-"), 0.0),), sign=sign, exact=True, digits=r.value)
    f = fit(number, code, b.g.measures[str(r.quantity)], b.c.setting.units)
    doubts = [d for d in r.doubts if d.kind != DoubtKind.UNIT_UNCLEAR]
    if f.doubts or f.cost >= 3 or not (b.c.correcting or any(s.has("that_was") for s in p.sentence.segments)):
        doubts.append(doubt(DoubtKind.UNIT_UNCLEAR, "the unit was said behind it"))
    new = r.model_copy(update={"id": b.new_id(), "unit": code, "doubts": tuple(doubts)})
    b.settle(new, r.id, "the unit was said behind it")
    b.made = [rid for rid in b.made if rid != r.id]
    return True


def named_afterwards(b: Book, p: Parsed) -> bool:
    """ "Nine one, four eight. That's CO2 and O2": names for values that were said without any."""
    b.c.open = tuple(o for o in b.c.open if b.at - o.at < RECENT)
    names = [n for n in p.names if (n.ids or n.vague) and not n.implied]
    if any(s.has("that_was") for s in p.sentence.segments):
        names = names or [n for n in p.names if n.ids]  # "seven point six." "That's static."
    if p.values or not names or len(names) != len(b.c.open):
        return False
    if any(s.kind != "reading" or s.has("not", "future") for s in p.sentence.segments):
        return False
    known = all(i.kind in ("quantity", "plain", "cue", "condition", "enter", "unit") for i in p.laid.items)
    fresh = states(b, p)
    if fresh is not None:
        b.enter(fresh)
    for name, o in zip(names, b.c.open, strict=True):
        v = Value(o.number, o.unit, 0, 1, 0, name.segment)
        quantity, more = quantity_of(b, name, v, b.c.setting.units)
        doubts = [doubt(DoubtKind.QUANTITY_UNCLEAR, "the name fits several quantities")] if more or not known else []
        target = b.c.readings.get(o.reading) if o.reading else None
        condition = [b.resolve(c) for s in p.sentence.segments for c in s.conditions]
        v.condition = condition[-1] if condition else None
        make_reading(b, quantity, v, p, p.sentence.segments[0], doubts, [], None, o.source, target)
    b.c.open = ()
    return True


def put_back(b: Book, p: Parsed) -> None:
    """ "Throttle in a quarter." "Put it back.": the turn was undone, by how much is asked."""
    if any(not m.stands for m in p.moves) and not any(s.has("put_back") for s in p.sentence.segments[1:]):
        return
    moves = [r for r in b.c.live() if r.quantity == b.g.move and r.appliance == b.c.tag()]
    said = any(s.has("put_back") for s in p.sentence.segments) and not p.values
    if not said or not moves or not moves[-1].taken or b.at - b.c.times.get(moves[-1].id, float("-inf")) > LAST_KEPT:
        return
    text = doubt(DoubtKind.TO_CONFIRM, "it was put back again, was it?")
    b.emit(Relabel(target=moves[-1].id, doubts=(*moves[-1].doubts, text), source=moves[-1].source, why=text.detail))


def completes_move(b: Book, p: Parsed) -> bool:
    """ "Clockwise, that was": the direction or screw of the move just recorded."""
    group = b.group()
    if p.values or p.moves or not group or group[-1].quantity != b.g.move:
        return False
    old = group[-1]
    way = [i for i in p.laid.items if i.role("in_words") or i.role("out_words")]
    screw = [i for i in p.laid.items if i.get("screw") or i.get("short screw")]
    words = old.note.split()
    doubts = list(old.doubts)
    corrected = b.c.correcting and bool(words) and words[-1] in ("cw", "ccw")
    if way and corrected:
        words[-1] = "cw" if way[-1].role("in_words") else "ccw"
    if way and any(d.kind == DoubtKind.DIRECTION_UNCLEAR for d in doubts):
        words.append("cw" if way[-1].role("in_words") else "ccw")
        doubts = [d for d in doubts if d.kind != DoubtKind.DIRECTION_UNCLEAR]
    if screw and any(d.kind == DoubtKind.SCREW_UNCLEAR for d in doubts):
        b.c.screw, b.c.screw_at = screw[-1].get("screw") or screw[-1].get("short screw"), b.at
        words.insert(0, str(b.c.screw))
        doubts = [d for d in doubts if d.kind != DoubtKind.SCREW_UNCLEAR]
    if len(doubts) == len(old.doubts) and words == old.note.split():
        return False
    new = old.model_copy(update={"id": b.new_id(), "note": " ".join(words), "doubts": tuple(doubts)})
    b.emit(Change(target=old.id, reading=new, why="completed"))
    b.made = [rid for rid in b.made if rid != old.id]
    b.mark(new.id)
    return True


def interrupted(b: Book) -> None:
    """The sentence before stopped without an end, and then someone came: its last number may be cut short."""
    r = b.c.readings.get(b.c.cut or "")
    b.c.cut = None
    if r is not None and not any(d.kind == DoubtKind.CUT_OFF for d in r.doubts):
        text = doubt(DoubtKind.CUT_OFF, "the speaker was interrupted")
        b.emit(Relabel(target=r.id, doubts=(*r.doubts, text), source=r.source, why=text.detail))


def bind_back(b: Book) -> None:
    """ "Stack temp. 128 degrees. High fire.": a condition at the end, said alone, belongs to what stands before it."""
    if not b.last_condition or not b.made:
        return
    for rid in b.made:
        r = b.c.readings.get(rid)
        if r is None or r.condition is not None or r.quantity is None:
            continue
        if b.last_condition in b.g.quantities[r.quantity].conditions:
            relabel(b, r, r.source, condition=b.last_condition)


def unclear(b: Book, r: Reading) -> bool:
    return any(d.kind == DoubtKind.QUANTITY_UNCLEAR for d in r.doubts)
