"""A job lived through at random: evidence, answers, edits and undo, in any order, lose and change nothing unasked."""

from __future__ import annotations

import tempfile
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from jobs import decisions
from jobs.add import add
from jobs.book import job_of, new_job, sheet_of
from jobs.fold import Job
from jobs.journal import Answered, Edited, Undone
from jobs.questions import open_questions
from jobs.store import Store
from jobs.verify import faults
from schemas.questions import Candidate
from tests import jobs_doubles as doubles
from tests.jobs_doubles import NOON, Ears, photo, sound

SLOTS = st.sampled_from(["high_fire co2", "low_fire co2", "high_fire o2", "none co2", "here o2"])
VALUES = st.sampled_from(["9.2 %", "9.3 %", "4.4 %", "8.7 % ?heard unclearly", "9.9 % ?cut off"])
SAID = st.one_of(
    st.tuples(SLOTS, VALUES).map(" ".join),
    st.tuples(SLOTS, VALUES).map(lambda pair: "change " + " ".join(pair)),
    SLOTS.map("remove {}".format),
    st.sampled_from(["talk", "now high_fire", "now low_fire", "alarm gas_smell", "limit high_fire co2 8.5 9.5 %"]),
)


class Life(RuleBasedStateMachine):
    """One job. ``given`` are the files so far."""

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        home = Path(self.folder.name)
        (home / "plain.toml").write_text(doubles.SHEET)
        self.store = Store(home / "home", clock=doubles.ticking())
        new_job(self.store, sheet=str(home / "plain.toml"), site="Mill", technician="Ada", units="us")
        self.given: list[Path] = []

    def teardown(self) -> None:
        if hasattr(self, "store"):
            self.store.close()
            self.folder.cleanup()

    def job(self) -> Job:
        return job_of(self.store, "job-1")

    def keep(self, data: bytes) -> None:
        path = Path(self.folder.name) / f"{len(self.given)}"
        path.write_bytes(data)
        self.given.append(path)
        add(self.store, "job-1", [path], senses=Ears().senses(), author="Ada")

    @rule(lines=st.lists(SAID, min_size=1, max_size=4), timed=st.booleans())
    def talk(self, lines: list[str], timed: bool) -> None:
        self.keep(sound([f"{5 * n} {line}" for n, line in enumerate(lines)], NOON if timed else None))

    @rule(
        shown=st.lists(st.tuples(SLOTS, VALUES), min_size=1, max_size=3, unique_by=lambda pair: pair[0]),
        timed=st.booleans(),
        kind=st.sampled_from(["PHOTO", "SLIP"]),
    )
    def picture(self, shown: list[tuple[str, str]], timed: bool, kind: str) -> None:
        self.keep(photo([" ".join(pair) for pair in shown], NOON if timed else None, kind=kind))

    @precondition(lambda self: self.given)
    @rule(data=st.data())
    def the_same_again(self, data: st.DataObject) -> None:
        before = self.job()
        path = data.draw(st.sampled_from(self.given))
        assert add(self.store, "job-1", [path], senses=Ears().senses(), author="Ada").job.rows == before.rows

    @rule(data=st.data())
    def settle(self, data: st.DataObject) -> None:
        job = self.job()
        asked = open_questions(job, sheet_of(self.store, job.head))
        if not asked:
            return
        one = data.draw(st.sampled_from(asked))
        chosen = data.draw(st.sampled_from([None, *one.candidates]))
        settled = decisions.settled_by(one, chosen) if chosen else ()
        how = "chosen" if chosen else "cannot tell"
        after = decisions.answer(
            self.store,
            "job-1",
            one,
            asked_at=job.position,
            by="Bo",
            how=how,  # type: ignore[arg-type] # one of two of its words
            settled=settled,
        )
        for candidate in settled:
            assert after.rows[candidate.reading].how in ("answered", "open")
            assert after.rows[candidate.reading].reading.value == candidate.value

    @rule(data=st.data(), value=st.sampled_from(["1.1", "2.2"]))
    def edit(self, data: st.DataObject, value: str) -> None:
        rows = self.job().rows
        if rows:
            key = data.draw(st.sampled_from(list(rows)))
            after = Candidate(reading=key, quantity="co2", condition="high_fire", value=value, unit="%")
            assert decisions.edit(self.store, "job-1", after, by="Cy", why="x").rows[key].reading.value == value

    @rule(data=st.data())
    def undo(self, data: st.DataObject) -> None:
        entries = self.store.entries("job-1")
        undone = {entry.body.seq for entry in entries if isinstance(entry.body, Undone)}
        kinds = (Answered, Edited)
        seqs = [entry.seq for entry in entries if isinstance(entry.body, kinds) and entry.seq not in undone]
        if seqs:
            decisions.undo(self.store, "job-1", data.draw(st.sampled_from(seqs)), by="Bo")

    @invariant()
    def all_is_there(self) -> None:
        if not hasattr(self, "store"):
            return
        job = self.job()
        assert faults(self.store, "job-1") == ()
        assert {one.sha256 for one in job.filed} == {doubles.sha_of(path.read_bytes()) for path in self.given}
        assert all(one.read for one in job.filed)
        sheet = sheet_of(self.store, job.head)
        asked = [key for one in open_questions(job, sheet) for key in one.readings]
        assert len(asked) == len(set(asked)), "a reading is in two questions"
        open_rows = {key for key, row in job.rows.items() if row.how == "open"}
        assert open_rows <= set(asked), "a reading is open and not asked about"
        for key, row in job.rows.items():
            assert key == row.reading.id
            assert (row.how == "open") == bool(row.reading.doubts) or row.how == "left out"
            assert row.history[-1].after is not None

    @invariant()
    def what_a_person_said_stands_or_is_asked(self) -> None:
        """The last word of a person on a reading is its value, or a question that names it, or its being left out."""
        if not hasattr(self, "store"):
            return
        entries = self.store.entries("job-1")
        undone = {entry.body.seq for entry in entries if isinstance(entry.body, Undone)}
        last: dict[str, str | None] = {}
        for entry in entries:
            if entry.seq in undone:
                continue
            if isinstance(entry.body, Answered):
                for key in entry.body.question.readings:
                    last.pop(key, None)
                last |= {one.reading: one.value for one in entry.body.answer.settled}
            elif isinstance(entry.body, Edited):
                last[entry.body.before.id] = entry.body.after.value if entry.body.after else None
        job = self.job()
        told = " ".join(doubt.detail for row in job.rows.values() for doubt in row.reading.doubts)
        for key, value in last.items():
            if value is None:
                assert key not in job.rows or job.rows[key].how == "left out"
                continue
            # A photo's reading may have come to stand under what was said, or have been replaced by the same value.
            standing = [row for row in job.rows.values() if key in (row.reading.id, row.agreed_with)]
            standing += [row for row in job.rows.values() if any(s.before and s.before.id == key for s in row.history)]
            # Then a person who settles that row settles both.
            settled = any(row.reading.value == value or row.how in ("answered", "edited") for row in standing)
            # Or they gave another value later, to what replaced it, and that stands, or is asked about.
            settled = settled or any(row.reading.value == last.get(row.reading.id) for row in standing)
            settled = settled or any(f"gave {last.get(row.reading.id)} " in told for row in standing)
            assert settled or f"gave {value} " in told, (key, value)


def live(examples: int, steps: int) -> None:
    run_state_machine_as_test(
        Life,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.generate],  # shrinking a life takes minutes; the whole life is printed
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.fixture(autouse=True)
def _doubled(monkeypatch: pytest.MonkeyPatch) -> None:
    doubles.install(lambda where, name, what: monkeypatch.setattr(where, name, what, raising=False))


def test_a_few_lives_of_a_job() -> None:
    live(4, 8)


@pytest.mark.slow
def test_many_lives_of_a_job() -> None:
    live(80, 25)
