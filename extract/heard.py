"""How surely a value was heard: other hypotheses, a second opinion and the recogniser's own certainty, weighed.

Confidence alone never accepts; disagreement, or a word that the recogniser itself doubts, asks.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from difflib import SequenceMatcher
from typing import NamedTuple

from extract.aloud import aloud, respelled, said_in
from extract.assign import Value
from extract.context import Context
from extract.lexicon import Grammar
from extract.parse import Heard, parse
from extract.states import Checked
from extract.values import fit
from schemas.evidence import Hypothesis, Utterance

__all__ = [
    "Chosen",
    "Misgiving",
    "best_heard",
    "may_put_right",
    "misgivings",
    "name_misgiving",
    "place_in_doubt",
    "sound_alike",
    "ways",
]

# Provenance: 190 values of the dev recordings as Whisper tiny.en hears them in two windows (bench.hear). What is taken
# wrongly there lacks support; the certainty of single words says little (right ones had a median of 0.4). PLACED and
# what follows it: chosen on 134 sentences of bench/own_sound.py, clean to 5 dB, a third of them in a room.
SUPPORT = 0.60  # share of the hypotheses that must have a value
ALONE = 0.65  # and where no second opinion confirms it
AGAINST = 0.30  # share of the hypotheses that have another number for the same quantity
NOTABLE = 0.15  # a hypothesis with this share of the mass is listened to where names are spelt
NAME = 0.50  # a name needs this certainty of its least certain word
FEW = 3  # fewer ways than this are no crowd
PLACED = 0.50  # share of the hypotheses that must have the firing rate said with it, unless the second opinion has
NEAR = 8  # tokens before a value among which its name is looked for
LONG = 8  # letters of a name that is known in spite of a wrong one
ALIKE = 0.85  # how much of such a name must be right
NOISY = (
    15.0  # dB of speech over noise under which only what the second opinion has too is taken (no right one lost by it)
)
LONE = 0.30  # a value of a single hypothesis that no second opinion confirms needs this certainty


SECOND = "the second opinion"


class Misgiving(NamedTuple):
    """Why a value may have been misheard; ``others`` are the numbers heard instead, likeliest first."""

    why: str
    others: tuple[Value, ...] = ()


class Way(NamedTuple):
    """One way in which an utterance may be heard: its text, its share of the mass, and whose it is."""

    text: str
    mass: float
    who: str


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


def ways(utterance: Utterance, things: Collection[str] = ()) -> tuple[Way, ...]:
    """Return the ways in which an utterance may be heard, those apart that differ in words, the second opinion last.

    Texts that differ in marks and capitals alone are one: its mass is theirs together. Number words whose ending was
    heard as a word of its own are put together again, and what follows an appliance's name (one of ``things``) may be
    its number.
    """
    found: dict[str, Way] = {}
    for n, h in enumerate(utterance.hypotheses):
        text = respelled(h.text, things)
        key = _same_words(text)
        old = found.get(key)
        who = "another hypothesis" if n or text != h.text else ""
        found[key] = Way(text, h.mass, who) if old is None else old._replace(mass=old.mass + h.mass)
    second = () if utterance.second_opinion is None else (Way(utterance.second_opinion, 0.0, SECOND),)
    return (*found.values(), *second)


def _same_words(text: str) -> str:
    """Return what a text has in common with those that differ from it in marks and capitals alone."""
    return " ".join(re.findall(r"[a-z0-9.,']*[a-z0-9]", text.lower().replace(", ", " ")))


def best_heard(utterance: Utterance, context: Context, grammar: Grammar) -> Chosen:
    """Return the way of hearing an utterance that makes most sense: the recogniser's best unless another makes more."""
    heard = parse(utterance.text, context, grammar)
    things = grammar.appliance_words
    rivals = [way for way in ways(utterance, things) if way.text != utterance.text]
    if not rivals:
        return Chosen(utterance, heard)
    first = best = _sense(heard, context, grammar)
    found: tuple[Way, Heard] | None = None
    again = respelled(utterance.text, things)
    if first.whole:  # every word of it is known, "to cubic feet" too
        rivals = [way for way in rivals if way.text == again][:1]  # the second opinion may have it too
    for rival in rivals:
        other = parse(rival.text, context, grammar)
        sense = _sense(other, context, grammar)
        if rival.text == again and not any(p.captures for p in heard.sentences):  # a serial has letters in it
            if not best.more(sense):
                best, found = sense, (rival, other)
            continue
        if not sense.more(best):
            continue
        if (sense.good, sense.clear) == (best.good, best.clear) and (sense.good or first.conditions):
            continue  # another firing rate alone: only where nothing at all would be understood
        best, found = sense, (rival, other)
    if found is None:
        return Chosen(utterance, heard)
    rival, other = found
    here = _same_words(rival.text)
    said = tuple(h for h in utterance.hypotheses if _same_words(respelled(h.text, things)) != here)
    turned = utterance.model_copy(update={"hypotheses": (Hypothesis(text=rival.text, mass=rival.mass), *said)})
    moved = _rates(other) != _rates(heard) or _appliances(other) != _appliances(heard)
    shared = _shared(other, heard) if not moved else frozenset()
    if _appliances(other) == _appliances(heard):
        supported = _supported(other, turned, context, grammar)
        shared |= {v.start for v in supported if not moved or not any(_places(v, grammar))}
    return Chosen(turned, other, rival.who, shared, moved)


