"""Screws turned: how far, which way, which screw. What is missing is asked, never guessed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from extract.assign import Laid, Value
from extract.clauses import Sentence
from extract.lexicon import Grammar, Item
from extract.tokens import Token

__all__ = ["Move", "moves_of"]

TURN = "{turn}"
_COME = frozenset(("come", "came", "coming", "comes"))


class Move(NamedTuple):
    """One turn of a screw.

    ``value``: the amount, None if not said; ``direction``: cw, ccw, back (against the last turn of that screw) or
    empty. ``stands``: it may be how far out a screw is, not how far it was turned.
    """

    value: Value | None
    direction: str
    screw: str | None
    again: bool
    start: int
    end: int
    intended: bool
    stands: bool


def moves_of(
    sentence: Sentence, laid: Laid, values: list[Value], tokens: Sequence[Token], grammar: Grammar
) -> list[Move]:
    """Return the moves of a sentence and take their amounts out of ``values``."""
    if grammar.move is None or not grammar.screws:
        return []
    kinds = {s.kind for s in sentence.segments}
    if kinds & {"question", "history", "noise"}:
        return []
    amounts = [v for v in values if v.unit == TURN or _beside_turn(v, laid, tokens)]
    screws = [(n, i) for n, i in enumerate(laid.items) if i.get("screw")]
    short = [(n, i) for n, i in enumerate(laid.items) if i.get("short screw") and not i.get("screw")]
    directions = _directions(laid, tokens, amounts, bool(screws))
    shares = [v for v in values if v.number.digits.endswith("/") and not v.unit and v not in amounts]
    turned = any(s.says(grammar.lang.turned, tokens) for s in sentence.segments)
    worded = turned or any(s.has("turn_words") for s in sentence.segments)
    being = any(tokens[i.start].low in ("was", "is", "'s", "were") for i in laid.items)
    if amounts and directions:
        amounts = sorted([*amounts, *shares], key=lambda v: v.place)
    elif (len(shares) == 1 or (len(shares) == len(values) == len(directions))) and (
        any(s.has("same_way", "again") for s in sentence.segments)
        or (directions and (screws or short or len(values) == 1))
        or (turned and (screws or short))
        or (screws and len(shares) == len(values) == 1 and not being)  # "throttle, an eighth": which way is asked
    ):
        amounts = shares
    if amounts and amounts is shares and being and not (screws or short or turned):
        for v in amounts:
            values.remove(v)
        return []  # "the probe was half out"
    if not amounts:
        return []
    dials = any(v.unit in q.noted_units for q in grammar.clocked for v in values)
    if dials and not (directions or screws or short):
        for v in amounts:
            if v in values:
                values.remove(v)
        return []  # "one revolution of the two foot dial"
    worded = worded or any(s.has("same_way", "again") for s in sentence.segments)
    if not (directions or screws or worded):
        return []
    if any(s.has("considered") for s in sentence.segments):
        for v in amounts:
            if v in values:
                values.remove(v)
        return []  # "might give it a quarter in": nothing was turned
    several = len(amounts) > 1 and screws and short  # "a quarter in on the throttle and an eighth out on the offset"
    named = sorted([*screws, *short], key=lambda found: found[0]) if several else screws or short
    out: list[Move] = []
    placed = any(v.start > 0 and tokens[v.start - 1].low == "from" for v in amounts)  # "from two turns out to one"
    for k, v in enumerate(amounts):
        screw = _nearest(named, v, len(amounts), k)
        direction = _nearest(directions, v, len(amounts), k)
        if v in values:
            values.remove(v)
        again = any(s.has("again") for s in sentence.segments) or any(
            tokens[i.start].low in ("it", "that") for i in laid.items
        )
        s = sentence.segments[v.segment]
        intended = s.kind in ("instruction", "future", "limit")
        item = laid.items[screw] if screw is not None else None
        name = None if item is None else item.get("screw") or item.get("short screw")
        way = "" if direction is None else _way(laid.items[direction], tokens)
        again = again or way == "back"
        stands = placed or s.has("from_stop") or (v.start > 0 and tokens[v.start - 1].low in ("at", "stands", "sits"))
        ends = [v.end, *(laid.items[x].end for x in (screw, direction) if x is not None)]
        starts = [v.start, *(laid.items[x].start for x in (screw, direction) if x is not None)]
        out.append(Move(v, way, name, again, min(starts), max(ends), intended, stands))
    return out


def _beside_turn(v: Value, laid: Laid, tokens: Sequence[Token]) -> bool:
    """ "a quarter turn": the next item is a turn word though not read as the unit."""
    nxt = laid.items[v.place + 1] if v.place + 1 < len(laid.items) else None
    return not v.unit and nxt is not None and nxt.role("turn_words") and tokens[nxt.start].low != "turned"


def _directions(
    laid: Laid, tokens: Sequence[Token], amounts: Sequence[Value], screws: bool
) -> list[tuple[int, object]]:
    """Words for a direction; "in", "out", "left", "right" only where they stand like one."""
    out: list[tuple[int, object]] = []
    for n, i in enumerate(laid.items):
        if i.role("back_words") and not (i.role("in_words") or i.role("out_words")):
            if _turns_back(laid, n, tokens):
                out.append((n, i))
            continue
        if (tokens[i.start].low in _COME and _comes_in(laid, n, tokens)) or _left_at(laid, n, tokens):
            out.append((n, i))
            continue
        if not (i.role("in_words") or i.role("out_words")):
            continue
        w = tokens[i.start].low
        if i.end == i.start + 1 and w in ("in", "out", "left", "right", "back"):
            nxt = laid.items[n + 1] if n + 1 < len(laid.items) else None
            last = nxt is None or laid.segment_of[n + 1] != laid.segment_of[n]
            before = laid.items[n - 1] if n else None
            behind_amount = before is not None and (
                before.kind in ("number", "unit")
                or before.role("turn_words")
                or before.get("screw")
                or before.role("turn_words")
            )
            leads = nxt is not None and (
                (nxt.kind == "number" and before is not None) or (before is None and screws and nxt.role("again"))
            )
            on = nxt is not None and tokens[nxt.start].low in ("on", "from", "of", "at", "to")
            if not ((last and (amounts or screws)) or (behind_amount and (last or on or nxt is not None)) or leads):
                continue
        out.append((n, i))
    return out


def _comes_in(laid: Laid, n: int, tokens: Sequence[Token]) -> bool:
    """ "Came in a quarter on the throttle": words that elsewhere tell of a value, in front of a share of a turn."""
    i, nxt = laid.items[n], laid.items[n + 1] if n + 1 < len(laid.items) else None
    share = nxt is not None and nxt.kind == "number" and nxt.value.digits.endswith("/")
    return share and i.end == i.start + 2 and tokens[i.end - 1].low in ("in", "out")


def _left_at(laid: Laid, n: int, tokens: Sequence[Token]) -> bool:
    """ "One sixteenth left at low fire": the way, and not what a value was left at."""
    before = laid.items[n - 1] if n else None
    share = before is not None and before.kind == "number" and before.value.digits.endswith("/")
    return share and [t.low for t in tokens[laid.items[n].start : laid.items[n].end]] == ["left", "at"]


def _turns_back(laid: Laid, n: int, tokens: Sequence[Token]) -> bool:
    """Whether "back" stands beside an amount and no word for a direction: "then back an eighth", "an eighth back"."""
    before = laid.items[n - 1] if n else None
    nxt = laid.items[n + 1] if n + 1 < len(laid.items) else None
    if nxt is not None and (nxt.role("in_words") or nxt.role("out_words")):
        return False
    last = nxt is None or laid.segment_of[n + 1] != laid.segment_of[n] or tokens[nxt.start].low in ("on", "of")
    behind = before is not None and (before.kind in ("number", "unit") or before.role("turn_words"))
    same = nxt is not None and laid.segment_of[n + 1] == laid.segment_of[n]
    return (nxt is not None and same and nxt.kind == "number") or (behind and last)


def _way(item: Item, tokens: Sequence[Token]) -> str:
    if item.role("in_words"):
        return "cw"
    if item.role("out_words"):
        return "ccw"
    return {"in": "cw", "out": "ccw", "at": "ccw"}.get(tokens[item.end - 1].low, "back")  # "at" of "left at"


def _nearest(found: Sequence[tuple[int, object]], v: Value, amounts: int, k: int) -> int | None:
    if not found:
        return None
    if amounts == 1:
        return min((n for n, _ in found), key=lambda n: abs(n - v.place))
    if len(found) == amounts:
        return found[k][0]
    return min((n for n, _ in found), key=lambda n: (abs(n - v.place), n))
