"""Texts as they sound: digits read aloud, and endings of number words that recognisers hear as words of their own.

Two ways of hearing that sound the same are one: "50-200" and "fifty two hundred", "seven T" and "seventy".
"""

from __future__ import annotations

import re
from collections.abc import Collection

__all__ = ["aloud", "rejoined", "respelled", "said_in", "sound_alike"]

_ONES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
         "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen")  # fmt: skip
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_NUMBER_WORDS = frozenset({*_ONES, *_TENS[2:], "oh", "point", "hundred", "thousand", "minus", "negative"})

_BELOW_TEN = "|".join(_ONES[1:10])
_HUNDRED = re.compile(
    rf"\b(?:({_BELOW_TEN}) thousand )?({_BELOW_TEN}) hundred (?:and )?"
    rf"(?=({'|'.join((*_ONES[10:], *_TENS[2:]))})|{_BELOW_TEN})"
)

_STEMS = {"two": "twen", "twen": "twen", "three": "thir", "thir": "thir", "third": "thir", "four": "for", "for": "for",
          "five": "fif", "fif": "fif", "fifth": "fif", "six": "six", "sixth": "six", "seven": "seven",
          "seventh": "seven", "eight": "eigh", "nine": "nine", "ninth": "nine"}  # fmt: skip
_TY = re.compile(
    rf"(?<![a-z'])({'|'.join(_STEMS)})[ -](?:and )?(?:T|D|tee|key|ty)(?![a-z0-9'-]|\.?[ -][A-Z0-9]\b)",
    re.IGNORECASE,
)
_TEEN = re.compile(rf"(?<![a-z'])({'|'.join(_STEMS)})[ -](?:team|teen|teams|teens)(?![a-z'-])", re.IGNORECASE)


# Letters that sound alike, behind a number: "69 B P M". G P M is a unit of its own.
_PER_MILLION = re.compile(
    rf"(?<![a-z'])([0-9]+|{'|'.join(_ONES + _TENS[2:])}),? (?!G ?P ?M\b)[BCDEGKPTV] ?[BCDEGPTV] ?[MN]\b"
)
_A_MINUTE = re.compile(rf"(?<![a-z'])([0-9]+|{'|'.join(_ONES + _TENS[2:])}),? R ?[BCDEGPTV] ?[MN]\b")
_FIVE = re.compile(rf"\bhigh (?=point (?:{_BELOW_TEN})\b)", re.IGNORECASE)
# "C O two, eight, nine, C O": a value of two digits, written as a list.
_DIGIT = rf"(?:{_BELOW_TEN}|oh|[0-9])"
_LISTED = re.compile(
    rf"\b(O two|O2|CO2|oxygen|dioxide),? ({_DIGIT}), ({_DIGIT})(?=\.?$|[,;.] (?!(?:{_DIGIT}|point)\b))", re.IGNORECASE
)
# "Three eights of the turning on the screw" for three eighths of a turn in on it.
_EIGHTHS = re.compile(r"\b(an|one|three|five|seven|1|3|5|7) eights?(?= (?:of )?(?:a|the) turn)", re.IGNORECASE)
_TURN_IN = re.compile(r"\b((?:quarter|half|eighths?|quarters) (?:of )?)(?:a|the) turning on\b", re.IGNORECASE)
_FIRE = re.compile(r"\b(full|high|low|minimum|maximum),? higher\b(?! than)", re.IGNORECASE)
_TWO_CUBIC = re.compile(r"\b(?:to|too) (?=cubic\b)", re.IGNORECASE)
# Numbers that a recogniser told to write digits writes in pieces: "140-8", "5,800 and 80", "92-8", "6'7".
_TENS_AND_ONE = re.compile(r"(?<![0-9.,-])([0-9]*(?:[2-9]0|[1-9]00))-([1-9])(?![0-9.,-]*[0-9]|-)")
_HUNDREDS_AND = re.compile(r"(?<![0-9.,-])([0-9]{1,2},?[0-9]?00|[1-9]00) and ([1-9][0-9]?)(?![0-9.,-]*[0-9]|-)")
_TWO_DIGITS = re.compile(r"(?<![0-9.,-])([0-9]{1,2})(?:-|'(?=[0-9]\"?))([0-9])\"?(?![0-9.,-]*[0-9]|-)")
_NUMBERED = {"to": "two", "won": "one", "for": "four"}


