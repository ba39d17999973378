"""Where stray light gets in: one state of a show measured for direct, mirrored and bounced light. Opens no file, prints nothing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.body import Kind
from geometry.frame import Side
from geometry.openings import BODY_NAME, Fit, LensFront, OpeningKind, Slot, enclosure_of
from geometry.parts import box_pose
from raytrace.camera import PixelGrid, whole_frame
from raytrace.lens import LensState, pencils_for
from raytrace.stray_bounce import Veil, veil_of
from raytrace.stray_direct import LightShare, Sky, StrayLight, Through, light_share, sky_of, through_opening, worth_of
from raytrace.stray_mirror import MirrorScene
from raytrace.stray_picture import LeakPicture, leak_picture
from raytrace.stray_target import Target, glass_target, lens_front_target
from raytrace.stray_world import World
from scenes.build import StatePlan
from scenes.build_box import BARREL_INSIDE_SHARE, build_box, stage_name
from scenes.build_lens import front_travel_mm
from scenes.engines import seed_of
from scenes.lights import lights_of
from scenes.model import Scene, box_for
from scenes.model_box import CLAMP, DARK_LINING, Box
from scenes.model_lens import Lens
from scenes.resources import Resources

FloatArray = NDArray[np.float64]

PICTURE_COLUMNS = 1024
LOOK_COLUMNS = 160  # for recomputing a change: a tenth of a per cent in the total is enough to compare
SKY_SIZE = 121
WORTH_SIZE = 61
LOG2_POINTS = 6
THREADS = 2  # more gain little: most of the time goes into one search tree
GLARE = 0.01  # share of the light on the glass that a lens spreads over its picture; coated primes 0.5 to 2 % (from memory)
WORTHY = (Kind.FLAG, Kind.EXTENSION, Kind.HOOD, Kind.MASK, Kind.SEAL, Kind.SOLID)
TARGETS = ("glass", "lens")


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """A box on a lens as stray light meets it."""

    own_box: Box
    world: World
    mirror: MirrorScene
    target: Target
    linings: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningRow:
    """What one opening lets in, if it is as bright out there as in the picture.

    mirrored is the mean over the picture and peak the brightest place, both against the same brightness in front; glass_share is
    the light on the target against that from the picture's own field; veil is mirrored + GLARE * glass_share.
    """

    name: str
    kind: OpeningKind
    part: str
    area_mm2: float
    open_sr: float
    open_stderr_sr: float
    glass_share: float
    mirrored: float
    peak: float

    @property
    def veil(self) -> float:
        """What it adds to the picture as a whole, against the picture's own brightness."""
        return self.mirrored + GLARE * self.glass_share


@dataclass(frozen=True, slots=True, kw_only=True)
class LightRow:
    """How one light fares: direct light, its veil by one bounce, and where it stands."""

    light: StrayLight
    azimuth_deg: float
    elevation_deg: float
    in_frame: bool
    off_share: float  # what it lights of the target with no box
    seen: LightShare
    veil: Veil


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakReport:
    """All that was found for one lens, zoom, focus and stop."""

    plan: StatePlan
    lens: LensState
    setup: Setup
    openings: tuple[OpeningRow, ...]
    lights: tuple[LightRow, ...]
    worth_sr: tuple[tuple[str, float], ...]
    picture: LeakPicture
    mirrored_range: tuple[float, float]
    sky: Sky
    frame: NDArray[np.bool_]
    open_sr: float
    off_sr: float


def stray_lights(scene: Scene) -> tuple[StrayLight, ...]:
    """The scene's lights as stray light has them; a sun below the horizon lights nothing and is left out."""
    return tuple(
        StrayLight(
            name=light.name, direction=light.direction, width_deg=light.width_deg, place_mm=light.place_mm, size_mm=light.size_mm
        )
        for light in lights_of(scene)
        if light.is_up
    )


def angles_deg(direction: FloatArray) -> tuple[float, float]:
    """Azimuth to the operator's right and elevation of a direction (3,) [deg]."""
    return math.degrees(math.atan2(-direction[0], direction[2])), math.degrees(math.asin(np.clip(direction[1], -1.0, 1.0)))


