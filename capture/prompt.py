"""What the recogniser is told before it listens: words of the trade, and how numbers are to be written.

Whisper takes its prompt for what was said just before and goes on in the same manner. Numbers written as words keep it
from running digits together ("CO2 nine three" as CO29.3), and the sheet's own words keep it from hearing "flew" for
flue. What it was told it may also write down where it hears nothing; so the numbers are such as no gauge shows, and a
text that holds one of them is known as a leak.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

__all__ = ["leaks", "prompt_of", "spelled"]

NUMBERS = (
    "nine thousand and one",
    "zero zero nine point nine nine eight",
    "minus seven hundred and one",
    "nine hundred point oh oh one",
)
"""Numbers that are said as the trade says them and that cannot be."""
EVERY = 7
"""How many words stand between two numbers."""

_SMALL_WORDS = frozenset({"a", "an", "as", "at", "by", "in", "is", "it", "no", "of", "on", "or", "to", "up", "we"})
_DIGITS = dict(enumerate(("oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")))


def prompt_of(words: Sequence[str], fits: Callable[[str], bool]) -> str:
    """Return a prompt of as many of the last words as fit, with the numbers among them.

    ``words`` are names as people say them, the most important last; ``fits`` says whether a text is short enough.
    """
    prompt = _listed([])
    for first in range(len(words) - 1, -1, -1):
        longer = _listed([spelled(word) for word in words[first:]])
        if not fits(longer):
            break
        prompt = longer
    return prompt


def _listed(words: Sequence[str]) -> str:
    groups = [list(words[i : i + EVERY]) for i in range(0, len(words), EVERY)] or [[]]
    groups += [[] for _ in range(len(NUMBERS) - len(groups))]
    parts = [" ".join([", ".join(group), NUMBERS[n % len(NUMBERS)]]).strip() for n, group in enumerate(groups)]
    return ", ".join(parts) + "."


def spelled(name: str) -> str:
    """Return a name as it sounds, letter by letter where it is an abbreviation: ``ambient co2`` is ambient C O two."""
    return " ".join(
        " ".join(_DIGITS[int(c)] if c.isdecimal() else c.upper() for c in word) if _is_abbreviation(word) else word
        for word in name.split()
    )


def _is_abbreviation(word: str) -> bool:
    low = word.lower()
    if not low.isalnum() or low.isdecimal() or low in _SMALL_WORDS:
        return False
    return len(low) <= 2 or any(c.isdecimal() for c in low) or not re.search("[aeiouy]", low)


def leaks(text: str) -> bool:
    """Say whether a text holds one of the prompt's numbers, which nobody has said."""
    words = " ".join(("", *re.findall(r"[a-z0-9']+", text.lower()), ""))
    return any(f" {number} " in words for number in NUMBERS)
