"""What capture hands over: sound and pictures, and the text found in them. No number is bound to a quantity here."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import Field

from schemas.base import Model, Sha256
from schemas.doubts import Doubt

__all__ = ["Box", "Clock", "Evidence", "Figure", "Hypothesis", "Look", "MadeBy", "Opinion", "Utterance", "Word"]

Clock = Literal["exif", "assumed", "container", "given", "none"]
"""Where the time of a piece of evidence comes from; ``assumed``: the picture tells no zone, so that of the machine that
it was added on was taken; ``none``: only the order in which it was added is known."""


class MadeBy(Model):
    """What read a piece of evidence: enough to read it again in the same way."""

    reader: str
    version: str
    model_sha256: Sha256 | None = None
    options: tuple[tuple[str, str], ...] = ()


class Evidence(Model):
    """One file as it was given, named by its SHA-256, never changed and never deleted.

    ``at`` is the moment of the picture, or of the first sample of the sound. ``without_place`` is the SHA-256 of the
    same photo with the place where it was taken blanked, as it leaves this store; None where it holds none.
    """

    sha256: Sha256
    kind: Literal["sound", "photo", "typed"]
    media_type: str
    name: str
    size: int = Field(gt=0)
    at: datetime | None = None
    clock: Clock = "none"
    without_place: Sha256 | None = None


class Word(Model):
    """One recognised word: its times in seconds from the start of the file, and the recogniser's certainty in 0..1."""

    text: str
    start: float
    end: float
    certainty: float | None = None


class Hypothesis(Model):
    """One thing that may have been said; ``mass`` is its share (0..1) among the hypotheses of its utterance."""

    text: str
    mass: float
    words: tuple[Word, ...] = ()


class Utterance(Model):
    """One stretch of speech: what it may have been, best first, and how well it could be heard.

    ``start`` and ``end`` are seconds from the start of the file. ``second_opinion`` is what another pass or another
    recogniser wrote for the same stretch. ``perhaps`` are the hypotheses of passes that listen for what stops the work
    and for nothing else, pass by pass with their shares in it; there are none where the speech was clear. ``snr_db`` is
    speech over noise in decibels; ``broken``: the line broke off in it. Typed text is an utterance of one hypothesis of
    mass 1 at second 0.
    """

    evidence: Sha256
    number: int = Field(ge=0)
    start: float
    end: float
    hypotheses: tuple[Hypothesis, ...] = Field(min_length=1)
    second_opinion: str | None = None
    perhaps: tuple[tuple[Hypothesis, ...], ...] = ()
    snr_db: float | None = None
    clipped: bool = False
    broken: bool = False
    made_by: MadeBy

    @property
    def text(self) -> str:
        """The best hypothesis."""
        return self.hypotheses[0].text


class Box(Model):
    """Four corners (x, y) in pixels of the upright picture, clockwise from the upper left of the text."""

    corners: tuple[tuple[float, float], tuple[float, float], tuple[float, float], tuple[float, float]]


class Opinion(Model):
    """What one recogniser read in a box, and its own score in 0..1."""

    reader: str
    text: str
    score: float


class Figure(Model):
    """One value found in a picture, with what stands beside it.

    ``value`` is the text as shown (``-0.02``, ``OL``, ``3.4``), ``label`` and ``unit`` the words next to it, empty
    where none could be read. ``alternatives`` are other values it might be, likeliest first. ``doubts`` are capture's
    own (a digit that readers disagree on, a place hidden by glare); without any, two independent readings agreed.
    """

    label: str
    value: str
    unit: str
    box: Box
    label_box: Box | None = None
    opinions: tuple[Opinion, ...] = ()
    alternatives: tuple[str, ...] = ()
    doubts: tuple[Doubt, ...] = ()


class Look(Model):
    """One picture and what was found in it.

    ``printed`` holds lines of text that carry no figure (date, time, fuel, maker's words). ``advice`` is what to do
    for a better picture, one sentence each, empty where the picture is good.
    """

    evidence: Sha256
    display: Literal["segments", "screen", "slip", "plate", "unknown"]
    width: int
    height: int
    figures: tuple[Figure, ...]
    printed: tuple[tuple[str, Box], ...] = ()
    advice: tuple[str, ...] = ()
    made_by: tuple[MadeBy, ...]
