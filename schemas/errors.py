"""The errors that a person may meet, each with the exit code it ends with.

    SaybackError           70  a fault of our own (base; never raised itself)
    ├── WrongUse            2  the command or its arguments do not fit
    ├── BadInput            3  a file or value cannot be used
    └── StoreFailed         4  the store or the disk failed, or its chain is broken

Every message is one sentence or two for the person who reads it: what is wrong, and what to do.
"""

from __future__ import annotations

from enum import IntEnum

__all__ = ["BadInput", "ExitCode", "SaybackError", "StoreFailed", "WrongUse"]


class ExitCode(IntEnum):
    """How a command ends."""

    DONE = 0
    FINDINGS_OPEN = 1
    WRONG_USE = 2
    BAD_INPUT = 3
    STORE_FAILED = 4
    OWN_FAULT = 70


class SaybackError(Exception):
    """Base of every error that a person may meet; ``str(error)`` is what they read."""

    exit_code = ExitCode.OWN_FAULT


class WrongUse(SaybackError):
    """The command, its arguments or the order of work does not fit: no such job, unknown sheet."""

    exit_code = ExitCode.WRONG_USE


class BadInput(SaybackError):
    """A file or a value cannot be used: empty, cut short, not what its name says, out of bounds."""

    exit_code = ExitCode.BAD_INPUT


class StoreFailed(SaybackError):
    """The store or the disk failed: full disk, locked store, a broken chain of the journal."""

    exit_code = ExitCode.STORE_FAILED
