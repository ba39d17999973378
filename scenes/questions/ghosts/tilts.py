"""Which tilt of the box or its trays sends ghosts out of the frame, and whether the beam still clears. Opens and prints nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Assembly, Tube
from geometry.frame import AHEAD
from raytrace.box import Box as TracedBox
from raytrace.box import Glass
from raytrace.ghosts.paths import Light, Mirror, mirrors_of, pupil_mm
from raytrace.ghosts.seen import GhostLights, ghosts_in_the_way
from raytrace.ghosts.tilt import MOST_TILT_DEG, Moved, escape, room_mm, tilt_curves
from scenes.changes.tilts import BOX_KEY, BeamAfter, Refit, TiltFit
from scenes.questions.ghosts.places import between_words, view_of
from scenes.rig.box import stage_name
from scenes.states.names import middle_variant
from scenes.states.state import State

TILT_STEP_DEG = 0.1  # finer than this nobody sets a tray or a box; answers are rounded away from 0
CHART_STEP_DEG = 0.5
WHOLE_BOX, ALL_TRAYS = "whole box", "all trays alike"
NOT_LOOKED = TiltFit()


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """What can be tilted: its name, the scene's keys to change, its present tilt, and what it moves (a tray turns about itself).

    is_even: false for trays that do not stand alike now, whose present tilt is that of the first.
    """

    name: str
    keys: tuple[str, ...]
    present_deg: float
    moved: tuple[Moved, ...]
    is_even: bool = True

    def mirrors_at(self, tilt_deg: float) -> tuple[Mirror, ...]:
        """All of its filters at another tilt."""
        return tuple(mirror for moved in self.moved for mirror in moved.at(tilt_deg))


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltAnswer:
    """One way of sending the sensor ghosts of some lights out of the frame.

    tilt_deg is what to set, rounded away from 0 from exact_deg; None where no tilt up to the limit does it, and then room_mm says
    how far short the best one falls. left names what stays in the frame all the same. is_present: it is so already.
    """

    lights: str
    what: str
    keys: tuple[str, ...]
    present_deg: float
    toward_scene: bool
    tilt_deg: float | None
    exact_deg: float | None
    room_mm: float
    is_present: bool = False
    left: tuple[str, ...] = ()
    fit: TiltFit = NOT_LOOKED

    @property
    def beam(self) -> BeamAfter | None:
        """What the tilt does to the beam, where the box can be built so."""
        return self.fit.beam

    @property
    def works(self) -> bool:
        """Whether the tilt exists, leaves nothing in the frame, can be set, and the beam still clears."""
        return self.tilt_deg is not None and not self.left and self.fit.works


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltCurve:
    """Ghost places of a light against the tilt of one thing: tilts (T,) [deg], places (T, 2) right, up [mm]; nan out of picture."""

    light: str
    what: str
    present_deg: float
    tilts_deg: FloatArray
    places_mm: FloatArray


class TiltableBox:
    """The box of one state, and the same box with another tilt of its whole or of its trays."""

    def __init__(self, plan: State) -> None:
        self.plan, self.refit = plan, Refit(plan)
        self.view = view_of(plan)

    def things(self) -> tuple[Thing, ...]:
        """The whole box, all trays that hold a filter, and each of them."""
        trays = tuple(self._trays())
        if not trays:
            return ()
        glasses = [glass for glass in self.plan.box.glasses if glass.power_dioptre == 0.0]
        box = Thing(
            name=WHOLE_BOX,
            keys=(BOX_KEY,),
            present_deg=self.refit.box.tilt_deg,
            moved=(self._moved(glasses, self.refit.box.tilt_deg, self._pivot_mm()),),
        )
        if len(trays) == 1:
            return (box, *trays)
        is_even = len({tray.present_deg for tray in trays}) == 1
        keys, moved = (sum((getattr(tray, name) for tray in trays), ()) for name in ("keys", "moved"))
        alike = Thing(name=ALL_TRAYS, keys=keys, present_deg=trays[0].present_deg, moved=moved, is_even=is_even)
        return (box, alike, *trays)

    def _trays(self) -> Iterator[Thing]:
        for number, stage in enumerate(self.refit.box.stage, 1):
            if stage.filter is None or stage.filter.kind == "close-up":
                continue
            glass = self._glass_in(f"box.stage[{number}]")
            moved = self._moved([glass], stage.tilt_deg, glass.slab.pose.origin_mm)
            yield Thing(
                name=stage_name(stage, number), keys=(self.refit.stage_key(number),), present_deg=stage.tilt_deg, moved=(moved,)
            )

    def _glass_in(self, group: str) -> Glass:
        """The filter of a tray: it shares the tray's centre."""
        tray = next(part for part in self.plan.box.parts if part.group == group)
        assert isinstance(tray.body, Tube)
        centre = tray.body.inner[0].pose.origin_mm
        return min(self.plan.box.glasses, key=lambda glass: float(np.linalg.norm(glass.slab.pose.origin_mm - centre)))

    def _pivot_mm(self) -> FloatArray:
        thickness = self.refit.box.back[0].thickness_mm if self.refit.box.back else 0.0
        return self.plan.place.points_to_frame(np.array([0.0, 0.0, thickness / 2]))

    def _moved(self, glasses: Sequence[Glass], tilt_deg: float, pivot_mm: FloatArray) -> Moved:
        mirrors = mirrors_of(glasses, AHEAD, pupil_mm(middle_variant(self.plan)))
        return Moved(mirrors=mirrors, tilt_deg=tilt_deg, pivot_mm=pivot_mm)

    def built_at(self, keys: Sequence[str], tilt_deg: float) -> tuple[Assembly, TracedBox]:
        """The box built anew with some tilts changed."""
        return self.refit.built(self.refit.tilted(keys, tilt_deg))


