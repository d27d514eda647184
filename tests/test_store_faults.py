"""A full disk, a read-only one, I/O errors at any step, a store in use: one sentence, exit code 4, nothing lost."""

from __future__ import annotations

import errno
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from jobs import disk
from jobs.add import Event, add
from jobs.book import job_of, new_job
from jobs.store import Store
from jobs.verify import faults
from schemas.errors import ExitCode, StoreFailed
from tests import jobs_doubles as doubles
from tests.jobs_doubles import NOON, Ears, photo, sound

TALK = sound(["1 high_fire co2 9.3 %", "4 high_fire o2 4.4 %"], NOON)
PHOTO = photo(["high_fire co2 9.3 %"], NOON)


@pytest.fixture
def given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    doubles.install(lambda where, name, what: monkeypatch.setattr(where, name, what, raising=False))
    (tmp_path / "plain.toml").write_text(doubles.SHEET)
    files = [tmp_path / "talk.wav", tmp_path / "slip.jpg"]
    files[0].write_bytes(TALK)
    files[1].write_bytes(PHOTO)
    return files


def open_job(home: Path, sheet: Path) -> None:
    with Store(home) as store:
        new_job(store, sheet=str(sheet), site="Mill", technician="Ada", units="us")


def add_all(home: Path, files: list[Path], kept: list[str] | None = None) -> None:
    def note(event: Event) -> None:
        if kept is not None and event.kind == "kept":
            kept.append(event.sha256)

    with Store(home) as store:
        add(store, "job-1", files, senses=Ears().senses(), author="Ada", progress=note)


def nothing_lost(home: Path, kept: list[str]) -> None:
    with Store(home) as store:
        assert faults(store, "job-1") == ()
        assert set(kept) <= {one.sha256 for one in job_of(store, "job-1").filed}


