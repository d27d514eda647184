"""The limits of a job as the draft of an appliance file: what was read back and what the plate says, nothing else."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Sequence
from typing import get_args

from pydantic import ValidationError

from jobs.findings import known_limits_of
from jobs.fold import Job
from schemas.appliance import ApplianceFile, Fuel
from schemas.errors import WrongUse
from schemas.findings import Limit
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["draft_of"]


def draft_of(job: Job, sheet: Sheet, tag: str) -> str:
    """Return the text of a draft appliance file for one appliance of a job.

    Quantities of one condition keep one limit from each side: the first that was quoted. Names, fuel and inputs are
    taken from the readings that stand; what they do not say is left for the person who makes the file of the draft.

    Raises:
        WrongUse: no limit is known yet, or the gas is not recorded, without which no file is of use.
    """
    limits = known_limits_of(job, sheet, tag, None, None)
    if not limits:
        raise WrongUse(
            f"No limit of {tag} is known that could be saved: read back those that were quoted (sayback limits "
            f"{job.number} --agree N) or record the rating plate."
        )
    said = {r.quantity: r for r in job.readings if r.taken and r.appliance in (tag, None) and r.condition == ""}
    fuel = said["fuel"].value if "fuel" in said else ""
    if fuel not in get_args(Fuel):
        raise WrongUse(f'The gas of {tag} is not recorded; say it ("running on natural gas") and save again.')
    text = "\n".join(_lines(job, tag, fuel, said, limits)) + "\n"
    try:
        ApplianceFile.model_validate(tomllib.loads(text))
    except ValidationError as error:
        first = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise WrongUse(
            f"The limits of {tag} do not fit each other ({first}); refuse one of them and save again."
        ) from error
    return text


def _lines(job: Job, tag: str, fuel: str, said: dict[str | None, Reading], limits: Sequence[Limit]) -> Iterator[str]:
    maker, model = (said[name].value if name in said else "" for name in ("maker", "model"))
    title = " ".join(part for part in (maker, model) if part) or tag
    yield f"# A draft: the limits that were read back and the plate's in job {job.number}, for {tag}."
    yield "# Compare every figure with the maker's instructions, and add document and pages, before it is used again."
    yield f"id = {_text(_name(title))}"
    yield f"title = {_text(f'{title}, draft')}"
    yield f"maker = {_text(maker)}"
    yield f"model = {_text(model)}"
    yield f"document = {_text(f'quoted on site in job {job.number}, not compared with the instructions')}"
    yield f"fuel = {_text(fuel)}"
    high, low = said.get("input_max"), said.get("input_min")
    for name, reading in (("input_high", high), ("input_low", low)):
        if reading is not None and (high is None or reading.unit == high.unit):
            yield f"{name} = {_text(reading.value)}"
    if high is not None or low is not None:
        yield f"input_unit = {_text((high or low or next(iter(said.values()))).unit)}"
    for group in _slots(limits):
        yield ""
        for limit in group:
            by = f", read back to {limit.origin.by}" if limit.origin.by else ""
            heard = limit.origin.source.heard if limit.origin.source else ""
            yield f"# {limit.origin.title}{by}: {' '.join(heard.split())}".rstrip(": ")
        yield "[[limits]]"
        yield f"quantity = {_text(group[0].quantity)}"
        if group[0].condition:
            yield f"condition = {_text(group[0].condition)}"
        for name in ("low", "high"):
            bound = next((value for one in group if (value := getattr(one, name)) is not None), None)
            if bound is not None:
                yield f"{name} = {_text(bound)}"
        yield f"unit = {_text(group[0].unit)}"
        if page := next((one.origin.page for one in group if one.origin.page), ""):
            yield f"page = {_text(page)}"


def _slots(limits: Sequence[Limit]) -> Iterator[list[Limit]]:
    """Yield the limits of each quantity, condition and unit, in the order in which they are believed."""
    found: dict[tuple[str, str, str], list[Limit]] = {}
    for limit in limits:
        found.setdefault((limit.quantity, limit.condition, limit.unit), []).append(limit)
    yield from found.values()


def _name(title: str) -> str:
    plain = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:50]
    return f"{plain}-draft" if re.match(r"[a-z]", plain) else f"draft-{plain}".rstrip("-")


def _text(value: str) -> str:
    # A JSON string without escaped letters is a TOML basic string.
    return json.dumps(value, ensure_ascii=False)
