"""``sayback pack`` and ``sayback unpack``: a whole job as one zip, out of this store and into another."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from front.options import JobNumber, Json
from front.screen import out, print_json, unheard
from jobs.book import job_of
from jobs.bundle import pack as pack_job
from jobs.bundle import unpack as unpack_job
from jobs.spool import seconds_left
from jobs.store import Store, home_folder
from schemas.errors import StoreFailed

__all__ = ["pack", "put_on", "unpack"]


def put_on(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(pack)
    app.command()(unpack)


def pack(
    job: JobNumber,
    to: Annotated[Path, typer.Option(help="The folder to write into.")] = Path(),
    with_place: Annotated[bool, typer.Option("--with-place", help="Photos keep where they were taken (GPS).")] = False,
    json: Json = False,
) -> None:
    """Write everything that a job rests on into one zip, with a manifest of hashes; sayback verify checks it."""
    path = to / f"{job}.zip"
    part = path.with_name(f".{path.name}.part")
    with Store(home_folder()) as store:
        try:
            to.mkdir(parents=True, exist_ok=True)
            with part.open("wb") as file:
                pack_job(store, job, file, with_place=with_place)
            part.replace(path)
            left = seconds_left(store.home, job_of(store, job))
        except OSError as error:
            raise StoreFailed(f"{path} cannot be written ({error.strerror}); give another --to.") from error
        finally:
            part.unlink(missing_ok=True)
    if json:
        print_json({"job": job, "file": str(path), "unread_seconds": left})
    else:
        out().print(f"Job {job} is in {path}; sayback verify {path} checks it.")
        if left:
            out().print(f"What is not in it: {unheard(job, left)}")


def unpack(
    file: Annotated[Path, typer.Argument(metavar="ZIP", help="A zip that sayback pack made.")], json: Json = False
) -> None:
    """Take over the job in a zip, after verifying it. Doing it again changes nothing."""
    with Store(home_folder()) as store:
        done = unpack_job(store, file)
    if json:
        print_json(vars(done))
    elif done.entries or done.files:
        out().print(f"Job {done.number}: {done.entries} entries and {done.files} files were taken over.")
    else:
        out().print(f"Job {done.number}: everything in it was here already.")
