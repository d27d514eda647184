"""Times of day among the numbers: "at ten to three", "two thirty pm", "half past four". They are nobody's reading."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from extract.language import Language
from extract.tokens import Token

__all__ = ["TIME_WORDS", "times_of_day"]

TIME_WORDS = frozenset(("past", "to", "am", "pm", "m", "o'clock", "oclock"))
"""Without one of these there is no time of day among numbers."""
HOURS = 24
_SOON = 3  # words within which "time" stands in front of "ten to three"


def times_of_day(tokens: Sequence[Token], i: int, lang: Language) -> Iterator[int]:
    """Yield where a time of day ends that begins with token ``i``.

    "Ten to three" is one only where something says that a time comes: from ten to three may be a range.
    """
    found = _number(tokens, i, lang)
    past = 0 if found is None else found[1]
    end = i + 1 if found is None else found[0]
    if found is None and tokens[i].low not in ("half", "quarter"):
        return
    if end < len(tokens) and tokens[end].low in ("minutes", "minute", "mins"):
        end += 1
    if end < len(tokens) and tokens[end].low in ("past", "to") and (found is None or past in (5, 10, 20, 25)):
        hour = _number(tokens, end + 1, lang)
        sure = tokens[end].low == "past" or found is None or _announced(tokens, i)
        if hour is not None and 1 <= hour[1] <= HOURS and sure:
            yield _half_of_day(tokens, hour[0]) or hour[0]
    if found is None or not 1 <= past <= HOURS:
        return
    end = found[0]
    minutes = _number(tokens, end, lang)
    if minutes is not None and minutes[1] < 60 and (behind := _half_of_day(tokens, minutes[0])):
        yield behind
    if behind := _half_of_day(tokens, end):
        yield behind


def _announced(tokens: Sequence[Token], i: int) -> bool:
    """Whether words in front say that a time comes: "the time's", "at"."""
    before = [t.low for t in tokens[max(0, i - _SOON) : i]]
    return "time" in before or before[-1:] in (["at"], ["till"], ["until"], ["by"])


def _half_of_day(tokens: Sequence[Token], at: int) -> int:
    """Where "am", "p m" or "o'clock" ends that stands at token ``at``; 0 where none does."""
    lows = [t.low for t in tokens[at : at + 2]]
    if lows[:1] in (["o'clock"], ["pm"], ["oclock"]):
        return at + 1
    if lows[:1] == ["am"]:
        return at + 1
    return at + 2 if lows in (["p", "m"], ["a", "m"]) else 0


def _number(tokens: Sequence[Token], i: int, lang: Language) -> tuple[int, int] | None:
    """A number under a hundred at token ``i``: where it ends, and what it is."""
    if i >= len(tokens):
        return None
    low = tokens[i].low
    if tokens[i].kind == "number":
        return (i + 1, int(low)) if low.isdigit() and len(low) <= 2 else None
    if low in lang.teens:
        return i + 1, lang.teens[low]
    if low in lang.tens:
        unit = lang.digits.get(tokens[i + 1].low, 0) if i + 1 < len(tokens) else 0
        return (i + 2, lang.tens[low] + unit) if unit else (i + 1, lang.tens[low])
    if low in ("oh", "o") and i + 1 < len(tokens) and tokens[i + 1].low in lang.digits:
        return i + 2, lang.digits[tokens[i + 1].low]  # "two oh five pm"
    return (i + 1, lang.digits[low]) if low in lang.digits and low not in ("oh", "o") else None
