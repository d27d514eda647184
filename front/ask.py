"""``sayback ask``: the open questions in the terminal, likeliest answers first, with the sound and the picture."""

from __future__ import annotations

import shlex
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from front.evidence import crop, open_picture, play, stretch
from front.options import By, JobNumber, Json, author
from front.screen import out, print_json
from front.show import source_of
from front.typed import example, typed_answer
from jobs.blanking import blanked_at, told
from jobs.book import job_of, sheet_of
from jobs.decisions import answer, settled_by
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.show import place_of, say_value
from jobs.store import Store, home_folder
from schemas.errors import ExitCode, SaybackError, WrongUse
from schemas.questions import Candidate, Question
from schemas.sheet import Sheet

__all__ = ["ask", "list_questions", "put_on"]

_KEYS = (
    "#1 takes that answer · a value such as 9.3 is typed · p plays · o opens the picture · "
    "c cannot tell · s later · q stops"
)


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(ask)


def ask(
    job: JobNumber,
    question: Annotated[
        str | None, typer.Option(help="Answer this one without being asked; needs one of the next.")
    ] = None,
    choose: Annotated[int | None, typer.Option(help="The number of the answer that is right, from 1.")] = None,
    value: Annotated[
        str | None,
        typer.Option(help="The right value, with its unit if it is another: '9.3 %'. Where asked, with what it is of."),
    ] = None,
    cannot_tell: Annotated[bool, typer.Option("--cannot-tell", help="Nobody can tell.")] = False,
    sure: Annotated[bool, typer.Option("--sure", help="Take a value outside what the sheet calls possible.")] = False,
    by: By = None,
    json: Json = False,
) -> int:
    """Ask what is open. Exit code 1 while anything stays open."""
    with Store(home_folder()) as store:
        desk = _desk(store, job, by)
        if question is not None:
            _answer_one(desk, question, choose, value, cannot_tell, sure)
        elif not json and sys.stdin.isatty():
            _ask_all(desk)
        elif not json:
            list_questions(desk.job, desk.sheet, open_questions(desk.job, desk.sheet))
        left = open_questions(job_of(store, job), desk.sheet)
    if json:
        print_json({"job": job, "questions": left})
    elif question is not None or sys.stdin.isatty():
        out().print(f"{len(left)} questions are open." if left else "Nothing is open.")
    return int(ExitCode.FINDINGS_OPEN if left else ExitCode.DONE)


@dataclass(frozen=True)
class _Desk:
    """Where questions are answered: the store, the job's number and sheet, and who answers."""

    store: Store
    number: str
    sheet: Sheet
    by: str

    @property
    def job(self) -> Job:
        return job_of(self.store, self.number)


def _desk(store: Store, number: str, by: str | None) -> _Desk:
    job = job_of(store, number)
    return _Desk(store, number, sheet_of(store, job.head), author(by, job))


def list_questions(job: Job, sheet: Sheet, questions: Sequence[Question]) -> None:
    """Print questions with their answers, and the command that answers each."""
    for place, question in enumerate(questions, 1):
        _show(job, sheet, question, place)
        ways = ["--choose N"] if question.candidates else []
        ways += [] if question.alike else [f"--value {shlex.quote(example(question, sheet) or 'VALUE')}"]
        out().print(f"     answer with: sayback ask {job.number} --question {question.id} {' or '.join(ways)}\n")


def _answer_one(desk: _Desk, name: str, choose: int | None, value: str | None, cannot_tell: bool, sure: bool) -> None:
    if sum((choose is not None, value is not None, cannot_tell)) != 1:
        raise WrongUse("Say one of --choose N, --value VALUE or --cannot-tell.")
    job = desk.job
    found = [one for one in open_questions(job, desk.sheet) if one.id == name]
    if not found:
        raise WrongUse(f"Job {desk.number} has no open question {name!r}; sayback ask {desk.number} --json lists them.")
    if cannot_tell:
        answer(desk.store, desk.number, found[0], asked_at=job.position, by=desk.by, how="cannot tell")
    elif choose is not None:
        _choose(desk, job, found[0], choose)
    else:
        _type(desk, job, found[0], value or "", sure=sure)


