"""Numbers of a scene that speak against each other: a fault each, which keeps every state that rests on them from being clear.

The one rule for all of them: a number that would make a dark frame look clear is not believed while another number of the scene
speaks against it. The fault names both keys with their values and the way out: put one right, or list the key under `confirmed`.
Why and how far: docs/physics.md, "Numbers that speak against each other".
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Iterator
from itertools import pairwise
from statistics import median

from geometry.notes import Note, Severity
from raytrace.optics.camera import PixelGrid
from raytrace.optics.conjugate import principal_planes_apart_mm
from raytrace.optics.projection import distort_radius
from scenes.cautions.lens_limits import focal_row_words, shallow_pupil_words, travel_words
from scenes.cautions.lens_names import without_fronts_and_focus
from scenes.cautions.named_numbers import COUNTED, guide_name_words, named_aspects, named_stop_words, plain_name, same_aspect
from scenes.cautions.named_squeezes import is_same_squeeze, named_squeezes, says_anamorphic, says_spherical
from scenes.cautions.pupil_numbers import own_depth_words, walk_row_words
from scenes.rig.box import stage_name
from scenes.rig.rod_height import turned_height_words
from scenes.rig.stated_field import HONEST_SHARE, FieldDoubt, field_doubts, rows_of
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box
from scenes.scene_file.tables.camera import Camera, Guide
from scenes.scene_file.tables.lens import Lens, focal_lengths, stated_depths
from scenes.scene_file.tables.scene import Scene, box_for

LEAST_NAMED_MM = 8.0  # a smaller number in a name is an index, not a focal length
NAMED_SHARE = 1.1  # a name rounds its focal length by less
SLOWER_SHARE = 4.0  # than the rest of the set, or than what [check] asks for: four stops
TENFOLD, SAME_STOP = 10.0, 0.01
SHORT_SHARE = 0.5  # of the focal length: no lens of glass is so short; telephoto ratios go down to 0.6 (common practice)
SAME_FOCUS_SHARE = 0.98  # nearest focus and a row that stands there are rounded apart by less
PINCUSHION_SHARE = 0.10  # of the radius at the corner: rectilinear lenses keep within 0.05 (common practice)
RADII = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)  # where distortion is looked at, of the half diagonal
SAME_DEPTH_MM = 1.0  # pupil depths are measured to about that
LEAST_PIXEL_MM = 0.001  # photosites smaller than this are made for telephones only (common practice)
SMALL_SENSOR_MM = 9.0  # narrower than 16 mm film; nobody puts a front of
LARGE_FRONT_MM = 60.0  # and more ahead of it
STOP_DENSITY = math.log10(2.0)
WHOLE_DENSITY = 2.0  # densities run in steps of 0.3; whole numbers from here on are more likely stops
TO = r"(?:mm)?\s*(?:[-\u2010-\u2015~]|\.\.|to\b|bis\b|\u2026)\s*"  # as crews, editors and phones write a zoom's range
NAMED = re.compile(rf"(\d+(?:\.\d+)?)(?:{TO}(\d+(?:\.\d+)?))?(?![\d.:x])")
NAMED_INSIDE = re.compile(rf"(?<=\s){NAMED.pattern}(?=\s|mm|$)")  # "Prime 18": a word of its own
LONGEST_NAMED_MM = 1200.0  # a larger number in a name is a year or a serial number
OTHER_NAME = "put the wrong one right, or give the guide another name"
NARROWER_PUPIL_SHARE = 0.9  # of 1 / squeeze, which a front anamorphic's pupil has; no pupil is narrower
WIDEST_ASPECT = 3.01  # of what is shown; a 3:2 sensor behind a squeeze of 2 is 3
FLATTER_SHARE = 1.25  # than the picture: such a guide leaves out a fifth of its height
AXIS_SIZE_SHARE = 0.98  # of 1, which a walk's sizes are on the axis by what they are held against
SHALLOW_SHARE = 0.08  # of a large front's diameter: pupils lie two to five times as deep (common practice)
WALK_SHARE, LEAST_WALK_MM = 0.5, 10.0  # of the depth on the axis: no published lens in docs/validation.md walks so far


def contradiction_notes(scene: Scene, lens: Lens, grid: PixelGrid) -> tuple[Note, ...]:
    """A fault for each number of this lens, its box and the camera that another number of the scene speaks against."""
    return (*lens_contradictions(scene, lens, grid), *box_contradictions(box_for(scene, lens)))


def lens_contradictions(scene: Scene, lens: Lens, grid: PixelGrid) -> tuple[Note, ...]:
    """Those of the lens and the camera, whatever the box."""
    told = [(lens.name, text) for text in (*_lens_words(scene, lens), *_field_words(lens, grid))]
    told += [("camera", text) for text in _camera_words(scene.camera, scene.lens)]
    told += [("camera", text) for text in (*_guide_words(scene), *_desqueezed_words(scene, lens))]
    return tuple(_fault(part, text) for part, text in told)


def box_contradictions(box: Box) -> tuple[Note, ...]:
    """Those of a box as it is on a lens: of its filters and its rods."""
    told = [*_filter_words(box), *(("box", text) for text in turned_height_words(box))]
    return tuple(_fault(part, text) for part, text in told)


def _fault(part: str, text: str) -> Note:
    return Note(part, text, Severity.FAULT, doubts_light=True)


def or_confirmed(key: str, where: str = "the lens") -> str:
    """The way out of two numbers that speak against each other."""
    return f'put the wrong one right, or write confirmed = ["{key}"] in {where} if you have checked it'


def _lens_words(scene: Scene, lens: Lens) -> Iterator[str]:
    rules = {
        "focal_mm": [*_focal_words(lens)] or focal_row_words(lens),
        "f_number": (*_stop_words(scene, lens), *named_stop_words(lens)),
        "front_to_sensor_mm": _length_words(lens),
        "close_focus_mm": _nearest_words(lens),
        "pupil_behind_front_mm": (*_pupil_words(lens), *shallow_pupil_words(lens), *own_depth_words(lens)),
        "squeeze": (*_squeeze_words(lens), *_named_squeeze_words(lens)),
        "front_travel_mm": (*_travel_words(lens), *travel_words(lens)),
        "pupil_walk": (*_walk_words(lens), *walk_row_words(lens)),
        "pupil_magnification": _magnification_words(lens),
        "distortion": _distortion_words(lens),
    }
    for key, texts in rules.items():
        if key not in lens.confirmed:
            yield from (f"{text}; {or_confirmed(key)}" for text in texts)


def _focal_words(lens: Lens) -> Iterator[str]:
    """A name that tells another focal length, at either end of a zoom: crews call lenses by it."""
    ends = (focal_lengths(lens)[0], focal_lengths(lens)[-1])
    told = list(_named_ends(lens.name))
    off = [[(end, name) for end, name in zip(ends, named, strict=True) if not _is_named(end, name)] for named in told]
    if off and all(off):
        yield f"focal_mm = {plain(off[0][0][0])}{_row_words(lens, *off[0][0])}"


def _row_words(lens: Lens, end_mm: float, named_mm: float) -> str:
    """What an end of a lens's range is against: its name, and its own focal length, where a row is what stands out."""
    if any(row.focal_mm == end_mm for row in lens.state) and _is_named(lens.focal_mm, named_mm) and lens.focal_mm != end_mm:
        return f' of a state row speaks against focal_mm = {plain(lens.focal_mm)} of the lens and its name "{lens.name}"'
    return f' speaks against the name "{lens.name}"'


