"""What a file turned out to be when its bytes were looked at."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from schemas.evidence import Clock

__all__ = ["Media"]


@dataclass(frozen=True)
class Media:
    """Kind and type of a file, the moment it was made where the file itself says so, and how long it plays.

    ``media_type`` is an IANA media type. ``at`` has a zone, or is None with clock ``none``. ``seconds`` is None for
    pictures.
    """

    kind: Literal["sound", "photo"]
    media_type: str
    at: datetime | None = None
    clock: Clock = "none"
    seconds: float | None = None
