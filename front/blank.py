"""``sayback blank``: a stretch of a recording is taken off the record, by name and with a reason."""

from __future__ import annotations

from typing import Annotated

import typer

from front.options import JobNumber, Json
from front.screen import out, print_json
from jobs.blanking import blank as blank_stretch
from jobs.blanking import blanked_at, told
from jobs.store import Store, home_folder
from schemas.errors import WrongUse

__all__ = ["put_on", "seconds_of"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(blank)


def blank(
    job: JobNumber,
    recording: Annotated[str, typer.Argument(help="The recording's name, or the beginning of its hash.")],
    start: Annotated[str, typer.Argument(metavar="FROM", help="Where it begins: seconds, or 1:02.5.")],
    end: Annotated[str, typer.Argument(metavar="TO", help="Where it ends.")],
    by: Annotated[str, typer.Option(help="Who blanks it.")],
    because: Annotated[str, typer.Option(help="Why, for the record.")],
    json: Json = False,
) -> None:
    """Blank a stretch of a recording for good; who did it and why, its times and its hash stay in the journal.

    What was read from it stays too, and says that its sound was blanked.
    """
    with Store(home_folder()) as store:
        done = blank_stretch(store, job, recording, seconds_of(start), seconds_of(end), by=by, why=because)
    filed = next(one for one in done.filed if one.evidence.name == recording or one.sha256.startswith(recording))
    last = filed.blanked[-1]
    readings = [row.reading.id for row in done.rows.values() if blanked_at(done, row.reading.source) == last]
    if json:
        print_json({"job": job, "blanked": last, "readings": readings})
        return
    out().print(f"{told(last, filed.evidence.name)}.")
    if readings:
        out().print(f"{len(readings)} readings keep their values and say that their sound was blanked.")


def seconds_of(text: str) -> float:
    """Return the seconds that ``62.5`` or ``1:02.5`` names.

    Raises:
        WrongUse: it names no time.
    """
    parts = text.strip().split(":")
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        numbers = []
    if not 1 <= len(numbers) <= 3 or not all(0 <= one < 1e6 for one in numbers):
        raise WrongUse(f"{text!r} is no time in a recording; write it like 62.5 or 1:02.5.")
    return sum(one * 60.0**power for power, one in enumerate(reversed(numbers)))
