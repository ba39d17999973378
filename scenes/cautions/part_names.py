"""Names of parts and drawings that speak against the scene: lenses that they are for, sizes, sides, angles, the order of trays."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from pathlib import PureWindowsPath

from geometry.body import Part
from geometry.outline import size_mm
from scenes.cautions.named_numbers import COUNTED, DASHES, FILM, plain_name, without_limits
from scenes.rig.box import stage_name
from scenes.rig.openings import as_written, built_outlines, opening_mm, times
from scenes.scene_file.catalogue import filter_sizes, formats
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box, BoxPart, Hood, Mask, Solid, Stage, box_parts, is_fitted
from scenes.scene_file.tables.lens import Lens

Size = tuple[float, float]

LEAST_NAME = 2  # letters of a lens's name: 'mask 1' counts masks
NAME_DIGITS = (2, 3)  # of a focal length: 'm6044' is a size or a number of the drawer's own
NUMBER, TIMES = r"(\d{2,4}(?:\.\d+)?)", r"\s?(?:[x×*]|by\b)\s?"
NAMED_SIZE = re.compile(rf"(?<![\w.]){NUMBER}{TIMES}{NUMBER}(?!\d|\.\d|x\d)", re.IGNORECASE)
ANY_SIZE = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?:(?:[x×*]|\s[x×*]\s|\sby\s)\d+(?:\.\d+)?)+", re.IGNORECASE)
NAMED_SHARE, LEAST_SIZE_MM = 0.03, 20.0  # names round sizes; smaller numbers are ratios, as 16x9, or inches, as 4x5.65
OTHER_SIZE = "give it the right size, or another name"
DEGREES = r"(?:degs?\b|degrees?\b|°|º)"
WAY = re.compile(r"\s?(in|inwards?|out|below|above|down|up)\b", re.IGNORECASE)
NAMED_ANGLE, SAME_DEG = re.compile(rf"(?<![\w.])(-?\d{{1,3}}(?:\.\d+)?)\s?{DEGREES}", re.IGNORECASE), 1.0
TILT_WORD = r"(?<!max )(?<!maximum )(?<!up to )\b(?:tilt|turn|lean|rotat)(?:s|e|ed|ing)?\s(?:by\s)?"
NAMED_TILT = re.compile(
    rf"(?<![\w.])(-?\d{{1,3}}(?:\.\d+)?)\s?{DEGREES}|{TILT_WORD}(-?\d{{1,3}}(?:\.\d+)?)(?![\w.])", re.IGNORECASE
)
QUARTER_DEG = 90.0  # so glass is turned in its tray
ANGLE_RANGE = re.compile(
    rf"(?<![\w.])-?\d+(?:\.\d+)?\s?{DEGREES}?\s?(?:-|\.\.|~|to\b)\s?-?\d+(?:\.\d+)?\s?{DEGREES}", re.IGNORECASE
)
SIDE = re.compile(r"\b(top|bottom|left|right)(?=\b|flags?\b)", re.IGNORECASE)
TRADE_SIDES = (  # what crews call flags by their side, as docs/nomenclature.md has it; an eyebrow is a flag at the top
    (re.compile(r"\bfrench[ -]?flags?\b|\beye ?brows?\b", re.IGNORECASE), ("top",)),
    (re.compile(r"\bsiders?\b|\bside[ -]?flags?\b", re.IGNORECASE), ("left", "right")),
)
SIGNED_POWER = re.compile(r"(?<![\w.])([+-])\s?(\d+(?:\.\d+)?|\.\d+)(?![\w.]*\d)")  # +2, -0.5
NAMED_POWER = re.compile(r"(?<![\w.+\-])(\d+(?:\.\d+)?)\s?(?:dioptres?|diopters?|dpt)\b", re.IGNORECASE)
SAME_POWER = 0.05
SPELT_POWERS = tuple(
    (re.compile(rf"\b{words}[\s-](?:a )?diopt(?:re|er)s?\b", re.IGNORECASE), power)
    for words, power in (("half", 0.5), ("quarter", 0.25), ("one", 1.0), ("two", 2.0), ("three", 3.0))
)
REAR, FRONT = {"rear", "back"}, {"front"}
NAMED_MM = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?)\s?mm\b", re.IGNORECASE)
RODS = re.compile(r"(?<![\w.])(?:15|19)\s?(?:mm)?[ -](?:rods?|bars?)\b", re.IGNORECASE)
PERCENT = re.compile(r"(?<![\w.])\d+(?:\.\d+)?\s?(?:%|percent\b|pct\b)", re.IGNORECASE)
PAIR = re.compile(r"(?<![\w.\-])(\d+)-(\d+)(?![\w.\-])")
DATE = re.compile(r"(?<!\d)(?:19|20)\d\d[-. ]?\d\d[-. ]?\d\d(?!\d)")
MASK_LETTER = re.compile(r"(?<![^\W_])m(?=\d\d)", re.IGNORECASE)  # 'm75.dxf', 'M75'
WORD_DASH = re.compile(r"(?<!\d)-|-(?!\d)")  # not that of '24-70'


def lens_list_words(box: Box, lens: Lens) -> Iterator[tuple[str, str]]:
    """Parts whose name has this lens's name in it, and whose list of lenses leaves it out."""
    for _, _, part in box_parts(box):
        if not part.lenses or lens.name in part.lenses:
            continue
        name = _lens_text(part.name or "", part)
        longer = any(_says(other, lens.name) and _says(name, other) for other in part.lenses)  # '35 macro', not the '35'
        if not longer and _says(name, lens.name):
            listed = ", ".join(f'"{other}"' for other in part.lenses)
            text = f'has the name of the lens "{lens.name}", which its lenses = [{listed}] leave out; are two lists swapped?'
            yield part.name or "", text


