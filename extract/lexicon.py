"""The sheet's words and the language's, compiled once into a phrase matcher; and the k best ways to read a sentence.

A sentence becomes a row of items: numbers, units, quantities, conditions, screws, states, cues, plain words. Where it
can be read in more than one way ("CO two ten": CO2 10 or CO 210) the cheaper rows are all kept, with their costs.
"""

from __future__ import annotations

import gc
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Literal, NamedTuple

from extract.alarms import compile_alarms
from extract.certainty import Certainty, certainty
from extract.daytime import TIME_WORDS, times_of_day
from extract.items import KNOWN, OTHER, Item
from extract.language import Language, language
from extract.numbers import Number, number_like, numbers_at
from extract.phrases import Entry, Phrases, entries, index, words_of
from extract.tags import TAG, TAG_AHEAD, Tags, ending
from extract.tokens import Token, tokenize
from extract.values import Measure
from schemas.job import JobAppliance
from schemas.sheet import Quantity, Sheet
from schemas.units import units

__all__ = ["OTHER", "Grammar", "Item", "compile_sheet"]

PLAIN = 0.6  # a small word
UNKNOWN = 1.0  # a word we do not know
PASSED_OVER = 5.0  # a number that is not read as one: dearer than any number without a quantity
PASSED_NAME = 1.0  # a name of the sheet that is taken for a plain word
ROWS = 4  # ways to read a sentence that are looked at
_SINGLE = frozenset(("turn", "minute", "full", "cubic", "complete", "whole"))  # behind "a"


class Row(NamedTuple):
    """One way to read a sentence."""

    items: tuple[Item, ...]
    cost: float


