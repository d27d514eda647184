"""Photos come in upright and bounded, and every bad one gets its one sentence."""

from __future__ import annotations

import struct
import subprocess
import time
import zlib
from contextlib import suppress
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from PIL import Image, ImageFile

from capture.photo import WORK_SIDE, identify_photo, open_photo, sniff_photo
from capture.sniff import identify
from schemas.errors import BadInput

FIXTURES = Path(__file__).parent / "data"


def corner_marked(width: int = 160, height: int = 120) -> Image.Image:
    """A grey picture whose upper left quarter is red."""
    pixels = np.full((height, width, 3), 128, np.uint8)
    pixels[: height // 2, : width // 2] = (250, 10, 10)
    return Image.fromarray(pixels)


def stored_as(orientation: int) -> Image.Image:
    """The pixels as a camera would store them for that EXIF orientation (EXIF 2.32, 4.6.4 tag 274)."""
    undo = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }
    picture = corner_marked()
    return picture.transpose(undo[orientation]) if orientation in undo else picture


def exif(orientation: int | None = None, **tags: str) -> Image.Exif:
    numbers = {"original": 0x9003, "offset": 0x9011, "offset_time": 0x9010}
    made = Image.Exif()
    if orientation is not None:
        made[0x0112] = orientation
    inner = made.get_ifd(0x8769)
    for name, text in tags.items():
        inner[numbers[name]] = text
    return made


