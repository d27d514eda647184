"""How surely a value was heard: other hypotheses, a second opinion and the recogniser's own certainty, weighed.

Confidence alone never accepts; disagreement, or a word that the recogniser itself doubts, asks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import SequenceMatcher
from typing import NamedTuple

from extract.aloud import aloud, rejoined, said_in, sound_alike
from extract.assign import Value
from extract.certainty import Certainty
from extract.context import Context
from extract.lexicon import Grammar
from extract.parse import Heard, parse
from extract.slips import slip
from extract.spelt import least_certain
from extract.states import Checked
from extract.values import fit
from extract.ways import REJOINED, SECOND, Way, as_meant, same_words, ways
from extract.weighed import Weighed, has, ids_of, named_alike, same, values_of, weigh, words_before, words_of
from extract.whereabouts import (
    appliances_of,
    elsewhere,
    enough,
    other_appliance,
    rates_of,
    rates_together,
    speaking_of_appliances,
)
from schemas.evidence import Hypothesis, Utterance

__all__ = [
    "Chosen",
    "Misgiving",
    "best_heard",
    "may_have_turned",
    "may_put_right",
    "misgivings",
    "other_hearings",
]

# How certain is certain enough stands in certainty.toml; these say only what counts as the same words.
FEW = 3  # fewer ways than this are no crowd
NEAR = 8  # tokens before a value among which its name is looked for
LONG = 8  # letters of a name that is known in spite of a wrong one
ALIKE = 0.85  # how much of such a name must be right
ALL = 0.9  # share of the mass that is all of it
PLAIN_WAY = 5  # letters of "in", "out", "right": words that mostly say something else than a way to turn


class Misgiving(NamedTuple):
    """Why a value may have been misheard; ``others`` are the numbers heard instead, likeliest first."""

    why: str
    others: tuple[Value, ...] = ()


class Chosen(NamedTuple):
    """The way of hearing that makes most sense: ``utterance`` with it in front, and it parsed.

    ``who`` heard it, empty where the recogniser thought it best too; what only ``who`` has is asked about, never taken.
    ``shared`` are the ``start`` tokens of the values that the recogniser's best has as well, or enough of all ways of
    hearing it; ``moved`` says that it names another firing rate or appliance than the best.
    """

    utterance: Utterance
    heard: Heard
    who: str = ""
    shared: frozenset[int] = frozenset()
    moved: bool = False


class _Sense(NamedTuple):
    """How much of a text means something: values that fit their quantity, moves, checks; values that do not.

    ``conditions`` counts firing rates and appliances, ``clear`` the good values whose name means one quantity alone;
    ``whole`` says that every word of it is understood.
    """

    good: int = 0
    bad: int = 0
    conditions: int = 0
    clear: int = 0
    whole: bool = False

    def more(self, than: _Sense) -> bool:
        """Whether this is better than another: more that fits, or as much of it better named or in a named place."""
        if self.bad > than.bad or (self.good == than.good and self.conditions < than.conditions):
            return False
        return (self.good, self.clear, self.conditions) > (than.good, than.clear, than.conditions)


def best_heard(utterance: Utterance, context: Context, grammar: Grammar) -> Chosen:
    """Return the way of hearing an utterance that makes most sense: the recogniser's best unless another makes more."""
    heard = parse(utterance.text, context, grammar)
    things = grammar.appliance_words
    rivals = [way for way in ways(utterance, things) if way.text != utterance.text]
    if not rivals:
        return Chosen(utterance, heard)
    first = best = _sense(heard, context, grammar)
    found: tuple[Way, Heard] | None = None
    turns: list[tuple[Way, Heard]] = []
    again = as_meant(utterance.text, utterance, things)
    if first.whole:  # every word of it is known, "to cubic feet" too
        rivals = [way for way in rivals if way.text == again][:1]  # the second opinion may have it too
    for rival in rivals:
        other = parse(rival.text, context, grammar)
        sense = _sense(other, context, grammar)
        if _turns(other) and not _turns(heard):
            turns.append((rival, other))
        if rival.text == again and not any(p.captures for p in heard.sentences):  # a serial has letters in it
            if rival.who != SECOND and not best.more(sense):
                best, found = sense, (rival, other)
            continue
        if not sense.more(best):
            continue
        same = (sense.good, sense.clear) == (best.good, best.clear)
        if same and (first.conditions or (sense.good and context.state)):
            continue  # another firing rate alone: only where nothing at all would be understood, or none is known
        best, found = sense, (rival, other)
    if found is None and sum(way.mass for way, _ in turns) >= grammar.certain.against:
        found = turns[0]  # a turn that is asked about, never lost
    if found is None:
        found = _elsewhere_named(heard, rivals, context, grammar)
    if found is None:
        return Chosen(utterance, heard)
    rival, other = found
    here = same_words(rival.text)
    said = tuple(h for h in utterance.hypotheses if same_words(as_meant(h.text, utterance, things)) != here)
    turned = utterance.model_copy(update={"hypotheses": (Hypothesis(text=rival.text, mass=rival.mass), *said)})
    moved = rates_of(other) != rates_of(heard) or appliances_of(other) != appliances_of(heard)
    shared = _shared(other, heard) if not moved else frozenset()
    if appliances_of(other) == appliances_of(heard):
        supported = _supported(other, turned, context, grammar)
        shared |= {v.start for v in supported if not moved or not any(_places(v, grammar))}
    return Chosen(turned, other, rival.who, shared, moved)


