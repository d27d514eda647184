"""What a text may have been if it was misheard: the same with some words exchanged for a phrase of what stops the work
that sounds like them. Which of the two was said only the sound can tell: capture/recogniser.py asks it."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from extract.alarms import Alarms
from extract.sounds import apart, sounds_of
from schemas.sheet import Sheet

__all__ = ["Nearly"]

FARTHEST, FARTHEST_CLEAR = 0.55, 0.36
"""What sounds less alike is not tried (``extract.sounds.apart``); of ordinary talk, one text in six has something
within the second."""
MOST = 10
"""So many texts are handed on, the nearest first."""
_WIDEST = 6  # words that a phrase may have been heard as
_KEPT = 2  # texts with one phrase that are handed on


class Nearly:
    """The stops of a sheet, to be looked for in texts that sound like them."""

    def __init__(self, sheet: Sheet, alarms: Alarms) -> None:
        self._alarms = alarms
        self._phrases = sorted({phrase for stop in sheet.stops for phrase in stop.phrases})
        self._sounds = [sounds_of(phrase) for phrase in self._phrases]
        self._numbers = (alarms.words.one["numbers"] - {"a", "one", "oh"}) | set("0123456789")
        self._longest = max((3 * len(sounds) // 2 for sounds in self._sounds), default=0)

    def __call__(self, texts: Sequence[str], clear: bool) -> list[str]:
        """Return up to ``MOST`` texts that sound like one of these and say a stop that none of these says.

        ``clear``: the sound was clear, so that only what sounds much like it is worth a try. Nothing is made of a text
        with a number in it: it reads something out, and in noise some such would be asked about.
        """
        farthest = FARTHEST_CLEAR if clear else FARTHEST
        if not self._phrases or any(self._numbers & set(re.findall(r"[a-z]+|\d", text.lower())) for text in texts):
            return []
        said = {one.stop for text in texts for one in self._alarms.heard(text)}
        spans = [
            (words, i, j, sounds)
            for words in (re.findall(r"[^\s,.!?;:]+", text) for text in texts)
            for i in range(len(words))
            for j in range(i + 1, min(i + _WIDEST, len(words)) + 1)
            if len(sounds := sounds_of(" ".join(words[i:j]))) <= self._longest
        ]
        unlike = list(dict.fromkeys(sounds for *_, sounds in spans))
        if not unlike:
            return []
        place = {sounds: n for n, sounds in enumerate(unlike)}
        far = apart(unlike, self._sounds)[[place[sounds] for *_, sounds in spans]]
        near: list[tuple[float, str, str]] = []
        for k, phrase in enumerate(self._phrases):
            for n in np.flatnonzero((far[:, k] > 0) & (far[:, k] <= farthest)):
                words, i, j, _ = spans[n]
                near.append((round(float(far[n, k]), 4), " ".join([*words[:i], phrase, *words[j:]]), phrase))
        found: dict[str, str] = {}
        for _, line, phrase in sorted(near):
            if len(found) == MOST:
                break
            if line in found or list(found.values()).count(phrase) == _KEPT:
                continue
            if any(one.stop not in said for one in self._alarms.heard(line)):
                found[line] = phrase
        return list(found)
