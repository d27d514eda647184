"""Evidence on the disk: each file under the SHA-256 of its bytes, durable before anything looks at it, never changed.

The same folder keeps the sheet and the appliance files that a job was opened with, for the same reason: a value must
be traceable to exactly the bytes that it was read with. The one exception is a sound of which a person took a stretch
off the record (``jobs/blanking.py``): its bytes are gone, and a mark beside its place keeps them from coming back.

A photo that came in a zip without the place where it was taken lies under the hash of what came; a note beside the
place of the original names it, until the original itself is added.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator
from itertools import count
from pathlib import Path
from typing import IO

from capture.gps import without_place
from jobs import disk
from schemas.errors import BadInput, StoreFailed

__all__ = ["EvidenceFiles", "placeless"]

_CHUNK = 1 << 20
_SERIAL = count()


def placeless(path: Path) -> bytes | None:
    """Return the bytes of a photo without the place where it was taken; None where it holds none."""
    data = path.read_bytes()
    blank = without_place(data)
    return None if blank == data else blank


class EvidenceFiles:
    """The folder ``evidence/``: ``ab/abcd…`` holds the bytes whose SHA-256 is ``abcd…``."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        with disk.told_plainly(folder):
            disk.make_folder(folder)

    def path(self, sha256: str) -> Path:
        """Return where the bytes of a hash lie, or those that stand for them, whether or not they are there."""
        return self._path(self.stand_in(sha256) or sha256)

    def _path(self, sha256: str) -> Path:
        return self._folder / sha256[:2] / sha256

    def stand_in(self, sha256: str) -> str | None:
        """Return the hash of the photo without its place that stands for one that is not here; None where none does."""
        note = self._note(sha256)
        return note.read_text().strip() if note.exists() and not self._path(sha256).exists() else None

    def let_stand(self, sha256: str, left: str) -> None:
        """Note that the kept photo ``left`` stands for the one of a hash, as long as that one is not here."""
        note = self._note(sha256)
        with disk.told_plainly(note):
            disk.make_folder(note.parent)
            note.write_text(left)
            disk.fsync_folder(note.parent)

    def _note(self, sha256: str) -> Path:
        return self._path(sha256).with_name(f"{sha256}.without-place")

    def keep_file(self, source: Path) -> tuple[str, int]:
        """Copy a file in and return its SHA-256 and its size in bytes; when this returns it is on the disk.

        Raises:
            BadInput: the source cannot be read, or a stretch of it was blanked here.
            StoreFailed: it cannot be written; the source is untouched and nothing half-written carries a name.
        """
        try:
            descriptor = os.open(source, os.O_RDONLY)
        except OSError as error:
            raise BadInput(f"{source} cannot be read: {(error.strerror or str(error)).lower()}.") from error
        with os.fdopen(descriptor, "rb", buffering=0) as file:
            return self.keep_chunks(_chunks(file, source))

    def keep_bytes(self, data: bytes) -> tuple[str, int]:
        """Keep some bytes as :meth:`keep_file` keeps a file."""
        return self.keep_chunks([data])

    def keep_stream(self, source: IO[bytes]) -> tuple[str, int]:
        """Keep what an open file gives as :meth:`keep_file` keeps a file.

        Raises:
            BadInput: it cannot be read to its end.
        """
        return self.keep_chunks(_chunks(source, Path(getattr(source, "name", "the file"))))

    def is_sound(self, sha256: str) -> bool:
        """Say whether the bytes are there and still have the hash that is their name."""
        digest = hashlib.sha256()
        try:
            with self.path(sha256).open("rb") as file:
                while chunk := file.read(_CHUNK):
                    digest.update(chunk)
        except OSError:
            return False
        return digest.hexdigest() == (self.stand_in(sha256) or sha256)

    def discard(self, sha256: str) -> None:
        """Delete the bytes of a hash for good, and never keep them again: what they held was blanked.

        Raises:
            StoreFailed: the disk refuses.
        """
        path = self.path(sha256)
        with disk.told_plainly(path):
            if path.exists() or not self.is_discarded(sha256):
                disk.make_folder(path.parent)
                self._mark(sha256).touch(mode=0o400)
                disk.fsync_folder(path.parent)
                path.unlink(missing_ok=True)
                disk.fsync_folder(path.parent)

    def is_discarded(self, sha256: str) -> bool:
        """Say whether the bytes of a hash were deleted because they were blanked."""
        return self._mark(sha256).exists()

    def _mark(self, sha256: str) -> Path:
        return self._path(sha256).with_name(f"{sha256}.blanked")

    def sweep(self) -> None:
        """Delete the half-written copies of processes that are gone; their sources are where they were."""
        for left in self._folder.glob("*.part"):
            if not _alive(left.name.split("-")[0]):
                left.unlink(missing_ok=True)

    def keep_chunks(self, chunks: Iterable[bytes]) -> tuple[str, int]:
        """Keep what comes piece by piece as :meth:`keep_file` keeps a file."""
        with disk.told_plainly(self._folder):
            part = self._folder / f"{os.getpid()}-{next(_SERIAL)}.part"
            try:
                sha256, size = _write_durably(part, chunks)
                self._give_name(part, sha256)
            finally:
                part.unlink(missing_ok=True)
            return sha256, size

    def _give_name(self, part: Path, sha256: str) -> None:
        target = self._path(sha256)
        if self.is_discarded(sha256):
            raise BadInput("A stretch of this sound was blanked here, so it is not kept again as it was.")
        if target.exists():
            if not self.is_sound(sha256):
                raise StoreFailed(
                    f"The evidence file {target} no longer holds the bytes it is named after. It was not overwritten; "
                    "move it away, keep it for whoever looks into it, and add the file again."
                )
        else:
            disk.make_folder(target.parent)
            disk.rename(part, target)
        # Also where it was there already: an earlier process may have been killed before this step.
        disk.fsync_folder(target.parent)


def _write_durably(part: Path, chunks: Iterable[bytes]) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o400)
    try:
        for chunk in chunks:
            digest.update(chunk)
            size += len(chunk)
            disk.write(descriptor, chunk)
        disk.fsync(descriptor)
    finally:
        os.close(descriptor)
    return digest.hexdigest(), size


def _chunks(file: IO[bytes], source: Path) -> Iterator[bytes]:
    while True:
        try:
            chunk = file.read(_CHUNK)
        except OSError as error:
            raise BadInput(f"{source} cannot be read to its end: {(error.strerror or str(error)).lower()}.") from error
        if not chunk:
            return
        yield chunk


def _alive(pid: str) -> bool:
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return False
    except (ValueError, PermissionError):
        return True
    return True
