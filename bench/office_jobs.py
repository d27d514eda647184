"""Invented jobs for the office: journals as a visit would have left them, without hearing or seeing anything.

Each has a short recording (a tone), readings over the sheet with values in their usual ranges, and some questions of
which the office can answer all but those that the sheet reserves.
"""

from __future__ import annotations

import io
import math
import struct
import wave
from collections.abc import Iterator
from decimal import Decimal
from typing import Literal

from jobs.book import NewAppliance, new_job, sheet_of
from jobs.findings import check_job
from jobs.fold import Job
from jobs.journal import Draft, EvidenceAdded, Heard, HeardAll, Operated
from jobs.store import Store
from schemas.base import decimal_of
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Evidence, Hypothesis, MadeBy, Utterance
from schemas.readings import Alternative, Reading, Record, Source
from schemas.sheet import Quantity, Sheet

__all__ = ["seed", "tone"]

_SITES = ("Quillfen", "Harrowmere", "Tidewick", "Ansley", "Borrowdean", "Cranmoor", "Dunfallow", "Eastwithy")
_KINDS = ("Town Library", "Primary School", "Baths", "Village Hall", "Mill", "Depot", "Surgery")
_PEOPLE = ("Marlow Teague", "Rowan Ashby", "Ismay Cole", "Perrin Vale")
_BY = MadeBy(reader="seeded", version="1")


def tone(seconds: float = 2.0, rate: int = 8000) -> bytes:
    """Return a WAV file with a quiet tone."""
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        samples = (int(4000 * math.sin(2 * math.pi * 440 * n / rate)) for n in range(int(seconds * rate)))
        file.writeframes(b"".join(struct.pack("<h", one) for one in samples))
    return buffer.getvalue()


def seed(
    store: Store, number: int, *, readings: int = 60, questions: int = 6, reserved: int = 0, sound: bytes | None = None
) -> Job:
    """Open the ``number``-th invented job and return it: so many readings, of which so many are asked about.

    ``reserved`` more are asked about that only the technician can settle.
    """
    job = new_job(
        store,
        sheet="gas-boiler-start-up",
        site=f"{_SITES[number % len(_SITES)]} {_KINDS[number // len(_SITES) % len(_KINDS)]}",
        technician=_PEOPLE[number % len(_PEOPLE)],
        units="us",
        appliances=[NewAppliance(f"number {n}", (f"boiler {n}",), "orrinvale-ov-240c") for n in ("one", "two")],
        number=f"job-{number}",
    )
    if not readings:
        return job
    sheet = sheet_of(store, job.head)
    sha256, size = store.evidence.keep_bytes(sound or tone())
    evidence = Evidence(sha256=sha256, kind="sound", media_type="audio/wav", name="talk.wav", size=size)
    drafts = [Draft(EvidenceAdded(evidence=evidence, seconds=2.0), job.head.technician, f"evidence/{sha256}")]
    wanted = {"open": questions, "reserved": reserved}
    for place, reading in enumerate(_readings(sheet, readings, sha256, wanted)):
        text = f"{reading.quantity} {reading.value}".replace("_", " ")
        utterance = Utterance(
            evidence=sha256,
            number=place,
            start=0.2,
            end=1.2,
            hypotheses=(Hypothesis(text=text, mass=1.0),),
            made_by=_BY,
        )
        operated = Operated(evidence=sha256, number=place, ordinal=0, operation=Record(reading=reading))
        drafts += [
            Draft(Heard(utterance=utterance), key=f"heard/{sha256}/{place}"),
            Draft(operated, key=f"op/{sha256}/{place}/0/0"),
        ]
    drafts.append(Draft(HeardAll(evidence=sha256, utterances=readings), key=f"heard-all/{sha256}"))
    store.append(job.number, drafts)
    return check_job(store, job.number)


def _readings(
    sheet: Sheet, count: int, sha256: str, wanted: dict[Literal["open", "reserved"] | str, int]
) -> Iterator[Reading]:
    slots = [
        (quantity, condition, None if quantity.every_job else tag)
        for tag in ("number one", "number two")
        for quantity in sheet.quantities
        if quantity.kind in ("number", "check") and not (quantity.every_job and tag == "number two")
        for condition in quantity.conditions or ("",)
    ]
    for place, (quantity, condition, tag) in enumerate(slots[:count]):
        kind = "reserved" if quantity.reserved else "open"
        asked = quantity.kind == "number" and wanted[kind] > 0
        wanted[kind] -= asked
        value, unit = _usual(quantity, condition)
        text = f"{quantity.id} {value}".replace("_", " ")
        source = Source(evidence=sha256, utterance=place, start=0.2, end=1.2, span=(0, len(text)), heard=text)
        other = f"{value}5" if "." in value else f"{value}.5"
        yield Reading(
            id=f"{sha256[:16]}-{place}-1",
            quantity=quantity.id,
            condition=condition,
            value=value,
            unit=unit,
            appliance=tag,
            source=source,
            alternatives=(Alternative(value=other, why="the other way to hear it"),) if asked else (),
            doubts=(Doubt(kind=DoubtKind.HEARD_UNCLEARLY),) if asked else (),
            passed=() if asked else ("all",),
        )


_OF_THE_BOILER = {
    ("input_max", ""): "240000",
    ("input_min", ""): "60000",
    ("clocked_input", "high_fire"): "236000",
    ("clocked_input", "low_fire"): "59000",
}
"""Inputs are those of the appliance file: the middle of what boilers have would stop the work on this one."""


def _usual(quantity: Quantity, condition: str) -> tuple[str, str]:
    """Return a value from the middle of a quantity's usual range, in its first unit; a check has passed."""
    if (quantity.id, condition) in _OF_THE_BOILER:
        return _OF_THE_BOILER[quantity.id, condition], quantity.units[0]
    if quantity.kind == "check":
        return "passed", ""
    bounds = [decimal_of(one) for one in (*quantity.range.usual, *quantity.range.possible) if one is not None]
    low, high = (bounds[0], bounds[1]) if len(bounds) > 1 else (Decimal(1), Decimal(9))
    middle = (low + high) / 2
    decimals = min(quantity.decimals.get(quantity.units[0], (1,))) if quantity.units else 0
    return f"{middle:.{decimals}f}", quantity.units[0] if quantity.units else ""
