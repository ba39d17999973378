"""What is worth telling of a lens with a table: how it was focused, where its picture ends, what of the scene was not used.

A guide that reaches beyond the picture of its lens is never called clear: nobody looked there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from geometry.arrays import FloatArray
from geometry.notes import Note, Severity
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState, TracedPupil
from raytrace.optics.prescription import Prescription, Surface, axial_height, first_order, rays_to_front, trace_from_stop
from raytrace.optics.traced_picture import LARGEST_STOP_RAD, TracedPicture
from scenes.cautions.contradictions import or_confirmed
from scenes.cautions.glass_index import table_index_words
from scenes.rig.traced_focus import length_mm, traced_focus
from scenes.scene_file.messages import plain
from scenes.scene_file.resources import GlassTable
from scenes.scene_file.tables.lens import Lens

SLOWER_SHARE = 4.0  # four stops, as between the lenses of a set
CLOSED_SHARE = 1.25  # two thirds of a stop: those of the tables in tests/data are within a twentieth of what the lenses are sold as
FASTER_SHARE = 1.5  # a good stop: published half diameters are transcribed to less
LENGTH_PERCENT = 2.0  # front to sensor as measured with a tape
PUPIL_OFF_MM = 2.5  # as far as a pupil may be off anyway (scenes.states.clear_rule)
RIM_AHEAD_MM = 2.0  # barrels and tables are measured to better
CHIEF_ANGLES = 3001  # of chief rays in the space before the stop
RIM_SLACK = 0.02  # tables round their half diameters by less
TOLD_MM = 0.01  # a picture that ends as near as this to the corner holds it
WHY_IT_ENDS = {
    "glass": "from there on no ray gets from the centre of the stop through the glass",
    "fold": "from there on the picture folds back",
    "steep": "from there on it looks almost square to the axis and beyond, where no box is worked out",
}


def traced_notes(
    lens: Lens, glass: GlassTable | None, variants: Sequence[LensState], guides: Sequence[Guide], focus_mm: float
) -> tuple[Note, ...]:
    """All notes on one state of a lens with a table; none where it has none."""
    if glass is None:
        return ()
    return (
        *picture_notes(lens.name, variants, guides),
        *_focus_notes(lens.name, glass, focus_mm),
        *_length_notes(lens, glass),
        *_depth_notes(lens, glass, variants),
        *_stated_depth_notes(lens, glass),
        *_stop_notes(lens, glass),
        *_rim_notes(lens, glass.prescription),
        *_corner_rim_notes(lens.name, glass.prescription, variants, guides),
        *_lost_stop_notes(lens, glass),
        *_unused_notes(lens),
        *(Note(lens.name, text, Severity.CAUTION, may_be_slip=True) for text in table_index_words(glass)),
    )


def picture_notes(lens_name: str, variants: Sequence[LensState], guides: Sequence[Guide]) -> tuple[Note, ...]:
    """A fault for a guide that reaches beyond the picture of its lens, or that light from beyond a fold of it reaches.

    A caution where that light may be stopped by rims that the table does not give.
    """
    reach_mm = _reach_mm(guides)
    pictures = [lens.picture for lens in variants if lens.picture is not None]
    return tuple(note for picture in pictures for note in _picture_notes(lens_name, picture, reach_mm))


def _picture_notes(lens_name: str, picture: TracedPicture, reach_mm: float) -> Iterator[Note]:
    if reach_mm > picture.end_mm + TOLD_MM:
        text = (
            f"pictures nothing beyond {_end_words(picture)}, but a corner to be kept clear lies {reach_mm:.2f} mm out: "
            f"{WHY_IT_ENDS[picture.ends]}; check the table, or use a smaller picture or guide"
        )
        yield Note(lens_name, text, Severity.FAULT)
    elif picture.back_again_mm < reach_mm:
        text = (
            f"has a picture that folds back at {_end_words(picture)}: light from beyond lands as near as "
            f"{picture.back_again_mm:.2f} mm again, where no rim of its table stops it, and is not looked at"
        )
        stopped = "" if picture.rims_known else "; the rows without semi_diameter_mm may stop it"
        known = picture.rims_known
        yield Note(lens_name, text + stopped, Severity.FAULT if known else Severity.CAUTION, may_be_slip=not known)


def _end_words(picture: TracedPicture) -> str:
    return f"{picture.end_mm:.2f} mm from the axis ({math.degrees(picture.end_rad):.1f} deg)"


def _focus_notes(lens_name: str, glass: GlassTable, focus_mm: float) -> Iterator[Note]:
    if math.isinf(focus_mm):
        return
    moved_mm = traced_focus(glass, focus_mm).moved_mm
    text = (
        f"is focused at {focus_mm:g} mm by moving it as a whole, {moved_mm:.1f} mm; the box is taken to go with its front, "
        "the safe side, unless front_travel_mm says otherwise"
    )
    yield Note(lens_name, text, Severity.FACT)


def _length_notes(lens: Lens, glass: GlassTable) -> Iterator[Note]:
    """A table that is shorter than the lens puts the pupil too near the front; one that is longer has a row too many, or a slip."""
    own_mm = length_mm(glass, traced_focus(glass, math.inf))
    stated_mm = lens.front_to_sensor_mm
    if stated_mm is None or abs(stated_mm / own_mm - 1.0) * 100.0 <= LENGTH_PERCENT:
        return
    text = (
        f"front_to_sensor_mm = {stated_mm:g} is not what its table says, {own_mm:.2f} mm at infinity; the table's is used: "
        "check vertex_behind_front_mm"
    )
    if "front_to_sensor_mm" in lens.confirmed:
        yield Note(lens.name, text, Severity.CAUTION)
        return
    deeper = f", for the glass, and its pupil with it, may lie {stated_mm - own_mm:.1f} mm deeper in the barrel than it says"
    why = deeper if stated_mm > own_mm else ", and whether a row stands twice or is too thick"
    yield Note(lens.name, f"{text}{why}; {or_confirmed('front_to_sensor_mm')}", Severity.FAULT, doubts_light=True)


def _depth_notes(lens: Lens, glass: GlassTable, variants: Sequence[LensState]) -> Iterator[Note]:
    """A fault for a table so far ahead in its barrel that its pupil, or all of its first element, lies ahead of the front rim."""
    depth_mm = min((one.pupil.behind_front_mm for one in variants if isinstance(one.pupil, TracedPupil)), default=0.0)
    edge_mm = glass.vertex_behind_front_mm + _bulge_mm(glass.prescription.surfaces[0], lens.front_diameter_mm / 2)
    if "pupil_behind_front_mm" in lens.confirmed or (depth_mm >= 0.0 and edge_mm >= -RIM_AHEAD_MM):
        return
    if depth_mm < 0.0:
        what = f"the entrance pupil is {-depth_mm:.1f} mm ahead of the front rim, where no camera lens has it"
    else:
        ahead = f"vertex_behind_front_mm = {glass.vertex_behind_front_mm:g}"
        what = f"the edge of its first element is {-edge_mm:.1f} mm ahead of the front rim ({ahead}), where no barrel holds it"
    text = (
        f"its table lies so far ahead in the barrel that {what}: check the sign of vertex_behind_front_mm; "
        f"{or_confirmed('pupil_behind_front_mm')}"
    )
    yield Note(lens.name, text, Severity.FAULT, doubts_light=True)


def _stated_depth_notes(lens: Lens, glass: GlassTable) -> Iterator[Note]:
    """A fault for a measured pupil that lies elsewhere than where the table puts it: the table is of another lens or barrel."""
    stated = lens.pupil_behind_front_mm
    if stated is None or "pupil_behind_front_mm" in lens.confirmed:
        return
    own_mm = glass.vertex_behind_front_mm + first_order(glass.prescription).entrance_pupil_mm
    least_mm, most_mm = min(stated.horizontal[0], stated.vertical[0]), max(stated.horizontal[1], stated.vertical[1])
    if least_mm - PUPIL_OFF_MM <= own_mm <= most_mm + PUPIL_OFF_MM:
        return
    text = (
        f"pupil_behind_front_mm = {plain(least_mm if own_mm < least_mm else most_mm)} is not where its table has the pupil, "
        f"{own_mm:.1f} mm behind the front, and the table counts: check vertex_behind_front_mm = "
        f"{plain(glass.vertex_behind_front_mm)}; {or_confirmed('pupil_behind_front_mm')}"
    )
    yield Note(lens.name, text, Severity.FAULT, doubts_light=True)


def _bulge_mm(surface: Surface, largest_mm: float) -> float:
    """How far a surface stands ahead of its edge, which is no wider than the lens [mm]; 0 if not convex to the scene."""
    if not 0.0 < surface.radius_mm < math.inf:
        return 0.0
    half_mm = min(surface.semi_diameter_mm, largest_mm, surface.radius_mm)
    return surface.radius_mm - math.sqrt(surface.radius_mm**2 - half_mm**2)


def _stop_notes(lens: Lens, glass: GlassTable) -> Iterator[Note]:
    """A fault for a widest stop far from the table's own: the pupil would be a fraction of the lens's, or its rims too small.

    A caution where it is slower by less, as of a lens whose stop does not open all the way.
    """
    table = glass.prescription
    wide_open_mm = table.surfaces[table.stop_index].semi_diameter_mm
    if "f_number" in lens.confirmed or not math.isfinite(wide_open_mm):
        return
    own = _f_number_of(table, wide_open_mm)
    if own / FASTER_SHARE < lens.f_number < SLOWER_SHARE * own:
        if lens.f_number > CLOSED_SHARE * own:
            closed = (
                f"f_number = {lens.f_number:g} is its widest stop, but the stop of its table opens to f/{own:.1f}, where more of "
                "the box is in the light: nothing wider is looked at; is it another lens's?"
            )
            yield Note(lens.name, closed, Severity.CAUTION, may_be_slip=True)
        return
    halves = " (are its semi_diameter_mm halved once too often?)" if lens.f_number < own else ""
    text = (
        f"f_number = {lens.f_number:g}, the widest stop, speaks against its table, whose stop opens to f/{own:.1f}{halves}; "
        f"{or_confirmed('f_number')}"
    )
    yield Note(lens.name, text, Severity.FAULT, doubts_light=True)


def _rim_notes(lens: Lens, table: Prescription) -> Iterator[Note]:
    """A fault for the first rim that cuts the light on the axis: what it keeps from the corners, the box is not blamed for."""
    wide_open_mm = table.surfaces[table.stop_index].semi_diameter_mm
    own = _f_number_of(table, wide_open_mm) if math.isfinite(wide_open_mm) else 0.0
    f_number = max(lens.f_number, own)
    for place, surface in enumerate(table.surfaces):
        height_mm = abs(axial_height(table, place) * first_order(table).focal_mm) / (2.0 * f_number)
        if place != table.stop_index and surface.semi_diameter_mm < height_mm / FASTER_SHARE:
            text = (
                f"row {place + 1} of its table has a rim of {surface.semi_diameter_mm:.2g} mm, scaled, where the light of "
                f"f/{f_number:.3g} is {height_mm:.2g} mm high on the axis; put its semi_diameter_mm right, or leave it out"
            )
            yield Note(lens.name, text, Severity.FAULT, doubts_light=True)
            return


def _corner_rim_notes(
    lens_name: str, table: Prescription, variants: Sequence[LensState], guides: Sequence[Guide]
) -> Iterator[Note]:
    """A fault for a rim that the middle of a corner's light does not pass: the box is not blamed for what that keeps out."""
    fields_rad = [float(lens.picture.field_at(_reach_mm(guides))) for lens in variants if lens.picture is not None]
    if table.stop_index == 0 or not fields_rad:
        return
    angles = np.linspace(0.0, LARGEST_STOP_RAD, CHIEF_ANGLES)
    _, seen_rad, failed = trace_from_stop(table, angles)
    beyond = np.flatnonzero(~failed & (seen_rad >= min(fields_rad)))
    if len(beyond) == 0:
        return
    rays = rays_to_front(table, angles[beyond[:1]])
    if rays.rim_share[0] <= 1.0 + RIM_SLACK:
        return
    row = _tightest_row(table, angles[beyond[:1]])
    rim_mm = table.surfaces[row - 1].semi_diameter_mm
    text = (
        f"row {row} of its table has a rim of {rim_mm:.3g} mm, scaled, which the middle of a corner's light does not pass: the "
        "lens would darken that corner by itself and hide what the box takes there; put its semi_diameter_mm right, or leave it "
        "out"
    )
    yield Note(lens_name, text, Severity.FAULT, doubts_light=True)


