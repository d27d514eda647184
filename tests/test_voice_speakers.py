"""Where the tool sounds."""

from __future__ import annotations

from pathlib import Path

import pytest

from front.voice import speakers
from front.voice.sounds import tone


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
