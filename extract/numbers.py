"""Spoken and written numbers as a lattice: every stretch of tokens that may be a number, and every value it may have.

"nine one" may be 9.1 or 91, "one eighteen" 118 or 1.18: nothing is decided here. Each choice carries a cost (0 is the
plain way to say it); what is measured, its range and its usual decimals decide later (``extract/values.py``).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import NamedTuple

from extract.language import Language, language
from extract.placing import UNNATURAL, placements, tidy
from extract.tokens import Token

__all__ = ["Number", "number_like", "numbers_at", "said_anew", "spoken_digits"]

# Costs, in the same unit everywhere in extract: 1 is about "one small oddity". Set on the dev corpus and on the
# sentences of tests/test_extract_numbers.py; the margin that decides what is asked is in extract/doubt.py.
SOUND_ALIKE = 0.4
TORN = 1.5  # "point oh one five" is hardly 0.01 and 5


class Number(NamedTuple):
    """One stretch read as a number.

    ``choices`` are values as decimal texts with their cost, best first, without sign; ``sign`` is "", "-" or "+".
    ``exact``: point, fraction or full number words were said, so the value has one reading. ``cut``: it ends in
    "point". ``about``: a plural ("the one twenties"). ``led``: written with zeros in front. ``unit``: minutes and
    seconds said as one time come with their unit.
    """

    choices: tuple[tuple[str, float], ...]
    sign: str = ""
    exact: bool = False
    cut: bool = False
    about: bool = False
    led: bool = False
    unit: str = ""
    digits: str = ""

    @property
    def first(self) -> str:
        """The likeliest value, with its sign."""
        return signed(self.choices[0][0], self.sign)


class _Group(NamedTuple):
    """One spoken group of digits: kind D (one digit), O (zero), T (ten to ninety-nine), N (written), H (in full)."""

    kind: str
    digits: str
    end: int
    cost: float


def signed(text: str, sign: str) -> str:
    """Return ``text`` with a minus if ``sign`` says so; zero takes none."""
    return "-" + text if sign == "-" and any(c in "123456789" for c in text) else text


def number_like(token: Token, lang: Language) -> bool:
    """Say whether a token is a number word or written number by itself."""
    w = token.low
    return (
        token.kind in ("number", "fraction")
        or w in lang.digits
        or w in lang.teens
        or w in lang.tens
        or w in lang.hundred
        or w in lang.thousand
        or w in lang.points
        or w in lang.doubles
    ) and w != "o"


def numbers_at(tokens: Sequence[Token], i: int, lang: Language | None = None) -> Iterator[tuple[int, Number, float]]:
    """Yield ``(end, number, cost)`` for every stretch from token ``i`` that may be a number."""
    lang = lang or language()
    w = tokens[i].low
    if tokens[i].kind in ("word", "mark") and w not in lang.starts:
        return
    sign = ""
    j = i
    if w in lang.minus or (w == "-" and _is_minus(tokens, i)):
        sign, j = "-", i + 1
    elif w in lang.plus or w == "+":
        sign, j = "+", i + 1
    if sign:
        j = _skip(tokens, j, lang)
        while j < len(tokens) and tokens[j].low in ("a", "of"):
            j += 1
    if j >= len(tokens):
        return
    for end, number, cost in _scaled(tokens, j, lang):
        yield end, number._replace(sign=sign) if sign else number, cost
        if not sign:
            after, which = _sign_behind(tokens, end, lang)
            if after:
                yield after, number._replace(sign=which), cost - 0.1


def _is_minus(tokens: Sequence[Token], i: int) -> bool:
    """A hyphen before a number and not between two is a minus."""
    if i + 1 >= len(tokens) or tokens[i + 1].kind not in ("number", "fraction") or not tokens[i + 1].joined:
        return False
    return not (i and tokens[i].joined and tokens[i - 1].kind == "number")


def _sign_behind(tokens: Sequence[Token], j: int, lang: Language) -> tuple[int, str]:
    k = j + 1 if j < len(tokens) and tokens[j].low == "," else j
    if k >= len(tokens):
        return 0, ""
    nxt = tokens[k + 1] if k + 1 < len(tokens) else None
    follows = nxt is not None and (number_like(nxt, lang) or nxt.kind == "number")
    if tokens[k].low in ("negative", "minus") and not follows:
        return k + 1, "-"
    if tokens[k].low == "positive" and not follows:
        return k + 1, "+"
    for parts in lang.below_zero.get(tokens[k].low, ()):
        if tuple(t.low for t in tokens[k : k + len(parts)]) == parts:
            return k + len(parts), "-"
    return 0, ""


def _skip(tokens: Sequence[Token], j: int, lang: Language) -> int:
    """Step over hesitations ("uh", with its commas) inside a number."""
    k = j
    while k < len(tokens) and (tokens[k].low in lang.fillers or tokens[k].low in (",", "...", "…")):
        k += 1
    return k if k > j and any(t.low in lang.fillers for t in tokens[j:k]) else j


def _digit(tokens: Sequence[Token], i: int, lang: Language, inside: bool) -> tuple[str, float] | None:
    """A single digit word, or one that sounds like it next to a number. ``inside``: a number is going on before it."""
    if i >= len(tokens):
        return None
    w = tokens[i].low
    if w in lang.digits:
        if w == "o" and not inside:
            return None
        return str(lang.digits[w]), 0.0
    heard = lang.sound_alikes.get(w)
    if heard not in lang.digits:
        return None
    nxt = tokens[i + 1] if i + 1 < len(tokens) else None
    follows = nxt is not None and number_like(nxt, lang)
    after_point = i > 0 and tokens[i - 1].low in lang.points
    last = nxt is None or nxt.kind == "mark"
    if w in lang.small_words:
        ok = after_point or (inside and not follows and (last or (nxt is not None and nxt.low in lang.unit_starts)))
    else:
        ok = inside or follows or (nxt is not None and (nxt.low in lang.points or _alike(tokens, i + 1, lang)))
    return (str(lang.digits[heard]), SOUND_ALIKE) if ok else None


def _alike(tokens: Sequence[Token], i: int, lang: Language) -> bool:
    """A second word that sounds like a digit ("ate won", "ate for" at the end): two of them are a number."""
    if lang.sound_alikes.get(tokens[i].low) not in lang.digits:
        return False
    return tokens[i].low not in lang.small_words or i + 1 == len(tokens) or tokens[i + 1].kind == "mark"


def _small(tokens: Sequence[Token], i: int, lang: Language, inside: bool) -> _Group | None:
    """One group from token ``i``: a digit, a teen, tens with their unit, a doubled digit, a written number."""
    if i >= len(tokens):
        return None
    t = tokens[i]
    if t.kind == "number" and "." not in t.low:
        return _Group("N", t.low, i + 1, 0.0)
    if t.low in lang.doubles:
        d = _digit(tokens, i + 1, lang, True)
        return _Group("D", d[0] * lang.doubles[t.low], i + 2, d[1]) if d else None
    if t.low in lang.teens:
        return _Group("T", str(lang.teens[t.low]), i + 1, 0.0)
    if lang.sound_alikes.get(t.low) in lang.teens and inside and t.low not in lang.small_words:
        return _Group("T", str(lang.teens[lang.sound_alikes[t.low]]), i + 1, SOUND_ALIKE)
    if t.low in lang.tens:
        j = _skip(tokens, i + 1, lang)
        d = _digit(tokens, j, lang, True)
        anew = j > i + 1 and [x.low in lang.tens or x.low in lang.teens for x in tokens[j + 1 : j + 2]] == [True]
        if d and d[0] != "0" and not anew:  # "one twenty, uh, one twenty six" begins anew
            return _Group("T", str(lang.tens[t.low] + int(d[0])), j + 1, d[1])
        return _Group("T", str(lang.tens[t.low]), i + 1, 0.0)
    d = _digit(tokens, i, lang, inside)
    return _Group("O" if d[0] == "0" else "D", d[0], i + 1, d[1]) if d else None


def _in_full(tokens: Sequence[Token], i: int, lang: Language) -> tuple[int, int, float] | None:
    """A number with hundred or thousand in it: ``(end, value, cost)``."""
    j, value, cost = i, 0, 0.0
    said = False
    if tokens[i].low == "a" and i + 1 < len(tokens) and tokens[i + 1].low in lang.hundred | lang.thousand:
        j, value = i + 1, 1
    else:
        head = _small(tokens, i, lang, False)
        if head and head.kind != "O" and len(head.digits) <= 3:
            j, value, cost = head.end, int(head.digits), head.cost
            more = _small(tokens, j, lang, True) if head.kind == "D" else None
            if more and more.kind == "T" and more.end < len(tokens) and tokens[more.end].low in lang.thousand:
                j, value = more.end, int(head.digits + more.digits)  # "three ninety nine thousand"
        elif tokens[i].low in lang.hundred:
            value, cost = 1, 0.8
        else:
            return None
    if j < len(tokens) and tokens[j].low in lang.hundred:
        said = True
        j, value = j + 1, value * 100
        j, rest, c = _tail(tokens, j, lang)
        value, cost = value + rest, cost + c
    if j < len(tokens) and tokens[j].low in lang.thousand:
        said = True
        j, value = j + 1, value * 1000
        k = j
        while k < len(tokens) and tokens[k].low in ("and", ","):
            k += 1  # "one thousand, two hundred and fifty"
        inner = _in_full(tokens, k, lang) if k < len(tokens) and tokens[k].low not in lang.thousand else None
        if inner and inner[1] < 1000 and k - j <= 2:
            j, value, cost = inner[0], value + inner[1], cost + inner[2]
        else:
            j, rest, c = _tail(tokens, j, lang)
            value, cost = value + rest, cost + c
    return (j, value, cost) if said else None


def _tail(tokens: Sequence[Token], j: int, lang: Language) -> tuple[int, int, float]:
    """What follows "hundred" or "thousand": "and" with up to ninety-nine."""
    k = _skip(tokens, j, lang)
    if k < len(tokens) and tokens[k].low == "and":
        k = _skip(tokens, k + 1, lang)
    g = _small(tokens, k, lang, True)
    if g is None or (g.kind == "N" and len(g.digits) > 2) or g.kind == "O":
        if g is not None and g.kind == "O":
            d = _small(tokens, g.end, lang, True)
            if d is not None and d.kind == "D":
                return d.end, int(d.digits), 0.1
        return j, 0, 0.0
    nxt = g.end
    if nxt < len(tokens) and tokens[nxt].low in lang.hundred:
        return j, 0, 0.0  # "two hundred, three hundred"
    # "one hundred and a half": the tail is a fraction, not a number; "and" followed by tenths or eighths as well
    if nxt < len(tokens) and tokens[nxt].low in lang.fractions:
        return j, 0, 0.0
    return g.end, int(g.digits), g.cost


def _scaled(tokens: Sequence[Token], i: int, lang: Language) -> Iterator[tuple[int, Number, float]]:
    """Every number from token ``i``, also with "million" or a unit that counts in thousands (MBH) behind it."""
    if tokens[i].low in lang.dozens:
        yield i + 1, Number((("12", 0.0),), about=True), 0.0
        return
    for end, number, cost in _unsigned(tokens, i, lang):
        yield end, number, cost
        if end >= len(tokens):
            continue
        low = tokens[end].low
        if low in lang.dozens:
            value = format((Decimal(number.choices[0][0]) * 12).normalize(), "f")
            yield end + 1, Number(((value, 0.0),), about=True), cost
        power, unit = lang.scales.get(low, (0, ""))
        power = power or (3 if low in lang.thousand and "." in number.choices[0][0] else 0)
        if power or (tokens[end].joined and low == "k"):
            value = format(Decimal(number.choices[0][0]).scaleb(power or 3).normalize(), "f")
            yield end + 1, Number(((value, 0.0),), exact=True, unit=unit, digits=value), cost - 0.1


def _unsigned(tokens: Sequence[Token], i: int, lang: Language) -> Iterator[tuple[int, Number, float]]:
    t = tokens[i]
    if t.kind == "clock":
        minutes, _, seconds = t.low.partition(":")
        value = str(int(minutes) * 60 + int(seconds))
        yield i + 1, Number(((value, 0.0),), exact=True, unit="s", digits=value), 0.3
        return
    if t.kind == "fraction":
        yield from _fraction_alone(tokens, i, lang)
        return
    if t.kind == "number" and "." in t.low:
        yield from _written_decimal(tokens, i)
        return
    if t.low in lang.nothing:
        yield i + 1, Number((("0", 0.0),), exact=True, digits="0"), 0.6
        return
    if t.low in lang.plural_tens:
        yield i + 1, Number(((str(lang.plural_tens[t.low]), 0.0),), about=True), 0.0
        return
    yield from _fraction_alone(tokens, i, lang)
    if t.low in lang.points:
        yield from _point("", tokens, i, lang, 0.0, False)
        return
    full = _in_full(tokens, i, lang)
    if full:
        end, total, cost = full
        yield from _finish((_Group("H", str(total), end, cost),), tokens, lang)
    groups: list[_Group] = []
    j = i
    while len(groups) < 10:
        g = _small(tokens, j, lang, bool(groups))
        if g is None and groups and j < len(tokens) and tokens[j].low in lang.plural_tens:
            digits = "".join(x.digits for x in groups) + str(lang.plural_tens[tokens[j].low])
            yield j + 1, Number(((digits, 0.0),), about=True), 0.0
        if g is None:
            break
        if groups and full and g.end > full[0]:
            break
        groups.append(g)
        yield from _finish(tuple(groups), tokens, lang)
        j = _skip(tokens, g.end, lang)
        if j >= len(tokens) or (j > g.end and said_anew(tokens, i, g.end, j, lang)):
            break


def _finish(groups: tuple[_Group, ...], tokens: Sequence[Token], lang: Language) -> Iterator[tuple[int, Number, float]]:
    """All numbers that begin with these groups and end with them, a point part or a fraction."""
    end = groups[-1].end
    cost = sum(g.cost for g in groups)
    choices = placements(tuple((g.kind, g.digits) for g in groups))
    digits = "".join(g.digits for g in groups)
    whole = "".join(g.digits for g in groups)
    plain = len(groups) == 1 or choices[0][1] < UNNATURAL
    follows_point = False
    if plain and end < len(tokens):
        t = tokens[end]
        nxt = tokens[end + 1] if end + 1 < len(tokens) else None
        if t.low == "," and nxt is not None and nxt.low in lang.points and end + 2 < len(tokens):
            yield from _point(whole, tokens, end + 1, lang, cost + _glue_cost(groups), False)  # "eight, point six"
        past = _skip(tokens, end, lang)
        if past > end and past < len(tokens) and tokens[past].low in lang.points:
            yield from _point(whole, tokens, past, lang, cost + _glue_cost(groups), True)  # "nine, um, point two"
        follows_point = t.low in lang.points
        if follows_point:
            yield from _point(whole, tokens, end, lang, cost + _glue_cost(groups), True)
        elif len(groups) == 1 and t.low == "." and nxt is not None and nxt.kind == "number" and "." not in nxt.low:
            if groups[0].kind == "N" and len(nxt.low) <= 2 and (not t.joined or t.end <= nxt.start):
                value = tidy(f"{whole}.{nxt.low}")
                yield end + 2, Number(((value, 0.0),), exact=True, digits=value), cost + 0.3
        elif (
            len(groups) == 1
            and groups[0].kind == "N"
            and len(whole) <= 3
            and t.low == ","
            and t.joined
            and nxt is not None
        ):
            if nxt.kind == "number" and nxt.joined and len(nxt.low) <= 2 and nxt.low.isdigit():
                value = tidy(f"{whole}.{nxt.low}")  # a decimal comma
                yield end + 2, Number(((value, 0.0),), exact=True, digits=value), cost + 0.2
            if nxt.kind == "number" and len(nxt.low) == 3 and nxt.low.isdigit():
                yield end + 2, Number(((whole + nxt.low, 0.0),), exact=True, digits=whole + nxt.low), cost + 0.4
        elif groups[-1].kind == "N" and len(groups) == 1 and t.kind == "number" and t.low.startswith("."):
            value = tidy(whole + t.low)
            yield end + 1, Number(((value, 0.0),), exact=True, digits=value), cost + 0.1
        yield from _with_fraction(whole, tokens, end, lang, cost)
    if follows_point:
        cost += 1.5  # the point is left hanging
    if groups[0].kind == "H" and tokens[end:] and tokens[end].low == "and" and end + 1 == len(tokens):
        yield end + 1, Number(choices, cut=True, digits=digits), cost
    echo = len(groups) > 2 and len(groups[0].digits) > 1 and groups[0].kind in ("T", "H")
    if echo and whole == groups[0].digits * 2 and all(g.kind in ("D", "O") for g in groups[1:]):
        # "fifteen, one five": said once more digit by digit
        yield end, Number(((groups[0].digits, 0.0),), exact=True, digits=groups[0].digits), groups[0].cost
        return
    led = groups[0].digits.startswith("0") and len(digits) > 1
    exact = len(groups) == 1 and groups[0].kind in ("H", "T", "D", "O")
    if choices[0][1] >= UNNATURAL:
        cost += UNNATURAL  # nobody says it so: rather two numbers
    yield end, Number(choices, exact=exact, led=led and groups[0].kind == "N", digits=digits), cost


def _glue_cost(groups: tuple[_Group, ...]) -> float:
    """Groups before a spoken point: "one eighteen point five" is plain, "nine nine point one" rather a slip."""
    kinds = {g.kind for g in groups}
    if len(groups) > 1 and groups[0].kind == "O":
        return 1.0  # "oh two five point six" is O2 and a value
    if len(groups) == 1 or (kinds <= {"D", "O"} and "O" in kinds):
        return 0.0
    return placements(tuple((g.kind, g.digits) for g in groups), whole=True)[0][1]


def _point(
    whole: str, tokens: Sequence[Token], at: int, lang: Language, cost: float, may_cut: bool
) -> Iterator[tuple[int, Number, float]]:
    """A spoken point at token ``at`` and the digits behind it."""
    j = at + 1
    k = j
    while k < len(tokens) and (tokens[k].low in lang.fillers or tokens[k].low in (",", "…", "-")):
        k += 1
    first = _small(tokens, k, lang, True)
    # a comma alone may also end a list entry; over a hesitation or directly, digits follow
    alone = k > j and not any(t.low in lang.fillers for t in tokens[j:k]) and tokens[j].low != ","
    if first is None or alone or (k > j and _pointed(tokens, first.end, lang)):
        if may_cut:
            yield at + 1, Number(((tidy(whole), 0.0),), cut=True, digits=whole), cost
        return
    tail, j = "", k
    while len(tail) < 4:
        g = _small(tokens, j, lang, True)
        if g is None:
            break
        if g.kind in ("T", "N"):
            if not tail:
                value = tidy(f"{whole or '0'}.{g.digits}")
                extra = 0.0 if g.kind == "N" or len(g.digits) == 1 else 0.2
                yield g.end, Number(((value, 0.0),), exact=True, digits=value), cost + g.cost + extra
            break
        tail += g.digits
        cost += g.cost
        value = tidy(f"{whole or '0'}.{tail}")
        more = _small(tokens, g.end, lang, True)
        short = more is not None and more.kind == "D" and not _pointed(tokens, more.end, lang)
        yield g.end, Number(((value, 0.0),), exact=True, digits=value), cost + (TORN if short else 0.0)
        j = _skip(tokens, g.end, lang)
        if j > g.end and _pointed(tokens, j + 1, lang):
            break
        if j + 2 < len(tokens) and tokens[j].low == "o" and number_like(tokens[j + 2], lang):
            break  # "ten point one o two three point zero": the letter, of a name


def _pointed(tokens: Sequence[Token], at: int, lang: Language) -> bool:
    """ "Nine point, uh, nine point three": over a hesitation digits with a point of their own are a number anew."""
    return at < len(tokens) and tokens[at].low in lang.points


def said_anew(tokens: Sequence[Token], start: int, end: int, again: int, lang: Language) -> bool:
    """Whether the number at tokens ``start`` to ``end`` is begun once more at ``again``: "eighty, uh, eighty four"."""
    words = [t.low for t in tokens[start:end]]
    while words and words[-1] in (*lang.points, ","):
        words.pop()
    behind = again + len(words)
    if not words or [t.low for t in tokens[again:behind]] != words:
        return False
    goes_on = behind < len(tokens) and number_like(tokens[behind], lang)
    return len(words) > 1 or goes_on or words[0] not in lang.digits


def _written_decimal(tokens: Sequence[Token], i: int) -> Iterator[tuple[int, Number, float]]:
    text = tokens[i].low
    value = tidy(text if not text.startswith(".") else "0" + text)
    yield i + 1, Number(((value, 0.0),), exact=True, digits=value), 0.0


def _ratio(top: int, bottom: int) -> str | None:
    """``top/bottom`` as a decimal text; thirds to three places."""
    if not 0 < bottom <= 1000:
        return None
    value = Decimal(top) / Decimal(bottom)
    text = format(value.quantize(Decimal("0.001")) if bottom == 3 else value, "f")
    return tidy(text.rstrip("0").rstrip(".")) if "." in text else text


_THIRDS_AND_EIGHTHS = {"⅓": (1, 3), "⅔": (2, 3), "⅛": (1, 8), "⅜": (3, 8), "⅝": (5, 8), "⅞": (7, 8)}
_SIGNS = {"½": (1, 2), "¼": (1, 4), "¾": (3, 4), **_THIRDS_AND_EIGHTHS}


def _written_fraction(token: Token) -> str | None:
    if token.low in _SIGNS:
        return _ratio(*_SIGNS[token.low])
    top, _, bottom = token.low.partition("/")
    return _ratio(int(top), int(bottom)) if int(top) < int(bottom) and len(bottom) < 5 else None


def _fraction_part(tokens: Sequence[Token], j: int, lang: Language) -> tuple[int, str] | None:
    """A fraction at token ``j``: "a half", "three quarters", "seven eighths", "five thirty seconds", "3/4"."""
    if j >= len(tokens):
        return None
    if tokens[j].kind == "fraction":
        value = _written_fraction(tokens[j])
        return (j + 1, value) if value else None
    top, k = 1, j
    counted = False
    if tokens[j].low in ("a", "an"):
        k = j + 1
    elif not _is_ordinal(tokens, j):
        g = _small(tokens, j, lang, False)
        if g is not None and g.kind in ("D", "N", "T"):
            top, k, counted = int(g.digits), g.end, True
            # "thirty second" belongs together: five thirty seconds
    if k < len(tokens) and tokens[k].low == "one" and not counted:
        k += 1
    if k >= len(tokens):
        return None
    bottom = lang.fractions.get(tokens[k].low)
    end = k + 1
    if _is_ordinal(tokens, k):
        bottom, end = next((n for n in lang.fractions.values() if str(n) == tokens[k].low), None), k + 2
    if (
        bottom is None
        and k + 1 < len(tokens)
        and tokens[k].low == "thirty"
        and tokens[k + 1].low in ("second", "seconds")
    ):
        bottom, end = 32, k + 2
    if (
        bottom is None
        or top >= bottom
        or (tokens[k].low in ("third", "fourth") and not counted and tokens[j].low != "a")
    ):
        return None
    value = _ratio(top, bottom)
    return (end, value) if value else None


def _is_ordinal(tokens: Sequence[Token], k: int) -> bool:
    """ "8th", as recognisers write eighth."""
    behind = tokens[k + 1] if k + 1 < len(tokens) else None
    return behind is not None and behind.joined and behind.low in ("th", "ths") and tokens[k].kind == "number"


def _fraction_alone(tokens: Sequence[Token], i: int, lang: Language) -> Iterator[tuple[int, Number, float]]:
    part = _fraction_part(tokens, i, lang)
    if part is None:
        return
    end, value = part
    number = Number(((value, 0.0),), exact=True, digits=value + "/")
    yield end, number, 0.0
    # "half a turn", "an eighth of an inch": the small words belong to the fraction
    k = end
    while k < len(tokens) and tokens[k].low in ("of", "a", "an"):
        k += 1
    if k > end and k < len(tokens):
        yield k, number, 0.1


def _with_fraction(
    whole: str, tokens: Sequence[Token], j: int, lang: Language, cost: float
) -> Iterator[tuple[int, Number, float]]:
    """ "and a half", "and seven eighths", "1/2" behind a whole number."""
    k = j
    if tokens[j].low == "and":
        k = j + 1
    elif tokens[j].kind != "fraction" and tokens[j].low not in ("a", "three") and tokens[j].low not in lang.fractions:
        return
    part = _fraction_part(tokens, k, lang)
    if part is None or (k == j and tokens[j].kind != "fraction" and len(whole) > 2):
        return
    end, share = part
    if k == j and tokens[j].kind != "fraction" and tokens[j].low not in ("a", "three"):
        return
    value = tidy(whole + "." + share.partition(".")[2])
    yield end, Number(((value, 0.0),), exact=True, digits=value + "/"), cost
    if end + 1 < len(tokens) and tokens[end].low == "of" and tokens[end + 1].low in ("a", "an"):
        yield end + 2, Number(((value, 0.0),), exact=True, digits=value + "/"), cost + 0.1


def spoken_digits(tokens: Sequence[Token], i: int, lang: Language | None = None) -> tuple[int, str] | None:
    """One group of digits at token ``i`` as it would be written, for serial and model numbers: ``(end, digits)``."""
    lang = lang or language()
    full = _in_full(tokens, i, lang)
    if full:
        return full[0], str(full[1])
    g = _small(tokens, i, lang, True)
    if g is not None and tokens[i].low in lang.sound_alikes and tokens[i].low not in lang.digits:
        return None
    return (g.end, g.digits) if g else None
