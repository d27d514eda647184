"""Names, codes, dates and remarks: the parts of talk that are kept as words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from extract.clauses import Sentence
from extract.dates import date_in
from extract.language import Language
from extract.lexicon import Grammar, Item
from extract.numbers import spoken_digits
from extract.tokens import Token

__all__ = ["Capture", "captures", "spelt_alone"]

_GREETINGS = frozenset(
    ("okay", "ok", "so", "right", "well", "hi", "hello", ",", "alright", "morning", "good", "and", "now")
)
LEAST_CODE = 3  # letters and digits of a code that is said once more
_LEFT_OPEN = ("or", "maybe", "perhaps", "as", "but")  # behind a code they say that it is not the whole of it
BEHIND_A_CODE = frozenset(("on", "of", "for", "off", "from", "at", "in", "is", "was", "which", *_LEFT_OPEN))
PART_BEFORE, PART_BEHIND = 8, 4  # words in front of a code's name, or behind the code, that may say whose it is
LETTER_WORDS = {
    "alpha": "A",
    "alfa": "A",
    "bravo": "B",
    "charlie": "C",
    "delta": "D",
    "echo": "E",
    "foxtrot": "F",
    "golf": "G",
    "hotel": "H",
    "india": "I",
    "juliet": "J",
    "juliett": "J",
    "kilo": "K",
    "lima": "L",
    "mike": "M",
    "november": "N",
    "oscar": "O",
    "papa": "P",
    "quebec": "Q",
    "romeo": "R",
    "sierra": "S",
    "tango": "T",
    "uniform": "U",
    "victor": "V",
    "whiskey": "W",
    "whisky": "W",
    "xray": "X",
    "yankee": "Y",
    "zulu": "Z",
    "zed": "Z",
    "zee": "Z",
}  # fmt: skip - the spelling alphabet of the ITU Radio Regulations, Appendix 14


_CODE_KINDS = ("word", "number", "plain", "cue", "other", "unit")


class Capture(NamedTuple):
    """A piece of text bound to a quantity: tokens ``start`` to ``end`` are used up."""

    quantity: str
    value: str
    start: int
    end: int
    sure: bool = True


def captures(sentence: Sentence, tokens: Sequence[Token], text: str, grammar: Grammar) -> list[Capture]:
    """Return what a sentence says of sites, people, models, serial numbers, dates; and remarks."""
    items = [i for s in sentence.segments for i in s.items]
    if not items:
        return []
    stop = items[-1].end
    kinds = {k: i for i in items for k in range(i.start, i.end)}
    remark = _remark(items, tokens, text, grammar, stop)
    if remark:
        return [remark]
    found = list(_mentioned(items, tokens, text, grammar, stop, kinds))
    for s in sentence.segments:
        if not any(i.kind in ("word", "number") for i in s.items):
            continue  # a name has a word that is not known
        if not any(c.start <= s.items[0].start + 2 and c.end > s.items[0].start for c in found):
            found = [*_introduced(s.items, tokens, text, grammar, stop, kinds, found), *found]
    return found


def _form(grammar: Grammar, quantity: str) -> str:
    q = grammar.quantities[quantity]
    return q.kind if q.kind != "text" else q.form


def _remark(items: Sequence[Item], tokens: Sequence[Token], text: str, grammar: Grammar, stop: int) -> Capture | None:
    """ "Note, the pump is noisy": everything behind the word, to the end of the sentence."""
    for item in items[:4]:
        if item.kind != "quantity" and (item.kind == "plain" or item.role("reading") or item.role("instruct")):
            continue
        if item.kind != "quantity":
            return None
        for q in item.value.ids:
            if _form(grammar, q) != "words":
                continue
            start = item.end
            while start < stop and tokens[start].low in (",", ":", "that", "-", "–", "is", "'s", "to", "says"):
                start += 1
            named = bool(grammar.quantities[q].in_file)
            if named and _no_name(start, stop, items, grammar):
                continue  # "the maker wants nine point two on the CO2"
            if start < stop and stop - start >= (1 if named or item.end > item.start + 1 else 2):
                return Capture(q, text[tokens[start].start : tokens[stop - 1].end], item.start, stop)
        return None
    return None


def _mentioned(
    items: Sequence[Item], tokens: Sequence[Token], text: str, grammar: Grammar, stop: int, kinds: dict[int, Item]
) -> Iterator[Capture]:
    used = -1
    for item in items:
        if item.kind != "quantity" or item.start < used:
            continue
        for q in item.value.ids:
            form = _form(grammar, q)
            if form == "date":
                date = date_in(tokens, item.end, stop, grammar)
                if date:
                    used = date[1]
                    yield Capture(q, date[0], item.start, date[1])
                break
            if form not in ("name", "person", "code"):
                continue
            if item.start and tokens[item.start - 1].low in grammar.lang.others:
                break  # "the manual for the other model says nine five"
            start, linked = _behind(tokens, item.end, stop, grammar, kinds)
            name = _name_before(tokens, item.start, grammar, kinds) if form != "code" else None
            ends = item.end >= stop or tokens[item.end].low in (",", "and", "with")
            if name is not None and ends:
                used = item.end  # "Ada Quill is the technician"
                yield Capture(q, text[tokens[name[0]].start : tokens[name[1] - 1].end], name[0], item.end)
                break
            before = _code_before(tokens, item.start, grammar, kinds) if form == "code" else None
            if before is not None and (start >= stop or ends):
                used = item.end  # "K4T-22901, that's the serial"
                yield Capture(q, _code(tokens, *before, text, grammar, q), before[0], item.end)
                break
            if start >= stop:
                break
            sure = True
            indefinite = tokens[item.end - 1].low in ("a", "an")
            end = _end_of(tokens, start, stop, kinds, grammar, form)
            if end <= start or _measures(kinds, start, end, grammar):
                break
            if form != "code":
                if not (linked or _labelled(tokens, item.end, start, end, kinds)):
                    break
                small = linked and text == text.lower() and end - start > 1 and _strangers(start, end, kinds) > 0
                if not (small or _name_like(tokens, start, end, kinds)):
                    break
                sure = not small  # a recogniser that writes no capitals: it may be no name at all
                value = text[tokens[start].start : tokens[end - 1].end]
            else:
                if not (linked or indefinite) and not (
                    _code_like(tokens, start, end, grammar)
                    and (
                        _single(tokens[start])
                        or spoken_digits(tokens, start, grammar.lang)
                        or tokens[start].text[:1].isupper()
                    )
                ):
                    break
                known = kinds.get(start)
                if known is not None and not linked and known.kind not in _CODE_KINDS:
                    break
                value, sure = _corrected_code(tokens, start, end, text, grammar, q, kinds)
                if not _has_code(value) and not _name_like(tokens, start, end, kinds):
                    break
                if all(_small_word(t, grammar.lang) for t in tokens[start:end]):
                    break  # "the model is the big one"
                article = tokens[start - 1].low == "a" and _spelt(tokens, start, grammar.lang)  # or a letter?
                behind = kinds.get(end)
                later = kinds.get(end + 1) if behind is None or behind.kind == "mark" else None
                vague = (behind is not None and behind.role("inexact")) or _doubts(behind) or _doubts(later)
                goes_on = end < stop and (tokens[end].low in _LEFT_OPEN or vague)
                sure = sure and not article and not goes_on and value[-1:].isalnum()
            used = end
            yield Capture(q, value, item.start, end, sure and not _of_a_part(q, tokens, item, end, stop, grammar))
            break


def _no_name(start: int, stop: int, items: Sequence[Item], grammar: Grammar) -> bool:
    """Whether what stands behind a label tells a value, a limit or another day, and names nothing."""
    kinds = {k: i for i in items for k in range(i.start, i.end)}
    first = kinds.get(start)
    says = first is not None and any(map(first.role, ("limit", "report", "history", "question", "not")))
    counted = all(
        i.kind in ("number", "unit") or i.role("range_to") or i.role("or") for i in kinds.values() if start <= i.start
    )
    return says or counted or _measures(kinds, start, stop, grammar)


def _measures(kinds: dict[int, Item], start: int, end: int, grammar: Grammar) -> bool:
    """ "The analyser reads CO2 nine point four": what names a measured quantity and a number is no name."""
    named = [item for k in range(start, end) if (item := kinds.get(k)) is not None]
    measured = [
        i for i in named if i.kind == "quantity" and any(grammar.quantities[q].kind == "number" for q in i.value.ids)
    ]
    return bool(measured) and any(i.kind == "number" for i in named)


def _of_a_part(q: str, tokens: Sequence[Token], name: Item, end: int, stop: int, grammar: Grammar) -> bool:
    """ "The analyser's a K four, serial 4412", "serial of the pump 4412": the code may be another thing's."""
    if grammar.quantities[q].form != "code" or grammar.quantities[q].every_job:
        return False
    words = [t.low.removesuffix("'s") for t in tokens[max(0, name.start - PART_BEFORE) : name.start]]
    if end < stop and tokens[end].low in ("of", "for", "on", "off"):
        words += [t.low for t in tokens[end : min(stop, end + PART_BEHIND)]]
    whose = [word for word in words if word in grammar.parts or word in grammar.appliance_words]
    return bool(whose) and whose[-1] in grammar.parts


