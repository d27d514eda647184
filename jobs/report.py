"""The report as data: what site, office and warranty desk need, in the order in which they read it.

Its parts are in ``jobs.report_data``. Values stand as they were said or shown; nothing is converted or rounded.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import zip_longest
from typing import Literal

from jobs.decisions import left_open
from jobs.doings import decided, names_in
from jobs.findings import known_limits_of
from jobs.fold import Job
from jobs.journal import Entry, Signed
from jobs.questions import open_questions
from jobs.report_data import (
    ApplianceFacts,
    Asked,
    First,
    Line,
    Move,
    Picture,
    Proof,
    Report,
    Section,
    Signature,
    Value,
)
from jobs.settled import settled, sources_of
from jobs.show import say_limit, say_reading, show_value
from jobs.spool import say_left
from jobs.stops import stops_of, undealt
from jobs.table import JobRow
from jobs.timeline import Filed
from jobs.told import read_back
from jobs.trail import Trail, amount_words, change_words, sum_words, trail_of
from schemas.appliance import ApplianceFile
from schemas.base import decimal_of, is_value_text
from schemas.doubts import Doubt
from schemas.evidence import Figure
from schemas.findings import Finding, Limit
from schemas.readings import Reading, Source
from schemas.sheet import Sheet
from schemas.units import convert, unit_of, units

__all__ = ["origin_words", "report_of", "value_words"]

_GRAVEST = ("stop", "outside", "conflicting", "caution", "look again", "cannot tell", "within")


def report_of(
    job: Job,
    sheet: Sheet,
    findings: Sequence[Finding],
    files: Sequence[tuple[ApplianceFile | None, str | None]],
    entries: Sequence[Entry] = (),
    *,
    beside: Literal["us", "uk"] | None = None,
    unheard: float = 0.0,
) -> Report:
    """Return the report of a job.

    ``files`` holds each appliance's file and its hash, in the order of the job, ``entries`` its journal; with
    ``beside`` values in other units than those of that system are followed by the same in it. ``unheard`` is how many
    seconds of live sound are not evidence yet.
    """
    questions = open_questions(job, sheet)
    trails = [
        trail_of(job, sheet, one.tag, file, known_limits_of(job, sheet, one.tag, file, sha256))
        for one, (file, sha256) in zip(job.appliances, files, strict=True)
    ]
    standing = [one for one in findings if not one.superseded]
    missing = tuple(one for one in standing if one.verdict == "missing")
    deviations = tuple(one for one in standing if one.verdict in ("outside", "conflicting", "look again"))
    stops = len(undealt(job, findings))
    still_open = left_open(job, sheet) + stops + bool(unheard)
    proofs = _proofs(job)
    not_read = [f"{one.mark} {one.name}" for one in proofs if one.sha256 in {each.sha256 for each in job.unread}]
    times = _times(job)
    asked = {row.reading.id for row in job.rows.values() if row.how == "open"}
    marks = {one.sha256: one.mark for one in proofs}
    turns = frozenset(move.reading.id for trail in trails for move in trail.moves)
    how = _As(job, marks, beside, read_back(entries, job), turns)
    return Report(
        number=job.number,
        title=sheet.title,
        site=job.head.site,
        customer=job.head.customer,
        technician=job.head.technician,
        opened=job.head.created,
        began=min(times, default=None),
        ended=max(times, default=None),
        sheet=sheet.id,
        sheet_version=sheet.version,
        sheet_sha256=job.head.sheet_sha256,
        jurisdiction=sheet.jurisdiction,
        position=job.position,
        head=job.hash,
        status=_status(job, still_open, stops),
        again=_again(job, sheet, entries),
        open=still_open,
        stops=stops,
        unread=(*not_read, *([say_left(unheard)] if unheard else ())),
        cautions=sheet.cautions,
        appliances=tuple(
            ApplianceFacts(
                tag=one.tag,
                called=one.called,
                title=file.title if file else "",
                document=file.document if file else "",
                fuel=file.fuel.replace("_", " ") if file else _fuel(job, sheet, one.tag),
                file_sha256=sha256,
            )
            for one, (file, sha256) in zip(job.appliances, files, strict=True)
        ),
        instruments=job.head.instruments,
        first=tuple(_first(job, findings)),
        sections=tuple(_sections(job, sheet, findings, how)),
        moves=tuple(_moves(trails, sheet, marks)),
        traced=tuple(sheet.quantity(name).name for name in sheet.traced or sheet.plotted),
        last_within=tuple(_last_within(trails, sheet)),
        deviations=deviations,
        untold=tuple(one for one in standing if one.verdict == "cannot tell" and asked.isdisjoint(one.readings)),
        questions=questions,
        asked=tuple(Asked(text=one.text, why="; ".join(_why(doubt) for doubt in one.doubts)) for one in questions),
        signatures=tuple(_signatures(job, sheet, entries)),
        missing=missing,
        pictures=tuple(_pictures(job, sheet, marks)),
        evidence=proofs,
    )


def _status(job: Job, still_open: int, stops: int) -> str:
    among = f", {stops} stop{'s' if stops > 1 else ''} among them" if stops else ""
    if job.closed is not None:
        left = f", with {job.closed.open} left open{among}: {job.closed.why}" if job.closed.open else among
        return f"closed{left}"
    return f"draft, {still_open} open{among}" if still_open else "complete, not closed"


def _times(job: Job) -> list[datetime]:
    """Return the first and the last moment of every piece of evidence whose time is known."""
    timed = [(one, one.at) for one in job.filed if one.at is not None]
    return [moment for one, at in timed for moment in (at, at + timedelta(seconds=int(one.length)))]


def _fuel(job: Job, sheet: Sheet, tag: str) -> str:
    """Return the fuel that was recorded, for an appliance without a file; empty where none stands."""
    for row in job.rows.values():
        one = row.reading
        known = one.quantity is not None and row.how not in ("open", "left out") and one.appliance in (None, tag)
        if known and one.quantity is not None and sheet.quantity(one.quantity).in_file == "fuel":
            return say_reading(one, sheet)
    return ""


def _first(job: Job, findings: Sequence[Finding]) -> Iterable[First]:
    """Yield the stops, each once with what was done about it, then the cautions that still count."""
    for stop in stops_of(job, findings):
        one = stop.finding
        yield First(
            verdict=one.verdict,
            text=one.text,
            basis=one.basis,
            appliance=one.appliance,
            done=tuple(done.told for done in stop.done),
            open=bool(stop.open),
        )
    for one in findings:
        if one.verdict == "caution" and not one.superseded:
            yield First(verdict=one.verdict, text=one.text, basis=one.basis, appliance=one.appliance)


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
            entered="" if one.author == one.body.name else one.author,
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
    notes = [f"“{said.text}”" for said in one.utterances if one.evidence.kind == "typed"]
    notes += [] if one.read else ["not read to its end"]
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
    """How values are printed: marks of the evidence by hash, units beside them, readings that were read back.

    ``turns`` are the readings that the trails tell.
    """

    job: Job
    marks: dict[str, str]
    beside: Literal["us", "uk"] | None
    aloud: frozenset[str]
    turns: frozenset[str]


def _sections(job: Job, sheet: Sheet, findings: Sequence[Finding], how: _As) -> Iterable[Section]:
    """Yield the sections in the order of the sheet: the visit's own first, then each appliance.

    Behind them stands what was said of an appliance that the job does not have: every reading is in the report.
    """
    tags = ("", *(one.tag for one in job.appliances))
    for tag in dict.fromkeys((*tags, *(row.reading.appliance or "" for row in job.rows.values()))):
        for group, title in (("", "Not told what it is"), *sheet.groups.items()):
            lines = tuple(_lines(job, sheet, group, tag, findings, how))
            missing = tuple(_missing(sheet, group, tag, findings)) if group else ()
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
    here = [
        row for row in job.rows.values() if (row.reading.appliance or "") == tag and row.reading.id not in how.turns
    ]
    named = [(one.id, one.name) for one in sheet.quantities if one.group == group]
    for quantity, name in named if group else [(None, "A value")]:
        mine = [row for row in here if row.reading.quantity == quantity]
        known = ["", *(one.id for one in sheet.conditions), None]
        places = [c for c in known if any(row.reading.condition == c for row in mine)]
        for place in places:
            rows = [row for row in mine if row.reading.condition == place]
            # What nobody could tell stands behind what somebody could.
            rows.sort(key=lambda row: row.how == "left out")
            before = [row for row in rows if row.reading.phase == "before"]
            after = [row for row in rows if row.reading.phase != "before"]
            condition = "not told" if place is None else (sheet.condition(place).name if place else "")
            # Two values of one slot, still open, are two lines: none hides behind the other.
            for found, left in zip_longest(before, after):
                limit = _limit(findings, [row for row in (left, found) if row])
                yield Line(
                    quantity=quantity or "",
                    name=name,
                    condition=condition,
                    found=_value(found, sheet, findings, how) if found else None,
                    left=_value(left, sheet, findings, how) if left else None,
                    limit=say_limit(limit) if limit else "",
                    limit_from=origin_words(limit),
                    verdict=_verdict(findings, left or found),
                )


def _value(row: JobRow, sheet: Sheet, findings: Sequence[Finding], how: _As) -> Value:
    one, told = row.reading, row.how != "left out"
    return Value(
        reading=one.id,
        text=value_words(row, sheet),
        settled=settled(row, how.job, how.aloud),
        ref=", ".join(dict.fromkeys(_ref(source, how.marks) for source in sources_of(row, how.job))),
        verdict=_verdict(findings, row),
        phase=one.phase,
        open=row.how == "open",
        told=told,
        beside=_beside(one, sheet, how.beside) if how.beside and told else "",
    )


def value_words(row: JobRow, sheet: Sheet) -> str:
    """Return a value as it is printed: as it was said; one that nobody could tell as ``not told (heard 132 °F)``."""
    text = say_reading(row.reading, sheet)
    if row.how != "left out":
        return text
    return f"not told ({'shown' if row.reading.source.box else 'heard'} {text})"


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


def origin_words(limit: Limit | None) -> str:
    """Return where a limit comes from, in few words: ``maker, p. 34``, ``quoted by NAME``; empty for None."""
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
                at=sheet.condition(condition).name if condition else "not told",
                changes=tuple(change_words(one, sheet.quantity(one.quantity)) for one in move.changes),
                settled="; ".join(part for part in (move.settled, move.as_told) if part),
                within="; ".join(move.places),
                sums=sum_words(move),
                doubt=move.doubt,
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
    order = list(marks)
    for look in sorted(job.looks, key=lambda one: order.index(one.evidence)):
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
