"""How certain a value must be to be taken unasked: thresholds that a command finds on the dev recordings and writes.

They stand in ``certainty.toml`` beside this file, each with the curve that it was chosen on; ``bench/calibrate.py``
writes that file and nothing else does.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Annotated

from pydantic import Field, ValidationError, model_validator

from schemas.base import Model, Sha256
from schemas.errors import BadInput

__all__ = ["COMMAND", "Calibration", "Certainty", "Curve", "Measured", "Point", "certainty", "read_calibration"]

COMMAND = "python -m bench.hear MANIFEST.jsonl --calibrate"
"""What writes the file."""

Share = Annotated[float, Field(ge=0.0, le=1.0)]
Count = Annotated[int, Field(ge=0)]


class Certainty(Model):
    """The thresholds. A share is one of the mass of all ways in which an utterance was heard.

    The ``_at_stake`` ones hold for a value on whose last digit something hangs (extract/stakes.py).
    """

    support: Share = Field(description="share that must have a value which the second opinion has too")
    alone: Share = Field(description="share that must have a value which no second opinion confirms")
    against: Share = Field(description="share with another number, place or state that makes a value unclear")
    placed: Share = Field(description="share that must have a value at the firing rate it is said with")
    named: Share = Field(
        description="share that must have the name, where all have the number and the second opinion both"
    )
    lone: Share = Field(description="certainty of the least certain word of a value heard in one way, not confirmed")
    name: Share = Field(description="certainty of the least certain word of a name")
    notable: Share = Field(description="share of a hypothesis that is listened to where names are spelt")
    noisy: float = Field(description="speech over noise, dB, under which a value must be confirmed")
    support_at_stake: Share = Field(description="support where something hangs on the last digit")
    alone_at_stake: Share = Field(description="alone where something hangs on the last digit")


class Point(Model):
    """What one value of a threshold gives, the others as they stand: counts over all hearings of the manifest."""

    at: float
    wrong: Count
    questions: Count
    right: Count


class Curve(Model):
    """A threshold with where it comes from: ``value`` is the point of ``curve`` that the rule chose; the rates are that
    point's with their 95 % intervals."""

    value: float
    silently_wrong: str
    asked: str
    curve: tuple[Point, ...]

    @model_validator(mode="after")
    def _is_on_its_curve(self) -> Curve:
        if self.value not in {point.at for point in self.curve}:
            raise ValueError(f"{self.value:g} is no point of its curve")
        return self


class Measured(Model):
    """What the thresholds were found on. ``readings`` and ``entries`` are counted over all ``hearings``."""

    manifest: str
    sha256: Sha256
    items: Count
    hearings: tuple[str, ...]
    entries: Count = 0
    readings: Count = 0
    reader: str
    version: str
    options: dict[str, str]
    date: str = ""
    rule: str = ""


class Calibration(Model):
    """The whole file."""

    measured: Measured
    thresholds: dict[str, Curve]

    @model_validator(mode="after")
    def _has_every_threshold(self) -> Calibration:
        if set(self.thresholds) != set(Certainty.model_fields):
            odd = sorted(set(self.thresholds) ^ set(Certainty.model_fields))
            raise ValueError(f"missing, or not known: {', '.join(odd)}")
        self.certainty()
        return self

    def certainty(self) -> Certainty:
        """Return the thresholds alone."""
        return Certainty(**{name: one.value for name, one in self.thresholds.items()})


def read_calibration(text: str, name: str = "certainty.toml") -> Calibration:
    """Return what a calibration file says.

    Raises:
        BadInput: it is no such file, is incomplete, or was changed by hand so that a value left its curve.
    """
    try:
        return Calibration.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        why = f"not valid TOML: {error}"
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        why = f"{f'{where}: ' if where else ''}{first['msg'].removeprefix('Value error, ')}"
    raise BadInput(f"{name}: {why}; let the command write it anew: {COMMAND}.")


@cache
def certainty() -> Certainty:
    """Return the shipped thresholds, read and checked once.

    Raises:
        BadInput: the file is missing or no such file.
    """
    path = files("extract").joinpath("certainty.toml")
    if not path.is_file():
        raise BadInput(f"extract/certainty.toml is missing; let the command write it: {COMMAND}.")
    return read_calibration(path.read_text("utf-8"), "extract/certainty.toml").certainty()
