"""Small drawings as plain shapes in mm, y up, so that page and paper show the same: how to measure, and each shot's heatmap."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scenes.questions.plan.report import PlannedShot
from scenes.runtime.page import listed
from scenes.sheets.colours import BLACK, DARK_STOPS, GUIDE, HIGHLIGHT, INK, PAPER, RAMP_STEPS, SOFT_INK, UNKNOWN, loss_ramp, rgb_of

Point = tuple[float, float]
PICTURE_MM = 60.0  # a heatmap's width as line widths reckon with it
PALE = "#E8E8E8"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line through points, closed and filled where `fill` is a colour."""

    points: tuple[Point, ...]
    width: float = 0.3
    colour: str = INK
    dashed: bool = False
    fill: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A circle; without `fill` its outline alone."""

    centre: Point
    radius: float
    colour: str = INK
    fill: str = ""
    width: float = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Text at a place: its baseline's start, middle or end."""

    at: Point
    text: str
    size: float = 3.2
    anchor: str = "middle"
    colour: str = INK


Shape = Line | Disc | Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Shapes in a box (left, right, bottom, top), over a PNG that fills it where there is one; `says` puts it in words."""

    box: tuple[float, float, float, float]
    shapes: tuple[Shape, ...]
    says: str
    png: bytes = b""

    @property
    def width(self) -> float:
        """Of the box."""
        return self.box[1] - self.box[0]

    @property
    def height(self) -> float:
        """Of the box."""
        return self.box[3] - self.box[2]


def heatmap(shot: PlannedShot) -> Drawing:
    """The loss over the picture with its frame guides, and a ring where to look."""
    small = shot.map
    left, right, _, _ = small.extent_mm
    unit = (right - left) / PICTURE_MM
    guides = [
        Line(points=_closed([(float(x), float(y)) for x, y in guide.corners_mm()]), width=0.35 * unit, colour=GUIDE)
        for guide in shot.plan.guides
    ]
    rings = [
        Disc(centre=centre, radius=2.4 * unit, colour=colour, width=width * unit)
        for centre in (spot.mark_mm for spot in small.spots)
        for colour, width in ((PAPER, 1.3), (HIGHLIGHT, 0.7))
    ]
    if shot.again and small.bare_spot is not None:
        rings.append(Disc(centre=small.bare_spot.mark_mm, radius=2.4 * unit, colour=INK, width=0.7 * unit))
    says = f"Heatmap of {shot.key}: {shot.shot.expected}; ring at {listed([spot.words for spot in small.spots])}"
    return Drawing(box=small.extent_mm, shapes=(*guides, *rings), says=says, png=png_of(_pixels(small.loss_stops)))


def _pixels(loss_stops: np.ndarray) -> np.ndarray:
    """The map's colours (H, W, 3), 8 bits each."""
    ramp = (255 * loss_ramp() + 0.5).astype(np.uint8)
    step = np.clip(loss_stops / DARK_STOPS * (RAMP_STEPS - 1) + 0.5, 0, RAMP_STEPS - 1).astype(int)
    colours = ramp[step]
    colours[loss_stops > DARK_STOPS] = _bytes_of(BLACK)
    colours[loss_stops < 0.0] = _bytes_of(UNKNOWN)
    return colours


def _bytes_of(colour: str) -> tuple[int, ...]:
    return tuple(round(255 * share) for share in rgb_of(colour))


