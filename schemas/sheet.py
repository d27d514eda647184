"""Sheets: what has to be recorded on a kind of job, and how people say it. Data, not code."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cached_property
from typing import Annotated, Literal

from pydantic import Field, model_validator

from schemas.base import Model, Name, ValueText, decimal_of
from schemas.readings import Phase
from schemas.units import UnitCode, UnitCodeOrNone

__all__ = ["Condition", "Quantity", "Range", "Relation", "Required", "Screw", "Sheet", "Stop"]


class Condition(Model):
    """When a quantity is read: static, at ignition, high fire. ``said`` are the ways it is named.

    ``enter`` are phrases that mean the plant is going there now ("lighting now", "going up to maximum"), beyond the
    plain names; one that belongs to several conditions means the first that is not behind us. ``sounds_like`` are
    what recognisers write instead. ``adjusted``: readings here have a before and an after once a screw is moved.
    ``implies`` is the quantity that a value beside the condition's name alone belongs to ("static eight point oh").
    ``firing``: the burner runs. ``yields``: a firing rate that is known takes its place ("working pressure" at high
    fire). ``passing``: it is over at once, so a value said later no longer belongs to it.
    """

    id: Name
    name: str
    said: tuple[str, ...]
    enter: tuple[str, ...] = ()
    sounds_like: tuple[str, ...] = ()
    adjusted: bool = False
    implies: Name | Literal[""] = ""
    firing: bool = False
    yields: bool = False
    passing: bool = False


class Range(Model):
    """What a value can be (``possible``) and what it mostly is (``usual``), both in the quantity's first unit."""

    possible: tuple[ValueText | None, ValueText | None] = (None, None)
    usual: tuple[ValueText | None, ValueText | None] = (None, None)


class Quantity(Model):
    """One thing to record.

    ``kind``: number, check (passed, failed, done, not yet, not applicable), text, choice, date, move.
    ``units``: every UCUM code it is given in; the first is the one that ranges are in. ``default_units`` by system of
    units is what an unspoken unit means. ``decimals``: the digits after the point that are usual in each unit.
    ``conditions``: those it is read in; empty where it has none. ``said``: ways it is named, best first; ``shown``:
    labels that displays and slips use. ``sign``: ``plain`` (never negative), ``said`` (may be negative, as said) or
    ``must be said`` (a bare small value is asked about). ``say_back`` where a value is always confirmed aloud.
    ``settling`` is the difference within which voice and photo agree.
    """

    id: Name
    name: str
    kind: Literal["number", "check", "text", "choice", "date", "move"] = "number"
    group: Name
    units: tuple[UnitCode, ...] = ()
    default_units: dict[Literal["us", "uk"], UnitCode] = Field(default_factory=dict)
    decimals: dict[str, tuple[int, ...]] = Field(default_factory=dict)
    range: Range = Range()
    conditions: tuple[Name, ...] = ()
    said: tuple[str, ...] = ()
    vaguely: tuple[str, ...] = ()
    """Names that it shares with other quantities ("temperature"): always asked, unless unit or range leave one."""
    beside: tuple[str, ...] = ()
    """Words that make a value of its unit perhaps one of it where no quantity is named ("forty parts in the room")."""
    sounds_like: tuple[str, ...] = ()
    """What recognisers write instead of its names."""
    unit_alone: tuple[str, ...] = ()
    """Units that no other quantity is given in when its name is left out ("twenty eight gallons a minute")."""
    noted_units: tuple[str, ...] = ()
    """Units of a second value that is kept as its note (the volume of a clocking)."""
    form: Literal["words", "name", "person", "code"] = "words"
    """Text: words as said, a name, a person's name, or a code of letters and digits that may be spelt."""
    tells: dict[Literal["passed", "failed", "done", "not yet", "not applicable"], tuple[str, ...]] = Field(
        default_factory=dict
    )
    """Wordings that tell a check's state without its name ("no leaks anywhere")."""
    shown: tuple[str, ...] = ()
    sign: Literal["plain", "said", "must be said"] = "plain"
    choices: dict[Name, tuple[str, ...]] = Field(default_factory=dict)
    states: dict[Literal["passed", "failed", "done", "not yet", "not applicable"], tuple[str, ...]] = Field(
        default_factory=dict
    )
    when_tested: tuple[str, ...] = ()
    """Of its ``states``, those that are told of faults too: they hold only where the sentence speaks of a test."""
    say_back: bool = False
    reserved: bool = False
    """Only the technician may settle it: the office can send the question back, not answer it."""
    settling: ValueText | None = None
    every_job: bool = False
    """It belongs to the visit, not to an appliance (ambient CO, site)."""
    maker_limits: bool = False
    """The maker sets limits for it: without any, the verdict is "cannot tell"."""
    in_file: Literal["", "maker", "model", "fuel", "input_high", "input_low"] = ""
    """Where the appliance file tells it too: a plate that says the same needs no question, another is asked about."""
    kind_of: Name | None = None
    """The plainer quantity that it is a kind of: "CO forty, air free" is this one."""
    referred_to: Name | None = None
    """A quantity at whose stated value it may be told instead ("at three percent O2"): then it is asked about."""
    otherwise: tuple[str, ...] = ()
    """Words beside its value that make it something else ("over ambient"): then it is asked about."""
    bases: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    """What it may be reckoned on (efficiency on the net or the gross heating value), and the words for it: its note."""
    lowest_of: Name | None = None
    """A plate value: the lowest that this other quantity may be."""
    highest_of: Name | None = None
    """A plate value: the highest that this other quantity may be."""

    @model_validator(mode="after")
    def _units_are_known(self) -> Quantity:
        for code in (*self.default_units.values(), *self.decimals):
            if code not in self.units:
                raise ValueError(f"{self.id}: {code} is not among its units")
        return self


