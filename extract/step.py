"""From one utterance and the context before it to operations and the context after it."""

from __future__ import annotations

from dataclasses import replace

from extract.alarms import alarms_perhaps, alarms_said
from extract.assign import Name, Value
from extract.book import Book
from extract.circumstances import appliances, phases, states
from extract.clauses import PAST
from extract.context import CLOCKED, Clocking, Context, Setting, Topic
from extract.corrections import (
    announces,
    bind_back,
    completes_move,
    doubt_the_last,
    doubted,
    goes_on,
    interrupted,
    named_afterwards,
    not_so,
    put_back,
    relabels,
    signed_afterwards,
    signed_within,
    swaps,
    undo,
    unit_afterwards,
)
from extract.doubt import doubt
from extract.effects import unsettled
from extract.guards import garbled_rate, unresolved, went_astray
from extract.heard import best_heard, may_have_turned, may_put_right, other_hearings
from extract.lexicon import Grammar
from extract.notes import (
    check_again,
    named_check,
    ought_to_be,
    quote_limits,
    record_check,
    record_choices,
    record_move,
    record_text,
    spelt_behind,
)
from extract.over_range import over_range
from extract.parse import Parsed
from extract.place import stand_alone
from extract.pointing import differences, earlier, same_as, wondered
from extract.take import denies, take_value
from extract.texts import Capture
from extract.whereabouts import place_in_doubt
from schemas.doubts import DoubtKind
from schemas.evidence import Hypothesis, Utterance
from schemas.readings import Operation, Record, Remove

__all__ = ["start", "step"]

OWN = frozenset(("wait", "let", "watch"))
JUST_SAID = 20.0
"""Seconds for which "wait, there is" may turn round what was said before it."""


def start(setting: Setting) -> Context:
    """Return the context at the beginning of a job."""
    context = Context(setting)
    if len(setting.appliances) == 1:
        context.appliance = setting.appliances[0].tag
    return context


def step(utterance: Utterance, at: float, context: Context, grammar: Grammar) -> tuple[Context, tuple[Operation, ...]]:
    """Return the context after ``utterance`` and the operations that it means, in order.

    ``at`` is the utterance's start in seconds of the job's time. Pure: the same arguments give the same result, and
    ``context`` is left as it was.
    """
    after = context.copy()
    chosen = best_heard(utterance, after, grammar)
    utterance, heard = chosen.utterance, chosen.heard
    book = Book(after, grammar, utterance, at, heard)
    book.elsewhere, book.shared = chosen.who, chosen.shared
    before = context.before if at - context.at < JUST_SAID else ""
    said = alarms_said(utterance, grammar.alarms, heard.tokens, before)
    for alarm in (*said, *alarms_perhaps(utterance, grammar.alarms, {one.stop for one in said})):
        book.emit(alarm)
    after.before = utterance.text
    for parsed in heard.sentences:
        last, done = book.last_of(), len(book.operations)
        sentence(book, parsed)
        went_astray(book, parsed)
        if all(isinstance(op, Record) for op in book.operations[done:]):
            unresolved(book, parsed, last)
    if not book.made:
        others = other_hearings(utterance, context, grammar)
        if may_put_right(heard, others, grammar):
            doubt_the_last(book)
        if may_have_turned(heard, others, grammar):
            after.turned = utterance.text
    elif any(r.quantity == grammar.move for r in map(after.readings.get, book.made) if r is not None):
        after.turned = ""
    finish(book)
    for reading, why, other in unsettled(utterance, at, context, book.c, book.operations, grammar, step):
        book.doubted(reading, why, other)
    astray, lost = place_in_doubt(utterance, heard, context, grammar)
    if (chosen.moved or astray) and after.state != context.state:
        after.astray = utterance.text  # somewhere that only one way of hearing has
    if (chosen.moved and after.appliance != context.appliance) or lost:
        after.appliance_lost = True
    return book.c, tuple(book.operations)


def sentence(b: Book, p: Parsed) -> None:
    """Carry out one sentence; one that puts right what was elsewhere leaves the work where it is."""
    if {s.kind for s in p.sentence.segments} == {"noise"}:
        return
    state, state_at, appliance = b.c.state, b.c.state_at, b.c.appliance
    _carry_out(b, p)
    past = any(s.says(PAST, b.tokens) for s in p.sentence.segments)
    if b.put_right and past and p.values and not p.moves:
        if state is not None and b.c.state != state:
            b.c.state, b.c.state_at = state, state_at
        if appliance is not None and b.c.appliance != appliance and not b.c.appliance_lost:
            b.use_appliance(appliance)


