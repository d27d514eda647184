"""Sound files in: every container, the time it was recorded, the bounds, and the files that cannot be used."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import av
import numpy as np
import pytest

from capture import sniff
from capture.sound import RATE, samples
from schemas.errors import BadInput
from tests.sounds import silence, tone, write


def whole(path: Path) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    return np.concatenate(list(samples(path)))


def pitch(sound: np.ndarray[tuple[int], np.dtype[np.float32]]) -> float:
    return float(np.abs(np.fft.rfft(sound)).argmax() * RATE / len(sound))


@pytest.mark.parametrize(
    ("form", "rate", "media_type"),
    [
        ("wav", 44_100, "audio/wav"),
        ("mulaw.wav", 8_000, "audio/wav"),
        ("float.wav", 48_000, "audio/wav"),
        ("flac", 44_100, "audio/flac"),
        ("ogg", 48_000, "audio/ogg"),
        ("mp3", 44_100, "audio/mpeg"),
        ("m4a", 44_100, "audio/mp4"),
        ("webm", 48_000, "audio/webm"),
    ],
)
def test_every_container_is_heard_at_16_kHz_whatever_its_name(
    tmp_path: Path, form: str, rate: int, media_type: str
) -> None:
    path = write(tmp_path / "note.jpg", tone(1.5, 440, rate=rate), form=form, rate=rate)
    media = sniff.identify(path)
    assert (media.kind, media.media_type, media.at, media.clock) == ("sound", media_type, None, "none")
    assert media.seconds == pytest.approx(1.5, abs=0.12)
    heard = whole(path)
    assert len(heard) / RATE == pytest.approx(1.5, abs=0.12)
    assert pitch(heard) == pytest.approx(440, abs=3)
    assert np.sqrt(np.mean(heard**2)) == pytest.approx(0.3 / np.sqrt(2), rel=0.1)


@pytest.mark.slow
def test_a_long_sound_comes_in_blocks_with_nothing_lost_between(tmp_path: Path) -> None:
    path = write(tmp_path / "long.wav", tone(20, 100))
    blocks = list(samples(path))
    assert max(map(len, blocks)) <= 8 * RATE
    assert np.concatenate(blocks) == pytest.approx(tone(20, 100), abs=1e-3)


def test_of_two_channels_the_louder_is_heard_and_antiphase_does_not_vanish(tmp_path: Path) -> None:
    voice = tone(1, 300)
    antiphase = write(tmp_path / "antiphase.wav", np.stack([voice, -voice]))
    assert np.abs(whole(antiphase)).max() > 0.25
    right = write(tmp_path / "right.wav", np.stack([tone(1, 700, 0.05), voice]))
    assert pitch(whole(right)) == pytest.approx(300, abs=2)


def test_samples_that_are_no_numbers_are_silence(tmp_path: Path) -> None:
    sound = tone(1)
    sound[4000:4100] = np.nan
    sound[5000] = np.inf
    heard = whole(write(tmp_path / "nan.wav", sound, form="float.wav"))
    assert np.isfinite(heard).all()
    assert np.abs(heard).max() <= 1
    assert not heard[4010:4090].any()


@pytest.mark.parametrize("text", ["2026-03-04T05:06:07.000000Z", "2026-03-04T05:06:07+00:00"])
def test_the_containers_own_time_is_taken_with_its_zone(tmp_path: Path, text: str) -> None:
    path = write(tmp_path / "note.m4a", tone(0.5), form="m4a", metadata={"creation_time": text})
    media = sniff.identify(path)
    assert media.at == datetime.fromisoformat("2026-03-04T05:06:07+00:00")
    assert media.at is not None
    assert media.at.tzinfo is not None
    assert media.clock == "container"


@pytest.mark.parametrize("text", ["2026-03-04", "2026-03-04T05:06:07", "2026-13-04T05:06:07Z", "1904-01-01T00:00:00Z"])
def test_a_time_without_zone_or_sense_is_no_time(tmp_path: Path, text: str) -> None:
    path = write(tmp_path / "note.flac", tone(0.5), form="flac", metadata={"DATE": text})
    os.utime(path, (1_700_000_000, 1_700_000_000))
    media = sniff.identify(path)
    assert (media.at, media.clock) == (None, "none")


def cut(path: Path, keep: float) -> Path:
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * keep)])
    return path


def empty(folder: Path) -> Path:
    (folder / "empty.wav").touch()
    return folder / "empty.wav"


def claims_two_gigabytes(folder: Path) -> Path:
    path = write(folder / "claims.wav", tone(0.05))
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[at : at + 4] = (2_000_000_000).to_bytes(4, "little")
    path.write_bytes(data)
    return path


def no_samples(folder: Path) -> Path:
    path = write(folder / "head.wav", tone(0.01))
    data = path.read_bytes()
    path.write_bytes(data[: data.index(b"data") + 4] + bytes(4))
    return path


def text_named_wav(folder: Path) -> Path:
    (folder / "text.wav").write_text("high fire nine point one\n" * 20)
    return folder / "text.wav"


def noise_named_mp3(folder: Path) -> Path:
    (folder / "noise.mp3").write_bytes(b"ID3\x04\x00\x00\x00\x00\x00\x00" + np.random.default_rng(2).bytes(5_000))
    return folder / "noise.mp3"


def video_without_sound(folder: Path) -> Path:
    path = folder / "video.wav"
    with av.open(str(path), "w", format="mp4") as container:
        stream = container.add_stream("mpeg4", rate=10)
        stream.width = stream.height = 64
        stream.pix_fmt = "yuv420p"
        for _ in range(3):
            container.mux(stream.encode(av.VideoFrame(64, 64, "yuv420p")))
        container.mux(stream.encode(None))
    return path


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (empty, "is empty"),
        (claims_two_gigabytes, "is cut short"),
        (no_samples, "holds no sound at all"),
        (text_named_wav, "neither sound nor a picture"),
        (noise_named_mp3, "damaged|holds no sound"),
        (video_without_sound, "video without sound"),
        (lambda folder: folder / "missing.wav", "There is no file"),
        (lambda folder: folder, "is a folder"),
        *(
            (
                lambda folder, form=form: cut(write(folder / f"half.{form}", tone(6), form=form), 0.5),
                "cut short|damaged",
            )
            for form in ("wav", "flac", "ogg", "m4a")
        ),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_clear_sentence(
    tmp_path: Path, make: Callable[[Path], Path], says: str
) -> None:
    with pytest.raises(BadInput, match=says) as error:
        sniff.identify(make(tmp_path))
    text = str(error.value)
    assert text.endswith(".")
    assert text.count("\n") == 0
    assert len(text) < 250


def test_a_picture_named_wav_is_a_picture(tmp_path: Path) -> None:
    from PIL import Image

    path = tmp_path / "picture.wav"
    Image.effect_noise((640, 480), 40).save(path, "PNG")
    assert sniff.identify(path).kind == "photo"


def test_a_recorder_that_never_closed_its_file_is_heard(tmp_path: Path) -> None:
    path = write(tmp_path / "open.wav", tone(2))
    data = bytearray(path.read_bytes())
    for name in (b"RIFF", b"data"):
        at = data.index(name) + 4
        data[at : at + 4] = b"\xff\xff\xff\xff"
    path.write_bytes(data)
    assert sniff.identify(path).seconds == pytest.approx(2, abs=0.05)


def test_silence_is_a_sound_file_too(tmp_path: Path) -> None:
    assert sniff.identify(write(tmp_path / "quiet.flac", silence(3), form="flac")).seconds == pytest.approx(3, abs=0.1)