def _behind(tokens: Sequence[Token], at: int, stop: int, grammar: Grammar, kinds: dict[int, Item]) -> tuple[int, bool]:
    """Step over "is", "number", "on the plate", a colon, an article; says whether something links name and value."""
    lang = grammar.lang
    linked = tokens[at - 1].low in lang.name_links
    while at < stop:
        low = tokens[at].low
        whose = kinds.get(at)
        if whose is not None and whose.kind == "appliance" and whose.end < stop:
            at = whose.end  # "the serial on number two is"
            continue
        ahead = [t.low for t in tokens[at - 2 : at]]
        if ahead in (["on", "the"], ["off", "the"], ["inside", "the"]) and at + 1 < stop and tokens[at + 1].low == ",":
            at += 1  # "the serial's on the flap, four four seven"
            continue
        if low in lang.name_links:
            linked = True
        elif low in (",", "-", "–"):
            linked = linked or low != ","
        elif low == "a" and tokens[at].text == "A" and at + 1 < stop and _spelt(tokens, at + 1, lang):
            break  # the letter, not the article
        elif low not in lang.name_passed:
            break
        at += 1
    return at, linked


def _end_of(tokens: Sequence[Token], start: int, stop: int, kinds: dict[int, Item], grammar: Grammar, form: str) -> int:
    """Where the text ends: a comma, the next thing that is named, or the end of the sentence."""
    k = start
    while k < stop:
        low = tokens[k].low
        if low in (",", ";", ":") or (low in ("–", "—") and form != "code"):
            links = (*grammar.lang.doubles, "dash", "hyphen", "slash")
            spelt = k + 1 < stop and (_spelt(tokens, k + 1, grammar.lang) or tokens[k + 1].low in links)
            if form == "code" and low == "," and spelt and not _doubts(kinds.get(k + 1)):
                k += 1
                continue
            break
        item = kinds.get(k)
        if k > start and item is not None and item.start == k:
            if item.kind == "quantity" and any(grammar.quantities[q].kind != "number" for q in item.value.ids):
                break
            if form == "code" and _leaves_off(tokens, k, item, grammar.lang):
                break  # "TX65 it says here"
            spells = low == "for" and k + 1 < stop and _stands_for(tokens[k + 1], tokens[k - 1])  # "P for papa"
            if form == "code" and [t.low for t in tokens[k : k + 2]] == ["as", "in"] and _single(tokens[k - 1]):
                k += 3  # "H as in hotel"
                continue
            if item.kind == "choice" or (form == "code" and low in BEHIND_A_CODE and not spells):
                break
            if form == "code" and _doubts(item):
                break  # "T R four four, I think"
            if low in ("and", "with") and k + 1 < stop:
                nxt = kinds.get(k + 1)
                after = kinds.get(k + 2)
                named = [x for x in (nxt, after) if x is not None and x.kind in ("quantity", "condition")]
                if named or low == "with":
                    break
        k += 1
    while k > start + 1 and tokens[k - 1].low in grammar.lang.name_trailing:
        if form == "code" and tokens[k - 1].low == "a" and (k == stop or tokens[k].kind == "mark"):
            break  # the letter, not the article
        k -= 1
    return k


