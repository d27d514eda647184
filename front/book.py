"""``sayback new`` and ``sayback jobs``: opening a job, and the jobs there are."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, get_args

import typer
from pydantic import ValidationError

from front.options import Json
from front.screen import columns, out, print_json, rows_of
from jobs.book import NewAppliance, heads, instruments, new_job
from jobs.store import Store, home_folder
from schemas.errors import WrongUse
from schemas.job import Instrument

__all__ = ["instrument_of", "put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(new)
    app.command()(jobs)


def new(
    site: Annotated[str, typer.Option(help="Where the work is.")],
    technician: Annotated[str, typer.Option(help="Who does the work.")],
    sheet: Annotated[str, typer.Option(help="A shipped sheet, or the path of one.")] = "gas-boiler-start-up",
    appliance: Annotated[
        list[str] | None,
        typer.Option(
            help="An appliance: 'TAG; APPLIANCE FILE; other names, by commas'. The file (a shipped one or a path) and "
            "the names may be left out. Give it once for each appliance."
        ),
    ] = None,
    instrument: Annotated[
        list[str] | None,
        typer.Option(
            help="An instrument: 'NAME; KIND; SERIAL; CALIBRATED; DUE', dates as 2026-08-19; kind is manometer, "
            "analyser, thermometer, multimeter or other. One used before needs its name only."
        ),
    ] = None,
    customer: Annotated[str, typer.Option(help="For whom.")] = "",
    units: Annotated[str, typer.Option(help="What an unspoken unit means: us or uk.")] = "us",
    number: Annotated[str | None, typer.Option(help="The job's number; without one it gets the next free one.")] = None,
    json: Json = False,
) -> None:
    """Open a job."""
    if units not in ("us", "uk"):
        raise WrongUse(f"--units {units!r} is not known; say us or uk.")
    system: Literal["us", "uk"] = "us" if units == "us" else "uk"
    with Store(home_folder()) as store:
        known = {one.name.casefold(): one for one in instruments(store)}
        job = new_job(
            store,
            sheet=sheet,
            site=site,
            technician=technician,
            customer=customer,
            units=system,
            appliances=[_appliance_of(text) for text in appliance or ["boiler"]],
            instruments=[instrument_of(text, known) for text in instrument or []],
            number=number,
        )
    if json:
        print_json({"job": job.head})
    else:
        out().print(f"Job {job.number} is open: {job.head.site}, sheet {job.head.sheet}.")
        out().print(f"Next: sayback add {job.number} FILE…")


def jobs(json: Json = False) -> None:
    """List the jobs."""
    with Store(home_folder()) as store:
        found = heads(store)
    if json:
        print_json({"jobs": found})
        return
    if not found:
        out().print("There is no job yet; open one with sayback new.")
        return
    table = columns("job", "opened", "site", "appliances", "technician", "sheet")
    rows = [
        [
            h.number,
            h.created.strftime("%Y-%m-%d"),
            h.site,
            ", ".join(a.tag for a in h.appliances),
            h.technician,
            h.sheet,
        ]
        for h in found
    ]
    out().print(rows_of(table, rows))


def _appliance_of(text: str) -> NewAppliance:
    tag, file, called = _fields(text, 3, "--appliance 'TAG; APPLIANCE FILE; other names'")
    names = tuple(name for part in called.split(",") if (name := part.strip()))
    return NewAppliance(tag, names, file or None)


def instrument_of(text: str, known: dict[str, Instrument]) -> Instrument:
    """Return the instrument that a line describes; ``known`` holds those of earlier jobs by name in lower case.

    Raises:
        WrongUse: the line does not fit, a date is none, or the kind is unknown.
    """
    shape = "--instrument 'NAME; KIND; SERIAL; CALIBRATED; DUE'"
    name, kind, serial, calibrated, due = _fields(text, 5, shape)
    before = known.get(name.casefold())
    if before is not None and not (kind or serial or calibrated or due):
        return before
    kinds = get_args(Instrument.model_fields["kind"].annotation)
    if kind and kind not in kinds:
        raise WrongUse(f"An instrument of kind {kind!r} is not known; say {', '.join(kinds)}.")
    try:
        return Instrument.model_validate(
            {
                "name": name,
                "kind": kind or (before.kind if before else "other"),
                "serial": serial or (before.serial if before else ""),
                "calibrated": date.fromisoformat(calibrated) if calibrated else before and before.calibrated,
                "due": date.fromisoformat(due) if due else before and before.due,
            }
        )
    except ValidationError as error:
        raise WrongUse(
            f"{text!r} does not describe an instrument: {error.errors()[0]['msg']}. Write {shape}."
        ) from error
    except ValueError:
        raise WrongUse(f"{text!r} holds a date that is none; write dates as 2026-08-19.") from None


def _fields(text: str, most: int, shape: str) -> list[str]:
    parts = [part.strip() for part in text.split(";")]
    if not parts[0] or len(parts) > most:
        raise WrongUse(f"{text!r} does not fit; write {shape}.")
    return parts + [""] * (most - len(parts))