def _lens_text(name: str, part: BoxPart) -> str:
    """A part's name without the numbers in it that are no lens's: sizes, angles, limits, rods, and lengths that the part has."""
    text = plain_name(name)
    text = MASK_LETTER.sub("mask ", text) if isinstance(part, Mask) else text
    text = RODS.sub(" ", FILM.sub(" ", without_limits(text)))
    for other in (ANY_SIZE, NAMED_ANGLE, PERCENT):
        text = other.sub(" ", text)
    lengths = {value for _, value in part if isinstance(value, float)}
    return NAMED_MM.sub(lambda found: " " if float(found[1]) in lengths else found[0], text)


def _says(name: str, lens_name: str) -> bool:
    """Whether the name of a lens stands in a name by itself, with or without mm."""
    word = _without_mm(plain_name(lens_name))
    if len(word) < LEAST_NAME:
        return False
    text = _without_mm(plain_name(name))
    text = text if COUNTED.search(word) else COUNTED.sub(" ", text)
    return re.search(rf"(?<![\w.\-]){re.escape(word)}(?![\w\-]|\.\d)", text, re.IGNORECASE) is not None


def _without_mm(name: str) -> str:
    return NAMED_MM.sub(r"\1", name)


def outline_words(box: Box, lens: Lens, lenses: Iterable[Lens]) -> Iterator[tuple[str, str]]:
    """Masks of this lens with the drawing of another's, by its file name, or by the mask that reads it too."""
    names = [other.name for other in lenses]
    for mask in box.mask:
        if mask.outline is None or not is_fitted(mask, lens.name):
            continue
        file, said = PureWindowsPath(mask.outline).name, _drawn_for(mask, names)
        fits = set(mask.lenses or _lenses_in(_lens_text(mask.name or "", mask), names))
        meant = any(name in fits or any(_says(fit, name) for fit in fits) for name in said)
        if said and fits and not meant:
            listed = ", ".join(f'"{name}"' for name in names if name in fits)
            yield (
                mask.name or "mask",
                f'outline = "{file}" has the name of the lens "{said[0]}", but is for {listed}; is it the right file?',
            )
        elif not said and (numbers := _other_number(mask)):
            own, number = numbers
            yield mask.name or "mask", f'outline = "{file}" has {number} where its name has {own}; is it the right file?'
        elif not said and (twin := _twin(box, mask)) is not None:
            text = f'outline = "{file}" is also that of "{twin.name or "mask"}", which is for another lens; is it the right file?'
            yield mask.name or "mask", text


def _drawn_for(mask: Mask, names: Iterable[str]) -> list[str]:
    """The lenses of the scene that the name of a mask's drawing tells."""
    return _lenses_in(_lens_text(_stem(mask), mask), names)


def _stem(mask: Mask) -> str:
    """The plain name of a mask's drawing, without folder, ending and date."""
    stem = plain_name(PureWindowsPath(mask.outline or "").stem)
    return WORD_DASH.sub(" ", MASK_LETTER.sub("mask ", DATE.sub(" ", stem)))


def _lenses_in(text: str, names: Iterable[str]) -> list[str]:
    """The lenses whose names stand in a text by themselves; in '35-75' both, unless that is a zoom's name."""
    known = [*names]
    words = {_without_mm(plain_name(name)) for name in known}
    pairs = PAIR.sub(lambda pair: pair[0] if pair[0] in words or not {pair[1], pair[2]} <= words else f"{pair[1]} {pair[2]}", text)
    found = [name for name in known if _says(pairs, name)]
    return [name for name in found if not any(other != name and _says(other, name) for other in found)]


