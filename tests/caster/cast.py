"""What share of a lens's light gets past the box, by counting rays: `light(...)`; a whole scene of one state: `Case`."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.caster.glass_rays import glass_lens
from tests.caster.kernel import stopped_by
from tests.caster.lens_rays import lens_of
from tests.caster.scene_parts import guides_of, parts_of
from tests.caster.zoom import at_setting

RIM = 0.99999  # of the pupil's radius, where the outermost rays go through


@dataclass(frozen=True, slots=True)
class Case:
    """A parsed scene of one lens in one state, with what its files hold; focal_mm: where a zoom stands."""

    scene: dict
    outlines: dict
    meshes: dict
    tables: dict = field(default_factory=dict)
    focal_mm: float | None = None

    def standing(self):
        """The scene with plain numbers for its lens: a zoom's rows are read at its setting."""
        return self.scene if self.focal_mm is None else at_setting(self.scene, self.focal_mm)

    def lenses(self):
        """The lens, at each of five depths where its pupil is known within bounds only."""
        scene = self.standing()
        (lens,) = scene["lens"]
        if "prescription" in lens:
            return [glass_lens(lens, self.tables[lens["prescription"]], lens["f_number"], scene["check"]["focus_mm"][0])]
        told = lens.get("pupil_behind_front_mm")
        depths = np.linspace(*told, 5) if isinstance(told, list) else [None]
        return [lens_of(scene, depth=depth) for depth in depths]

    def parts(self):
        """As `parts_of`."""
        return parts_of(self.standing(), self.outlines, self.meshes)

    def guides(self):
        """As `guides_of`."""
        return guides_of(self.scene)

    def lost(self, points, disc):
        """The share (N,) of the light of each point that is lost, at the worst pupil depth."""
        parts, triangles = self.parts()
        worst = np.zeros(len(points))
        for lens in self.lenses():
            origins, ways, which = lens.rays(points, disc)
            stopped = stopped_by(origins, ways, parts, triangles, lens.object_z) >= 0
            there = np.bincount(which, minlength=len(points))
            gone = np.bincount(which, weights=stopped, minlength=len(points))
            worst = np.maximum(worst, np.where(there > 0, gone / np.maximum(there, 1), 0.0))
        return worst


def disc(count, *, rim=0):
    """Points of the unit disc: a sunflower (count) and so many on its very rim."""
    k = np.arange(count)
    radius, angle = np.sqrt((k + 0.5) / count), 2.399963229728653 * k
    turn = 2 * np.pi * np.arange(rim) / max(rim, 1)
    inner = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    return np.concatenate([inner, RIM * np.column_stack([np.cos(turn), np.sin(turn)])])


def rim_points(guide, scale, count):
    """Points (4 * count, 2) along the rim of a guide about its own centre."""
    centre, half = guide
    t, one = np.linspace(-1, 1, count), np.ones(count)
    sides = [np.column_stack(side) for side in ((t, one), (t, -one), (one, t), (-one, t))]
    return centre + scale * half * np.concatenate(sides)


def inside_points(guide, scale, count, rng):
    """Random points of a guide."""
    centre, half = guide
    return centre + scale * half * rng.uniform(-1, 1, (count, 2))
