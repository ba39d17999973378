"""The camera of a scene file: recorded area, pixels, and the guides that have to stay clean."""

import math
from collections.abc import Iterator
from typing import Any, Literal

from scenes.scene_file.catalogue import formats, unknown_name
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.fields import Fault, Table, choice, mm, part, quantity, text

SIZES_OR = "give width_mm and height_mm, or "
DEFAULT_PIXELS_WIDE = 1024
MOST_PIXEL_STRETCH = 1.03  # photosites are square; published sizes, rounded to 0.1 mm, make them up to 1.02 (common practice)


class Guide(Table):
    """A rectangle of the picture that has to stay clean, such as an extraction or a title-safe area."""

    name: str = text("What the crew calls this rectangle.")
    aspect: float = quantity("Width of the rectangle over its height, as recorded (before any desqueeze).", 0.2, 6.0)
    scale: float = quantity("Size, as a share of the largest such rectangle that fits the recorded area.", 0.05, 1.0, 1.0)
    offset_mm: tuple[float, float] = mm(
        "Shift of its centre from the centre of the recorded area: right and up in the picture, on the sensor.",
        -50.0,
        50.0,
        (0.0, 0.0),
    )


def _catalogue_size(data: dict[str, Any], axis: str) -> float:
    size = formats().get(data.get("format") or "")
    return float(getattr(size, axis)) if size else 0.0


def _preview_pixels(data: dict[str, Any]) -> tuple[int, int]:
    width, height = data.get("width_mm") or 1.0, data.get("height_mm") or 1.0
    return DEFAULT_PIXELS_WIDE, max(1, round(DEFAULT_PIXELS_WIDE * height / width))


class Camera(Table):
    """The recorded area (a catalogue format, or width and height), its pixels, and what has to stay clean."""

    format: str | None = text(
        "Name of a camera format from the catalogue (`brimline list formats`); or give width_mm and height_mm.",
        None,
        catalogue="formats",
    )
    width_mm: float = mm(
        "Width of the recorded area, from the camera's data sheet; left out where format is given.",
        3.0,
        120.0,
        lambda data: _catalogue_size(data, "width_mm"),
        default_words="that of format",
    )
    height_mm: float = mm(
        "Height of the recorded area, from the camera's data sheet; left out where format is given.",
        2.0,
        120.0,
        lambda data: _catalogue_size(data, "height_mm"),
        default_words="that of format",
    )
    pixels: tuple[int, int] = quantity(
        "Photosites across and down the recorded area: the size of the maps.",
        1,
        32768,
        _preview_pixels,
        default_words="1024 across, square photosites",
    )
    offset_mm: tuple[float, float] = mm(
        "Centre of the recorded area against the lens axis: right and up in the picture.", -30.0, 30.0, (0.0, 0.0)
    )
    sensor_reflectance: float = quantity(
        "Share of light that the sensor and its cover mirror back, for ghosts; the default is a guess, measure yours.",
        0.0,
        1.0,
        0.05,
    )
    confirmed: tuple[Literal["width_mm", "height_mm"], ...] = choice(
        "Sizes that you have checked although other numbers of the scene speak against them.", ()
    )
    guide: tuple[Guide, ...] = part("Rectangles that have to stay clean; without any, the whole recorded area.", ())

    def faults(self) -> Iterator[Fault]:
        """Format or sizes but not both; pixels that are about square; one name per guide."""
        yield from self._size_faults()
        names = [guide.name for guide in self.guide]
        for place, name in enumerate(names):
            if name in names[:place]:
                yield ("guide", place, "name"), f'is used twice, "{name}"; give each guide its own name'

    def _size_faults(self) -> Iterator[Fault]:
        given = {"width_mm", "height_mm"} & self.model_fields_set
        if self.format is not None and self.format not in formats():
            yield ("format",), unknown_name("camera format", self.format, formats(), SIZES_OR)
        elif self.format is not None and given:
            yield (max(given),), f'must be left out where format is given ("{self.format}"); or leave format out'
        elif self.format is None and len(given) < 2:
            yield (), 'must give format = "..." (a name from the catalogue) or both width_mm and height_mm'
        elif self._stretch() > MOST_PIXEL_STRETCH * (1.0 + 1.0 / min(self.pixels)):  # small maps round to whole pixels
            yield ("pixels",), self._stretch_words()

    def _stretch(self) -> float:
        ratio = (self.width_mm / self.pixels[0]) / (self.height_mm / self.pixels[1])
        return max(ratio, 1.0 / ratio)

    def _stretch_words(self) -> str:
        across, down = self.pixels
        fitting = round(across * self.height_mm / self.width_mm)
        area = f"{plain(self.width_mm)} x {plain(self.height_mm)} mm"
        turned = math.isclose(self.height_mm * down, self.width_mm * across, rel_tol=MOST_PIXEL_STRETCH - 1.0)
        wide_mm, high_mm = (self.height_mm, self.width_mm) if turned else (self.width_mm, self.width_mm * down / across)
        own = f"{plain(wide_mm)} x {plain(round(high_mm, 2))} mm"
        or_size = "" if across < down else f", or the recorded area that has these pixels, such as {own}"
        return f"must be across, then down, square on {area}, got {across} x {down}; write [{across}, {fitting}]{or_size}"
