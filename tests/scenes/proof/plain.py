"""Boxes and lenses of the program's own making, as a proof's verifier takes them; what it does not know is refused."""

import math

import numpy as np

from geometry.body import Block, Surface
from geometry.outline import Circle, Freeform, half_size_mm
from raytrace.box import GlassKind
from raytrace.optics.lens import WalkingPupil
from scenes.proof.errors import NotProvableError
from scenes.proof.plain_scene import ENDLESS_MM, Lens, Loop, Part, Plate, Setting


def setting_of(lens, guide, box):
    (x, y), w, h = guide.centre_mm, guide.half_width_mm, guide.half_height_mm
    rectangle = (-x - w, -x + w), (y - h, y + h)
    return Setting(_lens(lens), rectangle, tuple(map(_part, box.parts)), tuple(map(_plate, box.glasses)))


def _lens(lens):
    if lens.squeeze != 1.0 and lens.projection != "rectilinear":
        raise NotProvableError("an anamorphic fisheye")
    walk = lens.pupil.rows if isinstance(lens.pupil, WalkingPupil) else ()
    h, v = (lens.pupil.behind_front_mm,) * 2 if walk else lens.pupil.behind_front_mm
    focals = lens.field_focal_mm / lens.squeeze, lens.field_focal_mm
    more = {"projection": lens.projection, "distortion": lens.distortion, "half_diagonal": lens.half_diagonal_mm, "walk": walk}
    return Lens(((h, h), (v, v)), lens.pupil.half_size_mm, lens.object_z_mm, lens.front_radius_mm, lambda *_: focals, **more)


def _plate(glass):
    if glass.kind is GlassKind.CLOSE_UP:
        raise NotProvableError("a close-up lens")
    slab = glass.slab
    half = tuple(map(float, half_size_mm(slab.outline)))
    return Plate(slab.pose.rotation, slab.pose.origin_mm, slab.thickness_mm, glass.index, half, isinstance(slab.outline, Circle))


def _part(part):
    if isinstance(part.body, Surface) or (isinstance(part.body, Block) and len(part.body.corners_mm) > 8):
        raise NotProvableError("a mesh")
    if isinstance(part.body, Block):
        return Part(part.name, corners=part.body.corners_mm)
    if any(isinstance(loop.outline, Freeform) for loop in part.body.inner):
        raise NotProvableError("a drawn opening")
    reach = max(float(half_size_mm(loop.outline).max()) for loop in part.body.outer)
    loops = []
    for k, loop in enumerate(part.body.inner):
        w, h = map(float, half_size_mm(loop.outline))
        r = loop.outline.radius_mm if isinstance(loop.outline, Circle) else loop.outline.corner_mm
        paired = len(part.body.outer) == len(part.body.inner) and abs(part.body.outer[k].z_mm - loop.z_mm) < 1e-9
        outside = tuple(map(float, half_size_mm(part.body.outer[k].outline))) if paired else (reach, reach)
        is_round = paired and isinstance(part.body.outer[k].outline, Circle)
        centre = loop.pose.points_to_frame(np.array([0.0, 0.0, loop.z_mm]))
        if not part.body.bounded:
            outside, is_round = (ENDLESS_MM, ENDLESS_MM), True
        loops.append(Loop(loop.pose.rotation, centre, (w, h, r), outside, is_round))
    return Part(part.name, tuple(loops), endless=not part.body.bounded)


def proof_data(proof):
    """A proof as it is read from a file, but for rounding."""
    room = math.floor(proof.room_mm * 1000.0 - 0.5) / 1000.0
    parts = [{"part": part.part, "rows": part.rows.tolist()} for part in proof.parts]
    return {"start_mm": proof.start_mm, "end_mm": proof.end_mm, "cuts_mm": list(proof.cuts_mm), "room_mm": room, "parts": parts}
