"""Sentences made from how people say numbers and put readings, not from the extractor's tables, with what they mean.

Number words come from num2words and from the habits of the trade as written down in handbooks of dictation: digit by
digit, in pairs, with "oh", with a point. Deterministic for a seed.
"""

from __future__ import annotations

import random
import re
from dataclasses import dataclass

from num2words import num2words

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


@dataclass(frozen=True)
class Said:
    """A sentence and the reading it states: (quantity, condition, value, unit)."""

    text: str
    quantity: str
    condition: str
    value: str
    unit: str


# quantity: names, conditions, lowest, highest, places, unit spoken ("" may be left out), unit code
QUANTITIES = {
    "co2": (("CO2", "the CO2", "carbon dioxide"), "fire", 68, 114, 1, "percent", "%"),
    "o2": (("O2", "oxygen", "the O2"), "fire", 18, 98, 1, "percent", "%"),
    "co": (("CO", "the CO", "carbon monoxide"), "fire", 6, 195, 0, "parts per million", "[ppm]"),
    "flue_temp": (("flue temp", "the stack temperature", "the flue"), "fire", 90, 235, 0, "degrees", "[degF]"),
    "efficiency": (("efficiency", "the efficiency"), "fire", 842, 979, 1, "percent", "%"),
    "fan_speed": (("fan speed", "the fan", "the blower"), "fire", 1100, 6900, 0, "rpm", "/min"),
    "inlet_pressure": (("inlet pressure", "the inlet", "gas pressure"), "gas", 41, 136, 1, "inches", "[in_i'H2O]"),
    "supply_temp": (("supply temperature", "the supply water"), "fire", 85, 195, 0, "degrees", "[degF]"),
    "return_temp": (("return temperature", "the return water"), "fire", 70, 175, 0, "degrees", "[degF]"),
    "flame_signal": (("flame signal", "the flame current"), "fire", 12, 140, 1, "microamps", "uA"),
}
FIRE = {
    "high_fire": ("high fire", "full fire", "maximum rate"),
    "low_fire": ("low fire", "minimum fire", "minimum rate"),
}
GAS = {**FIRE, "static": ("static",), "lockup": ("lock up",)}
FRAMES = (
    "{c}, {q} is {v}.", "{q} at {c} is {v}.", "{q} reads {v} at {c}.", "At {c} I have {v} on {q}.", "{c}. {q}, {v}.",
    "I'm getting {v} for {q} at {c}.", "{c} {q} {v}.", "Okay, {c}, {q} came in at {v}.", "{v} on {q}, {c}.",
    "{q} is sitting at {v}, that's {c}.", "So {q} settled at {v} at {c}.", "At {c} {q} shows {v} now.",
)  # fmt: skip
FILLERS = ("", "", "", "uh ", "um, ")


def forms(value: str) -> list[str]:
    """Return ways to say or write a number."""
    whole, _, tail = value.partition(".")
    spoken = [_plain(int(whole))]
    if tail:
        digits = [DIGITS[int(d)] for d in tail]
        dotted = f"{spoken[0]} point {' '.join(digits)}"
        out = [value, dotted, dotted.replace("point zero", "point oh")]
        if int(whole) < 10 or int(whole) % 10:  # "ninety four" is 94, never 90.4
            out.append(f"{spoken[0]} {' '.join(digits)}".replace("zero", "oh"))
        return out
    n = int(whole)
    out = [whole, spoken[0], num2words(n)]
    if 100 <= n <= 999 and n % 100:
        head, rest = divmod(n, 100)
        out.append(f"{DIGITS[head]} {'oh ' if rest < 10 else ''}{_plain(rest)}")
        out.append(f"{DIGITS[head]} hundred {_plain(rest)}")
    if 1000 <= n <= 9999:
        out.append(f"{n:,}")
        head, rest = divmod(n, 100)
        if head % 10:
            out.append(
                f"{_plain(head)} hundred" if not rest else f"{_plain(head)} {'oh ' if rest < 10 else ''}{_plain(rest)}"
            )
    return out


def _plain(n: int) -> str:
    return str(num2words(n)).replace("-", " ").replace(" and ", " ").replace(",", "")


def sentences(count: int, seed: int) -> list[Said]:
    """Return ``count`` sentences, the same for the same seed."""
    rng = random.Random(seed)
    out = []
    for _ in range(count):
        quantity = rng.choice(sorted(QUANTITIES))
        names, where, low, high, places, unit, code = QUANTITIES[quantity]
        conditions = FIRE if where == "fire" else GAS
        condition = rng.choice(sorted(conditions))
        n = rng.randint(low, high)
        if quantity == "fan_speed":
            n = n // 10 * 10
        value = str(n) if not places else f"{n // 10}.{n % 10}"
        said = rng.choice(FILLERS) + rng.choice(forms(value))
        if rng.random() < 0.4:
            said += f" {unit}"
        text = rng.choice(FRAMES).format(c=rng.choice(conditions[condition]), q=rng.choice(names), v=said)
        text = text[0].upper() + text[1:]
        if rng.random() < 0.1:
            text = re.sub(r"[,.](?![0-9])", "", text.lower())
        out.append(Said(text, quantity, condition, value, code))
    return out
