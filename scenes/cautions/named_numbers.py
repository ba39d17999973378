"""Numbers that the name of a lens or a guide tells otherwise: the widest stop, where a guide lies, how large it is.

How every name is made plain before it is matched is here too.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from scenes.scene_file.messages import plain
from scenes.scene_file.tables.camera import Camera, Guide
from scenes.scene_file.tables.lens import Lens, focal_lengths

DASHES = str.maketrans({**dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212", "-"), **dict.fromkeys("()[]{}", " ")})
COUNTS = "take|scene|shot|roll|slate|nos?|nr|num|number|serial|rev|revision|ver|version|v|page|job|item|copy"
COUNTED = re.compile(rf"\b(?:{COUNTS})\b[\s.:#]*\d+(?![\w.])", re.IGNORECASE)  # 'take 21' is no lens
INDEXED = {*COUNTS.split("|"), "lens", "test"}  # 'lens10' is the tenth
UNDERSCORED = re.compile(r"(?<![\d.])(?<!\d_)([1-9]\d{1,3})_([1-9]\d{1,3})(?!\d|_\d|\.\d)")  # '28_45', a zoom's range
STUCK = re.compile(r"(?<![^\W\d_])([^\W\d_]{3,})-?(?=\d)")  # 'prime21'; 'B28' and 'f1.4' are names as they are
COMMA = re.compile(r"(?<![\d.,])(?:(\d),(\d{1,2})|(\d{2,3}),(\d))(?![\d,])")  # '2,39'; '35,50' are two
FILM = re.compile(r"(?<![^\W_])(?:super|regular)[ -]?(?:8|16|35)(?:\s?mm)?(?!\w)|(?<![\w.])(?:16|35)\s?mm film\b", re.IGNORECASE)
A_NUMBER = r"[-+]?\d+(?:\.\d+)?"
UNIT = r"\s?(?:mm|degs?|degrees?|°|º|%)?"
LIMIT_WORDS = r"(?:max(?:imum)?|min(?:imum)?|up to|at most|at least|(?:no|not) more than|from|until)"
LIMITS = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        rf"\b{LIMIT_WORDS}\b[\s.:=]*{A_NUMBER}(?:\s?[x×*]\s?{A_NUMBER})?",
        rf"[<>≤≥]\s?{A_NUMBER}(?:\s?[x×*]\s?{A_NUMBER})?",
        rf"(?<![\w.]){A_NUMBER}(?:\s?[x×*]\s?{A_NUMBER})?{UNIT}\s?(?:max(?:imum)?|min(?:imum)?)\b",
    )
)
NAMED_STOP = re.compile(r"(?<![\w.])([fFtT])\s?(\d{1,2}(?:\.\d+)?)(?![\w.]*\w)")  # f1.4, F2, T 2.1
BARE_STOP = re.compile(  # 85 1.4, 24-70 2.8; 50 1.8x is a squeeze, 35 0.9 m a distance
    r"(?<![\w.])(\d{1,4})(?:-(\d{1,4}))?(?:\s?mm)?\s(\d\.\d{1,2})(?=\s|$)(?!\s(?:[x×]|mm?\b|ft\b|kg\b))", re.IGNORECASE
)
NAMED_STOPS = (0.7, 32.0)
SQUEEZES, FOCAL_SHARE = (1.2, 2.0), 1.1
STOP_SHARE = 1.05  # names round their stop by less: a seventh of a stop
LOSSLESS_SHARE = 0.975  # of its T number: the f-number of a lens that passes 95 % of the light; hardly one does (common practice)
USUAL_SHARE = 0.93  # the same of one that passes 86 %
NAMED_ASPECT = re.compile(r"([1-3]\.\d{1,2})(?![\d.])")  # at the start of a name
NAMED_RATIO = re.compile(r"(?<![\w.:])(\d{1,2}(?:\.\d+)?)\s?[:x]\s?(\d{1,2})(?![\w.:])")  # 16:9, 4x3 anywhere in it
NAMED_PIXELS = re.compile(r"(?<![\w.])(\d{3,5})\s?[x×]\s?(\d{3,5})(?![\w.])", re.IGNORECASE)  # 5700x3800
NAMED_SQUARE = re.compile(r"\bsquare\b(?! pixels?\b)", re.IGNORECASE)
NAMED_INSIDE = re.compile(r"(?<=\s)(\d\.\d{1,2})(?=\s|$)")  # "extraction 2.39": a word of its own, of those below
USUAL_ASPECTS = (1.33, 1.37, 1.66, 1.78, 1.85, 1.89, 2.2, 2.35, 2.39, 2.4, 2.76)  # common practice
ASPECTS = (0.5, 3.1)  # other ratios are times of the day, or sizes
ASPECT_SHARE = 1.05  # 2.39, 2.4 and 2.35 are one to many crews
NAMED_PERCENT = re.compile(r"(?<![\w.])(\d{1,3}(?:\.\d+)?)\s?(?:%|per ?cent\b|pct\b)", re.IGNORECASE)
SAFE = re.compile(r"\b(?:safe|action|title)\b", re.IGNORECASE)
BARE_PERCENT = re.compile(r"(?<![^\s])([5-9]\d|100)(?=\s|$)(?! ?[:x×])")
NAMED_SCALE = re.compile(r"(?<![^\s])(0?\.[5-9]\d{0,2})(?=\s|$)")  # extraction 0.95
DELIVERED = {1080, 1280, 1920, 1998, 2048, 2160, 3840, 3996, 4096, 7680, 8192}  # pixels across as delivered, not as recorded
NAMED_WHOLE = re.compile(r"\b(?:whole frame|(?:whole|full) (?:aperture|gate|sensor|picture)|open gate)\b", re.IGNORECASE)
WHOLE_SHARE = 0.97  # of the recorded width or height: what is called whole may leave a narrow border
PERCENT_SHARE = 0.97  # a name rounds its percents by less
SAME_SCALE = 0.02  # a safe area may be counted against another guide
SHIFTED_MM = 0.3  # on the sensor: a guide that lies nearer the middle is not shifted
NAMED_SIDES = (  # words of a name, by the axis of offset_mm and its sign
    (re.compile(r"\b(?:top|upper)\b", re.IGNORECASE), 1, 1.0),
    (re.compile(r"\b(?:bottom|lower)\b", re.IGNORECASE), 1, -1.0),
    (re.compile(r"\bright\b", re.IGNORECASE), 0, 1.0),
    (re.compile(r"\bleft\b", re.IGNORECASE), 0, -1.0),
)


def plain_name(name: str) -> str:
    """A name as all rules read it: underscores, brackets and commas as spaces, decimal points, words apart from their number."""
    text = COMMA.sub(lambda found: found[0].replace(",", "."), UNDERSCORED.sub(_as_range, name.translate(DASHES)))
    text = re.sub(r"(?<=\d)\s?×\s?(?=\d)", "x", re.sub(r"[_,;]", " ", text))
    text = re.sub(r"(?<=[^\W\d_fFtT])\.(?=\d\d)", " ", text)  # 'set B.21'
    text = STUCK.sub(lambda found: found[0] if found[1].lower() in INDEXED else f"{found[1]} ", text)
    return " ".join(re.sub(r"(?<=\d)-?(?=[^\W\d_]{3})", " ", text).split())


def _as_range(found: re.Match[str]) -> str:
    return f"{found[1]}-{found[2]}" if float(found[1]) < float(found[2]) else found[0]


def without_limits(name: str) -> str:
    """A name without the numbers that are limits in it: 'top flag, max 90 deg' stands at any angle up to that."""
    for limit in LIMITS:
        name = limit.sub(" ", name)
    return name


def _named_stop(lens: Lens) -> tuple[str, float] | None:
    """(f or t, number) of the widest stop by a lens's name; None where it tells none."""
    name = plain_name(lens.name)
    found = [(match[1].lower(), float(match[2])) for match in NAMED_STOP.finditer(name)]
    found += [("f", stop) for stop in _bare_stops(name, lens)]
    return next((stop for stop in found if NAMED_STOPS[0] <= stop[1] <= NAMED_STOPS[1]), None)


