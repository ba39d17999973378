"""The sun's day for each lens: when it is in the picture, when on the glass, and when with the flags as far in as they go."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.frame import OUTWARD, Side
from raytrace.ghosts.paths import Light, disc_directions
from raytrace.lights import LightPlace
from raytrace.optics.in_frame import frame_slopes, in_frame
from raytrace.stray.light_on_glass import Reach, SetFlag, reach_of
from raytrace.stray.target import Target
from raytrace.stray.world import NOTHING, World
from raytrace.sun import InPicture, Reaches, Site, SunPath, minutes_of_day, spans, sun_path
from scenes.changes.flag_collisions import come_in, with_flag
from scenes.changes.flag_limits import FlagLimit, FlagLimits
from scenes.changes.flag_places import set_flags
from scenes.changes.tilts import Refit
from scenes.rig.box import flag_name
from scenes.rig.lights import site_of, suns_of
from scenes.runtime.engines import seed_of
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import did_you_mean
from scenes.scene_file.tables.box import Box
from scenes.scene_file.tables.light import Sun
from scenes.scene_file.tables.scene import Scene
from scenes.states.names import OfState, middle_variant
from scenes.states.state import State, states_of_lens
from scenes.states.stray import StraySetup, setup_of

BoolArray = NDArray[np.bool_]

SUN_HALF_DEG = 0.2666
RIM = slice(1, None, 3)  # four of the points round the sun's rim
LOOK_MINUTES = 15  # a beam of sun through some gap lasts longer, or it is found by rays
RAYS_AT_ONCE = 1 << 18
SUNDAY, DAYS_OF_A_YEAR = 6, 366
CLOCK_CHANGES = (((3, 8), (4, 7)), ((9, 24), (11, 7)))  # (month, day) from when to when


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagAngle:
    """A flag's present angle, and the smallest one at which every focus and stop of the lens stays clear (limit) [deg].

    meets names what it would meet farther in, where that comes first.
    """

    name: str
    now_deg: float
    least_deg: float
    limit: FlagLimit
    meets: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SunReport(OfState):
    """The sun's day for one lens.

    on_glass and on_glass_at_best (M,): when any of it is on the target, as the box is and with every flag at its least angle.
    """

    plan: State
    light: str
    scene_time: dt.datetime
    site: Site
    target: str
    path: SunPath
    on_glass: BoolArray
    on_glass_at_best: BoolArray
    flags: tuple[FlagAngle, ...]
    frame_deg: FloatArray

    def spans(self, holds: BoolArray) -> tuple[tuple[dt.datetime, dt.datetime], ...]:
        """From when to when something holds."""
        return spans(self.path.moments, holds)


def clock_may_differ(scene_day: dt.date, day: dt.date) -> bool:
    """Whether clocks that are put forward and back may be put between two days, or on one of them. Common practice: on Sundays.

    North of the equator on one from 8 to 31 March and on one from 25 October to 7 November, south of it from 1 to 7 April and from
    24 September to 7 October. Source: the rules of Europe, North America, Australia and New Zealand (from memory).
    """
    first, last = min(scene_day, day), max(scene_day, day)
    days = (first + dt.timedelta(days=k) for k in range(min((last - first).days, DAYS_OF_A_YEAR) + 1))
    return any(one.weekday() == SUNDAY and any(low <= (one.month, one.day) <= high for low, high in CLOCK_CHANGES) for one in days)


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


def limits_of(plans: Sequence[State]) -> dict[str, FlagLimits]:
    """How far in flags may come, by lens, over every zoom, focus and stop of it."""
    lenses = dict.fromkeys(plan.lens_name for plan in plans)
    return {lens: FlagLimits([plan for plan in plans if plan.lens_name == lens]) for lens in lenses}


def sun_report(
    plan: State,
    name: str,
    sun: Sun,
    day: dt.date | None = None,
    *,
    limits: FlagLimits | None = None,
    target: str = "glass",
) -> SunReport:
    """The sun's day for one lens; `day` in place of the scene's own date, by the same offset from UTC.

    Without `limits` flags come in as far as the scene's states of that lens let them.
    """
    moment = sun.time if day is None else sun.time.replace(year=day.year, month=day.month, day=day.day)
    lens, site = middle_variant(plan), site_of(sun)
    closer = _Closer(plan, limits or FlagLimits(tuple(states_of_lens(plan.scene, plan.lens, plan.resources))))
    rng = np.random.default_rng(seed_of(plan.key))
    now = setup_of(plan, lens, plan.fitted, target=target, rng=rng)
    path = sun_path(minutes_of_day(moment), site, in_picture=in_picture_of(plan), reaches=reaches_of(now.target, now.world))
    on_glass = on_glass_of(path, path.reach, now, set_flags(plan.fitted, plan))
    flags = closer.flags(path.direction[on_glass & ~path.in_frame])
    closed = closer.closed(flags)
    best = setup_of(plan, lens, closed, target=now.target, rng=rng)
    best_reach = np.zeros_like(path.reach)
    best_reach[path.up] = reaches_of(best.target, best.world)(path.direction[path.up])
    slope = frame_slopes(lens, plan.grid)
    return SunReport(
        plan=plan,
        light=name,
        scene_time=sun.time,
        site=site,
        target=now.target.name,
        path=path,
        on_glass=on_glass,
        on_glass_at_best=on_glass_of(path, best_reach, best, set_flags(closed, plan)),
        flags=flags,
        frame_deg=_angles_deg(np.column_stack([slope, np.ones(len(slope))])),
    )


def _angles_deg(vectors: FloatArray) -> FloatArray:
    """Azimuth to the operator's right and elevation (N, 2) of frame vectors (N, 3) [deg]."""
    unit = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.degrees(np.column_stack([np.arctan2(-unit[:, 0], unit[:, 2]), np.arcsin(unit[:, 1])]))


