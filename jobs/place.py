"""Where in the work a picture belongs: from the values that were said, never from when it happened to be added.

A screen photographed while the work goes on has its place from the context of that moment, as far as its clock is
borne out: by a value said there, or by another picture of the job that repeats a row. One value bears out its own
picture only, and only where no other row has said nearly the same. A printed slip, or a picture without a trusted time,
has not: it belongs to the row of spoken values that it repeats, or it is asked, once a picture.
A picture that contradicts the row of its moment (the change to low fire was never said), or whose clock is known to be
off, is asked too, with all its values, also those that nobody spoke of. A slip's own printed time tells two rows of the
same values apart once its clock is known to go. Asked is also a picture that repeats one row, where another row shares
one of its values and says nothing against it, where another picture repeats that row minutes earlier or later, or where
the clock of its like says another row; and one picture alone tells a clock only if its values are exactly those said.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from jobs.clocks import GOES, Span, off_by, printed_at, steady, told
from jobs.compare import compare
from jobs.journal import Place, Placed
from jobs.timeline import Filed
from schemas.doubts import Doubt, DoubtKind
from schemas.readings import AGREES_WITH_FILE, Alternative, Reading
from schemas.sheet import Sheet

__all__ = ["find_places", "photos_differ", "placed"]

_ENOUGH = 2
"""So many of a picture's values must be as they were said in one row: one alone may be chance."""
_PLENTY = 3
"""So many are no chance; fewer only where every other row that it may belong to shows another value."""

_LABELS = (DoubtKind.CONDITION_UNCLEAR, DoubtKind.APPLIANCE_UNCLEAR)


@dataclass(frozen=True)
class _Match:
    """The quantities of a picture that are as said in a row, no further apart than readings drift, and apart."""

    same: frozenset[str] = frozenset()
    within: frozenset[str] = frozenset()
    apart: frozenset[str] = frozenset()

    @property
    def fits(self) -> bool:
        return len(self.same) >= _ENOUGH and len(self.same) > len(self.within) and not self.apart

    @property
    def contradicts(self) -> bool:
        return len(self.apart) > len(self.same)


@dataclass(frozen=True)
class _Picture:
    """A picture with its readings that belong somewhere, how they match each row, and what its clock says.

    ``here`` is the row of its moment, ``possible`` are all that it may belong to, ``moment`` is the time at which it
    was taken, or that it prints.
    """

    filed: Filed
    shown: tuple[Reading, ...]
    slip: bool
    here: Place | None
    matches: Mapping[Place, _Match]
    possible: tuple[Place, ...]
    moment: float | None

    @property
    def whose(self) -> str:
        """Whose clock ``moment`` is of."""
        return _whose(self.filed)

    @property
    def fits(self) -> tuple[Place, ...]:
        return tuple(place for place, match in self.matches.items() if match.fits)

    @property
    def repeated(self) -> Place | None:
        """The one row that its values say it belongs to; none where another row has said what this one nearly has."""
        if len(self.fits) != 1:
            return None
        (at,) = self.fits
        mine = self.matches[at]
        rest = [self.matches.get(place, _Match()) for place in self.possible if place != at]
        if any(other.same and not other.apart for other in rest):
            return None
        return at if len(mine.same) >= _PLENTY or all(other.apart for other in rest) else None


def find_places(
    readings: Sequence[Reading],
    filed: Mapping[str, Filed],
    sheet: Sheet,
    visited: Iterable[tuple[str | None, str]] = (),
) -> Iterator[Placed]:
    """Yield what can be said of the place of each picture whose place is not known from its moment.

    ``readings`` are in the order of the work, ``filed`` is the evidence by hash, ``visited`` are the appliances and
    conditions that the work was at, also where no value was said there.
    """
    pictures, spans = _compared(readings, filed, sheet, visited)
    clocks = _clocks(pictures, spans)
    unsure = _not_told_apart(pictures, spans, clocks)
    for one in pictures:
        if len({reading.condition for reading in one.shown} - {None}) > 1:
            continue  # a print of several blocks that names the condition of each
        found = _place_of(one, spans, clocks[one.whose], sheet, unsure.get(one.filed.sha256, ""))
        if found is not None:
            yield found
    yield from _plates(readings, filed, sheet, tuple(spans), clocks)


