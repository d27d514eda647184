"""What is recorded beside measured values: names and remarks, checks, screws turned, limits quoted."""

from __future__ import annotations

from decimal import Decimal
from math import inf, log

from extract.assign import Value
from extract.book import Book
from extract.circumstances import before_now
from extract.context import AGAIN, ANSWERED, RECENT, SCREW_KEPT, Topic
from extract.doubt import FIT, HEDGES, doubt
from extract.guards import unknown_between, unknown_within
from extract.lexicon import Item
from extract.moves import Move
from extract.parse import Parsed
from extract.spelt import name_misgiving
from extract.states import DENIED, Checked, before_state, may_be_a_fault, state_of
from extract.take import denies
from extract.texts import Capture, spelt_alone
from extract.values import fit
from schemas.doubts import Doubt, DoubtKind
from schemas.readings import (
    Alternative,
    QuotedLimit,
    Reading,
    Relabel,
)

__all__ = [
    "check_again",
    "named_check",
    "ought_to_be",
    "quote_limits",
    "record_check",
    "record_choices",
    "record_move",
    "record_text",
    "spelt_behind",
]


DENIAL = 7  # a denial without the check's name is no longer than this
SAME_MOMENT = 20.0  # seconds within which "nice and smooth" is of what was announced
ASIDE = 4  # more words than these in front of a state without a check's name tell of something else


def record_text(b: Book, c: Capture) -> None:
    q = b.g.quantities[c.quantity]
    reading = Reading(
        id=b.new_id(), quantity=c.quantity, condition="", value=c.value,
        appliance=None if q.every_job or q.form == "words" else b.c.tag(), source=b.source(c.start, c.end),
    )  # fmt: skip
    span = reading.source.span
    if q.form in ("name", "person", "code") and span is not None and q.kind == "text":
        heard = b.u.text[span[0] : span[1]]
        spoken = heard if q.form == "code" else c.value
        why = name_misgiving(b.u, span[0], span[1], spoken, b.g.certain)
        if why:
            reading = reading.model_copy(update={"doubts": (doubt(DoubtKind.HEARD_UNCLEARLY, why),)})
    if not c.sure:
        text = doubt(DoubtKind.TO_CONFIRM, "the words around it leave it open")
        reading = reading.model_copy(update={"doubts": (*reading.doubts, text)})
    old = b.c.at_slot(c.quantity, "", "", reading.appliance)
    if old is not None and q.form != "words":
        b.settle(reading, old.id, "said again")
    else:
        b.settle(reading, None, "")


def spelt_behind(b: Book, p: Parsed) -> bool:
    """ "Serial number?" "T R nine nine five.": the code that was named just before; whoever says it is asked."""
    here = b.c.code
    if here is not None and b.at - here.at < SAME_MOMENT and not (p.names or p.checks or p.captures):
        found = spelt_alone(p.sentence, b.tokens, b.u.text, b.g, here.ids[0])
        if found is not None:
            b.c.code = None
            record_text(b, found)
            return True
    if p.captures or p.values:
        return False
    named = [q for i in p.laid.items if i.kind == "quantity" for q in i.value.ids if b.g.quantities[q].form == "code"]
    if named and all(s.kind in ("reading", "question", "instruction") for s in p.sentence.segments):
        b.c.code = Topic((named[0],), None, b.at)
    return False


def record_choices(b: Book, p: Parsed) -> None:
    """ "It's running on natural gas"."""
    found: dict[str, list[tuple[str, Item]]] = {}
    for n, i in enumerate(p.laid.items):
        s = p.sentence.segments[p.laid.segment_of[n]]
        picked = i.get("choice")
        quoted = s.kind == "limit" and not s.has("limit")  # "the gas on the plate is natural gas"
        if picked is None or not (s.kind == "reading" or quoted) or s.numbers or s.has("not", "future"):
            continue
        q, option = picked
        named = any(q in m.value.ids for x in p.sentence.segments for m in x.items if m.kind == "quantity")
        vague = all(not x.value.ids for x in s.items if x.kind == "quantity")
        kinds = ("plain", "choice", "cue", "mark", "appliance", "state", "quantity", "condition", "enter")
        quiet = vague and all(x.kind in kinds for x in s.items)
        if quiet and all(b.tokens[k].low in b.g.lang.plain for k in range(i.start, i.end)):
            quiet = _in_passing(b, p)  # "smooth" alone is of the ignition only where that is spoken of
        if named or (quiet and b.g.quantities[q].said and i.kind == "choice"):
            found.setdefault(q, []).append((option, i))
    for q, options in found.items():
        names = list(dict.fromkeys(o for o, _ in options))
        _, item = options[-1]
        reading = Reading(
            id=b.new_id(), quantity=q, condition="", value=names[-1], appliance=b.appliance_for(q),
            source=b.source(item.start, item.end),
            doubts=(doubt(DoubtKind.VALUE_UNCLEAR, "several were named"),) if len(names) > 1 else (),
            alternatives=tuple(Alternative(value=n) for n in names[:-1]),
        )  # fmt: skip
        old = b.c.at_slot(q, "", "", reading.appliance)
        if old is None or old.value != reading.value:
            b.settle(reading, old.id if old else None, "corrected" if b.c.correcting else "said again")


