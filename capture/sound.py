"""Sound files: what they are, when they were recorded, and their samples, whatever the container.

Only the demuxer that fits a file's own first bytes is ever asked, through an open file and never a name: a playlist or
a reference to another file or address is not followed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

import av
import numpy as np
from av.container import InputContainer
from av.error import FFmpegError
from numpy.typing import NDArray

from capture.media import Media
from schemas.errors import BadInput

__all__ = ["RATE", "Samples", "identify_sound", "samples", "sound_type"]

RATE = 16_000
"""Samples a second of everything behind this module."""

Samples = NDArray[np.float32]

MOST_CHANNELS = 16
LONGEST_S = 24 * 3600
_BLOCK = 8 * RATE
_PICTURE_BRANDS = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis")
_READ_IT_AGAIN = "copy it again from where it was recorded"


def sound_type(head: bytes) -> tuple[str, str] | None:
    """Return the media type and FFmpeg's demuxer for the first 12 or more bytes of a file; None if it is no sound."""
    if head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE":
        return "audio/wav", "wav"
    if head[:4] == b"fLaC":
        return "audio/flac", "flac"
    if head[:4] == b"OggS":
        return "audio/ogg", "ogg"
    if head[:4] == b"\x1a\x45\xdf\xa3":
        return "audio/webm", "matroska"
    if head[4:8] == b"ftyp" and head[8:12] not in _PICTURE_BRANDS:
        return "audio/mp4", "mov"
    if head[:2] in (b"\xff\xf1", b"\xff\xf9"):
        return "audio/aac", "aac"
    # a frame of MPEG layer II or III with a bit rate and a sampling rate that exist, or the tag before it
    if head[:3] == b"ID3" or (head[:1] == b"\xff" and head[1] & 0xE6 in (0xE2, 0xE4) and head[2] & 0xF0 != 0xF0):
        return "audio/mpeg", "mp3"
    return None


def identify_sound(path: Path) -> Media:
    """Say what a sound file is, how long it plays and when it was recorded.

    The time comes from the container, and only if it names its zone; never from the file system.

    Raises:
        BadInput: no sound, no samples, damaged, cut short, or out of bounds.
    """
    with _open(path) as (container, media_type):
        seconds = _playing_time(container, path)
        at = _recorded_at(container)
    if seconds > LONGEST_S:
        raise BadInput(f"{path.name} plays for {seconds / 3600:.0f} hours; cut it into pieces of a day at most.")
    if next(samples(path), None) is None:
        raise BadInput(f"{path.name} holds no sound at all; {_READ_IT_AGAIN}.")
    return Media("sound", media_type, at, "container" if at else "none", seconds)


def samples(path: Path) -> Iterator[Samples]:
    """Yield the sound of a file as blocks of mono float32 in -1..1, 16,000 samples a second, 8 s a block at most.

    Of several channels the loudest is taken, never their sum, in which voices in antiphase would vanish. What is not a
    number counts as silence.

    Raises:
        BadInput: no sound, damaged, cut short, or out of bounds.
    """
    channel = _loudest_channel(path)
    kept: list[Samples] = []
    length = 0
    for block in _channels(path):
        kept.append(block[channel])
        length += block.shape[1]
        if length >= _BLOCK:
            whole = np.concatenate(kept)
            yield from (whole[i : i + _BLOCK] for i in range(0, length - _BLOCK + 1, _BLOCK))
            kept, length = [whole[length - length % _BLOCK :]], length % _BLOCK
    if length:
        yield np.concatenate(kept)


@contextmanager
def _open(path: Path) -> Iterator[tuple[InputContainer, str]]:
    with path.open("rb") as file:
        head = file.read(64)
        if not head:
            raise BadInput(f"{path.name} is empty; {_READ_IT_AGAIN}.")
        kind = sound_type(head)
        if kind is None:
            raise BadInput(
                f"{path.name} is not a sound file that sayback knows (wav, flac, ogg, opus, mp3, m4a, webm)."
            )
        _refuse_if_cut(file, path.name, kind[1])
        file.seek(0)
        try:
            with av.open(file, mode="r", format=kind[1], metadata_errors="ignore") as container:
                yield container, kind[0]
        except FFmpegError as error:
            raise BadInput(f"{path.name} is damaged or cut short and cannot be decoded; {_READ_IT_AGAIN}.") from error


def _refuse_if_cut(file: BinaryIO, name: str, demuxer: str) -> None:
    """Raise BadInput if the container's own bookkeeping says that bytes are missing at the end."""
    size = file.seek(0, 2)
    measure = {"wav": _end_of_wav, "mov": _end_of_mp4, "ogg": _end_of_ogg}.get(demuxer)
    end = measure(file, size) if measure else 0
    if end > size:
        raise BadInput(f"{name} is cut short: {size:,} bytes are there and {end:,} were meant to be; {_READ_IT_AGAIN}.")


def _end_of_wav(file: BinaryIO, size: int) -> int:
    """Return where the data chunk says it ends; 0 if it does not say, as recorders write that were never closed."""
    at = 12
    while at + 8 <= size:
        file.seek(at)
        name, length = file.read(4), int.from_bytes(file.read(4), "little")
        if name == b"data":
            return 0 if length in (0, 0x7FFFFFFF, 0xFFFFFFFF) else at + 8 + length
        at += 8 + length + length % 2
    return at


