"""From an opened job to what its pages show: lines of the sheet, sources, questions, transcript, history; in words."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from urllib.parse import quote, urlencode

from front.office.desk import Opened
from front.screen import clock
from jobs.blanking import told
from jobs.decisions import can_be
from jobs.doings import decided as doings_told
from jobs.doings import whole
from jobs.journal import Entry
from jobs.questions import TURN_WAYS
from jobs.report import origin_words
from jobs.reserve import Slot, reserved_among, slot_of
from jobs.settled import settled
from jobs.show import name_of, place_of, say_limit, say_note, say_reading, say_value
from jobs.table import NOBODY_CAN_TELL, JobRow
from jobs.timeline import Filed
from schemas.evidence import Box, Utterance
from schemas.questions import Candidate, Question
from schemas.readings import Reading, Source
from schemas.sheet import Sheet
from schemas.units import show_unit, units

__all__ = [
    "Choice",
    "Line",
    "Piece",
    "Section",
    "Where",
    "ask",
    "choices",
    "decided",
    "doings",
    "pieces",
    "sections",
    "since_closing",
    "steps",
    "where",
]

_PHASES = {"before": "as found", "after": "as left", "": ""}
_PHASE_ORDER = ("before", "", "after")


@dataclass(frozen=True)
class Where:
    """Where a reading came from: its file, its second or box, the words; addresses of its sound or picture."""

    label: str
    kind: str
    heard: str = ""
    sound: str = ""
    picture: str = ""
    time: str = ""


@dataclass(frozen=True)
class Line:
    """One line of the sheet: a reading, or an empty place (``reading`` empty)."""

    name: str
    place: str
    value: str = ""
    out: str = ""
    """That it was left out of the record, or that nobody can tell it: ``value`` then is only what was heard."""
    verdict: str = ""
    limit: str = ""
    limit_from: str = ""
    settled: str = ""
    reading: str = ""
    question: str = ""
    where: Where | None = None
    reserved: bool = False
    sent: str = ""
    slot: str = ""


@dataclass(frozen=True)
class Section:
    """A group of the sheet for one appliance, or for the visit."""

    appliance: str
    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Choice:
    """One likely answer: its words and why it is offered; ``key`` presses it, none where it is no value that can be."""

    number: int
    words: str
    why: str
    key: int | None


@dataclass(frozen=True)
class Piece:
    """Part of an utterance's text; ``reading`` is set where a reading was found in it."""

    text: str
    reading: str = ""
    value: str = ""


@dataclass
class Said:
    """One utterance of the transcript."""

    number: int
    at: str
    sound: str
    pieces: list[Piece] = field(default_factory=list)


def address(opened: Opened, *parts: object) -> str:
    """Return the address of something of a job."""
    return "/".join(["/job", quote(opened.job.number, safe=""), *(quote(str(part), safe="") for part in parts)])


def slot_address(opened: Opened, slot: Slot) -> str:
    """Return the address of an empty place of the sheet."""
    tag, quantity, condition = slot
    told = {"appliance": tag or "", "quantity": quantity, "condition": condition}
    return f"{address(opened, 'slot')}?{urlencode(told)}"


def begun(slot: Slot, opened: Opened) -> str:
    """Return how a line begins that fills an empty place: ``boiler, high fire. CO2 is ``."""
    tag, quantity, condition = slot
    place = ", ".join(part for part in (tag, opened.sheet.condition(condition).name if condition else "") if part)
    return f"{f'{place[0].upper()}{place[1:]}. ' if place else ''}{opened.sheet.quantity(quantity).name} is "


def visit_words(opened: Opened) -> str:
    """Return when the work was done, as the first and the last of the evidence tell; empty where none has a time."""
    times = [(one.at, one.at + timedelta(seconds=one.length)) for one in opened.job.filed if one.at is not None]
    if not times:
        return ""
    first, last = min(times)[0], max(end for _, end in times)
    day, end = first.strftime("%Y-%m-%d %H:%M"), last.astimezone(first.tzinfo)
    until = end.strftime("%H:%M" if end.date() == first.date() else "%Y-%m-%d %H:%M")
    return day if day.endswith(until) else f"{day} to {until}"


