"""Off the record: a stretch of sound is gone from the disk, and everything else stays and says so."""

from __future__ import annotations

import hashlib
import wave
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from typer.testing import CliRunner

from bench.office_jobs import seed, tone
from front.blank import seconds_of
from front.cli import app
from front.report import made_report
from jobs.blanking import blank, blanked_at, finish
from jobs.book import job_of
from jobs.bundle import pack, unpack, verify_bundle
from jobs.decisions import close
from jobs.fold import Job
from jobs.journal import Blanked
from jobs.moving import move_back, move_to_job
from jobs.store import Store
from jobs.verify import faults, verify
from schemas.errors import BadInput, SaybackError, StoreFailed, WrongUse
from tests.office import Browser, office

pytestmark = pytest.mark.slow


@pytest.fixture
def here(tmp_path: Path) -> Store:
    store = Store(tmp_path / "home")
    seed(store, 1, readings=4, questions=1)
    return store


def off_record(store: Store, start: float = 0.0, end: float = 1.0, number: str = "job-1") -> Job:
    return blank(store, number, "talk.wav", start, end, by="Ada Quill", why="a private call")


def samples_of(path: Path) -> NDArray[np.int16]:
    with wave.open(str(path)) as file:
        return np.frombuffer(file.readframes(file.getnframes()), "<i2")


def test_blanked_sound_is_silence_and_its_bytes_are_gone(here: Store) -> None:
    before = job_of(here, "job-1")
    sha256 = before.filed[0].sha256
    job = off_record(here, 0.5, 1.25)
    (filed,) = job.filed
    (body,) = (e.body for e in here.entries("job-1") if isinstance(e.body, Blanked))
    assert not here.evidence.path(sha256).exists()
    assert filed.sha256 == sha256  # the name stays, as do the readings
    assert {k: (r.reading.value, r.how) for k, r in job.rows.items()} == {
        k: (r.reading.value, r.how) for k, r in before.rows.items()
    }
    left = samples_of(here.evidence.path(filed.kept))
    assert len(left) == 2 * 16_000
    assert not left[8_000:20_000].any()
    assert np.abs(left[:8_000]).max() > 3_000
    assert np.abs(left[20_000:]).max() > 3_000
    assert (body.by, body.start, body.end, body.why) == ("Ada Quill", 0.5, 1.25, "a private call")
    assert len(body.piece) == 64
    assert body.piece != hashlib.sha256(bytes(2 * 12_000)).hexdigest()  # of what was there, not of the silence


def test_verify_says_by_whom_and_finds_nothing_wrong(here: Store) -> None:
    off_record(here)
    assert verify(here, "job-1").blanked == ("talk.wav from 0 to 1 s was blanked by Ada Quill: a private call",)
    kept = here.evidence.path(job_of(here, "job-1").filed[0].kept)
    kept.chmod(0o600)
    kept.write_bytes(kept.read_bytes()[:-2] + b"\1\1")
    assert "talk.wav" in faults(here, "job-1")[0]
    assert "was changed" in faults(here, "job-1")[0]


def test_a_second_stretch_is_blanked_out_of_what_is_left(here: Store) -> None:
    first = off_record(here, 0.0, 0.5).filed[0].kept
    job = off_record(here, 1.0, 1.5)
    left = samples_of(here.evidence.path(job.filed[0].kept))
    assert not left[:8_000].any()
    assert not left[16_000:24_000].any()
    assert left[8_000:16_000].any()
    assert not here.evidence.path(first).exists()
    verify(here, "job-1")


@pytest.mark.parametrize(
    ("start", "end", "by", "why", "name"),
    [
        (1.0, 1.0, "Ada", "private", "talk.wav"),
        (-1.0, 1.0, "Ada", "private", "talk.wav"),
        (1.0, 99.0, "Ada", "private", "talk.wav"),
        (0.0, 1.0, " ", "private", "talk.wav"),
        (0.0, 1.0, "Ada", "", "talk.wav"),
        (0.0, 1.0, "Ada", "private", "other.wav"),
    ],
)
def test_blanking_needs_a_stretch_a_name_and_a_reason(
    here: Store, start: float, end: float, by: str, why: str, name: str
) -> None:
    position = job_of(here, "job-1").position
    with pytest.raises(WrongUse):
        blank(here, "job-1", name, start, end, by=by, why=why)
    assert job_of(here, "job-1").position == position


def test_what_is_blanked_already_is_not_blanked_again(here: Store) -> None:
    off_record(here)
    with pytest.raises(WrongUse, match="already"):
        off_record(here, 0.25, 0.75)


def test_the_same_file_is_not_kept_again(here: Store, tmp_path: Path) -> None:
    sha256 = job_of(here, "job-1").filed[0].sha256
    off_record(here)
    again = tmp_path / "again.wav"
    again.write_bytes(tone())
    assert hashlib.sha256(again.read_bytes()).hexdigest() == sha256
    with pytest.raises(BadInput, match="blanked"):
        here.evidence.keep_file(again)
    assert not here.evidence.path(sha256).exists()
    assert not list((here.home / "evidence").glob("*.part"))


