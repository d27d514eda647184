"""The command line: ``sayback``. One file a command; here they come together and their errors are told."""

from __future__ import annotations

import logging
import os
import sys
import tempfile
import traceback
from collections.abc import Sequence
from pathlib import Path

import typer
from typer.exceptions import TyperException

from front import (
    add,
    ask,
    blank,
    book,
    bundle,
    check,
    clock,
    explain,
    limits,
    listen,
    look,
    office,
    ready,
    report,
    show,
    stops,
    trail,
    verify,
)
from schemas.errors import ExitCode, SaybackError

__all__ = ["app", "main", "run"]

app = typer.Typer(
    name="sayback",
    help="Turns what a heating technician says and photographs at work into checked readings and a report. "
    "It records and checks; the maker's instructions, local code and licensed practice rule.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
for part in (
    book,
    add,
    listen,
    show,
    explain,
    ask,
    limits,
    clock,
    check,
    stops,
    trail,
    report,
    office,
    verify,
    blank,
    bundle,
    look,
    ready,
):
    part.put_on(app)


def run(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit code; whatever goes wrong is told in a sentence on standard error."""
    logging.getLogger("rapidocr").setLevel(logging.CRITICAL)
    try:
        result = app(list(arguments), standalone_mode=False, prog_name="sayback")
        sys.stdout.flush()
    except SaybackError as error:
        print(f"sayback: {error}", file=sys.stderr)
        return int(error.exit_code)
    except TyperException as error:
        print(f"sayback: {error.format_message()} Try sayback --help.", file=sys.stderr)
        return int(ExitCode.WRONG_USE)
    except BrokenPipeError:
        # Whoever read the output has seen enough; leave without a second error when Python flushes at the end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return int(ExitCode.DONE)
    except (KeyboardInterrupt, typer.Abort):
        print("sayback: stopped; what was kept is safe, run the command again to go on.", file=sys.stderr)
        return 130
    except Exception:
        print(f"sayback: a fault of sayback's own; the particulars are in {_noted()}.", file=sys.stderr)
        return int(ExitCode.OWN_FAULT)
    return int(result or ExitCode.DONE)


def main() -> None:
    """Run the command line of this process."""
    sys.exit(run(sys.argv[1:]))


def _noted() -> Path:
    """Write the traceback of the current exception to a file and return where."""
    state = os.environ.get("XDG_STATE_HOME", "")
    folder = (Path(state) if state.startswith("/") else Path.home() / ".local" / "state") / "sayback"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        file = folder / "fault.txt"
        file.write_text(traceback.format_exc(), encoding="utf-8")
    except OSError:
        handle, name = tempfile.mkstemp(prefix="sayback-fault-", suffix=".txt", text=True)
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(traceback.format_exc())
        return Path(name)
    return file
