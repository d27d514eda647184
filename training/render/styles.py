"""How an instrument looks, as data, and styles drawn by chance.

All lengths are in pixels of the flat picture unless said otherwise. Every choice comes from the
generator given, so one seed is one style.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, TypeVar

import numpy as np

from training.render.dots import OWN
from training.render.lettering import CORE_FONTS
from training.render.picture import Colour
from training.render.segments import SegmentShape

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Look:
    """The colours of a display and how its ink meets its ground."""

    ground: Colour = (176, 184, 164)
    ink: Colour = (28, 32, 30)
    contrast: float = 0.92
    """share of the ink's colour where it is lit"""
    ghost: float = 0.0
    """the same for segments that are not lit"""
    shadow: float = 0.0
    """depth of the shadow that the ink of a liquid crystal throws on its mirror"""
    glow: float = 0.0
    """halo of light around lit ink (light-emitting displays)"""
    unevenness: float = 0.06
    """how much darker the far end of the backlight is"""


@dataclass(frozen=True, slots=True)
class SegmentStyle:
    """A window with one large number."""

    shape: SegmentShape = field(default_factory=SegmentShape)
    look: Look = field(default_factory=Look)
    height: int = 300
    """of a digit"""
    cells: int = 4
    unit_at: Literal["foot", "head", "below", "above"] = "foot"
    unit_size: float = 0.24
    """in digit heights"""
    font: str = "DejaVuSans-Bold.ttf"
    legends: tuple[str, ...] = ()
    """small words on the glass that are lit"""
    ghost_legends: tuple[str, ...] = ()
    """the same, not lit: other units, other modes"""
    margin: tuple[float, float] = (0.45, 0.4)
    """clear glass beside and above the digits, in digit heights"""
    dim: float = 0.0
    """how much weaker than the strongest a lit segment may be, as share of its ink (worn contacts, a shutter)"""


@dataclass(frozen=True, slots=True)
class DotStyle:
    """A text display made of dots."""

    look: Look = field(default_factory=Look)
    pitch: int = 6
    fill: float = 0.88
    dot: Literal["square", "round"] = "square"
    face: str = OWN
    size: int = 7
    """dots to the em; 7 for the own table"""
    leading: int = 5
    """clear dots between two lines"""
    border: int = 8
    """clear dots around all"""
    column_gap: int = 10
    """clear dots between the longest label and the values"""
    unit_gap: int = 4
    values: Literal["left", "right"] = "right"
    rules: bool = False
    """thin lines between the rows"""
    heading: Literal["plain", "bar", "ruled"] = "bar"
    foot: tuple[str, ...] = ()
    """words over the keys"""
    raised_from: int | None = None
    """index of a row drawn in negative, as a cursor does"""


@dataclass(frozen=True, slots=True)
class SlipStyle:
    """A printed slip."""

    face: str = "DejaVuSansMono.ttf"
    size: int = 34
    dots: bool = True
    """the print shows the dots of the head"""
    width: int = 820
    leading: float = 1.28
    values: Literal["left", "right"] = "right"
    rule: str = "-"
    paper: Colour = (238, 237, 232)
    ink: Colour = (48, 46, 58)
    fade: float = 0.25
    """how much paler the palest band is"""
    dead_dots: int = 1
    """columns of the print head that do not heat"""
    curl: float = 0.4
    """0 flat, 1 rolled up strongly at both ends"""


@dataclass(frozen=True, slots=True)
class PlateStyle:
    """A rating plate."""

    font: str = "DejaVuSans.ttf"
    heading_font: str = "DejaVuSans-Bold.ttf"
    size: int = 40
    width: int = 1300
    metal: Colour = (188, 190, 190)
    ink: Colour = (24, 25, 28)
    engraved: bool = False
    brushed: float = 0.5
    grid: bool = True
    heading: Literal["bar", "plain"] = "bar"
    value_at: float = 0.5
    """where the values begin, in widths"""
    fixing: Literal["rivets", "screws", "glued"] = "rivets"
    wear: float = 0.4


