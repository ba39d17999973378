"""The sun's day for each lens: when it is in the picture, when on the glass, and when with the flags as far in as they go."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.body import Kind
from raytrace.camera import whole_frame
from raytrace.embree import embree_shares
from raytrace.ghost_paths import Light, disc_directions, picture_mm
from raytrace.ghost_tilt import outside_mm
from raytrace.lens import LensState, pencils_for
from raytrace.shares import loss_stops
from raytrace.stray_target import Target
from raytrace.stray_world import NOTHING, World
from raytrace.sun import InPicture, Reaches, Site, SunPath, minutes_of_day, spans, sun_path
from scenes.build import StatePlan
from scenes.build_box import build_box
from scenes.build_lens import front_travel_mm
from scenes.engines import seed_of
from scenes.errors import Complaint, SceneError
from scenes.ghosts import middle_variant
from scenes.leaks import frame_slopes, setup_of
from scenes.lights import site_of, suns_of
from scenes.margin import pessimistic_share
from scenes.model import Scene, box_for
from scenes.model_box import Box
from scenes.model_light import Sun
from scenes.plan import Loaded
from scenes.words import did_you_mean

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SUN_HALF_DEG = 0.2666
RIM = slice(1, None, 3)  # four of the points round the sun's rim
ON_GLASS_SHARE = 0.005  # of the target: less than this is the roughness of the points it is looked at
RAYS_AT_ONCE = 1 << 18
FARTHEST_IN_DEG = -20.0  # farther in a flag stands in any picture
FLAG_STEP_DEG = 0.5  # angles flags are set to; also how far short of the limit they may fall
RIM_PER_SIDE = 9
LOG2_RAYS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagAngle:
    """A flag's present angle, and the smallest one at which it takes nothing visible from the frame [deg]."""

    name: str
    now_deg: float
    least_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SunReport:
    """The sun's day for one lens. best_reach (M,) is as `path.reach`, with every flag at its least angle."""

    key: str
    lens_name: str
    plan: StatePlan
    light: str
    site: Site
    target: str
    path: SunPath
    best_reach: FloatArray
    flags: tuple[FlagAngle, ...]
    frame_deg: FloatArray

    @property
    def on_glass(self) -> BoolArray:
        """When the sun is on the target (M,)."""
        return self.path.reach > ON_GLASS_SHARE

    @property
    def on_glass_at_best(self) -> BoolArray:
        """When it still is with the flags in as far as they go (M,)."""
        return self.best_reach > ON_GLASS_SHARE

    def spans(self, holds: BoolArray) -> tuple[tuple[dt.datetime, dt.datetime], ...]:
        """From when to when something holds."""
        return spans(self.path.moments, holds)


def chosen_sun(scene: Scene, name: str | None) -> tuple[str, Sun]:
    """The sun of that name, or the first; SceneError where there is none."""
    suns = dict(suns_of(scene))
    if not suns:
        way_out = "give one sun = { latitude_deg, longitude_deg, time, camera_heading_deg }"
        raise SceneError([Complaint(where="light", problem=f"none is the sun by place and time; {way_out}")])
    if name is None:
        return next(iter(suns.items()))
    if name not in suns:
        problem = f'no sun is named "{name}"; {did_you_mean(name, list(suns))}'
        raise SceneError([Complaint(where="", problem=problem, source="--light")])
    return name, suns[name]


def sun_plans(plans: Sequence[StatePlan]) -> tuple[StatePlan, ...]:
    """One state per lens and zoom: its first focus, at its widest stop."""
    found: dict[tuple[str, float], StatePlan] = {}
    for plan in plans:
        old = found.setdefault((plan.lens_name, plan.focal_mm), plan)
        if plan.focus_mm == old.focus_mm and plan.f_number < old.f_number:
            found[plan.lens_name, plan.focal_mm] = plan
    return tuple(found.values())


def sun_report(
    loaded: Loaded, plan: StatePlan, name: str, sun: Sun, day: dt.date | None = None, *, target: str = "glass"
) -> SunReport:
    """The sun's day for one lens; `day` in place of the scene's own date, by the same offset from UTC."""
    moment = sun.time if day is None else sun.time.replace(year=day.year, month=day.month, day=day.day)
    lens, site = middle_variant(plan), site_of(sun)
    closer = _Closer(loaded, plan)
    rng = np.random.default_rng(seed_of(plan.key))
    now = setup_of(closer.box, closer.lens, lens, plan, loaded.resources, target=target, rng=rng)
    path = sun_path(minutes_of_day(moment), site, in_picture=in_picture_of(lens, plan), reaches=reaches_of(now.target, now.world))
    flags = tuple(closer.flags())
    best = setup_of(closer.closed(flags), closer.lens, lens, plan, loaded.resources, target=now.target, rng=rng)
    best_reach = np.zeros_like(path.reach)
    best_reach[path.up] = reaches_of(best.target, best.world)(path.direction[path.up])
    slope = frame_slopes(lens, plan.grid)
    return SunReport(
        key=plan.key,
        lens_name=plan.lens_name,
        plan=plan,
        light=name,
        site=site,
        target=now.target.name,
        path=path,
        best_reach=best_reach,
        flags=flags,
        frame_deg=_angles_deg(np.column_stack([slope, np.ones(len(slope))])),
    )


