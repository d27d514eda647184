"""``sayback stops``: what stops the work on a job, and recording what was done about it."""

from __future__ import annotations

import os
import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from front.check import in_words
from front.options import JobNumber, Json
from front.screen import out, print_hung, print_json
from jobs.decisions import stop_dealt_with
from jobs.findings import check_job
from jobs.stops import StopOfJob, stops_of
from jobs.store import Store, home_folder
from schemas.errors import ExitCode, WrongUse

__all__ = ["put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(stops)


def stops(
    job: JobNumber,
    about: Annotated[str | None, typer.Option(help="The mark of the stop, as it is listed.", metavar="MARK")] = None,
    done: Annotated[str | None, typer.Option(help="With --about: what was done about it, in a few words.")] = None,
    by: Annotated[str | None, typer.Option(help="Who did it, a technician; else $SAYBACK_BY.")] = None,
    json: Json = False,
) -> int:
    """List what stops the work or stopped it, and record what was done. Exit code 1 while that is not said of a stop.

    It takes nothing away: the stop stays in the record. A mark is of a stop as it is listed; what comes to light of it
    later has another, and is still to be dealt with.
    """
    if (about is None) != (done is None):
        raise WrongUse("Say both which stop and what was done: --about MARK --done 'WHAT'.")
    with Store(home_folder()) as store:
        one = check_job(store, job)
        if about is not None and done is not None:
            seen = _of_mark(stops_of(one, one.findings), about, job).together
            stop_dealt_with(store, job, seen, what=done, by=_technician(store.home, by))
            one = check_job(store, job)
    found = stops_of(one, one.findings)
    if json:
        print_json({"job": job, "stops": [_data(each) for each in found]})
    elif not found:
        out().print(f"Nothing stops the work on job {job}.")
    else:
        _print(found, job)
    return int(ExitCode.FINDINGS_OPEN if any(each.open for each in found) else ExitCode.DONE)


def _of_mark(found: Sequence[StopOfJob], mark: str, job: str) -> StopOfJob:
    for each in found:
        if each.open and each.mark == mark:
            return each
    raise WrongUse(f"Job {job} has no stop {mark!r} to be dealt with as it was listed; sayback stops {job} lists them.")


def _technician(home: Path, by: str | None) -> str:
    """Return who says so: a person by name, and nobody who is known at the office's page as one of the office."""
    from front.office.people import is_of_office, named

    name = by or os.environ.get("SAYBACK_BY")
    if not name:
        raise WrongUse("What was done about a stop is recorded by name; say who did it with --by.")
    name = named(name)
    if is_of_office(home, name):
        raise WrongUse(f"What was done about a stop is the technician's word; {name} is known as one of the office.")
    return name


def _print(found: Sequence[StopOfJob], job: str) -> None:
    """Print the stops, those of one cause under their mark, which is to be dealt with as a whole."""
    causes: dict[str, list[StopOfJob]] = {}
    for each in found:
        causes.setdefault(each.mark if each.open else "", []).append(each)
    for place, (mark, mine) in enumerate(sorted(causes.items(), key=lambda cause: not cause[0])):
        if place:
            out().print()
        same = f": {len(mine)} stops of one cause" if len(mine) > 1 else ""
        out().print(f"{mark}, not dealt with yet{same}" if mark else "Dealt with")
        for each in mine:
            past = "stopped the work before: " if each.finding.past and mark else ""
            print_hung(f"{past}{in_words(each.finding)}")
            again = " before it was told again" if each.open else ""
            for done in each.done:
                print_hung(f"What was done{again}: {done.told}", 4)
        if mark:
            command = f"sayback stops {shlex.quote(job)} --about {mark} --done WHAT --by NAME"
            out().print(f"  Record what was done: {command}")


def _data(each: StopOfJob) -> dict[str, object]:
    return {
        "mark": each.mark if each.open else None,
        "open": bool(each.open),
        "finding": each.finding,
        "done": [vars(one) for one in each.done],
    }