def tilt_answers(tiltable: TiltableBox, lights: GhostLights) -> tuple[TiltAnswer, ...]:
    """For each set of lights and each thing that tilts: the smallest tilt to either side, and what comes of it.

    For a grid of places only things that hold every filter are asked about: one tray alone leaves the ghosts of the others.
    """
    things = tiltable.things()
    whole = things[:1]
    return tuple(
        answer
        for words, some in lights.wanted_out
        for thing in things
        if not lights.is_grid or len(thing.mirrors_at(0.0)) == sum(len(box.mirrors_at(0.0)) for box in whole)
        for answer in _answers(tiltable, words, some, thing)
    )


def _answers(tiltable: TiltableBox, words: str, lights: tuple[Light, ...], thing: Thing) -> Iterator[TiltAnswer]:
    state, guides = middle_variant(tiltable.plan), tiltable.plan.guides
    now = room_mm(state, lights, thing.mirrors_at(thing.present_deg), guides, tiltable.plan.variants)
    bare = TiltAnswer(
        lights=words,
        what=thing.name,
        keys=thing.keys,
        present_deg=thing.present_deg,
        toward_scene=thing.present_deg >= 0,
        tilt_deg=thing.present_deg,
        exact_deg=None,
        room_mm=now,
        is_present=True,
    )
    if now > 0 and thing.is_even:
        yield _checked(tiltable, lights, bare, thing.present_deg)
        return
    for toward_scene in (True, False):
        found = escape(state, lights, thing.mirrors_at, guides, toward_scene=toward_scene, pupils=tiltable.plan.variants)
        answer = replace(
            bare, is_present=False, toward_scene=toward_scene, tilt_deg=None, exact_deg=found.tilt_deg, room_mm=found.room_mm
        )
        yield answer if found.tilt_deg is None else _checked(tiltable, lights, answer, rounded_out_deg(found.tilt_deg))


def _checked(tiltable: TiltableBox, lights: tuple[Light, ...], answer: TiltAnswer, tilt_deg: float) -> TiltAnswer:
    answer = replace(answer, tilt_deg=tilt_deg)
    fit = tiltable.refit.fit(answer.keys, tilt_deg)
    if fit.box is None:
        return replace(answer, fit=fit)
    return replace(answer, left=_left(tiltable, lights, fit.box), fit=fit)


def rounded_out_deg(tilt_deg: float) -> float:
    """The next tilt that can be set, away from 0."""
    steps = np.ceil(abs(tilt_deg) / TILT_STEP_DEG - 1e-6)
    return float(round(np.copysign(steps * TILT_STEP_DEG, tilt_deg), 6)) + 0.0


def _left(tiltable: TiltableBox, lights: tuple[Light, ...], box: TracedBox) -> tuple[str, ...]:
    """Ghosts that a tilt leaves in the frame, by what makes them; those that stay on the light hide in it."""
    return tuple(dict.fromkeys(map(between_words, ghosts_in_the_way(tiltable.view, box.glasses, lights))))


def tilt_curves_of(tiltable: TiltableBox, light: Light) -> tuple[TiltCurve, ...]:
    """Ghost places of one light against the tilt of each thing, of its first filter where it holds several."""
    tilts = np.arange(-MOST_TILT_DEG / 2, MOST_TILT_DEG / 2 + CHART_STEP_DEG / 2, CHART_STEP_DEG)
    state = middle_variant(tiltable.plan)
    return tuple(
        TiltCurve(
            light=light.name,
            what=thing.name,
            present_deg=thing.present_deg,
            tilts_deg=tilts,
            places_mm=tilt_curves(state, light, thing.mirrors_at, tilts)[:, 0],
        )
        for thing in tiltable.things()
    )
