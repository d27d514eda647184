"""Which appliance a word stands for: "boiler two", "on two", "B's CO", "the left one", "both boilers"."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from extract.items import KNOWN, OTHER, Item
from extract.language import Language
from extract.numbers import number_like
from extract.phrases import HEARD_ALIKE, Phrases
from extract.tokens import Token

__all__ = ["TAG", "TAG_AHEAD", "Tags", "ending"]

TAG = -0.5  # the number of an appliance where one stands: rather that than a value
TAG_AHEAD = frozenset(("on", "to", "for"))
BREAKING = frozenset(".?!;")
_HOW_MANY = frozenset(("two", "three", "four", "of"))
_TOGETHER = frozenset(("both", "all", "are", "have", "were"))
_STANDS = frozenset(("off", "on", "running", "firing", "down", "isolated", "out", "shut"))
_READS = frozenset(("is", "'s", "reads", "shows", "gets", "was", "sits"))
_OPENERS = frozenset(("and", "now", "okay", "ok", "so", "right", "then", "well", "but", "also"))
_NAMES = frozenset(("quantity", "condition", "enter"))


class Tags:
    """Finds appliances in a row of tokens: the words for one, what they may be called by, and the sheet's phrases."""

    def __init__(self, lang: Language, appliance_words: frozenset[str], phrases: Phrases) -> None:
        self.lang = lang
        self.appliance_words = appliance_words
        self.phrases = phrases

    def _is_tag(self, token: Token) -> bool:
        """Whether a word may be the number of an appliance."""
        digits = token.low in self.lang.digits and token.low not in ("oh", "o")
        return digits or (token.kind == "number" and token.low.isdigit() and len(token.low) <= 2)

    def numbered(self, tokens: Sequence[Token], i: int) -> Iterator[Item]:
        """ "boiler two", "boiler number two", "unit B", "number 2 boiler"."""
        lang = self.lang
        j = i + 1
        while j < len(tokens) and (tokens[j].low in ("number", "no", "#") or tokens[j].low in self.appliance_words):
            j += 1
        if j >= len(tokens):
            return
        t = tokens[j]
        if self._is_tag(t) and [x.low for x in tokens[j + 1 : j + 2]] == ["and"] and j + 2 < len(tokens):
            after = tokens[j + 3] if j + 3 < len(tokens) else None
            alone = after is None or not (number_like(after, lang) or after.low in lang.points)
            if self._is_tag(tokens[j + 2]) and alone:
                yield Item("appliance", i, j + 3, ("*",), KNOWN - 0.4)  # "boiler one and two, nine one CO2"
        tag = ""
        behind = [x.low for x in tokens[i + 1 : i + 4]]
        if len(behind) == 3 and behind[:2] == ["on", "the"] and behind[2] in lang.places:
            yield Item("appliance", i, i + 4, (behind[2],), KNOWN - 0.2)  # "the boiler on the right"
        if t.kind == "number" and len(t.low) <= 2 and "." not in t.low:
            tag = str(int(t.low))
        elif t.low in lang.digits and t.low not in ("oh", "o"):
            tag = str(lang.digits[t.low])
        elif len(t.text) == 1 and t.text.isupper() and t.text != "I" and tokens[i].low != "number":
            tag = t.text  # also "A": the article is written small there
        heard = lang.sound_alikes.get(t.low, "")
        pointed = i > 0 and tokens[i - 1].low in ("to", "on", "over", "now", "is", "was", "at", ",")
        if not tag and pointed and heard in lang.digits and j + 1 < len(tokens):
            yield Item("appliance", i, j + 1, (str(lang.digits[heard]),), KNOWN + HEARD_ALIKE)  # "over to boiler to"
        if not tag or (tokens[i].low == "number" and i and tokens[i - 1].low in ("job", "serial", "model", "part")):
            return
        end = j + 1
        bare = tokens[i].low in ("number", "#")
        if bare and end < len(tokens) and tokens[end].low in self.appliance_words:
            end += 1
        yield Item("appliance", i, end, (tag,), KNOWN - (0.2 if end - i > 1 else 0.0) + (0.3 if bare else 0.0))

    def tagged(
        self, tokens: Sequence[Token], i: int, likes: Sequence[bool], numbered: dict[str, str]
    ) -> Iterator[Item]:
        """ "On two", "over to two", "and two.", "two's at max": of several appliances the one with that number."""
        w = tokens[i].low
        at = i if w in numbered else i + 1
        tag = numbered.get(tokens[at].low) if at < len(tokens) else None
        rest = [t.low for t in tokens[at + 1 : at + 4]]
        said = tokens[at].text if tag is not None else ""
        if said.isalpha() and len(said) == 1 and (said.islower() or (said == "A" and w == "a" and rest[:1] != ["'s"])):
            return  # the article rather than boiler A
        if w == "on" and tokens[at : at + 1] and tokens[at].low in ("both", "all"):
            behind = at + 2 if rest[:1] and rest[0] in _HOW_MANY else at + 1
            counted = behind < len(tokens) and (likes[behind] or self._is_thing(tokens[behind].low))
            if not counted and (tokens[at].low == "all" or len(set(numbered.values())) == 2):
                yield Item("appliance", i, behind, ("*",), TAG)  # "trap filled on both"
        k = i
        while k > 0 and (tokens[k - 1].low in _OPENERS or tokens[k - 1].low == ","):
            k -= 1
        first = k == 0 or tokens[k - 1].low in BREAKING
        counts = bool(rest) and (
            rest[0] in self.lang.one_before or (len(rest[0]) > 1 and self._begins(rest[0], "unit"))
        )
        if rest and likes[at + 1] and not (w == "on" and first and rest[0] not in self.lang.points):
            return  # "supply on one fifty", but "on two nine point one"
        if tag is None or counts:
            return
        ends = not rest or tokens[at + 1].kind == "mark"
        if first and at == i and (end := self._listed(tokens, i, numbered)):
            yield Item("appliance", i, end, ("*",), TAG)  # "one and two both have seven nine"
        if at == i and i > 0 and tokens[i - 1].low == "with" and rest[:1] and rest[0] in _STANDS:
            yield Item("plain", i, at + 1, w, TAG)  # "with two off, one's inlet is seven two"
        if w == "on":
            fits = True
        elif at > i:
            back = (
                i > 0
                and tokens[i - 1].low == "back"
                and (i == 1 or tokens[i - 2].low in BREAKING | _OPENERS | self.lang.motion | {","})
            )
            ends = ends or rest[:2] == ["for", "a"]  # "back to two for a second"
            fits = ends and (w == "for" or back or tokens[i - 1].low in ("over", "across"))  # not "O2 back to two"
        elif rest[:1] and rest[0] in _READS and at + 2 < len(tokens) and likes[at + 2]:
            fits = first or tokens[i - 1].low in (",", ":")  # "one is eight one, two is eight oh"
        elif rest[:1] == ["'s"] and (rest[1:2] in (["is"], ["at"]) or self._begins("".join(rest[1:2]), *_NAMES)):
            fits = first or tokens[i - 1].low in (",", ":")  # "one's CO is sixty, two's is fifty"
        elif rest[:2] in (["is", "a"], ["'s", "a"]):
            fits = first and rest[2:] in (["bit"], ["little"], ["touch"], ["tad"])  # "two is a bit richer"
        elif not first:
            fits = False
        elif ends:
            named = bool(rest[1:]) and self._begins(rest[1], "quantity", "condition", "enter")
            fits = named if rest[:1] == [","] else k < i or rest[:1] == [":"]
        else:
            stands = rest[0] in ("'s", "is", "at", "on") and rest[1:] not in ([], ["a"])
            stands = stands and (rest[0] in ("at", "on") or rest[1] in ("at", "on", "up", "off", "lit", "next", "now"))
            fits = stands or self._begins(rest[0], "condition", "enter")
        if fits:
            yield Item("appliance", i, at + 1, (tag,), TAG)

    def _listed(self, tokens: Sequence[Token], i: int, numbered: dict[str, str]) -> int:
        """Where "one, two and three all" ends in front of its verb; 0 where no such row of appliances begins."""
        k = i
        while k + 1 < len(tokens) and tokens[k].low in numbered and tokens[k + 1].low in (",", "and"):
            k += 2
        told = k > i and k + 1 < len(tokens) and tokens[k].low in numbered and tokens[k + 1].low in _TOGETHER
        return k + 1 if told else 0

    def on_one_of_them(self, lows: Sequence[str], i: int, likes: Sequence[bool]) -> bool:
        """ "CO2 on two is nine four": the first that is heard of there being two."""
        stands = lows[i + 2 : i + 3] in (["is"], ["'s"], ["was"]) and likes[i + 3 : i + 4] == [True]
        return stands and bool(ending(lows[i + 1], self.lang))

    def is_thing(self, lows: Sequence[str], i: int) -> bool:
        """Whether a word for an appliance stands there."""
        return i < len(lows) and lows[i] in self.appliance_words

    def _is_thing(self, word: str) -> bool:
        return word in self.appliance_words or word.removesuffix("s") in self.appliance_words

    def _begins(self, word: str, *kinds: str) -> bool:
        """Whether a phrase of one of these kinds begins with ``word``."""
        return any(e.kind in kinds for _, phrases in self.phrases.get(word, ()) for es in phrases.values() for e in es)

    def placed(self, lows: Sequence[str], i: int) -> Iterator[Item]:
        """ "The left boiler", "basement unit": an appliance named by where it stands."""
        j = i + 2 if lows[i + 1 : i + 2] in (["hand"], ["side"], ["room"]) else i + 1
        if j < len(lows) and lows[j] in self.appliance_words and lows[j] not in ("number", "#"):
            yield Item("appliance", i, j + 1, (OTHER if lows[i] in self.lang.others else lows[i],), KNOWN - 0.2)

    def all_of_them(self, lows: Sequence[str], i: int) -> Iterator[Item]:
        j = i + 1
        while j < len(lows) and lows[j] in ("of", "the", "these", "those", "two", "three", "four"):
            j += 1
        if j < len(lows) and lows[j].rstrip("s") in self.appliance_words and lows[j].endswith("s"):
            yield Item("appliance", i, j + 1, ("*",), KNOWN - 0.2)


def ending(tag: str, lang: Language) -> tuple[str, ...]:
    """The number that a tag ends with, as a figure and as a word: what "on two" means; or its letter, "on B"."""
    word = re.split(r"[^a-z0-9]+", tag.lower())[-1]
    if len(word) == 1 and word.isalpha():
        return (word,)
    figure = re.search(r"[1-9]$", word)
    number = int(figure.group()) if figure else lang.digits.get(word, 0)
    return (str(number), *(said for said, n in lang.digits.items() if n == number)) if number else ()
