"""What the tool sounds like, and how its own voice is known in what the microphone hears."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from front.voice.echo import RINGS_S, Echo
from front.voice.sounds import RATE, TONES, level_for, speak, tone
from tests.sounds import roar
from tests.sounds import spoken as said_by


def test_the_five_tones_differ_in_rhythm() -> None:
    """Told apart by when they sound alone: pitch and loudness are left out of the comparison."""
    rhythms = {}
    for name in TONES:
        sound = np.abs(tone(name))
        # each 10 ms: sounding or not
        steps = sound[: len(sound) // 160 * 160].reshape(-1, 160).max(axis=1) > 0.1
        padded = np.zeros(200, bool)
        padded[: len(steps)] = steps[:200]
        rhythms[name] = padded
    assert len(rhythms) == 5
    for one, other in combinations(rhythms.values(), 2):
        assert np.sum(one != other) >= 20  # at least 200 ms in which one sounds and the other does not


def test_no_tone_is_another_one_at_another_speed() -> None:
    shapes = {}
    for name, (rhythm, _) in TONES.items():
        sounding = np.repeat(np.arange(len(rhythm)) % 2 == 0, rhythm)
        shapes[name] = sounding[np.linspace(0, len(sounding) - 1, 200).astype(int)]
    for (one, a), (other, b) in combinations(shapes.items(), 2):
        assert np.mean(a != b) > 0.1, (one, other)


def test_tones_get_louder_with_the_noise() -> None:
    levels = [level_for(noise) for noise in (-70.0, -50.0, -35.0, -25.0, -10.0)]
    assert levels == sorted(levels)
    assert 0 < levels[0] < levels[-1] < 1


def test_speech_is_the_words_without_silence_around() -> None:
    sound = speak("nine point three")
    assert 0.5 < len(sound) / RATE < 2.5
    assert np.abs(sound[: RATE // 20]).max() > 0.005
    assert len(speak("-a, C O two: what is it?")) > RATE  # an appliance's tag, no option of espeak-ng's


def test_the_own_voice_is_known_from_a_persons() -> None:
    own, person, noise = (
        speak("C O two, high fire, nine point three, right?"),
        said_by("no, nine point five"),
        roar(3, 0.05),
    )
    echo = Echo()
    assert echo.until is None
    echo.played(0.5 * own, 10.0, "C O two, high fire, nine point three, right?")
    back = noise.copy()[: 2 * RATE]
    back += 0.1 * own[RATE // 2 - 2000 :][: len(back)]  # a fifth as loud, an eighth of a second late
    assert echo.share(np.asarray(back, np.float32), 10.5) > 0.25
    mixed = noise.copy()
    mixed[: len(person)] += 0.5 * person[: len(mixed)]
    assert echo.share(np.asarray(mixed, np.float32), 10.5) < 0.2
    assert echo.share(np.asarray(noise, np.float32), 10.5) < 0.2
    assert echo.overlap(20.0, 21.0) == 0.0
    assert echo.until == pytest.approx(1 / 8 + RINGS_S, abs=0.005)
    assert echo.words(9.0, 10.1) == ("C O two, high fire, nine point three, right?",)
    assert echo.words(20.0, 21.0) == ()


def test_a_tone_is_no_voice() -> None:
    echo = Echo()
    echo.played(tone("taken"), 10.0)
    assert echo.overlap(10.0, 11.0, tones=False) == 0.0
    assert echo.overlap(10.0, 11.0) > 0.0
