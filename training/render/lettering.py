"""Letters: free fonts of Debian for legends and print, and where ink is put on a mask.

A mask is uint8, height x width, 0 no ink, 255 full ink.
"""

from functools import cache
from typing import Literal

import numpy as np
from PIL import Image as Pil
from PIL import ImageDraw, ImageFont

from schemas.errors import BadInput
from training.render.picture import Image, Quad, rect

# fonts-dejavu-core comes with fontconfig, so it is there wherever the report can be printed.
CORE_FONTS = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSansMono.ttf", "DejaVuSansMono-Bold.ttf")
# For a training set: fonts-dejavu-extra, fonts-liberation, fonts-noto-mono, fonts-urw-base35.
WIDE_FONTS = (
    *CORE_FONTS,
    "DejaVuSansCondensed.ttf",
    "DejaVuSansCondensed-Bold.ttf",
    "LiberationSans-Regular.ttf",
    "LiberationSans-Bold.ttf",
    "LiberationSansNarrow-Regular.ttf",
    "LiberationMono-Regular.ttf",
    "LiberationMono-Bold.ttf",
    "NotoSansMono-Regular.ttf",
    "NotoSansMono-Bold.ttf",
    "NimbusSans-Regular.otf",
    "NimbusSansNarrow-Bold.otf",
    "NimbusMonoPS-Regular.otf",
)

Anchor = Literal["left", "middle", "right"]


@cache
def font(name: str, size: int) -> ImageFont.FreeTypeFont:
    """A font by its file name, `size` pixels to the em. Raises BadInput if it is not installed."""
    try:
        # The plain layout engine: the other one may differ from machine to machine.
        return ImageFont.truetype(name, size, layout_engine=ImageFont.Layout.BASIC)
    except OSError as error:
        hint = "install fonts-dejavu-core, or the Debian font packages named beside WIDE_FONTS"
        raise BadInput(f"The font {name} is not installed; {hint} in training/render/lettering.py.") from error


def text_mask(text: str, name: str, size: int, sharp: bool = False) -> tuple[Image, int, int]:
    """One line of text as a mask, cut to its ink; `sharp` gives only 0 and 255.

    Returns the mask and the place (x, y) of its corner, from the pen's start and the top of the em.
    """
    face = font(name, size)
    left, top, right, bottom = (int(v) for v in face.getbbox(text))
    width, height = max(right - left, 1), max(bottom - top, 1)
    canvas = Pil.new("1" if sharp else "L", (width, height))
    pen = ImageDraw.Draw(canvas)
    pen.fontmode = "1" if sharp else "L"
    pen.text((-left, -top), text, fill=255 if not sharp else 1, font=face)
    return np.array(canvas.convert("L"), dtype=np.uint8), left, top


def text_width(text: str, name: str, size: int) -> float:
    """The pen's advance over a line of text, pixels."""
    return float(font(name, size).getlength(text))


def stamp(mask: Image, ink: Image, x: int, y: int) -> None:
    """Put ink on a mask with its corner at (x, y), in place; what falls outside is lost."""
    height, width = ink.shape
    x0, y0 = max(x, 0), max(y, 0)
    x1, y1 = min(x + width, mask.shape[1]), min(y + height, mask.shape[0])
    if x0 < x1 and y0 < y1:
        spot = mask[y0:y1, x0:x1]
        np.maximum(spot, ink[y0 - y : y1 - y, x0 - x : x1 - x], out=spot)


def write(
    mask: Image, x: float, y: float, text: str, name: str, size: int, anchor: Anchor = "left", sharp: bool = False
) -> Quad:
    """Write a line with the top of its em at y and its left, middle or right at x; returns the quad of its ink."""
    back = {"left": 0.0, "middle": 0.5, "right": 1.0}[anchor] * text_width(text, name, size)
    ink, dx, dy = text_mask(text, name, size, sharp)
    left, top = round(x - back) + dx, round(y) + dy
    stamp(mask, ink, left, top)
    return rect(left, top, ink.shape[1], ink.shape[0])
