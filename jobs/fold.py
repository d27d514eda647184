"""From journal to job: everything that is known of a job, and how each reading came to stand as it does.

The fold is pure: the same entries give the same job.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from threading import Lock

from jobs.journal import (
    Agreement,
    Answered,
    Blanked,
    Checked,
    ClockSet,
    Closed,
    DoesNotApply,
    Edited,
    Entry,
    EvidenceAdded,
    FileGiven,
    HeadChanged,
    Heard,
    HeardAll,
    JobOpened,
    LimitReadBack,
    MovedIn,
    MovedOut,
    MovedUnder,
    Operated,
    Placed,
    Reopened,
    Seen,
    SentBack,
    SetAside,
    Signed,
    StopDealtWith,
    Told,
    Undone,
    Withdrawn,
)
from jobs.table import JobRow, Passed, Table, operation_key
from jobs.timeline import Filed, in_order, shifted
from schemas.errors import StoreFailed
from schemas.evidence import Look, Utterance
from schemas.findings import Finding, NotApplicable
from schemas.job import JobAppliance, JobHead
from schemas.questions import Answer, Candidate
from schemas.readings import Alarm, QuotedLimit, Reading

__all__ = ["Job", "JobLimit", "agreement_key", "fold", "latest", "place_key", "with_findings"]


@dataclass(frozen=True)
class JobLimit:
    """A limit that was quoted aloud; ``agreed`` once it was read back (None: not yet). ``key`` names it."""

    key: str
    quoted: QuotedLimit
    agreed: bool | None = None
    by: str = ""


@dataclass(frozen=True)
class Job:
    """A whole job. ``position`` and ``hash`` are the end of the journal that it is the fold of."""

    head: JobHead
    position: int
    hash: str
    filed: tuple[Filed, ...] = ()
    away: Mapping[str, str] = field(default_factory=dict)
    """Evidence that was moved to another job, by hash, and to which."""
    rows: Mapping[str, JobRow] = field(default_factory=dict)
    gone: tuple[JobRow, ...] = ()
    passed: tuple[Passed, ...] = ()
    """What stood until something that was said took it away, in the order of the work."""
    settled: Mapping[str, Candidate | None] = field(default_factory=dict)
    """What a person made of a reading last, by its id; None where it was put aside as wrong."""
    limits: tuple[JobLimit, ...] = ()
    alarms: tuple[Alarm, ...] = ()
    agreements: tuple[Agreement, ...] = ()
    answers: tuple[Answer, ...] = ()
    told: tuple[Told, ...] = ()
    not_applicable: tuple[NotApplicable, ...] = ()
    dealt_with: tuple[Entry, ...] = ()
    """Entries whose body is a :class:`StopDealtWith`."""
    sent_back: tuple[Entry, ...] = ()
    """Entries whose body is a :class:`SentBack`, also of what was settled since."""
    findings: tuple[Finding, ...] = ()
    checked_at: int | None = None
    closed: Closed | None = None
    """Set as long as nothing has come to the record since."""
    closing: Entry | None = None
    """The entry that closed it last, unless a person opened it again."""
    since_closing: tuple[Entry, ...] = ()
    """What has come to the record after ``closing``; any of it, and the job is open again."""
    signed: tuple[Entry, ...] = ()
    """Entries whose body is a :class:`Signed`."""

    @property
    def number(self) -> str:
        """The job's number."""
        return self.head.number

    @property
    def appliances(self) -> tuple[JobAppliance, ...]:
        """The appliances, in the order in which they were given."""
        return self.head.appliances

    @property
    def utterances(self) -> tuple[Utterance, ...]:
        """All utterances, in the order of the work."""
        return tuple(m.found for m in in_order(self.filed) if isinstance(m.found, Utterance))

    @property
    def looks(self) -> tuple[Look, ...]:
        """All looks, in the order of the work."""
        return tuple(m.found for m in in_order(self.filed) if isinstance(m.found, Look))

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings that stand, open ones included; without those left out."""
        return tuple(row.reading for row in self.rows.values() if row.how != "left out")

    def as_settled(self, one: Reading) -> Reading | None:
        """Return a reading as a person settled it, also one that stands no longer; None: they said that it is wrong."""
        if one.id not in self.settled:
            return one
        said = self.settled[one.id]
        if said is None:
            return None
        told = said.model_dump(include={"quantity", "condition", "value", "unit", "appliance"})
        return one.model_copy(update={**told, "doubts": (), "alternatives": ()})

    @property
    def unread(self) -> tuple[Filed, ...]:
        """Evidence that was not heard or looked at to its end."""
        return tuple(one for one in self.filed if not one.read)


def agreement_key(under: str) -> str:
    """Return what names the weighing of a photo's reading against what was said."""
    return f"agree/{under}"


