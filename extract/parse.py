"""Text to parsed sentences: the best row of items, with every value given to a quantity and condition."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from extract.assign import Laid, Name, Value, assign, lay, values_of
from extract.clauses import Sentence, sentences
from extract.context import Context
from extract.lexicon import Grammar, Row
from extract.moves import Move, moves_of
from extract.names import names_of, narrowed, referred
from extract.rates import conditions_of
from extract.states import Checked, checks_of
from extract.texts import Capture, captures
from extract.tokens import Token, tokenize
from extract.values import fit

__all__ = ["Heard", "Parsed", "best_fit", "parse"]

RIVAL = 0.4  # rows this near to the best raise a doubt where they give a value to something else
CLOSE = 0.6  # rows within this of the best are looked at as well


@dataclass(slots=True)
class Parsed:
    """One sentence, understood as far as it goes without context."""

    sentence: Sentence
    laid: Laid
    values: list[Value]
    names: list[Name]
    captures: list[Capture]
    checks: list[Checked]
    moves: list[Move]
    clock: list[Value]


@dataclass(slots=True)
class Heard:
    """A text as parsed sentences; ``rival`` is another way to read it that costs nearly as little."""

    tokens: Sequence[Token]
    sentences: list[Parsed]
    cost: float
    rival: list[Parsed] | None = None


def parse(text: str, context: Context, grammar: Grammar) -> Heard:
    """Return the sentences of ``text``; looks at the context only to choose between ways to read the words."""
    tokens = tokenize(text, grammar.glued)
    if not tokens:
        return Heard(tokens, [], 0.0)
    rows = grammar.rows(tokens, context.setting.appliances, context.appliances)
    first = rows[0].cost
    seen: list[tuple[object, ...]] = []
    options: list[tuple[float, list[Parsed]]] = []
    for row in rows:
        if row.cost > first + CLOSE:
            break
        shape = _shape(row)
        if shape in seen:
            continue
        seen.append(shape)
        parsed, cost = _sentences(row, tokens, text, context, grammar)
        options.append((row.cost + cost, parsed))
    options.sort(key=lambda o: o[0])
    rival = None
    if len(options) > 1 and options[1][0] - options[0][0] < RIVAL:
        rival = options[1][1]
        _mark(options[0][1], rival)
    return Heard(tokens, options[0][1], options[0][0], rival)


def _mark(chosen: Sequence[Parsed], rival: Sequence[Parsed]) -> None:
    """Note on each value what the other way to read the words makes of it."""
    others = [v for p in rival for v in p.values]
    for v in (v for p in chosen for v in p.values):
        ids = v.name.ids if v.name else ()
        for o in others:
            if o.end == v.end and o.name is not None and o.name.ids and o.name.ids != ids:
                v.rivals = o.name.ids


def _shape(row: Row) -> tuple[object, ...]:
    return tuple((i.kind, i.start, i.end) for i in row.items if i.kind in ("number", "quantity", "condition", "unit"))


def _sentences(
    row: Row, tokens: Sequence[Token], text: str, context: Context, grammar: Grammar
) -> tuple[list[Parsed], float]:
    out: list[Parsed] = []
    total = 0.0
    system = context.setting.units
    for sentence in sentences(row.items, tokens):
        caught: list[Capture] = []
        if sentence.mark != "?" and all(s.kind != "question" for s in sentence.segments):
            caught = captures(sentence, tokens, text, grammar)
        for c in caught:
            _use_up(sentence, c.start, c.end)
        checks = checks_of(sentence, tokens, grammar)
        laid = lay(sentence)
        values = values_of(sentence, laid, tokens, grammar)
        moves = moves_of(sentence, laid, values, tokens, grammar)
        names = names_of(sentence, laid, values, grammar, tokens)
        clock = _clocked(values, laid, grammar, tokens)
        if moves:
            spans = [(m.start, m.end) for m in moves]
            names = [n for n in names if not any(a <= n.start < b for a, b in spans)]
        conditions_of(sentence, laid, values, grammar)
        live = [v for v in values if not v.negated]
        corrects = sentence.continues or sentence.segments[0].has("correct")
        asked = context.pending.ids if context.pending is not None and not out else ()
        corrects = corrects or (bool(asked) and not any(set(asked) & set(n.ids) for n in names))  # "nine two, O2 four"
        corrects = corrects or (_turned(out, context, grammar) and not moves)  # "nine two, CO sixty", behind a turn
        cost = assign(live, names, laid, grammar, system, tokens, corrects=corrects)
        narrowed(live, names, tokens, grammar)
        referred(values, tokens, grammar)
        total += cost
        if all(s.kind == "reading" and not s.has("change", "changed") for s in sentence.segments):
            total += _again(live, context)
        out.append(Parsed(sentence, laid, values, names, caught, checks, moves, clock))
    return out, total


def _turned(before: Sequence[Parsed], context: Context, grammar: Grammar) -> bool:
    """Whether what was told last is the turn of a screw: what was spoken of is read again then."""
    if before:
        return bool(before[-1].moves)
    last = [context.readings.get(rid) for rid in context.last[-1:]]
    return any(r is not None and r.quantity == grammar.move for r in last)


def _use_up(sentence: Sentence, start: int, end: int) -> None:
    for s in sentence.segments:
        kept = [i for i in s.items if not start <= i.start < end or i.kind == "appliance"]
        if len(kept) != len(s.items):
            s.items = kept
            s.numbers = [i for i in s.numbers if not start <= i.start < end]
            s.quantities = [i for i in s.quantities if not start <= i.start < end]
            s.conditions = [i for i in s.conditions if not start <= i.start < end]


def _clocked(values: list[Value], laid: Laid, grammar: Grammar, tokens: Sequence[Token]) -> list[Value]:
    """ "Two cubic feet in fifty eight seconds", "thirty seconds a foot": one value with the volume as its note."""
    for q in grammar.clocked:
        volumes = [v for v in values if v.unit in q.noted_units]
        named = any(i.kind == "quantity" and q.id in i.value.ids for i in laid.items)
        single = next((u for v in values if v.unit in ("s", "min") and (u := _for_one(v, grammar, tokens))), "")
        times = [v for v in values if v.unit in ("s", "min")] if volumes or named or single else []
        if not times and len(volumes) == 1:
            bare = [v for v in values if not v.unit and v.place > volumes[0].place]
            behind = [v for v in bare if tokens[v.start - 1].low == "in"]
            times = [v for v in values if not v.unit] if named else behind  # "one foot in thirty one"
        if len(times) != 1 or len(volumes) > 1 or not (volumes or named or single):
            continue
        time = times[0]
        if volumes:
            time.noted = f"{volumes[0].number.first} {volumes[0].unit}"
            values.remove(volumes[0])
        elif single:
            time.noted = f"1 {single}"
        values.remove(time)
        if time.unit == "min":
            whole = time.number.choices[0][0]
            seconds = format((Decimal(whole) * 60).normalize(), "f")
            time.number = time.number._replace(choices=((seconds, 0.0),), digits=seconds)
        time.unit = "s"
        time.name = Name((q.id,), (), time.place, time.segment)
        return [time]
    return []


def _for_one(v: Value, grammar: Grammar, tokens: Sequence[Token]) -> str:
    """The unit of the volume that a time is told for: "a foot", "per cubic foot"; empty where none is."""
    k = v.end + (1 if [t.low for t in tokens[v.end : v.end + 1]] == ["for"] else 0)
    lows = [t.low for t in tokens[k : k + 3] if t.low != "cubic"]
    return grammar.volumes.get(lows[1], "") if len(lows) > 1 and lows[0] in ("a", "per", "each") else ""


def _again(values: Sequence[Value], context: Context) -> float:
    """A slot that has just been filled is hardly said again at once: it weighs against that way to read."""
    cost = 0.0
    for v in values:
        if v.name is None or len(v.name.ids) != 1 or v.changed or not context.last or context.appliances:
            continue
        for rid in context.last:
            r = context.readings.get(rid)
            if r is not None and r.taken and r.quantity == v.name.ids[0] and v.condition in (None, r.condition):
                cost += 2.0
    return cost


def best_fit(
    v: Value, ids: Sequence[str], grammar: Grammar, system: str, *, loosely: bool = False
) -> list[tuple[float, str]]:
    """The quantities that a value fits, best first. ``loosely``: also where another unit would fit better."""
    out = []
    for n, q in enumerate(ids):
        f = fit(v.number, v.unit, grammar.measures[q], system)
        if f.cost < 3 and (loosely or "unit" not in f.doubts):
            out.append((f.cost, n, q))
    out.sort()
    return [(c, q) for c, _, q in out]