class Screw(Model):
    """An adjustment, named by what it does. ``condition`` is the firing rate that it sets.

    ``short`` are names that mean the screw only beside a turn ("an eighth out on the offset").
    """

    id: Name
    name: str
    said: tuple[str, ...]
    short: tuple[str, ...] = ()
    condition: Name | Literal[""] = ""


class Required(Model):
    """What must be there before the job is complete.

    ``when`` names a quantity that must exist first in the same condition (a move): without it, nothing is asked.
    ``phase`` asks for the reading before or after an adjustment; empty takes any.
    """

    quantity: Name
    condition: Name | Literal[""] = ""
    phase: Phase = ""
    when: Name | None = None
    once: bool = False
    """Once a job, not once an appliance."""


class Slot(Model):
    """A quantity in a condition, as a relation names it."""

    quantity: Name
    condition: Name | Literal[""] = ""


class Relation(Model):
    """A typed rule between readings of one appliance; no formula language.

    ``kind``: ``difference at most`` (first minus second ≤ amount), ``difference at least``, ``not above`` (first ≤
    second + amount), ``within`` (|first − second| ≤ amount), ``ratio`` (first / second between low and high),
    ``ordered`` (each ≤ the next + amount), ``sum at most`` (the sum over all readings of the slot, such as the turns
    of a screw), ``each between`` (every reading of the slot between low and high), ``calls for`` (where the check of
    the first slot is done or passed, that of the second is too; it needs no amount). ``soft`` rules say look again,
    never outside. A ``law`` is one of nature: where it is broken, a reading is wrong, and the finding is conflicting.
    ``basis`` is the rule's source. An appliance file's relation takes the place of the sheet's relation with the same
    id.
    """

    id: Name
    kind: Literal[
        "difference at most",
        "difference at least",
        "not above",
        "within",
        "ratio",
        "ordered",
        "sum at most",
        "each between",
        "calls for",
    ]
    slots: Annotated[tuple[Slot, ...], Field(min_length=1)]
    amount: ValueText | None = None
    low: ValueText | None = None
    high: ValueText | None = None
    unit: UnitCodeOrNone = ""
    soft: bool = True
    law: bool = False
    text: str
    basis: str

    @model_validator(mode="after")
    def _is_complete(self) -> Relation:
        pairs = ("difference at most", "difference at least", "not above", "within", "ratio", "calls for")
        if self.kind in pairs and len(self.slots) != 2:
            raise ValueError(f"{self.id}: {self.kind!r} needs two slots, not {len(self.slots)}")
        if self.kind in ("ratio", "each between"):
            if self.low is None and self.high is None:
                raise ValueError(f"{self.id}: {self.kind!r} needs low, high or both")
        elif self.kind not in ("ordered", "calls for") and self.amount is None:
            raise ValueError(f"{self.id}: {self.kind!r} needs an amount")
        return self

    def kept(self, first: Decimal, second: Decimal) -> bool:
        """Say whether two values, in the unit of the relation, keep it. A ratio to zero is passed over.

        Only of relations between two readings; of ``ordered`` between one and the next.
        """
        amount = Decimal(self.amount or "0")
        match self.kind:
            case "ratio":
                return second == 0 or self.between(first / second)
            case "difference at most":
                return first - second <= amount
            case "difference at least":
                return first - second >= amount
            case "within":
                return abs(first - second) <= amount
            case _:  # not above, ordered
                return first <= second + amount

    def between(self, value: Decimal) -> bool:
        """Say whether a value lies between the relation's ``low`` and ``high``."""
        low = self.low is None or value >= Decimal(self.low)
        return low and (self.high is None or value <= Decimal(self.high))


