"""How surely a name was heard, and how sure the recogniser was of a word."""

from __future__ import annotations

import re
from collections.abc import Sequence

from extract.certainty import Certainty
from schemas.evidence import Utterance

__all__ = ["least_certain", "name_misgiving"]


def name_misgiving(utterance: Utterance, start: int, end: int, text: str, certain: Certainty) -> str:
    """Why a name may have been misheard (``start`` to ``end`` characters); empty where nothing speaks for that.

    A recogniser spells names it has never met as words that it has: only agreement to the letter counts.
    """
    certainty = least_certain(utterance.hypotheses[0].words, utterance.text, start, end)
    if certainty is None:
        return ""
    letters = _letters(text)
    others = [h.text for h in utterance.hypotheses[1:] if h.mass >= certain.notable]
    others += [utterance.second_opinion] if utterance.second_opinion is not None else []
    if any(letters not in _letters(o) for o in others):
        return "not every way it was heard has it so"
    if any(len(w) > 1 and w.isalpha() for w in text.split()):
        return "recognisers put words that they know in place of names"
    return "the recogniser was not sure of a word" if certainty < certain.name else ""


def _letters(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


def least_certain(words: Sequence[object], text: str, a: int, b: int) -> float | None:
    """Return the certainty of the least certain of ``words`` within characters ``a`` to ``b`` of ``text``; None where
    there is none."""
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
