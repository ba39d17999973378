"""The one frame, and how places in it are turned, moved and named.

Right-handed, mm, origin at the centre of the lens front rim: +z toward the scene, +y up, hence +x to the operator's LEFT.
(x right with z forward and y up would be left-handed and would export mirrored parts.)
People never meet an x sign: they say top, bottom, left and right as the operator sees them from behind the camera.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

OPERATOR_RIGHT = np.array([-1.0, 0.0, 0.0])  # the frame's x runs to the operator's left
UP = np.array([0.0, 1.0, 0.0])
AHEAD = np.array([0.0, 0.0, 1.0])


class Side(StrEnum):
    """A side of the box or of the picture, as the operator sees it from behind the camera."""

    TOP = "top"
    BOTTOM = "bottom"
    LEFT = "left"
    RIGHT = "right"


OUTWARD = {
    Side.TOP: UP,
    Side.BOTTOM: -UP,
    Side.RIGHT: OPERATOR_RIGHT,
    Side.LEFT: -OPERATOR_RIGHT,
}


def right_up_to_frame(right_up: ArrayLike) -> NDArray[np.float64]:
    """Frame (x, y) of values given as (right, up): the only place where a picture's right becomes the frame's -x.

    Shape (..., 2) in, (..., 2) out; mm, slopes or any other vector. It is its own inverse.
    """
    values = np.asarray(right_up, dtype=np.float64)
    return values * np.array([-1.0, 1.0])


def frame_to_right_up(xy: ArrayLike) -> NDArray[np.float64]:
    """(right, up) of frame (x, y), shape (..., 2)."""
    return right_up_to_frame(xy)


def where_in_words(right: float, up: float, centre_share: float = 0.15) -> str:
    """Where a place of the picture lies, in the operator's words: 'top right', 'left', 'centre'.

    `right` and `up` run from -1 to 1 across the picture; within `centre_share` of the middle an axis is not named.
    """
    vertical = "" if abs(up) <= centre_share else ("top" if up > 0 else "bottom")
    horizontal = "" if abs(right) <= centre_share else ("right" if right > 0 else "left")
    return " ".join(word for word in (vertical, horizontal) if word) or "centre"


def mirrored_words(where: str) -> str:
    """The place that lies as far to the other side, in words as `where_in_words` says it."""
    other = {"left": "right", "right": "left"}
    return " ".join(other.get(word, word) for word in where.split())


def ahead_in_words(ahead_mm: float, of: str = "", form: str = ".1f") -> str:
    """A place along the axis as the operator says it: '31.0 mm ahead of the lens front', '2.5 mm behind the lens front'."""
    told = format(abs(ahead_mm), form)
    if ahead_mm < 0.0 and float(told) > 0.0:
        return f"{told} mm behind {of}".rstrip()
    return f"{told} mm ahead of {of}" if of else f"{told} mm ahead"


def place_in_words(place_mm: ArrayLike) -> str:
    """A place of the frame as the operator says it: '80 mm left, 60 mm up and 3 mm ahead of the lens front's centre'."""
    x, y, z = np.asarray(place_mm, dtype=np.float64)
    right, up = frame_to_right_up((x, y))
    sides = ((right, "right", "left"), (up, "up", "down"), (z, "ahead", "behind"))
    told = [f"{abs(round(mm, 1)):g} mm {more if round(mm, 1) >= 0.0 else less}" for mm, more, less in sides]
    return f"{told[0]}, {told[1]} and {told[2]}{' of' if z >= -0.05 else ''} the lens front's centre"


def rotation_about_x(tilt_deg: float) -> NDArray[np.float64]:
    """Rotation matrix of a tilt: positive when the top edge leans toward the scene (y turns toward z)."""
    c, s = np.cos(np.radians(tilt_deg)), np.sin(np.radians(tilt_deg))
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def rotation_about_z(turn_deg: float) -> NDArray[np.float64]:
    """Rotation matrix of a turn in the tray: positive clockwise as the operator sees it (y turns toward -x, his right)."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def light_direction(azimuth_deg: float, elevation_deg: float) -> NDArray[np.float64]:
    """Unit vector from the lens toward a light.

    Azimuth 0 straight ahead, positive to the operator's right, 180 behind; elevation positive above.
    """
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    right, up = np.cos(elevation) * np.sin(azimuth), np.sin(elevation)
    x, y = right_up_to_frame([right, up])
    return np.array([x, y, np.cos(elevation) * np.cos(azimuth)])


@dataclass(frozen=True, slots=True)
class Pose:
    """Where a part sits: `rotation` (3, 3) turns part coordinates into the frame's, `origin_mm` (3,) is its centre there."""

    rotation: NDArray[np.float64]
    origin_mm: NDArray[np.float64]

    def points_to_frame(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Frame coordinates of part points, shape (..., 3) [mm]: points turn and shift."""
        return np.asarray(points_mm, dtype=np.float64) @ self.rotation.T + self.origin_mm

    def points_to_part(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Part coordinates of frame points, shape (..., 3) [mm]."""
        return (np.asarray(points_mm, dtype=np.float64) - self.origin_mm) @ self.rotation

    def vectors_to_frame(self, vectors: ArrayLike) -> NDArray[np.float64]:
        """Frame components of part vectors, shape (..., 3): vectors only turn."""
        return np.asarray(vectors, dtype=np.float64) @ self.rotation.T

    def vectors_to_part(self, vectors: ArrayLike) -> NDArray[np.float64]:
        """Part components of frame vectors, shape (..., 3)."""
        return np.asarray(vectors, dtype=np.float64) @ self.rotation

    def then(self, outer: Pose) -> Pose:
        """This pose, followed by `outer`: what happens to a part when the box that carries it is moved."""
        return Pose(outer.rotation @ self.rotation, outer.points_to_frame(self.origin_mm))


def pose(*, right_mm: float = 0.0, up_mm: float = 0.0, ahead_mm: float = 0.0, tilt_deg: float = 0.0, turn_deg: float = 0.0) -> Pose:
    """Pose of a part that is turned about its own centre, then tilted, then moved."""
    x, y = right_up_to_frame([right_mm, up_mm])
    return Pose(rotation_about_x(tilt_deg) @ rotation_about_z(turn_deg), np.array([x, y, ahead_mm]))
