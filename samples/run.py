"""The main job on the samples: the talk and the photos of one visit become a job, compared with what is true.

``python -m samples.run`` writes a store and the report under ``out/try`` and exits 0 only if the bars hold. What the
job itself finds (questions, gaps, limits) does not change the exit code.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import time
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from front.add import Shown
from front.ask import list_questions
from front.check import print_findings
from front.limits import limit_words
from front.report import made_report
from front.screen import out
from front.show import print_job
from jobs.add import add
from jobs.book import NewAppliance, new_job, sheet_of
from jobs.findings import check_job
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.report_files import write_report
from jobs.senses import senses
from jobs.store import Store
from jobs.table import JobRow
from schemas.base import is_value_text
from schemas.job import Instrument
from schemas.questions import Question
from schemas.sheet import Sheet

HERE = Path(__file__).parent
PHOTOS = ("plate", "analyser", "manometer", "slip")
APPLIANCE = NewAppliance("boiler", ("the boiler",), "orrinvale-ov-240c")

LEAST_TAKEN = 80
"""Per cent of the true readings that must be taken unasked and right."""
MOST_TAKEN_WRONG = 0
MOST_NEEDLESS = 6
"""Questions about readings that were right."""

_SCREWS = {"throttle": "high_fire_screw", "offset": "low_fire_screw"}
_STATES = {"yes": ("passed", "done"), "no": ("failed", "not yet"), "na": ("not applicable",)}


@dataclass
class Comparison:
    """How a job stands against what is true. ``wrong`` names each reading taken wrong, ``missed`` each not found."""

    truths: int
    taken: int = 0
    asked: int = 0
    asked_right: int = 0
    wrong: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    unasked: list[str] = field(default_factory=list)
    limits_taken: list[str] = field(default_factory=list)

    @property
    def taken_share(self) -> float:
        """Per cent of the true readings that were taken unasked and right."""
        return 100 * self.taken / self.truths

    def bars(self) -> list[tuple[str, str, bool]]:
        """Return each bar: what it asks, what came out, and whether it holds."""
        return [
            (
                f"true readings taken unasked and right, at least {LEAST_TAKEN} %",
                f"{self.taken} of {self.truths} ({self.taken_share:.0f} %)",
                self.taken_share >= LEAST_TAKEN,
            ),
            ("taken wrong, none", str(len(self.wrong)), len(self.wrong) <= MOST_TAKEN_WRONG),
            (
                f"questions about readings that were right, at most {MOST_NEEDLESS}",
                str(self.asked_right),
                self.asked_right <= MOST_NEEDLESS,
            ),
            ("the impossible pair asked", "asked" if not self.unasked else ", ".join(self.unasked), not self.unasked),
            ("quoted limits and other talk not taken", str(len(self.limits_taken)), not self.limits_taken),
        ]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the main job on the samples and return the exit code."""
    parser = argparse.ArgumentParser(prog="script/try", description=__doc__.splitlines()[0])
    parser.add_argument("--to", type=Path, default=Path("out/try"), help="where store and report go (made anew)")
    parser.add_argument("--paper", choices=("letter", "a4"), default="letter")
    options = parser.parse_args(arguments)
    began = time.monotonic()
    shutil.rmtree(options.to, ignore_errors=True)
    with Store(options.to / "store") as store:
        job, sheet = _job(store)
        print_job(job, sheet, job.findings)
        questions = open_questions(job, sheet)
        print(f"\nQuestions it would ask ({len(questions)})\n")
        list_questions(job, sheet, questions)
        if job.limits:
            print("Limits that were quoted, to be read back before they count")
            several = len(job.appliances) > 1
            for limit in job.limits:
                out().print(f"  {limit_words(limit, sheet, several=several)}: “{limit.quoted.source.heard}”")
        print_findings(job, job.findings, leave_out=("within",))
        compared = compare(job, sheet, questions)
        _tell(compared)
        _, report = made_report(store, job.number)
        paths = write_report(store, job, sheet, report, options.to, paper=options.paper)
        print("\nThe report, " + report.status)
        for path in paths:
            print(f"  {path}")
    print(f"\n{time.monotonic() - began:.0f} s in all.")
    return 0 if all(holds for _, _, holds in compared.bars()) else 1


def _job(store: Store) -> tuple[Job, Sheet]:
    scenario = tomllib.loads((HERE / "scenario.toml").read_text(encoding="utf-8"))
    job = new_job(
        store,
        sheet="gas-boiler-start-up",
        site=scenario["site"]["name"],
        technician=scenario["people"][0]["name"],
        units="us",
        appliances=[APPLIANCE],
        instruments=[_instrument(one) for one in scenario["instruments"]],
        number="try",
    )
    sheet = sheet_of(store, job.head)
    here = senses(sheet=sheet)
    with Shown() as shown:
        began = datetime.fromisoformat(scenario["job"]["recording_started"])
        add(store, "try", [HERE / "startup.ogg"], senses=here, author="try", at=began, progress=shown)
        photos = [HERE / "photos" / f"{name}.jpg" for name in PHOTOS]
        add(store, "try", photos, senses=here, author="try", progress=shown)
    return check_job(store, "try"), sheet


