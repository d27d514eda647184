"""What stops the work: said aloud, or measured. A stop is judged on the worst value that is still open."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from decimal import Decimal

from checks.limits import OpenLimits, applicable
from checks.possible import Possible, open_fuels, possible_air_free, possible_ratio, possible_values
from checks.rows import Rows
from checks.tightness import falls_beyond_cooling
from checks.words import ended, slot_name
from schemas.appliance import ApplianceFile, same_gas
from schemas.findings import Finding, Limit
from schemas.readings import Alarm
from schemas.sheet import Sheet, Stop

__all__ = ["said_stops", "stop_findings"]

Row = tuple[str, str | None, str, str | None]


def said_stops(alarms: Sequence[Alarm], sheet: Sheet, denied: Collection[Alarm] = ()) -> tuple[Finding, ...]:
    """Return a finding for each stop that was said, in the order they were said.

    ``denied`` are those that only may have been said and that somebody said by name not to be so: they stop nothing.
    """
    stops = {stop.id: stop for stop in sheet.stops}
    return tuple(_said(alarm, stops.get(alarm.stop), alarm in denied) for alarm in alarms)


def _said(alarm: Alarm, stop: Stop | None, denied: bool) -> Finding:
    heard = f' (heard: "{alarm.source.heard}")' if alarm.source.heard else ""
    if stop is None:
        text = f"Something that stops the work was said{heard}. This sheet has no words for it; treat it as the worst."
        return Finding(rule=alarm.stop, verdict="stop", text=text, said=alarm.source)
    if denied:
        text = f"{stop.name}? It may have been said{heard}; that it is so was denied right after it."
        return Finding(rule=stop.id, verdict="look again", text=text, basis=stop.basis, said=alarm.source)
    text = f"{stop.name}{heard}. {stop.say}"
    if not alarm.sure:
        text = (
            f"{stop.name}? It may have been said{heard}; it counts until it is denied by name or somebody has dealt "
            f"with it. If so: {stop.say}"
        )
    return Finding(rule=stop.id, verdict=stop.level, text=text, basis=stop.basis, said=alarm.source)


def stop_findings(
    rows: Rows, sheet: Sheet, file: ApplianceFile | None, limits: Sequence[Limit], unsettled: OpenLimits
) -> Iterator[Finding]:
    """Yield a finding for each measured stop; of several thresholds on one quantity only the highest that is passed.

    Where it is not settled which limit holds, it is judged on each that is still in question, and, where nothing is
    known of the altitude, on what the file forbids at every altitude that it names a limit for.
    """
    read = list(possible_values(rows, sheet))
    values = [*read, *possible_air_free(read, open_fuels(read, sheet, file)), *possible_ratio(read)]
    passed: dict[Row, tuple[Decimal, Finding]] = {}
    own = {r.id: r.quantity for r in rows.all}
    for stop in sheet.stops:
        names = (stop.quantity, *stop.also)
        worst: dict[Row, Possible] = {}
        for value in falls_beyond_cooling(values, sheet, stop) if stop.cooled_with else values:
            if stop.below_limit and any(own.get(r) != value.quantity for r in value.readings):
                continue  # a small number that is not known to be this quantity: nearly all are below some limit
            if value.quantity in names and _is_passed(stop, value, file, limits, unsettled):
                row = _row(value)
                worst[row] = _worse(worst.get(row), value, stop)
        for row, value in worst.items():
            finding = _finding(rows, sheet, stop, value, _why_in_question(stop, value, limits, unsettled))
            threshold = stop.at or stop.above
            if threshold is None:
                yield finding
                continue
            if row not in passed or passed[row][0] < Decimal(threshold):
                passed[row] = Decimal(threshold), finding
    yield from (finding for _, finding in passed.values())


def _row(value: Possible) -> Row:
    return value.quantity, value.condition, value.phase, value.appliance


def _is_passed(
    stop: Stop, value: Possible, file: ApplianceFile | None, limits: Sequence[Limit], unsettled: OpenLimits
) -> bool:
    if stop.cooled_with:
        return True  # none else is given
    if stop.states:
        return value.value in stop.states
    if stop.unlike_file:
        return file is not None and not same_gas(value.value, getattr(file, value.quantity, value.value))
    if stop.above_limit or stop.below_limit:
        return bool(_past_limit(stop, value, limits)) or bool(_why_in_question(stop, value, limits, unsettled))
    if stop.unless_limit and any(lim.high for lim in applicable(value.quantity, value.condition or "", limits)):
        return False
    return _beyond(value, stop.at or stop.above or "0", stop.unit, at_too=stop.at is not None)


def _past_limit(stop: Stop, value: Possible, limits: Sequence[Limit]) -> bool | None:
    """Say whether a value is past a limit that the stop is about; None where there is none."""
    mine = applicable(value.quantity, value.condition or "", limits)
    if stop.below_limit:
        past = [_under(value, limit.low, limit.unit) for limit in mine if limit.low]
    else:
        past = [_beyond(value, limit.high, limit.unit, at_too=False) for limit in mine if limit.high]
    return any(past) if past else None


def _why_in_question(stop: Stop, value: Possible, limits: Sequence[Limit], unsettled: OpenLimits) -> str:
    """Return why it is not sure that a limit holds that a value is past; empty where it is sure, or past none."""
    if not (stop.above_limit or stop.below_limit) or _past_limit(stop, value, limits):
        return ""
    if any(_past_limit(stop, value, [limit]) for limit in unsettled.plate):
        return "the plate's figure is still in question"
    if any(_past_limit(stop, value, one) for one in unsettled.doubted):
        return "the altitude is still in question"
    anywhere = {_past_limit(stop, value, one) for one in unsettled.anywhere} - {None}
    return "the altitude is not known, and no limit that the file has for any allows it" if anywhere == {True} else ""


def _beyond(value: Possible, threshold: str, unit: str, *, at_too: bool) -> bool:
    if value.over_range:
        return True
    measured = value.measured(unit)
    if measured is None:
        return False
    return measured >= Decimal(threshold) if at_too else measured > Decimal(threshold)


def _under(value: Possible, threshold: str, unit: str) -> bool:
    measured = None if value.over_range else value.measured(unit)
    return measured is not None and measured < Decimal(threshold)


def _worse(a: Possible | None, b: Possible, stop: Stop) -> Possible:
    """Return the worse of two values that both pass the stop; of equals the settled and directly read one."""
    if a is None:
        return b
    unit, turned = stop.unit, -1 if stop.below_limit or stop.cooled_with else 1

    def rank(value: Possible) -> tuple[bool, bool, Decimal, bool]:
        measured = None if value.over_range else value.measured(unit or value.unit)
        return value.settled, value.over_range, turned * (measured or Decimal(0)), len(value.readings) == 1

    return max(a, b, key=rank)


def _finding(rows: Rows, sheet: Sheet, stop: Stop, value: Possible, in_question: str) -> Finding:
    name = slot_name(sheet, value.quantity, value.condition or "", value.phase)
    doubt = f" ({in_question})" if in_question else ""
    ids = set(value.readings)
    superseded = stop.level == "caution" and all(rows.superseded(r) for r in rows.all if r.id in ids)
    return Finding(
        rule=stop.id,
        verdict=stop.level,
        text=f"{ended(f'{stop.name}: {name} {value.how} {value.shown}{doubt}')} {stop.say}",
        appliance=value.appliance,
        quantity=value.quantity,
        condition=value.condition,
        readings=value.readings,
        value=f"{value.how} {value.shown}",
        basis=stop.basis,
        superseded=superseded,
    )
