"""What was said aloud of a job: which readings stand as they were read back to somebody."""

from __future__ import annotations

from collections.abc import Sequence

from jobs.fold import Job
from jobs.journal import Entry, Told

__all__ = ["read_back"]


def read_back(entries: Sequence[Entry], job: Job) -> frozenset[str]:
    """Return the ids of readings that were said aloud, to the end, as they stand now.

    Silence on the other side confirms nothing: this says what was heard, not that it is right.
    """
    said: dict[str, int] = {}
    for entry in entries:
        if isinstance(entry.body, Told) and entry.body.kind == "said":
            said |= dict.fromkeys(entry.body.readings, entry.seq)
    rows = job.rows
    return frozenset(key for key, seq in said.items() if key in rows and rows[key].history[-1].seq < seq)
