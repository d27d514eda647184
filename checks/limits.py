"""Verdicts on limits: within, outside, or cannot tell and why; each names its limit and where that comes from."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import pairwise
from typing import NamedTuple

from checks.rows import Rows, in_unit, inside, number
from checks.words import named, shown_limit, why_open
from schemas.appliance import ApplianceFile, ApplianceLimit, same_gas
from schemas.base import decimal_of, is_value_text
from schemas.findings import Finding, Limit, LimitOrigin, Verdict
from schemas.readings import Reading, Source
from schemas.sheet import Quantity, Sheet
from schemas.units import show_unit

__all__ = [
    "OpenLimits",
    "applicable",
    "known_limits",
    "limit_findings",
    "limits_of_another_gas",
    "open_limits",
    "span_of",
    "voided",
    "waiting_for_altitude",
]

Height = tuple[Decimal, str]
"""An altitude and its unit."""


def known_limits(
    rows: Rows, sheet: Sheet, file: ApplianceFile | None, file_sha256: str | None, limits: Sequence[Limit]
) -> tuple[Limit, ...]:
    """Return all limits in the order in which they are believed: appliance file, rating plate, the job's own.

    Of the file's, those that hold for the fuel and the altitude here; a limit that names no fuel is one for the file's.
    """
    return (*_from_file(rows, file, file_sha256), *_from_plate(rows, sheet), *limits)


def _from_file(rows: Rows, file: ApplianceFile | None, sha256: str | None) -> Iterator[Limit]:
    if file is not None:
        yield from _file_limits(file, sha256, _fuel(rows, file), _height(rows.standing("altitude", "")))


def _file_limits(file: ApplianceFile, sha256: str | None, fuel: str, height: Height | None) -> Iterator[Limit]:
    mine = [row for row in file.limits if (row.fuel or file.fuel) == fuel and _holds_at(row, height)]
    special = {(row.quantity, row.condition) for row in mine if row.fuel is not None or row.by_altitude}
    for row in mine:
        if row.fuel is None and not row.by_altitude and (row.quantity, row.condition) in special:
            continue
        yield _as_limit(row, file, sha256)


def _as_limit(row: ApplianceLimit, file: ApplianceFile, sha256: str | None) -> Limit:
    origin = LimitOrigin(kind="appliance file", title=file.title, sha256=sha256, document=file.document, page=row.page)
    return Limit(
        quantity=row.quantity, condition=row.condition, low=row.low, high=row.high, unit=row.unit, origin=origin
    )


def limits_of_another_gas(rows: Rows, file: ApplianceFile | None, file_sha256: str | None) -> tuple[Limit, ...]:
    """Return the file's limits that hold for its own gas only, where another one is recorded.

    Nothing is within or outside of them; a stop is still judged on their highest values, the worse for the worst case.
    """
    if file is None or _fuel(rows, file) == file.fuel:
        return ()
    height = _height(rows.standing("altitude", ""))
    mine = (row for row in file.limits if (row.fuel or file.fuel) == file.fuel and _holds_at(row, height))
    return tuple(_as_limit(row, file, file_sha256) for row in mine)


def _fuel(rows: Rows, file: ApplianceFile) -> str:
    """Return the gas that is burnt here, by the name that the file has for it: the recorded one, else the file's."""
    reading = rows.standing("fuel", "")
    said = file.fuel if reading is None else reading.value
    names = [file.fuel, *(row.fuel for row in file.limits if row.fuel)]
    return said if said in names else next((name for name in names if same_gas(name, said)), said)


def _height(altitude: Reading | None) -> Height | None:
    value = None if altitude is None else number(altitude)
    return None if altitude is None or value is None else (value, altitude.unit)


def _holds_at(row: ApplianceLimit, height: Height | None) -> bool:
    if not row.by_altitude:
        return True
    here = None if height is None else in_unit(*height, row.altitude_unit)
    if here is None:
        return False
    low = row.altitude_from is None or here >= decimal_of(row.altitude_from)
    return low and (row.altitude_to is None or here <= decimal_of(row.altitude_to))