def _doubts(item: Item | None) -> bool:
    """ "I think": words, and no letters of a code."""
    return item is not None and item.role("unsure") and item.end > item.start + 1


def _leaves_off(tokens: Sequence[Token], k: int, item: Item, lang: Language) -> bool:
    """Whether an everyday word stands behind the letters and digits of a code."""
    word = tokens[k]
    everyday = (item.kind == "plain" or item.role("inexact")) and word.text.islower() and len(word.low) > 1
    code = not (
        word.low in ("dash", "hyphen", "slash", "for", "as", *lang.doubles, *lang.cues["no"]) or _spelt(tokens, k, lang)
    )
    return everyday and code and any(c.isdigit() for c in tokens[k - 1].text) | (tokens[k - 1].low in lang.digits)


def _stands_for(word: Token, letter: Token) -> bool:
    """Whether a word spells the letter in front of it: "S for sugar"."""
    return word.low in LETTER_WORDS or (len(letter.text) == 1 and word.low.startswith(letter.low))


def _spelt(tokens: Sequence[Token], at: int, lang: Language) -> bool:
    """Whether a letter or digit of a code stands there."""
    return _single(tokens[at]) or spoken_digits(tokens, at, lang) is not None


def _single(token: Token) -> bool:
    return len(token.text) == 1 or token.kind == "number" or token.low in LETTER_WORDS


