"""A renderer of instrument displays, printed slips and rating plates, and of phone photos of them.

It makes the training set of the display reader and the sample photos. Everything is drawn from tables and
polygons of our own and from free fonts; the same generator gives the same bytes on the same machine.

    style = random_style(rng)
    window, boxes = render_seven_segment("7.9", "in. w.c.", style, rng)
    front, boxes = mount(window, boxes, random_body(rng), rng)
    photo, boxes = take_photo(front, boxes, severity=1, rng=rng)

The way of a picture: `segments`, `dots`, `lettering` draw ink; `faces` and `prints` make flat pictures of it;
`bodies` puts a window into an instrument; `scene` and `photo` photograph it; `crops` makes lines for training.
"""

from training.render.bodies import mount
from training.render.crops import LineCrop, line_crop, random_crop, random_number
from training.render.exif import exif_block
from training.render.faces import render_dot_display, render_seven_segment
from training.render.photo import encode_jpeg, hide, take_photo
from training.render.picture import Box, Image, Quad, find
from training.render.prints import render_plate, render_slip
from training.render.styles import (
    BodyStyle,
    DotStyle,
    PlateStyle,
    SegmentStyle,
    SlipStyle,
    random_body,
    random_dot_style,
    random_plate_style,
    random_slip_style,
    random_style,
)

__all__ = [
    "BodyStyle",
    "Box",
    "DotStyle",
    "Image",
    "LineCrop",
    "PlateStyle",
    "Quad",
    "SegmentStyle",
    "SlipStyle",
    "encode_jpeg",
    "exif_block",
    "find",
    "hide",
    "line_crop",
    "mount",
    "random_body",
    "random_crop",
    "random_dot_style",
    "random_number",
    "random_plate_style",
    "random_slip_style",
    "random_style",
    "render_dot_display",
    "render_plate",
    "render_seven_segment",
    "render_slip",
    "take_photo",
]
