"""``sayback check``: what the checks say, grouped by what to do now."""

from __future__ import annotations

from collections.abc import Sequence

import typer

from front.options import JobNumber, Json
from front.screen import out, print_json, unheard
from jobs.book import sheet_of
from jobs.findings import check_job
from jobs.questions import open_questions
from jobs.spool import seconds_left
from jobs.store import Store, home_folder
from schemas.errors import ExitCode
from schemas.findings import Finding, Verdict

__all__ = ["GROUPS", "is_open", "print_findings", "put_on"]

GROUPS: tuple[tuple[str, tuple[Verdict, ...]], ...] = (
    ("Stop work and see to this first", ("stop",)),
    ("Take care", ("caution",)),
    ("Cannot all be right: measure again", ("conflicting",)),
    ("Outside the limits", ("outside",)),
    ("Look again", ("look again",)),
    ("Cannot tell", ("cannot tell",)),
    ("Still missing", ("missing",)),
    ("Within the limits", ("within",)),
)
"""Headings by what to do now, in this order, each with the verdicts that stand under it."""


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
        print_findings(one.findings)
        if questions:
            are = "1 question is" if len(questions) == 1 else f"{len(questions)} questions are"
            out().print(f"\n{are} open: sayback ask {job}")
        if left:
            out().print(f"\n{unheard(job, left)}")
    return int(ExitCode.FINDINGS_OPEN if questions or left or is_open(one.findings) else ExitCode.DONE)


def is_open(findings: Sequence[Finding]) -> bool:
    """Say whether there is anything to do."""
    return any(one.verdict != "within" and not one.superseded for one in findings)


def print_findings(findings: Sequence[Finding], *, leave_out: tuple[Verdict, ...] = ()) -> None:
    """Print findings under headings that say what to do now."""
    for heading, kinds in GROUPS:
        # The same words said again are another finding, and are printed once.
        told = {(one.appliance, one.text): one for one in findings if one.verdict in kinds and not one.superseded}
        mine = list(told.values())
        if not mine or kinds[0] in leave_out:
            continue
        out().print(f"\n{heading} ({len(mine)})")
        for one in mine:
            place = f"{one.appliance}: " if one.appliance else ""
            out().print(f"  {place}{one.text}" + (f" [{one.basis}]" if one.basis else ""))
