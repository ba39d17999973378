"""Whether a box has room for other tilts, and what its parts then take from the frame's edge. Opens and prints nothing."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Assembly
from geometry.errors import GeometryError
from geometry.meshes import assembly_mesh
from geometry.notes import Severity
from geometry.overlap import assembly_overlaps
from raytrace.beam.frame_margin import pessimistic_share
from raytrace.box import Box as TracedBox
from raytrace.embree import mesh_tracer
from raytrace.kept import Kept
from raytrace.optics.camera import where
from raytrace.optics.lens import pencils_for
from raytrace.reference import sampled_shares
from raytrace.shares import Shares, loss_stops
from scenes.changes.trial import why_not_clear
from scenes.rig.box import stage_name
from scenes.runtime.engines import seed_of
from scenes.scene_file.errors import SceneError
from scenes.scene_file.tables.box import Box, is_fitted
from scenes.states.names import state_words
from scenes.states.rooms import stands_clear
from scenes.states.state import State

RIM_PER_SIDE = 9  # points along each side of a guide in which the tilted box is looked at, corners included
NOTHING_STOPS = 0.01  # added loss that no instrument shows
LOG2_RAYS = 7  # 128 rays to a point: a look that a full check has to confirm
BOX_KEY = "box.tilt_deg"
MET = re.compile(r"overlaps (.+?) by up to")


@dataclass(frozen=True, slots=True, kw_only=True)
class BeamAfter:
    """What opaque parts take round the guides' edges [stops], and which parts would stand in each other's way.

    now_stops and then_stops are the worst at the present and at the new tilt; added_stops the most that the tilt takes more at any
    place, by `part` at `where`. clears: nothing visible is taken that is not taken already, and what is clear stays so; spoils says
    why it does not. meets: pairs that would overlap; of a clear state no more is then looked at.
    """

    now_stops: float
    then_stops: float
    added_stops: float
    part: str
    where: str
    clears: bool
    meets: tuple[tuple[str, str], ...]
    spoils: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltFit:
    """What comes of a tilt: why the box cannot be built so, else the box with it, and what it does to neighbours and beam."""

    trouble: str = ""
    beam: BeamAfter | None = None
    box: TracedBox | None = field(default=None, compare=False, repr=False)

    @property
    def works(self) -> bool:
        """Whether the box can be built so, nothing meets that does not meet now, and the beam still clears."""
        return self.beam is not None and self.beam.clears and not self.beam.meets


class Refit:
    """The box of one state, and the same box with other tilts."""

    def __init__(self, plan: State) -> None:
        self.plan, self.box = plan, plan.fitted
        self._numbers = tuple(k for k, stage in enumerate(plan.scene.box.stage, 1) if is_fitted(stage, plan.lens_name))
        self._known: dict[tuple[tuple[str, ...], float], TiltFit] = {}

    def stage_key(self, number: int) -> str:
        """The scene's key for the tilt of a tray of this lens's own box, whose trays count from 1: the scene counts all of them."""
        return f"box.stage[{self._numbers[number - 1]}].tilt_deg"

    def tray_keys(self, name: str) -> tuple[str, ...]:
        """The scene's keys for the tilt of the tray of that name."""
        named = (number for number, stage in enumerate(self.box.stage, 1) if stage_name(stage, number) == name)
        return tuple(self.stage_key(number) for number in named)

    def tilted(self, keys: Sequence[str], tilt_deg: float) -> Box:
        """The box with the tilts under some keys changed."""
        changed = self.box
        if BOX_KEY in keys:
            changed = changed.model_copy(update={"tilt_deg": tilt_deg})
        stages = [
            stage.model_copy(update={"tilt_deg": tilt_deg}) if self.stage_key(number) in keys else stage
            for number, stage in enumerate(self.box.stage, 1)
        ]
        return changed.model_copy(update={"stage": tuple(stages)})

    def built(self, box: Box) -> tuple[Assembly, TracedBox]:
        """Another box in its place, as parts."""
        return self.plan.rebuilt(box)

    def fit(self, keys: Sequence[str], tilt_deg: float) -> TiltFit:
        """What comes of a tilt under some keys; looked at once."""
        at = (tuple(keys), tilt_deg)
        if at not in self._known:
            self._known[at] = self._fit(keys, tilt_deg)
        return self._known[at]

    def _fit(self, keys: Sequence[str], tilt_deg: float) -> TiltFit:
        try:
            then = self.plan.with_box(self.tilted(keys, tilt_deg))
        except (GeometryError, SceneError) as error:
            return TiltFit(trouble=" ".join(str(error).split()))
        return TiltFit(beam=self._beam_with(then), box=then.box)

    def _beam_with(self, then: State) -> BeamAfter:
        """What a box takes; of a state that is clear as it is, no more than whether it stays so where nothing meets."""
        if not self.is_clear:
            return self._beam_after(then.assembly, then.box)
        meets = tuple(sorted(meetings(then.assembly) - self.meets_now))
        clears = not meets and stands_clear(then)
        if clears or meets:
            return BeamAfter(now_stops=0.0, then_stops=0.0, added_stops=0.0, part="", where="", clears=clears, meets=meets)
        return replace(self._beam_after(then.assembly, then.box), clears=False, spoils=why_not_clear(then))

    @cached_property
    def is_clear(self) -> bool:
        """Whether `check` calls the state clear as it is."""
        return stands_clear(self.plan.with_box(self.box))

    @property
    def is_dark(self) -> bool:
        """Whether the box takes something visible from the frame's edge as it is."""
        return not self.is_clear and bool(self._now_stops.max() > self.plan.visible_loss_stops)

    @cached_property
    def _points_mm(self) -> FloatArray:
        return np.concatenate([guide.rim_points_mm(RIM_PER_SIDE) for guide in self.plan.guides])

    @cached_property
    def _now_stops(self) -> FloatArray:
        """What is lost as it is (V, N), over pupil depths and places [stops]."""
        return np.array([_loss(shares) for shares in self._shares(self.plan.box, self._points_mm)])

    @cached_property
    def meets_now(self) -> frozenset[tuple[str, str]]:
        """Pairs of parts that take up the same room as it is."""
        return meetings(self.plan.assembly)

    def _beam_after(self, assembly: Assembly, box: TracedBox) -> BeamAfter:
        """What a box takes round the guides' edges, against the present one; the worst over the pupil depths there may be."""
        points = self._points_mm
        then = self._shares(box, points)
        now_stops, then_stops = self._now_stops, np.array([_loss(shares) for shares in then])
        added = np.where(np.isinf(now_stops), 0.0, then_stops - np.where(np.isinf(now_stops), 0.0, now_stops))
        bad = (then_stops > self.plan.visible_loss_stops) & (added > NOTHING_STOPS)
        variant, point = np.unravel_index(int(np.where(bad, added, added - 1e6).argmax()), added.shape)
        part = int(then[variant].blocked_by[point])
        return BeamAfter(
            now_stops=float(now_stops.max()),
            then_stops=float(then_stops.max()),
            added_stops=max(float(added[variant, point]), 0.0),
            part=box.part_names[part] if part >= 0 else "",
            where=where(points[point], self.plan.grid),
            clears=not bad.any(),
            meets=tuple(sorted(meetings(assembly) - self.meets_now)),
        )

    def _shares(self, box: TracedBox, points: FloatArray) -> list[Shares]:
        tracer, seed = mesh_tracer(assembly_mesh(box.parts, for_tracing=True), len(box.parts)), seed_of(self.plan.key)
        return [
            sampled_shares(
                pencils_for(lens, points), box, tracer, engine="embree", log2_rays=LOG2_RAYS, rng=np.random.default_rng(seed)
            )
            for lens in self.plan.variants
        ]


