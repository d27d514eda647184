"""Where in the work a picture belongs: from the values that were said, never from when it happened to be added.

A screen photographed while the work goes on has its place from the context of that moment. A printed slip, or a picture
without a trusted time, has not: it belongs to the row of spoken values that it repeats, or it is asked, once a picture.
And a picture that contradicts the row of its moment (the change to low fire was never said) is asked too, with all its
values, also those that nobody spoke of.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from jobs.compare import compare
from jobs.journal import Place, Placed
from jobs.timeline import Filed
from schemas.doubts import Doubt, DoubtKind
from schemas.readings import Alternative, Reading
from schemas.sheet import Sheet

__all__ = ["find_places", "placed"]

_ENOUGH = 2
"""So many of a picture's values must be as they were said in one row: one alone may be chance."""

_LABELS = (DoubtKind.CONDITION_UNCLEAR, DoubtKind.APPLIANCE_UNCLEAR)


def find_places(readings: Sequence[Reading], filed: Mapping[str, Filed], sheet: Sheet) -> Iterator[Placed]:
    """Yield what can be said of the place of each picture whose place is not known from its moment.

    ``readings`` are in the order of the work, ``filed`` is the evidence by hash.
    """
    spoken = _rows([one for one in readings if one.source.utterance is not None])
    for sha256, shown in _pictures(readings, sheet).items():
        look = filed[sha256].look
        slip = look is not None and look.display == "slip"
        known = {_place(one) for one in shown}
        here = next(iter(known)) if len(known) == 1 else None
        matches = {place: _match(shown, row, sheet) for place, row in spoken.items()}
        fits = [place for place, (same, apart) in matches.items() if same >= _ENOUGH and apart == 0]
        same, apart = matches.get(here, (0, 0)) if here else (0, 0)
        contradicts = not slip and same == 0 and apart >= _ENOUGH
        if here is not None and not slip and not contradicts:
            continue
        if len(fits) == 1 and not contradicts:
            ids = [one.id for one in shown if fits[0].condition in _conditions(one, sheet)]
            yield Placed(
                evidence=sha256, readings=tuple(ids), at=fits[0], why="its values are those that were said there"
            )
            continue
        nearest = sorted(matches.items(), key=lambda match: (match[1][1], -match[1][0]))
        likely = dict.fromkeys([*fits, *([here] if here else []), *(place for place, _ in nearest)])
        ids = [one.id for one in shown if slip or contradicts or one.condition is None]
        why = "it shows other values than were said there" if contradicts else "what was said does not tell where"
        if ids and (likely or slip):
            yield Placed(evidence=sha256, readings=tuple(ids), at=None, others=tuple(likely), why=why)


def placed(readings: Sequence[Reading], found: Placed) -> list[Reading]:
    """Return ``readings`` with those of the picture in its place, or with the doubt that its place is not known."""
    mine = set(found.readings)
    return [(_put(one, found) if one.id in mine else one) for one in readings]


def _put(reading: Reading, found: Placed) -> Reading:
    other_doubts = tuple(doubt for doubt in reading.doubts if doubt.kind not in _LABELS)
    if found.at is not None:
        passed = (*reading.passed, "placed by what was said")
        at = found.at.model_dump()
        return reading.model_copy(update={**at, "doubts": other_doubts, "passed": passed})
    doubt = Doubt(kind=DoubtKind.CONDITION_UNCLEAR, detail=found.why)
    ways = [Alternative(**place.model_dump(), why="a row of the job") for place in found.others]
    return reading.model_copy(
        update={
            "condition": None,
            "phase": "",
            "doubts": (*other_doubts, doubt),
            "alternatives": (*ways, *reading.alternatives),
        }
    )


def _pictures(readings: Sequence[Reading], sheet: Sheet) -> dict[str, list[Reading]]:
    """Return the readings of each picture that belong somewhere in the work; pictures with one of them are left out."""
    found: dict[str, list[Reading]] = {}
    for one in readings:
        if one.source.box is not None and _conditions(one, sheet):
            found.setdefault(one.source.evidence, []).append(one)
    return {sha256: shown for sha256, shown in found.items() if len(shown) >= _ENOUGH}


def _conditions(reading: Reading, sheet: Sheet) -> tuple[str, ...]:
    return sheet.quantity(reading.quantity).conditions if reading.quantity else ()


def _rows(spoken: Sequence[Reading]) -> dict[Place, dict[str, Reading]]:
    """Return what was said, by place and quantity; the last word counts."""
    rows: dict[Place, dict[str, Reading]] = {}
    for one in spoken:
        place = _place(one)
        if place is not None and one.quantity:
            rows.setdefault(place, {})[one.quantity] = one
    return rows


def _place(reading: Reading) -> Place | None:
    if not reading.condition:
        return None
    return Place(appliance=reading.appliance, condition=reading.condition, phase=reading.phase)


def _match(shown: Sequence[Reading], row: Mapping[str, Reading], sheet: Sheet) -> tuple[int, int]:
    """Return how many values of a picture are as said in a row, and how many are not."""
    outcomes = [
        compare(row[one.quantity], one, sheet.quantity(one.quantity)).outcome
        for one in shown
        if one.quantity and one.quantity in row
    ]
    return outcomes.count("same"), outcomes.count("apart")
