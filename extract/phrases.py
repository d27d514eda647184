"""Every phrase of sheet, units and language, by its first word: what the lexicon looks sentences up in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from extract.language import Language
from extract.tokens import tokenize
from schemas.sheet import Sheet
from schemas.units import units

__all__ = ["HEARD_ALIKE", "Entry", "Mention", "Phrases", "entries", "index", "words_of"]

HEARD_ALIKE = 0.4  # a phrase that only sounds like one of ours
_KEPT = frozenset(("limit", "history", "future", "unsure"))
_OF_THEIR_OWN = frozenset(
    ("before", "after", "correct", "undo", "comment", "noise", "swap", "interrupted", "question", "instruct", "reading")
)


class Mention(NamedTuple):
    """A quantity as named: every quantity that the words may mean, and whether the name is shared by several."""

    ids: tuple[str, ...]
    vague: tuple[str, ...] = ()


class Entry(NamedTuple):
    words: tuple[str, ...]
    kind: str
    value: Any
    cost: float


Phrases = dict[str, tuple[tuple[int, dict[tuple[str, ...], list[Entry]]], ...]]


def words_of(phrase: str) -> tuple[str, ...]:
    return tuple(t.low for t in tokenize(phrase))


def entries(sheet: Sheet, lang: Language) -> list[Entry]:
    """Every phrase of sheet, units and language, merged where several kinds share one."""
    named: dict[tuple[str, ...], Mention] = {}
    alike: dict[tuple[str, ...], Mention] = {}

    def add(table: dict[tuple[str, ...], Mention], phrase: str, quantity: str, vague: bool) -> None:
        words = words_of(phrase)
        old = table.get(words, Mention(()))
        if vague:
            table[words] = Mention(old.ids, (*old.vague, quantity))
        elif quantity not in old.ids:
            table[words] = Mention((*old.ids, quantity), old.vague)

    for q in sheet.quantities:
        if q.kind == "move":
            continue
        for phrase in q.said:
            add(named, phrase, q.id, False)
        for phrase in q.vaguely:
            add(named, phrase, q.id, True)
        for phrase in q.sounds_like:
            add(alike, phrase, q.id, False)
    for table in (named, alike):
        for words, mention in list(table.items()):
            if "two" in words:
                table.setdefault(tuple("2" if w == "two" else w for w in words), mention)
    for words, mention in list(named.items()):
        more = (*words[:-1], words[-1] + "s")
        if not words[-1].endswith("s") and len(words[-1]) > 3 and more not in named:
            named[more] = mention
    found = [Entry(words, "quantity", mention, -0.02 * len(words)) for words, mention in named.items()]
    found += [Entry(words, "quantity", m, HEARD_ALIKE) for words, m in alike.items() if words not in named]

    enters: dict[tuple[str, ...], list[str]] = {}
    for c in sheet.conditions:
        for phrase in c.said:
            found.append(Entry(words_of(phrase), "condition", c.id, -0.05))
        for phrase in c.sounds_like:
            found.append(Entry(words_of(phrase), "condition", c.id, HEARD_ALIKE))
        for phrase in c.enter:
            enters.setdefault(words_of(phrase), []).append(c.id)
    found += [Entry(words, "enter", tuple(ids), -0.1) for words, ids in enters.items()]

    for s in sheet.screws:
        found += [Entry(words_of(p), "screw", s.id, -0.05) for p in s.said]
        found += [Entry(words_of(p), "short screw", s.id, 0.05) for p in s.short]

    states: dict[tuple[str, ...], list[tuple[str, str]]] = {}
    for q in sheet.quantities:
        for state, phrases in q.states.items():
            for phrase in phrases:
                states.setdefault(words_of(phrase), []).append((q.id, state))
    found += [Entry(words, "state", tuple(pairs), 0.05) for words, pairs in states.items()]
    for q in sheet.quantities:
        for state, phrases in q.tells.items():
            found += [Entry(words_of(p), "tell", (q.id, state), -0.1) for p in phrases]
        for option, phrases in q.choices.items():
            found += [Entry(words_of(p), "choice", (q.id, option), -0.05) for p in phrases]

    for u in units().values():
        for phrase in (*u.said, *lang.units.get(u.code, ())):
            words = words_of(phrase)
            if words in (("in", "."), ("in",)):
                continue  # "a quarter turn in."
            found.append(Entry(words, "unit", u.code, -0.1))
    found += [Entry(words_of(p), "unit", "deg", -0.05) for p in lang.degrees]
    taken = {e.words for e in found if e.kind in ("quantity", "condition")}
    found += [Entry(w, "other", p, 0.0) for p in sheet.leave_alone if (w := words_of(p)) not in taken]

    roles: dict[tuple[str, ...], set[str]] = {}
    for role, phrases in lang.cues.items():
        for phrase in phrases:
            roles.setdefault(words_of(phrase), set()).add(role)
    for words, own in list(roles.items()):
        if len(words) > 1 and not own & _OF_THEIR_OWN:
            # "need to" is also "need": a longer phrase must not hide that a shorter one in it is no reading
            parts = (words[a:b] for a in range(len(words)) for b in range(a + 1, len(words) + 1) if b - a < len(words))
            roles[words] = own.union(*(roles.get(part, set()) & _KEPT for part in parts))
    found += [Entry(words, "cue", frozenset(r), -0.01 * len(words)) for words, r in roles.items()]
    return found


def index(entries: Sequence[Entry]) -> Phrases:
    """Phrases by their first word, then by their number of words, then by all of them."""
    index: dict[str, dict[int, dict[tuple[str, ...], list[Entry]]]] = {}
    for entry in entries:
        if entry.words:
            index.setdefault(entry.words[0], {}).setdefault(len(entry.words), {}).setdefault(entry.words, []).append(
                entry
            )
    return {first: tuple(sizes.items()) for first, sizes in index.items()}
