"""What may have been misheard for something that stops the work. The pairs were heard of stops in a burner's noise."""

from __future__ import annotations

import numpy as np
import pytest

from extract import Nearly, compile_sheet
from extract.sounds import apart, sounds_of
from schemas.load import load_sheet

SHEET, _ = load_sheet("gas-boiler-start-up")
GRAMMAR = compile_sheet(SHEET)
NEARLY = Nearly(SHEET, GRAMMAR.alarms)


@pytest.mark.parametrize(
    ("heard", "said"),
    [
        ("Got barrels on the joint.", "Got bubbles on the joint"),
        ("It slowed out again.", "It rolled out again"),
        ("That's close ignition on the second try.", "That's explosive ignition on the second try"),
        ("He just aimed it.", "He just fainted"),
    ],
)
def test_what_sounds_like_a_stop_is_tried(heard: str, said: str) -> None:
    assert said in NEARLY([heard])


def test_what_one_text_says_already_is_not_looked_for() -> None:
    texts = ["I smell gas in here.", "I smell glass in here."]
    assert not [line for line in NEARLY(texts) if {one.stop for one in GRAMMAR.alarms.heard(line)} == {"gas_smell"}]


def test_nothing_is_made_of_nothing_and_each_is_tried_once() -> None:
    assert NEARLY([]) == NEARLY(["..."]) == []
    tried = NEARLY(["And goes the C O alarm.", "And the CO alarm."])
    assert len(tried) == len(set(tried)) <= 16
    assert tried == NEARLY(["And goes the C O alarm.", "And the CO alarm."])


def test_how_far_sounds_lie_apart() -> None:
    same, near, far = apart([sounds_of("bubbles")], [sounds_of("bubbles"), sounds_of("barrels"), sounds_of("kettle")])[
        0
    ]
    assert same == 0
    assert same < near < far <= 1
    some, others = ["gas", "alarm"], ["glas", "alar", "klok"]
    assert np.array_equal(apart(some, others), apart(others, some).T)  # whichever of the two was heard
    assert apart(some, others)[0, 0] == apart(["gas"], ["glas"])[0, 0]  # nor does it matter what stands beside it
