"""Whisper: what a stretch of sound may have said, with scores, and a second opinion from the same encoding.

Beam search at temperature 0 only, so the same sound gives the same words.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.models import SpeechModel
from capture.prompt import leaks, prompt_of
from capture.sound import RATE, Samples
from schemas.evidence import Hypothesis, MadeBy, Word

__all__ = ["Heard", "Recogniser"]

BEAM = 5
WINDOWS_S = (15, 30)
"""The encoder is shown the shorter where a stretch fits: measured as good, at a third of the cost."""
LONGEST_PROMPT = 180
"""Tokens; the model takes 223."""
LONGEST_TEXT = 200
"""Tokens of one stretch; only a loop is longer."""
LEAST_LOGPROB = -1.0
NO_SPEECH = 0.6
LOOP_RATIO = 2.4
"""A text that deflates to less than its 2.4th part repeats itself (the bound of Whisper's own decoder)."""


@dataclass(frozen=True)
class Heard:
    """What one stretch may have said, best first, and what the pass without a prompt wrote (None where it failed)."""

    hypotheses: tuple[Hypothesis, ...]
    second_opinion: str | None


@dataclass(frozen=True)
class _Spoken:
    tokens: tuple[int, ...]
    text: str
    log_chance: float

    @property
    def doubtful(self) -> bool:
        return self.log_chance / (len(self.tokens) + 1) < LEAST_LOGPROB or _is_loop(self.text)


class Recogniser:
    """A loaded Whisper model with its prompt; ``made_by`` says all that is needed to hear the same again."""

    def __init__(self, model: SpeechModel, *, words: Sequence[str] = (), workers: int = 2) -> None:
        import ctranslate2
        import faster_whisper
        from faster_whisper.tokenizer import Tokenizer

        self._model: Any = faster_whisper.WhisperModel(
            str(model.folder),
            device="cpu",
            compute_type="int8",
            cpu_threads=1,
            num_workers=workers,
            local_files_only=True,
        )
        self.workers = workers
        """How many stretches can be heard at once; what is heard does not depend on it."""
        multilingual = bool(self._model.model.is_multilingual)
        self._tokenizer: Any = Tokenizer(
            self._model.hf_tokenizer, multilingual, task="transcribe" if multilingual else None, language="en"
        )
        prompt = prompt_of(words, lambda text: len(self._tokenizer.encode(" " + text)) <= LONGEST_PROMPT)
        self._start = [*self._tokenizer.sot_sequence, self._tokenizer.no_timestamps]
        self._after_prompt = [self._tokenizer.sot_prev, *self._tokenizer.encode(" " + prompt), *self._start]
        self.made_by = MadeBy(
            reader=f"whisper {model.name}",
            version=f"faster-whisper {faster_whisper.__version__}, ctranslate2 {ctranslate2.__version__}",
            model_sha256=model.sha256,
            options=(
                ("beam", str(BEAM)),
                ("compute", "int8"),
                ("prompt", prompt),
                ("temperature", "0"),
                ("window_s", " or ".join(map(str, WINDOWS_S))),
            ),
        )

    def hear(self, sound: Samples, starts_at: float) -> Heard | None:
        """Return what up to 30 s of mono sound at 16 kHz may have said; None where nothing can be made out.

        ``starts_at`` is the second of its first sample in the file: word times count from the file's start.
        """
        encoded = self._encode(sound)
        result = self._generate(encoded, self._after_prompt, hypotheses=BEAM)
        spoken = [s for s in self._spoken(result) if s.text and not leaks(s.text)]
        plain = self._generate(encoded, self._start, hypotheses=1)
        second = next((s.text for s in self._spoken(plain) if not s.doubtful), None)
        if not spoken or spoken[0].doubtful or (result.no_speech_prob > NO_SPEECH and second is None):
            return None
        likely = [s for s in spoken if not _is_loop(s.text)]
        best = likely[0]
        words = self._words(encoded, best, len(sound) / RATE, starts_at)
        return Heard(
            tuple(
                Hypothesis(text=s.text, mass=mass, words=words if s is best else ())
                for s, mass in zip(likely, _softmax([s.log_chance for s in likely]), strict=True)
            ),
            second,
        )

    def _encode(self, sound: Samples) -> Any:
        seconds = next((s for s in WINDOWS_S if len(sound) <= (s - 0.5) * RATE), WINDOWS_S[-1])
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


def _is_loop(text: str) -> bool:
    data = text.encode()
    return len(data) / max(1, len(zlib.compress(data))) > LOOP_RATIO


def _softmax(log_chances: Sequence[float]) -> list[float]:
    """Return shares that sum to 1, to four places."""
    values: NDArray[np.float64] = np.exp(np.array(log_chances) - max(log_chances))
    return [round(float(v), 4) for v in values / values.sum()]
