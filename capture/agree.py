"""When a value may be taken unasked: independent readings agree, and nothing that could change it is hidden."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

import numpy as np

from capture.display import OTHER
from schemas.base import is_value_text
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Opinion

__all__ = ["Verdict", "View", "alternatives_of", "differences", "likeliest", "verdict"]

_TWINS = {"1": "7", "7": "1", "3": "8", "8": "36", "6": "8", "9": "8", "0": "8", "5": "6"}


def likeliest(opinions: list[Opinion]) -> str:
    """The value that most opinions hold; of equals, the one with a point, which readers lose and do not invent.

    Then the one with the better score, then the first.
    """
    votes: Counter[str] = Counter()
    for opinion in opinions:
        if opinion.text:
            votes[opinion.text] += 1
    if not votes:
        return ""
    most = max(votes.values())
    scores = {text: max(o.score for o in opinions if o.text == text) for text in votes}
    first = [text for text in votes if votes[text] == most]
    pointed = [text for text in first if "." in text and text.replace(".", "") in first]
    return max(pointed or first, key=lambda text: scores[text])


def differences(value: str, opinions: list[Opinion]) -> list[Doubt]:
    """Doubts from opinions that do not hold the value, each saying who read what."""
    doubts = []
    for opinion in opinions:
        if opinion.text == value:
            continue
        kind = DoubtKind.DIGIT_UNSURE
        if opinion.text.lstrip("-") == value.lstrip("-"):
            kind = DoubtKind.SIGN_UNCLEAR
        detail = f"{opinion.reader} read {opinion.text or 'nothing'}"
        doubts.append(Doubt(kind=kind, detail=detail))
    return doubts


def alternatives_of(value: str, opinions: list[Opinion], limit: int = 6) -> tuple[str, ...]:
    """What else a value may be, likeliest first: other opinions, then the point moved, the sign, a twin digit."""
    others = [o.text for o in sorted(opinions, key=lambda o: -o.score) if o.text]
    if re.fullmatch(r"-?\d+(\.\d+)?", value):
        others += _moved(value)
        others.append(value[1:] if value.startswith("-") else "-" + value)
        for place, digit in enumerate(value):
            others += [value[:place] + twin + value[place + 1 :] for twin in _TWINS.get(digit, "")]
    kept: list[str] = []
    for other in others:
        if other != value and other not in kept and is_value_text(other):
            kept.append(other)
    return tuple(kept[:limit])


def _moved(value: str) -> list[str]:
    """The value with its point one place to the right and one to the left, in the digits shown."""
    sign, body = ("-", value[1:]) if value.startswith("-") else ("", value)
    whole, _, part = body.partition(".")
    moved = []
    if part:
        moved.append(sign + (whole + part[0]).lstrip("0").rjust(1, "0") + (f".{part[1:]}" if part[1:] else ""))
    if len(whole) > 1:
        moved.append(sign + whole[:-1] + "." + whole[-1] + part)
    elif whole != "0":
        moved.append(f"{sign}0.{whole}{part}")
    return moved


@dataclass(frozen=True)
class View:
    """What one reader made of one cut of a place: values with their shares, and the texts they come from.

    ``even`` says that the light was evened out before: good for faint ink, and too keen on ghosts.
    """

    reader: str
    cut: str
    values: dict[str, float]
    texts: dict[str, float]
    even: bool = False

    @property
    def value(self) -> str:
        """The likeliest value; empty for none."""
        return next(iter(self.values), "")

    @property
    def share(self) -> float:
        return next(iter(self.values.values()), 0.0)


@dataclass(frozen=True)
class Verdict:
    """The value that all views together hold likeliest, what else it may be, and why it may not be taken unasked."""

    value: str
    opinions: tuple[Opinion, ...] = ()
    alternatives: tuple[str, ...] = ()
    doubts: tuple[Doubt, ...] = ()


_FLOOR = 1e-3
SURE = 0.6
VERY_SURE = 0.9
GHOST_FREE = "without ghosts"
INK = "ink alone"
_HARDLY = 0.3


def verdict(views: list[View]) -> Verdict:
    """Weigh views of one number: the value with the highest sum of logarithms of its shares.

    No doubt only where our reader holds it in every cut, one reading in even light and PP-OCR hold it too, and no
    reading of PP-OCR holds another.
    """
    weights = [0.6 if view.reader == "pp-ocr" else 0.3 if view.even else 1.0 for view in views]
    shown = sorted({value for view in views for value, share in view.values.items() if value and share > 0.02})
    if not shown:
        return Verdict("")
    sums = {
        value: sum(
            weight * float(np.log(view.values.get(value, 0.0) + _FLOOR))
            for view, weight in zip(views, weights, strict=True)
        )
        for value in shown
    }
    ranked = sorted(shown, key=lambda value: -sums[value])
    best = _without_ghosts(ranked[0], views)
    opinions = tuple(
        Opinion(reader=f"{view.reader}, {view.cut}", text=view.value, score=round(min(view.share, 1.0), 4))
        for view in views
    )
    others = [value for value in ranked if value != best]
    return Verdict(best, opinions, _alternatives(best, others), tuple(_reasons(best, views)))


def _without_ghosts(value: str, views: list[View]) -> str:
    """The value without leading figures that only unlit segments show: eights and ones, gone with faint ink."""
    strong = next((view.value for view in views if view.cut == GHOST_FREE), "")
    lead = value.removesuffix(strong)
    return strong if strong and lead != value and set(lead) <= set("81") else value


def _reasons(value: str, views: list[View]) -> list[Doubt]:
    """Why a value may not be taken: none where our reader, in even light too, and PP-OCR hold it."""
    plain = [view for view in views if view.reader != "pp-ocr" and not view.even and view.cut != GHOST_FREE]
    second = [view for view in views if view.reader == "pp-ocr"]
    even = sum(view.value == value for view in views if view.even)
    doubts = _own_reasons(value, plain)
    if not even:
        doubts.append(Doubt(kind=DoubtKind.DIGIT_UNSURE, detail="not read so in even light"))
    # PP-OCR loses points: its digits bear the value out where everything else is very sure. Where it can hardly tell
    # one text from another it says nothing, for or against.
    sure = all(view.value == value and view.share > VERY_SURE for view in plain) and even > 1
    bare = value.replace(".", "")
    said = [view for view in second if view.value == value or (view.value and view.share >= _HARDLY)]
    held = any(view.value == value or (sure and view.value == bare) for view in said)
    others = [view for view in said if view.value != value]
    doubts += [_doubt(value, view) for view in others if not (held and _passed_over(value, view, said, views))]
    if not held:
        doubts.append(Doubt(kind=DoubtKind.DIGIT_UNSURE, detail="read by one recogniser only"))
    return doubts


def _passed_over(value: str, view: View, said: list[View], views: list[View]) -> bool:
    """Whether what PP-OCR made of one cut is no reason to ask, another of its cuts holding the value."""
    if view.value == value.replace(".", ""):
        return True
    if value in _without_inner_one(view.value) and _surely_ours(value, views):
        return True  # the two halves of an upright stroke beside a digit, read as a one
    wide = view.cut.startswith("wider")
    if wide and view.value.startswith(value):
        return True  # the unit, read as one more figure behind the number
    same = [one.cut for one in said if one.value == value]
    if wide and value == "-" + view.value:
        return len(same) > 1  # a short minus, lost where it is small
    # A sign or a figure in front of it that is the frame or an unlit digit: it must be gone where only ink is left, and
    # our reader must hold the value in its widest cuts.
    widest = [one for one in views if one.cut.startswith("widest") and one.reader != "pp-ocr"]
    return (
        INK not in view.cut
        and view.value.endswith(value.lstrip("-"))
        and f"wider, {INK}" in same
        and (wide or f"close, {INK}" in same)
        and bool(widest)
        and all(one.value == value and one.share > VERY_SURE for one in widest)
    )


def _without_inner_one(value: str) -> list[str]:
    """A value with a one between two other digits left out, each in turn."""
    return [value[: at.start()] + value[at.end() :] for at in re.finditer(r"(?<=[02-9])1(?=[02-9])", value)]


def _surely_ours(value: str, views: list[View]) -> bool:
    """Whether our reader holds a value in every cut, in even light too, and very surely in the first two."""
    ours = [view for view in views if view.reader != "pp-ocr"]
    return all(view.value == value for view in ours) and all(view.share > VERY_SURE for view in ours[:2])


def _own_reasons(value: str, plain: list[View]) -> list[Doubt]:
    """Doubts from our reader: the close and the wider cut must hold the value surely, and all but one of the rest."""
    doubts = []
    others = [view for view in plain if view.value != value and not _holds_words(view)]
    if len(others) > 1 or any(view in others for view in plain[:2]):
        doubts += [_doubt(value, view) for view in others]
    doubts += [
        Doubt(kind=DoubtKind.DIGIT_UNSURE, detail=f"{view.reader} is not sure of it ({view.cut})")
        for view in plain[:2]
        if view.value == value and view.share < SURE
    ]
    if next(iter(plain[0].texts), "") != value == plain[0].value:
        doubts.append(Doubt(kind=DoubtKind.CUT_OFF, detail="a sign beside it could not be read"))
    return doubts


def _holds_words(view: View) -> bool:
    """Whether a cut is so wide that words beside the number are in it; a minus alone is no word."""
    return view.cut == "widest" and not view.value and OTHER in next(iter(view.texts), "")


def _doubt(value: str, view: View) -> Doubt:
    same = view.value.lstrip("-") == value.lstrip("-")
    kind = DoubtKind.SIGN_UNCLEAR if same else DoubtKind.DIGIT_UNSURE
    return Doubt(kind=kind, detail=f"{view.reader} read {view.value or 'nothing'} ({view.cut})")


def _alternatives(value: str, others: list[str]) -> tuple[str, ...]:
    opinions = [Opinion(reader="", text=other, score=1 - at / 100) for at, other in enumerate(others[:6])]
    return alternatives_of(value, opinions)
