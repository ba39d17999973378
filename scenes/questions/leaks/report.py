"""Where stray light gets in: one state of a show measured for direct, mirrored and bounced light. Opens no file, prints nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from importlib import import_module

import numpy as np
from numpy.typing import NDArray

from geometry.body import Kind
from geometry.openings import OpeningKind
from raytrace.lights import LightPlace
from raytrace.optics.in_frame import in_frame
from raytrace.optics.lens import LensState
from raytrace.stray.bounce import Veil, veil_of
from raytrace.stray.direct import LightShare, Sky, Through, light_share, sky_of, through_opening, worth_of
from raytrace.stray.light_on_glass import Reach, SetFlag, reach_of
from raytrace.stray.picture import LeakPicture, leak_picture
from scenes.changes.flag_places import set_flags
from scenes.runtime.engines import seed_of
from scenes.runtime.progress import Tick, silent
from scenes.runtime.shared_out import shared_out
from scenes.states.state import State
from scenes.states.stray import StraySetup, angles_deg, light_in_frame, setup_of, stray_lights, world_without

LIBRARIES = ("trimesh",)
STATE_S = 3.0  # what a state takes, about
PICTURE_COLUMNS = 1024
LOOK_COLUMNS = 160  # for recomputing a change: a tenth of a per cent in the total is enough to compare
SKY_SIZE = 121
WORTH_SIZE = 61
THREADS = 2  # more gain little: most of the time goes into one search tree
GLARE = 0.01  # share of the light on the glass that a lens spreads over its picture; coated primes 0.5 to 2 % (from memory)
WORTHY = (Kind.FLAG, Kind.EXTENSION, Kind.HOOD, Kind.MASK, Kind.SEAL, Kind.SOLID)


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

    light: LightPlace
    azimuth_deg: float
    elevation_deg: float
    in_frame: bool
    off_share: float  # what it lights of the target with no box
    seen: LightShare
    veil: Veil
    reach: Reach  # whether it is on the target at all

    @property
    def lit(self) -> bool:
        """Whether any of the target is known to see it."""
        return self.seen.share > 0.0 or self.reach is Reach.SOME


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakReport:
    """All that was found for one lens, zoom, focus and stop."""

    plan: State
    lens: LensState
    setup: StraySetup
    openings: tuple[OpeningRow, ...]
    lights: tuple[LightRow, ...]
    worth_sr: tuple[tuple[str, float], ...]
    picture: LeakPicture
    mirrored_range: tuple[float, float]
    sky: Sky
    frame: NDArray[np.bool_]
    open_sr: float
    off_sr: float


def reports_of(plans: Sequence[State], *, target: str, columns: int, tick: Tick = silent) -> list[LeakReport]:
    """Everything about some states, on all cores; `tick` counts them."""
    for name in LIBRARIES:  # here once, and not in every process
        import_module(name)
    threads = THREADS if len(plans) == 1 else 1
    run = partial(run_leaks, target=target, columns=columns, threads=threads)
    return shared_out(run, plans, each_s=STATE_S, tick=tick, words=lambda plan: plan.key, elsewhere=True)


def run_leaks(plan: State, *, target: str = "glass", columns: int = PICTURE_COLUMNS, threads: int = THREADS) -> LeakReport:
    """Everything about one state: leak picture, sky, openings, lights, and what each part is worth."""
    rng = np.random.default_rng(seed_of(plan.key))
    pupil, spread = _worst_pupil(plan, rng)
    setup = setup_of(plan, pupil, plan.fitted, target=target, rng=rng)
    picture = leak_picture(pupil, plan.grid.resized(min(columns, plan.grid.columns)), setup.mirror, rng=rng, threads=threads)
    sky = sky_of(setup.target, setup.world, SKY_SIZE)
    frame = in_frame(pupil, plan.grid, sky.direction)
    names = [wall.name for wall in setup.world.walls if wall.kind in WORTHY and wall.group]
    coarse = sky_of(setup.target, setup.world, WORTH_SIZE).direction
    outside = ~in_frame(pupil, plan.grid, coarse)
    without = {name: world_without(name, plan) for name in dict.fromkeys(names)}
    worth = worth_of(setup.target, setup.world, without, outside, WORTH_SIZE)
    rows = opening_rows(setup, picture, sky, frame, rng)
    flags = set_flags(plan.fitted, plan)
    return LeakReport(
        plan=plan,
        lens=pupil,
        setup=setup,
        openings=rows,
        lights=tuple(_light_row(light, setup, plan, flags, rng) for light in stray_lights(plan.scene)),
        worth_sr=tuple(sorted(worth.items(), key=lambda item: -item[1])),
        picture=picture,
        mirrored_range=spread,
        sky=sky,
        frame=frame,
        open_sr=sum(row.open_sr for row in rows),
        off_sr=2 * math.pi - float(frame.sum()) * sky.chart.step**2,
    )


def _worst_pupil(plan: State, rng: np.random.Generator) -> tuple[LensState, tuple[float, float]]:
    """The pupil depth, of those that the lens may have, that leaks most by mirrors; and the least and most mean strength."""
    if len(plan.variants) == 1:
        return plan.variants[0], (0.0, 0.0)
    found = []
    for pupil in plan.variants:
        setup = setup_of(plan, pupil, plan.fitted, target="lens", rng=rng)
        look = leak_picture(pupil, plan.grid.resized(min(LOOK_COLUMNS, plan.grid.columns)), setup.mirror, rng=rng, most_mirrors=1)
        found.append((float(look.relative.mean()), pupil))
    means = [mean for mean, _ in found]
    return found[int(np.argmax(means))][1], (min(means), max(means))


def opening_rows(
    setup: StraySetup, picture: LeakPicture, sky: Sky, frame: NDArray[np.bool_], rng: np.random.Generator
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


def _light_row(light: LightPlace, setup: StraySetup, plan: State, flags: Sequence[SetFlag], rng: np.random.Generator) -> LightRow:
    azimuth, elevation = angles_deg(light.direction)
    return LightRow(
        light=light,
        azimuth_deg=azimuth,
        elevation_deg=elevation,
        in_frame=any(light_in_frame(variant, plan.grid, light) for variant in plan.variants),
        off_share=1.0 if light.direction[2] > 0 else 0.0,
        seen=light_share(setup.target, setup.world, light, rng=rng),
        veil=veil_of(setup.target, setup.world, light, setup.linings, rng=rng),
        reach=reach_of(setup.target.face, light, setup.world, flags) if setup.target.face else Reach.UNSURE,
    )
