"""``sayback look``: what is seen in one picture, without a job."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Annotated

import typer

from front.options import Json
from front.screen import columns, out, print_json
from schemas.errors import BadInput

__all__ = ["put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(look)


def look(
    photo: Annotated[Path, typer.Argument(help="A picture of an instrument, a slip or a plate.")],
    steps: Annotated[
        Path | None, typer.Option(help="Write a picture of each step of reading into this folder.")
    ] = None,
    json: Json = False,
) -> None:
    """Read one picture and say what is seen, how sure, and how to take a better one."""
    from capture import see, sniff
    from capture.steps import write_steps

    if sniff.identify(photo).kind != "photo":
        raise BadInput(f"{photo.name} is sound, not a picture; sayback add takes both.")
    readers = see.load_readers()
    if steps is not None:
        write_steps(photo, steps, readers)
    found = see.look(photo, hashlib.sha256(photo.read_bytes()).hexdigest(), readers)
    if json:
        print_json({"look": found})
        return
    table = columns("label", "value", "unit", "doubts", "might be", title=f"{photo.name}: {found.display}")
    for one in found.figures:
        doubts = "; ".join(doubt.detail or doubt.kind for doubt in one.doubts)
        table.add_row(one.label, one.value, one.unit, doubts, ", ".join(one.alternatives))
    out().print(table)
    for advice in found.advice:
        out().print(advice)
