"""Numbers that the name of a lens or a guide tells otherwise: the widest stop, where a guide lies, how large it is."""

from __future__ import annotations

import re
from collections.abc import Iterator

from scenes.scene_file.messages import plain
from scenes.scene_file.tables.camera import Camera, Guide
from scenes.scene_file.tables.lens import Lens

NAMED_STOP = re.compile(r"(?<![\w.])([fFtT])\s?(\d{1,2}(?:\.\d+)?)(?![\w.]*\w)")  # f1.4, F2, T 2.1
NAMED_STOPS = (0.7, 32.0)
STOP_SHARE = 1.05  # names round their stop by less: a seventh of a stop
LOSSLESS_SHARE = 0.975  # of its T number: the f-number of a lens that passes 95 % of the light; hardly one does (common practice)
USUAL_SHARE = 0.93  # the same of one that passes 86 %
NAMED_ASPECT = re.compile(r"([1-3]\.\d{1,2})(?![\d.])")  # at the start of a name
NAMED_RATIO = re.compile(r"(?<![\w.:])(\d{1,2}(?:\.\d+)?)\s?[:x]\s?(\d{1,2})(?![\w.:])")  # 16:9, 4x3 anywhere in it
NAMED_INSIDE = re.compile(r"(?<=\s)(\d\.\d{1,2})(?=\s|$)")  # "extraction 2.39": a word of its own, of those below
USUAL_ASPECTS = (1.33, 1.37, 1.66, 1.78, 1.85, 1.89, 2.2, 2.35, 2.39, 2.4, 2.76)  # common practice
ASPECTS = (0.5, 3.1)  # other ratios are times of the day, or sizes
ASPECT_SHARE = 1.05  # 2.39, 2.4 and 2.35 are one to many crews
NAMED_PERCENT = re.compile(r"(?<![\w.])(\d{1,3}(?:\.\d+)?)\s?(?:%|per ?cent\b)", re.IGNORECASE)
NAMED_WHOLE = re.compile(r"\b(?:whole frame|(?:whole|full) (?:aperture|gate|sensor|picture)|open gate)\b", re.IGNORECASE)
WHOLE_SHARE = 0.97  # of the recorded width or height: what is called whole may leave a narrow border
PERCENT_SHARE = 0.97  # a name rounds its percents by less
SHIFTED_MM = 0.3  # on the sensor: a guide that lies nearer the middle is not shifted
NAMED_SIDES = (  # words of a name, by the axis of offset_mm and its sign
    (re.compile(r"\b(?:top|upper)\b", re.IGNORECASE), 1, 1.0),
    (re.compile(r"\b(?:bottom|lower)\b", re.IGNORECASE), 1, -1.0),
    (re.compile(r"\bright\b", re.IGNORECASE), 0, 1.0),
    (re.compile(r"\bleft\b", re.IGNORECASE), 0, -1.0),
)


def _named_stop(lens: Lens) -> tuple[str, float] | None:
    """(f or t, number) of the widest stop by a lens's name; None where it tells none."""
    found = [(match[1].lower(), float(match[2])) for match in NAMED_STOP.finditer(lens.name)]
    return next((stop for stop in found if NAMED_STOPS[0] <= stop[1] <= NAMED_STOPS[1]), None)


def named_stop_words(lens: Lens) -> Iterator[str]:
    """A widest stop slower than the name says: an f-number is never above its T number."""
    named = _named_stop(lens)
    if named is not None and lens.f_number > STOP_SHARE * named[1]:
        above = ": an f-number is never above its T number" if named[0] == "t" else ""
        yield f'f_number = {plain(lens.f_number)}, the widest stop, speaks against the name "{lens.name}"{above}'


def t_number_words(lens: Lens) -> Iterator[str]:
    """A T number written as the f-number: the pupil is larger, by what the glass of the lens takes."""
    named = _named_stop(lens)
    if named is None or named[0] != "t" or "f_number" in lens.confirmed:
        return
    if LOSSLESS_SHARE * named[1] < lens.f_number <= STOP_SHARE * named[1]:
        yield (
            f'f_number = {plain(lens.f_number)} is the T number of the name "{lens.name}": the f-number is lower and the pupil '
            f"larger, as f/{plain(round(USUAL_SHARE * named[1], 2))} for T{plain(named[1])}; write the f-number"
        )


def named_aspects(name: str) -> tuple[float, ...]:
    """The aspects that a guide's name tells: the number it begins with, ratios, and usual ones that stand in it as a word."""
    first = NAMED_ASPECT.match(name)
    ratios = (float(match[1]) / float(match[2]) for match in NAMED_RATIO.finditer(name) if float(match[2]))
    inside = (float(match[1]) for match in NAMED_INSIDE.finditer(name) if float(match[1]) in USUAL_ASPECTS)
    found = (*([float(first[1])] if first else ()), *ratios, *inside)
    return tuple(aspect for aspect in found if ASPECTS[0] <= aspect <= ASPECTS[1])


def same_aspect(aspect: float, named: float) -> bool:
    """Whether an aspect is the one that a name tells."""
    return 1 / ASPECT_SHARE <= aspect / named <= ASPECT_SHARE


def guide_name_words(guide: Guide, camera: Camera) -> Iterator[str]:
    """A guide shifted to the other side than its name says, or smaller: it leaves out what is to be kept."""
    kept = min(1.0, guide.aspect * camera.height_mm / camera.width_mm) * guide.scale
    high = min(1.0, camera.width_mm / camera.height_mm / guide.aspect) * guide.scale
    if NAMED_WHOLE.search(guide.name) and min(kept, high) < WHOLE_SHARE:
        yield (
            f"aspect = {plain(guide.aspect)} and scale = {plain(guide.scale)} keep {100 * kept:.0f} % of the width and "
            f'{100 * high:.0f} % of the height, and speak against the name of its guide "{guide.name}"'
        )
    for words, axis, sign in NAMED_SIDES:
        shift_mm = guide.offset_mm[axis]
        others = (other for other, same_axis, _ in NAMED_SIDES if same_axis == axis and other is not words)
        if words.search(guide.name) and sign * shift_mm < -SHIFTED_MM and not any(other.search(guide.name) for other in others):
            yield (
                f"offset_mm = [{plain(guide.offset_mm[0])}, {plain(guide.offset_mm[1])}] speaks against the name of its guide "
                f'"{guide.name}": it counts right and up in the picture'
            )
    percent = NAMED_PERCENT.search(guide.name)
    if percent and guide.scale < PERCENT_SHARE * float(percent[1]) / 100.0:
        yield f'scale = {plain(guide.scale)} speaks against the name of its guide "{guide.name}"'
