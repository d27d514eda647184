"""Where somebody speaks: stretches of speech between pauses, found as the sound comes in.

The voice detector is Silero's, from faster-whisper's wheel, run here with its state kept from block to block, so that
an hour needs no more memory than a minute and a microphone can be listened to in the same way as a file.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from capture.sound import RATE, Samples

__all__ = ["Detector", "Stretch", "breaks_off", "stretches"]

_WINDOW = 512  # samples a step of the detector, 32 ms
_CONTEXT = 64  # samples before a window that the detector sees with it

SPEECH, SILENCE = 0.5, 0.35
"""Probability from which on speech begins, and below which it may have ended."""
PAUSE_S = 0.7
"""Silence that ends a stretch: longer than people pause before a number, shorter than between two sentences."""
SHORTEST_S = 0.09
LONGEST_S = 27.0
"""The recogniser sees 30 s with what is put around a stretch."""
PAD_S = 0.3
GAP_S = 0.015
"""Nothing at all for so long, in sound that has noise around it, is a line that broke off."""
NOISE_S = 8.0
"""How much of the sound between stretches is remembered to know the noise."""


@dataclass(frozen=True)
class Stretch:
    """One stretch of speech with a little of the sound around it.

    ``start`` and ``end`` are the seconds of the speech itself; ``sound`` begins at second ``sound_start``. ``snr_db``
    is speech over noise in decibels, None where no noise could be heard beside the speech; ``broken``: the line broke
    off in it.
    """

    number: int
    start: float
    end: float
    sound_start: float
    sound: Samples
    snr_db: float | None
    clipped: bool
    broken: bool


class Detector:
    """Silero's probability of speech for each window, with its state kept."""

    def __init__(self) -> None:
        from faster_whisper.vad import get_vad_model

        self._session: Any = get_vad_model().session
        self._h = np.zeros((1, 1, 128), np.float32)
        self._c = np.zeros((1, 1, 128), np.float32)
        self._context = np.zeros(_CONTEXT, np.float32)

    def __call__(self, windows: Samples) -> Samples:
        before = np.vstack([self._context, windows[:-1, -_CONTEXT:]])
        self._context = windows[-1, -_CONTEXT:]
        speech, self._h, self._c = self._session.run(
            None, {"input": np.hstack([before, windows]), "h": self._h, "c": self._c}
        )
        return np.asarray(speech, np.float32).reshape(-1)


@dataclass
class _Open:
    """A stretch that has begun: its first window, and the windows heard so far with their probabilities."""

    first: int
    last_speech: int
    chances: list[float] = field(default_factory=list)


def stretches(blocks: Iterable[Samples]) -> Iterator[Stretch]:
    """Yield the stretches of speech in mono float32 sound at 16 kHz, in order, each as soon as its pause is over.

    A stretch longer than 27 s is cut at the quietest place of its second half. Deterministic, and no longer in memory
    than one stretch.
    """
    return _Endpointer().run(blocks)


