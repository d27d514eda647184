"""The head of a job: what is known before any reading is taken."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import Field

from schemas.base import Model, Name, Sha256

__all__ = ["Instrument", "JobAppliance", "JobHead"]


class Instrument(Model):
    """A measuring instrument, remembered from job to job. ``calibrated`` and ``due`` are dates of its certificate."""

    name: str
    kind: Literal["manometer", "analyser", "thermometer", "multimeter", "other"]
    serial: str = ""
    calibrated: date | None = None
    due: date | None = None


class JobAppliance(Model):
    """One appliance of the job: its tag, the names it is called by, and its appliance file if it has one."""

    tag: str = Field(min_length=1, max_length=32)
    called: tuple[str, ...] = ()
    file: Name | None = None
    file_sha256: Sha256 | None = None


class JobHead(Model):
    """One visit to one site. ``units`` is the job's usual system: an unspoken unit takes the sheet's default of it."""

    number: Name
    sheet: Name
    sheet_sha256: Sha256
    site: str
    customer: str = ""
    technician: str
    units: Literal["us", "uk"]
    appliances: tuple[JobAppliance, ...] = Field(min_length=1)
    instruments: tuple[Instrument, ...] = ()
    created: datetime
