"""``sayback limits``: limits that were quoted on site, and reading them back so that they count."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from front.options import By, JobNumber, Json, author
from front.screen import note, out, print_json
from front.show import source_of
from jobs.book import job_of, sheet_of
from jobs.decisions import give_file, read_back_limit
from jobs.fold import Job, JobLimit
from jobs.limits_file import draft_of
from jobs.show import show_value
from jobs.store import Store, home_folder
from schemas.errors import StoreFailed, WrongUse
from schemas.sheet import Sheet

__all__ = ["limit_words", "put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(limits)


def limits(
    job: JobNumber,
    agree: Annotated[list[int] | None, typer.Option(help="The number of a limit that is right as listed.")] = None,
    refuse: Annotated[list[int] | None, typer.Option(help="The number of a limit that is not right.")] = None,
    save: Annotated[
        Path | None, typer.Option(help="Write what is known of an appliance as a draft of its file.")
    ] = None,
    file: Annotated[
        str | None, typer.Option(help="The appliance file that holds from now on: a shipped one or a path.")
    ] = None,
    why: Annotated[str, typer.Option(help="With --file: why.")] = "",
    appliance: Annotated[
        str | None, typer.Option(help="With --save and --file: which appliance, where there are several.")
    ] = None,
    by: By = None,
    json: Json = False,
) -> None:
    """List the limits that were quoted aloud. One counts only once a person has agreed to it.

    --file gives an appliance a corrected or a first appliance file: new findings, and the old ones stay in the journal.
    """
    with Store(home_folder()) as store:
        one = job_of(store, job)
        sheet = sheet_of(store, one.head)
        for numbers, agreed in ((agree or [], True), (refuse or [], False)):
            for number in numbers:
                if not 1 <= number <= len(one.limits):
                    raise WrongUse(f"There is no limit {number}; job {job} has {len(one.limits)}.")
                read_back_limit(store, job, one.limits[number - 1].key, agreed=agreed, by=author(by, one))
        if file is not None:
            give_file(store, job, _one_of(one, appliance), file, by=author(by, one), why=why)
            note("Read anew with that file. What was found before stays in the journal: sayback check.")
        one = job_of(store, job)
    if save is not None:
        _save(one, sheet, save, _one_of(one, appliance))
    if json:
        print_json({"job": job, "limits": [{**vars(limit), "quoted": limit.quoted} for limit in one.limits]})
        return
    if not one.limits:
        out().print("No limit was quoted.")
    several = len(one.appliances) > 1
    for place, limit in enumerate(one.limits, 1):
        state = {None: "not read back", True: f"agreed by {limit.by}", False: f"refused by {limit.by}"}[limit.agreed]
        out().print(f"{place:3}. {limit_words(limit, sheet, several=several)}: {state} ({_where(limit, one)})")


def _one_of(job: Job, appliance: str | None) -> str:
    tags = [each.tag for each in job.appliances]
    if appliance is None and len(tags) > 1:
        raise WrongUse(f"Job {job.number} has several appliances; add --appliance with one of: {', '.join(tags)}.")
    tag = appliance or tags[0]
    if tag not in tags:
        raise WrongUse(f"Job {job.number} has no appliance {tag!r}; it has {', '.join(tags)}.")
    return tag


def _save(job: Job, sheet: Sheet, path: Path, tag: str) -> None:
    text = draft_of(job, sheet, tag)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise WrongUse(f"{path} is there already and is left as it is; give another name.") from error
    except OSError as error:
        raise StoreFailed(f"The draft cannot be written to {path} ({error.strerror}); give another place.") from error
    note(f"{path} is a draft: compare every figure with the maker's instructions before it is used.")


def limit_words(limit: JobLimit, sheet: Sheet, *, several: bool) -> str:
    """Return a quoted limit in words: ``high fire CO2 8.5 to 9.5 %``; with several appliances, which it holds for."""
    quoted = limit.quoted
    whose = (
        f"{quoted.appliance or 'all appliances'}, " if several and not sheet.quantity(quoted.quantity).every_job else ""
    )
    condition = f"{sheet.condition(quoted.condition).name} " if quoted.condition else ""
    name = f"{whose}{condition}{sheet.quantity(quoted.quantity).name}"
    if quoted.low is not None and quoted.high is not None:
        return f"{name} {quoted.low} to {show_value(quoted.high, quoted.unit)}"
    if quoted.high is not None:
        return f"{name} at most {show_value(quoted.high, quoted.unit)}"
    return f"{name} at least {show_value(quoted.low or '', quoted.unit)}"


def _where(limit: JobLimit, job: Job) -> str:
    names = {one.sha256: one.evidence.name for one in job.filed}
    return f"{source_of(limit.quoted.source, names)}: “{limit.quoted.source.heard}”"
