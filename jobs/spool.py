"""Sound on its way to being evidence: on the disk as it comes, so that a kill costs nothing that had reached it.

While a job is listened to, samples are appended to a file and fsynced several times a second. Stretches of it are then
kept as evidence, each under a name that says which samples it holds; so the journal itself tells what of the spool is
filed. What is not, after a kill, is filed by the next ``listen`` or ``add``.
"""

from __future__ import annotations

import fcntl
import math
import os
import re
import shutil
import wave
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

from jobs import disk
from jobs.add import Named
from jobs.fold import Job

__all__ = ["RATE", "Spool", "say_left", "seconds_left", "take_up"]

RATE = 16_000
"""Samples a second; mono, 16 bits, little-endian."""
SYNC_S = 0.25
"""At most so much sound is written before it is made durable."""

_NAME = re.compile(r"listen-\d{6}-(\d+)-(\d+)\.wav")
_STAMP = "%Y%m%dT%H%M%S.%f"


@dataclass(frozen=True)
class _Session:
    """A folder of the spool; its name is the moment of its first sample, in UTC."""

    folder: Path

    @property
    def sound(self) -> Path:
        return self.folder / "sound.pcm"

    @property
    def samples(self) -> int:
        return self.sound.stat().st_size // 2 if self.sound.exists() else 0

    def read(self, first: int, last: int) -> bytes:
        with self.sound.open("rb") as file:
            file.seek(2 * first)
            return file.read(2 * (last - first))

    def wav(self, first: int, last: int) -> bytes:
        """Return samples as a WAV file that tells the moment of its first one."""
        return _wav(self.read(first, last), self._at(first))

    def piece_name(self, first: int, last: int) -> str:
        """Return a name that tells the time of day, for people, and the samples of the session."""
        return f"listen-{self._at(first).astimezone():%H%M%S}-{first}-{last}.wav"

    def filed_to(self, job: Job) -> int:
        """Return how many of the samples are evidence of the job already."""
        last = 0
        for one in job.filed:
            found = _NAME.fullmatch(one.evidence.name)
            if found and one.evidence.at == self._at(int(found[1])):
                last = max(last, int(found[2]))
        return last

    def _at(self, sample: int) -> datetime:
        begun = datetime.strptime(self.folder.name, _STAMP).replace(tzinfo=UTC)
        return begun + timedelta(microseconds=round(sample * 1_000_000 / RATE))


class Spool:
    """The sound of one session of listening to one job. Only one process listens to a job at a time.

    ``write`` may be called by one thread while others read what is written already.

    Raises (when opened):
        StoreFailed: it cannot be written.
        BlockingIOError: another process is listening to this job.
    """

    def __init__(self, home: Path, number: str, begun: datetime) -> None:
        self._folder = _folder(home, number)
        with disk.told_plainly(self._folder):
            disk.make_folder(self._folder)
        self._lock = os.open(self._folder / "lock", os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(self._lock)
            raise
        self._session = _Session(self._folder / begun.astimezone(UTC).strftime(_STAMP))
        with disk.told_plainly(self._session.folder):
            disk.make_folder(self._session.folder)
            self._file = os.open(self._session.sound, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
            disk.fsync_folder(self._session.folder)
        self._unsynced = 0
        self.samples = 0
        """Samples written so far."""

    def write(self, data: bytes) -> None:
        """Append samples; at most a quarter of a second of them is not durable yet.

        Raises:
            StoreFailed: the disk refuses.
        """
        with disk.told_plainly(self._session.sound):
            disk.write(self._file, data)
            self._unsynced += len(data)
            if self._unsynced >= 2 * SYNC_S * RATE:
                disk.fsync(self._file)
                self._unsynced = 0
        self.samples += len(data) // 2

    def wav(self, first: int, last: int) -> bytes:
        """Return samples ``first`` to ``last`` as a WAV file that tells its own time."""
        return self._session.wav(first, last)

    def name(self, first: int, last: int) -> str:
        """Return the name under which these samples are filed."""
        return self._session.piece_name(first, last)

    def close(self, job: Job) -> None:
        """Let go of the job; the spool is deleted once all of it is in the journal."""
        os.close(self._file)
        _clear(self._session, job)
        os.close(self._lock)


def take_up(home: Path, job: Job, add: Callable[[Sequence[Named]], Job]) -> Job:
    """File what a listening that was killed has left of a job, with ``add``, and return the job.

    Nothing happens while somebody listens to it.
    """
    folder = _folder(home, job.number)
    if not folder.is_dir():
        return job
    with disk.told_plainly(folder):
        lock = os.open(folder / "lock", os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(lock)
            return job
        try:
            sessions = [_Session(one) for one in sorted(folder.iterdir()) if one.is_dir()]
            left = [named for one in sessions if (named := _left(one, job)) is not None]
            if left:
                job = add(left)
            for one in sessions:
                _clear(one, job)
        finally:
            os.close(lock)
    return job


def seconds_left(home: Path, job: Job) -> float:
    """Return how many seconds of a job's live sound are on the disk only: nobody knows yet what they tell.

    A listening that was killed leaves them; so does one that goes on, for as long as an utterance is not over.
    """
    folder = _folder(home, job.number)
    sessions = [_Session(one) for one in folder.iterdir() if one.is_dir()] if folder.is_dir() else []
    return sum(max(0, one.samples - one.filed_to(job)) for one in sessions) / RATE


def say_left(seconds: float) -> str:
    """ "7 seconds of sound are not read yet", rounded up."""
    whole = math.ceil(seconds)
    return "1 second of sound is not read yet" if whole == 1 else f"{whole} seconds of sound are not read yet"


def _folder(home: Path, number: str) -> Path:
    return home / "listening" / number


def _left(session: _Session, job: Job) -> Named | None:
    first, last = session.filed_to(job), session.samples
    if last <= first:
        return None
    path = session.folder / "left.wav"
    path.write_bytes(session.wav(first, last))
    return Named(path, session.piece_name(first, last))


def _clear(session: _Session, job: Job) -> None:
    """Delete a session's folder if all its sound is evidence."""
    if session.filed_to(job) >= session.samples:
        shutil.rmtree(session.folder, ignore_errors=True)


def _wav(data: bytes, at: datetime) -> bytes:
    """Return a WAV file with the moment of its first sample in the chunk that tools read (RIFF INFO, ICRD)."""
    buffer = BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(data)
    plain = buffer.getvalue()
    text = at.isoformat(timespec="microseconds").encode() + b"\0"
    text += b"\0" * (len(text) % 2)
    info = b"INFO" + b"ICRD" + len(text).to_bytes(4, "little") + text
    riff = plain[8:] + b"LIST" + len(info).to_bytes(4, "little") + info
    return b"RIFF" + len(riff).to_bytes(4, "little") + riff
