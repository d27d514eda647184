"""The report: what stands in it, page by page, as the PDF itself says it (poppler's pdftotext and pdfinfo)."""

from __future__ import annotations

import csv
import json
import subprocess
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from jobs.decisions import close
from jobs.show import signed
from jobs.signing import sign
from jobs.store import Store

pytestmark = pytest.mark.slow

Command = Callable[..., tuple[int, str, str]]


@pytest.fixture
def written(sayback: Command, job: str, tmp_path: Path) -> dict[str, Path]:
    """The report of the prepared job, by the ending of its file."""
    code, printed, _ = sayback("report", job, "--to", tmp_path / "out", "--paper", "a4", "--json")
    assert code == 0
    files = [Path(one) for one in json.loads(printed)["files"]]
    return {one.suffix if one.stem == job else one.name: one for one in files}


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
    assert lines["co2", "low fire"]["left"]["settled"] == "asked: breaks a physical relation"
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
    schema = json.loads(written["report.schema.json"].read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(data)


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


def test_units_that_were_asked_for_stand_beside_the_value_as_it_was_said(
    sayback: Command, job: str, tmp_path: Path
) -> None:
    assert sayback("report", job, "--to", tmp_path / "out", "--beside", "metric")[0] == 0
    data = json.loads((tmp_path / "out" / f"{job}.json").read_text(encoding="utf-8"))
    values = [line["left"] for section in data["sections"] for line in section["lines"] if line["left"]]
    # 7.7 in. w.c. x 249.0889 Pa (NIST SP 811, App. B.9) = 1917.98 Pa.
    assert {one["text"]: one["beside"] for one in values}["7.7 in. w.c."] == "19.18 mbar"
    assert {one["text"]: one["beside"] for one in values}["76 ppm"] == ""
    assert "19.18 mbar" in text_of(tmp_path / "out" / f"{job}.pdf")
    code, _, told = sayback("report", job, "--beside", "imperial")
    assert code == 2
    assert "us or metric" in told


def test_a_minus_is_a_minus_and_a_date_is_none() -> None:
    assert signed("-0.05 to -0.00 in. w.c.") == "−0.05 to −0.00 in. w.c."
    assert signed("-0.02 (2026-11-12, P2-11874)") == "−0.02 (2026-11-12, P2-11874)"


def test_each_question_says_why_it_is_asked(sayback: Command, job: str, tmp_path: Path) -> None:
    assert sayback("add", job, "--text", "At low fire, quarter turn on the low fire screw.")[0] == 0
    sayback("report", job, "--to", tmp_path / "out")
    data = json.loads((tmp_path / "out" / f"{job}.json").read_text(encoding="utf-8"))
    assert data["asked"]
    assert all(one["why"] for one in data["asked"])


def test_nothing_on_it_is_a_signal_word(written: dict[str, Path]) -> None:
    # The words of ANSI Z535.4 (from memory): they belong on signs, and here would be a scheme of somebody else's.
    text = text_of(written[".pdf"])
    for word in ("DANGER", "WARNING", "CAUTION", "Danger", "Warning", "Caution."):
        assert word not in text


def test_an_edited_appliance_file_leaves_a_closed_job_as_it_was(
    sayback: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shipped = files("schemas").joinpath("appliances", "orrinvale-ov-240c.toml").read_text(encoding="utf-8")
    own = tmp_path / "ours.toml"
    own.write_text(shipped, encoding="utf-8")
    where = ("--site", "Mill", "--technician", "Una Farrow", "--number", "t9", "--appliance", f"boiler;{own}")
    assert sayback("new", *where)[0] == 0
    assert sayback("add", "t9", "--text", "High fire now. CO2 is nine point three, O2 four point four.")[0] == 0
    with Store(tmp_path / "store") as store:
        close(store, "t9", by="Una Farrow", why="as far as it went")
    assert sayback("report", "t9", "--to", tmp_path / "one")[0] == 0
    assert shipped.count('"8.5"') > 0
    own.write_text(shipped.replace('"8.5"', '"9.9"'), encoding="utf-8")
    assert sayback("report", "t9", "--to", tmp_path / "two")[0] == 0
    before, after = ((tmp_path / one / "t9.json").read_bytes() for one in ("one", "two"))
    assert before == after
    assert b"8.5 to 9.5 %" in before
    own.unlink()
    assert sayback("verify", "t9")[0] == 0


def test_who_signed_which_record_and_what_came_after_it_is_told(sayback: Command, job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        head = store.head(job)[1]
        sign(store, job, name="Una Farrow", role="technician", seen_at=store.head(job)[0], by="Una Farrow")
    sayback("report", job, "--to", tmp_path / "out")
    text = " ".join(text_of(tmp_path / "out" / f"{job}.pdf").split())
    assert f"signed the record with hash {head}" in text
    assert "Nothing was changed after it." in text
    assert sayback("add", job, "--text", "Ambient CO is zero.")[0] == 0
    sayback("report", job, "--to", tmp_path / "out")
    text = " ".join(text_of(tmp_path / "out" / f"{job}.pdf").split())
    assert "Made after it:" in text
    assert "added a typed line" in text


def test_what_came_after_closing_is_marked(sayback: Command, job: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        close(store, job, by="Una Farrow", why="as far as it went")
    assert sayback("add", job, "--text", "Ambient CO is zero.")[0] == 0
    sayback("report", job, "--to", tmp_path / "out")
    text = " ".join(text_of(tmp_path / "out" / f"{job}.pdf").split())
    assert "Una Farrow closed it on" in text
    assert "The record is open until somebody closes it anew." in text
    assert "added after the job was closed" in text
    assert json.loads((tmp_path / "out" / f"{job}.json").read_text(encoding="utf-8"))["status"].startswith("draft, ")
