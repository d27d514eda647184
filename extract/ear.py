"""What a recogniser writes for small words that lead to a number and mean nothing by themselves, put back.

"Came in at" is written "K been at", "cabin at" or "cadence of", "settled at" is "set all that", "um" before a number is
"hum", "home", "arm" or "firm". For what was heard only, never for what somebody typed; the words that are put back say
nothing about the number, so that a reading hangs on everything else as it did.
"""

from __future__ import annotations

import re

__all__ = ["put_back"]

_DIGITS = "zero oh one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen"
_TENS = "seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety minus negative point"
_NUMBER = rf"(?=[0-9]|(?:{'|'.join(f'{_DIGITS} {_TENS}'.split())})\b)"
_UM = "(?:hum|home|arm|firm|atom)"
_CAME_IN = r"\bK,? ?(?:been|bean|bin|being|B ?N|the|in)\b,?(?: (?:at|a|up to|the)\b)?"
_HEARD = (
    # came in at (um)
    (rf"{_CAME_IN}(?: (?:{_UM}|them|term|turn|time)\b)?", "came in at"),
    (rf"\b(?:cabin|caving|cadence|cadon)\b,?(?: (?:at|of|a|an|are|our)\b)?(?: (?:{_UM}|them)\b)?", "came in at"),
    # settled at (um)
    (rf"\bset all (?:that|up|at|the)\b,?(?: (?:{_UM}|time|top)\b)?", "settled at"),
    (rf"\b(?:settled? |settle )(?:atom|pattern|at {_UM})\b", "settled at"),
    # um, behind a word that leads to a number
    (r"\b((?:settled?|sitting|in|right) at)\b,? home\b", r"\1 um"),
    (r"\b(at|is|that|shows?|reads?)\b,? (?:hum|arm|firm|atom)\b", r"\1 um"),
)  # fmt: skip
_LEADING = tuple((re.compile(rf"{heard},? {_NUMBER}", re.IGNORECASE), f"{said} ") for heard, said in _HEARD)
_OF_THE_ROOM = re.compile(r"\bC ?O\b(?! ?(?:two|2)\b)|monoxide|\balarm", re.IGNORECASE)
"""Beside these a home is one: "CO at home thirty five"."""
_NOW = re.compile(r",? how\?", re.IGNORECASE)


def put_back(text: str) -> str:
    """Return a text with those words as they were said: "C O two K been at nine" is "C O two came in at nine"."""
    if not (_OF_THE_ROOM.search(text) and re.search(r"\bhome\b", text, re.IGNORECASE)):
        for heard, said in _LEADING:
            text = heard.sub(said, text)
    return _NOW.sub(" now.", text)
