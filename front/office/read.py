"""The pages that show: the list, a job, a question, a reading, transcript, photos, history, the technician's list."""

from __future__ import annotations

from itertools import groupby
from typing import Any, get_args
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from front.office import view
from front.office.desk import Opened
from front.office.guard import who
from front.office.reader import Incoming
from front.office.rights import takes_back
from front.office.state import Office, office_of, page
from front.typed import example
from jobs.doings import whole
from jobs.journal import Checked
from jobs.reserve import reserved_among, reserved_in, slot_of
from jobs.show import name_of
from jobs.stops import stops_of, undealt
from jobs.summary import ORDERS
from schemas.errors import SaybackError, WrongUse
from schemas.job import Instrument
from schemas.questions import Question
from schemas.units import show_unit

__all__ = ["INSTRUMENTS", "MOST_INSTRUMENTS", "routes", "technician_page"]


_TOLD = ("outside", "conflicting", "caution", "look again")
"""Verdicts of the findings that a job's page tells before its sheet."""


INSTRUMENTS = get_args(Instrument.model_fields["kind"].annotation)
MOST_INSTRUMENTS = 10
_MOST_JOBS = 200
"""As many jobs stand on a technician's page; how many more there are is told below them."""

_SENT = (("Sent back by the office", True), ("Not sent back, and only theirs to settle", False))


def _opened(request: Request) -> Opened:
    try:
        return office_of(request).desk.open(request.path_params["number"])
    except WrongUse as error:
        raise HTTPException(404, str(error)) from error


def jobs(request: Request) -> Response:
    """The list of jobs."""
    office, asked = office_of(request), request.query_params
    words, wanted, down = asked.get("q", "")[:200], asked.get("sort", "opened"), asked.get("way", "down") != "up"
    sort = next((one for one in ORDERS if one == wanted), None)
    if sort is None:
        raise HTTPException(400, f"The list cannot be sorted by {wanted!r}; use one of {', '.join(ORDERS)}.")
    number = int(asked["page"]) if asked.get("page", "").isdecimal() and len(asked["page"]) < 8 else 1

    def make() -> dict[str, Any]:
        found = office.desk.summaries.page(words, sort, down=down, number=number)
        return {"page": found, "words": words, "sort": sort, "down": down, "note": asked.get("note", "")}

    summaries = office.desk.summaries
    key = (summaries.version, summaries.behind, words, sort, down, number, asked.get("note", "")[:20])
    return page(request, "jobs.html", make, key=key, title=f"Jobs{f' with {words}' if words else ''}")


def job(request: Request) -> Response:
    """One job: what stops the work, questions, the sheet, what else there is."""
    office, opened = office_of(request), _opened(request)
    given = office.reader.waiting(opened.job.number)

    def make() -> dict[str, Any]:
        asking = who(request).person
        mine = opened.questions if asking.role == "technician" else opened.desk_questions
        return {
            "o": opened,
            "job": opened.job,
            "at": view.address(opened),
            "visit": view.visit_words(opened),
            "sheet": [(whose, list(made)) for whose, made in groupby(view.sections(opened), lambda s: s.appliance)],
            "mine": [(one, view.address(opened, "question", one.id)) for one in mine],
            "sent": [one for one in opened.waiting if one.seq is not None],
            "unsent": [one for one in opened.waiting if one.seq is None],
            "stops": stops_of(opened.job, opened.stops),
            "findings": [one for one in opened.findings if one.verdict in _TOLD],
            "given": given,
            "unread": opened.job.unread,
            "busy": office.reader.busy,
            "again": view.since_closing(opened),
        }

    key = (opened.job.hash, tuple((one.folder.name, one.refused) for one in given), office.reader.busy and bool(given))
    return _page(request, "job.html", make, opened, key, opened.job.head.site)


def _page(
    request: Request, name: str, make: Any, opened: Opened, key: tuple[object, ...], title: str, status: int = 200
) -> Response:
    job = opened.job
    return page(
        request, name, make, key=key, title=f"{title}, job {job.number}", number=job.number, position=job.position,
        status=status,
    )  # fmt: skip


