"""The conversation for those who can look: line by line, what was said last in capitals, and how loud it is."""

from __future__ import annotations

import sys
from types import TracebackType
from typing import Protocol

from rich.align import Align
from rich.console import Console, Group
from rich.live import Live
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from front.screen import clock

__all__ = ["Screen", "Watcher"]

_MARKS = {"heard": "  ", "kept": "= ", "open": "? ", "tone": "♪ ", "said": "» ", "warning": "! "}
_QUIETEST = -60.0


class Watcher(Protocol):
    """Somebody who looks at what happens: the screen, a bench."""

    def line(self, kind: str, text: str, at: float) -> None:
        """Something happened: ``heard``, ``kept``, ``open``, ``tone``, ``said``, ``warning``."""
        ...

    def level(self, decibels: float, speaking: bool) -> None:
        """How loud it is now, in decibels of full scale."""
        ...


class Screen:
    """Shows what happens, one line each; on a terminal what was said last and the level stay below. rich honours
    NO_COLOR."""

    def __init__(self, title: str, *, quiet: bool = False) -> None:
        self._console = Console(file=sys.stderr, highlight=False, emoji=False, markup=False)
        self._title = title
        self._quiet = quiet
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
            self._console.print(f"{self._title}.", soft_wrap=True)
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
        if self._live is not None:  # a long one goes on below its own beginning
            grid = Table.grid(padding=(0, 1))
            grid.add_row(f"{clock(at)} ", _MARKS.get(kind, " ").strip(), text)
            self._console.print(grid)
        elif not self._quiet:
            self._console.print(f"{clock(at)}  {_MARKS.get(kind, '  ')}{text}", soft_wrap=True)

    def level(self, decibels: float, speaking: bool) -> None:
        """Show how loud it is."""
        self._level, self._speaking = decibels, speaking

    def _view(self) -> Group:
        filled = round(30 * max(0.0, 1 - self._level / _QUIETEST))
        meter = "█" * filled + "·" * (30 - filled) + ("  speech" if self._speaking else "")
        large = Text("\n" + self._said.upper() + "\n", style="bold", justify="center")
        return Group(
            Panel(Align.center(large), title=self._title),
            Text(meter),
        )
