"""Who is at work: names and roles, sessions, the tokens of their forms, and accounts where the page is not on loopback.

On loopback nobody logs in: whoever sits at this machine says who they are. Beyond it, everybody has an account.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Literal, get_args

import sqlalchemy as sa
from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from jobs import disk
from jobs.store import engine_of
from schemas.errors import WrongUse

__all__ = ["ROLES", "Accounts", "Gate", "Person", "Role", "is_of_office", "named"]

Role = Literal["reader", "clerk", "technician"]
"""``reader`` changes nothing; ``clerk`` settles what is not reserved; ``technician`` settles everything."""

ROLES: tuple[Role, ...] = get_args(Role)

SESSION_SECONDS = 12 * 3600
IDLE_SECONDS = 2 * 3600
SHORTEST_PASSWORD = 12
_LONGEST_NAME = 60
_FILE = "accounts.sqlite"

_tables = sa.MetaData()
_accounts = sa.Table(
    "accounts",
    _tables,
    sa.Column("name", sa.String(_LONGEST_NAME), primary_key=True),
    sa.Column("role", sa.String(16), nullable=False),
    sa.Column("hash", sa.Text, nullable=False),
)
_sessions = sa.Table(
    "sessions",
    _tables,
    sa.Column("token", sa.String(64), primary_key=True),
    sa.Column("name", sa.String(_LONGEST_NAME), nullable=False),
    sa.Column("begun", sa.Float, nullable=False),
    sa.Column("seen", sa.Float, nullable=False),
)
_seen = sa.Table(
    "seen",
    _tables,
    sa.Column("name", sa.String(_LONGEST_NAME), primary_key=True),
    sa.Column("role", sa.String(16), primary_key=True),
)
"""In which roles somebody has ever decided something here: also where nobody has an account."""


@dataclass(frozen=True)
class Person:
    """Who sits at the browser."""

    name: str
    role: Role


def named(text: str) -> str:
    """Return a person's name as it is kept.

    Raises:
        WrongUse: it is empty, too long or holds what cannot be printed.
    """
    name = " ".join(text.split())
    if not name or len(name) > _LONGEST_NAME or not name.isprintable():
        raise WrongUse(f"A name has 1 to {_LONGEST_NAME} letters; give one that can be printed.")
    return name


class Gate:
    """Slows down guessing: after five wrong passwords for a name or from an address, each further try waits longer."""

    FREE = 5
    LONGEST = 900.0

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._wrong: dict[str, tuple[int, float]] = {}
        self._lock = threading.Lock()

    def wait(self, *keys: str) -> float:
        """Return the seconds until the next try may be made."""
        now = self._clock()
        with self._lock:
            return max((self._until(key) - now for key in keys), default=0.0)

    def wrong(self, *keys: str) -> None:
        """Note a wrong try."""
        now = self._clock()
        with self._lock:
            if len(self._wrong) > 10_000:
                self._wrong = {key: kept for key, kept in self._wrong.items() if now - kept[1] < self.LONGEST}
            for key in keys:
                self._wrong[key] = (self._wrong.get(key, (0, now))[0] + 1, now)

    def right(self, *keys: str) -> None:
        """Forget the wrong tries."""
        with self._lock:
            for key in keys:
                self._wrong.pop(key, None)

    def _until(self, key: str) -> float:
        times, last = self._wrong.get(key, (0, 0.0))
        return last + min(self.LONGEST, 2.0 ** (times - self.FREE + 3)) if times >= self.FREE else 0.0


class Accounts:
    """Accounts and sessions of one store, in a file of their own; passwords as argon2id hashes only."""

    def __init__(self, home: Path, clock: Callable[[], float] = time.time) -> None:
        self._clock = clock
        self._hasher = PasswordHasher()
        self._key = _key(home / "office.key")
        self._noted: set[Person] = set()
        path = home / _FILE
        self._engine = engine_of(path)
        with self._engine.begin() as connection:
            _tables.create_all(connection)
        path.chmod(0o600)

    @cached_property
    def _nobody(self) -> str:
        """Somebody unknown is checked against this, so that the time an answer takes does not tell names."""
        return self._hasher.hash(secrets.token_hex())

    def close(self) -> None:
        """Close the database."""
        self._engine.dispose()

    def names(self) -> tuple[Person, ...]:
        """Return all accounts."""
        with self._engine.connect() as connection:
            rows = connection.execute(sa.select(_accounts.c.name, _accounts.c.role).order_by(_accounts.c.name)).all()
        return tuple(Person(row.name, row.role) for row in rows)

    def note(self, person: Person) -> None:
        """Remember in which role somebody decides something."""
        if person in self._noted:
            return
        told = {"name": person.name, "role": person.role}
        known = sa.select(_seen).where(_seen.c.name == person.name, _seen.c.role == person.role)
        with self._engine.begin() as connection:
            if connection.execute(known).first() is None:
                connection.execute(sa.insert(_seen).prefix_with("OR IGNORE").values(**told))
        self._noted.add(person)

    def of_office(self, name: str) -> bool:
        """Say whether somebody is known here, and never as a technician."""
        with self._engine.connect() as connection:
            seen = connection.execute(sa.select(_seen.c.role).where(_seen.c.name == name)).scalars()
            has = connection.execute(sa.select(_accounts.c.role).where(_accounts.c.name == name)).scalars()
            roles = {*seen, *has}
        return bool(roles) and "technician" not in roles

    def put(self, name: str, role: Role, password: str) -> None:
        """Make an account or change it; sessions of the name end.

        Raises:
            WrongUse: the name or the password cannot be used.
        """
        name = named(name)
        if not SHORTEST_PASSWORD <= len(password) <= 1000:
            raise WrongUse(f"A password has at least {SHORTEST_PASSWORD} letters; choose a longer one.")
        hashed = self._hasher.hash(password)
        with self._engine.begin() as connection:
            connection.execute(sa.delete(_accounts).where(_accounts.c.name == name))
            connection.execute(sa.delete(_sessions).where(_sessions.c.name == name))
            connection.execute(sa.insert(_accounts).values(name=name, role=role, hash=hashed))

    def remove(self, name: str) -> None:
        """Take an account away; its sessions end.

        Raises:
            WrongUse: there is none of that name.
        """
        with self._engine.begin() as connection:
            connection.execute(sa.delete(_sessions).where(_sessions.c.name == name))
            if not connection.execute(sa.delete(_accounts).where(_accounts.c.name == name)).rowcount:
                raise WrongUse(f"There is no account {name!r}.")

    def begin(self, name: str, password: str) -> str | None:
        """Check a password and return the token of a new session; None if name or password is wrong."""
        with self._engine.connect() as connection:
            hashed = connection.execute(sa.select(_accounts.c.hash).where(_accounts.c.name == name)).scalar()
        try:
            self._hasher.verify(self._nobody if hashed is None else hashed, password)
        except (VerificationError, InvalidHashError):
            return None
        if hashed is None:
            return None
        token, now = secrets.token_urlsafe(32), self._clock()
        with self._engine.begin() as connection:
            connection.execute(sa.delete(_sessions).where(_sessions.c.begun < now - SESSION_SECONDS))
            connection.execute(sa.insert(_sessions).values(token=_sha(token), name=name, begun=now, seen=now))
        return token

    def end(self, token: str) -> None:
        """End a session."""
        with self._engine.begin() as connection:
            connection.execute(sa.delete(_sessions).where(_sessions.c.token == _sha(token)))

    def whose(self, token: str) -> Person | None:
        """Return whose session a token is; None if it is none, too old or unused for too long."""
        query = (
            sa.select(_accounts.c.name, _accounts.c.role, _sessions.c.begun, _sessions.c.seen)
            .join(_accounts, _accounts.c.name == _sessions.c.name)
            .where(_sessions.c.token == _sha(token))
        )
        now = self._clock()
        with self._engine.connect() as connection:
            row = connection.execute(query).first()
        if row is None or now - row.begun > SESSION_SECONDS or now - row.seen > IDLE_SECONDS:
            return None
        if now - row.seen > 60:
            with self._engine.begin() as connection:
                connection.execute(sa.update(_sessions).where(_sessions.c.token == _sha(token)).values(seen=now))
        return Person(row.name, row.role)

    def sign(self, text: str) -> str:
        """Return a text with the mark that only this store can make."""
        return f"{text}.{self._mark('said', text)}"

    def unsign(self, signed: str) -> str | None:
        """Return the text that was signed; None if the mark is not ours."""
        text, _, mark = signed.rpartition(".")
        return text if hmac.compare_digest(mark.encode(), self._mark("said", text).encode()) else None

    def form_token(self, session: str) -> str:
        """Return what a form of a session must carry."""
        return self._mark("form", session)

    def _mark(self, use: str, text: str) -> str:
        return hmac.new(self._key, f"{use}\0{text}".encode(), hashlib.sha256).hexdigest()


def is_of_office(home: Path, name: str) -> bool:
    """Say whether somebody is known at a store's page, and never as a technician; nothing is made to find out."""
    if not (home / _FILE).exists():
        return False
    accounts = Accounts(home)
    try:
        return accounts.of_office(name)
    finally:
        accounts.close()


def _sha(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _key(path: Path) -> bytes:
    """Return the store's own key, made on first use, readable for its owner only."""
    with disk.told_plainly(path):
        try:
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            key = path.read_bytes()
            if len(key) == 32:
                return key
            descriptor = os.open(path, os.O_WRONLY | os.O_TRUNC, 0o600)
        key = secrets.token_bytes(32)
        with os.fdopen(descriptor, "wb") as file:
            file.write(key)
            file.flush()
            os.fsync(file.fileno())
        return key
