"""How surely a value was heard: other hypotheses, a second opinion and the recogniser's own certainty, weighed.

Confidence alone never accepts; disagreement, or a word that the recogniser itself doubts, asks.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from extract.assign import Value
from extract.context import Context
from extract.lexicon import Grammar
from extract.parse import Heard, parse
from extract.values import fit
from schemas.evidence import Hypothesis, Utterance

__all__ = ["Misgiving", "best_heard", "misgivings", "sound_alike"]

# Provenance: 137 values of the dev recordings as Whisper tiny.en hears them (bench.hear). The certainty of a word says
# little by itself there: values that were right had a median of 0.4, and 0.01 was still right where the second opinion
# agreed. Agreement is worth more than certainty.
NOTABLE = 0.15  # a hypothesis with this share of the mass is listened to
STRONG = 0.30  # one with this share is asked about even where it lacks the value altogether
NAME = 0.50  # a name needs this certainty of its least certain word
LONE = 0.30  # a value that no second opinion confirms needs this certainty of its least certain word


SECOND = "the second opinion"


class Misgiving(NamedTuple):
    """Why a value may have been misheard; ``others`` are the numbers heard instead, likeliest first."""

    why: str
    others: tuple[Value, ...] = ()


def best_heard(utterance: Utterance, context: Context, grammar: Grammar) -> tuple[Utterance, Heard, str]:
    """Return the utterance as the way of hearing it that makes most sense has it, parsed, and who heard that if it was
    not the best hypothesis (empty: it was). What only another one makes sense of is asked about, never taken."""
    heard = parse(utterance.text, context, grammar)
    best = _sense(heard, context, grammar)
    if best is None or (not utterance.second_opinion and len(utterance.hypotheses) < 2):
        return utterance, heard, ""
    out = utterance, heard, ""
    rivals = [(h, "another hypothesis") for h in utterance.hypotheses[1:]]
    if utterance.second_opinion:
        rivals.append((Hypothesis(text=utterance.second_opinion, mass=0.0), SECOND))
    for rival, who in rivals:
        other = parse(rival.text, context, grammar)
        sense = _sense(other, context, grammar)
        if sense is not None and sense[0] > best[0] and sense[1] <= best[1]:
            best = sense
            said = tuple(h for h in utterance.hypotheses if h != rival)
            out = utterance.model_copy(update={"hypotheses": (rival, *said)}), other, who
    return out


def _sense(heard: Heard, context: Context, grammar: Grammar) -> tuple[int, int] | None:
    """How many values have a quantity that they fit, and how many have not; None where there is no number at all."""
    good = bad = 0
    for v in _values(heard):
        ids = _ids(v)
        fits = [fit(v.number, v.unit, grammar.measures[q], context.setting.units) for q in ids]
        well = not (v.followed and not v.unit) and any(f.choices[0].usual and not f.doubts for f in fits)
        good, bad = good + well, bad + (not well)
    return (good, bad) if good or bad else None


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
    """Return the misgivings about values, by the ``start`` token of the value (or of a move's amount)."""
    out: dict[int, Misgiving] = {}
    values = _values(heard)
    if not values:
        return out
    best = utterance.hypotheses[0]
    rivals = [(h.text, h.mass, "another hypothesis") for h in utterance.hypotheses[1:] if h.mass >= NOTABLE]
    if utterance.second_opinion is not None:
        rivals.append((utterance.second_opinion, 0.0, SECOND))
    read = [(_values(parse(text, context, grammar)), mass, who) for text, mass, who in rivals if text != best.text]
    second = utterance.second_opinion
    for v in values:
        certainty = _certainty(utterance, heard, v)
        confirmed = False
        for others, mass, who in read:
            written = who == SECOND and second is not None and _written_in(v, second)
            if written or any(_same(v, o) or _begun(v, o) for o in others):
                confirmed = confirmed or who == SECOND
                continue
            differing = tuple(o for o in others if _alike(v, o))
            if differing or mass >= STRONG:
                text = f"{who} has {differing[0].number.first}" if differing else f"{who} does not have it"
                out.setdefault(v.start, Misgiving(text, differing[:3]))
        confirmed = confirmed or second == best.text
        if not confirmed and certainty is not None and certainty < LONE:
            out.setdefault(v.start, Misgiving("the recogniser was not sure of a word"))
    return out


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