def _end_of_mp4(file: BinaryIO, size: int) -> int:
    """Return where the last top-level box says it ends (ISO/IEC 14496-12, 4.2)."""
    at = 0
    while at + 8 <= size:
        file.seek(at)
        length, name = int.from_bytes(file.read(4), "big"), file.read(4)
        if length == 1:
            length = int.from_bytes(file.read(8), "big")
        if length == 0 or not name.isalnum():
            return 0
        at += max(length, 8)
    return at


def _end_of_ogg(file: BinaryIO, size: int) -> int:
    """Return where the last page says it ends (RFC 3533, section 6)."""
    start = max(0, size - 70_000)
    file.seek(start)
    tail = file.read()
    at = tail.rfind(b"OggS")
    if at < 0 or len(tail) < at + 27:
        return 0
    lacing = tail[at + 27 : at + 27 + tail[at + 26]]
    return start + at + 27 + tail[at + 26] + sum(lacing)


def _playing_time(container: InputContainer, path: Path) -> float:
    """Return the seconds that the packets really cover, and refuse a file that holds less than it says."""
    if not container.streams.audio:
        what = "a video without sound" if container.streams.video else "a file without sound"
        raise BadInput(f"{path.name} is {what}; record sound, or add a photo instead.")
    stream = container.streams.audio[0]
    if (
        not 0 < stream.codec_context.channels <= MOST_CHANNELS
        or not 4_000 <= stream.codec_context.sample_rate <= 400_000
    ):
        raise BadInput(
            f"{path.name} has {stream.codec_context.channels} channels at {stream.codec_context.sample_rate} samples a "
            f"second; up to {MOST_CHANNELS} channels at 4 to 400 kHz can be heard."
        )
    said = max(float((stream.duration or 0) * (stream.time_base or 0)), float(container.duration or 0) / av.time_base)
    first, last = None, 0.0
    for packet in container.demux(stream):
        if packet.pts is not None and packet.time_base is not None:
            start = float(packet.pts * packet.time_base)
            first = start if first is None else first
            last = max(last, start + float((packet.duration or 0) * packet.time_base))
    seconds = last - (first or 0.0)
    if seconds <= 0:
        raise BadInput(f"{path.name} holds no sound at all; {_READ_IT_AGAIN}.")
    if stream.duration and seconds < said - max(1.0, 0.02 * said):
        raise BadInput(f"{path.name} is cut short: {seconds:.0f} of {said:.0f} s are there; {_READ_IT_AGAIN}.")
    return round(seconds, 3)


_MOMENT = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:?\d\d)", re.ASCII)


def _recorded_at(container: InputContainer) -> datetime | None:
    """Return the moment in the container's metadata if it has a zone and a year that can be."""
    tags = dict(container.metadata)
    for stream in container.streams.audio[:1]:
        tags = {**stream.metadata, **tags}
    tags = {key.lower(): value.strip() for key, value in tags.items()}
    # The first is the phone's own clock with its zone, where it wrote one; the second is UTC by the standards of its
    # containers (ISO/IEC 14496-12 8.2.2, Matroska DateUTC); the third is the tag of Ogg and FLAC.
    for key in ("com.apple.quicktime.creationdate", "creation_time", "date"):
        if _MOMENT.fullmatch(tags.get(key, "")):
            try:
                at = datetime.fromisoformat(tags[key])
            except ValueError:
                continue
            if 2000 <= at.astimezone(UTC).year < 2100:
                return at
    return None


def _channels(path: Path) -> Iterator[Samples]:
    """Yield what is decoded, channels × samples, at 16 kHz."""
    heard = False
    with _open(path) as (container, _):
        if not container.streams.audio:
            raise BadInput(f"{path.name} is a file without sound; record sound, or add a photo instead.")
        stream = container.streams.audio[0]
        resampler = av.AudioResampler(format="fltp", rate=RATE)
        for packet in container.demux(stream):
            try:
                frames = packet.decode()
            except FFmpegError:
                if not heard and packet.dts is None:
                    raise
                continue  # one bad packet is a gap, as on a bad line; the rest can be heard
            for frame in frames:
                frame.pts = None
                for out in resampler.resample(frame):
                    heard = True
                    yield np.clip(np.nan_to_num(out.to_ndarray(), nan=0.0, posinf=0.0, neginf=0.0), -1.0, 1.0)
        if heard:
            for out in resampler.resample(None):
                yield np.clip(np.nan_to_num(out.to_ndarray(), nan=0.0, posinf=0.0, neginf=0.0), -1.0, 1.0)


def _loudest_channel(path: Path) -> int:
    with _open(path) as (container, _):
        if not container.streams.audio or container.streams.audio[0].codec_context.channels <= 1:
            return 0
    energy: NDArray[np.float64] | None = None
    for block in _channels(path):
        power = np.square(block, dtype=np.float64).sum(axis=1)
        energy = power if energy is None or energy.shape != power.shape else energy + power
    return 0 if energy is None else int(energy.argmax())
