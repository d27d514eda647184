"""What forms do: answer, change, take back, send back, close, upload, import. Each is one entry of a journal."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Awaitable, Callable
from pathlib import Path
from urllib.parse import unquote

from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Match, Route
from starlette.types import Message

from front.office.desk import Opened
from front.office.guard import checked, must, who
from front.office.people import ROLES, Person, named
from front.office.read import INSTRUMENTS, MOST_INSTRUMENTS, next_place, question_then
from front.office.read import routes as read_routes
from front.office.rights import why_not
from front.office.state import Office, done, office_of
from front.office.view import address
from front.typed import typed_answer, typed_words
from jobs import decisions, moving, signing
from jobs.add import Typed, add
from jobs.bundle import unpack
from jobs.doings import whole
from jobs.journal import HeadFacts, Undone
from jobs.reserve import Waiting, reserved_among, reserved_in, send_back, slot_of, typed_reserved
from jobs.senses import senses
from jobs.store import JournalMoved
from schemas.errors import BadInput, WrongUse
from schemas.findings import NotApplicable
from schemas.job import Instrument
from schemas.questions import Candidate, Question
from schemas.readings import Phase

__all__ = ["MOST_UPLOADED", "routes"]

MOST_UPLOADED = 1 << 30
"""Bytes of one upload, all its files together."""

_CHUNK = 1 << 20
Act = Callable[[Request, FormData], Response]


def _posted(act: Act, *roles: str) -> Callable[[Request], Awaitable[Response]]:
    """Return an endpoint that checks the form and the role, and does the work beside the event loop."""

    async def endpoint(request: Request) -> Response:
        must(request, *(roles or ("clerk", "technician")))
        async with request.form(max_fields=60, max_files=0, max_part_size=1 << 16) as form:
            return await run_in_threadpool(_acted, act, request, checked(request, form))

    return endpoint


def _acted(act: Act, request: Request, form: FormData) -> Response:
    """Do it. Where our own script asked, the page that follows comes with the answer: one way instead of two."""
    office_of(request).accounts.note(who(request).person)
    answered = act(request, form)
    there = answered.headers.get("x-go", "")
    if "x-with-page" not in request.headers or not there:
        return answered
    path, _, query = there.partition("?")
    scope = {**request.scope, "method": "GET", "path": unquote(path), "query_string": query.encode()}
    for route in read_routes:
        match, child = route.matches(scope)
        if match is Match.FULL:
            shown = route.endpoint(Request({**scope, **child}))
            if isinstance(shown, HTMLResponse) and shown.status_code == 200:
                answer = {"go": there, "page": bytes(shown.body).decode()}
                return JSONResponse(answer, background=answered.background)
    return answered


def _text(form: FormData, name: str, most: int = 2000) -> str:
    value = form.get(name, "")
    if not isinstance(value, str) or len(value) > most:
        raise BadInput(f"The field {name} holds more than {most} letters; say it shorter.")
    return value.strip()


def _position(form: FormData) -> int:
    text = _text(form, "seen_at", 12)
    if not (text.isascii() and text.isdecimal()):
        raise BadInput("The form does not say which state of the job it is about; load the page again.")
    return int(text)


def _number(request: Request) -> str:
    number = str(request.path_params["number"])
    try:
        office_of(request).desk.store.head(number)
    except WrongUse as error:
        raise HTTPException(404, str(error)) from error
    return number


def _at_work(request: Request) -> Opened:
    """Return the job of a form, if it can still be worked on.

    Raises:
        WrongUse: it is closed.
    """
    try:
        opened = office_of(request).desk.open(request.path_params["number"])
    except WrongUse as error:
        raise HTTPException(404, str(error)) from error
    if opened.job.closed is not None:
        raise WrongUse(f"Job {opened.job.number} is closed; open it again first, with a reason.")
    return opened


def _last(opened: Opened, person: Person) -> str:
    """Return what names the latest decision of a person, for the address of the page that tells it."""
    mine = [entry.seq for entry in opened.by_people if entry.author == person.name]
    return f"{opened.job.number}.{mine[-1]}" if mine else ""


def answer(request: Request, form: FormData) -> Response:
    """Answer a question: by the number of an answer, by typing, or with 'cannot tell'."""
    office, person, number = office_of(request), who(request).person, str(request.path_params["number"])
    name, seen_at = request.path_params["question"], _position(form)
    before = _at_work(request)
    asked = question_then(before, name) or question_then(office.desk.as_it_was(number, seen_at), name)
    if asked is None:
        raise WrongUse("That question was never open in this job; load the page again.")
    settled, how = _answered(form, asked, before)
    if person.role != "technician":
        names = reserved_in(asked, before.sheet) or reserved_among([one.quantity for one in settled], before.sheet)
        if names:
            raise WrongUse(f"{', '.join(names)} can only be settled by the technician; send it back.")
    order = [one.id for one in (before.questions if person.role == "technician" else before.desk_questions)]
    place = order.index(name) if name in order else 0
    decisions.answer(
        office.desk.store,
        number,
        asked,
        asked_at=seen_at,
        by=person.name,
        how=how,
        settled=settled,
        sure=_text(form, "sure", 5) == "yes",
    )
    after = office.desk.open(number)
    left = [one.id for one in (after.questions if person.role == "technician" else after.desk_questions)]
    later = [one for one in order[place + 1 :] if one in left] or left
    there = address(after, "question", later[0]) if later else address(after)
    answered = done(request, there, done=_last(after, person))
    answered.background = office.desk.judge_later(number)
    return answered


def _answered(form: FormData, asked: Question, opened: Opened) -> tuple[tuple[Candidate, ...], decisions.How]:
    chosen, typed = _text(form, "choose", 20), _text(form, "typed", 300)
    if chosen and typed:
        raise WrongUse("An answer was chosen and another typed; send one of the two.")
    if chosen == "cannot tell":
        return (), "cannot tell"
    if chosen == "none":
        return (), "typed"
    if chosen:
        place = int(chosen) if chosen.isascii() and chosen.isdecimal() else 0
        if not 1 <= place <= len(asked.candidates):
            raise WrongUse(f"There is no answer {chosen!r}; the question has {len(asked.candidates)}.")
        return decisions.settled_by(asked, asked.candidates[place - 1]), "chosen"
    if not typed:
        raise WrongUse("Choose an answer, type a value, or say that nobody can tell.")
    reading = _text(form, "which", 200) or asked.readings[0]
    if reading not in asked.readings:
        raise WrongUse("That reading is not one of this question's.")
    return decisions.settled_by(asked, typed_answer(asked, typed, opened.sheet, reading=reading)), "typed"


def change(request: Request, form: FormData) -> Response:
    """Give a reading another value or label, or leave it out, with a reason."""
    office, person, number = office_of(request), who(request).person, str(request.path_params["number"])
    key, why, seen_at = request.path_params["reading"], _text(form, "why"), _position(form)
    opened = _at_work(request)
    row = opened.job.rows.get(key)
    if row is None:
        raise WrongUse("That reading no longer stands; load the job again.")
    quantity = _text(form, "quantity", 64) or row.reading.quantity or ""
    if person.role != "technician":
        names = reserved_among([row.reading.quantity, quantity], opened.sheet)
        if names:
            raise WrongUse(f"{', '.join(names)} can only be settled by the technician; send it back.")
    if _text(form, "leave_out", 5) == "yes":
        decisions.leave_out(office.desk.store, number, key, by=person.name, why=why, seen_at=seen_at)
    else:
        known = {one.id: one for one in opened.sheet.quantities}
        if quantity not in known:
            raise BadInput("Say which quantity of the sheet it is.")
        one = known[quantity]
        value = _text(form, "value", 300)
        phase = _text(form, "phase", 10)
        phases: dict[str, Phase] = {"": "", "before": "before", "after": "after"}
        if phase not in phases:
            raise BadInput("A reading is from before the adjustment, from after it, or neither.")
        same = quantity == row.reading.quantity
        turned = f"{_text(form, 'screw', 64)} {_text(form, 'way', 5)}" if "screw" in form and same else None
        after = Candidate(
            reading=key,
            quantity=quantity,
            condition=_text(form, "condition", 64),
            phase=phases[phase],
            value=value if one.kind in ("number", "move") else typed_words(value, one),
            unit=_text(form, "unit", 40),
            appliance=_text(form, "appliance", 64) or None,
            # What belongs to a value of one quantity belongs to none of another.
            note=("" if not same else None if turned in (None, row.reading.note) else turned),
            approx=(_text(form, "about", 5) == "yes") if "about_told" in form else None,
        )
        decisions.edit(
            office.desk.store,
            number,
            after,
            by=person.name,
            why=why,
            sure=_text(form, "sure", 5) == "yes",
            seen_at=seen_at,
        )
    opened = office.desk.changed(number)
    return done(request, address(opened, "reading", key), done=_last(opened, person))


def change_head(request: Request, form: FormData) -> Response:
    """Put site, customer or instruments right, with a reason."""
    office, person, number = office_of(request), who(request).person, str(request.path_params["number"])
    _at_work(request)
    site = _text(form, "site", 200)
    if not site:
        raise BadInput("Say where the job is.")
    places = [str(n) for n in range(MOST_INSTRUMENTS) if _text(form, f"name-{n}", 100)]
    facts = HeadFacts(
        site=site,
        customer=_text(form, "customer", 200),
        instruments=tuple(_instrument(form, place) for place in places),
    )
    why = _text(form, "why", 500)
    decisions.change_head(office.desk.store, number, facts, by=person.name, why=why, seen_at=_position(form))
    opened = office.desk.changed(number)
    return done(request, address(opened), done=_last(opened, person))


def _instrument(form: FormData, place: str) -> Instrument:
    kind = _text(form, f"kind-{place}", 20)
    if kind not in INSTRUMENTS:
        raise BadInput(f"An instrument is one of {', '.join(INSTRUMENTS)}.")
    told = {"name": _text(form, f"name-{place}", 100), "kind": kind, "serial": _text(form, f"serial-{place}", 60)}
    dates = {name: _text(form, f"{name}-{place}", 10) or None for name in ("calibrated", "due")}
    try:
        return Instrument.model_validate_json(json.dumps(told | dates))
    except ValidationError as error:
        raise BadInput(f"{told['name']}: a date is written like 2026-03-04.") from error


def undo(request: Request, form: FormData) -> Response:
    """Take back one decision; which one stands in the form, so that a late press takes back nothing else."""
    office, person, number = office_of(request), who(request).person, str(request.path_params["number"])
    text = _text(form, "seq", 12)
    seq = int(text) if text.isascii() and text.isdecimal() else 0
    opened = _at_work(request)
    entry = next((one for one in opened.by_people if one.seq == seq), None)
    if entry is None:
        raise WrongUse("That is taken back already, or nothing that can be taken back.")
    if refused := why_not(entry, person, opened, office.accounts.of_office):
        raise WrongUse(refused)
    if isinstance(entry.body, moving.MOVES):
        concerned = moving.move_back(office.desk.store, number, seq, by=person.name, why=_text(form, "why"))
        mine = max(one.seq for one in office.desk.store.entries(number) if isinstance(one.body, Undone))
        for one in concerned:
            office.desk.changed(one.number)
    else:
        decisions.undo(office.desk.store, number, seq, by=person.name, why=_text(form, "why"))
        mine = 0
    opened = office.desk.changed(number)
    back = _text(form, "back", 300)
    there = back if back.startswith(address(opened)) else address(opened)
    return done(request, there, done=f"{number}.{mine or opened.job.position}")


def move(request: Request, form: FormData) -> Response:
    """Move a piece of evidence, with its readings, under another appliance or to another job."""
    office, person, number = office_of(request), who(request).person, str(request.path_params["number"])
    sha256, why, to = request.path_params["sha256"], _text(form, "why", 500), _text(form, "to", 64)
    opened, store, appliance = _at_work(request), office.desk.store, _text(form, "appliance", 64)
    if to:
        moving.move_to_job(store, number, sha256, to, appliance=appliance or None, by=person.name, why=why)
        office.desk.changed(to)
    elif appliance:
        moving.move_under(store, number, sha256, appliance, by=person.name, why=why)
    else:
        raise WrongUse("Say which appliance it is of, or give the number of the job that it belongs to.")
    opened = office.desk.changed(number)
    return done(request, address(opened), done=_last(opened, person))


def send(request: Request, form: FormData) -> Response:
    """Send a question, an empty place, or all that is reserved back to the technician."""
    office, person, number = office_of(request), who(request).person, str(request.path_params["number"])
    opened = _at_work(request)
    technician = opened.job.head.technician
    if name := _text(form, "question", 64):
        asked = opened.question(name)
        sent = [opened.waits.get(name) or Waiting(asked.text, technician, question=asked)]
    elif quantity := _text(form, "quantity", 64):
        wanted = (_text(form, "appliance", 64) or None, quantity, _text(form, "condition", 64))
        found = next((one for one in opened.missing if slot_of(one) == wanted), None)
        if found is None:
            raise WrongUse("That place is not empty any more.")
        waiting = next((one for one in opened.waiting if one.slot == wanted), None)
        sent = [waiting or Waiting(found.text, technician, slot=wanted)]
    else:
        sent = [one for one in opened.waiting if one.seq is None]
    send_back(office.desk.store, number, sent, by=person.name, note=_text(form, "note", 500))
    after = office.desk.changed(number)
    there = address(after)
    if name:
        there = next_place(office, number, name, person.role) or there
    return done(request, there, done=_last(after, person))


def not_applicable(request: Request, form: FormData) -> Response:
    """Note that something the sheet requires does not apply, with the reason."""
    office, person, number = office_of(request), who(request).person, str(request.path_params["number"])
    opened = _at_work(request)
    quantity, reason = _text(form, "quantity", 64), _text(form, "why")
    if not reason:
        raise WrongUse("Say in a few words why it does not apply.")
    names = reserved_among([quantity], opened.sheet)
    if names and person.role != "technician":
        raise WrongUse(f"{', '.join(names)} can only be settled by the technician; send it back.")
    condition = _text(form, "condition", 64)
    if quantity not in {one.id for one in opened.sheet.quantities} or condition not in {
        "",
        *(one.id for one in opened.sheet.conditions),
    }:
        raise BadInput("The sheet has no such place.")
    appliance = _text(form, "appliance", 64) or None
    slot = NotApplicable(appliance=appliance, quantity=quantity, condition=condition, reason=reason)
    while True:
        opened = _at_work(request)
        if (appliance, quantity, condition) not in {slot_of(one) for one in opened.missing}:
            raise WrongUse(_filled(opened, appliance, quantity, condition))
        try:
            decisions.does_not_apply(office.desk.store, number, slot, by=person.name, seen_at=opened.job.position)
            break
        except JournalMoved:
            continue  # what came meanwhile may fill the place
    opened = office.desk.changed(number)
    return done(request, address(opened), done=_last(opened, person))


def _filled(opened: Opened, appliance: str | None, quantity: str, condition: str) -> str:
    """Say what stands now where a place was empty."""
    place = (appliance, quantity, condition)
    readings = [one for one in opened.job.readings if (one.appliance, one.quantity, one.condition or "") == place]
    there = "; ".join(whole(one, opened.job, opened.sheet) for one in readings)
    told = f": {there}" if there else ""
    return f"That place is not empty any more, or the sheet does not ask for it{told}. Nothing was noted; look again."


def dealt_with(request: Request, form: FormData) -> Response:
    """Record what was done about a stop: the technician's word, and only theirs."""
    office, person, number = office_of(request), who(request).person, _number(request)
    what = _text(form, "what")
    if not what:
        raise WrongUse("Say what was done about it, and by whom.")
    seen = _text(form, "stop", 4000).split()
    decisions.stop_dealt_with(office.desk.store, number, seen, what=what, by=person.name)
    opened = office.desk.changed(number)
    return done(request, address(opened), done=_last(opened, person))


