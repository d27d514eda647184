"""Whether the microphone hears the tool itself: what was played, laid beside what came in."""

from __future__ import annotations

from collections import deque

import numpy as np

from front.voice.sounds import RATE, Sound

__all__ = ["ECHO", "Echo"]

ECHO = 0.22
"""From this likeness on, the microphone hears the tool itself."""
LATEST_S = 0.6
"""The longest way from here through loudspeaker, air and microphone."""
RINGS_S = 0.2
"""So long a room goes on sounding."""
KEPT_S = 40.0


class Echo:
    """Remembers what was played, and says how much of it is in a stretch of what was heard."""

    def __init__(self) -> None:
        self._played: deque[tuple[float, Sound, str]] = deque()
        self._delay: float | None = None

    @property
    def until(self) -> float | None:
        """Seconds that the tool is heard after it has spoken, as far as was measured: None if it never was heard."""
        return None if self._delay is None else min(LATEST_S, self._delay + RINGS_S)

    def played(self, sound: Sound, at: float, words: str = "") -> None:
        """Note that a sound began at a second of the session, and the words it speaks; a tone speaks none."""
        self._played.append((at, sound, words))
        while self._played and self._played[0][0] < at - KEPT_S:
            self._played.popleft()

    def stopped(self, at: float) -> None:
        """Note that whatever was playing was cut off."""
        cut = [(begun, sound[: max(0, round((at - begun) * RATE))], words) for begun, sound, words in self._played]
        self._played = deque(cut)

    def overlap(self, start: float, end: float, *, tones: bool = True, until: float = LATEST_S) -> float:
        """Return how many seconds of a stretch something was playing, or may still have been on its way.

        Without ``tones``: how many the tool spoke. ``until``: seconds that it is on its way.
        """
        return sum(_together(start, end, begun, sound, until) for begun, sound, words in self._played if tones or words)

    def words(self, start: float, end: float) -> tuple[str, ...]:
        """Return all that the tool spoke while a stretch was heard, also what was cut off before its end."""
        return tuple(words for begun, sound, words in self._played if words and _together(start, end, begun, sound))

    def share(self, heard: Sound, start: float) -> float:
        """Return how alike what was heard from ``start`` is to what was played, 0..1, at the delay where it is most so.

        The longest delay at which it was heard is remembered. Both are whitened first (differences of samples), since
        any two voices are alike in their low tones.
        """
        seconds = len(heard) / RATE
        reference = self._reference(start - LATEST_S, seconds + LATEST_S)
        a, b = np.diff(heard, 2), np.diff(reference, 2)
        if not len(a) or not np.any(b):
            return 0.0
        size = 1 << (len(a) + len(b)).bit_length()
        across = np.fft.irfft(np.fft.rfft(b, size) * np.conj(np.fft.rfft(a, size)), size)
        power = np.concatenate([[0.0], np.cumsum(np.square(b, dtype=np.float64))])
        lags = len(b) - len(a) + 1
        under = np.sqrt(np.maximum(power[len(a) : len(a) + lags] - power[:lags], 1e-9) * np.sum(np.square(a)) + 1e-12)
        likeness = np.abs(across[:lags]) / under
        best = int(np.argmax(likeness))
        if likeness[best] >= ECHO:
            self._delay = max(self._delay or 0.0, LATEST_S - best / RATE)
        return float(likeness[best])

    def _reference(self, start: float, seconds: float) -> Sound:
        out = np.zeros(round(seconds * RATE), np.float32)
        for begun, sound, _ in self._played:
            at = round((begun - start) * RATE)
            first, last = max(0, at), min(len(out), at + len(sound))
            if last > first:
                out[first:last] += sound[first - at : last - at]
        return out


def _together(start: float, end: float, begun: float, sound: Sound, until: float = LATEST_S) -> float:
    return max(0.0, min(end, begun + len(sound) / RATE + until) - max(start, begun))