def _shared(one: Heard, other: Heard) -> frozenset[int]:
    checks = {(c.quantity, c.state) for c in _checks(other)}
    return frozenset(
        [v.start for v in _values(one) if _named_so(v, one, other)]
        + [c.start for c in _checks(one) if (c.quantity, c.state) in checks]
    )


def _supported(heard: Heard, utterance: Utterance, context: Context, grammar: Grammar) -> list[Value]:
    """Values that the second opinion has and that enough of the hypotheses have under a name that sounds the same."""
    read = [(parse(w.text, context, grammar), w) for w in ways(utterance, grammar.appliance_words)]
    found = []
    for v in _values(heard):
        named = sum(way.mass for other, way in read if _named_so(v, heard, other))
        second = any(
            way.who == SECOND and _has(v, _words(heard, v), _values(other), way, context, grammar)
            for other, way in read
        )
        if named >= SUPPORT and second:
            found.append(v)
    return found


def _named_so(v: Value, heard: Heard, other: Heard) -> bool:
    """Whether another way of hearing has a value under the same name, or under words that sound much like it."""
    for o in _values(other):
        if not _same(v, o):
            continue
        mine, theirs = (set(one.name.ids) if one.name else set() for one in (v, o))
        if mine & theirs or not (mine or theirs or _ids(v) or _ids(o)):
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
    return tuple(c for q in _ids(v) for c in grammar.quantities[q].conditions) if _ids(v) else ("",)


def _checks(heard: Heard) -> list[Checked]:
    return [c for p in heard.sentences for c in p.checks]


def _rates(heard: Heard) -> list[object]:
    """Firing rates and other conditions that are named."""
    return [c.value for p in heard.sentences for s in p.sentence.segments for c in s.conditions]


def _firing(heard: Heard, grammar: Grammar) -> set[object]:
    """Firing rates that are adjusted, of those named."""
    return {rate for rate in _rates(heard) if rate in grammar.conditions and grammar.conditions[str(rate)].adjusted}


def _appliances(heard: Heard) -> list[object]:
    """Appliances that are named."""
    return [i.get("appliance") for p in heard.sentences for i in p.laid.items if i.get("appliance") is not None]