def _bare_stops(name: str, lens: Lens) -> Iterator[float]:
    """Stops that stand after the focal length without an f; of an anamorphic lens it may be the squeeze."""
    ends = (focal_lengths(lens)[0], focal_lengths(lens)[-1])
    for short, long, stop in BARE_STOP.findall(name):
        may_be_squeeze = lens.squeeze > 1.0 and SQUEEZES[0] <= float(stop) <= SQUEEZES[1]
        told = (float(short), float(long or short))
        if not may_be_squeeze and any(1 / FOCAL_SHARE <= end / focal <= FOCAL_SHARE for end, focal in zip(ends, told, strict=True)):
            yield float(stop)


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


SHIFT = r"(?!\s(?:safe\w*|shift\w*|offset\w*|protect\w*|centre\w*|center\w*|crop\w*|squeeze|line|half|third))"
UPRIGHT = re.compile(rf"\b(?:vertical|upright|portrait|phones?|mobile)\b{SHIFT}", re.IGNORECASE)
ACROSS = re.compile(rf"\b(?:landscape|horizontal|wide-?screen)\b{SHIFT}", re.IGNORECASE)


def named_aspects(name: str) -> tuple[float, ...]:
    """The aspects that a guide's name tells: the number it begins with, ratios, and usual ones that stand in it as a word."""
    name = plain_name(name)
    first = NAMED_ASPECT.match(name)
    ratios = (float(match[1]) / float(match[2]) for match in NAMED_RATIO.finditer(name) if float(match[2]))
    inside = (float(match[1]) for match in NAMED_INSIDE.finditer(name) if float(match[1]) in USUAL_ASPECTS)
    pixels = (float(match[1]) / float(match[2]) for match in NAMED_PIXELS.finditer(name) if float(match[2]))
    found = [*([float(first[1])] if first else ()), *ratios, *pixels, *inside]
    found = [aspect for aspect in found if ASPECTS[0] <= aspect <= ASPECTS[1]]
    return tuple(found or ([1.0] if NAMED_SQUARE.search(name) else []))