def _elsewhere_named(
    heard: Heard, rivals: Sequence[Way], context: Context, grammar: Grammar
) -> tuple[Way, Heard] | None:
    """The likeliest way that names an appliance where the best names none, if enough of them do: "Bo two inlet"."""
    if appliances_of(heard) or not any(v for v in values_of(heard)):
        return None
    parsed = [(way, parse(way.text, context, grammar)) for way in speaking_of_appliances(rivals, grammar)]
    naming = [(way, other) for way, other in parsed if appliances_of(other) and values_of(other)]
    enough = sum(way.mass for way, _ in naming) >= grammar.certain.against
    return max(naming, key=lambda one: one[0].mass) if enough else None


def _shared(one: Heard, other: Heard) -> frozenset[int]:
    checks = {(c.quantity, c.state) for c in _checks(other)}
    return frozenset(
        [v.start for v in values_of(one) if _named_so(v, one, other)]
        + [c.start for c in _checks(one) if (c.quantity, c.state) in checks]
    )


def _supported(heard: Heard, utterance: Utterance, context: Context, grammar: Grammar) -> list[Value]:
    """Values that the second opinion has and that enough of the hypotheses have under a name that sounds the same.

    Where it has the name too, and all hypotheses the number, some of them are enough: in the rest the name is no other
    one that would do ("step 121" for the stack's).
    """
    parsed = [(parse(w.text, context, grammar), w) for w in ways(utterance, grammar.appliance_words)]
    read = _read([other for other, _ in parsed], [way for _, way in parsed], utterance, context, grammar)
    certain = grammar.certain
    found = []
    for v in values_of(heard):
        w = weigh(v, words_of(heard, v), words_before(heard, v), read, context, grammar)
        said = _named_words(heard, v)
        named = sum(way.mass for other, way in parsed if _named_so(v, heard, other) or said_in(said, way.text))
        second = any(way.who == SECOND and any(named_alike(v, o) for o in values) for values, way in read)
        enough = named >= certain.support or (second and named >= certain.named and w.support >= ALL)
        if w.confirmed and not w.denied and enough:
            found.append(v)
    return found


def _named_so(v: Value, heard: Heard, other: Heard) -> bool:
    """Whether another way of hearing has a value under the same name, or under words that sound much like it."""
    for o in values_of(other):
        if not same(v, o):
            continue
        mine, theirs = (set(one.name.ids) if one.name else set() for one in (v, o))
        if mine & theirs or not (mine or theirs or ids_of(v) or ids_of(o)):
            return True
        if not theirs and v.name is not None and v.name.end:
            name = aloud(" ".join(token.text for token in heard.tokens[v.name.start : v.name.end]))
            before = aloud(" ".join(token.text for token in other.tokens[max(0, o.start - NEAR) : o.start])).split()
            size = len(name.split())
            rest = (" ".join(before[k : k + size]) for k in range(len(before) - size + 1))
            if len(name) >= LONG and any(SequenceMatcher(None, name, one).ratio() >= ALIKE for one in rest):
                return True
    return False


