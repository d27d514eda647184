"""Text into tokens that keep their place. Every later step counts in tokens; offsets lead back to the text.

A tokenizer of our own: importing spaCy takes three seconds on this hardware, more than all of a job's extraction, and
its rules would have to be replaced here anyway (``82ppm``, ``9.3%CO2``, ``6.8"wc``, ``-.01``).
"""

from __future__ import annotations

import re
from typing import NamedTuple

__all__ = ["Token", "tokenize"]

# One character for one, so that offsets hold.
_SAME_LENGTH = str.maketrans({"’": "'", "‘": "'", "“": '"', "”": '"', "″": '"', "−": "-", "₂": "2", "º": "°"})

_TOKEN = re.compile(
    r"""
    (?P<date>[0-9]{4}-[0-9]{2}-[0-9]{2} | [0-9]{1,2}/[0-9]{1,2}/(?:[0-9]{4}|[0-9]{2}))(?![0-9])
  | (?P<clock>[0-9]{1,2}:[0-9]{2})(?![0-9])
  | (?P<fraction>[0-9]+/[0-9]+ | [½¼¾⅓⅔⅛⅜⅝⅞])
  | (?P<number>[0-9]{1,3}(?:,[0-9]{3})+(?![0-9])(?:\.[0-9]+)? | [0-9]+\.[0-9]+ | (?<![0-9])\.[0-9]+ | [0-9]+)
  | (?P<word>'(?:s|re|ve|ll|d|m)(?![^\W_]) | n't(?![^\W_])
      | [^\W\d_](?:[^\W\d_]|'(?!(?:s|re|ve|ll|d|m)(?![^\W_])))*(?:[0-9]+[^\W_]*)?)
  | (?P<mark>\S)
    """,
    re.VERBOSE | re.IGNORECASE,
)


class Token(NamedTuple):
    """One word, number or mark. ``low`` is what rules compare; ``joined``: no space before it."""

    text: str
    low: str
    start: int
    end: int
    kind: str
    joined: bool


def tokenize(text: str) -> list[Token]:
    """Return the tokens of ``text``: words, numbers, fractions, dates, clock times and marks, with their offsets.

    A hyphen inside a compound (lock-up, twenty-one, O-2) is no token: its parts are. ``'s`` and the like stand alone.
    """
    plain = text.translate(_SAME_LENGTH)
    tokens: list[Token] = []
    before = -1
    for match in _TOKEN.finditer(plain):
        kind = match.lastgroup or "mark"
        start, end = match.span()
        word = plain[start:end]
        if word == "-" and _inside_compound(plain, start):
            before = end
            continue
        low = word.lower().rstrip("'") or word
        if kind == "number":
            low = low.replace(",", "")
        tokens.append(Token(word, low, start, end, kind, start == before))
        before = end
    return tokens


def _inside_compound(text: str, at: int) -> bool:
    left, right = text[at - 1 : at], text[at + 1 : at + 2]
    if left.isalpha() and (right.isalpha() or (right.isdigit() and (at < 3 or not text[at - 3 : at].isalpha()))):
        return True  # lock-up, O-2
    return left.isdigit() and right.isalpha()  # 3-way
