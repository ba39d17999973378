"""Where imported meshes, and bodies in them, lie in a box: off all of it, or behind it, as if drawn about another origin."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from geometry.body import Part, Surface
from geometry.mesh_bodies import Bodies, bodies_of
from scenes.rig.box import flag_hinge_mm
from scenes.scene_file.tables.box import Box

SEATED_MM = 0.1  # what lies on a face is not behind it, nor ahead
LOOSE_MM = 100.0  # beyond all other parts: a bracket is no longer one
UNTOLD_REACH_MM = 200.0  # of a box that has no plate, hood or flag
FAR_BEHIND_MM = 300.0  # behind the plate, farther than any bracket of a box reaches back


def mesh_words(box: Box, parts: Sequence[Part]) -> Iterator[tuple[str, str]]:
    """A caution for each mesh that lies where nothing of the box is: drawn about another origin, moved, or turned."""
    for part in parts:
        if isinstance(part.body, Surface):
            bodies = bodies_of(part.body)
            told = [_off_words(box, part.body, bodies)]
            told += [_far_behind_words(box, bodies), _behind_plate_words(box, bodies)] if box.back else []
            yield from ((part.name, text) for text in told if text)


def _off_words(box: Box, surface: Surface, bodies: Bodies) -> str:
    """A mesh, or a body of it, that lies off all that the box has."""
    right_mm, up_mm = box.offset_mm
    off_mm = bodies.least(np.hypot(surface.vertices_mm[:, 0] + right_mm, surface.vertices_mm[:, 1] - up_mm))
    reach_mm = max(_reaches_mm(box), default=UNTOLD_REACH_MM) + LOOSE_MM
    if off_mm.max() <= reach_mm:
        return ""
    what = "its mesh lies" if off_mm.min() > reach_mm else "a body of its mesh lies"
    return (
        f"{what} {off_mm.max():.0f} mm off the middle of the box, where nothing of the box reaches, and can darken "
        "nothing there; its coordinates count from the centre of the back plate: export it about that, or move it"
    )


def _far_behind_words(box: Box, bodies: Bodies) -> str:
    """A body far behind the plate, in a file of which others are ahead of it."""
    ends_mm = bodies.bounds_mm[:, 1, 2] - box.ahead_mm
    if ends_mm.min() >= -FAR_BEHIND_MM or ends_mm.max() <= 0.0:
        return ""
    far = f"a body of its mesh lies {-ends_mm.min():.0f} mm behind the back plate"
    return f"{far}, where the camera is; has it been moved the wrong way?"


def _behind_plate_words(box: Box, bodies: Bodies) -> str:
    """A mesh that ends behind the plate and ahead of the lens front; what ends behind that is told by the shapes alone."""
    if not -SEATED_MM < bodies.bounds_mm[:, 1, 2].max() <= box.ahead_mm + SEATED_MM:
        return ""
    return (
        "its mesh lies wholly behind the rear face of the back plate; if it belongs ahead of that, export it with z toward the "
        "scene and y up, or turn it round"
    )


def _reaches_mm(box: Box) -> Iterator[float]:
    """How far the parts of a box reach from its middle: corners of plate and hood, flags laid out flat."""
    yield from (math.hypot(back.width_mm, back.height_mm) / 2 for back in box.back)
    yield from (math.hypot(*hood.front_mm) / 2 for hood in box.hood)
    for flag in box.flag:
        hinge_mm, _ = flag_hinge_mm(flag, box.hood)
        yield hinge_mm + flag.length_mm + (flag.extension.length_mm if flag.extension else 0.0)
