"""How far flags must come in to keep the lights of a show off the glass, alone and two together. Opens no file, prints nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geometry.arrays import FloatArray
from geometry.flags import LEAST_DEG, MOST_DEG
from geometry.frame import Side
from geometry.openings import enclosure_of
from raytrace.lights import LightPlace
from raytrace.stray.flag_light import Shading, Shield, shading_of
from raytrace.stray.target import FlatTarget, beam_on_faces, glass_face, lens_front_face
from raytrace.stray.world import World
from scenes.changes.flag_angles import FlagPlace, FlagState, FlagSummary, rounded_down
from scenes.rig.box import fit_of
from scenes.runtime.progress import Tick, silent
from scenes.scene_file.tables.box import Box
from scenes.scene_file.tables.scene import Scene
from scenes.states.select import widest_stops
from scenes.states.state import State
from scenes.states.stray import angles_deg, light_in_frame, stray_lights

PAIR_DEG = 0.5  # steps of the first flag of two
LEANS_DEG = 5.0  # a light nearer to the axis than this on a side does not come from that side
PAIR_ANGLES = np.arange(LEAST_DEG, MOST_DEG + PAIR_DEG, PAIR_DEG)


@dataclass(frozen=True, slots=True, kw_only=True)
class LightInState:
    """One light in one state: whether it is in the picture, comes from behind the glass, or reaches the glass with no flag.

    cut_deg and bare_cut_deg: by flag, the widest angle that keeps it off, with and without extension; second_deg: by two flags, for
    the first at PAIR_ANGLES the widest angle of the second. inf where the light is off whatever the flag does, -inf where it can't.
    """

    light: str
    plan: State
    target: str
    in_picture: bool
    reaches: bool
    cut_deg: dict[str, float]
    bare_cut_deg: dict[str, float]
    second_deg: dict[tuple[str, str], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """One flag against one light over all states: it may be opened from clear_deg, and must not be opened beyond cut_deg.

    Nor beyond what the frame allows, flag.most_deg. decided_by is the state that asks for the cut.
    """

    flag: FlagSummary
    clear_deg: float
    cut_deg: float
    bare_clear_deg: float
    bare_cut_deg: float
    decided_by: State

    @property
    def upto_deg(self) -> float:
        """The widest angle that the light and the frame allow; inf where neither says anything."""
        return min(self.cut_deg, self.flag.most_deg) if self.flag.most_deg < MOST_DEG else self.cut_deg

    @property
    def opens(self) -> bool:
        """Whether there is an angle that does both."""
        return max(self.clear_deg, LEAST_DEG) <= self.upto_deg

    @property
    def missing_deg(self) -> float:
        """How much is missing; inf where no angle keeps the light off."""
        return max(self.clear_deg, LEAST_DEG) - self.cut_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class PairWindow:
    """Two flags together against one light over all states: the angles that leave both the same room, and that room [deg].

    Where no two angles do it the room is negative: both would have to come in by so much more than the frame allows; None where
    not even that helps. met says what would stand in each other's way so.
    """

    first: FlagSummary
    second: FlagSummary
    first_deg: float
    second_deg: float
    room_deg: float | None
    met: str = ""

    @property
    def opens(self) -> bool:
        """Whether the two can be set so, and do it."""
        return self.room_deg is not None and self.room_deg >= 0 and not self.met


@dataclass(frozen=True, slots=True, kw_only=True)
class LightAnswer:
    """One light over all states: windows of each flag, the best pairs, and how it fares without flags."""

    light: LightPlace
    azimuth_deg: float
    elevation_deg: float
    target: str
    by_state: tuple[LightInState, ...]
    windows: tuple[Window, ...]
    pairs: tuple[PairWindow, ...]

    @property
    def in_picture(self) -> tuple[LightInState, ...]:
        """States in whose picture it is: no flag may cut it there."""
        return tuple(seen for seen in self.by_state if seen.in_picture)

    @property
    def reaches(self) -> bool:
        """Whether it reaches the target of any state with no flag on the box."""
        return any(seen.reaches for seen in self.by_state)

    @property
    def is_open(self) -> bool:
        """Whether it reaches the target whatever the flags are set to within what the frame allows."""
        works = any(w.opens for w in self.windows) or any(p.opens for p in self.pairs)
        return any(seen.reaches and not seen.in_picture for seen in self.by_state) and not works


class FlaglessBoxes:
    """What lights fall on: the box without its flags, state by state; search trees are made once for each lens and setting."""

    def __init__(self, change: Callable[[Box], Box] | None = None) -> None:
        self._change = change
        self._worlds: dict[tuple[str, float], World] = {}

    def box(self, plan: State) -> Box:
        """The box as fitted to the lens of a state."""
        return plan.fitted if self._change is None else self._change(plan.fitted)

    def world(self, plan: State) -> World:
        """The box of a state without its flags."""
        key = (plan.lens_name, plan.travel_mm)
        if key not in self._worlds:
            bare = self.box(plan).model_copy(update={"flag": ()})
            assembly, _ = plan.rebuilt(bare)
            self._worlds[key] = World.of(enclosure_of(assembly, fit_of(bare, plan.lens, plan.travel_mm)))
        return self._worlds[key]

    def target(self, plan: State) -> FlatTarget:
        """The outermost glass as far as the beam crosses it, over all pupil depths; else the lens front."""
        if plan.box.glasses:
            return glass_face(plan.box, [beam_on_faces(lens, plan.grid, plan.box) for lens in plan.variants])
        front = fit_of(self.box(plan), plan.lens, 0.0).front
        return lens_front_face(front.glass_mm / 2)


def lights_in_states(
    flagless: FlaglessBoxes,
    lights: Sequence[LightPlace],
    states: Sequence[FlagState],
    flags: Sequence[FlagSummary],
    tick: Tick = silent,
) -> Iterator[LightInState]:
    """Every light in every state that has flags; of several stops the widest, whose beam holds those of the others."""
    start = {flag.name: flag.clear_deg for flag in flags}
    for plan in widest_stops(state.plan for state in states):
        target, places = flagless.target(plan), [state.flag for state in states if state.plan is plan]
        for light in lights:
            yield light_in_state(light, plan, target, flagless.world(plan), places, start)
        tick(1, plan.key)


def light_in_state(
    light: LightPlace, plan: State, target: FlatTarget, world: World, places: Sequence[FlagPlace], start: dict[str, float]
) -> LightInState:
    """One light in one state."""
    shown = any(light_in_frame(lens, plan.grid, light) for lens in plan.variants)
    toward = [place for place in places if place.side in sides_of(light)]
    named = [(place, bars) for place in toward for bars in (place.bars, place.bars.bare)]
    shields = [Shield(hinge=place.hinge, bars=bars, from_deg=start[place.name]) for place, bars in named]
    pairs = tuple(neighbours([place.side for place in toward]))
    found = Shading(widest_deg=np.zeros((len(shields), 0)))
    if not shown:
        found = shading_of(target, light, world, shields, [(2 * i, 2 * j) for i, j in pairs])
    return LightInState(
        light=light.name,
        plan=plan,
        target=target.name,
        in_picture=shown,
        reaches=found.widest_deg.shape[1] > 0,
        cut_deg={place.name: found.alone_deg(2 * k) for k, place in enumerate(toward)},
        bare_cut_deg={place.name: found.alone_deg(2 * k + 1) for k, place in enumerate(toward)},
        second_deg={(toward[i].name, toward[j].name): found.second_deg(2 * i, 2 * j, PAIR_ANGLES) for i, j in pairs},
    )


def neighbours(sides: Sequence[Side]) -> Iterator[tuple[int, int]]:
    """Flags on neighbouring sides: top or bottom with left or right."""
    for i, first in enumerate(sides):
        for j, second in enumerate(sides):
            if first in (Side.TOP, Side.BOTTOM) and second in (Side.LEFT, Side.RIGHT):
                yield i, j


Met = Callable[[dict[str, float]], str]  # what meets where flags are set to angles by name; '' where nothing does


def nothing_met(angles_deg: dict[str, float]) -> str:  # noqa: ARG001 - a Met
    """A Met that has not looked."""
    return ""


def light_answers(
    scene: Scene, by_state: Sequence[LightInState], flags: Sequence[FlagSummary], met: Met = nothing_met
) -> tuple[LightAnswer, ...]:
    """What lights do state by state, gathered light by light; pairs of flags that would do it are asked whether they meet."""
    return tuple(
        _answer(light, [seen for seen in by_state if seen.light == light.name], flags, met) for light in stray_lights(scene)
    )


def _answer(light: LightPlace, by_state: Sequence[LightInState], flags: Sequence[FlagSummary], met: Met) -> LightAnswer:
    azimuth, elevation = angles_deg(light.direction)
    wanted = [seen for seen in by_state if not seen.in_picture and seen.reaches]
    toward = [flag for flag in flags if flag.side in sides_of(light)]
    windows = [window_of(flag, wanted) for flag in toward] if wanted else []
    pairs = [pair_of(a, b, wanted) for a in toward for b in toward if wanted and (a.name, b.name) in wanted[0].second_deg]
    return LightAnswer(
        light=light,
        azimuth_deg=azimuth,
        elevation_deg=elevation,
        target=by_state[0].target if by_state else "",
        by_state=tuple(by_state),
        windows=tuple(window for window in windows if window is not None),
        pairs=tuple(_asked(pair, met) for pair in pairs if pair is not None),
    )


def _asked(pair: PairWindow, met: Met) -> PairWindow:
    if not pair.opens:
        return pair
    return replace(pair, met=met({pair.first.name: pair.first_deg, pair.second.name: pair.second_deg}))


def sides_of(light: LightPlace) -> tuple[Side, ...]:
    """Sides that a light comes from, the stronger first."""
    x, y = float(light.direction[0]), float(light.direction[1])
    sides = [(abs(x), Side.LEFT if x > 0 else Side.RIGHT), (abs(y), Side.TOP if y > 0 else Side.BOTTOM)]
    return tuple(side for lean, side in sorted(sides, reverse=True) if lean > math.sin(math.radians(LEANS_DEG)))


def window_of(flag: FlagSummary, by_state: Sequence[LightInState]) -> Window | None:
    """A flag's window against a light over the states in which the flag is fitted and the light reaches the target."""
    mine = [seen for seen in by_state if flag.name in seen.cut_deg]
    if not mine:
        return None
    least = min(mine, key=lambda seen: seen.cut_deg[flag.name])
    bare = [seen.bare_cut_deg[flag.name] for seen in mine]
    kept = flag.kept()
    return Window(
        flag=flag,
        clear_deg=flag.clear_deg,
        cut_deg=rounded_down(least.cut_deg[flag.name]),
        bare_clear_deg=kept.limit("clear_deg", bare=True)[0] if kept.states else math.inf,
        bare_cut_deg=rounded_down(min(bare)),
        decided_by=least.plan,
    )


def pair_of(first: FlagSummary, second: FlagSummary, by_state: Sequence[LightInState]) -> PairWindow | None:
    """Two flags that share the work: the setting that leaves both equally far from the frame."""
    key = (first.name, second.name)
    mine = [seen.second_deg[key] for seen in by_state if key in seen.second_deg]
    clear = [max(flag.clear_deg, LEAST_DEG) for flag in (first, second)]
    if len(mine) < len(by_state) or not all(math.isfinite(angle) for angle in clear):
        return None
    widest = np.minimum(np.min(mine, axis=0), second.most_deg)
    room = np.where(first.most_deg >= PAIR_ANGLES, np.minimum(PAIR_ANGLES - clear[0], widest - clear[1]), -np.inf)
    k = int(np.argmax(room))
    if not np.isfinite(room[k]):
        return PairWindow(first=first, second=second, first_deg=math.nan, second_deg=math.nan, room_deg=None)
    second_deg = rounded_down(float(widest[k]))
    least = min(float(PAIR_ANGLES[k]) - clear[0], second_deg - clear[1])
    return PairWindow(first=first, second=second, first_deg=float(PAIR_ANGLES[k]), second_deg=second_deg, room_deg=round(least, 1))
