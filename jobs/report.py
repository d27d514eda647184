"""The report as data: what site, office and warranty desk need, in the order in which they read it.

HTML, PDF, CSV and JSON are all written from this one model (``jobs.report_files``). Values stand as they were said or
shown; nothing is converted or rounded.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import zip_longest
from typing import Literal

from jobs.doings import decided, names_in
from jobs.findings import known_limits_of
from jobs.fold import Job
from jobs.journal import Entry, Signed
from jobs.questions import open_questions
from jobs.show import say_reading, show_value
from jobs.table import JobRow
from jobs.timeline import Filed
from jobs.told import read_back
from jobs.trail import Trail, amount_words, change_words, sign_words, trail_of
from schemas.appliance import ApplianceFile
from schemas.base import Model, Sha256, decimal_of, is_value_text
from schemas.doubts import Doubt
from schemas.evidence import Figure
from schemas.findings import Finding, Limit
from schemas.job import Instrument
from schemas.questions import Question
from schemas.readings import Reading, Source
from schemas.sheet import Sheet
from schemas.units import convert, unit_of, units

__all__ = ["Line", "Picture", "Proof", "Report", "Section", "Value", "report_of"]

_SETTLED = {"taken unasked": "unasked", "agreed by voice and photo": "voice and photo"}
"""How a value was settled, in the few words that a column has room for."""
_GRAVEST = ("stop", "outside", "conflicting", "caution", "look again", "cannot tell", "within")


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
    """That it was added after the job had been closed, or moved here from another job."""


class Value(Model):
    """One value as it is printed: in words with its unit, how it was settled, and its reference to the evidence.

    ``beside`` is the same in the units that were asked for, rounded as is usual in them; empty where it was said so.
    """

    reading: str
    text: str
    settled: str
    ref: str
    verdict: str = ""
    open: bool = False
    beside: str = ""


class Line(Model):
    """One row of the sheet: a quantity at a condition. ``found`` is as found, ``left`` as left or the only reading."""

    quantity: str
    name: str
    condition: str
    found: Value | None = None
    left: Value | None = None
    limit: str = ""
    limit_from: str = ""
    verdict: str = ""


class Section(Model):
    """A group of the sheet for one appliance, or for the visit (``appliance`` empty)."""

    appliance: str
    title: str
    lines: tuple[Line, ...]
    missing: tuple[str, ...]
    """What the sheet requires here and the job does not have, in words."""


class Move(Model):
    """An adjustment as text: what each traced quantity did, whether it had settled, where it lies in the limits.

    ``sums`` are the turns of its screw so far, net (clockwise counts up) and all together.
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


class Asked(Model):
    """What is open: a question as it is asked, and why."""

    text: str
    why: str


class Signature(Model):
    """Who signed, for whom, the record with which hash; ``later`` is what was done after it, oldest first."""

    name: str
    role: str
    at: datetime
    head: Sha256
    position: int
    later: tuple[str, ...]


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
    cautions: tuple[str, ...]
    appliances: tuple[ApplianceFacts, ...]
    instruments: tuple[Instrument, ...]
    first: tuple[Finding, ...]
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
    questions: tuple[Question, ...]
    asked: tuple[Asked, ...] = ()
    """The questions in words, each with why it is asked."""
    signatures: tuple[Signature, ...] = ()
    missing: tuple[Finding, ...]
    pictures: tuple[Picture, ...]
    evidence: tuple[Proof, ...]


