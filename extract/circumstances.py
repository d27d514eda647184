"""Which appliance, which firing rate, before or after an adjustment: what a sentence says of the moment."""

from __future__ import annotations

from typing import Literal

from extract.book import Book
from extract.clauses import PAST, Segment
from extract.doubt import doubt
from extract.lexicon import OTHER, Item
from extract.parse import Parsed
from schemas.doubts import DoubtKind
from schemas.readings import (
    Relabel,
)

__all__ = ["appliances", "before_now", "phases", "states"]

ADJECTIVES = frozenset(("pre", "post"))  # a phase in front of what was read only: "post nine two"


def appliances(b: Book, p: Parsed) -> list[tuple[int, str]]:
    """Take up the appliances named; returns their places, so that each value finds its own."""
    out: list[tuple[int, str]] = []
    found = [(n, i) for n, i in enumerate(p.laid.items) if i.get("appliance") is not None]
    for n, i in found:
        s = p.sentence.segments[p.laid.segment_of[n]]
        if s.kind in ("question", "history", "instruction") or s.has("future"):
            continue
        ahead = p.laid.items[n - 1] if n else None
        if ahead is not None and (ahead.role("not") or b.tokens[ahead.end - 1].low in ("as", "than", "like")):
            continue  # "the same as boiler one", "not boiler two"
        tags: tuple[str, ...] = i.get("appliance")
        if tags == (OTHER,):
            another(b)
            continue
        if tags == ("*",):
            known = b.known_appliances()
            b.c.appliances = known if len(known) > 1 else ("1", "2")
            b.c.appliance = None
            b.c.appliance_lost = not (p.checks or p.captures)
            continue
        tag = b.tag_of(tags[0])
        bare = b.tokens[i.start].low in ("number", "#")
        if bare and b.c.setting.appliances and tag not in b.known_appliances():
            continue  # "the number twelve wrench": the job's own list of appliances has no such one
        if tag not in b.c.appliances:
            b.c.appliances = (*b.c.appliances, tag)
            if len(b.c.appliances) > 1 or tag not in ("1", "A"):
                unnamed_before(b)  # "boiler two" means that there is a boiler one
        out.append((n, tag))
    if len({t for _, t in out}) > 1 and not (p.values or p.checks or p.moves or p.captures):
        b.c.appliance, b.c.appliance_lost = None, True  # "boiler one and boiler two are both at high fire"
        return []
    if out and (p.values or p.checks or p.moves or not b.group()):
        b.use_appliance(out[0][1])
    return out


def another(b: Book) -> None:
    """ "On to the next boiler": the other of two; among more, or where only one is known, it is asked which."""
    known = b.known_appliances()
    left = [tag for tag in known if tag != b.c.appliance]
    if len(known) == 2 and len(left) == 1:
        b.use_appliance(left[0])
        return
    b.c.appliances = known if len(known) > 1 else (b.c.appliance or "1", OTHER)
    b.c.appliance, b.c.appliance_lost = None, True


def unnamed_before(b: Book) -> None:
    """There are several appliances after all: whose are the readings that were taken without one?"""
    text = doubt(DoubtKind.APPLIANCE_UNCLEAR, "it was not said which appliance")
    for r in list(b.c.live()):
        if r.appliance is None and r.quantity is not None and r.source.box is None:
            q = b.g.quantities[r.quantity]
            told = any(d.kind == DoubtKind.APPLIANCE_UNCLEAR for d in r.doubts)
            if not (q.every_job or told or (q.kind == "text" and q.form == "words")):
                b.emit(Relabel(target=r.id, doubts=(*r.doubts, text), source=r.source, why=text.detail))


def phases(b: Book, p: Parsed) -> None:
    """Take up "before" and "after" an adjustment; both in one sentence, each with the value of its own place."""
    marks: list[Literal["before", "after"]] = []
    if not p.values and any(s.has("that_was") for s in p.sentence.segments) and _was(b, p):
        return
    for n, i in enumerate(p.laid.items):
        cues = i.get("cue")
        if not cues or not ({"before", "after"} & cues) or i.kind in ("condition", "enter"):
            continue
        s = p.sentence.segments[p.laid.segment_of[n]]
        if s.kind not in ("reading", "limit") or s.has("history"):
            continue
        ahead = p.laid.items[n - 1] if n else None
        if ahead is not None and ahead.kind == "number" and ahead.value.digits.endswith("/"):
            continue  # "a sixteenth left at low fire"
        single = i.end == i.start + 1
        if single and any(x.has("now") for x in p.sentence.segments):
            continue  # "was nine one before, now eight nine" tells of a change, not of an adjustment
        nxt = p.laid.items[n + 1] if n + 1 < len(p.laid.items) else None
        if single and not (
            nxt is None
            or nxt.kind in ("quantity", "number")
            or p.laid.segment_of[n + 1] != p.laid.segment_of[n]
            or (marks and b.tokens[nxt.start].low == "it")  # "before ... sixty, after it's forty"
        ):
            continue
        if b.tokens[i.start].low in ADJECTIVES and single and (nxt is None or nxt.kind not in ("quantity", "number")):
            continue  # "with it on the post"
        if single and nxt is not None and nxt.kind == "number" and _a_time(p, n + 1):
            continue  # "after ten minutes"
        which: Literal["before", "after"] = "before" if "before" in cues else "after"
        if not single and which == "before" and _and_now(b, p, n):
            return
        if (
            single
            and nxt is None
            and which == "before"
            and b.u.second_opinion is not None
            and _may_be_four(b, p, ahead)
        ):
            for v in p.values[-1:]:
                v.phase = "before"
            continue  # "eight before" may be "eighty four": nothing that comes after it is of before
        marks.append(which)
        b.c.phase = ("*", which)
        b.touched_phase = True
        if which == "after":
            as_left(b, p)
    if marks == ["after"] and len(p.values) == 2 and b.tokens[p.laid.items[0].start].low == "found":
        marks = ["before", "after"]  # "found the CO2 at nine nine, left it at nine two"
    if len(set(marks)) == 2 and len(marks) == len(p.values):
        for v, mark in zip(p.values, marks, strict=True):
            v.phase = mark  # "CO2 eight nine before, nine three after"


