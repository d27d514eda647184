"""Structural safety: what stands beside a value and is not understood is a reason to ask, whatever the words are.

No vocabulary is ever complete. A limit, another site, a firing rate or a correction said in words that are not in the
language file must not turn a number into a reading unasked.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

from extract.assign import Value
from extract.book import Book
from extract.clauses import Segment
from extract.context import RECENT
from extract.doubt import doubt
from extract.lexicon import Item
from extract.parse import Parsed
from extract.values import fit
from schemas.doubts import DoubtKind
from schemas.readings import Alternative, Reading, Relabel

__all__ = [
    "contradicted",
    "garbled_rate",
    "not_understood",
    "ran_on",
    "two_conditions",
    "unknown_between",
    "unknown_within",
    "unresolved",
    "went_astray",
]

NO_RATE = frozenset(("good", "nice", "lovely", "great", "clean", "steady", "strong", "tidy", "the", "a", "that", "no"))
LONE = 2  # a clause of so few words in front of a value may be its firing rate, its appliance, a correction
SHORT = 6  # a sentence of so few words may be an announcement
LONG = 9  # a correction is no longer than this
POINTERS = frozenset(("that", "those", "this", "it", "them"))


def not_understood(b: Book, v: Value, p: Parsed) -> str:
    """Why a value is not taken for a reading of here and now though nothing speaks against it; empty if it may be.

    A word in its own clause that is not known, or a lone one in front of it; words of other people, other times, of
    what might be.
    """
    s = p.sentence.segments[v.segment]
    unknown = _unknown(b, s)
    if not unknown:
        for before in p.sentence.segments[: v.segment]:
            measured = any(b.g.quantities[q].kind != "text" for i in before.quantities for q in i.value.ids)
            few = sum(b.tokens[i.start].low != "'s" for i in before.items) <= LONE  # "customer's card"
            if few and not (before.numbers or measured or before.conditions):
                unknown = unknown or _unknown(b, before)
    if unknown:
        return f"“{unknown}” beside it is not known"
    if s.has("peak"):
        return "it was told as the highest or lowest of several"
    for i in s.items:
        if i.kind in ("plain", "cue", "word"):
            for k in range(i.start, i.end):
                if b.tokens[k].low in b.g.lang.aside:
                    return f"“{b.tokens[k].low}”: it may not be of here and now"
    return _hearsay(b, v, p)


def _hearsay(b: Book, v: Value, p: Parsed) -> str:
    """ "The customer says it was reading nine five": whose word a value is, if a person's and not an instrument's."""
    items = [i for i in p.laid.items if i.start < v.start]
    for who, says in pairwise(items):
        if says.kind not in ("plain", "cue") or b.tokens[says.start].low not in b.g.lang.hearsay:
            continue
        kept = who.kind == "quantity" and any(b.g.quantities[q].every_job for q in who.value.ids)
        if kept and all(b.tokens[k].low not in b.g.parts for k in range(who.start, who.end)):
            return f"“{b.u.text[b.tokens[who.start].start : b.tokens[says.end - 1].end]}”: did you see it yourself?"
    return ""


def two_conditions(b: Book, v: Value, p: Parsed) -> bool:
    """ "High fire the same as low, nine one": two conditions for one value, neither of them a more general word."""
    s = p.sentence.segments[v.segment]
    beside = [x for x in p.sentence.segments[max(0, v.segment - 1) : v.segment + 1] if x.kind == "reading"]
    near = [c for x in beside for c in x.conditions]
    named = {c.value for c in near if c.kind == "condition" and not b.g.conditions[c.value].yields}
    return len(named) > 1 and len(p.values) == 1 and bool(s.numbers)


def _unknown(b: Book, s: Segment) -> str:
    return next((b.tokens[i.start].text for i in s.items if _strange(b, i)), "")


def _strange(b: Book, i: Item) -> bool:
    """A word that is not known, and no number word that was passed over."""
    low = b.tokens[i.start].low
    return i.kind == "word" and low not in b.g.lang.starts and low not in b.g.lang.turned


def unknown_within(b: Book, p: Parsed, start: int, end: int) -> str:
    """The first unknown word of the clauses that tokens ``start`` to ``end`` are in."""
    for s in p.sentence.segments:
        if any(start <= i.start < end for i in s.items):
            word = _unknown(b, s)
            if word:
                return word
    return ""


def unknown_between(b: Book, p: Parsed, start: int, end: int) -> str:
    """The first unknown word among tokens ``start`` to ``end``."""
    found = (i for i in p.laid.items if _strange(b, i) and start <= i.start < end)
    return next((b.tokens[i.start].text for i in found), "")


def went_astray(b: Book, p: Parsed) -> None:
    """ "Going to blorven": somewhere that is not known. What is read there is not of the firing rate before.

    With several appliances a short sentence of nothing but unknown words may be the next one's name.
    """
    share = next((v for v in p.values if v.unit == "%" and v.name is None), None)
    if share is not None and not any(n.ids for n in p.names):
        b.c.astray = share.number.first + " %"  # "taking it down to sixty percent"
        return
    if p.values or p.names or p.checks or p.moves or p.captures or any(x.conditions for x in p.sentence.segments):
        return
    if p.sentence.mark == "?" or any(x.kind not in ("reading", "instruction") for x in p.sentence.segments):
        return
    items = p.laid.items
    if any(i.role("elsewhere") for i in items):
        b.c.astray = next(b.tokens[i.start].text for i in items if i.role("elsewhere"))
        return
    if not 0 < len(items) <= SHORT:
        return
    unknown = [i for i in items if _strange(b, i)]
    if not unknown or items[-1] is not unknown[-1]:
        return
    lows = [b.tokens[i.start].low for i in items]
    if any(w in b.g.lang.motion for w in lows):
        b.c.astray = b.tokens[unknown[-1].start].text
    elif b.c.several() and all(i.kind in ("word", "plain") for i in items):
        b.c.appliance_lost = True


def ran_on(b: Book, v: Value) -> str:
    """ "CO one, O two.": what looks like a name without a value may be the rest of the number; the whole, or empty."""
    behind = [t.low for t in b.tokens[v.end :] if t.kind != "mark"]
    digit = b.g.lang.digits.get(behind[1], behind[1]) if len(behind) == 2 and behind[0] in ("o", "oh") else ""
    first = v.number.first
    return f"{first}0{digit}" if str(digit).isdigit() and first.isdigit() and len(first) == 1 and not v.unit else ""


def garbled_rate(b: Book, p: Parsed) -> None:
    """ "So fire, CO2 eight four": at the head of a sentence stands a firing rate that was not made out."""
    first = p.laid.items[0].start if p.laid.items else len(b.tokens)
    head = b.tokens[first : first + 3]
    if len(head) < 3 or head[1].low != b.g.rate_word or head[0].kind == "mark" or head[0].low in NO_RATE:
        return
    taken = any(i.start <= first + 1 < i.end and i.kind in ("condition", "enter", "quantity") for i in p.laid.items)
    named = any(i.start == first + 2 and i.kind in ("quantity", "number") for i in p.laid.items)
    if not taken and (named or head[2].kind == "mark"):
        b.c.astray = f"{head[0].text} {head[1].text}"


def unresolved(b: Book, p: Parsed, last: Reading | None) -> None:
    """A correction that nothing came of, with a word that is not known: the last reading is asked about.

    "Nope, that's the blorven"; and "blorven that last one", which may be a way of taking it back.
    """
    if last is None or last.id not in b.c.readings or not last.taken or len(p.laid.items) > LONG:
        return
    if b.at - b.c.times.get(last.id, float("-inf")) > RECENT or p.sentence.mark == "?":
        return
    items = [i for i in p.laid.items if i.kind != "plain" or b.tokens[i.start].low in POINTERS]
    unknown = [i for i in items if _strange(b, i)]
    if not unknown:
        return
    corrects = any(i.role("correct") or i.role("undo") for i in items)
    points = _strange(b, items[0]) and len(p.laid.items) <= SHORT and not (p.values or p.names)
    points = points and not any(x.conditions for x in p.sentence.segments)
    points = points and any(b.tokens[i.start].low in POINTERS for i in items[1:2])
    if not (corrects or points):
        return
    text = doubt(DoubtKind.TO_CONFIRM, f"“{b.tokens[unknown[0].start].text}” behind it may have been a correction")
    src = b.source(p.laid.items[0].start, p.laid.items[-1].end)
    b.emit(Relabel(target=last.id, doubts=(*last.doubts, text), source=src, why=text.detail))


def contradicted(b: Book, v: Value, p: Parsed) -> bool:
    """Whether a bare number that nothing else claims may be the last reading once more, with another value.

    "Stack is one thirty four. Let me look once more. One twenty four.": if no correction was understood the last
    reading is asked about, and the new value is offered.
    """
    old = _comparable(b, v)
    if (
        old is not None
        and [t.low for t in b.tokens[v.end : v.end + 1]][:1]
        and b.tokens[v.end].low in b.g.quantities[str(old.quantity)].otherwise
    ):
        return False  # "flue sixty two, so forty three net"
    if old is None or any(s.kind != "reading" for s in p.sentence.segments) or v.followed:
        return False
    f = fit(v.number, v.unit, b.g.measures[str(old.quantity)], b.c.setting.units)
    best = f.choices[0]
    if f.doubts or not best.usual or best.unit != old.unit or Decimal(best.value) == Decimal(old.value):
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
    if v.number.digits.endswith("/") and v.number.first.startswith("0."):
        return None  # "the gauge was half out of its case"
    return last
