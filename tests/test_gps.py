"""A photo's place is blanked and nothing else: same length, same pixels, same time."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pi_heif
import pytest
from PIL import Image

from capture.gps import without_place


def photo(kind: str, place: bool = True) -> bytes:
    image, exif = Image.new("RGB", (64, 48), (200, 10, 30)), Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:03:04 12:00:00"
    if place:
        gps = exif.get_ifd(0x8825)
        gps[1], gps[2], gps[3], gps[4] = "N", (52.0, 13.0, 7.5), "E", (1.0, 7.0, 1.0)
    file = BytesIO()
    image.save(file, kind, exif=exif.tobytes())
    return file.getvalue()


def blanked(data: bytes) -> bytes:
    """The picture without its place, which is all that it lost."""
    blank = without_place(data)
    assert len(blank) == len(data)
    before, after = Image.open(BytesIO(data)), Image.open(BytesIO(blank))
    assert dict(before.getexif().get_ifd(0x8825))
    assert not dict(after.getexif().get_ifd(0x8825))
    assert after.getexif().get_ifd(0x8769)[0x9003] == "2026:03:04 12:00:00"
    assert before.tobytes() == after.tobytes()
    return blank


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_place_is_blanked_and_nothing_else(kind: str) -> None:
    blank = blanked(photo(kind))
    assert (52).to_bytes(4, "big") + (1).to_bytes(4, "big") not in blank
    assert without_place(blank) == blank


def test_the_place_in_a_heic_is_blanked_and_nothing_else() -> None:
    pi_heif.register_heif_opener()
    blank = blanked((Path(__file__).parent / "data" / "placed.heic").read_bytes())
    assert without_place(blank) == blank


def test_bytes_without_a_place_stay() -> None:
    for data in (photo("JPEG", place=False), b"", b"II*\x00", b"MM\x00*\x00\x00\x00\x08\xff\xff"):
        assert without_place(data) == data


def test_the_place_in_xmp_is_blanked_too() -> None:
    xmp = b'<x exif:GPSLatitude="52,13.1N" exif:Flash="1"><exif:GPSLongitude>1,7.0E</exif:GPSLongitude></x>'
    blank = b'<x exif:GPSLatitude="        " exif:Flash="1"><exif:GPSLongitude>      </exif:GPSLongitude></x>'
    assert without_place(xmp) == blank