def _may_be_four(b: Book, p: Parsed, ahead: Item | None) -> bool:
    """Whether what stands before "before" may make a number with it: a lone digit, or the "a" heard for "eight"."""
    if ahead is None or len(p.values) > 1:
        return False
    if ahead.kind == "number":
        return len(ahead.value.first) == 1 and ahead.value.first != "0"
    return b.tokens[ahead.end - 1].low == "a"


def _was(b: Book, p: Parsed) -> bool:
    """ "That was before I adjusted it": of what was just said; whatever comes next is of after it."""
    cues = [i.get("cue") or frozenset() for i in p.laid.items if i.end > i.start + 1]
    told = [which for which in ("before", "after") if any(which in c for c in cues)]
    group = [r for r in b.group() if r.condition in b.g.conditions and b.measured(r)]
    group = [r for r in group if b.g.conditions[str(r.condition)].adjusted]
    if len(told) != 1 or not group or any(s.has("history", "future") for s in p.sentence.segments):
        return False
    phase: Literal["before", "after"] = "before" if told == ["before"] else "after"
    for r in group:
        if r.phase != phase:
            b.emit(Relabel(target=r.id, phase=phase, source=r.source, why=f"read {phase} the adjustment"))
    if phase == "after":
        before_now(b, str(group[-1].condition))
    b.c.phase, b.touched_phase = ("*", "after"), True
    return True


def _and_now(b: Book, p: Parsed, n: int) -> bool:
    """ "Before I touched it CO2 was nine nine, now it's nine three": item ``n`` is the before of two sides."""
    now = next((k for k, i in enumerate(p.laid.items) if i.role("now")), None)
    if now is None:
        return False
    sides = [k for k in (max(n, now), min(n, now)) if len({v.place < k for v in p.values}) == 2]
    if not sides:
        return False
    for v in p.values:
        v.phase = "before" if (v.place < sides[0]) == (n < now) else "after"
    b.c.phase, b.touched_phase = ("*", "after"), True
    return True


def _a_time(p: Parsed, n: int) -> bool:
    """Whether item ``n``, a number, counts minutes or seconds."""
    behind = p.laid.items[n + 1].get("unit") if n + 1 < len(p.laid.items) else None
    return (p.laid.items[n].value.unit or behind) in ("min", "s", "h")


def as_left(b: Book, p: Parsed) -> None:
    """ "After adjustment": what was read before at this firing rate becomes the before."""
    named = {v.condition for v in p.values if v.condition}
    for condition in sorted(named or {b.c.state or ""}):
        before_now(b, condition)


def before_now(b: Book, condition: str) -> None:
    if condition not in b.g.conditions or not b.g.conditions[condition].adjusted:
        return
    for r in list(b.c.live()):
        if r.condition == condition and r.phase == "" and r.appliance == b.c.tag() and b.measured(r):
            b.emit(Relabel(target=r.id, phase="before", source=r.source, why="read before the adjustment"))


def states(b: Book, p: Parsed) -> str | None:
    """Take up a change of condition; returns one that counts only for what follows."""
    last: tuple[Item, Segment, int] | None = None
    for n, i in enumerate(p.laid.items):
        s = p.sentence.segments[p.laid.segment_of[n]]
        if i in s.conditions and s.kind in ("reading", "instruction", "future"):
            heading = all(x.kind in ("condition", "enter", "plain") or b.tokens[x.start].low == "next" for x in s.items)
            heading = heading or any(b.tokens[k].low == "first" for x in s.items for k in range(x.start, x.end))
            later = s.kind == "future" or (s.has("future") and not s.says(PAST, b.tokens))
            if denied(b, p, n) or (later and not heading):
                continue
            if last is not None and _yields(b, i) and not _yields(b, last[0]):
                continue  # "high fire, running ten minutes now"
            last = (i, s, n)
    if last is None:
        return None
    condition = b.resolve(last[0])
    if condition is None:
        return None
    if not p.values:
        b.enter(condition)
        return None
    first = min(v.place for v in p.values)
    if last[2] < first:
        b.enter(condition)
        return None
    return condition


def _yields(b: Book, item: Item) -> bool:
    return item.kind == "condition" and b.g.conditions[item.value].yields


def denied(b: Book, p: Parsed, n: int) -> bool:
    for k in (n - 1, n - 2, n - 3):
        if k < 0 or p.laid.segment_of[k] != p.laid.segment_of[n]:
            break
        i = p.laid.items[k]
        if i.kind == "number":
            break
        if i.role("not"):
            if b.c.state == b.resolve(p.laid.items[n]):
                b.c.state = None
            return True
        if i.role("leaving") and k >= n - 2:
            if b.c.state == b.resolve(p.laid.items[n]):
                b.c.state = None
            return True
    return False
