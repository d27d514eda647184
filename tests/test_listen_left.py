"""Live sound that a killed listening left: it is told wherever the job is looked at, until it is read."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from front.report import made_report
from jobs.book import job_of
from jobs.decisions import close
from jobs.spool import RATE, Spool, say_left, seconds_left
from jobs.store import Store
from schemas.errors import WrongUse
from tests.conftest import Command


def test_sound_that_is_not_read_yet_is_told_and_a_job_is_not_closed_over_it(
    sayback: Command, job: str, tmp_path: Path
) -> None:
    tells = "7 seconds of sound are not read yet; sayback listen t1 or sayback add t1 reads it."
    commands = (("show", job), ("check", job), ("pack", job, "--to", tmp_path), ("verify", job))
    assert tells not in sayback("show", job)[1]
    with Store(tmp_path / "store") as store:
        open_before = made_report(store, job)[1].open
        Spool(store.home, job, datetime.now(UTC)).write(bytes(2 * round(6.2 * RATE)))  # and no more, as after a kill
        assert seconds_left(store.home, job_of(store, job)) == pytest.approx(6.2)
        _, report = made_report(store, job)
        with pytest.raises(WrongUse, match="7 seconds of sound are not read yet"):
            close(store, job, by="Una Farrow", why="done")
    assert report.unread == ("7 seconds of sound are not read yet",)
    assert report.open == open_before + 1
    for command in commands:
        assert tells in sayback(*command)[1], command
    code, out, _ = sayback("check", job, "--json")
    assert (code, json.loads(out)["unread_seconds"]) == (1, pytest.approx(6.2))


def test_a_second_is_one() -> None:
    assert say_left(0.3) == "1 second of sound is not read yet"
