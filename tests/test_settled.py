"""How a reading came to stand, in words: by whom, from what, and whether on the day of the evidence."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from jobs.fold import Job
from jobs.settled import settled, sources_of
from jobs.table import How, JobRow, Step
from jobs.timeline import Filed
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Box, Evidence
from schemas.job import JobAppliance, JobHead
from schemas.readings import Reading, Source

VISIT = datetime(2026, 3, 4, 15, 30, tzinfo=UTC)
OPENED = VISIT - timedelta(days=1)
SOUND, PHOTO, TYPED = ("1" * 64, "2" * 64, "3" * 64)
FILED = (
    Filed(Evidence(sha256=SOUND, kind="sound", media_type="audio/wav", name="a.wav", size=1), 2, at=VISIT, read=True),
    Filed(Evidence(sha256=PHOTO, kind="photo", media_type="image/png", name="b.png", size=1), 3, at=VISIT, read=True),
    Filed(Evidence(sha256=TYPED, kind="typed", media_type="text/plain", name="typed", size=1), 4, read=True),
)
HEAD = JobHead(
    number="j", sheet="s", sheet_sha256="0" * 64, site="Kiln", technician="Rowan Ashby", units="us",
    appliances=(JobAppliance(tag="boiler"),), created=OPENED,
)  # fmt: skip
BOX = Box(corners=((0, 0), (9, 0), (9, 9), (0, 9)))
SHOWN = Reading(id="p", quantity="co2", condition="high_fire", value="9.3", source=Source(evidence=PHOTO, box=BOX))
JOB = Job(HEAD, 9, "", FILED, gone=(JobRow(SHOWN, "dropped"),))


def row(how: How, by: str = "sayback", *, evidence: str = SOUND, at: datetime = VISIT, why: str = "") -> JobRow:
    one = SHOWN.model_copy(update={"id": "v", "source": Source(evidence=evidence, start=3.0)})
    step = Step(7, at, by, how, one, one, why)
    return JobRow(one, how, by, history=(step,))


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (row("taken unasked"), "taken, no doubt stood"),
        (row("agreed by voice and photo"), "voice and photo agree"),
        (row("answered", "Ines Pell", why="chosen"), "answered by Ines Pell from the sound"),
        (row("answered", "Ines Pell", evidence=PHOTO), "answered by Ines Pell from the picture"),
        (row("answered", "Ines Pell", evidence=TYPED), "answered by Ines Pell from the typed line"),
        (row("answered", "Ines Pell", evidence="4" * 64), "answered by Ines Pell"),
        (row("answered", "Rowan Ashby", why="spoken"), "answered aloud by the technician, Rowan Ashby"),
        (row("answered", "Rowan Ashby"), "answered on the day of the visit by the technician, Rowan Ashby"),
        (row("answered", "Rowan Ashby", at=VISIT + timedelta(days=1)), "answered later by the technician, Rowan Ashby"),
        (row("answered", "Rowan Ashby", evidence=TYPED), "answered by the technician, Rowan Ashby"),
        (row("edited", "Ines Pell"), "changed by Ines Pell"),
        (row("edited", "Rowan Ashby"), "changed by the technician, Rowan Ashby"),
        (row("left out", "Ines Pell", why="nobody can tell"), "left out by Ines Pell: nobody can tell"),
    ],
)
def test_it_says_who_settled_a_value_and_from_what(one: JobRow, words: str) -> None:
    assert settled(one, JOB) == words
    assert settled(one, JOB, {"v"}) == f"{words}; read back"


def test_the_day_of_the_visit_is_that_of_the_evidence_and_not_of_the_opening() -> None:
    # The job was opened the day before; answered on the day of the recording is on the day of the visit.
    assert OPENED.date() != VISIT.date()
    assert "on the day of the visit" in settled(row("answered", "Rowan Ashby", at=VISIT + timedelta(hours=2)), JOB)


def test_what_is_asked_says_why() -> None:
    one = row("open")
    doubt = Doubt(kind=DoubtKind.HEARD_UNCLEARLY)
    assert settled(replace(one, reading=one.reading.model_copy(update={"doubts": (doubt,)})), JOB) == (
        "asked: heard unclearly"
    )


def test_voice_and_photo_rest_on_both() -> None:
    one = replace(row("agreed by voice and photo"), agreed_with="p")
    assert [source.evidence for source in sources_of(one, JOB)] == [SOUND, PHOTO]
    assert [source.evidence for source in sources_of(row("taken unasked"), JOB)] == [SOUND]
    answered = replace(row("answered", "Ines Pell"), agreed_with="p")
    assert settled(answered, JOB) == "answered by Ines Pell from the sound and the picture"