class OpenLimits(NamedTuple):
    """Limits that may hold here while it is not settled which do.

    ``plate``: of a plate's figure whose question is open. The file's, one set an altitude: ``doubted`` at each that the
    one here may be while its question is open, ``anywhere`` at all there are while nothing is settled of it.
    """

    plate: tuple[Limit, ...] = ()
    doubted: tuple[tuple[Limit, ...], ...] = ()
    anywhere: tuple[tuple[Limit, ...], ...] = ()


def open_limits(rows: Rows, sheet: Sheet, file: ApplianceFile | None, file_sha256: str | None) -> OpenLimits:
    """Return the limits that may hold while a plate's figure or the altitude is in question, or that is not known."""
    plate = tuple(_from_open_plate(rows, sheet))
    if file is None or not any(row.by_altitude for row in file.limits):
        return OpenLimits(plate)
    fuel = _fuel(rows, file)

    def sets(heights: Iterable[Height]) -> tuple[tuple[Limit, ...], ...]:
        return tuple(dict.fromkeys(tuple(_file_limits(file, file_sha256, fuel, height)) for height in heights))

    doubted = sets((decimal_of(value), unit) for value, unit in _open_values(rows, sheet, "altitude"))
    known = _height(rows.standing("altitude", "")) is not None
    return OpenLimits(plate, doubted, () if known else sets(_heights(file)))


def _heights(file: ApplianceFile) -> Iterator[Height]:
    """Yield altitudes at which each set of limits of the file holds: the ends of its bands, between and beyond them."""
    ends = [
        in_unit(decimal_of(end), row.altitude_unit, "m")
        for row in file.limits
        for end in (row.altitude_from, row.altitude_to)
        if end is not None
    ]
    known = sorted({end for end in ends if end is not None})
    between = [(low + high) / 2 for low, high in pairwise(known)]
    for height in (known[0] - 1, *known, *between, known[-1] + 1):
        yield height, "m"


def _from_open_plate(rows: Rows, sheet: Sheet) -> Iterator[Limit]:
    for quantity in sheet.quantities:
        if quantity.lowest_of or quantity.highest_of:
            for value, unit in _open_values(rows, sheet, quantity.id):
                yield _plate_limit(quantity, value, unit, None)


def _open_values(rows: Rows, sheet: Sheet, quantity: str) -> Iterator[tuple[str, str]]:
    """Yield each value, with its unit, that a reading of a quantity may have while its question is open.

    What can be no such value is left out, and what only may be of that quantity.
    """
    known = sheet.quantity(quantity)
    for reading in rows.all:
        if reading.quantity != quantity or reading.taken:
            continue
        ways = [(reading.value, reading.unit)]
        ways += [
            (reading.value if way.value is None else way.value, reading.unit if way.unit is None else way.unit)
            for way in reading.alternatives
            if way.quantity in (None, quantity)
        ]
        for value, unit in dict.fromkeys(ways):
            here = in_unit(decimal_of(value), unit, known.units[0]) if is_value_text(value) else None
            if here is not None and inside(here, known.range.possible):
                yield value, unit


def waiting_for_altitude(rows: Rows, file: ApplianceFile | None) -> frozenset[tuple[str, str]]:
    """Return the slots for which the file has limits by altitude only, while the altitude is not known here."""
    if file is None or _height(rows.standing("altitude", "")) is not None:
        return frozenset()
    general = {(row.quantity, row.condition) for row in file.limits if not row.by_altitude}
    return frozenset((row.quantity, row.condition) for row in file.limits if row.by_altitude) - general


def _from_plate(rows: Rows, sheet: Sheet) -> Iterator[Limit]:
    for quantity in sheet.quantities:
        target = quantity.lowest_of or quantity.highest_of
        reading = rows.standing(quantity.id, "")
        if target is None or reading is None or number(reading) is None:
            continue
        yield _plate_limit(quantity, reading.value, reading.unit, reading.source)


def _plate_limit(quantity: Quantity, value: str, unit: str, source: Source | None) -> Limit:
    target = quantity.lowest_of or quantity.highest_of
    assert target is not None
    return Limit(
        quantity=target,
        condition="",
        low=value if quantity.lowest_of else None,
        high=value if quantity.highest_of else None,
        unit=unit,
        origin=LimitOrigin(kind="rating plate", title="rating plate", source=source),
    )


