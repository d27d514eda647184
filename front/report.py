"""``sayback report``: the report of a job as HTML, PDF, CSV and JSON."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from front.options import JobNumber, Json
from front.screen import out, print_json, unheard
from jobs.book import appliance_file_of, sheet_of
from jobs.findings import check_job
from jobs.fold import Job
from jobs.report import report_of
from jobs.report_data import Report
from jobs.report_files import BESIDE, PAPERS, write_report
from jobs.spool import seconds_left
from jobs.store import Store, home_folder
from schemas.errors import WrongUse

__all__ = ["made_report", "put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(report)


def report(
    job: JobNumber,
    to: Annotated[Path, typer.Option(help="The folder to write into.")] = Path(),
    paper: Annotated[str, typer.Option(help="letter or a4.")] = "letter",
    beside: Annotated[str, typer.Option(help="Units to follow each value that was said in others: us or metric.")] = "",
    json: Json = False,
) -> None:
    """Write the report. One with something open says "draft" and how much on each page."""
    if paper not in PAPERS:
        raise WrongUse(f"--paper {paper!r} is not known; say {' or '.join(PAPERS)}.")
    if beside not in ("", *BESIDE):
        raise WrongUse(f"--beside {beside!r} is not known; say {' or '.join(BESIDE)}.")
    with Store(home_folder()) as store:
        one, data = made_report(store, job, beside=BESIDE.get(beside))
        left = seconds_left(store.home, one)
        paths = write_report(store, one, sheet_of(store, one.head), data, to, paper=paper)
    if json:
        print_json({"job": job, "status": data.status, "files": [str(path) for path in paths]})
    else:
        out().print(f"Report of job {job}, {data.status}:")
        if left:
            out().print(unheard(job, left))
        for path in paths:
            out().print(f"  {path}")


def made_report(store: Store, number: str, *, beside: Literal["us", "uk"] | None = None) -> tuple[Job, Report]:
    """Check a job and return it with its report."""
    job = check_job(store, number)
    sheet = sheet_of(store, job.head)
    files = [(appliance_file_of(store, one), one.file_sha256) for one in job.appliances]
    left = seconds_left(store.home, job)
    return job, report_of(job, sheet, job.findings, files, store.entries(number), beside=beside, unheard=left)
