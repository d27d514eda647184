"""Sound in, utterances out: decode, find the speech, recognise each stretch.

file ── sound.samples ──▶ blocks ── speech.stretches ──▶ stretches ── recogniser.hear ──▶ utterances
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from threading import Lock

from capture.models import find_speech_model
from capture.prompt import Expected, expected_on
from capture.recogniser import Nearly, Recogniser
from capture.sound import RATE, Samples, samples
from capture.speech import Stretch, stretches
from schemas.base import Sha256
from schemas.evidence import Utterance

__all__ = ["Recogniser", "expected_on", "hear", "load_recogniser"]


def load_recogniser(
    model: str | None = None,
    *,
    expected: Expected | None = None,
    nearly: Nearly | None = None,
) -> Recogniser:
    """Load the packaged speech model, or the one in a folder or of a size name that is on this disk already.

    ``expected`` is what the work's sheet lets expect (``expected_on``). ``nearly`` returns what
    some texts may have been misheard for, and what has to be known if it was said (``extract.Nearly``).

    Raises:
        BadInput: there is no such model, or it is not the one that was measured.
    """
    return Recogniser(find_speech_model(model), expected=expected, nearly=nearly)


def hear(
    path: Path,
    sha256: Sha256,
    recogniser: Recogniser,
    *,
    skip: int = 0,
    progress: Callable[[float], None] | None = None,
) -> Iterator[Utterance]:
    """Yield what is said in a sound file, in order, each as soon as it is recognised.

    An utterance's number counts stretches of speech, also those in which no word could be made out and which are not
    yielded; so after a kill ``skip`` is the last number that was kept plus one, and nothing before is recognised again.
    ``progress`` is called with the seconds of the file that are done, also between the steps of hearing a stretch and
    then from other threads; what it raises ends the hearing.

    Raises:
        BadInput: the file is no sound, damaged, cut short or out of bounds. What was yielded before stays good.
    """
    decoded, done, one_at_a_time = 0, 0.0, Lock()

    def counted() -> Iterator[Samples]:
        nonlocal decoded
        for block in samples(path):
            decoded += len(block)
            yield block

    def tell(seconds: float | None = None) -> None:
        nonlocal done
        with one_at_a_time:
            done = done if seconds is None else seconds
            if progress:
                progress(done)

    for stretch, utterance in _in_order(stretches(counted()), sha256, recogniser, skip, tell):
        if utterance:
            yield utterance
        tell(stretch.end)
    tell(round(decoded / RATE, 3))


def _in_order(
    found: Iterable[Stretch], sha256: Sha256, recogniser: Recogniser, skip: int, go_on: Callable[[], None]
) -> Iterator[tuple[Stretch, Utterance | None]]:
    """Hear as many stretches at once as the recogniser has workers, and hand them on in order."""
    waiting: deque[tuple[Stretch, Future[Utterance | None]]] = deque()
    with ThreadPoolExecutor(recogniser.workers) as pool:
        for stretch in found:
            if stretch.number >= skip:
                waiting.append((stretch, pool.submit(_utterance, stretch, sha256, recogniser, go_on)))
            if len(waiting) > recogniser.workers:
                first, heard = waiting.popleft()
                yield first, heard.result()
        for first, heard in waiting:
            yield first, heard.result()


def _utterance(stretch: Stretch, sha256: Sha256, recogniser: Recogniser, go_on: Callable[[], None]) -> Utterance | None:
    heard = recogniser.hear(stretch.sound, stretch.sound_start, go_on)
    if heard is None:
        return None
    return Utterance(
        evidence=sha256,
        number=stretch.number,
        start=stretch.start,
        end=stretch.end,
        hypotheses=heard.hypotheses,
        second_opinion=heard.second_opinion,
        perhaps=heard.perhaps,
        snr_db=stretch.snr_db,
        clipped=stretch.clipped,
        broken=stretch.broken,
        made_by=recogniser.made_by,
    )