def _plates(
    readings: Sequence[Reading],
    filed: Mapping[str, Filed],
    sheet: Sheet,
    rows: Sequence[Place],
    clocks: Mapping[str, float | None],
) -> Iterator[Placed]:
    """Yield the question for each picture of what an appliance is (its plate), where nothing says of which one it is.

    That is where the job has several, no clock set by a person and none that is known to go gave the picture its
    moment, and neither the appliance's file nor what was said has the same.
    """
    tags = dict.fromkeys(row.appliance for row in rows)
    with_rows = {sha256 for sha256, _ in _pictures(readings, sheet)}
    plates: dict[str, list[Reading]] = {}
    for one in readings:
        picture = filed.get(one.source.evidence)
        if one.source.box is None or picture is None or one.source.evidence in with_rows or one.appliance is None:
            continue
        goes = clocks.get(_whose(picture)) == 0.0 or picture.clock == "given" or picture.offset != "0"
        if not goes and picture.under is None and not _confirmed(one, readings, sheet):
            plates.setdefault(one.source.evidence, []).append(one)
    for sha256, mine in plates.items() if len(tags) > 1 else ():
        own = mine[0].appliance
        others = [row for row in rows if row.appliance == own] + [row for row in rows if row.appliance != own]
        why = "no clock that is known to go tells when it was taken"
        yield Placed(evidence=sha256, readings=tuple(one.id for one in mine), at=None, others=tuple(others), why=why)


def _confirmed(shown: Reading, readings: Sequence[Reading], sheet: Sheet) -> bool:
    """Say whether the appliance's file, or what was said of it, has the value that a picture shows."""
    if AGREES_WITH_FILE in shown.passed:
        return True
    return any(
        said.source.utterance is not None
        and (said.quantity, said.appliance) == (shown.quantity, shown.appliance)
        and compare(said, shown, sheet.quantity(said.quantity)).outcome == "same"
        for said in readings
        if said.quantity is not None
    )


def _whose(picture: Filed) -> str:
    """Return whose clock a picture's time is of; one whose zone is only assumed is borne out by its like alone."""
    if _is_slip(picture):
        return "the slips"
    return "the photos without a zone" if picture.clock == "assumed" else "the photos"


def _not_told_apart(
    pictures: Sequence[_Picture], spans: Mapping[Place, Span | None], clocks: Mapping[str, float | None]
) -> dict[str, str]:
    """Return the pictures that repeat one row and may all the same be of another, of which less was said; and why.

    Another picture repeats the row too and was not known to be made at one time with it; or by what the clock shows on
    its like, it was made when another row was the talk. A photo whose clock is known to go has its own place.
    """
    alike: dict[Place, list[_Picture]] = {}
    for one in pictures:
        if one.repeated is not None and (one.slip or one.here is None or clocks[one.whose] != 0.0):
            alike.setdefault(one.repeated, []).append(one)
    found = {}
    for at, them in alike.items():
        for one in them:
            mine = [other for other in pictures if other.whose == one.whose and other is not one]
            clock, span = steady(_differences(one.whose, mine, spans)), spans[at]
            if one.moment is None or clock is None or span is None or abs(_beyond(one, span, clock)) <= 2 * GOES:
                continue
            if any(not match.apart for place, match in one.matches.items() if place != at):
                found[one.filed.sha256] = "its clock is off by another amount than on the others"
        for whose in dict.fromkeys(one.whose for one in them):
            mine = [one for one in them if one.whose == whose]
            moments = [one.moment for one in mine if one.moment is not None]
            unknown = len(moments) < len(mine) and mine[0].slip
            if len(mine) > 1 and (unknown or (moments and max(moments) - min(moments) > GOES)):
                found |= {one.filed.sha256: "another picture shows the same values" for one in them}
    return found


def photos_differ(readings: Sequence[Reading], filed: Mapping[str, Filed], sheet: Sheet) -> tuple[float, ...]:
    """Return by how many seconds the clock of each photo that repeats one row is ahead of the recorder's."""
    return _differences("the photos", *_compared(readings, filed, sheet))


def _compared(
    readings: Sequence[Reading],
    filed: Mapping[str, Filed],
    sheet: Sheet,
    visited: Iterable[tuple[str | None, str]] = (),
) -> tuple[list[_Picture], dict[Place, Span | None]]:
    """Return every picture as it compares with the rows that were said, and when each row was said."""
    spoken = [one for one in readings if one.source.utterance is not None and one.source.evidence in filed]
    rows = _rows(spoken)
    shown_in = [(filed[sha256], shown) for sha256, shown in _pictures(readings, sheet)]
    for picture, shown in shown_in:
        if (here := _one_place(shown)) is not None and not _is_slip(picture):
            rows.setdefault(here, {})  # a row of the work, though nothing that was said there is known
    for appliance, condition in visited:
        if not any((row.appliance, row.condition) == (appliance, condition) for row in rows):
            rows[Place(appliance=appliance, condition=condition)] = {}
    spans = {place: _span(row.values(), filed) for place, row in rows.items()}
    pictures = [_picture(shown, picture, rows, spoken, filed, sheet) for picture, shown in shown_in]
    return pictures, spans


