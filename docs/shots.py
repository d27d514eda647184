"""python docs/shots.py: the pictures of the office's page in docs/, made anew from the samples' own job.

It needs the store that ``script/try`` leaves under out/try, and chromium. Nothing in it is a real person or place.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

CHROMIUM = "/usr/bin/chromium"
DOCS = Path(__file__).parent
STORE = DOCS.parent / "out" / "try" / "store"
JOB = "/job/try"
HIGHEST = 1400
"""Pixels; a longer page is cut there."""


def main() -> int:
    """Make them."""
    if not (STORE / "book.sqlite").is_file():
        print("docs/shots.py needs the job of the samples: run script/try first.", file=sys.stderr)
        return 3
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        shutil.copytree(STORE, home)
        command = [sys.executable, "-c", "from front.cli import main; main()", "office", "--port", "0"]
        surroundings = {**os.environ, "SAYBACK_HOME": str(home), "SAYBACK_BY": "Ines Pell"}
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
                    shoot(context.new_page(), name)
                    context.close()
                browser.close()
        finally:
            office.terminate()
            office.wait()
    return 0


def shoot(page: Page, ending: str) -> None:
    """Take a picture of each page."""
    page.goto(JOB)
    question = page.locator(".asks a").first.get_attribute("href") or JOB
    reading = page.locator("tr[data-sound] a[href*='/reading/']").first.get_attribute("href") or JOB
    places = {
        "jobs": "/",
        "job": JOB,
        "question": question,
        "reading": reading,
        "transcript": f"{JOB}/transcript",
        "photos": f"{JOB}/photos",
        "technician": "/technician?name=Marlow+Teague",
        "keys": "/keys",
    }
    for name, place in places.items():
        page.goto(place)
        page.wait_for_load_state("networkidle")
        size = page.evaluate("[innerWidth, document.documentElement.scrollHeight]")
        clip = {"x": 0.0, "y": 0.0, "width": float(size[0]), "height": float(min(size[1], HIGHEST))}
        path = DOCS / f"office-{name}{ending}.png"
        page.screenshot(path=path, full_page=True, clip=clip)  # type: ignore[arg-type] # the four keys it wants
        print(path.relative_to(DOCS.parent))


if __name__ == "__main__":
    sys.exit(main())
