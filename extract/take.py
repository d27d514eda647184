"""From a value in a sentence to a reading: its quantity, its condition, and every doubt there is."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from extract.assign import Name, Value
from extract.book import Book
from extract.clauses import Segment
from extract.context import RECENT
from extract.doubt import FIT, HEDGES, doubt
from extract.guards import contradicted, not_understood, ran_on, two_conditions
from extract.numbers import Number, number_like
from extract.parse import Parsed, best_fit
from extract.place import place
from extract.runs import doubled, fuller_than, fused, lone_digit, with_two
from extract.unnamed import unnamed
from extract.values import basis_named, fit, made_otherwise
from extract.years import is_year
from schemas.doubts import Doubt, DoubtKind
from schemas.readings import (
    Alternative,
    Reading,
    Source,
)

__all__ = ["denies", "make_reading", "quantity_of", "take_value"]


PARTS = ("%", "[ppm]")  # said in the one, recorded in the other
MISSED = "may have been said"


def take_value(b: Book, v: Value, p: Parsed) -> None:
    """Record one value, or pass it over."""
    b.value_at = v.start
    s = p.sentence.segments[v.segment]
    if not v.unit and is_year(b.tokens, v.start, v.end, v.number.digits, b.g.lang):
        return
    if v.negated:
        negated(b, v)
        return
    if s.kind != "reading":
        return
    name = v.name
    if name is not None and not name.ids and not name.vague:
        return
    system = b.c.setting.units
    doubts: list[Doubt] = []
    alternatives: list[Alternative] = []
    quantity: str | None = None
    target: Reading | None = None
    if name is not None:
        quantity, more = quantity_of(b, name, v, system)
        if more:
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the name fits several quantities"))
            alternatives += [Alternative(quantity=q, why="also so called") for q in more[:2]]
        waiting = [n for n in p.names if name.by_unit and not n.used and n.ids and not n.implied]
        waiting = [n for n in waiting if quantity not in n.ids]
        fitting = [q for n in waiting for _, q in best_fit(v, n.ids, b.g, system)]
        if fitting or any(n.segment == v.segment for n in waiting):
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "another quantity was named, and no value for it"))
            alternatives += [Alternative(quantity=quantity, why="the unit says so")] if fitting else []
            quantity = fitting[0] if fitting else quantity
        if name.by_unit and _timed(b, v):
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "it may be an amount, with its time behind it"))
        if v.referred:
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "it was told at a stated value of another"))
        if (rival := _or_that(v, p)) is not None and rival.ids and quantity not in rival.ids:
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "another quantity was offered behind it"))
            alternatives.append(Alternative(quantity=rival.ids[0], why="also said"))
        if whole := ran_on(b, v):
            doubts.append(doubt(DoubtKind.CUT_OFF, "digits were said behind it"))
            alternatives.append(Alternative(value=whole, unit=v.unit or None, why="with the digits behind it"))
        if v.strangers and not name.by_unit:
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "words that are not known stand in between"))
        elif v.followed and not v.unit:
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the number may count something else"))
    else:
        if v.followed:
            return
        found = unnamed(b, v, p, s)
        if found is None:
            contradicted(b, v, p)
            return
        quantity, target, more = found
        if target is not None and b.g.quantities[str(target.quantity)].kind == "text":
            other_code(b, v, target)
            return
        if more:
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "no quantity was named"))
            alternatives += [Alternative(quantity=q, why="the value fits") for q in more[1:3]]
            quantity = more[0]
            if b.c.open and b.c.open[-1].source == b.source(v.start, v.end):
                ahead = f"{b.u.evidence[:16]}-{b.u.number}-{b.ordinal + 1}"
                b.c.open = (*b.c.open[:-1], replace(b.c.open[-1], reading=ahead))
    longer = None if name is None or quantity is None else _with_the_names_digit(b, name, v)
    if longer is not None:
        doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the words can be read in two ways"))
        alternatives.append(longer)
    if v.rivals and quantity is not None:
        doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the words can be read in two ways"))
        alternatives += [Alternative(quantity=q, why="the words can be read so") for q in v.rivals[:1]]
    if quantity is None:
        return
    if (name is None or name.by_unit) and (other := _of_what_is_beside(b, v, quantity)) is not None:
        doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "no quantity was named, and the words around it are another's"))
        alternatives.insert(0, Alternative(quantity=other, condition="", why="the words around it say so"))
    strange = not_understood(b, v, p)
    if strange and not doubts:
        doubts.append(doubt(DoubtKind.TO_CONFIRM, strange))
    make_reading(b, quantity, v, p, s, doubts, alternatives, target)


def _of_what_is_beside(b: Book, v: Value, quantity: str) -> str | None:
    """ "Forty five parts in the plant room": another quantity of the unit, which the words of the utterance tell of."""
    line = f" {' '.join(token.low for token in b.tokens)} "
    for q in b.g.sheet.quantities:
        if q.beside and q.id != quantity and v.unit in q.units and any(f" {word} " in line for word in q.beside):
            return q.id
    return None


def other_code(b: Book, v: Value, old: Reading) -> None:
    """ "Serial 4412. No, 4421.", "the last digit's a five": a code is put right by digits, and asked about."""
    digits = v.number.digits
    whole = len(digits) == len(old.value) and digits.isdigit()
    text = doubt(DoubtKind.TO_CONFIRM, f"{v.number.first if not whole else digits} was said behind it")
    other = Alternative(value=old.value if whole else digits, why="said before" if whole else "said behind it")
    new = old.model_copy(
        update={"id": b.new_id(), "value": digits if whole else old.value, "doubts": (*old.doubts, text),
                "alternatives": (other, *old.alternatives)}
    )  # fmt: skip
    b.settle(new, old.id, text.detail)


def _unit_just_told(b: Book, v: Value, quantity: str, target: Reading | None) -> str:
    """ "Eighty four Celsius, no, eighty one": the unit that a number without one may be meant in; empty where it was
    said, or where that is the usual one."""
    old = target if target is not None else b.last_of()
    if v.unit or old is None or not b.measured(old) or old.unit not in b.g.quantities[quantity].units:
        return ""
    usual = b.g.measures[str(old.quantity)].default(b.c.setting.units)
    return "" if old.unit == usual else old.unit


def _or_that(v: Value, p: Parsed) -> Name | None:
    """ "CO2 nine three or O2": the name behind a value with "or" before it and no value of its own."""
    behind = [n for n in p.names if n.place == v.place + 2 and not any(x.name is n for x in p.values)]
    return behind[0] if behind and p.laid.items[v.place + 1].role("or") else None


def negated(b: Book, v: Value) -> None:
    """ "Not nine five": the reading with this value is the one to be replaced."""
    r = denies(b, v)
    if r is not None:
        b.undone.append(r.id)
    b.c.correcting = True


def denies(b: Book, v: Value) -> Reading | None:
    """The newest reading that has a value which is said not to be so."""
    values = {c for c, _ in v.number.choices}
    return next((r for r in reversed(list(b.c.live())) if r.value.lstrip("-") in values), None)


def quantity_of(b: Book, name: Name, v: Value, system: str) -> tuple[str, list[str]]:
    """The quantity that a name means beside this value, and others that it may mean."""
    if name.ids:
        best = best_fit(v, name.ids, b.g, system)
        usual = [q for q in name.vague if fit(v.number, v.unit, b.g.measures[q], system).choices[0].usual]
        free = bool(best and usual) and not b.g.quantities[best[0][1]].conditions
        if free and not fit(v.number, v.unit, b.g.measures[best[0][1]], system).choices[0].usual:
            return usual[0], [best[0][1]]  # "ambient's zero": rather the CO than the temperature
        if best:
            return best[0][1], []
        if name.vague:
            fitting = best_fit(v, name.vague, b.g, system)
            other = [found for found in fitting if found[1] in usual or v.unit in b.g.quantities[found[1]].units]
            if other:
                return other[0][1], [q for _, q in other[1:]] if len(other) > 1 and not v.unit else []
        return name.ids[0], []
    fits = best_fit(v, name.vague, b.g, system, loosely=True)
    if not fits:
        return name.vague[0], list(name.vague[1:])
    ids = [q for _, q in fits]
    if v.condition is not None:
        ids = [q for q in ids if b.g.quantities[q].conditions] or ids  # "supply two ten at high fire": no volts
        fits = [found for found in fits if found[1] in ids]
    others = {n.ids[0] for n in b.names if n is not name and n.used and len(n.ids) == 1}
    fresh = [q for q in ids if q not in others and not _just_read(b, q, v)]
    if len(fresh) == 1 and len(ids) == 2 and fits[ids.index(fresh[0])][0] < 1.0:
        return fresh[0], []  # "supply 148, return 121, flow 24.5"
    with_ = [q for q in ids if goes_with(b, q, name)]
    if len(with_) == 1:
        return with_[0], []
    return ids[0], ids[1:]


def _just_read(b: Book, quantity: str, v: Value) -> bool:
    """Whether this quantity has been read in the row that is being said."""
    condition = v.condition if v.condition and "|" not in v.condition else b.c.state
    r = b.c.at_slot(quantity, condition, b.phase_for(condition), b.c.tag())
    return r is not None and r.taken and b.at - b.c.times.get(r.id, float("-inf")) < RECENT


def goes_with(b: Book, quantity: str, name: Name) -> bool:
    """Whether a quantity that this one stands in a law with is named beside it ("flow seventy, return fifty")."""
    beside = {q for n in b.names for q in n.ids if n is not name}
    return any(
        {s.quantity for s in law.slots} == {quantity, other}
        for law in b.g.laws
        for other in beside
        if other != quantity
    )


def condition_for(b: Book, v: Value, quantity: str, p: Parsed) -> tuple[str | None, bool]:
    """The condition of a value, and whether it is known."""
    allowed = b.g.quantities[quantity].conditions
    if not allowed:
        return "", True
    condition = v.condition
    if condition is not None and "|" in condition:
        condition = b.one_of(condition.split("|"))
    general = condition is not None and b.g.conditions[condition].yields
    if general and b.c.state is not None and b.c.state in allowed and b.g.conditions[b.c.state].firing:
        condition = b.c.state
    if condition is None:
        condition = b.c.state
        topic = b.c.topic
        near = 1.0 if b.c.state else RECENT
        if topic and quantity in topic.ids and topic.condition and b.at - topic.at < near and not v.name:
            condition = topic.condition
    if condition in allowed:
        return condition, True
    return None, False


def make_reading(
    b: Book, quantity: str, v: Value, p: Parsed, s: Segment,
    doubts: list[Doubt], alternatives: list[Alternative], target: Reading | None,
    source: Source | None = None, takes_place_of: Reading | None = None,
) -> None:  # fmt: skip
    """Make the reading, put it to every test of doubt, and place it among the others."""
    q = b.g.quantities[quantity]
    f = fit(v.number, v.unit, b.g.measures[quantity], b.c.setting.units)
    if "fused" in f.doubts and fused(b, quantity, v, p):
        return
    for short in dict.fromkeys(f.doubts):
        kind, text = FIT[short]
        doubts.append(doubt(kind, text))
    misgiving = b.misgivings.get(v.start)
    if misgiving is not None:
        doubts.append(doubt(DoubtKind.HEARD_UNCLEARLY, misgiving.why))
        for o in misgiving.others:
            g = fit(o.number, o.unit or v.unit, b.g.measures[quantity], b.c.setting.units)
            alternatives.append(Alternative(value=g.choices[0].value, unit=g.choices[0].unit, why=MISSED))
    elif b.u.second_opinion is not None and lone_digit(b, v, quantity):
        doubts.append(doubt(DoubtKind.HEARD_UNCLEARLY, "a digit may be missing"))
    if v.number.cut:
        doubts.append(doubt(DoubtKind.CUT_OFF, "it ends in the middle of a number"))
    if v.hedge:
        kind, text = HEDGES[v.hedge]
        doubts.append(doubt(kind, text))
    if s.doubtful == "limit":
        doubts.append(doubt(DoubtKind.LIMIT_QUOTED, "a limit was quoted in the same sentence"))
    elif s.doubtful == "question":
        doubts.append(doubt(DoubtKind.TO_CONFIRM, "it was said as a question"))
    if q.otherwise and (way := made_otherwise(q, _around(b, s, p))):
        doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, f"“{way}” may make it something else"))
    if _at_a_share(b, v, p):
        doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "another firing rate was named"))
    value, unit = f.choices[0].value, f.choices[0].unit
    joined = with_two(b, quantity, v) if f.cost >= 3 else ""
    if joined:
        alternatives.append(Alternative(value=value, unit=unit, why="as it was heard"))
        value = joined
    fuller = next(
        (a for a in alternatives if a.value and a.why == MISSED and fuller_than(a.value, b, v, quantity)), None
    )
    if fuller is not None:
        alternatives = [Alternative(value=value, unit=unit, why=MISSED), *(a for a in alternatives if a is not fuller)]
        value, unit = str(fuller.value), str(fuller.unit)
    elif b.u.second_opinion is not None and q.units == ("%",) and lone_digit(b, v, quantity) and not v.unit:
        twice = fit(doubled(v.number), v.unit, b.g.measures[quantity], b.c.setting.units)
        if twice.choices[0].usual and not twice.doubts:
            alternatives.insert(0, Alternative(value=value, unit=unit, why=MISSED))
            value = twice.choices[0].value
    for other in v.others:
        g = fit(other._replace(sign=other.sign or v.number.sign), v.unit, b.g.measures[quantity], b.c.setting.units)
        alternatives.append(Alternative(value=g.choices[0].value, unit=g.choices[0].unit, why="also said"))
    alternatives += f.alternatives()
    if "unit kind" in f.doubts and (f.choices[0].unit, b.g.measures[quantity].default(b.c.setting.units)) == PARTS:
        parts = format((Decimal(f.choices[0].value) * 10000).normalize(), "f")
        alternatives.append(Alternative(value=parts, unit=PARTS[1], why="a percent is ten thousand parts per million"))
    if (told := _unit_just_told(b, v, quantity, target)) not in ("", unit):
        doubts.append(doubt(DoubtKind.UNIT_UNCLEAR, "no unit was said, and another one just before"))
        alternatives.append(Alternative(value=v.number.sign.strip("+") + v.number.first, unit=told, why="said before"))
    condition, known = condition_for(b, v, quantity, p)
    if target is not None and v.condition is None:
        condition, known = target.condition, target.condition is not None
        if known:  # where it was read is as open as before
            doubts += [d for d in target.doubts if d.kind is DoubtKind.CONDITION_UNCLEAR and d not in doubts]
            alternatives += [a for a in target.alternatives if a.condition not in (None, condition)]
    if not known:
        doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "no condition was said"))
    elif q.conditions and v.place >= 0 and two_conditions(b, v, p):
        doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "two conditions were named"))
    elif condition != b.c.state and q.conditions and _goes_there(b, v, p):
        doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "it may have been read before that"))
        alternatives.insert(0, Alternative(condition=b.c.state, why="the work was there"))
    elif (
        v.condition is None
        and target is None
        and q.conditions
        and (b.c.astray or _elsewhere(v, p) or _over_there(b, v))
    ):
        where = f"“{b.c.astray}” may be another one" if b.c.astray else "another firing rate was named"
        doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, where))
    elif v.changed and condition and b.g.conditions[condition].passing and _recovered(b, v):
        doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "it came back after that moment"))
    there = target is not None and condition == target.condition
    adjusted = condition is None or (condition in b.g.conditions and b.g.conditions[condition].adjusted)
    phase = (v.phase if adjusted else "") or (target.phase if target is not None and there else b.phase_for(condition))
    if b.c.turned and phase == "before" and not v.phase and target is None:
        doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "it may have been read after a turn that was not understood"))
        alternatives.append(Alternative(phase="after", why="a screw may have been turned"))
    appliance = target.appliance if target is not None else b.appliance_for(quantity)
    elsewhere = target is not None and v.name is None and target.condition not in (None, condition)
    if target is not None and elsewhere and value != target.value and target.id not in b.undone:
        doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "both the value and where it was read are new"))
    if target is not None and b.appliance_said and b.appliance_for(quantity) != appliance:
        alternatives.append(Alternative(appliance=appliance, why="what it corrects is of that"))
        appliance = b.appliance_for(quantity)
        doubts.append(doubt(DoubtKind.APPLIANCE_UNCLEAR, "it may correct what was said of another appliance"))
    if not q.every_job and b.c.several() and (appliance is None or b.c.appliance_lost) and target is None:
        why = "it was said of several at once" if appliance is not None else "it was not said which appliance"
        doubts.append(doubt(DoubtKind.APPLIANCE_UNCLEAR, why))
    first = min([v.start, *([v.name.start] if v.name and v.name.end else [])])
    last = max([v.end, *([v.name.end] if v.name and v.name.end else [])])
    reading = Reading(
        id=b.new_id(), quantity=quantity, condition=condition, phase=phase, value=value, unit=unit,
        appliance=appliance, approx=v.approx, note=v.noted or (basis_named(q, _around(b, s, p)) if q.bases else ""),
        source=source or b.source(first, last),
        alternatives=tuple(alternatives), doubts=tuple(doubts),
    )  # fmt: skip
    if takes_place_of is not None:
        b.settle(reading, takes_place_of.id, "named afterwards")
        return
    place(b, reading, v, p, target)


def _with_the_names_digit(b: Book, name: Name, v: Value) -> Alternative | None:
    """ "CO two ten": CO2 ten, or CO two hundred and ten."""
    words = [t.low for t in b.tokens[name.start : name.end]]
    number = v.number.choices[0][0]
    if len(words) < 2 or name.end != v.start or v.unit or len(number) != 2 or not number.isdigit() or v.number.sign:
        return None
    digit = b.g.lang.digits.get(words[-1])
    other = b.g.said.get(" ".join(words[:-1]))
    if digit is None or other is None or other == (name.ids or name.vague)[0]:
        return None
    value = f"{digit}{number}"
    f = fit(Number(((value, 0.0),), exact=True, digits=value), "", b.g.measures[other], b.c.setting.units)
    if f.cost >= 3:
        return None
    return Alternative(quantity=other, value=value, unit=f.choices[0].unit, why="as it may be read")


def _elsewhere(v: Value, p: Parsed) -> bool:
    """Whether a firing rate that is none of the sheet's is named in the value's clause, or in front of it."""
    return any(x.has("elsewhere") for x in p.sentence.segments[: v.segment + 1])


def _goes_there(b: Book, v: Value, p: Parsed) -> bool:
    """ "It's nine three, low fire now", said at high fire: the change of the firing rate stands behind the value."""
    later = [s for s in p.sentence.segments[v.segment + 1 :] if s.conditions]
    firing = b.c.state is not None and b.g.conditions[b.c.state].firing
    return firing and bool(later) and (later[0].has("now") or later[0].says(b.g.lang.motion, b.tokens))


def _over_there(b: Book, v: Value) -> bool:
    """ "O2 was four six up there", said at low fire."""
    behind = [t.low for t in b.tokens[v.end : v.end + 2]]
    return behind in (["up", "there"], ["down", "there"])


def _timed(b: Book, v: Value) -> bool:
    """ "A hundred litres in four minutes": no flow."""
    return [t.low for t in b.tokens[v.end : v.end + 1]] == ["in"] and any(
        number_like(t, b.g.lang) for t in b.tokens[v.end + 1 : v.end + 2]
    )


def _recovered(b: Book, v: Value) -> bool:
    """ "Down to six four on light off, came back to six eight": the second is of after the ignition."""
    return not {"back", "recovered", "recovering"}.isdisjoint(t.low for t in b.tokens[max(0, v.start - 3) : v.start])


def _at_a_share(b: Book, v: Value, p: Parsed) -> bool:
    """ "CO2 nine three at fifty percent": read at a firing rate that is no condition of the sheet."""
    rates = (x for x in p.values if x is not v and x.unit == "%" and x.name is None and x.start > 0)
    return any(b.tokens[x.start - 1].low == "at" and x.number.first != "100" for x in rates)


def _around(b: Book, s: Segment, p: Parsed) -> str:
    """The words of a value's clause, and of the next one if that has no number and no name of its own."""
    k = p.sentence.segments.index(s)
    behind = [x for x in p.sentence.segments[k + 1 : k + 2] if not (x.numbers or x.quantities)]
    return " ".join(b.tokens[n].low for x in (s, *behind) for i in x.items for n in range(i.start, i.end))
