"""``sayback office`` serves the page; ``sayback account`` says who may use it beyond this machine."""

from __future__ import annotations

import getpass
import ipaddress
import os
import socket
import sys
from pathlib import Path
from typing import Annotated

import typer

from front.options import Json
from front.screen import columns, note, out, print_json
from jobs.store import Store, home_folder
from schemas.errors import WrongUse

__all__ = ["put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(office)
    app.command()(account)


def office(
    port: Annotated[int, typer.Option(help="0 takes any that is free.", min=0, max=65535)] = 8765,
    host: Annotated[str, typer.Option(help="The address to answer on; not on loopback: accounts.")] = "127.0.0.1",
    by: Annotated[str | None, typer.Option("--by", help="Who sits here; else $SAYBACK_BY, else the user.")] = None,
    role: Annotated[str, typer.Option("--as", help="reader, clerk or technician; on loopback.")] = "clerk",
    cert: Annotated[Path | None, typer.Option(help="A TLS certificate (PEM), for https.")] = None,
    key: Annotated[Path | None, typer.Option(help="Its private key (PEM).")] = None,
    behind_proxy: Annotated[
        bool, typer.Option("--behind-proxy", help="Another program on this machine speaks https for it.")
    ] = False,
) -> None:
    """Serve the office's page: jobs, questions, evidence, exports. It ends with Ctrl-C."""
    import uvicorn

    from front.office.app import build
    from front.office.people import ROLES, Accounts, Person, named

    if role not in ROLES:
        raise WrongUse(f"--as {role!r} is not known; say one of {', '.join(ROLES)}.")
    secure = (cert is not None and key is not None) or behind_proxy
    with Store(home_folder()) as store:
        default: Person | None = None
        if _is_loopback(host) and not behind_proxy:
            name = named(by or os.environ.get("SAYBACK_BY") or getpass.getuser())
            default = Person(name, next(one for one in ROLES if one == role))
        else:
            accounts = Accounts(store.home)
            known = accounts.names()
            accounts.close()
            if not known:
                raise WrongUse(f"On {host} everybody needs an account; make one with sayback account NAME --as clerk.")
            if not secure:
                raise WrongUse(f"On {host} passwords would be in the clear; give --cert and --key, or --behind-proxy.")
        listening = _socket(host, port)
        scheme = "https" if cert else "http"
        shown = f"[{host}]" if ":" in host else host
        note(f"The office is open at {scheme}://{shown}:{listening.getsockname()[1]}/ (Ctrl-C closes it)")
        config = uvicorn.Config(
            build(store, default, secure=secure),
            log_level="warning",
            access_log=False,
            server_header=False,
            limit_concurrency=200,
            timeout_keep_alive=30,
            timeout_graceful_shutdown=5,
            ssl_certfile=cert,
            ssl_keyfile=key,
            proxy_headers=behind_proxy,
        )
        uvicorn.Server(config).run(sockets=[listening])


def account(
    name: Annotated[str | None, typer.Argument(help="Whose account; none lists them all.")] = None,
    role: Annotated[str, typer.Option("--as", help="reader, clerk or technician.")] = "clerk",
    remove: Annotated[bool, typer.Option("--remove", help="Take the account away.")] = False,
    json: Json = False,
) -> None:
    """Make, change or remove an account of the office's page; the password is asked for, or read from a pipe."""
    from front.office.people import ROLES, Accounts

    if role not in ROLES:
        raise WrongUse(f"--as {role!r} is not known; say one of {', '.join(ROLES)}.")
    home = home_folder()
    with Store(home):  # makes the folder as it should be
        accounts = Accounts(home)
        try:
            if name is None:
                known = accounts.names()
            elif remove:
                accounts.remove(name)
            else:
                accounts.put(name, next(one for one in ROLES if one == role), _password())
        finally:
            accounts.close()
    if name is not None:
        out().print(f"The account {name} is removed." if remove else f"{name} may now log in as a {role}.")
    elif json:
        print_json({"accounts": [vars(one) for one in known]})
    else:
        table = columns("name", "role")
        for one in known:
            table.add_row(one.name, one.role)
        out().print(table if known else "There are no accounts.")


def _password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    first = getpass.getpass("Password: ")
    if getpass.getpass("Once more: ") != first:
        raise WrongUse("The two passwords differ; nothing was changed.")
    return first


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _socket(host: str, port: int) -> socket.socket:
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        made = socket.socket(*found[:3])
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind(found[4])
        made.listen(100)  # whoever opens the address at once waits a moment instead of being refused
    except OSError as error:
        raise WrongUse(
            f"Nothing can be served on {host}, port {port} ({(error.strerror or str(error)).lower()}); another --port, "
            "such as 0, may be free."
        ) from error
    return made
