"""A sensor or gate smaller than what the scene's title or a guide calls it: the field comes out narrower than it is.

Sizes are those of the catalogue (scenes/data/formats.toml); a digital sensor of the same name is at most an eighth narrower (common
practice: Super 35 from 23 mm, full frame from 33 mm). A larger one is the safe side, and may be cropped by its guides.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from scenes.cautions.contradictions import LEAST_PIXEL_MM
from scenes.cautions.named_numbers import kept_shares, named_aspects, same_aspect
from scenes.scene_file.catalogue import formats
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.camera import Camera, Guide
from scenes.scene_file.tables.lens import focal_lengths
from scenes.scene_file.tables.scene import Scene

SMALLER_SHARE = 0.85  # of the width of the name's narrowest
FOCAL_SHARE = 1.1  # a lens of the scene that a number of mm may mean
MAY_BE_ELSE = re.compile(r"\b(?:lens(?:es)?|primes?|macro|zooms?|crop(?:ped)?|window(?:ed)?)\b", re.IGNORECASE)
NAMED_AREA = re.compile(r"(?<![\w.:])(\d{2}(?:\.\d+)?)\s?(?:mm)?\s?[x×]\s?(\d{1,2}(?:\.\d+)?)(?![\w.:])", re.IGNORECASE)
NAMED_SENSOR = re.compile(  # 32 x 18 sensor: the recorded area itself, in any size
    r"(?<![\w.:])(\d{1,2}(?:\.\d+)?)\s?(?:mm)?\s?[x×]\s?(\d{1,2}(?:\.\d+)?)\s?(?:mm)?\s(?:sensor|gate|imager|chip|recorded)\b",
    re.IGNORECASE,
)
PERFORATIONS = re.compile(r"(?<![\w.])([2345]|8|15)[ -]?perf(?:oration)?s?(?!\w)", re.IGNORECASE)
LOWER_SHARE = 0.9  # of the lowest picture of so many perforations
SENSOR_SHARE = 0.97  # a title rounds to a mm
A_RATIO = r"(?<![\w.:])(?:\d{1,2}(?:\.\d+)?\s?:\s?\d{1,2}|[1-3]\.\d{1,2})(?![\w.:])"
FRAMED = r"(?:deliver(?:y|able|ed)|extraction|finish|master|release|fram(?:e|ed|ing)|guide)"
NAMED_FRAME = re.compile(rf"({A_RATIO})\s(?={FRAMED}\b)|\b{FRAMED}\s(?:in|for|at|of)?\s?({A_RATIO})", re.IGNORECASE)
FRAME_SHARE = 0.9  # of what the title's frame keeps: guides leave some room
LEAST_PHOTOSITE_UM, LARGE_FRONT_MM = 2.0, 80.0  # of cameras that take lenses so large (common practice); under 1 um is a fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """What crews call a gauge, and the catalogue's narrowest format of it; a bare number of mm may be a lens's, too."""

    words: re.Pattern[str]
    narrowest: str
    film_mm: tuple[float, ...] = ()
    in_guides: bool = True


def _called(words: str) -> re.Pattern[str]:
    return re.compile(rf"(?<![\w.]){words}(?!\w)", re.IGNORECASE)


GAUGES = (
    Gauge(words=_called(r"(?:super[ -]?16|s-?16)(?:\s?mm)?"), narrowest="super-16"),
    Gauge(words=_called(r"(?:super[ -]?35|s-?35)(?:\s?mm)?"), narrowest="super-35-4perf"),
    Gauge(words=_called(r"(?:full[ -]frame|ff)"), narrowest="36x24", in_guides=False),  # of a guide it is the whole picture
    Gauge(words=_called(r"8[ -]?perf"), narrowest="35-8perf"),
    Gauge(words=_called(r"15[ -]?perf"), narrowest="65-15perf"),
    Gauge(words=_called(r"medium[ -]format"), narrowest="44x33"),
    Gauge(words=_called(r"16\s?mm"), narrowest="16", film_mm=(16.0,)),
    Gauge(words=_called(r"35\s?mm"), narrowest="35-2perf", film_mm=(35.0,)),
    Gauge(words=_called(r"(?:65|70)\s?mm"), narrowest="65-5perf", film_mm=(65.0, 70.0)),
)


def gauge_words(scene: Scene) -> Iterator[str]:
    """A recorded area far narrower than its scene's title or a guide says, or photosites that no camera of that gauge has."""
    camera = scene.camera
    if {"width_mm", "height_mm"} & set(camera.confirmed):
        return
    yield from ([*_sensor_words(scene)] or [*_title_words(scene)] or _perforation_words(scene))
    yield from _frame_words(scene)
    for guide in camera.guide:
        named = [gauge for gauge in GAUGES if gauge.in_guides and not gauge.film_mm and gauge.words.search(guide.name)]
        yield from _smaller_words(camera, named, f'the name of its guide "{guide.name}"')
    um = 1000.0 * camera.width_mm / camera.pixels[0]
    if 1000.0 * LEAST_PIXEL_MM <= um < LEAST_PHOTOSITE_UM and max(lens.front_diameter_mm for lens in scene.lens) >= LARGE_FRONT_MM:
        yield (
            f"{_size(camera)} with pixels = [{camera.pixels[0]}, {camera.pixels[1]}] makes photosites of {um:.1f} um, smaller than "
            "those of such cameras: is it another camera's area, or a crop's? Put the right one in"
        )


