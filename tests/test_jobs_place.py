"""Where a picture belongs: told by the values that were said, else asked once, never by when it was added."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest

from jobs import decisions
from jobs.add import add
from jobs.book import NewAppliance, job_of, new_job, sheet_of
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.store import Store
from schemas.evidence import Clock
from schemas.questions import Question
from tests import jobs_doubles as doubles
from tests.jobs_doubles import NOON, Ears, photo, sound

TALK = sound(
    [
        "0 high_fire co2 9.3 %",
        "2 high_fire o2 4.4 %",
        "4 high_fire flue_temp 112 [degF]",
        "60 low_fire co2 8.7 %",
        "62 low_fire o2 5.5 %",
        "64 low_fire flue_temp 103 [degF]",
    ],
    NOON,
)


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    doubles.install(lambda where, name, what: monkeypatch.setattr(where, name, what, raising=False))
    sheet = tmp_path / "plain.toml"
    sheet.write_text(doubles.SHEET)
    with Store(tmp_path / "home", clock=doubles.ticking()) as store:
        for tags in (["boiler"], ["one", "two"]):
            appliances = [NewAppliance(tag) for tag in tags]
            new_job(store, sheet=str(sheet), site="Mill", technician="Ada", units="us", appliances=appliances)
        yield store


def give(store: Store, folder: Path, *files: bytes) -> Job:
    paths = []
    for data in files:
        paths.append(folder / f"{doubles.sha_of(data)[:6]}.jpg")
        paths[-1].write_bytes(data)
    return add(store, "job-1", paths, senses=Ears().senses(), author="Ada").job


def questions(store: Store) -> tuple[Question, ...]:
    job = job_of(store, "job-1")
    return open_questions(job, sheet_of(store, job.head))


def rows(job: Job) -> list[tuple[str | None, str | None, str, str]]:
    return [(r.reading.condition, r.reading.quantity, r.reading.value, r.how) for r in job.rows.values()]


def slip(*lines: str) -> bytes:
    return photo(lines, NOON + timedelta(hours=1), kind="SLIP")


@pytest.mark.parametrize(("fire", "other"), [("none", "untimed"), ("high_fire", "slip")])
def test_a_picture_belongs_to_the_row_that_it_repeats(store: Store, tmp_path: Path, fire: str, other: str) -> None:
    """An untimed photo without a condition, and a slip photographed later, while high fire was the talk."""
    lines = [f"{fire} co2 8.7 %", f"{fire} o2 5.5 %", f"{fire} inlet_pressure 7.1 [in_i'H2O]"]
    if other == "slip":
        lines[2] = f"{fire} flue_temp 104 [degF]"
    job = give(store, tmp_path, TALK, slip(*lines) if other == "slip" else photo(lines))
    low = [row for row in rows(job) if row[0] == "low_fire"]
    assert low[:2] == [
        ("low_fire", "co2", "8.7", "agreed by voice and photo"),
        ("low_fire", "o2", "5.5", "agreed by voice and photo"),
    ]
    assert not [row for row in rows(job) if row[3] == "open" and row[1] != "inlet_pressure"]


def test_one_value_alone_places_nothing(store: Store, tmp_path: Path) -> None:
    job = give(store, tmp_path, TALK, slip("high_fire co2 8.7 %", "high_fire flue_temp 99 [degF]"))
    assert [row for row in rows(job) if row[0] is None] == [
        (None, "co2", "8.7", "open"),
        (None, "flue_temp", "99", "open"),
    ]


def test_values_that_fit_two_rows_place_nothing(store: Store, tmp_path: Path) -> None:
    again = sound(["120 low_fire co2 9.3 %", "122 low_fire o2 4.4 %"], NOON)
    high = sound(["0 high_fire co2 9.3 %", "2 high_fire o2 4.4 %"], NOON)
    job = give(store, tmp_path, high, again, slip("high_fire co2 9.3 %", "high_fire o2 4.4 %"))
    assert [row for row in rows(job) if row[0] is None] == [(None, "co2", "9.3", "open"), (None, "o2", "4.4", "open")]


def test_a_slip_that_nobody_spoke_of_is_one_question(store: Store, tmp_path: Path) -> None:
    data = slip("high_fire co2 8.7 %", "high_fire o2 5.5 %", "high_fire flue_temp 103 [degF]", "- serial X1")
    give(store, tmp_path, data)
    (one,) = questions(store)
    name = f"{doubles.sha_of(data)[:6]}.jpg"
    assert one.text == f"{name} (CO2 8.7 % and O2 5.5 %, …): high fire or low fire?"
    assert len(one.readings) == 3
    at = job_of(store, "job-1").position
    low = next(c for c in one.candidates if c.condition == "low_fire")
    settled = decisions.settled_by(one, low)
    job = decisions.answer(store, "job-1", one, asked_at=at, by="Ada", how="chosen", settled=settled)
    assert rows(job) == [
        ("low_fire", "co2", "8.7", "answered"),
        ("low_fire", "o2", "5.5", "answered"),
        ("low_fire", "flue_temp", "103", "answered"),
        ("", "serial", "X1", "taken unasked"),
    ]
    assert questions(store) == ()


def test_an_unsure_value_of_such_a_slip_has_its_own_question(store: Store, tmp_path: Path) -> None:
    lines = ["high_fire co2 8.7 %", "high_fire o2 5.5 % ?reader unsure of a digit", "high_fire flue_temp 103 [degF]"]
    give(store, tmp_path, slip(*lines))
    assert [len(one.readings) for one in questions(store)] == [2, 1]


def test_a_picture_that_contradicts_its_moment_is_asked_with_all_its_values(store: Store, tmp_path: Path) -> None:
    """The change to low fire was never said: also the value that nobody spoke of is not taken for high fire."""
    high = sound(["0 high_fire co2 9.3 %", "2 high_fire o2 4.4 %"], NOON)
    screen = photo(["high_fire co2 8.7 %", "high_fire o2 5.5 %", "high_fire flue_temp 103 [degF]"], NOON)
    job = give(store, tmp_path, high, screen)
    assert [row for row in rows(job) if row[3] == "open"] == [
        (None, "co2", "8.7", "open"),
        (None, "o2", "5.5", "open"),
        (None, "flue_temp", "103", "open"),
    ]
    (one,) = questions(store)
    assert "it shows other values than were said there" in one.doubts[0].detail
    assert [c.condition for c in one.candidates] == ["high_fire", "low_fire"]


HIGH = ["0 now high_fire", "0 high_fire co2 9.3 %", "2 high_fire o2 4.4 %"]
LOW = ["420 now low_fire", "420 low_fire co2 8.7 %", "422 low_fire o2 5.5 %"]


@pytest.mark.parametrize(
    ("talk", "shown", "seconds", "place", "how"),
    [
        ([*HIGH, *LOW], ["flue_temp 112 [degF]"], 425, None, "open"),  # taken at high fire: the clock is 7 minutes fast
        ([*HIGH, "3 high_fire flue_temp 112 [degF]", *LOW], ["flue_temp 112 [degF]"], 425, None, "open"),
        ([*HIGH, *LOW], ["flue_temp 112 [degF]"], 31_536_000, None, "open"),  # a wrong year: no moment of this job
        (HIGH, ["flue_temp 112 [degF]"], 3600, None, "open"),
        ([HIGH[0], LOW[0]], ["co2 9.0 %", "o2 4.9 %"], 425, None, "open"),  # nothing was said but the rows
        ([*HIGH, *LOW], ["co2 8.7 %"], 425, "low_fire", "agreed by voice and photo"),
        (HIGH, ["flue_temp 112 [degF]"], 5, "high_fire", "taken unasked"),  # a job of one row
    ],
)
def test_a_moment_that_nothing_bears_out_gives_no_row(
    store: Store, tmp_path: Path, talk: list[str], shown: list[str], seconds: int, place: str | None, how: str
) -> None:
    at = NOON + timedelta(seconds=seconds)
    job = give(store, tmp_path, sound(talk, NOON), photo([f"here {line}" for line in shown], at))
    mine = [
        (row.reading.condition, row.how)
        for row in job.rows.values()
        if row.reading.source.box is not None or row.how.startswith("agreed")
    ]
    assert mine == [(place, how)] * len(shown)


def test_a_clock_whose_zone_is_assumed_is_borne_out_by_its_like_alone(store: Store, tmp_path: Path) -> None:
    """A phone's photo that repeats a row says nothing of a camera that writes no zone."""
    sees = Ears().senses()
    clocks: dict[str, Clock] = {"job-1": "exif", "job-2": "assumed"}
    for number, clock in clocks.items():
        senses = replace(sees, identify=partial(doubles.identify, clock=clock))
        shots = {
            "talk": (sound([*HIGH, *LOW], NOON), sees),
            "row": (photo(["here co2 9.3 %", "here o2 4.4 %"], NOON + timedelta(seconds=5)), sees),
            "one": (photo(["here flue_temp 103 [degF]"], NOON + timedelta(seconds=425)), senses),
        }
        for name, (data, eyes) in shots.items():
            (tmp_path / name).write_bytes(data)
            job = add(store, number, [tmp_path / name], senses=eyes, author="Ada").job
        (flue,) = [row for row in rows(job) if row[1] == "flue_temp"]
        assert flue[3] == ("taken unasked" if clock == "exif" else "open")


