"""Where a flag hangs and how far it stands from the lens axis, in words for the drawings."""

from __future__ import annotations

import numpy as np

from scenes.questions.make.allowed import Allowed
from scenes.questions.make.made_part import Made
from scenes.questions.make.shapes import PlateShape
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Flag


def is_extension(part: Made) -> bool:
    """Whether a blade hangs on a flag's far end."""
    assert isinstance(part.item, Flag)
    return part.item.extension is not None and part.name.endswith("extension")


def hinge_mm(part: Made) -> tuple[float, float]:
    """A blade's hinge edge, on its face toward the axis: ahead of the back plate's rear face, and from the box's middle [mm]."""
    assert isinstance(part.shape, PlateShape)
    low = float(part.shape.outer.points_mm[:, 1].min())
    x, y, z = part.place.points_to_frame(np.array([0.0, low, -part.thickness_mm / 2]))
    return float(z), float(max(abs(x), abs(y)))


def flag_note(part: Made, allowed: Allowed) -> str:
    """'Hinge edge 68 mm ahead of the back plate's rear face, 90.8 mm from the middle; stands 47.3 degrees from the axis.'."""
    flag = part.item
    assert isinstance(flag, Flag)
    if is_extension(part):
        assert flag.extension is not None
        angle = f"{plain(flag.extension.angle_deg)}°{allowed.words(part.key, 'angle_deg', more=('extension',))}"
        return f"Hinged to the flag's far end, {angle} from its line (positive: away from the lens axis)."
    ahead, out = (plain(round(value, 2)) for value in hinge_mm(part))
    angle = f"{plain(flag.angle_deg)}°{allowed.words(part.key, 'angle_deg')}"
    return (
        f"Hinge edge {ahead} mm ahead of the back plate's rear face, {out} mm from the box's middle; stands {angle} from the lens "
        "axis (0°: along it, 90°: straight out)."
    )
