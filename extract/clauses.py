"""Sentences, their segments, and what kind of talk each segment is. Only a reading or a correction may write.

A segment is the stretch between commas, conjunctions and correction words. Kinds are decided by cues of the language
file: question, instruction, history, limit, future, reading, noise; where one kind ends in the middle of a sentence
("spec says nine, and it reads nine one") is decided here too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from extract.lexicon import Item
from extract.tokens import Token

__all__ = ["Segment", "Sentence", "sentences"]

BREAKS = frozenset(".?!;")
COMPARED = "compared"  # the joint of what is set against a value
SOFT = frozenset(",:—–")
COPULA = frozenset(("is", "'s", "are", "was", "were", "reads", "at", "shows", "sits", "equals", "="))
PAST = frozenset(("was", "were", "had", "got", "went", "settled", "came", "'d", "did", "lit"))
_WAYS = frozenset(("at", "to", "on", "in", "for", "up", "down", "into", "from", "back"))
PLACES = _WAYS | {"hold", "holding", "it", "now", "then", "this"}

PUT_OFF = frozenset(("once", "when", "until", "till", "see", "if"))
_SEEN = frozenset(("was", "were", "saw", "seen", "got", "reached", "hit", "came", "went"))
_THINGS = frozenset(("quantity", "word", "state", "other", "unit"))


@dataclass(slots=True)
class Segment:
    """One stretch of a sentence. ``kind``: reading, limit, history, question, instruction, future, noise."""

    items: list[Item]
    joint: str = ""
    kind: str = "reading"
    doubtful: str = ""
    numbers: list[Item] = field(default_factory=list)
    quantities: list[Item] = field(default_factory=list)
    conditions: list[Item] = field(default_factory=list)
    roles: frozenset[str] = frozenset()

    def has(self, *roles: str) -> bool:
        """Whether a cue with one of these roles stands in it."""
        return not self.roles.isdisjoint(roles)

    def says(self, words: frozenset[str], tokens: Sequence[Token]) -> bool:
        """Whether one of these words stands in it outside a longer phrase."""
        return any(tokens[k].low in words for i in self.items for k in range(i.start, i.end))


@dataclass(slots=True)
class Sentence:
    """One sentence: its segments in order and the mark it ends with."""

    segments: list[Segment]
    mark: str
    continues: bool = False
    corrects: bool = False

    @property
    def items(self) -> list[Item]:
        """All items in order."""
        return [i for s in self.segments for i in s.items]


def sentences(items: Sequence[Item], tokens: Sequence[Token]) -> list[Sentence]:
    """Return the sentences of a row of items, their segments classified."""
    found: list[Sentence] = []
    current: list[Segment] = [Segment([])]

    continues = False

    def close(mark: str) -> None:
        nonlocal current, continues
        segments = [s for s in current if s.items]
        if segments:
            found.append(Sentence(segments, mark, continues))
        current, continues = [Segment([])], False

    for n, item in enumerate(items):
        low = tokens[item.start].low
        if item.kind == "mark":
            if low in BREAKS:
                close(low)
            elif low in ("-", "–", "/") and tokens[item.start].joined:
                current[-1].items.append(item)
            elif low in SOFT or (low == "-" and not tokens[item.start].joined):
                current.append(Segment([], low))
            continue
        if item.kind == "filler":
            continue
        follows = items[n + 1] if n + 1 < len(items) else None
        if low == "no" and item.end == item.start + 1 and follows is not None and follows.kind in _THINGS:
            current[-1].items.append(item._replace(kind="plain", also=()))  # "no CO in here" corrects nothing
            continue
        if (item.role("correct") or item.role("undo")) and item.kind in ("cue", "plain", "word", "state"):
            valued = any(i.kind == "number" for s in current for i in s.items)
            anything = any(i.kind not in ("plain", "filler") for s in current for i in s.items)
            if valued:
                close("")
                continues = True
            elif anything and item.role("weak"):
                continue
            current.append(Segment([item], "correct"))
            current.append(Segment([], "correct"))
            continue
        if low in ("but", "whereas", "while", "although", "though", "because", "so") and item.end == item.start + 1:
            current.append(Segment([item], low))
            continue
        if item.kind == "cue" and item.role("compared") and any(i.kind == "number" for i in current[-1].items):
            current.append(Segment([item], COMPARED))
            continue
        ends = follows is None or follows.kind == "mark"  # "a hundred plus": more than that
        if item.role("and") and item.end == item.start + 1 and item.kind != "number" and not (low == "plus" and ends):
            last = current[-1].items[-1] if current[-1].items else None
            if (
                last is not None
                and last.get("unit") in ("{turn}", "min")
                and n + 1 < len(items)
                and items[n + 1].kind == "number"
            ):
                continue  # "a turn and a half", "a minute and four seconds"
            current.append(Segment([], "and"))
            continue
        if item.kind == "cue" and (item.role("future") or item.role("question")) and _complete(current[-1]):
            current.append(Segment([], "then"))  # "eight seven CO2 I'll leave it there": the reading stands by itself
        if item.kind in ("quantity", "condition") and _quoted(current[-1]) and _stated(items[n : n + 6], tokens):
            current.append(Segment([], ","))  # "spec is nine to nine and a half high fire CO2 is nine one"
        current[-1].items.append(item)
        if item.kind == "unit" and tokens[item.end - 1].low == "." and item.end < len(tokens):
            nxt = tokens[item.end]
            if nxt.text[:1].isupper():
                close(".")
    close("")
    before: Sentence | None = None
    for n, sentence in enumerate(found):
        for segment in sentence.segments:
            _features(segment, tokens)
        said = before is not None and any(s.has("i_said") for s in before.segments)
        sentence.corrects = said and any(s.has("ought") for s in sentence.segments[:1])
        if n + 1 < len(found) and _bare(sentence) and _puts_right(found[n + 1]):
            sentence.corrects = True
        _classify(sentence, tokens)
        if (
            sentence.continues
            and before is not None
            and not any(s.quantities or s.conditions for s in sentence.segments)
        ):
            # "spec says nine, sorry, nine and a half" is a limit all along
            for segment in sentence.segments:
                if segment.kind == "reading":
                    segment.kind = before.segments[-1].kind
        before = sentence
    return found


def _bare(s: Sentence) -> bool:
    """Whether a sentence is a number and nothing that it could be of."""
    things = [i for i in s.items if i.kind != "plain" and not any(map(i.role, ("reading", "now", "changed")))]
    return {"number"} <= {i.kind for i in things} <= {"number", "unit"}


def _puts_right(s: Sentence) -> bool:
    """Whether a sentence is nothing but words that put right what stands before it: "nine three, sorry"."""
    return s.continues and all(i.role("put_right") or i.kind == "plain" for i in s.items)


def _complete(s: Segment) -> bool:
    """Whether a quantity and its number stand in it, and nothing that makes it something else than a reading."""
    kinds = {i.kind for i in s.items}
    other = any(i.role(r) for i in s.items for r in ("future", "question", "limit", "report", "history", "instruct"))
    return {"quantity", "number"} <= kinds and not other


def _quoted(s: Segment) -> bool:
    """Whether a limit with its number stands in a segment."""
    kinds = [i.kind for i in s.items]
    return "number" in kinds and any(i.role("limit") or i.role("report") for i in s.items)


def _stated(items: Sequence[Item], tokens: Sequence[Token]) -> bool:
    """ "High fire CO2 is nine one": a name, "is", a number, and nothing else in between."""
    kinds = [i.kind for i in items if i.kind not in ("condition", "enter")]
    told = kinds[:1] == ["quantity"] and kinds[2:3] == ["number"]
    return told and any(
        tokens[i.start].low in ("is", "'s", "reads", "shows") for i in items if i.kind in ("plain", "cue")
    )


def _features(s: Segment, tokens: Sequence[Token]) -> None:
    s.numbers = [i for i in s.items if i.kind == "number"]
    s.quantities = [i for i in s.items if i.kind == "quantity"]
    s.conditions = [
        i for n, i in enumerate(s.items) if i.kind in ("condition", "enter") and _is_condition(s, n, tokens)
    ]
    roles: set[str] = set()
    for n, i in enumerate(s.items):
        cues = i.get("cue")
        if cues:
            if i.kind in ("quantity", "condition", "enter", "screw", "number") and not (
                i.kind == "condition" and i not in s.conditions
            ):
                continue
            roles |= cues
            if "extreme" in cues and _is_limit_word(s, n, tokens):
                roles.add("peak" if _was_seen(s, n, tokens) else "limit")
    s.roles = frozenset(roles)


def _is_condition(s: Segment, n: int, tokens: Sequence[Token]) -> bool:
    """Bare "high", "low", "max", "running" are conditions only where they stand like one."""
    item = s.items[n]
    if item.end > item.start + 1 or item.kind == "enter":
        return True
    w = tokens[item.start].low
    before = s.items[n - 1] if n else None
    after = s.items[n + 1] if n + 1 < len(s.items) else None
    if w in ("high", "low"):
        same = before is not None and tokens[before.start].low in ("also", "both", "all", "same", "again")
        if before is not None and before.kind != "number" and tokens[before.end - 1].low in ("to", "on", "at", "now"):
            return after is None or after.kind in ("quantity", "number")  # "back down to low, CO 17"
        exact = after is None or (after.kind == "number" and not after.value.about)  # "CO2 high 9.3", not "high nines"
        loose = before is None or before.kind in ("number", "unit") or (exact and before.kind == "quantity")
        return loose or (same and after is None)
    if item.role("extreme"):
        return not _is_limit_word(s, n, tokens)
    return True


def _was_seen(s: Segment, n: int, tokens: Sequence[Token]) -> bool:
    """ "Max CO was three hundred", "the highest CO I saw": what it came to, and no limit."""
    behind = {tokens[k].low for i in s.items[n + 1 :] for k in range(i.start, i.end)}
    return not behind.isdisjoint(_SEEN) and not any(i.role("limit") for i in s.items)


def _is_limit_word(s: Segment, n: int, tokens: Sequence[Token]) -> bool:
    """ "Maximum inlet", "CO2 max is": a limit. "At maximum", "maximum, CO2 nine": a firing rate."""
    before = s.items[n - 1] if n else None
    after = s.items[n + 1] if n + 1 < len(s.items) else None
    if s.items[n].end > s.items[n].start + 1:
        return True
    if before is not None and tokens[before.end - 1].low in PLACES:
        return False
    if after is None:
        return False
    if before is None and tokens[after.start].low in COPULA and tokens[after.start].low != "at":
        return True
    if after.kind in ("quantity", "condition") or after.role("limit"):
        return True
    if tokens[after.start].low in ("allowed", "allowable", "permitted", "of", "value", "reading", "level", "pressure"):
        return True
    return before is not None and before.kind in ("quantity", "condition") and after.kind in ("plain", "number", "cue")


def _classify(sentence: Sentence, tokens: Sequence[Token]) -> None:
    segments = sentence.segments
    if _is_noise(sentence, tokens):
        for s in segments:
            s.kind = "noise"
        return
    for s in segments:
        if s.joint == COMPARED and not s.has("now"):
            s.kind = "history"
    _extremes(segments, tokens)
    _questions(sentence, tokens)
    _instructions(sentence, tokens)
    _span(sentence, tokens, "history", ("history",))
    _span(sentence, tokens, "limit", ("limit", "report"))
    for s in segments:
        if s.kind == "reading" and s.has("future") and not (s.says(PAST, tokens) or _over(s, tokens)):
            s.kind = "future"
    for s, behind in pairwise(segments):
        if s.kind == "future" and not s.numbers and not behind.quantities and tokens[behind.items[0].start].low == "be":
            behind.kind = "future"  # "CO2 would | then be nine two"


def _over(s: Segment, tokens: Sequence[Token]) -> bool:
    """ "Before I cleaned it": what else would be to come is over where it ends in a past tense."""
    ahead = [tokens[i.end].low for i in s.items if i.role("future") and i.end < len(tokens)]
    return bool(ahead) and all(low.endswith("ed") for low in ahead)


def _extremes(segments: Sequence[Segment], tokens: Sequence[Token]) -> None:
    """ "Inlet six eight, min four max fourteen": what stands behind a reading as its bounds."""
    for n, s in enumerate(segments):
        if not (n and s.numbers) or s.quantities or not any(x.quantities and x.numbers for x in segments[:n]):
            continue
        bounds = [k for k, i in enumerate(s.items[:-1]) if i.role("extreme") and s.items[k + 1].kind == "number"]
        if bounds[:1] == [0]:
            s.kind = "limit" if len(bounds) > 1 else s.kind
            s.doubtful = s.doubtful or "limit"


def _is_noise(sentence: Sentence, tokens: Sequence[Token]) -> bool:
    """Politeness that recognisers invent, and one thing said over and over."""
    items = sentence.items
    lows = [tokens[k].low for i in items for k in range(i.start, i.end)]
    if all(i.role("noise") for i in items):
        return True
    return len(lows) >= 4 and len(set(lows)) == 1


def _lead(sentence: Sentence, tokens: Sequence[Token]) -> tuple[int, Item] | None:
    """The first item that carries meaning: after "okay", "hey", and a name with a comma."""
    for n, s in enumerate(sentence.segments):
        names = [i for i in s.items if i.kind == "word"]
        last = n + 1 == len(sentence.segments)
        if not last and len(s.items) <= 2 and len(names) == 1 and tokens[names[0].start].text[:1].isupper():
            others = [i for i in s.items if i.kind != "word"]
            if all(i.role("hello") or i.kind == "plain" for i in others):
                continue
        for i in s.items:
            small = tokens[i.start].low in (
                "so",
                "okay",
                "ok",
                "well",
                "and",
                "just",
                "now",
                "then",
                "right",
                "alright",
                "but",
            )
            if (small and i.end == i.start + 1) or i.role("hello"):
                continue
            return n, i
    return None


def _questions(sentence: Sentence, tokens: Sequence[Token]) -> None:
    segments = sentence.segments
    lead = _lead(sentence, tokens)
    asks = lead is not None and lead[1].role("question")
    if sentence.mark == "?":
        tail = segments[-1]
        tagged = len(segments) > 1 and all(i.role("tag_question") or i.kind == "plain" for i in tail.items)
        if tagged and not asks:
            for s in segments:
                s.doubtful = "question"
            return
        headed = next((n for n, s in enumerate(segments) if n and any(i.role("question") for i in s.items[:2])), None)
        if asks and lead is not None and _dictated(segments[lead[0]]):
            for s in segments:
                s.doubtful = "question"
            return
        told = segments[:headed]
        if not asks and headed and told[0].quantities and any(s.numbers for s in told):
            wh = any(tokens[i.start].low.startswith(("wh", "how")) for i in segments[headed].items[:2])
            for s in segments:
                if wh and s not in told:
                    s.kind = "question"  # "supply 152, return 129, so what's the difference?"
                elif not wh:
                    s.doubtful = "question"
            return
        for s in segments:
            s.kind = "question"
    elif asks and lead is not None:
        for s in segments[lead[0] :]:
            if s is not segments[lead[0]] and s.quantities and s.numbers and s.says(COPULA, tokens):
                break
            s.kind = "question"


def _instructions(sentence: Sentence, tokens: Sequence[Token]) -> None:
    lead = _lead(sentence, tokens)
    if lead is None or lead[1].role("approx") or lead[1].role("correct"):
        return
    if not _put_off(sentence, lead[1], tokens) and (
        not lead[1].role("instruct")
        or lead[1].role("dictate")
        or lead[1].kind in ("quantity", "condition", "enter")
        or _dictated(sentence.segments[lead[0]])
    ):
        return
    for n, s in enumerate(sentence.segments[lead[0] :]):
        if n and s.quantities and (s.numbers or s.says(COPULA, tokens)):
            break
        if s.kind == "reading":
            s.kind = "instruction"


def _put_off(sentence: Sentence, lead: Item, tokens: Sequence[Token]) -> bool:
    """ "Let's record it once it settles", "let's log nine two and see": that is still to be done."""
    lets = tokens[lead.start].low.startswith("let") and (lead.role("dictate") or lead.role("instruct"))
    return lets and any(s.says(PUT_OFF, tokens) for s in sentence.segments)


def _dictated(s: Segment) -> bool:
    """ "Please write down", "can you log": what follows is to be recorded."""
    return any(i.role("dictate") for i in s.items[:3]) and bool(s.quantities) and bool(s.numbers)


def _span(sentence: Sentence, tokens: Sequence[Token], kind: str, roles: tuple[str, ...]) -> None:
    """Give ``kind`` to the segments that a cue rules: where it stands, what it points back to, what goes on after."""
    segments = sentence.segments
    corrected = sentence.corrects or segments[0].has("correct", "undo")
    at = next(
        (
            n
            for n, s in enumerate(segments)
            if s.kind == "reading" and _cue(s, roles, tokens) and not (corrected and s.has("ought"))
        ),
        None,
    )
    if at is None:
        return
    cue = segments[at]
    if not cue.numbers and kind in ("history", "limit"):
        # the cue's own segment has no value: it may speak of what was said before it, or of what follows
        before = [s for s in segments[:at] if s.numbers]
        complete = any(s.quantities for s in before)
        points_back = _points_back(cue, tokens)
        if before and kind == "limit" and complete and not points_back:
            cue.kind = kind
            return
        said = {tokens[k].low for i in cue.items[:3] for k in range(i.start, i.end)}
        if (
            before and kind == "limit" and complete and "what" in said
        ):  # "CO2 is eight five, that's what the book wants": read, or quoted?
            cue.kind = kind
            for s in before:
                s.doubtful = kind
            return
        if before:
            for s in segments[: at + 1]:
                if not s.has("now") or s is cue:
                    s.kind = kind
    cue.kind = kind
    named = bool(cue.quantities)
    for s in segments[at + 1 :]:
        if (
            s.has("now", "correct", "changed")
            or s.joint == "correct"
            or (s.has("reading") and not _cue(s, roles, tokens))
        ):
            break
        if not s.numbers or _cue(s, roles, tokens):
            s.kind = kind
            named = named or bool(s.quantities)
            continue
        if kind == "limit" and s.quantities and not _ranged(s, tokens):
            same = {q.value for q in s.quantities} & {q.value for c in segments[: at + 1] for q in c.quantities}
            rates = [{c.value for c in x.conditions} for x in (cue, s)]
            if same and all(rates) and rates[0] != rates[1]:
                s.doubtful = "limit"  # "book says high fire CO2 is nine five, low fire CO2 is eight eight"
                break
            if s.says(COPULA, tokens) and (s.conditions or s.joint in (",", "but", "so")):
                break
            if s.conditions and not cue.conditions:
                break
            if same or not named or s.says(COPULA, tokens):
                s.doubtful = "limit"
                break
        elif kind == "limit" and not s.quantities and s.conditions and s.says(COPULA, tokens):
            break
        if s.joint == "but":
            break
        s.kind = kind


def _ranged(s: Segment, tokens: Sequence[Token]) -> bool:
    """ "CO2 high fire, eight five to nine five": its only numbers are the ends of a range, none is a reading."""
    first = s.numbers[0] if s.numbers else None
    moved = first is not None and first.start > 0 and tokens[first.start - 1].low == "from"
    return len(s.numbers) == 2 and s.has("range_to") and not s.has("changed", "change") and not moved


def _points_back(s: Segment, tokens: Sequence[Token]) -> bool:
    """ "That's the spec", "which is the max"."""
    lows = [tokens[i.start].low for i in s.items[:2]]
    return (bool(lows) and lows[0] in ("that", "which", "that's", "this")) or any(
        i.role("that_was") for i in s.items[:1]
    )


def _cue(s: Segment, roles: tuple[str, ...], tokens: Sequence[Token]) -> bool:
    if not s.has(*roles):
        return False
    return not (s.has("comment") and not s.numbers)
