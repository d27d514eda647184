"""Whisper: what a stretch of sound may have said, with scores, and a second opinion that was told of no numbers.

The sound is heard twice, as it is in a long window and slowed down in a short one: two views that err in different
places, so that the share of the hypotheses which agree on a number says how sure it is. Where noise leaves it unclear,
it is listened to for what stops the work as well. Beam search at temperature 0 only, so the same sound gives the same
words.
"""

from __future__ import annotations

import ctypes
import os
import re
import zlib
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.hiss import is_noisy, without_hiss
from capture.models import SpeechModel
from capture.prompt import Expected, leaks, prompt_of, prompts_of_alarms
from capture.sound import RATE, Samples
from schemas.evidence import Hypothesis, MadeBy, Word

__all__ = ["Heard", "Recogniser"]

BEAM = 5
WINDOWS_S = (15, 30)
"""Windows that the encoder can be shown; 30 s is the more robust in noise, 15 s costs a third."""
SLOWED = 0.9
"""The speed of the second view: what is said too fast in one is heard in the other."""
KEPT = 8
"""Hypotheses that are handed on."""
LONGEST_PROMPT = 180
"""Tokens; the model takes 223."""
LONGEST_TEXT = 200
"""Tokens of one stretch; only a loop is longer."""
CLEAR = 0.75
"""The mass from which on the best hypothesis is clear, and no pass listens for what stops the work."""
NEARLY, NEARLY_CLEAR = 6.8, 5.5
"""So much less likely, as a logarithm, what sounds like a text may be than the text, to have perhaps been said; the
second where the hearing is clear."""
LEAST_LOGPROB = -1.0
SURE_LOGPROB = -0.5
NO_SPEECH = 0.6
LEAST_MASS = 0.05
"""What has less of the mass is not looked at for what sounds like it."""
LARGE_BLOCK, TRIM = -3, -1
"""M_MMAP_THRESHOLD and M_TRIM_THRESHOLD of mallopt(3): what is kept of the memory that was given back."""
LOOP_RATIO = 2.4
"""A text that deflates to less than its 2.4th part repeats itself (the bound of Whisper's own decoder)."""


Nearly = Callable[[Sequence[str], bool], Sequence[str]]
"""Texts that some texts may have been misheard for (``extract.Nearly``), and whether the hearing was clear."""


@dataclass(frozen=True)
class Heard:
    """What one stretch may have said, best first; what the pass without numbers in its prompt wrote (None where it
    failed); and the hypotheses of each pass that listens for what stops the work."""

    hypotheses: tuple[Hypothesis, ...]
    second_opinion: str | None
    perhaps: tuple[tuple[Hypothesis, ...], ...] = ()


@dataclass(frozen=True)
class _Spoken:
    tokens: tuple[int, ...]
    text: str
    log_chance: float

    @property
    def doubtful(self) -> bool:
        return self.log_chance / (len(self.tokens) + 1) < LEAST_LOGPROB or _is_loop(self.text)

    @property
    def surely(self) -> bool:
        return self.log_chance / (len(self.tokens) + 1) >= SURE_LOGPROB


