"""Other people's readers of numbers and units on the same talk, each with one and the same adapter.

The libraries find numbers and units; what they are of is none of their business. The adapter gives each number the
nearest name of the sheet in its sentence, carries the condition named last, passes over sentences with words of limits
and sentences that ask, and asks about what is outside the range. Nothing of ``extract`` is used.
"""

from __future__ import annotations

import importlib
import importlib.util
import re
import warnings
from collections.abc import Callable, Iterator
from decimal import Decimal, InvalidOperation
from typing import Any, NamedTuple

from bench.names import QUANTITIES, UNITS
from schemas.sheet import Quantity, Sheet
from schemas.units import convert, units

__all__ = ["PEERS", "Found", "load", "predict"]


class Found(NamedTuple):
    """A number in a text: its value, the unit code beside it (empty: none or unknown), and where it stands."""

    value: str
    unit: str
    start: int
    end: int


Reader = Callable[[str], list[Found]]
LIMITS = re.compile(
    r"\b(spec|specs|should|shouldn't|must|max|maximum|min|minimum|limit|limits|target|want|wants|allowed|between|under|"
    r"over|last year|last time|previous|supposed)\b",
    re.I,
)


def _quantulum() -> Reader:
    warnings.filterwarnings("ignore", module="quantulum3")
    parser = importlib.import_module("quantulum3.parser")

    def read(text: str) -> list[Found]:
        found = []
        for q in parser.parse(text):
            start, end = q.span
            found.append(Found(_plain(q.value), _unit_at(text, end) or _unit_in(text[start:end]), start, end))
        return found

    return read


def _recognizers() -> Reader:
    number = importlib.import_module("recognizers_number")

    def read(text: str) -> list[Found]:
        found = []
        for r in number.recognize_number(text, number.Culture.English):
            value = (r.resolution or {}).get("value")
            if value is not None:
                found.append(Found(_plain(value), _unit_at(text, r.end + 1), r.start, r.end + 1))
        return found

    return read


def _text2num() -> Reader:
    library = importlib.import_module("text_to_num")

    def read(text: str) -> list[Found]:
        written = library.alpha2digit(text, "en")
        return [
            Found(m.group(), _unit_at(written, m.end()), m.start(), m.end())
            for m in re.finditer(r"-?\d+(?:\.\d+)?", written)
        ]

    return read


PEERS: dict[str, tuple[str, Callable[[], Reader]]] = {
    "quantulum3": ("quantulum3", _quantulum),
    "recognizers-text": ("recognizers_number", _recognizers),
    "text2num": ("text_to_num", _text2num),
}


def load() -> tuple[dict[str, Reader], list[str]]:
    """Return the readers that are installed, and one sentence for each that is not."""
    found, missing = {}, []
    for name, (module, make) in PEERS.items():
        if importlib.util.find_spec(module) is None:
            missing.append(f"{name} is not installed; run script/bootstrap peers to measure it beside ours.")
        else:
            found[name] = make()
    return found, missing


def _plain(value: object) -> str:
    try:
        text = format(Decimal(str(value)), "f")
    except InvalidOperation:
        return str(value)
    return text.rstrip("0").rstrip(".") if "." in text else text


_SAID = sorted(((s.lower(), u.code) for u in units().values() for s in u.said), key=lambda x: -len(x[0]))


def _unit_at(text: str, at: int) -> str:
    """The unit that is said right behind a number."""
    rest = text[at:].lower().lstrip(" ")
    return next((code for said, code in _SAID if re.match(re.escape(said) + r"(?![a-z0-9])", rest)), "")


def _unit_in(text: str) -> str:
    low = text.lower()
    return next((code for said, code in _SAID if re.search(r"(?<![a-z0-9])" + re.escape(said) + r"$", low)), "")


def _names(sheet: Sheet) -> tuple[list[tuple[re.Pattern[str], Quantity]], list[tuple[re.Pattern[str], str]]]:
    def pattern(phrase: str) -> re.Pattern[str]:
        return re.compile(r"(?<![a-z0-9])" + re.escape(phrase.lower()) + r"(?![a-z0-9])")

    quantities = [(pattern(s), q) for q in sheet.quantities if q.kind == "number" for s in q.said]
    conditions = [(pattern(s), c.id) for c in sheet.conditions for s in (*c.said, *c.enter)]
    quantities.sort(key=lambda x: -len(x[0].pattern))
    conditions.sort(key=lambda x: -len(x[0].pattern))
    return quantities, conditions


def predict(item: dict[str, Any], read: Reader, sheet: Sheet) -> dict[str, Any]:
    """Return the prediction for one item, in the corpus' format."""
    quantities, conditions = _names(sheet)
    rows: dict[tuple[str, str], dict[str, Any]] = {}
    asks: list[dict[str, Any]] = []
    state = ""
    for u in item["utterances"]:
        for sentence in re.split(r"(?<=[.?!])\s+", u["text"]):
            low = sentence.lower()
            state = next((c for p, c in conditions if p.search(low)), state)
            if sentence.endswith("?") or LIMITS.search(low):
                continue
            spans = list(_mentions(low, quantities))
            for found in read(sentence):
                q = _nearest(found, spans)
                if q is None or q.id not in QUANTITIES:
                    continue
                unit = found.unit if found.unit in q.units else q.default_units.get(item["units"], "")
                condition = state if state in q.conditions else ""
                row = {
                    "quantity": q.id, "condition": condition, "value": found.value, "unit": UNITS.get(unit, unit),
                    "note": "",
                }  # fmt: skip
                if (q.conditions and not condition) or not _plausible(found.value, unit, q):
                    asks.append({"quantity": [q.id], "condition": condition, "value": found.value})
                else:
                    rows[(q.id, condition)] = row
    return {"id": item["id"], "readings": list(rows.values()), "asks": asks}


def _mentions(low: str, names: list[tuple[re.Pattern[str], Quantity]]) -> Iterator[tuple[int, int, Quantity]]:
    """Where quantities are named, the longest name at each place."""
    used: list[tuple[int, int]] = []
    for pattern, q in names:
        for m in pattern.finditer(low):
            if not any(a < m.end() and m.start() < b for a, b in used):
                used.append(m.span())
                yield m.start(), m.end(), q


def _nearest(found: Found, spans: list[tuple[int, int, Quantity]]) -> Quantity | None:
    outside = [(a, b, q) for a, b, q in spans if b <= found.start or a >= found.end]
    if found.unit:
        outside = [x for x in outside if found.unit in x[2].units] or outside
    if not outside:
        return None
    return min(outside, key=lambda x: found.start - x[1] if x[1] <= found.start else x[0] - found.end + 1)[2]


def _plausible(value: str, unit: str, q: Quantity) -> bool:
    """Inside the usual range of the quantity."""
    low, high = q.range.usual
    try:
        x = convert(Decimal(value), unit, q.units[0]) if unit else Decimal(value)
    except (InvalidOperation, ValueError):
        return False
    return (low is None or x >= Decimal(low)) and (high is None or x <= Decimal(high))
