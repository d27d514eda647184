"""Which firing rate, or other condition, each value of a sentence was read at."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from extract.assign import Laid, Value
from extract.clauses import Segment, Sentence
from extract.lexicon import Grammar

__all__ = ["conditions_of"]


def conditions_of(sentence: Sentence, laid: Laid, values: Sequence[Value], grammar: Grammar) -> None:
    """Give each value the condition named for it in its sentence (``Value.condition``), if any."""
    places: list[tuple[int, int, str]] = []
    named: list[tuple[int, int, str]] = []
    for n, s in enumerate(sentence.segments):
        for c in s.conditions:
            wanted = c.value if c.kind == "enter" else (c.value,)
            at = next(k for k, i in enumerate(laid.items) if i is c)
            if not _blocked(s, at, laid):
                places.append((at, n, wanted[0] if len(wanted) == 1 else "|".join(wanted)))
                if c.kind == "condition":
                    named.append(places[-1])
    quoted = {n for n, s in enumerate(sentence.segments) if s.kind in ("limit", "history") and s.numbers}
    read = max((v.segment for v in values if v.segment not in quoted), default=-1)
    if quoted and read >= 0:
        # "inlet six eight, book says min four": of what is quoted behind it, and not of the reading
        places, named = ([x for x in found if x[1] not in quoted or x[1] < read] for found in (places, named))
    if not places or not values:
        return
    if len(values) == 1 and named:
        places = named  # "with everything shut off, so that's your standing": the name counts
    places = _joined(places, grammar, len(values))
    leading = places[0][0] < values[0].place
    for v in values:
        own = [c for at, n, c in places if n == v.segment]
        inside = [x for x in values if x.segment == v.segment]
        if len(own) == 1 and (len(inside) == 1 or leading or places[0][1] == v.segment):
            first = next(at for at, n, c in places if n == v.segment)
            before = [c for at, n, c in places if at < v.place]
            if len(inside) == 1 or first < v.place or not before:
                v.condition = own[0]
                continue
        before = [c for at, n, c in places if at < v.place]
        after = [c for at, n, c in places if at > v.place]
        if leading:
            v.condition = before[-1] if before else (after[0] if after else None)
        else:
            v.condition = after[0] if after else (before[-1] if before else None)


def _joined(places: list[tuple[int, int, str]], grammar: Grammar, values: int) -> list[tuple[int, int, str]]:
    """ "Running at high fire": the firing rate takes the place of the general word beside it."""
    drop = set()
    general = [p for p in places if p[2] in grammar.conditions and grammar.conditions[p[2]].yields]
    if values == 1 and general and len(general) < len(places):
        return [p for p in places if p not in general]
    for (a, an, ac), (b, bn, bc) in pairwise(places):
        if an == bn and b - a <= 4:
            if ac in grammar.conditions and grammar.conditions[ac].yields and bc in grammar.conditions:
                drop.add(a)
            elif bc in grammar.conditions and grammar.conditions[bc].yields:
                drop.add(b)
    return [p for p in places if p[0] not in drop]


def _blocked(s: Segment, at: int, laid: Laid) -> bool:
    """Negated or left behind: "not at high fire yet", "coming off high fire"."""
    for k in (at - 1, at - 2, at - 3):
        if k < 0:
            break
        i = laid.items[k]
        if i.kind == "number":
            break
        if i.role("not") or (i.role("leaving") and k >= at - 2):
            return True
    return False
