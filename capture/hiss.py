"""Steady noise taken out of a stretch of speech, for a hearing of its own: words come out of a burner's roar, and some
are lost with it, so it is never the only one."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from capture.sound import RATE, Samples

__all__ = ["is_noisy", "without_hiss"]

_WINDOW, _HOP = 512, 128  # samples: 32 ms, 8 ms
_QUIET_S = 0.25
"""So much at either end is noise alone: less than what is left around a stretch of speech (capture/speech.py)."""
_NOISY_DB = 15.0
"""Speech less than so far above its noise is noisy."""
_OVER = 1.4
"""The noise is taken for so much stronger than its median, which lies below its mean."""
_FLOOR = 0.05
"""The share of the power that is left where there seems to be nothing but noise: holes sound like speech."""


def is_noisy(sound: Samples) -> bool:
    """Say whether the speech in a sound is little above the noise at its two ends."""
    power = np.square(sound, dtype=np.float64)
    count = round(_QUIET_S * RATE)
    noise = (np.mean(power[:count]) + np.mean(power[-count:])) / 2
    return bool(np.mean(power) - noise < noise * 10 ** (_NOISY_DB / 10))


def without_hiss(sound: Samples) -> Samples:
    """Return mono sound at 16 kHz without the noise that its two ends have in common with all of it.

    Spectral subtraction: S. F. Boll, Suppression of acoustic noise in speech using spectral subtraction, IEEE Trans.
    ASSP 27 (1979), from memory; the figures were chosen on clips of ``bench.stops``.
    """
    shape = np.hanning(_WINDOW + 1)[:-1]
    wide = np.pad(sound.astype(np.float64), _WINDOW)
    spectra = np.fft.rfft(shape * sliding_window_view(wide, _WINDOW)[::_HOP], axis=1)
    power = np.abs(spectra) ** 2
    first, count = _WINDOW // _HOP, round(_QUIET_S * RATE / _HOP)
    noise = _OVER * np.median(np.concatenate([power[first : first + count], power[-first - count : -first]]), axis=0)
    gain = np.sqrt(np.maximum(1 - noise / np.maximum(power, 1e-12), _FLOOR))
    gain = (np.roll(gain, 1, axis=0) + gain + np.roll(gain, -1, axis=0)) / 3
    frames = shape * np.fft.irfft(gain * spectra, axis=1)
    out, weight = np.zeros(len(wide)), np.full(len(wide), 1e-3)
    for n, frame in enumerate(frames):
        out[n * _HOP : n * _HOP + _WINDOW] += frame
        weight[n * _HOP : n * _HOP + _WINDOW] += shape**2
    return np.asarray((out / weight)[_WINDOW : _WINDOW + len(sound)], np.float32)
