"""Uploads are read by a process of their own, so that the page lives on: ``python -m front.office.reader HOME``.

What was uploaded lies under ``incoming/`` until it is safe in a job. Killed at any instant, the next start goes on.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import subprocess
import sys
import threading
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from jobs import disk
from jobs.add import Named, add
from jobs.book import job_of, sheet_of
from jobs.senses import Senses, senses
from jobs.store import Store
from schemas.errors import SaybackError

__all__ = ["Incoming", "Reader", "clean_name", "read_all"]

_FACTS, _BYTES, _WHY = "facts.json", "upload.bin", "refused.txt"


@dataclass(frozen=True)
class Incoming:
    """One upload: the folder it lies in, its job, its name as a label, who gave it; ``refused`` says why it was."""

    folder: Path
    job: str
    name: str
    by: str
    refused: str = ""

    @property
    def path(self) -> Path:
        """Its bytes."""
        return self.folder / _BYTES


def clean_name(name: str) -> str:
    """Return a file's name as a label that can be shown: no folders, nothing that does not print. Never a path."""
    last = re.split(r"[/\\]", name)[-1]
    shown = "".join(one for one in last if unicodedata.category(one)[0] != "C").strip()
    return shown[:120] or "file"


class Reader:
    """The uploads of one store, and the process that reads them: at most one at a time."""

    def __init__(self, home: Path) -> None:
        self._home = home
        self._folder = home / "incoming"
        self._process: subprocess.Popen[bytes] | None = None
        self._lock = threading.Lock()
        self._again = False

    def place(self) -> Path:
        """Return a new folder for the bytes of an upload."""
        folder = self._folder / secrets.token_hex(8)
        disk.make_folder(folder)
        return folder

    def give(self, folder: Path, job: str, name: str, by: str) -> Incoming:
        """Say whose the bytes in a folder are, for good."""
        one = Incoming(folder, job, clean_name(name), by)
        with disk.told_plainly(folder):
            part = folder / f"{_FACTS}.part"
            with part.open("w", encoding="utf-8") as file:
                json.dump({"job": one.job, "name": one.name, "by": one.by}, file)
                file.flush()
                disk.fsync(file.fileno())
            disk.rename(part, folder / _FACTS)
            disk.fsync_folder(folder)
        return one

    def waiting(self, job: str | None = None) -> tuple[Incoming, ...]:
        """Return the uploads that are not in their job yet, those that were refused included, oldest first."""
        return tuple(one for one in incoming(self._home) if job in (None, one.job))

    def forget(self, name: str) -> None:
        """Throw a refused upload away, by the name of its folder."""
        for one in incoming(self._home):
            if one.folder.name == name and one.refused:
                shutil.rmtree(one.folder, ignore_errors=True)

    @property
    def busy(self) -> bool:
        """Say whether the process runs."""
        with self._lock:
            return self._process is not None

    def poke(self) -> None:
        """Start the process, or let it look once more when it ends."""
        with self._lock:
            self._again = True
            if self._process is not None:
                return
            self._start()

    def stop(self) -> None:
        """End the process; what it had not finished goes on at the next start."""
        with self._lock:
            self._again = False
            if self._process is not None:
                self._process.terminate()

    def _start(self) -> None:
        self._again = False
        command = [sys.executable, "-m", "front.office.reader", str(self._home)]
        surroundings = {**os.environ, "OMP_NUM_THREADS": os.environ.get("OMP_NUM_THREADS", "1")}
        self._process = subprocess.Popen(command, stdin=subprocess.DEVNULL, env=surroundings)
        threading.Thread(target=self._watch, args=(self._process,), daemon=True).start()

    def _watch(self, process: subprocess.Popen[bytes]) -> None:
        process.wait()
        with self._lock:
            self._process = None
            if self._again:
                self._start()


def incoming(home: Path) -> Iterator[Incoming]:
    """Yield the uploads of a store that are not in their job yet."""
    folders = [one for one in (home / "incoming").glob("*") if (one / _FACTS).is_file()]
    for folder in sorted(folders, key=lambda one: (one / _FACTS).stat().st_mtime_ns):
        try:
            facts = json.loads((folder / _FACTS).read_text(encoding="utf-8"))
            refused = (folder / _WHY).read_text(encoding="utf-8") if (folder / _WHY).is_file() else ""
        except FileNotFoundError:
            continue  # it has just got into its job
        yield Incoming(folder, facts["job"], facts["name"], facts["by"], refused)


def read_all(store: Store, given: Senses | None = None) -> None:
    """Read every upload into its job, and whatever of any of those jobs was not read to its end."""
    while waiting := [one for one in incoming(store.home) if not one.refused]:
        one = waiting[0]
        try:
            sheet = sheet_of(store, job_of(store, one.job).head)
            added = add(
                store,
                one.job,
                [Named(one.path, one.name)],
                senses=given or senses(sheet=sheet),
                author=one.by,
            )
            why = "; ".join(refused.why for refused in added.refused)
        except SaybackError as error:
            why = str(error)
        if why:
            (one.folder / _WHY).write_text(why, encoding="utf-8")
        else:
            shutil.rmtree(one.folder)


if __name__ == "__main__":
    with Store(Path(sys.argv[1])) as _store:
        read_all(_store)
