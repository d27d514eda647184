"""Doubles for the job book's tests: ears and eyes that are quick and always hear and see the same.

A "recording" is a text file, one utterance a line, a "photo" a text file of figures; both begin with a line that says
so and, if wanted, when they were made. What extraction finds in a line is doubled too, in one plain form, so that these
tests stand whatever the real one makes of English (its rule for operations, ``extract.apply``, is the real one):

    12.5 high_fire co2 9.3 %              a reading at second 12.5
    14.0 high_fire o2 9.2 % ?heard unclearly
    20.0 change high_fire co2 9.4 %       takes the place of the reading in that slot
    25.0 remove high_fire co2
    30.0 limit high_fire co2 8.5 9.5 %
    31.0 alarm gas_smell
    32.0 talk
"""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

import extract
from capture.media import Media
from extract import apply
from jobs import extraction
from jobs.senses import Senses
from schemas.doubts import Doubt, DoubtKind
from schemas.errors import BadInput
from schemas.evidence import Box, Clock, Figure, Hypothesis, Look, MadeBy, Utterance
from schemas.readings import Alarm, Change, Operation, QuotedLimit, Reading, Record, Remove, Source
from schemas.sheet import Relation

SHEET = """
id = "plain"
title = "A plain sheet for tests"
version = 1
jurisdiction = "none"
cautions = []
[groups]
all = "All"
[[conditions]]
id = "high_fire"
name = "high fire"
said = ["high fire"]
adjusted = true
[[conditions]]
id = "low_fire"
name = "low fire"
said = ["low fire"]
[[quantities]]
id = "co2"
name = "CO2"
group = "all"
units = ["%"]
default_units = { us = "%", uk = "%" }
conditions = ["high_fire", "low_fire"]
settling = "0.2"
said = ["co2"]
[[quantities]]
id = "o2"
name = "O2"
group = "all"
units = ["%"]
default_units = { us = "%", uk = "%" }
conditions = ["high_fire", "low_fire"]
settling = "0.2"
said = ["o2"]
[[quantities]]
id = "inlet_pressure"
name = "Inlet pressure"
group = "all"
units = ["[in_i'H2O]", "mbar"]
default_units = { us = "[in_i'H2O]", uk = "mbar" }
conditions = ["high_fire"]
said = ["inlet"]
sign = "must be said"
[[quantities]]
id = "flue_temp"
name = "Flue temperature"
group = "all"
units = ["[degF]", "Cel"]
default_units = { us = "[degF]", uk = "Cel" }
conditions = ["high_fire", "low_fire"]
settling = "4"
said = ["flue"]
[[quantities]]
id = "fuel"
name = "Fuel"
kind = "choice"
group = "all"
said = ["fuel"]
[quantities.choices]
natural_gas = ["natural gas"]
propane = ["propane"]
[[quantities]]
id = "serial"
name = "Serial number"
kind = "text"
group = "all"
said = ["serial"]
[[quantities]]
id = "leak_test"
name = "Leak test"
kind = "check"
group = "all"
said = ["leak test"]
"""

MADE_BY = MadeBy(reader="double", version="1")
NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)


def ticking(start: datetime = NOON) -> Callable[[], datetime]:
    """Return a clock that goes on by one second each time it is read."""
    passed = 0

    def now() -> datetime:
        nonlocal passed
        passed += 1
        return start + timedelta(seconds=passed)

    return now


def sound(lines: Sequence[str], at: datetime | None = None) -> bytes:
    """Return a recording for the ears below."""
    return "\n".join([f"SOUND {at.isoformat() if at else ''}".strip(), *lines]).encode()


def photo(lines: Sequence[str], at: datetime | None = None, *, kind: str = "PHOTO") -> bytes:
    """Return a photo for the eyes below, ``kind`` SLIP that of a printed slip."""
    return "\n".join([f"{kind} {at.isoformat() if at else ''}".strip(), *lines]).encode()


def identify(path: Path, clock: Clock = "exif") -> Media:
    try:
        first = path.read_bytes().decode().splitlines()[0].split()
    except (UnicodeDecodeError, IndexError):
        raise BadInput(f"{path.name} is neither sound nor picture; give a recording or a photo.") from None
    if first[0] not in ("SOUND", "PHOTO", "SLIP"):
        raise BadInput(f"{path.name} is neither sound nor picture; give a recording or a photo.")
    at = datetime.fromisoformat(first[1]) if len(first) > 1 else None
    if first[0] == "SOUND":
        return Media("sound", "audio/wav", at, "container" if at else "none", 60.0)
    return Media("photo", "image/jpeg", at, clock if at else "none")


