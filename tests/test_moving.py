"""Evidence in the wrong job or under the wrong appliance: moved with its readings, by one entry, and moved back."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from jobs import decisions
from jobs.add import Typed, add
from jobs.book import NewAppliance, job_of, new_job, sheet_of
from jobs.bundle import pack, unpack
from jobs.fold import Job
from jobs.journal import Draft, MovedIn, MovedOut, MovedUnder, Reopened
from jobs.moving import move_back, move_to_job, move_under
from jobs.questions import open_questions
from jobs.senses import senses
from jobs.store import JournalMoved, Store
from jobs.verify import verify
from schemas.errors import WrongUse
from schemas.questions import Candidate

pytestmark = pytest.mark.slow

ONE = "Number one, high fire. CO2 is nine point one, O2 four point eight."
TWO = "Number two, high fire. CO2 is nine point three, O2 four point four."
LONE = "High fire now. CO2 is nine point two percent. CO is eighty-two."
STOP = "I can smell gas in here."


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "home") as store:
        for number in ("a", "b"):
            new_job(
                store,
                sheet="gas-boiler-start-up",
                site="Mill",
                technician="Ada",
                units="us",
                appliances=[NewAppliance(f"number {n}", (f"boiler {n}",)) for n in ("one", "two")],
                number=number,
            )
        new_job(store, sheet="gas-boiler-start-up", site="Baths", technician="Ada", units="us", number="lone")
        yield store


def say(store: Store, number: str, *lines: str) -> list[str]:
    """Type lines into a job, and return their hashes."""
    for line in lines:
        add(store, number, [Typed(line)], senses=senses(), author="Ada")
    return [one.sha256 for one in job_of(store, number).filed][-len(lines) :]


def rows(job: Job) -> set[tuple[str | None, str | None, str, str]]:
    return {(r.reading.appliance, r.reading.quantity, r.reading.value, r.how) for r in job.rows.values()}


def people(store: Store, number: str) -> list[str]:
    return [type(e.body).__name__ for e in store.entries(number) if e.author != "sayback"][1:]


def test_a_wrong_appliance_is_put_right_by_one_entry_and_back(store: Store) -> None:
    first, second = say(store, "a", ONE, "CO2 is nine point three now.")
    before = job_of(store, "a")
    job = move_under(store, "a", second, "number two", by="Ada", why="it was taken at number two")
    assert ("number two", "co2", "9.3", "taken unasked") in rows(job)
    # What it had replaced at number one stands again: it was another boiler's value.
    assert ("number one", "co2", "9.1", "taken unasked") in rows(job)
    assert people(store, "a").count("MovedUnder") == 1
    (row,) = [one for one in job.rows.values() if one.reading.source.evidence == second]
    assert "moved to number two" in [step.what for step in row.history]
    assert "it was taken at number two" in [step.why for step in row.history]
    (back,) = move_back(store, "a", _seq(store, "a", MovedUnder), by="Ada")
    assert rows(back) == rows(before)
    assert back.filed == before.filed
    verify(store, "a")
    assert first != second


def test_its_own_words_do_not_keep_evidence_under_the_appliance_that_it_names(store: Store) -> None:
    (sha256,) = say(store, "a", ONE)
    job = move_under(store, "a", sha256, "number two", by="Ada", why="the tags were mixed up")
    assert rows(job) == {
        ("number two", "co2", "9.1", "taken unasked"),
        ("number two", "o2", "4.8", "taken unasked"),
    }


def test_what_follows_is_not_drawn_along_to_the_other_appliance(store: Store) -> None:
    moved, later = say(store, "a", ONE, "Stack temperature is one hundred forty.")
    before = {r.reading.appliance for r in job_of(store, "a").rows.values() if r.reading.source.evidence == later}
    job = move_under(store, "a", moved, "number two", by="Ada", why="mixed up")
    after = [r for r in job.rows.values() if r.reading.source.evidence == later]
    assert before == {"number one"}
    assert after
    # Nothing but the moved line had told the appliance: it is asked, not taken over from it.
    assert all(r.how == "open" and r.reading.appliance != "number two" for r in after)


def test_a_wrong_job_is_put_right_with_one_entry_in_each_that_names_the_other(store: Store) -> None:
    kept, gone = say(store, "a", ONE, TWO)
    say(store, "b", ONE.replace("one", "nine"))
    files = sorted(path.name for path in (store.home / "evidence").rglob("*") if path.is_file())
    before = rows(job_of(store, "a")), rows(job_of(store, "b"))
    here, there = move_to_job(store, "a", gone, "b", by="Ada", why="another site")
    assert {one.sha256 for one in here.filed} == {kept}
    assert rows(here) == {row for row in before[0] if row[0] == "number one"}
    assert {row for row in before[0] if row[0] == "number two"} <= rows(there)
    out, into = _body(store, "a", MovedOut), _body(store, "b", MovedIn)
    assert (out.to, out.entry) == ("b", _seq(store, "b", MovedIn))
    assert (into.origin, into.entry) == ("a", _seq(store, "a", MovedOut))
    assert files == sorted(path.name for path in (store.home / "evidence").rglob("*") if path.is_file())
    for number in ("a", "b"):
        verify(store, number)
    # Taken back from the other side, both are as they were.
    there, here = move_back(store, "b", _seq(store, "b", MovedIn), by="Ada", why="it was right")
    assert (rows(here), rows(there)) == before
    with pytest.raises(WrongUse, match="taken back already"):
        move_back(store, "a", _seq(store, "a", MovedOut), by="Ada")


def test_in_a_job_with_one_appliance_everything_is_of_that_one(store: Store) -> None:
    (sha256,) = say(store, "a", TWO)
    _, lone = move_to_job(store, "a", sha256, "lone", by="Ada", why="another site")
    assert {row[:3] for row in rows(lone)} == {("boiler", "co2", "9.3"), ("boiler", "o2", "4.4")}
    assert {row.how for row in lone.rows.values()} == {"taken unasked"}


def test_in_a_job_with_several_it_is_asked_whose_it_is_unless_somebody_says_so(store: Store) -> None:
    (sha256,) = say(store, "lone", LONE)
    _, there = move_to_job(store, "lone", sha256, "a", by="Ada", why="another site")
    assert {row.how for row in there.rows.values()} == {"open"}
    move_back(store, "lone", _seq(store, "lone", MovedOut), by="Ada")
    _, there = move_to_job(store, "lone", sha256, "a", appliance="number two", by="Ada", why="another site")
    assert rows(there) == {
        ("number two", "co2", "9.2", "taken unasked"),
        ("number two", "co", "82", "taken unasked"),
    }


def test_what_a_person_settled_goes_with_it(store: Store) -> None:
    (sha256,) = say(store, "lone", LONE)
    co2 = next(row for row in job_of(store, "lone").rows.values() if row.reading.quantity == "co2")
    after = Candidate(
        reading=co2.reading.id, quantity="co2", condition="high_fire", value="9.4", unit="%", appliance="boiler"
    )
    decisions.edit(store, "lone", after, by="Ines", why="heard again")
    co = next(row for row in job_of(store, "lone").rows.values() if row.reading.quantity == "co")
    decisions.leave_out(store, "lone", co.reading.id, by="Ada", why="not settled")
    here, there = move_to_job(store, "lone", sha256, "a", appliance="number two", by="Ada", why="another site")
    assert rows(here) == set()
    assert rows(there) == {("number two", "co2", "9.4", "edited"), ("number two", "co", "82", "left out")}
    assert {row.by for row in there.rows.values()} == {"Ines", "Ada"}
    # And on under the other appliance, with what was settled.
    moved = move_under(store, "a", sha256, "number one", by="Ada", why="mixed up")
    assert rows(moved) == {("number one", "co2", "9.4", "edited"), ("number one", "co", "82", "left out")}


def test_what_the_sheet_reserves_is_asked_where_somebody_else_moved_it(store: Store) -> None:
    (sha256,) = say(store, "lone", LONE)
    _, there = move_to_job(store, "lone", sha256, "a", appliance="number two", by="Ines", why="another site")
    assert rows(there) == {("number two", "co2", "9.2", "taken unasked"), ("number two", "co", "82", "open")}
    (asked,) = open_questions(there, sheet_of(store, there.head))
    decisions.answer(store, "a", asked, asked_at=there.position, by="Ada", how="chosen", settled=asked.candidates[:1])
    assert ("number two", "co", "82", "answered") in rows(job_of(store, "a"))
    assert open_questions(job_of(store, "a"), sheet_of(store, there.head)) == ()


def test_a_stop_leaves_a_job_only_by_the_technician(store: Store) -> None:
    (sha256,) = say(store, "a", STOP)
    with pytest.raises(WrongUse, match="only Ada can move it"):
        move_to_job(store, "a", sha256, "b", by="Ines", why="another site")
    assert job_of(store, "a").alarms
    here, there = move_to_job(store, "a", sha256, "b", by="Ada", why="another site")
    assert (len(here.alarms), len(there.alarms)) == (0, 1)


def test_what_cannot_be_moved_is_told_and_nothing_is_written(store: Store) -> None:
    (sha256,) = say(store, "a", ONE)
    say(store, "b", TWO)
    decisions.close(store, "b", by="Ada", why="as it is")
    before = store.heads()
    for call, told in (
        (lambda: move_under(store, "a", sha256, "number nine", by="Ada", why="x"), "has no appliance"),
        (lambda: move_under(store, "a", sha256, "number one", by="Ada", why="x"), "already"),
        (lambda: move_under(store, "a", sha256, "number two", by="Ada", why=" "), "needs a reason"),
        (lambda: move_under(store, "a", "0" * 64, "number two", by="Ada", why="x"), "no such evidence"),
        (lambda: move_to_job(store, "a", sha256, "a", by="Ada", why="x"), "in job a already"),
        (lambda: move_to_job(store, "a", sha256, "nowhere", by="Ada", why="x"), "no job"),
        (lambda: move_to_job(store, "a", sha256, "b", by="Ada", why="x"), "closed"),
        (lambda: move_back(store, "a", 1, by="Ada"), "moved nothing"),
    ):
        with pytest.raises(WrongUse, match=told):
            call()
    assert store.heads() == before


def test_a_move_is_not_taken_back_under_a_later_one(store: Store) -> None:
    (sha256,) = say(store, "a", TWO)
    move_to_job(store, "a", sha256, "b", by="Ada", why="x")
    move_to_job(store, "b", sha256, "lone", by="Ada", why="y")
    with pytest.raises(WrongUse, match="moved on from job b"):
        move_back(store, "a", _seq(store, "a", MovedOut), by="Ada")
    # It may go home the long way round, and is there once.
    here, _ = move_to_job(store, "lone", sha256, "a", by="Ada", why="z")[::-1]
    assert [one.sha256 for one in here.filed] == [sha256]
    assert ("number two", "co2", "9.3") not in {row[:3] for row in rows(job_of(store, "b"))}


def test_the_same_file_given_again_where_it_was_moved_from_is_refused_with_where_it_is(store: Store) -> None:
    (sha256,) = say(store, "a", TWO)
    move_to_job(store, "a", sha256, "b", by="Ada", why="x")
    added = add(store, "a", [Typed(TWO)], senses=senses(), author="Ada")
    assert "moved from this job to job b" in added.refused[0].why
    # Where it is now, it is there once, also when it is given again.
    again = add(store, "b", [Typed(TWO)], senses=senses(), author="Ada")
    assert [one.sha256 for one in again.job.filed] == [sha256]
    assert [row[2] for row in rows(again.job) if row[1] == "co2"] == ["9.3"]


def test_a_job_with_moved_evidence_is_packed_whole_and_stands_by_itself_elsewhere(store: Store, tmp_path: Path) -> None:
    (sha256,) = say(store, "a", TWO)
    _, there = move_to_job(store, "a", sha256, "b", by="Ada", why="x")
    with (tmp_path / "b.zip").open("wb") as file:
        pack(store, "b", file)
    with Store(tmp_path / "elsewhere") as other:
        assert unpack(other, tmp_path / "b.zip").entries > 1
        assert rows(job_of(other, "b")) == rows(there)
        verify(other, "b")
        with pytest.raises(WrongUse, match="Job a, the other one of this move, is not here"):
            move_back(other, "b", _seq(other, "b", MovedIn), by="Ada")


def test_both_journals_are_written_or_neither(store: Store) -> None:
    before = store.heads()
    draft = Draft(Reopened(why="x"), "Ada")
    with pytest.raises(JournalMoved):
        store.append_each({"a": ([draft], before["a"][0]), "b": ([draft], before["b"][0] + 1)})
    assert store.heads() == before


def _seq(store: Store, number: str, kind: type) -> int:
    return [one.seq for one in store.entries(number) if isinstance(one.body, kind)][-1]


def _body(store: Store, number: str, kind: type):  # type: ignore[no-untyped-def] # of the kind that was asked for
    return [one.body for one in store.entries(number) if isinstance(one.body, kind)][-1]