def respelled(text: str, things: Collection[str] = ()) -> str:
    """Return a text with number words put together again of which the ending was heard as a word: "nine team".

    "High point seven" is five point seven, "to cubic feet" two, "69 B P M" parts per million, and the digits of
    "C O two, eight, nine," are one value; "three eights of the turning on" is three eighths of a turn in on,
    "minimum, higher" minimum fire.
    What sounds like a number behind one of ``things``, at the end or before "now", is its number: "on boiler to now".
    """
    if things:
        names = "|".join(re.escape(thing) for thing in sorted(things) if thing.isalpha())
        text = re.sub(
            rf"(?<![a-z])(?:(on|in|un)[ -]?)?({names}) ({'|'.join(_NUMBERED)})(?=[.,;]|$| now\b| next\b| first\b)",
            lambda m: f"{'on ' if m[1] else ''}{m[2]} {_NUMBERED[m[3].lower()]}",
            text,
            flags=re.IGNORECASE,
        )
    text = _A_MINUTE.sub(r"\1 R P M", _PER_MILLION.sub(r"\1 P P M", text))
    text = _LISTED.sub(r"\1 \2 \3", _TWO_CUBIC.sub("two ", _FIVE.sub("five ", _FIRE.sub(r"\1 fire", text))))
    text = _TURN_IN.sub(r"\1a turn in on", _EIGHTHS.sub(r"\1 eighths", text))
    text = _TY.sub(lambda m: _STEMS[m[1].lower()] + "ty", text)
    return _TEEN.sub(lambda m: {"for": "four"}.get(stem := _STEMS[m[1].lower()], stem) + "teen", text)


def rejoined(text: str) -> str:
    """Return a text with the pieces of numbers put together: "140-8" is 148, "5,800 and 80" 5880, "6'7" six seven.

    For a recogniser that was told to write digits, which has these for one number; others mean two by them.
    """
    for pieces in (_TENS_AND_ONE, _HUNDREDS_AND):
        text = pieces.sub(lambda m: str(int(m[1].replace(",", "")) + int(m[2])), text)
    return _TWO_DIGITS.sub(r"\1 \2", text)


def aloud(text: str) -> str:
    """Return the words of a text in small letters, its numbers as they are said in pairs: "CO 118" as co one eighteen.

    Of the many ways to say a number this is one: texts that differ here may sound the same all the same.
    """
    text = re.sub(r"(?<=[0-9])'(?=[0-9])", " ", text)
    words = re.sub(r"[0-9][0-9,]*(?:\.[0-9]+)?", lambda m: f" {_number(m[0].replace(',', ''))} ", text.lower())
    return _HUNDRED.sub(_in_pairs, " ".join(re.findall(r"[a-z']+", words)))


def _in_pairs(match: re.Match[str]) -> str:
    """Return the beginning of "one hundred thirty four" or "two thousand five hundred and six" as said in pairs."""
    thousands, hundreds, more = match.groups()
    head = _ONES.index(hundreds) + 10 * (_ONES.index(thousands) if thousands else 0)
    return f"{_below_hundred(head)} {'' if more else 'oh '}"


def said_in(number: str, text: str) -> bool:
    """Whether a number sounds just so in a text: all of one of its numbers, not a part of it.

    In a number of several words "won" is one and "to" two.
    """
    wanted, words = aloud(number).split(), aloud(text).split()
    if not wanted:
        return False
    if len(wanted) > 1:
        wanted, words = ([_NUMBERED.get(word, word) for word in one] for one in (wanted, words))
    for at in range(len(words) - len(wanted) + 1):
        after = at + len(wanted)
        around = {*words[max(0, at - 1) : at], *words[after : after + 1]}
        if words[at:after] == wanted and not around & _NUMBER_WORDS:
            return True
    return False


def sound_alike(value: str) -> str:
    """The value that sounds like this one, -teen for -ty or -ty for -teen; empty where there is none."""
    if not value.isdigit():
        return ""
    whole, last = divmod(int(value), 100)
    if 13 <= last <= 19:
        return str(whole * 100 + 10 * (last % 10))
    if last >= 30 and last % 10 == 0:
        return str(whole * 100 + 10 + last // 10)
    return ""


def _number(digits: str) -> str:
    whole, _, tail = digits.partition(".")
    spoken = _pairs(whole)
    return f"{spoken} point {' '.join(_ONES[int(d)] for d in tail)}" if tail else spoken


def _pairs(whole: str) -> str:
    if len(whole) > 4 or whole != str(int(whole)):
        return " ".join(_ONES[int(d)] for d in whole)
    n = int(whole)
    if n < 100:
        return _below_hundred(n)
    head, rest = divmod(n, 100)
    if not rest:
        return f"{_below_hundred(head)} hundred" if head % 10 else f"{_ONES[head // 10]} thousand"
    return f"{_below_hundred(head)} {'oh ' if rest < 10 else ''}{_below_hundred(rest)}"


def _below_hundred(n: int) -> str:
    if n < 20:
        return _ONES[n]
    tens, ones = divmod(n, 10)
    return f"{_TENS[tens]} {_ONES[ones]}" if ones else _TENS[tens]
