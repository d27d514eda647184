"""How a stop is told aloud: as what it is where it was heard for sure, and asked where it may have been said."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import checks
from front.voice.news import news_of
from front.voice.wording import Wording
from jobs.book import job_of, sheet_of
from jobs.extraction import place_now
from jobs.store import Store
from schemas.readings import Alarm, Source


@pytest.mark.parametrize("sure", [True, False])
def test_a_stop_that_may_have_been_said_is_asked_and_stands(job: str, tmp_path: Path, sure: bool) -> None:
    with Store(tmp_path / "store") as store:
        before = job_of(store, job)
        sheet, at = sheet_of(store, before.head), place_now(store, before, sheet_of(store, before.head))
    source = Source(evidence="a" * 64, utterance=1, start=1.0, end=2.0, span=None, heard="a smell of gas")
    alarm = Alarm(stop="gas_smell", sure=sure, source=source)
    after = replace(before, alarms=(alarm,), findings=(*checks.said_stops([alarm], sheet), *before.findings))
    news = news_of(
        before, after, sheet, Wording(sheet, several=False), utterances=[], was_at=at, is_at=at, number=False
    )
    ((rule, words, aloud),) = news.stops
    assert (rule, aloud) == ("gas_smell", True)
    assert "Everyone out" in words
    assert words.startswith("Gas smell. Gas was smelt." if sure else "Gas smell? It may have been said")