def test_two_photos_of_one_slot(store: Store, tmp_path: Path) -> None:
    first = photo(["high_fire co2 9.3 %", "high_fire o2 4.4 %"], NOON)
    second = photo(["high_fire co2 9.3 %", "high_fire o2 4.9 %"], NOON + timedelta(seconds=60))
    job = give(store, tmp_path, first, second)
    assert sorted(rows(job), key=str) == [
        ("high_fire", "co2", "9.3", "taken unasked"),
        ("high_fire", "o2", "4.4", "open"),
        ("high_fire", "o2", "4.9", "open"),
    ]
    (one,) = questions(store)
    assert one.text == "High fire: One photo shows 4.4 % and another one shows 4.9 %. Which one stands?"


def test_of_photos_no_further_apart_than_drift_the_later_stands(store: Store, tmp_path: Path) -> None:
    """As left counts; with a third photo too."""
    shots = [
        photo([f"high_fire co2 {value} %"], NOON + timedelta(seconds=60 * at))
        for at, value in enumerate(("9.3", "9.4", "9.5"))
    ]
    assert rows(give(store, tmp_path, *shots[:2])) == [("high_fire", "co2", "9.4", "taken unasked")]
    assert rows(give(store, tmp_path, shots[2])) == [("high_fire", "co2", "9.5", "taken unasked")]


def test_a_sure_photo_stands_for_an_unsure_one(store: Store, tmp_path: Path) -> None:
    first = photo(["high_fire co2 9.3 % ?reader unsure of a digit"], NOON)
    second = photo(["high_fire co2 9.3 %"], NOON + timedelta(seconds=60))
    job = give(store, tmp_path, first, second)
    assert rows(job) == [("high_fire", "co2", "9.3", "taken unasked")]