def _name_like(tokens: Sequence[Token], start: int, end: int, kinds: dict[int, Item]) -> bool:
    """A name begins with a capital and is no word of the sheet."""
    first = kinds.get(start)
    if first is not None and first.kind == "number" and end - start > 1 and tokens[start + 1].text[:1].isupper():
        return True  # "14 Ferndale Road"
    known = first is None or first.kind in ("quantity", "condition", "enter", "number", "appliance", "screw")
    single = first is not None and first.end - first.start == 1 and tokens[start].text[:1].isupper()
    if known and not (single and end - start > 1):
        return False
    return tokens[start].text[:1].isupper() or tokens[start].kind == "number"


def _labelled(tokens: Sequence[Token], label: int, start: int, end: int, kinds: dict[int, Item]) -> bool:
    """ "Technician Ada Quill", "analyser Torvin 5": a name right behind its label, in capitals throughout."""
    if end - start < 2 or not (start == label or (start == label + 1 and tokens[label].low == ",")):
        return False
    strange = kinds.get(start)
    capital = all(t.text[:1].isupper() or t.kind == "number" for t in tokens[start:end])
    return capital and strange is not None and strange.kind == "word"


def _code_before(
    tokens: Sequence[Token], label: int, grammar: Grammar, kinds: dict[int, Item]
) -> tuple[int, int] | None:
    """The letters and digits in front of "that's the serial": where they begin and end."""
    k = label - 1
    linked = False
    while k >= 0 and (tokens[k].low in (",", "the", "that", "for") or tokens[k].low in grammar.lang.name_links):
        linked = linked or tokens[k].low in grammar.lang.name_links
        k -= 1
    end = k + 1
    while k >= 0 and (
        _single(tokens[k])
        or spoken_digits(tokens, k, grammar.lang)
        or tokens[k].low in (*grammar.lang.doubles, "dash", "-")
        or (tokens[k].kind == "word" and any(c.isdigit() for c in tokens[k].text))
    ):
        k -= 1
    start = k + 1
    named = any((i := kinds.get(x)) is not None and i.kind == "quantity" for x in range(start, end))
    if named or not linked or end - start < 1 or not _code_like(tokens, start, end, grammar):
        return None
    return start, end


