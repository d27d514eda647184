"""The labels that screens, slips and rating plates show: plain words of the trade and symbols, as data."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

from schemas.base import Model

__all__ = [
    "DisplayLabel",
    "Sense",
    "display_labels",
    "is_known_label",
    "label_key",
    "over_marks",
    "sense_words",
    "spelled_out",
    "without_sense",
]

Sense = Literal["average", "held", "single"]
"""What is said of a value: the instrument's own average, a highest, lowest or frozen one, or one single measurement."""


class DisplayLabel(Model):
    """One label: its words, and the units (UCUM) that such a value is shown in.

    ``units`` is None where any may stand, empty for a bare number. Beside a label that is ``named`` stands a name,
    never a bare number.
    """

    words: str
    units: tuple[str, ...] | None = None
    named: bool = False


@cache
def _raw() -> dict[str, Any]:
    return tomllib.loads(files("schemas").joinpath("language", "displays.toml").read_text("utf-8"))


def spelled_out(label: str) -> tuple[str, ...]:
    """Return what a shortened label may be looked up under: ``T flue`` gives ``temp flue`` and ``flue temp``."""
    words = [_raw()["short"].get(word, word) for word in label.casefold().split()]
    return tuple(dict.fromkeys((" ".join(words), " ".join(reversed(words)))))


@cache
def over_marks() -> frozenset[str]:
    """Return what displays show in place of a value that is beyond their range, in small letters."""
    return frozenset(_raw()["over"])


@cache
def sense_words(sense: Sense) -> frozenset[str]:
    """Return the words, in small letters, that say so of a value."""
    return frozenset(_raw()[sense])


def without_sense(label: str) -> tuple[str, Sense | None]:
    """Return a label without the word that says that its value is an average or held, and which of both it says.

    ``CO2 (avg)`` is ``CO2``; the label as it is, and None, where no word or not only one of them says so.
    """
    words = label.split()
    bare = [word.strip("()[].:").casefold() for word in words]
    senses: tuple[Sense, ...] = ("average", "held")
    told = [(at, sense) for at, word in enumerate(bare) for sense in senses if word in sense_words(sense)]
    if len(told) != 1 or len(words) < 2:
        return label, None
    at, sense = told[0]
    return " ".join(words[:at] + words[at + 1 :]), sense


@cache
def display_labels() -> Mapping[str, DisplayLabel]:
    """Return every label of ``language/displays.toml`` by its key, in the order of the file."""
    found: dict[str, DisplayLabel] = {}
    for row in _raw()["labels"]:
        for words in row["words"]:
            units = None if row.get("units") is None else tuple(row["units"])
            label = DisplayLabel(words=words, units=units, named=row.get("named", False))
            found.setdefault(label_key(words), label)
    return MappingProxyType(found)


def is_known_label(label: str) -> bool:
    """Say whether the trade knows a label, as that of a value or of what an instrument is set to."""
    key = label_key(label)
    return key in display_labels() or key in {label_key(words) for words in _raw()["set"]}


def label_key(label: str) -> str:
    """Letters and digits only, case folded: what two readings of a label must share."""
    return "".join(re.findall(r"[^\W_]+", label.casefold()))
