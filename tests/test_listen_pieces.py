"""Sound to pieces, pieces to the disk: cut without a gap, and a kill loses nothing that was written."""

from __future__ import annotations

import subprocess
import sys
import wave
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from capture import microphone
from capture.endpoint import WINDOW, Endpointer, Mark, Piece
from capture.microphone import BLOCK, DeviceMicrophone, FileMicrophone, PipeMicrophone, names, pcm
from capture.sniff import identify
from capture.sound import RATE, samples
from capture.speech import stretches
from jobs import disk
from jobs.add import Named
from jobs.book import job_of, new_job
from jobs.fold import Job
from jobs.journal import Draft, EvidenceAdded
from jobs.spool import SYNC_S, Spool, take_up
from jobs.store import Store
from schemas.errors import BadInput, StoreFailed
from schemas.evidence import Evidence
from tests.sounds import Sound, roar, silence, spoken, write

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[1]
BEGUN = datetime(2026, 3, 4, 12, 0, 0, 250_000, tzinfo=UTC)


@pytest.fixture(scope="module")
def talk() -> Sound:
    """Three phrases in a burner's noise, with pauses of 0.4, 1.2 and 60 s: the first is inside an utterance."""
    parts = [silence(1), spoken("The pressure"), silence(0.4), spoken("is seven point two inches"), silence(1.2)]
    parts += [spoken("Thank you"), silence(60), spoken("And the fan is at forty nine eighty"), silence(1)]
    sound = np.concatenate(parts)
    return np.asarray(sound + roar(len(sound) / RATE, level=0.003)[: len(sound)], np.float32)


def marks(sound: Sound, block: int = BLOCK) -> list[Mark]:
    endpointer = Endpointer()
    found = [mark for at in range(0, len(sound), block) for mark in endpointer.take(sound[at : at + block])]
    return [*found, *endpointer.finish()]


def pieces(found: list[Mark]) -> list[Piece]:
    return [mark.piece for mark in found if mark.kind == "piece" and mark.piece is not None]


def test_every_sample_is_in_exactly_one_piece(talk: Sound) -> None:
    cut = pieces(marks(talk))
    assert (cut[0].first, cut[-1].last) == (0, len(talk))
    assert all(one.last == other.first for one, other in pairwise(cut))
    assert all(one.first % WINDOW == 0 for one in cut)


def test_an_utterance_is_one_piece_with_quiet_before_it_and_long_quiet_is_by_itself(talk: Sound) -> None:
    spoken_in = [one for one in pieces(marks(talk)) if one.speech is not None]
    assert len(spoken_in) == 3
    assert all(one.seconds < 15 for one in spoken_in)
    assert spoken_in[-1].speech is not None
    assert 2.5 <= (spoken_in[-1].speech[0] - spoken_in[-1].first) / RATE <= 3.5
    assert [one for one in pieces(marks(talk)) if one.speech is None]


@pytest.mark.parametrize("block", [160, 512, 3_000, 50_000])
def test_how_the_sound_is_blocked_makes_no_difference(talk: Sound, block: int) -> None:
    sound = talk[: 8 * RATE]
    assert marks(sound, block) == marks(sound)


def test_what_may_be_the_piece_is_the_piece_unless_more_comes(talk: Sound) -> None:
    found = marks(talk)
    for n, mark in enumerate(found):
        if mark.kind == "may end":
            after = found[n + 1]
            assert after.kind in ("piece", "goes on")
            assert after.kind == "goes on" or after.piece == mark.piece
    assert [mark.kind for mark in found].count("goes on") == 1  # the pause inside the first utterance


def test_the_end_is_decided_two_thirds_of_a_second_after_the_last_word(talk: Sound) -> None:
    for mark in marks(talk)[:-1]:
        if mark.kind == "piece" and mark.piece is not None and mark.piece.speech is not None:
            assert 0.6 <= (mark.at - mark.piece.speech[1]) / RATE <= 0.7


def test_talk_without_a_pause_is_cut_before_the_recogniser_runs_out() -> None:
    phrase = spoken("high fire carbon dioxide nine point three and oxygen four point four and the flue is warm and")
    sound = np.tile(phrase, 12)[: 50 * RATE]
    cut = pieces(marks(sound))
    assert len(cut) >= 2
    assert all(one.speech is None or (one.speech[1] - one.speech[0]) / RATE <= 23 for one in cut)


def test_a_piece_by_itself_holds_the_same_speech(talk: Sound) -> None:
    for one in pieces(marks(talk)):
        found = list(stretches([talk[one.first : one.last]]))
        if one.speech is None:
            assert found == []
        else:
            assert len(found) == 1
            assert found[0].start == pytest.approx((one.speech[0] - one.first) / RATE, abs=0.35)
            assert found[0].end == pytest.approx((one.speech[1] - one.first) / RATE, abs=0.35)


