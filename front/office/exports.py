"""What leaves the office: the report in its formats, the workbook, the zip; made outside the page's own process."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import tempfile
import threading
from collections import OrderedDict
from pathlib import Path

from jobs.bundle import pack
from jobs.report_files import SCHEMA
from jobs.store import Store
from schemas.errors import BadInput, SaybackError, StoreFailed, WrongUse

__all__ = ["KINDS", "Exports"]

KINDS = {
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "zip": "application/zip",
}
"""Media type by kind of export."""

_KEPT = 12
_SECONDS = 180
_ERRORS: dict[int, type[SaybackError]] = {2: WrongUse, 3: BadInput, 4: StoreFailed}


class Exports:
    """Reports made lately, by the end of the journal they were made from. One is made at a time."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._folder = tempfile.TemporaryDirectory(prefix="sayback-office-")
        self._made: OrderedDict[tuple[str, str, str], dict[str, bytes]] = OrderedDict()
        self._lock = threading.Lock()

    def close(self) -> None:
        """Throw away what is kept."""
        self._folder.cleanup()

    def report(self, number: str, kind: str, paper: str, beside: str = "") -> bytes:
        """Return the report of a job as html, pdf, csv or json, as ``sayback report`` writes it.

        A process of its own lays it out: that takes seconds, in which the page goes on answering.

        Raises:
            SaybackError: what the command said.
        """
        with self._lock:
            key = (self._store.head(number)[1], paper, beside)
            if key not in self._made:
                self._made[key] = self._run(number, paper, beside)
                while len(self._made) > _KEPT:
                    self._made.popitem(last=False)
            return self._made[key][kind]

    def zip(self, number: str) -> bytes:
        """Return the zip of a job."""
        buffer = io.BytesIO()
        pack(self._store, number, buffer)
        return buffer.getvalue()

    def _run(self, number: str, paper: str, beside: str) -> dict[str, bytes]:
        with tempfile.TemporaryDirectory(dir=self._folder.name) as folder:
            start = "import sys; from front.cli import run; sys.exit(run(sys.argv[1:]))"
            command = [sys.executable, "-c", start, "report", number, "--to", folder, "--paper", paper]
            command += ["--beside", beside] if beside else []
            surroundings = {"SAYBACK_HOME": str(self._store.home), "OMP_NUM_THREADS": "1"}

            try:
                ran = subprocess.run(
                    command,
                    capture_output=True,
                    text=True,
                    timeout=_SECONDS,
                    env={**os.environ, **surroundings},
                    check=False,
                )
            except subprocess.TimeoutExpired as error:
                raise StoreFailed("The report took too long to lay out; try again when less is going on.") from error
            if ran.returncode not in (0, 1):
                told = ran.stderr.strip().rpartition("\n")[2].removeprefix("sayback: ")
                raise _ERRORS.get(ran.returncode, StoreFailed)(told or "The report could not be made.")
            return {path.suffix[1:]: path.read_bytes() for path in Path(folder).iterdir() if path.name != SCHEMA}