def _name_before(
    tokens: Sequence[Token], label: int, grammar: Grammar, kinds: dict[int, Item]
) -> tuple[int, int] | None:
    """The words in capitals in front of "is the technician": where they begin and end."""
    k = label - 1
    while k >= 0 and tokens[k].low in ("the", "our", "my", "your"):
        k -= 1
    if k < 1 or tokens[k].low not in ("is", "'s", "was"):
        return None
    end = k
    while k > 0 and tokens[k - 1].text[:1].isupper() and (i := kinds.get(k - 1)) is not None and i.kind == "word":
        k -= 1
    return (k, end) if end - k >= 2 else None


def _strangers(start: int, end: int, kinds: dict[int, Item]) -> int:
    """How many words that are not known a name begins with."""
    n = 0
    while start + n < end and (item := kinds.get(start + n)) is not None and item.kind in ("word", "number"):
        n += 1
    first = kinds.get(start)
    return n if first is not None and first.kind == "word" else 0


def _corrected_code(
    tokens: Sequence[Token], start: int, end: int, text: str, grammar: Grammar, quantity: str, kinds: dict[int, Item]
) -> tuple[str, bool]:
    """The code, and whether it was said without a correction: "B 7 7 3 1, no, P: P 7 7 3 1" is P7731, asked."""
    no = grammar.lang.cues["no"]
    cuts = [
        k
        for k in range(start + 1, end)
        if tokens[k].low in no or ((i := kinds.get(k)) is not None and (i.role("correct") or i.role("not")))
    ]
    if not cuts:
        return _code(tokens, start, end, text, grammar, quantity), True
    first = _code(tokens, start, cuts[0], text, grammar, quantity)
    runs: list[list[int]] = [[]]
    for k in range(cuts[-1] + 1, end):
        if _single(tokens[k]) or spoken_digits(tokens, k, grammar.lang):
            runs[-1].append(k)
        elif runs[-1]:
            runs.append([])
    again = [_code(tokens, r[0], r[-1] + 1, text, grammar, quantity) for r in runs if r]
    whole = [c for c in again if len(c) == len(first) >= LEAST_CODE]
    return (whole[-1] if whole else first), False


def _code_like(tokens: Sequence[Token], start: int, end: int, grammar: Grammar) -> bool:
    """At least two letters or digits spelt, or a word with digits in it."""
    size = sum(1 for t in tokens[start:end] if _single(t) or spoken_digits((t,), 0, grammar.lang))
    return size >= 2 or any(
        any(c.isdigit() for c in t.text) and any(c.isalpha() for c in t.text) for t in tokens[start:end]
    )


def spelt_alone(sentence: Sentence, tokens: Sequence[Token], text: str, grammar: Grammar, q: str) -> Capture | None:
    """ "T, R, nine, nine, five": a sentence of nothing but letters and digits, the code ``q`` that was named before."""
    items = sentence.items
    start, end = items[0].start, items[-1].end
    while start < end and (tokens[start].low in _GREETINGS or tokens[start].low in ("it", "is", "'s", "that")):
        start += 1
    small = (",", "dash", "hyphen", "slash", "for", *grammar.lang.doubles)
    spelt = [k for k in range(start, end) if _spelt(tokens, k, grammar.lang)]
    rest = [k for k in range(start, end) if k not in spelt and not (k and _stands_for(tokens[k], tokens[k - 2]))]
    if len(spelt) <= LEAST_CODE or any(tokens[k].low not in small for k in rest):
        return None
    return Capture(q, _code(tokens, start, end, text, grammar, q), start, end, False)


def _has_code(value: str) -> bool:
    return any(c.isdigit() for c in value)


def _small_word(token: Token, lang: Language) -> bool:
    """Whether a word is an everyday one, or a lone "one" that points at a thing."""
    return token.low == "one" or (token.text.islower() and (token.low in lang.plain or token.low in lang.places))


