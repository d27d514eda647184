"""Logging in and out, where the page is not on loopback only."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from front.office.guard import checked, who
from front.office.state import office_of, page

__all__ = ["routes"]


def shown(request: Request) -> Response:
    """The form."""
    if office_of(request).default is not None:
        return RedirectResponse("/", 303)
    return page(request, "login.html", lambda: {"told": ""}, title="Log in")


async def log_in(request: Request) -> Response:
    """Check name and password; too many wrong ones have to wait."""
    form = checked(request, await request.form(max_fields=10, max_files=0))
    return await run_in_threadpool(_checked, request, str(form.get("name", "")), str(form.get("password", "")))


def _checked(request: Request, name: str, password: str) -> Response:
    office = office_of(request)
    address = request.client.host if request.client else "?"
    keys = (f"name {name[:60]}", f"address {address}")
    if (seconds := office.gate.wait(*keys)) > 0:
        told = f"Too many wrong tries; wait {int(seconds) + 1} seconds."
        return page(request, "login.html", lambda: {"told": told}, title="Log in", status=429)
    token = office.accounts.begin(name, password[:1000])
    if token is None:
        office.gate.wrong(*keys)
        told = "Name or password is wrong."
        return page(request, "login.html", lambda: {"told": told}, title="Log in", status=401)
    office.gate.right(*keys)
    response = RedirectResponse("/", 303)
    response.headers.append("set-cookie", request.app.state.cookie(token))
    return response


async def log_out(request: Request) -> Response:
    """End the session, here and in the store."""
    checked(request, await request.form(max_fields=10, max_files=0))
    await run_in_threadpool(office_of(request).accounts.end, who(request).session)
    response = RedirectResponse("/login", 303)
    response.headers.append("set-cookie", request.app.state.cookie("") + "; Max-Age=0")
    return response


routes = [
    Route("/login", shown),
    Route("/login", log_in, methods=["POST"]),
    Route("/logout", log_out, methods=["POST"]),
]
