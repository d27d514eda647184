"""Where live sound comes from: a microphone by name, a sound file played in real time, or samples from a pipe.

All give blocks of mono 16-bit little-endian samples, 16,000 a second. ``sounddevice`` (and the PortAudio library
under it) is imported only where a real microphone is used.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO, Protocol

import numpy as np

from capture.sound import RATE, Samples, samples
from schemas.errors import BadInput

__all__ = [
    "BLOCK",
    "LOST_S",
    "MUTED_S",
    "DeviceMicrophone",
    "FileMicrophone",
    "Microphone",
    "PipeMicrophone",
    "lost_while_muted",
    "names",
    "pcm",
]

BLOCK = 512
"""Samples a block: 32 ms."""
LOST_S = 1.5
"""Seconds without a sample after which a microphone is lost."""
MUTED_S = 2.0
"""Seconds of nothing but zeros after which it is muted: a microphone that works is never so quiet."""


class Microphone(Protocol):
    """Something that is listened to."""

    name: str

    def blocks(self) -> Iterator[bytes | None]:
        """Yield the sound as it comes, and None while the microphone is lost; end when there will be no more."""
        ...


class FileMicrophone:
    """Plays a sound file as fast as it was spoken.

    Raises (when made):
        BadInput: it is no sound, or damaged.
    """

    def __init__(self, path: Path) -> None:
        if not path.is_file():
            raise BadInput(f"There is no file {path}; name a recording.")
        self.name = path.name
        self._sound = np.concatenate([*samples(path), np.zeros(0, np.float32)])

    def blocks(self) -> Iterator[bytes | None]:
        """Yield the file, then a second of silence in which the last utterance can end."""
        data = pcm(np.concatenate([self._sound, np.zeros(RATE, np.float32)]))
        begun = time.monotonic()
        for at in range(0, len(data), 2 * BLOCK):
            block = data[at : at + 2 * BLOCK]
            due = begun + (at + len(block)) / 2 / RATE
            time.sleep(max(0.0, due - time.monotonic()))
            yield block


class PipeMicrophone:
    """Reads samples from a stream that another program writes as fast as they are spoken."""

    def __init__(self, stream: BinaryIO, name: str = "standard input") -> None:
        self.name = name
        self._stream = stream

    def blocks(self) -> Iterator[bytes | None]:
        """Yield what comes until the stream ends."""
        while block := self._stream.read(2 * BLOCK):
            yield block[: len(block) // 2 * 2]


class DeviceMicrophone:
    """A microphone of this machine, by a part of its name; the system's own choice where none is given.

    Unplugged, it is looked for again every second.

    Raises (when made):
        BadInput: sounddevice or PortAudio is missing, there is no such microphone, or it does not give such samples.
    """

    def __init__(self, wanted: str | None = None) -> None:
        self._wanted = wanted
        number, self.name = _find(wanted)
        try:
            _sounddevice().check_input_settings(device=number, channels=1, dtype="int16", samplerate=RATE)
        except Exception as error:  # PortAudio's one kind of error
            raise BadInput(
                f"{self.name[:1].upper()}{self.name[1:]} cannot be listened to at {RATE:,} samples a second ({error}); "
                "choose another with --microphone."
            ) from error

    def blocks(self) -> Iterator[bytes | None]:
        """Yield blocks for ever; None about every second while the microphone is away, and when it is muted."""
        return lost_while_muted(self._blocks())

    def _blocks(self) -> Iterator[bytes | None]:
        while True:
            waiting: queue.Queue[bytes] = queue.Queue()
            try:
                stream = self._open(waiting)
            except Exception:  # PortAudio has one kind of error for all that can be wrong with a device
                time.sleep(1.0)
                yield None
                continue
            try:
                while True:
                    yield waiting.get(timeout=LOST_S)
            except queue.Empty:
                yield None
            finally:
                stream.close(ignore_errors=True)

    def _open(self, waiting: queue.Queue[bytes]) -> Any:
        sounddevice = _sounddevice()
        # PortAudio counts the devices once, when it starts: begin anew, so that one that was plugged in again is there.
        sounddevice._terminate()
        sounddevice._initialize()

        def heard(data: Any, frames: int, when: Any, status: Any) -> None:
            waiting.put(bytes(data))

        stream = sounddevice.RawInputStream(
            samplerate=RATE, blocksize=BLOCK, device=_find(self._wanted)[0], channels=1, dtype="int16", callback=heard
        )
        stream.start()
        return stream


def lost_while_muted(blocks: Iterator[bytes | None]) -> Iterator[bytes | None]:
    """Yield the blocks, and once None, as for a microphone that is lost, where they are nothing but zeros so long."""
    muted = 0.0
    for block in blocks:
        yield block
        before = muted
        muted = 0.0 if block is None or any(block) else muted + len(block) / 2 / RATE
        if before < MUTED_S <= muted:
            yield None


def names() -> tuple[str, ...]:
    """Return the names of the microphones of this machine.

    Raises:
        BadInput: sounddevice or PortAudio is missing, or there is no microphone.
    """
    return tuple(name for _, name in _devices())


def pcm(sound: Samples) -> bytes:
    """Return samples in -1..1 as 16-bit little-endian."""
    return bytes((np.clip(sound, -1.0, 1.0) * 32767).astype("<i2").tobytes())


def _find(wanted: str | None) -> tuple[int | None, str]:
    devices = _devices()
    if wanted is None:
        return None, "the system's microphone"
    for number, name in devices:
        if wanted.casefold() in name.casefold():
            return number, name
    raise BadInput(f"There is no microphone {wanted!r}; there are: {', '.join(name for _, name in devices)}.")


def _devices() -> list[tuple[int, str]]:
    found = enumerate(_sounddevice().query_devices())
    devices = [(number, str(one["name"])) for number, one in found if one["max_input_channels"] > 0]
    if not devices:
        raise BadInput("This machine has no microphone; plug one in, or give a recording with --from.")
    return devices


def _sounddevice() -> Any:
    try:
        import sounddevice
    except (ImportError, OSError) as error:  # OSError: the Python package is there, the library under it is not
        raise BadInput(
            "A microphone needs the Python package sounddevice and Debian's libportaudio2; install both, or give a "
            "recording with --from."
        ) from error
    return sounddevice