def _other_number(mask: Mask) -> tuple[str, str] | None:
    """The numbers in which a mask's name and that of its drawing differ, where all else is the same: 'mask 35', mask21.dxf."""
    name, stem = _words(_lens_text(mask.name or "", mask)), _words(_lens_text(_stem(mask), mask))
    off = [(own, drawn) for own, drawn in zip(name, stem, strict=False) if own != drawn]
    if len(name) != len(stem) or len(off) != 1 or not all(word.isdecimal() and len(word) in NAME_DIGITS for word in off[0]):
        return None
    return off[0]


def _twin(box: Box, mask: Mask) -> Mask | None:
    """Another mask with the same drawing that none of this one's lenses has."""
    for other in box.mask:
        same = (
            other is not mask
            and other.outline is not None
            and PureWindowsPath(other.outline) == PureWindowsPath(mask.outline or "")
        )
        if same and mask.lenses and other.lenses and not set(mask.lenses) & set(other.lenses):
            return other
    return None


def size_words(box: Box, parts: Sequence[Part]) -> Iterator[tuple[str, str]]:
    """Masks, trays and hoods called by another size than theirs, such as 'mask 144 x 98', and drawings called so."""
    drawn_mm = {group: size_mm(outline) for group, outline in built_outlines(parts).items()}
    for number, mask in enumerate(box.mask, 1):
        yield from _mask_size_words(mask, drawn_mm.get(f"box.mask[{number}]"))
    for number, stage in enumerate(box.stage, 1):
        yield from _tray_size_words(stage, stage_name(stage, number))
        yield from _tray_glass_words(stage, stage_name(stage, number))
    for hood in box.hood:
        yield from _hood_size_words(hood, [size for stage in box.stage if (size := _glass_mm(stage))])
    yield from _board_size_words(box)


def _mask_size_words(mask: Mask, drawn_mm: Size | None) -> Iterator[tuple[str, str]]:
    opening = opening_mm(mask) or drawn_mm
    if opening is None:
        return
    told, sizes = _named_sizes(mask.name or ""), [opening, *([mask.outer_mm] if mask.outer_mm else [])]
    if told and not _any_same(told, sizes):
        what = f"opening_mm = {as_written(opening)}" if mask.outline is None else f"its drawn opening of {times(opening)} mm"
        yield mask.name or "mask", f"{what} speaks against its name, {times(told[0])}; {OTHER_SIZE}"
    told = _named_sizes(_stem(mask)) if mask.outline else []
    if told and not _any_same(told, sizes) and _is_larger(opening, told):  # a drawing may be called by its larger blank
        file = PureWindowsPath(mask.outline or "").name
        text = f'outline = "{file}" draws {times(opening)} mm, larger than its name, {times(told[0])}; is it the right drawing?'
        yield mask.name or "mask", text


def _tray_size_words(stage: Stage, name: str) -> Iterator[tuple[str, str]]:
    """Trays with a larger opening than their name says; called by their glass they have a smaller one."""
    told, opening = _named_sizes(name), opening_mm(stage)
    if opening is None or not told:
        return
    sizes = [opening, *([stage.outer_mm] if stage.outer_mm else []), *([glass] if (glass := _glass_mm(stage)) else [])]
    if not _any_same(told, [*sizes, *_turned(sizes)]) and _is_larger(opening, told) and not _are_glass(told):
        yield name, f"opening_mm = {as_written(opening)} speaks against its name, {times(told[0])}; {OTHER_SIZE}"


def _tray_glass_words(stage: Stage, name: str) -> Iterator[tuple[str, str]]:
    """Trays called by the glass that they take, as '4x4 tray', which open wider than it, and filters larger than their name."""
    opening, own, glass = opening_mm(stage), _glass_named(name), _glass_mm(stage)
    if opening is not None and own is not None and _is_larger(opening, [own[1]]):
        text = f"opening_mm = {as_written(opening)} is larger than the glass of its name, {own[0]}, {times(own[1])} mm"
        yield name, f"{text}; {OTHER_SIZE}"
    own = _glass_named(stage.filter.name or "") if stage.filter is not None else None
    if glass is not None and own is not None and _is_larger(glass, [own[1]]):
        yield name, f"its filter of {times(glass)} mm is larger than its name says, {own[0]}, {times(own[1])} mm; {OTHER_SIZE}"
    told = _named_sizes(stage.filter.name or "") if stage.filter is not None and own is None else []
    if glass is not None and told and not _any_same(told, [glass, *_turned([glass])]):
        yield name, f"its filter of {times(glass)} mm is of another size than its name says, {times(told[0])} mm; {OTHER_SIZE}"