def _in_passing(b: Book, p: Parsed) -> bool:
    """Whether a sentence tells of something that passes in a moment (the ignition), or follows it at once."""
    told = [c for s in p.sentence.segments for c in s.conditions]
    if told:
        return any((c := b.resolve(one)) is not None and b.g.conditions[c].passing for one in told)
    just = b.c.state is not None and b.g.conditions[b.c.state].passing
    return just and b.at - b.c.state_at < SAME_MOMENT and len(p.laid.items) <= ASIDE


def record_check(b: Book, checked: Checked, p: Parsed) -> None:
    """A check and what came of it; said again with another state, the last one stands."""
    tags: tuple[str | None, ...] = (b.appliance_for(checked.quantity),)
    if any(i.get("appliance") == ("*",) for i in p.laid.items) and not b.g.quantities[checked.quantity].every_job:
        tags = b.c.appliances
    good = checked.state in ("passed", "done")
    strange = unknown_between(b, p, checked.start, checked.end) if good else ""
    why = f"“{strange}” beside it is not known" if strange else ""
    if checked.answered:
        why = "failed, or not done yet?"
    elif good and not why:
        why = _second_hand(b, p)
    why = why or _supposed(b, checked, p)
    if not why and any(s.doubtful == "question" for s in p.sentence.segments):
        why = "it was said as a question"
    for tag in tags:
        reading = Reading(
            id=b.new_id(), quantity=checked.quantity, condition="", value=checked.state, appliance=tag,
            source=b.source(checked.start, checked.end),
            doubts=(doubt(DoubtKind.TO_CONFIRM, why),) if why else (),
        )  # fmt: skip
        old = b.c.at_slot(checked.quantity, "", "", tag)
        if old is not None and old.value == checked.state:
            continue
        b.settle(reading, old.id if old else None, AGAIN)


def _second_hand(b: Book, p: Parsed) -> str:
    """Why a check that passed is asked about: the speaker was not sure, or somebody else says so."""
    for s in p.sentence.segments:
        if s.has("unsure"):
            return "the speaker was not sure"
        for i in s.items:
            for k in range(i.start, i.end):
                if i.kind in ("plain", "cue") and b.tokens[k].low in b.g.lang.hearsay:
                    return f"“{b.tokens[k].low}”: did you see it yourself?"
    return ""


def _supposed(b: Book, checked: Checked, p: Parsed) -> str:
    """Why a check is asked about whose clause tells of what may be: "if the flue is blocked it locks out"."""
    for s in p.sentence.segments:
        if any(checked.start <= i.start < checked.end for i in s.items) and s.says(b.g.lang.supposed, b.tokens):
            return "it may have been supposed"
    return ""


def check_again(b: Book, p: Parsed) -> bool:
    """ "Low water cut-off passed." "No, failed.": what is said of the check of a moment ago, without its name."""
    last = b.last_of()
    checks = [x for x in (last.quantity if last is not None else None,) if x and b.g.quantities[x].kind == "check"]
    if last is None or not checks or p.checks or p.values or p.captures or p.moves or p.sentence.mark == "?":
        return False
    if b.at - b.c.times.get(last.id, float("-inf")) > RECENT:
        return False
    named = [q for i in p.laid.items if i.kind == "quantity" for q in i.value.ids if q != last.quantity]
    if named:
        return False
    state = state_of(p.sentence, checks[0])
    src = b.source(p.laid.items[0].start, p.laid.items[-1].end)
    if state and state != last.value and not any(s.has("correct", "interrupted") for s in p.sentence.segments):
        before = before_state(p.sentence, checks[0])
        if any(i.kind == "other" for i in before):
            return False  # "the screwdriver's no good": of a thing of its own
        if len(before) > ASIDE or any(i.kind == "word" for i in before):
            text = doubt(DoubtKind.TO_CONFIRM, f"“{src.heard}” was said behind it")
            b.emit(Relabel(target=last.id, doubts=(*last.doubts, text), source=src, why=text.detail))
            return True
    if state and state != last.value:
        sure = state != DENIED and all(i.kind != "word" for i in p.laid.items)
        sure = sure and not (last.value == "not yet" and state in ("passed", "done"))  # "good" is said of a plan too
        sure = sure and not may_be_a_fault(p.sentence, checks[0], b.tokens, b.g)
        value = "failed" if state == DENIED else state
        doubts = () if sure else (doubt(DoubtKind.TO_CONFIRM, "it was said without the check's name"),)
        new = last.model_copy(
            update={"id": b.new_id(), "value": value, "source": src, "doubts": doubts, "asked_with": None}
        )
        b.settle(new, last.id, AGAIN)
        return True
    denied = any(s.has("correct", "not", "doubted") for s in p.sentence.segments)
    if denied and not state and last.taken and len(p.laid.items) <= DENIAL:
        text = doubt(DoubtKind.TO_CONFIRM, "it was denied behind it")
        b.emit(Relabel(target=last.id, doubts=(*last.doubts, text), source=src, why=text.detail))
        return True
    return False


