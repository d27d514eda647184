"""What is known when the next sentence comes: appliance, firing rate, what was said last, and all live readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

from extract.numbers import Number
from schemas.appliance import Fuel
from schemas.job import JobAppliance
from schemas.readings import Alarm, Change, Operation, QuotedLimit, Reading, Record, Relabel, Remove, Source
from schemas.sheet import Relation

__all__ = ["Bound", "Context", "Known", "Setting", "Topic", "apply", "at_appliance"]

SILENCE = 1800.0  # seconds after which a firing rate said before is no longer taken for granted
RECENT = 60.0  # seconds within which "it" still means the quantity named last
SCREW_KEPT = 180.0  # seconds within which "another eighth" still means the same screw
CLOCKED = 600.0  # seconds within which the time at the meter follows the volume
TURNED = "read again after the adjustment"  # why a value takes another's place: a screw was turned in between
CHANGED = "has changed"  # why a value takes another's place: it was measured anew
AGAIN = "told again"  # why a check's state takes another's place
MEASURED_ANEW = (TURNED, CHANGED, AGAIN)  # what stood before was true in its time
ANSWERED = 15.0  # seconds within which "it should read five" may put right what was just said
LAST_KEPT = 120.0  # seconds within which "no, that's the static" still means the last reading


class Known(NamedTuple):
    """What the file of an appliance says of a quantity."""

    appliance: str
    quantity: str
    value: str
    unit: str


class Bound(NamedTuple):
    """A limit of a quantity: of one appliance, or of any; in one condition, or in any that has none of its own.

    ``reaches`` says that the highest value is beyond it already.
    """

    appliance: str | None
    quantity: str
    condition: str
    low: str | None
    high: str | None
    unit: str
    reaches: bool = False


@dataclass(frozen=True)
class Setting:
    """What the job's head says: usual units, appliances, and what the appliance file says of fuel and governor.

    ``known`` is what the appliance files say that a rating plate says too; ``bounds`` are the limits that readings will
    meet, ``rules`` the maker's relations, each with its appliance.
    """

    units: Literal["us", "uk"]
    appliances: tuple[JobAppliance, ...] = ()
    fuel: Fuel | None = None
    governor: Literal["zero or negative", "positive", "not said"] = "not said"
    known: tuple[Known, ...] = ()
    bounds: tuple[Bound, ...] = ()
    rules: tuple[tuple[str, Relation], ...] = ()


@dataclass(frozen=True)
class Topic:
    """A quantity that was named, where and when; ``condition`` as named with it."""

    ids: tuple[str, ...]
    condition: str | None
    at: float
    asked: bool = False


@dataclass(frozen=True)
class Open:
    """A value said without any quantity, kept until it is named ("nine one, four eight. That's CO2 and O2")."""

    number: Number
    unit: str
    source: Source
    at: float
    reading: str | None


class Clocking(NamedTuple):
    """A volume at the meter whose time is still to be said ("two cubic feet at full rate" … "fifty two seconds")."""

    quantity: str
    volume: str
    condition: str | None
    at: float


@dataclass
class Context:
    """The running context. ``extract.step`` returns a new one and leaves its argument as it was."""

    setting: Setting
    readings: dict[str, Reading] = field(default_factory=dict)
    times: dict[str, float] = field(default_factory=dict)
    at: float = 0.0
    state: str | None = None
    state_at: float = 0.0
    furthest: int = -1
    phase: tuple[str, Literal["before", "after"]] | None = None
    moved: frozenset[tuple[str | None, str]] = frozenset()
    appliance: str | None = None
    appliances: tuple[str, ...] = ()
    appliance_lost: bool = False
    topic: Topic | None = None
    pending: Topic | None = None
    check: Topic | None = None
    """A check that was named, and nothing said of it yet."""
    code: Topic | None = None
    """A quantity in letters and figures (a serial number) that was named, and nothing said of it yet."""
    last: tuple[str, ...] = ()
    last_at: float = -1e9
    screw: str | None = None
    screw_at: float = -1e9
    open: tuple[Open, ...] = ()
    since_appliance: tuple[str, ...] = ()
    clocking: Clocking | None = None
    cut: str | None = None
    before: str = ""
    """The words of the last utterance."""
    astray: str = ""
    """Words that may have named another firing rate or appliance than the one taken for granted."""
    turned: str = ""
    """Words since the last turn in which a screw may have been turned, though no turn was understood."""
    correcting: bool = False
    quoted: tuple[Bound, ...] = ()
    """Limits that were said aloud, read back or not: a value near one is asked sooner."""
    replaced: tuple[tuple[str, Reading], ...] = ()
    """The last readings that took another's place, by id, with what stood there: "no, the one before"."""

    def copy(self) -> Context:
        """A context that can be changed without changing this one."""
        return replace(self, readings=dict(self.readings), times=dict(self.times))

    def several(self) -> bool:
        """Whether more than one appliance is about."""
        return len(self.setting.appliances) > 1 or len(self.appliances) > 1

    def tag(self) -> str | None:
        """The appliance that a reading said now belongs to; None where there is only one, or where it is not known."""
        return self.appliance

    def live(self) -> Iterable[Reading]:
        """All live readings, oldest first."""
        return self.readings.values()

    def at_slot(self, quantity: str, condition: str | None, phase: str, appliance: str | None) -> Reading | None:
        """The reading of a slot that was said, the newest if there are several; photos are weighed in ``jobs``."""
        found = None
        for r in self.readings.values():
            if (
                r.source.box is None
                and r.quantity == quantity
                and r.condition == condition
                and r.phase == phase
                and r.appliance == appliance
            ):
                found = r
        return found


def at_appliance(context: Context, tag: str) -> Context:
    """Return the context of work that is at an appliance, as a person said when asked; where it was known it stays."""
    if context.appliance is not None and not context.appliance_lost:
        return context
    return replace(context, appliance=tag, appliance_lost=False, since_appliance=())


def apply(operations: Iterable[Operation], readings: Mapping[str, Reading]) -> dict[str, Reading]:
    """Return the live readings after ``operations``, by id, in the order in which they were recorded.

    A target that is not there is passed over: it was taken back before.
    """
    live = dict(readings)
    for op in operations:
        if isinstance(op, Record):
            live[op.reading.id] = op.reading
        elif isinstance(op, Change):
            live.pop(op.target, None)
            live[op.reading.id] = op.reading
        elif isinstance(op, Remove):
            live.pop(op.target, None)
        elif isinstance(op, Relabel):
            old = live.get(op.target)
            if old is not None:
                names = ("quantity", "condition", "phase", "appliance", "unit", "doubts", "asked_with")
                changed = {n: v for n in names if (v := getattr(op, n)) is not None}
                live[op.target] = old.model_copy(update=changed)
        else:
            assert isinstance(op, QuotedLimit | Alarm)
    return live
