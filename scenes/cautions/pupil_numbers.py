"""Pupil depths of a lens that others speak against: its own against its rows, a walk against both, a zoom's against the rest."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from raytrace.optics.zoom import StateRow, in_between
from scenes.rig.stated_field import four_depths, rows_of
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens, focal_lengths
from scenes.scene_file.tables.scene import Scene, focus_distances_of

# Depths are measured to a mm or two, and as marked and as measured they differ by a few percent more.
SAME_DEPTH_MM, SAME_DEPTH_SHARE = 3.0, 0.05
ZOOM_OFF_MM, ZOOM_OFF_SHARE = 8.0, 0.25  # between focal lengths, which stand far apart
MAGNIFICATIONS = (0.3, 5.0)  # of lenses that are made: telephoto lenses to very wide retrofocus ones (common practice)
# Primes longer than five focal lengths are wide and retrofocus: 1.5 to 7 of such published ones in tests/data. Zooms may have any.
LONG_SHARE, LEAST_OF_LONG = 5.0, 0.8
HELD_SHARE, MOVED_MM = 0.9, 1.0  # of the nearest row's focus; a depth that moves by less is one depth
UNKNOWN = (0.0,) * 4
# Of the focal length: 0.98 and more in published primes, from double Gauss to reversed telephoto, 1.5 and more of those
# so wide that clear a mirror (docs/physics.md). The long end of a zoom has it nearer, and tele zooms even behind the sensor.
NEAR_SENSOR_SHARE, NEAR_OF_WIDE = 0.6, 0.9
WIDE_SHARE, LONG_ZOOM_SHARE = 0.7, 1.7  # of the picture's diagonal
SAME_FRONT_SHARE, SHORT_OF_SET = 1.1, 0.5  # fronts of one set; half as long as the shortest of these is no lens of it
LEAST_SET = 2  # other lenses


def own_depth_words(lens: Lens) -> Iterator[str]:
    """A depth of the lens itself that is deeper than what its rows say where it stands: the rows alone are looked at."""
    if lens.pupil_behind_front_mm is None or lens.pupil_walk is not None or not _rows_with_depth(lens):
        return
    short_mm, long_mm = focal_lengths(lens)[0], focal_lengths(lens)[-1]
    row = in_between(rows_of(lens), min(max(lens.focal_mm, short_mm), long_mm), math.inf).pupil_mm or UNKNOWN
    stated = four_depths(lens.pupil_behind_front_mm) or UNKNOWN
    for least in (0, 2):
        if row[least] < stated[least] - _same_mm(stated[least]):
            yield (
                f"pupil_behind_front_mm = {plain(stated[least])} of the lens speaks against its state rows, "
                f"pupil_behind_front_mm = {_rounded(row[least])}: nothing else is looked at"
            )
            return


def odd_magnification_words(lens: Lens) -> Iterator[str]:
    """A pupil magnification that hardly any lens has: the field close up follows from it."""
    if "pupil_magnification" in lens.confirmed:
        return
    stated = [row.pupil_magnification for row in lens.state if row.pupil_magnification is not None]
    stated += [lens.pupil_magnification] if lens.pupil_magnification is not None else []
    least, most = MAGNIFICATIONS
    for value in stated:
        if not least <= value <= most:
            usual = f"{plain(least)} (telephoto) to {plain(most)} (very wide)"
            yield (
                f"pupil_magnification = {plain(value)} is that of hardly any lens, {usual}: exit pupil over entrance pupil is "
                f"meant, the other way about it would be {plain(round(1.0 / value, 3))}"
            )
            return
        if value < LEAST_OF_LONG and _is_long(lens):
            yield (
                f"pupil_magnification = {plain(value)} makes the exit pupil the smaller one, of a lens of front_to_sensor_mm = "
                f"{plain(lens.front_to_sensor_mm or 0.0)} with focal_mm = {plain(lens.focal_mm)}: in lenses so long it is "
                f"the larger; the other way about it would be {plain(round(1.0 / value, 2))}"
            )
            return


def _is_long(lens: Lens) -> bool:
    """Whether a prime is several focal lengths long, as retrofocus lenses are."""
    is_prime = len(focal_lengths(lens)) == 1 and lens.squeeze == 1.0
    return is_prime and (lens.front_to_sensor_mm or 0.0) >= LONG_SHARE * lens.focal_mm


def near_sensor_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A pupil far nearer to the sensor than the focal length of a lens that is no telephoto: a length from elsewhere."""
    diagonal_mm = math.hypot(scene.camera.width_mm, scene.camera.height_mm)
    if "front_to_sensor_mm" in lens.confirmed or lens.front_to_sensor_mm is None or lens.prescription is not None:
        return
    settings = [(room_mm / (share * row.focal_mm), room_mm, row) for room_mm, share, row in _rooms_to_sensor(lens, diagonal_mm)]
    least, room_mm, row = min(settings, key=lambda setting: setting[0], default=(1.0, 0.0, None))
    if row is not None and least < 1.0:
        deepest_mm = (row.pupil_mm or UNKNOWN)[3]
        yield (
            f"front_to_sensor_mm = {plain(lens.front_to_sensor_mm)} and pupil_behind_front_mm = {_rounded(deepest_mm)} put the "
            f"pupil {plain(round(room_mm, 1))} mm ahead of the sensor, of focal_mm = {plain(row.focal_mm)}: all but "
            "telephoto lenses have it about a focal length ahead, or more; is a digit wrong, or one measured from the mount?"
        )