def _carry_out(b: Book, p: Parsed) -> None:
    quote_limits(b, p)
    ought_to_be(b, p)
    named = any(s.has("that_was") for s in p.sentence.segments)  # "sorry, that was low fire" is no interruption
    if b.c.cut and not (p.values or p.moves or named) and any(s.has("interrupted") for s in p.sentence.segments):
        interrupted(b)
        if not (p.names or p.checks or p.captures or any(s.conditions for s in p.sentence.segments)):
            return
    b.names = p.names
    b.put_right = False
    tags = appliances(b, p)
    b.appliance_said = bool(tags)
    phases(b, p)
    signed_within(p)
    undo(b, p)
    b.put_right = b.c.correcting
    if (
        goes_on(b, p)
        or swaps(b, p)
        or signed_afterwards(b, p)
        or unit_afterwards(b, p)
        or named_afterwards(b, p)
        or completes_move(b, p)
    ):
        return
    roles = {r for s in p.sentence.segments for r in s.roles}  # asked once: most sentences have none of these
    if "earlier" in roles and earlier(b, p):
        return
    if p.values and "question" in {s.kind for s in p.sentence.segments}:
        wondered(b, p)
    if spelt_behind(b, p):
        return
    labelled = relabels(b, p)
    if named_check(b, p) or check_again(b, p):
        return
    if not labelled:
        announces(b, p)
    if not labelled:
        doubted(b, p)
    if tags and not labelled:
        b.use_appliance(tags[0][1])
    fresh = None if labelled else states(b, p)
    garbled_rate(b, p)
    for capture in p.captures:
        record_text(b, capture)
        if b.g.quantities[capture.quantity].form == "words":
            ask_about_values_in(b, capture)
    record_choices(b, p)
    for checked in p.checks:
        if len(tags) > 1:
            said = [t for n, t in tags if p.laid.items[n].start <= checked.start]
            b.use_appliance(said[-1] if said else tags[0][1])
        b.value_at = checked.start
        record_check(b, checked, p)
    b.value_at = -1
    if "same" in roles:
        same_as(b, p)
    if p.values or "multiplied" in roles:
        differences(b, p)
    if p.values and p.values[-1].negated and denies(b, p.values[-1]) is not None:
        take_value(b, p.values.pop(), p)  # "the CO was fourteen, not forty": first what is denied
    early = [v for v in p.values if _before_move(v, p, b)]
    for v in early:
        take_value(b, v, p)
    for one in p.moves:
        if len(tags) > 1:
            at = one.start if one.value is None else one.value.start
            ahead = [t for n, t in tags if p.laid.items[n].start <= at]
            b.use_appliance(ahead[-1] if ahead else tags[0][1])
        record_move(b, one, p)
    if "put_back" in roles:
        put_back(b, p)
    clocked_before(b, p)
    for v in p.clock:
        take_value(b, v, p)
    of_all = b.c.appliance is None and any(i.get("appliance") == ("*",) for i in p.laid.items)
    for v in p.values:
        if v in early:
            continue
        if len(tags) > 1:
            before = [t for n, t in tags if n < v.place]
            b.use_appliance(
                before[-1]
                if before and tags[0][0] < p.values[0].place
                else next((t for n, t in tags if n > v.place), tags[-1][1])
            )
        if of_all and v.name is not None:
            for tag in b.c.appliances:
                b.c.appliance = tag  # asked of each: "both boilers locked up at twenty four"
                take_value(b, v, p)
            b.c.appliance = None
        else:
            take_value(b, v, p)
    over_range(b, p)
    b.value_at = -1
    if not labelled:
        not_so(b, p)
    topics(b, p)
    if fresh is not None:
        b.enter(fresh)
    alone = not p.values and not p.names and any(s.conditions for s in p.sentence.segments)
    b.last_condition = b.c.state if alone else None


def ask_about_values_in(b: Book, remark: Capture) -> None:
    """ "Note, high fire CO forty": it may be a reading, or be told of another day; whoever said it is asked."""
    words = b.u.model_copy(update={"hypotheses": (Hypothesis(text=remark.value, mass=1.0),), "second_opinion": None})
    unnamed = replace(b.c, topic=None, pending=None, last=())  # a number without a name is no reading here
    _, operations = step(words, b.at, unnamed, b.g)
    for reading in (op.reading for op in operations if isinstance(op, Record)):
        unclear = any(one.kind is DoubtKind.TO_CONFIRM for one in reading.doubts)  # among words that are not known
        if not b.measured(reading) or reading.quantity is None or unclear:
            continue
        old = b.c.at_slot(reading.quantity, reading.condition, reading.phase, reading.appliance)
        if old is None or old.value != reading.value:
            asked = doubt(DoubtKind.TO_CONFIRM, "it was said in a remark")
            source = b.source(remark.start, remark.end)
            new = {"id": b.new_id(), "source": source, "doubts": (*reading.doubts, asked), "asked_with": None}
            b.emit(Record(reading=reading.model_copy(update=new)))