def sections(opened: Opened) -> list[Section]:
    """Return the sheet in the order of the work: the visit, then appliance by appliance, group by group."""
    sheet, job = opened.sheet, opened.job
    conditions = {one.id: place for place, one in enumerate(sheet.conditions, 1)}
    quantities = {one.id: (place, one.group) for place, one in enumerate(sheet.quantities)}
    only = job.appliances[0].tag if len(job.appliances) == 1 else ""
    found: dict[tuple[str, str], list[tuple[tuple[int, ...], Line]]] = {}

    def put(tag: str | None, quantity: str | None, condition: str | None, phase: str, line: Line) -> None:
        place, group = quantities.get(quantity or "", (-1, ""))
        every_job = quantity is not None and sheet.quantity(quantity).every_job
        whose = "" if every_job else (tag or only)
        order = (place, conditions.get(condition or "", 0), _PHASE_ORDER.index(phase), len(found))
        found.setdefault((whose, group), []).append((order, line))

    for row in job.rows.values():
        one = row.reading
        put(one.appliance, one.quantity, one.condition, one.phase, _line(row, opened))
    sent = {one.slot: one for one in opened.waiting if one.slot is not None}
    for finding in opened.missing:
        slot = slot_of(finding)
        if slot is None or finding.readings:
            continue
        tag, quantity, condition = slot
        waiting = sent.get(slot)
        line = Line(
            name=sheet.quantity(quantity).name,
            place=sheet.condition(condition).name if condition else "",
            settled=finding.text.rpartition(": ")[2].rstrip(".").replace("not recorded yet", ""),
            reserved=waiting is not None,
            sent=f"sent back by {waiting.by}" if waiting and waiting.by else "",
            slot=slot_address(opened, slot),
        )
        put(tag, quantity, condition, "", line)
    made = []
    for whose in ("", *(one.tag for one in job.appliances)):
        for group, title in (("", "Not told what it is"), *sheet.groups.items()):
            lines = found.get((whose, group))
            if lines:
                made.append(Section(whose, title, tuple(line for _, line in sorted(lines, key=lambda one: one[0]))))
    return made


def _line(row: JobRow, opened: Opened) -> Line:
    one, sheet = row.reading, opened.sheet
    limit = opened.limits.get(one.id)
    question = next((q for q in opened.questions if one.id in q.readings), None)
    waiting = opened.waits.get(question.id) if question else None
    condition = "when is not told" if one.condition is None else ""
    if one.condition:
        condition = sheet.condition(one.condition).name
    return Line(
        name=name_of(one, sheet),
        place=", ".join(part for part in (condition, _PHASES[one.phase]) if part),
        value=value_words(one, opened),
        out=out_words(row),
        verdict=opened.verdicts.get(one.id, ""),
        limit=say_limit(limit) if limit else "",
        limit_from=origin_words(limit),
        settled=settled_words(row, opened),
        reading=address(opened, "reading", one.id),
        question=address(opened, "question", question.id) if question else "",
        where=where(one.id, one.source, opened),
        reserved=bool(reserved_among([one.quantity], sheet)),
        sent=f"sent back by {waiting.by}" if waiting and waiting.by else "",
    )


def out_words(row: JobRow) -> str:
    """Return ``not told`` or ``left out`` for a reading that does not stand in the record; empty for one that does."""
    if row.how != "left out":
        return ""
    return "not told" if row.history and row.history[-1].why == NOBODY_CAN_TELL else "left out"


def value_words(one: Reading, opened: Opened) -> str:
    """Return a reading's value as it was said, with its unit in trade notation and what belongs to it."""
    return say_reading(one, opened.sheet)


def settled_words(row: JobRow, opened: Opened) -> str:
    """Return how a reading came to stand, by whom and from what; and whether it was read back."""
    return settled(row, opened.job, opened.aloud)


def where(reading: str, source: Source, opened: Opened) -> Where:
    """Return where a reading came from, with the addresses of its stretch of sound or its part of the picture."""
    filed = next((one for one in opened.job.filed if one.sha256 == source.evidence), None)
    if filed is None:
        return Where("evidence that is not in this job", "none")
    name = filed.evidence.name
    time = moment(filed, source.start or 0.0)
    if source.box is not None:
        return Where(name, "photo", source.heard, picture=address(opened, "reading", reading, "crop.png"), time=time)
    if gone := filed.blanked_in(source.start, source.end):
        label = f"its sound cannot be heard any more: {told(gone, name)}"
        return Where(label, "blanked", source.heard, time=time)
    if filed.evidence.kind == "sound" and source.start is not None:
        label = f"{name} at {clock(source.start)}"
        return Where(label, "sound", source.heard, sound=address(opened, "reading", reading, "sound.wav"), time=time)
    return Where(name, filed.evidence.kind, source.heard, time=time)