def place_key(evidence: str) -> str:
    """Return what names the placing of a picture."""
    return f"place/{evidence}"


def latest(entries: Iterable[Entry]) -> dict[str, tuple[int, Entry | None]]:
    """Return what extraction and weighing found, by name: how often it was written, and the entry that counts now.

    None stands for one that was withdrawn.
    """
    found: dict[str, tuple[int, Entry | None]] = {}
    for entry in entries:
        match entry.body:
            case Operated(evidence=evidence, number=number, ordinal=ordinal):
                key = operation_key(evidence, number, ordinal)
            case Agreement(under=under):
                key = agreement_key(under)
            case Placed(evidence=evidence):
                key = place_key(evidence)
            case Withdrawn(key=key):
                pass
            case _:
                continue
        times = found[key][0] if key in found else 0
        found[key] = (times + 1, None if isinstance(entry.body, Withdrawn) else entry)
    return found


_KEPT = 32
_folded: OrderedDict[str, tuple[Entry, Job]] = OrderedDict()
_lock = Lock()


def fold(entries: Sequence[Entry]) -> Job:
    """Return the job that a journal tells. Nothing of it is to be changed: the same journal gives the same object.

    The hash of the last entry names the whole journal, so the jobs folded last are kept by it.

    Raises:
        StoreFailed: the journal does not begin with the opening of a job.
    """
    last = entries[-1] if entries else None
    with _lock:
        kept = _folded.get(last.hash) if last is not None else None
    # An entry that is only thought of has no hash that says what came before it, and is not the one that was read.
    if kept is not None and kept[0] is last:
        return kept[1]
    job = _fold(entries)
    if last is not None and last.hash:
        _keep(last, job)
    return job


def _keep(last: Entry, job: Job) -> None:
    with _lock:
        _folded[last.hash] = (last, job)
        while len(_folded) > _KEPT:
            _folded.popitem(last=False)


def with_findings(job: Job, kept: Entry) -> Job:
    """Return the job behind an entry that keeps its findings, which changes nothing else: as :func:`fold` would."""
    assert isinstance(kept.body, Checked)
    found, position = kept.body.findings, kept.body.position
    made = replace(job, position=kept.seq, hash=kept.hash, findings=found, checked_at=position)
    _keep(kept, made)
    return made


