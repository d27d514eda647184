"""The plot of a tuning: the quantities that the sheet plots, of one appliance, in the order in which they were read.

It shows what was read and when a screw was moved; it says nothing of what to do.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from jobs.fold import Job
from schemas.base import is_value_text
from schemas.readings import Reading
from schemas.sheet import Quantity, Sheet
from schemas.units import show_unit

__all__ = ["trail_svg"]

_WIDTH, _HEIGHT = 680, 190
_LEFT, _RIGHT, _TOP, _BOTTOM = 46, 46, 18, 34
_MARKS = ("first", "second")
"""How the series are drawn: the first with dots on the left scale, the second with squares on the right."""


@dataclass(frozen=True)
class _Point:
    step: int
    value: float
    text: str
    unit: str


def trail_svg(job: Job, sheet: Sheet, tag: str) -> str:
    """Return an SVG plot for one appliance; empty where no screw was moved or fewer than two values can be plotted."""
    plotted = sheet.plotted[: len(_MARKS)]
    rows = [
        row.reading for row in job.rows.values() if row.reading.appliance == tag and row.how not in ("open", "left out")
    ]
    steps = [one for one in rows if one.quantity in plotted or _is_move(one, sheet)]
    moves = [place for place, one in enumerate(steps) if _is_move(one, sheet)]
    series = {name: _points(steps, name) for name in plotted}
    if not moves or not plotted or len(series[plotted[0]]) < 2:
        return ""
    return _drawn(steps, moves, series, sheet)


def _is_move(reading: Reading, sheet: Sheet) -> bool:
    return reading.quantity is not None and sheet.quantity(reading.quantity).kind == "move"


def _points(steps: Sequence[Reading], quantity: str) -> list[_Point]:
    return [
        _Point(place, float(one.value), one.value, one.unit)
        for place, one in enumerate(steps)
        if one.quantity == quantity and is_value_text(one.value)
    ]


def _drawn(steps: Sequence[Reading], moves: Sequence[int], series: dict[str, list[_Point]], sheet: Sheet) -> str:
    last = max(len(steps) - 1, 1)

    def x(place: int) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * place / last

    names = " and ".join(sheet.quantity(name).name for name in series)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" class="trail">',
        f"<title>{names} in the order they were read, with the screws that were moved</title>",
    ]
    for place in moves:
        parts.append(
            f'<line x1="{x(place):.1f}" y1="{_TOP}" x2="{x(place):.1f}" y2="{_HEIGHT - _BOTTOM}" class="move"/>'
            f'<text x="{x(place):.1f}" y="{_TOP - 6}" class="move">{steps[place].value} turn</text>'
        )
    for mark, (name, points) in zip(_MARKS, series.items(), strict=False):
        if points:
            parts += _line(mark, sheet.quantity(name), points, x)
    for place, one in enumerate(steps):
        before = steps[place - 1].condition if place else None
        if one.condition and one.condition != before:
            label = sheet.condition(one.condition).name
            parts.append(f'<text x="{x(place):.1f}" y="{_HEIGHT - 8}" class="when">{label}</text>')
    return "".join([*parts, "</svg>"])


def _line(mark: str, quantity: Quantity, points: Sequence[_Point], x: Callable[[int], float]) -> list[str]:
    low, high = min(p.value for p in points), max(p.value for p in points)
    span = (high - low) or 1.0

    def y(value: float) -> float:
        return _HEIGHT - _BOTTOM - 12 - (_HEIGHT - _TOP - _BOTTOM - 24) * (value - low) / span

    path = " ".join(f"{x(p.step):.1f},{y(p.value):.1f}" for p in points)
    parts = [f'<polyline points="{path}" class="{mark}"/>']
    for p in points:
        shape = (
            f'<circle cx="{x(p.step):.1f}" cy="{y(p.value):.1f}" r="3" class="{mark}"/>'
            if mark == "first"
            else f'<rect x="{x(p.step) - 3:.1f}" y="{y(p.value) - 3:.1f}" width="6" height="6" class="{mark}"/>'
        )
        parts.append(f'{shape}<text x="{x(p.step):.1f}" y="{y(p.value) - 7:.1f}" class="{mark}">{p.text}</text>')
    side, anchor = (4, "start") if mark == "first" else (_WIDTH - 4, "end")
    label, unit = quantity.name, show_unit(points[0].unit)
    parts.append(f'<text x="{side}" y="{_TOP + 2}" text-anchor="{anchor}" class="scale {mark}">{label} {unit}</text>')
    return parts
