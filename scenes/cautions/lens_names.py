"""Fronts and nearest focus that the name of a lens tells: '35 front 95', '35 close focus 0.35 m'."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from scenes.cautions.named_lengths import INCH, is_same
from scenes.cautions.named_numbers import plain_name
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens, focal_lengths, stated_depths
from scenes.scene_file.tables.scene import Scene

FRONT_WORD = r"(?:front|od|[\u00f8\u2300])"
FRONT = re.compile(
    rf"(?<![^\W_]){FRONT_WORD}\s?(?:glass\s?|dia\w*\s?|[\u00f8\u2300]\s?|=\s?)?(\d{{2,3}}(?:\.\d+)?)(?:\s?mm)?(?![\w.])"
    rf"|(?<![\w.\-])(\d{{2,3}}(?:\.\d+)?)\s?(?:mm\s?)?(?:dia\w*\s?)?(?:front|od)(?!\w)(?!\s?\d|\s(?:ana|group|element|focus|glass))",
    re.IGNORECASE,
)
PUPIL = re.compile(r"(?<![^\W_])(?:entrance )?pupil\s?(?:at|=|:)?\s?(\d{2,3}(?:\.\d+)?)(?:\s?mm)?(?![\w.])", re.IGNORECASE)
SAME_DEPTH_MM, SAME_DEPTH_SHARE = 3.0, 0.05  # as marked and as measured
METRES = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "ft": 12 * INCH, "'": 12 * INCH, "in": INCH, '"': INCH}
NEAREST_WORD = r"(?:close(?:st)?(?:\s?focus)?|cf|mod|min(?:imum)?\s?focus|near(?:est)?(?:\s?focus)?|focus(?:es|ing)?)"
DISTANCE = r"(\d{1,4}(?:\.\d+)?)\s?(mm|cm|m|ft|in|['\"])(?![^\W_])(?:\s?(\d{1,2}(?:\.\d+)?)\s?(?:in(?!\w)|\"|(?!\w)))?"
NEAREST = re.compile(rf"(?<![^\W_]){NEAREST_WORD}\s?(?:to|at|of|is|[:=.])?\s?{DISTANCE}", re.IGNORECASE)
BARE_NEAREST = re.compile(
    r"(?<![\w.\-])(\d{1,2}(?:\.\d+)?)\s?(m|ft|')(?![^\W\d_]|')(?:\s?(\d{1,2}(?:\.\d+)?)\s?(?:in(?!\w)|\"|(?!\w)))?", re.IGNORECASE
)
SAME_FOCUS_SHARE, SAME_FOCUS_MM = 0.05, 10.0  # crews round what is engraved, more so from feet


def without_fronts_and_focus(name: str) -> str:
    """A lens's name, made plain, without the numbers of front and nearest focus: the rest may be its focal length."""
    for pattern in (NEAREST, BARE_NEAREST, FRONT, PUPIL):
        name = pattern.sub(" ", name)
    return name


def lens_name_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A front or a nearest focus that is not what the lens's name says."""
    name = plain_name(lens.name)
    yield from _front_words(lens, NEAREST.sub(" ", name))
    if "pupil_behind_front_mm" not in lens.confirmed:
        yield from _pupil_words(lens, name)
    if "close_focus_mm" not in lens.confirmed:
        yield from _nearest_words(scene, lens, name)


def _front_words(lens: Lens, name: str) -> Iterator[str]:
    told = [float(one or other) for one, other in FRONT.findall(name)]
    told = [value for value in told if value not in focal_lengths(lens)]
    sizes = [lens.front_diameter_mm, *([lens.front_glass_mm] if lens.front_glass_mm is not None else [])]
    if told and not any(is_same(value, size) for value in told for size in sizes):
        yield (
            f'front_diameter_mm = {plain(lens.front_diameter_mm)} speaks against the name "{lens.name}", {plain(told[0])} mm; '
            "measure the front, or give the lens another name"
        )


def _pupil_words(lens: Lens, name: str) -> Iterator[str]:
    """A pupil that the name has deeper than all depths of the lens: the farther back, the wider the light is at the box."""
    told, depths = [float(depth) for depth in PUPIL.findall(name)], stated_depths(lens)
    ends = [end for depth in depths for end in (*depth.horizontal, *depth.vertical)]
    if told and ends and lens.pupil_walk is None and min(told) > max(ends) + max(SAME_DEPTH_MM, SAME_DEPTH_SHARE * max(ends)):
        yield (
            f'pupil_behind_front_mm = {plain(max(ends))} speaks against the name "{lens.name}", {plain(min(told))} mm; '
            "measure it, or give the lens another name"
        )


def nearest_told_mm(name: str, *, bare: bool = True) -> list[float]:
    """Distances that a name or title gives as the nearest focus [mm]; in the name of a lens those in m and feet need no word."""
    found = NEAREST.findall(name) or (BARE_NEAREST.findall(name) if bare else [])
    return [float(number) * METRES[unit.lower()] + float(inches or 0.0) * INCH for number, unit, inches in found]


def _nearest_words(scene: Scene, lens: Lens, name: str) -> Iterator[str]:
    told = nearest_told_mm(name)
    rows = [row.focus_mm for row in lens.state if isinstance(row.focus_mm, float) and math.isfinite(row.focus_mm)]
    own = [value for value in (lens.close_focus_mm, *rows) if value is not None]
    asked = [value for value in scene.check.focus_mm if isinstance(value, float)]
    same = any(is_same_focus(one, value) for one in told for value in (*own, *asked))
    if told and own and not same and min(own) > min(told):
        key = "close_focus_mm" if lens.close_focus_mm is not None else "focus_mm"
        yield (
            f'{key} = {plain(lens.close_focus_mm or min(own))} speaks against the name "{lens.name}", {plain(round(told[0]))} mm; '
            "nothing nearer is looked at: put it right, or give the lens another name"
        )


def is_same_focus(told_mm: float, value_mm: float) -> bool:
    """Whether a distance is the one that a name tells."""
    return abs(told_mm - value_mm) <= max(SAME_FOCUS_MM, SAME_FOCUS_SHARE * told_mm)
