"""The job book: opening a job, listing jobs, and what is remembered from one to the next."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Literal

from pydantic import ValidationError

from jobs.fold import Job, fold
from jobs.journal import Draft, JobOpened
from jobs.store import Store
from schemas.appliance import ApplianceFile
from schemas.errors import StoreFailed, WrongUse
from schemas.job import Instrument, JobAppliance, JobHead
from schemas.load import load_appliance, load_sheet
from schemas.sheet import Sheet

__all__ = [
    "NewAppliance",
    "appliance_file_of",
    "heads",
    "instruments",
    "job_of",
    "new_job",
    "sheet_of",
]


@dataclass(frozen=True)
class NewAppliance:
    """An appliance of a job to be opened; ``file`` is a shipped appliance file or the path of one."""

    tag: str
    called: tuple[str, ...] = ()
    file: str | None = None


def new_job(
    store: Store,
    *,
    sheet: str,
    site: str,
    technician: str,
    units: Literal["us", "uk"],
    appliances: Sequence[NewAppliance] = (NewAppliance("boiler"),),
    instruments: Sequence[Instrument] = (),
    customer: str = "",
    number: str | None = None,
) -> Job:
    """Open a job and return it.

    The job keeps its own copy of the sheet and the appliance files, so that a later edit of either changes nothing in
    it. Without ``number`` it gets the next free one.

    Raises:
        WrongUse: no such sheet or appliance file, a number that is taken or not a name, two appliances of one name.
        BadInput: the sheet or an appliance file is not valid.
    """
    loaded, sheet_sha256 = load_sheet(sheet)
    _keep_toml(store, sheet, "sheets", sheet_sha256)
    fitted = tuple(_fit(store, one) for one in appliances)
    _names_differ(fitted)
    try:
        head = JobHead(
            number=number or _next_number(store),
            sheet=loaded.id,
            sheet_sha256=sheet_sha256,
            site=site,
            customer=customer,
            technician=technician,
            units=units,
            appliances=fitted,
            instruments=tuple(instruments),
            created=store.clock(),
        )
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise WrongUse(f"The job cannot be opened: {where} {first['input']!r}: {first['msg']}.") from error
    entry = store.create(head.number, Draft(JobOpened(head=head), technician))
    return fold([entry])


def job_of(store: Store, number: str) -> Job:
    """Return a job as it stands.

    Raises:
        WrongUse: there is no such job.
    """
    return fold(store.entries(number))


def heads(store: Store) -> tuple[JobHead, ...]:
    """Return the heads of all jobs, in the order in which they were opened."""
    return tuple(entry.body.head for entry in store.first_entries() if isinstance(entry.body, JobOpened))


def instruments(store: Store) -> tuple[Instrument, ...]:
    """Return the instruments of all jobs so far, each as it was last entered, by name and serial number."""
    known = {(one.name, one.serial): one for head in heads(store) for one in head.instruments}
    return tuple(known[key] for key in sorted(known))


def sheet_of(store: Store, head: JobHead) -> Sheet:
    """Return the sheet that a job was opened with, from the job's own copy."""
    return _sheet(str(_kept(store, head.sheet_sha256, head.sheet)))


def appliance_file_of(store: Store, appliance: JobAppliance) -> ApplianceFile | None:
    """Return the appliance file that an appliance was entered with, from the job's own copy; None if it has none."""
    if appliance.file_sha256 is None:
        return None
    return _appliance_file(str(_kept(store, appliance.file_sha256, appliance.file or "")))


# A kept copy is named by the hash of its bytes, which was just worked out anew: one path, one content, for ever.
@lru_cache(maxsize=64)
def _sheet(path: str) -> Sheet:
    return load_sheet(path)[0]


@lru_cache(maxsize=256)
def _appliance_file(path: str) -> ApplianceFile:
    return load_appliance(path)[0]


def _kept(store: Store, sha256: str, name: str) -> Path:
    if not store.evidence.is_sound(sha256):
        raise StoreFailed(
            f"The job's own copy of {name} ({store.evidence.path(sha256)}) is missing or was changed; "
            "run sayback verify."
        )
    return store.evidence.path(sha256)


def _keep_toml(store: Store, name: str, kind: str, sha256: str) -> None:
    given = name.endswith(".toml") or "/" in name
    place = Path(name) if given else files("schemas").joinpath(kind, f"{name}.toml")
    kept, _ = store.evidence.keep_bytes(place.read_bytes())
    if kept != sha256:
        raise WrongUse(f"{name} was changed while it was being read; run the command again.")


def keep_file(store: Store, name: str) -> tuple[str, str]:
    """Keep a copy of an appliance file, a shipped one or one at a path; return its id and the copy's hash.

    Raises:
        WrongUse: there is no such file, or it was changed while it was read.
        BadInput: it is not valid.
    """
    loaded, sha256 = load_appliance(name)
    _keep_toml(store, name, "appliances", sha256)
    return loaded.id, sha256


def _fit(store: Store, new: NewAppliance) -> JobAppliance:
    file, sha256 = (None, None) if new.file is None else keep_file(store, new.file)
    try:
        return JobAppliance(tag=new.tag, called=new.called, file=file, file_sha256=sha256)
    except ValidationError as error:
        raise WrongUse(f"The appliance {new.tag!r} cannot be entered: {error.errors()[0]['msg']}.") from error


def _names_differ(appliances: Sequence[JobAppliance]) -> None:
    if not appliances:
        raise WrongUse("A job has at least one appliance; name it, such as boiler.")
    owner: dict[str, str] = {}
    for one in appliances:
        for name in (one.tag, *one.called):
            known = owner.setdefault(" ".join(name.casefold().split()), one.tag)
            if known != one.tag or [a.tag for a in appliances].count(one.tag) > 1:
                raise WrongUse(f"Two appliances of the job are called {name!r}; give each names of its own.")


def _next_number(store: Store) -> str:
    taken = [int(found[1]) for name in store.numbers() if (found := re.fullmatch(r"job-(\d+)", name))]
    return f"job-{max(taken, default=0) + 1}"