class _Endpointer:
    def __init__(self) -> None:
        self._detect = Detector()
        self._kept = np.zeros((0, _WINDOW), np.float32)
        self._kept_from = 0  # the number of the first kept window
        self._open: _Open | None = None
        self._noise: deque[float] = deque(maxlen=int(NOISE_S * RATE / _WINDOW))
        self._count = 0

    def run(self, blocks: Iterable[Samples]) -> Iterator[Stretch]:
        rest = np.zeros(0, np.float32)
        for block in blocks:
            sound = np.concatenate([rest, block])
            whole = len(sound) - len(sound) % _WINDOW
            rest = sound[whole:]
            if whole:
                yield from self._take(sound[:whole].reshape(-1, _WINDOW))
        # a second of silence lets the detector see the end of a word that the recording cuts off
        tail = np.concatenate([rest, np.zeros(RATE, np.float32)])
        yield from self._take(tail[: len(tail) - len(tail) % _WINDOW].reshape(-1, _WINDOW))
        if self._open:
            yield self._close(self._open, self._open.last_speech)

    def _take(self, windows: Samples) -> Iterator[Stretch]:
        number = self._kept_from + len(self._kept)
        self._kept = np.concatenate([self._kept, windows])
        for chance in self._detect(windows).tolist():
            yield from self._step(number, chance)
            number += 1
        keep_from = (self._open.first if self._open else number) - _windows(PAD_S) - 1
        if keep_from > self._kept_from:
            self._kept = self._kept[keep_from - self._kept_from :].copy()
            self._kept_from = keep_from

    def _step(self, number: int, chance: float) -> Iterator[Stretch]:
        if self._open is None:
            if chance >= SPEECH:
                self._open = _Open(number, number, [chance])
            else:
                self._noise.append(_power(self._window(number)))
            return
        self._open.chances.append(chance)
        if chance >= SPEECH or (chance >= SILENCE and self._open.last_speech == number - 1):
            self._open.last_speech = number
        if number - self._open.last_speech >= _windows(PAUSE_S):
            ended, self._open = self._open, None
            if ended.last_speech - ended.first + 1 >= _windows(SHORTEST_S):
                yield self._close(ended, ended.last_speech)
            for quiet in range(ended.last_speech + 4, number + 1):
                self._noise.append(_power(self._window(quiet)))
        elif number - self._open.first >= _windows(LONGEST_S):
            yield self._cut(self._open)

    def _cut(self, long: _Open) -> Stretch:
        half = len(long.chances) // 2
        at = half + int(np.argmin(long.chances[half:]))
        stretch = self._close(long, long.first + at - 1)
        self._open = _Open(long.first + at, max(long.last_speech, long.first + at), long.chances[at:])
        return stretch

    def _close(self, ended: _Open, last: int) -> Stretch:
        pad = _windows(PAD_S)
        first = max(ended.first - pad, self._kept_from)
        sound = self._kept[first - self._kept_from : last + 1 + pad - self._kept_from].reshape(-1)
        spoken = self._kept[ended.first - self._kept_from : last + 1 - self._kept_from]
        chances = np.array(ended.chances[: len(spoken)])
        stretch = Stretch(
            number=self._count,
            start=round(ended.first * _WINDOW / RATE, 2),
            end=round((last + 1) * _WINDOW / RATE, 2),
            sound_start=first * _WINDOW / RATE,
            sound=sound,
            snr_db=_snr_db(spoken[chances >= SPEECH], list(self._noise)),
            clipped=bool(np.mean(np.abs(spoken) >= 0.98) > 0.001),
            broken=breaks_off(sound),
        )
        self._count += 1
        return stretch

    def _window(self, number: int) -> Samples:
        return np.asarray(self._kept[number - self._kept_from])


def breaks_off(sound: Samples) -> bool:
    """Say whether a line broke off in a sound: gaps of nothing at all.

    Where there is nothing at all around the speech either, it comes from a synthesiser or a gate, and says nothing.
    """
    there = np.flatnonzero(np.abs(sound) > 1e-4)
    if len(there) < 2 or max(there[0], len(sound) - 1 - there[-1]) > GAP_S * RATE:
        return False
    return bool(np.diff(there).max() > GAP_S * RATE)


def _windows(seconds: float) -> int:
    return round(seconds * RATE / _WINDOW)


def _power(window: Samples) -> float:
    return float(np.mean(np.square(window, dtype=np.float64)))


def _snr_db(spoken: Samples, noise: list[float]) -> float | None:
    """Return the power of the speech alone over the power of the noise, in decibels between -10 and 60."""
    if len(noise) < 4 or not len(spoken):
        return None
    floor = float(np.median(noise)) + 1e-10
    speech = float(np.mean(np.square(spoken, dtype=np.float64))) - floor
    return round(float(np.clip(10 * np.log10(max(speech, 1e-12) / floor), -10.0, 60.0)), 1)