def named_check(b: Book, p: Parsed) -> bool:
    """ "Spill test?" "Failed.": what became of the check that was named just before, without its name.

    Behind a question somebody else may have answered: there, a check that is good is asked about.
    """
    here, b.c.check = b.c.check, None
    if here is None or b.at - here.at > SAME_MOMENT:
        _name_check(b, p)
        return False
    check = here.ids[0]
    if p.checks or p.values or p.names or p.captures or p.moves or p.sentence.mark == "?":
        _name_check(b, p)
        return False
    state = state_of(p.sentence, check)
    if not state and here.asked and len(p.laid.items) == 1:
        state = DENIED if p.laid.items[0].role("no") else "passed" if p.laid.items[0].role("yes") else ""
    if not state or any(i.kind in ("word", "other") for i in p.laid.items) or len(p.laid.items) > DENIAL:
        return False
    value = "failed" if state == DENIED else state
    unsure = state == DENIED or (here.asked and value in ("passed", "done"))
    unsure = unsure or may_be_a_fault(p.sentence, check, b.tokens, b.g)
    doubts = (doubt(DoubtKind.TO_CONFIRM, "it was said without the check's name"),) if unsure else ()
    reading = Reading(
        id=b.new_id(), quantity=check, condition="", value=value, appliance=b.appliance_for(check),
        source=b.source(p.laid.items[0].start, p.laid.items[-1].end), doubts=doubts,
    )  # fmt: skip
    old = b.c.at_slot(check, "", "", reading.appliance)
    if old is None or old.value != value:
        b.settle(reading, old.id if old else None, AGAIN)
    return True


def _name_check(b: Book, p: Parsed) -> None:
    """Remember the one check that a sentence names without its state; what is still to be done has none yet.

    Only behind the bare name ("leak test.") is a result sure; "good" may be said of anything.
    """
    named = {q for i in p.laid.items if i.kind == "quantity" for q in i.value.ids if b.g.quantities[q].kind == "check"}
    kinds = {s.kind for s in p.sentence.segments}
    later = any(s.has("future", "not", "not_done", "instruct", "history") for s in p.sentence.segments)
    if len(named) != 1 or p.checks or p.values or p.moves or later or not kinds <= {"reading", "question"}:
        return
    beside = [i for i in p.laid.items if i.kind not in ("quantity", "filler", "mark")]
    wondered = p.sentence.mark == "?" or "question" in kinds
    b.c.check = Topic((named.pop(),), None, b.at, asked=wondered or bool(beside))


def _share(v: Value) -> str:
    """The share of a turn in two numbers ("one eight turn", "1-8 turn" for one eighth); empty where there is none."""
    numbers = v.number.first.partition(".") if not v.others else (v.number.first, "-", v.others[0].first)
    top, bottom = numbers[0], numbers[2]
    if v.number.exact or bottom not in ("2", "4", "8") or not top.isdigit() or int(top) >= int(bottom):
        return ""
    return format(Decimal(top) / Decimal(bottom), "f")


def _corrected_move(b: Book, p: Parsed) -> Reading | None:
    """ "Quarter turn in, no, out, a quarter turn out": the move of a moment ago that is said once more, put right."""
    last = b.last_of()
    if (
        not b.c.correcting
        or last is None
        or last.quantity != b.g.move
        or any(s.has("again") for s in p.sentence.segments)
    ):
        return None
    return last if b.at - b.c.times.get(last.id, float("-inf")) < RECENT else None


