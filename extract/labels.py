"""Labels of displays and print: the quantity that one means, and all else that it says of its value."""

from __future__ import annotations

import re
from difflib import SequenceMatcher
from typing import NamedTuple

from extract.lexicon import Grammar
from extract.values import basis_named
from schemas.displays import Sense, is_known_label, spelled_out, without_sense

__all__ = ["Told", "named", "plain_words", "told"]

_LETTERS = str.maketrans({"0": "O", "o": "O", "c": "C"})
"""What readers take for the letters of short labels: C0 and 02 are CO and O2."""
_SHORT = 6  # letters below which a label is told apart from others by single letters
_NEARLY = 0.7  # how alike a label must be to one of the sheet's to be asked about
_BRACKETS = re.compile(r"[(\[]([^)\]]*)[)\]]?")


class Told(NamedTuple):
    """What a label says: its quantity if any, whether the value is an average or held, and what is not clear.

    ``beyond``: the label says more than is understood, so that the value is another than that of its quantity.
    """

    quantity: str | None
    sense: Sense | None = None
    unclear: str = ""
    beyond: bool = False


def told(label: str, unit: str, grammar: Grammar, *, measured: bool) -> Told:
    """Return what a label says; ``unit``: of the value beside it; ``measured``: it is a number among measurements."""
    quantity, unknown = named(label, grammar)
    sense: Sense | None = None
    if (quantity is None or unknown) and not is_known_label(label):
        label, sense = without_sense(label)
        quantity, unknown = named(label, grammar)
    if quantity is not None:
        return Told(quantity, sense, f"its label says ({unknown}) too" if unknown else "", bool(unknown))
    likely = named(label.translate(_LETTERS), grammar)[0] or _nearly(label, unit, grammar)
    if likely:
        return Told(likely, sense, f"its label was read as {label}")
    if measured and not is_known_label(label):
        quantity = _begun(label, unit, grammar)
    return Told(quantity, sense, f"its label says more: {label}", True) if quantity else Told(None)


def plain_words(label: str) -> str:
    """Return a label to compare: letters, digits, and the mark of an average."""
    return " ".join(re.findall(r"[a-z0-9\u00f8]+", label.lower().replace("₂", "2")))


def named(label: str, grammar: Grammar) -> tuple[str | None, str]:
    """Return the quantity of a label, where one and only one is meant, and what its brackets say, if not understood.

    Brackets hold a unit, a basis of the quantity, or words of its name: CO (air free) is another quantity than CO.
    """
    plain = _BRACKETS.sub(lambda found: " " if grammar.unit_written(found[1]) else found[0], label)
    quantity = _looked_up(plain, grammar)
    inner = " ".join(_BRACKETS.findall(plain)).strip()
    if quantity is not None or not inner:
        return quantity, ""
    quantity = _looked_up(_BRACKETS.sub(" ", plain), grammar)
    if quantity is None or basis_named(grammar.quantities[quantity], inner):
        return quantity, ""
    return quantity, inner


def _looked_up(label: str, grammar: Grammar) -> str | None:
    words = plain_words(label)
    if not words:
        return None
    for wording in (words, *spelled_out(words)):
        for table in (grammar.shown, grammar.said):
            if wording in table:
                return table[wording]
    return None


def _nearly(label: str, unit: str, grammar: Grammar) -> str | None:
    """The quantity whose label this may be, with letters misread, left out or put in; it must be shown in the unit.

    A label that the trade knows is what it says: NO is no CO.
    """
    words = plain_words(label)
    if not words or is_known_label(label):
        return None
    near: dict[str, float] = {}
    for known, quantity in grammar.shown.items():
        q = grammar.quantities[quantity]
        if q.kind != "number" or not q.conditions or (unit and unit not in q.units):
            continue
        alike = SequenceMatcher(None, words, known).ratio()
        if _one_sign_apart(words, known) if len(known) < _SHORT else alike >= _NEARLY:
            near[quantity] = max(near.get(quantity, 0.0), alike)
    return max(near, key=lambda quantity: near[quantity], default=None)


def _one_sign_apart(one: str, other: str) -> bool:
    """Whether two short labels differ by one letter changed, left out or put in."""
    one, other = one.replace(" ", ""), other.replace(" ", "")
    if len(one) > len(other):
        one, other = other, one
    if len(one) == len(other):
        return sum(a != b for a, b in zip(one, other, strict=True)) == 1
    return len(other) - len(one) == 1 and any(other[:k] + other[k + 1 :] == one for k in range(len(other)))


def _begun(label: str, unit: str, grammar: Grammar) -> str | None:
    """The quantity that a label begins or ends with, though it says more: that of ``CO`` for ``COcorr``.

    Words that run together are parted only beside the quantity's unit. What the trade knows as a label of its own is
    no more of another: the flue's dew point is no flue temperature.
    """
    words = plain_words(label).replace(" ", "" if unit else " ")
    ways = [(way, q) for table in (grammar.shown, grammar.said if unit else {}) for way, q in table.items()]
    for way, quantity in sorted(ways, key=lambda one: -len(one[0])):
        q = grammar.quantities[quantity]
        known = way.replace(" ", "") if unit else f"{way} "
        if q.kind != "number" or not q.conditions or (unit and unit not in q.units):
            continue
        begins = words.startswith(known) and not is_known_label(words.removeprefix(known))
        if words != known and (begins or (unit and words.endswith(known))):
            return quantity
    return None
