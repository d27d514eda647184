"""At the office's page: what stands on the sheet, what a question offers, and where an empty place leads."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from bench.office_jobs import tone
from front.office import read
from jobs.add import Typed, add
from jobs.book import NewAppliance, job_of, new_job
from jobs.journal import Draft, EvidenceAdded, Heard, HeardAll, Operated
from jobs.senses import senses
from jobs.store import Store
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Evidence, Hypothesis, MadeBy, Utterance
from schemas.readings import Alternative, Reading, Record, Source
from tests.office import Browser, another, office, questions, until

pytestmark = pytest.mark.slow

JOBS = {1: {"readings": 30, "questions": 2, "reserved": 1}, 2: {"readings": 12, "questions": 2}}
TURNED = (
    "High fire now. CO2 is ten point nine.",
    "Quarter turn clockwise on the high fire screw.",
    "CO2 is nine point three.",
    "Flue temperature is about one hundred twelve.",
)


@pytest.fixture
def turned(tmp_path: Path) -> Iterator[tuple[Store, TestClient]]:
    """A job in which CO2 was outside as found and within as left, and a screw was turned between."""
    with Store(tmp_path / "turned") as store:
        boiler = NewAppliance("boiler", file="orrinvale-ov-240c")
        new_job(
            store, sheet="gas-boiler-start-up", site="Kiln", technician="Una Farrow", units="us", appliances=(boiler,)
        )
        add(store, "job-1", [Typed(line) for line in TURNED], senses=senses(), author="Una Farrow")
        with office(store) as client:
            yield store, client


def reading(store: Store, quantity: str, phase: str = "", number: str = "job-1") -> Reading:
    rows = job_of(store, number).rows.values()
    return next(r.reading for r in rows if r.reading.quantity == quantity and r.reading.phase in (phase, ""))


def line_of(html: str, key: str) -> str:
    """The line of the sheet of a reading, without tags."""
    found = next(row for row in html.split("<tr ") if f"/reading/{key}" in row)
    return " ".join(re.sub(r"<[^>]+>", " ", found).split())


def test_as_found_is_judged_and_its_limit_stands_beside_it(turned: tuple[Store, TestClient]) -> None:
    store, client = turned
    html = Browser(client).get_page("/job/job-1")
    found, left = reading(store, "co2", "before"), reading(store, "co2", "after")
    assert (found.value, left.value) == ("10.9", "9.3")
    assert "outside" in line_of(html, found.id)
    assert "within" in line_of(html, left.id)
    # The limit's source reads as in the report.
    assert re.search(r"\d to \d[\d.]* % *, maker, p\. \d", line_of(html, found.id))
    page = Browser(client).get_page(f"/job/job-1/reading/{found.id}")
    assert "outside" in page
    assert "as found: " in page


def test_screw_way_and_about_are_changed_at_the_page(turned: tuple[Store, TestClient]) -> None:
    store, client = turned
    una = another(client, "Una Farrow", "technician")
    move = next(r.reading for r in job_of(store, "job-1").rows.values() if r.reading.note)
    html = una.get_page(f"/job/job-1/reading/{move.id}")
    assert '<option value="high_fire_screw" selected>' in html
    assert '<option value="cw" selected>' in html
    fields = {
        "seen_at": str(job_of(store, "job-1").position), "why": "it was the other way", "value": move.value,
        "unit": move.unit, "condition": move.condition or "", "phase": move.phase, "appliance": move.appliance or "",
    }  # fmt: skip
    there = f"/job/job-1/reading/{move.id}"
    assert una.send(there, **fields, screw="high_fire_screw", way="").status_code == 422
    assert una.send(there, **fields, screw="high_fire_screw", way="ccw").status_code == 200
    assert job_of(store, "job-1").rows[move.id].reading.note == "high_fire_screw ccw"
    flue = reading(store, "flue_temp", "after")
    assert flue.approx
    fields |= {"value": flue.value, "unit": flue.unit, "phase": "after", "condition": "high_fire"}
    fields |= {"appliance": flue.appliance or "", "seen_at": str(job_of(store, "job-1").position)}
    there = f"/job/job-1/reading/{flue.id}"
    assert 'name="about" value="yes" checked' in una.get_page(there)
    assert una.send(there, **fields, about_told="yes", about="yes").status_code == 200
    assert job_of(store, "job-1").rows[flue.id].reading.approx
    fields["seen_at"] = str(job_of(store, "job-1").position)
    assert una.send(there, **fields, about_told="yes").status_code == 200
    assert not job_of(store, "job-1").rows[flue.id].reading.approx


def test_a_turn_without_its_way_is_answered_with_screw_and_way(tmp_path: Path) -> None:
    with Store(tmp_path / "home") as store:
        new_job(store, sheet="gas-boiler-start-up", site="Kiln", technician="Una Farrow", units="us")
        line = "High fire now. Quarter turn on the high fire screw."
        add(store, "job-1", [Typed(line)], senses=senses(), author="Una Farrow")
        with office(store) as client:
            job, mine, theirs = questions(store)
            question = (*mine, *theirs)[0]
            una = Browser(client, "Una Farrow", "technician")
            html = una.get_page(f"/job/job-1/question/{question.id}")
            assert "0.25 turn high-fire screw cw" in html
            assert "0.25 turn high-fire screw ccw" in html
            assert una.answer(job, question.id, job.position, choose="2").status_code == 200
        assert [r.reading.note for r in job_of(store, "job-1").rows.values()] == ["high_fire_screw ccw"]


def test_what_cannot_be_has_no_key(tmp_path: Path) -> None:
    with Store(tmp_path / "home") as store:
        new_job(store, sheet="gas-boiler-start-up", site="Kiln", technician="Una Farrow", units="us")
        add(store, "job-1", [Typed("High fire now. Efficiency is nine hundred.")], senses=senses(), author="Una Farrow")
        with office(store) as client:
            _, mine, theirs = questions(store)
            question = next(q for q in (*mine, *theirs) if "cannot be" in q.text)
            impossible = question.candidates[0]
            html = Browser(client, "Una Farrow", "technician").get_page(f"/job/job-1/question/{question.id}")
    assert impossible.value == "900"
    assert 'name="choose" value="1"' not in html
    assert "is outside what it can be" in html


def test_nobody_can_tell_is_not_shown_as_a_value(store: Store, clerk: Browser) -> None:
    job, mine, _ = questions(store)
    assert clerk.answer(job, mine[0].id, job.position, choose="cannot tell").status_code == 200
    key = mine[0].readings[0]
    assert "not told" in (told := line_of(clerk.get_page("/job/job-1"), key))
    assert "left out by Ines Pell: nobody can tell" in told
    value = job.rows[key].reading.value
    assert re.search(rf"<s>{value}[^<]*</s>", clerk.get_page("/job/job-1"))


def test_every_item_of_a_technicians_list_leads_somewhere(store: Store, client: TestClient) -> None:
    clerk = Browser(client)
    job, _, _ = questions(store)
    name = job.head.technician
    html = clerk.get_page(f"/technician?name={name}")
    items = re.findall(r"<li>(.*?)</li>", html, re.S)
    assert len(items) > 5
    assert all("<a href=" in item for item in items)
    assert html.count("Not sent back, and only theirs to settle") == len(re.findall("<section", html))
    assert "2026" in html
    marlow = another(client, name, "technician")
    slot = next(item for item in re.findall(r'href="(/job/job-1/slot\?[^"]*)"', html) if "quantity=co&" in item)
    # The office cannot give it, and is not offered the field.
    assert 'name="line"' not in clerk.get_page(slot.replace("&amp;", "&"))
    page = marlow.get_page(slot.replace("&amp;", "&"))
    begun = re.findall(r'name="line" value="([^"]*)"', page)[0]
    assert begun.endswith("CO is ")
    assert marlow.send("/job/job-1/line", line=f"{begun}seventy six.").status_code == 200
    co = [r.reading for r in job_of(store, "job-1").rows.values() if r.reading.quantity == "co"]
    assert "76" in {one.value for one in co}


def test_a_technicians_list_that_is_cut_says_how_much_more_there_is(
    store: Store, clerk: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = job_of(store, "job-1").head.technician
    assert "more job" not in clerk.get_page(f"/technician?name={name}")
    monkeypatch.setattr(read, "_MOST_JOBS", 1)
    new_job(store, sheet="gas-boiler-start-up", site="Kiln", technician=name, units="us")
    until(lambda: "And 1 more job: " in clerk.get_page(f"/technician?name={name}"))


def test_the_close_page_leads_to_what_is_open_and_has_keys(store: Store, clerk: Browser) -> None:
    html = clerk.get_page("/job/job-1/close")
    assert 'href="/job/job-1#h-ask"' in html
    assert 'href="/job/job-1#h-sheet"' in html
    assert {"c", "s", "o"} <= set(re.findall(r'data-key="(\w)"', html))


def test_a_printed_page_names_its_job_and_the_day(store: Store, clerk: Browser) -> None:
    html = clerk.get_page("/job/job-1")
    printed = re.findall(r'<p class="print-only">(.*?)</p>', html)[0]
    job = job_of(store, "job-1")
    assert f"Job {job.number}, {job.head.site}" in printed
    assert job.head.created.strftime("%Y-%m-%d") in printed
    assert job.hash[:16] in printed


def given(store: Store, *readings: Reading) -> None:
    """Put readings into job-1 as if they had been heard in a recording of its own."""
    sha256, size = store.evidence.keep_bytes(tone())
    evidence = Evidence(sha256=sha256, kind="sound", media_type="audio/wav", name="both.wav", size=size)
    drafts = [Draft(EvidenceAdded(evidence=evidence, seconds=2.0))]
    for number, one in enumerate(readings):
        start, end = 0.2 + number, 0.8 + number
        source = Source(evidence=sha256, utterance=number, start=start, end=end, heard="so")
        said = (Hypothesis(text="so", mass=1.0),)
        utterance = Utterance(
            evidence=sha256, number=number, start=start, end=end, hypotheses=said,
            made_by=MadeBy(reader="test", version="1"),
        )  # fmt: skip
        record = Record(reading=one.model_copy(update={"source": source}))
        drafts.append(Draft(Heard(utterance=utterance)))
        drafts.append(Draft(Operated(evidence=sha256, number=number, ordinal=0, operation=record)))
    store.append("job-1", [*drafts, Draft(HeardAll(evidence=sha256, utterances=len(readings)))])


@pytest.fixture
def bare(tmp_path: Path) -> Iterator[tuple[Store, Browser]]:
    """A job without any reading, and a clerk."""
    with Store(tmp_path / "bare") as store:
        new_job(store, sheet="gas-boiler-start-up", site="Kiln", technician="Una Farrow", units="us")
        with office(store) as client:
            yield store, Browser(client)


def test_each_sound_of_a_question_has_a_key(bare: tuple[Store, Browser]) -> None:
    store, clerk = bare
    two = (Doubt(kind=DoubtKind.CONFLICT),)
    at = {"quantity": "flue_temp", "condition": "high_fire", "unit": "[degF]", "source": Source(evidence="0" * 64)}
    given(
        store,
        Reading(id="a", value="112", doubts=two, asked_with="b", **at),  # type: ignore[arg-type] # what both share
        Reading(id="b", value="120", doubts=two, asked_with="a", **at),  # type: ignore[arg-type] # what both share
    )
    _, (question,), _ = questions(store)
    html = clerk.get_page(f"/job/job-1/question/{question.id}")
    assert re.findall(r'data-key="(\w)" data-play="([\w-]+)"', html) == [("p", "sound-p"), ("o", "sound-o")]
    assert re.findall(r'<audio[^>]* id="([\w-]+)"', html) == ["sound-p", "sound-o"]


def test_where_nothing_is_known_the_value_is_typed_with_its_quantity(bare: tuple[Store, Browser]) -> None:
    store, clerk = bare
    what = (Doubt(kind=DoubtKind.QUANTITY_UNCLEAR),)
    given(
        store,
        Reading(
            id="a", quantity=None, condition=None, value="999999999", doubts=what, source=Source(evidence="0" * 64)
        ),
    )
    _, (question,), _ = questions(store)
    assert question.candidates == ()
    html = clerk.get_page(f"/job/job-1/question/{question.id}")
    assert re.findall(r'<input id="(\w+)" name="typed"[^>]* data-key="v">', html) == ["typed"]


def test_every_answer_says_why_it_is_offered(bare: tuple[Store, Browser]) -> None:
    store, clerk = bare
    heard = (Doubt(kind=DoubtKind.HEARD_UNCLEARLY),)
    one = Reading(
        id="a", quantity="flue_temp", condition="high_fire", value="112", unit="[degF]", doubts=heard,
        alternatives=(Alternative(value="120"),), source=Source(evidence="0" * 64),
    )  # fmt: skip
    given(store, one)
    _, (question,), _ = questions(store)
    assert question.candidates[1].why == ""
    html = clerk.get_page(f"/job/job-1/question/{question.id}")
    assert "<small>another way to hear it</small>" in html
    assert "<small></small>" not in html
