"""The report says what the record has and has not: values nobody could tell, stops, unread files, who entered what."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from front.report import made_report
from front.show import verdicts
from jobs.book import job_of, sheet_of
from jobs.decisions import close, edit, leave_out, stop_dealt_with
from jobs.findings import check_job
from jobs.fold import Job
from jobs.report import report_of, value_words
from jobs.report_data import Line, Report, Value
from jobs.report_files import html_of, write_report
from jobs.signing import sign
from jobs.store import Store
from jobs.table import JobRow
from jobs.workbook import workbook
from schemas.evidence import Look
from schemas.questions import Candidate
from schemas.readings import Source

Command = Callable[..., tuple[int, str, str]]


def row_of(job: Job, quantity: str) -> JobRow:
    return next(row for row in job.rows.values() if row.reading.quantity == quantity)


def report_again(store: Store, job: Job) -> Report:
    """The report of a job as it was made up for a test."""
    sheet = sheet_of(store, job.head)
    return report_of(job, sheet, job.findings, [(None, None)], store.entries(job.number))


def value_of(report: Report, reading: str) -> Value:
    values = [v for s in report.sections for line in s.lines for v in (line.found, line.left) if v is not None]
    return next(one for one in values if one.reading == reading)


def table_of(store: Store, report: Report, folder: Path) -> list[dict[str, str]]:
    job = job_of(store, report.number)
    paths = write_report(store, job, sheet_of(store, job.head), report, folder)
    (path,) = [one for one in paths if one.suffix == ".csv"]
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.slow
def test_a_value_nobody_could_tell_is_no_reading_anywhere(job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        reading = row_of(job_of(store, job), "co").reading.id
        leave_out(store, job, reading, by="Ines Pell", why="the hose was off")
        made, report = made_report(store, job)
        one = value_of(report, reading)
        assert one.text == "not told (heard 76 ppm)"
        assert one.settled == "left out by Ines Pell: the hose was off"
        assert (one.told, one.verdict, one.open) == (False, "", False)
        assert "not told (heard 76 ppm)" in html_of(store, made, sheet_of(store, made.head), report)
        cells = next(row for row in table_of(store, report, tmp_path / "out") if row["reading"] == reading)
        assert cells["value"] == "not told (heard 76 ppm)"
        assert cells["settled"] == "left out by Ines Pell: the hose was off"
        data = workbook(made, sheet_of(store, made.head), made.findings, verdicts(made.findings))
    sheet = openpyxl.load_workbook(io.BytesIO(data))["Readings"]
    heads = [str(cell.value) for cell in sheet[1]]
    rows = [dict(zip(heads, row, strict=True)) for row in sheet.iter_rows(min_row=2, values_only=True)]
    left = next(row for row in rows if row["reading"] == reading)
    assert not left["number"]
    assert left["as said"] == "not told (heard 76 ppm)"
    assert left["settled"] == "left out by Ines Pell: the hose was off"
    assert next(row for row in rows if row["quantity"] == "CO2" and row["condition"] == "high fire")["number"] == 9.3


def test_a_value_that_stands_is_not_hidden_behind_one_left_out(sayback: Command, job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        reading = row_of(job_of(store, job), "co").reading.id
        leave_out(store, job, reading, by="Ines Pell", why="the hose was off")
    assert sayback("add", job, "--text", "High fire, CO is eighty-one.")[0] in (0, 1)
    with Store(tmp_path / "store") as store:
        _, report = made_report(store, job)
    lines = [line for section in report.sections for line in section.lines if line.quantity == "co"]
    assert [line.left.text for line in lines if line.left] == ["81 ppm", "not told (heard 76 ppm)"]
    assert [bool(line.verdict) for line in lines] == [True, False]


def test_a_stop_that_nobody_dealt_with_is_open_and_named_in_the_status(
    sayback: Command, job: str, tmp_path: Path
) -> None:
    with Store(tmp_path / "store") as store:
        before = made_report(store, job)[1].open
    sayback("add", job, "--text", "Stop, I smell gas in here.")
    with Store(tmp_path / "store") as store:
        made, report = made_report(store, job)
        assert report.stops == 1
        assert report.open == before + 1
        assert report.status == f"draft, {before + 1} open, 1 stop among them"
        assert (report.first[0].verdict, report.first[0].open) == ("stop", True)
        page = html_of(store, made, sheet_of(store, made.head), report)
        assert f"{before + 1} open, 1 stop among them · record" in page
        assert "Nobody has recorded what was done about it." in page
        marks = [one.mark for one in made.findings if one.verdict == "stop"]
        stop_dealt_with(store, job, marks, what="valve shut, supplier called", by="Una Farrow")
        _, report = made_report(store, job)
    assert (report.stops, report.open) == (0, before)
    assert report.first[0].done[0].startswith("valve shut, supplier called (Una Farrow, ")
    assert not report.first[0].open


def test_a_file_that_is_not_read_is_open(job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        made = check_job(store, job)
        read = report_again(store, made)
        report = report_again(store, replace(made, filed=(replace(made.filed[0], read=False), *made.filed[1:])))
    assert report.open == read.open + 1
    assert report.unread == (f"T1 {made.filed[0].evidence.name}",)
    assert report.evidence[0].note.endswith("; not read to its end")
    assert read.evidence[0].note == "“Gas on, burner off. Inlet static is seven point seven inches.”"
    assert read.unread == ()


def test_a_job_without_anything_open_but_a_stop_is_not_complete(job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        made = check_job(store, job)
        bare = replace(made, rows={}, gone=(), findings=())
        assert report_again(store, bare).status == "complete, not closed"
        found = made.findings[0].model_copy(update={"verdict": "stop", "rule": "gas_smell", "readings": ()})
        assert report_again(store, replace(bare, findings=(found,))).status == "draft, 1 open, 1 stop among them"
        unread = replace(bare, filed=(replace(made.filed[0], read=False),))
        assert report_again(store, unread).status == "draft, 1 open"


def test_who_entered_a_signature_for_somebody_else_is_told(job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        seen = store.head(job)[0]
        sign(store, job, name="Odo Brack", role="customer", seen_at=seen, by="Ines Pell")
        sign(store, job, name="Una Farrow", role="technician", seen_at=seen, by="Una Farrow")
        made, report = made_report(store, job)
        page = html_of(store, made, sheet_of(store, made.head), report)
    assert [one.entered for one in report.signatures] == ["Ines Pell", ""]
    assert page.count("entered by ") == 1
    assert "entered by Ines Pell at the office" in page


FORMULAS = ("-1+cmd|' /C calc'!A0", "-2+3", "+1", "@SUM(A1)", "\uff1d1+1", "-1 of 3")


@pytest.mark.slow
def test_only_a_whole_number_with_a_unit_stands_bare_in_the_table(sayback: Command, job: str, tmp_path: Path) -> None:
    # What a spreadsheet takes for a formula: OWASP, "CSV Injection" (from memory).
    sayback("add", job, "--text", "Low fire, offset pressure is minus point oh two. Maker Hollin. Ambient CO is zero.")
    with Store(tmp_path / "store") as store:
        rows = [row for row in job_of(store, job).rows.values() if row.reading.quantity != "outlet_pressure"]
        texts = dict(zip((row.reading.id for row in rows), FORMULAS, strict=False))
        for key, text in texts.items():
            after = Candidate(reading=key, quantity="site", condition="", value=text, unit="", appliance="boiler")
            edit(store, job, after, by="Ada", why="=1+1")
        cells = table_of(store, made_report(store, job)[1], tmp_path / "out")
    assert len(texts) == len(FORMULAS)
    assert {row["value"] for row in cells if row["quantity"] == "site"} == {f"'{text}" for text in FORMULAS}
    assert [row["value"] for row in cells if row["quantity"] == "outlet_pressure"] == ["-0.02 in. w.c."]


@pytest.mark.slow
def test_the_table_tells_as_found_from_as_left_and_from_neither(sayback: Command, tmp_path: Path) -> None:
    where = ("--site", "Mill", "--technician", "Una Farrow", "--number", "t6", "--appliance", "boiler")
    assert sayback("new", *where)[0] == 0
    lines = ["Inlet static is seven point seven inches. High fire now. CO2 is eight point three."]
    lines += ["Quarter turn clockwise on the high-fire screw.", "CO2 is nine point three."]
    sayback("add", "t6", *(part for line in lines for part in ("--text", line)))
    with Store(tmp_path / "store") as store:
        rows = table_of(store, made_report(store, "t6")[1], tmp_path / "out")
    assert {(row["quantity"], row["phase"], row["value"]) for row in rows} == {
        ("inlet_pressure", "", "7.7 in. w.c."),
        ("co2", "as found", "8.3 %"),
        ("co2", "as left", "9.3 %"),
    }


def test_fuel_and_the_time_of_the_visit_are_on_the_page(job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        made, report = made_report(store, job)
        assert report.appliances[0].fuel == "natural gas"
        page = html_of(store, made, sheet_of(store, made.head), report)
        assert "fuel: natural gas" in page
        assert (report.began, report.ended) == (None, None)
        assert "<dt>Visit</dt><dd>time not known</dd>" in page
        first = datetime(2026, 11, 12, 7, 44, tzinfo=UTC)
        at = (first + timedelta(minutes=20), first, first + timedelta(minutes=5))
        filed = [replace(one, at=when, seconds=90.0) for one, when in zip(made.filed, at, strict=True)]
        report = report_again(store, replace(made, filed=tuple(filed)))
        assert (report.began, report.ended) == (first, first + timedelta(minutes=21, seconds=30))
        assert report.appliances[0].fuel == ""
        page = html_of(store, made, sheet_of(store, made.head), report)
    assert "<dt>Visit</dt><dd>2026-11-12 07:44 to 08:05 +0000</dd>" in page
    assert "fuel: not recorded" in page


def test_what_voice_and_photo_agree_on_names_both(job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        made = check_job(store, job)
        row = row_of(made, "inlet_pressure")
        other = made.filed[1].sha256
        photo = JobRow(row.reading.model_copy(update={"id": "p", "source": Source(evidence=other)}), "dropped")
        both = replace(row, how="agreed by voice and photo", agreed_with="p")
        report = report_again(store, replace(made, rows={**made.rows, row.reading.id: both}, gone=(photo,)))
    assert value_of(report, row.reading.id).ref == "T1, T2"
    assert value_of(report, row.reading.id).settled == "voice and photo agree"


def test_columns_without_a_value_are_left_out(job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        made, report = made_report(store, job)
        page = html_of(store, made, sheet_of(store, made.head), report)
        tagged = {line.quantity for section in report.sections for line in section.lines if line.limit}
        assert tagged == {"inlet_pressure", "co2", "o2", "co"}
        bare = report.sections[0].model_copy(update={"lines": tuple(_no_limit(report))})
        without = report.model_copy(update={"sections": (bare,)})
        plain = html_of(store, made, sheet_of(store, made.head), without)
    assert "As found" not in page
    assert ">Limit</th>" in page
    assert ">Limit</th>" not in plain
    assert page.count('<table class="wide') == len([s for s in report.sections if s.lines])


def test_photos_stand_in_the_order_of_their_marks(job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        made = check_job(store, job)
        first = datetime(2026, 11, 12, 8, 0, tzinfo=UTC)
        filed = []
        for number, one in enumerate(made.filed):
            photo = one.evidence.model_copy(update={"kind": "photo", "name": f"{number}.jpg"})
            look = Look(evidence=one.sha256, display="slip", width=1, height=1, figures=(), made_by=())
            filed.append(replace(one, evidence=photo, look=look, utterances=(), at=first - timedelta(minutes=number)))
        report = report_again(store, replace(made, filed=tuple(filed)))
    assert [(one.mark, one.name) for one in report.pictures] == [("P1", "0.jpg"), ("P2", "1.jpg"), ("P3", "2.jpg")]


def test_what_a_person_wrote_cannot_end_the_style_of_the_page(job: str, tmp_path: Path) -> None:
    reason = '"later" </style><b>'
    with Store(tmp_path / "store") as store:
        close(store, job, by="Una Farrow", why=reason)
        made, report = made_report(store, job)
        page = html_of(store, made, sheet_of(store, made.head), report)
    assert report.status.endswith(f"left open: {reason}")
    style = page.partition("<style>")[2].partition("</style>")[0]
    assert "later" not in style
    assert f'content: "Report t1/{report.position} · closed, with {report.open} left open · record ' in style
    assert page.count("</style>") == 1


def test_every_reading_of_the_job_is_in_the_report(sayback: Command, job: str, tmp_path: Path) -> None:
    sayback("add", job, "--text", "Quarter turn clockwise on the low fire screw.")
    with Store(tmp_path / "store") as store:
        made = check_job(store, job)
        strays: list[dict[str, Any]] = [
            {"id": "a", "appliance": "3"},  # said of an appliance that the job does not have
            {"id": "b", "quantity": None, "condition": None},
            {"id": "c", "quantity": "valve_move", "appliance": "3", "unit": "{turn}", "note": "low_fire_screw cw"},
            {"id": "d", "condition": None},
        ]
        row = row_of(made, "co2")
        rows = {one["id"]: replace(row, reading=row.reading.model_copy(update=one)) for one in strays}
        both = replace(made, rows={**made.rows, **rows})
        report = report_again(store, both)
        page = html_of(store, both, sheet_of(store, made.head), report)
    for key, one in rows.items():
        assert value_of(report, str(key)).text == value_words(one, sheet_of(store, made.head))
    values = [v for s in report.sections for line in s.lines for v in (line.found, line.left) if v is not None]
    assert len(values) + len(report.moves) == len(both.rows)
    assert "3, as it was said: no appliance of this job" in page
    assert "Not told what it is" in page


def _no_limit(report: Report) -> Iterator[Line]:
    for section in report.sections:
        for line in section.lines:
            yield line.model_copy(update={"limit": "", "limit_from": "", "verdict": "", "found": line.left})
