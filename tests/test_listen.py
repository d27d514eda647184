"""``sayback listen`` on real sound with the real recogniser: readings, questions, answers, kills, bad input."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from front.voice.session import Session
from jobs.senses import senses
from jobs.spool import Spool
from jobs.store import Store
from tests.conftest import Command
from tests.sounds import RATE, Sound, roar, silence, spoken, write
from tests.test_listen_session import Lines, room

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[1]
NEW = ("new", "--site", "Brackley Wharf Bakehouse", "--technician", "Una Farrow", "--number", "t1")


def talk(*parts: str | float, noise: float = 0.003) -> Sound:
    """Phrases and pauses in seconds, in a little noise."""
    sounds = [silence(part) if isinstance(part, float) else 0.6 * spoken(part, speed=140) for part in parts]
    sound = np.concatenate(sounds)
    return np.asarray(sound + roar(len(sound) / RATE, level=noise)[: len(sound)], np.float32)


def said(folder: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (folder / "said.jsonl").read_text("utf-8").splitlines()]


def readings(sayback: Command, job: str = "t1") -> dict[tuple[str, str], str]:
    data = json.loads(sayback("show", job, "--json")[1])
    return {(one["quantity"], one["condition"]): one["value"] for one in data["readings"]}


def test_what_is_said_is_taken_as_it_would_be_from_the_same_pieces(sayback: Command, tmp_path: Path) -> None:
    sayback(*NEW)
    sound = talk(1.5, "High fire now.", 1.5, "C O two is nine point one percent.", 3.0, "hand me the big wrench", 2.0)
    recording = write(tmp_path / "work.wav", sound)
    code, out, _ = sayback("listen", "t1", "--from", recording, "--to", tmp_path / "out")
    assert code == 0
    assert "Job t1:" in out
    heard = readings(sayback)
    assert heard == {("co2", "high_fire"): "9.1"}
    assert {one["what"] for one in said(tmp_path / "out")} & {"taken", "speech"}
    assert sayback("verify", "t1")[0] == 0
    # every piece is evidence with its own time, and together they are the whole recording
    with Store(tmp_path / "store") as store:
        from jobs.book import job_of

        filed = job_of(store, "t1").filed
        assert all(one.at is not None and one.read for one in filed)
        seconds = sum(one.seconds or 0 for one in filed)
        assert seconds == pytest.approx(len(sound) / RATE + 1, abs=0.1)
        files = [str(store.evidence.path(one.sha256)) for one in filed]
    assert list((tmp_path / "store" / "listening" / "t1").iterdir()) == [tmp_path / "store/listening/t1/lock"]
    # the same pieces added to another job give the same readings
    sayback(*NEW[:-1], "t2")
    sayback("add", "t2", *files)
    assert readings(sayback, "t2") == heard


def test_a_question_is_asked_aloud_and_a_spoken_answer_settles_it(sayback: Command, tmp_path: Path) -> None:
    sayback(*NEW)
    asking = (
        0.6 * spoken(text, speed=140) for text in ("High fire now.", "C O two is nine point one percent and change.")
    )
    place = room(1.5, next(asking), 1.5, next(asking), length=40.0)
    answer = 0.6 * spoken("nine point two", speed=140)
    # "and change" is always asked; where espeak's "nine" is heard in two ways, the answer is asked back and said again
    place.cues = [("what is it?", 4.0, answer), ("nine point two, right?", 4.5, 0.6 * spoken("yes", speed=140))]
    with Store(tmp_path / "store") as store:
        Session(store, "t1", senses(), "Una Farrow", place, place, Lines(), patient=True).run()
    spoken_lines = [text for _, what, text in place.played if what == "speech"]
    assert spoken_lines[0] == "C O two, high fire: what is it?"
    data = json.loads(sayback("show", "t1", "--json")[1])
    (one,) = data["readings"]
    assert (one["quantity"], one["value"], one["settled"], one["by"]) == ("co2", "9.2", "answered", "Una Farrow")


def start(tmp_path: Path, *arguments: str) -> subprocess.Popen[bytes]:
    environment = os.environ | {"SAYBACK_HOME": str(tmp_path / "store"), "OMP_NUM_THREADS": "1"}
    command = [sys.executable, "-c", "from front.cli import main; main()", *arguments]
    return subprocess.Popen(command, cwd=ROOT, env=environment, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL)


def test_a_kill_in_the_middle_of_an_utterance_loses_nothing_that_was_on_the_disk(
    sayback: Command, tmp_path: Path
) -> None:
    sayback(*NEW)
    sound = talk(1.0, "High fire now.", 1.5, "C O two is nine point one percent and the flue temperature", 20.0)
    recording = write(tmp_path / "work.wav", sound)
    process = start(tmp_path, "listen", "t1", "--from", str(recording), "--to", str(tmp_path / "out"))
    folder = tmp_path / "store" / "listening" / "t1"
    wanted = 2 * int(6.0 * RATE)  # inside the second utterance, its value said
    deadline = time.monotonic() + 120
    while time.monotonic() < deadline:
        spool = next(iter(folder.glob("*/sound.pcm")), None)
        if spool is not None and spool.stat().st_size >= wanted:
            break
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    killed = time.monotonic()
    while not any(one["what"] == "hearing lost" for one in said(tmp_path / "out")):
        assert time.monotonic() - killed < 3.0  # issue 4: loss of the process is told within 3 s
        time.sleep(0.02)
    process.communicate()
    left = next(iter(folder.glob("*/sound.pcm"))).stat().st_size // 2
    code, _, _ = sayback("add", "t1")  # no file: there is something to take up
    assert code == 0
    assert readings(sayback)[("co2", "high_fire")] == "9.1"
    with Store(tmp_path / "store") as store:
        from jobs.book import job_of

        filed = list(job_of(store, "t1").filed)
        assert sum(round((one.seconds or 0) * RATE) for one in filed) == pytest.approx(left, abs=20 * len(filed))
    assert sayback("verify", "t1")[0] == 0
    assert sayback("add", "t1")[0] == 2  # nothing is left


@pytest.mark.parametrize(
    ("arguments", "code", "why"),
    [
        (("none", "--silent"), 2, "no job"),
        (("t1", "--silent", "--from", "missing.wav"), 3, "There is no file"),
        (("t1", "--from", "missing.wav", "--microphone", "x"), 2, "either"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(
    sayback: Command, arguments: tuple[str, ...], code: int, why: str
) -> None:
    sayback(*NEW)
    ended, out, errors = sayback("listen", *arguments)
    assert ended == code
    assert why in errors
    assert out == ""


def test_without_a_microphone_or_what_it_needs_a_sentence_says_so(
    sayback: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    sayback(*NEW)
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    code, _, errors = sayback("listen", "t1", "--silent")
    assert code == 3
    assert "sounddevice" in errors
    assert "libportaudio2" in errors


def test_two_cannot_listen_to_one_job(sayback: Command, tmp_path: Path) -> None:
    from datetime import UTC, datetime

    sayback(*NEW)
    with Store(tmp_path / "store") as store:
        spool = Spool(store.home, "t1", datetime.now(UTC))
    recording = write(tmp_path / "work.wav", talk(0.5))
    code, _, errors = sayback("listen", "t1", "--silent", "--from", recording)
    assert code == 2
    assert "already" in errors
    assert spool.samples == 0
