"""``sayback add``: sound, pictures and typed lines into a job, with progress while they are heard and looked at."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

from front.clock import proposal_line
from front.options import By, JobNumber, Json, author
from front.screen import clock, note, out, print_json, standing
from jobs.add import Added, Event, Named, Typed
from jobs.add import Progress as Progressed
from jobs.add import add as add_to_job
from jobs.book import job_of, sheet_of
from jobs.fold import Job
from jobs.photo_clock import proposed
from jobs.questions import open_questions
from jobs.senses import Senses, senses
from jobs.spool import take_up
from jobs.store import Store, home_folder
from schemas.errors import ExitCode, WrongUse
from schemas.evidence import Look, Utterance

__all__ = ["Shown", "moment_of", "put_on", "taken_up"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(add)


def add(
    job: JobNumber,
    files: Annotated[list[Path] | None, typer.Argument(metavar="FILE…", help="Sound and pictures, any number.")] = None,
    text: Annotated[list[str] | None, typer.Option("--text", help="A line of typed text, as it would be said.")] = None,
    at: Annotated[str | None, typer.Option(help="When it was taken, with zone: 2026-03-04T09:30:00-05:00.")] = None,
    model: Annotated[
        str | None, typer.Option(help="A speech model: a folder, or a size name that is on this disk.")
    ] = None,
    by: By = None,
    json: Json = False,
) -> int:
    """Add evidence to a job and read it. Run it again after an interruption: it goes on where it stopped."""
    given: list[Path | Typed] = [*(files or []), *(Typed(line) for line in text or [])]
    with Store(home_folder()) as store:
        before = job_of(store, job)
        sheet = sheet_of(store, before.head)
        sense, person = senses(model, sheet=sheet), author(by, before)
        with Shown(quiet=json) as shown:
            after = taken_up(store, before, sense, person, shown)
            if not given and not after.unread and after is before:
                raise WrongUse("Name at least one file, or a line with --text.")
            added = add_to_job(
                store,
                job,
                given,
                senses=sense,
                author=person,
                at=moment_of(at),
                progress=shown,
            )
        questions = open_questions(added.job, sheet)
        off = proposal_line(added.job, proposed(store, added.job))
    if json:
        print_json(
            {
                "job": job,
                "kept": added.kept,
                "there_already": added.there,
                "refused": [vars(one) for one in added.refused],
                "unread": [vars(one) for one in added.unread],
                "readings": len(added.job.readings),
                "questions": len(questions),
            }
        )
    else:
        _tell(job, added, len(questions), off)
    return int(ExitCode.BAD_INPUT if added.refused or added.unread else ExitCode.DONE)


def taken_up(store: Store, job: Job, sense: Senses, by: str, progress: Progressed = lambda event: None) -> Job:
    """File and read the sound that a listening which was killed has left of a job, and return the job."""

    def file(left: Sequence[Named]) -> Job:
        return add_to_job(store, job.number, left, senses=sense, author=by, progress=progress).job

    return take_up(store.home, job, file)


def moment_of(text: str | None) -> datetime | None:
    """Return the moment that an RFC 3339 text names, None for None.

    Raises:
        WrongUse: it names none, or has no zone.
    """
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise WrongUse(f"{text!r} is not a time; write it as 2026-03-04T09:30:00-05:00.") from None
    if moment.utcoffset() is None:
        raise WrongUse(f"{text!r} has no zone; write it as 2026-03-04T09:30:00-05:00.")
    return moment


def _tell(job: str, added: Added, questions: int, off: str) -> None:
    taken = sum(1 for row in added.job.rows.values() if row.how not in ("open", "left out"))
    out().print(standing(job, taken, questions))
    if off:
        out().print(off)
    if questions:
        out().print(f"Next: sayback ask {job}")


class Shown:
    """Shows what is being done: a bar on a terminal, plain lines elsewhere; refusals always."""

    def __init__(self, *, quiet: bool = False) -> None:
        self._quiet = quiet
        console = Console(file=sys.stderr, highlight=False, emoji=False, markup=False)
        self._bar: Progress | None = None
        if console.is_terminal and not quiet:
            shape = (TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn())
            self._bar = Progress(*shape, console=console, transient=True)
        self._console = console
        self._tasks: dict[str, TaskID] = {}

    def __enter__(self) -> Shown:
        if self._bar:
            self._bar.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar:
            self._bar.stop()

    def __call__(self, event: Event) -> None:
        """Show one event."""
        if event.kind == "refused":
            note(f"not added: {event.why}")
        elif event.kind == "unread":
            note(f"kept, but not read: {event.why}")
        elif self._quiet:
            return
        elif event.kind == "hearing":
            self._advance(event)
        elif event.kind == "kept":
            self._line(f"kept     {event.name}" + (f" ({event.why})" if event.why else ""))
        elif event.kind == "there":
            self._line(f"there    {event.name} is in the job already")
        elif isinstance(event.found, Utterance):
            self._line(f"heard    {event.name} {clock(event.found.start)}  {event.found.text}")
        elif isinstance(event.found, Look):
            self._line(f"seen     {event.name}  {_figures(event.found)}")
            for advice in event.found.advice:
                self._line(f"         {advice}")

    def _advance(self, event: Event) -> None:
        if self._bar is None:
            return
        if event.sha256 not in self._tasks:
            self._tasks[event.sha256] = self._bar.add_task(f"hearing {event.name}", total=event.seconds)
        self._bar.update(self._tasks[event.sha256], completed=event.done)

    def _line(self, text: str) -> None:
        (self._bar.console if self._bar else self._console).print(text, soft_wrap=True)


def _figures(look: Look) -> str:
    shown = [" ".join(part for part in (one.label, one.value, one.unit) if part) for one in look.figures]
    return "; ".join(shown) if shown else "no figure that can be read"
