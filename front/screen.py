"""What commands print with: plain words first, colour only as company, JSON where it was asked for."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel
from rich.console import Console
from rich.table import Table
from rich.text import Text

from jobs.spool import say_left

__all__ = ["clock", "columns", "note", "out", "print_hung", "print_json", "rows_of", "standing", "unheard"]


_PIPED = 130
"""Columns where nothing says how wide the reader's are."""


def out() -> Console:
    """Return a console on standard output; rich honours NO_COLOR and COLUMNS. Long lines wrap, nothing is cut."""
    wide = None if sys.stdout.isatty() or "COLUMNS" in os.environ else _PIPED
    return Console(file=sys.stdout, width=wide, highlight=False, emoji=False, markup=False)


def print_hung(text: str, indent: int = 2) -> None:
    """Print a paragraph with each of its lines so many spaces in."""
    console = out()
    for line in Text(text).wrap(console, max(console.width - indent, 20)):
        console.print(" " * indent + line.plain.rstrip(), soft_wrap=True)


def note(text: str) -> None:
    """Write a line for the person at the terminal that is no part of the result."""
    Console(file=sys.stderr, highlight=False, emoji=False, markup=False, soft_wrap=True).print(text)


def columns(*names: str, title: str = "") -> Table:
    """Return an empty table with the given column heads."""
    table = Table(title=title or None, title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in names:
        table.add_column(name, overflow="fold")
    return table


def rows_of(table: Table, rows: Sequence[Sequence[str]]) -> Table:
    """Add rows to a table and return it."""
    for row in rows:
        table.add_row(*row)
    return table


def standing(job: str, taken: int, questions: int) -> str:
    """ "Job 7: 1 reading stands, 2 questions are open." """
    stand = "1 reading stands" if taken == 1 else f"{taken} readings stand"
    open_ = "1 question is open" if questions == 1 else f"{questions} questions are open"
    return f"Job {job}: {stand}, {open_}."


def unheard(job: str, seconds: float) -> str:
    """Say that sound of a job is not read yet, and what reads it."""
    return f"{say_left(seconds)}; sayback listen {job} or sayback add {job} reads it."


def clock(seconds: float) -> str:
    """Return seconds of a file as minutes and seconds: ``2:07``."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def print_json(data: Mapping[str, Any]) -> None:
    """Print one JSON object; models are written as their own JSON."""
    print(json.dumps(data, indent=2, ensure_ascii=False, default=_plain))


def _plain(value: object) -> Any:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json")
    return str(value)