class Stop(Model):
    """Something that stops the work, said or measured. ``say`` is the whole wording that people get, in plain words.

    ``said`` are ways of saying that it is so; ``look_alikes`` are wordings that overlap them and mean no stop. Both are
    patterns of words in any inflection (words of three letters or less as they stand, unless the language file knows
    their forms): ``smell/whiff`` is either word, ``@smell`` any of the sheet's ``word_sets``, ``the?`` may be left out,
    ``..`` is up to six other words of the sentence, ``...`` up to nine that may run into the next, ``#`` a number; a
    wording that ends with ``!`` stands whatever it looks like. What only ``perhaps`` says it is asked about, and counts
    until it is answered. Denials, questions, stories and suppositions are the language's, not the sheet's
    (``en-alarms.toml``).
    With a ``quantity`` it is a measured stop: a number ``at`` or ``above`` so much, or (``above_limit``,
    ``below_limit``) above the highest or below the lowest that maker or plate allow; a check or choice in one of
    ``states``; or (``unlike_file``) a choice that differs from the appliance file; or (``cooled_with``) the pressure of
    a closed pipe that falls from its first condition to its last by more than the cooling of the pipe, told by that
    quantity, explains. ``also`` are other quantities that
    it holds for in the same way. With ``unless_limit`` it gives way to a highest value that maker, plate or the job's
    own limits name for the quantity.
    """

    id: Name
    name: str
    said: tuple[str, ...] = ()
    perhaps: tuple[str, ...] = ()
    sounds_like: tuple[str, ...] = ()
    """What recognisers write instead, in the same notation."""
    expect: str = ""
    """One or two sentences that a recogniser is told to expect."""
    wordings: str = Field(default="", pattern=r"^$|!$")
    """Sentences with more of the words for it, the last with an exclamation mark: for a pass over unclear speech that
    listens for what stops the work."""
    phrases: tuple[str, ...] = ()
    """A few words each, as they are said, that may have been heard as something else: where noise covers speech, what
    sounds like one of them is held against the sound once more."""
    look_alikes: tuple[str, ...] = ()
    quantity: Name | None = None
    also: tuple[Name, ...] = ()
    at: ValueText | None = None
    above: ValueText | None = None
    above_limit: bool = False
    below_limit: bool = False
    states: tuple[str, ...] = ()
    unlike_file: bool = False
    cooled_with: Name | None = None
    unless_limit: bool = False
    unit: UnitCodeOrNone = ""
    voids: tuple[Name, ...] = ()
    """Quantities that nothing can be told of while it stands: what an analyser that does not hold its zero measures."""
    level: Literal["stop", "caution"] = "stop"
    say: str = Field(min_length=1)
    basis: str

    @model_validator(mode="after")
    def _is_complete(self) -> Stop:
        limited = (self.above_limit, self.below_limit)
        measured = [self.at is not None, self.above is not None, *limited, bool(self.states), self.unlike_file]
        measured.append(self.cooled_with is not None)
        if self.quantity is None and (any(measured) or not self.said):
            raise ValueError(f"{self.id}: a stop is said (it needs said) or measured (it needs a quantity)")
        if self.quantity is not None and sum(measured) != 1:
            ways = "at, above, above_limit, below_limit, states, unlike_file, cooled_with"
            raise ValueError(f"{self.id}: a measured stop needs one of {ways}")
        return self


Command = Literal[
    "yes",
    "no",
    "say_again",
    "skip",
    "cannot_tell",
    "take_back",
    "what_taken",
    "what_missing",
    "there",
    "finished",
    "hold",
    "carry_on",
]
"""What people say to the tool while it listens, besides values and notes."""


