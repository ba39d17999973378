"""Advice on leaks as values: changes that close openings, flags that keep lights off, flags that stand too far in."""

from __future__ import annotations

from dataclasses import dataclass

from raytrace.stray.light_on_glass import Reach
from scenes.changes.flag_cuts import NO_LIGHT, Cut
from scenes.changes.flag_limits import FlagLimit
from scenes.states.state import State

LEAST_VEIL = 1e-7  # of the picture's brightness: below 23 stops under it nothing is worth a change
HELPS = 0.98  # of all gaps: a change that leaves more does nothing that could be seen


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningAdvice:
    """A change that closes an opening, and all gaps of the box before and after it.

    before and after are veils against the picture's brightness; closes says whether nothing of this opening is left. `against` says
    why a change was not even measured: the box has no room for it, or the frame would pay for it. `but` names a state that it
    leaves with less room than a clear frame has.
    """

    opening: str
    change: str
    before: float
    after: float
    all_before: float
    all_after: float
    against: str = ""
    but: str = ""

    @property
    def closes(self) -> bool:
        """Whether nothing of the opening is left."""
        return self.after < LEAST_VEIL

    @property
    def helps(self) -> bool:
        """Whether the gaps of the box together let in less than before, or this one nothing."""
        return not self.against and (self.closes or self.all_after < HELPS * self.all_before)


@dataclass(frozen=True, slots=True, kw_only=True)
class LightAdvice:
    """How far in a flag has to come to keep a light off the target, within what keeps every state clear (limit).

    A flag that stands farther in than that is first opened to it. meets names what it would meet farther in, where that comes
    first. off is the angle that keeps the light off at every focus and zoom of the lens; to_reach tells of the state at hand alone.
    loss_stops is what the flag, so set, takes from the picture. not_clear names the states, all settings between those
    checked among them, that `check` does not call clear with the flag so set, though none that is clear now.
    """

    light: str
    flag: str
    angle_deg: float
    to_angle_deg: float
    share: float
    to_share: float
    loss_stops: float
    limit: FlagLimit
    meets: str = ""
    to_reach: Reach = Reach.UNSURE
    off: Cut = NO_LIGHT
    not_clear: tuple[State, ...] = ()

    @property
    def is_too_far_in(self) -> bool:
        """Whether the flag, as set, already stands farther in than keeps every state clear."""
        return self.angle_deg < self.limit.clear_deg

    @property
    def keeps_off(self) -> bool:
        """Whether the light no longer reaches the target, at any focus and zoom of the lens."""
        return self.to_reach is Reach.NONE and self.to_angle_deg <= self.off.angle_deg

    @property
    def only_here(self) -> bool:
        """Whether it no longer reaches the target in the state at hand, but does so in another."""
        return self.to_reach is Reach.NONE and not self.keeps_off


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagToOpen:
    """A flag of the box that stands farther in than keeps every state clear that it can keep clear."""

    flag: str
    angle_deg: float
    limit: FlagLimit


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """The whole page: flags that stand too far in, openings from the worst on, then lights."""

    openings: tuple[OpeningAdvice, ...]
    lights: tuple[LightAdvice | str, ...]
    too_far_in: tuple[FlagToOpen, ...] = ()
