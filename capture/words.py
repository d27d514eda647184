"""Words on displays and print: which are numbers, units, dates, chemical symbols, and how recognisers misread them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType

from schemas.base import is_value_text
from schemas.displays import display_labels, label_key, without_sense
from schemas.units import show_unit, units

__all__ = [
    "Label",
    "is_moment",
    "is_near_label",
    "is_part_of_label",
    "known_label",
    "number_in",
    "split_label",
    "split_number",
    "tidy_label",
    "unit_code",
    "unit_like",
]

_NUMBER = re.compile(r"([-–−—]?)(\d{1,8})(?:[.,·](\d{1,4}))?", re.ASCII)
_GLUED = re.compile(r"([-–−—]?\d{1,8}(?:[.,·]\d{1,4})?)(\D.*)?", re.ASCII)
_MOMENT = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\b\d{1,2}:\d{2}(?!\d)|\d{2}/\d{5}|\d{5}/\d{2}", re.ASCII)
# ... also a date of which one stroke was read as a digit
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
    if not value or (rest and not unit_code(rest) and not unit_like(rest)):
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
        bare = word.strip(":;=.,·…|-—_ ").replace("×", "x")
        if bare:
            tidied.append("/".join(_SYMBOLS.get(part.upper(), part) for part in bare.split("/")))
    return " ".join(tidied)


@dataclass(frozen=True)
class Label:
    """A label of ``schemas/language/displays.toml``, its key, and whether it was read as it is written.

    ``clear``: it was, or it is long enough for one misread sign and no other label is nearly like it.
    """

    key: str
    words: str
    units: tuple[str, ...] | None
    named: bool
    exact: bool
    clear: bool


# Signs that recognisers take for one another, brought to one of them.
_SHAPES = str.maketrans({"0": "o", "q": "o", "d": "o", "1": "l", "i": "l", "|": "l", "!": "l", "5": "s", "8": "b",
                         "6": "g", "9": "g", "2": "z", "(": "c", "[": "c"})  # fmt: skip
_FEWEST = 3
"""letters of a label that may be told in spite of a wrong one"""
_CLEARLY, _MOST = 5, 2
"""letters of a label that one misread sign leaves clear, and the edits in which all other labels must be further off"""
_LIKE_T = re.compile(r"\b[iIlJ17Yy|]\b")


@cache
def known_label(text: str) -> Label | None:
    """Return the label that a text is, or that it must have been; None where it is none of the list or not clear.

    A short label or chemical symbol may only differ by signs of like shape; a longer one by one letter, from eight
    letters on by two.
    """
    labels = display_labels()
    key = label_key(tidy_label(text.split()))
    if key in labels:
        return _label(key, exact=True, clear=True)
    plain, sense = without_sense(text)
    if sense and (key := label_key(tidy_label(plain.split()))) in labels:  # another label than without that word
        return replace(_label(key, exact=True, clear=True), key=f"{key} {sense}")
    shape = _shape(_LIKE_T.sub("T", text))
    alike = [known for known in labels if _shape(known) == shape]
    if len(alike) == 1:
        return _label(alike[0])
    if len(shape) < _FEWEST:
        return None
    ranked = sorted((_edits(shape, _shape(known)), known) for known in labels if len(known) >= _FEWEST)
    allowed = 2 if len(shape) >= 8 else 1
    near = [(edits, known) for edits, known in ranked if edits <= (allowed if known not in _formulas() else 0)]
    if not near or (len(near) > 1 and near[1][0] == near[0][0]):
        return None
    clear = len(shape) >= _CLEARLY and near[0][0] == 1 and ranked[0] == near[0] and ranked[1][0] > _MOST
    return _label(near[0][1], clear=clear)


def _label(key: str, *, exact: bool = False, clear: bool = False) -> Label:
    label = display_labels()[key]
    return Label(key, label.words, label.units, label.named, exact, clear)


@cache
def is_near_label(text: str) -> bool:
    """Say whether a text that is none of the list's labels may be one of them: a sign misread, or its end lost."""
    shape = _shape(text)
    if any(label.words.startswith(f"{text.casefold()} ") for label in display_labels().values()):
        return True
    told = [known for known in display_labels() if len(known) > _FEWEST or known in _formulas()]
    return any(_edits(shape, _shape(known)) <= max(len(known) // 4, 1) for known in told)


@cache
def is_part_of_label(key: str) -> bool:
    """Say whether a label of the list is this one with a word more, as ``CO af`` is ``CO``."""
    words = display_labels()[key].words if key in display_labels() else ""
    return bool(words) and any(label.words.startswith(f"{words} ") for label in display_labels().values())


@cache
def split_label(word: str) -> tuple[str, str]:
    """Split ``CO/C02:0.0022`` into label and number; both empty where the word is no known label with a number."""
    for match in reversed([] if known_label(word) else list(re.finditer(r"[:=]?(?=[-–−—]?\d)", word))):
        label, number = word[: match.start()], word[match.end() :]
        known = known_label(label) if label else None
        if known and known.exact and split_number(number)[0] and (match[0] or "." in number):
            return label, number
    return "", ""


@cache
def _formulas() -> frozenset[str]:
    return frozenset(label_key(symbol) for symbol in _SYMBOLS.values())


def _shape(text: str) -> str:
    """A text with signs of like shape made the same, without accents and gaps."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(c))
    return "".join(re.findall(r"[a-z0-9]", plain.translate(_SHAPES).replace("rn", "m")))


def _edits(a: str, b: str) -> int:
    """The number of letters put in, left out or changed between two texts (Levenshtein 1966)."""
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        last, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (x != y))
    return row[-1]


_PER_CENT = re.compile(r"[%\u2105\u2030]|[xX\u00d7$]|[9o0]?[6/]?%", re.ASCII)
_CELSIUS = re.compile(r"[*+\u00b0\u00ba\u02da'\"`^]{1,2}\s*[CcOo0(\[\u00a9\u20ac]|[*+\u00b0\u00ba\u02da]\s*\u2103\S?")
_PRINTED = ("[ppm]", "mbar", "hPa", "kPa", "[in_i'H2O]", "kW")


@cache
def unit_like(text: str) -> tuple[str, ...]:
    """Return the units that a misread text may have been: ``pp``, ``*0``, ``X``; none where it is like no unit."""
    text = text.strip().strip(".,:;-_~ ")
    if _PER_CENT.fullmatch(text):
        return ("%",)
    if _CELSIUS.fullmatch(text):
        return ("Cel",)
    key = _unit_key(text)
    if not 2 <= len(key) < 6 or not key.isascii():
        return ()
    return tuple(code for code in _PRINTED if _edits(key, _unit_key(show_unit(code))) <= 1)
