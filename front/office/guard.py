"""What stands before every page: who asks, from where, with which form token, and what the browser may do with it."""

from __future__ import annotations

import base64
import hmac
import json
import secrets
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import FormData, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from front.office.people import ROLES, Accounts, Person, named
from schemas.errors import WrongUse

__all__ = ["CSP", "Guard", "Who", "checked", "cookie_line", "known_as", "must", "who"]

CSP = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": CSP,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    "x-frame-options": "DENY",
}
_COOKIE = "sayback_office"
_OPEN_PATHS = ("/login", "/office.css", "/office.js", "/office.svg")
_LOOPBACK = frozenset({"127.0.0.1", "localhost", "[::1]"})
_SAFE = frozenset({"GET", "HEAD"})


@dataclass(frozen=True)
class Who:
    """The person of a request, the session it belongs to, and the token that its forms carry."""

    person: Person
    session: str
    token: str


def who(request: Request) -> Who:
    """Return who asks; there is always somebody behind the guard."""
    found: Who = request.state.who
    return found


def must(request: Request, *roles: str) -> Person:
    """Return who asks, if they have one of the roles.

    Raises:
        HTTPException: 403 with the reason.
    """
    person = who(request).person
    if person.role not in roles:
        raise HTTPException(403, f"{person.name} is here as a {person.role}; this is for a {' or a '.join(roles)}.")
    return person


def checked(request: Request, form: FormData) -> FormData:
    """Return a posted form if its token is that of the session.

    Raises:
        HTTPException: 403 for a token that is not of this session.
    """
    given = form.get("token") or request.headers.get("x-form-token", "")
    if not isinstance(given, str) or not hmac.compare_digest(given.encode(), who(request).token.encode()):
        raise HTTPException(403, "This form is not of your session, or too old; load the page again and send it again.")
    return form


class Guard:
    """Middleware. ``default`` is who sits at this machine on loopback; None where everybody logs in."""

    def __init__(self, app: ASGIApp, accounts: Accounts, default: Person | None, *, secure: bool = False) -> None:
        self._app = app
        self._accounts = accounts
        self._default = default
        self._secure = secure

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        cookie = ""

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
                if cookie:
                    headers.append("set-cookie", cookie)
            await send(message)

        refused = self._refused(request)
        if refused:
            await Response(refused, 403, media_type="text/plain")(scope, receive, guarded)
            return
        found = self._open(request) if self._default else self._logged_in(request)
        if found is None:
            if request.method in _SAFE and "text/html" in request.headers.get("accept", ""):
                answer: Response = RedirectResponse("/login", 303)
            else:
                answer = Response("Log in first.", 401, media_type="text/plain")
            await answer(scope, receive, guarded)
            return
        request.state.who, fresh = found
        if fresh:
            cookie = cookie_line(fresh, secure=self._secure)
        await self._app(scope, receive, guarded)

    def _refused(self, request: Request) -> str:
        """Say why a request is not even looked at; empty where it is."""
        host = request.headers.get("host", "").rpartition(":")
        name = host[0] if host[1] and not host[2].endswith("]") else "".join(host)
        if self._default and name.lower() not in _LOOPBACK:
            return "This page answers on this machine only."
        if request.method not in _SAFE:
            origin = request.headers.get("origin")
            own = f"{request.url.scheme}://{request.headers.get('host', '')}"
            if origin is not None and origin != own:
                return "This was sent from another site."
            if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
                return "This was sent from another site."
        return ""

    def _open(self, request: Request) -> tuple[Who, str]:
        """Return who sits at this machine, as their cookie says, and a fresh cookie if they had none."""
        assert self._default is not None
        signed = self._accounts.unsign(request.cookies.get(_COOKIE, ""))
        said = _told(signed) if signed else None
        if said is not None:
            session, person = said
            return Who(person, session, self._accounts.form_token(session)), ""
        session = secrets.token_urlsafe(18)
        fresh = self._accounts.sign(_told_as(session, self._default))
        return Who(self._default, session, self._accounts.form_token(session)), fresh

    def _logged_in(self, request: Request) -> tuple[Who, str] | None:
        token = request.cookies.get(_COOKIE, "")
        person = self._accounts.whose(token) if token else None
        if person is not None:
            return Who(person, token, self._accounts.form_token(token)), ""
        if request.url.path in _OPEN_PATHS:
            # A session that is nobody's yet, so that the form for logging in has a token too.
            signed = self._accounts.unsign(token) or ""
            session = signed or f"before-{secrets.token_urlsafe(18)}"
            fresh = "" if signed else self._accounts.sign(session)
            return Who(Person("nobody", "reader"), session, self._accounts.form_token(session)), fresh
        return None


def cookie_line(value: str, *, secure: bool) -> str:
    """Return the Set-Cookie line of a session."""
    return f"{_COOKIE}={value}; Path=/; HttpOnly; SameSite=Strict{'; Secure' if secure else ''}"


def known_as(accounts: Accounts, request: Request, person: Person) -> str:
    """Return the cookie that makes an open session another person's."""
    return accounts.sign(_told_as(who(request).session, person))


def _told_as(session: str, person: Person) -> str:
    data = json.dumps([session, person.name, person.role]).encode()
    return base64.urlsafe_b64encode(data).decode()


def _told(text: str) -> tuple[str, Person] | None:
    try:
        data: Any = json.loads(base64.urlsafe_b64decode(text.encode()))
        session, name, role = data
        return (str(session), Person(named(name), role)) if role in ROLES else None
    except (ValueError, TypeError, WrongUse):
        return None
