"""The conversation for those who can look: the last lines, large and plain, and how loud it is."""

from __future__ import annotations

import sys
from collections import deque
from types import TracebackType

from rich.align import Align
from rich.console import Console, Group
from rich.live import Live
from rich.panel import Panel
from rich.text import Text

from front.screen import clock

__all__ = ["Screen"]

_MARKS = {"heard": "  ", "kept": "= ", "open": "? ", "tone": "♪ ", "said": "» ", "warning": "! "}
_LINES = 12
_QUIETEST = -60.0


class Screen:
    """Shows what happens: a live view on a terminal, one plain line each elsewhere. rich honours NO_COLOR."""

    def __init__(self, title: str, *, quiet: bool = False) -> None:
        self._console = Console(file=sys.stderr, highlight=False, emoji=False, markup=False, soft_wrap=True)
        self._title = title
        self._quiet = quiet
        self._lines: deque[str] = deque(maxlen=_LINES)
        self._said = ""
        self._level = _QUIETEST
        self._speaking = False
        self._live: Live | None = None
        if self._console.is_terminal and not quiet:
            self._live = Live(console=self._console, get_renderable=self._view, refresh_per_second=8)

    def __enter__(self) -> Screen:
        if self._live is not None:
            self._live.start()
        elif not self._quiet:
            self._console.print(f"{self._title}.")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._live is not None:
            self._live.stop()

    def line(self, kind: str, text: str, at: float) -> None:
        """Show that something happened."""
        if kind == "said":
            self._said = text
        line = f"{clock(at)}  {_MARKS.get(kind, '  ')}{text}"
        self._lines.append(line)
        if self._live is None and not self._quiet:
            self._console.print(line)

    def level(self, decibels: float, speaking: bool) -> None:
        """Show how loud it is."""
        self._level, self._speaking = decibels, speaking

    def _view(self) -> Group:
        filled = round(30 * max(0.0, 1 - self._level / _QUIETEST))
        meter = "█" * filled + "·" * (30 - filled) + ("  speech" if self._speaking else "")
        large = Text("\n" + self._said.upper() + "\n", style="bold", justify="center")
        return Group(
            Panel(Align.center(large), title=self._title),
            Text("\n".join(self._lines)),
            Text(meter),
        )
