"""What stands in a report: its parts as typed models, in the order in which they are read.

HTML, PDF, CSV and JSON are all written from this (``jobs.report_files``); ``jobs.report`` makes it of a job.
"""

from __future__ import annotations

from datetime import datetime

from schemas.base import Model, Sha256
from schemas.findings import Finding
from schemas.job import Instrument
from schemas.questions import Question
from schemas.readings import Phase

__all__ = [
    "ApplianceFacts",
    "Asked",
    "First",
    "Line",
    "Move",
    "Picture",
    "Proof",
    "Report",
    "Section",
    "Signature",
    "Value",
]


class Proof(Model):
    """One piece of evidence in the appendix; ``mark`` is how values refer to it: ``S1`` sound, ``P2`` picture."""

    mark: str
    name: str
    kind: str
    at: datetime | None
    clock: str
    seconds: float | None
    sha256: Sha256
    note: str = ""
    """The words of a typed line; that it was not read to its end, came after the job had been closed, was filed under
    an appliance, or was blanked in part."""


class Value(Model):
    """One value as it is printed: in words with its unit, how it was settled, and its reference to the evidence.

    ``beside`` is the same in the units that were asked for, rounded as is usual in them; empty where it was said so.
    ``told`` is false where the record has no value: nobody could tell, or a person left it out; ``text`` then says what
    had been heard or shown, ``settled`` who left it out and why.
    """

    reading: str
    text: str
    settled: str
    ref: str
    verdict: str = ""
    phase: Phase = ""
    open: bool = False
    told: bool = True
    beside: str = ""


class Line(Model):
    """One row of the sheet: a quantity at a condition. ``found`` is as found, ``left`` as left or the only reading.

    ``quantity`` is empty where nobody has told yet what a value is of.
    """

    quantity: str
    name: str
    condition: str
    found: Value | None = None
    left: Value | None = None
    limit: str = ""
    limit_from: str = ""
    verdict: str = ""


class Section(Model):
    """A group of the sheet for one appliance, or for the visit (``appliance`` empty).

    An ``appliance`` that is none of the job's was said, and its readings are kept under that name.
    """

    appliance: str
    title: str
    lines: tuple[Line, ...]
    missing: tuple[str, ...]
    """What the sheet requires here and the job does not have, in words."""


class Move(Model):
    """An adjustment as text: what each traced quantity did, whether it had settled, where it lies in the limits.

    ``sums`` are the turns of its screw so far, net (clockwise counts up) and all together; ``doubt`` says that it is
    still asked about, or who left it out and why.
    """

    number: int
    appliance: str
    text: str
    at: str
    changes: tuple[str, ...]
    settled: str
    within: str
    sums: str
    ref: str
    doubt: str = ""


class First(Model):
    """What is said first: a stop or a caution. ``done`` is what was recorded to have been done about it, and by whom.

    ``open``: a stop that nobody has dealt with, or not with all that is known of it.
    """

    verdict: str
    text: str
    basis: str
    appliance: str | None
    done: tuple[str, ...] = ()
    open: bool = False


class Asked(Model):
    """What is open: a question as it is asked, and why."""

    text: str
    why: str


class Signature(Model):
    """Who signed, for whom, the record with which hash; ``later`` is what was done after it, oldest first.

    ``entered`` names who entered it, where that is not the signer.
    """

    name: str
    role: str
    at: datetime
    head: Sha256
    position: int
    later: tuple[str, ...]
    entered: str = ""


class Picture(Model):
    """A photo of the job and what was read in it."""

    mark: str
    name: str
    sha256: Sha256
    display: str
    figures: tuple[str, ...]


class ApplianceFacts(Model):
    """What is known of one appliance before any reading."""

    tag: str
    called: tuple[str, ...]
    title: str = ""
    document: str = ""
    fuel: str = ""
    file_sha256: Sha256 | None = None


class Report(Model):
    """The whole report of one job, as it stood after entry ``position`` of its journal (hash ``head``)."""

    number: str
    title: str
    site: str
    customer: str
    technician: str
    opened: datetime
    began: datetime | None
    """The first moment of the evidence; None where no piece says its time."""
    ended: datetime | None
    """The last moment of the evidence."""
    sheet: str
    sheet_version: int
    sheet_sha256: Sha256
    jurisdiction: str
    position: int
    head: Sha256
    status: str
    again: str = ""
    """That it was closed, and what has come to it since."""
    open: int
    """Questions, what is missing, files that are not read to their end, and stops that nobody has dealt with."""
    stops: int
    """How many of those are stops."""
    unread: tuple[str, ...]
    """Marks and names of the files that are not read to their end, and how much live sound is no file yet."""
    cautions: tuple[str, ...]
    appliances: tuple[ApplianceFacts, ...]
    instruments: tuple[Instrument, ...]
    first: tuple[First, ...]
    """Stops and cautions: said first."""
    sections: tuple[Section, ...]
    moves: tuple[Move, ...]
    traced: tuple[str, ...] = ()
    """Names of the quantities that ``Move.changes`` are of, in the same order."""
    last_within: tuple[str, ...] = ()
    """For each firing rate that was adjusted, the last row whose values all lay within the limits."""
    deviations: tuple[Finding, ...]
    """Outside the limits, conflicting, to look at again."""
    untold: tuple[Finding, ...]
    """What cannot be judged, though nothing about it is asked."""
    questions: tuple[Question, ...]
    asked: tuple[Asked, ...] = ()
    """The questions in words, each with why it is asked."""
    signatures: tuple[Signature, ...] = ()
    missing: tuple[Finding, ...]
    pictures: tuple[Picture, ...]
    evidence: tuple[Proof, ...]
