"""Whether the beam gets out of a lens's own front; where it does not, no such lens is made, or its front cuts the beam."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geometry.body import Part
from geometry.fixtures import front_ring
from geometry.notes import Note, Severity
from raytrace.beam.beam import edge_points
from raytrace.beam.rays import rim_disc
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState, pencils_for
from raytrace.optics.pencil import Pencils
from scenes.scene_file.tables.lens import Lens, focal_lengths
from scenes.states.clear_rule import FARTHEST_DEG

RING_MM = 1.0  # wall of the ring that stands for a lens's own front
TOO_SMALL = "own front is too small"
PLACES = np.arange(32) / 8  # of a guide's edge: the corners, where the beam reaches farthest, and some between
CHORDS = 48  # round a pupil: they stand off it by less than is told
LEAST_LEFT = 0.6  # radii of the pupil that the front may cut past its middle: a seventh of its light is then left (circle segment)
PLACE_SHARE = 0.1  # of where a pencil crosses the front: a pupil measured on the axis is out by that off it
TOLD_MM = 0.1  # lens data are no better


def own_front(wide_mm: float) -> Part:
    """A lens's own front as a ring that the beam has to get out of."""
    return front_ring(outside_mm=wide_mm + RING_MM, glass_mm=wide_mm, name="lens front")


def front_reaches_mm(variants: Sequence[LensState], guides: Sequence[Guide]) -> tuple[float, float]:
    """How far from the axis the guides' light crosses the front rim: all of it, and the middles of its pencils [mm].

    As if the front's glass cut nothing. The most over guides and pupil depths; 0 where a lens pictures nothing of a guide.
    """
    every = [0.0]
    middles = [0.0]
    for lens in variants:
        for guide in guides:
            pencils = pencils_for(lens, edge_points(guide, PLACES))
            every.append(_farthest_mm(pencils, rim_disc(pencils, CHORDS)))
            middles.append(_farthest_mm(pencils, np.zeros((len(pencils), 1, 2))))
    return max(every), max(middles)


def _farthest_mm(pencils: Pencils, disc: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
    """How far out rays through points (N, K, 2) of the unit pupil cross the front rim's plane; those along that plane left out."""
    steep = np.hypot(pencils.slope[:, 0], pencils.slope[:, 1]) > np.tan(np.radians(FARTHEST_DEG))
    at = pencils.at_plane_mm(pencils.crossing_mm(disc), 0.0)[pencils.valid & ~steep]
    return float(np.hypot(at[..., 0], at[..., 1]).max(initial=0.0))


def front_notes(
    lens: Lens, variants: Sequence[LensState], guides: Sequence[Guide], *, field_is_guess: bool, guess_share: float = 1.0
) -> tuple[Note, ...]:
    """A caution where a lens as it is stated does not get its own light out of its front; a fault where hardly any gets out.

    A stated front glass may cut pencils, as fast lenses' fronts do; but their middles come from the middle of the stop, and what
    the picture's edge is lit by comes past the glass in every lens that is made. A barrel is wider than the glass in it.
    guess_share is how much wider than at infinity the field is taken to be by guess, of its tangent: a fault does not rest on that.
    """
    every_mm, middles_mm = front_reaches_mm(variants, guides)
    if lens.front_glass_mm is None:
        reach_mm, what, wide_mm, key = every_mm, "the beam", lens.front_diameter_mm, "front_diameter_mm"
        way_out = ", or its front cuts the beam: measure, or give front_glass_mm"
    else:
        reach_mm, what, wide_mm, key = (
            middles_mm,
            "the middle of the light of its picture's corners",
            lens.front_glass_mm,
            "front_glass_mm",
        )
        way_out = ": measure them"
    if reach_mm <= wide_mm / 2 + TOLD_MM:
        return ()
    if lens.front_glass_mm is not None and "front_glass_mm" not in lens.confirmed:
        found = _glass_fault(lens, middles_mm / max(guess_share, 1.0), lens.front_glass_mm)
        if found is not None:
            return (found,)
    guess = " (at this focus a guess, which half_field_deg replaces)" if field_is_guess else ""
    text = (
        f"its {TOO_SMALL}: {what} reaches {reach_mm:.1f} mm from the axis at the front rim, {key} / 2 is {wide_mm / 2:g} mm; "
        f"that front, the pupil or the field{guess} is wrong{way_out}"
    )
    return (Note(lens.name, text, Severity.CAUTION, may_be_slip=True, said_again=TOO_SMALL, size=reach_mm),)


def _glass_fault(lens: Lens, middles_mm: float, glass_mm: float) -> Note | None:
    """A front glass that lets next to no light of the picture's corners out: what the lens keeps dark hides what the box takes.

    One that cuts the middle of the pencils and fits twice into the barrel is a radius written as a diameter.
    """
    cut_mm = LEAST_LEFT * max(focal_lengths(lens)) / lens.f_number / 2
    is_radius = middles_mm > glass_mm / 2 + TOLD_MM and 2 * glass_mm <= lens.front_diameter_mm
    if not is_radius and middles_mm * (1.0 - PLACE_SHARE) <= glass_mm / 2 + cut_mm:
        return None
    radius = " (is it the radius?)" if is_radius else ""
    text = (
        f"front_glass_mm = {glass_mm:g}{radius} does not let out the light of its own picture's corners, whose pencils cross the "
        f"front rim {middles_mm:.1f} mm from the axis by pupil_behind_front_mm, focal_mm and the picture's size: one is wrong; put "
        'it right, or write confirmed = ["front_glass_mm"] in the lens if you have checked it'
    )
    return Note(lens.name, text, Severity.FAULT, doubts_light=True, said_again="front_glass_mm", size=middles_mm)
