"""The office's page in a real browser: a clerk at the keyboard. Debian's chromium, opened as a person would open it.

Accessibility is judged by axe-core (from the package axe-playwright-python) against WCAG 2.2 A and AA.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import axe_playwright_python
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from bench.office_jobs import tone
from jobs.book import job_of
from jobs.store import Store
from tests.office import serving, until

pytestmark = pytest.mark.slow

CHROMIUM = "/usr/bin/chromium"
AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--mute-audio"])
        yield browser
        browser.close()


JOBS = {1: {"readings": 20, "questions": 3, "reserved": 1}, 2: {"readings": 14, "questions": 2}}
"""What the store of these tests holds: see conftest.py."""


@pytest.fixture
def home(tmp_path: Path, seeded: Path) -> Path:
    return Path(shutil.copytree(seeded, tmp_path / "home"))


@pytest.fixture
def address(home: Path) -> Iterator[str]:
    with serving(home) as (address, _):
        yield address


def opened(browser: Browser, address: str) -> Page:
    page = browser.new_context(base_url=address).new_page()
    page.set_default_timeout(15_000)
    return page


@pytest.fixture
def page(browser: Browser, address: str) -> Iterator[Page]:
    page = opened(browser, address)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda line: faults.append(line.text) if "Content Security Policy" in line.text else None)
    yield page
    page.context.close()
    assert faults == []


def press(page: Page, key: str) -> None:
    """Press a key once the page takes it: keys meant for the page before are let go for a quarter of a second."""
    page.wait_for_selector("body[data-ready]")
    page.keyboard.press(key)


def heading(page: Page) -> str:
    return page.locator("h1").inner_text()


def job(home: Path, number: str = "job-1"):  # type: ignore[no-untyped-def] # the job, for whatever a test looks at
    with Store(home) as store:
        return job_of(store, number)


def test_a_clerk_clears_all_jobs_by_keyboard_alone(page: Page, home: Path) -> None:
    page.goto("/")
    press(page, "n")
    asked = []
    for _ in range(3):
        page.wait_for_url("**/job-1/question/**")
        asked.append(heading(page))
        with page.expect_navigation():
            press(page, "1")
    # Nothing is left for the office in this job: its page comes, and n goes on to the next job.
    expect(page.locator("h2#h-ask")).to_be_visible()
    with page.expect_navigation():
        press(page, "t")  # what is the technician's goes back
    expect(page.locator("#told")).to_contain_text("sent back to Rowan Ashby")
    press(page, "n")
    page.wait_for_url("**/job-2/question/**")
    # Another value, typed.
    press(page, "v")
    page.keyboard.type("71 °F")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    with page.expect_navigation():
        press(page, "c")
    press(page, "n")
    page.wait_for_url("**/?note=none")
    assert len(set(asked)) == 3
    assert {row.how for row in job(home).rows.values()} == {"taken unasked", "answered", "open"}
    assert [row.reading.value for row in job(home, "job-2").rows.values() if row.how == "answered"] == ["71"]
    assert [row.how for row in job(home, "job-2").rows.values()].count("left out") == 1


def test_a_key_takes_back_what_was_just_done(page: Page, home: Path) -> None:
    page.goto("/next")
    first = heading(page)
    with page.expect_navigation():
        press(page, "2")
    assert heading(page) != first
    with page.expect_navigation():
        press(page, "u")
    page.goto("/next")
    assert heading(page) == first
    assert {row.how for row in job(home).rows.values()} == {"taken unasked", "open"}


def test_a_key_held_down_or_pressed_too_soon_answers_one_question_only(page: Page, home: Path) -> None:
    page.goto("/next")
    page.keyboard.press("1")
    page.keyboard.press("1")
    page.wait_for_timeout(300)
    assert len(job(home).answers) <= 1
    with page.expect_navigation():
        press(page, "1")
    answered = len(job(home).answers)
    page.evaluate("document.dispatchEvent(new KeyboardEvent('keydown', {key: '1', repeat: true, bubbles: true}))")
    page.wait_for_timeout(300)
    assert len(job(home).answers) == answered


def test_the_second_of_sound_plays_by_key(page: Page) -> None:
    page.goto("/next")
    with page.expect_response(lambda answer: answer.url.endswith("sound.wav")) as heard:
        press(page, "p")
    assert heard.value.headers["content-type"] == "audio/wav"
    until(lambda: page.evaluate("document.querySelector('audio').played.length") > 0)
    page.goto("/job/job-1")
    page.locator(".sheet [data-row][href*='/reading/']").first.focus()
    with page.expect_response(lambda answer: answer.url.endswith("sound.wav")):
        press(page, "p")


def test_the_lines_of_the_sheet_are_walked_by_key(page: Page, home: Path) -> None:
    page.goto("/job/job-1")
    press(page, "j")
    first = page.evaluate("document.activeElement.href")
    press(page, "ArrowDown")
    assert page.evaluate("document.activeElement.href") != first
    press(page, "k")
    assert page.evaluate("document.activeElement.href") == first
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    key = next(key for key, row in job(home).rows.items() if row.reading.quantity == "ambient_temp")
    page.locator(f".sheet a[href$='/reading/{key}']").focus()
    press(page, "e")
    page.wait_for_url("**/reading/**")
    expect(page.locator("#value")).to_be_focused()
    page.keyboard.press("Escape")
    press(page, "b")
    page.wait_for_url("**/job/job-1")


def test_two_clerks_do_not_overwrite_each_other(browser: Browser, page: Page, address: str, home: Path) -> None:
    page.goto("/next")
    question = page.url
    other = opened(browser, address)
    other.goto("/me")
    other.locator("#name").fill("Otto Brand")
    other.locator("main button").click()
    other.wait_for_url("**/")
    other.goto(question)
    with other.expect_navigation():
        press(other, "2")
    # The first one is told without asking, and answering all the same is refused with what changed.
    expect(page.locator("#told")).to_contain_text("Otto Brand answered", timeout=10_000)
    press(page, "1")
    expect(page.locator("#wrong")).to_contain_text("answered by Otto Brand")
    assert [one.by for one in job(home).answers] == ["Otto Brand"]
    press(page, "r")
    page.wait_for_url("**/job/job-1")
    other.context.close()


def test_nothing_is_lost_when_the_office_is_closed_in_the_middle_of_an_answer(browser: Browser, home: Path) -> None:
    with serving(home) as (address, _):
        page = opened(browser, address)
        page.goto("/next")
        press(page, "v")
        page.keyboard.type("71.5")
    page.keyboard.press("Enter")
    expect(page.locator("#wrong")).to_contain_text("What you typed is kept")
    assert page.locator("#typed").input_value() == "71.5"
    port = int(address.rpartition(":")[2])
    with serving(home, port=port):
        page.reload()
        assert page.locator("#typed").input_value() == "71.5"
        page.locator("#typed").focus()
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert [one.settled[0].value for one in job(home).answers] == ["71.5"]
        page.go_back()
        page.context.close()


def test_a_page_that_is_left_keeps_what_was_typed(page: Page) -> None:
    page.goto("/next")
    there = page.url
    page.locator("#typed").fill("70.2")
    page.goto("/keys")
    page.goto(there)
    assert page.locator("#typed").input_value() == "70.2"


def test_an_upload_is_read_while_the_page_lives_on(page: Page, home: Path, tmp_path: Path) -> None:
    sound = tmp_path / "note.wav"
    sound.write_bytes(tone(1.5))
    bad = tmp_path / "notes.txt"
    bad.write_text("no sound at all, only words")
    page.goto("/job/job-1")
    page.locator("#files").set_input_files([sound, bad])
    page.get_by_role("button", name="Upload").click()
    expect(page.locator("#reading")).to_contain_text("note.wav")
    press(page, "j")  # the page answers meanwhile
    expect(page.locator("#reading")).to_contain_text(
        "Not added: notes.txt is neither sound nor a picture", timeout=90_000
    )
    assert [one.evidence.name for one in job(home).filed] == ["talk.wav", "note.wav"]
    page.get_by_role("button", name="Throw it away").click()
    expect(page.locator("#reading")).not_to_contain_text("notes.txt")


def test_a_typed_line_becomes_readings_and_a_reserved_one_is_refused(page: Page, home: Path) -> None:
    page.goto("/job/job-1")
    page.locator("#line").fill("Number one at high fire, CO is eighty two ppm.")
    page.get_by_role("button", name="Add the line").click()
    expect(page.locator("#wrong")).to_contain_text("can only be given by the technician")
    assert page.locator("#line").input_value() != ""


def test_a_recording_is_moved_to_where_it_belongs_by_keyboard_and_back(page: Page, home: Path) -> None:
    page.goto("/job/job-1")
    page.locator(".sheet [data-row][href*='/reading/']").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/reading/**")
    press(page, "m")
    page.wait_for_url("**/where/**")
    press(page, "o")
    page.keyboard.type("job-2")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.type("another site")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    expect(page.locator("#told")).to_contain_text("moved talk.wav to job job-2: another site")
    assert job(home).filed == ()
    with page.expect_navigation():
        press(page, "u")
    assert [one.evidence.name for one in job(home).filed] == ["talk.wav"]
    expect(page.locator("#told")).to_contain_text("took back entry")


def test_the_workbook_is_downloaded(page: Page, tmp_path: Path) -> None:
    page.goto("/job/job-1")
    with page.expect_download() as download:
        page.get_by_role("link", name="XLSX").click()
    download.value.save_as(tmp_path / "job.xlsx")
    assert (tmp_path / "job.xlsx").read_bytes().startswith(b"PK")


def pages(page: Page) -> list[str]:
    page.goto("/job/job-1")
    found = {}
    for part in ("/question/", "/reading/", "/slot"):
        found[part] = page.locator(f"main a[href*='{part}']").first.get_attribute("href") or ""
    page.goto("/job/job-1/transcript")
    found["/where/"] = page.locator("main a[href*='/where/']").first.get_attribute("href") or ""
    fixed = ["", "/transcript", "/photos", "/history", "/close", "/head"]
    return [
        *("/", "/?q=nothing+at+all", "/keys", "/me", "/technicians", "/technician?name=Rowan+Ashby", "/job/none"),
        *(f"/job/job-1{one}" for one in fixed),
        *found.values(),
    ]


def violations(page: Page) -> list[str]:
    """Return what axe finds wrong with the page as it stands: the rule and the first element of each."""
    run = f"{AXE}; axe.run({{runOnly: {json.dumps(RULES)}}}).then(found => JSON.stringify(found.violations))"
    return [f"{one['id']}: {one['nodes'][0]['html']}" for one in json.loads(page.evaluate(run))]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_has_an_accessibility_fault_or_overflows_a_phone(browser: Browser, address: str, scheme: str) -> None:
    width = 360 if scheme == "dark" else 1100
    assert scheme in ("light", "dark")
    context: BrowserContext = browser.new_context(
        base_url=address,
        color_scheme="dark" if scheme == "dark" else "light",
        viewport={"width": width, "height": 800},
    )
    page = context.new_page()
    wrong = {}
    for path in pages(page):
        page.goto(path)
        found = violations(page)
        if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            found.append("wider than the window")
        if found:
            wrong[path] = found
    context.close()
    assert wrong == {}


def test_every_page_can_be_read_without_a_script(browser: Browser, address: str) -> None:
    context = browser.new_context(base_url=address, java_script_enabled=False)
    page = context.new_page()
    page.goto("/")
    page.locator("tbody a").first.click()
    assert page.locator(".sheet tr").count() > 20
    page.locator(".asks a").first.click()
    assert page.locator("button[name=choose]").count() > 2
    context.close()


# -- what was typed and not sent ---------------------------------------------------------------------------------------


def not_reserved(home: Path) -> str:
    rows = job(home).rows
    return f"/job/job-1/reading/{next(key for key, row in rows.items() if row.reading.quantity == 'ambient_temp')}"


def test_a_draft_says_that_it_was_not_sent_and_can_be_dropped(page: Page, home: Path) -> None:
    there = not_reserved(home)
    page.goto(there)
    stands = page.locator("#value").input_value()
    page.locator("#value").fill("1.1")
    page.locator("#phase").select_option("before")
    page.locator("[name=sure]").check()
    page.goto("/keys")
    page.goto(there)
    assert page.locator("#value").input_value() == "1.1"
    assert page.locator("#phase").input_value() == "before"
    assert page.locator("[name=sure]").is_checked()
    expect(page.locator(".unsent")).to_have_count(3)
    expect(page.locator("#value ~ .unsent")).to_contain_text(f"not sent yet; stands as {stands}")
    assert violations(page) == []
    for _ in range(3):
        page.locator(".unsent button").first.click()
    assert page.locator("#value").input_value() == stands
    assert not page.locator("[name=sure]").is_checked()
    page.reload()
    assert page.locator("#value").input_value() == stands
    expect(page.locator(".unsent")).to_have_count(0)


def test_a_draft_is_not_put_back_over_another_value(browser: Browser, page: Page, address: str, home: Path) -> None:
    there = not_reserved(home)
    page.goto(there)
    stood = page.locator("#value").input_value()
    page.locator("#value").fill("1.1")
    page.goto("/keys")
    other = opened(browser, address)
    other.goto(there)
    other.locator("#value").fill("2.2")
    other.locator("#why").fill("played it twice")
    other.locator("[name=sure]").check()
    with other.expect_navigation():
        other.get_by_role("button", name="Change it").click()
    other.context.close()
    page.goto(there)
    assert page.locator("#value").input_value() == "2.2"
    expect(page.locator(".unsent")).to_contain_text(f"“1.1” was never sent, and is not put back: it was over “{stood}”")


def test_the_reason_of_one_place_does_not_come_up_at_another(page: Page) -> None:
    page.goto("/job/job-1")
    slots = page.evaluate("[...document.querySelectorAll('.sheet a[href*=\"/slot?\"]')].map(each => each.href)")
    found = []
    for slot in slots:
        page.goto(slot)
        if page.locator("#why").count():
            found.append(slot)
        if len(found) == 2:
            break
    page.locator("#why").fill("an open flue")
    page.goto(found[0])
    assert page.locator("#why").input_value() == ""
    page.goto(found[1])
    assert page.locator("#why").input_value() == "an open flue"


def test_a_weighty_key_only_goes_there(page: Page, home: Path) -> None:
    page.goto("/job/job-1/close")
    press(page, "s")
    expect(page.locator("[data-key=s]")).to_be_focused()
    page.wait_for_timeout(200)
    assert job(home).signed == ()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert [one.body.name for one in job(home).signed] == ["Ines Pell"]
    press(page, "c")
    expect(page.locator("#why")).to_be_focused()
