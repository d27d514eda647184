"""Makes startup.ogg, startup.json and truth.jsonl from script.toml. See README.md for what it needs."""

import argparse
import hashlib
import json
import tomllib
import wave
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np

from samples.burner import RATE, Sound, boiler_room
from samples.voices import Voice, open_voice

HERE = Path(__file__).parent
SPEECH_DB = -23.0
BITS_PER_SECOND = 48_000  # fewer, and Opus leaves out more than 1 dB of the burner


@dataclass(frozen=True)
class Placed:
    """One utterance in its place: samples [start, end) of the recording."""

    entry: dict[str, Any]
    burner: str
    start: int
    end: int


def resample(sound: Sound, rate: int) -> Sound:
    """Band-limited, through the spectrum: these are short pieces with silence at both ends."""
    padded = np.pad(sound, rate // 10)
    count = round(len(padded) * RATE / rate)
    spectrum = np.fft.rfft(padded)
    wide = np.zeros(count // 2 + 1, dtype=complex)
    wide[: min(len(spectrum), len(wide))] = spectrum[: len(wide)]
    return np.asarray(np.fft.irfft(wide, count) * count / len(padded), dtype=np.float64)


def trim(sound: Sound) -> Sound:
    """Without the silence before and after, which is why start and end are where the words are."""
    loud = np.flatnonzero(np.abs(sound) > 0.02 * np.max(np.abs(sound)))
    margin = RATE // 50
    return sound[max(0, loud[0] - margin) : loud[-1] + margin]


def in_a_room(sound: Sound, random: np.random.Generator) -> Sound:
    """The walls of a small plant room: a short noisy tail 11 dB under the voice."""
    seconds = np.arange(int(0.20 * RATE)) / RATE
    tail = random.standard_normal(len(seconds)) * np.exp(-seconds / 0.035) * (seconds > 0.004)
    tail *= 10 ** (-11 / 20) / np.sqrt(np.sum(tail**2))
    tail[0] += 1.0
    count = len(sound) + len(tail)
    return np.asarray(np.fft.irfft(np.fft.rfft(sound, count) * np.fft.rfft(tail, count), count), dtype=np.float64)


def power(sound: Sound) -> float:
    return float(np.mean(sound**2))


def a_weighted(sound: Sound) -> Sound:
    """By IEC 61672-1's curve (the formula from memory): what the ear, and a recogniser, hears of it."""
    f2 = np.fft.rfftfreq(len(sound), 1 / RATE) ** 2
    gain = 12194.0**2 * f2**2 / ((f2 + 20.6**2) * np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2)) * (f2 + 12194.0**2))
    return np.asarray(np.fft.irfft(np.fft.rfft(sound) * gain, len(sound)), dtype=np.float64)


def place(script: dict[str, Any], random: np.random.Generator) -> tuple[list[Placed], list[tuple[float, str]], Sound]:
    """Speaks every utterance and lays them one after another: where, the burner's changes, the voices alone."""
    voices: dict[str, Voice] = {
        name: open_voice(voice["engine"], voice["voice"], script["seed"]) for name, voice in script["voices"].items()
    }
    at, state = RATE, "off"
    placed: list[Placed] = []
    changes: list[tuple[float, str]] = []
    pieces: list[tuple[int, Sound]] = []
    for entry in script["utterance"]:
        drawn = random.uniform(0.8, 2.0)  # always drawn, so that one fixed pause does not move the rest
        if "burner" in entry:
            state = entry["burner"]
            changes.append((at / RATE + 0.4, state))
        at += round(float(entry.get("pause", drawn)) * RATE)
        sound = trim(resample(*voices[entry["speaker"]](entry.get("say", entry["text"]))))
        level = SPEECH_DB + script["voices"][entry["speaker"]]["loudness"] + random.uniform(-0.6, 0.6)
        sound = sound * 10 ** (level / 20) / np.sqrt(power(sound))
        pieces.append((at, in_a_room(sound, random)))
        placed.append(Placed(entry, state, at, at + len(sound)))
        at += len(sound)
    speech = np.zeros(at + RATE)
    for start, sound in pieces:
        speech[start : start + len(sound)] += sound
    return placed, changes, speech


