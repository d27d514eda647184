"""What the pages are made of: one job, folded and judged, kept in memory as long as its journal ends as it did."""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from starlette.background import BackgroundTask

from front.show import verdicts
from jobs.book import sheet_of
from jobs.doings import names_in
from jobs.findings import findings_of, keep_findings
from jobs.fold import Job, fold, with_findings
from jobs.journal import (
    TOOL,
    Answered,
    DoesNotApply,
    Edited,
    Entry,
    HeadChanged,
    LimitReadBack,
    SentBack,
    StopDealtWith,
    Undone,
)
from jobs.moving import MOVES
from jobs.questions import open_questions
from jobs.reserve import Waiting, waiting_for
from jobs.store import JournalMoved, Store
from jobs.summary import Summaries, summary_of
from jobs.told import read_back
from schemas.errors import SaybackError, WrongUse
from schemas.findings import Finding, Limit
from schemas.questions import Question
from schemas.sheet import Sheet

__all__ = ["Desk", "Opened"]

_log = logging.getLogger("sayback.office")
_KEPT = 64
UNDOABLE = (Answered, Edited, LimitReadBack, DoesNotApply, SentBack, StopDealtWith, HeadChanged, *MOVES)


@dataclass(frozen=True)
class Opened:
    """A job with all that its pages show."""

    store: Store
    entries: Sequence[Entry]
    job: Job
    sheet: Sheet

    @cached_property
    def found(self) -> tuple[Finding, ...]:
        """All findings, as the journal keeps them. Worked out when first asked for: a question needs none."""
        return findings_of(self.store, self.job)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """The findings that still count."""
        return tuple(one for one in self.found if not one.superseded)

    @cached_property
    def questions(self) -> tuple[Question, ...]:
        """All that is asked."""
        return open_questions(self.job, self.sheet)

    @cached_property
    def waiting(self) -> tuple[Waiting, ...]:
        """What waits for the technician."""
        return tuple(waiting_for(self.job, self.sheet, self.questions, self.findings))

    @cached_property
    def verdicts(self) -> Mapping[str, str]:
        """The gravest verdict on each reading, on those as found too."""
        return verdicts(self.found, as_found=True)

    @cached_property
    def limits(self) -> Mapping[str, Limit]:
        """The limit that each reading was judged by."""
        return {key: one.limit for one in reversed(self.found) if one.limit is not None for key in one.readings}

    @cached_property
    def waits(self) -> Mapping[str, Waiting]:
        """The questions that wait for the technician, by id."""
        asked = waiting_for(self.job, self.sheet, self.questions, ())
        return {one.question.id: one for one in asked if one.question is not None}

    @cached_property
    def desk_questions(self) -> tuple[Question, ...]:
        """The questions that the office can answer."""
        return tuple(one for one in self.questions if one.id not in self.waits)

    @cached_property
    def missing(self) -> tuple[Finding, ...]:
        """What the sheet requires and the job does not have."""
        return tuple(one for one in self.findings if one.verdict == "missing" and not one.superseded)

    @cached_property
    def stops(self) -> tuple[Finding, ...]:
        """What stops the work, dealt with or not."""
        return tuple(one for one in self.findings if one.verdict == "stop")

    @cached_property
    def by_people(self) -> tuple[Entry, ...]:
        """What people decided and can take back, oldest first, without what was taken back."""
        undone = {entry.body.seq for entry in self.entries if isinstance(entry.body, Undone)}
        mine = (entry for entry in self.entries if isinstance(entry.body, UNDOABLE) and entry.author != TOOL)
        return tuple(entry for entry in mine if entry.seq not in undone)

    @cached_property
    def aloud(self) -> frozenset[str]:
        """The readings that were read back as they stand."""
        return read_back(self.entries, self.job)

    @cached_property
    def names(self) -> dict[str, str]:
        """The names of all evidence that was ever in the job, by hash."""
        return names_in(self.entries)

    def question(self, name: str) -> Question:
        """Return an open question.

        Raises:
            WrongUse: it is not open, or never was one.
        """
        for one in self.questions:
            if one.id == name:
                return one
        raise WrongUse("That question is not open any more; it was answered, or its readings changed.")


class Desk:
    """The store, the list beside it, and the jobs that were opened last."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.summaries = Summaries(store)
        self._opened: OrderedDict[str, Opened] = OrderedDict()
        self._lock = threading.Lock()

    def close(self) -> None:
        """Close what this opened itself; the store is the caller's."""
        self.summaries.close()

    def open(self, number: str) -> Opened:
        """Return a job as it stands.

        Raises:
            WrongUse: there is no such job.
        """
        last = self.store.head(number)[1]
        with self._lock:
            kept = self._opened.get(number)
        if kept is not None and kept.job.hash == last:
            return kept
        return self._keep(opened(self.store, self.store.entries(number)))

    def _judged(self, number: str) -> tuple[Opened, tuple[Entry, ...]]:
        while True:
            made = self.open(number)
            try:
                return made, keep_findings(self.store, made.job, made.found)
            except JournalMoved:
                continue  # somebody else was at it too

    def _keep(self, made: Opened) -> Opened:
        with self._lock:
            self._opened[made.job.number] = made
            self._opened.move_to_end(made.job.number)
            while len(self._opened) > _KEPT:
                self._opened.popitem(last=False)
        return made

    def changed(self, number: str) -> Opened:
        """Judge a job anew after a decision, bring its line in the list up to date, and return it."""
        made, added = self._judged(number)
        if added:
            # That the findings were kept changes nothing that they were worked out from.
            job = with_findings(made.job, added[-1])
            made = self._keep(_judged_as(made, Opened(made.store, (*made.entries, *added), job, made.sheet)))
        self.summaries.put(summary_of(made.job, made.findings, made.questions, made.waiting))
        return made

    def judge_later(self, number: str) -> BackgroundTask:
        """Return the task that does as :meth:`changed` once the answer is on its way.

        If it is never done, nothing is lost: findings are worked out for whoever looks, and the list catches up.
        """

        def judge() -> None:
            try:
                self.changed(number)
            except SaybackError as error:
                _log.error("job %s was not judged after a decision: %s", number, error)

        return BackgroundTask(judge)

    def as_it_was(self, number: str, position: int) -> Opened:
        """Return a job as it stood after an entry of its journal."""
        entries = self.open(number).entries
        return opened(self.store, entries[: max(1, min(position, len(entries)))])


def _judged_as(before: Opened, made: Opened) -> Opened:
    """Return ``made`` with what was worked out of the same readings before."""
    for name in ("found", "findings", "questions", "waiting", "waits"):
        made.__dict__[name] = getattr(before, name)
    return made


def opened(store: Store, entries: Sequence[Entry]) -> Opened:
    """Return the job that entries tell."""
    job = fold(entries)
    return Opened(store, entries, job, sheet_of(store, job.head))
