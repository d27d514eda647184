"""The book of one step: operations as they are made, the context they count in, and the laws they are put to."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from extract.assign import Name
from extract.context import LAST_KEPT, SILENCE, Bound, Context, apply
from extract.doubt import TESTS, against_governor, broken, doubt
from extract.heard import misgivings
from extract.lexicon import Grammar, Item
from extract.parse import Heard
from extract.stakes import at_stake
from extract.values import fit
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Utterance
from schemas.readings import (
    Alternative,
    Change,
    Operation,
    Phase,
    QuotedLimit,
    Reading,
    Record,
    Relabel,
    Source,
)

__all__ = ["DISPLAY_SLACK", "Book", "phase_at", "slot"]

DISPLAY_SLACK = 20.0  # seconds between saying and photographing within which both are of one moment


def phase_at(c: Context, condition: str | None, grammar: Grammar) -> Phase:
    """Before or after, at a firing rate that is adjusted."""
    if condition is None or condition not in grammar.conditions or not grammar.conditions[condition].adjusted:
        return ""
    if c.phase and c.phase[0] in (condition, "*"):
        return c.phase[1]
    return "after" if (c.tag(), condition) in c.moved else ""


class Book:
    """The state of one step. Everything it does ends up in ``operations`` and in its own copy of the context."""

    def __init__(self, context: Context, grammar: Grammar, utterance: Utterance, at: float, heard: Heard) -> None:
        self.c = context
        self.g = grammar
        self.u = utterance
        self.at = at
        self.tokens = heard.tokens
        self.misgivings, self.faint = misgivings(utterance, heard, context, grammar)
        self.operations: list[Operation] = []
        self.made: list[str] = []
        self.ordinal = 0
        self.undone: list[str] = []
        self.touched: list[str] = []
        self.touched_phase = False
        self.put_right = False  # the sentence corrects what was said before
        self.appliance_said = False  # the sentence names the appliance that it is of
        self.awaits = False  # a reading's new value was announced, and comes next
        self.last_condition: str | None = None
        self.names: Sequence[Name] = ()
        self.elsewhere = ""  # who heard what is read here, if it was not the best hypothesis
        self.shared: frozenset[int] = frozenset()  # values and checks that the best hypothesis has all the same
        self.value_at = -1  # the start token of the value or check that is being recorded
        if at - context.at > SILENCE:
            context.state, context.topic, context.pending = None, None, None
        context.at = at

    def emit(self, op: Operation) -> None:
        """Keep an operation and let it count at once."""
        if isinstance(op, Relabel) and op.appliance is not None and (old := self.c.readings.get(op.target)) is not None:
            doubts = old.doubts if op.doubts is None else op.doubts
            new = self.placed(old.model_copy(update={"appliance": op.appliance, "doubts": doubts}))
            if new.appliance is None:
                op = op.model_copy(update={"appliance": None, "doubts": new.doubts})
        elif isinstance(op, QuotedLimit):
            said = Bound(op.appliance, op.quantity, op.condition or "", op.low, op.high, op.unit)
            self.c.quoted = (*self.c.quoted, said)
        self.operations.append(op)
        self.c.readings = apply((op,), self.c.readings)

    def source(self, start: int, end: int) -> Source:
        """Where tokens ``start`` to ``end`` were heard."""
        a, b = self.tokens[start].start, self.tokens[max(start, end - 1)].end
        words = self.u.hypotheses[0].words
        first, last = self.u.start, self.u.end
        if words:
            text, at = self.u.text, 0
            inside = []
            for w in words:
                k = text.find(w.text.strip(), at)
                if k < 0:
                    continue
                at = k + len(w.text.strip())
                if k < b and at > a:
                    inside.append(w)
            if inside:
                first, last = inside[0].start, inside[-1].end
        return Source(
            evidence=self.u.evidence,
            utterance=self.u.number,
            start=first,
            end=last,
            span=None if self.elsewhere else (a, b),
            heard=self.u.text[a:b],
        )

    def new_id(self) -> str:
        """The next reading id of this utterance."""
        self.ordinal += 1
        return f"{self.u.evidence[:16]}-{self.u.number}-{self.ordinal}"

    def appliance_for(self, quantity: str) -> str | None:
        """The appliance a reading belongs to; the visit's own quantities belong to none."""
        return None if self.g.quantities[quantity].every_job else self.c.tag()

    def phase_for(self, condition: str | None) -> Phase:
        return phase_at(self.c, condition, self.g)

    def group(self) -> list[Reading]:
        """The readings that "that was" speaks of."""
        if not self.made and self.at - self.c.last_at > LAST_KEPT:
            return []
        return [r for rid in (self.made or self.c.last) if (r := self.c.readings.get(rid)) is not None]

    def last_of(self, ids: Sequence[str] = ()) -> Reading | None:
        """The newest reading of these quantities; without any, the one that was just spoken of."""
        if not ids:
            spoken = [*self.c.last, *self.touched]
            return next((r for rid in reversed(spoken) if (r := self.c.readings.get(rid)) is not None), None)
        return next((r for r in reversed(list(self.c.readings.values())) if r.quantity in ids), None)

    def measured(self, r: Reading) -> bool:
        return r.quantity is not None and self.g.quantities[r.quantity].kind == "number"

    def known_appliances(self) -> tuple[str, ...]:
        return tuple(a.tag for a in self.c.setting.appliances) or self.c.appliances

    def tag_of(self, said: str) -> str:
        """The tag in this job's own spelling: a whole name, or the number that ends just one of them."""
        known = self.c.setting.appliances
        low = said.lower()
        for a in known:
            names = [name.lower() for name in (a.tag, *a.called)]
            if low in names or any(name.endswith(f" {low}") for name in names):
                return a.tag
        numbered = [a.tag for a in known if any(self._number_of(name) == low for name in (a.tag, *a.called))]
        if len(numbered) == 1:
            return numbered[0]
        return known[0].tag if len(known) == 1 and low == "1" else said

    def _number_of(self, name: str) -> str:
        """The number that ends a name: 1 of ``B-1``, 2 of ``number two``; empty where none does."""
        word = re.split(r"[^a-z0-9]+", name.lower())[-1]
        digits = re.search(r"[0-9]+$", word)
        return digits[0].lstrip("0") if digits else str(self.g.lang.digits.get(word, ""))

    def placed(self, reading: Reading) -> Reading:
        """A reading of an appliance that the job does not have, or of none of several, with that doubt."""
        known = [a.tag for a in self.c.setting.appliances]
        quantity = self.g.quantities[reading.quantity] if reading.quantity else None
        remark = quantity is not None and quantity.kind == "text" and quantity.form == "words"
        if not known or quantity is None or quantity.every_job or remark:
            return reading
        if reading.appliance is None and len(known) == 1:
            return reading
        if reading.appliance in known or any(d.kind == DoubtKind.APPLIANCE_UNCLEAR for d in reading.doubts):
            return reading
        told = f"the job has no “{reading.appliance}”" if reading.appliance else "it was not said which appliance"
        doubts = (*reading.doubts, doubt(DoubtKind.APPLIANCE_UNCLEAR, told))
        return reading.model_copy(update={"appliance": None, "doubts": doubts})

    def use_appliance(self, tag: str) -> None:
        """What is said from here on belongs to this appliance."""
        if tag != self.c.appliance:
            self.c.since_appliance = ()
        self.c.appliance, self.c.appliance_lost = tag, False

    def resolve(self, item: Item) -> str | None:
        """The condition that words mean: where several could, the first that is not behind us."""
        if item.kind == "condition":
            return str(item.value)
        wanted: tuple[str, ...] = item.value
        return self.one_of(wanted)

    def one_of(self, wanted: Sequence[str]) -> str | None:
        if len(wanted) == 1:
            return wanted[0]
        ahead = [c for c in wanted if self.g.order[c] >= self.c.furthest]
        return ahead[0] if ahead else wanted[-1]

    def enter(self, condition: str) -> None:
        """The plant is at ``condition`` now."""
        general = self.g.conditions[condition].yields
        if general and self.c.state is not None and self.g.conditions[self.c.state].firing:
            return
        if condition != self.c.state and not self.touched_phase:
            self.c.phase = None
        if condition != self.c.state and self.c.topic is not None:
            self.c.topic = replace(self.c.topic, condition=None)  # what is said of it from here on was read here
        self.c.state, self.c.state_at, self.c.astray = condition, self.at, ""
        if not general:
            self.c.furthest = self.g.order[condition]

    def mark(self, rid: str) -> None:
        """Remember a reading as made by this utterance, and as spoken of last."""
        self.made.append(rid)
        self.touched.append(rid)

    def settle(self, reading: Reading, target: str | None, why: str) -> None:
        """Put the reading to the laws and record it."""
        reading = against_governor(self.placed(reading), self.c.setting)
        alone = self.elsewhere and self.value_at not in self.shared
        misgiving = self.misgivings.get(self.value_at)
        if (alone or misgiving) and not any(d.kind == DoubtKind.HEARD_UNCLEARLY for d in reading.doubts):
            why = misgiving.why if misgiving else f"only {self.elsewhere} has it so"
            unsure = Doubt(kind=DoubtKind.HEARD_UNCLEARLY, detail=why)
            reading = reading.model_copy(update={"doubts": (*reading.doubts, unsure)})
        others = [r for r in self.c.live() if r.id != target and r.source.box is None]
        reading = self.weighed(reading, others)
        if reading.quantity is not None and reading.condition is not None and not _unfit(reading):
            found = broken(reading, others, self.g, self.c.setting)
            if found:
                why_not, with_ = found
                reading = reading.model_copy(
                    update={
                        "doubts": (*reading.doubts, why_not),
                        "asked_with": with_[0] if with_ else reading.asked_with,
                    }
                )
                for rid in with_:
                    r = self.c.readings[rid]
                    if not any(d.kind == DoubtKind.RELATION for d in r.doubts):
                        self.emit(
                            Relabel(
                                target=rid,
                                doubts=(*r.doubts, why_not),
                                asked_with=reading.id,
                                source=reading.source,
                                why=why_not.detail,
                            )
                        )
        if target is not None:
            old = self.c.readings.get(target)
            if old is not None and old.quantity == reading.quantity and old.note and not reading.note:
                reading = reading.model_copy(update={"note": old.note})  # the volume that was clocked
            reading = self.free_partner(target, reading)
            if old is not None and old.value != reading.value:
                self.c.replaced = (*self.c.replaced[-3:], (reading.id, old))
        failed = {d.kind.value for d in reading.doubts}
        reading = reading.model_copy(update={"passed": tuple(t for t in TESTS if t not in failed)})
        if target is None:
            self.emit(Record(reading=reading))
        else:
            self.emit(Change(target=target, reading=reading, why=why))
            self.undone = [u for u in self.undone if u != target]
        self.mark(reading.id)
        self.c.times[reading.id] = self.at
        self.photographed(reading)
        if target is None:
            self.c.correcting = False

    def doubted(self, reading: Reading, why: Doubt, other: Alternative | None) -> None:
        """Ask about a reading that stands, with something else that it may be."""
        also = () if other is None else (other,)
        new = reading.model_copy(
            update={
                "id": self.new_id(),
                "doubts": (*reading.doubts, why),
                "alternatives": (*also, *reading.alternatives),
            }
        )
        self.emit(Change(target=reading.id, reading=new, why=why.detail))
        known = {reading.id: new.id}
        self.c.times[new.id] = self.c.times.get(reading.id, self.at)
        self.c.last = tuple(known.get(rid, rid) for rid in self.c.last)
        self.c.since_appliance = tuple(known.get(rid, rid) for rid in self.c.since_appliance)
        self.made = [known.get(rid, rid) for rid in self.made]
        self.touched = [known.get(rid, rid) for rid in self.touched]
        for r in list(self.c.live()):
            if r.asked_with == reading.id:
                self.emit(Relabel(target=r.id, asked_with=new.id, source=r.source, why=why.detail))

    def weighed(self, reading: Reading, others: Sequence[Reading]) -> Reading:
        """A reading on which something hangs is asked where it was not heard surely enough for that."""
        faint = self.faint.get(self.value_at)
        if faint is None or reading.doubts or not self.measured(reading):
            return reading
        measure = self.g.measures[str(reading.quantity)]
        fits = [fit(o.number, o.unit or reading.unit, measure, self.c.setting.units) for o in faint.others]
        heard = [f.choices[0] for f in fits if f.choices[0].unit == reading.unit]
        stake = at_stake(reading, [c.value for c in heard], others, self.g, self.c)
        if not stake:
            return reading
        also = tuple(Alternative(value=c.value, unit=c.unit, why="may have been said") for c in heard)
        unsure = doubt(DoubtKind.HEARD_UNCLEARLY, f"{stake}, and {faint.why}")
        return reading.model_copy(update={"doubts": (unsure,), "alternatives": (*also, *reading.alternatives)})

    def free_partner(self, target: str, new: Reading) -> Reading:
        """When one of an impossible pair is corrected, the other is no longer in doubt for it.

        Of two values of one slot it is so only where the corrected one is the same or has left the slot; else the two
        stand against each other as before. Returns ``new`` with that doubt.
        """
        gone = self.c.readings.get(target)
        if gone is None or gone.asked_with is None:
            return new
        partner = self.c.readings.get(gone.asked_with)
        if partner is None or any(d.kind == DoubtKind.RELATION for d in new.doubts):
            return new
        left = tuple(d for d in partner.doubts if d.kind not in (DoubtKind.RELATION, DoubtKind.CONFLICT))
        if left == partner.doubts:
            return new
        asked_with = partner.asked_with
        if slot(partner) == slot(new) and (partner.value, partner.unit) != (new.value, new.unit):
            clash = doubt(DoubtKind.CONFLICT, f"{partner.value} was said before, {new.value} now")
            left, asked_with = (*left, clash), new.id
            others = tuple(d for d in new.doubts if d.kind is not DoubtKind.CONFLICT)
            new = new.model_copy(update={"doubts": (*others, clash), "asked_with": partner.id})
        self.emit(
            Relabel(
                target=partner.id,
                doubts=left,
                asked_with=asked_with,
                source=new.source,
                why="its partner was corrected",
            )
        )
        return new

    def photographed(self, r: Reading) -> None:
        """A photo of the same moment that shows this value, without saying of what, is of this."""
        if not r.taken or r.quantity is None:
            return
        for photo in list(self.c.live()):
            loose = photo.quantity is None or photo.condition is None
            near = abs(self.c.times.get(photo.id, float("-inf")) - self.at) <= DISPLAY_SLACK
            if photo.source.box is None or not loose or not near or photo.value != r.value:
                continue
            if photo.quantity not in (None, r.quantity) or photo.unit not in ("", r.unit):
                continue
            gone = (DoubtKind.QUANTITY_UNCLEAR, DoubtKind.CONDITION_UNCLEAR, DoubtKind.APPLIANCE_UNCLEAR)
            self.emit(
                Relabel(
                    target=photo.id, quantity=r.quantity, condition=r.condition, phase=r.phase, appliance=r.appliance,
                    unit=r.unit, doubts=tuple(d for d in photo.doubts if d.kind not in gone), source=r.source,
                    why="said at the same moment",
                )
            )  # fmt: skip


def slot(r: Reading) -> tuple[str | None, ...]:
    """The place that one value holds: appliance, quantity, condition, phase."""
    return r.appliance, r.quantity, r.condition, r.phase


def _unfit(r: Reading) -> bool:
    """Readings whose value is itself in doubt prove nothing against others."""
    kinds = (
        DoubtKind.IMPOSSIBLE,
        DoubtKind.RUN_TOGETHER,
        DoubtKind.CUT_OFF,
        DoubtKind.UNIT_UNCLEAR,
        DoubtKind.QUANTITY_UNCLEAR,
    )
    return any(d.kind in kinds for d in r.doubts)
