"""Years among the numbers: "replace by twenty thirty one", "converted in twenty nineteen". They are no reading."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from extract.language import Language
from extract.tokens import Token

__all__ = ["is_year"]

_NEAR = 12  # words within which an alarm stands in front of its year
_LONGEST = 4  # words of a cue


def is_year(tokens: Sequence[Token], start: int, end: int, digits: str, lang: Language) -> bool:
    """Say whether the number between two tokens, of these digits and without a unit, is a year.

    It has four digits, 19 or 20 first, and stands right beside what a year is of. Some of that may have a value of its
    own too ("fitted twenty thirty"), and is of a year only where an alarm was named: whatever an alarm reads in the
    thousands is told with its unit or with "reads", and both keep it from being a year.
    """
    if not (len(digits) == 4 and digits.isdigit() and digits[:2] in ("19", "20")):
        return False
    years = lang.years
    ahead, behind = years["named"], years["behind"]
    if _alarmed(tokens, start, lang):
        ahead, behind = ahead | years["ahead_of_alarms"], behind | years["behind_of_alarms"]
    month = _back(tokens, start, lambda t: _of_a_month(t, lang))
    date = _back(tokens, month, lambda t: _of_a_month(t, lang) or t.low in years["of_dates"])
    said = _back(tokens, date, lambda t: t.low in years["says"] or t.low in years["of_dates"])
    return (
        any(_ends_at(tokens, at, years["ahead"]) for at in range(month, start + 1))
        or any(_ends_at(tokens, at, ahead) for at in range(date, start + 1))
        or any(_ends_at(tokens, at, years["named"]) for at in range(said, date))
        or any(" ".join(t.low for t in tokens[end : end + n]) in behind for n in range(1, _LONGEST + 1))
    )


def _alarmed(tokens: Sequence[Token], start: int, lang: Language) -> bool:
    for token in reversed(tokens[max(0, start - _NEAR) : start]):
        if token.low in lang.years["alarms"]:
            return True
        if token.low in (".", "?", "!"):
            return False
    return False


def _back(tokens: Sequence[Token], at: int, passed: Callable[[Token], bool]) -> int:
    while at > 0 and passed(tokens[at - 1]):
        at -= 1
    return at


def _of_a_month(token: Token, lang: Language) -> bool:
    day = token.low.isdigit() and int(token.low) <= 31
    return (
        day
        or token.low in ("early", "mid", "late")
        or any(token.low in words for words in (lang.months, lang.ordinals, lang.digits))
    )


def _ends_at(tokens: Sequence[Token], at: int, phrases: Collection[str]) -> bool:
    return any(" ".join(t.low for t in tokens[at - n : at]) in phrases for n in range(1, min(_LONGEST, at) + 1))
