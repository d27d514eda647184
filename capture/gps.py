"""A photo's bytes without the place where it was taken: what goes to others does not say where somebody lives.

Only the place is blanked, in bytes of the same length, so that the picture, its time and all else stay as they were.
EXIF keeps it in the directory that tag 0x8825 of the first one points to (CIPA DC-008, 4.6.3), XMP in properties whose
names begin with GPS in the exif namespace (CIPA DC-010, table 15).
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator

__all__ = ["without_place"]

_TIFF = re.compile(rb"II\*\x00|MM\x00\*")
_XMP = re.compile(rb"""(exif:GPS\w+\s*=\s*)("[^"]*"|'[^']*')|(<exif:GPS\w+[^>]*>)([^<]*)(?=</exif:GPS)""")
_GPS, _IFD_ENTRY = 0x8825, 12
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
"""bytes a value, by EXIF type"""


def without_place(data: bytes) -> bytes:
    """Return the bytes of a photo with its place blanked; the same bytes where they hold none."""
    found = bytearray(data)
    for match in _TIFF.finditer(data):
        try:
            for start, end in _placed(data, match.start()):
                found[start:end] = bytes(end - start)
        except struct.error:
            continue  # no directory of EXIF, only bytes that look like its head
    blank = _XMP.sub(_emptied, bytes(found))
    return _sealed(data, blank) if blank != data else data


def _placed(data: bytes, head: int) -> Iterator[tuple[int, int]]:
    """Yield the stretches of a TIFF block that hold the place: the entries of the directory, and what they point to."""
    order = "<" if data[head : head + 2] == b"II" else ">"
    first = head + struct.unpack_from(order + "I", data, head + 4)[0]
    for at in _entries(data, first, order):
        tag, _, _, pointed = struct.unpack_from(order + "HHII", data, at)
        if tag != _GPS:
            continue
        place = head + pointed
        for entry in _entries(data, place, order):
            _, kind, count, where = struct.unpack_from(order + "HHII", data, entry)
            size = _SIZES.get(kind, 1) * count
            if size > 4 and head + where + size <= len(data):
                yield head + where, head + where + size
            yield entry, entry + _IFD_ENTRY
        yield place, place + 2  # that many entries: none


def _entries(data: bytes, directory: int, order: str) -> range:
    (count,) = struct.unpack_from(order + "H", data, directory)
    end = directory + 2 + count * _IFD_ENTRY
    if end > len(data):
        raise struct.error("cut short")
    return range(directory + 2, end, _IFD_ENTRY)


def _emptied(found: re.Match[bytes]) -> bytes:
    """The same property with blanks for a value, as long as it was."""
    if found[1] is not None:
        return found[1] + found[2][:1] + b" " * (len(found[2]) - 2) + found[2][-1:]
    return found[3] + b" " * len(found[4])


def _sealed(data: bytes, blank: bytes) -> bytes:
    """The blanked bytes with the checksums that a PNG has of each chunk (RFC 2083, 3.4)."""
    if not data.startswith(b"\x89PNG\r\n\x1a\n"):
        return blank
    out, at = bytearray(blank), 8
    while at + 12 <= len(out):
        (length,) = struct.unpack_from(">I", out, at)
        end = at + 8 + length
        if out[at:end] != data[at:end] and end + 4 <= len(out):
            struct.pack_into(">I", out, end, zlib.crc32(out[at + 4 : end]))
        at = end + 4
    return bytes(out)
