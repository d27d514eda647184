"""Verify names whatever is not as it was written."""

from __future__ import annotations

import hashlib
import json
import random
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from jobs.add import add
from jobs.book import new_job
from jobs.journal import Row
from jobs.store import Store
from jobs.verify import faults, verify
from schemas.errors import StoreFailed, WrongUse
from tests import jobs_doubles as doubles
from tests.jobs_doubles import NOON, Ears, photo, sound

pytestmark = pytest.mark.slow

TALK = sound(["1 high_fire co2 9.3 %", "4 high_fire o2 4.4 %", "9 change high_fire co2 9.4 %"], NOON)
PHOTO = photo(["high_fire co2 9.4 %"], NOON)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A store with one job, closed."""
    doubles.install(lambda where, name, what: monkeypatch.setattr(where, name, what, raising=False))
    (tmp_path / "plain.toml").write_text(doubles.SHEET)
    (tmp_path / "talk.wav").write_bytes(TALK)
    (tmp_path / "slip.jpg").write_bytes(PHOTO)
    with Store(tmp_path / "home", clock=doubles.ticking()) as store:
        new_job(store, sheet=str(tmp_path / "plain.toml"), site="Mill", technician="Ada", units="us")
        add(store, "job-1", [tmp_path / "talk.wav", tmp_path / "slip.jpg"], senses=Ears().senses(), author="Ada")
    return tmp_path / "home"


def what_is_wrong(home: Path) -> tuple[str, ...]:
    with Store(home) as store:
        return faults(store, "job-1")


def change(home: Path, *statements: str) -> None:
    with closing(sqlite3.connect(home / "book.sqlite")) as other, other:
        for statement in statements:
            other.execute(statement)


def rows(home: Path) -> tuple[Row, ...]:
    with Store(home) as store:
        return store.rows("job-1")[0]


def test_a_whole_job_is_whole(home: Path) -> None:
    with Store(home) as store:
        told = verify(store, "job-1")
        last = store.rows("job-1")[0][-1]
        assert (told.entries, told.hash, told.evidence) == (last.seq, last.hash, 3)  # sheet, recording, photo
        with pytest.raises(WrongUse, match="no job 'job-9'"):
            verify(store, "job-9")


@pytest.mark.parametrize("column", ["at", "author", "kind", "key", "body", "prev", "hash"])
def test_a_changed_column_is_named(home: Path, column: str) -> None:
    change(home, f"UPDATE entries SET {column} = replace({column}, substr({column}, 2, 1), '~') WHERE seq = 3")
    assert any(told.startswith("entry 3 ") and told.endswith("was changed") for told in what_is_wrong(home))


def test_a_blank_more_in_a_body_is_named(home: Path) -> None:
    change(home, "UPDATE entries SET body = replace(body, ':', ': ') WHERE seq = 4")
    assert any(told.startswith("entry 4 ") for told in what_is_wrong(home))


def test_dropped_entries_are_named(home: Path) -> None:
    last = rows(home)[-1].seq
    change(home, "DELETE FROM entries WHERE seq = 5")
    assert what_is_wrong(home) == ("entry 5 is missing",)
    change(home, "DELETE FROM entries WHERE seq IN (6, 7)")
    assert what_is_wrong(home) == ("entries 5 to 7 are missing",)
    change(home, f"DELETE FROM entries WHERE seq = {last}")
    assert what_is_wrong(home)[-1] == f"entry {last} is missing at the end"


def test_the_last_entry_dropped_and_the_one_before_are_named(home: Path) -> None:
    last = rows(home)[-1].seq
    change(home, f"DELETE FROM entries WHERE seq > {last - 2}")
    assert what_is_wrong(home) == (f"entries {last - 1} to {last} are missing at the end",)


def test_the_first_entry_dropped_is_named(home: Path) -> None:
    change(home, "DELETE FROM entries WHERE seq = 1")
    assert what_is_wrong(home) == ("entry 1 is missing",)


def test_swapped_entries_are_named(home: Path) -> None:
    change(
        home,
        "UPDATE entries SET seq = 999 WHERE seq = 3",
        "UPDATE entries SET seq = 3 WHERE seq = 4",
        "UPDATE entries SET seq = 4 WHERE seq = 999",
    )
    told = what_is_wrong(home)
    assert any(one.startswith("entry 3 (") for one in told)
    assert any(one.startswith("entry 4 (") for one in told)


def test_an_entry_put_in_by_hand_is_named(home: Path) -> None:
    last = rows(home)[-1]
    change(
        home,
        "INSERT INTO entries SELECT job, seq + 1, at, author, kind, NULL, body, hash, hash FROM entries "
        f"WHERE seq = {last.seq}",
    )
    told = what_is_wrong(home)
    assert any(one.startswith(f"entry {last.seq + 1} (") for one in told)
    assert f"the journal ends with entry {last.seq + 1}, and the store's record of its end says {last.seq}" in told


def test_a_changed_record_of_the_end_is_named(home: Path) -> None:
    change(home, "UPDATE jobs SET hash = 'f' || substr(hash, 2)", "UPDATE jobs SET hash = 'e' || substr(hash, 2)")
    assert any("record of its end" in told for told in what_is_wrong(home))


@pytest.mark.parametrize("name", ["talk.wav", "slip.jpg", "sheet"])
def test_changed_and_missing_evidence_is_named(home: Path, name: str) -> None:
    data = {"talk.wav": TALK, "slip.jpg": PHOTO, "sheet": doubles.SHEET.encode()}[name]
    path = home / "evidence" / doubles.sha_of(data)[:2] / doubles.sha_of(data)
    path.chmod(0o600)
    whole = path.read_bytes()
    path.write_bytes(whole[:-1] + bytes([whole[-1] ^ 1]))
    (told,) = what_is_wrong(home)
    assert name in told
    assert told.endswith("was changed")
    path.unlink()
    (told,) = what_is_wrong(home)
    assert told.endswith("is missing")
    with Store(home) as store, pytest.raises(StoreFailed, match="not as it was written"):
        verify(store, "job-1")


def test_any_byte_of_the_database_that_matters_is_named(home: Path, tmp_path: Path) -> None:
    """Flip one bit anywhere in the file: either it is told, or the journal reads as it was written."""
    whole = rows(home)
    bytes_of_it = (home / "book.sqlite").read_bytes()
    dice = random.Random(7)
    told = 0
    for _ in range(30):
        shutil.rmtree(tmp_path / "bad", ignore_errors=True)
        shutil.copytree(home, tmp_path / "bad")
        flipped = bytearray(bytes_of_it)
        flipped[dice.randrange(len(flipped))] ^= 1 << dice.randrange(8)
        (tmp_path / "bad" / "book.sqlite").write_bytes(flipped)
        try:
            found = what_is_wrong(tmp_path / "bad")
        except (StoreFailed, WrongUse):
            told += 1
        else:
            told += bool(found)
            assert found or rows(tmp_path / "bad") == whole
    assert told > 5


def test_the_chain_by_another_hand(home: Path) -> None:
    """The hash as the docstring of ``Row.computed_hash`` describes it, worked out here with nothing of ours."""
    prev = "0" * 64
    for row in rows(home):
        names = ("at", "author", "body", "job", "key", "kind", "prev", "seq")
        told = "{" + ",".join(f'"{name}":{json.dumps(getattr(row, name), ensure_ascii=False)}' for name in names) + "}"
        assert (row.prev, row.hash) == (prev, hashlib.sha256(told.encode()).hexdigest())
        prev = row.hash
