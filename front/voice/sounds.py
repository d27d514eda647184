"""What the tool sounds like: five tones that differ in rhythm, and speech by espeak-ng. All mono float32, 16 kHz."""

from __future__ import annotations

import shutil
import subprocess
import wave
from functools import lru_cache
from io import BytesIO
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from schemas.errors import BadInput

__all__ = ["RATE", "TONES", "Sound", "Tone", "decibels", "level_for", "speak", "tone"]

RATE = 16_000
Sound = NDArray[np.float32]
Tone = Literal["taken", "nothing kept", "question", "stop", "hearing lost"]

# Milliseconds of sound and pause in turn. The rhythm tells them apart, through ear defenders too.
TONES: dict[Tone, tuple[tuple[int, ...], float]] = {
    "taken": ((70,), 1320.0),
    "nothing kept": ((220, 120, 220), 440.0),
    "question": ((60, 60, 60, 60, 240), 990.0),
    "stop": ((90, 60) * 7 + (700,), 1180.0),
    "hearing lost": ((600, 150, 150, 150, 600), 520.0),
}
_FADE_S = 0.006
_SPEED = 165  # words a minute


def tone(name: Tone) -> Sound:
    """Return a tone at full level."""
    rhythm, hertz = TONES[name]
    parts = [_beep(ms / 1000, hertz) if n % 2 == 0 else _quiet(ms / 1000) for n, ms in enumerate(rhythm)]
    return np.concatenate(parts)


def level_for(noise_db: float | None) -> float:
    """Return the peak level, 0..1, to sound in noise of a power in dB of full scale; quiet rooms get quiet tones."""
    if noise_db is None:
        return 0.3
    return float(np.clip(10 ** ((noise_db + 30) / 20), 0.1, 0.9))


@lru_cache(maxsize=64)
def speak(text: str) -> Sound:
    """Return a text as espeak-ng speaks it, at full level, without the silence around it.

    Raises:
        BadInput: espeak-ng is not installed.
    """
    place = shutil.which("espeak-ng")
    if place is None:
        raise BadInput("Speaking needs espeak-ng; install Debian's package espeak-ng, or listen with --silent.")
    # "--": a text may begin with a dash, as an appliance's tag may.
    command = [place, "-v", "en-us", "-s", str(_SPEED), "--stdout", "--", text]
    done = subprocess.run(command, capture_output=True, check=True, timeout=20)

    with wave.open(BytesIO(_whole(done.stdout)), "rb") as file:
        rate = file.getframerate()
        sound = np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(np.float32) / 32768
    loud = np.flatnonzero(np.abs(sound) > 0.01)
    if not len(loud):
        return np.zeros(0, np.float32)
    sound = sound[loud[0] : loud[-1] + 1]
    at = np.arange(0, len(sound) - 1, rate / RATE)
    heard = np.interp(at, np.arange(len(sound)), sound)
    return np.asarray(heard / max(1e-6, float(np.abs(heard).max())), np.float32)


def _whole(data: bytes) -> bytes:
    """Return a WAV whose sizes are right: written to a pipe, espeak-ng cannot know them."""
    at = data.find(b"data")
    size = len(data) - at - 8
    return (
        data[:4]
        + (len(data) - 8).to_bytes(4, "little")
        + data[8 : at + 4]
        + size.to_bytes(4, "little")
        + data[at + 8 :]
    )


def _beep(seconds: float, hertz: float) -> Sound:
    at = np.arange(round(seconds * RATE)) / RATE
    sound = 0.8 * np.sin(2 * np.pi * hertz * at) + 0.2 * np.sin(4 * np.pi * hertz * at)
    edge = np.minimum(1.0, np.minimum(at, seconds - at) / _FADE_S)
    return np.asarray(sound * np.clip(edge, 0, 1), np.float32)


def _quiet(seconds: float) -> Sound:
    return np.zeros(round(seconds * RATE), np.float32)


def decibels(sound: Sound) -> float:
    """Return the mean power of a sound in decibels of full scale, -100 for silence."""
    return 10 * float(np.log10(np.mean(np.square(sound, dtype=np.float64)) + 1e-10)) if len(sound) else -100.0