class Grammar:
    """A compiled sheet: all phrases by their first word, and per quantity what choosing a value needs; and how certain
    a value must be."""

    def __init__(self, sheet: Sheet, lang: Language, certain: Certainty) -> None:
        self.sheet = sheet
        self.lang = lang
        self.certain = certain
        self.quantities: dict[str, Quantity] = {q.id: q for q in sheet.quantities}
        self.measures: dict[str, Measure] = {q.id: Measure(q) for q in sheet.quantities}
        self.conditions = {c.id: c for c in sheet.conditions}
        self.order = {c.id: n for n, c in enumerate(sheet.conditions)}
        ends = Counter(c.name.split()[-1] for c in sheet.conditions if c.adjusted and " " in c.name)
        self.rate_word = ends.most_common(1)[0][0] if ends else ""  # "fire", of high fire and low fire
        self.screws = {s.id: s for s in sheet.screws}
        self.laws = tuple(r for r in sheet.relations if r.law and r.kind == "not above")
        self.otherwise = frozenset(way for q in sheet.quantities for way in q.otherwise)
        self.by_unit_alone = {code: q.id for q in sheet.quantities for code in q.unit_alone}
        mine = {code: [q for q in sheet.quantities if code in q.units] for code in units()}
        self.free = {  # what is told in units in which nothing depends on the firing rate
            code: tuple(q.id for q in qs) for code, qs in mine.items() if qs and not any(q.conditions for q in qs)
        }
        self.clocked = tuple(q for q in sheet.quantities if q.noted_units)
        self.volumes = {  # by their last word: "thirty five seconds a foot", "the two foot dial"
            words[-1]: code
            for q in reversed(self.clocked)
            for code in q.noted_units
            for said in self._said(code, lang)
            if (words := words_of(said))[:-1] in ((), ("cubic",)) and len(words[-1]) > 3 and not words[-1].endswith("s")
        }
        self.move = next((q.id for q in sheet.quantities if q.kind == "move"), None)
        self.code_of_unit = {u.code: u for u in units().values()}
        self.phrases: Phrases = index(entries(sheet, lang))
        templates = [_template(t) for t in sheet.introductions]
        self._introductions: dict[str, tuple[tuple[str, ...], ...]] = {
            first: tuple(t for t in templates if t[0] == first) for first in {t[0] for t in templates if t[0][0] != "{"}
        }
        self._named_first = tuple(t for t in templates if t[0][0] == "{")
        self._counting = frozenset((*lang.fractions, *lang.nothing, *lang.plural_tens, *lang.dozens))
        self.shown = _labels(sheet, "shown")
        self.said = _labels(sheet, "said")
        self._written = _written_units(lang)
        self.unit_words = frozenset(
            w for code in units() for p in self._said(code, lang) for w in words_of(p) if len(w) > 2
        )
        self.appliance_words = frozenset(w for w in sheet.appliance_words)
        self.parts = frozenset(sheet.parts)
        self.tags = Tags(lang, self.appliance_words, self.phrases)
        self.called = lru_cache(maxsize=64)(self._called)  # the same few of a job, asked for with every sentence
        self.numbered = lru_cache(maxsize=64)(self._numbered)
        self.alarms = compile_alarms(sheet)
        names = {p for q in sheet.quantities if q.kind == "number" for p in q.said if p.isalnum()}
        digits = {n for n in names if n[-1].isdigit()}
        shorter = {n for n in names for d in digits if d[:-1] == n}
        self.glued = tuple(sorted(digits | shorter, key=lambda n: (-len(n), n)))

    @staticmethod
    def _said(code: str, lang: Language) -> tuple[str, ...]:
        return (*units()[code].said, *lang.units.get(code, ()))

    def unit_written(self, text: str) -> str:
        """The unit code of a unit as a display writes it; empty where there is none or it is not known."""
        return self._written.get("".join(text.lower().split()).rstrip("."), "")

    def introductions_from(self, token: Token) -> tuple[tuple[str, ...], ...]:
        """The introductions that may begin with a token: those with its word, or with a name if it has a capital."""
        named = self._named_first if token.text[:1].isupper() and token.low not in self.lang.plain else ()
        return (*self._introductions.get(token.low, ()), *named)

    def _called(self, appliances: tuple[JobAppliance, ...]) -> Phrases:
        """The names that this job's appliances go by, as phrases."""
        found = []
        for a in appliances:
            for name in (*a.called, a.tag):
                words = tuple(t.low for t in tokenize(name))
                if words and not (len(words) == 1 and len(words[0]) < 3):
                    found.append(Entry(words, "appliance", (a.tag,), 0.0))
        return index(found)

    def _numbered(self, tags: tuple[str, ...]) -> dict[str, str]:
        """The numbers that several appliances go by, as figures and words: "two at max now" is the second of two."""
        return {word: tag for tag in tags for word in ending(tag, self.lang)} if len(tags) > 1 else {}

    def rows(
        self, tokens: Sequence[Token], appliances: tuple[JobAppliance, ...] = (), spoken_of: tuple[str, ...] = ()
    ) -> list[Row]:
        """Return the best ways to read ``tokens``, best first.

        ``appliances`` are those of the job, ``spoken_of`` the tags of those that were named in its talk.
        """
        numbered = self.numbered(tuple(a.tag for a in appliances) or spoken_of)
        edges = self._edges(tokens, self.called(appliances), numbered)
        n = len(tokens)
        best: list[list[tuple[float, int, int, Item | None]]] = [[] for _ in range(n + 1)]
        best[0] = [(0.0, 0, 0, None)]
        for i in range(n):
            here = best[i]
            if not here:
                continue
            if len(here) > 1:
                here.sort(key=_cost_of)
                del here[ROWS:]
            for item in edges[i]:
                there = best[item.end]
                for rank, node in enumerate(here):
                    there.append((node[0] + item.cost, i, rank, item))
        best[n].sort(key=_cost_of)
        rows = []
        for node in best[n][:ROWS]:
            items: list[Item] = []
            at: tuple[float, int, int, Item | None] = node
            while at[3] is not None:
                items.append(at[3])
                at = best[at[1]][at[2]]
            rows.append(Row(tuple(reversed(items)), node[0]))
        return rows

    def _edges(self, tokens: Sequence[Token], called: Phrases, numbered: dict[str, str]) -> list[list[Item]]:
        lang = self.lang
        lows = [t.low for t in tokens]
        likes = [number_like(t, lang) or t.low in self._counting for t in tokens]
        clocks = not TIME_WORDS.isdisjoint(lows)
        edges: list[list[Item]] = []
        tables = (self.phrases, called) if called else (self.phrases,)
        for i, token in enumerate(tokens):
            w = token.low
            here: list[Item] = []
            nxt = tokens[i + 1] if i + 1 < len(tokens) else None
            if nxt is not None and nxt.joined and nxt.low in ("—", "–", "-") and self._broken_off(tokens, i):
                here.append(Item("filler", i, i + 2, w, 0.2))
            if token.kind == "mark":
                here.append(Item("mark", i, i + 1, w, 0.1))
            elif w in lang.fillers:
                here.append(Item("filler", i, i + 1, w, 0.1))
            elif likes[i] and self._counts(tokens, i, likes):
                here.append(Item("word", i, i + 1, w, PASSED_OVER))
            elif w in lang.plain or w in self.unit_words:
                here.append(Item("plain", i, i + 1, w, PLAIN))
            else:
                here.append(Item("word", i, i + 1, w, UNKNOWN))
            beside = i > 0 and (
                likes[i - 1]
                or (lows[i - 1] in lang.sound_alikes and not (w == "min" and lows[i - 1] in lang.small_words))
                or lows[i - 1] in lang.minus
                or lows[i - 1] in lang.scales
                or lows[i - 1] in ("a", '"', "°", "full", "whole", "complete")
            )
            for table in tables:
                for size, phrases in table.get(w, ()):
                    for entry in phrases.get(tuple(lows[i : i + size]), ()):
                        if entry.kind == "unit" and not (beside and self._is_unit(tokens, i, entry)):
                            continue
                        if entry.kind == "cue" and size == 1 and w in lang.minus and self._is_sign(tokens, i, likes):
                            continue
                        here.append(Item(entry.kind, i, i + size, entry.value, KNOWN + entry.cost))
            if w.removesuffix("s") in self.appliance_words or (w == "#" and i + 1 < len(tokens)):
                here.extend(self.tags.numbered(tokens, i))
            elif w in lang.ordinals_of_things and lows[i + 1 : i + 2] != ["number"] and self.tags.is_thing(lows, i + 1):
                here.append(Item("appliance", i, i + 2, (lang.ordinals_of_things[w],), KNOWN - 0.2))
            elif w in ("both", "all") and i + 1 < len(tokens):
                here.extend(self.tags.all_of_them(lows, i))
            elif w in lang.places or w in lang.others:
                here.extend(self.tags.placed(lows, i))
            elif w in lang.documents or w in lang.pages:
                here.extend(self._paged(tokens, i))
            here.extend(self._numbers(tokens, i, likes))
            if clocks and likes[i]:
                here.extend(Item("plain", i, end, w, KNOWN) for end in times_of_day(tokens, i, lang))
            if numbered and (w in numbered or w in TAG_AHEAD):
                here.extend(self.tags.tagged(tokens, i, likes, numbered))
            elif w == "on" and i > 0 and self.tags.on_one_of_them(lows, i, likes):
                here.append(Item("appliance", i, i + 2, ending(lows[i + 1], lang)[:1], TAG))
            edges.append(here)
        return [_merged(_longest(here, likes, edges)) for here in edges]

    def _paged(self, tokens: Sequence[Token], i: int) -> Iterator[Item]:
        """ "Book, page 34", "page thirty four of the manual": a limit's place; the number is no value."""
        lang = self.lang
        lows = [t.low for t in tokens[i : i + 10]]
        behind = lows[0] in lang.pages
        j = 0 if behind else 1
        while not behind and lows[j : j + 1] and lows[j] in (",", "on", "at", "the"):
            j += 1
        if j >= len(lows) or lows[j] not in lang.pages:
            return
        j += 1
        tens = lows[j : j + 1] and lows[j] in lang.tens and lows[j + 1 : j + 2] and lows[j + 1] in lang.digits
        if not (lows[j : j + 1] and (lows[j].isdigit() or lows[j] in {**lang.digits, **lang.teens, **lang.tens})):
            return
        j += 2 if tens else 1
        if behind and lows[j : j + 1] and lows[j] in ("says", "has", "gives", "lists"):
            j += 1  # "page four says"
        elif behind:
            while lows[j : j + 1] and lows[j] in (",", "of", "in", "from", "the"):
                j += 1
            if j >= len(lows) or lows[j] not in lang.documents:
                return
            j += 1
        yield Item("cue", i, i + j, frozenset(("report",)), KNOWN)

    def _is_sign(self, tokens: Sequence[Token], i: int, likes: Sequence[bool]) -> bool:
        """ "Offset negative point one" says no to nothing; "negative nine three" alone may."""
        return i > 0 and tokens[i - 1].kind != "mark" and any(likes[i + 1 : i + 2])

    def _broken_off(self, tokens: Sequence[Token], i: int) -> bool:
        """ "sev— six": a word that is broken off in front of a dash."""
        known = tokens[i].low in self.phrases or tokens[i].low in self.lang.plain or number_like(tokens[i], self.lang)
        spaced = i + 2 >= len(tokens) or not tokens[i + 2].joined or tokens[i + 1].low == "—"
        return tokens[i].kind == "word" and not known and spaced

    def _is_unit(self, tokens: Sequence[Token], i: int, entry: Entry) -> bool:
        """Single letters are units only right behind digits or "degrees"; "a turn" only behind a share."""
        w = tokens[i].low
        if w == "min" and any(t.low == "max" for t in tokens):
            return False  # "nine one max, nine oh min"
        if len(entry.words) == 1 and len(w) == 1 and w.isalpha():
            return tokens[i].joined or tokens[i].text.isupper() or w == "v"
        return True

    def _numbers(self, tokens: Sequence[Token], i: int, likes: Sequence[bool]) -> Iterator[Item]:
        lang = self.lang
        w = tokens[i].low
        if w in _DOUBTFUL and not self._counts(tokens, i, likes):
            return
        if w in ("nothing", "none") and not self._is_nothing(tokens, i):
            return
        full = w in ("full", "whole", "complete") and i + 1 < len(tokens) and tokens[i + 1].low == "turn"
        if full and not (i and (likes[i - 1] or tokens[i - 1].low in ("a", "one"))):
            yield Item("number", i, i + 1, Number((("1", 0.0),), exact=True, digits="1"), KNOWN)
        if (
            w in ("a", "an")
            and i + 1 < len(tokens)
            and (tokens[i + 1].low in _SINGLE or tokens[i + 1].low in self.volumes)
        ):
            yield Item("number", i, i + 1, Number((("1", 0.0),), exact=True, digits="1"), KNOWN)
        for end, number, cost in numbers_at(tokens, i, lang):
            yield Item("number", i, end, number, KNOWN + cost)

    def _is_nothing(self, tokens: Sequence[Token], i: int) -> bool:
        """ "CO is nothing" counts as zero, "nothing lit yet" does not."""
        before = tokens[i - 1].low if i else ""
        last = i + 1 == len(tokens) or tokens[i + 1].kind == "mark"
        return last and before in ("is", "'s", "at", "reads", "shows", "says", "reading", "showing")

    def _counts(self, tokens: Sequence[Token], i: int, likes: Sequence[bool]) -> bool:
        """Whether a doubtful small word is meant as a number: "the last one" and "Oh, CO is up" are not."""
        w = tokens[i].low
        lang = self.lang
        before = tokens[i - 1].low if i else ""
        nxt = tokens[i + 1] if i + 1 < len(tokens) else None
        if i and before in ("those", "these", "them", "the", "all", "other", "last", "next") and w in _FEW:
            return nxt is not None and (likes[i + 1] or nxt.low in lang.points or nxt.low in self.volumes)
        if w in ("oh", "o") and before in ("the", "that", "my", "our"):
            return False  # "the oh two is": O2
        if w in ("oh", "o"):
            return nxt is not None and likes[i + 1]
        if w in ("one", "1"):
            if nxt is not None and (likes[i + 1] or nxt.low in lang.points or nxt.low in self.volumes):
                return True
            if nxt is not None and nxt.low in ("'s", "is", "was", "are", "'d"):
                return False
            if before in lang.one_after or before in lang.places or (nxt is not None and nxt.low in lang.one_before):
                return False
            article = any(tokens[k].low == "the" for k in range(max(0, i - 3), i - 1))
            if article and not any(likes[max(0, i - 2) : i]):
                return False  # "that's the bottom one", "the high fire one"
        return w not in ("second", "third", "fourth")