def _glass_named(name: str) -> tuple[str, Size] | None:
    """The size of glass that a name tells, by the name that crews give it: '4x4', '6.6x6.6'."""
    words = set(plain_name(name).replace(" x ", "x").split())
    for key, size in filter_sizes().items():
        if key in words and size.width_mm and size.height_mm:
            return key, (size.width_mm, size.height_mm)
    return None


def _hood_size_words(hood: Hood, glasses: Sequence[Size]) -> Iterator[tuple[str, str]]:
    """Hoods with a larger front than their name says, which is not their rear, outside or glass either."""
    told, name = _named_sizes(hood.name or ""), hood.name or "hood"
    ends = [hood.rear_mm, hood.front_mm]
    outside = [(width + 2 * hood.thickness_mm, height + 2 * hood.thickness_mm) for width, height in ends]
    sizes = [*ends, *outside, *glasses]
    if told and not _any_same(told, [*sizes, *_turned(sizes)]) and _is_larger(hood.front_mm, told) and not _are_glass(told):
        both = f"rear_mm = {as_written(hood.rear_mm)} and front_mm = {as_written(hood.front_mm)}"
        yield name, f"{both} speak against its name, {times(told[0])}; {OTHER_SIZE}"


def _board_size_words(box: Box) -> Iterator[tuple[str, str]]:
    """Flags and plates of another size than their name says, which is not that of a hood or tray that they are for either."""
    others = [size for hood in box.hood for size in (hood.rear_mm, hood.front_mm)]
    others += [size for stage in box.stage for size in (stage.outer_mm, opening_mm(stage), _glass_mm(stage)) if size is not None]
    for flag in box.flag:
        whole_mm = flag.length_mm + (flag.extension.length_mm if flag.extension is not None else 0.0)
        sizes, told = [(flag.width_mm, flag.length_mm), (flag.width_mm, whole_mm), *others], _named_sizes(flag.name or "")
        if told and not _any_same(told, [*sizes, *_turned(sizes)]) and not _are_glass(told):
            both = f"length_mm = {plain(flag.length_mm)} and width_mm = {plain(flag.width_mm)}"
            yield flag.name or "", f"{both} speak against its name, {times(told[0])}; {OTHER_SIZE}"
    for back in box.back:
        sizes, told = [(back.width_mm, back.height_mm), *others], _named_sizes(back.name or "")
        if told and not _any_same(told, [*sizes, *_turned(sizes)]) and not _are_glass(told):
            both = f"width_mm = {plain(back.width_mm)} and height_mm = {plain(back.height_mm)}"
            yield back.name or "", f"{both} speak against its name, {times(told[0])}; {OTHER_SIZE}"


def _named_sizes(name: str) -> list[Size]:
    """The sizes in mm that a name tells: no ratios, no inches, no limits, no recorded areas as 36x24."""
    found = [(float(width), float(height)) for width, height in NAMED_SIZE.findall(without_limits(plain_name(name)))]
    areas = [(area.width_mm, area.height_mm) for area in formats().values()]
    return [size for size in found if min(size) >= LEAST_SIZE_MM and not _any_same([size], [*areas, *_turned(areas)])]


def _any_same(told: Iterable[Size], sizes: Sequence[Size]) -> bool:
    return any(all(abs(a / b - 1.0) <= NAMED_SHARE for a, b in zip(one, size, strict=True)) for one in told for size in sizes)


def _is_larger(size: Size, told: Iterable[Size]) -> bool:
    """Whether a size is larger one way than each that a name tells, whichever way about that is."""
    own = sorted(size)
    return all(any(a > (1.0 + NAMED_SHARE) * b for a, b in zip(own, sorted(one), strict=True)) for one in told)


def _are_glass(told: Iterable[Size]) -> bool:
    glass = [(size.width_mm, size.height_mm) for size in filter_sizes().values() if size.width_mm and size.height_mm]
    return _any_same(told, [*glass, *_turned(glass)])


def _turned(sizes: Iterable[Size]) -> list[Size]:
    return [(height, width) for width, height in sizes]


def _glass_mm(stage: Stage) -> Size | None:
    return stage.filter.rectangle_mm if stage.filter is not None else None