def _angles_deg(vectors: FloatArray) -> FloatArray:
    """Azimuth to the operator's right and elevation (N, 2) of frame vectors (N, 3) [deg]."""
    unit = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.degrees(np.column_stack([np.arctan2(-unit[:, 0], unit[:, 2]), np.arcsin(unit[:, 1])]))


def in_picture_of(lens: LensState, plan: StatePlan) -> InPicture:
    """Whether any of a disc in some direction is in the recorded picture."""

    def ask(direction: FloatArray, width_deg: FloatArray) -> BoolArray:
        found = np.zeros(len(direction), dtype=np.bool_)
        for k in np.flatnonzero(direction[:, 2] > 0):
            points = picture_mm(lens, _disc(direction[k], float(width_deg[k]) / 2))
            found[k] = bool((outside_mm(points, 0.0, [whole_frame(plan.grid)]) <= 0).any())
        return found

    return ask


def _disc(direction: FloatArray, half_deg: float) -> FloatArray:
    return disc_directions(Light(name="", direction=direction, half_width_deg=half_deg))


def reaches_of(target: Target, world: World) -> Reaches:
    """The share of a target that the sun's disc in some direction lights: its middle and four places of its rim."""

    def ask(direction: FloatArray) -> FloatArray:
        discs = np.array([_disc(one, SUN_HALF_DEG) for one in direction]).reshape(len(direction), -1, 3)
        rays = np.concatenate([discs[:, :1], discs[:, RIM]], axis=1)
        step = max(1, RAYS_AT_ONCE // (len(target.points_mm) * rays.shape[1]))
        pieces = [_lit(target, world, rays[k : k + step]) for k in range(0, len(rays), step)]
        return np.concatenate(pieces) if pieces else np.zeros(0)

    return ask


def _lit(target: Target, world: World, rays: FloatArray) -> FloatArray:
    """Mean share (D,) over the target's points of rays (D, R, 3) that meet no wall; a target that faces away is not lit."""
    flat = rays.reshape(-1, 3)
    start = target.starts(flat)
    way = np.broadcast_to(flat[:, None, :], start.shape).reshape(-1, 3)
    origin = start.reshape(-1, 3)
    there = np.isfinite(origin[:, 0])
    free = np.zeros(len(origin), dtype=np.bool_)
    free[there] = world.first_wall(origin[there], way[there]) == NOTHING
    return np.asarray(free.reshape(len(rays), -1).mean(axis=1))


class _Closer:
    """The box of one state, and the same box with its flags as far in as the picture allows."""

    def __init__(self, loaded: Loaded, plan: StatePlan) -> None:
        self.loaded, self.plan = loaded, plan
        self.lens = next(lens for lens in loaded.scene.lens if lens.name == plan.lens_name)
        self.box: Box = box_for(loaded.scene, self.lens)

    def flags(self) -> Iterator[FlagAngle]:
        """Each flag's present and least angle."""
        for place, flag in enumerate(self.box.flag):
            name = flag.name or f"{flag.side} flag"
            yield FlagAngle(name=name, now_deg=flag.angle_deg, least_deg=self._least_deg(place, flag.angle_deg))

    def closed(self, flags: Sequence[FlagAngle]) -> Box:
        """The box with every flag at its least angle."""
        box = self.box
        for place, flag in enumerate(flags):
            box = _set(box, place, flag.least_deg)
        return box

    @property
    def _visible(self) -> float:
        return self.loaded.scene.check.visible_loss_stops

    def _least_deg(self, place: int, now_deg: float) -> float:
        """By halving: a flag that comes in takes more and more."""
        good, bad = 90.0, FARTHEST_IN_DEG
        if self._loss(place, bad) <= self._visible:
            return bad
        if self._loss(place, now_deg) <= self._visible:
            good = now_deg
        while good - bad > FLAG_STEP_DEG / 2:
            middle = (good + bad) / 2
            good, bad = (middle, bad) if self._loss(place, middle) <= self._visible else (good, middle)
        return float(np.ceil(good / FLAG_STEP_DEG) * FLAG_STEP_DEG)

    def _loss(self, place: int, angle_deg: float) -> float:
        """Stops that this flag alone takes at the worst place of the guides' edges, over all pupil depths."""
        travel = front_travel_mm(self.lens, self.plan.focal_mm, self.plan.focus_mm)
        _, box = build_box(_set(self.box, place, angle_deg), self.lens, self.loaded.resources, front_travel_mm=travel)
        group = f"box.flag[{place + 1}]"
        own = replace(box, parts=tuple(part for part in box.parts if part.group in {group, f"{group}.extension"}))
        assert all(part.kind in {Kind.FLAG, Kind.EXTENSION} for part in own.parts)
        points = np.concatenate([guide.rim_points_mm(RIM_PER_SIDE) for guide in self.plan.guides])
        shares = [
            embree_shares(pencils_for(lens, points), own, log2_rays=LOG2_RAYS, rng=np.random.default_rng(seed_of(self.plan.key)))
            for lens in self.plan.variants
        ]
        return max(float(loss_stops(pessimistic_share(share)).max()) for share in shares)


def _set(box: Box, place: int, angle_deg: float) -> Box:
    flags = list(box.flag)
    flags[place] = flags[place].model_copy(update={"angle_deg": angle_deg})
    return box.model_copy(update={"flag": tuple(flags)})