class Recogniser:
    """A loaded Whisper model with its prompt; ``made_by`` says all that is needed to hear the same again."""

    def __init__(
        self,
        model: SpeechModel,
        *,
        expected: Expected | None = None,
        workers: int = 2,
        nearly: Nearly | None = None,
    ) -> None:
        import ctranslate2
        import faster_whisper
        from faster_whisper.tokenizer import Tokenizer

        _keep_large_blocks()
        self._model: Any = faster_whisper.WhisperModel(
            str(model.folder),
            device="cpu",
            compute_type="int8",
            cpu_threads=1,
            num_workers=workers,
            local_files_only=True,
        )
        self._nearly: Nearly = nearly or (lambda texts, clear: ())
        self.workers = workers
        """How many stretches can be heard at once; what is heard does not depend on it."""
        multilingual = bool(self._model.model.is_multilingual)
        self._tokenizer: Any = Tokenizer(
            self._model.hf_tokenizer, multilingual, task="transcribe" if multilingual else None, language="en"
        )

        def fits(text: str) -> bool:
            return len(self._tokenizer.encode(" " + text)) <= LONGEST_PROMPT

        expected = expected or Expected()
        prompt = prompt_of(expected, fits)
        self._start = [*self._tokenizer.sot_sequence, self._tokenizer.no_timestamps]
        self._after_prompt = [self._tokenizer.sot_prev, *self._tokenizer.encode(" " + prompt), *self._start]
        self._stops = expected.aside
        self._after_stops = self._after(self._stops)
        self._alarms = prompts_of_alarms(expected.alarms, fits)
        self.made_by = MadeBy(
            reader=f"whisper {model.name}",
            version=f"faster-whisper {faster_whisper.__version__}, ctranslate2 {ctranslate2.__version__}",
            model_sha256=model.sha256,
            options=(
                ("beam", str(BEAM)),
                ("compute", "int8"),
                ("prompt", prompt),
                ("second prompt", self._stops),
                *((f"prompt of alarms {n}", told) for n, told in enumerate(self._alarms, 1)),
                *([("sounds alike", f"within {NEARLY} or {NEARLY_CLEAR}")] if nearly else []),
                ("temperature", "0"),
                ("views", f"as it is in {WINDOWS_S[-1]} s, at {SLOWED} of its speed in {WINDOWS_S[0]} s"),
            ),
        )

    def hear(self, sound: Samples, starts_at: float, go_on: Callable[[], None] = lambda: None) -> Heard | None:
        """Return what up to 30 s of mono sound at 16 kHz may have said; None where nothing can be made out.

        ``starts_at`` is the second of its first sample in the file: word times count from the file's start. ``go_on``
        is called between the steps; what it raises ends the hearing.
        """

        def second_opinion() -> Any:
            go_on()
            return self._generate(encoded, self._after_stops, hypotheses=1)

        with ThreadPoolExecutor(1) as pool:  # two cores: the second opinion comes behind the view that is ready sooner
            slowed = pool.submit(lambda: self._view(self._encode(_slower(sound), WINDOWS_S), go_on))
            encoded = self._encode(sound, WINDOWS_S[-1:])
            told = pool.submit(second_opinion)
            views = [self._view(encoded, go_on), slowed.result()]
            other = told.result()
        go_on()
        second = next(
            (s for s in self._spoken(other) if s.text and not s.doubtful and not self._repeats(s, self._stops)), None
        )
        clear = [spoken for spoken, _ in views if spoken and not spoken[0].doubtful]
        noise = min(no_speech for _, no_speech in views) > NO_SPEECH
        if (not clear and second is None) or (noise and second is None):
            return None
        if not clear and second is not None:  # nothing is clear with the prompt: no way of hearing it has a majority
            clear = [[second], *(spoken for spoken, _ in views)]
        likely = _together(clear)
        best = likely[0][0]
        words = self._words(encoded, best, len(sound) / RATE, starts_at)
        perhaps: list[tuple[Hypothesis, ...]] = []
        if is_noisy(sound):
            texts = [s.text for s, mass in likely if mass >= LEAST_MASS] + ([second.text] if second else [])
            perhaps = self._perhaps(sound, encoded, list(dict.fromkeys(texts)), likely[0][1] >= CLEAR, go_on)
        return Heard(
            tuple(Hypothesis(text=s.text, mass=mass, words=words if s is best else ()) for s, mass in likely),
            second.text if second else None,
            tuple(perhaps),
        )

    def _fitting(
        self,
        tried: Sequence[str],
        within: float,
        texts: Sequence[str],
        encoded: Any,
        samples: int,
        go_on: Callable[[], None],
    ) -> list[tuple[Hypothesis, ...]]:
        """Return, as a pass each, those of some ``tried`` texts that fit the sound nearly as well as what was heard.

        The best fitting one comes first. Of ``texts`` the first and the last, the second opinion, are what was heard.
        """
        if not tried:
            return []
        frames = min(round(samples / RATE * 100), WINDOWS_S[-1] * 100)
        best = max(self._log_chance(encoded, text, frames) for text in dict.fromkeys((texts[0], texts[-1])))
        fitting: list[tuple[float, str]] = []
        for text in tried:
            go_on()
            if (chance := self._log_chance(encoded, text, frames)) >= best - within:
                fitting.append((-chance, text))
        return [(Hypothesis(text=text, mass=1.0),) for _, text in sorted(fitting)]

    def _log_chance(self, encoded: Any, text: str, frames: int) -> float:
        """Return the logarithm of the chance that the model gives a text, told of nothing before."""
        tokens = self._tokenizer.encode(" " + text)
        aligned = self._model.model.align(encoded, self._start, [tokens], [frames])[0]
        return float(np.sum(np.log(np.maximum(aligned.text_token_probs, 1e-9))))

    def _perhaps(
        self, sound: Samples, encoded: Any, texts: Sequence[str], clear: bool, go_on: Callable[[], None]
    ) -> list[tuple[Hypothesis, ...]]:
        """Return what a noisy sound may have said to whoever listens for what stops the work.

        That is what sounds like one of ``texts``, what it was heard as; where that is not clear, also what the prompts
        of alarms make of it, its noise taken out or not.
        """
        if clear or not self._alarms:
            within = NEARLY_CLEAR if clear else NEARLY
            return self._fitting(self._nearly(texts, clear), within, texts, encoded, len(sound), go_on)
        with ThreadPoolExecutor(1) as pool:
            quieter = pool.submit(lambda: self._listen(self._encode(without_hiss(sound), WINDOWS_S), go_on))
            fitting = self._fitting(self._nearly(texts, clear), NEARLY, texts, encoded, len(sound), go_on)
            return [heard for heard in (*fitting, *self._listen(encoded, go_on), *quieter.result()) if heard]

    def _listen(self, encoded: Any, go_on: Callable[[], None]) -> list[tuple[Hypothesis, ...]]:
        passes = []
        for told in self._alarms:
            go_on()
            found = self._spoken(self._generate(encoded, self._after(told), hypotheses=BEAM))
            clear = [s for s in found if s.text and not s.doubtful and not self._repeats(s, told)]
            passes.append(tuple(Hypothesis(text=s.text, mass=mass) for s, mass in _together([clear])))
        return passes

    def _after(self, told: str) -> list[int]:
        """Return the tokens to begin with after a text, those of ``LONGEST_PROMPT`` that come last."""
        before = self._tokenizer.encode(" " + told)[-LONGEST_PROMPT:] if told else []
        return [*([self._tokenizer.sot_prev] if before else []), *before, *self._start]

    @staticmethod
    def _repeats(spoken: _Spoken, told: str) -> bool:
        """Whether a text only repeats what a prompt says, without being sure of it."""
        return not spoken.surely and same_words(spoken.text) in same_words(told)

    def _view(self, encoded: Any, go_on: Callable[[], None]) -> tuple[list[_Spoken], float]:
        """Return what the prompt makes of encoded sound, and the chance that nobody speaks in it."""
        go_on()
        result = self._generate(encoded, self._after_prompt, hypotheses=BEAM)
        return [s for s in self._spoken(result) if s.text and not leaks(s.text)], float(result.no_speech_prob)

    def _encode(self, sound: Samples, windows: Sequence[int]) -> Any:
        seconds = next((s for s in windows if len(sound) <= (s - 0.5) * RATE), windows[-1])
        window = np.zeros(seconds * RATE, np.float32)
        window[: len(sound)] = sound[: len(window)]
        return self._model.encode(self._model.feature_extractor(window)[:, : seconds * 100])

    def _generate(self, encoded: Any, prompt: list[int], *, hypotheses: int) -> Any:
        return self._model.model.generate(
            encoded,
            [prompt],
            beam_size=BEAM,
            num_hypotheses=hypotheses,
            return_scores=True,
            return_no_speech_prob=True,
            max_length=len(prompt) + LONGEST_TEXT,
        )[0]

    def _spoken(self, result: Any) -> list[_Spoken]:
        return [
            _Spoken(tuple(tokens), self._tokenizer.decode(tokens).strip(), score * len(tokens))
            for tokens, score in zip(result.sequences_ids, result.scores, strict=True)
        ]

    def _words(self, encoded: Any, spoken: _Spoken, seconds: float, starts_at: float) -> tuple[Word, ...]:
        frames = min(round(seconds * 100), WINDOWS_S[-1] * 100)
        found = self._model.find_alignment(self._tokenizer, [list(spoken.tokens)], encoded, frames)[0]
        return tuple(
            Word(
                text=word["word"].strip(),
                start=round(starts_at + float(word["start"]), 2),
                end=round(starts_at + float(word["end"]), 2),
                certainty=round(float(word["probability"]), 3),
            )
            for word in found
            if word["word"].strip()
        )


