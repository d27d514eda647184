"""One row a job, so that a list of many thousand jobs is quick: kept beside the journals and made from them.

The file may be deleted at any time; nothing is in it that the journals do not say. A row carries the hash of the
journal that it was made from, and is made anew as soon as that is no longer the journal's end.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import sqlalchemy as sa

from jobs.book import job_of, sheet_of
from jobs.findings import findings_of
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.reserve import Waiting, waiting_for
from jobs.stops import undealt
from jobs.store import Store, engine_of
from schemas.errors import SaybackError
from schemas.findings import Finding
from schemas.questions import Question

__all__ = ["ORDERS", "PAGE", "Order", "Page", "Summaries", "Summary", "summary_of"]

PAGE = 50
"""Jobs on one page of the list."""

Order = Literal["opened", "site", "technician", "number", "open", "outside", "stops"]
ORDERS: tuple[Order, ...] = get_args(Order)
"""What the list can be sorted by."""

_LAYOUT = "3"
_tables = sa.MetaData()
_rows = sa.Table(
    f"summary_{_LAYOUT}",
    _tables,
    sa.Column("number", sa.String(64), primary_key=True),
    sa.Column("hash", sa.String(64), nullable=False),
    sa.Column("site", sa.Text, nullable=False),
    sa.Column("customer", sa.Text, nullable=False),
    sa.Column("appliances", sa.Text, nullable=False),
    sa.Column("technician", sa.Text, nullable=False, index=True),
    sa.Column("opened", sa.String(40), nullable=False, index=True),
    sa.Column("questions", sa.Integer, nullable=False),
    sa.Column("missing", sa.Integer, nullable=False),
    sa.Column("waiting", sa.Integer, nullable=False),
    sa.Column("sent", sa.Integer, nullable=False),
    sa.Column("desk", sa.Integer, nullable=False, index=True),
    sa.Column("outside", sa.Integer, nullable=False),
    sa.Column("stops", sa.Integer, nullable=False),
    sa.Column("unread", sa.Integer, nullable=False),
    sa.Column("closed", sa.Boolean, nullable=False),
    sa.Column("again", sa.Boolean, nullable=False),
    sa.Column("fault", sa.Text, nullable=False),
    sa.Column("words", sa.Text, nullable=False),
)


@dataclass(frozen=True)
class Summary:
    """A job in one line. ``open`` counts questions and what is missing; ``desk`` the questions the office can answer.

    ``waiting`` is what only the technician can settle, ``sent`` how much of it was sent back. ``fault`` says why a
    journal could not be read; the counts are then 0.
    """

    number: str
    hash: str
    site: str = ""
    customer: str = ""
    appliances: str = ""
    technician: str = ""
    opened: str = ""
    questions: int = 0
    missing: int = 0
    waiting: int = 0
    sent: int = 0
    desk: int = 0
    outside: int = 0
    stops: int = 0
    unread: int = 0
    closed: bool = False
    again: bool = False
    """Something has come to it since it was closed."""
    fault: str = ""

    @property
    def open(self) -> int:
        """All that is open."""
        return self.questions + self.missing


@dataclass(frozen=True)
class Page:
    """One page of the list; ``total`` counts all jobs that were found, ``behind`` those whose row is being made."""

    jobs: tuple[Summary, ...]
    total: int
    number: int
    behind: int

    @property
    def pages(self) -> int:
        """How many pages there are, at least one."""
        return max(1, -(-self.total // PAGE))


class Summaries:
    """The rows of one store. Made to be used by several threads."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._engine = engine_of(store.home / "summary.sqlite", durable=False)
        self._lock = threading.Lock()
        self._known: dict[str, str] = {}
        self._stamp: tuple[int, int] | None = None
        self.version = 0
        """Goes up by one whenever a row changes."""
        self.behind = 0
        """How many rows are known to be out of date."""
        with self._engine.begin() as connection:
            _tables.create_all(connection)
            # What could not be read is tried again at each start: somebody may have put it right.
            whole = sa.select(_rows.c.number, _rows.c.hash).where(_rows.c.fault == "")
            self._known = {row.number: row.hash for row in connection.execute(whole)}

    def close(self) -> None:
        """Close the database."""
        self._engine.dispose()

    def refresh(self, number: str) -> Summary:
        """Make the row of one job anew and return it."""
        made = _summary(self._store, number)
        self.put(made)
        return made

    def put(self, made: Summary) -> None:
        """Keep a row that was made elsewhere, with :func:`summary_of`."""
        with self._lock:
            self._put([made])

    def catch_up(self, most: int = 100) -> int:
        """Make at most so many rows anew that are out of date, and return how many still are."""
        stamp = self._store.stamp()
        if stamp == self._stamp:
            return 0  # ten thousand heads take a tenth of a second, in which nobody gets a page
        heads = self._store.heads()
        stale = [number for number, (_, last) in heads.items() if self._known.get(number) != last]
        self.behind = len(stale)
        gone = [number for number in self._known if number not in heads]
        made = [_summary(self._store, number) for number in stale[:most]]
        if made or gone:
            with self._lock:
                self._put(made, gone)
        self.behind = len(stale) - len(made)
        if not self.behind:
            self._stamp = stamp
        return self.behind

    def page(self, words: str = "", order: Order = "opened", *, down: bool = True, number: int = 1) -> Page:
        """Return one page of the jobs that have all the given words in site, customer, appliance, person or number."""
        assert order in ORDERS
        wanted = [_rows.c.words.contains(word, autoescape=True) for word in words.casefold().split()]
        column = {"open": _rows.c.questions + _rows.c.missing}.get(order, _rows.c.get(order))
        assert column is not None
        by = column.desc() if down else column.asc()
        with self._engine.connect() as connection:
            total = connection.execute(sa.select(sa.func.count()).select_from(_rows).where(*wanted)).scalar() or 0
            number = min(max(1, number), max(1, -(-total // PAGE)))
            query = sa.select(_rows).where(*wanted).order_by(by, _rows.c.opened.desc(), _rows.c.number)
            found = connection.execute(query.limit(PAGE).offset((number - 1) * PAGE)).mappings().all()
        return Page(tuple(_read(row) for row in found), total, number, self.behind)

    def with_questions(self, after: str = "", *, reserved: bool = False) -> str | None:
        """Return the next job behind ``after``, in the order they were opened, that has a question for the office.

        With ``reserved`` those count too that only the technician can settle. The search goes round; the job itself
        comes last.
        """
        with self._engine.connect() as connection:
            counted = _rows.c.questions if reserved else _rows.c.desk
            query = sa.select(_rows.c.number).where(counted > 0, ~_rows.c.closed)
            order = (_rows.c.opened, _rows.c.number)
            opened = connection.execute(sa.select(*order).where(_rows.c.number == after)).first()
            if opened is not None:
                later = query.where(sa.tuple_(*order) > sa.tuple_(opened.opened, after))
                if found := connection.execute(later.order_by(*order).limit(1)).scalar():
                    return str(found)
            first = connection.execute(query.order_by(*order).limit(1)).scalar()
        return None if first is None else str(first)

    def of_technician(self, name: str) -> tuple[str, ...]:
        """Return the numbers of the jobs that have something waiting for a technician, oldest first."""
        with self._engine.connect() as connection:
            mine = (_rows.c.technician == name, _rows.c.waiting > 0, ~_rows.c.closed)
            query = sa.select(_rows.c.number).where(*mine).order_by(_rows.c.opened, _rows.c.number)
            return tuple(connection.execute(query).scalars())

    def technicians(self) -> tuple[tuple[str, int, int], ...]:
        """Return the technicians that something waits for: name, how much waits, how much of it was sent back."""
        counted = (sa.func.sum(_rows.c.waiting), sa.func.sum(_rows.c.sent))
        query = sa.select(_rows.c.technician, *counted).where(_rows.c.waiting > 0, ~_rows.c.closed)
        with self._engine.connect() as connection:
            found = connection.execute(query.group_by(_rows.c.technician).order_by(_rows.c.technician)).all()
        return tuple((str(name), int(waits), int(sent)) for name, waits, sent in found)

    def _put(self, made: Sequence[Summary], gone: Sequence[str] = ()) -> None:
        with self._engine.connect() as connection:
            connection.execution_options(sayback_write=True)
            with connection.begin():
                numbers = [*gone, *(one.number for one in made)]
                connection.execute(sa.delete(_rows).where(_rows.c.number.in_(numbers)))
                if made:
                    connection.execute(sa.insert(_rows), [{**vars(one), "words": _words(one)} for one in made])
        self._known |= {one.number: one.hash for one in made}
        for number in gone:
            self._known.pop(number, None)
        self.version += 1


def _summary(store: Store, number: str) -> Summary:
    last = store.head(number)[1]
    try:
        job = job_of(store, number)
        sheet = sheet_of(store, job.head)
        findings = [one for one in findings_of(store, job) if not one.superseded]
        questions = open_questions(job, sheet)
        waiting = waiting_for(job, sheet, questions, findings)
    except SaybackError as error:
        # One job that cannot be read must not take the list away from all the others.
        return Summary(number, last, fault=str(error))
    return summary_of(job, findings, questions, waiting)


def summary_of(
    job: Job, findings: Sequence[Finding], questions: Sequence[Question], waiting: Sequence[Waiting]
) -> Summary:
    """Return the row of a job; ``findings`` are those that are not superseded."""
    asked = {one.question.id for one in waiting if one.question is not None}
    return Summary(
        number=job.number,
        hash=job.hash,
        site=job.head.site,
        customer=job.head.customer,
        appliances=", ".join(one.tag for one in job.appliances),
        technician=job.head.technician,
        opened=job.head.created.isoformat(timespec="seconds"),
        questions=len(questions),
        missing=sum(1 for one in findings if one.verdict == "missing"),
        waiting=len(waiting),
        sent=sum(1 for one in waiting if one.seq is not None),
        desk=sum(1 for one in questions if one.id not in asked),
        outside=sum(1 for one in findings if one.verdict in ("outside", "conflicting")),
        stops=len({one.finding.rule for one in undealt(job, findings)}),
        unread=len(job.unread),
        closed=job.closed is not None,
        again=bool(job.since_closing),
    )


def _words(one: Summary) -> str:
    return "\n".join([one.number, one.site, one.customer, one.appliances, one.technician, one.opened[:10]]).casefold()


def _read(row: sa.RowMapping) -> Summary:
    return Summary(**{name: value for name, value in row.items() if name != "words"})
