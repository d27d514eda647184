"""The labels that screens, slips and rating plates show: plain words of the trade and symbols, as data."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType

from schemas.base import Model

__all__ = ["DisplayLabel", "display_labels", "label_key"]


class DisplayLabel(Model):
    """One label: its words, and the units (UCUM) that such a value is shown in.

    ``units`` is None where any may stand, empty for a bare number.
    """

    words: str
    units: tuple[str, ...] | None = None


@cache
def display_labels() -> Mapping[str, DisplayLabel]:
    """Return every label of ``language/displays.toml`` by its key, in the order of the file."""
    raw = tomllib.loads(files("schemas").joinpath("language", "displays.toml").read_text("utf-8"))
    found: dict[str, DisplayLabel] = {}
    for row in raw["labels"]:
        for words in row["words"]:
            units = None if row.get("units") is None else tuple(row["units"])
            found.setdefault(label_key(words), DisplayLabel(words=words, units=units))
    return MappingProxyType(found)


def label_key(label: str) -> str:
    """Letters and digits only, case folded: what two readings of a label must share."""
    return "".join(re.findall(r"[^\W_]+", label.casefold()))