def _places(v: Value, grammar: Grammar) -> tuple[str, ...]:
    """The conditions in which what a value may be of is read; of a quantity that is read once there are none."""
    return tuple(c for q in ids_of(v) for c in grammar.quantities[q].conditions) if ids_of(v) else ("",)


def _checks(heard: Heard) -> list[Checked]:
    return [c for p in heard.sentences for c in p.checks]


def _sense(heard: Heard, context: Context, grammar: Grammar) -> _Sense:
    good = bad = clear = 0
    had: list[object] = []
    for p in heard.sentences:
        moves = [m for m in p.moves if m.value is not None]
        good += sum(1 for m in moves if m.direction and m.screw) + len(p.checks)
        bad += sum(1 for m in moves if not (m.direction and m.screw))
        for v in (*p.values, *p.clock):
            fits = [fit(v.number, v.unit, grammar.measures[q], context.setting.units) for q in ids_of(v)]
            well = not (v.followed and not v.unit) and any(f.choices[0].usual and not f.doubts for f in fits)
            well = well and not any(v.name is name for name in had)  # a second value of one name makes no sense
            had.append(v.name)
            good, bad = good + well, bad + (not well)
            clear += well and len(v.name.ids if v.name else ()) == 1
    strange = any(i.kind == "word" for p in heard.sentences for i in p.laid.items)
    waiting = any(n.ids and not n.used and not n.implied for p in heard.sentences for n in p.names)
    return _Sense(
        good, bad, len(rates_of(heard) + appliances_of(heard)), clear, bool(good) and not (bad or strange or waiting)
    )


def misgivings(
    utterance: Utterance, heard: Heard, context: Context, grammar: Grammar
) -> tuple[Mapping[int, Misgiving], Mapping[int, Misgiving]]:
    """Return the misgivings about values and checks, by the ``start`` token of the value (of a move's amount, of what
    a check was heard in); and those that count only where something hangs on the last digit (extract/stakes.py)."""
    out: dict[int, Misgiving] = {}
    faint: dict[int, Misgiving] = {}
    certain = grammar.certain
    values, checks = values_of(heard), _checks(heard)
    if not values and not checks:
        return out, faint
    heard_ways = ways(utterance, grammar.appliance_words)
    parsed = [heard if w.text == utterance.text else parse(w.text, context, grammar) for w in heard_ways]
    for c in checks:
        states = [
            ({o.state for o in _checks(other) if o.quantity == c.quantity}, w)
            for other, w in zip(parsed, heard_ways, strict=True)
        ]
        against = [w for found, w in states if found and c.state not in found]
        if enough(against, grammar):
            out[c.start] = Misgiving("not every way it was heard has it so")
    astray = elsewhere(heard, parsed, heard_ways, context.state, grammar)
    both = [w for other, w in zip(parsed, heard_ways, strict=True) if rates_together(other, grammar)]
    another = other_appliance(heard, parsed, heard_ways)
    read = _read(parsed, heard_ways, utterance, context, grammar)
    by_ear = utterance.second_opinion is not None
    poor = utterance.clipped or (utterance.snr_db is not None and utterance.snr_db < certain.noisy)
    for v in values:
        weighed = weigh(v, words_of(heard, v), words_before(heard, v), read, context, grammar)
        found = _misgiving(v, weighed, _certainty(utterance, heard, v), len(heard_ways), grammar.certain)
        if found is None and poor and not _confirmed(v, heard, read, context, grammar):
            found = Misgiving("it was said in noise and the second opinion does not have it")
        if found is None and enough([w for w in astray if w in both or not _placed_alike(v, w, read)], grammar):
            found = Misgiving("another firing rate was heard too")
        if found is None and enough(another, grammar):
            found = Misgiving("another appliance was heard too")
        if found is None and _denied(v, parsed, heard_ways, grammar):
            found = Misgiving("heard in another way it is denied, or no reading")
        if found is None and by_ear and (why := slip(heard, v, context, grammar, poor=poor)):
            found = Misgiving(why)
        if found is None and by_ear and _letter_for_unit(v, heard, context, grammar) and not _has_unit(v, read):
            found = Misgiving("its unit was one letter, which the second opinion does not have")
        if found is None and utterance.broken:
            found = Misgiving("the line broke off in it")
        if found is not None:
            out[v.start] = found
        elif weighed.support < (certain.support_at_stake if weighed.confirmed else certain.alone_at_stake):
            faint[v.start] = Misgiving("not every way it was heard has it", weighed.listed)
    return out, faint