def question(request: Request) -> Response:
    """One question with its evidence and the likeliest answers."""
    opened = _opened(request)
    try:
        asked = opened.question(request.path_params["question"])
    except WrongUse as error:
        raise HTTPException(410, str(error)) from error

    def make() -> dict[str, Any]:
        asking = who(request).person
        reserved = () if asking.role == "technician" else reserved_in(asked, opened.sheet)
        order = _order(opened, asking.role)
        place = order.index(asked.id) + 1 if asked.id in order else 0
        rows = [opened.job.rows[key] for key in asked.readings]
        return {
            "o": opened,
            "job": opened.job,
            "at": view.address(opened),
            "here": view.address(opened, "question", asked.id),
            "question": asked,
            "places": view.ask(asked, opened),
            "turn": opened.sheet.screws[0].name if view.turn_of(rows[0].reading, opened.sheet) else "",
            "example": example(asked, opened.sheet),
            "choices": view.choices(asked, opened),
            "reserved": reserved,
            "waiting": opened.waits.get(asked.id),
            "place": place,
            "count": len(order),
            "rows": [(row, view.value_words(row.reading, opened), name_of(row.reading, opened.sheet)) for row in rows],
            "edit": view.address(opened, "reading", asked.readings[0]),
            "next": f"/next?job={quote(opened.job.number)}&question={quote(asked.id)}",
        }

    return _page(request, "question.html", make, opened, (opened.job.hash, asked.id), "Question")


def _order(opened: Opened, role: str) -> list[str]:
    return [one.id for one in (opened.questions if role == "technician" else opened.desk_questions)]


def next_question(request: Request) -> Response:
    """Go to the next open question in any job."""
    office, asked = office_of(request), request.query_params
    role = who(request).person.role
    there = next_place(office, asked.get("job", ""), asked.get("question", ""), role)
    return RedirectResponse(there or "/?note=none", 303)


def next_place(office: Office, number: str, after: str, role: str) -> str | None:
    """Return the address of the next question behind one of a job, in that job first; None if there is none."""
    if number:
        try:
            opened = office.desk.open(number)
        except SaybackError:
            number = ""
        else:
            order = _order(opened, role) if opened.job.closed is None else []
            rest = order[order.index(after) + 1 :] if after in order else order
            if rest:
                return view.address(opened, "question", rest[0])
    tried: set[str] = set()
    while (found := office.desk.summaries.with_questions(number, reserved=role == "technician")) not in (None, *tried):
        assert found is not None
        tried.add(found)
        opened = office.desk.open(found)
        order = _order(opened, role)
        # Round and back in the job where it began: its first questions, not the one that is being left.
        if order and not (found == number and order[0] == after):
            return view.address(opened, "question", order[0])
        if not order:
            office.desk.summaries.refresh(found)
        number = found
    return None


def reading(request: Request) -> Response:
    """One reading: all that happened to it, where it came from, and a form to change it."""
    opened = _opened(request)
    row = opened.job.rows.get(request.path_params["reading"])
    gone = next((one for one in opened.job.gone if one.reading.id == request.path_params["reading"]), None)
    shown = row or gone
    if shown is None:
        raise HTTPException(404, f"Job {opened.job.number} has no such reading; it is no longer found in the evidence.")

    def make() -> dict[str, Any]:
        one = shown.reading
        technician = who(request).person.role == "technician"
        units = dict.fromkeys(unit for quantity in opened.sheet.quantities for unit in quantity.units)
        asked = next((q for q in opened.questions if one.id in q.readings), None)
        mine = {step.seq for step in shown.history}
        return {
            "o": opened,
            "job": opened.job,
            "at": view.address(opened),
            "here": view.address(opened, "reading", one.id),
            "row": shown,
            "one": one,
            "stands": row is not None,
            "name": name_of(one, opened.sheet),
            "value": view.value_words(one, opened),
            "out": view.out_words(shown),
            "settled": view.settled_words(shown, opened),
            "verdict": opened.verdicts.get(one.id, ""),
            "findings": [f for f in opened.found if one.id in f.readings],
            "where": view.where(one.id, one.source, opened),
            "belongs": view.address(opened, "where", one.source.evidence),
            "steps": view.steps(shown, opened),
            "reserved": () if technician else reserved_among([one.quantity], opened.sheet),
            "turn": view.turn_of(one, opened.sheet),
            "units": [(unit, show_unit(unit)) for unit in units],
            "question": view.address(opened, "question", asked.id) if asked else "",
            "undo": sorted(mine & takes_back(who(request).person, opened, office_of(request).accounts)),
        }

    key = (opened.job.hash, shown.reading.id, who(request).person.name)
    return _page(request, "reading.html", make, opened, key, "Reading")


