"""How far flags must come in to keep the lights of a show off the glass, alone and two together. Opens no file, prints nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geometry.flags import LEAST_DEG, MOST_DEG
from raytrace.lights import LightPlace
from scenes.changes.angle_steps import rounded_down
from scenes.changes.flag_cuts import PAIR_ANGLES, LightInState, sides_of
from scenes.changes.flag_summaries import FlagSummary
from scenes.scene_file.tables.scene import Scene
from scenes.states.state import State
from scenes.states.stray import angles_deg, stray_lights


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
