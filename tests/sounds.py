"""Small sounds for tests: made by code, or spoken by espeak-ng, and written in any container."""

from __future__ import annotations

import subprocess
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path

import av
import numpy as np
from av.audio.stream import AudioStream
from numpy.typing import NDArray

Sound = NDArray[np.float32]
"""Samples in -1..1, either mono or channels × samples."""

RATE = 16_000
CODECS = {
    "wav": ("wav", "pcm_s16le", "s16"),
    "mulaw.wav": ("wav", "pcm_mulaw", "s16"),
    "float.wav": ("wav", "pcm_f32le", "flt"),
    "flac": ("flac", "flac", "s16"),
    "ogg": ("ogg", "libopus", "flt"),
    "mp3": ("mp3", "libmp3lame", "fltp"),
    "m4a": ("mp4", "aac", "fltp"),
    "webm": ("webm", "libopus", "flt"),
}


def tone(seconds: float, hertz: float = 440.0, level: float = 0.3, rate: int = RATE) -> Sound:
    """Return a sine tone."""
    at = np.arange(round(seconds * rate)) / rate
    return (level * np.sin(2 * np.pi * hertz * at)).astype(np.float32)


def silence(seconds: float, rate: int = RATE) -> Sound:
    """Return silence."""
    return np.zeros(round(seconds * rate), np.float32)


def roar(seconds: float, level: float = 0.1, seed: int = 1) -> Sound:
    """Return noise like a burner's: most of it below 500 Hz, with a hum at 100 Hz. The same seed, the same noise."""
    white = np.random.default_rng(seed).standard_normal(round(seconds * RATE))
    shape = 1 / np.maximum(np.fft.rfftfreq(len(white), 1 / RATE), 60.0)
    noise = np.fft.irfft(np.fft.rfft(white) * shape, len(white))
    noise = noise / np.sqrt(np.mean(noise**2)) + 0.3 * np.sin(2 * np.pi * 100 * np.arange(len(white)) / RATE)
    return np.asarray(level * noise, np.float32)


def spoken(text: str, *, speed: int = 150, voice: str = "en-us") -> Sound:
    """Return a phrase as espeak-ng says it, at 16 kHz, its silences cut off."""
    wav = subprocess.run(
        ["espeak-ng", "-v", voice, "-s", str(speed), "--stdout", text], check=True, capture_output=True
    ).stdout
    with av.open(BytesIO(wav), mode="r", format="wav") as container:
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=RATE)
        frames = [out for frame in container.decode(audio=0) for out in resampler.resample(frame)]
    sound = np.concatenate([frame.to_ndarray()[0] for frame in frames])
    loud = np.flatnonzero(np.abs(sound) > 0.01)
    return np.asarray(sound[loud[0] : loud[-1] + 1], np.float32)


def write(
    path: Path, sound: Sound, *, form: str = "wav", rate: int = RATE, metadata: Mapping[str, str] | None = None
) -> Path:
    """Write a sound of ``rate`` samples a second in one of CODECS and return its path."""
    container_format, codec, sample_format = CODECS[form]
    channels = np.atleast_2d(sound)
    layout = "mono" if len(channels) == 1 else "stereo"
    with av.open(str(path), "w", format=container_format) as container:
        container.metadata.update(metadata or {})
        stream = container.add_stream(codec, rate=rate)
        assert isinstance(stream, AudioStream)
        stream.codec_context.layout = layout
        stream.codec_context.format = sample_format
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(channels), format="fltp", layout=layout)
        frame.sample_rate = rate
        resampler = av.AudioResampler(
            format=sample_format, layout=layout, rate=rate, frame_size=stream.codec_context.frame_size or 1024
        )
        for piece in (*resampler.resample(frame), *resampler.resample(None)):
            container.mux(stream.encode(piece))
        container.mux(stream.encode(None))
    return path