def _before_move(v: Value, p: Parsed, b: Book) -> bool:
    """ "The CO2 is nine eight and I'm going an eighth out": read before the screw was turned."""
    if not p.moves or v.end > p.moves[0].start or v.changed:
        return False
    at = next(n for n, i in enumerate(p.laid.items) if i.end > p.moves[0].start)
    apart = p.laid.segment_of[at] > v.segment
    words = {b.tokens[k].low for k in range(v.end, p.moves[0].start)}
    return apart and not words & b.g.lang.since


def clocked_before(b: Book, p: Parsed) -> None:
    """ "Timing two cubic feet at full rate." "That's fifty two seconds.": first the volume, then its time."""
    waiting = b.c.clocking
    segments = p.sentence.segments
    times = [v for v in p.values if v.unit == "s" and (v.name is None or not v.name.ids)]
    times = [v for v in times if segments[v.segment].kind == "reading" or segments[v.segment].has("that_was")]
    if p.clock:
        b.c.clocking = None
    elif waiting is not None and len(times) == 1 and b.at - waiting.at < CLOCKED:
        time = times[0]
        if any(v.name is None and v is not time for v in p.values):
            b.c.clocking = None  # it may be another volume than the one before: "no good. Point one in ninety seconds"
            return
        p.values.remove(time)
        p.clock.append(time)
        time.noted = waiting.volume
        time.condition = time.condition or waiting.condition
        time.name = Name((waiting.quantity,), (), time.place, time.segment)
        segments[time.segment].kind = "reading"  # "stop, that's one minute ten"
        b.c.clocking = None
        return
    for q in b.g.clocked:
        volumes = [v for v in p.values if v.unit in q.noted_units and segments[v.segment].kind != "question"]
        if len(volumes) == 1:
            v = volumes[0]
            b.c.clocking = Clocking(q.id, f"{v.number.first} {v.unit}", v.condition or b.c.state, b.at)


def topics(b: Book, p: Parsed) -> None:
    """Remember the quantity named last, and one that was left without its value."""
    names = [n for n in p.names if n.ids or n.vague]
    if p.moves and b.c.topic is not None:
        b.c.topic = replace(b.c.topic, at=b.at)
    if p.moves:
        names = [n for n in names if n.used]
    if not names:
        asked = [c for s in p.sentence.segments if s.kind == "question" for c in s.conditions]
        if asked and not p.values and b.c.topic is not None:
            b.c.pending = Topic(b.c.topic.ids, b.resolve(asked[-1]), b.at, asked=True)  # "CO2 nine." "And low fire?"
        return
    last = names[-1]
    last_ids = last.ids or last.vague
    conditions = [c for s in p.sentence.segments for c in s.conditions]
    condition = b.resolve(conditions[-1]) if conditions else None
    b.c.topic = Topic(last_ids, condition, b.at)
    kind = p.sentence.segments[last.segment].kind
    if kind == "instruction" and not last.used:
        own = b.tokens[p.laid.items[0].start].low in OWN  # "wait for the CO": whoever says so reads it himself
        kind = "reading" if own else "question"  # "read me the O2"
    wondered = kind == "question" and not asks_itself(b, p) and not p.sentence.segments[last.segment].has("limit")
    open_ = not last.used and not (last.implied and p.values)
    b.c.pending = None
    choice = any(v.hedge == "or" for v in p.values) or len(p.values) == 1  # "is it nine or six? Nine.", "CO2's nine?"
    if (wondered and choice) or (open_ and (kind == "reading" or asks_itself(b, p) or (wondered and not p.values))):
        b.c.pending = Topic(last_ids, condition, b.at, asked=wondered)


def asks_itself(b: Book, p: Parsed) -> bool:
    """ "CO2?": a quantity alone, its value comes next."""
    return (
        all(i.kind in ("quantity", "condition", "plain") for i in p.laid.items)
        and len(p.laid.items) <= 4
        and not any(i.role("question") for i in p.laid.items)
    )


def finish(b: Book) -> None:
    """Take back what was undone and not replaced; remember what this utterance recorded."""
    for rid in b.undone:
        r = b.c.readings.get(rid)
        if r is not None and b.c.correcting:
            b.emit(Remove(target=rid, source=b.source(0, len(b.tokens)), why="taken back"))
            if r.quantity is not None:
                b.c.pending = Topic((r.quantity,), r.condition or None, b.at)
    text = b.u.text.rstrip()
    b.c.cut = None
    if b.made and text and text[-1] not in ".?!" and b.tokens[-1].kind != "mark":
        r = b.c.readings.get(b.made[-1])
        if r is not None and r.source.span is not None and r.source.span[1] >= len(text):
            b.c.cut = r.id
    alive = tuple(rid for rid in b.made if rid in b.c.readings)
    if alive:
        b.c.last, b.c.last_at = alive, b.at
        b.c.since_appliance = (*b.c.since_appliance, *alive)
    bind_back(b)
    stand_alone(b)
    if b.awaits:
        b.c.correcting = True
    elif alive or b.operations or len(b.tokens) > 5:
        b.c.correcting = False
