"""At the office's page: evidence goes where it belongs; what comes after closing or signing is told."""

from __future__ import annotations

import re

import pytest
from starlette.testclient import TestClient

from jobs.add import Typed, add
from jobs.book import job_of
from jobs.journal import MovedIn
from jobs.senses import senses
from jobs.store import Store
from tests.office import Browser, another, questions, until

pytestmark = pytest.mark.slow

JOBS = {1: {"readings": 12, "questions": 1}, 2: {"readings": 0}}
LINE = "Number one, high fire. CO2 is nine point one percent."


@pytest.fixture
def line(store: Store, clerk: Browser) -> str:
    """The hash of a line typed into job-1."""
    assert clerk.send("/job/job-1/line", line=LINE).status_code == 200
    return job_of(store, "job-1").filed[-1].sha256


def of_line(store: Store, number: str, sha256: str) -> list[tuple[str | None, str]]:
    rows = job_of(store, number).rows.values()
    return [(r.reading.appliance, r.reading.value) for r in rows if r.reading.source.evidence == sha256]


def test_a_line_is_moved_to_the_other_appliance_and_taken_back_by_key(store: Store, clerk: Browser, line: str) -> None:
    assert f"/job/job-1/where/{line}" in clerk.get_page("/job/job-1/transcript")
    html = clerk.get_page(f"/job/job-1/where/{line}")
    assert "CO2 9.1 %" in html
    there = f"/job/job-1/where/{line}"
    assert clerk.send(there, appliance="number two").json()["error"].startswith("A move needs a reason")
    moved = clerk.send(there, appliance="number two", why="the tags were mixed up")
    assert of_line(store, "job-1", line) == [("number two", "9.1")]
    told = clerk.get_page(moved.json()["go"])
    assert f"moved a typed line “{LINE}” to number two: the tags were mixed up" in told
    seq = re.search(r'name="seq" value="(\d+)"', told)
    assert seq
    assert clerk.send("/job/job-1/undo", seq=seq[1]).status_code == 200
    assert of_line(store, "job-1", line) == [("number one", "9.1")]


def test_a_line_is_moved_to_another_job_and_taken_back_from_there(store: Store, clerk: Browser, line: str) -> None:
    there = f"/job/job-1/where/{line}"
    moved = clerk.send(there, to="job-2", appliance="number two", why="another site")
    assert moved.status_code == 200
    assert of_line(store, "job-1", line) == []
    assert of_line(store, "job-2", line) == [("number two", "9.1")]
    gone = clerk.get(there)
    assert gone.status_code == 404
    assert "It was moved to job job-2" in gone.text
    assert f"moved a typed line “{LINE}” here from job job-1: another site" in clerk.get_page("/job/job-2/history")
    into = next(one.seq for one in store.entries("job-2") if isinstance(one.body, MovedIn))
    assert clerk.send("/job/job-2/undo", seq=str(into)).status_code == 200
    assert of_line(store, "job-1", line) == [("number one", "9.1")]
    assert of_line(store, "job-2", line) == []
    assert clerk.send(there, why="neither").json()["error"].startswith("Say which appliance")
    assert "has number one, number two" in clerk.send(there, to="job-2", appliance="no", why="x").json()["error"]


def test_an_answer_to_what_was_moved_meanwhile_is_refused_with_what_happened(
    store: Store, client: TestClient, clerk: Browser
) -> None:
    job, mine, _ = questions(store)
    sha256 = job.filed[0].sha256
    other = another(client, "Otto Brand")
    moved = other.send(f"/job/job-1/where/{sha256}", to="job-2", appliance="number one", why="another site")
    assert moved.status_code == 200, moved.text
    answered = clerk.answer(job, mine[0].id, job.position, choose="1")
    assert answered.status_code == 409
    assert job_of(store, "job-1").rows == {}


def test_what_comes_after_closing_is_kept_and_opens_the_job_again(store: Store, clerk: Browser) -> None:
    assert clerk.close("job-1", "the site is shut").status_code == 200
    assert "This job is closed" in clerk.get_page("/job/job-1")
    add(store, "job-1", [Typed(LINE)], senses=senses(), author="Rowan Ashby")
    job = job_of(store, "job-1")
    assert job.closed is None
    assert ("number one", "9.1") in of_line(store, "job-1", job.filed[-1].sha256)
    html = clerk.get_page("/job/job-1")
    assert "Ines Pell closed this job on" in html
    assert f"Since then Rowan Ashby added a typed line “{LINE}”." in html
    # The list hears of what other programs write within a second or two.
    until(lambda: "open again since it was closed" in clerk.get_page("/?q=job-1"))
    assert clerk.close("job-1", "seen").status_code == 200
    assert "Since then" not in clerk.get_page("/job/job-1")


def test_a_signature_names_the_record_and_what_changed_after_it(store: Store, client: TestClient) -> None:
    clerk = Browser(client)
    job = job_of(store, "job-1")
    seen = {"seen_at": str(job.position)}
    assert clerk.send("/job/job-1/sign", role="technician", name="Rowan Ashby", **seen).status_code == 409
    assert clerk.send("/job/job-1/sign", role="customer", name="Wren Hale", **seen).status_code == 200
    html = clerk.get_page("/job/job-1/close")
    assert job.hash[:16] in html
    assert "Nothing was changed after it." in html
    assert clerk.send("/job/job-1/line", line=LINE).status_code == 200
    html = clerk.get_page("/job/job-1/close")
    assert "Made after it:" in html
    assert f"Ines Pell added a typed line “{LINE}”" in html
    # What is signed is what was seen: the form from before the line is refused.
    late = clerk.send("/job/job-1/sign", role="office", name="Ines Pell", **seen)
    assert late.status_code == 409
    assert "has changed since it was shown" in late.json()["error"]
