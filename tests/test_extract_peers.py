"""The common adapter that other people's readers are measured with."""

from __future__ import annotations

import re
from typing import Any

import pytest

from bench import peers
from schemas.load import load_sheet

SHEET = load_sheet("gas-boiler-start-up")[0]


def digits(text: str) -> list[peers.Found]:
    return [peers.Found(m.group(), "", m.start(), m.end()) for m in re.finditer(r"\d+(?:\.\d+)?", text)]


def predicted(*texts: str) -> dict[str, Any]:
    item = {"id": "x", "units": "us", "utterances": [{"t": 0.0, "text": t} for t in texts]}
    return peers.predict(item, digits, SHEET)


def test_peers_nearest_name_and_carried_condition() -> None:
    found = predicted("Going to high fire.", "Oxygen is 4.5 and flue temp 121.")["readings"]
    assert [(r["quantity"], r["condition"], r["value"], r["unit"]) for r in found] == [
        ("o2", "high_fire", "4.5", "pct"),
        ("flue_temp", "high_fire", "121", "F"),
    ]


def test_peers_limits_and_questions_are_passed_over_and_the_unlikely_is_asked() -> None:
    assert predicted("High fire oxygen should be 4.5.", "Is the oxygen 4.5?")["readings"] == []
    found = predicted("High fire oxygen is 45.")
    assert (found["readings"], [a["value"] for a in found["asks"]]) == ([], ["45"])


def test_peers_that_are_missing_are_named_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(peers, "PEERS", {"nobody's": ("no_such_module_here", lambda: digits)})
    readers, missing = peers.load()
    assert not readers
    assert missing == ["nobody's is not installed; run script/bootstrap peers to measure it beside ours."]
