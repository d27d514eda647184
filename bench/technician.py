"""A technician in a process of his own: ``python -m bench.technician SCRIPT.json FOLDER``.

Speaks the sound files that the script names, hears the tool through what it plays into FOLDER (its tones, and the words
of its speech), answers its questions, corrects what it reads back wrongly and never what is right, says again what it
heard a number in and kept nothing of. Knows nothing else of the tool: neither its readings nor what it asks about.

Time stands still between two blocks of sound: each goes out on standard output, and a byte on standard input says that
the other side has done all that it does about it.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tempfile
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from capture.microphone import BLOCK, pcm
from capture.prompt import spelled
from capture.sound import RATE, samples
from front.voice.sounds import Sound, speak
from front.voice.speakers import wav
from front.voice.wording import say_number
from front.voice.words import spoken
from schemas.base import is_value_text
from schemas.load import load_sheet
from schemas.sheet import Sheet

__all__ = ["Apart", "Mind", "voice"]

SETTLES_S = 0.4
"""So long after the tool has spoken the technician answers."""
PATIENCE_S = 3.0
AFTER_SPEECH_S = 5.5
MOST_ANSWERS = 12
"""Answers after one utterance."""
_TOLD = (
    "limit_right",
    "limit_again",
    "offer",
    "right",
    "say_value",
    "what_is_it",
    "either",
    "stands",
    "was",
    "taken_back",
)
"""Phrases of the tool that the technician understands, the most particular first; then ``said_back`` and ``row``."""


class Mind:
    """Understands what the tool says, and knows what is true. ``gold`` are true readings, in the corpus' words.

    ``at`` is the appliance that he works at, empty where there is but one, ``just`` the words that he said last.
    """

    at = just = ""

    def __init__(self, gold: Sequence[dict[str, Any]], sheet: Sheet) -> None:
        self._sheet = sheet
        self._gold = [{**one, "value": self._as_said(one)} for one in gold]
        self._quantities = {spelled(one.name): one.id for one in sheet.quantities}
        self._conditions = {one.name: one.id for one in sheet.conditions}
        self._phrases = {
            name: _pattern(spoken().phrases[name]) for name in (*_TOLD, "said_back", "row", "missing", "again")
        }
        self._last = self._placed = ""

    def answer(self, text: str) -> str | None:
        """Return what is said to something that the tool said; None: nothing."""
        for name in (*_TOLD, "again"):
            found = self._phrases[name].fullmatch(text)
            if found:
                return self._reply(name, found.groupdict())
        if self._phrases["missing"].fullmatch(text):  # it has the shape of a row
            return None
        found = self._phrases["row"].fullmatch(text)
        if found and found["where"].split(", ")[-1] in self._conditions:
            return self._row(found["where"], found["values"])
        found = self._phrases["said_back"].fullmatch(text)
        return self._back(found["what"], found["value"]) if found else None

    def _reply(self, name: str, told: dict[str, str]) -> str | None:
        if name in ("limit_right", "taken_back"):
            return "yes" if name == "limit_right" else None
        if name == "limit_again":
            return "skip"
        if name == "offer":
            return "yes" if told["place"] == self._placed else self._placed.replace("1", "one").replace("2", "two")
        if name == "was":
            return self._back(told["what"], told["value"])
        if name == "stands":
            return self._which(told["values"])
        if name == "either" and _number(told["what"].partition(", ")[0]):  # a value, and of what it is
            return self._place(told["what"], f"{told['value']}, {spoken().phrases['or']} {told['other']}")
        self._last = told.get("what", self._last)
        if name != "what_is_it" and self._is_elsewhere(self._last, told.get("value", "")):
            return f"no, boiler {_in_words(self.at)}"
        true = self._true(self._last)
        if not true:
            return "skip"
        return "yes" if name == "right" and _is_said(told["value"], true) else _in_words(true[-1])

    def _back(self, what: str, value: str) -> str | None:
        """Correct a value that was said back; take it back where nothing of the kind was said."""
        if ":" in what or self._slot(what) is None:  # a list of what is missing
            return None
        self._last = what
        if self._is_elsewhere(what, value):
            return f"no, boiler {_in_words(self.at)}"
        true = self._true(what)
        if not true:
            return "take that back"
        return None if _is_said(value, true) else f"no, {_in_words(true[-1])}"

    def _is_elsewhere(self, what: str, value: str) -> bool:
        """Say whether the tool puts what he has just said to another appliance than the one he is at."""
        where, _, rest = what.partition(", ")
        if not (self.at and where.isdecimal() and where != self.at):
            return False
        return _is_said(value, self._true(f"{self.at}, {rest}")) and _number(value).replace("-", " ") in self.just

    def _row(self, where: str, values: str) -> str | None:
        for one in values.split(", "):
            name, value = self._named(one)
            true = self._true(f"{name}, {where}" if name else "")
            if name and true and not _is_said(value, true):
                return f"no, {self._short(name)} {_in_words(true[-1])}"
        return None

    def _which(self, values: str) -> str:
        """Name the quantity that was said, of several of which only one can be right."""
        for one in values.split(f" {spoken().phrases['and']} "):
            name, value = self._named(one)
            if name and any(
                _is_said(value, [g["value"]]) for g in self._gold if g["quantity"] == self._quantities[name]
            ):
                return self._short(name)
        return "skip"

    def _place(self, told: str, places: str) -> str:
        """Name the quantity or the condition that a value is of."""
        value, _, common = told.partition(", ")
        slot, common = self._slot(common), common.partition(", ")[0]
        for gold in sorted(self._gold, key=lambda one: one.get("appliance") != self.at):
            mine = slot is not None and gold["quantity"] == slot[0] and gold["condition"].startswith(slot[1])
            if mine and gold.get("appliance") in re.split(r"\W+", places) and _is_said(value, [gold["value"]]):
                self._placed = f"boiler {gold['appliance']}"
                return f"boiler {_in_words(gold['appliance'])}"
        for offered in re.split(rf", {spoken().phrases['or']} |, ", places):
            named = re.match(r"boiler (\d+) (.*)", offered)
            tag, place = (named[1], named[2]) if named else ("", offered)
            name = next((one for one in sorted(self._quantities, key=len, reverse=True) if one in (place, common)), "")
            name = name or next((one for one in self._quantities if place.startswith(f"{one} ")), "")
            condition = next((one for one in self._conditions if place.endswith(one)), "")
            for gold in self._gold:
                same = not name or gold["quantity"] == self._quantities[name]
                same = same and tag in ("", gold.get("appliance"))
                there = not condition or gold["condition"].partition("/")[0] == self._conditions[condition]
                if same and there and _is_said(value, [gold["value"]]):
                    told = self._sheet.condition(self._conditions[condition]).said[0] if condition else ""
                    told = told or (self._short(name) if name else "skip")
                    self._placed = offered
                    return f"boiler {_in_words(tag)} {told}" if tag else told
        return "skip"

    def _slot(self, what: str) -> tuple[str, str, str] | None:
        """Return quantity, condition and phase of ``C O two, high fire, before``; an appliance is passed over."""
        parts = what.split(", ")
        quantity = next((self._quantities[one] for one in parts if one in self._quantities), None)
        condition = next((self._conditions[one] for one in parts if one in self._conditions), "")
        phase = next((one for one in parts if one in ("before", "after")), "")
        return None if quantity is None else (quantity, condition, phase)

    def _true(self, what: str) -> list[Any]:
        slot, parts = self._slot(what), what.split(", ")
        if slot is None:
            return []
        found = [g for g in self._gold if (g["quantity"], g["condition"].partition("/")[0]) == slot[:2]]
        where = parts[0] if parts[0].isdecimal() else self.at
        found = [g for g in found if not (g.get("appliance") and where) or g["appliance"] == where]
        return [g["value"] for g in found if slot[2] in ("", g["condition"].partition("/")[2])]

    def _named(self, text: str) -> tuple[str, str]:
        """Return the quantity's name that a text begins with (empty: none), and the rest."""
        name = next((one for one in sorted(self._quantities, key=len, reverse=True) if text.startswith(f"{one} ")), "")
        return name, text[len(name) :].strip()

    def _as_said(self, gold: dict[str, Any]) -> Any:
        """Return a choice by the words for it; anything else as it is."""
        known = next((one for one in self._sheet.quantities if one.id == gold["quantity"]), None)
        words = known.choices.get(str(gold["value"])) if known is not None else None
        return words[0] if words else gold["value"]

    def _short(self, name: str) -> str:
        return spelled(self._sheet.quantity(self._quantities[name]).said[0])


