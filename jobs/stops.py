"""What stops the work on a job, what stopped it before, and which of it somebody has recorded to have dealt with."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import checks
from extract import AGAIN, CHANGED
from jobs.fold import Job
from schemas.findings import Finding
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["StopOfJob", "past_stops", "stops_of", "undealt"]


@dataclass(frozen=True)
class StopOfJob:
    """A stop as it is told once, however often the same words were said.

    ``open`` are the marks of the findings that nobody has dealt with yet, ``done`` is what was done about the others.
    ``together`` are the marks of all stops of the same cause that are open: one word on what was done covers them.
    """

    finding: Finding
    open: tuple[str, ...]
    done: tuple[str, ...]
    together: tuple[str, ...] = ()


def stops_of(job: Job, findings: Iterable[Finding]) -> tuple[StopOfJob, ...]:
    """Return the stops among some findings on a job, in their order."""
    done = {mark: one.what for one in job.dealt_with for mark in one.covers}
    told: dict[tuple[str, str, str | None], list[Finding]] = {}
    for one in findings:
        if one.verdict == "stop":
            told.setdefault((one.rule, one.text, one.appliance), []).append(one)
    stops = [
        StopOfJob(
            same[-1],
            tuple(dict.fromkeys(one.mark for one in same if one.mark not in done)),
            tuple(dict.fromkeys(done[one.mark] for one in same if one.mark in done)),
        )
        for same in told.values()
    ]
    causes = _causes(job, [stop.finding for stop in stops])
    marks: dict[int, list[str]] = {}
    for stop, cause in zip(stops, causes, strict=True):
        marks.setdefault(cause, []).extend(stop.open)
    return tuple(
        replace(stop, together=tuple(dict.fromkeys((*stop.open, *marks[cause]))) if stop.open else ())
        for stop, cause in zip(stops, causes, strict=True)
    )


def _causes(job: Job, stops: Sequence[Finding]) -> list[int]:
    """Return a number for each stop, the same for stops of one cause: those on a reading that they share, and what was
    said in the utterance that such a reading comes from."""
    causes: list[int] = []
    seen: dict[object, int] = {}
    for place, one in enumerate(stops):
        sources = [job.rows[key].reading.source for key in one.readings if key in job.rows]
        sources += [one.said] if one.said is not None else []
        signs = [*one.readings, *((each.evidence, each.utterance) for each in sources if each.utterance is not None)]
        known = sorted({seen[sign] for sign in signs if sign in seen})
        cause = known[0] if known else place
        causes = [cause if other in known else other for other in causes] + [cause]
        seen = {sign: cause if other in known else other for sign, other in seen.items()}
        seen |= dict.fromkeys(signs, cause)
    return causes


def undealt(job: Job, findings: Iterable[Finding]) -> tuple[StopOfJob, ...]:
    """Return the stops that nobody has dealt with, or not with all that is known of them."""
    return tuple(one for one in stops_of(job, findings) if one.open)


def past_stops(job: Job, sheet: Sheet) -> Iterator[Finding]:
    """Yield the stops that readings were before other readings took their place, without having been corrected.

    Ambient CO that was 40 ppm and is 2 ppm now stopped the work: that it is gone does not say what was done. What was
    read anew after an adjustment has that adjustment in the record.
    """
    for before, now in _replaced(job):
        here = {one.rule for one in checks.check([now], sheet) if one.verdict == "stop"}
        for one in checks.check([before], sheet):
            if one.verdict == "stop" and one.rule not in here:
                text = f"{one.text} Another value was told since: {now.value.replace('_', ' ')}."
                yield one.model_copy(update={"text": text})


def _replaced(job: Job) -> Iterator[tuple[Reading, Reading]]:
    for row in job.rows.values():
        for step in row.history:
            if step.what == "replaced" and step.why in (CHANGED, AGAIN) and step.before and step.after:
                yield step.before, step.after