@dataclass
class Ears:
    """Hears the lines of a recording; ``heard`` counts them, ``broken`` is in the line at which the file is bad."""

    heard: list[str] = field(default_factory=list)
    looked: list[str] = field(default_factory=list)
    broken: str = ""
    wait: Callable[[], None] = lambda: None

    def hear(self, path: Path, sha256: str, *, skip: int, progress: Callable[[float], None]) -> Iterator[Utterance]:
        for number, line in enumerate(path.read_text().splitlines()[1:]):
            if number < skip:
                continue
            if self.broken and self.broken in line:
                raise BadInput("The recording is damaged at this point.")
            self.wait()
            start, text = line.split(" ", 1)
            progress(float(start))
            self.heard.append(text)
            yield Utterance(
                evidence=sha256,
                number=number,
                start=float(start),
                end=float(start) + 1,
                hypotheses=(Hypothesis(text=text, mass=1.0),),
                made_by=MADE_BY,
            )

    def look(self, path: Path, sha256: str) -> Look:
        self.wait()
        figures = []
        first, *lines = path.read_text().splitlines()
        display: Literal["slip", "screen"] = "slip" if first.startswith("SLIP") else "screen"
        for row, line in enumerate(lines):
            self.looked.append(line)
            box = Box(corners=((0, row), (9, row), (9, row + 1), (0, row + 1)))
            figures.append(Figure(label=line, value="", unit="", box=box))
        return Look(evidence=sha256, display=display, width=10, height=10, figures=tuple(figures), made_by=(MADE_BY,))

    def senses(self) -> Senses:
        return Senses(identify, self.hear, self.look)


@dataclass(frozen=True)
class Setting:
    units: str
    appliances: tuple[Any, ...]
    fuel: str | None
    governor: str
    known: tuple[extract.Known, ...] = ()
    bounds: tuple[extract.Bound, ...] = ()
    rules: tuple[tuple[str, Relation], ...] = ()


@dataclass(frozen=True)
class Context:
    readings: Mapping[str, Reading] = field(default_factory=dict)
    fire: str = ""

    @property
    def state(self) -> str | None:
        return self.fire if self.fire not in ("", "quiet") else None

    def tag(self) -> None:
        return None


def compile_sheet(sheet: Any) -> Any:
    return sheet


def start(setting: Any) -> Context:
    return Context()


def step(utterance: Utterance, at: float, context: Context, grammar: Any) -> tuple[Context, tuple[Operation, ...]]:
    source = Source(evidence=utterance.evidence, utterance=utterance.number, start=utterance.start, end=utterance.end)
    name = f"{utterance.evidence[:8]}-u{utterance.number}"
    context, operation = _read(utterance.text, name, source, context)
    operations = () if operation is None else (operation,)
    return replace(context, readings=apply(operations, context.readings)), operations


def bind_look(look: Look, at: float | None, context: Context, grammar: Any) -> tuple[Context, tuple[Operation, ...]]:
    operations = []
    seen = context if at is not None else replace(context, fire="")
    for number, figure in enumerate(look.figures):
        source = Source(evidence=look.evidence, box=figure.box)
        _, operation = _read(figure.label, f"{look.evidence[:8]}-f{number}", source, seen)
        if operation is not None:
            operations.append(operation)
    return replace(context, readings=apply(operations, context.readings)), tuple(operations)


def _read(text: str, name: str, source: Source, context: Context) -> tuple[Context, Operation | None]:
    text, _, doubt = text.partition(" ?")
    words = text.split()
    if words[0] == "now":
        return replace(context, fire=words[1]), None
    if words[0] == "talk":
        return context, None
    if words[0] == "alarm":
        return context, Alarm(stop=words[1], source=source)
    if words[0] == "limit":
        limit = QuotedLimit(
            quantity=words[2], condition=words[1], low=words[3], high=words[4], unit=words[5], source=source
        )
        return context, limit
    verb = words.pop(0) if words[0] in ("change", "remove") else "record"
    condition, quantity = words[0], words[1]
    if condition == "here" and context.fire == "quiet":  # it turns out that this was about something else
        return context, None
    if condition == "here":  # what was said before decides, as in real talk
        condition = context.fire or "none"
    slot = (None if condition == "none" else "" if condition == "-" else condition, quantity)
    target = next((r.id for r in reversed(list(context.readings.values())) if (r.condition, r.quantity) == slot), "")
    if verb == "remove":
        return context, Remove(target=target, source=source, why="taken back aloud")
    doubts = [Doubt(kind=DoubtKind(doubt))] if doubt else []
    if condition == "none":
        doubts.append(Doubt(kind=DoubtKind.CONDITION_UNCLEAR))
    reading = Reading(
        id=name,
        quantity=quantity,
        condition=slot[0],
        value=words[2],
        unit=words[3] if len(words) > 3 else "",
        source=source,
        doubts=tuple(doubts),
        passed=() if doubts else ("all",),
    )
    if verb == "change" and target:
        return context, Change(target=target, reading=reading, why="corrected aloud")
    return context, Record(reading=reading)


def install(put: Callable[[object, str, object], None] = setattr) -> None:
    """Put the doubled extraction in the place of the real one; ``put`` may be ``monkeypatch.setattr``."""
    for one in (Setting, compile_sheet, start, step, bind_look):
        put(extract, one.__name__, one)
    put(extraction, "_last", deque(maxlen=1))  # what the real one found is not what a double would find


def sha_of(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
