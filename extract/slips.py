"""Pieces of numbers that recognisers lose or add where noise covers speech, known by what stands beside the value.

"One hundred twenty nine at maximum rate" is written "one hundred twenty high net maximum rate", "twelve point four" as
"twelve and all", "seventy" as "seven G", "five point four for oxygen" as "5.44 oxygen".
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

from extract.assign import Value
from extract.context import Context
from extract.lexicon import Grammar
from extract.numbers import Number
from extract.parse import Heard
from extract.values import fit
from schemas.base import decimal_of

__all__ = ["slip"]

TENS = 10
LETTER = 1
"""A word of so many letters at the end is what is left of "-ty"."""


def slip(heard: Heard, v: Value, context: Context, grammar: Grammar, *, poor: bool) -> str:
    """Say why a value that a recogniser wrote may lack a piece, or have one too many; empty where nothing says so.

    ``poor``: it was said in noise or clipped, without which most of these do not happen.
    """
    lows = [token.low for token in heard.tokens]
    if _minus_astray(lows, v, grammar):
        return "a minus stands before it"
    if _teen_behind_point(lows, v, grammar):
        return "digits behind a point are hardly ever said so"
    if _may_end_in_four(lows, v):
        return "“before” may be the end of the number"
    if _with_a_word_of_the_name(lows, v, grammar):
        return "the last digit may be a word"
    if poor and _goes_on(lows, v, grammar):
        return "the number may go on"
    if poor and _short_of_ty(heard, lows, v, context, grammar):
        return "the end of the number may be lost"
    return ""


def _minus_astray(lows: Sequence[str], v: Value, grammar: Grammar) -> bool:
    """ "Negative or one three" for "negative oh point one three": no minus is lost for a word that got in between."""
    before = lows[max(0, v.start - 2) : v.start]
    return not v.number.sign and bool(grammar.lang.minus.intersection(before)) and before[-1] not in grammar.lang.starts


def _teen_behind_point(lows: Sequence[str], v: Value, grammar: Grammar) -> bool:
    """ "Eight point twelve inches": what recognisers make of "eight point one inches"; people say "one two"."""
    teens = {*grammar.lang.teens, *(str(n) for n in grammar.lang.teens.values())}
    return any(a in grammar.lang.points and b in teens for a, b in pairwise(lows[v.start : v.end]))


def _may_end_in_four(lows: Sequence[str], v: Value) -> bool:
    """ "Eight before" for "eighty four": a lone digit with "before" at the end behind it."""
    rest = [low for low in lows[v.end :] if low.isalnum()]
    return len(v.number.first) == 1 and v.number.first != "0" and not v.unit and rest == ["before"]


def _with_a_word_of_the_name(lows: Sequence[str], v: Value, grammar: Grammar) -> bool:
    """ "5.44 oxygen" for "5.4 for oxygen", "11.32 CO2" for "11.3 to CO2": a place more than instruments show."""
    tail = v.number.first.partition(".")[2]
    words = (grammar.lang.sound_alikes.get(word, "") for word in grammar.lang.small_words)
    digits = {str(grammar.lang.digits[word]) for word in words if word in grammar.lang.digits}
    if v.name is None or v.name.start != v.end or tail[-1:] not in digits:
        return False
    return any(len(tail) == min(places) + 1 for q in v.name.ids if (places := _places(q, v, grammar)) and min(places))


def _places(quantity: str, v: Value, grammar: Grammar) -> Sequence[int]:
    decimals = grammar.measures[quantity].decimals
    return decimals.get(v.unit) or next(iter(decimals.values()), ())


def _goes_on(lows: Sequence[str], v: Value, grammar: Grammar) -> bool:
    """Whether behind a value stands what noise makes of "nine", "five" or "point four" where a number may go on."""
    after = lows[v.end : v.end + 2]
    if not after or v.unit:
        return False
    if after[0] == "and" and len(after) > 1:
        return after[1] in grammar.lang.like_digits
    return _is_round(v.number) and after[0] in grammar.lang.like_digits


def _is_round(number: Number) -> bool:
    value = decimal_of(number.first)
    return value >= TENS and value % TENS == 0 and "." not in number.first


def _short_of_ty(heard: Heard, lows: Sequence[str], v: Value, context: Context, grammar: Grammar) -> bool:
    """Whether a lone digit at the end, "seven" or "seven G", may be the beginning of "seventy"."""
    text = v.number.first
    rest = [low for token, low in zip(heard.tokens[v.end :], lows[v.end :], strict=True) if token.kind != "mark"]
    if v.unit or len(text) != 1 or text == "0" or any(len(low) > LETTER for low in rest) or not (v.name and v.name.ids):
        return False
    measure = grammar.measures[v.name.ids[0]]
    if 0 not in measure.decimals.get(measure.default(context.setting.units), ()):
        return False
    tens = str(Decimal(text) * TENS)
    found = fit(Number(((tens, 0.0),), exact=True, digits=tens), "", measure, context.setting.units)
    return found.choices[0].usual and not found.doubts
