"""What a person said while the tool spoke: words in its own voice, heard by the microphone, that it did not say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import extract
from extract.alarms import alarms_said
from extract.parse import parse
from front.voice.words import Said, plain
from schemas.evidence import Utterance
from schemas.sheet import Sheet

__all__ = ["alarm_beyond", "words_beyond"]


LIKELY = 0.5
"""The share of the mass that an alarm needs in what is all but certainly the tool's own voice, too faint to be made
out."""


def alarm_beyond(
    utterance: Utterance, told: Sequence[str], grammar: extract.Grammar, sheet: Sheet, *, faint: bool = False
) -> bool:
    """Say whether something was said that stops the work and that is not the tool's own ``told``.

    The tool's own are a stop that it was telling, and an alarm all of whose words it spoke. ``faint``: far fainter than
    people speak, while the tool speaks; the second opinion, which is told of alarms, then makes one of nothing.
    """
    if faint and utterance.hypotheses[0].mass < LIKELY:
        return False
    own = {stop.id for stop in sheet.stops if any(stop.say in text for text in told)}
    own |= {one.stop for text in told for one in grammar.alarms.heard(text)}
    spoken = {word for text in told for word in _words(text)}
    # In its own voice, faint in a room, an unlikely way of hearing it is likelier wrong than an alarm.
    second = None if faint else utterance.second_opinion
    likely = utterance.model_copy(update={"hypotheses": utterance.hypotheses[:1], "second_opinion": second})
    found = alarms_said(likely, grammar.alarms)
    return any(one.stop not in own and not spoken.issuperset(_words(one.source.heard)) for one in found)


def words_beyond(
    utterance: Utterance, told: Sequence[str], setting: extract.Setting, grammar: extract.Grammar, said: Said
) -> str:
    """Return the numbers and the words such as no and stop that were heard and that the tool did not say.

    Either way of hearing counts: what is asked once too often is better than what is passed over.
    """
    texts = [utterance.text] if utterance.second_opinion is None else [utterance.text, utterance.second_opinion]
    own = {number for text in told for number in _numbers(text, setting, grammar)}
    spoken = {word for text in told for word in _words(text)}
    numbers = [one for text in texts for one in _numbers(text, setting, grammar) if one not in own]
    words = [one for text in texts for one in _words(text) if one in said.over and one not in spoken]
    return " ".join(dict.fromkeys((*words, *numbers)))


def _numbers(text: str, setting: extract.Setting, grammar: extract.Grammar) -> Iterator[str]:
    """Yield the digits of each number; where the point is may have been lost."""
    for sentence in parse(text, extract.start(setting), grammar).sentences:
        for value in sentence.values:
            for number in (value.number, *value.others):
                yield number.digits.replace(".", "")


def _words(text: str) -> list[str]:
    return plain(text).split()
