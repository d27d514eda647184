"""What stops the work, said aloud: gas smelt, an alarm sounding, someone unwell, ignition with a bang.

The sheet's stops say in patterns what counts (``Stop.said``) and what only looks like it (``Stop.look_alikes``); the
language file says what makes of the same words a denial, a question, a story, a supposition or another place. Where
neither settles it, it is an alarm: a stop is judged on the worst that may have been said, so every hypothesis of
notable mass and the second opinion are listened to. Of unclear speech, what a recogniser made of it that listened for
stops alone is asked about.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import NamedTuple

from extract.tokens import Token, tokenize
from schemas.evidence import Hypothesis, Utterance
from schemas.readings import Alarm, Source
from schemas.sheet import Sheet, Stop

__all__ = ["Alarms", "alarms_perhaps", "alarms_said", "compile_alarms"]

# A hypothesis with this share of the mass may be what was said. Lower than for values: a stop is judged on the worst.
NOTABLE = 0.05
# And where the best hypothesis and the second opinion agree that it is not so: "leak test done, no leaks".
AGAINST_BOTH = 0.2
# Where the best hypothesis has less, one of the two ways of hearing is not enough to be sure. Chosen on 150 wordings
# and 60 look-alikes spoken in noise: 3 of 5 look-alikes that were told still are, and 88 of 106 wordings; the others
# are asked.
LIKELY = 0.4
# A pass that listens for stops imagines some: it must give so much of its mass to what says one. Chosen on 150 wordings
# and 120 look-alikes spoken in noise, where 0.25 to 0.4 catch nearly the same; in 203 utterances of ordinary work, 52
# of them at 10 and 5 dB, nothing was imagined.
LISTENED = 0.3
_ENDS = frozenset(".?!;")
_GAP = 6  # words that ".." may stand for, within a sentence
_LONG_GAP = 9  # words that "..." may stand for, in this sentence or the next
_REACH = 10  # words over which a denial or a supposition reaches forward
_ASIDE = 3  # words that may stand between a denial and what turns it round: "no smell of gas in here, wait, there is"


class _Words(NamedTuple):
    """The language file of alarms; it says what is what."""

    one: Mapping[str, frozenset[str]]
    phrases: Mapping[str, re.Pattern[str]]
    forms: Mapping[str, tuple[str, ...]]


class _Hit(NamedTuple):
    """Tokens ``start`` to ``end``; ``gaps`` are the tokens in between that the pattern does not name."""

    start: int
    end: int
    gaps: tuple[int, ...]


class _Text:
    """The words and marks of one text, lower case, fillers left out; ``places`` leads back to its characters."""

    def __init__(self, tokens: Sequence[Token], fillers: frozenset[str]) -> None:
        kept = [t for t in tokens if t.low not in fillers]
        self.words = [t.low for t in kept]
        self.places = [(t.start, t.end) for t in kept]
        self.present = frozenset(self.words)
        self.line = " ".join(self.words)
        self.at: dict[int, int] = {}
        n = 0
        for k, word in enumerate(self.words):
            self.at[n] = k
            n += len(word) + 1

    def hits(self, pattern: re.Pattern[str]) -> Iterator[_Hit]:
        """Yield the first match from each word on, so that one which is only supposed hides no other behind it."""
        at = 0
        while found := pattern.search(self.line, at):
            at = found.start() + 1
            start = self.at.get(found.start())
            if start is None:
                continue
            end = start + 1 + found.group().count(" ")
            gaps: list[int] = []
            for n in range(1, len(found.groups()) + 1):
                if found.group(n):
                    first = self.at[found.start(n) + 1]
                    gaps += range(first, first + found.group(n).count(" "))
            yield _Hit(start, end, tuple(gaps))


class _Pattern(NamedTuple):
    """One wording: the words that it ``needs``, one of each set, and it as a regular expression.

    It is compiled only once a text has all that it needs: most never are.
    """

    stop: str
    needs: tuple[frozenset[str], ...]
    source: str
    stands: bool = False
    """No look-alike takes it away: it ends with an exclamation mark in the sheet."""
    firm: bool = True
    """It says so; others only may (``Stop.perhaps``)."""

    def may_be_in(self, present: frozenset[str] | set[str]) -> bool:
        return not any(need.isdisjoint(present) for need in self.needs)

    def matcher(self) -> re.Pattern[str]:
        return _matcher(self.source)


@cache
def _matcher(source: str) -> re.Pattern[str]:
    return re.compile(source)


class Said(NamedTuple):
    """A stop that a text says, from character ``start`` to ``end``; not ``firm`` where it only may."""

    stop: str
    start: int
    end: int
    firm: bool


class Alarms:
    """The stops of a sheet as matchers."""

    def __init__(self, sheet: Sheet, code: str = "en") -> None:
        self.words = _words(code)

        def compiled(stop: Stop, pattern: str) -> _Pattern:
            return _compiled(stop.id, _SET.sub(lambda found: sheet.word_sets[found[1]], pattern), self.words)

        self.said = [compiled(s, p) for s in sheet.stops for p in (*s.said, *s.sounds_like)]
        self.said += [compiled(s, p)._replace(firm=False) for s in sheet.stops for p in s.perhaps]
        self.unlike = {s.id: tuple(compiled(s, p) for p in s.look_alikes) for s in sheet.stops if s.said}
        self.by_key: dict[str, list[int]] = {}
        for n, pattern in enumerate(self.said):
            rare = [need for need in pattern.needs if need.isdisjoint(self.words.one["common"])]
            for key in sorted((rare or pattern.needs)[0]):
                self.by_key.setdefault(key, []).append(n)
        self.keys = frozenset(self.by_key)
        self.vocabulary = frozenset(w for p in self.said for need in p.needs for w in need) - self.words.one["common"]
        """The words that the wordings are made of, but for those that are everywhere."""

    def heard(self, text: str, tokens: Sequence[Token] | None = None) -> list[Said]:
        """Return the stops that a text says, each once, with the first wording that says it, firm ones first."""
        found: dict[str, Said] = {}
        for wording, span in self._met(text, tokens):
            if span and wording.stop not in found:
                found[wording.stop] = Said(wording.stop, *span, wording.firm)
        return list(found.values())

    def not_so(self, text: str) -> frozenset[str]:
        """Return the stops whose words a text has without saying any of them: denied, asked, told of elsewhere."""
        met = list(self._met(text))
        return frozenset(wording.stop for wording, _ in met) - {wording.stop for wording, span in met if span}

    def looks_like(self, text: str) -> frozenset[str]:
        """Return the stops that a text only looks like: it has a wording that the sheet knows to mean none of them."""
        here = _Text(tokenize(text), self.words.one["fillers"])
        return frozenset(
            stop
            for stop, patterns in self.unlike.items()
            if any(p.may_be_in(here.present) and next(here.hits(p.matcher()), None) for p in patterns)
        )

    def _met(
        self, text: str, tokens: Sequence[Token] | None = None
    ) -> Iterator[tuple[_Pattern, tuple[int, int] | None]]:
        """Yield each wording that is met with, and its characters; None where it is not so."""
        present = set(_WORD.findall(text.lower().replace("’", "'")))
        likely = {n for key in self.keys & present for n in self.by_key[key]}
        likely = {n for n in likely if self.said[n].may_be_in(present)}
        if not likely:
            return
        here = _Text(tokenize(text) if tokens is None else tokens, self.words.one["fillers"])
        for n in sorted(likely):
            for hit in here.hits(self.said[n].matcher()):
                so = self._is_so(here, hit, self.said[n])
                yield self.said[n], (here.places[hit.start][0], here.places[hit.end - 1][1]) if so else None

    def begins_with_a_turn(self, text: str) -> bool:
        """Say whether a text begins by turning round what was said before it: "oh, wait, there is"."""
        first = (word for word in _WORD.findall(text.lower()) if word not in self.words.one["fillers"])
        if next(first, "") not in self.words.one["turns"]:
            return False
        line = " ".join(token.low for token in tokenize(text) if token.low not in self.words.one["fillers"])
        return self.words.phrases["turned"].match(line) is not None

    def _is_so(self, here: _Text, hit: _Hit, wording: _Pattern) -> bool:
        place = _Place(here, hit, self.words)
        if place.supposed() or place.elsewhere():
            return False
        if (place.denied() or place.asked()) and not place.turned():
            return False
        return wording.stands or not any(
            other.start < hit.end and hit.start < other.end
            for pattern in self.unlike[wording.stop]
            if pattern.may_be_in(here.present)
            for other in here.hits(pattern.matcher())
        )


class _Place:
    """What stands around a hit, within its sentence."""

    def __init__(self, here: _Text, hit: _Hit, words: _Words) -> None:
        self.w, self.hit, self.words = here.words, hit, words
        self.one = words.one
        start, end = hit.start, hit.end
        while start > 0 and self.w[start - 1] not in _ENDS:
            start -= 1
        while end < len(self.w) and self.w[end] not in _ENDS:
            end += 1
        self.start, self.end = start, end
        self.question_mark = end < len(self.w) and self.w[end] == "?"

    def _is(self, at: int, kind: str) -> bool:
        return 0 <= at < len(self.w) and self.w[at] in self.one[kind]

    def _line(self, start: int, end: int) -> str:
        return " ".join(self.w[start:end])

    def _has(self, phrase: str, start: int, end: int) -> bool:
        return bool(self.words.phrases[phrase].search(self._line(start, end)))

    def _has_subject(self) -> bool:
        clause = self._clause()
        return any(self._is(k, "subjects") for k in range(clause, self.hit.end))

    def _clause(self) -> int:
        """Where the clause of the hit begins: behind the last comma or joining word before it."""
        k = self.hit.start
        while k > self.start and not (self.w[k - 1] == "," or self._is(k - 1, "joins")):
            k -= 1
        return k

    # ------------------------------------------------------------------ it is not so
    def denied(self) -> bool:
        """ "No smell of gas", "nobody is feeling ill", "alarm is not going off", "gas smell: none"."""
        return self._denied_inside() or self._denied_before() or self._denied_after()

    def _denied_inside(self) -> bool:
        return any(self._is(k, "not") and not self._only_sounds_like_a_denial(k) for k in self.hit.gaps)

    def _denied_before(self) -> bool:
        listed = any(self._is(k, "or") for k in self.hit.gaps)
        for k in range(self.hit.start - 1, max(self.start, self.hit.start - _REACH) - 1, -1):
            word = self.w[k]
            if self._is(k, "or"):
                listed = True
            elif word == ",":
                if not listed:
                    return False
            elif self._is(k, "joins"):
                return False
            elif self._is(k, "not"):
                if self._only_sounds_like_a_denial(k):
                    continue
                return True
            elif self._is(k, "subjects") and k > self.start and not self._leads_on(k - 1):
                return False
        return False

    def _leads_on(self, k: int) -> bool:
        """Whether a denial before a new subject still reaches behind it: "I don't think it ...", "nothing that ..."."""
        return self._is(k, "not") or self._is(k, "opinions") or self._is(k, "subjects") or self._is(k, "or")

    def _only_sounds_like_a_denial(self, k: int) -> bool:
        """ "Not sure", "no doubt", "no I can ...": no denial of what follows."""
        if self.words.phrases["no_denial"].match(self._line(k, min(k + 5, len(self.w)))):
            return True
        return self.w[k] in self.one["interjections"] and (self._is(k + 1, "subjects") or self._is(k + 1, "marks"))

    def _denied_after(self) -> bool:
        if self._has_subject():
            return False
        k = self.hit.end
        while k < len(self.w) and (self._is(k, "marks") or self._is(k, "before_answer")) and k < self.hit.end + 6:
            k += 1
        if not self._is(k, "answers_no"):
            return self._has("seen", self.hit.end, min(self.end, self.hit.end + 6)) and any(
                self._is(n, "not") for n in range(self.hit.end, min(self.end, self.hit.end + 4))
            )
        return k + 1 >= len(self.w) or self._is(k + 1, "marks") or self._is(k + 1, "before_answer")

    # ------------------------------------------------------------------ it is so after all
    def turned(self) -> bool:
        """ "I can't smell gas, wait, I can", "any smell of gas? Oh, there is": with hardly a word in between."""
        found = self.words.phrases["turned"].search(self._line(self.hit.end, len(self.w)))
        if found is None:
            return False
        between = found.string[: found.start()].split()
        return sum(word not in self.one["marks"] for word in between) <= _ASIDE

    # ------------------------------------------------------------------ it is only asked
    def asked(self) -> bool:
        """ "Did you smell gas?", "any gas smell"; not "why can I smell gas", which takes it for granted."""
        clause = self._clause()
        if self._has("granted", self.start, self.hit.end):
            return False
        if any(self._is(k, "any") for k in range(max(clause, self.hit.start - 5), self.hit.end)):
            return True
        if self._has("inverted", max(self.start, self.hit.start - 6), self.hit.start + 1):
            return True
        if not self.question_mark:
            return False
        return self._is(clause, "you") or not self._has_subject()

    # ------------------------------------------------------------------ it is only thought of
    def supposed(self) -> bool:
        """ "If you smell gas", "it'll go bang", "checked for a gas smell", "I thought it was gas but it was paint"."""
        if self._has("for", max(self.start, self.hit.start - 8), self.hit.start):
            return True
        if self._has("may_come", max(self.start, self.hit.start - 4), self.hit.start) and not self._refuses():
            return True
        if self.hit.gaps and self._has("may_come", self.hit.gaps[0], self.hit.gaps[-1] + 1):
            return True
        if self._has("thought", self.start, self.hit.end) and self._has("but_was", self.hit.end, len(self.w)):
            return True
        if self._has("not_real", self.start, self.end):
            return True
        found = list(self.words.phrases["if"].finditer(self._line(self.start, self.hit.start)))
        if not found or self._has("no_if", self.start, self.hit.start + 2):
            return False
        between = found[-1].string[found[-1].end() :].split()
        if any(word in self.one["joins"] or word == "," for word in between):
            return False
        subjects = [n for n, word in enumerate(between) if word in self.one["subjects"]]
        return len(subjects) < 2 or any(word in self.one["or"] for word in between)

    def _refuses(self) -> bool:
        """ "It will not zero": it was tried."""
        return self._is(self.hit.start, "not") and self._is(self.hit.start - 1, "refusals")

    # ------------------------------------------------------------------ it was another time or another place
    def elsewhere(self) -> bool:
        """ "Last winter they had a bang", "they smelled gas at the last house"; not where it is here and now."""
        start, end = self._part()
        if self._has("here_and_now", start, end):
            return False
        return self._has("past", start, end) or self._has("away", start, end)

    def _part(self) -> tuple[int, int]:
        """The part of the sentence that the hit is in: between words such as "but"."""
        start, end = self.hit.start, self.hit.end
        while start > self.start and not self._is(start - 1, "parts"):
            start -= 1
        while end < self.end and not self._is(end, "parts"):
            end += 1
        return start, end


_SET = re.compile(r"@(\w+)")
_WORD = re.compile(r"'(?:s|re|ve|ll|d|m)(?![^\W_])|[^\W\d_](?:[^\W_]|'(?!(?:s|re|ve|ll|d|m)(?![^\W_])))*")


def compile_alarms(sheet: Sheet) -> Alarms:
    """Return the matchers of a sheet's stops."""
    return Alarms(sheet)