def test_cut_ends_an_utterance_at_once(talk: Sound) -> None:
    endpointer = Endpointer()
    list(endpointer.take(talk[: 2 * RATE]))
    assert endpointer.speaking
    (mark,) = endpointer.cut()
    assert mark.piece is not None
    assert mark.piece.last == 2 * RATE // WINDOW * WINDOW
    assert not endpointer.speaking


def test_of_a_click_its_end_is_told_and_no_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    endpointer = Endpointer()
    chances = np.zeros(60, np.float32)
    chances[20:22] = 0.9  # 64 ms
    monkeypatch.setattr(endpointer, "_detect", lambda windows: chances[: len(windows)])
    found = list(endpointer.take(silence(60 * WINDOW / RATE)))
    assert [mark.kind for mark in found] == ["began", "nothing"]
    assert not endpointer.speaking


# -- microphones -------------------------------------------------------------------------------------------------------


def test_a_file_is_played_as_fast_as_it_was_spoken(tmp_path: Path) -> None:
    import time

    sound = roar(0.5, 0.1)
    begun = time.monotonic()
    played = b"".join(one for one in FileMicrophone(write(tmp_path / "a.wav", sound)).blocks() if one)
    assert 1.4 <= time.monotonic() - begun <= 3.0  # half a second and one of silence
    heard = np.frombuffer(played, "<i2") / 32768
    assert np.abs(heard[: len(sound)] - sound).max() < 2e-4


def test_a_pipe_is_read_to_its_end() -> None:
    data = pcm(roar(0.3))
    assert b"".join(one for one in PipeMicrophone(BytesIO(data + b"\1")).blocks() if one) == data


def test_what_is_no_recording_is_refused_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="There is no file"):
        FileMicrophone(tmp_path / "none.wav")
    (tmp_path / "text.wav").write_text("not a sound")
    with pytest.raises(BadInput, match="not a sound file"):
        FileMicrophone(tmp_path / "text.wav")


def test_without_sounddevice_a_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "sounddevice", None)
    with pytest.raises(BadInput, match="libportaudio2"):
        DeviceMicrophone()


class Devices:
    """A double for sounddevice: its devices, those that refuse, and blocks that each opened stream gives."""

    def __init__(self, *names: str, refuses: tuple[int | None, ...] = ()) -> None:
        self.names, self.refuses, self.opened = names, refuses, list[int | None]()

    def query_devices(self) -> list[dict[str, object]]:
        return [{"name": name, "max_input_channels": 0 if "out" in name else 1} for name in self.names]

    def check_input_settings(self, *, device: int | None, **_: object) -> None:
        if device in self.refuses:
            raise RuntimeError("Invalid sample rate")

    def _terminate(self) -> None: ...

    def _initialize(self) -> None: ...

    def RawInputStream(self, *, device: int | None, callback: Callable[..., None], **_: object) -> Devices:
        self.opened.append(device)
        callback(b"\1\0" * BLOCK, BLOCK, None, None)
        return self

    def start(self) -> None: ...

    def close(self, *, ignore_errors: bool) -> None: ...


def test_a_microphone_is_chosen_by_a_part_of_its_name_and_one_that_cannot_be_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    devices = Devices("Loudspeaker out", "Built-in", "Headset Mono", refuses=(1,))
    monkeypatch.setitem(sys.modules, "sounddevice", devices)
    assert names() == ("Built-in", "Headset Mono")
    chosen = DeviceMicrophone("headset")
    assert (chosen.name, next(chosen.blocks()), devices.opened) == ("Headset Mono", b"\1\0" * BLOCK, [2])
    with pytest.raises(BadInput, match="no microphone 'van'; there are: Built-in, Headset Mono"):
        DeviceMicrophone("van")
    with pytest.raises(BadInput, match=r"Built-in cannot be listened to .* \(Invalid sample rate\); choose another"):
        DeviceMicrophone("built")
    monkeypatch.setitem(sys.modules, "sounddevice", Devices("Loudspeaker out"))
    for find in (names, DeviceMicrophone):
        with pytest.raises(BadInput, match="This machine has no microphone"):
            find()