def slot(request: Request) -> Response:
    """An empty place of the sheet: say that it does not apply, or send it back."""
    opened, asked = _opened(request), request.query_params
    wanted = (asked.get("appliance") or None, asked.get("quantity", ""), asked.get("condition", ""))
    found = next((one for one in opened.missing if slot_of(one) == wanted), None)
    if found is None:
        raise HTTPException(410, "That place is not empty any more, or the sheet does not ask for it.")

    def make() -> dict[str, Any]:
        asking = who(request).person
        return {
            "job": opened.job,
            "at": view.address(opened),
            "finding": found,
            "slot": wanted,
            "begun": view.begun(wanted, opened),
            "waiting": next((one for one in opened.waiting if one.slot == wanted), None),
            "reserved": () if asking.role == "technician" else reserved_among([wanted[1]], opened.sheet),
        }

    return _page(request, "slot.html", make, opened, (opened.job.hash, wanted), "Not recorded")


def transcript(request: Request) -> Response:
    """What was said and typed, with the readings marked in it."""
    opened = _opened(request)

    def make() -> dict[str, Any]:
        return {"job": opened.job, "at": view.address(opened), "files": view.transcript(opened)}

    return _page(request, "transcript.html", make, opened, (opened.job.hash,), "Transcript")


def belongs(request: Request) -> Response:
    """Where a piece of evidence belongs: under which appliance, in which job."""
    office, opened = office_of(request), _opened(request)
    filed = next((one for one in opened.job.filed if one.sha256 == request.path_params["sha256"]), None)
    if filed is None:
        there = opened.job.away.get(request.path_params["sha256"], "")
        told = f"It was moved to job {there}." if there else "There is no such evidence in this job."
        raise HTTPException(404, told)
    # What a picture shows of a value that was said too stands under the spoken one, and goes with the picture.
    under = {one.under for one in opened.job.agreements}

    def make() -> dict[str, Any]:
        every = (*opened.job.rows.values(), *(one for one in opened.job.gone if one.reading.id in under))
        mine = [row.reading for row in every if row.reading.source.evidence == filed.sha256]
        return {
            "job": opened.job,
            "at": view.address(opened),
            "here": view.address(opened, "where", filed.sha256),
            "filed": filed,
            "time": view.moment(filed, 0.0),
            "rows": [(whole(one, opened.job, opened.sheet), view.address(opened, "reading", one.id)) for one in mine],
            "others": [one for one in office.desk.summaries.page().jobs if one.number != opened.job.number],
        }

    key = (opened.job.hash, filed.sha256, office.desk.summaries.version)
    return _page(request, "where.html", make, opened, key, "Where it belongs")


def photos(request: Request) -> Response:
    """The photos with the boxes that were read."""
    opened = _opened(request)

    def make() -> dict[str, Any]:
        return {"job": opened.job, "at": view.address(opened), "photos": view.photos(opened)}

    return _page(request, "photos.html", make, opened, (opened.job.hash,), "Photos")


def history(request: Request) -> Response:
    """What people did with a job, newest first."""
    opened = _opened(request)

    def make() -> dict[str, Any]:
        can = takes_back(who(request).person, opened, office_of(request).accounts)
        return {"job": opened.job, "at": view.address(opened), "doings": list(view.doings(opened, can=can))}

    return _page(request, "history.html", make, opened, (opened.job.hash, who(request).person.name), "History")


def head(request: Request) -> Response:
    """Site, customer and instruments, to be put right."""
    opened = _opened(request)

    def make() -> dict[str, Any]:
        return {
            "job": opened.job,
            "at": view.address(opened),
            "kinds": INSTRUMENTS,
            "instruments": [*opened.job.head.instruments, None][:MOST_INSTRUMENTS],
        }

    return _page(request, "head.html", make, opened, (opened.job.hash,), "Site and instruments")