def _code(tokens: Sequence[Token], start: int, end: int, text: str, grammar: Grammar, quantity: str) -> str:
    """Letters and digits as they would be written: "T W four four seven" is TW447; words stay words."""
    written = text[tokens[start].start : tokens[end - 1].end]
    if not any(c.isspace() for c in written) and any(c.isdigit() for c in written):
        return written
    out: list[str] = []
    k = start
    glue = False
    while k < end:
        t = tokens[k]
        if t.low in ("dash", "hyphen") or t.low == "-":
            out.append("-")
            glue, k = True, k + 1
            continue
        if t.low in (",", "."):
            k += 1
            continue
        if t.low in ("slash", "/"):
            out.append("/")
            glue, k = True, k + 1
            continue
        spelt = k + 2 < end and tokens[k + 1].low == "for" and tokens[k + 2].low.startswith(t.low) and t.text.isalpha()
        if spelt and len(t.text) == 1:
            out.append(("" if glue else " ") + t.text.upper())  # "P for papa"
            glue, k = True, k + 3
            continue
        if k + 2 < end and tokens[k + 1].low == "as" and tokens[k + 2].low == "in":
            out.append(("" if glue else " ") + t.text[:1].upper())
            glue, k = True, min(k + 4, end)
            continue
        digits = spoken_digits(tokens, k, grammar.lang)
        if digits and digits[0] <= end:
            out.append(("" if glue or not out else " ") + digits[1])
            glue, k = True, digits[0]
            continue
        letter = t.text.upper() if len(t.text) == 1 and t.text.isalpha() else LETTER_WORDS.get(t.low, "")
        if letter:
            out.append(("" if glue else " ") + letter)
            glue = True
        else:
            out.append(" " + t.text)
            glue = False
        k += 1
    return "".join(out).strip()


def _introduced(
    items: Sequence[Item],
    tokens: Sequence[Token],
    text: str,
    grammar: Grammar,
    stop: int,
    kinds: dict[int, Item],
    found: Sequence[Capture],
) -> list[Capture]:
    """Sentences such as "this is {technician} at {site}"."""
    start = items[0].start
    end = min([c.start for c in found if c.start > start], default=stop)
    while start < end and tokens[start].low in _GREETINGS:
        start += 1
    best: list[Capture] = []
    if start >= end:
        return best
    for template in grammar.introductions_from(tokens[start]):
        got = _match(template, start, end, tokens, text, grammar, kinds)
        if len(got) > len(best):
            best = got
    return best


def _match(
    template: Sequence[str],
    at: int,
    stop: int,
    tokens: Sequence[Token],
    text: str,
    grammar: Grammar,
    kinds: dict[int, Item],
) -> list[Capture]:
    got: list[Capture] = []
    k = at
    for n, part in enumerate(template):
        if not part.startswith("{"):
            if k >= stop or tokens[k].low != part:
                return []
            k += 1
            continue
        following = template[n + 1] if n + 1 < len(template) else None
        s = k
        while s < stop and tokens[s].low in ("a", "an", "the"):
            s += 1
        e = s
        while e < stop and tokens[e].low not in (",", ";", ":") and tokens[e].low != following:
            if (
                e > s
                and kinds.get(e) is not None
                and kinds[e].kind in ("quantity", "condition", "choice", "enter")
                and kinds[e].start == e
                and tokens[e].text[:1].islower()
            ):
                break
            e += 1
        name = part.strip("{}")
        if e == s or (following is not None and (e >= stop or tokens[e].low != following)):
            return []
        if name != "_":
            people = grammar.quantities[name].form == "person"
            if people and s > k:
                return []  # "this is the Grange Hall" is no person
            if people and not all(t.text[:1].isupper() and t.low not in grammar.lang.plain for t in tokens[s:e]):
                return []
            if not _name_like(tokens, s, e, kinds) or (
                people and (e - s > 4 or any(t.kind == "number" for t in tokens[s:e]))
            ):
                return []
            if grammar.quantities[name].form == "code":
                value = _code(tokens, s, e, text, grammar, name)
            else:
                value = text[tokens[s].start : tokens[e - 1].end]
            got.append(Capture(name, value, s, e))
        k = e
    return got