def alarms_said(
    utterance: Utterance, alarms: Alarms, tokens: Sequence[Token] | None = None, before: str = ""
) -> list[Alarm]:
    """Return the stops that an utterance says, in any hypothesis that counts; each stop once.

    It is sure where the best hypothesis or the second opinion firmly says it, both where the best is not likely, and
    neither says that it is not so; where both say that, another needs more of the mass. ``tokens`` are those of the
    best hypothesis, where they are known already. ``before`` is what was said just before: "No smell of gas", and then
    "Wait, there is".
    """
    found: dict[str, Source] = {}
    best = [text for text in (utterance.text, utterance.second_opinion) if text]
    firm: list[frozenset[str]] = []
    denials = [alarms.not_so(text) for text in best]
    for n, one in enumerate(_versions(utterance)):
        hits = alarms.heard(one.text, tokens if n == 0 else None)
        if before and alarms.begins_with_a_turn(one.text):
            turned = alarms.heard(f"{before}. {one.text}")
            hits += [hit._replace(start=0, end=len(one.text)) for hit in turned]
        for stop, start, end, _ in hits:
            if stop not in found and (one.mass >= AGAINST_BOTH or not all(stop in denial for denial in denials)):
                found[stop] = _source(utterance, one, start, end, best=n == 0)
        if one.text in best:
            firm.append(frozenset(hit.stop for hit in hits if hit.firm))
    enough = frozenset.union if utterance.hypotheses[0].mass >= LIKELY else frozenset.intersection
    sure = enough(*firm).difference(*denials) if firm else frozenset[str]()
    return [Alarm(stop=stop, sure=stop in sure, source=source) for stop, source in found.items()]