@dataclass(frozen=True, slots=True)
class BodyStyle:
    """The instrument around a display."""

    colour: Colour = (62, 64, 68)
    face: Colour = (40, 41, 44)
    edge: Literal["plain", "rubber"] = "plain"
    edge_colour: Colour = (30, 52, 84)
    radius: float = 0.08
    """of the corners, in body widths"""
    bezel: float = 0.05
    """width of the frame around the glass, in window widths"""
    side: float = 0.12
    """body beside the bezel, in window widths"""
    head: float = 0.22
    """body above the bezel, in window widths"""
    keys: tuple[tuple[str, ...], ...] = ()
    """rows of keys by their words"""
    key_colour: Colour = (108, 110, 114)
    key_ink: Colour = (236, 236, 232)
    round_keys: bool = False
    ports: int = 0
    """hose ports at the head"""
    name: str = ""
    caption: str = ""


def pick(rng: np.random.Generator, choices: Sequence[T], weights: Sequence[float] | None = None) -> T:
    """One of some choices; the choice itself, not a copy as numpy makes it."""
    share = None if weights is None else np.array(weights) / sum(weights)
    return choices[int(rng.choice(len(choices), p=share))]


# Grounds and inks of displays as technicians meet them: reflecting and backlit liquid crystal,
# negative (bright on dark), light-emitting. Common practice, no source.
LOOKS: dict[str, tuple[Look, ...]] = {
    "positive": (
        Look((164, 172, 150), (30, 34, 30), shadow=0.3),
        Look((186, 190, 182), (34, 36, 40), shadow=0.25),
        Look((150, 160, 152), (26, 30, 36), shadow=0.3),
        Look((196, 214, 120), (34, 42, 26), unevenness=0.15),
        Look((226, 224, 206), (36, 34, 40), unevenness=0.12),
        Look((236, 176, 88), (42, 26, 18), unevenness=0.18),
        Look((150, 206, 230), (18, 30, 52), unevenness=0.15),
        Look((214, 232, 240), (20, 24, 40), unevenness=0.1),
    ),
    "negative": (
        Look((18, 34, 110), (222, 232, 246), unevenness=0.15),
        Look((16, 18, 22), (226, 232, 228), unevenness=0.1),
        Look((14, 40, 28), (170, 240, 160), unevenness=0.12),
        Look((40, 14, 12), (250, 150, 90), unevenness=0.12),
    ),
    "emitting": (
        Look((26, 8, 8), (255, 44, 28), glow=0.5, unevenness=0.0),
        Look((10, 20, 12), (90, 255, 110), glow=0.45, unevenness=0.0),
        Look((10, 14, 26), (70, 140, 255), glow=0.5, unevenness=0.0),
        Look((22, 14, 6), (255, 168, 40), glow=0.45, unevenness=0.0),
        Look((12, 12, 14), (240, 246, 250), glow=0.35, unevenness=0.0),
    ),
}

LEGENDS = (
    "HOLD", "MAX", "MIN", "AVG", "ZERO", "AUTO", "REL", "LOW", "P1", "T1", "T1-T2", "DIFF", "REC", "COM", "DC", "AC",
)  # fmt: skip
UNITS = (
    "in. w.c.", "inH2O", "mbar", "hPa", "Pa", "kPa", "psi", "mmH2O", "°F", "°C", "ppm", "%", "V", "µA", "mA", "A", "Ω",
    "Hz", "rpm",
)  # fmt: skip
KEYS = ("ON", "HOLD", "ZERO", "UNIT", "MENU", "PRINT", "LIGHT", "BACK", "OK")


