"""Live: when somebody begins and ends to speak, and where the running sound is cut into pieces.

Every sample belongs to exactly one piece. A piece holds one utterance with the quiet before it, or only quiet; so it
can be read by itself, by the same code that reads any other recording, and gives the same words whenever it is read.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from capture.sound import RATE, Samples
from capture.speech import SILENCE, SPEECH, Detector

__all__ = ["WINDOW", "Endpointer", "Mark", "Piece"]

WINDOW = 512
"""Samples a step of the detector; pieces begin and end on a multiple of it, counted from the start of the session."""
MAY_END = 5
"""Windows of silence (0.16 s) after which an utterance may be over: from here on there is all that a recogniser needs,
so it can begin while we wait whether more comes. The detector calls the end a little before the last sound is over."""
ENDS = 20
"""Windows of silence (0.64 s) after which it is over."""
SHORTEST = 3
LONGEST = 700
"""Windows (22.4 s): longer talk is cut where it is quietest."""
LEAD = 94
"""Windows (3 s) of quiet that stay in front of an utterance, to know the noise by."""
QUIET = 940
"""Windows (30 s) after which quiet is a piece by itself."""


@dataclass(frozen=True)
class Piece:
    """Samples ``first`` to ``last`` of the session; ``speech`` is where somebody speaks in them, None where nobody."""

    first: int
    last: int
    speech: tuple[int, int] | None = None

    @property
    def seconds(self) -> float:
        """How long it is."""
        return (self.last - self.first) / RATE


@dataclass(frozen=True)
class Mark:
    """What was found at sample ``at``.

    ``began``: somebody begins to speak. ``may end``: ``piece`` is what would be the piece if no more comes.
    ``goes on``: more came. ``piece``: a piece is complete. ``nothing``: what began was too short to be speech, a click.
    """

    kind: Literal["began", "may end", "goes on", "piece", "nothing"]
    at: int
    piece: Piece | None = None


class Endpointer:
    """Takes the sound of a session block by block. Deterministic: how it is blocked makes no difference."""

    def __init__(self) -> None:
        self._detect = Detector()
        self._rest: Samples = np.zeros(0, np.float32)
        self._count = 0  # windows taken
        self._first = 0  # the window that the next piece begins with
        self._began: int | None = None
        self._last = 0  # the last window with speech
        self._told = False  # that the utterance may be over
        self._chances: list[float] = []  # since ``_began``

    @property
    def speaking(self) -> bool:
        """Whether an utterance is going on, its last pause included."""
        return self._began is not None

    @property
    def spoken_for(self) -> float:
        """Seconds since the utterance began; 0 where nobody speaks."""
        return 0.0 if self._began is None else (self._count - self._began) * WINDOW / RATE

    def take(self, block: Samples) -> Iterator[Mark]:
        """Yield what is found in the next samples, mono float32 at 16 kHz."""
        sound = np.concatenate([self._rest, block])
        whole = len(sound) - len(sound) % WINDOW
        self._rest = sound[whole:]
        if whole:
            for chance in self._detect(sound[:whole].reshape(-1, WINDOW)).tolist():
                yield from self._step(chance)
                self._count += 1

    def cut(self) -> Iterator[Mark]:
        """End the utterance that is going on here and now, as where the tool's own voice is known to end."""
        if self._began is not None:
            last, piece = self._count, self._piece(self._count)
            self._first, self._began = last, None
            yield Mark("piece", last * WINDOW, piece)

    def finish(self) -> Iterator[Mark]:
        """Yield the last piece: the sound has ended, also in the middle of a word."""
        end = self._count * WINDOW + len(self._rest)
        if end > self._first * WINDOW:
            speech = None if self._began is None else (self._began * WINDOW, (self._last + 1) * WINDOW)
            yield Mark("piece", end, Piece(self._first * WINDOW, end, speech))
        self._first, self._began, self._rest = self._count, None, np.zeros(0, np.float32)

    def _step(self, chance: float) -> Iterator[Mark]:
        number = self._count
        if self._began is None:
            if chance >= SPEECH:
                if number - self._first > QUIET // 3 + LEAD:
                    yield self._quiet(number - LEAD)
                self._began, self._last, self._told, self._chances = number, number, False, [chance]
                yield Mark("began", number * WINDOW)
            elif number - self._first >= QUIET + LEAD:
                yield self._quiet(number - LEAD)
            return
        self._chances.append(chance)
        if chance >= SPEECH or (chance >= SILENCE and self._last == number - 1):
            self._last = number
            if self._told:
                self._told = False
                yield Mark("goes on", number * WINDOW)
        silent = number - self._last
        if silent >= MAY_END and not self._told:
            self._told = True
            if self._last - self._began + 1 >= SHORTEST:
                yield Mark("may end", (number + 1) * WINDOW, self._piece(self._last + 1 + MAY_END))
        if silent >= ENDS:
            long_enough = self._last - self._began + 1 >= SHORTEST
            piece = self._piece(self._last + 1 + MAY_END)
            self._began = None
            if long_enough:
                self._first = self._last + 1 + MAY_END
                yield Mark("piece", (number + 1) * WINDOW, piece)
            else:
                yield Mark("nothing", (number + 1) * WINDOW)
        elif number - self._began >= LONGEST:
            yield from self._cut_long()

    def _piece(self, last: int) -> Piece:
        assert self._began is not None
        return Piece(self._first * WINDOW, last * WINDOW, (self._began * WINDOW, (self._last + 1) * WINDOW))

    def _quiet(self, last: int) -> Mark:
        piece = Piece(self._first * WINDOW, last * WINDOW)
        self._first = last
        return Mark("piece", (self._count + 1) * WINDOW, piece)

    def _cut_long(self) -> Iterator[Mark]:
        """Cut talk without a pause where the second half of it is quietest."""
        assert self._began is not None
        half = len(self._chances) // 2
        quietest = half + int(np.argmin(self._chances[half:]))
        at, last = self._began + quietest, self._last
        self._last = at - 1
        piece = self._piece(at)
        self._first, self._began, self._last, self._chances = at, at, max(last, at), self._chances[quietest:]
        yield Mark("piece", (self._count + 1) * WINDOW, piece)
