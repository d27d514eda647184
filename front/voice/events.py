"""What happens in a conversation and what is done about it: the vocabulary of ``front/voice/talk.py``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from front.voice.replies import Reply
from front.voice.sounds import Tone
from front.voice.wording import Asked
from front.voice.words import Command
from schemas.questions import Candidate

__all__ = [
    "Action",
    "Agree",
    "Answering",
    "Began",
    "Changed",
    "Edit",
    "Ended",
    "Event",
    "Heard",
    "Hush",
    "Leaving",
    "Lost",
    "Mark",
    "News",
    "Note",
    "Play",
    "Played",
    "Playing",
    "Say",
    "Settle",
    "Show",
    "Stopped",
    "TakeBack",
    "Tick",
]

Priority = Literal[0, 1, 2, 3, 4]
"""First come 0 stops and lost hearing, then 1 replies and changed values, 2 values said back, 3 questions, 4 rows."""


# -- events ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Began:
    """Somebody other than the tool begins to speak."""

    at: float


@dataclass(frozen=True)
class Ended:
    """Nobody speaks any more."""

    at: float


@dataclass(frozen=True)
class Heard:
    """An utterance is recognised; ``own``: it is the tool's own voice, ``over``: it was spoken over the tool's.

    ``beyond``: words in the tool's own voice that it did not say. ``command``: it is one as a whole. ``reply``: what it
    answers to ``talk.asked``, and ``back`` how that is asked back if it is not clear. ``note``: a note was dictated,
    ``only_noted``: it tells a number, of which no reading is taken.
    """

    start: float
    end: float
    command: Command | None = None
    reply: Reply | None = None
    back: Asked | None = None
    note: str | None = None
    only_noted: bool = False
    own: bool = False
    over: bool = False
    beyond: str = ""


@dataclass(frozen=True)
class News:
    """What an utterance changed in the job.

    ``taken``: ids of readings that now stand, ``said_back`` those of them to be said back. ``replaced`` and ``gone``
    are whole sentences. ``questions``: what is open and can be asked aloud, in the order of the work; ``new`` the ids
    of readings that are asked about for the first time, ``shown`` the questions of these that are not asked aloud.
    ``elsewhere`` is what there is to say of readings at an appliance that the job does not have.
    ``stops``: (rule, words, whether it was said aloud), new ones.
    ``limits``: limits that were quoted, each with the keys of those that say the same. ``number``: a number was said.
    ``left``: what there is to say of the place that was left, None if it was not. ``renewed``: what is still to be
    said of values that do not stand so any more, and what is said instead.
    """

    taken: tuple[str, ...] = ()
    said_back: tuple[Asked, ...] = ()
    replaced: tuple[Asked, ...] = ()
    gone: tuple[str, ...] = ()
    questions: tuple[Asked, ...] = ()
    new: frozenset[str] = frozenset()
    shown: tuple[str, ...] = ()
    elsewhere: str = ""
    stops: tuple[tuple[str, str, bool], ...] = ()
    limits: tuple[tuple[Asked, frozenset[str]], ...] = ()
    number: bool = False
    left: Leaving | None = None
    renewed: tuple[tuple[Say, Say | None], ...] = ()


@dataclass(frozen=True)
class Stopped:
    """Something that others brought to the job stops the work; ``stops`` as in :class:`News`."""

    at: float
    stops: tuple[tuple[str, str, bool], ...]


@dataclass(frozen=True)
class Leaving:
    """What is said before a place is left: what is open there, what is missing, and the row."""

    questions: tuple[Asked, ...]
    missing: str
    row: Asked | None


@dataclass(frozen=True)
class Changed:
    """The job was brought up to date after an utterance from ``start`` to ``end``."""

    start: float
    end: float
    news: News
    answered: bool = False
    """It was an answer: nothing is to be told of what it settled beyond ``news.replaced``."""


@dataclass(frozen=True)
class Playing:
    """The tool is sounding until ``until``."""

    until: float


@dataclass(frozen=True)
class Played:
    """What was said is over; ``whole`` unless it was interrupted."""

    at: float
    say: Say
    whole: bool


@dataclass(frozen=True)
class Answering:
    """Something to be said in reply to what was asked for."""

    say: Say


@dataclass(frozen=True)
class Tick:
    """Time goes on."""

    at: float


@dataclass(frozen=True)
class Lost:
    """The microphone or the disk is gone, or ``back``; ``words`` say which."""

    at: float
    words: str
    back: bool = False


Event = Began | Ended | Heard | Changed | Stopped | Playing | Played | Answering | Tick | Lost


# -- actions -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Play:
    """Sound a tone, now."""

    tone: Tone


@dataclass(frozen=True)
class Say:
    """Speak. ``about`` is what an answer may then be about. ``row``: it reads a whole row back."""

    text: str
    priority: Priority
    about: Asked | None = None
    row: bool = False
    tone: Tone | None = None


@dataclass(frozen=True)
class Hush:
    """Stop speaking at once."""


@dataclass(frozen=True)
class Mark:
    """The utterance is no talk about the work: extraction passes it over."""

    what: Literal["answer", "command", "note", "own voice", "stray"]
    question: str | None = None
    note: str = ""
    appliance: str | None = None
    """The one that it names, where that was asked."""


@dataclass(frozen=True)
class Settle:
    """Answer a question: with a candidate, or (None) nobody can tell."""

    asked: Asked
    candidate: Candidate | None


@dataclass(frozen=True)
class Agree:
    """Let quoted limits bind that were read back, or refuse them."""

    limits: tuple[str, ...]
    agreed: bool


@dataclass(frozen=True)
class Edit:
    """Give a reading that was said back another value."""

    candidate: Candidate


@dataclass(frozen=True)
class TakeBack:
    """Leave a reading out that was taken last, or take back the last answer."""

    readings: tuple[str, ...]


@dataclass(frozen=True)
class Show:
    """Answer a request with something that only the job knows: what was taken, what is missing, how it stands."""

    what: Literal[
        "what_taken",
        "what_missing",
        "all_missing",
        "there",
        "noted",
        "only_noted",
        "held",
        "carried_on",
        "skipped",
        "what_is_it",
        "stands_still",
        "nothing_to_take_back",
        "limit_refused",
    ]


@dataclass(frozen=True)
class Note:
    """Keep a note."""

    text: str


Action = Play | Say | Hush | Mark | Settle | Agree | Edit | TakeBack | Show | Note