def test_order_that_makes_evidence_durable(given: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bytes, then fsync, then the name, then fsync of the folder, then the journal, and only then a look at it."""
    open_job(tmp_path / "home", tmp_path / "plain.toml")
    happened: list[str] = []

    def noting(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def wrapped(*args: Any, **named: Any) -> Any:
            happened.append(name)
            return real(*args, **named)

        return wrapped

    for name in ("write", "fsync", "rename", "fsync_folder"):
        monkeypatch.setattr(disk, name, noting(name, getattr(disk, name)))
    monkeypatch.setattr(Store, "append", noting("append", Store.append))
    monkeypatch.setattr(Ears, "hear", noting("hear", Ears.hear))
    add_all(tmp_path / "home", given[:1])
    assert happened[:7] == ["write", "fsync", "fsync_folder", "rename", "fsync_folder", "append", "hear"]


@pytest.mark.slow
@pytest.mark.parametrize(("code", "forever"), [(errno.EIO, False), (errno.ENOSPC, True)])
def test_each_step_of_keeping_fails_in_turn(
    given: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, forever: bool
) -> None:
    """The n-th step fails, for every n, until the work is done untouched."""
    open_job(tmp_path / "fresh", tmp_path / "plain.toml")
    count = 0
    fail_at = 0

    def failing(real: Callable[..., Any]) -> Callable[..., Any]:
        def wrapped(*args: Any) -> Any:
            nonlocal count
            count += 1
            if count == fail_at or (forever and count > fail_at):
                raise OSError(code, os.strerror(code))
            return real(*args)

        return wrapped

    whole = {name: getattr(disk, name) for name in ("write", "fsync", "rename", "fsync_folder")}
    for fail_at in range(1, 100):
        home = tmp_path / f"home{fail_at}"
        shutil.copytree(tmp_path / "fresh", home)
        count, kept = 0, list[str]()
        for name, real in whole.items():
            monkeypatch.setattr(disk, name, failing(real))
        told: StoreFailed | None = None
        try:
            add_all(home, given, kept)
        except StoreFailed as error:
            told = error
        finally:
            for name, real in whole.items():
                monkeypatch.setattr(disk, name, real)
        if count < fail_at:
            assert told is None
            break
        assert told is not None
        assert told.exit_code is ExitCode.STORE_FAILED
        assert "\n" not in str(told)
        assert "run it again" in str(told) or "run the same command again" in str(told) or "SAYBACK_HOME" in str(told)
        nothing_lost(home, kept)
        add_all(home, given)
        nothing_lost(home, [doubles.sha_of(TALK), doubles.sha_of(PHOTO)])
    assert fail_at > 8


@pytest.mark.parametrize("code", [*errno.errorcode])
def test_every_error_of_the_system_is_told_in_one_sentence(code: int) -> None:
    with pytest.raises(StoreFailed) as told, disk.told_plainly("/home/ada/book"):
        raise OSError(code, os.strerror(code))
    assert str(told.value).startswith("/home/ada/book cannot be used: ")
    assert "run" in str(told.value) or "SAYBACK_HOME" in str(told.value)
    assert "\n" not in str(told.value)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of half a megabyte of its own."""
    place = tmp_path / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=512k", "none", str(place)]
    mounted = subprocess.run(mount, capture_output=True, check=False)
    if mounted.returncode != 0:
        pytest.skip("mounting a small file system needs root; the next test fills a file's allowed size instead")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk(given: list[Path], tmp_path: Path, small_disk: Path) -> None:
    home = small_disk / "home"
    open_job(home, tmp_path / "plain.toml")
    files = []
    for n in range(12):
        files.append(tmp_path / f"talk{n}.wav")
        files[-1].write_bytes(sound(["1 high_fire co2 9.3 %", f"2 talk {'about the weather ' * 4000}{n}"], NOON))
    kept: list[str] = []
    with pytest.raises(StoreFailed, match="full"):
        add_all(home, files, kept)
    assert 0 < len(kept) < len(files)
    subprocess.run(["mount", "-o", "remount,size=8m", str(small_disk)], check=True)
    nothing_lost(home, kept)
    add_all(home, files)
    nothing_lost(home, [doubles.sha_of(path.read_bytes()) for path in files])


def test_a_read_only_disk(given: list[Path], tmp_path: Path, small_disk: Path) -> None:
    home = small_disk / "home"
    open_job(home, tmp_path / "plain.toml")
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with pytest.raises(StoreFailed, match="SAYBACK_HOME"):
        add_all(home, given)
    with pytest.raises(StoreFailed, match="SAYBACK_HOME"):
        Store(small_disk / "other")
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    add_all(home, given)
    nothing_lost(home, [doubles.sha_of(TALK), doubles.sha_of(PHOTO)])


_LIMITED = """
import sys
from pathlib import Path
from jobs.store import Store
from schemas.errors import StoreFailed
try:
    with Store(Path(sys.argv[1])) as store:
        store.evidence.keep_file(Path(sys.argv[2]))
except StoreFailed as error:
    print(error)
    sys.exit(error.exit_code)
"""


def test_a_file_larger_than_the_system_allows(tmp_path: Path) -> None:
    """RLIMIT_FSIZE needs no root: writing beyond it fails like a full disk does, in the middle of a file."""
    with Store(tmp_path / "home"):
        pass
    (tmp_path / "long.wav").write_bytes(b"\1" * 3_000_000)
    done = subprocess.run(
        [sys.executable, "-c", _LIMITED, str(tmp_path / "home"), str(tmp_path / "long.wav")],
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (2_000_000, 2_000_000)),
        cwd=Path(__file__).parents[1],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == ExitCode.STORE_FAILED, done.stderr
    assert "raise the limit" in done.stdout
    assert not list((tmp_path / "home" / "evidence").iterdir())  # nothing half-written is left


def test_a_store_in_use_loses_nothing(given: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = tmp_path / "home"
    open_job(home, tmp_path / "plain.toml")
    monkeypatch.setattr("jobs.store._BUSY_SECONDS", 0.1)
    with closing(sqlite3.connect(home / "book.sqlite", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreFailed, match="in use"):
            add_all(home, given)
        other.execute("ROLLBACK")
    add_all(home, given)
    nothing_lost(home, [doubles.sha_of(TALK), doubles.sha_of(PHOTO)])


@pytest.mark.parametrize("what", ["file", "link to nowhere"])
def test_a_home_that_is_no_folder(tmp_path: Path, what: str) -> None:
    home = tmp_path / "home"
    if what == "file":
        home.write_text("x")
    else:
        home.symlink_to(tmp_path / "nowhere")
    with pytest.raises(StoreFailed, match="a file stands where a folder is needed"):
        Store(home)
