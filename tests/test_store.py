"""The store keeps what it was given, in order, once, and says so in one sentence where it cannot."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from jobs.journal import START, Draft, JobOpened, Told
from jobs.store import JournalMoved, Store, home_folder
from schemas.errors import StoreFailed, WrongUse
from schemas.job import JobAppliance, JobHead
from tests.jobs_doubles import NOON, ticking


def opened(number: str = "job-1") -> Draft:
    appliances = (JobAppliance(tag="boiler"),)
    head = JobHead(
        number=number,
        sheet="plain",
        sheet_sha256="0" * 64,
        site="Mill",
        technician="Ada",
        units="us",
        appliances=appliances,
        created=NOON,
    )
    return Draft(JobOpened(head=head), "Ada")


def said(text: str, key: str | None = None) -> Draft:
    return Draft(Told(kind="said", text=text), key=key)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "deep" / "home", clock=ticking()) as store:
        store.create("job-1", opened())
        yield store


def test_entries_come_back_in_order_and_chained(store: Store) -> None:
    store.append("job-1", [said("one"), said("two")])
    store.append("job-1", [said("three")])
    rows, end = store.rows("job-1")
    assert [row.seq for row in rows] == [1, 2, 3, 4]
    assert [row.prev for row in rows] == [START, *(row.hash for row in rows[:-1])]
    assert end == (4, rows[-1].hash)
    assert [entry.body.text for entry in store.entries("job-1") if isinstance(entry.body, Told)] == [
        "one",
        "two",
        "three",
    ]


def test_a_key_is_written_once(store: Store) -> None:
    assert len(store.append("job-1", [said("a", "k"), said("b", "k"), said("c")])) == 2
    assert store.append("job-1", [said("a", "k")]) == ()
    assert len(store.entries("job-1")) == 3


def test_append_after_an_entry_that_is_no_longer_the_last(store: Store) -> None:
    store.append("job-1", [said("a")], after=1)
    with pytest.raises(JournalMoved):
        store.append("job-1", [said("b")], after=1)
    assert len(store.entries("job-1")) == 2


def test_jobs_have_one_number_each(store: Store) -> None:
    with pytest.raises(WrongUse, match="already"):
        store.create("job-1", opened())
    store.create("job-2", opened("job-2"))
    assert store.numbers() == ("job-1", "job-2")
    with pytest.raises(WrongUse, match="no job 'job-3'"):
        store.append("job-3", [said("x")])
    with pytest.raises(WrongUse, match="no job 'job-3'"):
        store.entries("job-3")


def test_settings_that_make_it_durable(store: Store) -> None:
    with store._transaction() as connection:
        told = {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in ("journal_mode", "synchronous")}
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    assert told == {"journal_mode": "wal", "synchronous": 2}  # 2 is FULL, https://sqlite.org/pragma.html


def test_a_writer_holds_its_place_from_the_start(store: Store) -> None:
    """BEGIN IMMEDIATE: a second writer is refused before it has read anything that it might decide on."""
    with store._transaction(write=True):
        other = sqlite3.connect(store.home / "book.sqlite", timeout=0)
        try:
            with pytest.raises(sqlite3.OperationalError, match="locked"):
                other.execute("BEGIN IMMEDIATE")
        finally:
            other.close()


def test_a_locked_store_is_told_in_one_sentence(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("jobs.store._BUSY_SECONDS", 0.1)
    other = sqlite3.connect(store.home / "book.sqlite", isolation_level=None)
    try:
        other.execute("BEGIN IMMEDIATE")
        with Store(store.home) as second, pytest.raises(StoreFailed, match="in use by another program"):
            second.append("job-1", [said("x")])
    finally:
        other.close()
    assert len(store.entries("job-1")) == 1


def test_what_is_no_database_is_told_and_left_as_it_is(tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    (home / "book.sqlite").write_bytes(b"not a database at all" * 100)
    with pytest.raises(StoreFailed, match="damaged"):
        Store(home)
    assert (home / "book.sqlite").read_bytes().startswith(b"not a database")


def test_a_newer_layout_is_not_touched(store: Store) -> None:
    with sqlite3.connect(store.home / "book.sqlite") as other:
        other.execute("UPDATE meta SET value = '2' WHERE name = 'layout'")
    other.close()
    with pytest.raises(StoreFailed, match="newer"):
        Store(store.home)


def test_an_entry_of_an_unknown_kind_is_told(store: Store) -> None:
    store.append("job-1", [said("x")])
    with sqlite3.connect(store.home / "book.sqlite") as other:
        other.execute("UPDATE entries SET kind = 'sung' WHERE seq = 2")
    other.close()
    with pytest.raises(StoreFailed, match="Entry 2 of job job-1"):
        store.entries("job-1")


@pytest.mark.parametrize(
    ("variables", "home"),
    [
        ({"SAYBACK_HOME": "/srv/book"}, "/srv/book"),
        ({"XDG_DATA_HOME": "/srv/data"}, "/srv/data/sayback"),
        ({"XDG_DATA_HOME": "relative", "HOME": "/home/ada"}, "/home/ada/.local/share/sayback"),
        ({"HOME": "/home/ada"}, "/home/ada/.local/share/sayback"),
    ],
)
def test_where_the_store_lies(variables: dict[str, str], home: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("SAYBACK_HOME", "XDG_DATA_HOME"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert str(home_folder()) == home


def test_evidence_is_kept_once_read_only_and_under_its_hash(store: Store, tmp_path: Path) -> None:
    source = tmp_path / "a.wav"
    source.write_bytes(b"abc")
    sha256, size = store.evidence.keep_file(source)
    # FIPS 180-2, appendix B.1: the SHA-256 of "abc"
    assert sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    kept = store.evidence.path(sha256)
    assert (size, kept.read_bytes(), kept.stat().st_mode & 0o777) == (3, b"abc", 0o400)
    assert source.read_bytes() == b"abc"
    inode = kept.stat().st_ino
    assert store.evidence.keep_file(source) == (sha256, 3)
    assert kept.stat().st_ino == inode  # not written a second time
    assert not list((store.home / "evidence").glob("*.part"))


def test_damaged_evidence_is_named_and_not_overwritten(store: Store) -> None:
    sha256, _ = store.evidence.keep_bytes(b"some sound")
    kept = store.evidence.path(sha256)
    kept.chmod(0o600)
    kept.write_bytes(b"some sounD")
    assert not store.evidence.is_sound(sha256)
    with pytest.raises(StoreFailed, match=sha256):
        store.evidence.keep_bytes(b"some sound")
    assert kept.read_bytes() == b"some sounD"


def test_half_written_copies_of_dead_processes_are_swept(store: Store) -> None:
    dead = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, check=True)
    folder = store.home / "evidence"
    left, alive = folder / f"{dead.stdout.decode().strip()}-0.part", folder / "1-0.part"
    left.touch()
    alive.touch()
    store.evidence.sweep()
    assert (left.exists(), alive.exists()) == (False, True)
