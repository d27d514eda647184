"""What is shown while it listens: nothing that was said is cut off at the edge of the terminal."""

from __future__ import annotations

import re
import sys
from io import StringIO

import pytest

from front.voice.screen import Screen

STOP = "Gas smell. Everyone out, doors open on the way. Call the gas supplier from outside, and do not go back in."


class Terminal(StringIO):
    def isatty(self) -> bool:
        return True


def test_on_a_narrow_terminal_a_long_line_goes_on_below(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    for name, value in (("COLUMNS", "40"), ("LINES", "30"), ("TERM", "xterm"), ("NO_COLOR", "1")):
        monkeypatch.setenv(name, value)
    with Screen("Mill: listening") as screen:
        screen.line("heard", "I smell gas here.", 3.0)
        screen.line("said", STOP, 4.0)
    lines = [re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", line).rstrip() for line in terminal.getvalue().splitlines()]
    assert max(map(len, lines)) <= 40
    shown = " ".join(" ".join(line.strip("│ ") for line in lines).split())
    assert f"0:04 » {STOP}" in shown
    assert STOP.upper() in shown


def test_elsewhere_each_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = StringIO()
    monkeypatch.setattr(sys, "stderr", plain)
    monkeypatch.setenv("COLUMNS", "40")
    with Screen("Mill: listening") as screen:
        screen.line("said", STOP, 4.0)
    assert plain.getvalue().splitlines() == ["Mill: listening.", f"0:04  » {STOP}"]
