"""The bench's own sound: the same for a seed, and worn as a headset would wear it."""

from __future__ import annotations

import shutil
from itertools import islice

import numpy as np
import pytest

from bench.own_sound import HEADSETS, chatter, drop_outs, gated, negatives, positives, roaring, telephone
from capture.sound import RATE, Samples
from tests.sounds import tone

SPANS = [(0.5, 1.0), (2.0, 2.5)]
speaks = pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng speaks the sentences")


def _power(sound: Samples, low: float, high: float) -> float:
    spectrum = np.abs(np.fft.rfft(sound)) ** 2
    hertz = np.fft.rfftfreq(len(sound), 1 / RATE)
    return float(spectrum[(hertz >= low) & (hertz < high)].sum())


def test_a_narrow_line_keeps_the_voice_band_only() -> None:
    sound = tone(1.0, 100) + tone(1.0, 1000) + tone(1.0, 6000)
    worn = telephone(sound, ())
    assert len(worn) == len(sound)
    assert _power(worn, 900, 1100) == pytest.approx(_power(sound, 900, 1100), rel=0.2)
    assert _power(worn, 50, 200) < 0.01 * _power(sound, 50, 200)
    assert _power(worn, 5500, 6500) < 0.01 * _power(sound, 5500, 6500)


def test_drop_outs_take_two_percent_and_gates_the_first_moment() -> None:
    sound = np.ones(60 * RATE, np.float32)
    assert np.mean(drop_outs(sound, ()) == 0) == pytest.approx(0.02, abs=0.006)
    shut = gated(sound[: 3 * RATE], SPANS)
    assert np.flatnonzero(shut == 0)[0] == round(0.5 * RATE)
    assert np.sum(shut == 0) == pytest.approx(2 * 0.12 * RATE, abs=2)


@pytest.mark.parametrize("name", sorted(HEADSETS))
def test_what_a_headset_does_is_the_same_each_time(name: str) -> None:
    sound = roaring(0.02)
    assert np.array_equal(HEADSETS[name](sound, [(0.1, 1.0)]), HEADSETS[name](sound, [(0.1, 1.0)]))


@speaks
@pytest.mark.slow
def test_sentences_of_our_own_are_the_same_for_a_seed() -> None:
    first, again = (list(islice(negatives(4), 4)) for _ in range(2))
    assert [a.snr_db for a in first] == [None, 20.0, 10.0, 5.0]
    assert all(a.said.value.startswith("-") and ("minus" in a.said.text or "negative" in a.said.text) for a in first)
    assert all(np.array_equal(a.sound, b.sound) for a, b in zip(first, again, strict=True))
    (one,) = positives(1, 10.0)
    quiet = one.sound[: RATE // 2]
    assert 0 < np.sqrt(np.mean(quiet**2)) < np.sqrt(np.mean(one.sound**2))
    assert 6 * RATE < len(chatter(0.1)) < 12 * RATE