def _instrument(row: dict[str, Any]) -> Instrument:
    kind = "analyser" if "analyzer" in row["kind"] else row["kind"]
    dates = {"calibrated": row["calibrated"], "due": row["calibration_due"]}
    return Instrument.model_validate({"name": row["name"], "kind": kind, "serial": row["serial"], **dates})


def compare(job: Job, sheet: Sheet, questions: Sequence[Question]) -> Comparison:
    """Compare what was said (``truth.jsonl``) and shown (the scenario's photos) with what stands in the job."""
    truths = [json.loads(line) for line in (HERE / "truth.jsonl").read_text(encoding="utf-8").splitlines()]
    said = [one for one in truths if one["kind"] == "reading"]
    named = [one for one in truths if one["kind"] == "name"]
    pairs = [one for one in truths if one["kind"] == "must_ask"]
    result = Comparison(len(said))
    rows = list(job.rows.values())
    asked = {key for question in questions for key in question.readings}
    for one in said:
        row = next((row for row in rows if _is(row, one)), None)
        if row is None:
            result.missed.append(_words(one))
        elif row.reading.id in asked:
            result.asked += 1
        else:
            result.taken += 1
    known = [*said, *named, *_shown()]
    for row in rows:
        if row.reading.id not in asked and row.how != "left out" and not any(_is(row, one) for one in known):
            result.wrong.append(
                f"{row.reading.quantity} {row.reading.condition} {row.reading.phase} {row.reading.value}"
            )
    by_id = {row.reading.id: row for row in rows}
    for question in questions:
        if all(any(_is(by_id[key], one) for one in known) for key in question.readings):
            result.asked_right += 1
    for pair in pairs:
        about = {by_id[key].reading.quantity for key in asked if by_id[key].reading.condition == pair["condition"]}
        if not about & set(pair["quantities"]):
            result.unasked.append(f"{' and '.join(pair['quantities'])} {' and '.join(pair['said'])}")
    result.limits_taken = [
        f"{one['about']} {value}"
        for one in truths
        if one["kind"] == "must_not_take"
        for value in one["values"]
        if any(_took(row, one, value) and row.reading.id not in asked for row in rows)
    ]
    return result


def _took(row: JobRow, quoted: dict[str, Any], value: str) -> bool:
    """Say whether a row rests on the words of an utterance that must give no reading of this value."""
    source = row.reading.source
    if source.start is None or not _same(row.reading.value, value):
        return False
    return float(quoted["start"]) - 1 <= source.start <= float(quoted["end"]) and quoted["about"] in (
        row.reading.quantity,
        "nothing",
    )


def _shown() -> Iterable[dict[str, Any]]:
    """Return what the photos truly show, as truths; the slip and the screen say when by their place in the job."""
    photos = tomllib.loads((HERE / "scenario.toml").read_text(encoding="utf-8"))["photos"]
    for photo in photos.values():
        for row in photo.get("rows", [photo]):
            value = row.get("shown") or row["display"]
            everywhere = row["quantity"] in ("ambient_temp",) or "condition" not in photo
            yield {
                "quantity": row["quantity"],
                "condition": "" if everywhere else photo["condition"],
                "phase": "" if everywhere else photo.get("phase", ""),
                "value": value.replace(",", ""),
            }


def _is(row: JobRow, truth: dict[str, Any]) -> bool:
    one = row.reading
    if one.quantity != truth["quantity"] or (one.condition or "") != truth.get("condition", ""):
        return False
    if one.phase != truth.get("phase", "") or (truth.get("unit") and one.unit != truth["unit"]):
        return False
    wanted = truth.get("note", "")
    if one.quantity == "valve_move" and set(one.note.split()) != {_SCREWS.get(word, word) for word in wanted.split()}:
        return False
    return _same(one.value, truth["value"])


def _same(value: str, true: str) -> bool:
    if value in _STATES.get(true, ()):
        return True
    if is_value_text(value) and is_value_text(true):
        return Decimal(value) == Decimal(true)
    return _letters(value) == _letters(true)


def _letters(text: str) -> str:
    return "".join(one for one in text.casefold() if one.isalnum())


def _words(truth: dict[str, Any]) -> str:
    parts = (truth.get("condition", ""), truth.get("phase", ""), truth["quantity"], truth["value"])
    return " ".join(part for part in parts if part)


def _tell(compared: Comparison) -> None:
    print("\nCompared with what is true (samples/truth.jsonl)")
    for wanted, found, holds in compared.bars():
        print(f"  {'holds ' if holds else 'FAILS '} {wanted}: {found}")
    print(f"  {compared.asked} true readings are asked about, {len(compared.missed)} were missed")
    for title, rows in (("taken wrong", compared.wrong), ("missed", compared.missed)):
        for row in rows:
            print(f"    {title}: {row}")


if __name__ == "__main__":
    sys.exit(main())
