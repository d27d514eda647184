"""Where somebody speaks: stretches, pauses, noise and clipping."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest

from capture.sound import RATE
from capture.speech import LONGEST_S, breaks_off, stretches
from tests.sounds import Sound, roar, silence, spoken

PHRASES = ("High fire, C O two is nine point one.", "Stack is one twenty one.")


@pytest.fixture(scope="module")
def talk() -> Sound:
    """Two phrases with 1.2 s between them, 1 s before and after."""
    first, second = (spoken(text) for text in PHRASES)
    return np.concatenate([silence(1), first, silence(1.2), second, silence(1)])


def blocks(sound: Sound, size: int) -> Iterator[Sound]:
    return (sound[i : i + size] for i in range(0, len(sound), size))


def test_phrases_are_found_where_they_are_said(talk: Sound) -> None:
    found = list(stretches([talk]))
    first = len(spoken(PHRASES[0])) / RATE
    second = len(spoken(PHRASES[1])) / RATE
    assert [s.number for s in found] == [0, 1]
    assert [s.start for s in found] == pytest.approx([1, 2.2 + first], abs=0.2)
    assert [s.end for s in found] == pytest.approx([1 + first, 2.2 + first + second], abs=0.25)
    for stretch in found:
        at = round(stretch.sound_start * RATE)
        assert np.array_equal(stretch.sound, talk[at : at + len(stretch.sound)])
        assert stretch.sound_start < stretch.start
        assert stretch.sound_start + len(stretch.sound) / RATE > stretch.end


@pytest.mark.parametrize("size", [700, 4_001, 128_000])
def test_the_size_of_the_blocks_does_not_matter(talk: Sound, size: int) -> None:
    whole, pieces = list(stretches([talk])), list(stretches(blocks(talk, size)))
    assert [(s.number, s.start, s.end, s.clipped) for s in pieces] == [
        (s.number, s.start, s.end, s.clipped) for s in whole
    ]
    for a, b in zip(pieces, whole, strict=True):
        assert np.array_equal(a.sound, b.sound)


@pytest.mark.parametrize("snr_db", [20, 10, 5])
def test_speech_over_noise_is_measured(talk: Sound, snr_db: int) -> None:
    voice = talk[np.abs(talk) > 0]
    noise = roar(len(talk) / RATE)[: len(talk)]
    noise *= np.sqrt(np.mean(voice**2) / np.mean(noise**2)) / 10 ** (snr_db / 20)
    found = list(stretches([(talk + noise) * 0.5]))
    assert len(found) == 2
    for stretch in found:
        assert stretch.snr_db == pytest.approx(snr_db, abs=3)


def test_clipped_speech_says_so(talk: Sound) -> None:
    loud = np.clip(talk * 0.9 / np.abs(talk).max(), -1, 1).astype(np.float32)
    too_loud = np.clip(loud * 6, -1, 1).astype(np.float32)
    assert [s.clipped for s in stretches([loud])] == [False, False]
    assert [s.clipped for s in stretches([too_loud])] == [True, True]


@pytest.mark.parametrize("sound", [silence(30), roar(30), np.zeros(0, np.float32), roar(0.1)])
def test_silence_and_burner_noise_hold_no_speech(sound: Sound) -> None:
    assert list(stretches([sound])) == []


def test_one_short_word_is_found() -> None:
    word = spoken("nine", speed=220)
    assert len(word) < 0.45 * RATE
    assert len(list(stretches([np.concatenate([word, silence(0.2)])]))) == 1
    assert len(list(stretches([word]))) == 1


def test_talk_without_a_pause_is_cut_and_nothing_is_lost() -> None:
    breathless = spoken(" and ".join(["the boiler is running well today"] * 30), speed=200)
    assert len(breathless) > 45 * RATE
    found = list(stretches(blocks(breathless, 8 * RATE)))
    assert len(found) >= 2
    assert max(s.end - s.start for s in found) <= LONGEST_S
    assert all(len(s.sound) <= 30 * RATE for s in found)
    assert all(b.start - a.end < 0.1 for a, b in pairwise(found) if b.start - a.end < 0.7)
    assert sum(s.end - s.start for s in found) > 0.9 * len(breathless) / RATE


def test_a_line_that_breaks_off_is_told_from_a_pause() -> None:
    loud = roar(1.0).astype(np.float32)
    assert not breaks_off(loud)
    broken = loud.copy()
    broken[RATE // 2 : RATE // 2 + RATE // 20] = 0
    assert breaks_off(broken)
    assert not breaks_off(np.concatenate([silence(0.1), broken, silence(0.1)]).astype(np.float32))
