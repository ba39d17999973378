"""What the stills say: as predicted, other values, another lens; which way up they are; what the scene does not have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from geometry.errors import GeometryError
from scenes.questions.compare.fit import (
    GOOD_SHARE,
    Fit,
    FitWithErrors,
    best_fit,
    coarse_fit,
    finders,
    fit_from,
    start_cost,
    with_errors,
)
from scenes.questions.compare.measure import COARSE
from scenes.questions.compare.next_shot import NextShot
from scenes.questions.compare.orientation import ALIKE_COST, alike_orientations, best_orientations
from scenes.questions.compare.registration import Framing, framing_of, insist_on_pairs, reframed
from scenes.questions.compare.rivals import FOCAL_SHARE, Rival, is_suspect, lens_as_good, rivals_of, with_lens
from scenes.questions.compare.shoot import Notes, Shot
from scenes.questions.compare.solve import cost_of
from scenes.questions.compare.surprises import Surprise, surprises
from scenes.scene_file.tables.tolerance_paths import PathError, spots_of
from scenes.stills.cells import ORIENTATIONS, Measured, oriented
from scenes.unknowns.model import Kept, Model, Seen, seen, seen_coarser
from scenes.unknowns.telling import TOLD_SIGMA
from scenes.unknowns.unknown import Unknown, nominal_values

BAD_SHARE = 0.03  # rms: it does not, whatever the unknown values
UNEXPLAINED_SHARE = 0.01  # rms: too much for "as predicted", whatever the values
MUCH_BETTER = 0.5  # of the cost: another lens is believed
FOCAL_SIGMAS = 5.0  # the focal length has to be off by this much
FOLLOWED = 2  # of the best starts
FOCAL_STARTS = (0.72, 0.85, 1.0, 1.18, 1.4)
NOTHING_MM = 0.5  # mm or degrees: less is what a tape measure reads
COST_GAIN = 1.1
ROUNDS = 2


class Verdict(StrEnum):
    """What the stills come to; the words of fit.json."""

    FIT = "fit"
    NOTHING = "nothing differs"
    OTHER_LENS = "another lens"


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherLens:
    """A lens that explains the stills better: its focal length as fitted, or its name where the scene has it."""

    focal_mm: float | None
    name: str | None
    rms: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """All that was found: the fit, the stills' orientations, surprises, and the nominal prediction on the same cells."""

    notes: Notes
    verdict: Verdict
    fit: FitWithErrors
    nominal: Fit
    orientations: tuple[str, ...]
    surprises: tuple[Surprise, ...]
    left_out: tuple[NDArray[np.bool_], ...]
    other: OtherLens | None
    framing: Framing | None
    alike: tuple[tuple[str, NDArray[np.float64]], ...] = ()
    next_shots: tuple[NextShot, ...] = ()
    rivals: tuple[Rival, ...] = ()

    @property
    def told(self) -> tuple[bool, ...]:
        """Which unknown values the stills tell."""
        return tuple(bool(sigma <= TOLD_SIGMA) for sigma in self.sigmas)

    @property
    def values(self) -> NDArray[np.float64]:
        """The unknown values: as written where nothing differs and one moved by more than its error, for then chance moved it."""
        nominal = nominal_values(self.notes.unknowns)
        return np.where(self._by_chance, nominal, self.fit.values)

    @property
    def sigmas(self) -> NDArray[np.float64]:
        """Their standard errors, no smaller than what chance moved them by, or what something else may have."""
        unsure = self._by_chance | (self._moved > NOTHING_MM) if self.rivals else self._by_chance
        return np.where(unsure, np.maximum(self.fit.sigmas, self._moved), self.fit.sigmas)

    @property
    def _moved(self) -> NDArray[np.float64]:
        return np.abs(self.fit.values - nominal_values(self.notes.unknowns))

    @property
    def _by_chance(self) -> NDArray[np.bool_]:
        return (self._moved > NOTHING_MM) & (self.verdict is Verdict.NOTHING)


