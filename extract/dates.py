"""Dates as they are said: "April third, twenty twenty six", "the 12th of August 2026"."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from extract.lexicon import Grammar
from extract.numbers import spoken_digits
from extract.tokens import Token

__all__ = ["date_in"]


def date_in(tokens: Sequence[Token], start: int, stop: int, grammar: Grammar) -> tuple[str, int] | None:
    """The first whole date between two tokens, as ISO text and where it ends; a day that no calendar has is none."""
    lang = grammar.lang
    for k in range(start, stop):
        t = tokens[k]
        if t.kind == "date" and "-" in t.low:
            try:
                return date.fromisoformat(t.low).isoformat(), k + 1
            except ValueError:
                continue
        month = lang.months.get(t.low)
        if not month:
            continue
        day, year, end = None, None, k + 1
        if k > start:
            for back in (k - 1, k - 2, k - 3):
                if back < start:
                    break
                ahead = _day(tokens, back, k, grammar)
                if ahead and all(x.low in ("of", "the") for x in tokens[ahead[1] : k]):
                    day = ahead[0]
                    break
        if day is None and k + 1 < stop:
            behind = _day(tokens, k + 1, stop, grammar)
            if behind:
                day, end = behind
        while end < stop and tokens[end].low in (",", "of", "in"):
            end += 1
        got = _year(tokens, end, stop, grammar)
        if got:
            year, end = got
        if day and year:
            try:
                return date(year, month, day).isoformat(), end
            except ValueError:
                continue
    return None


def _day(tokens: Sequence[Token], at: int, stop: int, grammar: Grammar) -> tuple[int, int] | None:
    lang = grammar.lang
    k = at
    while k < stop and tokens[k].low == "the":
        k += 1
    if k >= stop:
        return None
    t = tokens[k]
    if t.low in ("twenty", "thirty") and k + 1 < stop and tokens[k + 1].low in lang.ordinals:
        return lang.tens[t.low] + lang.ordinals[tokens[k + 1].low], k + 2
    if t.low in lang.ordinals:
        return lang.ordinals[t.low], k + 1
    if t.kind == "number" and t.low.isdigit() and 1 <= int(t.low) <= 31:
        end = k + 1
        if end < stop and tokens[end].joined and tokens[end].low in ("st", "nd", "rd", "th"):
            end += 1
        return int(t.low), end
    digits = spoken_digits(tokens, k, lang)
    if digits and 1 <= int(digits[1]) <= 31 and digits[0] <= stop:
        return int(digits[1]), digits[0]
    return None


def _year(tokens: Sequence[Token], at: int, stop: int, grammar: Grammar) -> tuple[int, int] | None:
    out, k = "", at
    while k < stop and len(out) < 4:
        d = spoken_digits(tokens, k, grammar.lang)
        if not d:
            break
        out, k = out + d[1], d[0]
    if len(out) == 4 and out[:2] in ("19", "20"):
        return int(out), k
    return None
