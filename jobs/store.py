"""The store: one SQLite file for all journals, and the folder of evidence beside it.

Through SQLAlchemy Core only, so that PostgreSQL can follow. Each append is one transaction that is on the disk when
the call returns (write-ahead log, ``synchronous=FULL``).
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import fields
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from jobs import disk
from jobs.evidence import EvidenceFiles
from jobs.journal import START, Draft, Entry, Row, parse, seal
from schemas.errors import StoreFailed, WrongUse

__all__ = ["Clock", "JournalMoved", "Store", "engine_of", "home_folder"]

Clock = Callable[[], datetime]
"""Gives the present moment, with its zone. Entries carry it; no reading depends on it."""

_LAYOUT = 1
_BUSY_SECONDS = 10
_KEPT = 16
_tables = sa.MetaData()
_meta = sa.Table(
    "meta",
    _tables,
    sa.Column("name", sa.String(32), primary_key=True),
    sa.Column("value", sa.String(200), nullable=False),
)
_jobs = sa.Table(
    "jobs",
    _tables,
    sa.Column("number", sa.String(64), primary_key=True),
    # The end of the chain, so that a journal which lost its last entries is found out.
    sa.Column("seq", sa.Integer, nullable=False),
    sa.Column("hash", sa.String(64), nullable=False),
)
_entries = sa.Table(
    "entries",
    _tables,
    sa.Column("job", sa.ForeignKey("jobs.number"), primary_key=True),
    sa.Column("seq", sa.Integer, primary_key=True),
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("author", sa.String(200), nullable=False),
    sa.Column("kind", sa.String(32), nullable=False),
    sa.Column("key", sa.Text),
    sa.Column("body", sa.Text, nullable=False),
    sa.Column("prev", sa.String(64), nullable=False),
    sa.Column("hash", sa.String(64), nullable=False),
    sa.UniqueConstraint("job", "key"),
)
# Built once: it is asked several times for each page.
_HEAD = sa.select(_jobs.c.seq, _jobs.c.hash).where(_jobs.c.number == sa.bindparam("wanted")).with_for_update()
_columns = tuple(_entries.c[one.name] for one in fields(Row))


class JournalMoved(Exception):
    """Somebody else wrote to the journal since it was read; read it again and decide anew."""


def home_folder() -> Path:
    """Return where the store lies: ``$SAYBACK_HOME``, else ``sayback`` in the XDG data folder."""
    if home := os.environ.get("SAYBACK_HOME"):
        return Path(home)
    data = os.environ.get("XDG_DATA_HOME", "")
    # The XDG base directory specification says to ignore a path that is not absolute.
    return (Path(data) if data.startswith("/") else Path.home() / ".local" / "share") / "sayback"


def _now() -> datetime:
    return datetime.now().astimezone()


class Store:
    """All jobs and all evidence under one folder. Open it with ``with``; use it from one process after a fork."""

    def __init__(self, home: Path, clock: Clock = _now) -> None:
        self.home = home.absolute()
        self.clock = clock
        self._known: OrderedDict[str, tuple[Entry, ...]] = OrderedDict()
        self._lock = threading.Lock()
        self.evidence = EvidenceFiles(self.home / "evidence")
        self._engine = engine_of(self.home / "book.sqlite")
        try:
            self._prepare()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the database."""
        self._engine.dispose()

    def create(self, number: str, first: Draft) -> Entry:
        """Open the journal of a new job with its first entry.

        Raises:
            WrongUse: there is such a job already.
        """
        row = seal(first, job=number, seq=1, at=self.clock(), prev=START)
        with self._transaction(write=True) as connection:
            if _head(connection, number):
                raise WrongUse(f"There is a job {number!r} already; choose another number.")
            connection.execute(sa.insert(_jobs).values(number=number, seq=1, hash=row.hash))
            connection.execute(sa.insert(_entries).values(**vars(row)))
        return parse(row)

    def append(self, number: str, drafts: Sequence[Draft], *, after: int | None = None) -> tuple[Entry, ...]:
        """Add entries to the end of a journal and return those added; all of them or none, on the disk on return.

        A draft whose key stands in the journal already is passed over. With ``after`` the journal must still end with
        that entry.

        Raises:
            JournalMoved: it ends with another entry than ``after``.
            WrongUse: there is no such job.
        """
        with self._transaction(write=True) as connection:
            rows = self._append(connection, number, drafts, after)
        return tuple(parse(row) for row in rows)

    def append_each(self, parts: Mapping[str, tuple[Sequence[Draft], int]]) -> None:
        """Add entries to several journals, by job number with the entry that each must still end with: all or none.

        Raises:
            JournalMoved, WrongUse: as :meth:`append`.
        """
        with self._transaction(write=True) as connection:
            for number, (drafts, after) in parts.items():
                self._append(connection, number, drafts, after)

    def _append(self, connection: sa.Connection, number: str, drafts: Sequence[Draft], after: int | None) -> list[Row]:
        head = _head(connection, number)
        if head is None:
            raise self._no_such(number)
        seq, last = head
        if after is not None and seq != after:
            raise JournalMoved
        there = _keys(connection, number, [d.key for d in drafts if d.key is not None])
        rows: list[Row] = []
        for draft in drafts:
            if draft.key is not None and draft.key in there:
                continue
            there.add(draft.key)
            seq += 1
            row = seal(draft, job=number, seq=seq, at=self.clock(), prev=last)
            rows.append(row)
            last = row.hash
        if rows:
            connection.execute(sa.insert(_entries), [vars(row) for row in rows])
            connection.execute(sa.update(_jobs).where(_jobs.c.number == number).values(seq=seq, hash=last))
        return rows

    def adopt(self, number: str, rows: Sequence[Row]) -> int:
        """Take a journal over as it was written elsewhere, and return how many entries were new here.

        ``rows`` is a whole chain, already verified. What is here must be its beginning, or it the beginning of what is
        here; then only what is missing is added, so that taking it over twice is taking it over once.

        Raises:
            WrongUse: the two differ in an entry that both have.
        """
        with self._transaction(write=True) as connection:
            query = sa.select(_entries.c.hash).where(_entries.c.job == number).order_by(_entries.c.seq)
            here = list(connection.execute(query).scalars())
            given = [row.hash for row in rows]
            if any(a != b for a, b in zip(here, given, strict=False)):
                raise WrongUse(
                    f"There is another job {number!r} here, or one that went on differently; nothing was taken over."
                )
            new = rows[len(here) :]
            if new and not here:
                connection.execute(sa.insert(_jobs).values(number=number, seq=new[-1].seq, hash=new[-1].hash))
            elif new:
                ending = {"seq": new[-1].seq, "hash": new[-1].hash}
                connection.execute(sa.update(_jobs).where(_jobs.c.number == number).values(**ending))
            if new:
                connection.execute(sa.insert(_entries), [vars(row) for row in new])
        return len(new)

    def heads(self) -> dict[str, tuple[int, str]]:
        """Return the sequence number and hash that each journal ends with, by job number."""
        with self._transaction() as connection:
            return {row.number: (row.seq, row.hash) for row in connection.execute(sa.select(_jobs))}

    def stamp(self) -> tuple[int, int]:
        """Return how many journals and how many entries there are; both only ever grow, so equal means unchanged."""
        with self._transaction() as connection:
            row = connection.execute(sa.select(sa.func.count(), sa.func.sum(_jobs.c.seq)).select_from(_jobs)).one()
        return int(row[0]), int(row[1] or 0)

    def head(self, number: str) -> tuple[int, str]:
        """Return the sequence number and hash that a journal ends with.

        Raises:
            WrongUse: there is no such job.
        """
        with self._transaction() as connection:
            head = _head(connection, number)
        if head is None:
            raise self._no_such(number)
        return head

    def numbers(self) -> tuple[str, ...]:
        """Return the numbers of all jobs, in the order in which they were opened."""
        with self._transaction() as connection:
            first = _entries.c.seq == 1
            query = sa.select(_entries.c.job).where(first).order_by(_entries.c.at, _entries.c.job)
            return tuple(connection.execute(query).scalars())

    def first_entries(self) -> tuple[Entry, ...]:
        """Return the first entry of every job, in the order in which they were opened."""
        with self._transaction() as connection:
            query = sa.select(_entries).where(_entries.c.seq == 1).order_by(_entries.c.at, _entries.c.job)
            rows = [Row(**row) for row in connection.execute(query).mappings()]
        return tuple(parse(row) for row in rows)

    def entries(self, number: str) -> tuple[Entry, ...]:
        """Return the whole journal of a job.

        Raises:
            WrongUse: there is no such job.
        """
        with self._lock:
            known = self._known.get(number, ())
        if known:
            query = sa.select(*_columns).where(_entries.c.job == number, _entries.c.seq >= known[-1].seq)
            with self._transaction() as connection:
                rows = [Row(*row) for row in connection.execute(query.order_by(_entries.c.seq))]
            # Only added to: what is known still counts if it ends with the entry that stands there.
            known = (*known, *(parse(row) for row in rows[1:])) if rows and rows[0].hash == known[-1].hash else ()
        found = known or tuple(parse(row) for row in self.rows(number)[0])
        with self._lock:
            self._known[number] = found
            self._known.move_to_end(number)
            while len(self._known) > _KEPT:
                self._known.popitem(last=False)
        return found

    def rows(self, number: str) -> tuple[tuple[Row, ...], tuple[int, str]]:
        """Return the journal as stored, and the sequence number and hash that the store says it ends with.

        Raises:
            WrongUse: there is no such job.
        """
        with self._transaction() as connection:
            head = _head(connection, number)
            if head is None:
                raise self._no_such(number)
            query = sa.select(*_columns).where(_entries.c.job == number).order_by(_entries.c.seq)
            rows = tuple(Row(*row) for row in connection.execute(query))
        return rows, head

    def integrity(self) -> tuple[str, ...]:
        """Return what the database engine itself finds wrong with its file; empty where it is sound."""
        with self._transaction() as connection:
            found = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        return (*(str(line) for line in found if line != "ok"), *(f"foreign key: {tuple(row)}" for row in broken))

    def _no_such(self, number: str) -> WrongUse:
        return WrongUse(f"There is no job {number!r} in {self.home}; sayback jobs lists them.")

    def _prepare(self) -> None:
        with self._transaction() as connection:
            fresh = not sa.inspect(connection).has_table("meta")
        if fresh:
            with self._transaction(write=True) as connection:
                _tables.create_all(connection)
                if connection.execute(sa.select(_meta)).first() is None:
                    connection.execute(sa.insert(_meta).values(name="layout", value=str(_LAYOUT)))
            with disk.told_plainly(self.home):
                disk.fsync_folder(self.home)
        with self._transaction() as connection:
            layout = connection.execute(sa.select(_meta.c.value).where(_meta.c.name == "layout")).scalar()
        if layout != str(_LAYOUT):
            raise StoreFailed(
                f"The store {self.home} has layout {layout}, this sayback reads {_LAYOUT}; install the newer sayback."
            )

    @contextmanager
    def _transaction(self, *, write: bool = False) -> Iterator[sa.Connection]:
        try:
            with self._engine.connect() as connection:
                connection.execution_options(sayback_write=write)
                with connection.begin():
                    yield connection
        except (DBAPIError, sqlite3.Error) as error:
            raise StoreFailed(_sentence(self.home, error)) from error


