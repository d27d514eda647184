"""Where the tool sounds."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from front.voice import speakers
from front.voice.sounds import RATE, Sound, tone


def test_lost_hearing_is_played_on_every_sound_card_and_all_else_on_the_usual_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cards = tmp_path / "cards"
    cards.write_text(
        " 0 [Headset        ]: USB-Audio - Headset\n                      Some maker\n 1 [PCH            ]: HDA\n"
    )
    player = tmp_path / "aplay"
    player.write_text(f'#!/bin/sh\ncat > /dev/null\necho "$@" >> {tmp_path}/calls\n')
    player.chmod(0o755)
    monkeypatch.setattr(speakers, "_CARDS", cards)
    out = speakers.PlayerSpeakers((str(player), "-q", "-"))
    for name in ("taken", "hearing lost"):
        out.play(tone("taken"), 0.0, name, name)
    for one in out._playing:
        one.wait(timeout=10)
    calls = (tmp_path / "calls").read_text().split("\n")[:-1]
    assert sorted(calls) == sorted(["-q -", "-q -", "-D plughw:0 -q -", "-D plughw:1 -q -"])


def test_who_plays_slowly_keeps_nobody_waiting_and_is_silent_at_once(tmp_path: Path) -> None:
    """A player takes samples as fast as they sound; ten seconds of them are more than a pipe holds."""
    player, fed = tmp_path / "player", tmp_path / "fed"
    player.write_text(f"#!/bin/sh\nsleep 0.15\ncat > {fed}\nexec sleep 60\n")
    player.chmod(0o755)
    sound: Sound = np.zeros(10 * RATE, np.float32)
    out, begun = speakers.PlayerSpeakers((str(player),)), time.monotonic()
    out.play(sound, 0.0, "speech", "long")
    assert not fed.exists()
    (process,) = out._playing
    while not fed.exists() or fed.stat().st_size < len(speakers.wav(sound)):
        assert time.monotonic() - begun < 10
        time.sleep(0.01)
    assert fed.read_bytes() == speakers.wav(sound)
    out.stop(1.0)
    assert process.wait(timeout=5) != 0


def test_a_player_that_ends_in_an_error_has_failed_and_one_that_was_stopped_has_not() -> None:
    for command, failed in ((("false",), True), (("true",), False), (("sleep", "60"), False)):
        out = speakers.PlayerSpeakers(command)
        assert not out.failed
        out.play(tone("taken"), 0.0, "speech", "long")
        (process,) = out._playing
        if command[0] == "sleep":
            out.stop(1.0)
        process.wait(timeout=10)
        assert out.failed == failed