def close(request: Request, form: FormData) -> Response:
    """Close a job."""
    office, person, number = office_of(request), who(request).person, _number(request)
    _all_read(office, number)
    decisions.close(office.desk.store, number, by=person.name, why=_text(form, "why"), seen_at=_position(form))
    opened = office.desk.changed(number)
    return done(request, address(opened))


def _all_read(office: Office, number: str) -> None:
    if given := office.reader.waiting(number):
        one = "one file is" if len(given) == 1 else f"{len(given)} files are"
        raise WrongUse(f"Wait a moment: {one} still being read into job {number}.")


def reopen(request: Request, form: FormData) -> Response:
    """Open a closed job again."""
    office, person, number = office_of(request), who(request).person, _number(request)
    why = _text(form, "why")
    if not why:
        raise WrongUse("Say in a few words why the job is opened again.")
    decisions.reopen(office.desk.store, number, by=person.name, why=why)
    opened = office.desk.changed(number)
    return done(request, address(opened))


def sign(request: Request, form: FormData) -> Response:
    """Let a named person sign the record as it stands."""
    office, person, number = office_of(request), who(request).person, _number(request)
    role = _text(form, "role", 20)
    roles: dict[str, signing.Role] = {one: one for one in signing.ROLES}
    if role not in roles:
        raise BadInput(f"Somebody signs as one of {', '.join(signing.ROLES)}.")
    if role == "technician" and person.role != "technician":
        raise WrongUse("Only the technician signs for the technician.")
    name = named(_text(form, "name", 200)) if role == "customer" else person.name
    if role == "customer" and name.casefold() == person.name.casefold():
        raise WrongUse(f"The customer signs by their own name; {name} is who sits here.")
    _all_read(office, number)
    signing.sign(office.desk.store, number, name=name, role=roles[role], seen_at=_position(form), by=person.name)
    opened = office.desk.changed(number)
    return done(request, address(opened, "close"))


