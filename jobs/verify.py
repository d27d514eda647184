"""Is everything as it was written? The chain of the journal and the bytes of all evidence, worked out anew."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from jobs.blanking import stands_in, told
from jobs.journal import START, Blanked, Body, EvidenceAdded, FileGiven, JobOpened, MovedIn, Row, parse
from jobs.store import Store
from schemas.errors import StoreFailed

__all__ = ["Verified", "evidence_of", "faults", "faults_in_chain", "readable", "verified", "verify", "without_places"]


@dataclass(frozen=True)
class Verified:
    """What was found to be whole: so many entries up to ``hash``, and so many files of evidence.

    ``blanked`` says in a sentence each what was taken off the record; what is left of those sounds is whole.
    """

    entries: int
    hash: str
    evidence: int
    blanked: tuple[str, ...] = ()


def verify(store: Store, number: str) -> Verified:
    """Verify a job.

    Raises:
        WrongUse: there is no such job.
        StoreFailed: something was changed, dropped, swapped or added; the message names each.
    """
    found = faults(store, number)
    if found:
        raise StoreFailed(
            f"Job {number} is not as it was written: {'; '.join(found)}. Keep the folder {store.home} as it is, and "
            "compare it with a back-up."
        )
    rows, (_, last) = store.rows(number)
    return verified(readable(rows), last)


def verified(bodies: Sequence[Body], last: str) -> Verified:
    """Return what is known of a journal that was found whole."""
    return Verified(len(bodies), last, sum(1 for _ in evidence_of(bodies)), tuple(_blanked(bodies)))


def faults(store: Store, number: str) -> tuple[str, ...]:
    """Return what is not as it was written, one phrase each; empty where all is whole."""
    rows, head = store.rows(number)
    found = [*(f"the database says {line}" for line in store.integrity()), *faults_in_chain(rows, head)]
    bodies: list[Body] = []
    for row in rows:
        try:
            bodies.append(parse(row).body)
        except StoreFailed:
            found.append(f"entry {row.seq} ({row.kind}) cannot be read")
    noted = without_places(bodies)
    for name, sha256 in evidence_of(bodies):
        path = store.evidence.path(sha256)
        if not path.exists():
            found.append(f"{name} ({path}) is missing")
        elif not store.evidence.is_sound(sha256) or store.evidence.stand_in(sha256) not in (None, noted.get(sha256)):
            found.append(f"{name} ({path}) was changed")
    for chain in stands_in(bodies).values():
        found += [
            f"what was blanked is still there ({store.evidence.path(gone)}; sayback add {number} deletes it)"
            for gone in chain[:-1]
            if store.evidence.path(gone).exists()
        ]
    return tuple(dict.fromkeys(found))


def readable(rows: Sequence[Row]) -> list[Body]:
    """Return what the entries say.

    Raises:
        StoreFailed: one of them cannot be read.
    """
    return [parse(row).body for row in rows]


def faults_in_chain(rows: Sequence[Row], head: tuple[int, str]) -> Iterator[str]:
    """Yield what is wrong with a chain that should end with ``head``: its sequence number and its hash."""
    expected, prev = 1, START
    for row in rows:
        if row.seq != expected:
            missing = f"entry {expected} is" if row.seq == expected + 1 else f"entries {expected} to {row.seq - 1} are"
            yield f"{missing} missing"
        elif row.prev != prev:
            yield f"entry {row.seq} does not follow entry {row.seq - 1}"
        if row.computed_hash() != row.hash:
            yield f"entry {row.seq} ({row.kind}, {row.at}) was changed"
        expected, prev = row.seq + 1, row.hash
    seq, last = head
    if expected <= seq:
        missing = f"entry {seq} is" if expected == seq else f"entries {expected} to {seq} are"
        yield f"{missing} missing at the end"
    elif (expected - 1, prev) != (seq, last):
        yield f"the journal ends with entry {expected - 1}, and the store's record of its end says {seq}"


def evidence_of(bodies: Sequence[Body]) -> Iterator[tuple[str, str]]:
    """Yield the name and hash of every file that the job rests on; of a blanked sound, of what is left of it."""
    stands = stands_in(bodies)
    for body in bodies:
        if isinstance(body, EvidenceAdded | MovedIn):
            sha256 = body.evidence.sha256
            yield f"evidence {body.evidence.name}", stands[sha256][-1] if sha256 in stands else sha256
        elif isinstance(body, JobOpened):
            yield f"sheet {body.head.sheet}", body.head.sheet_sha256
            for one in body.head.appliances:
                if one.file_sha256 is not None:
                    yield f"appliance file {one.file}", one.file_sha256
        elif isinstance(body, FileGiven):
            yield f"appliance file {body.file}", body.file_sha256


def without_places(bodies: Sequence[Body]) -> dict[str, str]:
    """Return what the journal notes of photos that tell where they were taken: the hash of each without that place."""
    added = [body.evidence for body in bodies if isinstance(body, EvidenceAdded | MovedIn)]
    return {one.sha256: one.without_place for one in added if one.without_place is not None}


def _blanked(bodies: Sequence[Body]) -> Iterator[str]:
    added = (body.evidence for body in bodies if isinstance(body, EvidenceAdded | MovedIn))
    names = {one.sha256: one.name for one in added}
    for body in bodies:
        if isinstance(body, Blanked):
            yield told(body, names.get(body.evidence, body.evidence[:12]))