def _ask_all(desk: _Desk) -> None:
    later: set[str] = set()
    while True:
        job = desk.job
        waiting = [one for one in open_questions(job, desk.sheet) if one.id not in later]
        if not waiting:
            return
        question = waiting[0]
        out().print()
        _show(job, desk.sheet, question, len(later) + 1)
        out().print(f"     {_KEYS}")
        said = input("     > ").strip()
        if said == "q":
            return
        if said == "s":
            later.add(question.id)
            continue
        try:
            _take(desk, job, question, said)
        except SaybackError as error:
            out().print(f"     {error}")


def _take(desk: _Desk, job: Job, question: Question, said: str) -> None:
    if said == "p":
        _play(desk, question)
    elif said == "o":
        _open(desk, question)
    elif said == "c":
        answer(desk.store, desk.number, question, asked_at=job.position, by=desk.by, how="cannot tell")
    elif said.startswith("#"):  # never a bare number: 3 may be the third answer, and it may be 3 ppm
        number = said[1:].strip()
        _choose(desk, job, question, int(number) if number.isascii() and number.isdecimal() else 0)
    else:
        _type(desk, job, question, said, sure=False)


def _choose(desk: _Desk, job: Job, question: Question, number: int) -> None:
    if not 1 <= number <= len(question.candidates):
        raise WrongUse(f"There is no answer {number}; the question has {len(question.candidates)}.")
    settled = settled_by(question, question.candidates[number - 1])
    answer(desk.store, desk.number, question, asked_at=job.position, by=desk.by, how="chosen", settled=settled)


def _type(desk: _Desk, job: Job, question: Question, said: str, *, sure: bool) -> None:
    """Take a typed value for the first reading of a question."""
    typed = typed_answer(question, said, desk.sheet)
    settled = settled_by(question, typed)
    answer(
        desk.store, desk.number, question, asked_at=job.position, by=desk.by, how="typed", settled=settled, sure=sure
    )


def _show(job: Job, sheet: Sheet, question: Question, place: int) -> None:
    names = {one.sha256: one.evidence.name for one in job.filed}
    out().print(f"{place:3}. {question.text}")
    heard = f": “{question.source.heard}”" if question.source.heard else ""
    out().print(f"     {source_of(question.source, names)}{heard}")
    for doubt in question.doubts:
        out().print(f"     {doubt.kind}" + (f": {doubt.detail}" if doubt.detail else ""))
    several = question.of_unclear_quantity
    for number, one in enumerate(question.candidates, 1):
        out().print(f"     #{number} {_words(one, job, sheet, several)}" + (f" – {one.why}" if one.why else ""))


def _words(one: Candidate, job: Job, sheet: Sheet, several: bool) -> str:
    row = job.rows[one.reading].reading.model_copy(
        update={"quantity": one.quantity, "condition": one.condition, "phase": one.phase, "appliance": one.appliance}
    )
    name = sheet.quantity(one.quantity).name if several else ""
    place = place_of(row, sheet, appliance=len(job.appliances) > 1)
    value = say_value(one.value, one.unit, sheet, one.quantity)
    return " ".join(part for part in (name, value, f"({place})" if place else "") if part)


def _play(desk: _Desk, question: Question) -> None:
    source = question.source
    if source.box is not None or source.start is None or source.end is None:
        raise WrongUse("This was not said, so there is no sound to play; o opens the picture.")
    filed = next(one for one in desk.job.filed if one.sha256 == source.evidence)
    if gone := blanked_at(desk.job, source):
        raise WrongUse(f"That sound cannot be heard any more: {told(gone, filed.evidence.name)}.")
    wav = Path(tempfile.mkdtemp(prefix="sayback-")) / "stretch.wav"
    wav.write_bytes(stretch(desk.store.evidence.path(filed.kept), source.start, source.end))
    if not play(wav):
        out().print(f"     no player is installed; the sound is in {wav}")


def _open(desk: _Desk, question: Question) -> None:
    source = question.source
    if source.box is None:
        raise WrongUse("This was not photographed, so there is no picture; p plays the sound.")
    png = Path(tempfile.mkdtemp(prefix="sayback-")) / "crop.png"
    png.write_bytes(crop(desk.store.evidence.path(source.evidence), source.box))
    if not open_picture(png):
        out().print(f"     no viewer is installed; the picture is in {png}")