def _keep_large_blocks() -> None:
    """Let the C library keep blocks of more than 32 MB for the next use, where it is one that can be told so.

    The attention of a 30 s window takes one of 54 MB; fetched from the system anew in each layer, encoding takes half
    as long again (0.62 s instead of 0.42 s on this machine).
    """
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None) if os.name == "posix" else None
    if mallopt is not None:
        for name in (LARGE_BLOCK, TRIM):
            mallopt(name, 1 << 30)


def _is_loop(text: str) -> bool:
    data = text.encode()
    return len(data) / max(1, len(zlib.compress(data))) > LOOP_RATIO


def _together(views: Iterable[Sequence[_Spoken]]) -> list[tuple[_Spoken, float]]:
    """Return the hypotheses of all views, best first, with their mean share of the mass, to four places.

    Those that differ in marks and capitals alone are one, so that five hypotheses are not five commas.
    """
    mass: dict[str, float] = {}
    best: dict[str, tuple[float, _Spoken]] = {}
    for spoken in views:
        likely = [s for s in spoken if not _is_loop(s.text)]
        for one, share in zip(likely, _softmax([s.log_chance for s in likely]), strict=True):
            words = same_words(one.text)
            mass[words] = mass.get(words, 0.0) + share
            if words not in best or share > best[words][0]:
                best[words] = share, one
    order = sorted(mass, key=lambda words: -mass[words])[:KEPT]
    total = sum(mass[words] for words in order)
    return [(best[words][1], round(mass[words] / total, 4)) for words in order]


def same_words(text: str) -> str:
    """Return a text without capitals and without the marks between words: what it has in common with its like."""
    return " ".join(re.findall(r"[a-z0-9.,']*[a-z0-9]", text.lower().replace(", ", " ")))


def _slower(sound: Samples) -> Samples:
    """Return the sound at ``SLOWED`` of its speed, and as much lower."""
    at = np.arange(int(len(sound) / SLOWED)) * SLOWED
    return np.asarray(np.interp(at, np.arange(len(sound)), sound), np.float32)


def _softmax(log_chances: Sequence[float]) -> list[float]:
    """Return shares that sum to 1."""
    if not log_chances:
        return []
    values: NDArray[np.float64] = np.exp(np.array(log_chances) - max(log_chances))
    return [float(v) for v in values / values.sum()]