def _fold(entries: Sequence[Entry]) -> Job:
    if not entries or not isinstance(entries[0].body, JobOpened):
        raise StoreFailed("This journal does not begin with the opening of a job; run sayback verify.")
    undone = {entry.body.seq for entry in entries if isinstance(entry.body, Undone)}
    told = [entry for entry in entries if entry.seq not in undone]
    filed, away = _filed(told)
    found = [entry for _, entry in latest(told).values() if entry is not None]
    moves = [entry for entry in told if isinstance(entry.body, MovedUnder | MovedIn)]
    table = Table(away=frozenset(away), moves=moves)
    for entry, operated in _operations(filed, found):
        table.operate(entry, operated)
    for entry in moves:
        table.tell_move(entry)
    for entry in found:
        if isinstance(entry.body, Placed):
            table.place(entry, entry.body)
    agreements = [(entry, entry.body) for entry in found if isinstance(entry.body, Agreement)]
    for entry, weighed in agreements:
        table.agree(entry, weighed)
    for entry in told:
        table.settle(entry)
    for entry in moves:
        table.ask_about_move(entry)
    table.ask_about_shared_slots()
    checked = _last(told, Checked)
    closing, since = _closing(told)
    return Job(
        head=_head(entries[0].body.head, told),
        position=entries[-1].seq,
        hash=entries[-1].hash,
        filed=tuple(filed.values()),
        away=away,
        rows=table.rows,
        gone=tuple(table.gone.values()),
        passed=tuple(table.passed),
        settled=_settled(told),
        limits=_limits(told, table.quoted),
        alarms=tuple(table.alarms),
        agreements=tuple(weighed for _, weighed in agreements),
        answers=tuple(e.body.answer for e in told if isinstance(e.body, Answered)),
        told=tuple(e.body for e in told if isinstance(e.body, Told)),
        not_applicable=tuple(e.body.slot for e in told if isinstance(e.body, DoesNotApply)),
        dealt_with=tuple(e for e in told if isinstance(e.body, StopDealtWith)),
        sent_back=tuple(e for e in told if isinstance(e.body, SentBack)),
        findings=checked.findings if checked else (),
        checked_at=checked.position if checked else None,
        closed=closing.body if closing and not since and isinstance(closing.body, Closed) else None,
        closing=closing,
        since_closing=since,
        signed=tuple(e for e in told if isinstance(e.body, Signed)),
    )


def _head(opened: JobHead, entries: Sequence[Entry]) -> JobHead:
    """Return the head of a job as people put it right last."""
    facts = next((one.body.after for one in reversed(entries) if isinstance(one.body, HeadChanged)), None)
    head = opened if facts is None else opened.model_copy(update=dict(facts))
    given = {one.body.appliance: one.body for one in entries if isinstance(one.body, FileGiven)}
    if not given:
        return head
    return head.model_copy(
        update={
            "appliances": tuple(
                one.model_copy(update={"file": given[one.tag].file, "file_sha256": given[one.tag].file_sha256})
                if one.tag in given
                else one
                for one in head.appliances
            )
        }
    )


def _filed(entries: Sequence[Entry]) -> tuple[dict[str, Filed], dict[str, str]]:
    """Return the evidence that is in the job, by hash, and where what was moved away is."""
    filed: dict[str, Filed] = {}
    away: dict[str, str] = {}
    blanked: dict[str, list[Blanked]] = {}
    for entry in entries:
        match entry.body:
            case EvidenceAdded(evidence=evidence, seconds=seconds):
                # A file that came from another job before it was added here too is one file.
                added = Filed(evidence, entry.seq, seconds, evidence.at, evidence.clock)
                filed.setdefault(evidence.sha256, added)
            case Blanked() as body:
                blanked.setdefault(body.evidence, []).append(body)
            case MovedIn(evidence=evidence, under=under, called=called):
                blanked[evidence.sha256] = list(entry.body.blanked) or blanked.get(evidence.sha256, [])
                here = filed.get(evidence.sha256) or _moved_in(entry.seq, entry.body)
                aside = here.aside | set(entry.body.aside)
                filed[evidence.sha256] = replace(here, under=under, called=called, aside=aside)
                away.pop(evidence.sha256, None)
            case MovedOut(evidence=sha256, to=to):
                filed.pop(sha256, None)
                away[sha256] = to
            case MovedUnder(evidence=sha256, under=under) if sha256 in filed:
                filed[sha256] = replace(filed[sha256], under=under)
            case (
                ClockSet(evidence=sha256)
                | Heard(utterance=Utterance(evidence=sha256))
                | HeardAll(evidence=sha256)
                | SetAside(evidence=sha256)
                | Seen(look=Look(evidence=sha256))
            ) if sha256 in away:
                pass  # it was being read while it was moved; where it is now it is read to its end
            case ClockSet(evidence=sha256, at=at, clock=clock, offset=offset):
                moment = shifted(at or filed[sha256].evidence.at, offset)
                filed[sha256] = replace(filed[sha256], at=moment, clock=clock, offset=offset)
            case Heard(utterance=utterance):
                one = filed[utterance.evidence]
                filed[utterance.evidence] = replace(one, utterances=(*one.utterances, utterance))
            case SetAside(evidence=sha256, number=number, appliance=appliance):
                one = filed[sha256]
                named = one.named if appliance is None else {**one.named, number: appliance}
                filed[sha256] = replace(one, aside=one.aside | {number}, named=named)
            case HeardAll(evidence=sha256):
                filed[sha256] = replace(filed[sha256], read=True)
            case Seen(look=look):
                filed[look.evidence] = replace(filed[look.evidence], look=look, read=True)
            case _:
                pass
    for sha256, bodies in blanked.items():
        if sha256 in filed:
            filed[sha256] = replace(filed[sha256], blanked=tuple(bodies))
    return filed, away


