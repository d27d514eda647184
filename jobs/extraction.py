"""All evidence of a job run through extraction, in the order of the work, and the journal brought up to date with it.

Extraction is pure and quick, so it always runs over everything: the same evidence gives the same readings in whatever
order and in however many pieces it was added, and a photo added later finds the context of its moment. What comes out
is compared with what the journal has; only the difference is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import extract
from jobs.agree import weigh
from jobs.book import appliance_file_of
from jobs.fold import Job, agreement_key, fold, latest, place_key
from jobs.journal import Agreement, Body, Draft, Entry, Operated, Placed, Withdrawn
from jobs.place import find_places, placed
from jobs.store import JournalMoved, Store
from jobs.table import operation_key
from jobs.timeline import in_order
from schemas.evidence import Utterance
from schemas.sheet import Sheet

__all__ = ["bring_up_to_date", "extract_all", "setting_of"]


def bring_up_to_date(store: Store, number: str, sheet: Sheet) -> None:
    """Journal what extraction and weighing find that the journal does not have yet."""
    grammar = _grammar(sheet.model_dump_json())
    while True:
        entries = store.entries(number)
        job = fold(entries)
        found = extract_all(job, sheet, grammar, setting_of(store, job, sheet))
        try:
            store.append(number, _difference(entries, found), after=job.position)
        except JournalMoved:
            continue  # another process added evidence meanwhile, which extraction has to see too
        return


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
    )


def extract_all(
    job: Job, sheet: Sheet, grammar: extract.Grammar, setting: extract.Setting
) -> dict[str, Operated | Placed | Agreement]:
    """Return all that extraction and weighing find in the evidence of a job, by key, in the order of the work."""
    context = extract.start(setting)
    found: dict[str, Operated | Placed | Agreement] = {}
    for moment in in_order(job.filed):
        if isinstance(moment.found, Utterance):
            assert moment.at is not None
            context, operations = extract.step(moment.found, moment.at, context, grammar)
        else:
            context, operations = extract.bind_look(moment.found, moment.at, context, grammar)
        for ordinal, operation in enumerate(operations):
            body = Operated(evidence=moment.filed.sha256, number=moment.number, ordinal=ordinal, operation=operation)
            found[operation_key(body.evidence, body.number, body.ordinal)] = body
    filed = {one.sha256: one for one in job.filed}
    readings = list(context.readings.values())
    for place in find_places(readings, filed, sheet):
        found[place_key(place.evidence)] = place
        readings = placed(readings, place)
    for weighed in weigh(readings, filed, sheet):
        found[agreement_key(weighed.under)] = weighed
    return found


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
