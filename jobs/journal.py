"""The journal of a job: what may stand in it, and the chain that ties each entry to the one before.

An entry is never changed and never deleted; a correction is one more entry. A job is the fold of its journal
(``jobs.fold``), so whatever is not in here did not happen.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Annotated, Any, Literal

from pydantic import Field, TypeAdapter, ValidationError

from schemas.base import Model, Name, Sha256, ValueText
from schemas.errors import StoreFailed
from schemas.evidence import Clock, Evidence, Look, Utterance
from schemas.findings import Finding, NotApplicable
from schemas.job import Instrument, JobHead
from schemas.questions import Answer, Candidate, Question
from schemas.readings import Operation, Phase, Reading

__all__ = [
    "START",
    "TOOL",
    "Agreement",
    "Answered",
    "Blanked",
    "Body",
    "Carried",
    "Checked",
    "ClockSet",
    "Closed",
    "DoesNotApply",
    "Draft",
    "Edited",
    "Entry",
    "EvidenceAdded",
    "FileGiven",
    "HeadChanged",
    "HeadFacts",
    "Heard",
    "HeardAll",
    "JobOpened",
    "LimitReadBack",
    "MovedIn",
    "MovedOut",
    "MovedUnder",
    "Operated",
    "Place",
    "Placed",
    "Reopened",
    "Row",
    "Seen",
    "SentBack",
    "SetAside",
    "Signed",
    "StopDealtWith",
    "Told",
    "Undone",
    "Withdrawn",
    "canonical",
    "parse",
    "seal",
]

START = "0" * 64
"""What the first entry names as the hash before it."""

TOOL = "sayback"
"""The author of what no person did."""


class JobOpened(Model):
    """The first entry: the head of the job."""

    kind: Literal["job-opened"] = "job-opened"
    head: JobHead


class EvidenceAdded(Model):
    """A file is on the disk, fsynced. ``seconds`` is how long it plays."""

    kind: Literal["evidence-added"] = "evidence-added"
    evidence: Evidence
    seconds: float | None = None


class ClockSet(Model):
    """The time of a piece of evidence, given or corrected by a person; ``offset`` are seconds added to what it said."""

    kind: Literal["clock-set"] = "clock-set"
    evidence: Sha256
    at: datetime | None
    clock: Clock
    offset: ValueText = "0"
    why: str


class MovedUnder(Model):
    """All that a piece of evidence tells is of this appliance, whatever it says itself; it was filed under another.

    ``confirm`` names the quantities that the sheet reserves to the technician, where somebody else moved it: their
    readings are asked.
    """

    kind: Literal["moved-under"] = "moved-under"
    evidence: Sha256
    under: str = Field(min_length=1)
    confirm: tuple[Name, ...] = ()
    why: str


class MovedOut(Model):
    """A piece of evidence, with its readings, is in another job from here on; ``entry`` is the one there that says so.

    The two are written together or not at all, and taken back together.
    """

    kind: Literal["moved-out"] = "moved-out"
    evidence: Sha256
    to: Name
    entry: int = Field(ge=1)
    why: str


class Blanked(Model):
    """A stretch of a sound was taken off the record: what was said in it is gone from the disk.

    ``evidence`` stays the name of the sound; ``start`` and ``end`` are seconds of it, ``piece`` the SHA-256 of the
    samples that were blanked (16-bit mono at 16 kHz). ``left`` is kept from here on where ``was`` was kept before: the
    same sound with silence in that stretch.
    """

    kind: Literal["blanked"] = "blanked"
    evidence: Sha256
    start: float = Field(ge=0)
    end: float
    piece: Sha256
    was: Sha256
    left: Sha256
    by: str = Field(min_length=1)
    why: str = Field(min_length=1)


class Carried(Model):
    """What a person had settled about a reading before it was moved to another job; ``after`` None: it was put aside.

    ``before`` is the reading as it stood then, both with the appliance that they have in the job they are moved to.
    """

    by: str
    how: Literal["answered", "edited"]
    before: Reading
    after: Candidate | None


class MovedIn(Model):
    """A piece of evidence comes from another job, with all that was found in it; ``entry`` is the one there.

    ``under`` and ``confirm`` are as in :class:`MovedUnder`; ``called`` are the names that appliances had where it was,
    ``aside`` the utterances that belonged to the conversation with the tool, ``blanked`` what was taken off the record.
    The file itself is not copied: it is named by its hash.
    """

    kind: Literal["moved-in"] = "moved-in"
    evidence: Evidence
    seconds: float | None = None
    at: datetime | None = None
    clock: Clock = "none"
    offset: ValueText = "0"
    utterances: tuple[Utterance, ...] = ()
    look: Look | None = None
    read: bool
    origin: Name
    entry: int = Field(ge=1)
    under: str | None = None
    called: tuple[str, ...] = ()
    aside: tuple[int, ...] = ()
    blanked: tuple[Blanked, ...] = ()
    carried: tuple[Carried, ...] = ()
    confirm: tuple[Name, ...] = ()
    why: str


class Heard(Model):
    """One utterance of a sound file or of typed text."""

    kind: Literal["heard"] = "heard"
    utterance: Utterance


class HeardAll(Model):
    """A sound file was heard to its end."""

    kind: Literal["heard-all"] = "heard-all"
    evidence: Sha256
    utterances: int = Field(ge=0)


class SetAside(Model):
    """An utterance is no talk about the work: it was part of the conversation with the tool, or the tool's own voice.

    Extraction passes it over. ``question`` is the one that it answers; ``note`` is the text of a dictated note.
    ``appliance`` is the one that it named in answer: where it was not known, the work is there from then on.
    """

    kind: Literal["set-aside"] = "set-aside"
    evidence: Sha256
    number: int = Field(ge=0)
    what: Literal["answer", "command", "note", "own voice", "stray"]
    question: str | None = None
    note: str = ""
    appliance: str | None = None


class Seen(Model):
    """A picture was looked at."""

    kind: Literal["seen"] = "seen"
    look: Look


class Operated(Model):
    """An operation that extraction found. ``number`` is the utterance (None for a picture), ``ordinal`` counts in it.

    The same three with another operation say that extraction, run again over more evidence, now reads it so: the
    latest counts.
    """

    kind: Literal["operation"] = "operation"
    evidence: Sha256
    number: int | None
    ordinal: int = Field(ge=0)
    operation: Operation


class Withdrawn(Model):
    """Extraction, run again over more evidence, no longer finds this. ``key`` is that of the entry withdrawn."""

    kind: Literal["withdrawn"] = "withdrawn"
    key: str
    why: str


class Agreement(Model):
    """What a photo shows was weighed against what was said, or what an earlier photo shows, of the same slot.

    ``stands`` is the reading that stands where they agree, by ``voice`` or ``photo``, and ``under`` the photo's reading
    that comes to stand under it. ``outcome``: ``same`` value at the coarser precision of the two, ``within`` the
    settling tolerance, or ``apart``. ``difference`` is the value of ``under`` less that of ``stands`` (None for words)
    and ``tolerance`` the sheet's, in ``unit``.
    """

    kind: Literal["agreement"] = "agreement"
    stands: str
    by: Literal["voice", "photo"]
    under: str
    outcome: Literal["same", "within", "apart"]
    difference: ValueText | None
    tolerance: ValueText
    unit: str
    why: str


class Place(Model):
    """Where in the work a row of readings belongs."""

    appliance: str | None
    condition: Name
    phase: Phase = ""


class Placed(Model):
    """A picture's readings were compared with what was said, to find where in the work the picture belongs.

    ``at`` is the place, where what was said leaves no doubt; else it is None, the place is asked, and ``others`` are
    the likeliest answers in order.
    """

    kind: Literal["placed"] = "placed"
    evidence: Sha256
    readings: tuple[str, ...]
    at: Place | None
    others: tuple[Place, ...] = ()
    why: str


class Told(Model):
    """What the tool said aloud or showed, as it was worded."""

    kind: Literal["said", "shown"]
    text: str
    question: str | None = None
    readings: tuple[str, ...] = ()


class Answered(Model):
    """An answer, with the whole question as it was asked, and its readings as they stood then."""

    kind: Literal["answered"] = "answered"
    question: Question
    answer: Answer
    before: tuple[Reading, ...]


class Edited(Model):
    """A person gives a reading another value or label, or leaves it out of the record (``after`` None)."""

    kind: Literal["edited"] = "edited"
    before: Reading
    after: Candidate | None
    why: str


class LimitReadBack(Model):
    """A quoted limit was read back to a person. ``limit`` is the key of its operation; agreed, it is the job's own."""

    kind: Literal["limit-read-back"] = "limit-read-back"
    limit: str
    agreed: bool