def fit_of(box: Box, lens: Lens, travel_mm: float) -> Fit:
    """How a box sits on a lens: its place, the lens's front, the seal's kind and the slots of its trays."""
    right, up = box.offset_mm
    place = box_pose(
        ahead_mm=box.ahead_mm - (0.0 if box.mount == CLAMP else travel_mm),
        offset_right_mm=right,
        offset_up_mm=up,
        tilt_deg=box.tilt_deg,
        back_thickness_mm=box.back[0].thickness_mm if box.back else 0.0,
    )
    glass = min(lens.front_glass_mm or BARREL_INSIDE_SHARE * lens.front_diameter_mm, lens.front_diameter_mm - 1.0)
    length = min(lens.front_to_sensor_mm or math.inf, 80.0)
    slots = tuple(
        Slot(tray=stage_name(stage, number), side=Side(side), width_mm=stage.slot_mm)
        for number, stage in enumerate(box.stage, 1)
        for side in (stage.slot_sides if stage.slot_mm > 0 else ())
    )
    front = LensFront(outside_mm=lens.front_diameter_mm, glass_mm=glass, length_mm=length)
    soft = bool(box.seal) and box.seal[0].kind in {"donut", "bellows"}
    return Fit(box=place, front=front, soft_seal=soft, slots=slots)


def setup_of(
    own_box: Box,
    lens: Lens,
    state: LensState,
    plan: StatePlan,
    resources: Resources,
    *,
    target: str | Target,
    rng: np.random.Generator,
) -> Setup:
    """The world, mirrors, target and linings of a box on a lens. `target` is "glass", "lens", or one made before."""
    travel = front_travel_mm(lens, plan.focal_mm, plan.focus_mm)
    assembly, box = build_box(own_box, lens, resources, front_travel_mm=travel)
    fit = fit_of(own_box, lens, travel)
    world = World.of(enclosure_of(assembly, fit))
    if isinstance(target, Target):
        aim = target
    elif target == "glass" and box.glasses:
        aim = glass_target(state, plan.grid, box, log2_points=LOG2_POINTS, rng=rng)
    else:
        aim = lens_front_target(fit.front.glass_mm / 2, log2_points=LOG2_POINTS, rng=rng)
    mirror = MirrorScene(glasses=box.glasses, world=world, caught_radius_mm=fit.front.outside_mm / 2)
    return Setup(own_box=own_box, world=world, mirror=mirror, target=aim, linings=_linings(own_box, world))


def _linings(box: Box, world: World) -> dict[str, float]:
    """Diffuse reflectance of every wall of the box, by name; the barrel and the camera behind are left out."""
    known: dict[str, float] = {"box.back": box.back[0].lining} if box.back else {}
    known |= {"box.hood": box.hood[0].lining} if box.hood else {}
    for key in ("stage", "mask", "flag"):
        known |= {f"box.{key}[{number}]": item.lining for number, item in enumerate(getattr(box, key), 1)}
    found = {BODY_NAME: DARK_LINING}
    for wall in world.walls:
        if wall.group:
            found[wall.name] = known.get(wall.group.removesuffix(".extension"), DARK_LINING)
    return found


def run_leaks(
    scene: Scene, plan: StatePlan, resources: Resources, *, target: str = "glass", columns: int = PICTURE_COLUMNS
) -> LeakReport:
    """Everything about one state: leak picture, sky, openings, lights, and what each part is worth."""
    rng = np.random.default_rng(seed_of(plan.key))
    lens = next(lens for lens in scene.lens if lens.name == plan.lens_name)
    own_box = box_for(scene, lens)
    state, spread = _worst_pupil(own_box, lens, plan, resources, rng)
    setup = setup_of(own_box, lens, state, plan, resources, target=target, rng=rng)
    picture = leak_picture(state, plan.grid.resized(min(columns, plan.grid.columns)), setup.mirror, rng=rng, threads=THREADS)
    sky = sky_of(setup.target, setup.world, SKY_SIZE)
    frame = in_frame(state, plan.grid, sky.direction)
    names = [wall.name for wall in setup.world.walls if wall.kind in WORTHY and wall.group]
    coarse = sky_of(setup.target, setup.world, WORTH_SIZE).direction
    outside = ~in_frame(state, plan.grid, coarse)
    worth = worth_of(setup.target, setup.world, list(dict.fromkeys(names)), outside, WORTH_SIZE)
    rows = opening_rows(setup, picture, sky, frame, rng)
    return LeakReport(
        plan=plan,
        lens=state,
        setup=setup,
        openings=rows,
        lights=tuple(_light_row(light, setup, state, plan.grid, rng) for light in stray_lights(scene)),
        worth_sr=tuple(sorted(worth.items(), key=lambda item: -item[1])),
        picture=picture,
        mirrored_range=spread,
        sky=sky,
        frame=frame,
        open_sr=sum(row.open_sr for row in rows),
        off_sr=2 * math.pi - float(frame.sum()) * sky.chart.step**2,
    )