def _read(
    parsed: Sequence[Heard], heard_ways: Sequence[Way], utterance: Utterance, context: Context, grammar: Grammar
) -> list[tuple[Sequence[Value], Way]]:
    """The values of every way of hearing, and of the second opinion with the pieces of its numbers put together."""
    read: list[tuple[Sequence[Value], Way]] = []
    read += [(values_of(other), w) for other, w in zip(parsed, heard_ways, strict=True)]
    second = utterance.second_opinion
    if second is not None and (whole := rejoined(second)) != second:
        text = as_meant(whole, utterance, grammar.appliance_words)
        read.append((values_of(parse(text, context, grammar)), Way(text, 0.0, REJOINED)))
    return read


def _confirmed(
    v: Value, heard: Heard, read: Sequence[tuple[Sequence[Value], Way]], context: Context, grammar: Grammar
) -> bool:
    """Whether the second opinion has a value too."""
    words = words_of(heard, v)
    return any(way.who == SECOND and has(v, words, found, way, context, grammar) for found, way in read)


def _letter_for_unit(v: Value, heard: Heard, context: Context, grammar: Grammar) -> bool:
    """Whether a value's unit, another than the usual, is one letter, which may be a piece of another word: "six C six"
    for "sixty six"."""
    usual = {grammar.measures[q].default(context.setting.units) for q in ids_of(v)}
    letters = [token.text for token in heard.tokens[max(v.start + 1, v.end - 2) : v.end] if token.text.isalpha()]
    alone = bool(letters) and len(letters[-1]) == 1 and not (len(letters) > 1 and len(letters[0]) == 1)
    return bool(v.unit) and v.unit not in usual and alone


def _has_unit(v: Value, read: Sequence[tuple[Sequence[Value], Way]]) -> bool:
    """Whether the second opinion has a value with its unit."""
    return any(way.who == SECOND and any(same(v, o) and o.unit == v.unit for o in found) for found, way in read)


def _denied(v: Value, parsed: Sequence[Heard], heard_ways: Sequence[Way], grammar: Grammar) -> bool:
    """Whether enough of the ways of hearing have a value only as denied, as a limit, as something else than a reading:
    "CO2 not 9.3", "CO2 should be 9.3"."""
    against = []
    for other, way in zip(parsed, heard_ways, strict=True):
        if v in values_of(other):
            continue  # the way that it was taken from
        told: dict[bool, set[str]] = {True: set(), False: set()}
        for p in other.sentences:
            for o in p.values:
                named = set(ids_of(o)) or {q for n in p.names for q in n.ids if o.negated}
                if named & set(ids_of(v)):
                    told[not o.negated and p.sentence.segments[o.segment].kind == "reading"].add(o.number.first)
        if v.number.first in told[False] - told[True]:
            against.append(way)
    return enough(against, grammar)


def other_hearings(utterance: Utterance, context: Context, grammar: Grammar) -> list[tuple[Way, Heard]]:
    """The other ways of hearing an utterance than its best, parsed."""
    others = [w for w in ways(utterance, grammar.appliance_words) if w.text != utterance.text]
    return [(w, parse(w.text, context, grammar)) for w in others]


