"""Sound of our own for ``bench.hear``: sentences spoken by the synthesisers of this machine, in a burner's noise.

Also what a headset or a bad line makes of a sound. Everything is drawn with a seed, so the same machine gives the same
sound. The sentences are those of ``tests/spoken.py``, made from how people say numbers, and of no corpus.
"""

from __future__ import annotations

import io
import itertools
import random
import shutil
import subprocess
import tempfile
import wave
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from capture.sound import RATE, Samples
from samples.burner import FIRING, burner
from samples.burner import RATE as BURNER_RATE
from tests.spoken import Said, sentences

__all__ = [
    "HEADSETS",
    "Headset",
    "Spoken",
    "chatter",
    "drop_outs",
    "gated",
    "in_a_room",
    "negatives",
    "noise",
    "positives",
    "roaring",
    "telephone",
    "wav",
]

SEED = 20
LEVELS: tuple[float | None, ...] = (None, 20.0, 10.0, 5.0)
_ESPEAK = (
    ("en-us", 150), ("en-gb", 150), ("en-gb-x-rp", 150), ("en-us", 170), ("en-gb-scotland", 140),
    ("en-us+f2", 150), ("en-gb+m3", 160), ("en-us+klatt4", 150), ("en-gb+f4", 155), ("en-us+m7", 165),
)  # fmt: skip
_FLITE = ("rms", "slt", "awb")


OTHER = {
    "who": ("my brother", "the neighbour", "our Tom", "the lad", "my wife", "the landlord"),
    "n": ("two", "three", "seven", "twelve", "fifteen", "twenty five", "forty", "ninety"),
    "day": ("Monday", "Thursday", "Saturday", "the fourteenth", "the ninth of May"),
    "sum": ("four fifty", "nine ninety five", "a hundred and twenty", "eighteen pounds forty", "sixty bucks"),
}
TALK = (
    "{who} caught {n} fish on {day}.",
    "We won {n} to {n} on {day}.",
    "The parking here is {sum} an hour, would you believe it.",
    "I left home at {n} this morning.",
    "There were {n} people in front of me at the bakery.",
    "It was {n} miles each way.",
    "{who} paid {sum} for those tickets.",
    "Did you see the match on {day}?",
    "The kids are back at school on {day}.",
    "The lift only takes {n} people.",
    "I've had that van {n} years.",
    "{who} wants the shed painted by {day}.",
    "My phone was {sum} and it lasted {n} months.",
    "Put the kettle on, would you.",
    "It's supposed to rain until {day}.",
    "They live at number {n}, next to the chapel.",
    "That song was number {n} for {n} weeks.",
    "Lunch was {sum} with the soup.",
)


@dataclass(frozen=True)
class Spoken:
    """A sentence as sound, and the one reading that it states; ``snr_db`` None is clean."""

    said: Said
    voice: str
    snr_db: float | None
    sound: Samples


def positives(count: int, snr_db: float | None) -> Iterator[Spoken]:
    """Yield ``count`` sentences with a reading each, as they sound at a level of noise."""
    yield from _spoken(sentences(count, SEED), [snr_db] * count)


def negatives(count: int) -> Iterator[Spoken]:
    """Yield ``count`` sentences with a negative offset pressure, clean to 5 dB in turn."""
    draw = random.Random(SEED)
    digits = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
    frames = ("Low fire offset {v}.", "Offset pressure at low fire is {v}.", "At low fire the offset reads {v}.",
              "Low fire, the offset's sitting at {v}.", "Low fire outlet pressure {v} inches.")  # fmt: skip
    found = []
    for _ in range(count):
        hundredths = draw.randint(1, 19)
        tail = "".join(f" {digits[int(d)]}" for d in f"{hundredths:02d}").replace(
            " zero", draw.choice((" oh", " zero"))
        )
        point = draw.choice(("point", "zero point", "oh point"))
        text = draw.choice(frames).format(v=f"{draw.choice(('minus', 'minus', 'negative'))} {point}{tail}")
        found.append(Said(text, "outlet_pressure", "low_fire", f"-{hundredths / 100:.2f}", "[in_i'H2O]"))
    yield from _spoken(found, [LEVELS[n % len(LEVELS)] for n in range(count)])


def _spoken(said: Sequence[Said], levels: Sequence[float | None]) -> Iterator[Spoken]:
    hiss = np.random.default_rng(SEED)
    voices = [*(f"espeak {v} {pace}" for v, pace in _ESPEAK), *(f"flite {v}" for v in _FLITE if shutil.which("flite"))]
    for n, (one, snr_db) in enumerate(zip(said, levels, strict=True)):
        voice = voices[n % len(voices)]
        yield Spoken(one, voice, snr_db, _in_noise(_say(one.text, voice), snr_db, hiss))


def _say(text: str, voice: str) -> Samples:
    synthesiser, name, *pace = voice.split()
    for short in ("CO2", "O2", "CO"):  # a synthesiser spells them; people say see oh two
        text = text.replace(short, " ".join(short).replace("2", "two"))
    if synthesiser == "espeak":
        command = ["espeak-ng", "-v", name, "-s", pace[0], "--stdout", text]
        made = subprocess.run(command, capture_output=True, check=True).stdout
    else:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder, "said.wav")
            subprocess.run(["flite", "-voice", name, "-t", text, "-o", str(path)], capture_output=True, check=True)
            made = path.read_bytes()
    with wave.open(io.BytesIO(made)) as file:
        rate = file.getframerate()
        speech = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768.0
    at = np.arange(int(len(speech) * RATE / rate)) * rate / RATE
    return np.asarray(np.interp(at, np.arange(len(speech)), speech), np.float32)