def _sensor_words(scene: Scene) -> Iterator[str]:
    """A size that the title gives to the sensor itself, of which the scene records less."""
    camera = scene.camera
    areas = [(float(width), float(height)) for width, height in NAMED_SENSOR.findall(scene.title)]
    short = [area for area in areas if camera.width_mm < SENSOR_SHARE * area[0] or camera.height_mm < SENSOR_SHARE * area[1]]
    if short and len(short) == len(areas) and not MAY_BE_ELSE.search(scene.title):
        yield _words(camera, f'the scene\'s title "{scene.title}"', f"{plain(short[0][0])} x {plain(short[0][1])} mm")


def _perforation_words(scene: Scene) -> Iterator[str]:
    """A picture far lower than film of so many perforations has, by the title: two for four halve it."""
    camera, named = scene.camera, dict.fromkeys(PERFORATIONS.findall(scene.title))
    if len(named) != 1 or MAY_BE_ELSE.search(scene.title):
        return
    (count,) = named
    areas = [area for name, area in formats().items() if name.endswith(f"-{count}perf")]
    if areas and camera.height_mm < LOWER_SHARE * min(area.height_mm for area in areas):
        area = min(areas, key=lambda area: area.height_mm)
        yield (
            f'{_size(camera)} is lower than the scene\'s title "{scene.title}" says ({area.title}, {plain(area.width_mm)} x '
            f"{plain(area.height_mm)} mm), and the lower picture sees less of the box: put the recorded area right, or the title"
        )


def _frame_words(scene: Scene) -> Iterator[str]:
    """A frame that the title names, of which every guide leaves much out."""
    camera, title = scene.camera, scene.title
    aspects = [aspect for found in NAMED_FRAME.findall(title) for aspect in named_aspects(found[0] or found[1])]
    squeezes = {1.0, *(lens.squeeze for lens in scene.lens)}
    if not aspects or not camera.guide:
        return
    frames = [aspect / squeeze for aspect in aspects for squeeze in squeezes]
    if any(same_aspect(guide.aspect, frame) or _keeps(guide, frame, camera) for guide in camera.guide for frame in frames):
        return
    guide = camera.guide[0]
    yield (
        f'the scene\'s title "{scene.title}" names a frame of {plain(round(aspects[0], 2))}, but aspect = {plain(guide.aspect)} of '
        f'its guide "{guide.name}" leaves much of that out, and no other guide keeps it: put the guide right, or the title'
    )


def _keeps(guide: Guide, aspect: float, camera: Camera) -> bool:
    """Whether a guide keeps nearly all of a frame of another aspect."""
    wanted = kept_shares(Guide(name="title", aspect=aspect), camera)
    return all(kept >= FRAME_SHARE * least for kept, least in zip(kept_shares(guide, camera), wanted, strict=True))


def _title_words(scene: Scene) -> Iterator[str]:
    """Gauges, and sizes such as 36 x 24, that the title tells."""
    title, camera, focals = scene.title, scene.camera, [mm for lens in scene.lens for mm in focal_lengths(lens)]
    if MAY_BE_ELSE.search(title):
        return
    named = [gauge for gauge in GAUGES if gauge.words.search(title)]
    sure = [gauge for gauge in named if not gauge.film_mm]
    films = [gauge for gauge in named if not any(_is_near(mm, focal) for mm in gauge.film_mm for focal in focals)]
    yield from _smaller_words(camera, sure or films, f'the scene\'s title "{title}"')
    areas = [(float(width), float(height)) for width, height in NAMED_AREA.findall(title)]
    known = [area for area in areas if any(_is_near(area[0], one.width_mm) for one in formats().values())]
    if known and all(_long_side(camera) < SMALLER_SHARE * max(area) for area in known):
        yield _words(camera, f'the scene\'s title "{title}"', f"{plain(known[0][0])} x {plain(known[0][1])} mm")


def _is_near(one: float, other: float) -> bool:
    return 1 / FOCAL_SHARE <= one / other <= FOCAL_SHARE


def _smaller_words(camera: Camera, named: Sequence[Gauge], where: str) -> Iterator[str]:
    areas = [formats()[gauge.narrowest] for gauge in named]
    if areas and all(_long_side(camera) < SMALLER_SHARE * area.width_mm for area in areas):
        yield _words(camera, where, f"{areas[0].title}, {plain(areas[0].width_mm)} x {plain(areas[0].height_mm)} mm")


def _words(camera: Camera, where: str, named: str) -> str:
    return (
        f"{_size(camera)} is narrower than {where} says ({named}), and the narrower picture sees less of the box: put the recorded "
        "area right, or the name"
    )


def _size(camera: Camera) -> str:
    by = f'format = "{camera.format}", ' if camera.format else ""
    return f"{by}width_mm = {plain(camera.width_mm)}, height_mm = {plain(camera.height_mm)}"


def _long_side(camera: Camera) -> float:
    return max(camera.width_mm, camera.height_mm)
