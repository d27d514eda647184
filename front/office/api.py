"""The same as data, for programs: jobs, one job, its questions, and answering them. Described at /api/openapi.json."""

from __future__ import annotations

import hmac
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from front.office.guard import must, who
from front.office.state import office_of
from front.show import as_data
from front.typed import typed_answer
from jobs import decisions
from jobs.reserve import reserved_among, reserved_in
from jobs.summary import ORDERS, PAGE
from schemas.base import Model
from schemas.errors import WrongUse
from schemas.questions import Candidate

__all__ = ["Given", "description", "routes"]

_MOST = 1 << 16
Text = Annotated[str, StringConstraints(max_length=300)]


class Given(Model):
    """An answer: the number of one of the likely ones, a typed value, or that nobody can tell."""

    question: Text
    seen_at: int = Field(ge=0, le=1 << 31)
    choose: int | None = Field(default=None, ge=1, le=20)
    typed: Text | None = None
    cannot_tell: bool = False
    sure: bool = False


def jobs(request: Request) -> Response:
    """One page of the list."""
    asked = request.query_params
    sort = next((one for one in ORDERS if one == asked.get("sort", "opened")), None)
    way, number = asked.get("way", "down"), asked.get("page", "1")
    if sort is None or way not in ("up", "down") or not _is_count(number):
        raise HTTPException(422, f"sort is one of {', '.join(ORDERS)}, way is up or down, page counts from 1.")
    summaries = office_of(request).desk.summaries
    found = summaries.page(asked.get("q", "")[:200], sort, down=way == "down", number=int(number))
    return JSONResponse(
        {
            "total": found.total,
            "page": found.number,
            "pages": found.pages,
            "jobs": [{**vars(one), "open": one.open} for one in found.jobs],
        }
    )


