"""``sayback verify``: is everything as it was written?"""

from __future__ import annotations

import typer

from front.options import JobNumber, Json
from front.screen import out, print_json
from jobs.store import Store, home_folder
from jobs.verify import verify as verify_job

__all__ = ["put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(verify)


def verify(job: JobNumber, json: Json = False) -> None:
    """Work out the journal's chain and every hash anew; whatever was changed, dropped or swapped is named."""
    with Store(home_folder()) as store:
        found = verify_job(store, job)
    if json:
        print_json({"job": job, **vars(found)})
    else:
        out().print(f"Job {job} is whole: {found.entries} entries, {found.evidence} files. Head of the journal:")
        out().print(found.hash)
