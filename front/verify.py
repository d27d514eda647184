"""``sayback verify``: is everything as it was written?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from front.options import Json
from front.screen import out, print_json, unheard
from jobs.book import job_of
from jobs.bundle import is_bundle, verify_bundle
from jobs.spool import seconds_left
from jobs.store import Store, home_folder
from jobs.verify import verify as verify_job

__all__ = ["put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(verify)


def verify(
    job: Annotated[str, typer.Argument(metavar="JOB|ZIP", help="A job's number, or a zip that sayback pack made.")],
    json: Json = False,
) -> None:
    """Work out the journal's chain and every hash anew; whatever was changed, dropped or swapped is named."""
    left = 0.0
    if job.lower().endswith(".zip") or is_bundle(Path(job)):
        job, found = verify_bundle(Path(job))
    else:
        with Store(home_folder()) as store:
            found = verify_job(store, job)
            left = seconds_left(store.home, job_of(store, job))
    if json:
        print_json({"job": job, **vars(found), "unread_seconds": left})
    else:
        out().print(f"Job {job} is whole: {found.entries} entries, {found.evidence} files. Head of the journal:")
        out().print(found.hash)
        for line in found.blanked:
            out().print(f"{line}.")
        if left:
            out().print(unheard(job, left))
