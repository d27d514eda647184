"""The EXIF block of a made photo: which way up, and when. No place, no camera's name."""

from datetime import datetime

from PIL import Image as Pil

# Tag numbers: CIPA DC-008 (Exif 2.32), tables 3 to 8.
ORIENTATION, SOFTWARE, DATE_TIME, EXIF_IFD = 0x0112, 0x0131, 0x0132, 0x8769
DATE_TIME_ORIGINAL, OFFSET_TIME, OFFSET_TIME_ORIGINAL = 0x9003, 0x9010, 0x9011

# How stored pixels are turned so that the orientation brings them upright again: number of quarter turns of
# numpy's rot90 (against the clock).
TURNS = {1: 0, 6: 1, 3: 2, 8: 3}


def exif_block(taken: datetime, orientation: int = 1) -> bytes:
    """EXIF with orientation and the time of the photo with its zone. Raises ValueError if the time has no zone."""
    if taken.tzinfo is None:
        raise ValueError("the time of a photo needs its zone")
    stamp = taken.strftime("%Y:%m:%d %H:%M:%S")
    offset = taken.strftime("%z")
    offset = f"{offset[:3]}:{offset[3:5]}"
    block = Pil.Exif()
    block[ORIENTATION] = orientation
    block[SOFTWARE] = "made picture, not a photo"
    block[DATE_TIME] = stamp
    times = block.get_ifd(EXIF_IFD)
    times[DATE_TIME_ORIGINAL] = stamp
    times[OFFSET_TIME] = offset
    times[OFFSET_TIME_ORIGINAL] = offset
    return block.tobytes()
