"""python -m bench.office [--jobs 10000] [--seconds 5] [--no-clerk]

How quick the office's page is: the list with many jobs and a large job under wrk, beside an empty Starlette page on the
same machine in the same run; then a scripted clerk in a real browser clears 30 jobs, and every key is counted. Exit 1
where a bar is not met, 3 where wrk or chromium is missing.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.request import urlopen

from bench.office_jobs import seed
from jobs.journal import START, Draft, JobOpened, seal
from jobs.store import Store
from jobs.summary import Summaries

CHROMIUM = "/usr/bin/chromium"
CLERK_JOBS = 30
_EMPTY = (
    "import sys, uvicorn\n"
    "from starlette.applications import Starlette\n"
    "from starlette.responses import HTMLResponse\n"
    "from starlette.routing import Route\n"
    "app = Starlette(routes=[Route('/', lambda request: HTMLResponse('<p>empty'))])\n"
    "uvicorn.run(app, port=int(sys.argv[1]), log_level='error', access_log=False)\n"
)


@dataclass(frozen=True)
class Bar:
    """One measured figure and what it has to be."""

    name: str
    value: float
    bar: float
    at_most: bool
    unit: str = ""

    @property
    def met(self) -> bool:
        """Whether it is good enough."""
        return self.value <= self.bar if self.at_most else self.value >= self.bar

    def __str__(self) -> str:
        sign = "≤" if self.at_most else "≥"
        return f"{'met ' if self.met else 'NOT '} {self.name:<58} {self.value:9.3f} {self.unit:<3} {sign} {self.bar}"


def many(store: Store, count: int) -> None:
    """Open so many jobs that hold nothing but their head: copies of one, each with a chain of its own."""
    head = seed(store, 1_000_000, readings=0).head
    for number in range(count - len(store.heads())):
        changed = {"number": f"many-{number}", "site": f"{head.site} {number:05d}"}
        body = JobOpened(head=head.model_copy(update=changed))
        row = seal(Draft(body, head.technician), job=f"many-{number}", seq=1, at=store.clock(), prev=START)
        store.adopt(row.job, [row])


@contextmanager
def running(command: Sequence[str], home: Path) -> Iterator[subprocess.Popen[str]]:
    """Run a server as long as the block lasts."""
    surroundings = {**os.environ, "SAYBACK_HOME": str(home), "SAYBACK_BY": "Ines Pell"}
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=surroundings)
    try:
        yield process
    finally:
        process.terminate()
        process.wait()


@contextmanager
def office(home: Path) -> Iterator[str]:
    """Run ``sayback office`` and give its address."""
    with running(
        [sys.executable, "-c", "from front.cli import main; main()", "office", "--port", "0"], home
    ) as process:
        assert process.stderr is not None
        found = re.search(r"http://\S+?(?=/ )", process.stderr.readline())
        assert found, "the office did not start"
        yield found[0]


def wrk(address: str, connections: int, seconds: int) -> tuple[float, float]:
    """Return requests a second and the 95th percentile in milliseconds."""
    script = Path(__file__).with_name("office_wrk.lua")
    command = ["wrk", "-t1", f"-c{connections}", f"-d{seconds}s", "-s", str(script), address]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    found = dict(re.findall(r"(p95_ms|rate|bad)=([\d.]+)", told))
    if float(found["bad"]) > 0:
        raise SystemExit(f"{address} answered {found['bad']} times with something else than a page")
    return float(found["rate"]), float(found["p95_ms"])


def speed(home: Path, seconds: int) -> Iterator[Bar]:
    """Measure list and job page beside an empty page, with one connection and four."""
    port = _free_port()
    with running([sys.executable, "-c", _EMPTY, str(port)], home), office(home) as address:
        _wait(f"http://127.0.0.1:{port}/")
        _wait(f"{address}/job/job-500000")
        for connections in (1, 4):
            empty, _ = wrk(f"http://127.0.0.1:{port}/", connections, seconds)
            print(f"     empty Starlette page, {connections} connections: {empty:.0f} a second")
            listed, listed_p95 = wrk(f"{address}/", connections, seconds)
            searched, searched_p95 = wrk(f"{address}/?q=school+0042&sort=site", connections, seconds)
            job, job_p95 = wrk(f"{address}/job/job-500000", connections, seconds)
            told = f"{connections} connection{'s' if connections > 1 else ''}"
            print(
                f"     list {listed:.0f} a second, searched {searched:.0f} ({searched_p95:.1f} ms), job page {job:.0f}"
            )
            yield Bar(f"list, p95, {told}", listed_p95, 50, True, "ms")
            yield Bar(f"list, rate against the empty page, {told}", listed / empty, 0.08, False)
            yield Bar(f"job page, p95, {told}", job_p95, 80, True, "ms")
            yield Bar(f"job page, rate against the empty page, {told}", job / empty, 0.03, False)


def clerk(home: Path) -> Iterator[Bar]:
    """Let a scripted clerk clear the jobs in a browser, by keys alone, and count them."""
    from playwright.sync_api import sync_playwright

    keys = 0
    waits: list[float] = []
    with office(home) as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page()
        page.goto(f"{address}/")
        page.wait_for_selector("body[data-ready]")
        page.keyboard.press("n")
        keys += 1
        page.wait_for_url("**/question/**")
        while True:
            page.wait_for_selector("body[data-ready]")
            here = page.url
            page.keyboard.press("1" if "/question/" in here else "n")
            keys += 1
            begun = time.perf_counter()
            page.wait_for_function("here => location.href !== here && document.querySelector('h1') !== null", arg=here)
            if "/question/" in here and "/question/" in page.url:
                waits.append(1000 * (time.perf_counter() - begun))
            if "note=none" in page.url:
                break
        browser.close()
    with Store(home) as store:
        summaries = Summaries(store)
        rows = [summaries.refresh(f"job-{n}") for n in range(CLERK_JOBS)]
        summaries.close()
    yield Bar("questions left open", sum(row.desk for row in rows), 0, True)
    yield Bar("keys a job (6 questions)", keys / CLERK_JOBS, 30, True)
    yield Bar("keys a question", keys / (6 * CLERK_JOBS), 3, True)
    yield Bar("next question shown, median", statistics.median(waits), 150, True, "ms")
    yield Bar("next question shown, p95", sorted(waits)[int(0.95 * len(waits))], 150, True, "ms")


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def _wait(address: str) -> None:
    for _ in range(300):
        try:
            with urlopen(address, timeout=60) as answer:
                answer.read()
                return
        except OSError:
            time.sleep(0.1)
    raise SystemExit(f"{address} does not answer")


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, default=10_000)
    parser.add_argument("--seconds", type=int, default=5)
    parser.add_argument("--no-clerk", action="store_true", help="without the browser")
    options = parser.parse_args()
    for program in ("wrk", *([] if options.no_clerk else [CHROMIUM])):
        if shutil.which(program) is None:
            print(f"bench.office needs {program}; script/bootstrap test installs it.", file=sys.stderr)
            return 3
    bars: list[Bar] = []
    # In memory where there is such a place: the disk is not what is measured here.
    place = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(dir=place) as folder:
        home = Path(folder) / "home"
        with Store(home) as store:
            if not options.no_clerk:
                for number in range(CLERK_JOBS):
                    seed(store, number, readings=60, questions=6)
                bars += _told(clerk(home))
            large(store)
            begun = time.perf_counter()
            many(store, options.jobs)
            print(f"     {len(store.heads())} jobs opened in {time.perf_counter() - begun:.1f} s")
            begun = time.perf_counter()
            summaries = Summaries(store)
            while summaries.catch_up(500):
                pass
            summaries.close()
            print(f"     their list made from the journals in {time.perf_counter() - begun:.1f} s")
        bars += _told(speed(home, options.seconds))
    return 0 if all(bar.met for bar in bars) else 1


def large(store: Store) -> None:
    """Make the job of the bar: 200 readings, a journal of 400 entries."""
    seed(store, 500_000, readings=200, questions=6)


def _told(bars: Iterator[Bar]) -> list[Bar]:
    made = []
    for bar in bars:
        print(bar, flush=True)
        made.append(bar)
    return made


if __name__ == "__main__":
    sys.exit(main())
