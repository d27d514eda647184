"""Hearing and seeing as the job book needs them: loaded only when there is something to hear or to look at."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from capture.media import Media
from schemas.evidence import Look, Utterance
from schemas.sheet import Sheet

if TYPE_CHECKING:
    from capture.readers import Readers
    from capture.recogniser import Recogniser

__all__ = ["Hear", "Senses", "senses"]


class Hear(Protocol):
    """Hears a file, utterance by utterance, leaving out those with a number below ``skip``.

    ``progress`` is called with the seconds of the file that are done.
    """

    def __call__(
        self, path: Path, sha256: str, *, skip: int, progress: Callable[[float], None]
    ) -> Iterator[Utterance]: ...


@dataclass(frozen=True)
class Senses:
    """What ``add`` looks and listens with."""

    identify: Callable[[Path], Media]
    hear: Hear
    look: Callable[[Path, str], Look]


def senses(model: str | None = None, *, sheet: Sheet | None = None) -> Senses:
    """Return the real ones. ``model`` names a speech model; the packaged one is the default.

    ``sheet`` is the job's: its words are expected, and what stops the work is listened for.

    Raises (on first use):
        BadInput: the model is not there or is not the one that was measured.
    """

    # Each is imported when it is first needed: a typed line needs neither a recogniser nor a reader.
    @cache
    def recogniser() -> Recogniser:
        from capture.hear import expected_on, load_recogniser
        from extract import Nearly, compile_sheet

        if sheet is None:
            return load_recogniser(model)
        return load_recogniser(model, expected=expected_on(sheet), nearly=Nearly(sheet, compile_sheet(sheet).alarms))

    @cache
    def readers() -> Readers:
        from capture.see import load_readers

        return load_readers()

    def _identify(path: Path) -> Media:
        from capture.sniff import identify

        return identify(path)

    def _hear(path: Path, sha256: str, *, skip: int, progress: Callable[[float], None]) -> Iterator[Utterance]:
        from capture.hear import hear

        return hear(path, sha256, recogniser(), skip=skip, progress=progress)

    def _look(path: Path, sha256: str) -> Look:
        from capture.see import look

        return look(path, sha256, readers())

    return Senses(_identify, _hear, _look)