def test_a_kill_before_the_bytes_are_gone_is_made_good(here: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    sha256 = job_of(here, "job-1").filed[0].sha256

    def killed(gone: str) -> None:
        raise StoreFailed("killed")

    with monkeypatch.context() as patch:
        patch.setattr(here.evidence, "discard", killed)
        with pytest.raises(StoreFailed):
            off_record(here)
    assert here.evidence.path(sha256).exists()
    assert "still there" in faults(here, "job-1")[0]
    finish(here, "job-1")
    assert not here.evidence.path(sha256).exists()
    verify(here, "job-1")


def test_a_zip_holds_what_is_left_and_an_older_one_brings_nothing_back(here: Store, tmp_path: Path) -> None:
    sha256 = job_of(here, "job-1").filed[0].sha256
    older, newer = tmp_path / "older.zip", tmp_path / "newer.zip"
    with older.open("wb") as file:
        pack(here, "job-1", file)
    off_record(here)
    with newer.open("wb") as file:
        pack(here, "job-1", file)
    assert verify_bundle(newer)[1].blanked
    unpack(here, older)
    assert not here.evidence.path(sha256).exists()
    with Store(tmp_path / "there") as there:
        unpack(there, older)
        assert there.evidence.path(sha256).exists()
        unpack(there, newer)
        assert not there.evidence.path(sha256).exists()
        verify(there, "job-1")


def test_it_is_blanked_in_every_job_that_has_it(here: Store) -> None:
    sha256 = job_of(here, "job-1").filed[0].sha256
    seed(here, 2, readings=0)
    move_to_job(here, "job-1", sha256, "job-2", by=job_of(here, "job-1").head.technician, why="wrong job")
    off_record(here, number="job-2")
    verify(here, "job-1")
    verify(here, "job-2")
    moved = next(e.seq for e in here.entries("job-2") if e.body.kind == "moved-in")
    move_back(here, "job-2", moved, by="Ada", why="it was right")
    assert job_of(here, "job-1").filed[0].blanked
    move_to_job(here, "job-1", sha256, "job-2", by=job_of(here, "job-1").head.technician, why="wrong job after all")
    assert len(job_of(here, "job-2").filed[0].blanked) == 1


def test_the_report_says_so_beside_the_recording(here: Store) -> None:
    off_record(here)
    (proof,) = made_report(here, "job-1")[1].evidence
    assert proof.note == "0 to 1 s blanked by Ada Quill: a private call"


def test_a_closed_job_stays_closed(here: Store) -> None:
    assert close(here, "job-1", by="Ada", why="the customer left").closed is not None
    assert off_record(here).closed is not None


def test_a_reading_says_that_its_sound_was_blanked(here: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    job = off_record(here)
    (row, *_) = job.rows.values()
    assert blanked_at(job, row.reading.source) is not None
    here.close()
    monkeypatch.setenv("SAYBACK_HOME", str(here.home))
    printed = CliRunner().invoke(app, ["explain", "job-1", row.reading.id]).output
    shown = " ".join(printed.split())  # wherever the terminal breaks its lines
    assert "cannot be heard any more" in shown
    assert "Ada Quill" in shown


def test_the_command_blanks_and_refuses_without_a_reason(here: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SAYBACK_HOME", str(here.home))
    arguments = ["blank", "job-1", "talk.wav", "0:00.5", "1.5", "--by", "Ada Quill"]
    assert CliRunner().invoke(app, arguments).exit_code != 0
    done = CliRunner().invoke(app, [*arguments, "--because", "a private call"])
    assert done.exit_code == 0, done.output
    assert "was blanked by Ada Quill" in " ".join(done.output.split())
    assert (seconds_of("1:02.5"), seconds_of("62.5")) == (62.5, 62.5)
    with pytest.raises(SaybackError):
        seconds_of("a minute")


def test_the_office_says_so_where_it_would_play(here: Store) -> None:
    job = off_record(here)
    (row, *_) = job.rows.values()
    with office(here) as client:
        clerk = Browser(client)
        gone = clerk.get(f"/job/job-1/reading/{row.reading.id}/sound.wav")
        assert gone.status_code == 410
        assert "blanked by Ada Quill" in gone.text
        for page in (f"/job/job-1/reading/{row.reading.id}", "/job/job-1/transcript"):
            text = clerk.get_page(page)
            assert "blanked by Ada Quill" in text, page
            assert "sound.wav" not in text
        whole = clerk.get(f"/job/job-1/evidence/{job.filed[0].sha256}")
        assert (whole.status_code, whole.headers["content-type"]) == (200, "audio/wav")
        assert whole.headers["cache-control"] == "private, no-store"
