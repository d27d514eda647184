"""A live session that loses its hearing, by the microphone, the disk or a fault of ours: it is told aloud."""

from __future__ import annotations

import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn

import numpy as np
import pytest

from capture.microphone import BLOCK, LOST_S, MUTED_S, lost_while_muted, pcm
from capture.sniff import identify
from front.voice import session
from front.voice.keeper import Keeper
from front.voice.session import Session
from front.voice.sounds import RATE
from front.voice.speakers import PlayerSpeakers
from jobs import disk
from jobs.book import job_of
from jobs.senses import Senses
from jobs.told import read_back
from schemas.errors import StoreFailed
from tests.sounds import Sound, roar, silence
from tests.test_listen_session import WORD, Ears, Lines, Room, boiler, listen, nothing_to_see, room

pytestmark = pytest.mark.slow


@dataclass
class Unplugged:
    """A headset whose cable is pulled for some seconds, and what is played meanwhile, with its moment."""

    name: str = "headset"
    audible: bool = True
    pulled: float = 0.0
    played: list[tuple[float, str, str]] = field(default_factory=list)

    def play(self, sound: Sound, at: float, what: str, text: str) -> None:
        self.played.append((time.monotonic(), what, text))

    def stop(self, at: float) -> None:
        return

    def blocks(self) -> Iterator[bytes | None]:
        sound = pcm(roar(0.5, level=0.01))
        for _ in range(2):
            yield from self._live(sound)
        self.pulled = time.monotonic()
        for seconds in (LOST_S, 1.0, 1.0):  # as DeviceMicrophone does
            time.sleep(seconds)
            yield None
        for _ in range(10):
            yield from self._live(sound)

    def _live(self, sound: bytes) -> Iterator[bytes]:
        for at in range(0, len(sound), 2 * BLOCK):
            time.sleep(BLOCK / RATE)
            yield sound[at : at + 2 * BLOCK]


def test_a_headset_that_is_unplugged_is_told_within_three_seconds_and_when_it_is_back(tmp_path: Path) -> None:
    place = Unplugged()
    with boiler(tmp_path) as store:
        senses = Senses(identify, Ears([]), nothing_to_see)
        Session(store, "job-1", senses, "Una Farrow", place, place, Lines()).run()
        filed = job_of(store, "job-1").filed
    (lost, back) = place.played
    assert (lost[1], lost[2]) == ("hearing lost", "Hearing lost: headset.")
    assert lost[0] - place.pulled < 3.0
    assert back[2] == "Hearing again."
    # The record keeps time: what could not be heard is silence in it.
    assert sum(one.seconds or 0.0 for one in filed) == pytest.approx(1.0 + 3.5 + 5.0, abs=1.0)


def test_a_full_disk_is_told_aloud_before_it_ends(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = room(1.0, WORD, 3.0)
    write, written = disk.write, 0

    def full(descriptor: int, data: bytes) -> None:
        nonlocal written
        written += len(data) if len(data) == 2 * BLOCK else 0
        if written > 3 * RATE:
            raise OSError(28, "No space left on device")
        write(descriptor, data)

    monkeypatch.setattr(disk, "write", full)
    with pytest.raises(StoreFailed, match="the disk is full"):
        listen(tmp_path, place, ["High fire."])
    assert place.played[-1][2].startswith("Hearing lost: ")


@dataclass
class Broken(Unplugged):
    """A microphone that is heard for a moment, and then gives nothing for ``stalls`` seconds, or fails."""

    stalls: float = 0.0
    fault: Exception | None = None

    def blocks(self) -> Iterator[bytes | None]:
        yield from self._live(pcm(roar(0.5, level=0.01)))
        self.pulled = time.monotonic()
        time.sleep(self.stalls)
        if self.fault is not None:
            raise self.fault
        yield from self._live(pcm(roar(5.0, level=0.01)))


def test_a_microphone_that_hangs_is_told_within_three_seconds_and_when_it_is_back(tmp_path: Path) -> None:
    place = Broken(stalls=3.2)
    with boiler(tmp_path) as store:
        Session(store, "job-1", Senses(identify, Ears([]), nothing_to_see), "Una Farrow", place, place, Lines()).run()
    (lost, back) = place.played
    assert (lost[1], lost[2]) == ("hearing lost", "Hearing lost: headset.")
    assert 1.0 < lost[0] - place.pulled < 3.0
    assert back[2] == "Hearing again."


@pytest.mark.parametrize("where", ["recorder", "recogniser"])
def test_a_fault_of_ours_is_told_aloud_and_is_not_told_once_more_by_the_keeper(tmp_path: Path, where: str) -> None:
    broken = where == "recorder"
    place: Broken | Room = Broken(fault=RuntimeError("a fault")) if broken else room(0.5, WORD, length=5.0)
    ears, told = Ears([]), list[bool]()  # ears that hear more than is in their script
    with boiler(tmp_path) as store:
        live = Session(
            store,
            "job-1",
            Senses(identify, ears, nothing_to_see),
            "Una Farrow",
            place,
            place,
            Lines(),
            patient=not broken,
            told=lambda: told.append(True),
        )
        with pytest.raises((RuntimeError, IndexError)):
            live.run()
    assert place.played[-1][1:] == ("hearing lost", "Hearing lost: a fault of this program.")
    assert told == [True]


@pytest.mark.parametrize("broken", ["voice", "player", "disk"])
def test_a_voice_or_player_that_fails_ends_no_listening_and_nothing_counts_as_read_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken: str
) -> None:
    def fails(*_: object) -> NoReturn:
        raise subprocess.TimeoutExpired("espeak-ng", 20) if broken == "voice" else OSError(28, "No space left")

    place, lines = room(1.0, WORD, length=10.0), Lines()
    speakers: Room | PlayerSpeakers = PlayerSpeakers(("false",)) if broken == "player" else place
    if broken == "voice":
        monkeypatch.setattr(session, "speak", fails)
    if broken == "disk":
        monkeypatch.setattr(Room, "play", fails)
    with boiler(tmp_path) as store:
        senses = Senses(identify, Ears(["High fire. CO is seventy-six."]), nothing_to_see)
        Session(store, "job-1", senses, "Una Farrow", place, speakers, lines, patient=True).run()
        job = job_of(store, "job-1")
        assert [(row.reading.value, row.how) for row in job.rows.values()] == [("76", "taken unasked")]
        assert read_back(store.entries("job-1"), job) == frozenset()
    assert [text.partition(";")[0] for kind, text in lines.seen if kind == "warning"] == [
        "Nothing can be heard of what is said here"
    ]