def png_of(pixels: np.ndarray) -> bytes:
    """8-bit RGB (H, W, 3) as a PNG without a date. Source: ISO/IEC 15948."""
    rows = np.concatenate([np.zeros((len(pixels), 1), dtype=np.uint8), pixels.reshape(len(pixels), -1)], axis=1)
    head = struct.pack(">IIBBBBB", pixels.shape[1], pixels.shape[0], 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", head), (b"IDAT", zlib.compress(rows.tobytes(), 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(kind, data) for kind, data in chunks)


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def scale_bar() -> Drawing:
    """What the colours of a heatmap mean."""
    ramp = ["#" + "".join(f"{round(255 * share):02X}" for share in colour) for colour in loss_ramp()[:: RAMP_STEPS // 32]]
    step = 60.0 / len(ramp)
    bars = [Line(points=_rectangle(k * step, k * step + step, 5.0, 9.0), width=0.0, colour=c, fill=c) for k, c in enumerate(ramp)]
    frame = Line(points=_closed(_rectangle(0.0, 60.0, 5.0, 9.0)), width=0.2)
    ticks = [Words(at=(60.0 * stops / DARK_STOPS, 1.2), text=words) for stops, words in ((1, "1 stop"), (2, "2 stops"))]
    ends = (Words(at=(0.0, 1.2), text="none", anchor="start"), Words(at=(60.0, 1.2), text="3+", anchor="end"))
    return Drawing(
        box=(-1.0, 61.0, 0.0, 10.0),
        shapes=(*bars, frame, *ticks, *ends),
        says="Light taken: from none, near white, to 3 stops or more, black",
    )


def parallax() -> Drawing:
    """How to find the entrance pupil: the pan axis under it is where near and far stay in line."""
    return Drawing(
        box=(0.0, 110.0, 0.0, 52.0),
        shapes=tuple(_parallax()),
        says="From above: camera on a slide over the pan axis, two upright pins ahead in line",
    )


def _parallax() -> Iterator[Shape]:
    yield from _camera(y=28.0)
    yield Line(points=((24.0, 28.0), (106.0, 28.0)), dashed=True, colour=SOFT_INK)
    yield Line(points=((24.0, 28.0), (100.0, 44.0)), dashed=True, colour=SOFT_INK)
    for x, words in ((62.0, "near pin"), (98.0, "far pin")):
        yield Disc(centre=(x, 28.0), radius=1.4, fill=INK)
        yield Words(at=(x, 21.5), text=words)
    yield Disc(centre=(24.0, 28.0), radius=2.0, colour=HIGHLIGHT, fill=HIGHLIGHT)
    yield Words(at=(24.0, 43.5), text="pan axis", colour=HIGHLIGHT)
    yield Line(points=((24.0, 42.0), (24.0, 30.5)), colour=HIGHLIGHT)
    yield from _dimension(24.0, 38.0, 12.0, "pupil behind")
    yield Words(at=(31.0, 3.6), text="the front rim")
    yield Words(at=(84.0, 46.0), text="pan: pins stay in line")


def field_width() -> Drawing:
    """How to measure the field up close: a tape across the card, read where the frame ends."""
    return Drawing(
        box=(0.0, 110.0, 0.0, 52.0),
        shapes=tuple(_field_width()),
        says="From above: camera square to a card with a tape across; read the tape at both edges of the frame",
    )


def _field_width() -> Iterator[Shape]:
    yield from _camera(y=28.0)
    for y in (8.0, 48.0):
        yield Line(points=((24.0, 28.0), (88.0, y)), dashed=True, colour=SOFT_INK)
    yield Line(points=((24.0, 28.0), (88.0, 28.0)), dashed=True, colour=SOFT_INK)
    yield Line(points=_closed(_rectangle(88.0, 90.0, 2.0, 51.0)), fill=PALE)
    for y, words in ((48.0, "left edge"), (8.0, "right edge")):
        yield Line(points=((86.0, y), (92.0, y)), width=0.5, colour=HIGHLIGHT)
        yield Words(at=(93.0, y - 1.0), text=words, anchor="start", size=3.0)
    yield Words(at=(93.0, 31.0), text="read the", anchor="start", size=3.0)
    yield Words(at=(93.0, 27.0), text="tape to", anchor="start", size=3.0)
    yield Words(at=(93.0, 23.0), text="either side", anchor="start", size=3.0)
    yield from _dimension(7.0, 88.0, 3.5, "focus distance, from the image plane")


def _camera(y: float) -> Iterator[Shape]:
    """A camera from above that looks right: body to x 16, lens to its front rim at x 38."""
    yield Line(points=_closed(_rectangle(2.0, 16.0, y - 9.0, y + 9.0)), fill=PALE)
    yield Line(points=_closed(_rectangle(16.0, 38.0, y - 6.0, y + 6.0)), fill=PAPER)
    yield Line(points=((38.0, y - 7.0), (38.0, y + 7.0)), width=0.7)
    yield Line(points=((7.0, y - 7.0), (7.0, y + 7.0)), dashed=True)


def _dimension(left: float, right: float, y: float, words: str) -> Iterator[Shape]:
    yield Line(points=((left, y), (right, y)), width=0.25)
    for x, way in ((left, 1.0), (right, -1.0)):
        yield Line(points=((x + way * 1.8, y + 0.9), (x, y), (x + way * 1.8, y - 0.9)), width=0.25)
        yield Line(points=((x, y - 2.0), (x, y + 2.0)), width=0.2)
    middle = (left + right) / 2
    yield Words(at=(middle, y + 1.6 if right - left > 50 else y - 4.4), text=words)


def _rectangle(left: float, right: float, bottom: float, top: float) -> tuple[Point, ...]:
    return ((left, bottom), (right, bottom), (right, top), (left, top))


def _closed(points: list[Point] | tuple[Point, ...]) -> tuple[Point, ...]:
    return (*points, points[0])