class TiltRoom:
    """What a tilt of one part of the box comes to over a set of states, each lens and setting at its widest stop."""

    def __init__(self, plans: Sequence[State]) -> None:
        self.refits = tuple(Refit(plan) for plan in plans)

    def against_tray(self, name: str, tilt_deg: float) -> str:
        """What speaks against a tilt of the tray of that name in any state, and where; empty where it fits and clears in all."""
        for refit in self.refits:
            keys = refit.tray_keys(name)
            fit = refit.fit(keys, tilt_deg) if keys else TiltFit()
            if keys and not fit.works:
                return f"{fit_words(fit)} ({state_words(refit.plan)})"
        return ""


def lean_words(*, toward_scene: bool) -> str:
    """Which way a tilt goes."""
    return f"top toward the {'scene' if toward_scene else 'lens'}"


def _meetings(assembly: Assembly) -> frozenset[tuple[str, str]]:
    """Pairs of parts that take up the same room, barrel and rods counted."""
    met = [(note.part, MET.search(note.text)) for note in assembly_overlaps(assembly) if note.severity is Severity.FAULT]
    return frozenset((part, found[1]) for part, found in met if found is not None)


meetings: Kept[Assembly, frozenset[tuple[str, str]]] = Kept(_meetings, 64)


def fit_words(fit: TiltFit) -> str:
    """What speaks against a tilt, worst first; empty where nothing does."""
    if fit.trouble:
        return f"cannot be built: {fit.trouble}"
    return "; ".join(_against(fit.beam)) if fit.beam else ""


def _against(beam: BeamAfter) -> Iterator[str]:
    if beam.meets:
        more = f" and {len(beam.meets) - 1} more" if len(beam.meets) > 1 else ""
        yield f"does not fit: {beam.meets[0][0]} meets {beam.meets[0][1]}{more}"
    if beam.clears or (beam.meets and not beam.part):
        return
    if math.isinf(beam.added_stops):
        yield f"darkens {beam.where} wholly ({beam.part})"
    elif beam.spoils and beam.added_stops <= NOTHING_STOPS:
        yield f"is then no longer clear: {beam.spoils}"
    else:
        stops = "stop" if beam.added_stops < 1.05 else "stops"
        yield f"takes {beam.added_stops:.1f} {stops} more at {beam.where} ({beam.part})"


def _loss(shares: Shares) -> FloatArray:
    return loss_stops(pessimistic_share(shares))
