"""Every colour of every picture, in one place: the ramp of lost light, and what may not look like it. Draws nothing.

The ramp owns its hue, plum: no badge, part or ray comes near it, and rays and highlight keep clear of it with any kind of colour
vision. Light falls by even steps of CIE L*, so that it reads the same printed grey. tests/scenes/sheets/test_colours.py holds this.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from geometry.body import Kind
from scenes.stills.transfer import light_to_srgb

if TYPE_CHECKING:  # the drawing process of 3D pictures does without matplotlib
    from matplotlib.colors import Colormap, Normalize

DARK_STOPS = 3.0  # an eighth of the light: the scale of loss ends here, all beyond is black
CLEAN_L, DARK_L = 97.5, 8.0  # CIE L* of a clean card and of the scale's end
PLUM_DEG, PLUM_CHROMA = 345.0, 36.0  # hue and greatest chroma of the ramp, CIE L*a*b*: grey to those who miss red or green
RAMP_STEPS = 256

INK = "#1B1B1B"
SOFT_INK = "#5A5A5A"
PAPER = "#FFFFFF"
HIGHLIGHT = "#E24A00"  # what stops light: the part to blame, the ray it stops
UNKNOWN = "#CBD6AE"  # where the lens gives no picture
BLACK = "#000000"

# Pale tones for parts, after Paul Tol's scheme "light" (Colour Schemes, SRON/EPS/TN/09-002, 2021), and greys for what carries them.
PART_COLOURS: dict[Kind, str] = {
    Kind.BARREL: "#8E8E8E",
    Kind.FRONT_RING: "#5A5A5A",
    Kind.ROD: "#BFBFBF",
    Kind.BACK: "#77AADD",
    Kind.SEAL: "#F4E3A1",
    Kind.TRAY: "#44BB99",
    Kind.MASK: "#A9B82F",
    Kind.HOOD: "#99DDFF",
    Kind.FLAG: "#EE8866",
    Kind.EXTENSION: "#F6C6A6",
    Kind.SOLID: "#9C8CE0",
}
GLASS_COLOUR = "#C9EBE3"
GHOST_COLOUR = "#B9BEC4"  # parts of a 3D picture that are not to blame

GUIDE = "#009E73"  # outlines of frame guides: shows on a clean card and on black
RULE = "#BDBDBD"  # thin lines that part rows
RAY_CLEAR = "#0072B2"
RAY_DIMMED = "#2B2B96"
RAY_BLOCKED = HIGHLIGHT

# Of verdicts: ground, letters.
CLEAR_GROUND, TIGHT_GROUND, SHADING_GROUND, IN_FRAME_GROUND = "#00634F", "#FFE900", "#DDA000", "#A01818"

# Openings and ways of stray light, in their order: Okabe and Ito's set ("Color Universal Design", 2008) and a grey.
OPENING_COLOURS = ("#56B4E9", "#E69F00", "#009E73", "#CC79A7", "#0072B2", "#D55E00", "#F0E442", "#8A8A8A")

# Highlights out of focus, as they stand against the night.
BOKEH_LIGHT, BOKEH_NIGHT, BOKEH_TAKEN = "#F2C84B", "#23262B", "#4A4E57"

SUN = "#F0E442"  # a light, where the picture shows it
# Angles of a flag: those the frame allows, those too far in, those far enough in to keep a light off; the beam behind them.
FLAG_ALLOWED, FLAG_SHUT, FLAG_NEEDED, FLAG_BEAM = RAY_CLEAR, IN_FRAME_GROUND, SHADING_GROUND, "#DCEBF5"
SECOND_CURVE = GUIDE  # beside RAY_CLEAR, dashed
SKY_FRAME = "#EAF2F8"  # the picture in a chart of the sky
GLASS_EDGE = "#6FB7CC"  # glass in a cut of thin lines
PLATE = "#F5E3BF"  # a mask yet to be cut
BITES = "#F2C9AE"  # a pale tone of what bites

_TO_XYZ = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]])


@lru_cache(maxsize=1)
def loss_colours() -> Colormap:
    """Near white where nothing is lost, black where no light is left; even steps of lightness in between.

    Pixels without a picture are left clear, so that the hatching under them shows (`scenes.sheets.pieces.draw_loss`).
    """
    from matplotlib.colors import ListedColormap

    return ListedColormap(loss_ramp(), name="light lost").with_extremes(over=BLACK, bad="#00000000")


def loss_ramp() -> NDArray[np.float64]:
    """The ramp's colours (RAMP_STEPS, 3) from no loss to DARK_STOPS, sRGB from 0 to 1."""
    share = np.linspace(0.0, 1.0, RAMP_STEPS)
    lightness = CLEAN_L + (DARK_L - CLEAN_L) * share
    chroma = PLUM_CHROMA * np.sin(np.pi * share) ** 0.9
    hue = np.radians(PLUM_DEG)
    return srgb_of(np.column_stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)]))


def srgb_of(lab: NDArray[np.float64]) -> NDArray[np.float64]:
    """SRGB (N, 3) from 0 to 1 of CIE L*a*b* (N, 3), white D65. Source: CIE 15:2004, section 8.2.1; IEC 61966-2-1."""
    upright = (lab[:, :1] + 16.0) / 116.0
    f = np.hstack([upright + lab[:, 1:2] / 500.0, upright, upright - lab[:, 2:] / 200.0])
    xyz = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * _TO_XYZ.sum(axis=1)
    linear = np.clip(xyz @ np.linalg.inv(_TO_XYZ).T, 0.0, 1.0)
    return light_to_srgb(linear)


def loss_scale() -> Normalize:
    """From no loss to DARK_STOPS, in even steps of stops."""
    from matplotlib.colors import Normalize

    return Normalize(0.0, DARK_STOPS)


def leak_colours(bad: str = BLACK) -> Colormap:
    """Dark where nothing leaks, light where much does, the other way round than loss: a leak is light."""
    from matplotlib import colormaps

    return colormaps["inferno"].with_extremes(under=BLACK, bad=bad)


def difference_colours() -> Colormap:
    """Of a difference between two maps: orange where the first is darker, violet where it is lighter."""
    from matplotlib import colormaps

    return colormaps["PuOr"]


def rgb_of(colour: str) -> tuple[float, float, float]:
    """Red, green and blue from 0 to 1 of '#RRGGBB'."""
    red, green, blue = (int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5))
    return red, green, blue


def part_colour(kind: Kind) -> str:
    """The colour of a kind of part in every picture."""
    return PART_COLOURS[kind]
