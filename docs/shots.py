"""python -m docs.shots: the pictures of the office's page and of the report in docs/, made anew from the samples' job.

It needs the store that ``script/try`` leaves under out/try, chromium, and poppler's pdftoppm. The samples' job stands
in it at the hours that its scenario tells, beside a few invented ones. Nothing in it is a real person or place.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

from PIL import Image
from playwright.sync_api import FloatRect, Page, sync_playwright

from bench.office_jobs import seed
from jobs import decisions
from jobs.add import Typed, add
from jobs.book import new_job, sheet_of
from jobs.findings import check_job
from jobs.journal import START, Draft, JobOpened, seal
from jobs.questions import open_questions
from jobs.reserve import send_back, waiting_for
from jobs.senses import senses
from jobs.store import Store
from jobs.summary import Summaries

CHROMIUM = "/usr/bin/chromium"
DOCS = Path(__file__).parent
STORE = DOCS.parent / "out" / "try" / "store"
SCENARIO = DOCS.parent / "samples" / "scenario.toml"
HIGHEST = 1400
"""Pixels; a longer page is cut there."""
CLERK = "Ines Pell"
ALL = 1000
"""Readings of a seeded job: more than there are places."""
STOPPED = (
    "Static inlet pressure is seven point two inches.",
    "Hold on, I can smell gas at the union. Shutting the valve.",
)


def main() -> int:
    """Make them."""
    if not (STORE / "book.sqlite").is_file():
        print("docs.shots needs the job of the samples: run script/try first.", file=sys.stderr)
        return 3
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        number = furnish(home)
        pictures_of_pages(home, number)
        picture_of_report(home, number, Path(folder))
    return 0


def furnish(home: Path) -> str:
    """Make a store with the samples' job, at the hours of its scenario, and some others; return its number."""
    told = tomllib.loads(SCENARIO.read_text(encoding="utf-8"))["job"]
    arrival, number = datetime.fromisoformat(told["arrival"]), f"job-{told['number'].rpartition('-')[2]}"
    with Store(home, clock=since(arrival - timedelta(days=3))) as store:
        seed(store, 2031, readings=ALL, questions=0, reserved=2)
    with Store(home, clock=since(arrival - timedelta(days=2))) as store:
        seed(store, 2040, readings=ALL, questions=0)
        decisions.close(store, "job-2040", by=CLERK, why="the vent is inspected in the spring")
    with Store(home, clock=since(arrival - timedelta(days=1, hours=2))) as store:
        site, technician, number_there = "Dunfallow Baths", "Ismay Cole", "job-2045"
        new_job(
            store, sheet="gas-boiler-start-up", units="us", site=site, technician=technician, number=number_there,
        )  # fmt: skip
        add(store, number_there, [Typed(one) for one in STOPPED], senses=senses(), author=technician)
    with Store(home, clock=since(arrival - timedelta(hours=20))) as store:
        seed(store, 2046, readings=ALL, questions=3)
    with Store(home, clock=since(arrival + timedelta(hours=3))) as store:
        taken_over(store, number, arrival)
        job = check_job(store, number)
        sheet = sheet_of(store, job.head)
        open_now = [one for one in job.findings if not one.superseded]
        waiting = waiting_for(job, sheet, open_questions(job, sheet), open_now)
        send_back(store, number, waiting[:3], by=CLERK, note="please look at the slip again")
        Summaries(store).catch_up()
    return number


def since(start: datetime) -> Callable[[], datetime]:
    """Return a clock that begins at ``start`` and goes on a second at each look."""

    def ticks() -> Iterator[datetime]:
        at = start
        while True:
            yield at
            at += timedelta(seconds=1)

    ticking = ticks()
    return lambda: next(ticking)


