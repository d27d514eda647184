"""An office for the tests: a store with invented jobs, and a client that speaks to the page as a browser does."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from front.office.app import build
from front.office.people import Person, Role
from jobs.book import job_of, sheet_of
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.reserve import reserved_in
from jobs.store import Store
from schemas.questions import Question

ADDRESS = "http://127.0.0.1:8765"
HTML = {"accept": "text/html"}
JSON = {"accept": "application/json"}


class Browser:
    """A client with a session of its own that sends forms with their token."""

    def __init__(self, client: TestClient, name: str = "Ines Pell", role: Role = "clerk") -> None:
        self.client = client
        self.get_page("/")
        answer = self.send("/me", name=name, role=role)
        assert answer.status_code == 200, answer.text

    def get(self, path: str, **headers: str) -> Any:
        return self.client.get(path, headers=HTML | headers, follow_redirects=False)

    def get_page(self, path: str) -> str:
        answer = self.get(path)
        assert answer.status_code == 200, answer.text
        found = re.search(r'data-token="([0-9a-f]{64})"', answer.text)
        assert found
        self.token = found[1]
        return str(answer.text)

    def send(self, path: str, files: Any = None, **fields: str) -> Any:
        return self.client.post(path, data={"token": self.token, **fields}, files=files, headers=JSON)

    def close(self, number: str, why: str) -> Any:
        """Close a job as its page shows it now."""
        seen = re.search(r'name="seen_at" value="(\d+)"', self.get_page(f"/job/{number}/close"))
        return self.send(f"/job/{number}/close", why=why, seen_at=seen[1] if seen else "0")

    def answer(self, job: Job | str, question: str, seen_at: int, **fields: str) -> Any:
        number = job if isinstance(job, str) else job.number
        return self.send(f"/job/{number}/question/{question}", seen_at=str(seen_at), **fields)


def another(client: TestClient, name: str, role: Role = "clerk") -> Browser:
    """A second person at the same office."""
    fresh = TestClient(client.app, base_url=str(client.base_url), raise_server_exceptions=False)
    return Browser(fresh, name, role)


def questions(store: Store, number: str = "job-1") -> tuple[Job, list[Question], list[Question]]:
    """The job, its questions for the office, and those for the technician."""
    job = job_of(store, number)
    sheet = sheet_of(store, job.head)
    found = open_questions(job, sheet)
    return job, [q for q in found if not reserved_in(q, sheet)], [q for q in found if reserved_in(q, sheet)]


@contextmanager
def office(store: Store, person: Person | None = Person("Ines Pell", "clerk")) -> Iterator[TestClient]:  # noqa: B008 - frozen, never changed
    """Run the application over a store, with its threads."""
    with TestClient(build(store, person), base_url=ADDRESS, raise_server_exceptions=False) as client:
        yield client


@contextmanager
def serving(home: Path, *options: str, port: int = 0) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """Run ``sayback office`` as a process of its own and give its address."""
    command = [sys.executable, "-c", "from front.cli import main; main()", "office", "--port", str(port), *options]
    surroundings = {**os.environ, "SAYBACK_HOME": str(home), "OMP_NUM_THREADS": "1", "SAYBACK_BY": "Ines Pell"}
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=surroundings)
    try:
        assert process.stderr is not None
        line = process.stderr.readline()
        found = re.search(r"http://\S+?(?=/ )", line)
        assert found, line + process.stderr.read()
        yield found[0], process
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        assert process.stderr is not None
        process.stderr.close()


def until(true: Any, seconds: float = 30.0) -> None:
    """Wait until something is true."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not come true in time"
        time.sleep(0.05)