class DoesNotApply(Model):
    """Something that the sheet requires does not apply here, and why."""

    kind: Literal["not-applicable"] = "not-applicable"
    slot: NotApplicable


class SentBack(Model):
    """The office gives something back to the technician: a question on ``readings``, or an empty ``slot`` of the sheet.

    ``text`` is what is asked, as it was worded then; ``note`` is a word of the sender's. It settles nothing.
    """

    kind: Literal["sent-back"] = "sent-back"
    to: str = Field(min_length=1)
    text: str = Field(min_length=1)
    readings: tuple[str, ...] = ()
    slot: tuple[str | None, Name, str] | None = None
    note: str = ""


class StopDealtWith(Model):
    """What a named person did about a stop; the stop itself stays in the record.

    ``covers`` are the marks of the findings that they knew of: what comes to light later is not dealt with by it.
    """

    kind: Literal["stop-dealt-with"] = "stop-dealt-with"
    stop: Name
    what: str = Field(min_length=1)
    covers: tuple[str, ...] = ()


class HeadFacts(Model):
    """What of the head of a job a person can put right: where, for whom, and with which instruments."""

    site: str = Field(min_length=1)
    customer: str = ""
    instruments: tuple[Instrument, ...] = ()


class HeadChanged(Model):
    """A person puts the head of the job right; the head that it was opened with stays in the first entry."""

    kind: Literal["head-changed"] = "head-changed"
    before: HeadFacts
    after: HeadFacts
    why: str = Field(min_length=1)