def _clocks(pictures: Sequence[_Picture], spans: Mapping[Place, Span | None]) -> dict[str, float | None]:
    """Return by how many seconds each kind of clock is off; None where that is not known.

    One picture alone tells it only where all its values are exactly as they were said.
    """
    known: dict[str, float | None] = {}
    for whose in dict.fromkeys(one.whose for one in pictures):
        mine = [one for one in pictures if one.whose == whose]
        exact = [one for one in mine if one.repeated is not None and not one.matches[one.repeated].within]
        differences = _differences(whose, mine, spans)
        known[whose] = steady(differences) if exact or len(differences) > 1 else None
    return known


def _place_of(
    one: _Picture, spans: Mapping[Place, Span | None], clock: float | None, sheet: Sheet, unsure: str
) -> Placed | None:
    """Return the place of a picture that its moment does not give, or the question for it; None where it has one.

    ``unsure``: why it may be of another row than the one that it repeats; empty where nothing says so.
    """
    here = one.matches.get(one.here, _Match()) if one.here else _Match()
    off = clock is not None and clock != 0.0
    contradicts = not one.slip and one.here is not None and (bool(unsure) or _speaks_against(one, here, clock, sheet))
    if not one.slip and one.here is not None and not contradicts:
        return None
    at = None if contradicts or unsure else _sure_place(one, spans, clock)
    if at is not None:
        ids = tuple(r.id for r in one.shown if at.condition in _conditions(r, sheet))
        return Placed(evidence=one.filed.sha256, readings=ids, at=at, why="its values are those that were said there")
    ids = tuple(r.id for r in one.shown if one.slip or contradicts or r.condition is None)
    likely = _likely(one, spans, clock)
    if not ids or not (likely or one.slip):
        return None
    why = "it shows other values than were said there" if here.apart else "what was said does not tell where"
    why = unsure or why
    if off and clock is not None:
        why = f"{why}; {told(clock, one.whose)}"
    return Placed(evidence=one.filed.sha256, readings=ids, at=None, others=likely, why=why)


def _speaks_against(one: _Picture, here: _Match, clock: float | None, sheet: Sheet) -> bool:
    """Say whether what was said speaks against the row of a picture's moment.

    A clock that is known to go is believed until more values are apart than the same; another only where the picture
    repeats the row, as one without a moment would have to.
    """
    others = [match for place, match in one.matches.items() if place != one.here]
    alone = len(one.shown) < _ENOUGH
    if not alone and (here.contradicts or any(match.fits and len(match.same) > len(here.same) for match in others)):
        return True
    if clock == 0.0:
        return alone and not here.same and any(match.same for match in others)
    conditions = {condition for reading in one.shown for condition in _conditions(reading, sheet)}
    if clock is None and sum(place.condition in conditions for place in one.matches) < _ENOUGH:
        return False  # there is no other row that it may be of
    if alone and clock is None:
        return not here.same or any(match.same or match.within for match in others)
    return one.repeated != one.here


def _sure_place(one: _Picture, spans: Mapping[Place, Span | None], clock: float | None) -> Place | None:
    """Return the one row that a picture repeats; of several the one that was said when it was printed, by a clock that
    is known to go."""
    if len(one.fits) == 1:
        return one.repeated
    if not one.slip or one.moment is None or clock is None:
        return None
    known = [(place, span) for place in one.fits if (span := spans[place]) is not None]
    most = max((len(one.matches[place].same) for place in one.fits), default=0)
    near = [place for place, span in known if abs(_beyond(one, span, clock)) <= GOES]
    clear = [place for place, span in known if abs(_beyond(one, span, clock)) > 2 * GOES]
    only = len(near) == 1 and len(clear) == len(one.fits) - 1 and len(one.matches[near[0]].same) == most
    return near[0] if only else None


def _beyond(one: _Picture, span: Span, clock: float | None) -> float:
    assert one.moment is not None
    return span.beyond(one.moment - (clock or 0.0))