def test_a_microphone_that_was_unplugged_is_lost_and_found_again(monkeypatch: pytest.MonkeyPatch) -> None:
    devices, naps = Devices("Headset"), list[float]()
    monkeypatch.setitem(sys.modules, "sounddevice", devices)
    monkeypatch.setattr(microphone, "LOST_S", 0.01)
    monkeypatch.setattr("capture.microphone.time.sleep", naps.append)
    blocks = DeviceMicrophone("headset").blocks()
    assert [next(blocks), next(blocks)] == [b"\1\0" * BLOCK, None]  # no more came
    devices.names = ()
    assert [next(blocks), next(blocks), naps] == [None, None, [1.0, 1.0]]
    devices.names = ("Built-in", "Headset")
    assert (next(blocks), devices.opened) == (b"\1\0" * BLOCK, [0, 1])


# -- the spool ---------------------------------------------------------------------------------------------------------


def samples_of(data: bytes) -> bytes:
    with wave.open(BytesIO(data), "rb") as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE)
        return file.readframes(file.getnframes())


def test_a_piece_is_a_wav_that_tells_its_own_time(tmp_path: Path) -> None:
    sound = pcm(roar(3))
    spool = Spool(tmp_path, "job-1", BEGUN)
    spool.write(sound)
    data = spool.wav(RATE, 2 * RATE)
    assert samples_of(data) == sound[2 * RATE : 4 * RATE]
    path = tmp_path / "piece.wav"
    path.write_bytes(data)
    media = identify(path)
    assert (media.kind, media.clock, media.seconds) == ("sound", "container", 1.0)
    assert media.at == BEGUN + timedelta(seconds=1)
    assert np.concatenate([*samples(path)]) == pytest.approx(np.frombuffer(sound, "<i2")[RATE : 2 * RATE] / 32768)


def test_sound_is_durable_within_a_quarter_of_a_second(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spool = Spool(tmp_path, "job-1", BEGUN)
    written = durable = longest = 0
    fsync = disk.fsync

    def noted(descriptor: int) -> None:
        nonlocal durable
        fsync(descriptor)
        durable = written

    monkeypatch.setattr(disk, "fsync", noted)
    for block in range(100):
        written += 2 * BLOCK
        spool.write(pcm(roar(BLOCK / RATE, seed=block)))
        longest = max(longest, written - durable)
    assert longest / 2 / RATE <= SYNC_S


def test_a_disk_that_is_full_is_told_and_what_was_written_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spool = Spool(tmp_path, "job-1", BEGUN)
    spool.write(pcm(roar(1)))

    def full(descriptor: int, data: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(disk, "write", full)
    with pytest.raises(StoreFailed, match="the disk is full"):
        spool.write(pcm(roar(1)))
    assert len(samples_of(spool.wav(0, RATE))) == 2 * RATE


def test_one_process_listens_to_a_job_at_a_time(tmp_path: Path) -> None:
    spool = Spool(tmp_path, "job-1", BEGUN)
    with pytest.raises(BlockingIOError):
        Spool(tmp_path, "job-1", BEGUN)
    Spool(tmp_path, "job-2", BEGUN)
    assert spool.samples == 0


KILLED = """
import os, sys
from datetime import datetime
from pathlib import Path
from jobs.spool import Spool
spool = Spool(Path(sys.argv[1]), "job-1", datetime.fromisoformat(sys.argv[2]))
spool.write(Path(sys.argv[3]).read_bytes())
os._exit(9)
"""


def test_what_a_killed_session_left_is_filed_once_and_then_the_spool_is_gone(tmp_path: Path) -> None:
    sound = pcm(roar(4))
    (tmp_path / "sound").write_bytes(sound + b"\1")  # the last sample was cut in two
    with Store(tmp_path / "store") as store:
        job = new_job(store, sheet="gas-boiler-start-up", site="s", technician="t", units="us", number="job-1")
        arguments = [str(store.home), BEGUN.isoformat(), str(tmp_path / "sound")]
        subprocess.run([sys.executable, "-c", KILLED, *arguments], cwd=ROOT, check=False)
        filed: list[bytes] = []

        def add(left: Sequence[Named]) -> Job:
            for one in left:
                filed.append(samples_of(one.path.read_bytes()))
                media = identify(one.path)
                sha256, size = store.evidence.keep_file(one.path)
                evidence = Evidence(
                    sha256=sha256, kind="sound", media_type="audio/wav", name=one.name, size=size, at=media.at
                )
                store.append("job-1", [Draft(EvidenceAdded(evidence=evidence, seconds=media.seconds))])
            return job_of(store, "job-1")

        job = take_up(store.home, job, add)
        assert filed == [sound]
        assert [one.at for one in job.filed] == [BEGUN]
        assert take_up(store.home, job, add) is job
        assert [one.name for one in (store.home / "listening" / "job-1").iterdir()] == ["lock"]