def taken_over(store: Store, number: str, arrival: datetime) -> None:
    """Put the samples' job into a store as if it had been opened on the day of its scenario."""
    with Store(STORE.parent / "store") as samples:
        (name,) = samples.numbers()
        entries = samples.entries(name)
        for file in (STORE / "evidence").rglob("*"):
            if file.is_file():
                store.evidence.keep_file(file)
    rows, last, technician = [], START, ""
    for entry in entries:
        body = entry.body
        if isinstance(body, JobOpened):
            changed = {"number": number, "created": arrival, "customer": "Quillfen Town"}
            body = JobOpened(head=body.head.model_copy(update=changed))
            technician = body.head.technician
        author = technician if entry.author == name else entry.author
        row = seal(Draft(body, author, entry.key), job=number, seq=entry.seq, at=store.clock(), prev=last)
        rows.append(row)
        last = row.hash
    store.adopt(number, rows)


def pictures_of_pages(home: Path, number: str) -> None:
    """Take a picture of each page of the office, as on a desk and as on a telephone in the dark."""
    command = [sys.executable, "-c", "from front.cli import main; main()", "office", "--port", "0"]
    surroundings = {**os.environ, "SAYBACK_HOME": str(home), "SAYBACK_BY": CLERK}
    office = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=surroundings, cwd=DOCS.parent)
    try:
        assert office.stderr is not None
        found = re.search(r"http://\S+?(?=/ )", office.stderr.readline())
        assert found, "the office did not start"
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
            for name, width, dark in (("", 1100, False), ("-phone-dark", 360, True)):
                context = browser.new_context(
                    base_url=found[0],
                    viewport={"width": width, "height": 800},
                    color_scheme="dark" if dark else "light",
                )
                shoot(context.new_page(), f"/job/{number}", name)
                context.close()
            browser.close()
    finally:
        office.terminate()
        office.wait()


def shoot(page: Page, job: str, ending: str) -> None:
    """Take a picture of each page."""
    page.goto(job)
    question = page.locator(".asks a").first.get_attribute("href") or job
    reading = page.locator("tr[data-sound] a[href*='/reading/']").first.get_attribute("href") or job
    page.goto(f"{job}/photos")
    where = page.locator("a[href*='/where/']").last.get_attribute("href") or job
    places = {
        "jobs": "/",
        "job": job,
        "question": question,
        "reading": reading,
        "transcript": f"{job}/transcript",
        "photos": f"{job}/photos",
        "where": where,
        "close": f"{job}/close",
        "history": f"{job}/history",
        "technician": "/technician?name=Marlow+Teague",
        "keys": "/keys",
    }
    for name, place in places.items():
        page.goto(place)
        page.wait_for_load_state("networkidle")
        size = page.evaluate("[innerWidth, document.documentElement.scrollHeight]")
        clip = FloatRect(x=0.0, y=0.0, width=float(size[0]), height=float(min(size[1], HIGHEST)))
        path = DOCS / f"office-{name}{ending}.png"
        page.screenshot(path=path, full_page=True, clip=clip)
        print(path.relative_to(DOCS.parent))


def picture_of_report(home: Path, number: str, folder: Path) -> None:
    """Put the first and the third page of the report side by side."""
    command = [sys.executable, "-c", "from front.cli import main; main()", "report", number, "--to", str(folder)]
    subprocess.run(command, check=True, env={**os.environ, "SAYBACK_HOME": str(home)}, stdout=subprocess.DEVNULL)
    subprocess.run(["pdftoppm", "-r", "80", "-png", folder / f"{number}.pdf", folder / "page"], check=True)
    pages = [Image.open(path) for path in sorted(folder.glob("page-*.png"))]
    chosen = [pages[0], pages[min(2, len(pages) - 1)]]
    width, height = chosen[0].size
    both = Image.new("RGB", (2 * width + 20, height), "#b9c2c6")
    for place, one in enumerate(chosen):
        both.paste(one, (place * (width + 20), 0))
    both.save(DOCS / "report.png", optimize=True)
    print("docs/report.png")


if __name__ == "__main__":
    sys.exit(main())
