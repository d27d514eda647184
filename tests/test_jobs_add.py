"""From files to a job: kept, heard, journalled, folded; again after a kill; in any order and in pieces."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest

import extract
from jobs import extraction
from jobs.add import Event, Typed, add
from jobs.book import NewAppliance, job_of, new_job
from jobs.fold import Job
from jobs.store import Store
from schemas.doubts import DoubtKind
from schemas.errors import WrongUse
from schemas.sheet import Sheet
from tests import jobs_doubles as doubles
from tests.jobs_doubles import NOON, Ears, photo, sound


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    doubles.install(lambda where, name, what: monkeypatch.setattr(where, name, what, raising=False))
    sheet = tmp_path / "plain.toml"
    sheet.write_text(doubles.SHEET)
    with Store(tmp_path / "home", clock=doubles.ticking()) as store:
        new_job(store, sheet=str(sheet), site="Mill", technician="Ada", units="us", appliances=[NewAppliance("boiler")])
        yield store


def give(store: Store, folder: Path, *files: bytes, ears: Ears | None = None) -> Job:
    """Add files with these bytes to the job, in this order."""
    paths = []
    for data in files:
        path = folder / f"{doubles.sha_of(data)[:6]}.bin"
        path.write_bytes(data)
        paths.append(path)
    return add(store, "job-1", paths, senses=(ears or Ears()).senses(), author="Ada").job


def rows(job: Job) -> list[tuple[str | None, str | None, str, str]]:
    return [(r.reading.condition, r.reading.quantity, r.reading.value, r.how) for r in job.rows.values()]


TALK = sound(
    ["1 high_fire co2 9.3 %", "5 high_fire o2 4.4 %", "9 talk", "12 low_fire co2 8.7 % ?heard unclearly"], NOON
)


def test_a_recording_becomes_rows(store: Store, tmp_path: Path) -> None:
    job = give(store, tmp_path, TALK)
    assert rows(job) == [
        ("high_fire", "co2", "9.3", "taken unasked"),
        ("high_fire", "o2", "4.4", "taken unasked"),
        ("low_fire", "co2", "8.7", "open"),
    ]
    assert [u.number for u in job.utterances] == [0, 1, 2, 3]
    assert job.filed[0].read
    assert job == job_of(store, "job-1")


def test_adding_again_doubles_nothing_and_hears_nothing_again(store: Store, tmp_path: Path) -> None:
    first = give(store, tmp_path, TALK)
    ears = Ears()
    again = add(store, "job-1", [tmp_path / f"{doubles.sha_of(TALK)[:6]}.bin"], senses=ears.senses(), author="Ada")
    assert again.job == first
    assert ears.heard == []
    assert [e.sha256 for e in again.there] == [doubles.sha_of(TALK)]


def test_evidence_is_safe_before_anything_is_heard(store: Store, tmp_path: Path) -> None:
    happened: list[str] = []
    ears = Ears(wait=lambda: happened.append("heard"))

    def watch(event: Event) -> None:
        if event.kind == "kept":
            assert store.evidence.is_sound(event.sha256)
            assert any(one.sha256 == event.sha256 for one in job_of(store, "job-1").filed)
            happened.append("kept")

    for name, data in (("a", TALK), ("b", photo(["high_fire co2 9.3 %"]))):
        (tmp_path / name).write_bytes(data)
    add(store, "job-1", [tmp_path / "a", tmp_path / "b"], senses=ears.senses(), author="Ada", progress=watch)
    assert happened[:3] == ["kept", "kept", "heard"]


def test_a_broken_recording_keeps_what_was_heard_and_goes_on_next_time(store: Store, tmp_path: Path) -> None:
    job = give(store, tmp_path, TALK, ears=Ears(broken=" o2"))
    assert rows(job) == [("high_fire", "co2", "9.3", "taken unasked")]
    assert not job.filed[0].read
    ears = Ears()
    other = sound(["1 low_fire o2 5.5 %"])
    job = give(store, tmp_path, other, ears=ears)
    assert ears.heard[0] == "high_fire o2 4.4 %"  # not the first line once more
    assert len(job.rows) == 4


def test_one_bad_file_does_not_stop_the_others(store: Store, tmp_path: Path) -> None:
    (tmp_path / "bad").write_bytes(b"\xff\xfe")
    (tmp_path / "good").write_bytes(TALK)
    seen: list[str] = []
    added = add(
        store,
        "job-1",
        [tmp_path / "bad", tmp_path / "good"],
        senses=Ears().senses(),
        author="Ada",
        progress=lambda event: seen.append(event.kind),
    )
    assert [(r.name, r.why) for r in added.refused] == [
        ("bad", "bad is neither sound nor picture; give a recording or a photo.")
    ]
    assert len(added.job.rows) == 3
    assert seen[:2] == ["refused", "kept"]


def test_order_of_adding_does_not_matter_where_times_are_known(store: Store, tmp_path: Path) -> None:
    early = sound(["0 now high_fire", "9 now low_fire"], NOON)
    late = sound(["2 here co2 9.3 %", "12 here co2 8.7 %"], NOON)  # at the same time, on another recorder
    job = give(store, tmp_path, late)
    assert [r[:3] for r in rows(job)] == [(None, "co2", "9.3"), (None, "co2", "8.7")]
    assert all(r.reading.doubts[0].kind == DoubtKind.CONDITION_UNCLEAR for r in job.rows.values())
    job = give(store, tmp_path, early)
    assert rows(job) == [
        ("high_fire", "co2", "9.3", "taken unasked"),
        ("low_fire", "co2", "8.7", "taken unasked"),
    ]


def test_a_withdrawn_reading_is_withdrawn_and_comes_back(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["5 high_fire co2 9.3 %"], NOON))
    job = give(store, tmp_path, sound(["8 remove high_fire co2"], NOON))
    assert job.rows == {}
    assert [row.history[-1].what for row in job.gone] == ["taken back"]


def test_a_typed_line_follows_what_was_added_before(store: Store, tmp_path: Path) -> None:
    give(store, tmp_path, sound(["0 now high_fire"], NOON))
    added = add(store, "job-1", [Typed("here co2 9.3 %")], senses=Ears().senses(), author="Ada")
    assert rows(added.job) == [("high_fire", "co2", "9.3", "taken unasked")]
    assert added.job.filed[1].evidence.kind == "typed"
    assert store.evidence.path(added.job.filed[1].sha256).read_text() == "here co2 9.3 %"


def test_a_given_time_stands_over_the_file_and_can_come_later(store: Store, tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(sound(["0 here co2 9.3 %"]))
    give(store, tmp_path, sound(["0 now low_fire", "30 now high_fire"], NOON))
    add(store, "job-1", [tmp_path / "a"], senses=Ears().senses(), author="Ada")
    assert rows(job_of(store, "job-1"))[0][0] == "high_fire"  # without a time, after all that was there
    at = NOON + timedelta(seconds=10)
    job = add(store, "job-1", [tmp_path / "a"], senses=Ears().senses(), author="Ada", at=at).job
    assert rows(job)[0][0] == "low_fire"
    assert (job.filed[1].at, job.filed[1].clock, job.filed[1].evidence.at) == (at, "given", None)


@pytest.mark.parametrize("at", [datetime(2026, 3, 4, 12, 0)])
def test_a_time_needs_a_zone_and_one_file(store: Store, tmp_path: Path, at: datetime) -> None:
    with pytest.raises(WrongUse, match="zone"):
        add(store, "job-1", [Typed("x")], senses=Ears().senses(), author="Ada", at=at)
    with pytest.raises(WrongUse, match="one by one"):
        add(store, "job-1", [Typed("x"), Typed("y")], senses=Ears().senses(), author="Ada", at=NOON)


def test_no_such_job(store: Store) -> None:
    with pytest.raises(WrongUse, match="There is no job 'job-9'"):
        add(store, "job-9", [Typed("x")], senses=Ears().senses(), author="Ada")


def test_a_name_that_is_not_utf8_is_kept_as_far_as_it_can_be(store: Store, tmp_path: Path) -> None:
    path = Path(str(tmp_path) + "/caf\udce9.wav")
    path.write_bytes(TALK)
    added = add(store, "job-1", [path], senses=Ears().senses(), author="Ada")
    assert added.kept[0].name == "caf?.wav"


@pytest.mark.parametrize(
    ("shown", "how", "doubts"),
    [
        ("9.3", "agreed by voice and photo", []),
        ("9.30", "agreed by voice and photo", []),
        ("9.5", "agreed by voice and photo", []),
        ("9.6", "open", [DoubtKind.SOURCES_DISAGREE]),
    ],
)
def test_voice_and_photo(store: Store, tmp_path: Path, shown: str, how: str, doubts: list[DoubtKind]) -> None:
    job = give(store, tmp_path, sound(["5 high_fire co2 9.3 %"], NOON), photo([f"high_fire co2 {shown} %"], NOON))
    said = next(row for row in job.rows.values() if row.reading.source.utterance is not None)
    assert (said.reading.value, said.how) == ("9.3", how)
    assert [d.kind for d in said.reading.doubts] == doubts
    assert len(job.rows) == (1 if how != "open" else 2)


@pytest.mark.parametrize(
    ("said", "shown", "how"),
    [
        ("9.3 % ?heard unclearly", "9.3 %", "agreed by voice and photo"),  # the same value settles the doubt
        ("9.3 % ?heard unclearly", "9.4 %", "open"),  # close is not the same: 9.3 may be a mishearing of 9.4
        ("9.3 % ?condition not clear", "9.3 %", "open"),  # a photo says what the value is, not of what
        ("9.3 %", "9.3 % ?reader unsure of a digit", "agreed by voice and photo"),
        ("9.3 %", "9.4 % ?reader unsure of a digit", "taken unasked"),
    ],
)
def test_what_agreement_settles(store: Store, tmp_path: Path, said: str, shown: str, how: str) -> None:
    job = give(store, tmp_path, sound([f"5 high_fire co2 {said}"], NOON), photo([f"high_fire co2 {shown}"], NOON))
    assert [row.how for row in job.rows.values()] == [how]


def test_a_photo_of_the_same_moment_needs_no_condition_of_its_own(store: Store, tmp_path: Path) -> None:
    talk = sound(["5 high_fire co2 9.3 %"], NOON)
    job = give(store, tmp_path, talk, photo(["none co2 9.3 %"], NOON + timedelta(seconds=20)))
    assert [row.how for row in job.rows.values()] == ["agreed by voice and photo"]
    job = give(store, tmp_path, photo(["none co2 9.3 %"], NOON + timedelta(seconds=60)))
    assert [row.how for row in job.rows.values()] == ["agreed by voice and photo", "open"]


def test_units_are_converted_to_compare_and_kept_as_said(store: Store, tmp_path: Path) -> None:
    # 7.2 in. w.c. = 17.93 mbar at 249.0889 Pa an inch (NIST SP 811, App. B.9)
    talk = sound(["5 high_fire inlet_pressure 7.2 [in_i'H2O]", "9 high_fire flue_temp 112 [degF]"], NOON)
    job = give(
        store, tmp_path, talk, photo(["high_fire inlet_pressure 17.9 mbar", "high_fire flue_temp 44.4 Cel"], NOON)
    )
    assert [(r.reading.value, r.reading.unit, r.how) for r in job.rows.values()] == [
        ("7.2", "[in_i'H2O]", "agreed by voice and photo"),
        ("112", "[degF]", "agreed by voice and photo"),
    ]


def test_limits_and_alarms_are_no_readings(store: Store, tmp_path: Path) -> None:
    job = give(store, tmp_path, sound(["1 limit high_fire co2 8.5 9.5 %", "3 alarm gas_smell"]))
    assert job.rows == {}
    assert [(one.quoted.low, one.quoted.high, one.agreed) for one in job.limits] == [("8.5", "9.5", None)]
    assert [one.stop for one in job.alarms] == ["gas_smell"]


def test_the_history_of_a_value(store: Store, tmp_path: Path) -> None:
    job = give(store, tmp_path, sound(["1 high_fire co2 9.3 %", "9 change high_fire co2 9.4 %"]))
    (row,) = job.rows.values()
    told = [(s.what, s.before.value if s.before else None, s.after.value if s.after else None) for s in row.history]
    assert told == [("recorded", None, "9.3"), ("replaced", "9.3", "9.4")]


def test_extraction_sees_what_another_process_added_meanwhile(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Written from a job that has moved on since, it would withdraw what the other had found."""
    (tmp_path / "other").write_bytes(sound(["1 high_fire o2 4.4 %"], NOON))
    real = extraction.setting_of
    calls = 0

    def meanwhile(store: Store, job: Job, sheet: Sheet) -> extract.Setting:
        nonlocal calls
        calls += 1
        if calls == 1:
            add(store, "job-1", [tmp_path / "other"], senses=Ears().senses(), author="Bo")
        return real(store, job, sheet)

    monkeypatch.setattr(extraction, "setting_of", meanwhile)
    job = give(store, tmp_path, sound(["5 high_fire co2 9.3 %"], NOON))
    assert [row[1] for row in rows(job)] == ["o2", "co2"]
    assert not any(entry.body.kind == "withdrawn" for entry in store.entries("job-1"))
    assert calls == 3  # once for the other, and once more after it
