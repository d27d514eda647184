"""The report: what stands in it, page by page, as the PDF itself says it (poppler's pdftotext and pdfinfo)."""

from __future__ import annotations

import csv
import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest

from jobs.report import Report

pytestmark = pytest.mark.slow

Command = Callable[..., tuple[int, str, str]]


@pytest.fixture
def written(sayback: Command, job: str, tmp_path: Path) -> dict[str, Path]:
    """The report of the prepared job, by the ending of its file."""
    code, printed, _ = sayback("report", job, "--to", tmp_path / "out", "--paper", "a4", "--json")
    assert code == 0
    return {Path(one).suffix: Path(one) for one in json.loads(printed)["files"]}


def text_of(pdf: Path) -> str:
    return subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True).stdout


def test_every_page_says_draft_how_much_is_open_and_the_head_of_the_journal(
    sayback: Command, job: str, written: dict[str, Path]
) -> None:
    head = json.loads(sayback("show", job, "--json")[1])["journal"]["hash"]
    pages = text_of(written[".pdf"]).rstrip("\f").split("\f")
    assert len(pages) >= 2
    for page in pages:
        assert "draft, " in page
        assert head[:16] in page


def test_paper_is_the_one_that_was_asked_for(written: dict[str, Path]) -> None:
    told = subprocess.run(["pdfinfo", written[".pdf"]], capture_output=True, text=True, check=True).stdout
    assert "(A4)" in told


def test_values_stand_as_they_were_said_with_limit_and_origin(written: dict[str, Path]) -> None:
    data = json.loads(written[".json"].read_text(encoding="utf-8"))
    lines = {(line["quantity"], line["condition"]): line for section in data["sections"] for line in section["lines"]}
    static = lines["inlet_pressure", "static"]
    assert static["left"]["text"] == "7.7 in. w.c."
    assert static["limit"] == "4.0 to 14.0 in. w.c."
    assert static["limit_from"] == "maker, p. 12"
    assert static["verdict"] == "within"
    assert lines["co2", "low fire"]["left"]["settled"] == "open: breaks a physical relation"
    assert "7.7 in. w.c." in text_of(written[".pdf"])
    assert "7.7 in. w.c." in written[".html"].read_text(encoding="utf-8")


def test_what_the_sheet_requires_and_nobody_said_is_named_as_not_recorded(written: dict[str, Path]) -> None:
    text = " ".join(text_of(written[".pdf"]).split())
    assert "Not recorded:" in text
    assert "Inlet pressure, lock-up" in text


def test_cautions_are_in_the_report_and_nothing_is_called_safe(written: dict[str, Path]) -> None:
    text = " ".join(text_of(written[".pdf"]).split())
    assert "Carbon monoxide can kill" in text
    for wording in ("is safe to", "safe to use", "is safe."):
        assert wording not in text.replace("never says that an appliance is safe.", "")


def test_json_is_valid_by_the_schema_of_its_model(written: dict[str, Path]) -> None:
    data = json.loads(written[".json"].read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(Report.model_json_schema()).validate(data)


def test_csv_has_one_row_a_value(written: dict[str, Path]) -> None:
    with written[".csv"].open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {"7.7 in. w.c.", "9.3 %", "76 ppm"} <= {row["value"] for row in rows}
    assert all(row["evidence"].startswith("T") for row in rows)


def test_word_that_a_spreadsheet_would_run_is_quoted(
    sayback: Command, job: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert sayback("add", job, "--text", 'Note, =HYPERLINK("x") is on the label.')[0] == 0
    _, printed, _ = sayback("report", job, "--to", tmp_path / "out", "--json")
    (table,) = [Path(one) for one in json.loads(printed)["files"] if one.endswith(".csv")]
    with table.open(encoding="utf-8-sig", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert any("HYPERLINK" in cell for cell in cells)
    assert not [cell for cell in cells if cell.startswith("=")]


def test_report_fetches_nothing(written: dict[str, Path]) -> None:
    page = written[".html"].read_text(encoding="utf-8")
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in page
    assert "<script" not in page


def test_same_job_gives_the_same_json(sayback: Command, job: str, tmp_path: Path) -> None:
    made = []
    for folder in ("one", "two"):
        assert sayback("report", job, "--to", tmp_path / folder)[0] == 0
        made.append((tmp_path / folder / f"{job}.json").read_bytes())
    assert made[0] == made[1]


def test_folder_that_cannot_be_written_ends_with_4(sayback: Command, job: str, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    code, _, told = sayback("report", job, "--to", tmp_path / "file" / "out")
    assert code == 4
    assert "give another --to" in told
