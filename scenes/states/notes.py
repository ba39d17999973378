"""Facts about a lens worth telling before any ray is traced: what is assumed of it, where it is looked at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from geometry.notes import Note, Severity
from raytrace.optics.lens import LensState
from raytrace.optics.prescription_pupil import stop_semi_diameter_mm
from scenes.scene_file.resources import GlassTable, Resources
from scenes.scene_file.tables.box import Box
from scenes.scene_file.tables.lens import Lens, focal_lengths, nearest_focus_mm, stated_depths
from scenes.scene_file.tables.scene import can_focus
from scenes.states.clear_rule import WALK_MM, walk_ends_deg

AS_WIDE = "as wide"
NEAREST_BY_ROW = "close_focus_mm is not given, so the nearest focus looked at is that of its nearest state row,"
ROUND_SHARE = 0.9  # of its height: a pupil about as wide is that of a lens that squeezes behind its stop
STOP_SLACK = 1.005  # a stop opened less than this beyond its own table is the table's rounding


def lens_facts(lens: Lens, glass: GlassTable | None, widest_f_number: float) -> tuple[Note, ...]:
    """Notes on a lens alone: what its pupil rests on, where a zoom is looked at."""
    return tuple(_pupil_notes(lens, glass, widest_f_number))


def _pupil_notes(lens: Lens, glass: GlassTable | None, widest_f_number: float) -> Iterator[Note]:
    if glass is not None:
        own = glass.prescription.surfaces[glass.prescription.stop_index].semi_diameter_mm
        if stop_semi_diameter_mm(glass.prescription, widest_f_number) > own * STOP_SLACK:
            text = f"f/{widest_f_number:g} opens the stop wider than its table does; the wider beam is used, the safe side"
            yield Note(lens.name, text, Severity.FACT)
    elif lens.pupil_walk is None:
        text = (
            f"its pupil is taken as fixed; real wide lenses' pupils walk, by up to {WALK_MM:g} mm at a box's edge: "
            "give pupil_walk, or keep that much clearance; with less a state is called tight"
        )
        yield Note(lens.name, text, Severity.FACT)
    depths = stated_depths(lens) if glass is None and lens.squeeze != 1.0 and lens.pupil_width_factor < ROUND_SHARE else ()
    if depths and all(depth.is_round for depth in depths):
        text = (
            f"gives one pupil depth for both directions, {max(depth.vertical[1] for depth in depths):g} mm, with squeeze = "
            f"{lens.squeeze:g}; a lens that squeezes at its front has its vertical pupil deeper than its horizontal one, and sees "
            "more upright than is taken: give pupil_behind_front_mm = { horizontal = ..., vertical = ... }, or pupil_width_factor "
            "= 1 where it squeezes behind its stop"
        )
        yield Note(lens.name, text, Severity.CAUTION, may_be_slip=True)


def file_notes(box: Box, resources: Resources) -> tuple[Note, ...]:
    """What in drawings and meshes may speak against how they were read: a smaller cut-out, a file that is not whole."""
    drawn = [(mask.name or "mask", resources.outlines[mask.outline].doubts) for mask in box.mask if mask.outline is not None]
    built = [(solid.name or f"solid {number}", resources.meshes[solid.file].doubts) for number, solid in enumerate(box.solid, 1)]
    return tuple(Note(name, text, Severity.CAUTION, may_be_slip=True) for name, doubts in (*drawn, *built) for text in doubts)


def field_words(focus: str, percent: tuple[float, float] | None) -> str:
    """That a field at close focus is a guess, and by how much wider or narrower than at infinity; '' where it is none.

    percent is (across, upright); one word does for both where they round to the same.
    """
    return "" if percent is None else f"field at {focus}: a guess, {wider_words(percent)}; half_field_deg replaces it"


def wider_words(percent: tuple[float, float]) -> str:
    """How much wider than at infinity a field is taken to be, across and upright: '28 % wider than at infinity'."""
    across, upright = (_wider_words(way) for way in percent)
    ways = across if across == upright else f"across {across}, upright {upright}"
    than = "as" if upright == AS_WIDE else "than"
    return f"{ways} {than} at infinity"


def _wider_words(percent: float) -> str:
    told = f"{abs(percent):.0f}"
    return AS_WIDE if told == "0" else f"{told} % {'wider' if percent > 0 else 'narrower'}"


def field_notes(lens_name: str, focus_mm: float, percent: tuple[float, float] | None) -> tuple[Note, ...]:
    """What a state at close focus rests on."""
    words = field_words(f"{focus_mm:g} mm", percent)
    return (Note(lens_name, words, Severity.FACT),) if words else ()


def walk_notes(lens_name: str, variants: Sequence[LensState]) -> tuple[Note, ...]:
    """That a walk's table ends short of the picture's corner."""
    ends = [end for lens in variants if (end := walk_ends_deg(lens)) is not None]
    text = (
        f"its pupil_walk ends at {min(ends):g} deg, well short of the picture's corner at this focus: beyond, its pupil is as "
        f"unknown as a fixed one, and needs {WALK_MM:g} mm of room; add rows"
        if ends
        else ""
    )
    return (Note(lens_name, text, Severity.CAUTION, may_be_slip=True),) if text else ()


def nearest_focus_notes(lens: Lens, *, focus_is_named: bool) -> tuple[Note, ...]:
    """That a lens's nearest focus is not looked at, or taken from its rows, where nobody chose which to look at."""
    near = nearest_focus_mm(lens)
    if focus_is_named or near is None:
        return ()
    if all(can_focus(lens, focal_mm, near) for focal_mm in focal_lengths(lens)):
        return (Note(lens.name, f"{NEAREST_BY_ROW} {near:g} mm", Severity.FACT),) if lens.close_focus_mm is None else ()
    if lens.front_to_sensor_mm is None:
        why = "front_to_sensor_mm is not given: measure it from front rim to image plane"
    else:
        why = "it is nearer than 4 focal lengths: give half_field_deg in state rows"
    return (Note(lens.name, f"its nearest focus, {near:g} mm, is not looked at: {why}", Severity.CAUTION, may_be_slip=True),)
