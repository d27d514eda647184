"""What hangs on the last digit of a value: a limit that it lies close to, a rule of the sheet that it breaks.

Such a value is asked sooner: where it was not heard in every way alike, extract/book.py asks at a share that would do
for another one. A value that was heard cleanly is taken, whatever hangs on it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal

from extract.aloud import sound_alike
from extract.context import Bound, Context, Setting
from extract.doubt import amount, step_of
from extract.lexicon import Grammar
from schemas.base import decimal_of, is_value_text
from schemas.readings import Reading

__all__ = ["at_stake"]


def at_stake(
    new: Reading, heard_too: Iterable[str], others: Iterable[Reading], grammar: Grammar, context: Context
) -> str:
    """Return what hangs on the value of ``new`` in a few words, empty where nothing does.

    ``heard_too`` are other numbers that it may have been, in its unit; ``others`` the readings taken before.
    """
    if not is_value_text(new.value):
        return ""
    value = decimal_of(new.value)
    near = [value - step_of(new.value), value + step_of(new.value)]
    near += [decimal_of(text) for text in (*heard_too, sound_alike(new.value)) if text and is_value_text(text)]
    for bound in _bounds(new, grammar, context):
        sides = {_side(bound, amount(one, new.unit, bound.unit)) for one in near}
        mine = _side(bound, amount(value, new.unit, bound.unit))
        if mine is not None and sides - {mine, None}:
            return "it is close to a limit"
    return next(_broken(new, value, others, grammar, context.setting), "")


def _bounds(new: Reading, grammar: Grammar, context: Context) -> Iterator[Bound]:
    """The limits that a reading meets: the maker's and those said aloud, of either in a condition with its own those
    alone; the sheet's stops."""
    for bounds in (context.setting.bounds, context.quoted):
        mine = [b for b in bounds if b.quantity == new.quantity and b.appliance in (new.appliance, None)]
        own = [b for b in mine if b.condition and b.condition == new.condition]
        yield from own or (b for b in mine if not b.condition)
    for stop in grammar.sheet.stops:
        if new.quantity in (stop.quantity, *stop.also) and (stop.at or stop.above):
            yield Bound(None, str(new.quantity), "", None, stop.at or stop.above, stop.unit, reaches=bool(stop.at))


def _side(bound: Bound, value: Decimal | None) -> int | None:
    """Below, within or above (-1, 0, 1); None where it cannot be compared."""
    if value is None:
        return None
    if bound.low is not None and value < decimal_of(bound.low):
        return -1
    high = None if bound.high is None else decimal_of(bound.high)
    return int(high is not None and (value >= high if bound.reaches else value > high))


def _broken(
    new: Reading, value: Decimal, others: Iterable[Reading], grammar: Grammar, setting: Setting
) -> Iterator[str]:
    """The rules between two readings that this one breaks with what was taken last at the other place."""
    taken = [r for r in others if r.taken and r.appliance == new.appliance and is_value_text(r.value)]
    makers = [rule for tag, rule in setting.rules if tag == new.appliance]
    for rule in {rule.id: rule for rule in (*grammar.sheet.relations, *makers)}.values():
        slots = [(s.quantity, s.condition) for s in rule.slots]
        here = (new.quantity, new.condition)
        if len(slots) != 2 or here not in slots:
            continue
        there = slots[1 - slots.index(here)]
        r = next((r for r in reversed(taken) if (r.quantity, r.condition) == there), None)
        if r is None or (r.condition == new.condition and r.phase != new.phase):
            continue
        unit = rule.unit or r.unit
        mine, other = amount(value, new.unit, unit), amount(decimal_of(r.value), r.unit, unit)
        if mine is None or other is None:
            continue
        if not (rule.kept(mine, other) if slots[0] == here else rule.kept(other, mine)):
            yield "it does not go with what was read before"
