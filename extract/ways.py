"""The ways in which an utterance may be heard: hypotheses that say the same together, and the second opinion."""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import NamedTuple

from extract.aloud import respelled
from extract.ear import put_back
from schemas.evidence import Utterance

__all__ = ["REJOINED", "SECOND", "Way", "as_meant", "same_words", "ways"]

SECOND = "the second opinion"
REJOINED = "the second opinion, with the pieces of its numbers put together"
"""Heard of only where a value was read: what it writes in pieces may also be two values."""


class Way(NamedTuple):
    """One way in which an utterance may be heard: its text, its share of the mass, and whose it is."""

    text: str
    mass: float
    who: str


def ways(utterance: Utterance, things: Collection[str] = ()) -> tuple[Way, ...]:
    """Return the ways in which an utterance may be heard, those apart that differ in words, the second opinion last.

    Texts that differ in marks and capitals alone are one: its mass is theirs together. Number words whose ending was
    heard as a word of its own are put together again, and what follows an appliance's name (one of ``things``) may be
    its number.
    """
    found: dict[str, Way] = {}
    for n, h in enumerate(utterance.hypotheses):
        text = as_meant(h.text, utterance, things)
        key = same_words(text)
        old = found.get(key)
        who = "another hypothesis" if n or text != h.text else ""
        found[key] = Way(text, h.mass, who) if old is None else old._replace(mass=old.mass + h.mass)
    second = utterance.second_opinion
    return (
        *found.values(),
        *(() if second is None else (Way(as_meant(second, utterance, things), 0.0, SECOND),)),
    )


def as_meant(text: str, utterance: Utterance, things: Collection[str] = ()) -> str:
    """Return a text of an utterance with its words put together again, and, where it was heard, the small ones too."""
    return respelled(put_back(text, utterance), things)


def same_words(text: str) -> str:
    """Return what a text has in common with those that differ from it in marks and capitals alone."""
    return " ".join(re.findall(r"[a-z0-9.,']*[a-z0-9]", text.lower().replace(", ", " ")))
