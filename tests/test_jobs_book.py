"""Opening jobs, and what is remembered from one to the next."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from jobs.book import NewAppliance, appliance_file_of, heads, instruments, job_of, new_job, sheet_of
from jobs.store import Store
from schemas.errors import BadInput, StoreFailed, WrongUse
from schemas.job import Instrument
from schemas.load import load_sheet, shipped
from tests.jobs_doubles import NOON, SHEET, ticking

START_UP = "gas-boiler-start-up"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "home", clock=ticking()) as store:
        yield store


def test_a_job_from_a_shipped_sheet(store: Store) -> None:
    job = new_job(
        store,
        sheet=START_UP,
        site="Mill",
        technician="Ada",
        units="uk",
        appliances=[NewAppliance("one", ("the left one",), shipped("appliances")[0]), NewAppliance("two")],
    )
    assert (job.number, job.head.sheet, job.head.units, job.position) == ("job-1", START_UP, "uk", 1)
    assert [(one.tag, one.called) for one in job.appliances] == [("one", ("the left one",)), ("two", ())]
    assert job.head.created.utcoffset() is not None
    assert job == job_of(store, "job-1")
    file = appliance_file_of(store, job.appliances[0])
    assert file is not None
    assert file.id == job.appliances[0].file
    assert appliance_file_of(store, job.appliances[1]) is None


def test_numbers_follow_each_other_and_can_be_given(store: Store) -> None:
    for number in (None, "mill-2026", "job-7", None):
        new_job(store, sheet=START_UP, site="Mill", technician="Ada", units="us", number=number)
    assert [head.number for head in heads(store)] == ["job-1", "mill-2026", "job-7", "job-8"]


def test_a_later_edit_of_the_sheet_changes_nothing_in_the_job(store: Store, tmp_path: Path) -> None:
    sheet = tmp_path / "plain.toml"
    sheet.write_text(SHEET)
    job = new_job(store, sheet=str(sheet), site="Mill", technician="Ada", units="us")
    sheet.write_text(SHEET.replace('name = "CO2"', 'name = "Something else"'))
    assert sheet_of(store, job.head).quantity("co2").name == "CO2"
    assert load_sheet(str(sheet))[0].quantity("co2").name == "Something else"


def test_a_changed_copy_of_the_sheet_is_told(store: Store) -> None:
    job = new_job(store, sheet=START_UP, site="Mill", technician="Ada", units="us")
    kept = store.evidence.path(job.head.sheet_sha256)
    kept.chmod(0o600)
    kept.write_bytes(kept.read_bytes() + b"#")
    with pytest.raises(StoreFailed, match="missing or was changed"):
        sheet_of(store, job.head)


def test_instruments_are_remembered_as_last_entered(store: Store) -> None:
    old = Instrument(name="P2", kind="manometer", serial="7", calibrated=date(2025, 3, 1), due=date(2026, 3, 1))
    new = old.model_copy(update={"calibrated": date(2026, 3, 1), "due": date(2027, 3, 1)})
    other = Instrument(name="F6", kind="analyser")
    for given in ([old, other], [new]):
        new_job(store, sheet=START_UP, site="Mill", technician="Ada", units="us", instruments=given)
    assert instruments(store) == (other, new)


@pytest.mark.parametrize(
    ("change", "error", "says"),
    [
        ({"sheet": "no-such"}, WrongUse, "no sheet 'no-such'"),
        ({"number": "Mill 3"}, WrongUse, "number 'Mill 3'"),
        ({"appliances": [NewAppliance("a"), NewAppliance("a")]}, WrongUse, "Two appliances"),
        ({"appliances": [NewAppliance("a"), NewAppliance("b", ("A",))]}, WrongUse, "Two appliances"),
        ({"appliances": []}, WrongUse, "at least one appliance"),
        ({"appliances": [NewAppliance("")]}, WrongUse, "cannot be entered"),
        ({"appliances": [NewAppliance("a", file="no-such")]}, WrongUse, "no appliance 'no-such'"),
    ],
)
def test_what_cannot_be_opened(store: Store, change: dict[str, object], error: type[Exception], says: str) -> None:
    given: dict[str, object] = {"sheet": START_UP, "site": "Mill", "technician": "Ada", "units": "us"}
    with pytest.raises(error, match=says):
        new_job(store, **(given | change))  # type: ignore[arg-type] # the cases are wrong on purpose
    assert store.numbers() == ()


def test_a_broken_sheet_is_told(store: Store, tmp_path: Path) -> None:
    sheet = tmp_path / "bad.toml"
    sheet.write_text(SHEET.replace('group = "all"', 'group = "none"', 1))
    with pytest.raises(BadInput, match=r"bad\.toml"):
        new_job(store, sheet=str(sheet), site="Mill", technician="Ada", units="us")


def test_the_same_number_twice(store: Store) -> None:
    new_job(store, sheet=START_UP, site="Mill", technician="Ada", units="us", number="a")
    with pytest.raises(WrongUse, match="already"):
        new_job(store, sheet=START_UP, site="Mill", technician="Ada", units="us", number="a")


def test_a_store_can_be_moved(store: Store, tmp_path: Path) -> None:
    new_job(store, sheet=START_UP, site="Mill", technician="Ada", units="us")
    store.close()
    shutil.move(tmp_path / "home", tmp_path / "elsewhere")
    with Store(tmp_path / "elsewhere") as moved:
        assert sheet_of(moved, job_of(moved, "job-1").head).id == START_UP
        assert heads(moved)[0].created > NOON