def in_picture_of(plan: State) -> InPicture:
    """Whether any of a disc in some direction is in the recorded picture, whatever the pupil's depth."""

    def ask(direction: FloatArray, width_deg: FloatArray) -> BoolArray:
        return np.any([in_frame(lens, plan.grid, direction, width_deg / 2) for lens in plan.variants], axis=0)

    return ask


def on_glass_of(path: SunPath, share: FloatArray, setup: StraySetup, flags: Sequence[SetFlag]) -> BoolArray:
    """When any of the sun is on the target (M,): rays show it, and at the ends of their minutes the exact judgement."""
    lit = share > 0
    known: dict[int, bool] = {}

    def is_lit(minute: int) -> bool:
        if minute not in known:
            known[minute] = bool(path.up[minute]) and _is_on(path, minute, setup, flags)
        return known[minute]

    for minute in range(0, len(lit), LOOK_MINUTES):
        lit[minute] = lit[minute] or is_lit(minute)
    for step, minutes in ((1, range(1, len(lit))), (-1, range(len(lit) - 2, -1, -1))):
        for minute in minutes:
            lit[minute] = lit[minute] or (lit[minute - step] and is_lit(minute))
    return lit


def _is_on(path: SunPath, minute: int, setup: StraySetup, flags: Sequence[SetFlag]) -> bool:
    face = setup.target.face
    sun = LightPlace(name="sun", direction=path.direction[minute], width_deg=float(path.sky.width_deg[minute]))
    return face is not None and reach_of(face, sun, setup.world, flags) is Reach.SOME


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
    """The box of one state, and the same box with its flags as far in as keeps clear every focus and stop of its lens."""

    def __init__(self, plan: State, limits: FlagLimits) -> None:
        self.refit, self.box, self._limits = Refit(plan), plan.fitted, limits

    def flags(self, toward: FloatArray) -> tuple[FlagAngle, ...]:
        """Each flag's present and least angle; those on the side that the sun (M, 3) comes from most often go first.

        A flag comes no farther in than to the next one; where no angle of it clears anything it stays as it is.
        """
        found: dict[int, FlagAngle] = {}
        box = self.box
        for place in sorted(range(len(box.flag)), key=lambda k: -_minutes_toward(Side(box.flag[k].side), toward)):
            found[place] = self._come_in(box, place)
            box = with_flag(box, place, found[place].least_deg)
        return tuple(found[place] for place in range(len(box.flag)))

    def _come_in(self, box: Box, place: int) -> FlagAngle:
        flag = box.flag[place]
        name = flag_name(flag)
        limit = self._limits.of(name)
        if limit.clear_deg == math.inf:
            return FlagAngle(name=name, now_deg=flag.angle_deg, least_deg=flag.angle_deg, limit=limit)
        apart = come_in(self.refit, box, place, limit.clear_deg)
        return FlagAngle(name=name, now_deg=flag.angle_deg, least_deg=apart.angle_deg, limit=limit, meets=apart.meets)

    def closed(self, flags: Sequence[FlagAngle]) -> Box:
        """The box with every flag at its least angle."""
        box = self.box
        for place, flag in enumerate(flags):
            box = with_flag(box, place, flag.least_deg)
        return box


def _minutes_toward(side: Side, toward: FloatArray) -> int:
    """In how many of the sun's directions (M, 3) it stands more to that side than to a neighbouring one."""
    if not len(toward):
        return 0
    out = toward @ OUTWARD[side]
    return int((out >= np.abs(toward[:, :2]).max(axis=1) - 1e-9).sum())
