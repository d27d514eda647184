"""How alike two stretches of words sound, from their spelling: for what a recogniser may have written for something
else. A rough guess that picks what the sound itself is then asked about (extract/nearly.py); it decides nothing."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["apart", "sounds_of"]

# Spellings of English and the sounds that stand for them, longer ones first; from memory, good enough to rank by.
_SPELT = {
    "tion": "Sn", "sion": "Sn", "ough": "o", "augh": "of", "dge": "J", "tch": "C", "sch": "sk", "ph": "f", "gh": "",
    "ck": "k", "sh": "S", "ch": "C", "th": "T", "wh": "w", "qu": "kw", "kn": "n", "wr": "r", "ng": "N", "mb": "m",
    "x": "ks", "ce": "se", "ci": "si", "cy": "si", "ge": "Je", "gi": "Ji", "ee": "i", "ea": "i", "oo": "u", "ou": "a",
    "ow": "a", "ai": "e", "ay": "e", "oa": "o", "c": "k", "q": "k", "y": "i", "j": "J",
}  # fmt: skip
_RULE = re.compile("|".join(_SPELT))
_SILENT_E = re.compile(r"(?<=[a-z]{2}[^aeiou])e(?=s?$)")
_SOUNDS = "aeioubdfghklmnprstvwzCJNST"
_VOWELS, _HISSES = "aeiou", "fvszTSCh"
"""Hisses are what a burner's roar covers: they come and go in what is heard."""
_ALIKE = ("pb", "td", "kg", "fvT", "sz", "SCJ", "mnN", "lrw", "szT", "dT", "SsC", "bm", "dn")
_LOST, _HISS_LOST, _VOWEL_LOST = 1.0, 0.6, 0.4
_SIMILAR, _OTHER_VOWEL = 0.4, 0.25

_lost = np.array([_VOWEL_LOST if s in _VOWELS else _HISS_LOST if s in _HISSES else _LOST for s in _SOUNDS] + [0.0])
_lost = _lost.astype(np.float32)
_changed = np.maximum.outer(_lost, _lost)
for _group, _cost in (*((group, _SIMILAR) for group in _ALIKE), (_VOWELS, _OTHER_VOWEL)):
    _places = [_SOUNDS.index(s) for s in _group]
    _changed[np.ix_(_places, _places)] = _cost
np.fill_diagonal(_changed, 0.0)


@lru_cache(maxsize=20000)
def sounds_of(words: str) -> str:
    """Return the sounds of words, a sign each, one that follows itself once."""
    plain = re.sub(r"[^a-z ]", "", words.lower()).split()
    found = "".join(_RULE.sub(lambda spelt: _SPELT[spelt[0]], _SILENT_E.sub("", word)) for word in plain)
    return re.sub(r"(.)\1+", r"\1", found)


def apart(some: Sequence[str], others: Sequence[str]) -> NDArray[np.float32]:
    """Return how far each of some ``sounds_of`` lies from each of others: 0 the same, 1 nothing in common.

    The least cost of losing, gaining and changing sounds (V. I. Levenshtein, 1966) over the cost of the dearer of the
    two; shape (some, others).
    """
    a, b = _signs(some), _signs(others)
    weight_a, weight_b = _lost[a].sum(axis=1), _lost[b].sum(axis=1)
    gained = np.concatenate([np.zeros((len(b), 1), np.float32), np.cumsum(_lost[b], axis=1)], axis=1)
    row = np.repeat(gained.T[:, None, :], len(a), axis=1)  # (sounds of the other so far, some, others)
    for sounds in a.T:  # a pad costs nothing, so that what is read at the end is that of the last sound
        above, row = row, np.empty_like(row)
        lost = _lost[sounds][:, None]
        row[0] = above[0] + lost
        for n, other in enumerate(b.T):
            changed = _changed[np.ix_(sounds, other)]
            row[n + 1] = np.minimum(np.minimum(above[n] + changed, above[n + 1] + lost), row[n] + _lost[other][None, :])
    return np.asarray(row[-1] / np.maximum(1.0, np.maximum.outer(weight_a, weight_b)), np.float32)


def _signs(all_sounds: Sequence[str]) -> NDArray[np.intp]:
    """Return the places of sounds in ``_SOUNDS``, a row for each, padded with one more sign that costs nothing."""
    longest = max((len(sounds) for sounds in all_sounds), default=0)
    return np.array([[*map(_SOUNDS.index, s), *[len(_SOUNDS)] * (longest - len(s))] for s in all_sounds], np.intp)