def write_opus(path: Path, sound: Sound, started: str) -> None:
    """48 kHz mono Opus in Ogg, the same bytes for the same samples, with the time it was begun."""
    pcm = np.round(np.clip(sound, -1, 1) * 32767).astype(np.int16)
    with av.open(str(path), "w", format="ogg", options={"fflags": "+bitexact"}) as container:
        stream = container.add_stream("libopus", rate=RATE)
        stream.layout = "mono"
        stream.bit_rate = BITS_PER_SECOND
        stream.metadata["creation_time"] = started
        for start in range(0, len(pcm), RATE):
            frame = av.AudioFrame.from_ndarray(pcm[start : start + RATE].reshape(1, -1), format="s16", layout="mono")
            frame.sample_rate = RATE
            frame.pts = start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def write_wav(path: Path, sound: Sound) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(np.round(np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())


def truth(script: dict[str, Any], placed: list[Placed]) -> list[dict[str, Any]]:
    """One entry a true reading, question that must come, number that must be left, and name."""
    lines = []
    kinds = (("readings", "reading"), ("ask", "must_ask"), ("leave", "must_not_take"), ("names", "name"))
    for number, one in enumerate(placed, start=1):
        where = {
            "utterance": number,
            "start": f"{one.start / RATE:.2f}",
            "end": f"{one.end / RATE:.2f}",
            "speaker": one.entry["speaker"],
        }
        for key, kind in kinds:
            for item in one.entry.get(key, []):
                if kind in ("reading", "must_ask"):
                    of_boiler = not item.get("quantity", "").startswith("ambient_")
                    fixed = {"condition": "", "phase": "", "appliance": script["appliance"] if of_boiler else ""}
                else:
                    fixed = {}
                lines.append({"kind": kind, **fixed, **item, **where})
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write to")
    parser.add_argument("--clean", type=Path, help="also write the voices without the burner, as WAV")
    arguments = parser.parse_args()
    script = tomllib.loads((HERE / "script.toml").read_text(encoding="utf-8"))
    random = np.random.default_rng(script["seed"])
    placed, changes, speech = place(script, random)
    background = boiler_room(len(speech), changes, random)
    record: dict[str, Any] = {
        "file": "startup.ogg",
        "started": script["started"],
        "seconds": f"{len(speech) / RATE:.2f}",
        "seed": script["seed"],
        "burner": [{"at": f"{at:.2f}", "state": state} for at, state in changes],
        "utterances": [],
    }
    for number, one in enumerate(placed, start=1):
        voice, noise = speech[one.start : one.end], background[one.start : one.end]
        a_voice, a_noise = a_weighted(voice), a_weighted(noise)
        record["utterances"].append({
            "utterance": number,
            "start": f"{one.start / RATE:.2f}",
            "end": f"{one.end / RATE:.2f}",
            "speaker": one.entry["speaker"],
            "voice": script["voices"][one.entry["speaker"]]["voice"],
            "burner": one.burner,
            "snr_db": f"{10 * np.log10(power(voice) / power(noise)):.1f}",
            "snr_a_weighted_db": f"{10 * np.log10(power(a_voice) / power(a_noise)):.1f}",
            "text": one.entry["text"],
        })  # fmt: skip
    arguments.out.mkdir(parents=True, exist_ok=True)
    ogg = arguments.out / "startup.ogg"
    write_opus(ogg, speech + background, script["started"])
    if arguments.clean:
        write_wav(arguments.clean, speech)
    record["sha256"] = hashlib.sha256(ogg.read_bytes()).hexdigest()
    (arguments.out / "startup.json").write_text(json.dumps(record, indent=1, ensure_ascii=False) + "\n", "utf-8")
    with (arguments.out / "truth.jsonl").open("w", encoding="utf-8") as file:
        for line in truth(script, placed):
            file.write(json.dumps(line, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
