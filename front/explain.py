"""``sayback explain``: why a reading was taken or is asked about, in plain words."""

from __future__ import annotations

from typing import Annotated

import typer

from front.options import JobNumber, Json
from front.screen import out, print_json
from front.show import source_of
from jobs.blanking import blanked_at
from jobs.blanking import told as told_of
from jobs.book import job_of, sheet_of
from jobs.fold import Job
from jobs.show import name_of, place_of, say_value
from jobs.store import Store, home_folder
from jobs.table import JobRow
from schemas.errors import WrongUse
from schemas.sheet import Sheet

__all__ = ["put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(explain)


def explain(
    job: JobNumber,
    reading: Annotated[
        str, typer.Argument(help="The reading's id, or its beginning; sayback show JOB --json has them.")
    ],
    json: Json = False,
) -> None:
    """Say why a reading was taken or is asked about, what else it might be, and all that happened to it."""
    with Store(home_folder()) as store:
        one = job_of(store, job)
        sheet = sheet_of(store, one.head)
    rows = {**{row.reading.id: row for row in one.gone}, **one.rows}
    found = [row for key, row in rows.items() if key == reading] or [
        row for key, row in rows.items() if key.startswith(reading)
    ]
    if len(found) != 1:
        many = f"{len(found)} readings begin so; give more of the id" if found else "there is none of that id"
        raise WrongUse(f"{reading!r} names no one reading of job {job}: {many}. sayback show {job} --json lists them.")
    if json:
        print_json({"reading": found[0].reading, "settled": found[0].how, "by": found[0].by})
    else:
        _tell(found[0], one, sheet)


def _tell(row: JobRow, job: Job, sheet: Sheet) -> None:
    one, console = row.reading, out()
    names = {filed.sha256: filed.evidence.name for filed in job.filed}
    gone = blanked_at(job, one.source)
    place = place_of(one, sheet, appliance=True)
    told = f"{name_of(one, sheet)} {say_value(one.value, one.unit, sheet, one.quantity)}"
    console.print(f"{one.id}: {place}: {told}" if place else f"{one.id}: {told}")
    console.print(f"From {source_of(one.source, names)}: “{one.source.heard}”.")
    if gone is not None:
        console.print(f"Its sound cannot be heard any more: {told_of(gone, names[gone.evidence])}.")
    settled = {"taken unasked": "Taken without asking: no doubt stood.", "open": "Not taken yet: it is asked about."}
    console.print(settled.get(row.how, f"{row.how[0].upper()}{row.how[1:]}, by {row.by}."))
    for doubt in one.doubts:
        console.print(f"  Doubt: {doubt.kind}" + (f" – {doubt.detail}" if doubt.detail else ""))
    if one.passed:
        console.print(f"  Came through: {', '.join(one.passed)}.")
    for way in one.alternatives:
        value = say_value(way.value or one.value, one.unit if way.unit is None else way.unit, sheet)
        quantity = sheet.quantity(way.quantity).name if way.quantity else ""
        condition = sheet.condition(way.condition).name if way.condition else ""
        told = " ".join(part for part in (condition, quantity, value) if part)
        console.print(f"  It might be: {told}" + (f" ({way.why})" if way.why else ""))
    for step in row.history:
        before = step.before and say_value(step.before.value, step.before.unit, sheet)
        after = step.after and say_value(step.after.value, step.after.unit, sheet)
        change = f"{before} → {after}" if before and after and before != after else (after or before or "")
        why = f" – {step.why}" if step.why else ""
        console.print(f"  {step.at:%Y-%m-%d %H:%M:%S%z} {step.by}: {step.what} {change}{why}")