def _pattern(phrase: str) -> re.Pattern[str]:
    parts = re.split(r"\{(\w+)\}", phrase)
    return re.compile(
        "".join(
            re.escape(one) if n % 2 == 0 else f"(?P<{one}>.+{'' if one == 'what' else '?'})"
            for n, one in enumerate(parts)
        )
    )


def _is_said(told: str, values: Sequence[Any]) -> bool:
    """Say whether the words of a value are one of some values, whatever zeros are said behind it and with what unit."""
    number = _number(told)
    return any(told == one or (number and number == one) for value in values for one in _ways(str(value)))


def _number(told: str) -> str:
    """Return the words of the number that a text begins with."""
    saying = spoken().saying
    small = (saying[name] for name in ("minus", "point", "oh", "hundred", "thousand"))
    known, words = {*saying["digits"], *saying["tens"], *small}, told.split(" ")
    count = next((n for n, word in enumerate(words) if not known.issuperset(word.split("-"))), len(words))
    return " ".join(words[:count])


def _ways(value: str) -> Iterator[str]:
    if not is_value_text(value):
        yield value
        yield _in_words(value)
        return
    plain = format(Decimal(value).normalize(), "f")
    yield say_number(plain, spoken())
    for zeros in ("0", "00"):
        yield say_number(plain + ("" if "." in plain else ".") + zeros, spoken())


