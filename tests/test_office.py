"""The office's page without a browser: what is shown, what forms do, what is refused, and that nothing is lost."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from front.office import desk as desk_module
from jobs import fold as fold_module
from jobs.add import Typed, add
from jobs.book import job_of, new_job
from jobs.decisions import answer
from jobs.fold import Job
from jobs.journal import Draft, Told
from jobs.senses import senses
from jobs.store import Store
from jobs.summary import Summaries
from jobs.verify import verify
from tests.office import Browser, another, office, questions

pytestmark = pytest.mark.slow


JOBS = {1: {"readings": 30, "questions": 4, "reserved": 1}, 2: {"readings": 12, "questions": 2}}
"""What the store of these tests holds: see conftest.py."""


def test_what_is_kept_in_memory_is_what_the_journal_tells(store: Store, clerk: Browser) -> None:
    job, mine, _ = questions(store)
    assert clerk.answer(job, mine[0].id, job.position, choose="1").status_code == 200
    kept = job_of(store, "job-1")
    assert fold_module._fold(store.entries("job-1")) == kept
    with Store(store.home) as fresh:
        assert fresh.entries("job-1") == store.entries("job-1")
    # A journal that was exchanged for another is read anew, whatever was known of it.
    known = store.entries("job-1")
    with sqlite3.connect(store.home / "book.sqlite") as book:
        book.execute("update entries set hash = 'x' where job = 'job-1' and seq = ?", (known[-1].seq,))
    assert store.entries("job-1")[-1].hash == "x"


# -- showing -----------------------------------------------------------------------------------------------------------


def test_the_job_shows_every_reading_with_value_and_how_it_was_settled(store: Store, clerk: Browser) -> None:
    html = clerk.get_page("/job/job-1")
    job = job_of(store, "job-1")
    for row in job.rows.values():
        assert f"/job/job-1/reading/{row.reading.id}" in html
    assert html.count("taken, no doubt stood") == sum(row.how == "taken unasked" for row in job.rows.values())
    assert html.count("asked: heard unclearly") == 5
    assert html.index("Questions") < html.index("The sheet") < html.index("Cautions")


def test_what_was_read_back_is_told_until_it_changes(store: Store, clerk: Browser) -> None:
    key = next(key for key, row in job_of(store, "job-1").rows.items() if row.how == "taken unasked")
    assert "read back" not in clerk.get_page("/job/job-1")
    store.append("job-1", [Draft(Told(kind="said", text="Got it.", readings=(key,)))])
    assert clerk.get_page("/job/job-1").count("taken, no doubt stood; read back") == 1


def test_the_list_is_searched_sorted_and_counts_what_is_open(store: Store, clerk: Browser) -> None:
    store_page = clerk.get_page("/?q=harrowmere")
    assert "Harrowmere" in store_page
    assert "Tidewick" not in store_page
    assert "No job has all these words" in clerk.get_page("/?q=%25")
    up = clerk.get_page("/?sort=site&way=up")
    assert up.index("Harrowmere") < up.index("Tidewick")
    assert clerk.get("/?sort=words;drop").status_code == 400
    assert "Page" not in clerk.get_page("/?page=999999")


def test_a_name_with_markup_is_shown_and_not_run(tmp_path: Path) -> None:
    with Store(tmp_path / "home") as store:
        new_job(store, sheet="gas-boiler-start-up", site="<script>alert(1)</script>", technician="A & B", units="us")
        with office(store) as client:
            html = Browser(client).get_page("/job/job-1")
    assert "<script>alert" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html


def test_the_summary_is_made_again_from_the_journals(store: Store) -> None:
    first = Summaries(store)
    first.catch_up()
    before = first.page()
    first.close()
    for file in store.home.glob("summary.sqlite*"):
        file.unlink()
    second = Summaries(store)
    assert second.page().jobs == ()
    second.catch_up()
    assert second.page() == before
    job, mine, _ = questions(store)
    answer(store, "job-1", mine[0], asked_at=job.position, by="Ada", how="cannot tell")
    second.catch_up()
    row = next(one for one in second.page().jobs if one.number == "job-1")
    assert (row.desk, row.questions) == (3, 4)
    second.close()


def test_the_list_goes_on_where_a_job_cannot_be_read_and_heals(store: Store) -> None:
    for file in store.home.glob("summary.sqlite*"):
        file.unlink()
    sha256 = job_of(store, "job-2").head.sheet_sha256
    path = store.evidence.path(sha256)
    kept = path.read_bytes()
    path.chmod(0o600)
    path.write_bytes(kept + b"\n")
    with office(store) as client:
        html = Browser(client).get_page("/")
        told = client.get("/job/job-2", headers={"accept": "text/html"})
    assert "cannot be read" in html
    assert told.status_code == 503
    assert "sayback verify" in told.text
    path.write_bytes(kept)
    with office(store) as client:
        assert "cannot be read" not in Browser(client).get_page("/")


@pytest.mark.parametrize("path", ["/job/nothing", "/job/job-1/reading/nothing", "/nowhere", "/job/../../etc/passwd"])
def test_what_is_not_there_is_told_on_a_page(clerk: Browser, path: str) -> None:
    answered = clerk.get(path)
    assert answered.status_code == 404
    assert "<h1>Not here</h1>" in answered.text


# -- answering ---------------------------------------------------------------------------------------------------------


def test_a_question_is_answered_and_the_next_one_comes(store: Store, clerk: Browser) -> None:
    job, mine, _ = questions(store)
    answered = clerk.answer(job, mine[0].id, job.position, choose="2")
    assert answered.status_code == 200
    assert f"/job/job-1/question/{mine[1].id}?done=job-1." in answered.json()["go"]
    row = job_of(store, "job-1").rows[mine[0].readings[0]]
    assert (row.reading.value, row.how, row.by) == (mine[0].candidates[1].value, "answered", "Ines Pell")
    html = clerk.get_page(answered.json()["go"])
    assert "Ines Pell answered" in html
    assert 'data-key="u"' in html


def test_without_a_script_the_form_goes_on_by_itself(store: Store, clerk: Browser) -> None:
    job, mine, _ = questions(store)
    path = f"/job/job-1/question/{mine[0].id}"
    fields = {"token": clerk.token, "seen_at": str(job.position), "choose": "1"}
    answered = clerk.client.post(path, data=fields, headers={"accept": "text/html"}, follow_redirects=False)
    assert answered.status_code == 303
    assert mine[1].id in answered.headers["location"]


@pytest.mark.parametrize("typed", ["9,30", "٩.٣", "1e400", "NaN", "=HYPERLINK(1)", "0x9", "9.3.1", "--9"])
def test_what_is_no_value_is_refused_in_a_sentence(store: Store, clerk: Browser, typed: str) -> None:
    job, mine, _ = questions(store)
    answered = clerk.answer(job, mine[1].id, job.position, typed=typed)
    assert answered.status_code in (409, 422)
    assert "type a value like 9.3" in answered.json()["error"]
    assert job_of(store, "job-1").position == job.position


def test_a_typed_value_with_a_unit_is_taken_as_typed(store: Store, clerk: Browser) -> None:
    job, mine, _ = questions(store)
    question = next(q for q in mine if q.quantities == ("ambient_temp",))
    assert clerk.answer(job, question.id, job.position, typed="21.0 °C").status_code == 200
    reading = job_of(store, "job-1").rows[question.readings[0]].reading
    assert (reading.value, reading.unit) == ("21.0", "Cel")


def test_an_answer_that_is_chosen_and_typed_is_neither(store: Store, clerk: Browser) -> None:
    job, mine, _ = questions(store)
    refused = clerk.answer(job, mine[0].id, job.position, choose="1", typed="71.5")
    assert refused.status_code == 409
    assert job_of(store, "job-1").position == job.position


def test_enter_in_a_field_presses_no_likely_answer(store: Store, clerk: Browser) -> None:
    # HTML, "implicit submission": Enter in a field presses the first submit button of the form that owns the field.
    _, mine, _ = questions(store)
    for form in clerk.get_page(f"/job/job-1/question/{mine[0].id}").split("<form ")[1:]:
        body = form.split("</form>")[0]
        assert 'name="choose"' not in body or 'type="text"' not in body
        assert 'name="choose"' not in body or 'name="typed"' not in body


def test_an_impossible_value_needs_a_second_thought(store: Store, clerk: Browser) -> None:
    job, mine, _ = questions(store)
    question = next(q for q in mine if q.quantities == ("co2",))
    refused = clerk.answer(job, question.id, job.position, typed="93")
    assert refused.status_code == 422
    assert "outside what CO2 can be" in refused.json()["error"]
    assert clerk.answer(job, question.id, job.position, typed="93", sure="yes").status_code == 200


def test_a_stale_answer_is_refused_with_what_changed_and_overwrites_nothing(store: Store, client: TestClient) -> None:
    ines, otto = Browser(client), another(client, "Otto Brand")
    job, mine, _ = questions(store)
    assert ines.answer(job, mine[0].id, job.position, choose="1").status_code == 200
    after = job_of(store, "job-1")
    refused = otto.answer(job, mine[0].id, job.position, choose="2")
    assert refused.status_code == 409
    assert "answered by Ines Pell" in refused.json()["error"]
    assert job_of(store, "job-1").rows == after.rows


def test_the_same_form_twice_answers_once(store: Store, clerk: Browser) -> None:
    job, mine, _ = questions(store)
    assert clerk.answer(job, mine[0].id, job.position, choose="1").status_code == 200
    assert clerk.answer(job, mine[0].id, job.position, choose="1").status_code == 409
    assert len(job_of(store, "job-1").answers) == 1


def test_undo_brings_the_question_back_and_only_once(store: Store, clerk: Browser) -> None:
    job, mine, _ = questions(store)
    go = clerk.answer(job, mine[0].id, job.position, choose="2").json()["go"]
    seq = go.rpartition(".")[2]
    back = clerk.send("/job/job-1/undo", seq=seq, back=f"/job/job-1/question/{mine[0].id}")
    assert back.status_code == 200
    assert [q.id for q in questions(store)[1]] == [q.id for q in mine]
    assert clerk.send("/job/job-1/undo", seq=seq).status_code == 409


def test_where_undo_goes_back_to_is_never_outside_the_job(store: Store, clerk: Browser) -> None:
    job, mine, _ = questions(store)
    seq = clerk.answer(job, mine[0].id, job.position, choose="2").json()["go"].rpartition(".")[2]
    went = clerk.send("/job/job-1/undo", seq=seq, back="//elsewhere.example/").json()["go"]
    assert went.startswith("/job/job-1?")


def test_next_goes_through_all_jobs_and_ends(store: Store, clerk: Browser) -> None:
    seen = []
    while "/question/" in (there := clerk.get("/next").headers["location"]):
        number, name = re.findall(r"/job/([^/]+)/question/([^/?]+)", there)[0]
        job = job_of(store, number)
        assert clerk.answer(job, name, job.position, choose="1").status_code == 200
        seen.append(number)
    assert seen == ["job-1"] * 4 + ["job-2"] * 2
    assert there == "/?note=none"


# -- what is the technician's ------------------------------------------------------------------------------------------


def test_what_is_reserved_can_only_be_sent_back(store: Store, clerk: Browser) -> None:
    job, _, (theirs,) = questions(store)
    html = clerk.get_page(f"/job/job-1/question/{theirs.id}")
    assert 'name="choose"' not in html
    for fields in ({"choose": "1"}, {"typed": "9"}, {"choose": "cannot tell"}, {"choose": "none"}):
        refused = clerk.answer(job, theirs.id, job.position, **fields)
        assert refused.status_code == 409
        assert "only be settled by the technician" in refused.json()["error"]
    assert job_of(store, "job-1").position == job.position
    assert clerk.send("/job/job-1/send", question=theirs.id, note="the second one").status_code == 200
    listed = clerk.get_page(f"/technician?name={job.head.technician}")
    assert theirs.text in listed
    assert "sent back by Ines Pell" in listed
    assert "the second one" in listed


def test_a_clerk_cannot_reach_a_reserved_reading_by_another_way(store: Store, clerk: Browser) -> None:
    job, _, (theirs,) = questions(store)
    key = theirs.readings[0]
    fields = {"seen_at": str(job.position), "value": "9", "why": "surely"}
    assert clerk.send(f"/job/job-1/reading/{key}", **fields).status_code == 409
    assert clerk.send(f"/job/job-1/reading/{key}", **fields, leave_out="yes").status_code == 409
    plain = next(k for k, row in job.rows.items() if row.reading.quantity == "ambient_temp")
    relabelled = clerk.send(f"/job/job-1/reading/{plain}", **fields, quantity="co", condition="high_fire", unit="[ppm]")
    assert relabelled.status_code == 409
    line = clerk.send("/job/job-1/line", line="Number one at high fire, CO is eighty two ppm.")
    assert line.status_code == 409
    assert "CO" in line.json()["error"]
    assert clerk.send("/job/job-1/not-applicable", quantity="co", condition="low_fire", why="no").status_code == 409
    assert clerk.send("/job/job-1/stop", stop="gas_smell", what="aired").status_code == 403
    assert job_of(store, "job-1").position == job.position


def test_the_technician_answers_what_is_theirs(store: Store, client: TestClient) -> None:
    job, _, (theirs,) = questions(store)
    marlow = another(client, job.head.technician, "technician")
    assert marlow.answer(job, theirs.id, job.position, choose="1").status_code == 200
    assert "by the technician" in marlow.get_page("/job/job-1")


def test_all_that_is_reserved_goes_back_at_once_and_can_be_taken_back(store: Store, clerk: Browser) -> None:
    html = clerk.get_page("/job/job-1")
    count = int(re.findall(r"(\d+) only \S+ \S+ can settle", html)[0])
    assert clerk.send("/job/job-1/send").status_code == 200
    assert len(job_of(store, "job-1").sent_back) == count
    assert clerk.send("/job/job-1/send").status_code == 409
    last = job_of(store, "job-1").sent_back[-1]
    assert clerk.send("/job/job-1/undo", seq=str(last.seq)).status_code == 200
    assert len(job_of(store, "job-1").sent_back) == count - 1


# -- changing ----------------------------------------------------------------------------------------------------------


def taken(job: Job, quantity: str = "efficiency") -> str:
    return next(k for k, row in job.rows.items() if row.reading.quantity == quantity and row.how == "taken unasked")


def test_a_change_needs_a_reason_and_leaves_its_history(store: Store, clerk: Browser) -> None:
    job = job_of(store, "job-1")
    key = taken(job)
    one = job.rows[key].reading
    fields = {
        "seen_at": str(job.position), "value": "88.8", "unit": one.unit, "quantity": one.quantity or "",
        "condition": one.condition or "", "appliance": one.appliance or "",
    }  # fmt: skip
    refused = clerk.send(f"/job/job-1/reading/{key}", **fields, why=" ")
    assert refused.status_code == 409
    assert "reason" in refused.json()["error"]
    assert clerk.send(f"/job/job-1/reading/{key}", **fields, why="misheard; played it twice").status_code == 200
    html = clerk.get_page(f"/job/job-1/reading/{key}")
    assert "misheard; played it twice" in html
    assert "changed by Ines Pell" in html
    assert f"{one.value} " in html


def test_a_stale_change_is_refused_with_what_changed(store: Store, client: TestClient) -> None:
    ines, otto = Browser(client), another(client, "Otto Brand")
    job = job_of(store, "job-1")
    key = taken(job)
    one = job.rows[key].reading
    fields = {"unit": one.unit, "condition": one.condition or "", "appliance": one.appliance or "", "why": "heard so"}
    at = str(job.position)
    assert ines.send(f"/job/job-1/reading/{key}", seen_at=at, value="88.8", **fields).status_code == 200
    refused = otto.send(f"/job/job-1/reading/{key}", seen_at=at, value="77.7", **fields)
    assert refused.status_code == 409
    assert "88.8 % was edited by Ines Pell" in refused.json()["error"]
    assert job_of(store, "job-1").rows[key].reading.value == "88.8"


def test_left_out_stays_in_the_history_and_can_be_taken_back(store: Store, clerk: Browser) -> None:
    job = job_of(store, "job-1")
    key = taken(job)
    left = clerk.send(f"/job/job-1/reading/{key}", seen_at=str(job.position), leave_out="yes", why="of another job")
    assert left.status_code == 200
    assert job_of(store, "job-1").rows[key].how == "left out"
    assert "left out by Ines Pell: of another job" in clerk.get_page("/job/job-1")
    seq = left.json()["go"].rpartition(".")[2]
    assert clerk.send("/job/job-1/undo", seq=seq).status_code == 200
    assert job_of(store, "job-1").rows[key].how == "taken unasked"


def test_an_empty_place_that_does_not_apply_needs_a_reason(store: Store, clerk: Browser) -> None:
    path = next(
        iter(re.findall(r'href="(/job/job-1/slot\?[^"]*quantity=vent_length[^"]*)"', clerk.get_page("/job/job-1")))
    )
    assert "not recorded yet" in clerk.get_page(path.replace("&amp;", "&"))
    place = {"quantity": "vent_length", "appliance": "number one"}
    assert clerk.send("/job/job-1/not-applicable", why="", **place).status_code == 409
    assert clerk.send("/job/job-1/not-applicable", why="open flue of the building", **place).status_code == 200
    assert [one.by for one in job_of(store, "job-1").not_applicable] == ["Ines Pell"]


# -- closing -----------------------------------------------------------------------------------------------------------


def test_a_job_with_something_open_closes_only_with_a_reason_and_opens_again(store: Store, clerk: Browser) -> None:
    refused = clerk.close("job-2", "")
    assert refused.status_code == 409
    assert "open" in refused.json()["error"]
    assert clerk.close("job-2", "the site is shut for good").status_code == 200
    job, mine, _ = questions(store, "job-2")
    assert job.closed is not None
    assert clerk.answer(job, mine[0].id, job.position, choose="1").status_code == 409
    assert clerk.send("/job/job-2/line", line="Nothing.").status_code == 409
    assert "closed" in clerk.get_page("/job/job-2")
    assert clerk.send("/job/job-2/reopen", why="").status_code == 409
    assert clerk.send("/job/job-2/reopen", why="a reading came in").status_code == 200
    assert job_of(store, "job-2").closed is None


def test_no_reason_closes_a_job_over_a_stop(tmp_path: Path) -> None:
    with Store(tmp_path / "home") as store:
        new_job(store, sheet="gas-boiler-start-up", site="Mill", technician="Ada", units="us")
        add(store, "job-1", [Typed("I can smell gas in here.")], senses=senses(), author="Ada")
        with office(store) as client:
            clerk = Browser(client)
            page = clerk.get_page("/job/job-1")
            refused = clerk.close("job-1", "we are done")
            ada = another(client, "Ada", "technician")
            stop = re.findall(r'name="stop" value="(\w+)"', ada.get_page("/job/job-1"))[0]
            assert (
                ada.send("/job/job-1/stop", stop=stop, what="aired, supplier called, made safe by them").status_code
                == 200
            )
            closed = clerk.close("job-1", "left to the supplier")
        assert page.index("First of all") < page.index("Questions")
        assert refused.status_code == 409
        assert "cannot be closed over a stop" in refused.json()["error"]
        assert closed.status_code == 200
        assert verify(store, "job-1").entries > 4


# -- keys --------------------------------------------------------------------------------------------------------------


def test_every_key_is_documented() -> None:
    pages = Path(desk_module.__file__).parent / "pages"
    used = set(re.findall(r'data-key="([^"{]+)"', "".join(one.read_text() for one in pages.glob("*.html"))))
    told = set(re.findall(r"<kbd>([^<]+)</kbd>", (pages / "keys.html").read_text()))
    assert used
    assert used <= told