def record_move(b: Book, m: Move, p: Parsed) -> None:
    """A screw was turned: its own record, and what was read before becomes the before."""
    assert b.g.move is not None
    assert m.value is not None
    doubts: list[Doubt] = []
    old = _corrected_move(b, p)
    words = old.note.split() if old is not None else []
    screw = m.screw or (words[0] if len(words) > 1 else None)
    direction = m.direction or (words[-1] if len(words) > 1 else "")
    if direction == "back":
        direction = _against_the_last(b, screw or b.c.screw)
    if not direction and any(s.has("same_way") for s in p.sentence.segments):
        before = [r.note.split() for r in b.c.live() if r.quantity == b.g.move and r.appliance == b.c.tag()]
        direction = before[-1][-1] if before and len(before[-1]) > 1 else ""
    if screw is None and b.c.screw is not None and b.at - b.c.screw_at < SCREW_KEPT and m.again:
        screw = b.c.screw
    if screw is None:
        doubts.append(doubt(DoubtKind.SCREW_UNCLEAR, "which screw was not said"))
    if not direction:
        doubts.append(doubt(DoubtKind.DIRECTION_UNCLEAR, "which way was not said"))
    if m.intended:
        doubts.append(doubt(DoubtKind.TO_CONFIRM, "was it turned, or is it still to be?"))
    if m.stands:
        doubts.append(doubt(DoubtKind.TO_CONFIRM, "was it turned so far, or is that where the screw stands?"))
    strange = unknown_within(b, p, m.start, m.end)
    if strange:
        doubts.append(doubt(DoubtKind.TO_CONFIRM, f"“{strange}” beside it is not known"))
    if m.value.start in b.misgivings:
        doubts.append(doubt(DoubtKind.HEARD_UNCLEARLY, b.misgivings[m.value.start].why))
    if m.value.hedge:
        kind, text = HEDGES[m.value.hedge]
        doubts.append(doubt(kind, text))
    f = fit(m.value.number, "{turn}", b.g.measures[b.g.move], b.c.setting.units)
    doubts += [doubt(*FIT[d]) for d in f.doubts if d != "fused"]
    value = f.choices[0].value
    alternatives: tuple[Alternative, ...] = ()
    share = _share(m.value)
    if not m.value.number.exact and "." in value and not share:
        doubts.append(doubt(DoubtKind.VALUE_UNCLEAR, "turns are said as shares: a quarter, an eighth, one and a half"))
    if share:
        alternatives = (Alternative(value=value, unit="{turn}", why="as it was heard"),)
        value = share
    own = b.g.screws[screw].condition if screw else ""
    state = b.c.state if b.c.state and b.g.conditions[b.c.state].adjusted else None
    condition = m.value.condition if m.value.condition and "|" not in m.value.condition else (state or own or None)
    if condition is None:
        doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "no firing rate was said"))
    reading = Reading(
        id=b.new_id(), quantity=b.g.move, condition=condition, value=value, unit="{turn}",
        appliance=b.c.tag(), approx=m.value.approx, note=f"{screw or ''} {direction}".strip(),
        source=b.source(m.start, m.end), alternatives=alternatives, doubts=tuple(doubts),
    )  # fmt: skip
    if b.c.several() and reading.appliance is None:
        reading = reading.model_copy(update={"doubts": (*doubts, doubt(DoubtKind.APPLIANCE_UNCLEAR))})
    if m.intended and b.c.state is None and screw is None:
        return
    if condition is not None:
        # Also where it may still be to come: a later value must not take the place of one from before it.
        before_now(b, condition)
        b.c.moved = b.c.moved | {(b.c.tag(), condition)}
        b.c.phase = None
    b.settle(reading, old.id if old is not None else None, "corrected" if old is not None else "")
    if screw is not None:
        b.c.screw, b.c.screw_at = screw, b.at


def _against_the_last(b: Book, screw: str | None) -> str:
    """The way against the last turn of a screw; empty where none is known, or where that turn is asked about itself."""
    mine = [r for r in b.c.live() if r.quantity == b.g.move and r.appliance == b.c.tag()]
    last = next((r for r in reversed(mine) if screw and r.note.split()[:1] == [screw]), None)
    if last is None or not last.taken:
        return ""
    return {"cw": "ccw", "ccw": "cw"}.get(last.note.split()[-1], "")