def may_put_right(heard: Heard, others: Sequence[tuple[Way, Heard]], grammar: Grammar) -> bool:
    """Whether enough other ways of hearing put something right, where the best does not: "know that's the static"."""
    return not _puts_right(heard) and enough([w for w, other in others if _puts_right(other)], grammar)


def may_have_turned(heard: Heard, others: Sequence[tuple[Way, Heard]], grammar: Grammar) -> bool:
    """Whether a screw may have been turned though no turn was understood: enough other ways of hearing have a turn, or
    the best has words of one and no amount ("turn clockwise")."""
    if _turns(heard):
        return False
    return _half_a_turn(heard) or enough([w for w, other in others if _turns(other)], grammar)


def _turns(heard: Heard) -> bool:
    return any(p.moves for p in heard.sentences)


def _half_a_turn(heard: Heard) -> bool:
    """Whether words for a turn stand with a direction or a screw, in what is no question and no story."""
    for p in heard.sentences:
        if {s.kind for s in p.sentence.segments} & {"question", "history", "noise", "limit"}:
            continue
        turn = any(s.has("turn_words") for s in p.sentence.segments)
        screw = any(i.get("screw") for i in p.laid.items)
        long = [i for i in p.laid.items if i.end - i.start > 1 or len(heard.tokens[i.start].text) > PLAIN_WAY]
        way = any(i.role("in_words") or i.role("out_words") for i in long)
        if turn + screw + way > 1:
            return True
    return False


def _puts_right(heard: Heard) -> bool:
    """Whether a text begins with a word of correction and names what it is about."""
    named = any(p.names or p.values or any(s.conditions for s in p.sentence.segments) for p in heard.sentences)
    first = next((s for p in heard.sentences for s in p.sentence.segments), None)
    return named and first is not None and first.has("correct", "undo", "no")


def _placed_alike(v: Value, way: Way, read: Sequence[tuple[Sequence[Value], Way]]) -> bool:
    """Whether a way of hearing has a value at the firing rate that was said with it."""
    if not v.condition:
        return False
    alike = [one for one in read if one[1] is way or (way.who == SECOND and one[1].who == REJOINED)]
    return any(same(v, o) and o.condition == v.condition for found, _ in alike for o in found)


def _misgiving(v: Value, w: Weighed, sure: float | None, heard_ways: int, certain: Certainty) -> Misgiving | None:
    """What speaks against a value: too few of the hypotheses have it, or they or the second opinion have another.

    ``sure`` is the certainty of its least certain word.
    """
    if w.otherwise and (w.denied or w.against >= certain.against):
        return Misgiving("another way it was heard makes it something else", w.listed)
    if w.denied:
        return Misgiving(f"{SECOND} has another number", w.listed)
    if w.against >= certain.against:
        return Misgiving(f"another hypothesis has {w.listed[0].number.first}", w.listed)
    if w.twin >= (certain.against / 2 if w.confirmed else certain.notable):
        return Misgiving(f"it sounds like {sound_alike(v.number.first)}, which was heard too", w.listed)
    if w.support < (certain.support if w.confirmed else certain.alone):
        return Misgiving("not every way it was heard has it", w.listed)
    if v.condition is not None and w.placed < certain.placed:
        return Misgiving("not every way it was heard has it there", w.listed)
    if not w.confirmed and sure is not None and sure < certain.lone and heard_ways < FEW:
        return Misgiving("the recogniser was not sure of a word", w.listed)
    return None


def _named_words(heard: Heard, v: Value) -> str:
    """The words of a value with those of its name, as far as the name is said beside it."""
    named = v.name if v.name is not None and v.name.end else None
    first, last = (v.start, v.end) if named is None else (min(v.start, named.start), max(v.end, named.end))
    return " ".join(token.text for token in heard.tokens[first:last])


def _certainty(utterance: Utterance, heard: Heard, v: Value) -> float | None:
    """The certainty of the least certain word of a value; None where the recogniser gives none."""
    words = utterance.hypotheses[0].words
    if not words:
        return None
    a, b = heard.tokens[v.start].start, heard.tokens[max(v.start, v.end - 1)].end
    return least_certain(words, utterance.text, a, b)