def _rooms_to_sensor(lens: Lens, diagonal_mm: float) -> Iterator[tuple[float, float, StateRow]]:
    """How far the pupil is ahead of the sensor [mm], the least share of the focal length for that, and where."""
    is_zoom = len(focal_lengths(lens)) > 1
    for row in _rows_with_depth(lens) or _own_row(lens):
        room_mm = (lens.front_to_sensor_mm or 0.0) + (row.front_travel_mm or 0.0) - (row.pupil_mm or UNKNOWN)[3]
        is_wide = row.focal_mm <= WIDE_SHARE * diagonal_mm
        if room_mm > 0.0 and row.focal_mm <= (LONG_ZOOM_SHARE if is_zoom else 1.0) * diagonal_mm:
            yield room_mm, NEAR_OF_WIDE if is_wide else NEAR_SENSOR_SHARE, row


def _own_row(lens: Lens) -> list[StateRow]:
    """A lens without rows, at infinity; that of a walk on the axis."""
    depth = four_depths(lens.pupil_behind_front_mm)
    if lens.pupil_walk is not None:
        depth = (lens.pupil_walk[0][1],) * 4
    return [] if depth is None else [StateRow(focal_mm=focal_lengths(lens)[0], focus_mm=math.inf, pupil_mm=depth)]


def short_lens_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A lens far shorter, from front to sensor, than all others of the scene with a front as large: not of that set's make."""
    alike = [
        other.front_to_sensor_mm
        for other in scene.lens
        if other is not lens and other.front_to_sensor_mm is not None and _is_same_front(other, lens)
    ]
    length_mm = lens.front_to_sensor_mm
    if length_mm is None or "front_to_sensor_mm" in lens.confirmed or len(alike) < LEAST_SET:
        return
    if length_mm < SHORT_OF_SET * min(alike):
        yield (
            f"front_to_sensor_mm = {plain(length_mm)} is less than half of what the other lenses with such a front have, "
            f"{', '.join(map(plain, alike))}; is a digit wrong, or was it measured to the mount? Measure from front rim to sensor"
        )


def _is_same_front(one: Lens, other: Lens) -> bool:
    return 1 / SAME_FRONT_SHARE <= one.front_diameter_mm / other.front_diameter_mm <= SAME_FRONT_SHARE


def same_lens_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A second copy of one lens, alike in every measure but its pupil: one of the two depths is wrong."""
    own = _lone_depth(lens)
    if own is None or "pupil_behind_front_mm" in lens.confirmed:
        return
    for other in scene.lens[: scene.lens.index(lens)]:
        depth = _lone_depth(other)
        if depth is None or "pupil_behind_front_mm" in other.confirmed or _measures(lens) != _measures(other):
            continue
        apart_mm = max(abs(a - b) for a, b in zip(own, depth, strict=True))
        if apart_mm > _same_mm(max(own)):
            yield (
                f'has the focal length, stop, front and length of "{other.name}", but pupil_behind_front_mm = '
                f"{_rounded(own[3])}, not {_rounded(depth[3])}: one is wrong; measure both again"
            )
            return


def same_zoom_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A second copy of one zoom, alike in every measure but the pupil at one of its settings: one of the two depths is wrong."""
    own = _depths_of_rows(lens)
    for other in scene.lens[: scene.lens.index(lens)] if own else ():
        theirs = _depths_of_rows(other)
        if set(theirs) != set(own) or _measures(lens) != _measures(other):
            continue
        off = {
            place: max(abs(a - b) for a, b in zip(own[place], theirs[place], strict=True)) - _same_mm(max(own[place]))
            for place in own
        }
        place = max(off, key=lambda one: off[one])
        if off[place] > 0.0:
            at = "infinity" if math.isinf(place[1]) else f"{plain(place[1])} mm"
            yield (
                f'has the focal lengths, stop, front and length of "{other.name}", but pupil_behind_front_mm = '
                f"{_rounded(own[place][3])} at focal_mm = {plain(place[0])}, focus {at}, not {_rounded(theirs[place][3])}: one is "
                "wrong; measure both again"
            )
            return


def _depths_of_rows(lens: Lens) -> dict[tuple[float, float], tuple[float, float, float, float]]:
    """The pupil of a zoom at each of its settings; nothing where it was checked, walks, or is that of a prime."""
    if "pupil_behind_front_mm" in lens.confirmed or lens.pupil_walk is not None or len(focal_lengths(lens)) == 1:
        return {}
    return {(row.focal_mm, row.focus_mm): row.pupil_mm or UNKNOWN for row in _rows_with_depth(lens)}


