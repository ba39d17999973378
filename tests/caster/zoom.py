"""A zoom at a setting, between its rows or on one: a scene whose one lens has plain numbers, by the words of docs/scene-file.md.

"Between rows values run straight along the focal length, and straight along 1 / focus distance"; half fields straight along
atan(w / 2f), w as it would be without distortion. A box on rods stays behind where the front moves toward the scene. Nothing of
the program is used.
"""

from __future__ import annotations

from copy import deepcopy

import numpy as np

from tests.caster.lens_rays import undistorted


def at_setting(scene, focal_mm):
    """The scene with its one lens as it stands at a focal length and at the scene's first focus, its rows gone."""
    plain = deepcopy(scene)
    lens, box = plain["lens"][0], plain["box"]
    rows = lens.pop("state")
    near = nearness(scene["check"]["focus_mm"][0])
    camera = scene["camera"]
    half_diagonal = np.hypot(camera["width_mm"], camera["height_mm"]) / 2
    edge = undistorted(camera["width_mm"] / 2, lens.get("distortion", (0.0, 0.0)), half_diagonal)
    lens["focal_mm"] = focal_mm
    low, high = (between(rows, lambda row, k=k: np.ravel(row["pupil_behind_front_mm"])[-k], focal_mm, near) for k in (0, 1))
    lens["pupil_behind_front_mm"] = low if low == high else [low, high]
    travel = between(rows, lambda row: row.get("front_travel_mm"), focal_mm, near) or 0.0
    lens["front_to_sensor_mm"] = lens.get("front_to_sensor_mm", 0.0) + travel
    box["ahead_mm"] = box.get("ahead_mm", 0.0) - travel
    half = between(rows, lambda row: row.get("half_field_deg"), focal_mm, near, edge)
    if half is not None:
        lens["field_focal_mm"] = camera["width_mm"] / 2 / np.tan(np.radians(half))
    magnification = between(rows, lambda row: row.get("pupil_magnification"), focal_mm, near)
    if magnification is not None:
        lens["pupil_magnification"] = magnification
    return plain


def nearness(focus):
    """1 / focus distance, 0 at infinity."""
    return 0.0 if focus == "infinity" else 1.0 / focus


def between(rows, pick, focal_mm, near, edge=None):
    """A value of the rows at a setting: first along the focal length at each focus, then along 1 / focus; None if unstated."""

    def place(focal):
        return focal if edge is None else -np.arctan(edge / focal)

    found = []
    for at in sorted({nearness(row["focus_mm"]) for row in rows}):
        stating = [row for row in rows if nearness(row["focus_mm"]) == at and pick(row) is not None]
        pairs = sorted((place(row["focal_mm"]), pick(row)) for row in stating)
        if pairs:
            found.append((at, np.interp(place(focal_mm), *np.array(pairs).T)))
    return float(np.interp(near, *np.array(found).T)) if found else None
