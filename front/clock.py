"""``sayback clock``: how far the photos' clock is off, as voice and photos tell, and setting it."""

from __future__ import annotations

import re
from typing import Annotated

import typer

from front.options import By, JobNumber, Json, author
from front.screen import out, print_json
from jobs.book import job_of
from jobs.fold import Job
from jobs.photo_clock import by_camera, offset_of, proposed, set_photo_clock
from jobs.store import Store, home_folder
from schemas.errors import WrongUse

__all__ = ["proposal_line", "put_on", "seconds_of"]

_AMOUNT = re.compile(r"([+-]?)(?:(\d+)h)?(?:(\d+)m)?(?:(\d+)s)?", re.ASCII)


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(clock)


def clock(
    job: JobNumber,
    photos: Annotated[
        str | None, typer.Option(help="What to add to the camera's time, such as +7m, -1h or +1m30s; 0 takes it back.")
    ] = None,
    why: Annotated[str, typer.Option(help="How that is known.")] = "",
    by: By = None,
    json: Json = False,
) -> None:
    """Show how far the camera's clock is off the recorder's, as far as said and shown values tell; and set it."""
    with Store(home_folder()) as store:
        one = job_of(store, job)
        if photos is not None:
            reason = why.strip() or "given by a person"
            one = set_photo_clock(store, job, seconds_of(photos), by=author(by, one), why=reason)
        more = proposed(store, one)
    count, added = len(by_camera(one)), offset_of(one)
    if json:
        print_json({"job": job, "photos": count, "added_seconds": added, "proposed_seconds": more})
        return
    if not count:
        out().print("No photo has its time from a camera.")
        return
    held = f"{_amount(added)} is added to" if added else "Nothing is added to"
    out().print(f"{held} the camera's time on {count} photo{'s' if count > 1 else ''}.")
    out().print(proposal_line(one, more) or "What was said and shown tells of no other difference.")


def proposal_line(job: Job, seconds: int | None) -> str:
    """Return the proposal in a sentence, with the command that takes it; empty where there is none."""
    if seconds is None:
        return ""
    off = seconds - offset_of(job)
    way = "behind" if off > 0 else "ahead of"
    return (
        f"The photos' clock seems {_amount(abs(off)).lstrip('+')} {way} the recorder's, by values that were said and "
        f"shown. To go by that: sayback clock {job.number} --photos={_amount(seconds)}"
    )


def seconds_of(text: str) -> int:
    """Return the seconds that an amount such as ``+7m`` or ``-1h`` names.

    Raises:
        WrongUse: it names none.
    """
    found = _AMOUNT.fullmatch(text.strip().lower())
    if text.strip() in ("0", "+0", "-0"):
        return 0
    if found is None or not any(found.groups()[1:]):
        raise WrongUse(f"{text!r} is no amount of time; write it like +7m, -1h or +1m30s.")
    hours, minutes, seconds = (int(part or 0) for part in found.groups()[1:])
    whole = 3600 * hours + 60 * minutes + seconds
    return -whole if found[1] == "-" else whole


def _amount(seconds: int) -> str:
    """Return ``+7m``, ``-1h2m`` or ``0``."""
    hours, rest = divmod(abs(seconds), 3600)
    parts = ((hours, "h"), (rest // 60, "m"), (rest % 60, "s"))
    words = "".join(f"{number}{unit}" for number, unit in parts if number)
    return f"{'-' if seconds < 0 else '+'}{words}" if words else "0"