def applicable(quantity: str, condition: str, limits: Sequence[Limit]) -> tuple[Limit, ...]:
    """Return the limits that hold for a quantity in a condition, in the order given.

    From one origin, a limit of the condition's own takes the place of those for any condition.
    """
    mine = [limit for limit in limits if limit.quantity == quantity and limit.condition in ("", condition)]
    specific = {_origin(limit) for limit in mine if limit.condition}
    return tuple(limit for limit in mine if limit.condition or _origin(limit) not in specific)


def span_of(limits: Sequence[Limit], unit: str) -> tuple[Decimal | None, Decimal | None] | None:
    """Return what lies within all of some limits, in a unit: lowest and highest, None where there is no such bound.

    None altogether without a limit, or where one cannot be compared with the unit.
    """
    bounds = [
        (None if bound is None else in_unit(decimal_of(bound), limit.unit, unit), bound is None)
        for limit in limits
        for bound in (limit.low, limit.high)
    ]
    if not limits or any(value is None and not none for value, none in bounds):
        return None
    lows, highs = ([value for value, _ in bounds[side::2] if value is not None] for side in (0, 1))
    return max(lows, default=None), min(highs, default=None)


def _origin(limit: Limit) -> tuple[str, str, str]:
    return limit.origin.kind, limit.origin.title, limit.origin.document


def voided(rows: Rows, sheet: Sheet, said: Collection[str]) -> dict[str, str]:
    """Return the quantities that nothing can be told of, each with the name of the stop that says so.

    ``said`` are the stops that were said and that nobody has dealt with.
    """
    found: dict[str, str] = {}
    for stop in sheet.stops:
        here = [rows.standing(name, "") for name in (stop.quantity, *stop.also) if name is not None]
        if stop.id in said or any(one is not None and one.value in stop.states for one in here):
            found |= dict.fromkeys(stop.voids, stop.name)
    return found


def limit_findings(
    rows: Rows,
    sheet: Sheet,
    limits: Sequence[Limit],
    file: ApplianceFile | None,
    said: Collection[str],
    outlived: Mapping[str, str],
    unsettled: OpenLimits,
) -> Iterator[Finding]:
    """Yield the verdict on each number: one finding, or one for each limit that it is outside of.

    ``outlived`` are readings that nothing can be told of, by id, and why.
    Where the altitude is not settled and the limits of ``unsettled`` would judge a number otherwise, none of them does.
    """
    doubted = any(r.quantity == "altitude" and not r.taken for r in rows.all)
    unknown = f"depends on the altitude, which is {'still in question' if doubted else 'not recorded'}"
    others = [limit for limit in limits if limit.origin.kind != "appliance file"]
    elsewhere = [(*own, *others) for own in (*unsettled.doubted, *unsettled.anywhere)]
    void = voided(rows, sheet, said)
    waiting = waiting_for_altitude(rows, file)
    strange = limits_of_another_gas(rows, file, None)
    for reading in rows.all:
        if reading.quantity is None or reading.condition is None or sheet.quantity(reading.quantity).kind != "number":
            continue
        mine = applicable(reading.quantity, reading.condition, limits)
        if mine:
            verdicts = [_verdict(rows, sheet, reading, limit) for limit in mine]
            why = void.get(reading.quantity) or outlived.get(reading.id)
            if why and all(f.verdict == "within" for f in verdicts):
                text = f"{named(sheet, reading)}: {why}, so this tells nothing of the limit."
                yield _finding(rows, reading, "cannot tell", text, mine[0])
                continue
            differing = [mine, *_differing(rows, sheet, reading, verdicts, elsewhere)]
            if len(differing) > 1:
                spans = dict.fromkeys(_span_shown(reading, limit) for own in differing for limit in own)
                text = f"{named(sheet, reading)}: the maker's limit {unknown}; it is one of {', '.join(spans)}."
                yield _finding(rows, reading, "cannot tell", text, mine[0])
                continue
            yield from [f for f in verdicts if f.verdict != "within"] if reading.taken else []
            if not reading.taken or all(f.verdict == "within" for f in verdicts):
                yield verdicts[0]
        elif reading.taken and not waiting.isdisjoint({(reading.quantity, ""), (reading.quantity, reading.condition)}):
            text = f"{named(sheet, reading)}: the maker's limit {unknown}."
            yield _finding(rows, reading, "cannot tell", text)
        elif reading.taken and file is not None and applicable(reading.quantity, reading.condition, strange):
            recorded = _fuel(rows, file).replace("_", " ")
            text = (
                f"{named(sheet, reading)}: the limits of {file.title} are for {file.fuel.replace('_', ' ')}, and "
                f"{recorded} is recorded; they say nothing of this gas."
            )
            yield _finding(rows, reading, "cannot tell", text)
        elif reading.taken and sheet.quantity(reading.quantity).maker_limits:
            yield _finding(
                rows,
                reading,
                "cannot tell",
                f"{named(sheet, reading)}: no limit is known. Name an appliance file, photograph the rating plate, or "
                "read out the maker's limit with its page.",
            )


