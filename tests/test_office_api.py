"""The interface for programs, against its own description: schemathesis sends what fits it and what does not."""

from __future__ import annotations

from typing import Any

import hypothesis
import jsonschema
import pytest
import schemathesis
from starlette.testclient import TestClient

from front.office.api import description
from front.office.app import build
from front.office.people import Person
from jobs.book import job_of
from jobs.store import Store
from tests.office import ADDRESS, Browser, office

pytestmark = pytest.mark.slow


JOBS = {1: {"readings": 12, "questions": 2, "reserved": 1}}
"""What the store of these tests holds: see conftest.py."""


def test_the_description_is_one() -> None:
    described = description()
    assert described["openapi"].startswith("3.1")
    for path in described["paths"].values():
        for operation in path.values():
            for answer in operation["responses"].values():
                jsonschema.Draft202012Validator.check_schema(answer["content"]["application/json"]["schema"])


def test_a_program_reads_and_answers(store: Store) -> None:
    with office(store) as client:
        Browser(client)
        token = client.get("/api/session").json()["token"]
        listed = client.get("/api/jobs").json()
        assert [one["number"] for one in listed["jobs"]] == ["job-1"]
        job = client.get("/api/jobs/job-1").json()
        mine = [one for one in job["questions"] if one["id"] not in job["reserved"]]
        (theirs,) = job["reserved"]
        given = {"question": mine[0]["id"], "seen_at": job["journal"]["entries"], "choose": 2}
        there = "/api/jobs/job-1/answers"
        assert client.post(there, json=given).status_code == 403
        answered = client.post(there, json=given, headers={"x-form-token": token})
        assert answered.status_code == 200
        assert mine[0]["id"] not in answered.json()["questions"]
        again = client.post(there, json=given, headers={"x-form-token": token})
        assert again.status_code == 409
        assert again.json()["error"]
        refused = client.post(there, json={**given, "question": theirs}, headers={"x-form-token": token})
        assert refused.status_code == 403
    assert [one.by for one in job_of(store, "job-1").answers] == ["Ines Pell"]


@pytest.mark.parametrize(
    ("method", "path"), [("GET", "/api/jobs"), ("GET", "/api/jobs/{number}"), ("POST", "/api/jobs/{number}/answers")]
)
def test_nothing_that_is_sent_is_a_fault_of_ours(store: Store, method: str, path: str) -> None:
    app = build(store, Person("Ines Pell", "clerk"))
    operation = schemathesis.openapi.from_dict(description())[path][method]
    with TestClient(app, base_url=ADDRESS, raise_server_exceptions=False) as client:
        client.get("/", headers={"accept": "text/html"})
        token = client.get("/api/session").json()["token"]

        @hypothesis.settings(
            max_examples=60,
            deadline=None,
            database=None,
            derandomize=True,
            suppress_health_check=list(hypothesis.HealthCheck),
        )
        @hypothesis.given(case=operation.as_strategy())
        def sent(case: schemathesis.Case[Any]) -> None:
            given = case.as_transport_kwargs(base_url=ADDRESS)
            headers = {**dict(given.get("headers") or {}), "x-form-token": token}
            body = {name: given[name] for name in ("params", "json", "data", "cookies") if given.get(name) is not None}
            body.pop("cookies", None)
            answered = client.request(given["method"], given["url"], headers=headers, **body)
            assert answered.status_code < 500 or answered.status_code == 503
            if answered.status_code >= 400:
                assert answered.json()["error"]

        sent()