def line(request: Request, form: FormData) -> Response:
    """Add a typed line, as it would be said."""
    office, person, number = office_of(request), who(request).person, str(request.path_params["number"])
    text = _text(form, "line", 1000)
    _at_work(request)
    if person.role != "technician":
        names = typed_reserved(office.desk.store, number, text)
        if names:
            raise WrongUse(f"{', '.join(names)} can only be given by the technician; send it back.")
    added = add(office.desk.store, number, [Typed(text)], senses=senses(), author=person.name)
    if added.refused:
        raise BadInput(added.refused[0].why)
    opened = office.desk.changed(number)
    return done(request, address(opened))


async def upload(request: Request) -> Response:
    """Take sound and pictures in. They are safe when this answers; a process of its own reads them."""
    must(request, "clerk", "technician")
    number = await run_in_threadpool(_number, request)
    _bound(request, MOST_UPLOADED)
    async with request.form(max_fields=60, max_files=20, max_part_size=1 << 16) as form:
        return await run_in_threadpool(_uploaded, request, checked(request, form), number)


def _bound(request: Request, most: int) -> None:
    """Let no more than so many bytes of a request be read."""
    told = request.headers.get("content-length", "")
    if not told.isdecimal():
        raise HTTPException(411, "The upload does not say how long it is.")
    too_long = f"An upload may have {most // (1 << 20)} MB; this one has more. Send the files one by one."
    if int(told) > most:
        raise HTTPException(413, too_long)
    receive, left = request._receive, most

    async def bounded() -> Message:
        nonlocal left
        message = await receive()
        left -= len(message.get("body", b""))
        if left < 0:
            raise HTTPException(413, too_long)
        return message

    request._receive = bounded