def report_of(
    job: Job,
    sheet: Sheet,
    findings: Sequence[Finding],
    files: Sequence[tuple[ApplianceFile | None, str | None]],
    entries: Sequence[Entry] = (),
    *,
    beside: Literal["us", "uk"] | None = None,
) -> Report:
    """Return the report of a job.

    ``files`` holds each appliance's file and its hash, in the order of the job, ``entries`` its journal; with
    ``beside`` values in other units than those of that system are followed by the same in it.
    """
    questions = open_questions(job, sheet)
    trails = [
        trail_of(job, sheet, one.tag, file, known_limits_of(job, sheet, one.tag, file, sha256))
        for one, (file, sha256) in zip(job.appliances, files, strict=True)
    ]
    standing = [one for one in findings if not one.superseded]
    missing = tuple(one for one in standing if one.verdict == "missing")
    deviations = tuple(one for one in standing if one.verdict in ("outside", "conflicting", "look again"))
    first = tuple(one for one in standing if one.verdict in ("stop", "caution"))
    left_open = len(questions) + len(missing)
    proofs = _proofs(job)
    marks = {one.sha256: one.mark for one in proofs}
    return Report(
        number=job.number,
        title=sheet.title,
        site=job.head.site,
        customer=job.head.customer,
        technician=job.head.technician,
        opened=job.head.created,
        sheet=sheet.id,
        sheet_version=sheet.version,
        sheet_sha256=job.head.sheet_sha256,
        jurisdiction=sheet.jurisdiction,
        position=job.position,
        head=job.hash,
        status=_status(job, left_open),
        again=_again(job, sheet, entries),
        open=left_open,
        cautions=sheet.cautions,
        appliances=tuple(
            ApplianceFacts(
                tag=one.tag,
                called=one.called,
                title=file.title if file else "",
                document=file.document if file else "",
                fuel=file.fuel.replace("_", " ") if file else "",
                file_sha256=sha256,
            )
            for one, (file, sha256) in zip(job.appliances, files, strict=True)
        ),
        instruments=job.head.instruments,
        first=first,
        sections=tuple(_sections(job, sheet, findings, _As(marks, beside, read_back(entries, job)))),
        moves=tuple(_moves(trails, sheet, marks)),
        traced=tuple(sheet.quantity(name).name for name in sheet.traced or sheet.plotted),
        last_within=tuple(_last_within(trails, sheet)),
        deviations=deviations,
        untold=tuple(one for one in standing if one.verdict == "cannot tell"),
        questions=questions,
        asked=tuple(Asked(text=one.text, why="; ".join(_why(doubt) for doubt in one.doubts)) for one in questions),
        signatures=tuple(_signatures(job, sheet, entries)),
        missing=missing,
        pictures=tuple(_pictures(job, sheet, marks)),
        evidence=proofs,
    )


def _status(job: Job, left_open: int) -> str:
    if job.closed is not None:
        why = f", with {job.closed.open} left open: {job.closed.why}" if job.closed.open else ""
        return f"closed{why}"
    return f"draft, {left_open} open" if left_open else "complete, not closed"


def _again(job: Job, sheet: Sheet, entries: Sequence[Entry]) -> str:
    if job.closing is None or not job.since_closing:
        return ""
    told = _told(job.since_closing, job, sheet, entries) or ("something was read anew",)
    when = job.closing.at.strftime("%Y-%m-%d %H:%M %z")
    return f"{job.closing.author} closed it on {when}. After that: {'; '.join(told)}."


def _told(some: Sequence[Entry], job: Job, sheet: Sheet, entries: Sequence[Entry]) -> tuple[str, ...]:
    names = names_in(entries)
    return tuple(f"{one.author} {words}" for one in some if (words := decided(one, job, sheet, names)))


def _signatures(job: Job, sheet: Sheet, entries: Sequence[Entry]) -> Iterable[Signature]:
    for one in job.signed:
        assert isinstance(one.body, Signed)
        later = [entry for entry in entries if entry.seq > one.seq and not isinstance(entry.body, Signed)]
        yield Signature(
            name=one.body.name,
            role=one.body.role,
            at=one.at,
            head=one.body.head,
            position=one.body.position,
            later=_told(later, job, sheet, entries),
        )


def _why(doubt: Doubt) -> str:
    return f"{doubt.kind}: {doubt.detail}" if doubt.detail else str(doubt.kind)


def _proofs(job: Job) -> tuple[Proof, ...]:
    letter = {"sound": "S", "photo": "P", "typed": "T"}
    counts: dict[str, int] = {}
    proofs = []
    for one in job.filed:
        kind = one.evidence.kind
        counts[kind] = counts.get(kind, 0) + 1
        proofs.append(
            Proof(
                mark=f"{letter[kind]}{counts[kind]}",
                name=one.evidence.name,
                kind=kind,
                at=one.at,
                clock=one.clock,
                seconds=one.seconds,
                sha256=one.sha256,
                note=_note(job, one),
            )
        )
    return tuple(proofs)


