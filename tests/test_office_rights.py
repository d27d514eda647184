"""At the office's page: whose word stands. Nobody of the office takes back a technician's, writes over a reading that
came meanwhile, or signs for the customer by their own name."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from jobs.add import Typed, add
from jobs.book import job_of, new_job
from jobs.decisions import edit
from jobs.journal import StopDealtWith
from jobs.senses import senses
from jobs.store import Store
from schemas.questions import Candidate
from tests.office import Browser, another, office, questions

pytestmark = pytest.mark.slow

JOBS = {1: {"readings": 12, "questions": 1, "reserved": 1}}


@pytest.fixture
def smelt(tmp_path: Path) -> Iterator[tuple[Store, TestClient]]:
    """A job with a stop, of the technician Ada."""
    with Store(tmp_path / "smelt") as store:
        new_job(store, sheet="gas-boiler-start-up", site="Mill", technician="Ada", units="us")
        add(store, "job-1", [Typed("I can smell gas in here.")], senses=senses(), author="Ada")
        with office(store) as client:
            yield store, client


def test_nobody_of_the_office_takes_back_what_a_second_technician_did(smelt: tuple[Store, TestClient]) -> None:
    store, client = smelt
    clerk, bo = Browser(client), another(client, "Bo Lind", "technician")
    stop = re.findall(r'name="stop" value="(\w+)"', bo.get_page("/job/job-1"))[0]
    assert bo.send("/job/job-1/stop", stop=stop, what="aired, supplier called").status_code == 200
    seq = next(one.seq for one in store.entries("job-1") if isinstance(one.body, StopDealtWith))
    refused = clerk.send("/job/job-1/undo", seq=str(seq))
    assert refused.status_code == 409
    assert "only the technician takes it back" in refused.json()["error"]
    assert f'value="{seq}"' not in clerk.get_page("/job/job-1/history")
    assert f'value="{seq}"' in bo.get_page("/job/job-1/history")
    assert len(job_of(store, "job-1").dealt_with) == 1
    # Not even one who was here as a technician and is now here as a clerk takes back what they did about a stop.
    again = another(client, "Bo Lind", "clerk")
    assert again.send("/job/job-1/undo", seq=str(seq)).status_code == 409


def test_reserved_answers_of_any_technician_stay(store: Store, client: TestClient) -> None:
    clerk, bo = Browser(client), another(client, "Bo Lind", "technician")
    job, _, (theirs,) = questions(store)
    seq = bo.answer(job, theirs.id, job.position, choose="1").json()["go"].rpartition(".")[2]
    refused = clerk.send("/job/job-1/undo", seq=seq)
    assert refused.status_code == 409
    assert "can only be settled by the technician" in refused.json()["error"]
    assert len(job_of(store, "job-1").answers) == 1


def test_what_is_not_reserved_is_taken_back_by_the_office_only_from_the_office(
    store: Store, client: TestClient
) -> None:
    ines, otto = Browser(client), another(client, "Otto Brand")
    bo = another(client, "Bo Lind", "technician")
    job, (mine,), _ = questions(store)
    seq = bo.answer(job, mine.id, job.position, choose="1").json()["go"].rpartition(".")[2]
    refused = ines.send("/job/job-1/undo", seq=seq)
    assert "Bo Lind said so" in refused.json()["error"]
    assert bo.send("/job/job-1/undo", seq=seq).status_code == 200
    job, (mine,), _ = questions(store)
    seq = otto.answer(job, mine.id, job.position, choose="1").json()["go"].rpartition(".")[2]
    assert f'value="{seq}"' in ines.get_page("/job/job-1/history")
    assert ines.send("/job/job-1/undo", seq=seq).status_code == 200


def test_an_author_nobody_knows_counts_as_a_technician(store: Store, clerk: Browser) -> None:
    job = job_of(store, "job-1")
    one = next(row.reading for row in job.rows.values() if row.reading.quantity == "ambient_temp")
    given = Candidate(
        reading=one.id, quantity="ambient_temp", condition="", value="19", unit=one.unit, appliance=one.appliance
    )
    edit(store, "job-1", given, by="Somebody at the command line", why="read again")
    seq = store.entries("job-1")[-1].seq
    assert clerk.send("/job/job-1/undo", seq=str(seq)).status_code == 409


def test_a_place_that_was_filled_meanwhile_is_not_noted_as_not_applying(store: Store, clerk: Browser) -> None:
    place = {"quantity": "flue_temp", "condition": "low_fire", "appliance": "number two"}
    words = "&amp;".join(f"{name}={place[name]}".replace(" ", "+") for name in ("appliance", "quantity", "condition"))
    path = next(p for p in re.findall(r'href="([^"]*/slot\?[^"]*)"', clerk.get_page("/job/job-1")) if words in p)
    assert "does not apply" in clerk.get_page(path.replace("&amp;", "&"))
    line = "Number two, low fire. Flue temperature is one hundred twenty two."
    add(store, "job-1", [Typed(line)], senses=senses(), author="Una")
    refused = clerk.send("/job/job-1/not-applicable", why="open flue", **place)
    assert refused.status_code == 409
    assert "not empty any more" in refused.json()["error"]
    assert "Flue temperature 122 °F (number two, low fire)" in refused.json()["error"]
    assert job_of(store, "job-1").not_applicable == ()


def test_the_customer_is_named_and_it_says_who_entered_it(store: Store, client: TestClient) -> None:
    clerk = Browser(client)
    html = clerk.get_page("/job/job-1/close")
    assert 'name="name" required' in html
    assert 'value="Ines Pell"' not in html
    seen = {"seen_at": str(job_of(store, "job-1").position), "role": "customer"}
    refused = clerk.send("/job/job-1/sign", name="ines  pell", **seen)
    assert refused.status_code == 409
    assert "by their own name" in refused.json()["error"]
    assert clerk.send("/job/job-1/sign", name="", **seen).status_code == 409
    assert clerk.send("/job/job-1/sign", name="Wren Hale", **seen).status_code == 200
    assert "Wren Hale</b> for the customer" in (html := clerk.get_page("/job/job-1/close"))
    assert "entered by Ines Pell" in html
    # For the office signs who sits here, whatever name is sent.
    assert clerk.send("/job/job-1/sign", name="Otto Brand", **(seen | {"role": "office"})).status_code == 200
    assert [one.body.name for one in job_of(store, "job-1").signed] == ["Wren Hale", "Ines Pell"]  # type: ignore[union-attr] # all of them signatures
