"""Signatures: a named person signs the record as it stands, and what changes afterwards is listed as made after it."""

from __future__ import annotations

from typing import Literal, get_args

from jobs.book import job_of
from jobs.fold import Job
from jobs.journal import Checked, Draft, Entry, Signed, Told
from jobs.store import Store
from schemas.errors import WrongUse

__all__ = ["ROLES", "Role", "changes_record", "sign"]

Role = Literal["technician", "customer", "office"]
ROLES: tuple[Role, ...] = get_args(Role)
"""For whom somebody signs."""


def sign(store: Store, number: str, *, name: str, role: Role, seen_at: int, by: str) -> Job:
    """Note that ``name`` signed the record as it stood after entry ``seen_at``, and return the job.

    Raises:
        WrongUse: the record has changed since: what is signed must be what was seen.
    """
    entries = store.entries(number)
    seen = [one for one in entries if one.seq <= seen_at]
    if any(changes_record(one) for one in entries[len(seen) :]) or not seen:
        raise WrongUse("The record has changed since it was shown; look at it again before it is signed.")
    last = entries[-1]
    body = Signed(name=name, role=role, position=last.seq, head=last.hash)
    store.append(number, [Draft(body, by)], after=last.seq)
    return job_of(store, number)


def changes_record(entry: Entry) -> bool:
    """Say whether an entry may change what the record says: not what was told, checked or signed."""
    return not isinstance(entry.body, Told | Checked | Signed)