def red_corner(pixels: np.ndarray) -> str:
    """Where the red quarter lies, from blue-green-red pixels."""
    red = pixels[:, :, 2].astype(int) - pixels[:, :, 0]
    rows, columns = np.nonzero(red > 120)
    upper = rows.mean() < pixels.shape[0] / 2
    left = columns.mean() < pixels.shape[1] / 2
    return f"{'upper' if upper else 'lower'} {'left' if left else 'right'}"


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_once(tmp_path: Path, orientation: int) -> None:
    path = tmp_path / "p.jpg"
    stored_as(orientation).save(path, exif=exif(orientation), quality=95)
    photo = open_photo(path)
    assert photo.pixels.shape == (120, 160, 3)
    assert (photo.facts.width, photo.facts.height) == (160, 120)
    assert red_corner(photo.pixels) == "upper left"


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp"])
def test_bytes_count_and_names_do_not(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / "really-a-sound.wav"
    corner_marked().save(path, format={"jpg": "JPEG"}.get(suffix, suffix))
    assert identify_photo(path).media_type == f"image/{suffix.replace('jpg', 'jpeg')}"


def test_heic_turns_as_its_container_says_whatever_exif_says_beside_it() -> None:
    """turned.heic: EXIF orientation 6 beside upright pixels (ISO/IEC 23008-12: only irot, imir turn)."""
    photo = open_photo(FIXTURES / "turned.heic")
    assert photo.facts.media_type == "image/heic"
    assert photo.pixels.shape[:2] == (photo.facts.height, photo.facts.width)
    assert red_corner(photo.pixels) == "upper left"


def test_cmyk_16_bit_palette_and_transparent_pictures_open(tmp_path: Path) -> None:
    picture = corner_marked()
    picture.convert("CMYK").save(tmp_path / "cmyk.jpg")
    picture.convert("P").save(tmp_path / "palette.png")
    clear = picture.convert("RGBA")
    clear.putalpha(255)
    clear.save(tmp_path / "alpha.png")
    for name in ("cmyk.jpg", "palette.png", "alpha.png"):
        assert red_corner(open_photo(tmp_path / name).pixels) == "upper left"
    levels = np.tile(np.linspace(0, 65535, 160).astype(np.uint16), (120, 1))
    Image.fromarray(levels).save(tmp_path / "deep.png")
    deep = open_photo(tmp_path / "deep.png").pixels
    assert deep[0, 0].tolist() == [0, 0, 0]
    assert deep[0, -1].tolist() == [255, 255, 255]


def test_a_see_through_picture_stands_on_white(tmp_path: Path) -> None:
    Image.new("RGBA", (100, 100), (0, 0, 0, 0)).save(tmp_path / "clear.png")
    assert open_photo(tmp_path / "clear.png").pixels.min() == 255


def test_large_pictures_are_worked_on_reduced(tmp_path: Path) -> None:
    corner_marked(6000, 1500).save(tmp_path / "wide.jpg")
    photo = open_photo(tmp_path / "wide.jpg")
    assert photo.pixels.shape[1] <= WORK_SIDE
    assert photo.facts.width == 6000
    assert photo.scale * photo.pixels.shape[1] == pytest.approx(6000)


def huge_png(width: int, height: int) -> bytes:
    """The header of a 1-bit picture and a few bytes of data: nothing can be decoded from it."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    data = chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + data


@pytest.mark.parametrize(("width", "height"), [(20_000, 20_000), (12_000, 9_000), (30_000, 100)])
def test_pixel_bombs_are_refused_from_the_header(tmp_path: Path, width: int, height: int) -> None:
    (tmp_path / "bomb.png").write_bytes(huge_png(width, height))
    with pytest.raises(BadInput, match="million") as caught:
        open_photo(tmp_path / "bomb.png")
    assert "lower resolution" in str(caught.value)


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp"])
@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.95])
def test_a_picture_cut_short_is_named_damaged(tmp_path: Path, suffix: str, share: float) -> None:
    rng = np.random.default_rng(5)
    whole = tmp_path / f"whole.{suffix}"
    Image.fromarray(rng.integers(0, 255, (120, 160, 3), np.uint8)).save(whole)
    data = whole.read_bytes()
    path = tmp_path / f"half.{suffix}"
    path.write_bytes(data[: max(40, int(len(data) * share))])
    for read in (identify_photo, open_photo):
        with pytest.raises(BadInput, match="damaged or cut short"):
            read(path)


def test_heic_cut_short_is_named_damaged(tmp_path: Path) -> None:
    data = (FIXTURES / "turned.heic").read_bytes()
    (tmp_path / "half.heic").write_bytes(data[: len(data) * 2 // 3])
    with pytest.raises(BadInput, match="damaged or cut short"):
        open_photo(tmp_path / "half.heic")


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "is empty"),
        (b"RIFF\x00\x00\x00\x00WAVEfmt ", "is not a picture"),
        (b"GIF89a" + bytes(60), "is a GIF file"),
        (b"II*\x00" + bytes(60), "is a TIFF file"),
        (b"hello, this is a text", "is not a picture"),
    ],
)
def test_what_is_no_photo_is_refused(tmp_path: Path, data: bytes, sentence: str) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(data)
    with pytest.raises(BadInput, match=sentence):
        identify_photo(path)


def test_missing_tiny_and_animated_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be opened"):
        identify_photo(tmp_path / "nowhere.jpg")
    corner_marked(30, 20).save(tmp_path / "tiny.png")
    with pytest.raises(BadInput, match="too small"):
        identify_photo(tmp_path / "tiny.png")
    for name in ("moving.webp", "moving.png"):
        corner_marked().save(tmp_path / name, save_all=True, append_images=[corner_marked().rotate(180)])
        with pytest.raises(BadInput, match="animation"):
            identify_photo(tmp_path / name)


def test_flipped_bytes_never_end_in_anything_but_bad_input(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    for suffix in ("jpg", "png", "webp", "heic"):
        if suffix == "heic":
            whole = (FIXTURES / "turned.heic").read_bytes()
        else:
            corner_marked().save(
                tmp_path / "w", format={"jpg": "JPEG"}.get(suffix, suffix), exif=exif(6, original="2024:01:02 03:04:05")
            )
            whole = (tmp_path / "w").read_bytes()
        for _ in range(60):
            data = bytearray(whole)
            for place in rng.integers(12, len(data), 4):
                data[place] = int(rng.integers(0, 256))
            (tmp_path / "flipped").write_bytes(bytes(data))
            with suppress(BadInput):  # anything else fails the test
                assert open_photo(tmp_path / "flipped").pixels.ndim == 3


def test_time_needs_a_zone(tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    corner_marked().save(path, exif=exif(original="2024:11:05 09:30:00", offset="-05:00"))
    facts = identify_photo(path)
    assert facts.at == datetime(2024, 11, 5, 9, 30, tzinfo=timezone(timedelta(hours=-5)))
    assert facts.clock == "exif"

    corner_marked().save(path, exif=exif(original="2024:11:05 09:30:00"))
    facts = identify_photo(path)
    assert facts.at is None
    assert facts.clock == "none"
    assert "2024-11-05 09:30:00 without a time zone" in facts.note
    zoned = identify_photo(path, ZoneInfo("America/Chicago"))
    assert zoned.at is not None
    assert zoned.at.astimezone(UTC) == datetime(2024, 11, 5, 15, 30, tzinfo=UTC)
    assert zoned.clock == "assumed"


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of a process cannot be set here")
def test_the_machine_s_zone_is_that_of_the_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An evidence file without a zone is in this machine's, in winter and in summer, and says so."""
    monkeypatch.setenv("TZ", "EST5EDT,M3.2.0,M11.1.0")  # POSIX.1-2017, 8.3: five hours behind UTC, four in summer
    time.tzset()
    try:
        for month, hour in (("01", 14), ("07", 13)):
            corner_marked().save(tmp_path / "p.jpg", exif=exif(original=f"2024:{month}:05 09:30:00"))
            media = identify(tmp_path / "p.jpg")
            assert media.clock == "assumed"
            assert media.at == datetime(2024, int(month), 5, hour, 30, tzinfo=UTC)
    finally:
        monkeypatch.undo()
        time.tzset()


@pytest.mark.parametrize("original", ["", "0000:00:00 00:00:00", "yesterday", "2024:13:45 99:00:00"])
def test_a_time_that_is_none_is_not_used(tmp_path: Path, original: str) -> None:
    path = tmp_path / "p.jpg"
    corner_marked().save(path, exif=exif(original=original, offset="+01:00"))
    assert identify_photo(path).at is None


@pytest.mark.parametrize("offset", ["+25:00", "-5", "east", "+05:75", "+٠٥:٠٠"])
def test_a_zone_that_is_none_is_not_used(tmp_path: Path, offset: str) -> None:
    path = tmp_path / "p.jpg"
    made = exif(original="2024:11:05 09:30:00")
    made.get_ifd(0x8769)[0x9011] = offset.encode("utf-8")
    corner_marked().save(path, exif=made)
    assert identify_photo(path).at is None


def test_gps_is_never_kept(tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    made = exif(original="2024:11:05 09:30:00", offset="+00:00")
    made.get_ifd(0x8825)[2] = (12.0, 34.0, 56.78)
    corner_marked().save(path, exif=made)
    assert "56.78" not in repr(identify_photo(path))
    assert "56.78" not in repr(open_photo(path).facts)


def test_sniffing_knows_avif_from_heic() -> None:
    assert sniff_photo(b"\x00\x00\x00\x1cftypmif1\x00\x00\x00\x00mif1avifmiaf\x00\x00") is None
    assert sniff_photo(b"\x00\x00\x00\x1cftypheic\x00\x00\x00\x00mif1heic\x00\x00\x00\x00") == "image/heic"


def test_file_tells_the_same_types(tmp_path: Path) -> None:
    """Against the reference: file(1) of Debian names the same media types."""
    try:
        subprocess.run(["file", "--version"], check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("file(1) is not installed on this machine; it is only the reference")
    for suffix in ("jpg", "png", "webp"):
        path = tmp_path / f"p.{suffix}"
        corner_marked().save(path)
        told = subprocess.run(
            ["file", "-b", "--mime-type", path], check=True, capture_output=True, text=True
        ).stdout.strip()
        assert identify_photo(path).media_type == told


def test_a_library_that_tolerates_cut_pictures_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)  # as WeasyPrint does when it is imported
    path = tmp_path / "half.jpg"
    Image.fromarray(np.random.default_rng(5).integers(0, 255, (120, 160, 3), np.uint8)).save(path)
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(BadInput, match="damaged or cut short"):
        open_photo(path)
