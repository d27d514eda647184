"""Off the record: a named person, with a reason, blanks a stretch of a sound.

The sound is written anew with silence in that stretch; one entry says who did it, why, from when to when, and the hash
of what was there. Then the bytes as they were are deleted, and are not kept again if somebody adds them. What was read
from them stays in the journal: a reading keeps its value and says that its sound was blanked.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterator, Sequence

from jobs.fold import Job, fold
from jobs.journal import Blanked, Body, Draft, Entry, EvidenceAdded, MovedIn
from jobs.store import JournalMoved, Store
from jobs.timeline import Filed
from schemas.errors import WrongUse
from schemas.readings import Source

__all__ = ["blank", "blanked_at", "finish", "stands_in", "told"]

RATE = 16_000
"""Samples a second of what is kept, as capture hears it; mono, 16 bits."""


def blank(store: Store, number: str, recording: str, start: float, end: float, *, by: str, why: str) -> Job:
    """Blank the seconds ``start`` to ``end`` of a recording in every job that has it, and return the job.

    ``recording`` is its name, or the beginning of its hash.

    Raises:
        WrongUse: no such recording, no such stretch, no name or reason, or it is still being recorded or read.
        BadInput, StoreFailed: it cannot be decoded or written; it is as it was.
    """
    if not by.strip() or not why.strip():
        raise WrongUse("Blanking needs the name of who does it and a reason; give --by and --because.")
    while True:
        job = fold(store.entries(number))
        filed = _recording(store, job, recording)
        length = filed.length
        if not 0 <= start < end <= length + 1:
            raise WrongUse(f"{filed.evidence.name} plays for {length:.1f} s; there is no stretch {start:g} to {end:g}.")
        if any(one.start <= start and end <= one.end for one in filed.blanked):
            raise WrongUse(f"{start:g} to {end:g} s of {filed.evidence.name} is blanked already.")
        piece, left = _without(store, filed, start, end)
        body = Blanked(
            evidence=filed.sha256, start=start, end=end, piece=piece, was=filed.kept, left=left, by=by, why=why
        )
        everywhere = {one: entries for one in store.numbers() if _is_of(entries := store.entries(one), filed.sha256)}
        try:
            store.append_each({one: ([Draft(body, by)], entries[-1].seq) for one, entries in everywhere.items()})
        except JournalMoved:
            continue
        finish(store, number)
        return fold(store.entries(number))


def finish(store: Store, number: str) -> None:
    """Delete what the journal says was blanked and is still there, as after a kill between the two."""
    stands = stands_in([entry.body for entry in store.entries(number)])
    for gone in sorted({old for chain in stands.values() for old in chain[:-1]}):
        if store.evidence.path(gone).exists() or not store.evidence.is_discarded(gone):
            store.evidence.discard(gone)


def stands_in(bodies: Sequence[Body]) -> dict[str, list[str]]:
    """Return, for each blanked sound, the hashes of what was kept of it in turn: its own first, last what is there."""
    found: dict[str, list[str]] = {}
    for body in bodies:
        for one in [body] if isinstance(body, Blanked) else body.blanked if isinstance(body, MovedIn) else ():
            chain = found.setdefault(one.evidence, [one.evidence])
            if one.left not in chain:
                chain.append(one.left)
    return found


def told(one: Blanked, name: str) -> str:
    """Return in a sentence what was blanked, by whom and why."""
    return f"{name} from {one.start:g} to {one.end:g} s was blanked by {one.by}: {one.why}"


def blanked_at(job: Job, source: Source) -> Blanked | None:
    """Return what took the sound of a reading off the record; None where it is there, or was no sound."""
    filed = next((one for one in job.filed if one.sha256 == source.evidence), None)
    return filed.blanked_in(source.start, source.end) if filed is not None else None


def _is_of(entries: Sequence[Entry], sha256: str) -> bool:
    """Whether a journal names a piece of evidence as its own, now or before it was moved."""
    bodies = (entry.body for entry in entries)
    return any(isinstance(body, EvidenceAdded | MovedIn) and body.evidence.sha256 == sha256 for body in bodies)


def _recording(store: Store, job: Job, wanted: str) -> Filed:
    sounds = [one for one in job.filed if one.evidence.kind == "sound"]
    found = [one for one in sounds if wanted == one.evidence.name] or [
        one for one in sounds if len(wanted) >= 6 and one.sha256.startswith(wanted)
    ]
    if len(found) != 1:
        names = ", ".join(f"{one.evidence.name} ({one.sha256[:12]})" for one in found or sounds) or "none"
        raise WrongUse(f"{wanted!r} names no one recording of job {job.number}; there are: {names}.")
    if not found[0].read:
        raise WrongUse(f"{wanted} was not heard to its end yet; run sayback add {job.number} first.")
    spool = store.home / "listening" / job.number
    if spool.is_dir() and any(one.is_dir() for one in spool.iterdir()):
        raise WrongUse(f"Job {job.number} is being listened to, or was not filed to its end; end that first.")
    return found[0]


def _without(store: Store, filed: Filed, start: float, end: float) -> tuple[str, str]:
    """Keep a sound without a stretch; return the hash of the stretch and of what is kept."""
    from capture.sound import samples

    path = store.evidence.path(filed.kept)
    first, last = round(start * RATE), round(end * RATE)
    gone = hashlib.sha256()

    def silenced() -> Iterator[bytes]:
        yield _header(sum(len(block) for block in samples(path)))
        at = 0
        for block in samples(path):
            data = (block * 32767).round().astype("<i2")
            a, b = (min(max(0, edge - at), len(data)) for edge in (first, last))
            gone.update(data[a:b].tobytes())
            data[a:b] = 0
            at += len(data)
            yield data.tobytes()

    left, _ = store.evidence.keep_chunks(silenced())
    return gone.hexdigest(), left


def _header(count: int) -> bytes:
    """Return the head of a WAV file of so many samples (RIFF WAVE, 16-bit PCM, one channel)."""
    form = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, RATE, 2 * RATE, 2, 16)
    return struct.pack("<4sI4s", b"RIFF", 36 + 2 * count, b"WAVE") + form + struct.pack("<4sI", b"data", 2 * count)
