"""What tests share: a store with a small job and the command line run against it, and an office with invented jobs."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from bench.office_jobs import seed
from front.cli import run
from jobs.store import Store
from jobs.summary import Summaries
from tests.office import Browser, office

Command = Callable[..., tuple[int, str, str]]

LINES = (
    "Gas on, burner off. Inlet static is seven point seven inches.",
    "Okay, high fire now. CO2 is nine point three, O2 four point four, CO is seventy-six.",
    "Low fire now. CO2 is nine point two and O2 is nine point two.",
)


@pytest.fixture
def sayback(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """Run a command line in this process against a store of its own; return exit code, output and errors."""
    monkeypatch.setenv("SAYBACK_HOME", str(tmp_path / "store"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("COLUMNS", "200")

    def command(*arguments: object) -> tuple[int, str, str]:
        code = run([str(one) for one in arguments])
        printed = capsys.readouterr()
        assert "Traceback" not in printed.out + printed.err
        return code, printed.out, printed.err

    return command


@pytest.fixture(scope="session")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with the job t1, in which three lines were said; made once and copied for each test."""
    home = tmp_path_factory.mktemp("prepared") / "store"
    where = ("--site", "Brackley Wharf Bakehouse", "--technician", "Una Farrow", "--number", "t1")
    said = [part for line in LINES for part in ("--text", line)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SAYBACK_HOME", str(home))
        assert run(["new", *where, "--appliance", "boiler; orrinvale-ov-240c; the boiler"]) == 0
        assert run(["add", "t1", *said]) == 0
    return home


@pytest.fixture
def job(sayback: Command, prepared: Path, tmp_path: Path) -> str:
    """The job t1 in a store of the test's own."""
    shutil.copytree(prepared, tmp_path / "store")
    return "t1"


@pytest.fixture(scope="module")
def seeded(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with the invented jobs that the test's module names in ``JOBS``, by number; made once a module."""
    home = tmp_path_factory.mktemp("seeded") / "home"
    with Store(home) as store:
        for number, made in request.module.JOBS.items():
            seed(store, number, **made)
        summaries = Summaries(store)
        summaries.catch_up()
        summaries.close()
    return home


@pytest.fixture
def store(tmp_path: Path, seeded: Path) -> Iterator[Store]:
    """A store of the test's own with those jobs."""
    with Store(Path(shutil.copytree(seeded, tmp_path / "home"))) as store:
        yield store


@pytest.fixture
def client(store: Store) -> Iterator[TestClient]:
    """The office over that store."""
    with office(store) as client:
        yield client


@pytest.fixture
def clerk(client: TestClient) -> Browser:
    """A clerk at that office."""
    return Browser(client)
