"""What stops the work on a job, and which of it somebody has recorded to have dealt with."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from jobs.fold import Job
from schemas.findings import Finding

__all__ = ["StopOfJob", "stops_of", "undealt"]


@dataclass(frozen=True)
class StopOfJob:
    """A stop as it is told once, however often the same words were said.

    ``open`` are the marks of the findings that nobody has dealt with yet, ``done`` is what was done about the others.
    """

    finding: Finding
    open: tuple[str, ...]
    done: tuple[str, ...]


def stops_of(job: Job, findings: Iterable[Finding]) -> tuple[StopOfJob, ...]:
    """Return the stops among some findings on a job, in their order."""
    done = {mark: one.what for one in job.dealt_with for mark in one.covers}
    told: dict[tuple[str, str, str | None], list[Finding]] = {}
    for one in findings:
        if one.verdict == "stop":
            told.setdefault((one.rule, one.text, one.appliance), []).append(one)
    return tuple(
        StopOfJob(
            same[-1],
            tuple(dict.fromkeys(one.mark for one in same if one.mark not in done)),
            tuple(dict.fromkeys(done[one.mark] for one in same if one.mark in done)),
        )
        for same in told.values()
    )


def undealt(job: Job, findings: Iterable[Finding]) -> tuple[StopOfJob, ...]:
    """Return the stops that nobody has dealt with, or not with all that is known of them."""
    return tuple(one for one in stops_of(job, findings) if one.open)
