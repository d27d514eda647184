"""When a value may be taken unasked: independent readings agree, and nothing that could change it is hidden."""

from __future__ import annotations

import re
from collections import Counter

from schemas.base import is_value_text
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Opinion

__all__ = ["alternatives_of", "differences", "likeliest"]

_TWINS = {"1": "7", "7": "1", "3": "8", "8": "36", "6": "8", "9": "8", "0": "8", "5": "6"}


def likeliest(opinions: list[Opinion]) -> str:
    """The value that most opinions hold; of equals, the one with the better scores, then the first."""
    votes: Counter[str] = Counter()
    for opinion in opinions:
        if opinion.text:
            votes[opinion.text] += 1
    if not votes:
        return ""
    most = max(votes.values())
    scores = {text: max(o.score for o in opinions if o.text == text) for text in votes}
    return max((text for text in votes if votes[text] == most), key=lambda text: scores[text])


def differences(value: str, opinions: list[Opinion]) -> list[Doubt]:
    """Doubts from opinions that do not hold the value, each saying who read what."""
    doubts = []
    for opinion in opinions:
        if opinion.text == value:
            continue
        kind = DoubtKind.DIGIT_UNSURE
        if opinion.text.lstrip("-") == value.lstrip("-"):
            kind = DoubtKind.SIGN_UNCLEAR
        detail = f"{opinion.reader} read {opinion.text or 'nothing'}"
        doubts.append(Doubt(kind=kind, detail=detail))
    return doubts


def alternatives_of(value: str, opinions: list[Opinion], limit: int = 6) -> tuple[str, ...]:
    """What else a value may be, likeliest first: other opinions, then the point moved, the sign, a twin digit."""
    others = [o.text for o in sorted(opinions, key=lambda o: -o.score) if o.text]
    if re.fullmatch(r"-?\d+(\.\d+)?", value):
        others += _moved(value)
        others.append(value[1:] if value.startswith("-") else "-" + value)
        for place, digit in enumerate(value):
            others += [value[:place] + twin + value[place + 1 :] for twin in _TWINS.get(digit, "")]
    kept: list[str] = []
    for other in others:
        if other != value and other not in kept and is_value_text(other):
            kept.append(other)
    return tuple(kept[:limit])


def _moved(value: str) -> list[str]:
    """The value with its point one place to the right and one to the left, in the digits shown."""
    sign, body = ("-", value[1:]) if value.startswith("-") else ("", value)
    whole, _, part = body.partition(".")
    moved = []
    if part:
        moved.append(sign + (whole + part[0]).lstrip("0").rjust(1, "0") + (f".{part[1:]}" if part[1:] else ""))
    if len(whole) > 1:
        moved.append(sign + whole[:-1] + "." + whole[-1] + part)
    elif whole != "0":
        moved.append(f"{sign}0.{whole}{part}")
    return moved
