"""Questions to a person and their answers."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import Field, model_validator

from schemas.base import Model, Name
from schemas.doubts import Doubt, DoubtKind
from schemas.readings import Phase, Source

__all__ = ["Answer", "Candidate", "Question"]


class Candidate(Model):
    """One likely answer, complete: choosing it settles the reading. ``why`` says why it is offered.

    ``note`` is what belongs to the value (the screw and way of a turn), None: as in the reading; ``approx`` says that
    the value is about right, None: as in the reading, if that has the same value.
    """

    reading: str
    quantity: Name
    condition: Name | Literal[""]
    phase: Phase = ""
    value: str
    unit: str
    appliance: str | None = None
    note: str | None = None
    approx: bool | None = None
    why: str = ""


class Question(Model):
    """What a person is asked about one reading, or about two or three that hang together.

    It names at most three quantities, and its first candidate is the value heard or seen. ``alike``: all its readings,
    which may be more, are of one picture, or were said one after the other, and lack the same label; each candidate
    gives it for all of them (of a picture: appliance, condition and phase), and they keep their values.
    """

    id: str
    readings: tuple[str, ...] = Field(min_length=1)
    appliance: str | None
    quantities: tuple[Name, ...] = Field(max_length=3)
    condition: Name | Literal[""] | None
    text: str
    doubts: tuple[Doubt, ...]
    candidates: tuple[Candidate, ...]
    source: Source
    alike: bool = False

    @property
    def of_unclear_quantity(self) -> bool:
        """Whether its answers have to name their quantity: it is in doubt, or they are of several."""
        unclear = any(doubt.kind is DoubtKind.QUANTITY_UNCLEAR for doubt in self.doubts)
        return unclear or len({one.quantity for one in self.candidates}) > 1

    @model_validator(mode="after")
    def _is_short(self) -> Question:
        if len(self.readings) > 3 and not self.alike:
            raise ValueError("a question is about three readings at most, unless they are alike")
        return self


class Answer(Model):
    """Who settled a question, how, and as what.

    ``settled`` holds one complete candidate for each reading that stands; a reading of the question that is not in it
    is dropped (``wrong`` says so aloud: neither value is right). ``cannot_tell`` leaves the readings out of the record
    and keeps the question in the report.
    """

    question: str
    by: str
    how: Literal["chosen", "typed", "spoken", "cannot tell"]
    at: datetime
    settled: tuple[Candidate, ...] = ()

    @model_validator(mode="after")
    def _cannot_tell_settles_nothing(self) -> Answer:
        if self.how == "cannot tell" and self.settled:
            raise ValueError("an answer of 'cannot tell' settles nothing")
        return self