def flag_side_words(box: Box) -> Iterator[tuple[str, str]]:
    """Flags called by another side than theirs."""
    for flag in box.flag:
        named = sides_in(flag.name or "")
        if named and flag.side not in named:
            means = f", which means {' or '.join(named)}" if not SIDE.search(plain_name(flag.name or "")) else ""
            yield flag.name or "", f'side = "{flag.side}" speaks against its name{means}; sides are as the operator sees them'


def sides_in(name: str) -> tuple[str, ...]:
    """The sides that a part's name allows; none where it tells none, or two."""
    text = plain_name(name)
    told = tuple(dict.fromkeys(side.lower() for side in SIDE.findall(text)))
    if told:
        return told if len(told) == 1 else ()
    called = [sides for pattern, sides in TRADE_SIDES if pattern.search(text)]
    return called[0] if len(called) == 1 else ()


def flag_angle_words(box: Box) -> Iterator[tuple[str, str]]:
    """Flags called by another angle than theirs, such as 'top flag 20 deg'; a limit, or a range, is none."""
    for flag in box.flag:
        name = without_limits(ANGLE_RANGE.sub(" ", plain_name(flag.name or "")))
        named = [angle for found in NAMED_ANGLE.finditer(name) for angle in _meant_deg(found)]
        if named and all(abs(angle - flag.angle_deg) > SAME_DEG for angle in named):
            angles = f"angle_deg = {plain(flag.angle_deg)} speaks against its name, {plain(named[0])} deg"
            yield flag.name or "", f"{angles}; give it the right angle, or another name"


def _meant_deg(found: re.Match[str]) -> tuple[float, ...]:
    """The angles that a flag may be set to by a number of its name: '10 deg in' leans in, '10 deg below level' either way."""
    angle = float(found[1])
    way = WAY.match(found.string, found.end())
    if way is None:
        return (angle,)
    inward = -abs(angle)
    return {"in": (inward,), "inward": (inward,), "inwards": (inward,), "out": (abs(angle),)}.get(way[1].lower(), (angle, -angle))


def tilt_words(box: Box) -> Iterator[tuple[str, str]]:
    """Trays, masks and meshes called by a tilt or turn that neither they nor the box have, such as 'tray tilted 10 deg'."""
    for key, number, part in box_parts(box):
        if not isinstance(part, Stage | Mask | Solid):
            continue
        name = without_limits(ANGLE_RANGE.sub(" ", plain_name(part.name or "")))
        named = [deg for one, other in NAMED_TILT.findall(name) if (deg := float(one or other)) % QUARTER_DEG]
        own = (part.tilt_deg, part.turn_deg, box.tilt_deg)
        if named and not any(abs(abs(told) - abs(value)) <= SAME_DEG for told in named for value in own):
            angles = f"tilt_deg = {plain(part.tilt_deg)} and turn_deg = {plain(part.turn_deg)} speak against its name"
            called = stage_name(part, number + 1) if isinstance(part, Stage) else part.name or key
            yield called, f"{angles}, {plain(named[0])} deg; give it the right angle, or another name"


def power_words(box: Box) -> Iterator[tuple[str, str]]:
    """Close-up lenses called by another power than theirs, such as '+2'."""
    for number, stage in enumerate(box.stage, 1):
        glass = stage.filter
        if glass is None or glass.power_dioptre is None:
            continue
        name = (glass.name or "").translate(DASHES)
        named = [float(sign + power) for sign, power in SIGNED_POWER.findall(name)]
        named += [float(power) for power in NAMED_POWER.findall(name)]
        named += [power for words, power in SPELT_POWERS if words.search(name)]
        if named and all(abs(power - glass.power_dioptre) > SAME_POWER * abs(power) for power in named):
            power = f"power_dioptre = {plain(glass.power_dioptre)} speaks against the name of its filter"
            yield stage_name(stage, number), f'{power} "{glass.name}"; give it the right power, or another name'


def tray_order_words(box: Box) -> Iterator[tuple[str, str]]:
    """Two trays that stand the other way about than their names say."""
    placed = sorted((stage for stage in box.stage if stage.name), key=lambda stage: stage.at_mm)
    for behind, ahead in pairwise(placed):
        first, second = (set(_words(plain_name(stage.name or ""))) for stage in (behind, ahead))
        if first & FRONT and second & REAR:
            text = f'at_mm = {plain(behind.at_mm)} stands behind "{ahead.name}" at {plain(ahead.at_mm)}; are the two swapped?'
            yield behind.name or "", text


def _words(name: str) -> list[str]:
    return [word.lower() for word in re.findall(r"[^\W_]+", name)]
