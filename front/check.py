"""``sayback check``: what the checks say, grouped by what to do now."""

from __future__ import annotations

from collections.abc import Sequence

import typer

from front.options import JobNumber, Json
from front.screen import out, print_hung, print_json, unheard
from jobs.book import sheet_of
from jobs.findings import check_job
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.spool import seconds_left
from jobs.stops import StopOfJob, stops_of, undealt
from jobs.store import Store, home_folder
from schemas.errors import ExitCode
from schemas.findings import Finding, Verdict

__all__ = ["GROUPS", "in_words", "is_open", "print_findings", "put_on"]

GROUPS: tuple[tuple[str, tuple[Verdict, ...]], ...] = (
    ("Take care", ("caution",)),
    ("Cannot all be right: measure again", ("conflicting",)),
    ("Outside the limits", ("outside",)),
    ("Look again", ("look again",)),
    ("Cannot tell", ("cannot tell",)),
    ("Still missing", ("missing",)),
    ("Within the limits", ("within",)),
)
"""Headings by what to do now, in this order, each with the verdicts that stand under it; stops are told before."""


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(check)


def check(job: JobNumber, json: Json = False) -> int:
    """Check a job against limits, relations, physics and the sheet; exit code 1 if anything is open."""
    with Store(home_folder()) as store:
        one = check_job(store, job)
        sheet = sheet_of(store, one.head)
        left = seconds_left(store.home, one)
    questions = open_questions(one, sheet)
    if json:
        print_json(
            {
                "job": job,
                "position": one.checked_at,
                "findings": one.findings,
                "questions": len(questions),
                "unread_seconds": left,
            }
        )
    else:
        for line in sheet.cautions:
            out().print(line)
        print_findings(one, one.findings)
        if undealt(one, one.findings):
            out().print(f"\nTo record what was done about a stop: sayback stops {job}")
        if questions:
            are = "1 question is" if len(questions) == 1 else f"{len(questions)} questions are"
            out().print(f"\n{are} open: sayback ask {job}")
        if left:
            out().print(f"\n{unheard(job, left)}")
    return int(ExitCode.FINDINGS_OPEN if questions or left or is_open(one) else ExitCode.DONE)


def is_open(job: Job) -> bool:
    """Say whether there is anything to do; a stop that somebody has dealt with is done."""
    findings = (one for one in job.findings if one.verdict not in ("within", "stop") and not one.superseded)
    return any(findings) or bool(undealt(job, job.findings))


def print_findings(job: Job, findings: Sequence[Finding], *, leave_out: tuple[Verdict, ...] = ()) -> None:
    """Print findings on a job under headings that say what to do now, its stops with what was done about them."""
    stops = stops_of(job, findings)
    for heading, mine in (
        ("Stop work and see to this first", [one for one in stops if one.open and not one.finding.past]),
        ("Stopped the work before, and nobody has recorded what was done about it", _past(stops)),
        ("Stopped the work, and was dealt with", [one for one in stops if not one.open]),
    ):
        if mine:
            out().print(f"\n{heading} ({len(mine)})")
        for each in mine:
            print_hung(in_words(each.finding))
            before = " before it was told again" if each.open else ""
            for done in each.done:
                print_hung(f"What was done{before}: {done.told}", 4)
    for heading, kinds in GROUPS:
        # The same words said again are another finding, and are printed once.
        told = {(one.appliance, one.text): one for one in findings if one.verdict in kinds and not one.superseded}
        if not told or kinds[0] in leave_out:
            continue
        out().print(f"\n{heading} ({len(told)})")
        for one in told.values():
            print_hung(in_words(one))


def _past(stops: Sequence[StopOfJob]) -> list[StopOfJob]:
    return [one for one in stops if one.open and one.finding.past]


def in_words(one: Finding) -> str:
    """Return a finding as it is printed, with its appliance and its source."""
    place = f"{one.appliance}: " if one.appliance else ""
    return f"{place}{one.text}" + (f" [{one.basis}]" if one.basis else "")