def _note(job: Job, one: Filed) -> str:
    notes = []
    if job.closing is not None and one.seq > job.closing.seq:
        notes.append("added after the job was closed")
    if one.under is not None:
        notes.append(f"filed under {one.under}")
    notes += [f"{gone.start:g} to {gone.end:g} s blanked by {gone.by}: {gone.why}" for gone in one.blanked]
    return "; ".join(notes)


def _ref(source: Source, marks: dict[str, str]) -> str:
    mark = marks.get(source.evidence, "?")
    if source.start is not None and mark.startswith("S"):
        return f"{mark} {int(source.start) // 60}:{int(source.start) % 60:02d}"
    return mark


@dataclass(frozen=True)
class _As:
    """How values are printed: marks of the evidence by hash, units beside them, readings that were read back."""

    marks: dict[str, str]
    beside: Literal["us", "uk"] | None
    aloud: frozenset[str]


def _sections(job: Job, sheet: Sheet, findings: Sequence[Finding], how: _As) -> Iterable[Section]:
    """Yield the sections in the order of the sheet: the visit's own first, then each appliance."""
    for tag in ("", *(one.tag for one in job.appliances)):
        for group, title in sheet.groups.items():
            lines = tuple(_lines(job, sheet, group, tag, findings, how))
            missing = tuple(_missing(sheet, group, tag, findings))
            if lines or missing:
                yield Section(appliance=tag, title=title, lines=lines, missing=missing)


def _missing(sheet: Sheet, group: str, tag: str, findings: Sequence[Finding]) -> Iterable[str]:
    for one in findings:
        if one.verdict == "missing" and one.quantity and (one.appliance or "") == tag:
            quantity = sheet.quantity(one.quantity)
            if quantity.group == group:
                place = f", {sheet.condition(one.condition).name}" if one.condition else ""
                yield f"{quantity.name}{place}"


def _lines(job: Job, sheet: Sheet, group: str, tag: str, findings: Sequence[Finding], how: _As) -> Iterable[Line]:
    for quantity in sheet.quantities:
        if quantity.group != group or quantity.kind == "move":
            continue
        mine = [
            row
            for row in job.rows.values()
            if row.reading.quantity == quantity.id and (row.reading.appliance or "") == tag
        ]
        known = ["", *(one.id for one in sheet.conditions), None]
        places = [c for c in known if any(row.reading.condition == c for row in mine)]
        for place in places:
            rows = [row for row in mine if row.reading.condition == place]
            before = [row for row in rows if row.reading.phase == "before"]
            after = [row for row in rows if row.reading.phase != "before"]
            condition = "not told" if place is None else (sheet.condition(place).name if place else "")
            # Two values of one slot, still open, are two lines: none hides behind the other.
            for found, left in zip_longest(before, after):
                limit = _limit(findings, [row for row in (left, found) if row])
                yield Line(
                    quantity=quantity.id,
                    name=quantity.name,
                    condition=condition,
                    found=_value(found, sheet, findings, how) if found else None,
                    left=_value(left, sheet, findings, how) if left else None,
                    limit=_limit_words(limit),
                    limit_from=_origin(limit),
                    verdict=_verdict(findings, left or found),
                )


def _value(row: JobRow, sheet: Sheet, findings: Sequence[Finding], how: _As) -> Value:
    one = row.reading
    settled = _SETTLED.get(row.how, row.how)
    if row.how in ("answered", "edited"):
        settled = f"{row.how} by {row.by}"
    elif row.how == "open":
        settled = f"open: {one.doubts[0].kind}" if one.doubts else "open"
    if one.id in how.aloud:
        settled = f"{settled}, read back"
    refs = [_ref(one.source, how.marks)]
    return Value(
        reading=one.id,
        text=say_reading(one, sheet),
        settled=settled,
        ref=", ".join(refs),
        verdict=_verdict(findings, row),
        open=row.how == "open",
        beside=_beside(one, sheet, how.beside) if how.beside else "",
    )


