"""What people say to the tool: commands and answers, by the words of the language file."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any, get_args

from schemas.errors import BadInput
from schemas.evidence import Utterance
from schemas.sheet import Command, Sheet

__all__ = ["Command", "Said", "command_of", "note_of", "plain", "spoken", "spoken_on"]

COMMANDS: tuple[Command, ...] = get_args(Command)


REQUESTS: frozenset[Command] = frozenset(
    ("say_again", "skip", "what_taken", "what_missing", "there", "finished", "hold", "carry_on")
)
"""Commands that change nothing in the job."""


@dataclass(frozen=True)
class Said:
    """The spoken part of a language: ways to say each command, and the tool's own phrases."""

    commands: dict[Command, frozenset[str]]
    sounds_like: dict[Command, frozenset[str]]
    notes: tuple[str, ...]
    before: frozenset[str]
    after: frozenset[str]
    yes: frozenset[str]
    no: frozenset[str]
    beside: frozenset[str]
    past: frozenset[str]
    neither: frozenset[str]
    counted: tuple[frozenset[str], frozenset[str]]
    minus: frozenset[str]
    plus: frozenset[str]
    over: frozenset[str]
    saying: dict[str, Any]
    phrases: dict[str, str]


@cache
def spoken(code: str = "en") -> Said:
    """Return the spoken part of a shipped language."""
    raw = tomllib.loads(files("schemas").joinpath("language", f"{code}-spoken.toml").read_text("utf-8"))
    commands, around = raw["commands"], raw["around"]
    return Said(
        commands={name: frozenset(commands[name]["said"]) for name in COMMANDS},
        sounds_like={name: frozenset(commands[name].get("sounds_like", ())) for name in COMMANDS},
        notes=tuple(sorted(commands["note"]["said"], key=len, reverse=True)),
        before=frozenset(around["before"]),
        after=frozenset(around["after"]),
        yes=frozenset(raw["answer"]["yes"]),
        no=frozenset(raw["answer"]["no"]),
        beside=frozenset((*raw["answer"]["beside"], *raw["answer"]["yes"], *around["before"], *around["after"])),
        past=frozenset(raw["answer"]["past"]),
        neither=frozenset(raw["answer"]["neither"]),
        counted=(frozenset(raw["answer"]["first"]), frozenset(raw["answer"]["second"])),
        minus=frozenset(raw["answer"]["minus"]),
        plus=frozenset(raw["answer"]["plus"]),
        over=frozenset(raw["over"]["words"]),
        saying=raw["saying"],
        phrases=raw["phrases"],
    )


def spoken_on(sheet: Sheet) -> Said:
    """Return the spoken part of the language with what a sheet adds to it.

    Raises:
        BadInput: the sheet says two commands, or one of its own and another of the language, in the same words.
    """
    said = spoken()
    added = {name: frozenset(map(plain, sheet.commands.get(name, ()))) for name in COMMANDS}
    commands = {name: said.commands[name] | added[name] for name in COMMANDS}
    for name in COMMANDS:
        for other in COMMANDS:
            both = added[name] & (commands[other] | said.sounds_like[other]) if other != name else frozenset()
            if both:
                raise BadInput(
                    f"The sheet has “{min(both)}” as a way to say {name}, which is {other} already; choose other words "
                    f"in its [commands]."
                )
    notes = sorted({*said.notes, *map(plain, sheet.commands.get("note", ()))}, key=lambda one: (-len(one), one))
    return replace(said, commands=commands, notes=tuple(notes))


def plain(text: str) -> str:
    """Return a text in lower case, its words parted by single blanks, without marks."""
    return " ".join(re.findall(r"[a-z0-9]+(?:['.][a-z0-9]+)*", text.lower().replace("’", "'")))


def command_of(utterance: Utterance, said: Said) -> Command | None:
    """Return the command that an utterance is as a whole; None if it is none, or not surely one.

    What changes the job must be heard so by the recogniser's best hypothesis and by its second opinion, if that heard
    anything. For a request, which changes nothing, one of them will do, or any other hypothesis, as long as nobody
    heard another command or a number: that would be thrown away with it.
    """
    texts = [utterance.text] if utterance.second_opinion is None else [utterance.text, utterance.second_opinion]
    heard = {_command(text, said): text for text in texts if plain(text)}
    commands = [one for one in heard if one is not None]
    if len(commands) > 1 or (None in heard and _tells_number(heard[None], said)):
        return None
    if commands:
        return commands[0] if None not in heard or commands[0] in REQUESTS else None
    others = (_command(one.text, said) for one in utterance.hypotheses[1:])
    return next((one for one in others if one in REQUESTS), None)


def _tells_number(text: str, said: Said) -> bool:
    numbers = {*said.saying["digits"], *said.saying["tens"]}
    return any(word in numbers or any(c.isdecimal() for c in word) for word in plain(text).split())


def note_of(utterance: Utterance, said: Said) -> str | None:
    """Return the text of a note that is dictated, as the second opinion spells it; None if it is no note.

    Both ways of hearing must begin with its words and go on with two more: "no, fourteen" is heard as "note fourteen".
    """
    if utterance.second_opinion is None or _note(utterance.text, said) is None:
        return None
    return _note(utterance.second_opinion, said)


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
            if cut in said.commands[name] or cut in said.sounds_like[name] or _is_twice(name, cut, said):
                return name
    return None


def _is_twice(name: Command, text: str, said: Said) -> bool:
    """Say whether a text is a yes or no said in several ways after each other: "yeah, that's it", "no no no"."""
    if name not in ("yes", "no"):
        return False
    ways = said.commands[name]
    words = text.split()
    return any(
        " ".join(words[:n]) in ways and (" ".join(words[n:]) in ways or _is_twice(name, " ".join(words[n:]), said))
        for n in range(1, len(words))
    )


def _without(words: list[str], said: Said) -> list[str]:
    """Return the words, and the words without what only stands around a command."""
    first, last = 0, len(words)
    while first < last and words[first] in said.before:
        first += 1
    while last > first and (words[last - 1] in said.after or " ".join(words[last - 2 : last]) in said.after):
        last -= 1 if words[last - 1] in said.after else 2
    return [" ".join(words), " ".join(words[first:last])]
