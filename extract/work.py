"""One utterance carried out: parsed sentences and the running context become operations on readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from extract.assign import Name, Value
from extract.clauses import PAST, Segment
from extract.context import LAST_KEPT, RECENT, SCREW_KEPT, SILENCE, Context, Open, Topic, apply
from extract.doubt import FIT, HEDGES, TESTS, broken, doubt
from extract.lexicon import Grammar, Item
from extract.moves import Move
from extract.numbers import Number
from extract.heard import misgivings
from extract.parse import Heard, Parsed, best_fit
from extract.states import Checked
from extract.texts import Capture
from extract.tokens import Token
from extract.values import Fit, fit
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Utterance
from schemas.readings import (
    Alarm,
    Alternative,
    Change,
    Operation,
    Phase,
    QuotedLimit,
    Reading,
    Record,
    Relabel,
    Remove,
    Source,
)

__all__ = ["DISPLAY_SLACK", "Work", "phase_at"]

DISPLAY_SLACK = 20.0  # seconds between saying and photographing within which both are of one moment


def phase_at(c: Context, condition: str | None, grammar: Grammar) -> Phase:
    """Before or after, at a firing rate that is adjusted."""
    if condition is None or condition not in grammar.conditions or not grammar.conditions[condition].adjusted:
        return ""
    if c.phase and c.phase[0] in (condition, "*"):
        return c.phase[1]
    return "after" if (c.tag(), condition) in c.moved else ""


class Work:
    """The state of one step. Everything it does ends up in ``operations`` and in its own copy of the context."""

    def __init__(self, context: Context, grammar: Grammar, utterance: Utterance, at: float, heard: Heard) -> None:
        self.c = context
        self.g = grammar
        self.u = utterance
        self.at = at
        self.tokens = heard.tokens
        self.misgivings = misgivings(utterance, heard, context, grammar)
        self.operations: list[Operation] = []
        self.made: list[str] = []
        self.ordinal = 0
        self.undone: list[str] = []
        self.touched_phase = False
        self.last_condition: str | None = None
        self.names: Sequence[Name] = ()
        if at - context.at > SILENCE:
            context.state, context.topic, context.pending = None, None, None
        context.at = at

    # ------------------------------------------------------------------ helpers
    def emit(self, op: Operation) -> None:
        """Keep an operation and let it count at once."""
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
            evidence=self.u.evidence, utterance=self.u.number, start=first, end=last, span=(a, b), heard=self.u.text[a:b]
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

    # ------------------------------------------------------------------ one sentence
    def sentence(self, p: Parsed) -> None:
        """Carry out one sentence."""
        kinds = {s.kind for s in p.sentence.segments}
        if kinds == {"noise"}:
            return
        self.alarms(p)
        self.limits(p)
        if self.c.cut and not p.values and any(s.has("interrupted") for s in p.sentence.segments):
            self.interrupted()
            if not (p.names or p.checks or p.captures or any(s.conditions for s in p.sentence.segments)):
                return
        self.names = p.names
        tags = self.appliances(p)
        self.phases(p)
        self.undo(p)
        if self.swaps(p) or self.named_afterwards(p) or self.completes_move(p):
            return
        labelled = self.relabels(p)
        if tags and not labelled:
            self.use_appliance(tags[0][1])
        fresh = None if labelled else self.states(p)
        for capture in p.captures:
            self.text(capture)
        self.choices(p)
        for checked in p.checks:
            self.check(checked, p)
        for move in p.moves:
            self.move(move)
        for v in p.clock:
            self.value(v, p)
        for v in p.values:
            if len(tags) > 1:
                before = [t for n, t in tags if n < v.place]
                self.use_appliance(before[-1] if before and tags[0][0] < p.values[0].place else next((t for n, t in tags if n > v.place), tags[-1][1]))
            self.value(v, p)
        self.topics(p)
        if fresh is not None:
            self.enter(fresh)
        alone = not p.values and not p.names and any(s.conditions for s in p.sentence.segments)
        self.last_condition = self.c.state if alone else None

    def alarms(self, p: Parsed) -> None:
        """Something that stops the work was said. A question is none; everything else is, rather once too often."""
        for n, i in enumerate(p.laid.items):
            stop = i.get("stop")
            kind = p.sentence.segments[p.laid.segment_of[n]].kind
            if stop is not None and kind not in ("question", "history", "noise"):
                self.emit(Alarm(stop=stop, source=self.source(i.start, i.end)))

    def limits(self, p: Parsed) -> None:
        """A limit that was quoted: the job's own once it is read back."""
        for v in p.values:
            s = p.sentence.segments[v.segment]
            if s.kind != "limit" or v.name is None or len(v.name.ids) != 1:
                continue
            quantity = v.name.ids[0]
            f = fit(v.number, v.unit, self.g.measures[quantity], self.c.setting.units)
            if f.cost >= 3 or "value" in f.doubts or "unit" in f.doubts:
                continue
            low: str | None = None
            high: str | None = None
            if len(v.others) == 1 and v.hedge == "range":
                g = fit(v.others[0], v.unit, self.g.measures[quantity], self.c.setting.units)
                if g.cost >= 3 or "value" in g.doubts:
                    continue
                low, high = f.choices[0].value, g.choices[0].value
            elif s.has("at_most") and not s.has("at_least"):
                high = f.choices[0].value
            elif s.has("at_least") and not s.has("at_most"):
                low = f.choices[0].value
            else:
                continue
            condition = v.condition if v.condition and "|" not in v.condition else None
            if condition not in self.g.quantities[quantity].conditions:
                condition = None
            self.emit(
                QuotedLimit(
                    quantity=quantity, condition=condition, low=low, high=high, unit=f.choices[0].unit,
                    appliance=self.appliance_for(quantity), source=self.source(v.start, v.end),
                )
            )  # fmt: skip

    def interrupted(self) -> None:
        """The sentence before stopped without an end, and then someone came: its last number may be cut short."""
        r = self.c.readings.get(self.c.cut or "")
        self.c.cut = None
        if r is not None and not any(d.kind == DoubtKind.CUT_OFF for d in r.doubts):
            text = doubt(DoubtKind.CUT_OFF, "the speaker was interrupted")
            self.emit(Relabel(target=r.id, doubts=(*r.doubts, text), source=r.source, why=text.detail))

    def appliances(self, p: Parsed) -> list[tuple[int, str]]:
        """Take up the appliances named; returns their places, so that each value finds its own."""
        out: list[tuple[int, str]] = []
        found = [(n, i) for n, i in enumerate(p.laid.items) if i.get("appliance") is not None]
        for n, i in found:
            s = p.sentence.segments[p.laid.segment_of[n]]
            if s.kind in ("question", "history", "instruction") or s.has("future"):
                continue
            tags: tuple[str, ...] = i.get("appliance")
            if tags == ("*",):
                known = self.known_appliances()
                self.c.appliances = known if len(known) > 1 else ("1", "2")
                self.c.appliance = None
                self.c.appliance_lost = not (p.checks or p.captures)
                continue
            tag = self.tag_of(tags[0])
            if tag not in self.c.appliances:
                self.c.appliances = (*self.c.appliances, tag)
            out.append((n, tag))
        if out and (p.values or p.checks or p.moves or not self.group()):
            self.use_appliance(out[0][1])
        return out

    def use_appliance(self, tag: str) -> None:
        """What is said from here on belongs to this appliance."""
        if tag != self.c.appliance:
            self.c.since_appliance = ()
        self.c.appliance, self.c.appliance_lost = tag, False

    def group(self) -> list[Reading]:
        """The readings that "that was" speaks of."""
        if not self.made and self.at - self.c.last_at > LAST_KEPT:
            return []
        return [r for rid in (self.made or self.c.last) if (r := self.c.readings.get(rid)) is not None]

    def known_appliances(self) -> tuple[str, ...]:
        return tuple(a.tag for a in self.c.setting.appliances) or self.c.appliances

    def tag_of(self, said: str) -> str:
        """The tag in this job's own spelling."""
        for a in self.c.setting.appliances:
            if said == a.tag or said in a.called or a.tag.lower().endswith(f" {said.lower()}"):
                return a.tag
        return said

    def phases(self, p: Parsed) -> None:
        for n, i in enumerate(p.laid.items):
            cues = i.get("cue")
            if not cues or not ({"before", "after"} & cues) or i.kind in ("condition", "enter"):
                continue
            s = p.sentence.segments[p.laid.segment_of[n]]
            if s.kind not in ("reading", "limit") or s.has("history"):
                continue
            single = i.end == i.start + 1
            nxt = p.laid.items[n + 1] if n + 1 < len(p.laid.items) else None
            if single and not (nxt is None or nxt.kind in ("quantity", "number") or p.laid.segment_of[n + 1] != p.laid.segment_of[n]):
                continue
            which: Phase = "before" if "before" in cues else "after"
            self.c.phase = ("*", which)
            self.touched_phase = True
            if which == "after":
                self.as_left(p)

    def as_left(self, p: Parsed) -> None:
        """ "After adjustment": what was read before at this firing rate becomes the before."""
        conditions = {v.condition for v in p.values if v.condition} or {self.c.state}
        for condition in sorted(c for c in conditions if c):
            self.before_now(condition)

    def before_now(self, condition: str) -> None:
        if condition not in self.g.conditions or not self.g.conditions[condition].adjusted:
            return
        for r in list(self.c.live()):
            if r.condition == condition and r.phase == "" and r.appliance == self.c.tag() and self.measured(r):
                self.emit(Relabel(target=r.id, phase="before", source=r.source, why="read before the adjustment"))

    def measured(self, r: Reading) -> bool:
        return r.quantity is not None and self.g.quantities[r.quantity].kind == "number"

    # ------------------------------------------------------------------ firing rate
    def states(self, p: Parsed) -> str | None:
        """Take up a change of condition; returns one that counts only for what follows."""
        last: tuple[Item, Segment, int] | None = None
        for n, i in enumerate(p.laid.items):
            s = p.sentence.segments[p.laid.segment_of[n]]
            if i in s.conditions and s.kind in ("reading", "instruction"):
                if self.denied(p, n) or (s.has("future") and not s.says(PAST, self.tokens)):
                    continue
                last = (i, s, n)
        if last is None:
            return None
        condition = self.resolve(last[0])
        if condition is None:
            return None
        if not p.values:
            self.enter(condition)
            return None
        first = min(v.place for v in p.values)
        if last[2] < first:
            self.enter(condition)
            return None
        return condition

    def denied(self, p: Parsed, n: int) -> bool:
        for k in (n - 1, n - 2, n - 3):
            if k < 0 or p.laid.segment_of[k] != p.laid.segment_of[n]:
                break
            i = p.laid.items[k]
            if i.kind == "number":
                break
            if i.role("not"):
                if self.c.state == self.resolve(p.laid.items[n]):
                    self.c.state = None
                return True
            if i.role("leaving") and k >= n - 2:
                if self.c.state == self.resolve(p.laid.items[n]):
                    self.c.state = None
                return True
        return False

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
        self.c.state, self.c.state_at = condition, self.at
        if not general:
            self.c.furthest = self.g.order[condition]

    def condition_for(self, v: Value, quantity: str, p: Parsed) -> tuple[str | None, bool]:
        """The condition of a value, and whether it is known."""
        allowed = self.g.quantities[quantity].conditions
        if not allowed:
            return "", True
        condition = v.condition
        if condition is not None and "|" in condition:
            condition = self.one_of(condition.split("|"))
        if condition is not None and self.g.conditions[condition].yields and self.c.state in allowed:
            if self.c.state is not None and self.g.conditions[self.c.state].firing:
                condition = self.c.state
        if condition is None:
            condition = self.c.state
            topic = self.c.topic
            if topic and quantity in topic.ids and topic.condition and self.at - topic.at < 1.0 and not v.name:
                condition = topic.condition
        if condition in allowed:
            return condition, True
        return None, False

    # ------------------------------------------------------------------ corrections
    def relabelling(self, p: Parsed) -> bool:
        """ "No, that's the static", "that was boiler two": a label without a value."""
        roles = {r for s in p.sentence.segments for r in s.roles}
        return not p.values and ("that_was" in roles or "correct" in roles)

    def undo(self, p: Parsed) -> None:
        """ "Scratch that", "delete the last CO"."""
        for n, i in enumerate(p.laid.items):
            if i.role("correct") and i.kind in ("cue", "plain", "word"):
                self.c.correcting = True
            if not i.role("undo"):
                continue
            self.c.correcting = True
            k = p.laid.segment_of[n]
            here = [m for m in p.names if m.segment in (k, k + 1) and m.place > n and not m.used and m.ids]
            target = self.last_of(here[0].ids if here else ())
            if target is not None:
                self.undone.append(target.id)
                if here:
                    here[0].used += 1

    def last_of(self, ids: Sequence[str] = (), condition: str | None = None) -> Reading | None:
        """The newest reading of these quantities, or of any."""
        fallback = None
        for r in reversed(list(self.c.readings.values())):
            if ids and r.quantity not in ids:
                continue
            if condition is not None and r.condition != condition:
                continue
            if not ids and r.id not in self.c.last and r.id not in self.made:
                fallback = fallback or r
                continue
            return r
        return fallback if ids or self.at - self.c.last_at < LAST_KEPT else None

    def relabels(self, p: Parsed) -> bool:
        """Carry out a label that changes readings said before. True if it was one."""
        if not self.relabelling(p):
            return False
        group = self.group()
        if not group:
            return False
        names = [n for n in p.names if n.ids and not n.implied]
        conditions = [c for s in p.sentence.segments if s.kind != "question" for c in s.conditions]
        tags = [i.get("appliance") for i in p.laid.items if i.get("appliance") is not None]
        corrected = self.c.correcting or any(s.has("correct") for s in p.sentence.segments)
        src = self.source(p.laid.items[0].start, p.laid.items[-1].end)
        done = False
        if names and (corrected or any(r.quantity is None or self.unclear(r) for r in group)):
            done = self.relabel_quantity(names[0], group[-1:], src, conditions)
        elif conditions:
            condition = self.resolve(conditions[-1])
            many = self.plural(p)
            loose = [r for r in self.c.live() if many and r.condition is None and r not in group]
            for r in [*loose, *group]:
                if condition is None or r.quantity is None or condition not in self.g.quantities[r.quantity].conditions:
                    continue
                if r.condition == condition:
                    continue
                past = any(s.has("that_was") and s.says(PAST, self.tokens) for s in p.sentence.segments)
                if r.condition is not None and not corrected and not past:
                    continue
                self.relabel(r, src, condition=condition)
                done = True
            if done and condition is not None:
                self.enter(condition)
        if tags and tags[-1] != ("*",):
            tag = self.tag_of(tags[-1][0])
            since = [r for rid in self.c.since_appliance if (r := self.c.readings.get(rid)) is not None and r not in group]
            for r in [*(since if self.plural(p) else ()), *group]:
                if r.quantity is not None and not self.g.quantities[r.quantity].every_job and r.appliance != tag:
                    self.relabel(r, src, appliance=tag)
                    done = True
            self.c.appliance, self.c.appliance_lost = tag, False
        if done:
            self.c.correcting = False
        return done

    def plural(self, p: Parsed) -> bool:
        """ "Those", "all of that": more than the last utterance is meant."""
        return any(self.tokens[k].low in ("those", "them", "these", "all", "they", "everything", "lot") for i in p.laid.items for k in range(i.start, i.end))

    def swaps(self, p: Parsed) -> bool:
        """ "Flip those": the last two readings change places."""
        if not any(s.has("swap") for s in p.sentence.segments) or p.values:
            return False
        group = [r for r in self.group() if self.measured(r)][-2:]
        if len(group) != 2 or group[0].unit != group[1].unit:
            return False
        a, b = group
        for r, other in ((a, b), (b, a)):
            doubts = tuple(d for d in r.doubts if d.kind != DoubtKind.RELATION)
            new = r.model_copy(update={"id": self.new_id(), "value": other.value, "doubts": doubts, "asked_with": None})
            self.emit(Change(target=r.id, reading=new, why="the two were swapped"))
            self.made = [rid for rid in self.made if rid != r.id] + [new.id]
        self.c.correcting = False
        return True

    def named_afterwards(self, p: Parsed) -> bool:
        """ "Nine one, four eight. That's CO2 and O2": names for values that were said without any."""
        self.c.open = tuple(o for o in self.c.open if self.at - o.at < RECENT)
        names = [n for n in p.names if (n.ids or n.vague) and not n.implied]
        if p.values or not names or len(names) != len(self.c.open):
            return False
        if any(s.kind != "reading" or s.has("not", "future") for s in p.sentence.segments):
            return False
        known = all(i.kind in ("quantity", "plain", "cue", "condition", "enter", "unit") for i in p.laid.items)
        fresh = self.states(p)
        if fresh is not None:
            self.enter(fresh)
        for name, o in zip(names, self.c.open, strict=True):
            v = Value(o.number, o.unit, 0, 1, 0, name.segment)
            quantity, more = self.quantity_of(name, v, self.c.setting.units)
            doubts = [doubt(DoubtKind.QUANTITY_UNCLEAR, "the name fits several quantities")] if more or not known else []
            target = self.c.readings.get(o.reading) if o.reading else None
            condition = [self.resolve(c) for s in p.sentence.segments for c in s.conditions]
            v.condition = condition[-1] if condition else None
            self.record(quantity, v, p, p.sentence.segments[0], doubts, [], None, o.source, target)
        self.c.open = ()
        return True

    def completes_move(self, p: Parsed) -> bool:
        """ "Clockwise, that was": the direction or screw of the move just recorded."""
        group = self.group()
        if p.values or p.moves or not group or group[-1].quantity != self.g.move:
            return False
        old = group[-1]
        way = [i for i in p.laid.items if i.role("in_words") or i.role("out_words")]
        screw = [i for i in p.laid.items if i.get("screw") or i.get("short screw")]
        words = old.note.split()
        doubts = list(old.doubts)
        if way and any(d.kind == DoubtKind.DIRECTION_UNCLEAR for d in doubts):
            words.append("cw" if way[-1].role("in_words") else "ccw")
            doubts = [d for d in doubts if d.kind != DoubtKind.DIRECTION_UNCLEAR]
        if screw and any(d.kind == DoubtKind.SCREW_UNCLEAR for d in doubts):
            self.c.screw, self.c.screw_at = screw[-1].get("screw") or screw[-1].get("short screw"), self.at
            words.insert(0, str(self.c.screw))
            doubts = [d for d in doubts if d.kind != DoubtKind.SCREW_UNCLEAR]
        if len(doubts) == len(old.doubts):
            return False
        new = old.model_copy(update={"id": self.new_id(), "note": " ".join(words), "doubts": tuple(doubts)})
        self.emit(Change(target=old.id, reading=new, why="completed"))
        self.made = [rid for rid in self.made if rid != old.id] + [new.id]
        return True

    def unclear(self, r: Reading) -> bool:
        return any(d.kind == DoubtKind.QUANTITY_UNCLEAR for d in r.doubts)

    def relabel_quantity(self, name: Name, group: Sequence[Reading], src: Source, conditions: Sequence[Item]) -> bool:
        q = name.ids[0]
        for r in group:
            value = Number(((r.value.lstrip("-"), 0.0),), sign="-" if r.value.startswith("-") else "", exact=True, digits=r.value)
            f = fit(value, "", self.g.measures[q], self.c.setting.units)
            if f.cost >= 3:
                continue
            condition = self.resolve(conditions[-1]) if conditions else (r.condition or self.c.state)
            allowed = self.g.quantities[q].conditions
            if not allowed:
                condition = ""
            elif condition not in allowed:
                condition = None
            doubts = [d for d in r.doubts if d.kind not in (DoubtKind.QUANTITY_UNCLEAR, DoubtKind.RELATION, DoubtKind.CONFLICT)]
            if condition is None:
                doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR))
            new = r.model_copy(
                update={
                    "id": self.new_id(), "quantity": q, "condition": condition, "unit": f.choices[0].unit,
                    "doubts": tuple(doubts), "alternatives": (), "phase": self.phase_for(condition),
                }
            )  # fmt: skip
            self.emit(Change(target=r.id, reading=new, why="named again"))
            self.made.append(new.id)
        return True

    def relabel(self, r: Reading, src: Source, *, condition: str | None = None, appliance: str | None = None) -> None:
        gone = {DoubtKind.CONDITION_UNCLEAR} if condition else {DoubtKind.APPLIANCE_UNCLEAR}
        doubts = tuple(d for d in r.doubts if d.kind not in gone)
        phase = self.phase_for(condition) if condition else None
        self.emit(
            Relabel(
                target=r.id, condition=condition, appliance=appliance, phase=phase,
                doubts=doubts if doubts != r.doubts else None, source=src, why="named afterwards",
            )
        )  # fmt: skip

    # ------------------------------------------------------------------ values
    def value(self, v: Value, p: Parsed) -> None:
        """Record one value, or pass it over."""
        s = p.sentence.segments[v.segment]
        if v.negated:
            self.negated(v)
            return
        if s.kind != "reading":
            return
        name = v.name
        if name is not None and not name.ids and not name.vague:
            return
        system = self.c.setting.units
        doubts: list[Doubt] = []
        alternatives: list[Alternative] = []
        quantity: str | None = None
        target: Reading | None = None
        if name is not None:
            quantity, more = self.quantity_of(name, v, system)
            if more:
                doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the name fits several quantities"))
                alternatives += [Alternative(quantity=q, why="also so called") for q in more[:2]]
            if name.by_unit and any(n.segment == v.segment and not n.used and n.ids and not n.implied for n in p.names):
                doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the unit is not that of the quantity named"))
            if v.strangers and not name.by_unit:
                doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "words that are not known stand in between"))
            elif v.followed and not v.unit:
                doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the number may count something else"))
        else:
            if v.followed:
                return
            found = self.unnamed(v, p, s)
            if found is None:
                return
            quantity, target, more = found
            if more:
                doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "no quantity was named"))
                alternatives += [Alternative(quantity=q, why="the value fits") for q in more[1:3]]
                quantity = more[0]
                if self.c.open and self.c.open[-1].source == self.source(v.start, v.end):
                    ahead = f"{self.u.evidence[:16]}-{self.u.number}-{self.ordinal + 1}"
                    self.c.open = (*self.c.open[:-1], replace(self.c.open[-1], reading=ahead))
        if v.rivals and quantity is not None:
            doubts.append(doubt(DoubtKind.QUANTITY_UNCLEAR, "the words can be read in two ways"))
            alternatives += [Alternative(quantity=q, why="the words can be read so") for q in v.rivals[:1]]
        if quantity is None:
            return
        self.record(quantity, v, p, s, doubts, alternatives, target)

    def negated(self, v: Value) -> None:
        """ "Not nine five": the reading with this value is the one to be replaced."""
        values = {c for c, _ in v.number.choices}
        for r in reversed(list(self.c.live())):
            if r.value.lstrip("-") in values:
                self.c.correcting = True
                self.undone.append(r.id)
                return
        self.c.correcting = True

    def quantity_of(self, name: Name, v: Value, system: str) -> tuple[str, list[str]]:
        """The quantity that a name means beside this value, and others that it may mean."""
        if name.ids:
            best = best_fit(v, name.ids, self.g, system)
            if best:
                return best[0][1], []
            if name.vague:
                other = best_fit(v, name.vague, self.g, system)
                if other:
                    return other[0][1], [q for _, q in other[1:]] if len(other) > 1 and not v.unit else []
            return name.ids[0], []
        fits = best_fit(v, name.vague, self.g, system)
        if not fits:
            return name.vague[0], list(name.vague[1:])
        ids = [q for _, q in fits]
        with_ = [q for q in ids if self.goes_with(q, name)]
        if len(with_) == 1:
            return with_[0], []
        return ids[0], ids[1:]

    def goes_with(self, quantity: str, name: Name) -> bool:
        """Whether a quantity that this one stands in a law with is named beside it ("flow seventy, return fifty")."""
        beside = {q for n in self.names for q in n.ids if n is not name}
        return any(
            {s.quantity for s in law.slots} == {quantity, other} for law in self.g.laws for other in beside if other != quantity
        )

    def unnamed(self, v: Value, p: Parsed, s: Segment) -> tuple[str | None, Reading | None, list[str]] | None:
        """What a value without a quantity belongs to: a correction, a name left open, what "it" means; or nothing."""
        system = self.c.setting.units
        here = self.c.pending
        if here is not None and here.at == self.at and self.c.correcting:
            fits = best_fit(v, here.ids, self.g, system)
            if fits:
                return fits[0][1], self.c.at_slot(fits[0][1], self.c.state, self.phase_for(self.c.state), self.c.tag()), []
        if self.undone:
            r = self.c.readings.get(self.undone[-1])
            if r is not None and r.quantity is not None and self.fits(v, r.quantity):
                return r.quantity, r, []
        if self.c.correcting or any(x.has("restate") for x in p.sentence.segments):
            r = self.last_of()
            if r is not None and r.quantity is not None and self.at - max(self.c.last_at, 0) < LAST_KEPT:
                if self.fits(v, r.quantity):
                    return r.quantity, r, []
                if self.c.correcting:
                    return r.quantity, r, []
        pending = self.c.pending
        if pending is not None and self.at - pending.at < RECENT:
            fits = best_fit(v, pending.ids, self.g, system)
            if fits:
                self.c.pending = None
                return fits[0][1], None, []
        mine = [n for n in p.names if n.ids and n.place < v.place]
        if len(mine) == 1 and len({n.ids for n in p.names if n.ids}) == 1 and v.condition == next((x.condition for x in p.values if x.name is mine[0]), None):
            fits = best_fit(v, mine[0].ids, self.g, system)
            if fits:
                return fits[0][1], None, []
        topic = self.c.topic
        alone = all(i.kind in ("number", "unit", "plain", "cue", "condition", "enter", "mark", "state", "choice") for x in p.sentence.segments for i in x.items)
        pointing = s.has("now", "changed", "reading") or any(i.get("appliance") for i in p.laid.items) or any(
            self.tokens[i.start].low in ("it", "it's", "that", "'s", "still", "this", "they") for i in s.items
        )
        if topic is not None and self.at - topic.at < RECENT and (pointing or v.condition) and alone:
            fits = best_fit(v, topic.ids, self.g, system)
            if fits:
                return fits[0][1], None, []
        if v.condition is None and self.bare(p, anywhere=True):
            self.c.open = (*self.c.open, Open(v.number, v.unit, self.source(v.start, v.end), self.at, None))
        strange = any(i.kind in ("word", "other") for i in s.items)
        if strange or not (v.condition or self.said_unit(v) or self.bare(p)):
            return None
        if s.kind != "reading" or v.number.unit or v.unit in ("min", "s"):
            return None
        wanted = self.likely(v)
        return (None, None, wanted) if wanted else None

    def fits(self, v: Value, quantity: str) -> bool:
        return bool(best_fit(v, (quantity,), self.g, self.c.setting.units))

    def said_unit(self, v: Value) -> bool:
        return bool(v.unit) and v.unit not in ("deg", "min", "s")

    def bare(self, p: Parsed, anywhere: bool = False) -> bool:
        """Nothing but numbers and small words, while readings are being taken."""
        items = [i for x in p.sentence.segments for i in x.items]
        small = all(i.kind in ("number", "unit") or i.kind == "plain" or i.kind == "cue" for i in items)
        few = sum(1 for i in items if i.kind in ("plain", "cue")) <= 3
        decimal = any("." in v.number.first for v in p.values)
        if anywhere:
            return small and few
        return small and few and decimal and self.c.state is not None and "i" not in {self.tokens[i.start].low for i in items}

    def likely(self, v: Value) -> list[str]:
        """The quantities that a bare value may be, likeliest first."""
        condition = v.condition if v.condition and "|" not in v.condition else self.c.state
        group = None
        if self.c.topic and self.c.topic.ids:
            group = self.g.quantities[self.c.topic.ids[0]].group
        found = []
        for n, q in enumerate(self.g.sheet.quantities):
            if q.kind != "number" or not q.conditions or (condition and condition not in q.conditions) or q.noted_units:
                continue
            f = fit(v.number, v.unit, self.g.measures[q.id], self.c.setting.units)
            if f.cost > 0.8 or not f.choices[0].usual or "unit" in f.doubts:
                continue
            filled = self.c.at_slot(q.id, condition, self.phase_for(condition), self.c.tag()) is not None
            found.append((f.cost + (1.0 if filled else 0.0) - (0.3 if q.group == group else 0.0), n, q.id))
        found.sort()
        return [q for _, _, q in found[:3]]

    def record(
        self, quantity: str, v: Value, p: Parsed, s: Segment,
        doubts: list[Doubt], alternatives: list[Alternative], target: Reading | None,
        source: Source | None = None, takes_place_of: Reading | None = None,
    ) -> None:  # fmt: skip
        """Make the reading, put it to every test of doubt, and place it among the others."""
        q = self.g.quantities[quantity]
        f = fit(v.number, v.unit, self.g.measures[quantity], self.c.setting.units)
        if "fused" in f.doubts and self.fused(quantity, v, p):
            return
        for short in dict.fromkeys(f.doubts):
            kind, text = FIT[short]
            doubts.append(doubt(kind, text))
        misgiving = self.misgivings.get(v.start)
        if misgiving is not None:
            doubts.append(doubt(DoubtKind.HEARD_UNCLEARLY, misgiving.why))
            for o in misgiving.others:
                g = fit(o.number, o.unit or v.unit, self.g.measures[quantity], self.c.setting.units)
                alternatives.append(Alternative(value=g.choices[0].value, unit=g.choices[0].unit, why="may have been said"))
        if v.number.cut:
            doubts.append(doubt(DoubtKind.CUT_OFF, "it ends in the middle of a number"))
        if v.hedge:
            kind, text = HEDGES[v.hedge]
            doubts.append(doubt(kind, text))
        if s.doubtful == "limit":
            doubts.append(doubt(DoubtKind.LIMIT_QUOTED, "a limit was quoted in the same sentence"))
        elif s.doubtful == "question":
            doubts.append(doubt(DoubtKind.TO_CONFIRM, "it was said as a question"))
        value, unit = f.choices[0].value, f.choices[0].unit
        for other in v.others:
            g = fit(other._replace(sign=other.sign or v.number.sign), v.unit, self.g.measures[quantity], self.c.setting.units)
            alternatives.append(Alternative(value=g.choices[0].value, unit=g.choices[0].unit, why="also said"))
        alternatives += f.alternatives()
        condition, known = self.condition_for(v, quantity, p)
        if target is not None and v.condition is None:
            condition, known = target.condition, target.condition is not None
        if not known:
            doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "no condition was said"))
        phase = target.phase if target is not None and v.condition is None else self.phase_for(condition)
        appliance = target.appliance if target is not None else self.appliance_for(quantity)
        if not q.every_job and self.c.several() and (appliance is None or self.c.appliance_lost) and target is None:
            doubts.append(doubt(DoubtKind.APPLIANCE_UNCLEAR, "it was not said which appliance"))
        first = min([v.start, *([v.name.start] if v.name and v.name.end else [])])
        last = max([v.end, *([v.name.end] if v.name and v.name.end else [])])
        reading = Reading(
            id=self.new_id(), quantity=quantity, condition=condition, phase=phase, value=value, unit=unit,
            appliance=appliance, approx=v.approx, note=v.noted, source=source or self.source(first, last),
            alternatives=tuple(alternatives), doubts=tuple(doubts),
        )  # fmt: skip
        if takes_place_of is not None:
            self.settle(reading, takes_place_of.id, "named afterwards")
            return
        self.place(reading, v, p, target)

    def place(self, reading: Reading, v: Value, p: Parsed, target: Reading | None) -> None:
        """Record, replace, or set against what stands at the slot already."""
        if target is None and self.undone:
            for rid in self.undone:
                r = self.c.readings.get(rid)
                if r is not None and r.quantity == reading.quantity and r.condition == reading.condition:
                    target = r
        old = target or self.c.at_slot(str(reading.quantity), reading.condition, reading.phase, reading.appliance)
        if old is None and self.c.correcting and reading.quantity is not None:
            r = self.last_of((reading.quantity,))
            if r is not None and v.condition is None and self.at - self.c.last_at < LAST_KEPT:
                old = target = r
                reading = reading.model_copy(update={"condition": r.condition, "phase": r.phase, "appliance": r.appliance})
                reading = reading.model_copy(
                    update={"doubts": tuple(d for d in reading.doubts if d.kind != DoubtKind.CONDITION_UNCLEAR or r.condition is None)}
                )
        if old is None:
            old = self.unplaced(reading)
            self.settle(reading, old.id if old else None, "said again with its condition" if old else "")
            return
        same = old.value == reading.value and old.unit == reading.unit
        if same and target is None:
            if old.doubts and not reading.doubts:
                self.settle(reading, old.id, "said again, clearly")
            elif self.lost(old, reading):
                self.ask_appliance(reading)
            return
        why = ""
        if target is not None or self.c.correcting:
            why = "corrected"
        elif v.changed or self.says_change(p, v):
            why = "has changed"
        elif self.moved_since(old):
            why = "read again after the adjustment"
        elif old.doubts:
            why = "said again, clearly" if not reading.doubts else "said again"
        elif self.refines(old, reading):
            why = "said again in full"
        if why:
            self.settle(reading, old.id, why)
            self.c.correcting = False
            return
        if self.c.several() and not reading.doubts:
            self.ask_appliance(reading)
            return
        clash = doubt(DoubtKind.CONFLICT, f"{old.value} was said before, {reading.value} now")
        self.emit(Relabel(target=old.id, doubts=(*old.doubts, clash), asked_with=reading.id, source=reading.source, why="two values"))
        reading = reading.model_copy(
            update={
                "doubts": (*reading.doubts, clash), "asked_with": old.id,
                "alternatives": (Alternative(value=old.value, unit=old.unit, why="said before"), *reading.alternatives),
            }
        )  # fmt: skip
        self.settle(reading, None, "")

    def unplaced(self, new: Reading) -> Reading | None:
        """The same value said just before without its condition."""
        if self.at - self.c.last_at > RECENT:
            return None
        for r in reversed(list(self.c.live())):
            if r.quantity == new.quantity and r.condition is None and r.value == new.value and new.condition is not None:
                return r
        return None

    def lost(self, old: Reading, new: Reading) -> bool:
        """With several appliances, a filled row that begins again may be the next appliance's."""
        return self.c.several() and new.condition not in (None, "") and self.at - self.c.last_at > RECENT

    def ask_appliance(self, reading: Reading) -> None:
        self.c.appliance_lost = True
        text = "this was filled already; is it the next appliance?"
        others = [a for a in self.known_appliances() if a != reading.appliance]
        reading = reading.model_copy(
            update={
                "doubts": (*reading.doubts, doubt(DoubtKind.APPLIANCE_UNCLEAR, text)),
                "alternatives": (*(Alternative(appliance=a, why="the next one") for a in others[:2]), *reading.alternatives),
            }
        )  # fmt: skip
        self.settle(reading, None, "")

    def says_change(self, p: Parsed, v: Value) -> bool:
        s = p.sentence.segments[v.segment]
        return s.has("changed", "change", "now", "restate") or any(
            x.has("now", "changed") for x in p.sentence.segments[: v.segment] if not x.numbers
        )

    def moved_since(self, old: Reading) -> bool:
        """Whether a screw was turned at this reading's firing rate after it was recorded."""
        seen = False
        for r in self.c.live():
            if r.id == old.id:
                seen = True
            elif seen and r.quantity == self.g.move and r.condition == old.condition and r.appliance == old.appliance:
                return True
        return False

    def refines(self, old: Reading, new: Reading) -> bool:
        """ "Seven", then "seven point four": the same number with its decimals."""
        return "." not in old.value and new.value.partition(".")[0] == old.value and "." in new.value

    def settle(self, reading: Reading, target: str | None, why: str) -> None:
        """Put the reading to the laws and record it."""
        if reading.quantity is not None and reading.condition is not None and not _unfit(reading):
            others = [r for r in self.c.live() if r.id != target and r.source.box is None]
            found = broken(reading, others, self.g, self.c.setting)
            if found:
                why_not, with_ = found
                reading = reading.model_copy(
                    update={"doubts": (*reading.doubts, why_not), "asked_with": with_[0] if with_ else reading.asked_with}
                )
                for rid in with_:
                    r = self.c.readings[rid]
                    if not any(d.kind == DoubtKind.RELATION for d in r.doubts):
                        self.emit(
                            Relabel(target=rid, doubts=(*r.doubts, why_not), asked_with=reading.id, source=reading.source, why=why_not.detail)
                        )
        if target is not None:
            self.free_partner(target, reading)
        failed = {d.kind.value for d in reading.doubts}
        reading = reading.model_copy(update={"passed": tuple(t for t in TESTS if t not in failed)})
        if target is None:
            self.emit(Record(reading=reading))
        else:
            self.emit(Change(target=target, reading=reading, why=why))
            self.undone = [u for u in self.undone if u != target]
        self.made.append(reading.id)
        self.c.times[reading.id] = self.at
        self.photographed(reading)
        if target is None:
            self.c.correcting = False

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

    def free_partner(self, target: str, new: Reading) -> None:
        """When one of an impossible pair is corrected, the other is no longer in doubt for it."""
        gone = self.c.readings.get(target)
        if gone is None or gone.asked_with is None:
            return
        partner = self.c.readings.get(gone.asked_with)
        if partner is None or any(d.kind == DoubtKind.RELATION for d in new.doubts):
            return
        kinds = (DoubtKind.RELATION, DoubtKind.CONFLICT)
        left = tuple(d for d in partner.doubts if d.kind not in kinds)
        if left != partner.doubts:
            self.emit(Relabel(target=partner.id, doubts=left, source=new.source, why="its partner was corrected"))

    def fused(self, quantity: str, v: Value, p: Parsed) -> bool:
        """Two values run together ("8.774 parts"): cut them apart and ask about both. False if no cut makes sense."""
        by_unit = self.g.by_unit_alone.get(v.unit)
        digits = v.number.first.lstrip("-")
        whole, _, tail = digits.partition(".")
        if not tail:
            return False
        condition = v.condition if v.condition and "|" not in v.condition else self.c.state
        for q in self.g.sheet.quantities:
            if q.kind != "number" or (by_unit and q.id == by_unit) or (not by_unit and q.id != quantity):
                continue
            if condition and condition not in q.conditions:
                continue
            places = min(self.g.measures[q.id].decimals.get(self.g.measures[q.id].default(self.c.setting.units), (1,)))
            if places < 1 or len(tail) <= places or q.units != ("%",):
                continue
            head, rest = f"{whole}.{tail[:places]}", tail[places:]
            second = by_unit or next(iter(self.g.by_unit_alone.values()), None)
            if second is None or not rest.lstrip("0"):
                return False
            f = fit(Number(((head, 0.0),), exact=True, digits=head), "", self.g.measures[q.id], self.c.setting.units)
            g = fit(Number(((rest.lstrip("0"), 0.0),), exact=True, digits=rest), "", self.g.measures[second], self.c.setting.units)
            if f.cost >= 3 or g.cost >= 3 or not f.choices[0].usual:
                continue
            self.pair(q.id, f, second, g, v, condition)
            return True
        return False

    def pair(self, first: str, f: Fit, second: str, g: Fit, v: Value, condition: str | None) -> None:
        ids = (self.new_id(), self.new_id())
        why = doubt(DoubtKind.RUN_TOGETHER, "two values may have run together")
        for n, (q, x) in enumerate(((first, f), (second, g))):
            self.settle(
                Reading(
                    id=ids[n], quantity=q, condition=condition, phase=self.phase_for(condition), value=x.choices[0].value,
                    unit=x.choices[0].unit, appliance=self.appliance_for(q), source=self.source(v.start, v.end),
                    doubts=(why,), asked_with=ids[1 - n],
                ), None, "",
            )  # fmt: skip

    # ------------------------------------------------------------------ words, checks, moves
    def text(self, c: Capture) -> None:
        q = self.g.quantities[c.quantity]
        reading = Reading(
            id=self.new_id(), quantity=c.quantity, condition="", value=c.value,
            appliance=None if q.every_job or q.form == "words" else self.c.tag(), source=self.source(c.start, c.end),
        )  # fmt: skip
        old = self.c.at_slot(c.quantity, "", "", reading.appliance)
        if old is not None and q.form != "words":
            self.settle(reading, old.id, "said again")
        else:
            self.settle(reading, None, "")

    def choices(self, p: Parsed) -> None:
        """ "It's running on natural gas"."""
        found: dict[str, list[tuple[str, Item]]] = {}
        for n, i in enumerate(p.laid.items):
            s = p.sentence.segments[p.laid.segment_of[n]]
            picked = i.get("choice")
            if picked is None or s.kind != "reading" or s.numbers or s.has("not", "future"):
                continue
            q, option = picked
            named = any(q in m.value.ids for x in p.sentence.segments for m in x.items if m.kind == "quantity")
            quiet = all(x.kind in ("plain", "choice", "cue", "mark", "appliance", "state") for x in s.items)
            if named or (quiet and self.g.quantities[q].said and i.kind == "choice"):
                found.setdefault(q, []).append((option, i))
        for q, options in found.items():
            names = list(dict.fromkeys(o for o, _ in options))
            _, item = options[-1]
            reading = Reading(
                id=self.new_id(), quantity=q, condition="", value=names[-1], appliance=self.appliance_for(q),
                source=self.source(item.start, item.end),
                doubts=(doubt(DoubtKind.VALUE_UNCLEAR, "several were named"),) if len(names) > 1 else (),
                alternatives=tuple(Alternative(value=n) for n in names[:-1]),
            )  # fmt: skip
            old = self.c.at_slot(q, "", "", reading.appliance)
            if old is None or old.value != reading.value:
                self.settle(reading, old.id if old else None, "said again")

    def check(self, checked: Checked, p: Parsed) -> None:
        tags: tuple[str | None, ...] = (self.appliance_for(checked.quantity),)
        if any(i.get("appliance") == ("*",) for i in p.laid.items) and not self.g.quantities[checked.quantity].every_job:
            tags = self.c.appliances
        for tag in tags:
            reading = Reading(
                id=self.new_id(), quantity=checked.quantity, condition="", value=checked.state, appliance=tag,
                source=self.source(checked.start, checked.end),
            )  # fmt: skip
            old = self.c.at_slot(checked.quantity, "", "", tag)
            if old is not None and old.value == checked.state:
                continue
            self.settle(reading, old.id if old else None, "told again")

    def move(self, m: Move) -> None:
        """A screw was turned: its own record, and what was read before becomes the before."""
        assert self.g.move is not None and m.value is not None
        doubts: list[Doubt] = []
        screw = m.screw
        if screw is None and self.c.screw is not None and self.at - self.c.screw_at < SCREW_KEPT and m.again:
            screw = self.c.screw
        if screw is None:
            doubts.append(doubt(DoubtKind.SCREW_UNCLEAR, "which screw was not said"))
        if not m.direction:
            doubts.append(doubt(DoubtKind.DIRECTION_UNCLEAR, "which way was not said"))
        if m.intended:
            doubts.append(doubt(DoubtKind.TO_CONFIRM, "was it turned, or is it still to be?"))
        if m.value.start in self.misgivings:
            doubts.append(doubt(DoubtKind.HEARD_UNCLEARLY, self.misgivings[m.value.start].why))
        if m.value.hedge:
            kind, text = HEDGES[m.value.hedge]
            doubts.append(doubt(kind, text))
        f = fit(m.value.number, "{turn}", self.g.measures[self.g.move], self.c.setting.units)
        doubts += [doubt(*FIT[d]) for d in f.doubts if d != "fused"]
        own = self.g.screws[screw].condition if screw else ""
        state = self.c.state if self.c.state and self.g.conditions[self.c.state].adjusted else None
        condition = m.value.condition if m.value.condition and "|" not in m.value.condition else (state or own or None)
        if condition is None:
            doubts.append(doubt(DoubtKind.CONDITION_UNCLEAR, "no firing rate was said"))
        reading = Reading(
            id=self.new_id(), quantity=self.g.move, condition=condition, value=f.choices[0].value, unit="{turn}",
            appliance=self.c.tag(), approx=m.value.approx, note=f"{screw or ''} {m.direction}".strip(),
            source=self.source(m.start, m.end), doubts=tuple(doubts),
        )  # fmt: skip
        if self.c.several() and reading.appliance is None:
            reading = reading.model_copy(update={"doubts": (*doubts, doubt(DoubtKind.APPLIANCE_UNCLEAR))})
        if m.intended and self.c.state is None and screw is None:
            return
        if condition is not None and not m.intended:
            self.before_now(condition)
            self.c.moved = self.c.moved | {(self.c.tag(), condition)}
            self.c.phase = None
        self.settle(reading, None, "")
        if screw is not None:
            self.c.screw, self.c.screw_at = screw, self.at

    # ------------------------------------------------------------------ what stays in mind
    def topics(self, p: Parsed) -> None:
        """Remember the quantity named last, and one that was left without its value."""
        names = [n for n in p.names if n.ids or n.vague]
        if p.moves and self.c.topic is not None:
            self.c.topic = replace(self.c.topic, at=self.at)
        if not names or p.moves:
            return
        last = names[-1]
        last_ids = last.ids or last.vague
        conditions = [c for s in p.sentence.segments for c in s.conditions]
        condition = self.resolve(conditions[-1]) if conditions else None
        self.c.topic = Topic(last_ids, condition, self.at)
        kind = p.sentence.segments[last.segment].kind
        self.c.pending = Topic(last_ids, condition, self.at) if not last.used and (kind == "reading" or self.asks_itself(p)) and not last.implied else None

    def bind_back(self) -> None:
        """ "Stack temp. 128 degrees. High fire.": a condition at the end, said alone, belongs to what stands before it."""
        if not self.last_condition or not self.made:
            return
        for rid in self.made:
            r = self.c.readings.get(rid)
            if r is None or r.condition is not None or r.quantity is None:
                continue
            if self.last_condition in self.g.quantities[r.quantity].conditions:
                self.relabel(r, r.source, condition=self.last_condition)

    def asks_itself(self, p: Parsed) -> bool:
        """ "CO2?": a quantity alone, its value comes next."""
        return all(i.kind in ("quantity", "condition", "plain") for i in p.laid.items) and len(p.laid.items) <= 4 and not any(
            i.role("question") for i in p.laid.items
        )

    def finish(self) -> None:
        """Take back what was undone and not replaced; remember what this utterance recorded."""
        for rid in self.undone:
            r = self.c.readings.get(rid)
            if r is not None and self.c.correcting:
                self.emit(Remove(target=rid, source=self.source(0, len(self.tokens)), why="taken back"))
                if r.quantity is not None:
                    self.c.pending = Topic((r.quantity,), r.condition, self.at)
        text = self.u.text.rstrip()
        self.c.cut = None
        if self.made and text and text[-1] not in ".?!" and self.tokens[-1].kind != "mark":
            r = self.c.readings.get(self.made[-1])
            if r is not None and r.source.span is not None and r.source.span[1] >= len(text):
                self.c.cut = r.id
        alive = tuple(rid for rid in self.made if rid in self.c.readings)
        if alive:
            self.c.last, self.c.last_at = alive, self.at
            self.c.since_appliance = (*self.c.since_appliance, *alive)
        self.bind_back()
        if alive or self.operations or len(self.tokens) > 5:
            self.c.correcting = False


def _unfit(r: Reading) -> bool:
    """Readings whose value is itself in doubt prove nothing against others."""
    kinds = (DoubtKind.IMPOSSIBLE, DoubtKind.RUN_TOGETHER, DoubtKind.CUT_OFF, DoubtKind.UNIT_UNCLEAR, DoubtKind.QUANTITY_UNCLEAR)
    return any(d.kind in kinds for d in r.doubts)
