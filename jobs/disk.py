"""The few steps that put bytes on the disk for good, and the one sentence that a person gets when the disk refuses.

Every durable step outside the database goes through here, so that a test can count the steps, fail the n-th one, or
kill the process between two of them.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from schemas.errors import StoreFailed

__all__ = ["fsync", "fsync_folder", "make_folder", "rename", "told_plainly", "write"]

_WHY = {
    errno.ENOSPC: "the disk is full; free some space and run the same command again",
    errno.EDQUOT: "the disk quota is used up; free some space and run the same command again",
    errno.EFBIG: "a file would become larger than this system allows; raise the limit (ulimit -f) and run it again",
    errno.EROFS: "the disk is mounted read-only; make it writable or set SAYBACK_HOME to another folder",
    errno.EACCES: "permission was refused; make the folder writable or set SAYBACK_HOME to another one",
    errno.EPERM: "permission was refused; make the folder writable or set SAYBACK_HOME to another one",
    errno.EIO: "the disk reported a read or write error; check the disk, then run the same command again",
    errno.EMFILE: "too many files are open; close some programs and run the same command again",
    errno.ENOTDIR: "a file stands where a folder is needed; move it away or set SAYBACK_HOME to another folder",
    errno.EEXIST: "a file stands where a folder is needed; move it away or set SAYBACK_HOME to another folder",
}


@contextmanager
def told_plainly(place: Path | str) -> Iterator[None]:
    """Turn an operating system's error into one sentence about ``place``.

    Raises:
        StoreFailed: anything in the block raised OSError.
    """
    try:
        yield
    except OSError as error:
        why = _WHY.get(error.errno or 0, f"{(error.strerror or str(error)).lower()}; put that right and run it again")
        raise StoreFailed(f"{place} cannot be used: {why}. What was reported as added is safe.") from error


def make_folder(folder: Path) -> None:
    """Make a folder and what is above it, readable for its owner only, and make each new name durable."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(mode=0o700, exist_ok=True)
    fsync_folder(folder.parent)


def write(descriptor: int, data: bytes) -> None:
    """Write all of ``data``."""
    left = memoryview(data)
    while left:
        left = left[os.write(descriptor, left) :]


def fsync(descriptor: int) -> None:
    """Wait until what was written is on the disk."""
    os.fsync(descriptor)


def rename(source: Path, target: Path) -> None:
    """Give a finished file its name; durable after :func:`fsync_folder` of its folder."""
    source.rename(target)


def fsync_folder(folder: Path) -> None:
    """Make the names in a folder durable."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