def closing(request: Request) -> Response:
    """Close a job, or open it again."""
    opened = _opened(request)

    def make() -> dict[str, Any]:
        return {
            "job": opened.job,
            "at": view.address(opened),
            "open": len(opened.questions) + len(opened.missing) + len(opened.job.unread),
            "unread": opened.job.unread,
            "questions": len(opened.questions),
            "missing": len(opened.missing),
            "stops": undealt(opened.job, opened.stops),
            "signed": [(one, list(view.doings(opened, after=one.seq))) for one in opened.job.signed],
            "person": who(request).person,
        }

    key = (opened.job.hash, who(request).person.name)
    return _page(request, "close.html", make, opened, key, "Close and sign")


def state(request: Request) -> Response:
    """Where a job stands, as data: for the page that waits for what others do and for what is being read."""
    office, opened = office_of(request), _opened(request)
    last = next(iter(view.doings(opened)), None)
    given = office.reader.waiting(opened.job.number)
    return JSONResponse(
        {
            # That findings were kept is news to nobody: whoever looks has them.
            "position": max(one.seq for one in opened.entries if not isinstance(one.body, Checked)),
            "hash": opened.job.hash,
            "last": f"{last['by']} {last['what']}" if last else "",
            "questions": [one.id for one in opened.questions],
            "uploads": [_upload(one) for one in given],
            "unread": [
                {"name": one.evidence.name, "done": one.utterances[-1].end if one.utterances else 0, "of": one.seconds}
                for one in opened.job.unread
            ],
            "busy": office.reader.busy,
        }
    )


def _upload(one: Incoming) -> dict[str, str]:
    return {"id": one.folder.name, "name": one.name, "refused": one.refused}


def technicians(request: Request) -> Response:
    """For whom something waits."""
    office = office_of(request)

    def make() -> dict[str, Any]:
        return {"technicians": office.desk.summaries.technicians()}

    return page(request, "technicians.html", make, key=(office.desk.summaries.version,), title="For the technicians")


def technician(request: Request) -> Response:
    """All that waits for one technician, to print or to answer."""
    return technician_page(request, request.query_params.get("name", ""))


def technician_page(request: Request, name: str) -> Response:
    """Return the list of one technician, job by job; no job is opened that has nothing for them."""
    office = office_of(request)

    def make() -> dict[str, Any]:
        found = []
        numbers = office.desk.summaries.of_technician(name)
        for number in numbers[:_MOST_JOBS]:
            opened = office.desk.open(number)
            if opened.waiting:
                rows = [(one, _waits_at(one, opened)) for one in opened.waiting]
                parts = [(title, [row for row in rows if bool(row[0].by) == sent]) for title, sent in _SENT]
                found.append((opened.job, view.address(opened), view.visit_words(opened), parts))
        return {"name": name, "jobs": found, "more": max(0, len(numbers) - _MOST_JOBS)}

    return page(
        request, "technician.html", make, key=(office.desk.summaries.version, name), title=f"For {name or 'nobody'}"
    )


def _waits_at(one: Any, opened: Opened) -> dict[str, str]:
    if one.question is None:
        there = view.slot_address(opened, one.slot) if one.slot else ""
        return {"address": there, "heard": "", "source": "nothing recorded"}
    places = view.ask(one.question, opened)
    return {
        "address": view.address(opened, "question", one.question.id),
        "heard": places[0][1].heard if places else "",
        "source": f"{places[0][1].label}, {places[0][1].time}" if places else "",
    }


def keys(request: Request) -> Response:
    """The keys, all of them."""
    return page(request, "keys.html", dict, key=(), title="Keys")


def me(request: Request) -> Response:
    """Who sits here."""
    return page(request, "me.html", lambda: {"person": who(request).person}, title="Who is here")


def question_then(opened: Opened, name: str) -> Question | None:
    """Return a question as it was open once; None if it was not."""
    return next((one for one in opened.questions if one.id == name), None)


routes = [
    Route("/", jobs),
    Route("/next", next_question),
    Route("/keys", keys),
    Route("/me", me),
    Route("/technicians", technicians),
    Route("/technician", technician),
    Route("/job/{number}", job),
    Route("/job/{number}/question/{question}", question),
    Route("/job/{number}/reading/{reading}", reading),
    Route("/job/{number}/slot", slot),
    Route("/job/{number}/where/{sha256}", belongs),
    Route("/job/{number}/transcript", transcript),
    Route("/job/{number}/photos", photos),
    Route("/job/{number}/history", history),
    Route("/job/{number}/close", closing),
    Route("/job/{number}/head", head),
    Route("/job/{number}/state", state),
]
