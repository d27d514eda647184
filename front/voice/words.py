"""What people say to the tool: commands and answers, by the words of the language file."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, get_args

from schemas.evidence import Utterance

__all__ = ["Command", "Said", "command_of", "note_of", "plain", "spoken"]

Command = Literal[
    "yes",
    "no",
    "say_again",
    "skip",
    "cannot_tell",
    "take_back",
    "what_taken",
    "what_missing",
    "there",
    "hold",
    "carry_on",
]


COMMANDS: tuple[Command, ...] = get_args(Command)


REQUESTS: frozenset[Command] = frozenset(
    ("say_again", "skip", "what_taken", "what_missing", "there", "hold", "carry_on")
)
"""Commands that change nothing in the job."""


@dataclass(frozen=True)
class Said:
    """The spoken part of a language: ways to say each command, and the tool's own phrases."""

    commands: dict[str, frozenset[str]]
    sounds_like: dict[str, frozenset[str]]
    notes: tuple[str, ...]
    before: frozenset[str]
    after: frozenset[str]
    yes: frozenset[str]
    no: frozenset[str]
    saying: dict[str, Any]
    phrases: dict[str, str]


@cache
def spoken(code: str = "en") -> Said:
    """Return the spoken part of a shipped language."""
    raw = tomllib.loads(files("schemas").joinpath("language", f"{code}-spoken.toml").read_text("utf-8"))
    commands = raw["commands"]
    return Said(
        commands={name: frozenset(commands[name]["said"]) for name in COMMANDS},
        sounds_like={name: frozenset(commands[name].get("sounds_like", ())) for name in COMMANDS},
        notes=tuple(sorted(commands["note"]["said"], key=len, reverse=True)),
        before=frozenset(raw["around"]["before"]),
        after=frozenset(raw["around"]["after"]),
        yes=frozenset(raw["answer"]["yes"]),
        no=frozenset(raw["answer"]["no"]),
        saying=raw["saying"],
        phrases=raw["phrases"],
    )


def plain(text: str) -> str:
    """Return a text in lower case, its words parted by single blanks, without marks."""
    return " ".join(re.findall(r"[a-z0-9]+(?:['.][a-z0-9]+)*", text.lower().replace("’", "'")))


def command_of(utterance: Utterance, said: Said) -> Command | None:
    """Return the command that an utterance is as a whole; None if it is none, or not surely one.

    It must be heard by the recogniser's best hypothesis or by its second opinion, and the other must not have heard
    another command. For a request, which changes nothing, any hypothesis will do.
    """
    best = _command(utterance.text, said)
    second = _command(utterance.second_opinion, said) if utterance.second_opinion is not None else None
    if best is not None and second is not None and best != second:
        return None
    if best or second:
        return best or second
    others = (_command(one.text, said) for one in utterance.hypotheses[1:])
    return next((one for one in others if one in REQUESTS), None)


def note_of(utterance: Utterance, said: Said) -> str | None:
    """Return the text of a note that is dictated, as the second opinion spells it; None if it is no note.

    Both ways of hearing must begin with its words and go on with two more: "no, fourteen" is heard as "note fourteen".
    """
    texts = [utterance.text] if utterance.second_opinion is None else [utterance.text, utterance.second_opinion]
    notes = [_note(text, said) for text in texts]
    return notes[-1] if None not in notes else None


def _note(text: str, said: Said) -> str | None:
    for words in said.notes:
        found = re.match(rf"\W*{re.escape(words)}\b[\W_]*(.+)", text, re.IGNORECASE | re.DOTALL)
        if found and len(plain(found[1]).split()) > 1:
            return found[1].strip()
    return None


def _command(text: str, said: Said) -> Command | None:
    words = plain(text).split()
    for cut in _without(words, said):
        for name in COMMANDS:
            if cut in said.commands[name] or cut in said.sounds_like[name]:
                return name
    return None


def _without(words: list[str], said: Said) -> list[str]:
    """Return the words, and the words without what only stands around a command."""
    first, last = 0, len(words)
    while first < last and words[first] in said.before:
        first += 1
    while last > first and (words[last - 1] in said.after or " ".join(words[last - 2 : last]) in said.after):
        last -= 1 if words[last - 1] in said.after else 2
    return [" ".join(words), " ".join(words[first:last])]
