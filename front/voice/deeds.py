"""What the conversation does to the job: one journal entry for each thing decided, and the words of replies."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from front.voice import events
from front.voice.news import last_row, row_of
from front.voice.replies import Place
from front.voice.talk import Talk
from front.voice.wording import Asked, Wording
from jobs.book import job_of
from jobs.decisions import answer, edit, leave_out, read_back_limit, settled_by, undo
from jobs.findings import check_job
from jobs.journal import Answered, Draft, SetAside, Told
from jobs.questions import open_questions
from jobs.store import Store
from schemas.errors import BadInput, WrongUse
from schemas.evidence import Utterance
from schemas.questions import Candidate
from schemas.sheet import Sheet

__all__ = ["Deeds"]


class Deeds:
    """Carries out decisions in one job, in the name of whoever works there."""

    def __init__(self, store: Store, number: str, sheet: Sheet, wording: Wording, by: str) -> None:
        self._store = store
        self._number = number
        self._sheet = sheet
        self._wording = wording
        self._by = by

    def set_aside(self, utterance: Utterance, mark: events.Mark, deed: events.Action | None = None) -> tuple[str, ...]:
        """Note that an utterance is no talk about the work, carry out what it decided, and return what is to be said.

        Both are one step on the disk: a kill leaves no correction that was heard and set aside, and not made.
        """
        body = SetAside(
            evidence=utterance.evidence,
            number=utterance.number,
            what=mark.what,
            question=mark.question,
            note=mark.note,
            appliance=mark.appliance,
        )
        draft = Draft(body, self._by, f"set-aside/{utterance.evidence}/{utterance.number}")
        told = tuple(self.do(deed, [draft])) if deed is not None else ()
        self._store.append(self._number, [draft])  # passed over where it went along with the deed
        return told

    def leave_out_own(self, utterance: Utterance) -> None:
        """Leave out what was read in an utterance in which the tool's own voice was heard too."""
        for row in job_of(self._store, self._number).rows.values():
            source = row.reading.source
            if (source.evidence, source.utterance) == (utterance.evidence, utterance.number):
                leave_out(self._store, self._number, row.reading.id, by=self._by, why="the tool itself spoke with it")

    def told(self, say: events.Say, *, whole: bool, aloud: bool = True) -> None:
        """Note what was said, or only shown; it names readings as read back only if it was said aloud to its end."""
        if not say.text:
            return
        question = say.about.question.id if say.about and say.about.question else None
        values = say.about is not None and say.about.question is None and not say.about.limit
        read_back = say.about.readings if say.about and values and aloud and whole else ()
        body = Told(kind="said" if aloud else "shown", text=say.text, question=question, readings=read_back)
        self._store.append(self._number, [Draft(body)])

    def do(self, action: events.Action, along: Sequence[Draft] = ()) -> Iterator[str]:
        """Carry out what was decided, and yield what is to be said of it; ``along`` is written in the same step."""
        match action:
            case events.Settle(asked, candidate):
                yield from self._settle(asked, candidate, along)
            case events.Edit(candidate):
                why = "corrected when it was read back"
                try:
                    edit(self._store, self._number, candidate, by=self._by, why=why, along=along)
                except (WrongUse, BadInput) as error:
                    yield str(error)
            case events.Agree(limits, agreed):
                for limit in limits:
                    read_back_limit(self._store, self._number, limit, agreed=agreed, by=self._by, along=along)
                check_job(self._store, self._number)
            case events.TakeBack(readings):
                yield from self._take_back(readings[-1], along)
            case _:
                return

    def reply(self, what: str, talk: Talk, place: Place) -> events.Say:
        """Return what is said to a request."""
        job = job_of(self._store, self._number)
        word = self._wording
        if what == "what_taken":
            row = row_of(job, word, place) or last_row(job, word)
            return events.Say(row.text if row else word.phrase("nothing_taken"), 1, row, row=row is not None)
        if what == "what_missing":
            here = [one for one in job.findings if one.verdict == "missing" and one.condition == (place[1] or "")]
            here = [one for one in here if one.appliance in (None, place[0])]
            where = word.place(*place) if here else ""
            missing = here or [one for one in job.findings if one.verdict == "missing"]
            return events.Say(word.missing(where, missing), 1)
        if what == "all_missing":
            told = word.missing("", [one for one in job.findings if one.verdict == "missing"])
            still = len(open_questions(job, self._sheet))
            return events.Say(" ".join((told, word.phrase("still_open", open=still))) if still else told, 1)
        if what == "there":
            standing = sum(1 for row in job.rows.values() if row.how not in ("open", "left out"))
            told = word.phrase("there", taken=standing, open=len(open_questions(job, self._sheet)))
            return events.Say(f"{told} {word.phrase('quiet')}" if talk.quiet else told, 1)
        if what == "what_is_it":
            return events.Say(word.phrase("again"), 1, talk.asked)
        if what == "stands_still":
            last = job.rows.get(talk.last_taken[-1]) if talk.last_taken else None
            if last is None or last.how == "left out" or last.reading.quantity is None:
                return events.Say(word.phrase("nothing_to_take_back"), 1)
            text = word.phrase("stands_still", what=word.what(last.reading), value=word.of(last.reading))
            return events.Say(text, 1)  # about nothing: a no between colleagues that comes next is no answer to it
        return events.Say(word.phrase(what), 1)

    def _settle(self, asked: Asked, candidate: Candidate | None, along: Sequence[Draft]) -> Iterator[str]:
        """Answer a question; yield the reason if it can no longer be answered so."""
        assert asked.question is not None
        how: Literal["spoken", "cannot tell"] = "spoken" if candidate is not None else "cannot tell"
        settled = settled_by(asked.question, candidate) if candidate is not None else ()
        job = job_of(self._store, self._number)
        told = [] if candidate is not None else [job.rows[key].reading for key in asked.readings if key in job.rows]
        try:
            answer(
                self._store,
                self._number,
                asked.question,
                asked_at=job.position,
                by=self._by,
                how=how,
                settled=settled,
                along=along,
            )
        except (WrongUse, BadInput) as error:
            yield str(error)
            return
        for one in told:
            yield self._wording.phrase("left_out", what=self._wording.what(one), value=self._wording.of(one))

    def _take_back(self, reading: str, along: Sequence[Draft]) -> Iterator[str]:
        """Undo the last answer if it was about this reading, else leave the reading out; say what stood there."""
        job = job_of(self._store, self._number)
        row = job.rows.get(reading)
        if row is None or row.how == "left out" or row.reading.quantity is None:
            yield self._wording.phrase("nothing_to_take_back")
            return
        told = self._wording.phrase(
            "taken_back", what=self._wording.what(row.reading), value=self._wording.of(row.reading)
        )
        last = row.history[-1]
        entry = next((one for one in self._store.entries(self._number) if one.seq == last.seq), None)
        if entry is not None and isinstance(entry.body, Answered):
            undo(self._store, self._number, entry.seq, by=self._by, why="taken back aloud", along=along)
        else:
            leave_out(self._store, self._number, reading, by=self._by, why="taken back aloud", along=along)
        yield told
