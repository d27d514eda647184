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
    assert said in NEARLY([heard], False)


def test_what_one_text_says_already_is_not_looked_for() -> None:
    texts = ["I smell gas in here.", "I smell glass in here."]
    assert not [
        line for line in NEARLY(texts, False) if {one.stop for one in GRAMMAR.alarms.heard(line)} == {"gas_smell"}
    ]


def test_nothing_is_made_of_nothing_and_each_is_tried_once() -> None:
    assert NEARLY([], False) == NEARLY(["..."], False) == []
    tried = NEARLY(["And goes the C O alarm.", "And the CO alarm."], False)
    assert len(tried) == len(set(tried)) <= 10
    assert tried == NEARLY(["And goes the C O alarm.", "And the CO alarm."], False)


def test_how_far_sounds_lie_apart() -> None:
    same, near, far = apart([sounds_of("bubbles")], [sounds_of("bubbles"), sounds_of("barrels"), sounds_of("kettle")])[
        0
    ]
    assert same == 0
    assert same < near < far <= 1
    some, others = ["gas", "alarm"], ["glas", "alar", "klok"]
    assert np.array_equal(apart(some, others), apart(others, some).T)  # whichever of the two was heard
    assert apart(some, others)[0, 0] == apart(["gas"], ["glas"])[0, 0]  # nor does it matter what stands beside it


def test_of_what_was_heard_clearly_only_what_sounds_much_like_it_is_tried() -> None:
    assert "It rolled out again" in NEARLY(["It slowed out again."], True)
    assert NEARLY(["CO2 is nine point four."], True) == []


def test_nothing_is_made_of_what_reads_something_out() -> None:
    assert NEARLY(["Ground bolt zero point two."], False) == []
    assert NEARLY(["Fire hole is about 118."], False) == []
