"""The office as one application: routes, what stands before them, and how errors are told."""

from __future__ import annotations

import logging
import threading
import traceback
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from front.office import act, api, files, login, read
from front.office.desk import Desk
from front.office.exports import Exports
from front.office.guard import Guard, cookie_line, known_as
from front.office.people import Accounts, Person
from front.office.reader import Reader
from front.office.state import Office, page
from jobs.store import Store
from schemas.errors import ExitCode, SaybackError

__all__ = ["build"]

_log = logging.getLogger("sayback.office")
_STATUS = {ExitCode.WRONG_USE: 409, ExitCode.BAD_INPUT: 422, ExitCode.STORE_FAILED: 503}
_CATCH_UP_SECONDS = 1.0


def build(store: Store, default: Person | None, *, secure: bool = False) -> Starlette:
    """Return the application. ``default`` is who sits here on loopback; None where people log in.

    ``secure``: the browser speaks https, so its cookie is never sent in the clear.
    """
    desk, accounts, reader, exports = Desk(store), Accounts(store.home), Reader(store.home), Exports(store)
    ended = threading.Event()

    @asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        # A store of the usual size is up to date before the first page; a large one goes on beside it.
        await run_in_threadpool(desk.summaries.catch_up, 100)
        threading.Thread(target=app.state.office.warm, daemon=True).start()
        keeper = threading.Thread(target=_keep_up, args=(desk, ended), daemon=True)
        keeper.start()
        if reader.waiting():
            reader.poke()
        yield
        ended.set()
        keeper.join()
        reader.stop()
        for one in (exports, accounts, desk):
            one.close()

    app = Starlette(
        routes=[*read.routes, *act.routes, *files.routes, *login.routes, *api.routes],
        exception_handlers={SaybackError: _told, HTTPException: _refused, Exception: _fault},
        lifespan=life,
    )
    app.state.office = Office(desk, accounts, reader, exports, default)
    app.state.office.pages.globals["version"] = files.version()
    app.state.cookie = lambda value: cookie_line(value, secure=secure)
    app.state.known_as = lambda request, person: cookie_line(known_as(accounts, request, person), secure=secure)
    app.add_middleware(Guard, accounts=accounts, default=default, secure=secure)
    return app


def _keep_up(desk: Desk, ended: threading.Event) -> None:
    """Bring the list up to date with what other processes write, as long as the office is open."""
    behind = 1
    while not ended.wait(0.01 if behind else _CATCH_UP_SECONDS):
        try:
            behind = desk.summaries.catch_up(20)
        except SaybackError as error:
            _log.error("the list of jobs is behind: %s", error)
            behind = 0


def _told(request: Request, error: Exception) -> Response:
    assert isinstance(error, SaybackError)
    return _answer(request, str(error), _STATUS.get(error.exit_code, 500))


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    told = error.detail if error.detail != "Not Found" else "There is no such page here."
    return _answer(request, told, error.status_code, error.headers)


def _fault(request: Request, error: Exception) -> Response:
    _log.error("a fault of sayback's own at %s\n%s", request.url.path, "".join(traceback.format_exception(error)))
    return _answer(request, "A fault of sayback's own; what was kept is safe. Go back and try again.", 500)


def _answer(request: Request, told: str, status: int, headers: object = None) -> Response:
    """Return an error: one shape as JSON, a page for people."""
    kept = dict(headers) if isinstance(headers, dict) else None
    if "text/html" not in request.headers.get("accept", "") or not hasattr(request.state, "who"):
        return JSONResponse({"error": told}, status, headers=kept)
    number = str(request.path_params.get("number", ""))
    return page(
        request, "error.html", lambda: {"told": told, "number": number, "status": status}, title="Not so", status=status
    )
