"""What a recogniser writes for small words that lead to a number and mean nothing by themselves, put back.

"Came in at" is written "K been at", "cabin at" or "cadence of", "um" before a number "hum", "arm", "firm" or "home",
"now" behind one "how?". For what was heard only, never for what somebody typed, and not where another way of hearing
says that the words are meant: a cabin is a place, and so is a home.
"""

from __future__ import annotations

import re

from schemas.evidence import Utterance

__all__ = ["put_back"]

_WORDS = "zero oh one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
_WORDS += "seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety minus negative point"
_ANY = "|".join(_WORDS.split())
_NUMBER = rf",? (?=[0-9]|(?:{_ANY})\b)"
_UM = r"(?: (?:hum|home|arm|firm|atom|them|term|turn|time)\b)?"
_NO_PLACE = r"(?<!in )(?<!the )(?<!at )(?<!to )(?<!from )(?<!of )(?<!inside )(?<!a )"
_CAME_IN_AT = re.compile(
    rf"(?<![0-9] )\b(?:K,? ?(?:been|bean|bin|being|B ?N),? (?:at|a|up to)\b|K,? the(?= (?:atom|term)\b)|"
    rf"{_NO_PLACE}(?:cabin at|caving (?:at|a)|cadence (?:at|of)|cadon at)\b){_UM}{_NUMBER}",
    re.IGNORECASE,
)
_HUM = re.compile(rf"\b(at|is|that|shows?|reads?)\b,? (?:hum|arm|firm|atom)\b{_NUMBER}", re.IGNORECASE)
_AT_HOME = re.compile(rf"\b((?:settled?|sitting) at),? home\b{_NUMBER}", re.IGNORECASE)
_MEANT = re.compile(r"\b(?:can|could|may|might|should) (?:be|have)\b", re.IGNORECASE)
_OF_A_ROOM = re.compile(r"\bC ?O\b(?! ?(?:two|2)\b)|monoxide|\balarm|\b(?:mine|my|I)\b", re.IGNORECASE)
"""Beside these a home or a cabin is one: "CO in the cabin thirty five", "mine's sitting at home nine three"."""
_HOW = re.compile(r",? how\?\W*$", re.IGNORECASE)
_NOW = re.compile(r"\bnow\W*$", re.IGNORECASE)


def put_back(text: str, utterance: Utterance) -> str:
    """Return a text of an utterance with those words as they were said: "CO2 K been at nine" is "CO2 at nine"."""
    second = utterance.second_opinion
    if second is None:
        return text
    texts = [second, *(h.text for h in utterance.hypotheses)]
    place = any(_OF_A_ROOM.search(one) for one in texts)
    if not any(_MEANT.search(one) for one in texts) and not (place and re.search(r"\bcabin\b", text, re.IGNORECASE)):
        text = _CAME_IN_AT.sub("at ", text)
    text = _HUM.sub(r"\1 um ", text)
    if not place and not re.search(r"\bhome\b", second, re.IGNORECASE):
        text = _AT_HOME.sub(r"\1 um ", text)
    if any(_NOW.search(one) for one in texts) and not _HOW.search(second):
        text = _HOW.sub(" now.", text)
    return text
