"""The commands as a person meets them: what they print, what they end with, and that no traceback is ever shown."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Command = Callable[..., tuple[int, str, str]]

FIRST = "Gas on, burner off. Inlet static is seven point seven inches."


def data_of(printed: str) -> dict[str, Any]:
    found = json.loads(printed)
    assert isinstance(found, dict)
    return found


def values(sayback: Command, job: str) -> dict[tuple[str, str], dict[str, Any]]:
    readings = data_of(sayback("show", job, "--json")[1])["readings"]
    return {(one["quantity"], one["condition"]): one for one in readings}


def test_show_gives_what_was_said_with_value_unit_and_how_it_was_settled(sayback: Command, job: str) -> None:
    found = values(sayback, job)
    static = found["inlet_pressure", "static"]
    assert (static["value"], static["unit"], static["settled"]) == ("7.7", "[in_i'H2O]", "taken unasked")
    assert static["verdict"] == "within"
    assert found["co", "high_fire"]["value"] == "76"
    code, printed, _ = sayback("show", job)
    assert code == 0
    assert "7.7 in. w.c." in printed
    assert "time not known" in printed


def test_impossible_pair_is_asked_and_an_answer_settles_it(sayback: Command, job: str) -> None:
    code, printed, _ = sayback("ask", job, "--json")
    assert code == 1
    (question,) = data_of(printed)["questions"]
    assert set(question["quantities"]) == {"co2", "o2"}
    first = next(c for c in question["candidates"] if c["quantity"] == "o2")
    code, printed, _ = sayback("ask", job, "--question", question["id"], "--choose", 1, "--by", "Una Farrow")
    left = data_of(sayback("ask", job, "--json")[1])["questions"]
    assert question["id"] not in {one["id"] for one in left}
    assert first["value"] == "9.2"


def test_stale_answer_is_refused(sayback: Command, job: str) -> None:
    (question,) = data_of(sayback("ask", job, "--json")[1])["questions"]
    assert sayback("ask", job, "--question", question["id"], "--cannot-tell")[0] == 0
    code, _, told = sayback("ask", job, "--question", question["id"], "--choose", 1)
    assert code == 2
    assert "no open question" in told


def test_value_that_cannot_be_is_refused(sayback: Command, job: str) -> None:
    (question,) = data_of(sayback("ask", job, "--json")[1])["questions"]
    code, _, told = sayback("ask", job, "--question", question["id"], "--value", "co2 92")
    assert code == 3
    assert "outside what" in told


def test_value_typed_at_a_pair_is_refused_until_it_says_of_which(sayback: Command, job: str) -> None:
    """4.6 meant for O2 must not become CO2."""
    (question,) = data_of(sayback("ask", job, "--json")[1])["questions"]
    code, _, told = sayback("ask", job, "--question", question["id"], "--value", "4.6")
    assert code == 2
    assert "of which one" in told
    assert sayback("ask", job, "--question", question["id"], "--value", "o2 4.6")[0] in (0, 1)
    found = values(sayback, job)
    assert found["o2", "low_fire"]["value"] == "4.6"
    assert found["co2", "low_fire"]["value"] == "9.2"


def test_check_ends_with_1_while_anything_is_open_and_lists_what_is_missing(sayback: Command, job: str) -> None:
    code, printed, _ = sayback("check", job)
    assert code == 1
    assert "Still missing" in printed
    assert "Carbon monoxide" in printed


@pytest.mark.slow
def test_report_is_written_in_four_forms_and_says_draft(sayback: Command, job: str, tmp_path: Path) -> None:
    code, printed, _ = sayback("report", job, "--to", tmp_path / "out", "--json")
    assert code == 0
    told = data_of(printed)
    assert told["status"].startswith("draft, ")
    endings = {Path(one).suffix: Path(one).read_bytes() for one in told["files"]}
    assert set(endings) == {".html", ".pdf", ".csv", ".json"}
    assert b"7.7 in. w.c." in endings[".html"]
    assert b"7.7 in. w.c." in endings[".csv"]
    assert endings[".pdf"].startswith(b"%PDF-")
    assert b"not recorded" in endings[".html"]


def test_verify_names_what_was_changed_and_ends_with_4(sayback: Command, job: str, tmp_path: Path) -> None:
    assert sayback("verify", job)[0] == 0
    with sqlite3.connect(tmp_path / "store" / "book.sqlite") as book:
        where = "where kind = 'heard' and body like '%seven point seven%'"
        ((entry,),) = book.execute(f"select seq from entries {where}").fetchall()
        book.execute(f"update entries set body = replace(body, 'seven point seven', 'seven point nine') {where}")
    book.close()
    code, _, told = sayback("verify", job)
    assert code == 4
    assert f"entry {entry} " in told


def test_explain_says_why(sayback: Command, job: str) -> None:
    static = values(sayback, job)["inlet_pressure", "static"]
    code, printed, _ = sayback("explain", job, static["id"])
    assert code == 0
    assert "no doubt stood" in printed
    assert "seven point seven" in printed
    asked = values(sayback, job)["co2", "low_fire"]
    assert "Doubt: breaks a physical relation" in sayback("explain", job, asked["id"])[1]


def test_adding_the_same_text_twice_doubles_nothing(sayback: Command, job: str) -> None:
    before = values(sayback, job)
    assert sayback("add", job, "--text", FIRST)[0] == 0
    assert values(sayback, job) == before


@pytest.mark.parametrize(
    ("line", "code", "told"),
    [
        (("show", "nothing"), 2, "There is no job"),
        (("new", "--site", "x"), 2, "--technician"),
        (("new", "--site", "x", "--technician", "y", "--sheet", "no-such"), 2, "no sheet"),
        (("new", "--site", "x", "--technician", "y", "--appliance", "a; no-such"), 2, "no appliance"),
        (("new", "--site", "x", "--technician", "y", "--units", "roman"), 2, "us or uk"),
        (("new", "--site", "x", "--technician", "y", "--instrument", "m; manometer; 1; soon"), 2, "2026-08-19"),
        (("dance",), 2, "No such command"),
        (("report", "t1", "--paper", "a3"), 2, "a4 or letter"),
        (("add", "t1"), 2, "at least one file"),
        (("add", "t1", "--text", "a", "--at", "yesterday"), 2, "not a time"),
        (("add", "t1", "--text", "a", "--at", "2026-11-12T08:05:00"), 2, "no zone"),
        (("add", "t1", "no-such-file.wav"), 3, "no file"),
        (("look", "no-such-file.jpg"), 3, "no file"),
        (("explain", "t1", "zzz"), 2, "none of that id"),
        (("ask", "t1", "--question", "q-1"), 2, "one of --choose"),
        (("limits", "t1", "--agree", "4"), 2, "no limit 4"),
        (("clock", "t1", "--photos", "seven"), 2, "write it like +7m"),
        (("clock", "t1", "--photos=+7m"), 2, "No photo of job t1 has its time from a camera"),
    ],
)
def test_wrong_use_is_one_sentence_and_an_exit_code(
    sayback: Command, job: str, line: tuple[str, ...], code: int, told: str
) -> None:
    ended, _, errors = sayback(*line)
    assert ended == code
    assert told in errors


@pytest.mark.parametrize(
    "content", [b"", b"RIFF\xff\xff\xff\x7fWAVEfmt ", b"\xff\xd8\xff\xe0 half a picture", b"\xfe\xfa\x00"]
)
def test_bad_file_is_refused_and_the_good_one_beside_it_kept(
    sayback: Command, job: str, tmp_path: Path, content: bytes
) -> None:
    bad = tmp_path / "bad.wav"
    bad.write_bytes(content)
    code, _, told = sayback("add", job, bad, "--text", "Flue temperature at high fire is one twelve.")
    assert code == 3
    assert "bad.wav" in told
    assert ("flue_temp", "high_fire") in values(sayback, job)
    assert sayback("verify", job)[0] == 0


def test_fault_of_our_own_ends_with_70_and_is_noted(
    sayback: Command, job: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("on purpose")

    monkeypatch.setattr("front.show.job_of", broken)
    code, _, told = sayback("show", job)
    assert code == 70
    assert "on purpose" not in told
    assert "on purpose" in (tmp_path / "state" / "sayback" / "fault.txt").read_text(encoding="utf-8")


def test_ready_names_the_models_and_their_hashes(sayback: Command) -> None:
    code, printed, _ = sayback("ready", "--json")
    found = data_of(printed)
    assert (code == 0) is found["ready"]
    (speech,) = [one for one in found["parts"] if one["name"] == "speech model"]
    assert "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a" in speech["found"]


@pytest.mark.slow
def test_every_command_has_help_and_stands_in_the_readme(sayback: Command) -> None:
    readme = Path("README.md").read_text(encoding="utf-8")
    help_text = sayback("--help")[1]
    commands = [
        line.split()[0]
        for line in help_text.partition("Commands:")[2].splitlines()
        if line.startswith("  ") and line[2] != " "
    ]
    assert len(commands) >= 12
    for command in commands:
        assert sayback(command, "--help")[0] == 0
        assert f"sayback {command}" in readme


@pytest.mark.slow
def test_closed_pipe_is_no_fault(job: str) -> None:
    line = [sys.executable, "-c", "from front.cli import main; main()", "show", job]
    with subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.close()
        told = process.stderr.read() if process.stderr else ""
    assert "Traceback" not in told
    assert "Exception ignored" not in told
