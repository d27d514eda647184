"""Checks: passed, failed, done without a result, not yet, not applicable."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from extract.clauses import Segment, Sentence
from extract.lexicon import Grammar, Item
from extract.tokens import Token

__all__ = ["DENIED", "Checked", "checks_of", "state_of"]

DENIED = "not passed"  # "the leak test is not good": failed, or not done yet
WISHES = frozenset(("want", "get", "should", "would", "could", "might", "must"))
OTHERS = frozenset(("other", "another"))  # "on the other boiler"
TESTED = frozenset(("test", "tests", "tested", "testing"))
RANK = ("not applicable", "not yet", DENIED, "failed", "passed", "done")


class Checked(NamedTuple):
    """A check with its state, and the tokens it was heard in; ``answered``: as yes or no, which may mean either."""

    quantity: str
    state: str
    start: int
    end: int
    answered: bool = False


def checks_of(sentence: Sentence, tokens: Sequence[Token], grammar: Grammar) -> list[Checked]:
    """Return the checks that a sentence tells the state of."""
    out: list[Checked] = []
    before: list[tuple[str, Item]] = []
    parts = list(_by_appliance(sentence))
    if len(parts) == 1:
        return list(_checks(parts[0], tokens, grammar, ()))
    for part in parts:
        named = _named(part, grammar)
        out.extend(_checks(part, tokens, grammar, [] if named or not _its(part, tokens) else before))
        before = named or before
    return out


def _named(part: Sequence[Segment], grammar: Grammar) -> list[tuple[str, Item]]:
    """The checks that a part of a sentence names."""
    items = [i for s in part for i in s.items if i.kind == "quantity"]
    return [(q, i) for i in items for q in i.value.ids if grammar.quantities[q].kind == "check"]


def _its(part: Sequence[Segment], tokens: Sequence[Token]) -> bool:
    """ "Boiler two's is dry": what was named of the appliance before is told of this one."""
    return any(
        i.get("appliance") and [t.low for t in tokens[i.end : i.end + 1]] == ["'s"] for s in part for i in s.items
    )


def _by_appliance(sentence: Sentence) -> Iterator[list[Segment]]:
    """ "Boiler one's trap is filled, boiler two's isn't": the segments of each appliance by themselves."""
    part: list[Segment] = []
    tag = None
    for s in sentence.segments:
        named = next((i.get("appliance") for i in s.items if i.get("appliance") is not None), tag)
        if part and named != tag and tag is not None:
            yield part
            part = []
        tag = named
        part.append(s)
    yield part


def _checks(
    segments: Sequence[Segment], tokens: Sequence[Token], grammar: Grammar, before: Sequence[tuple[str, Item]]
) -> Iterator[Checked]:
    open_: list[tuple[str, Item]] = list(before)
    its = segments[0].items[:1]
    states: dict[str, list[tuple[str, int]]] = {}
    spans: dict[str, list[int]] = {q: [i.start, i.end] for q, _ in before for i in its}
    answered: dict[str, Checked] = {}
    tested = not TESTED.isdisjoint(t.low for s in segments for i in s.items for t in tokens[i.start : i.end])
    for s in segments:
        if s.kind not in ("reading", "future") and not (s.kind == "limit" and not s.numbers):
            continue
        answered.update(_answered(s, tokens, grammar))
        named = [
            (q, i)
            for i in s.items
            if i.kind in ("quantity", "tell")
            for q in (i.value.ids if i.kind == "quantity" else ())
            if grammar.quantities[q].kind == "check"
            and not (s.numbers and grammar.quantities[i.value.ids[0]].kind == "number")
        ]
        none_of = {q for q, i in named if _none(i, s, tokens)}
        together = s.has("both")
        if named:
            told = set(states)
            open_ = [*(x for x in open_ if together and x[0] not in told), *named]
        elif open_ and _something_else(s):
            open_ = []  # "high limit passed, the low pump failed": that is of another thing
        pending = s.has("not_done") or s.kind == "future"
        undone = [" ".join(t.low for t in tokens[i.start : i.end]) for i in s.items if i.role("not_done")]
        only_denied = bool(undone) and grammar.lang.denials.issuperset(undone)
        skipped = s.has("skipped")
        for q, i in named:
            spans.setdefault(q, [i.start, i.end])
            if skipped:
                states.setdefault(q, []).append(("not applicable", i.end))
        for n, i in enumerate(s.items):
            denied = n > 0 and s.items[n - 1].role("not")  # "the trap's not filled"
            tell = i.get("tell")
            if tell is not None and not s.numbers:
                q, state = tell
                if state == "done" and (_wished(s, n, tokens) or s.says(OTHERS, tokens)):
                    continue
                if (denied or pending or _denied_before(s, n, tokens)) and not _denies(i, tokens):
                    none = i.start > 0 and tokens[i.start - 1].low in ("no", "without")
                    passed = DENIED if none else "not yet"
                    state = {"passed": passed, "done": "not yet", "failed": ""}.get(state, state)
                states.setdefault(q, []).append((state, i.end))
                spans.setdefault(q, [i.start, i.end])
                continue
            pairs = i.get("state")
            if pairs is None:
                continue
            targets = [q for q, _ in open_]
            for q, state in pairs:
                words = " ".join(t.low for t in tokens[i.start : i.end])
                if not tested and _may_be_a_fault(i, q, tokens, grammar):
                    continue  # "the high limit trips every morning" is a fault
                if q in targets and denied:
                    states.setdefault(q, []).append((_opposite(q, state, words, grammar), i.end))
                elif q in targets:
                    open_yet = pending and state in ("passed", "done") and not _denies(i, tokens)
                    real = (DENIED if only_denied and state == "passed" else "not yet") if open_yet else state
                    if q in none_of:
                        real = {"passed": DENIED, "done": "not yet"}.get(real, real)
                    states.setdefault(q, []).append((real, i.end))
        for q in none_of - states.keys():
            states[q] = [(DENIED, spans[q][1])]
        if pending:
            for q, _ in named or before:
                if q not in states and s.has("not_done"):
                    behind = next((i.end for i in s.items if i.role("not_done")), 0)
                    tried = {t.low for t in tokens[behind : s.items[-1].end]}.isdisjoint(grammar.lang.carried_out)
                    states.setdefault(q, []).append((DENIED if only_denied and tried else "not yet", spans[q][1]))
    yield from answered.values()
    for q, found in states.items():
        if q in answered:
            continue
        names = [state for state, _ in found]
        was = [end for state, end in found if state == "failed" and _was(end, tokens)]
        if was and any(state in ("passed", "done") and end > was[-1] for state, end in found):
            names = [name for name in names if name != "failed"]  # "the trap was dry, so I've filled it"
        state = next((r for r in RANK if r in names), "")
        if not state:
            continue  # "it's not leaking" says no more than that
        unclear = DENIED in names
        start, end = spans.get(q, [found[0][1] - 1, found[0][1]])
        yield Checked(q, "failed" if state == DENIED else state, start, max(end, *(e for _, e in found)), unclear)


def _was(end: int, tokens: Sequence[Token]) -> bool:
    """Whether the state that ends at a token was told of a moment that is over."""
    return any(t.low in ("was", "were", "been") for t in tokens[max(0, end - 3) : end - 1])


def _wished(s: Segment, n: int, tokens: Sequence[Token]) -> bool:
    """ "I want lock-up checked again", "I'd have fitted a new one": nobody did what item ``n`` tells as done."""
    lows = [tokens[k].low for i in s.items[:n] for k in range(i.start, i.end)]
    return not WISHES.isdisjoint(lows) or ("'d", "have") in pairwise(lows)


def _denied_before(s: Segment, n: int, tokens: Sequence[Token]) -> bool:
    """ "Without a CO alarm fitted", "no sign the flue is blocked": a denial somewhere in front of item ``n``."""
    lows = (tokens[k].low for i in s.items[:n] for k in range(i.start, i.end))
    return any(low in ("no", "not", "never", "without") or low.endswith("n't") for low in lows)


def _none(named: Item, s: Segment, tokens: Sequence[Token]) -> bool:
    """ "No relief valve fitted", "no leak test done": there is none, whatever is said of it."""
    n = s.items.index(named)
    return n > 0 and [t.low for t in tokens[s.items[n - 1].start : s.items[n - 1].end]][-1:] == ["no"]


def _something_else(s: Segment) -> bool:
    """Whether a clause without a check names a thing of its own in front of its state."""
    for i in s.items:
        if i.get("state") is not None:
            return False
        if i.kind in ("word", "quantity", "other", "condition"):
            return True
    return False


def _may_be_a_fault(state: Item, quantity: str, tokens: Sequence[Token], grammar: Grammar) -> bool:
    """ "It trips": that passes a check where it was tried; else it may be what is wrong."""
    return " ".join(t.low for t in tokens[state.start : state.end]) in grammar.quantities[quantity].when_tested


def may_be_a_fault(sentence: Sentence, quantity: str, tokens: Sequence[Token], grammar: Grammar) -> bool:
    """Whether what a sentence says of a check would pass it in a test only, and the sentence names none."""
    if not TESTED.isdisjoint(t.low for i in sentence.items for t in tokens[i.start : i.end]):
        return False
    found = (i for i in sentence.items if quantity in dict(i.get("state") or ()))
    return any(_may_be_a_fault(i, quantity, tokens, grammar) for i in found)


def before_state(sentence: Sentence, quantity: str) -> list[Item]:
    """What a sentence says in front of the first state of a check: what the state is of, or "it"."""
    items = sentence.items
    n = next((n for n, i in enumerate(items) if quantity in dict(i.get("state") or ())), 0)
    return items[:n]


def state_of(sentence: Sentence, quantity: str) -> str:
    """What a sentence without a check's name says of the check spoken of before it; empty where nothing."""
    names = []
    for s in sentence.segments:
        if s.kind not in ("reading", "limit"):
            continue
        for n, i in enumerate(s.items):
            pairs = dict(i.get("state") or ())
            if quantity in pairs:
                denied = n > 0 and s.items[n - 1].role("not")
                names.append(DENIED if denied else pairs[quantity])
    return next((r for r in RANK if r in names), "")


