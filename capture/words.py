"""Words on displays and print: which are numbers, units, dates, chemical symbols, and how recognisers misread them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from schemas.base import is_value_text
from schemas.units import units

__all__ = ["is_moment", "label_key", "number_in", "split_number", "tidy_label", "unit_code"]

_NUMBER = re.compile(r"([-–−—]?)(\d{1,8})(?:[.,·](\d{1,4}))?", re.ASCII)
_GLUED = re.compile(r"([-–−—]?\d{1,8}(?:[.,·]\d{1,4})?)(\D.*)?", re.ASCII)
_MOMENT = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\b\d{1,2}:\d{2}\b", re.ASCII)
# What recognisers make of a frame's edge or a speck before a number. Nothing that could be a minus is among them.
_SPECKS = "☑☐□■▪•·|¦[](){}<>'`´:;,"
_DEGREES = re.compile(r"[°º˚*'`´“”\"^.oO]{0,2}\s*([cCfF℃℉])")
# The digit 0 stands for the letter O in no formula of flue gas; recognisers mix them up both ways.
_SYMBOLS = {"02": "O2", "O2": "O2", "C02": "CO2", "CO2": "CO2", "C0": "CO", "CO": "CO", "N0": "NO", "NO": "NO",
            "002": "CO2", "COZ": "CO2",
            "C0Z": "CO2", "OZ": "O2", "N0X": "NOx", "NOX": "NOx", "N02": "NO2", "NO2": "NO2", "S02": "SO2",
            "SO2": "SO2"}  # fmt: skip


def number_in(text: str) -> str:
    """Return a word as a value text: ``-0.17`` for ``–0,17``; empty where it is no number.

    A whole number with a leading zero is none: ``02`` is oxygen, ``007`` a counter.
    """
    match = _NUMBER.fullmatch(text)
    if not match:
        return ""
    sign, whole, part = match.groups()
    value = ("-" if sign else "") + whole + (f".{part}" if part else "")
    return value if is_value_text(value) else ""


def split_number(word: str) -> tuple[str, str]:
    """Split ``20.2mbar`` into value text and rest; the value is empty where the word does not begin with a number."""
    match = _GLUED.fullmatch(word.lstrip(_SPECKS) or word)
    if not match:
        return "", word
    value = number_in(match[1])
    rest = (match[2] or "").strip()
    if not value or (rest and not unit_code(rest)):
        return "", word
    return value, rest


def is_moment(text: str) -> bool:
    """Say whether a line holds a date or a time of day."""
    return bool(_MOMENT.search(text))


def unit_code(text: str) -> str:
    """Return the UCUM code of a unit as displays show it; empty where it is none that we know."""
    text = text.strip().strip("()[]")
    degrees = _DEGREES.fullmatch(text)
    if degrees:
        return "Cel" if degrees[1] in "cC℃" else "[degF]"
    if re.fullmatch(r"[°º˚*]\s*[℃℉]", text):
        return "Cel" if text.endswith("℃") else "[degF]"
    return _unit_words().get(_unit_key(text), "")


def _unit_key(text: str) -> str:
    # The digit 0 stands in no unit: recognisers write it for the letter of water.
    return re.sub(r"[\s.,_]", "", text).lower().replace("h20", "h2o")


@cache
def _unit_words() -> Mapping[str, str]:
    """Every way to write a unit that is short enough for a display; the first unit of a wording keeps it."""
    words: dict[str, str] = {}
    for code, unit in units().items():
        for said in (unit.show, code, *unit.said):
            if len(said) <= 8 and not (len(said) == 1 and said in "fcms"):
                words.setdefault(_unit_key(said), code)
    return MappingProxyType(words)


def tidy_label(words: list[str]) -> str:
    """Join the words of a label, with chemical symbols as they are written: ``CO/CO2`` for ``C0/C02:``."""
    tidied = []
    for word in words:
        bare = word.strip(":;=.,·…|-—_ ")
        if bare:
            tidied.append("/".join(_SYMBOLS.get(part.upper(), part) for part in bare.split("/")))
    return " ".join(tidied)


def label_key(label: str) -> str:
    """Letters and digits only, case folded: what two readings of a label must share."""
    return "".join(re.findall(r"[^\W_]+", label.casefold()))
