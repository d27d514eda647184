"""Who may do what at the office's page, and what it hands to strangers: nothing.

Headers and their values follow OWASP ASVS 5.0 (V3 web frontend, V6 authentication, V7 sessions; from memory of its
stored text) and RFC 6797/6265bis for cookies.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from front.office.app import build
from front.office.command import office as office_command
from front.office.people import Accounts, Gate
from jobs.book import job_of
from jobs.store import Store
from schemas.errors import WrongUse
from tests.office import ADDRESS, HTML, JSON, Browser

pytestmark = pytest.mark.slow

SECRET = "a long enough sentence"


JOBS = {1: {"readings": 12, "questions": 2}}
"""What the store of these tests holds: see conftest.py."""


# -- what every answer carries -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/", "/job/job-1", "/job/nothing", "/keys", "/me", "/office.css", "/api/jobs"])
def test_every_answer_says_what_a_browser_may_do_with_it(client: TestClient, path: str) -> None:
    headers = client.get(path, headers=HTML).headers
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert "server" not in headers


def test_no_page_needs_what_the_policy_refuses(client: TestClient) -> None:
    for path in ("/", "/job/job-1", "/job/job-1/transcript", "/job/job-1/history", "/keys", "/me", "/technicians"):
        html = client.get(path, headers=HTML).text
        assert " style=" not in html
        assert "<style" not in html
        assert " on" + "click=" not in html
        assert html.count("<script") == len(re.findall(r'<script src="/office.js\?\w+" defer></script>', html)) == 1


def test_the_cookie_is_for_this_site_and_no_script(client: TestClient) -> None:
    cookie = client.get("/", headers=HTML).headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie


# -- strangers ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["office.example", "127.0.0.1.example:8765", "10.0.0.8:8765", ""])
def test_another_name_for_this_machine_is_refused(client: TestClient, host: str) -> None:
    # A page elsewhere whose name is made to point at 127.0.0.1 sends its own name.
    answered = client.get("/", headers={"host": host})
    assert answered.status_code == 403
    assert "Quillfen" not in answered.text


@pytest.mark.parametrize(
    "headers",
    [{"origin": "http://elsewhere.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"}],
)
def test_a_form_sent_from_elsewhere_is_refused(client: TestClient, store: Store, headers: dict[str, str]) -> None:
    clerk = Browser(client)
    before = job_of(store, "job-1").position
    data = {"token": clerk.token, "why": "no"}
    answered = client.post("/job/job-1/close", data=data, headers=JSON | headers)
    assert answered.status_code == 403
    assert job_of(store, "job-1").position == before


@pytest.mark.parametrize("token", ["", "0" * 64, "é"])
def test_a_form_without_its_token_is_refused(client: TestClient, store: Store, token: str) -> None:
    clerk = Browser(client)
    clerk.token = token
    answered = clerk.send("/job/job-1/close", why="no", seen_at="9")
    assert answered.status_code == 403
    assert "load the page again" in answered.json()["error"]
    assert job_of(store, "job-1").closed is None


def test_a_token_of_another_session_is_refused(client: TestClient) -> None:
    mine = Browser(client)
    other = Browser(TestClient(client.app, base_url=ADDRESS), "Otto Brand")
    mine.token, other.token = other.token, mine.token
    assert mine.send("/job/job-1/close", why="no", seen_at="9").status_code == 403


def test_a_cookie_that_was_made_up_is_nobodys(client: TestClient) -> None:
    cookie = client.get("/", headers=HTML).cookies["sayback_office"]
    body, _, mark = cookie.rpartition(".")
    fresh = TestClient(client.app, base_url=ADDRESS, cookies={"sayback_office": f"{body}A.{mark}"})
    answered = fresh.get("/", headers=HTML)
    assert "set-cookie" in answered.headers
    assert answered.headers["set-cookie"].split(";")[0] != f"sayback_office={cookie}"


@pytest.mark.parametrize(
    "path",
    [
        "question/q-1",
        "reading/r",
        "undo",
        "send",
        "not-applicable",
        "close",
        "reopen",
        "line",
        "evidence",
        "forget",
        "where/0",
        "sign",
        "head",
    ],
)
def test_a_reader_changes_nothing(client: TestClient, store: Store, path: str) -> None:
    reader = Browser(client, "Rhea Moss", "reader")
    before = job_of(store, "job-1").position
    answered = reader.send(f"/job/job-1/{path}", seen_at="1", why="no", line="no")
    assert answered.status_code == 403
    assert "Rhea Moss is here as a reader" in answered.json()["error"]
    assert job_of(store, "job-1").position == before


# -- accounts ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def public(store: Store) -> Iterator[TestClient]:
    accounts = Accounts(store.home)
    accounts.put("Ines Pell", "clerk", SECRET)
    accounts.close()
    with TestClient(build(store, None, secure=True), base_url="https://office.example") as client:
        yield client


def log_in(client: TestClient, name: str = "Ines Pell", password: str = SECRET) -> int:
    html = client.get("/login", headers=HTML).text
    token = html.split('name="token" value="')[1][:64]
    data = {"token": token, "name": name, "password": password}
    return client.post("/login", data=data, headers=HTML, follow_redirects=False).status_code


@pytest.mark.parametrize(
    "path", ["/", "/job/job-1", "/api/jobs", "/job/job-1/export/json", "/next", "/me", "/api/session"]
)
def test_nobody_sees_anything_before_logging_in(public: TestClient, path: str) -> None:
    assert public.get(path, follow_redirects=False).status_code == 401
    sent_on = public.get(path, headers=HTML, follow_redirects=False)
    assert (sent_on.status_code, sent_on.headers["location"]) == (303, "/login")
    assert public.post("/job/job-1/close", data={"token": "0" * 64}).status_code == 401


def test_logging_in_and_out(public: TestClient) -> None:
    assert log_in(public, password="wrong wrong wrong") == 401
    assert log_in(public, name="Otto Brand") == 401
    assert log_in(public) == 303
    page = public.get("/", headers=HTML)
    assert "Ines Pell, clerk" in page.text
    assert public.get("/api/session").json()["role"] == "clerk"
    kept = public.cookies["sayback_office"]
    token = page.text.split('data-token="')[1][:64]
    assert public.post("/me", data={"token": token, "name": "Ada", "role": "technician"}).status_code == 403
    assert public.post("/logout", data={"token": token}, follow_redirects=False).status_code == 303
    public.cookies.clear()
    again = public.get("/api/session", headers={"cookie": f"sayback_office={kept}"})
    assert again.status_code == 401, "a session that was ended must not live on in a kept cookie"


def test_the_session_cookie_is_new_after_logging_in_and_only_for_https(public: TestClient) -> None:
    before = public.get("/login", headers=HTML).headers["set-cookie"]
    html = public.get("/login", headers=HTML).text
    data = {"token": html.split('name="token" value="')[1][:64], "name": "Ines Pell", "password": SECRET}
    after = public.post("/login", data=data, follow_redirects=False).headers["set-cookie"]
    assert "Secure" in before
    assert "Secure" in after
    assert before.split(";")[0] != after.split(";")[0]


def test_guessing_has_to_wait(public: TestClient) -> None:
    assert [log_in(public, password=f"guess number {n:04d}") for n in range(6)] == [401] * 5 + [429]
    assert log_in(public) == 429, "the right password has to wait too, or waiting tells that it is right"


def test_waiting_grows_and_ends() -> None:
    now = [0.0]
    gate = Gate(lambda: now[0])
    for _ in range(Gate.FREE):
        assert gate.wait("name") == 0.0
        gate.wrong("name")
    first = gate.wait("name")
    gate.wrong("name")
    assert gate.wait("name") > first > 0
    assert gate.wait("another") == 0.0
    now[0] += Gate.LONGEST
    assert gate.wait("name") <= 0.0
    gate.wrong("name")
    gate.right("name")
    assert gate.wait("name") <= 0.0


def test_passwords_are_kept_as_argon2id_and_sessions_as_hashes(store: Store) -> None:
    accounts = Accounts(store.home)
    accounts.put("Ines Pell", "clerk", SECRET)
    token = accounts.begin("Ines Pell", SECRET)
    assert token is not None
    accounts.close()
    kept = b"".join(one.read_bytes() for one in store.home.glob("accounts.sqlite*"))
    assert b"$argon2id$" in kept
    assert SECRET.encode() not in kept
    assert token.encode() not in kept
    for name in ("accounts.sqlite", "office.key"):
        assert stat.S_IMODE((store.home / name).stat().st_mode) == 0o600


def test_sessions_end_by_age_by_rest_and_with_the_password(store: Store) -> None:
    now = [1_000_000.0]
    accounts = Accounts(store.home, lambda: now[0])
    accounts.put("Ines Pell", "clerk", SECRET)

    def fresh() -> str:
        token = accounts.begin("Ines Pell", SECRET)
        assert token is not None
        return token

    token = fresh()
    now[0] += 2 * 3600 + 1
    assert accounts.whose(token) is None
    token = fresh()
    for _ in range(13):
        now[0] += 3600
        found = accounts.whose(token)
    assert found is None
    token = fresh()
    accounts.put("Ines Pell", "reader", SECRET + "!")
    assert accounts.whose(token) is None
    accounts.remove("Ines Pell")
    with pytest.raises(WrongUse, match="no account"):
        accounts.remove("Ines Pell")
    accounts.close()


@pytest.mark.parametrize("password", ["", "short", "x" * 1001])
def test_a_password_that_is_no_use_is_refused(store: Store, password: str) -> None:
    accounts = Accounts(store.home)
    with pytest.raises(WrongUse, match="at least 12"):
        accounts.put("Ines Pell", "clerk", password)
    accounts.close()


def test_beyond_loopback_it_wants_accounts_and_https(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SAYBACK_HOME", str(store.home))

    def start(**options: object) -> None:
        given = {"port": 0, "host": "0.0.0.0", "by": None, "role": "clerk", "cert": None, "key": None}
        office_command(**{**given, "behind_proxy": False, **options})  # type: ignore[arg-type] # what the command line gives

    with pytest.raises(WrongUse, match="everybody needs an account"):
        start()
    accounts = Accounts(store.home)
    accounts.put("Ines Pell", "clerk", SECRET)
    accounts.close()
    with pytest.raises(WrongUse, match="in the clear"):
        start()
    with pytest.raises(WrongUse, match="--as"):
        start(role="owner")


def test_a_person_has_a_name_that_can_be_printed(client: TestClient) -> None:
    clerk = Browser(client)
    for name in ("", "   ", "a" * 61, "a\x00b", "a\u202eb"):
        assert clerk.send("/me", name=name, role="clerk").status_code == 409
    assert clerk.send("/me", name="Ada", role="owner").status_code == 422