def _differing(
    rows: Rows, sheet: Sheet, reading: Reading, verdicts: Sequence[Finding], sets: Sequence[Sequence[Limit]]
) -> Iterator[tuple[Limit, ...]]:
    """Yield what holds for a reading in each set of limits that judges it otherwise than ``verdicts`` do."""
    if not all(f.verdict in ("within", "outside") for f in verdicts):
        return
    within = all(f.verdict == "within" for f in verdicts)
    for limits in sets:
        mine = applicable(reading.quantity or "", reading.condition or "", limits)
        there = {_verdict(rows, sheet, reading, limit).verdict for limit in mine}
        if mine and (there == {"within"}) != within:
            yield mine


def _span_shown(reading: Reading, limit: Limit) -> str:
    return shown_limit(limit, reading.unit, max(0, -int(decimal_of(reading.value).as_tuple().exponent)))


def _verdict(rows: Rows, sheet: Sheet, reading: Reading, limit: Limit) -> Finding:
    name = named(sheet, reading)
    if not reading.taken:
        text = f"{name}: not judged while its question is open ({why_open([reading])})."
        return _finding(rows, reading, "cannot tell", text, limit)
    value = number(reading)
    if value is None:
        return _finding(rows, reading, "cannot tell", f"{name}: this is no number, so it meets no limit.", limit)
    low = None if limit.low is None else in_unit(Decimal(limit.low), limit.unit, reading.unit)
    high = None if limit.high is None else in_unit(Decimal(limit.high), limit.unit, reading.unit)
    if (low is None) != (limit.low is None) or (high is None) != (limit.high is None):
        unit = show_unit(reading.unit) or "no unit"
        text = f"{name}: {unit} cannot be compared with the limit in {show_unit(limit.unit) or 'no unit'}."
        return _finding(rows, reading, "cannot tell", text, limit)
    span = _span_shown(reading, limit)
    where = _short(limit)
    if low is not None and value < low:
        return _finding(rows, reading, "outside", f"{name} is below the limit, {span} ({where}).", limit)
    if high is not None and value > high:
        return _finding(rows, reading, "outside", f"{name} is above the limit, {span} ({where}).", limit)
    return _finding(rows, reading, "within", f"{name} is within the limit, {span} ({where}).", limit)


def _where(limit: Limit) -> str:
    origin = limit.origin
    if origin.kind == "quoted":
        parts = [f"quoted by {origin.by}" if origin.by else "quoted on site", origin.document]
    else:
        parts = [origin.title, origin.document if origin.document != origin.title else ""]
    parts.append(f"page {origin.page}" if origin.page else "")
    return ", ".join(part for part in parts if part)


def _short(limit: Limit) -> str:
    """Return the origin in the few words that fit into a sentence; the whole of it is the finding's basis."""
    if limit.origin.kind != "appliance file":
        return _where(limit)
    return f"{limit.origin.title}{f', page {limit.origin.page}' if limit.origin.page else ''}"


def _finding(rows: Rows, reading: Reading, verdict: Verdict, text: str, limit: Limit | None = None) -> Finding:
    return Finding(
        rule="limit",
        verdict=verdict,
        text=text,
        appliance=reading.appliance,
        quantity=reading.quantity,
        condition=reading.condition,
        readings=(reading.id,),
        limit=limit,
        basis=_where(limit) if limit else "",
        superseded=rows.superseded(reading),
    )
