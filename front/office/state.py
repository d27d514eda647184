"""What the running office holds, and how a page of it is written."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

import jinja2
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from front.office.desk import Desk
from front.office.exports import Exports
from front.office.guard import who
from front.office.people import Accounts, Gate, Person
from front.office.reader import Reader
from front.office.rights import why_not
from front.office.view import decided
from jobs.journal import TOOL
from jobs.show import signed, verdict_words
from schemas.errors import SaybackError

__all__ = ["Office", "done", "office_of", "page"]

_TOKEN = "\x00form-token\x00"
"""Stands in a kept page where the form token of whoever asks goes; no text of a job can hold a zero byte."""
_KEPT = 256


@dataclass
class Office:
    """The store's desk, the people, the reader of uploads; ``default`` is who sits here when nobody logs in."""

    desk: Desk
    accounts: Accounts
    reader: Reader
    exports: Exports
    default: Person | None
    gate: Gate = field(default_factory=Gate)
    pages: jinja2.Environment = field(init=False)
    _kept: OrderedDict[tuple[object, ...], str] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.pages = jinja2.Environment(
            loader=jinja2.PackageLoader("front.office", "pages"),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            auto_reload=False,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.pages.globals["token"] = _TOKEN
        self.pages.filters["signed"] = signed
        self.pages.filters["words"] = verdict_words

    def warm(self) -> None:
        """Compile the templates, so that nobody waits for it at the first page of a kind."""
        for name in self.pages.list_templates():
            self.pages.get_template(name)

    def kept(self, key: tuple[object, ...], make: Callable[[], str]) -> str:
        """Return what ``make`` makes, from memory if it was made for the same key before."""
        with self._lock:
            found = self._kept.get(key)
        if found is None:
            found = make()
            with self._lock:
                self._kept[key] = found
                while len(self._kept) > _KEPT:
                    self._kept.popitem(last=False)
        return found


def office_of(request: Request) -> Office:
    """Return the office that a request is for."""
    found: Office = request.app.state.office
    return found


def page(
    request: Request,
    name: str,
    make: Callable[[], dict[str, Any]],
    *,
    key: tuple[object, ...] | None = None,
    title: str,
    number: str = "",
    position: int = 0,
    status: int = 200,
) -> Response:
    """Return a page. With ``key`` its middle is kept and used again for the same key and role."""
    office, asking = office_of(request), who(request)

    def middle() -> str:
        return office.pages.get_template(name).render(role=asking.person.role, **make())

    main = office.kept((name, asking.person.role, *key), middle) if key is not None else middle()
    frame = office.pages.get_template("frame.html")
    html = frame.render(
        main=Markup(main),
        title=title,
        person=asking.person,
        number=number,
        position=position,
        flash=_flash(request),
        accounts=office.default is None,
    )
    return HTMLResponse(html.replace(_TOKEN, asking.token), status)


def _flash(request: Request) -> dict[str, Any] | None:
    """Return what was just done, as the address says it: ``?done=JOB.SEQ``; it is read from the journal."""
    office = office_of(request)
    number, _, seq = request.query_params.get("done", "").rpartition(".")
    if not number or not seq.isdecimal():
        return None
    try:
        opened = office.desk.open(number)
    except SaybackError:
        return None
    entry = next((one for one in opened.entries if one.seq == int(seq)), None)
    if entry is None or entry.author == TOOL:
        return None
    stands = any(one.seq == entry.seq for one in opened.by_people)
    can = stands and not why_not(entry, who(request).person, opened, office.accounts.of_office)
    told = decided(entry, opened)
    return {"number": number, "seq": entry.seq, "text": f"{entry.author} {told}", "undo": can} if told else None


def done(request: Request, path: str, **said: str) -> Response:
    """Return the answer to a form: where to go on."""
    there = f"{path}{'&' if '?' in path else '?'}{urlencode(said)}" if said else path
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"go": there}, headers={"x-go": there})
    return RedirectResponse(there, 303)