def engine_of(file: Path, *, durable: bool = True) -> sa.Engine:
    """Return an engine on an SQLite file.

    A transaction is on the disk once it is committed. Not ``durable``: the last ones may be undone by a power failure,
    which is enough for what can be made again.
    """
    address = sa.URL.create("sqlite", database=str(file))
    engine = sa.create_engine(address, connect_args={"timeout": _BUSY_SECONDS})

    @sa.event.listens_for(engine, "connect")
    def _connect(connection: sqlite3.Connection, _: object) -> None:
        connection.isolation_level = None  # the driver opens no transaction of its own; _begin does
        for pragma in ("journal_mode=WAL", f"synchronous={'FULL' if durable else 'NORMAL'}", "foreign_keys=ON"):
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        # A writer takes its place at once: a reader that turns writer midway could neither wait nor go on.
        writes = connection.get_execution_options().get("sayback_write")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _head(connection: sa.Connection, number: str) -> tuple[int, str] | None:
    row = connection.execute(_HEAD, {"wanted": number}).first()
    return (row.seq, row.hash) if row else None


def _keys(connection: sa.Connection, number: str, keys: Sequence[str]) -> set[str | None]:
    if not keys:
        return set()
    query = sa.select(_entries.c.key).where(_entries.c.job == number, _entries.c.key.in_(keys))
    return set(connection.execute(query).scalars())


def _sentence(home: Path, error: Exception) -> str:
    cause = error.orig if isinstance(error, DBAPIError) else error
    said = str(cause).lower()
    code = str(getattr(cause, "sqlite_errorname", ""))
    kept = "What was reported as added is safe."
    if code.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return f"The store {home} is in use by another program that does not let go; close it and try again. {kept}"
    if code.startswith("SQLITE_FULL"):
        return f"The disk of {home} is full; free some space and run the same command again. {kept}"
    if code.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")):
        return f"The store {home} cannot be written; make the folder writable or set SAYBACK_HOME to another one."
    if code.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return (
            f"The store {home}/book.sqlite is damaged ({said}); do not delete it: copy the whole folder away, "
            "restore the last back-up, and add the evidence of the days since again."
        )
    if code.startswith("SQLITE_IOERR"):
        return f"The disk of {home} reported a read or write error; check it, then run the same command again. {kept}"
    return f"The store {home} refused ({said}); run the same command again, and sayback verify. {kept}"