def _uploaded(request: Request, form: FormData, number: str) -> Response:
    office, person = office_of(request), who(request).person
    _at_work(request)
    files = [one for one in form.getlist("files") if isinstance(one, UploadFile) and one.filename]
    if not files:
        raise BadInput("No file was chosen.")
    for one in files:
        folder = office.reader.place()
        _copy(one, folder / "upload.bin")
        office.reader.give(folder, number, one.filename or "file", person.name)
    office.reader.poke()
    return done(request, address(office.desk.open(number)))


def _copy(source: UploadFile, target: Path) -> None:
    with target.open("wb") as file:
        shutil.copyfileobj(source.file, file, _CHUNK)
        file.flush()
        os.fsync(file.fileno())


def forget(request: Request, form: FormData) -> Response:
    """Throw away an upload that could not be used."""
    office, number = office_of(request), _number(request)
    office.reader.forget(_text(form, "upload", 40))
    return done(request, address(office.desk.open(number)))


async def take_over(request: Request) -> Response:
    """Import a job from a zip that sayback packed."""
    must(request, "clerk", "technician")
    _bound(request, MOST_UPLOADED)
    async with request.form(max_fields=60, max_files=1, max_part_size=1 << 16) as form:
        return await run_in_threadpool(_taken_over, request, checked(request, form))