def _likely(one: _Picture, spans: Mapping[Place, Span | None], clock: float | None) -> tuple[Place, ...]:
    """Return the rows a picture may belong to: those it repeats, that of its moment, then by values and by time."""

    def order(place: Place) -> tuple[int, int, float]:
        match, span = one.matches[place], spans[place]
        far = abs(_beyond(one, span, clock)) if one.moment is not None and span is not None else float("inf")
        return len(match.apart), -len(match.same), far

    nearest = sorted(one.matches, key=order)
    first = sorted(one.fits, key=order)
    return tuple(dict.fromkeys([*first, *([one.here] if one.here else []), *nearest]))


def _differences(whose: str, pictures: Sequence[_Picture], spans: Mapping[Place, Span | None]) -> tuple[float, ...]:
    """Return by how many seconds a kind of clock is ahead of the recorder's, by each picture that repeats one row."""
    return tuple(
        off_by(one.moment, span)
        for one in pictures
        if one.whose == whose and one.moment is not None and one.repeated is not None and (span := spans[one.repeated])
    )


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
    if reading.condition == "":  # read once: only whose it is may be unclear
        doubt = Doubt(kind=DoubtKind.APPLIANCE_UNCLEAR, detail=found.why)
        tags = dict.fromkeys(place.appliance for place in found.others if place.appliance is not None)
        others = tuple(Alternative(appliance=tag, why="an appliance of the job") for tag in tags)
        update = {"appliance": None, "doubts": (*other_doubts, doubt), "alternatives": (*others, *reading.alternatives)}
        return reading.model_copy(update=update)
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


def _picture(
    shown: list[Reading],
    filed: Filed,
    rows: Mapping[Place, Mapping[str, Reading]],
    spoken: Sequence[Reading],
    evidence: Mapping[str, Filed],
    sheet: Sheet,
) -> _Picture:
    slip = _is_slip(filed)
    said = next((evidence[one.source.evidence] for one in spoken), None)
    if slip:
        moment = printed_at(filed.look, said) if filed.look and said else None
    else:
        moment = filed.at.timestamp() if filed.at else None
    matches = {place: _match(shown, row, sheet) for place, row in rows.items()}
    return _Picture(filed, tuple(shown), slip, _one_place(shown), matches, _possible(shown, rows, sheet), moment)


def _is_slip(picture: Filed) -> bool:
    return picture.look is not None and picture.look.display == "slip"


def _one_place(shown: Sequence[Reading]) -> Place | None:
    """Return the place that all readings of a picture have; None where they have none, or several."""
    known = {_place(one) for one in shown}
    return next(iter(known)) if len(known) == 1 else None


def _possible(shown: Sequence[Reading], rows: Mapping[Place, object], sheet: Sheet) -> tuple[Place, ...]:
    """Return every place that the sheet has for what a picture shows, with the appliances and phases spoken of."""
    conditions = dict.fromkeys(condition for one in shown for condition in _conditions(one, sheet))
    appliances, phases = dict.fromkeys(row.appliance for row in rows), dict.fromkeys(row.phase for row in rows)
    return tuple(
        Place(appliance=appliance, condition=condition, phase=phase)
        for appliance in appliances
        for condition in conditions
        for phase in phases
    )


def _pictures(readings: Sequence[Reading], sheet: Sheet) -> list[tuple[str, list[Reading]]]:
    """Return the readings of each picture that belong somewhere in the work."""
    found: dict[str, list[Reading]] = {}
    for one in readings:
        if one.source.box is not None and _conditions(one, sheet):
            found.setdefault(one.source.evidence, []).append(one)
    return list(found.items())


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


def _span(row: Iterable[Reading], filed: Mapping[str, Filed]) -> Span | None:
    """Return when a row was said; None where its recordings have no time."""
    moments = [
        at.timestamp() + (one.source.start or 0.0) for one in row if (at := filed[one.source.evidence].at) is not None
    ]
    return Span(min(moments), max(moments)) if moments else None


def _place(reading: Reading) -> Place | None:
    if not reading.condition:
        return None
    return Place(appliance=reading.appliance, condition=reading.condition, phase=reading.phase)


def _match(shown: Sequence[Reading], row: Mapping[str, Reading], sheet: Sheet) -> _Match:
    """Return how the values of a picture compare with those said in a row."""
    outcomes: dict[str, set[str]] = {"same": set(), "within": set(), "apart": set()}
    for one in shown:
        if one.quantity and one.quantity in row:
            outcomes[compare(row[one.quantity], one, sheet.quantity(one.quantity)).outcome].add(one.quantity)
    return _Match(*(frozenset(outcomes[name]) for name in ("same", "within", "apart")))