def _sense(heard: Heard, context: Context, grammar: Grammar) -> _Sense:
    good = bad = clear = 0
    for p in heard.sentences:
        moves = [m for m in p.moves if m.value is not None]
        good += sum(1 for m in moves if m.direction and m.screw) + len(p.checks)
        bad += sum(1 for m in moves if not (m.direction and m.screw))
        for v in (*p.values, *p.clock):
            fits = [fit(v.number, v.unit, grammar.measures[q], context.setting.units) for q in _ids(v)]
            well = not (v.followed and not v.unit) and any(f.choices[0].usual and not f.doubts for f in fits)
            good, bad = good + well, bad + (not well)
            clear += well and len(v.name.ids if v.name else ()) == 1
    strange = any(i.kind == "word" for p in heard.sentences for i in p.laid.items)
    waiting = any(n.ids and not n.used and not n.implied for p in heard.sentences for n in p.names)
    return _Sense(
        good, bad, len(_rates(heard) + _appliances(heard)), clear, bool(good) and not (bad or strange or waiting)
    )


def sound_alike(value: str) -> str:
    """The value that sounds like this one, -teen for -ty or -ty for -teen; empty where there is none."""
    if not value.isdigit():
        return ""
    whole, last = divmod(int(value), 100)
    if 13 <= last <= 19:
        return str(whole * 100 + 10 * (last % 10))
    if last >= 30 and last % 10 == 0:
        return str(whole * 100 + 10 + last // 10)
    return ""


def misgivings(utterance: Utterance, heard: Heard, context: Context, grammar: Grammar) -> Mapping[int, Misgiving]:
    """Return the misgivings about values and checks, by the ``start`` token of the value (of a move's amount, of what
    a check was heard in)."""
    out: dict[int, Misgiving] = {}
    values, checks = _values(heard), _checks(heard)
    if not values and not checks:
        return out
    heard_ways = ways(utterance, grammar.appliance_words)
    parsed = [heard if w.text == utterance.text else parse(w.text, context, grammar) for w in heard_ways]
    for c in checks:
        states = [
            ({o.state for o in _checks(other) if o.quantity == c.quantity}, w)
            for other, w in zip(parsed, heard_ways, strict=True)
        ]
        against = [w for found, w in states if found and c.state not in found]
        if sum(w.mass for w in against) >= AGAINST or any(w.who == SECOND for w in against):
            out[c.start] = Misgiving("not every way it was heard has it so")
    astray, lost = _two_places(heard, parsed, heard_ways, grammar)
    read = [(_values(other), w) for other, w in zip(parsed, heard_ways, strict=True)]
    poor = utterance.clipped or (utterance.snr_db is not None and utterance.snr_db < NOISY)
    for v in values:
        found = _misgiving(v, _words(heard, v), read, _certainty(utterance, heard, v), context, grammar)
        if found is None and poor and not _confirmed(v, heard, read, context, grammar):
            found = Misgiving("it was said in noise and the second opinion does not have it")
        if found is None and (astray or lost):
            found = Misgiving(f"another {'firing rate' if astray else 'appliance'} was heard too")
        if found is None and _denied(v, parsed, heard_ways):
            found = Misgiving("heard in another way it is denied, or no reading")
        if found is None and utterance.broken:
            found = Misgiving("the line broke off in it")
        if found is not None:
            out[v.start] = found
    return out


def _confirmed(
    v: Value, heard: Heard, read: Sequence[tuple[Sequence[Value], Way]], context: Context, grammar: Grammar
) -> bool:
    """Whether the second opinion has a value too."""
    words = _words(heard, v)
    return any(way.who == SECOND and _has(v, words, found, way, context, grammar) for found, way in read)


def _denied(v: Value, parsed: Sequence[Heard], heard_ways: Sequence[Way]) -> bool:
    """Whether enough of the ways of hearing have a value only as denied, as a limit, as something else than a reading:
    "CO2 not 9.3", "CO2 should be 9.3"."""
    against = []
    for other, way in zip(parsed, heard_ways, strict=True):
        if v in _values(other):
            continue  # the way that it was taken from
        told: dict[bool, set[str]] = {True: set(), False: set()}
        for p in other.sentences:
            for o in p.values:
                named = set(_ids(o)) or {q for n in p.names for q in n.ids if o.negated}
                if named & set(_ids(v)):
                    told[not o.negated and p.sentence.segments[o.segment].kind == "reading"].add(o.number.first)
        if v.number.first in told[False] - told[True]:
            against.append(way)
    return sum(w.mass for w in against) >= AGAINST or any(w.who == SECOND for w in against)


def _divided(mine: set[object], others: Sequence[set[object]], heard_ways: Sequence[Way]) -> bool:
    """Whether enough of the ways of hearing name another place than ``mine``; what names none says nothing."""
    against = [w for found, w in zip(others, heard_ways, strict=True) if mine and found and found != mine]
    return sum(w.mass for w in against) >= AGAINST or any(w.who == SECOND for w in against)


def may_put_right(utterance: Utterance, heard: Heard, context: Context, grammar: Grammar) -> bool:
    """Whether enough other ways of hearing put something right, where the best does not: "know that's the static"."""
    if _puts_right(heard):
        return False
    against = [
        w for w in ways(utterance, grammar.appliance_words)
        if w.text != utterance.text and _puts_right(parse(w.text, context, grammar))
    ]  # fmt: skip
    return sum(w.mass for w in against) >= AGAINST or any(w.who == SECOND for w in against)


def _puts_right(heard: Heard) -> bool:
    """Whether a text begins with a word of correction and names what it is about."""
    named = any(p.names or p.values or any(s.conditions for s in p.sentence.segments) for p in heard.sentences)
    first = next((s for p in heard.sentences for s in p.sentence.segments), None)
    return named and first is not None and first.has("correct", "undo", "no")


def place_in_doubt(utterance: Utterance, heard: Heard, context: Context, grammar: Grammar) -> tuple[bool, bool]:
    """Return whether the firing rate, and whether the appliance, that an utterance goes to was heard in two ways."""
    if not _firing(heard, grammar) and not _appliances(heard):
        return False, False
    heard_ways = ways(utterance, grammar.appliance_words)
    parsed = [heard if w.text == utterance.text else parse(w.text, context, grammar) for w in heard_ways]
    return _two_places(heard, parsed, heard_ways, grammar)


def _two_places(
    heard: Heard, parsed: Sequence[Heard], heard_ways: Sequence[Way], grammar: Grammar
) -> tuple[bool, bool]:
    """Whether enough of the ways of hearing name another firing rate, and another appliance."""
    astray = _divided(_firing(heard, grammar), [_firing(other, grammar) for other in parsed], heard_ways)
    return astray, _divided(set(_appliances(heard)), [set(_appliances(other)) for other in parsed], heard_ways)


def _misgiving(
    v: Value,
    words: str,
    read: Sequence[tuple[Sequence[Value], Way]],
    certainty: float | None,
    context: Context,
    grammar: Grammar,
) -> Misgiving | None:
    """What speaks against a value said in ``words``: too few of the hypotheses have it, or they or the second opinion
    have another number.

    Another number that cannot be there (a fan at 49 a minute) says only that the value was not heard so.
    """
    support = against = placed = 0.0
    confirmed = denied = other_sense = False
    # the second opinion has it under its name: then "flow" for "flue" in some hypotheses says nothing
    agreed = any(way.who == SECOND and any(_named_alike(v, o) for o in found) for found, way in read)
    others: list[tuple[float, Value]] = []
    for found, way in read:
        second = way.who == SECOND
        if any(_same(v, o) and o.condition == v.condition for o in found):
            placed += 1.0 if second else way.mass
        if (second or not agreed) and _otherwise(v, found, context, grammar):
            against, denied = against + way.mass, denied or second
            other_sense = True
            continue
        if _has(v, words, found, way, context, grammar):
            support, confirmed = support + way.mass, confirmed or second
            continue
        differing = [o for o in found if (_alike(v, o) and _may_be(v, o, context, grammar)) or _shorter(v, o)]
        if differing:
            against, denied = against + way.mass, denied or second
            others += [(way.mass + (0.5 if second else 0.0), o) for o in differing]
    listed = tuple({o.number.first: o for _, o in sorted(others, key=lambda x: -x[0])}.values())[:3]
    if other_sense and (denied or against >= AGAINST):
        return Misgiving("another way it was heard makes it something else", listed)
    if denied:
        return Misgiving(f"{SECOND} has another number", listed)
    if against >= AGAINST:
        return Misgiving(f"another hypothesis has {listed[0].number.first}", listed)
    if support < (SUPPORT if confirmed else ALONE):
        return Misgiving("not every way it was heard has it", listed)
    if v.condition is not None and placed < PLACED:
        return Misgiving("not every way it was heard has it there", listed)
    if not confirmed and certainty is not None and certainty < LONE and len(read) < FEW:
        return Misgiving("the recogniser was not sure of a word", listed)
    return None


def _named_alike(v: Value, o: Value) -> bool:
    """Whether two ways of hearing have the same number under the same name, in no other unit."""
    return _same(v, o) and bool(set(_ids(v)) & set(_ids(o))) and (not (v.unit and o.unit) or v.unit == o.unit)


def _otherwise(v: Value, found: Sequence[Value], context: Context, grammar: Grammar) -> bool:
    """Whether a way of hearing has the same number as something else and nowhere as this.

    In another unit, of another quantity whose number it may well be, denied, or as a limit.
    """
    alike = [o for o in found if v.number.first in {o.number.first, *(text for text, _ in o.number.choices)}]
    return bool(alike) and all(_another(v, o, context, grammar) for o in alike)


def _another(v: Value, o: Value, context: Context, grammar: Grammar) -> bool:
    if v.unit and o.unit and v.unit != o.unit:
        return True
    mine, theirs = (set(_ids(x)) if x.name and not x.name.implied else set() for x in (v, o))
    if not (mine and theirs) or mine & theirs:
        return False
    fits = [fit(o.number, o.unit or v.unit, grammar.measures[q], context.setting.units) for q in sorted(theirs)]
    return any(f.choices[0].usual and not f.doubts for f in fits)


def _has(v: Value, words: str, found: Sequence[Value], way: Way, context: Context, grammar: Grammar) -> bool:
    """Whether a way of hearing has a value: in what was ``found`` in it, or as it sounds."""
    if any(_same(v, o) or _begun(v, o) or _misnamed(v, o, context, grammar) for o in found):
        return True
    return said_in(words, way.text) or (way.who == SECOND and _written_in(v, way.text))


def _words(heard: Heard, v: Value) -> str:
    return " ".join(token.text for token in heard.tokens[v.start : v.end])


def _misnamed(v: Value, other: Value, context: Context, grammar: Grammar) -> bool:
    """Whether the other is this number under a name that cannot have its unit: "flow 58 degrees" for the flue's."""
    if not other.unit or set(_ids(other)) & set(_ids(v)) or other.number != v.number:
        return False
    fits = [fit(other.number, other.unit, grammar.measures[q], context.setting.units) for q in _ids(other)]
    return bool(fits) and all("unit kind" in f.doubts for f in fits)


def _may_be(v: Value, other: Value, context: Context, grammar: Grammar) -> bool:
    """Whether another number can be one of such a quantity: also one that would be unusual ("nine hundred" for 90)."""
    names = [q for q in _ids(other) if q in _ids(v)] or _ids(other)
    fits = [fit(other.number, other.unit or v.unit, grammar.measures[q], context.setting.units) for q in names]
    return not fits or any("impossible" not in f.doubts and f.cost < 3 for f in fits)


def name_misgiving(utterance: Utterance, start: int, end: int, text: str) -> str:
    """Why a name may have been misheard (``start`` to ``end`` characters); empty where nothing speaks for that.

    A recogniser spells names it has never met as words that it has: only agreement to the letter counts.
    """
    certainty = _least(utterance.hypotheses[0].words, utterance.text, start, end)
    if certainty is None:
        return ""
    letters = _letters(text)
    others = [h.text for h in utterance.hypotheses[1:] if h.mass >= NOTABLE]
    others += [utterance.second_opinion] if utterance.second_opinion is not None else []
    if any(letters not in _letters(o) for o in others):
        return "not every way it was heard has it so"
    if any(len(w) > 1 and w.isalpha() for w in text.split()):
        return "recognisers put words that they know in place of names"
    return "the recogniser was not sure of a word" if certainty < NAME else ""


def _letters(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


def _values(heard: Heard) -> list[Value]:
    """Every value that might be written down."""
    out = []
    for p in heard.sentences:
        out += [v for v in (*p.values, *p.clock, *(m.value for m in p.moves if m.value)) if not v.negated]
    return out


def _ids(v: Value) -> tuple[str, ...]:
    return (v.name.ids or v.name.vague) if v.name else ()


def _same(a: Value, b: Value) -> bool:
    """The same number for the same quantity and condition."""
    if a.number.first not in {t for t, _ in b.number.choices} and a.number.first != b.number.first:
        return False
    if a.number.sign != b.number.sign or (a.condition and b.condition and a.condition != b.condition):
        return False
    return not _ids(a) or not _ids(b) or bool(set(_ids(a)) & set(_ids(b)))


def _begun(v: Value, other: Value) -> bool:
    """Whether the other is the beginning of the value, cut off: "nine point" for "nine point oh"."""
    return other.number.cut and v.number.first.startswith(other.number.first)


def _shorter(v: Value, other: Value) -> bool:
    """Whether the other is the value without its last digits, of nothing that is named: "10.9 on" for "10.91"."""
    short = other.number.first
    return not _ids(other) and "." in short and v.number.first.startswith(short) and v.number.first != short


def _written_in(v: Value, text: str) -> bool:
    """Whether a text has the value at the end of a run of digits: "CO29.1" for CO2 9.1, "C0102" for CO 102."""
    runs = re.findall(r"[0-9]+(?:[.,][0-9]+)?", text)
    value = v.number.choices[0][0]
    if any(run.endswith(value) and (len(value) > 1 or run == value) for run in runs):
        return True
    digits = re.sub(r"[^0-9]", "", v.number.digits)
    joined = re.findall(r"[0-9](?:[-. ]?[0-9])*", text)  # "9-1" and "288" for CO2 8.8
    return len(digits) > 1 and any(re.sub(r"[^0-9]", "", run).endswith(digits) for run in joined)


def _alike(a: Value, b: Value) -> bool:
    """Another number for the same quantity, or another quantity for the same number."""
    return bool(set(_ids(a)) & set(_ids(b))) or a.number.first == b.number.first


def _certainty(utterance: Utterance, heard: Heard, v: Value) -> float | None:
    """The certainty of the least certain word of a value; None where the recogniser gives none."""
    words = utterance.hypotheses[0].words
    if not words:
        return None
    a, b = heard.tokens[v.start].start, heard.tokens[max(v.start, v.end - 1)].end
    return _least(words, utterance.text, a, b)


def _least(words: Sequence[object], text: str, a: int, b: int) -> float | None:
    at, least = 0, None
    for w in words:
        said = str(getattr(w, "text", "")).strip()
        k = text.find(said, at)
        if k < 0 or not said:
            continue
        at = k + len(said)
        certainty = getattr(w, "certainty", None)
        if k < b and at > a and certainty is not None:
            least = certainty if least is None else min(least, certainty)
    return least