def alarms_perhaps(utterance: Utterance, alarms: Alarms, said: Collection[str]) -> list[Alarm]:
    """Return the stops that only passes heard which listen for them, each once and none that is ``said``; never sure.

    What was heard well enough to be understood as a denial is one; so is what both ways of hearing take for something
    that only looks like the stop ("flame's gone out").
    """
    heard: dict[str, str] = {}
    for listened in utterance.perhaps:
        share: dict[str, float] = {}
        for one in listened:
            for stop, *_ in alarms.heard(one.text):
                share[stop] = share.get(stop, 0.0) + one.mass
                if share[stop] >= LISTENED and stop not in said:
                    heard.setdefault(stop, one.text)
    denied = {stop for one in _versions(utterance) if heard for stop in alarms.not_so(one.text)}
    if heard:
        best = [text for text in (utterance.text, utterance.second_opinion) if text]
        denied |= frozenset.intersection(*map(alarms.looks_like, best))
    return [
        Alarm(
            stop=stop,
            sure=False,
            source=Source(
                evidence=utterance.evidence, utterance=utterance.number, start=utterance.start, end=utterance.end,
                span=None, heard=text,
            ),
        )
        for stop, text in heard.items()
        if stop not in denied
    ]  # fmt: skip


def _versions(utterance: Utterance) -> Iterable[Hypothesis]:
    best, *others = utterance.hypotheses
    yield best
    seen = {best.text}
    if utterance.second_opinion is not None:
        others = [*others, Hypothesis(text=utterance.second_opinion, mass=1.0)]
    for one in others:
        if one.mass >= NOTABLE and one.text not in seen:
            seen.add(one.text)
            yield one


