"""The drawing of a tuning's trail: the sheet's plotted quantities over time, the limit as a band, each turn marked."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import groupby

from checks.limits import applicable, span_of
from jobs.trail import Event, Trail, turn_of
from schemas.base import decimal_of, is_value_text
from schemas.sheet import Quantity, Sheet
from schemas.units import convert, show_unit, unit_of

__all__ = ["trail_svg"]

_WIDTH, _HEIGHT = 680, 200
_LEFT, _RIGHT, _TOP, _BOTTOM = 46, 46, 22, 44
_MARKS = ("first", "second")
"""How the series are drawn: the first with dots on the left scale, the second with squares on the right."""
_LOOK = {
    "polyline first": 'fill="none" stroke="#14414a" stroke-width="1.6"',
    "polyline second": 'fill="none" stroke="#56636a" stroke-width="1.6" stroke-dasharray="5 3"',
    "point first": 'fill="#14414a"',
    "point second": 'fill="#ffffff" stroke="#56636a" stroke-width="1.4"',
    "band first": 'fill="#e3ebea"',
    "band second": 'fill="none" stroke="#b9c2c6" stroke-width="0.6" stroke-dasharray="2 3"',
    "move": 'stroke="#1c2326" stroke-dasharray="1 3"',
    "text": 'font-family="DejaVu Sans, sans-serif" font-size="9" text-anchor="middle" fill="#1c2326"',
}
"""Looks as attributes, for the PDF and a file of its own, which have no style sheet; on the page, that one rules."""
_NEAREST = 18.0
"""Pixels between two events at least, so that values said in one breath can be told apart."""


@dataclass(frozen=True)
class _Series:
    mark: str
    quantity: Quantity
    points: tuple[tuple[float, Event], ...]
    gaps: tuple[tuple[float, Event], ...]
    """What was read and is no point of the line: over range, or in doubt. The line is broken there."""
    bands: tuple[tuple[float, float, float | None, float | None], ...]
    """From x, to x, lowest, highest; None where there is no such bound."""


def trail_svg(trail: Trail, sheet: Sheet) -> str:
    """Return the drawing as SVG; empty where no screw was moved or fewer than two values can be drawn.

    Only values that count are drawn; at one in doubt the line is broken, and one over range is told in words; a turn in
    doubt is drawn, behind a question mark.
    """
    events = [e for e in trail.events if e.move or e.reading.quantity in sheet.plotted]
    names = sheet.plotted[: len(_MARKS)]
    xs = _places(events)
    series = [_series(mark, sheet.quantity(q), events, xs, trail) for mark, q in zip(_MARKS, names, strict=False)]
    if not trail.moves or not series or len(series[0].points) < 2:
        return ""
    heads = " and ".join(one.quantity.name for one in series)
    over = "over time" if _timed(events) else "in the order they were read"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" class="trail" '
        f"{_LOOK['text']}>",
        f"<title>{escape(heads)} {over}, with the screws that were turned and the limits</title>",
    ]
    drawn = [_line(one) for one in series if one.points]
    parts += [part for bands, _ in drawn for part in bands]
    parts += _moves(events, xs)
    parts += [part for _, line in drawn for part in line]
    parts += _feet(events, xs, sheet)
    return "".join([*parts, "</svg>"])


def _timed(events: Sequence[Event]) -> bool:
    times = [e.at for e in events]
    known = [at for at in times if at is not None]
    return len(known) == len(times) and known == sorted(known) and len(set(known)) > 1


def _places(events: Sequence[Event]) -> list[float]:
    """Return the x of each event: by time where all times are known, else evenly in their order."""
    width = _WIDTH - _LEFT - _RIGHT
    count = max(len(events) - 1, 1)
    if not _timed(events):
        return [_LEFT + width * n / count for n in range(len(events))]
    first, last = events[0].at or 0.0, events[-1].at or 0.0
    least = min(_NEAREST, width / count)
    free = width - least * count
    # Each gap is a least one and its share of what is left, so that the order and the pauses both show.
    return [
        _LEFT + least * n + free * (((e.at or 0.0) - first) / ((last - first) or 1.0)) for n, e in enumerate(events)
    ]


def _series(mark: str, quantity: Quantity, events: Sequence[Event], xs: Sequence[float], trail: Trail) -> _Series:
    mine = [(x, e) for x, e in zip(xs, events, strict=True) if not e.move and e.reading.quantity == quantity.id]
    # A value in doubt is not drawn: one digit too many would bend the whole line.
    points = [(x, e) for x, e in mine if not e.doubt]
    unit = points[0][1].reading.unit if points else ""
    points = [(x, e) for x, e in points if unit_of(e.reading.unit).kind == unit_of(unit).kind]
    drawn = [e for _, e in points]
    gaps = [(x, e) for x, e in mine if e not in drawn]
    return _Series(mark, quantity, tuple(points), tuple(gaps), tuple(_bands(quantity, events, xs, trail, unit)))


def _bands(
    quantity: Quantity, events: Sequence[Event], xs: Sequence[float], trail: Trail, unit: str
) -> list[tuple[float, float, float | None, float | None]]:
    """Return the limit of each stretch in one condition, as wide as the stretch."""
    found = []
    for first, last, condition in _stretches(events):
        span = span_of(applicable(quantity.id, condition, trail.limits), unit) if unit else None
        if span is None:
            continue
        low, high = (None if bound is None else float(bound) for bound in span)
        found.append((xs[first] - 6, xs[last] + 6, low, high))
    return found


def _stretches(events: Sequence[Event]) -> list[tuple[int, int, str]]:
    found: list[tuple[int, int, str]] = []
    for n, event in enumerate(events):
        condition = event.reading.condition or ""
        if found and found[-1][2] == condition:
            found[-1] = (found[-1][0], n, condition)
        else:
            found.append((n, n, condition))
    return found


def _scale(series: _Series) -> Callable[[float], float | None]:
    """Return what gives the height of a value; None for a limit beyond what is drawn."""
    values = [_value(series, e) for _, e in series.points]
    lowest, highest = min(values), max(values)
    # A limit far away would flatten the line, and is left out where all lies on its right side.
    spread = (highest - lowest) or 1.0
    bounds = [b for _, _, low, high in series.bands for b in (low, high) if b is not None]
    near = [b for b in bounds if lowest - 3 * spread <= b <= highest + 3 * spread]
    near += [low for _, _, low, _ in series.bands if low is not None and low > lowest]
    near += [high for _, _, _, high in series.bands if high is not None and high < highest]
    low, high = min([*values, *near]), max([*values, *near])
    span = (high - low) or 1.0
    height = _HEIGHT - _TOP - _BOTTOM - 24

    def y(value: float) -> float | None:
        return _HEIGHT - _BOTTOM - 12 - height * (value - low) / span if low <= value <= high else None

    return y


def _line(series: _Series) -> tuple[list[str], list[str]]:
    """Return the bands and the line of a series."""
    y, mark = _scale(series), series.mark
    bands = []
    for left, right, low, high in series.bands:
        # Without a bound, and with one beyond what is drawn, the band runs to the edge.
        top = (None if high is None else y(high)) or _TOP
        bottom = (None if low is None else y(low)) or _HEIGHT - _BOTTOM
        bands.append(
            f'<rect x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{max(bottom - top, 1):.1f}" '
            f'class="band {mark}" {_LOOK[f"band {mark}"]}/>'
        )
    parts = []
    for stretch in _unbroken(series):
        path = " ".join(f"{x:.1f},{y(_value(series, e)):.1f}" for x, e in stretch)
        parts.append(f'<polyline points="{path}" class="{mark}" {_LOOK[f"polyline {mark}"]}/>')
    look = _LOOK[f"point {mark}"]
    for x, event in series.points:
        at = y(_value(series, event)) or 0.0
        shape = (
            f'<circle cx="{x:.1f}" cy="{at:.1f}" r="3" class="{mark}" {look}/>'
            if mark == "first"
            else f'<rect x="{x - 3:.1f}" y="{at - 3:.1f}" width="6" height="6" class="point {mark}" {look}/>'
        )
        parts.append(f'{shape}<text x="{x:.1f}" y="{at - 7:.1f}" class="{mark}">{event.reading.value}</text>')
    for x, event in series.gaps:
        if not is_value_text(event.reading.value):
            told = escape(f"{series.quantity.name} {event.reading.value}")
            parts.append(f'<text x="{x:.1f}" y="{_TOP + 8}" class="{mark}">{told}</text>')
    side, anchor = (4, "start") if mark == "first" else (_WIDTH - 4, "end")
    head = f"{series.quantity.name} {show_unit(series.points[0][1].reading.unit)}"
    parts.append(
        f'<text x="{side}" y="{_TOP + 2}" text-anchor="{anchor}" class="scale {mark}">{escape(head.strip())}</text>'
    )
    return bands, parts


def _unbroken(series: _Series) -> Iterator[list[tuple[float, Event]]]:
    """Yield the points of each line: of one condition, with nothing between them that is no point of it."""
    every = sorted([*series.points, *series.gaps], key=lambda point: point[0])
    for (_, drawn), stretch in groupby(every, key=lambda p: (p[1].reading.condition, p in series.points)):
        if drawn:
            yield list(stretch)


def _value(series: _Series, event: Event) -> float:
    """Return a value in the unit of the first that is drawn."""
    unit = series.points[0][1].reading.unit
    return float(convert(decimal_of(event.reading.value), event.reading.unit, unit))


def _moves(events: Sequence[Event], xs: Sequence[float]) -> list[str]:
    parts = []
    for x, event in zip(xs, events, strict=True):
        if event.move:
            way, mark = turn_of(event.reading)[1], "? " if event.doubt else ""
            told = escape(f"{mark}{event.reading.value} {way}")
            parts.append(
                f'<line x1="{x:.1f}" y1="{_TOP}" x2="{x:.1f}" y2="{_HEIGHT - _BOTTOM}" class="move" '
                f"{_LOOK['move']}/>"
                f'<text x="{x:.1f}" y="{_TOP - 8}" class="move">{told}</text>'
            )
    return parts


def _feet(events: Sequence[Event], xs: Sequence[float], sheet: Sheet) -> list[str]:
    parts = []
    for first, last, condition in _stretches(events):
        if condition:
            middle, name = (xs[first] + xs[last]) / 2, escape(sheet.condition(condition).name)
            parts.append(f'<text x="{middle:.1f}" y="{_HEIGHT - 8}" class="when">{name}</text>')
    if _timed(events):
        begins = events[0].at or 0.0
        for x, event in (pair for pair in zip(xs, events, strict=True) if pair[1].move):
            seconds = int((event.at or 0.0) - begins)
            text = f"{seconds // 60}:{seconds % 60:02d}"
            parts.append(f'<text x="{x:.1f}" y="{_HEIGHT - _BOTTOM + 14}" class="when">{text}</text>')
    return parts