def same_aspect(aspect: float, named: float) -> bool:
    """Whether an aspect is the one that a name tells."""
    return 1 / ASPECT_SHARE <= aspect / named <= ASPECT_SHARE


def kept_shares(guide: Guide, camera: Camera) -> tuple[float, float]:
    """How much of the recorded width and height a guide keeps."""
    wide = guide.aspect * camera.height_mm / camera.width_mm
    return min(1.0, wide) * guide.scale, min(1.0, 1.0 / wide) * guide.scale


def guide_name_words(guide: Guide, camera: Camera) -> Iterator[str]:
    """A guide shifted to the other side than its name says, or smaller: it leaves out what is to be kept."""
    name = plain_name(guide.name)
    kept, high = kept_shares(guide, camera)
    if NAMED_WHOLE.search(name) and min(kept, high) < WHOLE_SHARE:
        yield (
            f"aspect = {plain(guide.aspect)} and scale = {plain(guide.scale)} keep {100 * kept:.0f} % of the width and "
            f'{100 * high:.0f} % of the height, and speak against the name of its guide "{guide.name}"'
        )
    if text := _turned_guide_words(guide, name):
        yield text
    for words, axis, sign in NAMED_SIDES:
        shift_mm = guide.offset_mm[axis]
        others = (other for other, same_axis, _ in NAMED_SIDES if same_axis == axis and other is not words)
        if words.search(name) and sign * shift_mm < -SHIFTED_MM and not any(other.search(name) for other in others):
            yield (
                f"offset_mm = [{plain(guide.offset_mm[0])}, {plain(guide.offset_mm[1])}] speaks against the name of its guide "
                f'"{guide.name}": it counts right and up in the picture'
            )
    yield from _scale_words(guide, camera, without_limits(name), kept)


def _turned_guide_words(guide: Guide, name: str) -> str:
    """A guide called upright that lies across, or the other way about; '' where it is as its name says."""
    is_upright, lies_across = UPRIGHT.search(name) is not None, ACROSS.search(name) is not None
    if is_upright == lies_across or (guide.aspect < 1.0 if is_upright else guide.aspect > 1.0) or guide.aspect == 1.0:
        return ""
    stands = "lies across" if is_upright else "stands upright"
    return f'aspect = {plain(guide.aspect)}, width over height, {stands} and speaks against the name of its guide "{guide.name}"'


def _scale_words(guide: Guide, camera: Camera, name: str, kept: float) -> Iterator[str]:
    """A guide smaller than the percents, the share or the pixels of its name."""
    named = [float(percent) / 100.0 for percent in NAMED_PERCENT.findall(name)[:1]]
    if not named and SAFE.search(name):
        named = [float(percent) / 100.0 for percent in BARE_PERCENT.findall(name)[:1]]
    if not named:
        named = [float(share) for share in NAMED_SCALE.findall(name) if not same_aspect(guide.aspect, float(share))][:1]
    others = [other.scale for other in camera.guide if other is not guide] if named and named[0] < 1.0 else []
    of_another = any(abs(guide.scale / (other * named[0]) - 1.0) < SAME_SCALE for other in others)
    if named and guide.scale < PERCENT_SHARE * named[0] and not of_another:
        yield f'scale = {plain(guide.scale)} speaks against the name of its guide "{guide.name}"'
    for across in (int(match[1]) for match in NAMED_PIXELS.finditer(name)):
        if across not in DELIVERED and kept * camera.pixels[0] < PERCENT_SHARE * across <= camera.pixels[0]:
            yield (
                f"scale = {plain(guide.scale)} keeps {kept * camera.pixels[0]:.0f} pixels across of {camera.pixels[0]}, and speaks "
                f'against the name of its guide "{guide.name}"'
            )
