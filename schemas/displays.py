"""The labels that screens, slips and rating plates show: plain words of the trade and symbols, as data."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from schemas.base import Model

__all__ = ["DisplayLabel", "display_labels", "label_key", "over_marks", "spelled_out"]


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
def display_labels() -> Mapping[str, DisplayLabel]:
    """Return every label of ``language/displays.toml`` by its key, in the order of the file."""
    found: dict[str, DisplayLabel] = {}
    for row in _raw()["labels"]:
        for words in row["words"]:
            units = None if row.get("units") is None else tuple(row["units"])
            label = DisplayLabel(words=words, units=units, named=row.get("named", False))
            found.setdefault(label_key(words), label)
    return MappingProxyType(found)


def label_key(label: str) -> str:
    """Letters and digits only, case folded: what two readings of a label must share."""
    return "".join(re.findall(r"[^\W_]+", label.casefold()))