class FileGiven(Model):
    """A person gives an appliance another appliance file; findings made with the one before stay in the journal."""

    kind: Literal["file-given"] = "file-given"
    appliance: str
    file: Name
    file_sha256: Sha256
    why: str = Field(min_length=1)


class Checked(Model):
    """What the checks said of the job as it stood after entry ``position``."""

    kind: Literal["checked"] = "checked"
    position: int
    findings: tuple[Finding, ...]


class Closed(Model):
    """The job is done; ``open`` counts the questions and missing slots left open, ``why`` then says the reason."""

    kind: Literal["closed"] = "closed"
    open: int = Field(ge=0)
    why: str = ""


class Reopened(Model):
    """A closed job is worked on again."""

    kind: Literal["reopened"] = "reopened"
    why: str


class Signed(Model):
    """A named person signed the job as it stood after entry ``position``, whose hash is ``head``."""

    kind: Literal["signed"] = "signed"
    name: str = Field(min_length=1)
    role: Literal["technician", "customer", "office"]
    position: int = Field(ge=1)
    head: Sha256


class Undone(Model):
    """An earlier entry of a person's (answered, edited, not-applicable, …) counts no longer."""

    kind: Literal["undone"] = "undone"
    seq: int = Field(ge=1)
    why: str = ""


Body = Annotated[
    JobOpened
    | EvidenceAdded
    | ClockSet
    | MovedUnder
    | MovedOut
    | MovedIn
    | Blanked
    | Heard
    | HeardAll
    | SetAside
    | Seen
    | Operated
    | Withdrawn
    | Placed
    | Agreement
    | Told
    | Answered
    | Edited
    | LimitReadBack
    | DoesNotApply
    | SentBack
    | StopDealtWith
    | HeadChanged
    | FileGiven
    | Checked
    | Closed
    | Reopened
    | Signed
    | Undone,
    Field(discriminator="kind"),
]

_BODY: TypeAdapter[Body] = TypeAdapter(Body)


@dataclass(frozen=True)
class Draft:
    """What is to be written: a body, its author, and the key that makes writing it twice write it once."""

    body: Body
    author: str = TOOL
    key: str | None = None


@dataclass(frozen=True)
class Row:
    """An entry as the store holds it. ``at`` is RFC 3339 with zone, ``body`` canonical JSON, hashes hexadecimal."""

    job: str
    seq: int
    at: str
    author: str
    kind: str
    key: str | None
    body: str
    prev: str
    hash: str

    def computed_hash(self) -> str:
        """Return the SHA-256 over the canonical JSON of all fields but the hash; the body counts as the text it is."""
        rest: dict[str, Any] = {
            "at": self.at,
            "author": self.author,
            "body": self.body,
            "job": self.job,
            "key": self.key,
            "kind": self.kind,
            "prev": self.prev,
            "seq": self.seq,
        }
        return hashlib.sha256(canonical(rest).encode()).hexdigest()


@dataclass(frozen=True)
class Entry:
    """An entry, read: see :class:`Row` for its place in the chain."""

    seq: int
    at: datetime
    author: str
    key: str | None
    body: Body
    hash: str


def canonical(value: Mapping[str, Any]) -> str:
    """Return JSON with sorted keys, no blanks and no escapes that are not needed: one text for one value."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def seal(draft: Draft, *, job: str, seq: int, at: datetime, prev: str) -> Row:
    """Return a draft as the entry ``seq`` of ``job``, chained to ``prev``."""
    body = draft.body.model_dump(mode="json")
    kind = body.pop("kind")
    row = Row(job, seq, at.isoformat(), draft.author, kind, draft.key, canonical(body), prev, "")
    return Row(**{**vars(row), "hash": row.computed_hash()})


@lru_cache(maxsize=8192)
def parse(row: Row) -> Entry:
    """Return the entry that a row holds.

    Raises:
        StoreFailed: the body is not one that this release knows.
    """
    try:
        body = _BODY.validate_python({**json.loads(row.body), "kind": row.kind})
        return Entry(row.seq, datetime.fromisoformat(row.at), row.author, row.key, body, row.hash)
    except (ValidationError, ValueError) as error:
        raise StoreFailed(
            f"Entry {row.seq} of job {row.job} ({row.kind}) cannot be read: it was written by a newer sayback or "
            f"damaged. Run sayback verify {row.job}; install the newer release if it finds the chain whole."
        ) from error