class Sheet(Model):
    """A whole sheet, in the order of the work."""

    id: Name
    title: str
    version: int = Field(ge=1)
    jurisdiction: str
    cautions: tuple[str, ...]
    appliance_words: tuple[str, ...] = ("boiler",)
    groups: dict[Name, str]
    conditions: tuple[Condition, ...]
    quantities: tuple[Quantity, ...] = Field(min_length=1)
    screws: tuple[Screw, ...] = ()
    required: tuple[Required, ...] = ()
    relations: tuple[Relation, ...] = ()
    word_sets: dict[Name, str] = Field(default_factory=dict)
    """Words with slashes between them, that the patterns of the stops name with an @."""
    stops: tuple[Stop, ...] = ()
    introductions: tuple[str, ...] = ()
    """Sentences that name several things at once, with the quantity in braces: "this is {technician} at {site}"."""
    leave_alone: tuple[str, ...] = ()
    """Words for numbers that are no readings on this sheet: NOx, excess air, delta T, tool sizes."""

    parts: tuple[str, ...] = ()
    """Things with a serial number or a model of their own: beside one of them neither is surely the appliance's."""

    talk: tuple[str, ...] = ()
    """Sentences as readings are said, {} where a value stands, abbreviations letter by letter (C O two): what a
    recogniser is told to expect, the most important last."""
    expect: str = ""
    """The same in a few words without numbers, for its second opinion."""

    commands: dict[Command | Literal["note"], tuple[str, ...]] = Field(default_factory=dict)
    """More ways to say what is said to the tool, besides those of its language: hold = ["pipe down"]."""

    plotted: tuple[Name, ...] = ()
    """Quantities drawn in the plot of a tuning, the first on the left scale."""
    traced: tuple[Name, ...] = ()
    """Quantities compared before and after each turn, the first the one that a screw sets; empty: those plotted."""

    def quantity(self, name: str) -> Quantity:
        """Return a quantity by its id; KeyError if the sheet has none."""
        return self._quantities[name]

    def condition(self, name: str) -> Condition:
        """Return a condition by its id; KeyError if the sheet has none."""
        return self._conditions[name]

    @cached_property
    def _quantities(self) -> dict[str, Quantity]:
        return {q.id: q for q in self.quantities}

    @cached_property
    def _conditions(self) -> dict[str, Condition]:
        return {c.id: c for c in self.conditions}

    @model_validator(mode="after")
    def _names_fit(self) -> Sheet:
        quantities = {q.id: q for q in self.quantities}
        conditions = {c.id for c in self.conditions}
        if len(quantities) != len(self.quantities) or len(conditions) != len(self.conditions):
            raise ValueError("two quantities or two conditions have the same id")
        for q in self.quantities:
            if q.group not in self.groups:
                raise ValueError(f"{q.id}: group {q.group!r} is not in [groups]")
            for c in q.conditions:
                if c not in conditions:
                    raise ValueError(f"{q.id}: condition {c!r} is not on this sheet")
            for bounds in (q.range.possible, q.range.usual):
                if None not in bounds and decimal_of(bounds[0] or "0") > decimal_of(bounds[1] or "0"):
                    raise ValueError(f"{q.id}: a range runs from {bounds[0]} to {bounds[1]}")
        slots: list[Required | Slot] = [*self.required, *(s for r in self.relations for s in r.slots)]
        for slot in slots:
            if slot.quantity not in quantities:
                raise ValueError(f"{slot.quantity!r} is required or related but is not on this sheet")
            if slot.condition and slot.condition not in conditions:
                raise ValueError(f"condition {slot.condition!r} is not on this sheet")
        others = [r.when for r in self.required] + [name for s in self.stops for name in (s.quantity, *s.also)]
        others += [name for q in self.quantities for name in (q.lowest_of, q.highest_of)]
        for name in others:
            if name is not None and name not in quantities:
                raise ValueError(f"{name!r} is named by a rule but is not on this sheet")
        patterns = " ".join(p for s in self.stops for p in (*s.said, *s.perhaps, *s.sounds_like, *s.look_alikes))
        if unknown := set(re.findall(r"@(\w+)", patterns)) - set(self.word_sets):
            raise ValueError(f"stops name sets of words that are not there: {', '.join(sorted(unknown))}")
        return self