def _beside(one: Reading, sheet: Sheet, system: Literal["us", "uk"]) -> str:
    """Return a value in the unit that is usual for it in a system; empty where it has none other."""
    if one.quantity is None or not is_value_text(one.value):
        return ""
    quantity = sheet.quantity(one.quantity)
    unit = quantity.default_units.get(system, "")
    if not one.unit or not unit or unit == one.unit or unit_of(unit).kind != unit_of(one.unit).kind:
        return ""
    same = convert(decimal_of(one.value), one.unit, unit)
    decimals = max(quantity.decimals[unit]) if quantity.decimals.get(unit) else max(0, 2 - max(same.adjusted(), 0))
    return show_value(f"{same:.{decimals}f}", unit)


def _verdict(findings: Sequence[Finding], row: JobRow | None) -> str:
    if row is None:
        return ""
    about = [one.verdict for one in findings if row.reading.id in one.readings and one.verdict in _GRAVEST]
    return min(about, key=_GRAVEST.index, default="")


def _limit(findings: Sequence[Finding], rows: Sequence[JobRow]) -> Limit | None:
    for row in rows:
        for one in findings:
            if one.limit is not None and row.reading.id in one.readings:
                return one.limit
    return None


def _limit_words(limit: Limit | None) -> str:
    if limit is None:
        return ""
    if limit.low is not None and limit.high is not None:
        return f"{limit.low} to {show_value(limit.high, limit.unit)}"
    if limit.high is not None:
        return f"at most {show_value(limit.high, limit.unit)}"
    return f"at least {show_value(limit.low or '', limit.unit)}"


def _origin(limit: Limit | None) -> str:
    if limit is None:
        return ""
    page = f", p. {limit.origin.page}" if limit.origin.page else ""
    by = f" by {limit.origin.by}" if limit.origin.by else ""
    kinds: dict[str, str] = {"appliance file": "maker", "rating plate": "plate", "quoted": "quoted", "sheet": "sheet"}
    return f"{kinds[limit.origin.kind]}{by}{page}"


def _moves(trails: Sequence[Trail], sheet: Sheet, marks: dict[str, str]) -> Iterable[Move]:
    number = 0
    for trail in trails:
        for move in trail.moves:
            number += 1
            condition = move.reading.condition
            yield Move(
                number=number,
                appliance=trail.tag,
                text=amount_words(move, sheet),
                at=sheet.condition(condition).name if condition else "",
                changes=tuple(change_words(one, sheet.quantity(one.quantity)) for one in move.changes),
                settled="; ".join(part for part in (move.settled, move.as_told) if part),
                within="; ".join(move.places),
                sums=f"{sign_words(move.sums[0])} net, {move.sums[1]} in all",
                ref=_ref(move.reading.source, marks),
            )


def _last_within(trails: Sequence[Trail], sheet: Sheet) -> Iterable[str]:
    for trail in trails:
        adjusted = {move.reading.condition for move in trail.moves}
        for condition, (readings, _) in trail.good.items():
            if condition in adjusted:
                values = ", ".join(
                    f"{sheet.quantity(r.quantity or '').name} {show_value(r.value, r.unit)}" for r in readings
                )
                place = f"{trail.tag}, " if len(trails) > 1 else ""
                yield f"{place}{sheet.condition(condition).name}: {values}"


def _pictures(job: Job, sheet: Sheet, marks: dict[str, str]) -> Iterable[Picture]:
    every = [row.reading for row in (*job.gone, *job.rows.values()) if row.reading.source.box is not None]
    taken = {(one.source.evidence, one.source.box): one for one in every}
    for look in job.looks:
        name = next(one.evidence.name for one in job.filed if one.sha256 == look.evidence)
        figures = tuple(_figure(one, taken.get((look.evidence, one.box)), sheet) for one in look.figures)
        yield Picture(mark=marks[look.evidence], name=name, sha256=look.evidence, display=look.display, figures=figures)


def _figure(figure: Figure, taken: Reading | None, sheet: Sheet) -> str:
    """Return a figure by the name of what it was taken to be; one that was taken for nothing with its label as seen."""
    if taken is not None and taken.quantity is not None:
        return f"{sheet.quantity(taken.quantity).name} {_shown(figure.value, figure.unit)}"
    label = f"“{figure.label}” " if figure.label else ""
    return f"{label}{_shown(figure.value, figure.unit)} (not taken as a reading)"


def _shown(value: str, unit: str) -> str:
    return show_value(value, unit) if unit in units() else f"{value} {unit}".strip()
