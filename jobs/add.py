"""Adding evidence to a job: kept first, then heard and looked at, then extracted, checked, and journalled as it goes.

Every step is journalled under a key of its own, so that the same command, run again after a kill at any instant,
goes on where the last one stopped and doubles nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from capture.typed import typed_utterance
from jobs.blanking import finish
from jobs.book import sheet_of
from jobs.evidence import placeless
from jobs.extraction import bring_up_to_date
from jobs.findings import check_job
from jobs.fold import Job, fold
from jobs.journal import ClockSet, Draft, EvidenceAdded, Heard, HeardAll, Seen
from jobs.photo_clock import follow
from jobs.senses import Senses
from jobs.store import Store
from jobs.timeline import Filed
from schemas.errors import BadInput, StoreFailed, WrongUse
from schemas.evidence import Evidence, Look, Utterance

__all__ = ["Added", "Event", "Named", "Refused", "Typed", "add"]

TYPED_MEDIA = "text/plain; charset=utf-8"


@dataclass(frozen=True)
class Typed:
    """A line of typed text, given in place of a file."""

    text: str


@dataclass(frozen=True)
class Named:
    """A file whose name on this disk says nothing, such as an upload, with the name that it was given under."""

    path: Path
    name: str


@dataclass(frozen=True)
class Refused:
    """Something that could not be used, and the one sentence that says why."""

    name: str
    why: str


@dataclass(frozen=True)
class Event:
    """What is being done just now.

    ``kept``: the evidence is safe, and added. ``there``: it was in the job already. ``refused``: it cannot be used.
    ``hearing``: ``done`` seconds of ``seconds`` are heard. ``heard`` and ``looked``: ``found`` is journalled.
    ``unread``: it is safe, and could not be heard or looked at to its end.
    """

    kind: Literal["kept", "there", "refused", "hearing", "heard", "looked", "unread"]
    name: str
    sha256: str = ""
    done: float = 0.0
    seconds: float | None = None
    found: Utterance | Look | None = None
    why: str = ""


@dataclass(frozen=True)
class Added:
    """What came of it. ``before`` and ``job`` are the job without and with it."""

    before: Job
    job: Job
    kept: tuple[Evidence, ...]
    there: tuple[Evidence, ...]
    refused: tuple[Refused, ...]
    unread: tuple[Refused, ...]


Progress = Callable[[Event], None]


def add(
    store: Store,
    number: str,
    given: Sequence[Path | Named | Typed],
    *,
    senses: Senses,
    author: str,
    at: datetime | None = None,
    progress: Progress = lambda event: None,
) -> Added:
    """Add files and typed lines to a job, in the order given; then read whatever of the job was not read yet.

    All of them are safe on the disk and in the journal before the first is heard. One that cannot be used is refused
    and the others go on. ``at`` is the moment of the one piece given, over what the file itself says.

    Raises:
        WrongUse: no such job; ``at`` without a zone, or with more than one piece.
        StoreFailed: the store or the disk failed; what was reported as kept is safe, and running it again goes on.
    """
    if at is not None and at.utcoffset() is None:
        raise WrongUse("Give the time with its zone, such as 2026-03-04T09:30:00+00:00.")
    if at is not None and len(given) != 1:
        raise WrongUse("A time can be given for one file at a time; add the files one by one.")
    before = fold(store.entries(number))
    store.evidence.sweep()
    finish(store, number)
    kept: list[Evidence] = []
    there: list[Evidence] = []
    refused: list[Refused] = []
    for one in given:
        name = one.text if isinstance(one, Typed) else _name(one)
        try:
            evidence, new = _keep(store, number, one, senses, author, at)
        except BadInput as error:
            refused.append(Refused(name, str(error)))
            progress(Event("refused", name, why=str(error)))
        else:
            (kept if new else there).append(evidence)
            why = "its time has no zone, so this machine's was taken" if evidence.clock == "assumed" else ""
            progress(Event("kept" if new else "there", evidence.name, evidence.sha256, why=why))
    follow(store, number, [one.sha256 for one in kept], author)
    unread = _read(store, number, senses, progress)
    bring_up_to_date(store, number, sheet_of(store, before.head))
    job = check_job(store, number)
    return Added(before, job, tuple(kept), tuple(there), tuple(refused), unread)


def _keep(
    store: Store, number: str, given: Path | Named | Typed, senses: Senses, author: str, at: datetime | None
) -> tuple[Evidence, bool]:
    """Put one piece on the disk, then into the journal; say whether it was new to the job."""
    if isinstance(given, Typed):
        typed_utterance(given.text, "0" * 64)  # refuses what is no text, before it is kept
        text = given.text if at is None else f"{at.isoformat()} {given.text}"
        sha256, size = store.evidence.keep_bytes(text.encode())
        evidence = Evidence(sha256=sha256, kind="typed", media_type=TYPED_MEDIA, name="typed", size=size)
        seconds = None
    else:
        path = given.path if isinstance(given, Named) else given
        try:
            media = senses.identify(path)
        except BadInput as error:
            if not isinstance(given, Named):
                raise
            # What is wrong with it is told under the name that people know.
            raise BadInput(str(error).replace(path.name, _name(given))) from error
        sha256, size = store.evidence.keep_file(path)
        blank = placeless(store.evidence.path(sha256)) if media.kind == "photo" else None
        evidence = Evidence(
            sha256=sha256,
            kind=media.kind,
            media_type=media.media_type,
            name=_name(given),
            size=size,
            at=media.at,
            clock=media.clock,
            without_place=hashlib.sha256(blank).hexdigest() if blank is not None else None,
        )
        seconds = media.seconds
    if at is not None:
        evidence = evidence.model_copy(update={"at": at, "clock": "given"})
    draft = Draft(EvidenceAdded(evidence=evidence, seconds=seconds), author, f"evidence/{sha256}")
    new = bool(store.append(number, [draft]))
    if not new and (there := fold(store.entries(number)).away.get(sha256)):
        raise BadInput(f"{evidence.name} was moved from this job to job {there}; take that move back to have it here.")
    if not new and at is not None:
        _set_clock(store, number, sha256, at, author)
    return evidence, new


def _set_clock(store: Store, number: str, sha256: str, at: datetime, author: str) -> None:
    """Note the time of evidence that was added before without it."""
    filed = next(one for one in fold(store.entries(number)).filed if one.sha256 == sha256)
    if filed.at != at:
        body = ClockSet(evidence=sha256, at=at, clock="given", why="given when it was added again")
        store.append(number, [Draft(body, author)])


def _read(store: Store, number: str, senses: Senses, progress: Progress) -> tuple[Refused, ...]:
    """Hear and look at everything that was not read to its end, also what an earlier run left."""
    unread = []
    for filed in fold(store.entries(number)).unread:
        if not store.evidence.is_sound(filed.kept):
            raise StoreFailed(
                f"The evidence {filed.evidence.name} ({store.evidence.path(filed.kept)}) is missing or no longer "
                f"holds the bytes it is named after; run sayback verify {number}."
            )
        try:
            _read_one(store, number, filed, senses, progress)
        except BadInput as error:
            unread.append(Refused(filed.evidence.name, str(error)))
            progress(Event("unread", filed.evidence.name, filed.sha256, why=str(error)))
    return tuple(unread)


def _read_one(store: Store, number: str, filed: Filed, senses: Senses, progress: Progress) -> None:
    name, sha256, path = filed.evidence.name, filed.sha256, store.evidence.path(filed.kept)
    if filed.evidence.kind == "photo":
        look = senses.look(path, sha256)
        store.append(number, [Draft(Seen(look=look), key=f"seen/{sha256}")])
        progress(Event("looked", name, sha256, found=look))
        return
    # Numbers count stretches of speech, also those in which no word was made out.
    skip = max((utterance.number + 1 for utterance in filed.utterances), default=0)
    heard = len(filed.utterances)
    if filed.evidence.kind == "typed":
        text = path.read_text(encoding="utf-8")
        if filed.evidence.clock == "given":
            text = text.partition(" ")[2]
        utterances = iter([typed_utterance(text, sha256)][skip:])
    else:
        length = filed.seconds
        utterances = senses.hear(
            path,
            sha256,
            skip=skip,
            progress=lambda done: progress(Event("hearing", name, sha256, done, length)),
        )
    for utterance in utterances:
        store.append(number, [Draft(Heard(utterance=utterance), key=f"heard/{sha256}/{utterance.number}")])
        heard += 1
        progress(Event("heard", name, sha256, utterance.end, filed.seconds, utterance))
    store.append(number, [Draft(HeardAll(evidence=sha256, utterances=heard), key=f"heard-all/{sha256}")])


def _name(given: Path | Named) -> str:
    """Return a file's name as text that can be kept: what is not UTF-8 in it becomes a mark."""
    return given.name.encode("utf-8", "replace").decode() or "file"