def _tightest_row(table: Prescription, angle_rad: FloatArray) -> int:
    """The row ahead of the stop whose rim takes the most off a ray; others that it just touches may be right."""
    shares = [float(rays_to_front(_with_one_rim(table, place), angle_rad).rim_share[0]) for place in range(table.stop_index)]
    return int(np.argmax(shares)) + 1


def _with_one_rim(table: Prescription, only: int) -> Prescription:
    surfaces = [
        surface if place == only else replace(surface, semi_diameter_mm=math.inf) for place, surface in enumerate(table.surfaces)
    ]
    return replace(table, surfaces=tuple(surfaces))


def _reach_mm(guides: Sequence[Guide]) -> float:
    """How far from the axis the farthest corner of all guides lies [mm]."""
    return max((float(np.linalg.norm(guide.corners_mm(), axis=1).max()) for guide in guides), default=0.0)


def _lost_stop_notes(lens: Lens, glass: GlassTable) -> Iterator[Note]:
    """A fault for a stop on a surface of glass, in a table without a row for it, where the air beside it has very other pupils."""
    table = glass.prescription
    if "pupil_behind_front_mm" in lens.confirmed or any(_is_bare(table, place) for place in range(len(table.surfaces))):
        return
    places = [table.stop_index, *_across_air(table)]
    pupils_mm = [first_order(replace(table, stop_index=place)).entrance_pupil_mm for place in places]
    depths_mm = [glass.vertex_behind_front_mm + pupil_mm for pupil_mm in pupils_mm]
    if max(depths_mm) - min(depths_mm) <= PUPIL_OFF_MM:
        return
    text = (
        f"its table has no row of its own for the stop: stop_row = {table.stop_index + 1} is a surface of glass; in the air beside "
        f"it the entrance pupil may lie from {min(depths_mm):.1f} to {max(depths_mm):.1f} mm behind the front; add the stop's row, "
        'flat with air on both sides, or write confirmed = ["pupil_behind_front_mm"] in the lens if that surface is the stop'
    )
    yield Note(lens.name, text, Severity.FAULT, doubts_light=True)


