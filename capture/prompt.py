"""What the recogniser is told before it listens: words of the trade, and how numbers are to be written.

Whisper takes its prompt for what was said just before and goes on in the same manner. Numbers written as words keep it
from running digits together ("CO2 nine three" as CO29.3), and the sheet's own words keep it from hearing "flew" for
flue. What it was told it may also write down where it hears nothing; so the numbers are such as no gauge shows, and a
text that holds one of them is known as a leak.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import cycle
from typing import NamedTuple

from schemas.sheet import Quantity, Sheet
from schemas.units import unit_of

__all__ = ["NUMBERS", "Expected", "expected_on", "leaks", "prompt_of", "prompts_of_alarms", "spelled"]

NUMBERS = (
    "nine thousand and one",
    "zero zero nine point nine nine eight",
    "minus seven hundred and one",
    "nine hundred point oh oh one",
)
"""Numbers that are said as the trade says them and that cannot be."""
EVERY = 7
"""How many words stand between two numbers."""

_VALUE = re.compile(r"(\{\})")
_SMALL_WORDS = frozenset({"a", "an", "as", "at", "by", "in", "is", "it", "no", "of", "on", "or", "to", "up", "we"})
_DIGITS = dict(enumerate(("oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")))


class Expected(NamedTuple):
    """What a recogniser is told to expect, the most important last.

    ``talk`` are sentences as readings are said, with {} where a value stands; ``names`` what may be said, for a sheet
    without such sentences. ``aside`` is for the second opinion, ``alarms`` for the passes that listen for nothing but
    what stops the work.
    """

    talk: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    aside: str = ""
    alarms: tuple[str, ...] = ()


def expected_on(sheet: Sheet) -> Expected:
    """Return what a recogniser should expect on a sheet.

    A name whose words all stand in more important ones is left out (``_by_importance``).
    """
    known: set[str] = set()
    kept: list[str] = []
    for name in _by_importance(sheet):
        if not known.issuperset(name.split()):
            kept.append(name)
            known.update(name.split())
    return Expected(
        talk=sheet.talk,
        names=tuple(reversed(kept)),
        aside=" ".join(filter(None, (*(stop.expect for stop in sheet.stops), sheet.expect))),
        alarms=tuple(stop.wordings for stop in sheet.stops if stop.wordings),
    )


def prompts_of_alarms(alarms: Sequence[str], fits: Callable[[str], bool]) -> list[str]:
    """Return prompts with all wordings of what stops the work; ``fits`` says whether a text is short enough for one."""
    prompts: list[str] = []
    for wording in alarms:
        longer = f"{prompts[-1]} {wording}" if prompts else ""
        if longer and fits(longer):
            prompts[-1] = longer
        else:
            prompts.append(wording)
    return prompts


def _by_importance(sheet: Sheet) -> Iterator[str]:
    """Conditions, what is read in them and its units, screws, appliances, then what is checked or said once."""
    required = {one.quantity for one in sheet.required}
    read = [q for q in sheet.quantities if q.conditions]
    once = sorted(
        (q for q in sheet.quantities if not q.conditions),
        key=lambda q: (q.kind != "move", q.id not in required, q.kind != "check"),
    )
    yield from _first(condition.said for condition in sheet.conditions)
    yield from _first(q.said for q in read)
    yield from (unit_of(code).say for q in read for code in _usual_units(q))
    yield from _first(screw.said for screw in sheet.screws)
    yield from sheet.appliance_words[:1]
    yield from _first(q.said for q in once)


def _usual_units(quantity: Quantity) -> list[str]:
    return [code for _, code in sorted(quantity.default_units.items(), reverse=True)]


def _first(ways: Iterable[Sequence[str]]) -> Iterator[str]:
    return (said[0] for said in ways if said)


def prompt_of(expected: Expected, fits: Callable[[str], bool]) -> str:
    """Return a prompt of as many of the last sentences, or names, as fit, with numbers among them.

    ``fits`` says whether a text is short enough. Sentences are better than names: what follows them is written as
    sentences too, and fewer words are made up where noise covers what was said.
    """
    parts = expected.talk or [spelled(name) for name in expected.names]
    join = _told if expected.talk else _listed
    prompt = _listed([])
    for first in range(len(parts) - 1, -1, -1):
        longer = join(parts[first:])
        if not fits(longer):
            break
        prompt = longer
    return prompt


def _told(sentences: Sequence[str]) -> str:
    """Return sentences with the numbers in the places of their values, in turn."""
    numbers = cycle(NUMBERS)
    return " ".join("".join(next(numbers) if part == "{}" else part for part in _VALUE.split(s)) for s in sentences)


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
