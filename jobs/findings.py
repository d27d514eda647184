"""What the checks say of a job as it stands, kept in the journal with the entry that it was said after."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Protocol

import checks
from checks.limits import known_limits
from checks.rows import Rows
from extract.cited import cited
from jobs.book import appliance_file_of, job_of, sheet_of
from jobs.extraction import grammar_of
from jobs.fold import Job, fold
from jobs.journal import Checked, Draft, Entry
from jobs.outlived import outlived
from jobs.stops import Judge, past_stops, undealt, words_meet
from jobs.store import JournalMoved, Store
from jobs.trail import Trail, trail_of
from schemas.appliance import ApplianceFile
from schemas.base import is_value_text
from schemas.evidence import Utterance
from schemas.findings import Finding, Limit, LimitOrigin
from schemas.job import JobAppliance
from schemas.readings import Alarm, Reading
from schemas.sheet import Sheet

_DENIED_WITHIN = 2
"""Utterances after one that may have said a stop in which it can be denied."""

__all__ = ["check_job", "findings_of", "keep_findings", "known_limits_of", "limits_of", "trails_of"]


def findings_of(store: Store, job: Job) -> tuple[Finding, ...]:
    """Return the findings on a job: what was said that stops the work, the checks of each appliance, what is missing.

    Each stands once; a finding on readings of the visit is the same for every appliance.
    """
    sheet = sheet_of(store, job.head)
    judges = [partial(_judge, store, job, sheet, one) for one in job.appliances]
    stops = [partial(judge, checks.measured_stops) for judge in judges]
    said = [one for one in job.alarms if not _is_of_another(one, job, stops)]
    aloud = checks.said_stops(said, sheet, _denied(job, sheet))
    found = [*aloud, *past_stops(job, sheet, stops)]
    check = partial(
        checks.check, said={one.finding.rule for one in undealt(job, aloud)}, outlived=outlived(job, sheet, aloud)
    )
    for judge in judges:
        found += judge(check, job.readings)
    found += checks.calibration_findings(job.head.instruments, job.head.created.date())
    tags = [one.tag for one in job.appliances]
    found += checks.missing(job.readings, sheet, tags, job.not_applicable)
    return tuple(dict.fromkeys(found))


class _Check(Protocol):
    def __call__(
        self,
        readings: Sequence[Reading],
        sheet: Sheet,
        *,
        appliance: ApplianceFile | None,
        file_sha256: str | None,
        limits: Sequence[Limit],
        tag: str | None,
    ) -> tuple[Finding, ...]: ...


def _judge(
    store: Store, job: Job, sheet: Sheet, one: JobAppliance, by: _Check, readings: Sequence[Reading]
) -> tuple[Finding, ...]:
    return by(
        readings,
        sheet,
        appliance=appliance_file_of(store, one),
        file_sha256=one.file_sha256,
        limits=tuple(limits_of(job, one.tag)),
        tag=one.tag,
    )


def _is_of_another(alarm: Alarm, job: Job, judges: Sequence[Judge]) -> bool:
    """Say whether the words of a stop are those of a reading that is another stop: ambient CO that is over range."""
    rules: set[str] = set()
    for row in (*job.rows.values(), *job.gone):
        one = row.reading
        if words_meet(alarm.source, one.source) and not is_value_text(one.value):
            rules |= {found.rule for judge in judges for found in judge([one])}
    return bool(rules) and alarm.stop not in rules


def _denied(job: Job, sheet: Sheet) -> list[Alarm]:
    """Return the stops that only may have been said and that one of the next utterances denies by name ("no smell of
    gas"), however it is heard."""
    unsure = [one for one in job.alarms if not one.sure]
    if not unsure:
        return []
    alarms, said = grammar_of(sheet).alarms, job.utterances
    places = {(one.evidence, one.number): n for n, one in enumerate(said)}

    def denies(utterance: Utterance, stop: str) -> bool:
        ways = [text for text in (utterance.text, utterance.second_opinion) if text]
        return all(stop in alarms.not_so(text) for text in ways)

    return [
        one
        for one in unsure
        if (place := places.get((one.source.evidence, one.source.utterance or 0))) is not None
        and any(denies(utterance, one.stop) for utterance in said[place + 1 : place + 1 + _DENIED_WITHIN])
    ]


def limits_of(job: Job, tag: str) -> Iterator[Limit]:
    """Yield the limits that were quoted for an appliance and read back; one quoted for none of several is for all."""
    agreed = [limit for limit in job.limits if limit.agreed and limit.quoted.appliance in (None, tag)]
    said = {(one.evidence, one.number): one.text for one in job.utterances} if agreed else {}
    for limit in agreed:
        quoted, source = limit.quoted, limit.quoted.source
        text = said.get((source.evidence, source.utterance or 0), "")
        document, page = cited(text, source.span[0]) if source.span else ("", "")
        yield Limit(
            quantity=quoted.quantity,
            condition=quoted.condition or "",
            low=quoted.low,
            high=quoted.high,
            unit=quoted.unit,
            origin=LimitOrigin(
                kind="quoted", title="quoted on site", by=limit.by, source=source, document=document, page=page
            ),
        )


def known_limits_of(
    job: Job, sheet: Sheet, tag: str, file: ApplianceFile | None, sha256: str | None
) -> tuple[Limit, ...]:
    """Return every limit that holds for an appliance: its file's, its plate's and those quoted and read back."""
    rows = Rows([one for one in job.readings if one.taken], tag)
    return known_limits(rows, sheet, file, sha256, tuple(limits_of(job, tag)))


def trails_of(store: Store, job: Job, sheet: Sheet) -> tuple[Trail, ...]:
    """Return the trail of each appliance, in the order of the job."""
    found = []
    for one in job.appliances:
        file = appliance_file_of(store, one)
        found.append(trail_of(job, sheet, one.tag, file, known_limits_of(job, sheet, one.tag, file, one.file_sha256)))
    return tuple(found)


def check_job(store: Store, number: str) -> Job:
    """Check a job, journal the findings if they are not the same as before, and return the job with them."""
    while True:
        job = job_of(store, number)
        try:
            added = keep_findings(store, job, findings_of(store, job))
        except JournalMoved:
            continue  # judged on what has changed meanwhile
        return fold(store.entries(number)) if added else job


def keep_findings(store: Store, job: Job, found: tuple[Finding, ...]) -> tuple[Entry, ...]:
    """Journal the findings on a job if they are not the same as before; return the entry, if one was written.

    Raises:
        JournalMoved: the journal has gone on since the job was folded.
    """
    if job.checked_at is not None and found == job.findings:
        return ()
    return store.append(job.number, [Draft(Checked(position=job.position, findings=found))], after=job.position)
