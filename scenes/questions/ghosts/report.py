"""Ghosts of one state: where they lie, and which tilt sends them out of the frame. Opens and prints nothing."""

from __future__ import annotations

from dataclasses import dataclass

from raytrace.ghosts.mirrored import centred_tilt_deg
from scenes.questions.ghosts.places import ghost_lights, notes_of
from scenes.questions.ghosts.set_tilt import GhostState
from scenes.questions.ghosts.tilts import TiltableBox, TiltAnswer, TiltCurve, tilt_answers, tilt_curves_of
from scenes.states.names import middle_variant
from scenes.states.state import State


@dataclass(frozen=True, slots=True, kw_only=True)
class GhostReport(GhostState):
    """Lights, ghosts and tilts for one lens, zoom and focus, at the widest stop asked for."""

    tilts: tuple[TiltAnswer, ...]
    curves: tuple[TiltCurve, ...]
    notes: tuple[str, ...]

    @property
    def filters(self) -> tuple[str, ...]:
        """Names of the filters in the box."""
        return tuple(glass.name for glass in self.plan.box.glasses)

    @property
    def rule_deg(self) -> float:
        """The tilt that the rule of thumb gives, atan(h / f) / 2 for the tallest guide [deg]."""
        tallest_mm = max(guide.half_height_mm for guide in self.plan.guides)
        return centred_tilt_deg(tallest_mm, middle_variant(self.plan).field_focal_mm)


def ghost_report(plan: State, *, with_grid: bool = False) -> GhostReport:
    """Everything about ghosts in one state."""
    lights = ghost_lights(plan, with_grid=with_grid)
    tiltable = TiltableBox(plan)
    return GhostReport(
        tiltable=tiltable,
        lights=lights,
        tilts=tilt_answers(tiltable, lights),
        curves=tilt_curves_of(tiltable, lights.wanted_out[0][1][0]),
        notes=tuple(notes_of(plan, lights.below)),
    )