def _source(utterance: Utterance, one: Hypothesis, start: int, end: int, *, best: bool) -> Source:
    first, last, at = utterance.start, utterance.end, 0
    inside = []
    for word in one.words:
        k = one.text.find(word.text.strip(), at)
        if k >= 0:
            at = k + len(word.text.strip())
            if k < end and at > start:
                inside.append(word)
    if inside:
        first, last = inside[0].start, inside[-1].end
    return Source(
        evidence=utterance.evidence, utterance=utterance.number, start=first, end=last,
        span=(start, end) if best else None, heard=one.text[start:end],
    )  # fmt: skip


# ---------------------------------------------------------------------- patterns
def _compiled(stop: str, pattern: str, words: _Words) -> _Pattern:
    """Return a pattern of the sheet as a regular expression over words with single spaces between them."""
    parts: list[str] = []
    needs: list[frozenset[str]] = []
    before = ""
    elements = pattern.lower().split()
    stands = elements[-1] == "!"
    for element in elements[:-1] if stands else elements:
        if element == "..":
            parts.append(rf"((?: (?![.?!;](?: |$))\S+){{0,{_GAP}}}?)")
            continue
        if element == "...":
            parts.append(rf"((?: \S+){{0,{_LONG_GAP}}}?)")
            continue
        if element == "#":
            parts.append(rf"(?:{' (?:, )?' if before else ''}(?:\d\S*|{'|'.join(sorted(words.one['numbers']))}))")
            before = element
            continue
        optional = element.endswith("?")
        forms = sorted({form for word in element.rstrip("?").split("/") for form in _forms(word, words.forms)})
        choice = "(?:" + "|".join(re.escape(form) for form in forms) + ")"
        space = "(?: ,)? " if before else ""
        parts.append(f"(?:{space}{choice})?" if optional else f"{space}{choice}")
        before = element
        if not optional:
            needs.append(frozenset(forms))
    return _Pattern(stop, tuple(needs), r"(?<!\S)" + "".join(parts) + r"(?!\S)", stands)


def _forms(word: str, irregular: Mapping[str, tuple[str, ...]]) -> Iterator[str]:
    """Yield a word and its inflections; one of three letters or less only as it stands, unless it is irregular."""
    yield word
    yield from irregular.get(word, ())
    if len(word) <= 3 and word not in irregular:
        return
    stem = word.removesuffix("e")
    yield from (f"{word}s", f"{stem}ed", f"{stem}ing")
    if word.endswith(("s", "x", "ch", "sh", "z")):
        yield f"{word}es"
    if word.endswith("y"):
        yield from (f"{word[:-1]}ies", f"{word[:-1]}ied")
    if re.search(r"[aeiou][bdgklmnprt]$", word):
        yield from (f"{word}{word[-1]}ed", f"{word}{word[-1]}ing")


@cache
def _words(code: str) -> _Words:
    raw = tomllib.loads(files("schemas").joinpath("language", f"{code}-alarms.toml").read_text("utf-8"))
    return _Words(
        one={name: frozenset(found) for name, found in raw["words"].items()},
        phrases={
            name: re.compile(r"(?<!\S)(?:" + "|".join(found) + r")(?!\S)") for name, found in raw["phrases"].items()
        },
        forms={name: tuple(found) for name, found in raw["forms"].items()},
    )