def _opposite(quantity: str, state: str, words: str, grammar: Grammar) -> str:
    """What "not" in front of a state makes of it: what the sheet says of "not filled"; else not yet, or unclear."""
    said = grammar.quantities[quantity].states
    known = next((s for s, phrases in said.items() if f"not {words}" in phrases), None)
    if known is not None:
        return known
    return {"done": "not yet", "passed": DENIED}.get(state, "")


def _answered(s: Segment, tokens: Sequence[Token], grammar: Grammar) -> dict[str, Checked]:
    """ "Yes on the trap, no on the leak test": each check with its own yes or no; a no may be either."""
    out: dict[str, Checked] = {}
    said: tuple[str, int] | None = None
    no = grammar.lang.cues["no"]
    for item, after in pairwise((*s.items, None)):
        if item is None:
            break
        low = tokens[item.start].low
        if item.end == item.start + 1 and (item.role("yes") or low in no) and after is not None:
            if tokens[after.start].low in ("on", "to", "for"):
                said = ("failed" if low in no else "done", item.start)
        elif said is not None and item.kind == "quantity":
            for q in item.value.ids:
                if grammar.quantities[q].kind == "check":
                    out[q] = Checked(q, said[0], said[1], item.end, answered=said[0] == "failed")
            said = None
    return out


def _denies(item: Item, tokens: Sequence[Token]) -> bool:
    """ "No leaks" says "no" itself; a "not" elsewhere does not turn it."""
    return tokens[item.start].low == "no"