def random_look(rng: np.random.Generator, kinds: Sequence[str] = ("positive", "negative", "emitting")) -> Look:
    """A look near one of `LOOKS`, with its colours, contrast and ghosts moved by chance."""
    kind = pick(rng, kinds)
    base = pick(rng, LOOKS[kind])
    ghosts = rng.random() < 0.45
    return replace(
        base,
        ground=_near(base.ground, 16, rng),
        ink=_near(base.ink, 12, rng),
        contrast=float(rng.uniform(0.5, 1.0) if kind == "positive" else rng.uniform(0.75, 1.0)),
        ghost=float(rng.uniform(0.015, 0.11)) if ghosts else 0.0,
        shadow=float(base.shadow * rng.uniform(0, 1.4)),
        glow=float(base.glow * rng.uniform(0.4, 1.4)),
        unevenness=float(base.unevenness * rng.uniform(0.3, 1.8)),
    )


def random_shape(rng: np.random.Generator) -> SegmentShape:
    """Digits of one maker, by chance."""
    thickness = float(rng.uniform(0.075, 0.185))
    aspect = float(rng.uniform(0.44, 0.64))
    point_size = float(rng.uniform(0.85, 1.35))
    # The point must fit between the digits, or they would touch: give it the room that it needs.
    space = max(float(rng.uniform(0.16, 0.52)), (thickness * point_size + 0.07) / aspect)
    own_room = rng.random() < 0.2
    return SegmentShape(
        aspect=aspect,
        thickness=thickness,
        gap=float(rng.uniform(0.006, 0.045)),
        cut=float(rng.choice([0.0, 0.35, 0.6, 1.0])),
        waist=float(rng.uniform(0, 1)),
        ends=pick(rng, ("mitred", "square"), (4, 1)),
        slant=float(pick(rng, (0.0, float(rng.uniform(3, 7)), float(rng.uniform(7, 13))))),
        pitch=1 + space,
        point=pick(rng, ("square", "round", "comma"), (5, 4, 0.5)),
        point_size=point_size,
        point_at=float(rng.uniform(0.4, 0.6)),
        point_drop=float(pick(rng, (0.0, float(rng.uniform(0, 0.06))))),
        point_room=float(rng.uniform(0.05, 0.9)) if own_room else 0.0,
        rounding=float(pick(rng, (0.0, float(rng.uniform(0.1, 0.5))))),
        tail_6=bool(rng.random() < 0.88),
        tail_9=bool(rng.random() < 0.88),
        hook_7=bool(rng.random() < 0.25),
        half_cell=bool(rng.random() < 0.12),
        short_minus=bool(rng.random() < 0.3),
        stub=float(rng.uniform(0.25, 0.6)) if rng.random() < 0.1 else 0.0,
    )


def random_style(rng: np.random.Generator, fonts: Sequence[str] = CORE_FONTS, height: int = 300) -> SegmentStyle:
    """A seven-segment window by chance; `height` of a digit in pixels."""
    words = [str(word) for word in rng.permutation(LEGENDS)]
    shown, hidden = int(rng.integers(0, 4)), int(rng.integers(0, 4))
    look = random_look(rng)
    return SegmentStyle(
        shape=random_shape(rng),
        look=look,
        height=height,
        cells=int(rng.integers(3, 6)),
        unit_at=pick(rng, ("foot", "head", "below", "above"), (5, 3, 1, 2)),
        unit_size=float(rng.uniform(0.16, 0.34)),
        font=pick(rng, fonts),
        legends=tuple(words[:shown]),
        ghost_legends=tuple(words[shown : shown + hidden]) if look.ghost else (),
        margin=(float(rng.uniform(0.2, 0.7)), float(rng.uniform(0.25, 0.6))),
    )


def random_dot_style(rng: np.random.Generator, fonts: Sequence[str] = CORE_FONTS, pitch: int = 6) -> DotStyle:
    """A text display by chance."""
    own = rng.random() < 0.5
    size = 7 if own else int(rng.integers(10, 15))
    return DotStyle(
        look=random_look(rng, ("positive", "negative")),
        pitch=pitch,
        fill=float(rng.uniform(0.72, 1.0)),
        dot=pick(rng, ("square", "round"), (4, 1)),
        face=OWN if own else pick(rng, fonts),
        size=size,
        leading=int(rng.integers(2, 7)),
        border=int(rng.integers(4, 12)),
        column_gap=int(rng.integers(4, 22)),
        unit_gap=int(rng.integers(3, 9)),
        values=pick(rng, ("left", "right"), (1, 3)),
        rules=bool(rng.random() < 0.2),
        heading=pick(rng, ("plain", "bar", "ruled")),
        foot=pick(rng, ((), ("MENU", "PRINT"), ("STOP", "HOLD", "SAVE"))),
    )


