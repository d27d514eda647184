"""``sayback listen``: hears the work as it goes on, hands-free, takes readings, says back and asks."""

from __future__ import annotations

import signal
import sys
from pathlib import Path
from typing import Annotated

import typer

from capture import microphone
from front.add import taken_up
from front.check import print_findings
from front.options import By, JobNumber, Json, author
from front.screen import out, print_json, standing
from front.voice.keeper import Keeper
from front.voice.screen import Screen
from front.voice.session import Session, warm_up
from front.voice.sounds import speak
from front.voice.speakers import find_speakers
from jobs.book import job_of, sheet_of
from jobs.questions import open_questions
from jobs.senses import senses
from jobs.store import Store, home_folder
from schemas.errors import ExitCode, WrongUse

__all__ = ["put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(listen)


def listen(
    job: JobNumber,
    source: Annotated[
        str | None, typer.Option("--from", help="Play this recording as the microphone; - reads samples from a pipe.")
    ] = None,
    to: Annotated[Path | None, typer.Option(help="A folder that gets what is played, as sound files.")] = None,
    silent: Annotated[bool, typer.Option("--silent", help="Play nothing; the screen shows the same.")] = False,
    mic: Annotated[str | None, typer.Option("--microphone", help="A part of the microphone's name.")] = None,
    microphones: Annotated[bool, typer.Option("--microphones", help="List the microphones and end.")] = False,
    model: Annotated[
        str | None, typer.Option(help="A speech model: a folder, or a size name that is on this disk.")
    ] = None,
    by: By = None,
    json: Json = False,
) -> int:
    """Listen to the work on a job until Ctrl-C: readings are taken, what is unclear is asked aloud."""
    if microphones:
        for name in microphone.names():
            out().print(name)
        return int(ExitCode.DONE)
    if source is not None and mic is not None:
        raise WrongUse("Give either --from or --microphone.")
    with Store(home_folder()) as store:
        before = job_of(store, job)
        sheet = sheet_of(store, before.head)
        sense = senses(model, sheet=sheet)
        speakers = find_speakers(to, silent=silent)
        heard = _microphone(source, mic)
        person = author(by, before)
        if not silent:
            speak("")  # says now, and not with the first question, that espeak-ng is missing
        taken_up(store, before, sense, person)
        warm_up(sense, sheet)
        with Screen(f"{before.head.site}: listening to {heard.name}; Ctrl-C ends", quiet=json) as screen:
            former = signal.getsignal(signal.SIGINT)
            try:
                with Keeper(to, silent=silent) as keeper:
                    session = Session(
                        store, job, sense, person, heard, speakers, screen, beat=keeper.beat, told=keeper.told
                    )
                    signal.signal(signal.SIGINT, lambda *_: session.stop())
                    try:
                        session.run()
                    except BlockingIOError:
                        keeper.told()  # that one goes on hearing
                        raise WrongUse(f"Somebody is listening to job {job} already; end that first.") from None
            finally:
                signal.signal(signal.SIGINT, former)
        after = job_of(store, job)
        questions = open_questions(after, sheet)
    taken = sum(1 for row in after.rows.values() if row.how not in ("open", "left out"))
    if json:
        stops = [one for one in after.findings if one.verdict == "stop"]
        print_json({"job": job, "readings": taken, "questions": questions, "stops": stops})
    else:
        print_findings(after, [one for one in after.findings if one.verdict in ("stop", "caution")])
        out().print(standing(job, taken, len(questions)))
        if questions:
            out().print(f"Next: sayback ask {job}")
    return int(ExitCode.DONE)


def _microphone(source: str | None, wanted: str | None) -> microphone.Microphone:
    if source == "-":
        return microphone.PipeMicrophone(sys.stdin.buffer)
    if source is not None:
        return microphone.FileMicrophone(Path(source))
    return microphone.DeviceMicrophone(wanted)