def compile_sheet(sheet: Sheet, certain: Certainty | None = None) -> Grammar:
    """Return the grammar of a sheet; keep it, compiling takes a second. ``certain`` in place of the shipped thresholds.

    It lives as long as the process, so the garbage collector is told to look at it no more: walking through it took a
    tenth of the time of every utterance.
    """
    grammar = Grammar(sheet, language(), certain or certainty())
    gc.freeze()
    return grammar


_FEW = frozenset(("two", "three", "four"))
_DOUBTFUL = frozenset(("one", "1", "oh", "o", "second", "third", "fourth", "half", "quarter")) | _FEW
_NAMES = frozenset(("quantity", "condition", "enter"))
_FIRST = {
    k: n
    for n, k in enumerate(
        (
            "number",
            "quantity",
            "condition",
            "enter",
            "screw",
            "appliance",
            "choice",
            "tell",
            "unit",
            "other",
            "state",
            "short screw",
            "cue",
            "filler",
            "plain",
            "word",
        )
    )
}


def _longest(items: list[Item], likes: Sequence[bool], edges: Sequence[Sequence[Item]]) -> list[Item]:
    """Keep the longest names: not "flue" in "flue temp", unless the rest may be a number ("CO two"); not "at high"
    where "high fire" follows; and a name is not passed over as a word we do not know."""
    named = [i for i in items if i.kind in _NAMES and i.cost <= KNOWN]
    if not named:
        alike = [i for i in items if i.kind == "quantity" and i.end > i.start + 1]
        if not alike:
            return items
        # "see oh two" is heard as a whole, not as "see" and "oh two"
        return [i._replace(cost=i.cost + PASSED_NAME) if i.kind in ("word", "plain", "cue") else i for i in items]
    end = max(i.end for i in named)
    out = []
    for i in items:
        if i.kind in ("word", "plain"):
            out.append(i._replace(cost=i.cost + PASSED_NAME))
            continue
        if i in named:
            if i.kind == "quantity" and i.end < end and not any(likes[i.end : end]):
                continue
            if i.kind == "condition" and any(
                o.kind == "condition" and o.end > i.end and o.cost <= KNOWN
                for k in range(i.start + 1, i.end)
                for o in edges[k]
            ):
                continue
        out.append(i)
    return out