def random_slip_style(rng: np.random.Generator, fonts: Sequence[str] = CORE_FONTS) -> SlipStyle:
    """A printed slip by chance."""
    return SlipStyle(
        face=pick(rng, [OWN, *(name for name in fonts if "Mono" in name)]),
        size=int(rng.integers(28, 38)),
        dots=bool(rng.random() < 0.6),
        width=int(rng.integers(720, 940)),
        leading=float(rng.uniform(1.12, 1.5)),
        values=pick(rng, ("left", "right"), (1, 2)),
        rule=pick(rng, ("-", "=", "_", "*")),
        paper=_near((238, 237, 230), 8, rng),
        ink=pick(rng, ((48, 46, 58), (40, 40, 44), (62, 52, 86), (70, 62, 60))),
        fade=float(rng.uniform(0, 0.55)),
        dead_dots=int(rng.integers(0, 4)),
        curl=float(rng.uniform(0, 0.8)),
    )


def random_plate_style(rng: np.random.Generator, fonts: Sequence[str] = CORE_FONTS) -> PlateStyle:
    """A rating plate by chance."""
    plain = [name for name in fonts if "Mono" not in name]
    return PlateStyle(
        font=pick(rng, plain),
        heading_font=pick(rng, plain),
        size=int(rng.integers(34, 46)),
        width=int(rng.integers(1150, 1500)),
        metal=_near(pick(rng, ((188, 190, 190), (206, 206, 200), (226, 226, 220))), 10, rng),
        engraved=bool(rng.random() < 0.3),
        brushed=float(rng.uniform(0, 0.8)),
        grid=bool(rng.random() < 0.6),
        heading=pick(rng, ("bar", "plain")),
        value_at=float(rng.uniform(0.46, 0.58)),
        fixing=pick(rng, ("rivets", "screws", "glued")),
        wear=float(rng.uniform(0, 0.8)),
    )


def random_body(rng: np.random.Generator) -> BodyStyle:
    """A plain instrument by chance."""
    words = [str(word) for word in rng.permutation(KEYS)]
    rows, across = int(rng.integers(0, 3)), int(rng.integers(2, 4))
    base = pick(rng, ((62, 64, 68), (36, 38, 42), (198, 198, 190), (120, 126, 132), (44, 66, 88), (96, 88, 60)))
    colour = _near(base, 10, rng)
    return BodyStyle(
        colour=colour,
        face=_near(pick(rng, ((40, 41, 44), (20, 20, 22), (70, 74, 78), colour)), 6, rng),
        edge=pick(rng, ("plain", "rubber")),
        edge_colour=pick(rng, ((30, 52, 84), (52, 54, 50), (96, 44, 30), (24, 24, 26))),
        radius=float(rng.uniform(0.03, 0.12)),
        bezel=float(rng.uniform(0.025, 0.08)),
        side=float(rng.uniform(0.04, 0.2)),
        head=float(rng.uniform(0.08, 0.3)),
        keys=tuple(tuple(words[r * across : (r + 1) * across]) for r in range(rows)),
        key_colour=_near(pick(rng, ((108, 110, 114), (60, 62, 66), (170, 170, 164))), 8, rng),
        round_keys=bool(rng.random() < 0.3),
        ports=int(rng.choice([0, 0, 1, 2])),
    )


def _near(colour: Colour, by: float, rng: np.random.Generator) -> Colour:
    """A colour within `by` of another, channel by channel."""
    moved = np.clip(np.array(colour) + rng.uniform(-by, by, 3), 0, 255).astype(int)
    return (int(moved[0]), int(moved[1]), int(moved[2]))