def _worst_pupil(
    box: Box, lens: Lens, plan: StatePlan, resources: Resources, rng: np.random.Generator
) -> tuple[LensState, tuple[float, float]]:
    """The pupil depth, of those that the lens may have, that leaks most by mirrors; and the least and most mean strength."""
    if len(plan.variants) == 1:
        return plan.variants[0], (0.0, 0.0)
    found = []
    for state in plan.variants:
        setup = setup_of(box, lens, state, plan, resources, target="lens", rng=rng)
        look = leak_picture(state, plan.grid.resized(min(LOOK_COLUMNS, plan.grid.columns)), setup.mirror, rng=rng, most_mirrors=1)
        found.append((float(look.relative.mean()), state))
    means = [mean for mean, _ in found]
    return found[int(np.argmax(means))][1], (min(means), max(means))


def in_frame(lens: LensState, grid: PixelGrid, direction: FloatArray) -> NDArray[np.bool_]:
    """Whether directions (N, 3) lie in the recorded picture, as seen from the pupil (N,)."""
    ring = frame_slopes(lens, grid)
    outline = shapely.Polygon(ring).convex_hull
    ahead = direction[:, 2] > 1e-9
    slope = direction[:, :2] / np.where(ahead, direction[:, 2], 1.0)[:, None]
    return np.asarray(ahead & shapely.contains_xy(outline, slope[:, 0], slope[:, 1]))


def frame_slopes(lens: LensState, grid: PixelGrid) -> FloatArray:
    """Slopes (K, 2) dx/dz, dy/dz round the edge of the recorded picture, in order."""
    corners = whole_frame(grid).corners_mm()
    steps = np.linspace(0.0, 1.0, 24, endpoint=False)[:, None]
    edge = np.concatenate([corners[k] + steps * (corners[(k + 1) % 4] - corners[k]) for k in range(4)])
    return pencils_for(lens, edge).slope


def opening_rows(
    setup: Setup, picture: LeakPicture, sky: Sky, frame: NDArray[np.bool_], rng: np.random.Generator
) -> tuple[OpeningRow, ...]:
    """What each opening lets in, the worst first."""
    own_field = float(sky.irradiance(frame).sum()) or 1.0
    mirrored = picture.by_opening()
    peaks = (picture.absolute / picture.front).max(axis=(1, 2))
    outside = sky.open_sr(~frame), sky.irradiance(~frame)
    rows = []
    for k, opening in enumerate(setup.world.openings):
        by_points = opening.kind not in (OpeningKind.MOUTH, OpeningKind.REST)
        seen = (
            through_opening(setup.target, setup.world, k, rng=rng)
            if by_points
            else Through(
                open_sr=float(outside[0][k]), open_stderr_sr=0.0, irradiance_sr=float(outside[1][k]), irradiance_stderr_sr=0.0
            )
        )
        if opening.kind is OpeningKind.REST and seen.open_sr == 0.0 and mirrored[k] == 0.0:
            continue
        rows.append(
            OpeningRow(
                name=opening.name,
                kind=opening.kind,
                part=opening.part,
                area_mm2=opening.area_mm2,
                open_sr=seen.open_sr,
                open_stderr_sr=seen.open_stderr_sr,
                glass_share=seen.irradiance_sr / own_field,
                mirrored=float(mirrored[k]),
                peak=float(peaks[k]),
            )
        )
    return tuple(sorted(rows, key=lambda row: (-row.veil, row.name)))


def _light_row(light: StrayLight, setup: Setup, lens: LensState, grid: PixelGrid, rng: np.random.Generator) -> LightRow:
    azimuth, elevation = angles_deg(light.direction)
    return LightRow(
        light=light,
        azimuth_deg=azimuth,
        elevation_deg=elevation,
        in_frame=bool(in_frame(lens, grid, light.direction[None])[0]),
        off_share=1.0 if light.direction[2] > 0 else 0.0,
        seen=light_share(setup.target, setup.world, light, rng=rng),
        veil=veil_of(setup.target, setup.world, light, setup.linings, rng=rng),
    )
