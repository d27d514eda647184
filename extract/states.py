"""Checks: passed, failed, done without a result, not yet, not applicable."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from extract.clauses import Sentence
from extract.lexicon import Grammar, Item
from extract.tokens import Token

__all__ = ["Checked", "checks_of"]

RANK = ("not applicable", "not yet", "failed", "passed", "done")


class Checked(NamedTuple):
    """A check with its state, and the tokens it was heard in."""

    quantity: str
    state: str
    start: int
    end: int


def checks_of(sentence: Sentence, tokens: Sequence[Token], grammar: Grammar) -> list[Checked]:
    """Return the checks that a sentence tells the state of."""
    out: list[Checked] = []
    open_: list[tuple[str, Item]] = []
    states: dict[str, list[tuple[str, int]]] = {}
    spans: dict[str, list[int]] = {}
    for s in sentence.segments:
        if s.kind not in ("reading", "future") and not (s.kind == "limit" and not s.numbers):
            continue
        named = [
            (q, i)
            for i in s.items
            if i.kind in ("quantity", "tell")
            for q in (i.value.ids if i.kind == "quantity" else ())
            if grammar.quantities[q].kind == "check"
            and not (s.numbers and grammar.quantities[i.value.ids[0]].kind == "number")
        ]
        if named:
            open_ = named
        pending = s.has("not_done") or s.kind == "future"
        skipped = s.has("skipped")
        for q, i in named:
            spans.setdefault(q, [i.start, i.end])
            if skipped:
                states.setdefault(q, []).append(("not applicable", i.end))
        for i in s.items:
            tell = i.get("tell")
            if tell is not None and not s.numbers:
                q, state = tell
                states.setdefault(q, []).append((state, i.end))
                spans.setdefault(q, [i.start, i.end])
                continue
            pairs = i.get("state")
            if pairs is None:
                continue
            targets = [q for q, _ in open_]
            for q, state in pairs:
                if q in targets:
                    real = "not yet" if pending and state in ("passed", "done") and not _denies(i, tokens) else state
                    states.setdefault(q, []).append((real, i.end))
        if pending:
            for q, _ in named:
                if q not in states and s.has("not_done"):
                    states.setdefault(q, []).append(("not yet", spans[q][1]))
    for q, found in states.items():
        names = [state for state, _ in found]
        state = next(r for r in RANK if r in names)
        start, end = spans.get(q, [found[0][1] - 1, found[0][1]])
        out.append(Checked(q, state, start, max(end, *(e for _, e in found))))
    return out


def _denies(item: Item, tokens: Sequence[Token]) -> bool:
    """ "No leaks" says "no" itself; a "not" elsewhere does not turn it."""
    return tokens[item.start].low == "no"
