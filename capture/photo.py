"""A photo file as pixels: upright, bounded, with the time it was taken. Its place (GPS) is never read.

The kind of a file is what its first bytes say, never its name. The size is known from the header, so a picture that is
too large is refused before a single pixel is decoded.
"""

from __future__ import annotations

import struct
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from pathlib import Path

import numpy as np
import pi_heif
from numpy.typing import NDArray
from PIL import Image, ImageFile, ImageOps

from schemas.errors import BadInput
from schemas.evidence import Clock

__all__ = [
    "MAX_PIXELS",
    "WORK_SIDE",
    "MachineZone",
    "Photo",
    "PhotoFacts",
    "Pixels",
    "identify_photo",
    "open_photo",
    "sniff_photo",
]

Pixels = NDArray[np.uint8]
"""Height x width x 3, blue-green-red as OpenCV and the text reader want them."""

MAX_PIXELS = 60_000_000
"""The most pixels a file may hold. Phones save 12 to 50 million."""
MAX_SIDE = 20_000
MIN_SIDE = 48
WORK_SIDE = 4096
"""Larger pictures are worked on reduced to this long side (12 million pixels of a phone fit as they are)."""

_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1"}
_OTHERS = (
    (b"GIF8", "GIF"),
    (b"BM", "BMP"),
    (b"II*\x00", "TIFF"),
    (b"MM\x00*", "TIFF"),
    (b"%PDF", "PDF"),
    (b"<svg", "SVG"),
)
_PIL_FORMATS = {"image/jpeg": ("JPEG", "MPO"), "image/png": ("PNG",), "image/webp": ("WEBP",)}

# What Pillow and libheif have been seen to raise on damaged files.
_DAMAGE = (OSError, ValueError, SyntaxError, EOFError, RuntimeError, struct.error, LookupError, TypeError)

_EXIF_IFD = 0x8769
_DATE_TIME_ORIGINAL, _OFFSET_TIME, _OFFSET_TIME_ORIGINAL = 0x9003, 0x9010, 0x9011


class MachineZone(tzinfo):
    """The zone that this machine is set to, with the offset that it has on each day."""

    def utcoffset(self, moment: datetime | None) -> timedelta | None:
        return moment.replace(tzinfo=None).astimezone().utcoffset() if moment else None

    def dst(self, moment: datetime | None) -> None:
        return None

    def tzname(self, moment: datetime | None) -> str:
        return "local"


@dataclass(frozen=True)
class PhotoFacts:
    """What a photo file says of itself. ``width`` and ``height`` are those of the upright picture, pixels.

    ``at`` is None where the file tells no time, or no zone and none was given to assume (``clock`` is ``assumed`` where
    one was); ``note`` then says which.
    """

    media_type: str
    width: int
    height: int
    at: datetime | None
    clock: Clock
    note: str = ""


@dataclass(frozen=True)
class Photo:
    """An upright picture. ``scale`` x a place in ``pixels`` is the place in the full upright picture."""

    facts: PhotoFacts
    pixels: Pixels
    scale: float


def sniff_photo(head: bytes) -> str | None:
    """Return the media type that the first 32 bytes of a file tell, None where they are no picture that we read."""
    if head.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "image/webp"
    if head[4:8] == b"ftyp" and head[8:12] in _HEIC_BRANDS and b"avif" not in head[8:32]:
        return "image/heic"
    return None