def test_sound_that_is_too_loud_for_the_microphone_is_warned_of_aloud_once(tmp_path: Path) -> None:
    loud = Room(np.concatenate([silence(1.0), np.clip(8.0 * roar(2.0), -1.0, 1.0), roar(6.0, level=0.001)]))
    heard = listen(tmp_path, loud, [""] * 5)
    assert [text for kind, text in heard.lines.seen if kind == "warning"] == ["Too loud for the microphone."]
    assert [text for kind, text in heard.lines.seen if kind == "said"] == ["Too loud for the microphone."]


def test_a_microphone_that_is_muted_again_is_warned_of_again(tmp_path: Path) -> None:
    class Muted(Room):
        def blocks(self) -> Iterator[bytes | None]:
            yield from [bytes(2 * BLOCK)] * round(7 * RATE / BLOCK)
            yield pcm(roar(0.5, level=0.01))
            yield from [bytes(2 * BLOCK)] * round(15 * RATE / BLOCK)

    heard = listen(tmp_path, Muted(silence(1.0)), [])
    assert [kind for kind, _ in heard.lines.seen] == ["warning"] * 2


def test_a_muted_microphone_is_told_as_a_sound_within_three_seconds_and_when_it_is_heard_again(tmp_path: Path) -> None:
    class Muted(Unplugged):
        def blocks(self) -> Iterator[bytes | None]:
            return lost_while_muted(self._muted())

        def _muted(self) -> Iterator[bytes | None]:
            yield from self._live(pcm(roar(0.5, level=0.01)))
            self.pulled = time.monotonic()
            yield from self._live(bytes(2 * round(3.2 * RATE)))
            yield from self._live(pcm(roar(5.0, level=0.01)))

    place = Muted()
    with boiler(tmp_path) as store:
        Session(store, "job-1", Senses(identify, Ears([]), nothing_to_see), "Una Farrow", place, place, Lines()).run()
    (lost, back) = place.played
    assert (lost[1], lost[2]) == ("hearing lost", "Hearing lost: headset.")
    assert 1.0 < lost[0] - place.pulled < 3.0
    assert back[2] == "Hearing again."


def test_a_mute_is_told_once_until_something_is_heard() -> None:
    quiet, loud = bytes(2 * BLOCK), b"\1\0" * BLOCK
    long = [quiet] * round(3 * MUTED_S * RATE / BLOCK)
    assert [b for b in lost_while_muted(iter([*long, loud, *long])) if b is None] == [None, None]
    short = [quiet] * round(0.9 * MUTED_S * RATE / BLOCK)
    assert None not in list(lost_while_muted(iter([*short, loud, *short])))


@pytest.mark.parametrize(("error", "told", "sounds"), [(IndexError, False, True), (StoreFailed, True, False)])
def test_the_keeper_sounds_unless_listening_ended_on_purpose_or_told_why(
    tmp_path: Path, error: type[Exception], told: bool, sounds: bool
) -> None:
    def fails() -> None:
        with Keeper(tmp_path / "out", silent=False) as keeper:
            keeper.beat()
            if told:
                keeper.told()
            raise error("a fault")

    with pytest.raises(error):
        fails()
    assert (tmp_path / "out" / "said.jsonl").exists() == sounds
    with Keeper(tmp_path / "well", silent=False) as keeper:
        keeper.beat()
    assert not (tmp_path / "well").exists()