def _index_ahead(table: Prescription, place: int) -> float:
    return table.surfaces[place - 1].index if place else 1.0


def _is_bare(table: Prescription, place: int) -> bool:
    """Whether a surface is flat with air on both sides, as only a stop is."""
    surface = table.surfaces[place]
    return math.isinf(surface.radius_mm) and surface.index == _index_ahead(table, place) == 1.0


def _across_air(table: Prescription) -> list[int]:
    """The surfaces at the far ends of the air beside the stop's."""
    stop = table.stop_index
    ahead = [stop - 1] if stop and _index_ahead(table, stop) == 1.0 else []
    behind = [stop + 1] if table.surfaces[stop].index == 1.0 and stop + 1 < len(table.surfaces) else []
    return [*ahead, *behind]


def _f_number_of(table: Prescription, wide_open_mm: float) -> float:
    """The f-number of a table's stop with this half diameter [mm]."""
    data = first_order(table)
    return abs(data.focal_mm) / (2.0 * wide_open_mm * data.pupil_scale)


def _unused_notes(lens: Lens) -> Iterator[Note]:
    stated = [key for key, plain in (("projection", "rectilinear"), ("distortion", (0.0, 0.0))) if getattr(lens, key) != plain]
    if stated:
        are = "is" if len(stated) == 1 else "are"
        text = f"{' and '.join(stated)} {are} not used: where its picture looks is traced through its table"
        yield Note(lens.name, text, Severity.CAUTION)