def _is_count(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 8 and int(text) >= 1


def job(request: Request) -> Response:
    """One job: head, readings, questions, findings."""
    try:
        opened = office_of(request).desk.open(request.path_params["number"])
    except WrongUse as error:
        raise HTTPException(404, str(error)) from error
    data = as_data(opened.job, opened.sheet, opened.findings)
    return JSONResponse(
        {
            **data,
            "job": opened.job.head.model_dump(mode="json"),
            "questions": [one.model_dump(mode="json") for one in opened.questions],
            "reserved": [one.id for one in opened.questions if one.id in opened.waits],
            "findings": [one.model_dump(mode="json") for one in opened.findings],
        }
    )


async def answer(request: Request) -> Response:
    """Answer a question. A program carries the token of its session in the header X-Form-Token."""
    must(request, "clerk", "technician")
    if not hmac.compare_digest(request.headers.get("x-form-token", "").encode(), who(request).token.encode()):
        raise HTTPException(403, "The header X-Form-Token must carry the token that GET /api/session gives.")
    body = await request.body()
    if len(body) > _MOST:
        raise HTTPException(413, f"An answer has at most {_MOST} bytes.")
    try:
        given = Given.model_validate_json(body)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the body"
        raise HTTPException(422, f"{where}: {first['msg']}.") from error
    return await run_in_threadpool(_answered, request, given)


def _answered(request: Request, given: Given) -> Response:
    office, person, number = office_of(request), who(request).person, request.path_params["number"]
    office.accounts.note(person)
    try:
        opened = office.desk.open(number)
    except WrongUse as error:
        raise HTTPException(404, str(error)) from error
    if opened.job.closed is not None:
        raise WrongUse(f"Job {number} is closed; open it again first, with a reason.")
    asked = opened.question(given.question)
    if sum((given.choose is not None, given.typed is not None, given.cannot_tell)) != 1:
        raise HTTPException(422, "Give one of choose, typed and cannot_tell.")
    how: Literal["chosen", "typed", "cannot tell"] = "cannot tell"
    settled: tuple[Candidate, ...] = ()
    if given.choose is not None:
        if given.choose > len(asked.candidates):
            raise HTTPException(422, f"There is no answer {given.choose}; there are {len(asked.candidates)}.")
        how, settled = "chosen", decisions.settled_by(asked, asked.candidates[given.choose - 1])
    elif given.typed is not None:
        how, settled = "typed", decisions.settled_by(asked, typed_answer(asked, given.typed, opened.sheet))
    names = reserved_in(asked, opened.sheet) or reserved_among([one.quantity for one in settled], opened.sheet)
    if names and person.role != "technician":
        raise HTTPException(403, f"{', '.join(names)} can only be settled by the technician; send it back.")
    decisions.answer(
        office.desk.store,
        number,
        asked,
        asked_at=given.seen_at,
        by=person.name,
        how=how,
        settled=settled,
        sure=given.sure,
    )
    after = office.desk.changed(number)
    return JSONResponse({"position": after.job.position, "questions": [one.id for one in after.questions]})


def session(request: Request) -> Response:
    """Who asks, and the token that an answer must carry."""
    asking = who(request)
    return JSONResponse({"name": asking.person.name, "role": asking.person.role, "token": asking.token})


def described(request: Request) -> Response:
    """The description of all this."""
    return JSONResponse(description())


def description() -> dict[str, Any]:
    """Return the OpenAPI 3.1 description of the interface for programs."""
    error = _json({"type": "object", "required": ["error"], "properties": {"error": {"type": "string"}}}, "why not")
    number = {"name": "number", "in": "path", "required": True, "schema": {"type": "string"}}
    whole = {"type": "integer"}
    listed = {
        "type": "object",
        "required": ["total", "page", "pages", "jobs"],
        "properties": {
            **dict.fromkeys(("total", "page", "pages"), whole),
            "jobs": {"type": "array", "maxItems": PAGE, "items": {"type": "object", "required": ["number", "open"]}},
        },
    }
    opened = {"type": "object", "required": ["job", "journal", "readings", "questions", "reserved", "findings"]}
    after = {"type": "object", "required": ["position", "questions"], "properties": {"position": whole}}
    asking = {"type": "object", "required": ["name", "role", "token"]}
    query = [
        {"name": "q", "in": "query", "schema": {"type": "string"}},
        {"name": "sort", "in": "query", "schema": {"enum": list(ORDERS)}},
        {"name": "way", "in": "query", "schema": {"enum": ["up", "down"]}},
        {"name": "page", "in": "query", "schema": {"type": "integer", "minimum": 1, "maximum": 9_999_999}},
    ]
    token = {"name": "x-form-token", "in": "header", "required": True, "schema": {"type": "string"}}
    schema = Given.model_json_schema()
    refused = {str(status): error for status in (400, 401, 403, 404, 409, 411, 413, 422, 503)}
    return {
        "openapi": "3.1.0",
        "info": {"title": "sayback office", "version": "1"},
        "paths": {
            "/api/session": {"get": {"responses": {"200": _json(asking, "who asks"), "401": error}}},
            "/api/jobs": {"get": {"parameters": query, "responses": {"200": _json(listed, "a page"), **refused}}},
            "/api/jobs/{number}": {
                "get": {"parameters": [number], "responses": {"200": _json(opened, "a job"), **refused}}
            },
            "/api/jobs/{number}/answers": {
                "post": {
                    "parameters": [number, token],
                    "requestBody": {"required": True, "content": {"application/json": {"schema": schema}}},
                    "responses": {"200": _json(after, "what is open after it"), **refused},
                }
            },
        },
    }  # fmt: skip


def _json(schema: dict[str, Any], told: str) -> dict[str, Any]:
    return {"description": told, "content": {"application/json": {"schema": schema}}}


routes = [
    Route("/api/openapi.json", described),
    Route("/api/session", session),
    Route("/api/jobs", jobs),
    Route("/api/jobs/{number}", job),
    Route("/api/jobs/{number}/answers", answer, methods=["POST"]),
]