def _moved_in(seq: int, body: MovedIn) -> Filed:
    return Filed(
        body.evidence, seq, body.seconds, body.at, body.clock, body.offset, body.utterances, body.look, body.read
    )


def _operations(filed: Mapping[str, Filed], found: Sequence[Entry]) -> list[tuple[Entry, Operated]]:
    """Return the operations that count, in the order of the work; none on what was moved to another job."""
    place = {(m.filed.sha256, m.number): i for i, m in enumerate(in_order(filed.values()))}
    operated = [
        (entry, entry.body) for entry in found if isinstance(entry.body, Operated) and entry.body.evidence in filed
    ]
    operated.sort(key=lambda pair: (place[pair[1].evidence, pair[1].number], pair[1].ordinal))
    return operated


def _settled(entries: Sequence[Entry]) -> dict[str, Candidate | None]:
    found: dict[str, Candidate | None] = {}
    for entry in entries:
        match entry.body:
            case Answered(question=question, answer=answer) if answer.how != "cannot tell":
                given = {one.reading: one for one in answer.settled}
                found |= {key: given.get(key) for key in question.readings if key in given or not question.alike}
            case Edited(before=before, after=after) if after is not None:
                found[before.id] = after
            case _:
                pass
    return found


def _limits(entries: Sequence[Entry], quoted: Mapping[str, QuotedLimit]) -> tuple[JobLimit, ...]:
    limits = {key: JobLimit(key, limit) for key, limit in quoted.items()}
    for entry in entries:
        if isinstance(entry.body, LimitReadBack) and entry.body.limit in limits:
            one = limits[entry.body.limit]
            limits[entry.body.limit] = replace(one, agreed=entry.body.agreed, by=entry.author)
    return tuple(limits.values())


def _last(entries: Sequence[Entry], kind: type[Checked]) -> Checked | None:
    return next((entry.body for entry in reversed(entries) if isinstance(entry.body, kind)), None)


_BESIDE = (Told, Checked, SentBack, Signed, Blanked)
"""What comes to a journal without changing the record."""


def _closing(entries: Sequence[Entry]) -> tuple[Entry | None, tuple[Entry, ...]]:
    """Return the entry that closed the job, if no person opened it again, and what has changed the record since."""
    closing: Entry | None = None
    since: list[Entry] = []
    for entry in entries:
        if isinstance(entry.body, Closed | Reopened):
            closing, since = (entry if isinstance(entry.body, Closed) else None), []
        elif closing is not None and not isinstance(entry.body, _BESIDE):
            since.append(entry)
    return closing, tuple(since)