def _in_noise(speech: Samples, snr_db: float | None, draw: np.random.Generator) -> Samples:
    around = np.zeros(int(1.2 * RATE), np.float32)
    clip = np.concatenate([around, speech, around])
    if snr_db is not None:
        loud = np.flatnonzero(np.abs(speech) > 0.01 * np.abs(speech).max())
        words = speech[loud[0] : loud[-1] + 1]
        clip = clip + _scaled(noise(len(clip) / RATE, draw), np.sqrt(np.mean(words**2)) / 10 ** (snr_db / 20))
    return np.asarray(clip / np.abs(clip).max() * 0.7, np.float32)


def noise(seconds: float, draw: np.random.Generator) -> Samples:
    """Return a burner's noise at 16 kHz."""
    count = round(seconds * BURNER_RATE / 3) * 3
    return np.asarray(burner(count, FIRING["high"], draw).reshape(-1, BURNER_RATE // RATE).mean(axis=1), np.float32)


def _scaled(sound: Samples, level: float) -> Samples:
    return np.asarray(sound * (level / np.sqrt(np.mean(sound**2))), np.float32)


def roaring(minutes: float) -> Samples:
    """Return minutes of a burner and nothing else."""
    sound = noise(minutes * 60, np.random.default_rng(SEED))
    return np.asarray(sound / np.abs(sound).max() * 0.5, np.float32)


def chatter(minutes: float) -> Samples:
    """Return minutes of talk that is not about the job, with a second of silence between sentences."""
    draw = random.Random(SEED)
    pieces: list[Samples] = []
    length = 0
    for n in itertools.count():
        if length >= minutes * 60 * RATE:
            break
        text = draw.choice(TALK).format_map({name: draw.choice(words) for name, words in OTHER.items()})
        name, pace = _ESPEAK[n % len(_ESPEAK)]
        pieces += [_say(text, f"espeak {name} {pace}"), np.zeros(RATE, np.float32)]
        length += sum(map(len, pieces[-2:]))
    return np.concatenate(pieces)


def wav(path: Path, sound: Samples) -> Path:
    """Write mono sound at 16 kHz and return its path."""
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 2, RATE, 0, "NONE", ""))
        file.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
    return path


# ---------------------------------------------------------------------- what a headset does
Spans = Sequence[Sequence[float]]
Headset = Callable[[Samples, Spans], Samples]


def telephone(sound: Samples, spans: Spans) -> Samples:
    """Return the sound through a narrow line: 300 to 3,400 Hz, 8 kHz, µ-law (ITU-T G.711)."""
    spectrum = np.fft.rfft(sound)
    hertz = np.fft.rfftfreq(len(sound), 1 / RATE)
    spectrum[(hertz < 300) | (hertz > 3400)] = 0
    narrow = np.fft.irfft(spectrum, len(sound))[::2]
    coded = np.sign(narrow) * np.log1p(255 * np.minimum(np.abs(narrow), 1.0)) / np.log1p(255)
    coded = np.round(coded * 127) / 127
    line = np.sign(coded) * np.expm1(np.abs(coded) * np.log1p(255)) / 255
    return np.asarray(np.interp(np.arange(len(sound)) / 2, np.arange(len(line)), line), np.float32)


def drop_outs(sound: Samples, spans: Spans) -> Samples:
    """Return the sound with gaps of 20 to 200 ms over 2 % of its time."""
    draw = np.random.default_rng(SEED + len(sound))
    out, left = sound.copy(), 0.02 * len(sound)
    while left > 0:
        length = int(draw.uniform(0.02, 0.2) * RATE)
        at = int(draw.integers(0, max(1, len(sound) - length)))
        out[at : at + length] = 0
        left -= length
    return out


def gated(sound: Samples, spans: Spans) -> Samples:
    """Return the sound with the first 120 ms of each utterance gated away (``spans``: their seconds)."""
    out = sound.copy()
    for start, _ in spans:
        out[int(start * RATE) : int((start + 0.12) * RATE)] = 0
    return out


ROOM_S = 0.25
"""The time in which a plant room's echo falls by 60 dB."""


def in_a_room(sound: Samples, spans: Spans) -> Samples:
    """Return the sound with a light echo, 12 dB under it and 60 dB down after ``ROOM_S``: noise that dies away."""
    draw = np.random.default_rng(SEED)
    at = np.arange(int(ROOM_S * RATE)) / RATE
    echo = draw.standard_normal(len(at)) * 10 ** (-3 * at / ROOM_S) * (at > 0.005)
    size = 1 << (len(sound) + len(echo)).bit_length()
    tail = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(echo, size), size)[: len(sound)]
    loud, louder = (float(np.mean(np.square(s, dtype=np.float64))) for s in (sound, tail))
    out = sound + tail * (loud / max(louder, 1e-20)) ** 0.5 / 10 ** (12 / 20)
    return np.asarray(out / max(1.0, float(np.abs(out).max())), np.float32)


HEADSETS: dict[str, Headset] = {"line": telephone, "dropouts": drop_outs, "gated": gated, "room": in_a_room}
"""By name: a narrow line, drop-outs, the first moment of each utterance gated away; and a room that echoes lightly."""
