"""The photos' clock: proposed where voice and photos differ steadily, set by a person, and what comes of it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from front.clock import proposal_line, seconds_of
from jobs import decisions
from jobs.add import add
from jobs.book import new_job
from jobs.fold import Job
from jobs.photo_clock import offset_of, proposed, set_photo_clock
from jobs.store import Store
from schemas.errors import WrongUse
from tests import jobs_doubles as doubles
from tests.jobs_doubles import NOON, Ears, photo, sound

SAID = [
    "5 now high_fire", "6 here co2 9.3 %", "7 here o2 4.4 %", "8 here flue_temp 128 [degF]",
    "600 now low_fire", "601 here co2 8.9 %", "602 here o2 5.1 %", "603 here flue_temp 119 [degF]",
]  # fmt: skip
HIGH = ["here co2 9.3 %", "here o2 4.4 %", "here flue_temp 128 [degF]"]
LOW = ["here co2 8.9 %", "here o2 5.1 %", "here flue_temp 119 [degF]"]
SLOW = timedelta(minutes=7)
"""The camera's clock is behind by so much."""


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    doubles.install(lambda where, name, what: monkeypatch.setattr(where, name, what, raising=False))
    sheet = tmp_path / "plain.toml"
    sheet.write_text(doubles.SHEET)
    with Store(tmp_path / "home", clock=doubles.ticking()) as store:
        new_job(store, sheet=str(sheet), site="Mill", technician="Ada", units="us")
        yield store


def give(store: Store, folder: Path, *files: bytes) -> Job:
    paths = []
    for data in files:
        paths.append(folder / doubles.sha_of(data)[:6])
        paths[-1].write_bytes(data)
    return add(store, "job-1", paths, senses=Ears().senses(), author="Ada").job


def shot(lines: list[str], second: float) -> bytes:
    return photo(lines, NOON + timedelta(seconds=second) - SLOW)


def test_photos_that_are_late_by_as_much_each_time_propose_to_set_their_clock(store: Store, tmp_path: Path) -> None:
    job = give(store, tmp_path, sound(SAID, NOON), shot(HIGH, 10))
    assert proposed(store, job) is None  # one photo may be an old one
    job = give(store, tmp_path, shot(LOW, 605))
    seconds = proposed(store, job)
    assert seconds == pytest.approx(420, abs=20)
    assert "7m behind the recorder's" in proposal_line(job, 420)
    assert "sayback clock job-1 --photos=+7m" in proposal_line(job, 420)
    job = set_photo_clock(store, "job-1", 420, by="Ada", why="compared the two")
    assert offset_of(job) == 420
    assert proposed(store, job) is None
    assert [one.at for one in job.filed[1:]] == [NOON + timedelta(seconds=10), NOON + timedelta(seconds=605)]


def test_a_photo_whose_clock_is_set_has_its_place_from_its_moment(store: Store, tmp_path: Path) -> None:
    other = shot(["here inlet_pressure 7.1 [in_i'H2O]"], 20)  # nobody said it: only the moment tells its place
    job = give(store, tmp_path, sound(SAID, NOON), shot(HIGH, 10), shot(LOW, 605), other)
    before = next(row.reading for row in job.rows.values() if row.reading.value == "7.1")
    assert before.condition != "high_fire"
    job = set_photo_clock(store, "job-1", 420, by="Ada", why="compared the two")
    after = next(row.reading for row in job.rows.values() if row.reading.value == "7.1")
    assert (after.condition, after.doubts) == ("high_fire", ())
    job = set_photo_clock(store, "job-1", 0, by="Ada", why="it was right")
    assert next(row.reading for row in job.rows.values() if row.reading.value == "7.1") == before


def test_what_a_person_answered_stands_when_the_clock_is_set(store: Store, tmp_path: Path) -> None:
    other = shot(["here inlet_pressure 7.1 [in_i'H2O]"], 20)
    job = give(store, tmp_path, sound(SAID, NOON), shot(HIGH, 10), shot(LOW, 605), other)
    key = next(key for key, row in job.rows.items() if row.reading.value == "7.1")
    reading = job.rows[key].reading
    decisions.leave_out(store, "job-1", key, by="Ada", why="another day")
    job = set_photo_clock(store, "job-1", 420, by="Ada", why="compared the two")
    assert reading.id == key
    assert job.rows[key].how == "left out"


def test_a_photo_added_later_goes_by_the_clock_that_was_set(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(SAID, NOON), shot(HIGH, 10))
    set_photo_clock(store, "job-1", 420, by="Ada", why="compared the two")
    job = give(store, tmp_path, shot(LOW, 605), photo(["high_fire o2 4.4 %"]))
    assert [one.offset for one in job.filed] == ["0", "420", "420", "0"]  # the last has no time to add to
    assert job.filed[2].at == NOON + timedelta(seconds=605)


def test_what_cannot_be_set_is_refused_in_a_sentence(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(SAID, NOON), photo(HIGH))
    with pytest.raises(WrongUse, match="No photo of job job-1 has its time from a camera"):
        set_photo_clock(store, "job-1", 420, by="Ada", why="x")
    give(store, tmp_path, shot(LOW, 605))
    with pytest.raises(WrongUse, match="set so already"):
        set_photo_clock(store, "job-1", 0, by="Ada", why="x")
    with pytest.raises(WrongUse, match="26 hours at most"):
        set_photo_clock(store, "job-1", 100_000, by="Ada", why="x")
    decisions.close(store, "job-1", by="Ada", why="a test")
    with pytest.raises(WrongUse, match="is closed"):
        set_photo_clock(store, "job-1", 420, by="Ada", why="x")


@pytest.mark.parametrize(
    ("text", "seconds"), [("+7m", 420), ("-1h", -3600), ("1m30s", 90), ("+1h2m3s", 3723), ("0", 0), ("45s", 45)]
)
def test_an_amount_of_time(text: str, seconds: int) -> None:
    assert seconds_of(text) == seconds


@pytest.mark.parametrize("text", ["", "seven", "7", "+", "m", "1.5h", "7m-", "٧m"])
def test_what_is_no_amount_of_time_is_told(text: str) -> None:
    with pytest.raises(WrongUse, match="no amount of time"):
        seconds_of(text)
