"""The names of quantities in a sentence, what swallows values, and names that change with what stands behind them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from extract.assign import Laid, Name, Value
from extract.clauses import Segment, Sentence
from extract.lexicon import Grammar
from extract.phrases import Mention
from extract.tokens import Token

__all__ = ["names_of", "narrowed", "referred"]

_ARTICLES = frozenset(("the", "a", "my"))
_AGAINST = frozenset(("over", "above", "below", "under", "off"))


def names_of(
    sentence: Sentence, laid: Laid, values: Sequence[Value], grammar: Grammar, tokens: Sequence[Token]
) -> list[Name]:
    """Return the quantities named in a sentence, in order; what swallows values is a name without ids."""
    out: list[Name] = []
    conditions = {id(c) for s in sentence.segments for c in s.conditions}
    used = {k for v in values for k in range(v.start, v.end)} | _differing(laid)
    for n, item in enumerate(laid.items):
        if item.start in used:
            continue
        if item.kind == "quantity":
            mention: Mention = item.value
            ids = tuple(q for q in mention.ids if grammar.quantities[q].kind == "number")
            kept = [grammar.quantities[q] for q in mention.ids if grammar.quantities[q].kind == "text"]
            nxt = laid.items[n + 1] if n + 1 < len(laid.items) else None
            behind = nxt is not None and nxt.kind == "number"  # "analyser 5"
            if kept and len(kept) == len(mention.ids) and all(q.form != "code" for q in kept) and not behind:
                continue  # "the analyzer shows 4.9 percent oxygen": the number is not the instrument's
            if any(grammar.quantities[q].noted_units for q in ids):
                continue  # a clocking is told by its volume and time, not by "meter"
            vague = tuple(q for q in mention.vague if grammar.quantities[q].kind == "number")
            if not ids and out and out[-1].place == n - 1 and out[-1].ids and set(out[-1].ids) <= set(vague):
                out[-1].place, out[-1].end = n, item.end  # "manifold" with "pressure" behind it
                continue
            between = [t.low for t in tokens[out[-1].end : item.start] if t.low not in _ARTICLES] if out else []
            if _compared(laid, n, tokens):
                continue  # "sixty over ambient"
            if between == ["of"] and out[-1].ids and not ids:
                continue  # "outlet of the gas valve"
            if between[:1] == ["in"] and len(between) < 3 and out[-1].ids and out[-1].segment == laid.segment_of[n]:
                continue  # "the CO level in this room": where, not what
            if between in (["minus"], ["less"]) and out[-1].segment == laid.segment_of[n]:
                out[-1] = replace(out[-1], ids=(), vague=(), place=n, end=item.end)  # "flue minus ambient": neither
                continue
            out.append(Name(ids, vague, n, laid.segment_of[n], start=item.start, end=item.end))
        elif item.kind == "other" or (
            item.get("other") is not None and item.kind not in ("number", "unit", "condition")
        ):
            out.append(Name((), (), n, laid.segment_of[n], start=item.start, end=item.end))
        elif id(item) in conditions:
            wanted = item.value if item.kind == "enter" else (item.value,)
            implied = tuple(q for c in wanted if (q := grammar.conditions[c].implies))[:1]
            own = sentence.segments[laid.segment_of[n]]
            if implied and not (own.numbers and _named_otherwise(own, implied[0], grammar)):
                out.append(Name(implied, (), n, laid.segment_of[n], implied=True, start=item.start, end=item.end))
    return out


def _named_otherwise(s: Segment, implied: str, grammar: Grammar) -> bool:
    """ "CO2 nine one at start-up": the condition tells of the CO2, and implies no inlet pressure."""
    measured = [q for i in s.quantities for q in i.value.ids if grammar.quantities[q].kind == "number"]
    return bool(measured) and implied not in measured


def _compared(laid: Laid, n: int, tokens: Sequence[Token]) -> bool:
    """Whether a value in front of quantity ``n`` is told against it: "sixty degrees above the return"."""
    k = n - 1
    while k >= 0 and tokens[laid.items[k].start].low in _ARTICLES:
        k -= 1
    if k < 1 or tokens[laid.items[k].start].low not in _AGAINST or laid.items[k].end > laid.items[k].start + 1:
        return False
    return laid.items[k - 1].kind in ("number", "unit") and laid.segment_of[k - 1] == laid.segment_of[n]


def _differing(laid: Laid) -> set[int]:
    """The tokens of "supply and return" in "delta between supply and return": the difference is no value of either."""
    out: set[int] = set()
    inside = False
    for n, item in enumerate(laid.items):
        if item.kind == "number":
            inside = False
        elif item.get("other") is not None and n + 1 < len(laid.items) and laid.items[n + 1].role("between"):
            inside = True
        elif inside and item.kind == "quantity":
            out.update(range(item.start, item.end))
    return out


def narrowed(values: Sequence[Value], names: Sequence[Name], tokens: Sequence[Token], grammar: Grammar) -> None:
    """Bind values to the narrower name that stands behind them without a value.

    "CO forty parts, air free" is CO air-free, a kind of CO; "CO zero ambient" is ambient CO, which is a name too.
    """
    for name in names:
        before = [v for v in values if v.end <= name.start]
        if len(name.ids) != 1 or name.used or not before or any(before[-1].end <= n.start < name.start for n in names):
            continue
        v = before[-1]
        if v.name is None or len(v.name.ids) != 1:
            continue
        both = " ".join(t.low for t in (*tokens[name.start : name.end], *tokens[v.name.start : v.name.end]))
        own = name.ids[0] if grammar.quantities[name.ids[0]].kind_of == v.name.ids[0] else grammar.said.get(both)
        if own is not None:
            v.name.used -= 1
            v.name, name.used = replace(name, ids=(own,), used=1), 1


def referred(values: list[Value], tokens: Sequence[Token], grammar: Grammar) -> None:
    """Take "at three percent O2" behind a value for what it is referred to, which is no reading."""
    for v, behind in pairwise(list(values)):
        if v.name is None or len(v.name.ids) != 1 or v.segment != behind.segment or behind.unit not in ("", "%"):
            continue
        other = grammar.quantities[v.name.ids[0]].referred_to
        named = behind.name is not None and behind.name.ids == (other,) and behind.name.start > behind.start
        if named and behind.start > 0 and tokens[behind.start - 1].low in ("at", "to"):
            values.remove(behind)
            v.referred = True
