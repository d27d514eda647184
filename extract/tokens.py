"""Text into tokens that keep their place. Every later step counts in tokens; offsets lead back to the text.

spaCy's blank English pipeline with a tokenizer of our own: its rules are for prose, and talk at a gauge comes as
``82ppm``, ``9.3%CO2``, ``6.8"wc`` and ``-.01``. It is loaded with the first text, since its import takes a second.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from spacy.language import Language
    from spacy.tokens import Doc
    from spacy.vocab import Vocab

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


def tokenize(text: str, labels: tuple[str, ...] = ()) -> list[Token]:
    """Return the tokens of ``text``: words, numbers, fractions, dates, clock times and marks, with their offsets.

    A hyphen inside a compound (lock-up, twenty-one, O-2) is no token: its parts are. ``'s`` and the like stand alone.
    ``labels``: names written with digits (co2), longest first; a number glued to one is cut off it ("O24.5, CO70")
    where only one of them fits.
    """
    doc = _pipeline(labels)(text)
    tokens: list[Token] = []
    before = -1
    for token, kind in zip(doc, doc.user_data[_KINDS], strict=True):
        word, start = token.text, token.idx
        end = start + len(word)
        if kind not in (_COMPOUND, _SPACE):
            low = word.lower().rstrip("'") or word
            if kind == "number":
                low = low.replace(",", "")
            tokens.append(Token(word, low, start, end, kind, start == before))
        if kind != _SPACE:
            before = end
    return tokens


_KINDS = "sayback.kinds"
"""Where a Doc keeps the kind of each token: that of the pattern it matched, or one of the two below."""
_COMPOUND, _SPACE = "", " "
"""A hyphen inside a compound, and spaces beyond a single one: they hold their place in the Doc and are no tokens."""


@cache
def _pipeline(labels: tuple[str, ...]) -> Language:
    import spacy

    nlp = spacy.blank("en")
    nlp.tokenizer = _cutter(nlp.vocab, labels)
    return nlp


def _cutter(vocab: Vocab, labels: tuple[str, ...]) -> Callable[[str], Doc]:
    """Return the tokenizer: it covers every character of a text, so that spaCy's offsets are those of the text."""
    from spacy.tokens import Doc

    def cut(text: str) -> Doc:
        plain = text.translate(_SAME_LENGTH)
        words: list[str] = []
        spaces: list[bool] = []
        kinds: list[str] = []
        at = 0
        while (match := _TOKEN.search(plain, at)) is not None:
            start, end = match.span()
            if labels and match.lastgroup == "word" and plain[end - 1].isdigit():
                end = start + _label_of(plain, start, end, labels)
            if start > at:
                gap = plain[at:start]
                if words and gap[0] == " ":
                    spaces[-1], gap = True, gap[1:]
                if gap:
                    words.append(gap)
                    spaces.append(False)
                    kinds.append(_SPACE)
            word = plain[start:end]
            words.append(word)
            spaces.append(False)
            inside = word == "-" and _inside_compound(plain, start)
            kinds.append(_COMPOUND if inside else match.lastgroup or "mark")
            at = end
        return Doc(vocab, words=words, spaces=spaces, user_data={_KINDS: kinds})

    return cut


def _label_of(text: str, start: int, end: int, labels: tuple[str, ...]) -> int:
    """How many characters of a word with digits at its end are its name: all of them where nothing is glued to it."""
    word = text[start:end].lower()
    fits = [x for x in labels if word.startswith(x) and word[len(x) :].isdigit()]
    if word in labels or not fits or (text[start - 1 : start].isalnum() and start):
        return end - start
    decimal = re.match(r"\.[0-9]", text[end : end + 2]) is not None
    if len(fits) > 1 and not decimal:
        return end - start  # "CO292" may be CO2 9.2 and CO 292
    return len(fits[0])


def _inside_compound(text: str, at: int) -> bool:
    left, right = text[at - 1 : at], text[at + 1 : at + 2]
    if left.isalpha() and (right.isalpha() or (right.isdigit() and (at < 3 or not text[at - 3 : at].isalpha()))):
        return True  # lock-up, O-2
    return left.isdigit() and right.isalpha()  # 3-way