def _taken_over(request: Request, form: FormData) -> Response:
    office = office_of(request)
    given = form.get("zip")
    if not isinstance(given, UploadFile) or not given.filename:
        raise BadInput("No zip was chosen.")
    folder = office.reader.place()
    try:
        _copy(given, folder / "upload.zip")
        taken = unpack(office.desk.store, folder / "upload.zip")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    opened = office.desk.changed(taken.number)
    return done(request, address(opened))


async def known_as(request: Request) -> Response:
    """Say who sits at this machine; where there are accounts, nobody says so themselves."""
    office = office_of(request)
    form = checked(request, await request.form(max_fields=60, max_files=0))
    if office.default is None:
        raise HTTPException(403, "Here people log in; log out to be somebody else.")
    role = _text(form, "role", 20)
    if role not in ROLES:
        raise BadInput(f"A role is one of {', '.join(ROLES)}.")
    person = Person(named(_text(form, "name", 200)), next(one for one in ROLES if one == role))
    response = done(request, "/")
    response.headers.append("set-cookie", request.app.state.known_as(request, person))
    return response


routes = [
    Route("/me", known_as, methods=["POST"]),
    Route("/import", take_over, methods=["POST"]),
    Route("/job/{number}/question/{question}", _posted(answer), methods=["POST"]),
    Route("/job/{number}/reading/{reading}", _posted(change), methods=["POST"]),
    Route("/job/{number}/undo", _posted(undo), methods=["POST"]),
    Route("/job/{number}/send", _posted(send), methods=["POST"]),
    Route("/job/{number}/not-applicable", _posted(not_applicable), methods=["POST"]),
    Route("/job/{number}/stop", _posted(dealt_with, "technician"), methods=["POST"]),
    Route("/job/{number}/where/{sha256}", _posted(move), methods=["POST"]),
    Route("/job/{number}/sign", _posted(sign), methods=["POST"]),
    Route("/job/{number}/head", _posted(change_head), methods=["POST"]),
    Route("/job/{number}/close", _posted(close), methods=["POST"]),
    Route("/job/{number}/reopen", _posted(reopen), methods=["POST"]),
    Route("/job/{number}/line", _posted(line), methods=["POST"]),
    Route("/job/{number}/evidence", upload, methods=["POST"]),
    Route("/job/{number}/forget", _posted(forget), methods=["POST"]),
]
