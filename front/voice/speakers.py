"""Where tones and speech go: the machine's loudspeaker or headset, a folder of sound files, or nowhere."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import wave
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Protocol

import numpy as np

from front.voice.sounds import RATE, Sound
from schemas.errors import BadInput, StoreFailed

__all__ = ["FolderSpeakers", "NoSpeakers", "PlayerSpeakers", "Speakers", "find_speakers", "wav"]

_PLAYERS = (("aplay", "-q", "-"), ("paplay",), ("play", "-q", "-t", "wav", "-"))
_CARDS = Path("/proc/asound/cards")
_EVERYWHERE = "hearing lost"
"""What is played on every sound card: the usual one may be the headset that is gone."""


class Speakers(Protocol):
    """Something that sounds. ``audible``: somebody can hear it."""

    audible: bool

    def play(self, sound: Sound, at: float, what: str, text: str) -> None:
        """Begin to play mono sound; ``at`` is the second of the session, ``what`` a tone's name or ``speech``."""
        ...

    def stop(self, at: float) -> None:
        """Be silent at once."""
        ...


class NoSpeakers:
    """Nothing is to be heard; the screen shows the same."""

    audible = False

    def play(self, sound: Sound, at: float, what: str, text: str) -> None:
        """Do nothing."""

    def stop(self, at: float) -> None:
        """Do nothing."""


class PlayerSpeakers:
    """Plays through a program of the system (aplay, paplay or sox's play)."""

    audible = True

    def __init__(self, command: tuple[str, ...]) -> None:
        self._command = command
        self._playing: list[subprocess.Popen[bytes]] = []
        self._last: subprocess.Popen[bytes] | None = None

    @property
    def failed(self) -> bool:
        """Whether what was played last ended in an error: the headset or the sound card may be gone."""
        return self._last is not None and (self._last.poll() or 0) > 0

    def play(self, sound: Sound, at: float, what: str, text: str) -> None:
        """Begin to play; that hearing is lost, on every sound card."""
        self._playing = [one for one in self._playing if one.poll() is None]
        for command in (self._command, *(self._each_card() if what == _EVERYWHERE else ())):
            # A player reads as fast as it sounds: through a pipe it would keep us waiting for what does not fit in.
            with os.fdopen(os.memfd_create("sound"), "wb") as file:
                file.write(wav(sound))
                file.seek(0)
                self._playing.append(
                    subprocess.Popen(command, stdin=file, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
                )
            if command is self._command:
                self._last = self._playing[-1]

    def _each_card(self) -> Iterator[tuple[str, ...]]:
        """Yield a command for each sound card, where the player can be told one (aplay)."""
        if Path(self._command[0]).name == "aplay" and _CARDS.exists():
            for number in re.findall(r"^ *(\d+) \[", _CARDS.read_text("utf-8"), re.MULTILINE):
                yield (self._command[0], "-D", f"plughw:{number}", *self._command[1:])

    def stop(self, at: float) -> None:
        """Be silent at once."""
        for one in self._playing:
            one.terminate()
        self._playing = []


class FolderSpeakers:
    """Writes each sound as a WAV file named by its second, and a line about it to ``said.jsonl``.

    So another program can hear the tool, or a test read what it said and when.
    """

    audible = True

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
            (folder / "said.jsonl").touch()
        except OSError as error:
            raise StoreFailed(f"{folder} cannot be written: {(error.strerror or str(error)).lower()}.") from error
        self._count = 0

    def play(self, sound: Sound, at: float, what: str, text: str) -> None:
        """Write one sound."""
        name = f"{self._count:04d}.wav"
        self._count += 1
        (self._folder / name).write_bytes(wav(sound))
        line = {"at": round(at, 3), "seconds": round(len(sound) / RATE, 3), "what": what, "text": text, "file": name}
        self._write(line)

    def stop(self, at: float) -> None:
        """Note that what was playing was cut off."""
        self._write({"at": round(at, 3), "what": "stopped"})

    def _write(self, line: dict[str, object]) -> None:
        with (self._folder / "said.jsonl").open("a", encoding="utf-8") as file:
            file.write(json.dumps(line) + "\n")


def find_speakers(to: Path | None, *, silent: bool) -> Speakers:
    """Return the speakers wanted: a folder, none, or the system's.

    Raises:
        BadInput: there is no program to play with.
        StoreFailed: the folder cannot be written.
    """
    if silent:
        return NoSpeakers()
    if to is not None:
        return FolderSpeakers(to)
    for command in _PLAYERS:
        if shutil.which(command[0]):
            return PlayerSpeakers(command)
    raise BadInput("No program to play sound with; install alsa-utils (aplay), or listen with --silent.")


def wav(sound: Sound) -> bytes:
    """Return mono sound as a WAV file."""
    buffer = BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
    return buffer.getvalue()