def ought_to_be(b: Book, p: Parsed) -> None:
    """ "O2 five nine. O2 should read five oh.": a limit, or what is to be written down; the reading is asked about."""
    if len(p.values) == 2 and all(v.name is None and not v.unit for v in p.values):
        told, meant = p.values
        ought = told.segment == meant.segment and p.sentence.segments[told.segment].has("ought")
        r = denies(b, told) if ought else None  # "the nine point three should be nine point five"
        if r is not None and r.taken and r.quantity is not None and b.measured(r):
            f = fit(meant.number, "", b.g.measures[r.quantity], b.c.setting.units)
            if f.cost < 3:
                text = doubt(DoubtKind.CONFLICT, f"{f.choices[0].value} was said to be right behind it")
                more = Alternative(value=f.choices[0].value, unit=f.choices[0].unit, why="said behind it")
                update = {"id": b.new_id(), "doubts": (*r.doubts, text), "alternatives": (more, *r.alternatives)}
                b.settle(r.model_copy(update=update), r.id, text.detail)
        return
    for v in p.values:
        s = p.sentence.segments[v.segment]
        if s.kind != "limit" or not s.has("ought") or v.name is None or len(v.name.ids) != 1 or v.others:
            continue
        r = b.last_of(v.name.ids)
        if r is None or not r.taken or b.at - b.c.times.get(r.id, float("-inf")) > ANSWERED:
            continue
        best = fit(v.number, v.unit, b.g.measures[v.name.ids[0]], b.c.setting.units).choices[0]
        if best.unit != r.unit or best.value == r.value or (v.condition or r.condition) != r.condition:
            continue
        text = doubt(DoubtKind.CONFLICT, f"{best.value} was said to be right behind it")
        other = Alternative(value=best.value, unit=best.unit, why="said behind it")
        new = r.model_copy(
            update={"id": b.new_id(), "doubts": (*r.doubts, text), "alternatives": (other, *r.alternatives)}
        )
        b.settle(new, r.id, text.detail)


def _limited(b: Book, v: Value) -> tuple[str | None, str | None]:
    """The quantity and condition that a quoted limit is of; a range without a name is of what was spoken of last."""
    condition = v.condition if v.condition and "|" not in v.condition else None
    if v.name is not None:
        known = len(v.name.ids) == 1 and not v.name.implied
        return (v.name.ids[0] if known else None), condition
    if v.hedge != "range":
        return None, None
    ids = [*b.c.last, *b.touched] if b.at - b.c.last_at < RECENT else []
    spoken = [r for rid in reversed(ids) if (r := b.c.readings.get(rid)) and b.measured(r)]
    topic = b.c.topic if b.c.topic and b.c.topic.ids[0] not in {r.quantity for r in spoken} else None
    announced = b.c.pending or topic
    if announced is not None and b.at - announced.at < RECENT and len(announced.ids) == 1:
        return announced.ids[0], condition or announced.condition or b.c.state
    if not spoken:
        return None, None
    # "CO2 ten one, CO one forty." "We want nine to nine and a half": it is of what it lies nearest to
    nearest = min(spoken, key=lambda r: _apart(b, v, r))
    return nearest.quantity, condition or nearest.condition


def _apart(b: Book, v: Value, r: Reading) -> float:
    """How far a bound lies from a reading's value, as the logarithm of their ratio; endless where it cannot be one."""
    assert r.quantity is not None
    f = fit(v.number, v.unit, b.g.measures[r.quantity], b.c.setting.units)
    bound, read = float(f.choices[0].value), float(r.value)
    return abs(log(bound / read)) if f.cost < 3 and bound * read > 0 else inf


def quote_limits(b: Book, p: Parsed) -> None:
    """A limit that was quoted: the job's own once it is read back."""
    for v in p.values:
        s = p.sentence.segments[v.segment]
        if s.kind != "limit":
            continue
        quantity, condition = _limited(b, v)
        if quantity is None:
            continue
        f = fit(v.number, v.unit, b.g.measures[quantity], b.c.setting.units)
        if f.cost >= 3 or "value" in f.doubts or "unit" in f.doubts:
            continue
        low: str | None = None
        high: str | None = None
        if len(v.others) == 1 and v.hedge == "range":
            g = fit(v.others[0], v.unit, b.g.measures[quantity], b.c.setting.units)
            if g.cost >= 3 or "value" in g.doubts:
                continue
            low, high = f.choices[0].value, g.choices[0].value
        elif s.has("at_most") and not s.has("at_least"):
            high = f.choices[0].value
        elif s.has("at_least") and not s.has("at_most"):
            low = f.choices[0].value
        else:
            continue
        if condition not in b.g.quantities[quantity].conditions:
            condition = None
        b.emit(
            QuotedLimit(
                quantity=quantity, condition=condition, low=low, high=high, unit=f.choices[0].unit,
                appliance=b.appliance_for(quantity), source=b.source(v.start, v.end),
            )
        )  # fmt: skip
