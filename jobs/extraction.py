"""All evidence of a job run through extraction, in the order of the work, and the journal brought up to date with it.

Extraction is pure and quick, so it always runs over everything: the same evidence gives the same readings in whatever
order and in however many pieces it was added, and a photo added later finds the context of its moment. What comes out
is compared with what the journal has; only the difference is written.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

import extract
from jobs.agree import weigh
from jobs.book import appliance_file_of
from jobs.fold import Job, agreement_key, fold, latest, place_key
from jobs.journal import Agreement, Body, Draft, Entry, Operated, Placed, Withdrawn
from jobs.place import find_places, photos_differ, placed
from jobs.store import JournalMoved, Store
from jobs.table import operation_key
from jobs.timeline import Filed, Moment, in_order
from schemas.evidence import Utterance
from schemas.job import JobAppliance
from schemas.readings import Operation
from schemas.sheet import Sheet

__all__ = ["bring_up_to_date", "extract_all", "grammar_of", "photos_ahead", "place_now", "setting_of", "still_to_write"]


def bring_up_to_date(store: Store, number: str, sheet: Sheet) -> None:
    """Journal what extraction and weighing find that the journal does not have yet."""
    while True:
        entries = store.entries(number)
        try:
            store.append(number, still_to_write(store, entries, sheet), after=entries[-1].seq)
        except JournalMoved:
            continue  # another process added evidence meanwhile, which extraction has to see too
        return


def still_to_write(store: Store, entries: Sequence[Entry], sheet: Sheet) -> list[Draft]:
    """Return what extraction and weighing find in the job that ``entries`` tell, as far as they do not tell it yet."""
    job = fold(entries)
    found = extract_all(job, sheet, grammar_of(sheet), setting_of(store, job, sheet))
    return _difference(entries, found)


def grammar_of(sheet: Sheet) -> extract.Grammar:
    """Return a sheet compiled for extraction."""
    return _grammar(sheet.model_dump_json())


def place_now(store: Store, job: Job, sheet: Sheet) -> tuple[str | None, str | None]:
    """Return the appliance and the condition that the work is at after all that was said, None where not known."""
    steps = _steps(job, grammar_of(sheet), setting_of(store, job, sheet))
    return (steps[-1].after.tag(), steps[-1].after.state) if steps else (None, None)


@lru_cache(maxsize=4)
def _grammar(sheet: str) -> extract.Grammar:
    """Compile a sheet once a process: it takes longer than reading a job. ``sheet`` is its JSON."""
    return extract.compile_sheet(Sheet.model_validate_json(sheet))


def setting_of(store: Store, job: Job, sheet: Sheet) -> extract.Setting:
    """Return what extraction has to know of a job beforehand.

    Fuel and governor only where every appliance has a file and all of them agree.
    """
    files = [appliance_file_of(store, one) for one in job.appliances]
    fuels = {file.fuel if file else None for file in files}
    governors = {file.governor if file else "not said" for file in files}
    return extract.Setting(
        units=job.head.units,
        appliances=job.appliances,
        fuel=fuels.pop() if len(fuels) == 1 else None,
        governor=governors.pop() if len(governors) == 1 else "not said",
        known=tuple(
            extract.Known(one.tag, q.id, told, file.input_unit if q.kind == "number" else "")
            for one, file in zip(job.appliances, files, strict=True)
            if file is not None
            for q in sheet.quantities
            if q.in_file and (told := getattr(file, q.in_file))
        ),
        bounds=tuple(
            extract.Bound(one.tag, limit.quantity, limit.condition, limit.low, limit.high, limit.unit)
            for one, file in zip(job.appliances, files, strict=True)
            for limit in (file.limits if file is not None else ())
        ),
        rules=tuple(
            (one.tag, rule)
            for one, file in zip(job.appliances, files, strict=True)
            for rule in (file.relations if file is not None else ())
        ),
    )


def extract_all(
    job: Job, sheet: Sheet, grammar: extract.Grammar, setting: extract.Setting
) -> dict[str, Operated | Placed | Agreement]:
    """Return all that extraction and weighing find in the evidence of a job, by key, in the order of the work."""
    found: dict[str, Operated | Placed | Agreement] = {}
    steps = _steps(job, grammar, setting)
    for moment, _, operations in steps:
        for ordinal, operation in enumerate(operations):
            body = Operated(evidence=moment.filed.sha256, number=moment.number, ordinal=ordinal, operation=operation)
            found[operation_key(body.evidence, body.number, body.ordinal)] = body
    filed = {one.sha256: one for one in job.filed}
    readings = list(steps[-1].after.readings.values()) if steps else []
    visited = dict.fromkeys((one.after.tag(), one.after.state) for one in steps)
    known = [(appliance, state) for appliance, state in visited if state is not None]
    for place in _allowed(find_places(readings, filed, sheet, known), filed):
        found[place_key(place.evidence)] = place
        readings = placed(readings, place)
    for weighed in weigh(readings, filed, sheet):
        found[agreement_key(weighed.under)] = weighed
    return found


def photos_ahead(store: Store, job: Job, sheet: Sheet) -> tuple[float, ...]:
    """Return by how many seconds each photo's clock is ahead of the recorder's, as far as a photo tells it."""
    steps = _steps(job, grammar_of(sheet), setting_of(store, job, sheet))
    readings = list(steps[-1].after.readings.values()) if steps else []
    return photos_differ(readings, {one.sha256: one for one in job.filed}, sheet)


class _Step(NamedTuple):
    """One moment, the context after it, and what was found in it."""

    moment: Moment
    after: extract.Context
    operations: tuple[Operation, ...]


_last: deque[tuple[extract.Grammar, extract.Setting, list[_Step]]] = deque(maxlen=1)
"""The steps of the job that was run last, so that live only what is new is run: extraction is pure, so a beginning that
is the same gives the same."""


def _steps(job: Job, grammar: extract.Grammar, setting: extract.Setting) -> list[_Step]:
    """Run extraction over all moments of a job, in the order of the work."""
    known: list[_Step] = []
    for one, other, steps in tuple(_last):
        if one is grammar and other == setting:
            known = steps
    context = extract.start(setting)
    steps = []
    for moment in in_order(job.filed):
        if moment.number in moment.filed.aside and _named(moment) is None:
            continue
        if len(steps) < len(known) and _alike(known[len(steps)].moment, moment):
            steps.append(known[len(steps)]._replace(moment=moment))
            context = steps[-1].after
            continue
        known = []
        if (tag := _named(moment)) is not None:
            context = extract.at_appliance(context, tag)
            steps.append(_Step(moment, context, ()))
            continue
        before, context = context, _seen_from(moment.filed, context)
        if isinstance(moment.found, Utterance):
            assert moment.at is not None
            context, operations = extract.step(moment.found, moment.at, context, grammar)
        else:
            context, operations = extract.bind_look(moment.found, moment.at, context, grammar)
        if moment.filed.under is not None:
            context = _as_before(context, before)
        steps.append(_Step(moment, context, operations))
    _last.append((grammar, setting, steps))
    return steps


def _alike(one: Moment, other: Moment) -> bool:
    """Say whether extraction can see no difference between two moments."""
    same = one.at == other.at and one.found == other.found and _named(one) == _named(other)
    return same and (one.filed.under, one.filed.called) == (other.filed.under, other.filed.called)


def _named(moment: Moment) -> str | None:
    """Return the appliance that an utterance named in answer to a question; None: it is no such answer."""
    return None if moment.number is None else moment.filed.named.get(moment.number)


def _seen_from(filed: Filed, context: extract.Context) -> extract.Context:
    """Return the context for a piece of evidence that a person filed under an appliance: it is the only one about.

    Whatever any appliance is called, here and where the evidence came from, then means this one.
    """
    if filed.under is None:
        return context
    names = [name for one in context.setting.appliances for name in (one.tag, *one.called)]
    called = tuple(dict.fromkeys((*names, *filed.called)))
    only = next((one for one in context.setting.appliances if one.tag == filed.under), JobAppliance(tag=filed.under))
    setting = replace(context.setting, appliances=(only.model_copy(update={"called": called}),))
    return replace(
        context, setting=setting, appliance=filed.under, appliances=(filed.under,), appliance_lost=False, astray=""
    )


def _as_before(context: extract.Context, before: extract.Context) -> extract.Context:
    """Return the context behind such a piece: what it was about, its firing rate and its last reading too, is no longer
    taken for granted by what follows."""
    return replace(before, readings=context.readings, times=context.times, at=context.at, quoted=context.quoted)


def _allowed(places: Iterable[Placed], filed: Mapping[str, Filed]) -> Iterator[Placed]:
    """Yield the places of pictures without those of another appliance than the one that a person filed them under."""
    for place in places:
        under = filed[place.evidence].under
        others = tuple(one for one in place.others if under in (None, one.appliance))
        if under is None or (place.at is not None and place.at.appliance == under):
            yield place
        elif place.at is None and others:
            yield place.model_copy(update={"others": others})


def _difference(entries: Sequence[Entry], found: dict[str, Operated | Placed | Agreement]) -> list[Draft]:
    had = latest(entries)
    drafts = []

    def write(key: str, body: Body) -> None:
        times = had[key][0] if key in had else 0
        drafts.append(Draft(body, key=f"{key}/{times}"))

    for key, (_, entry) in had.items():
        if entry is not None and key not in found:
            write(key, Withdrawn(key=key, why="read together with evidence added since, this is not found"))
    for key, body in found.items():
        _, entry = had.get(key, (0, None))
        if entry is None or entry.body != body:
            write(key, body)
    return drafts