def moment(filed: Filed, seconds: float) -> str:
    """Return the time of day of a second of a piece of evidence; says so where it is not known."""
    if filed.at is None:
        return "time not known"
    return (filed.at + timedelta(seconds=seconds)).strftime("%Y-%m-%d %H:%M:%S %z")


_PLAY_KEYS = "poi"


def ask(question: Question, opened: Opened) -> list[tuple[Reading, Where, str]]:
    """Return the readings of a question with where they came from, each place once, and the key that plays it."""
    seen: dict[Where, Reading] = {}
    for key in question.readings:
        if key in opened.job.rows:
            one = opened.job.rows[key].reading
            place = where(one.id, one.source, opened)
            seen.setdefault(place, one)
    keys = iter(_PLAY_KEYS)
    return [(one, place, next(keys, "") if place.sound else "") for place, one in seen.items()]


def choices(question: Question, opened: Opened) -> list[Choice]:
    """Return the likely answers in words, those first that can be."""
    several = question.of_unclear_quantity
    beyond = [not can_be(one, opened.sheet.quantity(one.quantity)) for one in question.candidates]
    order = sorted(range(len(beyond)), key=beyond.__getitem__)
    return [
        Choice(
            number=place + 1,
            words=candidate_words(question.candidates[place], opened, several),
            why=question.candidates[place].why or _other_way(question.candidates[place], opened),
            key=None if beyond[place] else key,
        )
        for key, place in enumerate(order, 1)
    ]


def _other_way(one: Candidate, opened: Opened) -> str:
    row = opened.job.rows.get(one.reading)
    return "another way to read the picture" if row is not None and row.reading.source.box else "another way to hear it"


def candidate_words(one: Candidate, opened: Opened, several: bool) -> str:
    """Return a candidate as people read it: value, quantity where it is in doubt, and place."""
    row = opened.job.rows.get(one.reading)
    name = opened.sheet.quantity(one.quantity).name if several else ""
    place = ""
    if row is not None:
        told = {"quantity": one.quantity, "condition": one.condition, "phase": one.phase, "appliance": one.appliance}
        reading = row.reading.model_copy(update=told)
        place = place_of(reading, opened.sheet, appliance=len(opened.job.appliances) > 1)
    note, approx = one.note or "", bool(one.approx)
    if row is not None:
        same = (one.value, one.unit) == (row.reading.value, row.reading.unit)
        note = row.reading.note if one.note is None and one.quantity == row.reading.quantity else note
        approx = row.reading.approx and same if one.approx is None else approx
    value = say_value(one.value, one.unit, opened.sheet, one.quantity)
    parts = ("about" if approx else "", name, value, say_note(note, opened.sheet), f"({place})" if place else "")
    return " ".join(part for part in parts if part)


def turn_of(one: Reading, sheet: Sheet) -> tuple[str, str] | None:
    """Return the screw and the way of a turn, empty where they were not told; None for a reading of another kind."""
    if one.quantity is None or sheet.quantity(one.quantity).kind != "move":
        return None
    words = one.note.split()
    screw = next((word for word in words if word in {each.id for each in sheet.screws}), "")
    return screw, next((word for word in words if word in TURN_WAYS), "")


def steps(row: JobRow, opened: Opened) -> list[dict[str, str]]:
    """Return the history of a reading, oldest first: who, when, what, from what, to what, why."""
    return [
        {
            "seq": str(step.seq),
            "at": step.at.strftime("%Y-%m-%d %H:%M:%S %z"),
            "by": step.by,
            "what": step.what,
            "before": whole(step.before, opened.job, opened.sheet),
            "after": whole(step.after, opened.job, opened.sheet),
            "why": step.why,
        }
        for step in sorted(row.history, key=lambda step: step.seq)
    ]


def transcript(opened: Opened) -> list[tuple[Filed, list[Said]]]:
    """Return every sound and typed line with its utterances, and the readings marked in them."""
    by_utterance: dict[tuple[str, int], list[Reading]] = {}
    for row in opened.job.rows.values():
        source = row.reading.source
        if source.utterance is not None:
            by_utterance.setdefault((source.evidence, source.utterance), []).append(row.reading)
    found = []
    for filed in opened.job.filed:
        if filed.evidence.kind == "photo":
            continue
        said = []
        for one in filed.utterances:
            heard = by_utterance.get((filed.sha256, one.number), [])
            playable = filed.evidence.kind == "sound" and not filed.blanked_in(one.start, one.end)
            sound = address(opened, "sound", filed.sha256, f"{one.number}.wav") if playable else ""
            said.append(Said(one.number, clock(one.start), sound, pieces(one, heard, opened)))
        found.append((filed, said))
    return found