def _in_words(value: Any) -> str:
    text, saying = str(value), spoken().saying
    if is_value_text(text):
        return say_number(text, spoken()).replace("-", " ")
    if any(c.isdecimal() for c in text):  # a code is spelt
        spelt = (saying["letters"].get(c, saying["digits"][int(c)] if c.isdecimal() else c.upper()) for c in text)
        return " ".join(" ".join(spelt).split())
    return text


def voice(text: str) -> Sound:
    """Return what a person says, in a voice of flite where it is installed: another synthesiser than the tool's."""
    if shutil.which("flite") is None:
        return np.asarray(0.5 * speak(text), np.float32)
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        subprocess.run(["flite", "-voice", "slt", "-t", text, "-o", file.name], check=True, capture_output=True)
        sound = np.concatenate([*samples(Path(file.name))])
    return np.asarray(0.5 * sound / max(1e-6, float(np.abs(sound).max())), np.float32)


# -- the process -------------------------------------------------------------------------------------------------------


@dataclass
class _Person:
    """Plays a script, listens and answers. Times are seconds of the session."""

    utterances: deque[tuple[Sound, str, str]]
    """What he says, as sound and as words, and the appliance that he is at with it."""
    noise: Sound
    mind: Mind
    said: Path
    now: float = 0.0
    read: int = 0

    def work(self) -> None:
        """Play all of it, with answers in between."""
        loud = float(np.sqrt(np.mean(np.square(np.concatenate([sound for sound, _, _ in self.utterances])))))
        self._play(np.zeros(RATE, np.float32))
        while self.utterances:
            utterance, self.mind.just, self.mind.at = self.utterances.popleft()
            self._play(utterance)
            if "nothing kept" in self._listen(loud):  # a number was heard, and nothing kept
                self._play(utterance)
                self._listen(loud)
        self._play(np.zeros(RATE, np.float32))

    def _listen(self, loud: float) -> set[str]:
        """Be silent until the tool has said all it has to say, and answer it; return what it sounded."""
        heard: deque[dict[str, Any]] = deque()
        until, answered, tones = self.now + PATIENCE_S, 0, set[str]()
        while self.now < until:
            self._play(np.zeros(BLOCK, np.float32))
            for one in self._hear():
                tones.add(one["what"])
                if one["what"] == "speech":
                    heard.append(one)
                    until = max(until, one["at"] + one["seconds"] + AFTER_SPEECH_S)
            if heard and self.now >= heard[0]["at"] + heard[0]["seconds"] + SETTLES_S:
                answer = self.mind.answer(heard.popleft()["text"])
                if answer is not None and answered < MOST_ANSWERS:
                    answered += 1
                    sound = voice(answer)  # as loud as all that is said
                    self._play(np.asarray(sound * loud / np.sqrt(np.mean(sound**2)), np.float32))
                    print(answer, file=sys.stderr, flush=True)
                    until = self.now + PATIENCE_S
        return tones

    def _hear(self) -> Iterator[dict[str, Any]]:
        lines = self.said.read_text("utf-8").splitlines()
        for line in lines[self.read :]:
            yield json.loads(line)
        self.read = len(lines)

    def _play(self, sound: Sound) -> None:
        for at in range(0, len(sound), BLOCK):
            block = np.zeros(BLOCK, np.float32)
            part = sound[at : at + BLOCK]
            block[: len(part)] = part
            first = int(self.now * RATE) % max(1, len(self.noise) - BLOCK)
            sys.stdout.buffer.write(pcm(np.asarray(block + self.noise[first : first + BLOCK], np.float32)))
            sys.stdout.buffer.flush()
            sys.stdin.buffer.read(1)
            self.now += BLOCK / RATE


