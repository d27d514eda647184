"""Steady noise is known and taken out, and what stands above it stays."""

from __future__ import annotations

import numpy as np
import pytest

from capture.hiss import is_noisy, without_hiss
from tests.sounds import RATE, Sound, roar, silence, tone


def clip(noise: float) -> tuple[Sound, Sound]:
    """Return a tone of half a second between two quiets, and the same in noise of a level."""
    bare = np.concatenate([silence(0.4), tone(0.5, 800, 0.3), silence(0.4)])
    return bare, np.asarray(bare + roar(len(bare) / RATE, noise), np.float32)


@pytest.mark.parametrize(("noise", "noisy"), [(0.0, False), (0.003, False), (0.1, True), (0.3, True)])
def test_speech_that_is_little_above_the_noise_is_noisy(noise: float, noisy: bool) -> None:
    assert is_noisy(clip(noise)[1]) is noisy


def test_noise_is_taken_out_and_what_stands_above_it_stays() -> None:
    bare, noisy = clip(0.1)
    quieter = without_hiss(noisy)
    assert quieter.dtype == np.float32
    assert quieter.shape == noisy.shape
    quiet = slice(0, int(0.3 * RATE))
    assert np.mean(quieter[quiet] ** 2) < 0.35 * np.mean(noisy[quiet] ** 2)
    loud = slice(int(0.5 * RATE), int(0.8 * RATE))
    assert np.mean((quieter[loud] - bare[loud]) ** 2) < 0.5 * np.mean((noisy[loud] - bare[loud]) ** 2)


def test_sound_without_noise_stays_as_it_is() -> None:
    bare, _ = clip(0.0)
    assert np.allclose(without_hiss(bare), bare, atol=2e-3)
