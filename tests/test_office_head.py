"""At the office's page: site, customer and instruments are put right, with a reason, told and taken back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from jobs.book import job_of, new_job
from jobs.findings import check_job
from jobs.store import Store
from jobs.verify import verify
from schemas.job import Instrument
from tests.office import Browser, another, office

pytestmark = pytest.mark.slow


@pytest.fixture
def kiln(tmp_path: Path) -> Iterator[tuple[Store, TestClient]]:
    """A job with one instrument whose calibration had run out when it was opened."""
    analyser = Instrument(name="Marsh F2", kind="analyser", serial="77", due=date(2020, 1, 1))
    with Store(tmp_path / "home") as store:
        new_job(
            store, sheet="gas-boiler-start-up", site="Kiln Yrad", technician="Una Farrow", units="us",
            instruments=[analyser],
        )  # fmt: skip
        with office(store) as client:
            yield store, client


def fields(store: Store, **changed: str) -> dict[str, str]:
    one = {"name-0": "Marsh F2", "kind-0": "analyser", "serial-0": "77", "calibrated-0": "", "due-0": "2020-01-01"}
    return {"seen_at": str(job_of(store, "job-1").position), "site": "Kiln Yrad", "why": "misspelt"} | one | changed


def test_site_and_calibration_are_put_right_told_and_taken_back(kiln: tuple[Store, TestClient]) -> None:
    store, client = kiln
    clerk = Browser(client)
    assert 'value="2020-01-01"' in clerk.get_page("/job/job-1/head")
    assert any("Marsh F2" in one.text for one in check_job(store, "job-1").findings)
    right = {"site": "Kiln Yard", "calibrated-0": "2026-01-05", "due-0": "2099-01-05"}
    done = clerk.send("/job/job-1/head", **fields(store, **right))
    assert done.status_code == 200
    head = check_job(store, "job-1").head
    assert (head.site, head.instruments[0].due, head.technician) == ("Kiln Yard", date(2099, 1, 5), "Una Farrow")
    assert not any("Marsh F2" in one.text for one in check_job(store, "job-1").findings)
    assert "<h1>Kiln Yard</h1>" in clerk.get_page("/job/job-1")
    assert "Kiln Yard" in clerk.get_page("/?q=yard")
    history = clerk.get_page("/job/job-1/history")
    assert "changed the site from “Kiln Yrad” to “Kiln Yard”" in history
    assert "entered the analyser Marsh F2 77 calibrated 2026-01-05 due 2099-01-05: misspelt" in history
    seq = done.json()["go"].rpartition(".")[2]
    assert clerk.send("/job/job-1/undo", seq=seq).status_code == 200
    assert job_of(store, "job-1").head.site == "Kiln Yrad"
    assert verify(store, "job-1").entries >= 3


def test_an_instrument_is_added_and_taken_away(kiln: tuple[Store, TestClient]) -> None:
    store, client = kiln
    clerk = Browser(client)
    more = {"name-0": "", "name-1": "Ott P2", "kind-1": "manometer", "serial-1": "5"}
    assert clerk.send("/job/job-1/head", **fields(store, **more)).status_code == 200
    assert [one.name for one in job_of(store, "job-1").head.instruments] == ["Ott P2"]
    assert "took away the analyser Marsh F2" in clerk.get_page("/job/job-1/history")


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"why": " "}, "needs a reason"),
        ({"site": ""}, "where the job is"),
        ({"due-0": "1.2.2026", "site": "B"}, "a date is written like 2026-03-04"),
        ({"kind-0": "hammer"}, "An instrument is one of"),
        ({}, "Nothing was changed"),
    ],
)
def test_what_cannot_be_is_refused(kiln: tuple[Store, TestClient], changed: dict[str, str], told: str) -> None:
    store, client = kiln
    refused = Browser(client).send("/job/job-1/head", **fields(store, **changed))
    assert refused.status_code in (409, 422)
    assert told in refused.json()["error"]
    assert len(store.entries("job-1")) <= 2


def test_two_people_do_not_overwrite_each_other(kiln: tuple[Store, TestClient]) -> None:
    store, client = kiln
    clerk, other = Browser(client), another(client, "Otto Brand")
    seen = fields(store)
    assert other.send("/job/job-1/head", **(seen | {"site": "Kiln Yard"})).status_code == 200
    refused = clerk.send("/job/job-1/head", **(seen | {"customer": "A Bakery"}))
    assert refused.status_code == 409
    assert "Somebody else changed site" in refused.json()["error"]
    assert job_of(store, "job-1").head.customer == ""