class Apart:
    """A microphone that hears a technician who works in a process of his own. Use it with ``with``.

    ``folder`` is where the tool plays to; what the technician speaks is kept there as sound files. ``words`` are
    the words of each utterance, and the appliance that he is at.
    """

    name = "technician"

    def __init__(
        self,
        folder: Path,
        utterances: Sequence[Sound],
        words: Sequence[tuple[str, str]],
        gold: Sequence[dict[str, Any]],
        noise: Sound,
        sheet: str,
    ) -> None:
        (folder / "script").mkdir(parents=True)
        names = []
        for n, sound in enumerate((noise, *utterances)):
            names.append(f"script/{n:02}.wav")
            (folder / names[-1]).write_bytes(wav(sound))
        script: dict[str, Any] = {
            "noise": names[0],
            "utterances": [(name, *told) for name, told in zip(names[1:], words, strict=True)],
            "gold": list(gold),
        }
        script["sheet"] = sheet
        (folder / "script.json").write_text(json.dumps(script), "utf-8")
        self._folder = folder
        self._answers = (folder / "answers.txt").open("w", encoding="utf-8")

    def __enter__(self) -> Apart:
        command = [sys.executable, "-m", "bench.technician", str(self._folder / "script.json"), str(self._folder)]
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._answers, bufsize=0
        )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                stream.close()
        self._process.wait(timeout=10)
        self._answers.close()

    def blocks(self) -> Iterator[bytes | None]:
        """Yield what the technician speaks, and let him go on when all is done about it."""
        sound, done = self._process.stdout, self._process.stdin
        assert sound is not None
        assert done is not None
        while len(block := _read(sound, 2 * BLOCK)) == 2 * BLOCK:
            yield block
            done.write(b".")

    @property
    def answers(self) -> list[str]:
        """What he answered."""
        return (self._folder / "answers.txt").read_text("utf-8").splitlines()

    @property
    def seconds(self) -> float:
        """How long the tool spoke."""
        lines = [json.loads(one) for one in (self._folder / "said.jsonl").read_text("utf-8").splitlines()]
        return float(sum(one["seconds"] for one in lines if one["what"] == "speech"))


def _read(stream: Any, count: int) -> bytes:
    data = b""
    while len(data) < count and (more := stream.read(count - len(data))):
        data += more
    return data


def main(arguments: Sequence[str]) -> int:
    """Play a script; see the head of this file."""
    script, folder = json.loads(Path(arguments[0]).read_text("utf-8")), Path(arguments[1])

    def sound(name: str) -> Sound:
        return np.concatenate([*samples(folder / name)])

    mind = Mind(script["gold"], load_sheet(script["sheet"])[0])
    utterances = deque((sound(name), text, place) for name, text, place in script["utterances"])
    try:
        _Person(utterances, sound(script["noise"]), mind, folder / "said.jsonl").work()
    except BrokenPipeError:
        return 1  # the other side is gone
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
