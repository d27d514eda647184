"""Who may take back what. The technician may take back all; the office never the technician's word."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from front.office.desk import Opened
from front.office.people import Accounts, Person
from jobs.journal import Answered, DoesNotApply, Edited, Entry, StopDealtWith
from jobs.reserve import reserved_among, reserved_in
from schemas.sheet import Sheet

__all__ = ["takes_back", "why_not"]


def takes_back(person: Person, opened: Opened, accounts: Accounts) -> frozenset[int]:
    """Return the numbers of the entries of a job that a person may take back."""
    if person.role == "reader":
        return frozenset()
    of_office = cache(accounts.of_office)
    return frozenset(one.seq for one in opened.by_people if not why_not(one, person, opened, of_office))


def why_not(entry: Entry, person: Person, opened: Opened, of_office: Callable[[str], bool]) -> str:
    """Return why a person may not take back an entry; empty where they may.

    Whoever is not the technician takes back what they said themselves, and what somebody else of the office said:
    never what was done about a stop, and never what the sheet reserves. An author of whom nobody knows that they are
    of the office (a second technician, whoever spoke at the command line) counts as a technician.
    """
    if person.role == "technician":
        return ""
    if isinstance(entry.body, StopDealtWith):
        return "What was done about a stop is the technician's word; only the technician takes it back."
    if names := _reserved(entry, opened.sheet):
        return f"{', '.join(names)} can only be settled by the technician; send it back."
    if entry.author == person.name:
        return ""
    if entry.author == opened.job.head.technician or not of_office(entry.author):
        return f"{entry.author} said so; ask them, or send it back."
    return ""


def _reserved(entry: Entry, sheet: Sheet) -> tuple[str, ...]:
    match entry.body:
        case Answered(question=question, answer=answer):
            return reserved_in(question, sheet) or reserved_among([one.quantity for one in answer.settled], sheet)
        case Edited(before=before, after=after):
            return reserved_among([before.quantity, after.quantity if after else None], sheet)
        case DoesNotApply(slot=slot):
            return reserved_among([slot.quantity], sheet)
        case _:
            return ()
