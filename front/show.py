"""``sayback show``: the readings of a job by appliance, with verdicts, how each was settled and where it came from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import typer

from front.options import JobNumber, Json
from front.screen import clock, columns, out, print_json, unheard
from jobs.book import job_of, sheet_of
from jobs.findings import findings_of
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.show import say_note, say_value, verdict_words
from jobs.spool import seconds_left
from jobs.store import Store, home_folder
from jobs.table import JobRow
from jobs.told import read_back
from schemas.findings import Finding
from schemas.readings import Source
from schemas.sheet import Sheet

__all__ = ["print_job", "put_on", "source_of", "verdicts"]

_PHASES = {"": "", "before": "as found", "after": "as left"}
_SETTLED = 4
"""The column that says how a reading was settled."""
_JUDGED = ("stop", "outside", "conflicting", "caution", "look again", "cannot tell", "within")


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(show)


def show(job: JobNumber, json: Json = False) -> None:
    """Show the readings of a job, by appliance, in the order of the sheet."""
    with Store(home_folder()) as store:
        one = job_of(store, job)
        sheet = sheet_of(store, one.head)
        findings = findings_of(store, one)
        aloud = read_back(store.entries(job), one)
        left = seconds_left(store.home, one)
    if json:
        print_json({**as_data(one, sheet, findings, aloud), "unread_seconds": left})
    else:
        print_job(one, sheet, findings, aloud)
        if left:
            out().print(f"\n{unheard(job, left)}")


def as_data(job: Job, sheet: Sheet, findings: Sequence[Finding], aloud: frozenset[str] | None = None) -> dict[str, Any]:
    """Return a job's readings as JSON data, with the questions that are open; where ``aloud`` is known, also
    whether each was read back."""
    said = verdicts(findings)
    return {
        "job": job.head,
        "journal": {"entries": job.position, "hash": job.hash},
        "readings": [
            {
                **row.reading.model_dump(mode="json"),
                "verdict": said.get(key, ""),
                "settled": row.how,
                "by": row.by,
                **({} if aloud is None else {"read_back": key in aloud}),
                "agreed_with": row.agreed_with,
            }
            for key, row in job.rows.items()
        ],
        "questions": open_questions(job, sheet),
    }


def print_job(job: Job, sheet: Sheet, findings: Sequence[Finding], aloud: frozenset[str] = frozenset()) -> None:
    """Print the tables of a job: the visit, then each appliance."""
    said = verdicts(findings)
    names = {one.sha256: one.evidence.name for one in job.filed}
    untimed = {one.sha256 for one in job.filed if one.at is None}
    console = out()
    console.print(f"Job {job.number}: {job.head.site}. {sheet.title}, {job.head.technician}.")
    if not job.rows:
        console.print("No reading yet.")
    for title, rows in _by_appliance(job, sheet):
        table = columns("quantity", "condition", "value", "verdict", "settled", "from", title=title)
        for row in rows:
            cells = _cells(row, sheet, said, names, untimed)
            if row.reading.id in aloud:
                cells = (*cells[:_SETTLED], f"{cells[_SETTLED]}, read back", *cells[_SETTLED + 1 :])
            table.add_row(*cells)
        console.print()
        console.print(table)


def verdicts(findings: Iterable[Finding], *, as_found: bool = False) -> dict[str, str]:
    """Return the gravest verdict on each reading, by its id; ``as_found`` also what a later reading took over."""
    said: dict[str, str] = {}
    for finding in findings:
        if finding.verdict not in _JUDGED or (finding.superseded and not as_found):
            continue
        for key in finding.readings:
            if key not in said or _JUDGED.index(finding.verdict) < _JUDGED.index(said[key]):
                said[key] = finding.verdict
    return said


def source_of(source: Source, names: dict[str, str]) -> str:
    """Return where something came from in a few words: the file with its second, or with the box in the picture."""
    name = names.get(source.evidence, source.evidence[:8])
    if source.box is not None:
        (left, top), _, (right, bottom), _ = source.box.corners
        return f"{name} at {left:.0f},{top:.0f}–{right:.0f},{bottom:.0f}"
    return f"{name} {clock(source.start)}" if source.start is not None and name != "typed" else name


def _by_appliance(job: Job, sheet: Sheet) -> list[tuple[str, list[JobRow]]]:
    """Return titles with their rows in the order of the sheet; what belongs to no appliance is the visit's."""
    order = {one.id: place for place, one in enumerate(sheet.quantities)}
    conditions = {one.id: place for place, one in enumerate(sheet.conditions)}

    def place(row: JobRow) -> tuple[int, int, int]:
        one = row.reading
        phases = ("before", "", "after")
        return (conditions.get(one.condition or "", -1), order.get(one.quantity or "", 999), phases.index(one.phase))

    tables = []
    rows = sorted(job.rows.values(), key=place)
    for tag in (None, *(one.tag for one in job.appliances)):
        mine = [row for row in rows if row.reading.appliance == tag]
        if mine:
            tables.append((tag or "The visit", mine))
    return tables


def _cells(
    row: JobRow, sheet: Sheet, said: dict[str, str], names: dict[str, str], untimed: set[str]
) -> tuple[str, ...]:
    one = row.reading
    quantity = sheet.quantity(one.quantity).name if one.quantity else "?"
    condition = sheet.condition(one.condition).name if one.condition else ("?" if one.condition is None else "")
    place = " ".join(part for part in (condition, _PHASES[one.phase]) if part)
    value = say_value(one.value, one.unit, sheet, one.quantity)
    value = f"about {value}" if one.approx else value
    value = f"{value} ({say_note(one.note, sheet)})" if one.note else value
    settled = f"open: {one.doubts[0].kind}" if row.how == "open" and one.doubts else row.how
    if row.how in ("answered", "edited"):
        settled = f"{settled} by {row.by}"
    where = source_of(one.source, names)
    if one.source.evidence in untimed:
        where = f"{where}, time not known"
    return (quantity, place, value, verdict_words(said.get(one.id, "")), settled, where)
