"""What else would make the stills look as they do, with all values as the scene has them: a crop, another focal length or lens.

The shadow of one edge grows alike with a nearer box, a shallower pupil, a longer lens and a crop: then no value is to be believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from geometry.errors import GeometryError
from scenes.questions.compare.fit import GOOD_SHARE, Fit, finders, fit_from, start_cost
from scenes.questions.compare.registration import AS_GOOD, LEAST_PERCENT
from scenes.questions.compare.shoot import Notes
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.tolerance_paths import PathError
from scenes.states.state import plan_state
from scenes.unknowns.model import Model, Seen
from scenes.unknowns.unknown import Unknown, View, framing, nominal_values
from scenes.unknowns.usual import unknowns_at

SUSPECT_MM = 1.0  # mm or degrees: who moves no value by more needs no other explanation
FOCAL_SHARE = 0.04  # the focal length has to be off by this much to be another lens
SIZES = (97.0, 93.0, 88.0, 80.0)  # percent that a crop is looked for from
FOCALS = (0.85, 0.93, 1.07, 1.18)
SLACK_PERCENT = 1.0  # that a crop may seem to reach beyond the sensor


@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """Another explanation: stills cropped to so many percent, or a lens of this focal length; its cost by that of the fit."""

    size: float | None = None
    focal_mm: float | None = None
    cost_share: float
    rms: float

    @property
    def words(self) -> str:
        """'they show only about 95 % of what `covers` says'."""
        if self.size is not None:
            return f"they show only about {self.size:.0f} % of what `covers` says, cropped or scaled"
        return f"they are of a lens of about {self.focal_mm:.3g} mm"


def is_suspect(fit: Fit) -> bool:
    """Whether a fit that leaves little over moves some value so far that another explanation has to be looked for."""
    moved = np.abs(fit.values - nominal_values(fit.model.unknowns)).max(initial=0.0)
    return bool(moved > SUSPECT_MM and fit.rms <= 2 * GOOD_SHARE)


def rivals_of(notes: Notes, fit: Fit) -> tuple[Rival, ...]:
    """Other explanations that are as good as a fit."""
    some = finders(fit.model.stills)
    here = start_cost(Model(fit.model.unknowns, some), fit.values)
    return tuple(one for one in (_crop(some, here), _focal(notes, some, here)) if one is not None)


def _crop(some: Sequence[Seen], here: float) -> Rival | None:
    """Stills that show less than was noted, but no more than the sensor records."""
    found = _best(framing(), some, [(size, 0.0, 0.0) for size in SIZES])
    size, right, up = (float(value) for value in found.values)
    fits = all(_within_sensor(one, size, right, up) for one in some)
    off = size < 100.0 - LEAST_PERCENT
    return Rival(size=size, cost_share=found.cost / here, rms=found.rms) if off and fits and found.cost <= AS_GOOD * here else None


def _within_sensor(one: Seen, size: float, right: float, up: float) -> bool:
    """Whether a part of the area of a still lies on the sensor."""
    area, grid = one.shot.area, one.shot.state.grid
    middle = (area.offset_mm[0] + area.width_mm * right / 100, area.offset_mm[1] + area.width_mm * up / 100)
    halves = ((area.width_mm, grid.width_mm), (area.height_mm, grid.height_mm))
    over = [
        abs(middle[k] - grid.offset_mm[k]) + shown * size / 200 - (0.5 + SLACK_PERCENT / 100) * whole
        for k, (shown, whole) in enumerate(halves)
    ]
    return max(over) <= 0.0


def _focal(notes: Notes, some: Sequence[Seen], here: float) -> Rival | None:
    scene, path = some[0].shot.state.scene, f"lens[{notes.lens.name}].focal_mm"
    try:
        unknowns = unknowns_at(scene, path)
    except PathError:  # a zoom, or a lens traced through its glass
        return None
    nominal = unknowns[0].nominal
    found = _best(unknowns, some, [(factor * nominal,) for factor in FOCALS])
    focal = float(found.values[0])
    if abs(focal - nominal) <= FOCAL_SHARE * nominal or found.cost > AS_GOOD * here:
        return None
    return Rival(focal_mm=focal, cost_share=found.cost / here, rms=found.rms)


def _best(unknowns: tuple[Unknown, ...], some: Sequence[Seen], starts: Sequence[tuple[float, ...]]) -> Fit:
    model = Model(unknowns, tuple(replace(one, radial=False) for one in some), rough=True)
    start = min(starts, key=lambda values: start_cost(model, values))
    return fit_from(replace(model, rough=False), fit_from(model, start).values)


def lens_as_good(notes: Notes, fit: Fit) -> tuple[Lens, float] | None:
    """Another lens of the scene that explains the stills as well, with all else as written, and what it leaves over (rms)."""
    some = finders(fit.model.stills)
    here = start_cost(Model(fit.model.unknowns, some), fit.values)
    for lens in some[0].shot.state.scene.lens:
        if lens.name == notes.lens.name:
            continue
        try:
            tried = fit_from(Model((), tuple(replace(one, shot=with_lens(one.shot, lens)) for one in some)), ())
        except GeometryError:
            continue
        if tried.cost <= AS_GOOD * here:
            return lens, tried.rms
    return None


def with_lens(shot: View, lens: Lens) -> View:
    """The same view with another lens, at its own focal length; GeometryError where it cannot be focused or fitted so."""
    state = shot.state
    setting = replace(shot.setting, focal_mm=lens.focal_mm)
    return replace(shot, state=plan_state(state.scene, lens, state.resources, setting, grid=state.grid, guides=state.guides))
