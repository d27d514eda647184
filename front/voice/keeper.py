"""A small process beside the one that listens, which tells when that one has died or hangs: within three seconds.

It does nothing but wait for a beat. It is told by ``python -m front.voice.keeper [FOLDER | --silent]`` where to sound;
the listening process writes a byte to it several times a second, and a last one when it ends on purpose or has told
itself why it ends.
"""

from __future__ import annotations

import os
import select
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType

from front.voice.sounds import tone
from front.voice.speakers import find_speakers
from schemas.errors import SaybackError

__all__ = ["Keeper", "main"]

WAITS_S = 2.0
EVERY_S = 0.4
_BEAT, _END = b".", b"e"
WORDS = "sayback: hearing lost, nothing is being recorded; start sayback listen again."


class Keeper:
    """The other side: starts the small process and keeps it content. Use it with ``with``."""

    def __init__(self, to: Path | None, *, silent: bool) -> None:
        where = ["--silent"] if silent else [str(to.absolute())] if to is not None else []
        # In a session of its own, so that neither Ctrl-C nor a hang-up of the terminal ends it first.
        self._process = subprocess.Popen(
            [sys.executable, "-m", "front.voice.keeper", *where], stdin=subprocess.PIPE, start_new_session=True
        )
        self._last = 0.0
        self._told = False

    def beat(self) -> None:
        """Say that all is well; cheap, call it as often as you like."""
        now = time.monotonic()
        if now - self._last >= EVERY_S:
            self._last = now
            self._write(_BEAT)

    def told(self) -> None:
        """Say that nothing is to be told of the error that ends this: it was, or nothing is lost by it."""
        self._told = True

    def __enter__(self) -> Keeper:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is None or self._told:
            self._write(_END)
        if self._process.stdin is not None:
            self._process.stdin.close()
        self._process.wait(timeout=10)

    def _write(self, byte: bytes) -> None:
        try:
            if self._process.stdin is not None:
                os.write(self._process.stdin.fileno(), byte)
        except OSError:
            pass  # it is gone; listening goes on without it


def main(arguments: Sequence[str]) -> int:
    """Wait for beats on standard input, and sound when they stop."""
    silent = list(arguments) == ["--silent"]
    folder = Path(arguments[0]) if arguments and not silent else None
    begun = told = False
    while True:
        ready, _, _ = select.select([sys.stdin.fileno()], [], [], WAITS_S if begun else None)
        got = os.read(sys.stdin.fileno(), 64) if ready else None
        if got is not None and got.endswith(_END):
            return 0
        if got:
            begun, told = True, False
            continue
        if not told:
            told = True
            _tell(folder, silent=silent)
        if got == b"":
            return 1


def _tell(folder: Path | None, *, silent: bool) -> None:
    print(WORDS, file=sys.stderr, flush=True)
    try:
        find_speakers(folder, silent=silent).play(tone("hearing lost"), 0.0, "hearing lost", WORDS)
    except SaybackError as error:
        print(f"sayback: {error}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
