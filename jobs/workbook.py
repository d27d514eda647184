"""A job as a workbook for the office: readings, questions, evidence. No cell is ever a formula, whatever was said."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

import xlsxwriter

from jobs.fold import Job
from jobs.questions import open_questions
from jobs.report import origin_words, value_words
from jobs.settled import settled, sources_of
from jobs.show import name_of, say_limit, verdict_words
from jobs.stops import undealt
from jobs.table import JobRow
from schemas.base import is_value_text
from schemas.findings import Finding
from schemas.sheet import Sheet
from schemas.units import show_unit

__all__ = ["workbook"]

_READINGS = (
    *("appliance", "group", "quantity", "condition", "phase", "number", "unit", "as said", "limit"),
    *("limit from", "verdict", "settled", "by", "evidence", "at second", "heard or shown", "reading"),
)
_PHASES = {"": "", "before": "as found", "after": "as left"}


def workbook(job: Job, sheet: Sheet, findings: Sequence[Finding], verdicts: Mapping[str, str]) -> bytes:
    """Return the bytes of an XLSX file. The same job gives the same cells.

    ``findings`` are all of them, ``verdicts`` the gravest on each reading. What nobody could tell has no number.

    A number stands as a number with the decimals it was said with, and beside it as the text that was recorded.
    """
    buffer = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(buffer, options)
    # Without a zone, as the format has none; from the journal, so that the file does not depend on the clock.
    created = job.head.created.replace(tzinfo=None)
    book.set_properties({"title": f"Job {job.number}, {job.head.site}", "created": created})
    head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    formats: dict[int, Any] = {}

    def number(value: str) -> Any:
        decimals = len(value.partition(".")[2])
        if decimals not in formats:
            formats[decimals] = book.add_format({"num_format": f"0.{'0' * decimals}" if decimals else "0"})
        return formats[decimals]

    def page(name: str, heads: Sequence[str], rows: Sequence[Sequence[str | int]], widths: Mapping[int, int]) -> Any:
        made = book.add_worksheet(name)
        made.freeze_panes(1, 0)
        for column, text in enumerate(heads):
            made.set_column(column, column, widths.get(column, 14))
            made.write_string(0, column, text, head)
        for place, row in enumerate(rows, 1):
            for column, cell in enumerate(row):
                if isinstance(cell, int):
                    made.write_number(place, column, cell)
                else:
                    made.write_string(place, column, cell[:32_000])
        return made

    rows = _in_order(job, sheet)
    page("Job", ("what", "is"), _facts(job, sheet), {0: 18, 1: 60})
    cells = [_cells(row, job, sheet, findings, verdicts) for row in rows]
    readings = page("Readings", _READINGS, cells, {2: 26, 7: 18, 11: 26, 15: 40})
    for place, row in enumerate(rows, 1):
        value = row.reading.value
        if is_value_text(value) and row.how != "left out":
            readings.write_number(place, _READINGS.index("number"), float(value), number(value))
    page(
        "Open",
        ("question", "appliance", "why it is asked"),
        [
            (one.text, one.appliance or "", "; ".join(str(doubt.kind) for doubt in one.doubts))
            for one in open_questions(job, sheet)
        ]
        + [(one.text, one.appliance or "", "missing") for one in findings if one.verdict == "missing"]
        + [(f"{one.evidence.name} is not read to its end", "", "unread") for one in job.unread]
        + [
            (one.finding.text, one.finding.appliance or "", "stop, past" if one.finding.past else "stop")
            for one in undealt(job, findings)
        ],
        {0: 70, 2: 30},
    )
    page(
        "Evidence",
        ("file", "kind", "taken", "clock", "SHA-256"),
        [
            (
                one.evidence.name,
                one.evidence.kind,
                one.at.isoformat() if one.at else "time not known",
                one.clock,
                one.sha256,
            )
            for one in job.filed
        ],
        {0: 30, 2: 28, 4: 66},
    )
    book.close()
    return buffer.getvalue()


def _facts(job: Job, sheet: Sheet) -> list[tuple[str, str]]:
    facts = [
        ("job", job.number),
        ("site", job.head.site),
        ("customer", job.head.customer or "not recorded"),
        ("technician", job.head.technician),
        ("opened", job.head.created.isoformat()),
        ("sheet", f"{sheet.title}, version {sheet.version}"),
        ("appliances", ", ".join(one.tag for one in job.appliances)),
        ("closed", "yes" if job.closed else "no"),
        ("journal ends with", f"entry {job.position}, {job.hash}"),
    ]
    return facts + [("instrument", f"{one.name} {one.serial}".strip()) for one in job.head.instruments]


def _in_order(job: Job, sheet: Sheet) -> list[JobRow]:
    quantities = {one.id: place for place, one in enumerate(sheet.quantities)}
    conditions = {one.id: place for place, one in enumerate(sheet.conditions)}
    tags = {one.tag: place for place, one in enumerate(job.appliances)}

    def place(row: JobRow) -> tuple[int, int, int, int]:
        one = row.reading
        phase = ("before", "", "after").index(one.phase)
        condition = conditions.get(one.condition or "", -1)
        return (tags.get(one.appliance or "", -1), quantities.get(one.quantity or "", 9999), condition, phase)

    return sorted(job.rows.values(), key=place)


def _cells(
    row: JobRow, job: Job, sheet: Sheet, findings: Sequence[Finding], verdicts: Mapping[str, str]
) -> tuple[str, ...]:
    one = row.reading
    limit = next((f.limit for f in findings if f.limit is not None and one.id in f.readings), None)
    group = sheet.groups[sheet.quantity(one.quantity).group] if one.quantity else ""
    names = {f.sha256: f.evidence.name for f in job.filed}
    sources = [names.get(source.evidence, source.evidence[:8]) for source in sources_of(row, job)]
    return (
        one.appliance or "",
        group,
        name_of(one, sheet),
        sheet.condition(one.condition).name if one.condition else ("not told" if one.condition is None else ""),
        _PHASES[one.phase],
        "",
        show_unit(one.unit),
        value_words(row, sheet),
        say_limit(limit) if limit else "",
        origin_words(limit),
        verdict_words(verdicts.get(one.id, "")),
        settled(row, job),
        row.by,
        "; ".join(dict.fromkeys(sources)),
        f"{one.source.start:.1f}" if one.source.start is not None else "",
        one.source.heard,
        one.id,
    )