def identify_photo(path: Path, zone: tzinfo | None = None) -> PhotoFacts:
    """Check that a photo can be read to its end and return what it says of itself.

    ``zone`` is the job's time zone, used where the picture gives a time without one.

    Raises:
        BadInput: not a picture that we read, too large, too small, animated, or damaged.
    """
    with _opened(path) as (image, media_type):
        facts = _facts(image, media_type, zone)
        if media_type == "image/jpeg":
            image.draft("RGB", (image.width // 8, image.height // 8))  # all data is still gone through
        image.load()
    return facts


def open_photo(path: Path, zone: tzinfo | None = None) -> Photo:
    """Return the picture upright, in 8-bit colour, its long side at most WORK_SIDE.

    Raises:
        BadInput: as ``identify_photo``.
    """
    with _opened(path) as (image, media_type):
        facts = _facts(image, media_type, zone)
        if media_type == "image/jpeg":
            image.draft("RGB", (WORK_SIDE // 2 + 1, WORK_SIDE // 2 + 1))
        image.load()
        if max(image.size) > WORK_SIDE:
            image.thumbnail((WORK_SIDE, WORK_SIDE), Image.Resampling.BOX, reducing_gap=1.5)
        upright = _flat(image)
        ImageOps.exif_transpose(upright, in_place=True)
    data = bytearray(upright.tobytes("raw", "BGR"))  # swapping the colours in numpy takes ten times as long
    pixels = np.frombuffer(data, np.uint8).reshape(upright.height, upright.width, 3)
    return Photo(facts, pixels, facts.width / pixels.shape[1])


@contextmanager
def _opened(path: Path) -> Iterator[tuple[Image.Image, str]]:
    """Open a picture by what its bytes say it is, with its size checked and nothing decoded yet.

    Whatever the decoders raise on a damaged file becomes one sentence: they raise a dozen kinds.
    """
    name = path.name
    try:
        with path.open("rb") as file:
            head = file.read(32)
    except OSError as error:
        raise BadInput(
            f"{name} cannot be opened ({error.strerror}); check the path and that you may read it."
        ) from error
    if not head:
        raise BadInput(f"{name} is empty; copy it from the phone or camera again.")
    media_type = sniff_photo(head)
    if media_type is None:
        known = next((kind for magic, kind in _OTHERS if head.startswith(magic)), None)
        what = f"is a {known} file" if known else "is not a picture"
        raise BadInput(f"{name} {what}; take the photo as JPEG, PNG, WebP or HEIC.")
    try:
        with warnings.catch_warnings():
            # Pillow only warns of a picture of 90 to 180 million pixels; here the size is judged below.
            warnings.simplefilter("ignore")
            # WeasyPrint, once imported, tells Pillow to fill in what a cut picture lacks: here that is damage.
            ImageFile.LOAD_TRUNCATED_IMAGES = False
            with _decoder(path, media_type) as image:
                _check_size(image, name)
                yield image, media_type
    except (Image.DecompressionBombError, MemoryError) as error:
        raise BadInput(
            f"{name} has more than {MAX_PIXELS // 1_000_000} million pixels; take it again at a lower resolution."
        ) from error
    except _DAMAGE as error:
        raise BadInput(f"{name} is damaged or cut short; copy it from the phone or camera again.") from error


@contextmanager
def _decoder(path: Path, media_type: str) -> Iterator[Image.Image]:
    if media_type == "image/heic":
        with path.open("rb") as file:
            # libheif turns the picture as the container says; an EXIF orientation beside it has no force there.
            picture = pi_heif.HeifImageFile(file)
            yield picture
            return
    with Image.open(path, formats=_PIL_FORMATS[media_type]) as image:
        yield image


def _check_size(image: Image.Image, name: str) -> None:
    width, height = image.size
    if width * height > MAX_PIXELS or max(width, height) > MAX_SIDE:
        raise BadInput(
            f"{name} is {width} by {height} pixels, more than {MAX_PIXELS // 1_000_000} million or {MAX_SIDE} a side;"
            " take it again at a lower resolution."
        )
    if min(width, height) < MIN_SIDE:
        raise BadInput(f"{name} is only {width} by {height} pixels, too small to read; send the original photo.")
    # A phone's JPEG may carry a second picture beside the first (MPO), a HEIC a burst: the first one counts.
    if image.format in ("PNG", "WEBP") and getattr(image, "n_frames", 1) > 1:
        raise BadInput(f"{name} is an animation; send one still picture.")


def _facts(image: Image.Image, media_type: str, zone: tzinfo | None) -> PhotoFacts:
    exif = image.getexif()
    turned = media_type != "image/heic" and exif.get(0x0112) in (5, 6, 7, 8)
    width, height = image.size[::-1] if turned else image.size
    at, clock, note = _taken_at(exif, zone)
    return PhotoFacts(media_type, width, height, at, clock, note)


def _taken_at(exif: Image.Exif, zone: tzinfo | None) -> tuple[datetime | None, Clock, str]:
    tags = exif.get_ifd(_EXIF_IFD)
    text = str(tags.get(_DATE_TIME_ORIGINAL, "")).strip("\x00 ")
    try:
        local = datetime.strptime(text[:19], "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None, "none", "The picture does not say when it was taken."
    offset = _offset(str(tags.get(_OFFSET_TIME_ORIGINAL) or tags.get(_OFFSET_TIME) or ""))
    if offset is not None:
        return local.replace(tzinfo=offset), "exif", ""
    if zone is None:
        note = f"The picture says {local:%Y-%m-%d %H:%M:%S} without a time zone; give the job's zone to use it."
        return None, "none", note
    at = local.replace(tzinfo=zone)
    return at.replace(tzinfo=timezone(at.utcoffset() or timedelta())), "assumed", ""


def _offset(text: str) -> timezone | None:
    """Read an EXIF offset such as ``+02:00``."""
    text = text.strip("\x00 ")
    if text == "Z":
        return UTC
    if len(text) != 6 or text[0] not in "+-" or text[3] != ":" or not (text[1:3] + text[4:]).isascii():
        return None
    if not (text[1:3] + text[4:]).isdigit() or int(text[1:3]) > 14 or int(text[4:]) > 59:
        return None
    gap = timedelta(hours=int(text[1:3]), minutes=int(text[4:]))
    return timezone(gap if text[0] == "+" else -gap)


def _flat(image: Image.Image) -> Image.Image:
    """The picture as 8-bit red-green-blue, transparency on white; the orientation tag stays on it."""
    exif = image.getexif()
    if image.mode.startswith("I;16") or image.mode in ("I", "F"):
        levels = np.asarray(image, dtype=np.float64)
        flat = Image.fromarray(np.clip(levels / 257.0, 0, 255).astype(np.uint8)).convert("RGB")
    elif image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        over = image.convert("RGBA")
        flat = Image.new("RGB", over.size, "white")
        flat.paste(over, mask=over.getchannel("A"))
    else:
        flat = image if image.mode == "RGB" else image.convert("RGB")
    if image.format in ("HEIF", "HEIC"):
        exif.pop(0x0112, None)
    flat.getexif().update({k: v for k, v in exif.items() if k == 0x0112})
    return flat