def _named_ends(name: str) -> Iterator[tuple[float, float]]:
    """Shortest and longest focal length by a name: the number it begins with, else each that stands in it as a word [mm]."""
    for written in dict.fromkeys((name, name.replace("_", " "))):  # '28_45' is a zoom's range, or two numbers
        text = without_fronts_and_focus(COUNTED.sub(" ", plain_name(written)))
        first = NAMED.match(text)
        for found in [first] if first else NAMED_INSIDE.finditer(text):
            short, long = float(found[1]), float(found[2] or found[1])
            if LEAST_NAMED_MM <= short <= LONGEST_NAMED_MM:
                yield short, long


def _is_named(focal_mm: float, named_mm: float) -> bool:
    return 1 / NAMED_SHARE <= focal_mm / named_mm <= NAMED_SHARE


def _stop_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A widest stop far beyond what the rest of the set has, or beyond what is to be checked: 18 for 1.8."""
    others = [other.f_number for other in scene.lens if other is not lens]
    asked = min(scene.check.f_numbers, default=math.inf)
    stop = f"f_number = {plain(lens.f_number)}, the widest stop,"
    if others and lens.f_number >= SLOWER_SHARE * max(others) and lens.f_number >= SLOWER_SHARE * median(others):
        listed = ", ".join(dict.fromkeys(plain(value) for value in others))
        yield f"{stop} speaks against those of the other lenses, f_number = {listed}"
    elif lens.f_number >= SLOWER_SHARE * asked:
        yield f"{stop} speaks against f_numbers = [{plain(asked)}] of [check]"
    elif math.isclose(asked, TENFOLD * lens.f_number, rel_tol=SAME_STOP):
        yield f"{stop} is a tenth of f_numbers = [{plain(asked)}] of [check], the widest looked at, as if its point were missing"


def _deepest_mm(lens: Lens) -> float:
    walk = [lens.pupil_walk[0][1]] if lens.pupil_walk is not None else []
    return max([*walk, *(end for depth in stated_depths(lens) for end in (*depth.horizontal, *depth.vertical))], default=-math.inf)


def _shallowest_mm(lens: Lens) -> float:
    walk = [lens.pupil_walk[0][1]] if lens.pupil_walk is not None else []
    return min([*walk, *(end for depth in stated_depths(lens) for end in (*depth.horizontal, *depth.vertical))], default=math.inf)


def _length_words(lens: Lens) -> Iterator[str]:
    length_mm = lens.front_to_sensor_mm
    if length_mm is None:
        return
    longest = focal_lengths(lens)[-1]
    if _deepest_mm(lens) >= length_mm:
        yield (
            f"front_to_sensor_mm = {plain(length_mm)} puts the pupil, pupil_behind_front_mm = {plain(_deepest_mm(lens))}, "
            "behind the sensor: both count from the front rim, and front_to_sensor_mm runs to the image plane, not to the mount"
        )
    elif length_mm < SHORT_SHARE * longest:
        yield f"front_to_sensor_mm = {plain(length_mm)} is less than half of focal_mm = {plain(longest)}, shorter than any lens"


def _nearest_words(lens: Lens) -> Iterator[str]:
    nearest_mm = min((row.focus_mm for row in lens.state if isinstance(row.focus_mm, float)), default=math.inf)
    if lens.close_focus_mm is not None and nearest_mm < SAME_FOCUS_SHARE * lens.close_focus_mm:
        yield f"close_focus_mm = {plain(lens.close_focus_mm)} speaks against a nearer state row, focus_mm = {plain(nearest_mm)}"


def _pupil_words(lens: Lens) -> Iterator[str]:
    if _shallowest_mm(lens) < 0.0:
        yield (
            f"pupil_behind_front_mm = {plain(_shallowest_mm(lens))} puts the entrance pupil ahead of the front rim, where no "
            f"camera lens has it: without the minus it is {plain(-_shallowest_mm(lens))} behind it"
        )
    elif _shallowest_mm(lens) < SHALLOW_SHARE * lens.front_diameter_mm and lens.front_diameter_mm >= LARGE_FRONT_MM:
        depth_mm = _shallowest_mm(lens)
        in_cm = f" (written in cm? it would be {plain(TENFOLD * depth_mm)} mm)" if depth_mm > 0.0 else ""
        yield (
            f"pupil_behind_front_mm = {plain(depth_mm)} is next to nothing behind front_diameter_mm = "
            f"{plain(lens.front_diameter_mm)}{in_cm}"
        )
    for depth in stated_depths(lens):
        if lens.squeeze > 1.0 and depth.horizontal[0] > depth.vertical[1] + SAME_DEPTH_MM:
            yield (
                f"pupil_behind_front_mm = {{ horizontal = {plain(depth.horizontal[0])}, vertical = {plain(depth.vertical[1])} }} "
                f"speaks against squeeze = {plain(lens.squeeze)}: what squeezes at the front brings the horizontal pupil nearer, "
                "so the two are probably swapped"
            )
            return


def _squeeze_words(lens: Lens) -> Iterator[str]:
    """Two pupils make an anamorphic lens, and so does a pupil that is narrower than it is high."""
    if lens.pupil_width_factor is not None and lens.pupil_width_factor < NARROWER_PUPIL_SHARE / lens.squeeze:
        yield (
            f"squeeze = {plain(lens.squeeze)} speaks against pupil_width_factor = {plain(lens.pupil_width_factor)}, which only a "
            f"lens with a squeeze of {plain(round(1 / lens.pupil_width_factor, 2))} has"
        )
    for depth in stated_depths(lens):
        across, upright = depth.horizontal, depth.vertical
        if lens.squeeze == 1.0 and (across[1] + SAME_DEPTH_MM < upright[0] or upright[1] + SAME_DEPTH_MM < across[0]):
            yield (
                f"squeeze = 1 speaks against the two depths of pupil_behind_front_mm, {plain(across[0])} horizontal and "
                f"{plain(upright[0])} vertical, which only an anamorphic lens has"
            )
            return


def _named_squeeze_words(lens: Lens) -> Iterator[str]:
    """A name that tells another squeeze: crews write 2x, 1.8x or anamorphic after the focal length."""
    name = plain_name(lens.name)
    named = named_squeezes(name)
    if named and not any(is_same_squeeze(lens.squeeze, squeeze) for squeeze in named):
        yield f'squeeze = {plain(lens.squeeze)} speaks against the name "{lens.name}"'
    elif not named and lens.squeeze == 1.0 and says_anamorphic(name):
        yield f'squeeze = 1, that of a spherical lens, speaks against the name "{lens.name}"'
    elif not named and lens.squeeze > 1.0 and says_spherical(name):
        yield f'squeeze = {plain(lens.squeeze)}, that of an anamorphic lens, speaks against the name "{lens.name}"'


def _desqueezed_words(scene: Scene, lens: Lens) -> Iterator[str]:
    if all(other.squeeze > 1.0 for other in scene.lens):
        yield from (f"{text}; {or_confirmed('squeeze', 'each of these lenses')}" for text in desqueezed_words(scene, lens))


def desqueezed_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """Guides as the desqueezed picture has them: on the sensor they leave out much of its height. Told once for all such lenses."""
    alike = [other for other in scene.lens if other.squeeze == lens.squeeze and "squeeze" not in other.confirmed]
    if lens.squeeze == 1.0 or not scene.camera.guide or lens not in alike:
        return
    guide = min(scene.camera.guide, key=lambda one: one.aspect)
    flatter = guide.aspect * scene.camera.height_mm / scene.camera.width_mm
    if guide.aspect * lens.squeeze > WIDEST_ASPECT and flatter >= FLATTER_SHARE:
        shown = plain(round(guide.aspect * lens.squeeze, 2))
        yield (
            f"squeeze = {plain(lens.squeeze)} of {names_listed(alike)} makes aspect = {plain(guide.aspect)} of the guide "
            f'"{guide.name}" {shown} desqueezed, wider than any picture is shown: aspect is as recorded, '
            f"{plain(round(guide.aspect / lens.squeeze, 3))} for {plain(guide.aspect)}"
        )


def names_listed(lenses: Iterable[Lens]) -> str:
    """'"24"', '"24" and "35"', '"24", "35" and "50"'."""
    *first, last = (f'"{lens.name}"' for lens in lenses)
    return f"{', '.join(first)} and {last}" if first else last


def _travel_words(lens: Lens) -> Iterator[str]:
    """A front that goes back as the focus comes nearer: lenses go out for it, if their front moves at all (common practice)."""
    rows = sorted(rows_of(lens), key=lambda row: (row.focal_mm, -row.focus_mm))
    told = [(row.focal_mm, row.focus_mm, row.front_travel_mm) for row in rows if row.front_travel_mm is not None]
    for (focal_mm, far_mm, far_out_mm), (same_mm, near_mm, near_out_mm) in pairwise(told):
        if focal_mm == same_mm and near_out_mm < far_out_mm - SAME_DEPTH_MM:
            far, near = ("infinity" if math.isinf(focus_mm) else f"{plain(focus_mm)} mm" for focus_mm in (far_mm, near_mm))
            yield (
                f"front_travel_mm = {plain(far_out_mm)} at focus {far} and {plain(near_out_mm)} at {near} speak against each "
                "other: fronts that move come out, toward the scene, for a nearer focus, and that is positive"
            )
            return


def _walk_words(lens: Lens) -> Iterator[str]:
    if lens.pupil_walk is None:
        return
    on_axis, *sizes = lens.pupil_walk[0][1:]
    if min(sizes) < AXIS_SIZE_SHARE:
        yield f"pupil_walk begins with a size of {plain(min(sizes))}: they count against the pupil on the axis, so it begins with 1"
    field_deg, nearest = min(((row[0], row[1]) for row in lens.pupil_walk), key=lambda place: place[1])
    if lens.projection == "rectilinear" and nearest < WALK_SHARE * on_axis and on_axis - nearest > LEAST_WALK_MM:
        yield (
            f"pupil_walk = {plain(nearest)} mm at {plain(field_deg)} deg speaks against the {plain(on_axis)} mm it begins with: "
            "no lens's pupil walks so far"
        )
    if lens.pupil_behind_front_mm is None:
        return
    low, high = lens.pupil_behind_front_mm.vertical
    if not low - SAME_DEPTH_MM <= on_axis <= high + SAME_DEPTH_MM:
        yield (
            f"pupil_walk begins at {plain(on_axis)} mm, pupil_behind_front_mm = {plain(low if on_axis < low else high)}: "
            "the walk counts"
        )


def _magnification_words(lens: Lens) -> Iterator[str]:
    """A pupil magnification that would put the principal planes farther apart than the lens is long."""
    if lens.front_to_sensor_mm is None or lens.prescription is not None:
        return
    rows = [row for row in rows_of(lens) if row.pupil_magnification is not None]
    values = [(row.focal_mm, row.pupil_magnification or 1.0) for row in rows]
    if not values and lens.pupil_magnification is not None:
        values = [(focal_mm, lens.pupil_magnification) for focal_mm in focal_lengths(lens)]
    for focal_mm, magnification in values:
        apart = principal_planes_apart_mm(focal_mm, lens.front_to_sensor_mm - max(_deepest_mm(lens), 0.0), magnification)
        if abs(apart) > lens.front_to_sensor_mm:
            yield (
                f"pupil_magnification = {plain(magnification)} puts the principal planes {plain(round(abs(apart)))} mm apart, more "
                f"than front_to_sensor_mm = {plain(lens.front_to_sensor_mm)}: it is exit over entrance pupil"
            )
            return


def _distortion_words(lens: Lens) -> Iterator[str]:
    """Pincushion narrows the field: more of it anywhere than rectilinear lenses have is no rectilinear lens, or a slip."""
    gains = {radius: float(distort_radius(radius, lens.distortion)) / radius - 1.0 for radius in RADII}
    where = max(gains, key=lambda radius: (gains[radius], radius))
    if lens.projection == "rectilinear" and gains[where] > PINCUSHION_SHARE:
        values = ", ".join(plain(value) for value in lens.distortion)
        place = "at the corner" if where == 1.0 else f"at {plain(where)} of the way to the corner"
        yield f'distortion = [{values}] is {100 * gains[where]:.0f} % {place}, against projection = "rectilinear"'


def _field_words(lens: Lens, grid: PixelGrid) -> Iterator[str]:
    """One fault for all the stated fields that are in doubt, in the words of the one that is farthest out."""
    doubts = field_doubts(lens, grid)
    if not doubts:
        return
    worst = max(doubts, key=lambda doubt: abs(math.log(_tan(doubt.stated_deg) / _tan(doubt.expected_deg))))
    focus = "infinity" if math.isinf(worst.focus_mm) else f"focus {plain(worst.focus_mm)} mm"
    size, share = (grid.width_mm, "width") if worst.way == "horizontal" else (grid.height_mm, "height")
    squeeze = f", squeeze = {plain(lens.squeeze)}" if lens.squeeze != 1.0 and worst.way == "horizontal" else ""
    says = f"focal_mm = {plain(worst.focal_mm)}{squeeze} and the picture's {share} of {plain(size)} mm say"
    yield (
        f"half_field_deg = {plain(worst.stated_deg)} at {focus}, but {says} {worst.expected_deg:.1f} deg{_slip_words(worst)}: "
        f"the wider counts; {or_confirmed('half_field_deg')}"
    )


def _tan(angle_deg: float) -> float:
    return math.tan(math.radians(min(angle_deg, 89.9)))


def _slip_words(doubt: FieldDoubt) -> str:
    """What sort of slip would make one angle of the other; '' where none fits."""
    slips = {
        " (is it the full field?)": 2.0 * doubt.expected_deg,
        " (is it half of the half field?)": 0.5 * doubt.expected_deg,
    }
    return next((words for words, angle in slips.items() if 1 / HONEST_SHARE <= doubt.stated_deg / angle <= HONEST_SHARE), "")


def _camera_words(camera: Camera, lenses: Iterable[Lens]) -> Iterator[str]:
    if {"width_mm", "height_mm"} & set(camera.confirmed):
        return
    size = f"width_mm = {plain(camera.width_mm)}, height_mm = {plain(camera.height_mm)}"
    way_out = or_confirmed("width_mm", "[camera]")
    front_mm = min(lens.front_diameter_mm for lens in lenses)
    pitch_mm = camera.width_mm / camera.pixels[0]
    if camera.width_mm < SMALL_SENSOR_MM and front_mm >= LARGE_FRONT_MM:
        in_cm = f"written in cm? it would be {plain(10 * camera.width_mm)} x {plain(10 * camera.height_mm)} mm"
        yield f"{size} is smaller than 16 mm film, behind front_diameter_mm = {plain(front_mm)} and more ({in_cm}); {way_out}"
    elif pitch_mm < LEAST_PIXEL_MM:
        yield f"{size} and pixels = [{camera.pixels[0]}, {camera.pixels[1]}] make photosites of {1000 * pitch_mm:.1f} um; {way_out}"
    if camera.width_mm < camera.height_mm and camera.guide and all(guide.aspect > 1.0 for guide in camera.guide):
        guide = camera.guide[0]
        yield f'{size} stands upright, its guide "{guide.name}" with aspect = {plain(guide.aspect)} lies across; {way_out}'


def _guide_words(scene: Scene) -> Iterator[str]:
    """Guides with a name that tells another aspect, as recorded or desqueezed, another place or another size."""
    squeezes = {1.0, *(lens.squeeze for lens in scene.lens)}
    for guide in scene.camera.guide:
        named = named_aspects(guide.name)
        if named and not any(same_aspect(guide.aspect * squeeze, aspect) for squeeze in squeezes for aspect in named):
            against = f'aspect = {plain(guide.aspect)} speaks against the name of its guide "{guide.name}"'
            yield f"{against}{_shown_words(guide, squeezes)}; {OTHER_NAME}"
        yield from (f"{text}; {OTHER_NAME}" for text in guide_name_words(guide, scene.camera))


def _shown_words(guide: Guide, squeezes: Collection[float]) -> str:
    """What lenses that squeeze make of a guide's aspect: ' (1.73 desqueezed by squeeze = 1.3)'."""
    shown = [f"{plain(round(guide.aspect * squeeze, 2))} desqueezed by squeeze = {plain(squeeze)}" for squeeze in sorted(squeezes)]
    return f" ({', '.join(shown[1:])})" if len(shown) > 1 else ""


def _filter_words(box: Box) -> Iterator[tuple[str, str]]:
    """Filters, with a density that is more likely a number of stops; one stop is 0.3."""
    for number, stage in enumerate(box.stage, 1):
        glass = stage.filter
        if glass is None or "density" in glass.confirmed or glass.density < WHOLE_DENSITY or glass.density % 1.0:
            continue
        density = plain(glass.density)
        yield (
            glass.name or f"{stage_name(stage, number)} filter",
            (
                f"density = {density} takes {plain(round(glass.density / STOP_DENSITY))} stops; if {density} stops are meant write "
                f'density = {plain(round(0.3 * glass.density, 1))}, else write confirmed = ["density"] in the filter'
            ),
        )