def _measures(lens: Lens) -> tuple[float | None, ...]:
    sizes = (lens.focal_mm, lens.f_number, lens.squeeze, lens.front_diameter_mm)
    return (*sizes, lens.front_to_sensor_mm, lens.close_focus_mm)


def _lone_depth(lens: Lens) -> tuple[float, float, float, float] | None:
    """The pupil of a lens that gives it as one depth, and its length beside it; None of others, and of bounds."""
    depth = four_depths(lens.pupil_behind_front_mm)
    if depth is None or lens.state or lens.pupil_walk is not None or lens.prescription is not None:
        return None
    return depth if depth[:1] + depth[2:3] == depth[1:2] + depth[3:] and lens.front_to_sensor_mm is not None else None


def short_rows_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """Depths that change with focus, by rows that end before the nearest focus looked at: from there on the last one is held."""
    stated = [row for row in rows_of(lens) if row.pupil_mm is not None]
    for focal_mm in () if "pupil_behind_front_mm" in lens.confirmed else dict.fromkeys(row.focal_mm for row in stated):
        near_mm = min(focus_distances_of(scene, lens, focal_mm), default=math.inf)
        rows = sorted((row for row in stated if row.focal_mm == focal_mm), key=lambda row: row.focus_mm)
        last, first = rows[0].pupil_mm or UNKNOWN, rows[-1].pupil_mm or UNKNOWN
        moved_mm = max(abs(a - b) for a, b in zip(last, first, strict=True))
        if near_mm < HELD_SHARE * rows[0].focus_mm < math.inf and moved_mm >= MOVED_MM:
            yield (
                f"pupil_behind_front_mm is last given at focus_mm = {plain(rows[0].focus_mm)} and taken as {_rounded(last[3])} "
                f"from there to {plain(near_mm)}, although it moves with focus; is a row missing? Measure it there"
            )
            return


def copied_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A lens with all the measures of another of the scene but its focal length: copied, and not measured."""
    if "pupil_behind_front_mm" in lens.confirmed or lens.prescription is not None:
        return
    for other in scene.lens[: scene.lens.index(lens)]:
        mine, theirs = (
            (one.front_to_sensor_mm, one.close_focus_mm, one.pupil_behind_front_mm, one.pupil_walk) for one in (lens, other)
        )
        if mine == theirs and None not in mine[:3] and other.focal_mm != lens.focal_mm and not (lens.state or other.state):
            yield (
                f'has the pupil_behind_front_mm, front_to_sensor_mm and close_focus_mm of "{other.name}", at another focal length; '
                "was it copied from that, and are these its own?"
            )
            return


def walk_row_words(lens: Lens) -> Iterator[str]:
    """Depths of state rows that a walk leaves aside, where they are deeper than it begins."""
    if lens.pupil_walk is None:
        return
    on_axis_mm = lens.pupil_walk[0][1]
    deepest_mm = max((max(row.pupil_mm or UNKNOWN) for row in _rows_with_depth(lens)), default=-math.inf)
    if deepest_mm > on_axis_mm + _same_mm(on_axis_mm):
        yield (
            f"pupil_walk begins at {plain(on_axis_mm)} mm, but a state row says pupil_behind_front_mm = {_rounded(deepest_mm)}: "
            "the walk counts, at every setting"
        )


def zoom_out_of_line_words(lens: Lens) -> Iterator[str]:
    """A depth of one focal length that lies shallower than those at the two beside it."""
    if "pupil_behind_front_mm" in lens.confirmed or lens.pupil_walk is not None:
        return
    rows = _rows_with_depth(lens)
    for focus_mm in dict.fromkeys(row.focus_mm for row in rows):
        run = sorted((row for row in rows if row.focus_mm == focus_mm), key=lambda row: row.focal_mm)
        for least in (0, 2):
            depths = [(row.pupil_mm or UNKNOWN)[least] for row in run]
            place = _dip(depths, ZOOM_OFF_MM, ZOOM_OFF_SHARE)
            if place is not None:
                yield (
                    f"pupil_behind_front_mm = {_rounded(depths[place])} at focal_mm = {plain(run[place].focal_mm)} is far out of "
                    f"line with the rows beside it, {_rounded(depths[place - 1])} at {plain(run[place - 1].focal_mm)} and "
                    f"{_rounded(depths[place + 1])} at {plain(run[place + 1].focal_mm)}; is a digit wrong? Measure it again"
                )
                return


def _rows_with_depth(lens: Lens) -> list[StateRow]:
    return [row for row in rows_of(lens) if row.pupil_mm is not None]


def _dip(depths: Sequence[float], off_mm: float, off_share: float) -> int | None:
    """The first place whose depth lies below both beside it by more than that; None without one."""
    for place in range(1, len(depths) - 1):
        beside_mm = min(depths[place - 1], depths[place + 1])
        if beside_mm - depths[place] > max(off_mm, off_share * abs(beside_mm)):
            return place
    return None


def _same_mm(depth_mm: float) -> float:
    return max(SAME_DEPTH_MM, SAME_DEPTH_SHARE * depth_mm)


def _rounded(depth_mm: float) -> str:
    return plain(round(depth_mm, 1))
