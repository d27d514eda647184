"""Whether the clocks of pictures and printers go with the recorder's, told by values that were both said and shown.

A phone and an analyser keep their own time. Where a picture repeats a row of spoken values that no other row can be
taken for, the difference between its clock and the moment of that row is known; where such differences agree, the
clock is off by as much. Nothing is set right by itself: the difference orders what is asked, and is told.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from statistics import median

from jobs.timeline import Filed
from schemas.evidence import Look

__all__ = ["GOES", "Span", "off_by", "printed_at", "steady", "told"]

GOES = 120.0
"""Seconds between a row being said and shown within which a clock goes right: nobody prints while speaking."""
_STEADY = 90.0
"""Seconds by which the differences of one clock may differ."""
_TIME = re.compile(
    r"(?<![\d:.,])([01]?\d|2[0-3])[:.]([0-5]\d)(?:[:.]([0-5]\d))?(?![\d:.,])\s*([ap])?\.?m?", re.I | re.ASCII
)
_DATE = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}", re.ASCII)


@dataclass(frozen=True)
class Span:
    """From the first to the last of the moments at which a row's values were said, in seconds since 1970."""

    first: float
    last: float

    def beyond(self, moment: float) -> float:
        """Seconds from the span to a moment: negative where the moment is before it, 0 within."""
        return min(moment - self.first, 0.0) or max(moment - self.last, 0.0)


def printed_at(look: Look, said: Filed) -> float | None:
    """Return the moment that a slip prints, on the day of a recording and in its zone; None where it prints no time.

    Only the time of day is taken: the order of day and month is not the same everywhere. Two different times are none.
    """
    if said.at is None:
        return None
    times = set()
    for text, _ in look.printed:
        for match in _TIME.finditer(_DATE.sub(" ", text)):
            hour = int(match[1]) % 12 + 12 * (match[4].lower() == "p") if match[4] else int(match[1])
            times.add((hour, int(match[2]), int(match[3] or 0)))
    if len(times) != 1:
        return None
    hour, minute, second = times.pop()
    moment = said.at.replace(hour=hour, minute=minute, second=second, microsecond=0)
    days = (moment + timedelta(days=shift) for shift in (-1, 0, 1))
    near = said.at.timestamp()
    return min((day.timestamp() for day in days), key=lambda at: abs(at - near))


def off_by(moment: float, span: Span) -> float:
    """Return by how many seconds a clock that showed ``moment`` is ahead of the recorder's, 0 where it goes right."""
    beyond = span.beyond(moment)
    return beyond if abs(beyond) > GOES else 0.0


def steady(differences: Sequence[float]) -> float | None:
    """Return the difference that a clock has shown every time; None where none is known or they do not agree."""
    if not differences or max(differences) - min(differences) > _STEADY:
        return None
    return float(median(differences))


def told(seconds: float, whose: str) -> str:
    """Say in words by how much a clock is off: ``the clock of the photos is about 7 minutes behind the recorder's``."""
    minutes = round(abs(seconds) / 60)
    amount = f"{minutes} minutes" if minutes != 1 else "a minute"
    return f"the clock of {whose} is about {amount} {'ahead of' if seconds > 0 else 'behind'} the recorder's"
