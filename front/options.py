"""Arguments and options that several commands share."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from jobs.fold import Job

__all__ = ["By", "JobNumber", "Json", "author"]

JobNumber = Annotated[str, typer.Argument(metavar="JOB", help="The job's number; sayback jobs lists them.")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON instead.")]
By = Annotated[
    str | None,
    typer.Option("--by", help="Who says so; else $SAYBACK_BY, else the job's technician.", show_default=False),
]


def author(by: str | None, job: Job) -> str:
    """Return who is at work."""
    return by or os.environ.get("SAYBACK_BY") or job.head.technician