def _merged(items: list[Item]) -> list[Item]:
    """Items over the same words become one with several meanings; a number over them stays its own way."""
    by_end: dict[int, list[Item]] = {}
    out = []
    for item in items:
        if item.kind == "number":
            out.append(item)
        else:
            by_end.setdefault(item.end, []).append(item)
    for group in by_end.values():
        if len(group) > 1:
            group.sort(key=lambda x: _FIRST.get(x.kind, 9))
            cost = min(x.cost for x in group)
            also = tuple((x.kind, x.value) for x in group[1:])
            out.append(group[0]._replace(cost=cost, also=also))
        else:
            out.append(group[0])
    return out


def _labels(sheet: Sheet, field: Literal["shown", "said"]) -> dict[str, str]:
    """Labels to quantities, by letters and digits; one that two quantities share is left out."""
    found: dict[str, set[str]] = {}
    for q in sheet.quantities:
        for label in (*getattr(q, field), *((q.name,) if field == "shown" else ())):
            found.setdefault(" ".join(re.findall(r"[a-z0-9]+", label.lower())), set()).add(q.id)
    return {label: next(iter(ids)) for label, ids in found.items() if len(ids) == 1 and label}


def _written_units(lang: Language) -> dict[str, str]:
    """Units by every way to write them, without blanks."""
    found = {}
    for u in units().values():
        for text in (*reversed(lang.units.get(u.code, ())), *reversed(u.said), u.show, u.code):
            found["".join(text.lower().split()).rstrip(".")] = u.code
    return found


def _cost_of(node: tuple[float, int, int, Item | None]) -> float:
    return node[0]


def _template(text: str) -> tuple[str, ...]:
    return tuple(p if p.startswith("{") else words_of(p)[0] for p in text.replace("'", " '").split())
