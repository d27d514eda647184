"""The language file: how people say numbers, doubts, corrections. Read once.

It holds the vocabulary. Function words that a rule turns on by themselves ("the", "no", "was") still stand beside their
rule in extract/: another language needs those rules looked at as well.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Any, NamedTuple

from schemas.units import units

__all__ = ["Language", "language"]


class Language(NamedTuple):
    """The tables of one ``schemas/language/*.toml``, ready for look-up."""

    digits: dict[str, int]
    teens: dict[str, int]
    tens: dict[str, int]
    plural_tens: dict[str, int]
    hundred: frozenset[str]
    thousand: frozenset[str]
    scales: dict[str, tuple[int, str]]
    """Words behind a number that count in powers of ten, with the unit that they are of (MBH), if any."""
    dozens: frozenset[str]
    points: frozenset[str]
    doubles: dict[str, int]
    fractions: dict[str, int]
    minus: frozenset[str]
    plus: frozenset[str]
    below_zero: dict[str, tuple[tuple[str, ...], ...]]
    """Phrases by their first word."""
    nothing: frozenset[str]
    sound_alikes: dict[str, str]
    small_words: frozenset[str]
    like_digits: frozenset[str]
    fillers: frozenset[str]
    months: dict[str, int]
    ordinals: dict[str, int]
    cues: dict[str, tuple[str, ...]]
    plain: frozenset[str]
    aside: frozenset[str]
    motion: frozenset[str]
    turned: frozenset[str]
    since: frozenset[str]
    hearsay: frozenset[str]
    denials: frozenset[str]
    supposed: frozenset[str]
    carried_out: frozenset[str]
    one_after: frozenset[str]
    one_before: frozenset[str]
    degrees: tuple[str, ...]
    ordinals_of_things: dict[str, str]
    units: dict[str, tuple[str, ...]]
    unit_starts: frozenset[str]
    """Words that a unit may begin with, but no small ones."""
    places: frozenset[str]
    others: frozenset[str]
    documents: frozenset[str]
    pages: frozenset[str]
    name_links: frozenset[str]
    name_passed: frozenset[str]
    name_trailing: frozenset[str]
    years: dict[str, frozenset[str]]
    """Phrases beside years, by where they stand (:mod:`extract.years`)."""
    starts: frozenset[str]
    """Words and signs that a number may begin with."""


@cache
def language(code: str = "en") -> Language:
    """Return the tables of a shipped language file."""
    raw: dict[str, Any] = tomllib.loads(files("schemas").joinpath("language", f"{code}.toml").read_text("utf-8"))
    n, t = raw["numbers"], raw["times"]
    beginnings = (
        "digits",
        "teens",
        "tens",
        "plural_tens",
        "hundred",
        "thousand",
        "points",
        "doubles",
        "fractions",
        "dozens",
    )
    starts = {w for name in (*beginnings, "minus", "plus", "nothing", "sound_alikes") for w in n[name]}
    return Language(
        digits=n["digits"],
        teens=n["teens"],
        tens=n["tens"],
        plural_tens=n["plural_tens"],
        hundred=frozenset(n["hundred"]),
        thousand=frozenset(n["thousand"]),
        scales={word: (power, unit) for word, (power, unit) in n["scales"].items()},
        dozens=frozenset(n["dozens"]),
        points=frozenset(n["points"]),
        doubles=n["doubles"],
        fractions=n["fractions"],
        minus=frozenset(n["minus"]),
        plus=frozenset(n["plus"]),
        below_zero=_by_first(n["below_zero"]),
        nothing=frozenset(n["nothing"]),
        sound_alikes=n["sound_alikes"],
        small_words=frozenset(n["small_words"]),
        like_digits=frozenset(n["like_digits"]),
        fillers=frozenset(n["fillers"]),
        months=t["months"],
        ordinals=t["ordinals"],
        cues={name: tuple(phrases) for name, phrases in raw["cues"].items()} | {"undo": _undo(raw["undo"])},
        plain=frozenset((*raw["words"]["plain"], *raw["words"]["more"])),
        aside=frozenset(raw["words"]["aside"]),
        motion=frozenset(raw["words"]["motion"]),
        turned=frozenset(raw["words"]["turned"]),
        since=frozenset(raw["words"]["since"]),
        hearsay=frozenset(raw["words"]["hearsay"]),
        denials=frozenset(raw["words"]["denials"]),
        supposed=frozenset(raw["words"]["supposed"]),
        carried_out=frozenset(raw["words"]["carried_out"]),
        one_after=frozenset(raw["words"]["one_after"]),
        one_before=frozenset(raw["words"]["one_before"]),
        degrees=tuple(raw["words"]["degrees"]),
        ordinals_of_things=raw["words"]["ordinals_of_things"],
        units={code: tuple(said) for code, said in raw["units"].items()},
        unit_starts=frozenset(_unit_starts(raw["units"])),
        places=frozenset(raw["words"]["places"]),
        others=frozenset(raw["words"]["others"]),
        documents=frozenset(raw["words"]["documents"]),
        pages=frozenset(raw["words"]["pages"]),
        name_links=frozenset(raw["names"]["links"]),
        name_passed=frozenset(raw["names"]["passed"]),
        name_trailing=frozenset(raw["names"]["trailing"]),
        years={where: frozenset(phrases) for where, phrases in raw["years"].items()},
        starts=frozenset(starts | {"a", "an", "-", "+", "."}),
    )


def _by_first(phrases: list[str]) -> dict[str, tuple[tuple[str, ...], ...]]:
    words = [tuple(p.split()) for p in phrases]
    return {first: tuple(w for w in words if w[0] == first) for first, *_ in words}


def _unit_starts(more: dict[str, list[str]]) -> Iterator[str]:
    for phrase in (p for u in units().values() for p in (*u.said, *more.get(u.code, ()))):
        first = phrase.split()[0]
        if len(first) > 3:
            yield first


def _undo(parts: dict[str, list[str]]) -> tuple[str, ...]:
    """Every way to take something back: each verb with each object."""
    return (*(f"{verb} {what}" for verb in parts["verbs"] for what in parts["objects"]), *parts["whole"])