def compare(notes: Notes, measured: Sequence[Measured]) -> Comparison:
    """Lay the stills over the scene."""
    stills = [seen(shot, one) for shot, one in zip(notes.shots, measured, strict=True)]
    kept: Kept = {}
    fit = best_fit(notes.unknowns, stills, coarse_fit(notes.unknowns, stills, kept).values)
    orientations = tuple(ORIENTATIONS[0] for _ in stills)
    if fit.rms > GOOD_SHARE:
        way_up = best_orientations(notes, measured, fit, kept)
        orientations = way_up.orientations
        if set(orientations) != {ORIENTATIONS[0]}:
            stills = _turned(notes, measured, orientations)
            fit = best_fit(notes.unknowns, stills, coarse_fit(notes.unknowns, stills, kept).values)
        elif way_up.near is not None:
            fit = min(fit, best_fit(notes.unknowns, stills, way_up.near), key=lambda one: one.cost)
    poor = fit.rms > GOOD_SHARE
    framing = framing_of(notes, fit) if poor else None
    judged = _judged(notes, stills, fit, framing, _other_lens(notes, fit, hopeless=False) if poor else None)
    if framing is None and judged.verdict is Verdict.FIT:
        framing = framing_of(notes, judged.fit)
        if framing is not None and not framing.is_as_noted:
            judged = _judged(notes, stills, judged.fit, framing, None)
    rivals: tuple[Rival, ...] = ()
    if judged.verdict is Verdict.FIT and (framing is None or framing.is_as_noted) and is_suspect(judged.fit):
        if (named := lens_as_good(notes, judged.fit)) is not None:
            judged = _judged(notes, stills, fit, None, OtherLens(focal_mm=named[0].focal_mm, name=named[0].name, rms=named[1]))
        else:
            rivals = rivals_of(notes, judged.fit)
    upright = set(orientations) == {ORIENTATIONS[0]} and judged.verdict is Verdict.FIT and judged.fit.rms <= GOOD_SHARE
    shown = replace(notes, shots=put_right(notes, judged.fit))
    return Comparison(
        notes=notes,
        verdict=judged.verdict,
        fit=with_errors(judged.fit),
        nominal=judged.nominal,
        orientations=orientations,
        surprises=judged.surprises,
        left_out=judged.left_out,
        other=judged.other,
        framing=framing,
        rivals=rivals,
        alike=alike_orientations(shown, measured, judged.fit, kept) if upright else (),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """What stills of a framing come to."""

    fit: Fit
    nominal: Fit
    surprises: tuple[Surprise, ...]
    left_out: tuple[NDArray[np.bool_], ...]
    other: OtherLens | None
    verdict: Verdict


def _judged(notes: Notes, stills: Sequence[Seen], fit: Fit, framing: Framing | None, other: OtherLens | None) -> _Judged:
    """The verdict on stills: framing put right where it is wrong beyond doubt, surprises left out, another lens looked for."""
    is_cropped = False
    if framing is not None and other is None:
        insist_on_pairs(framing)
        is_cropped = framing.is_cropped
        if is_cropped:
            stills = reframed(stills, framing)
            fit = best_fit(notes.unknowns, stills, fit.values)
    whole = fit
    fit, found, left_out = _without_surprises(notes.unknowns, stills, fit)
    if other is None and fit.rms > GOOD_SHARE:
        other = _other_lens(notes, fit, hopeless=bool(notes.unknowns))
    if other is not None:
        fit, found, left_out = whole, (), tuple(np.zeros(one.cells, dtype=bool) for one in stills)
    nominal = nominal_fit(fit)
    verdict = _verdict(fit, nominal, other)
    if is_cropped and verdict is Verdict.NOTHING:
        verdict = Verdict.FIT  # what had to be put right first is not as predicted
    return _Judged(fit=fit, nominal=nominal, surprises=found, left_out=left_out, other=other, verdict=verdict)


def put_right(notes: Notes, fit: Fit) -> tuple[Shot, ...]:
    """The shots of the notes with the part of the sensor that the fit took them to show."""
    pairs = zip(notes.shots, fit.model.stills, strict=True)
    return tuple(replace(shot, area=one.shot.area) for shot, one in pairs)


def _turned(notes: Notes, measured: Sequence[Measured], ways: Sequence[str]) -> list[Seen]:
    return [seen(shot, oriented(one, way)) for shot, one, way in zip(notes.shots, measured, ways, strict=True)]


def nominal_fit(fit: Fit) -> Fit:
    """The same stills with the values as the scene has them: only exposure, plane and fall-off are fitted."""
    shots = [replace(one) for one in fit.model.stills]
    return fit_from(Model((), tuple(shots)), ())


def _without_surprises(
    unknowns: tuple[Unknown, ...], stills: Sequence[Seen], fit: Fit
) -> tuple[Fit, tuple[Surprise, ...], tuple[NDArray[np.bool_], ...]]:
    """The fit with surprising places left out, and what they are."""
    found: tuple[Surprise, ...] = ()
    left_out = tuple(np.zeros(one.cells, dtype=bool) for one in stills)
    for _ in range(ROUNDS):
        each = [surprises(fit, k) for k in range(len(stills))]
        marks = tuple(mark for _, mark in each)
        found = tuple(one for some, _ in each for one in some)
        if all(np.array_equal(mark, old) for mark, old in zip(marks, left_out, strict=True)):
            break
        left_out = marks
        fit = best_fit(unknowns, [one.without(mark) for one, mark in zip(stills, left_out, strict=True)], fit.values, fit.model)
    return fit, found, left_out


def _other_lens(notes: Notes, fit: Fit, *, hopeless: bool) -> OtherLens | None:
    """A lens that explains the stills much better than that of the notes; with `hopeless`, stills that nothing explains too."""
    named = _named_lens(notes, fit)
    if named is not None:
        return named
    freed = _freed(notes, fit)
    if freed is not None:
        model_fit, place = freed
        if model_fit.cost < MUCH_BETTER * fit.cost and _is_off(with_errors(model_fit), place):
            return OtherLens(focal_mm=float(model_fit.values[place]), name=None, rms=model_fit.rms)
    return OtherLens(focal_mm=None, name=None, rms=fit.rms) if hopeless and fit.rms > BAD_SHARE else None


def _is_off(fit: FitWithErrors, place: int) -> bool:
    """Whether the focal length at this place of the values is another than the scene's beyond doubt."""
    nominal = fit.model.unknowns[place].nominal
    return bool(abs(fit.values[place] - nominal) > max(FOCAL_SHARE * nominal, FOCAL_SIGMAS * fit.sigmas[place]))


def _named_lens(notes: Notes, fit: Fit) -> OtherLens | None:
    """Another lens of the scene; looked for on a few stills, believed on all."""
    unknowns = tuple(item for item in notes.unknowns if item.spot.table[0] != "lens")
    few = finders(fit.model.stills)
    as_noted = start_cost(Model(notes.unknowns, tuple(seen_coarser(one, COARSE) for one in few)), fit.values)
    for lens in notes.shots[0].state.scene.lens:
        if lens.name == notes.lens.name:
            continue
        try:
            near = coarse_fit(unknowns, [replace(one, shot=with_lens(one.shot, lens)) for one in few], quick=True)
            if near.cost > ALIKE_COST * as_noted:
                continue
            stills = [replace(one, shot=with_lens(one.shot, lens)) for one in fit.model.stills]
        except GeometryError:
            continue
        tried = best_fit(unknowns, stills)
        if tried.cost < MUCH_BETTER * fit.cost:
            return OtherLens(focal_mm=lens.focal_mm, name=lens.name, rms=tried.rms)
    return None


def _freed(notes: Notes, fit: Fit) -> tuple[Fit, int] | None:
    """The fit with the lens's focal length and pupil free as well, and where the focal length stands; None where that is no use."""
    scene, name = notes.shots[0].state.scene, notes.lens.name
    more: list[Unknown] = []
    for key in ("focal_mm", "pupil_behind_front_mm"):
        path = f"lens[{name}].{key}"
        try:
            spots = spots_of(scene, path)
        except PathError:
            continue
        known = {(item.spot.table, item.spot.key) for item in notes.unknowns}
        more += [Unknown(path=path, spot=spot) for spot in spots if (spot.table, spot.key) not in known]
    unknowns = (*notes.unknowns, *more)
    place = next((k for k, item in enumerate(unknowns) if item.spot.key == "focal_mm" and item.spot.table[0] == "lens"), None)
    if place is None:
        return None
    coarse = Model(unknowns, tuple(seen_coarser(one, COARSE) for one in finders(fit.model.stills)), rough=True)
    starts = []
    for factor in FOCAL_STARTS:
        values = [item.nominal for item in unknowns]
        values[place] *= factor
        starts.append(tuple(values))
    starts.sort(key=lambda values: start_cost(coarse, values))
    best = min((fit_from(coarse, values) for values in starts[:FOLLOWED]), key=lambda one: one.cost)
    as_noted = start_cost(Model(notes.unknowns, coarse.stills), fit.values)
    return (fit_from(Model(unknowns, fit.model.stills), best.values), place) if best.cost < MUCH_BETTER * as_noted else None


def _verdict(fit: Fit, nominal: Fit, other: OtherLens | None) -> Verdict:
    if other is not None:
        return Verdict.OTHER_LENS
    if nominal.rms > UNEXPLAINED_SHARE:
        return Verdict.FIT
    off = np.abs(fit.values - nominal_values(fit.model.unknowns))
    same = nominal.cost <= COST_GAIN * cost_of(fit.model, fit.vector)
    return Verdict.NOTHING if same or np.all(off <= NOTHING_MM) else Verdict.FIT