def pieces(one: Utterance, readings: Sequence[Reading], opened: Opened) -> list[Piece]:
    """Return an utterance's text cut where readings were found; where two overlap, the first of them marks it."""
    spans = sorted((r.source.span, r) for r in readings if r.source.span is not None) if readings else []
    made: list[Piece] = []
    at = 0
    for (start, end), reading in spans:
        if start < at or end > len(one.text):
            continue
        if start > at:
            made.append(Piece(one.text[at:start]))
        told = f"{name_of(reading, opened.sheet)} {value_words(reading, opened)}"
        made.append(Piece(one.text[start:end], address(opened, "reading", reading.id), told))
        at = end
    if at < len(one.text) or not made:
        made.append(Piece(one.text[at:]))
    return made


def photos(opened: Opened) -> list[dict[str, object]]:
    """Return the photos with the boxes that were read, in pixels of the upright picture."""
    by_box: dict[tuple[str, Box], Reading] = {}
    # Also those that stand under a spoken value, or were taken back: the picture shows what was read in it.
    for row in (*opened.job.gone, *opened.job.rows.values()):
        if row.reading.source.box is not None:
            by_box[row.reading.source.evidence, row.reading.source.box] = row.reading
    made: list[dict[str, object]] = []
    for filed in opened.job.filed:
        if filed.evidence.kind != "photo":
            continue
        boxes = []
        size = max(filed.look.width, filed.look.height) // 45 if filed.look else 0
        for number, figure in enumerate(filed.look.figures if filed.look else (), 1):
            reading = by_box.get((filed.sha256, figure.box))
            boxes.append(
                {
                    "number": number,
                    "points": " ".join(f"{x:.0f},{y:.0f}" for x, y in figure.box.corners),
                    "x": f"{min(x for x, _ in figure.box.corners) - size * 0.8:.0f}",
                    "y": f"{sum(y for _, y in figure.box.corners) / 4 + size / 3:.0f}",
                    "shown": " ".join(part for part in (figure.label, figure.value, _unit_words(figure.unit)) if part),
                    "reading": address(opened, "reading", reading.id) if reading else "",
                    "told": f"{name_of(reading, opened.sheet)} {value_words(reading, opened)}" if reading else "",
                    "doubts": "; ".join(str(doubt.kind) for doubt in figure.doubts),
                }
            )
        made.append(
            {
                "filed": filed,
                "look": filed.look,
                "boxes": boxes,
                "size": size,
                "time": moment(filed, 0.0),
                "address": address(opened, "evidence", filed.sha256),
            }
        )
    return made


def _unit_words(code: str) -> str:
    """Return a unit that was read in trade notation; whatever is no unit of ours stands as it was read."""
    return show_unit(code) if code in units() else code


def since_closing(opened: Opened) -> str:
    """Return in words that a job was closed, and what has come to it since; empty where nothing has."""
    job = opened.job
    if job.closing is None or not job.since_closing:
        return ""
    told = [f"{one.author} {words}" for one in job.since_closing if (words := decided(one, opened))]
    when = job.closing.at.strftime("%Y-%m-%d %H:%M %z")
    what = "; ".join(told[:3]) + (f"; and {len(told) - 3} more" if len(told) > 3 else "")
    return f"{job.closing.author} closed this job on {when}. Since then {what or 'something was read anew'}."


def doings(opened: Opened, after: int = 0, can: Container[int] = ()) -> Iterator[dict[str, str]]:
    """Yield what people did with a job behind an entry, newest first; ``undo`` where it is among what ``can`` be."""
    for entry in reversed(opened.entries):
        words = decided(entry, opened) if entry.seq > after else ""
        if words:
            yield {
                "seq": str(entry.seq),
                "at": entry.at.strftime("%Y-%m-%d %H:%M:%S %z"),
                "by": entry.author,
                "what": words,
                "undo": "yes" if entry.seq in can else "",
            }


def decided(entry: Entry, opened: Opened) -> str:
    """Return in words what an entry says that a person did; empty for what no person did."""
    return doings_told(entry, opened.job, opened.sheet, opened.names)
