"""How far in each flag of a show may come, for each state and for all of them. Opens no file, prints nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from geometry.arrays import FloatArray
from geometry.flags import LEAST_DEG, boards
from scenes.changes.edge_light import Rim
from scenes.changes.flag_bench import FlagBench
from scenes.changes.flag_places import FlagPlace, flag_places
from scenes.changes.flag_summaries import FlagState, FlagSummary
from scenes.changes.flagless import InBeam, in_beam_of
from scenes.runtime.first_run import prepare
from scenes.runtime.progress import Tick, silent
from scenes.runtime.shared_out import shared_out
from scenes.states.full_range import Ranged
from scenes.states.select import by_setting
from scenes.states.state import State

NOTHING_LEFT_OUT: Mapping[str, float] = {}
STATE_S, JOINT_S = 0.15, 0.005  # what a state takes, and the flags of one together, about


@dataclass(frozen=True, slots=True, kw_only=True)
class FlaggedState:
    """A state with the limits of its flags, and what does not hang on how they are set.

    in_beam: the other parts that touch the beam, looked at in states of a widest stop, whose beams hold those of the others;
    fixed: what all but the flags leave at the edges of the guides (`edge_light.Rim`), None where fewer than two flags are fitted.
    """

    plan: State
    flags: tuple[FlagState, ...]
    in_beam: tuple[InBeam, ...]
    fixed: tuple[FloatArray, ...] | None


def flag_states(
    plans: Sequence[State], tick: Tick = silent, *, left_out_mm: Mapping[str, float] = NOTHING_LEFT_OUT
) -> list[FlaggedState]:
    """Every state with the limits of its flags; left_out_mm is more room for a clear frame, by lens."""
    prepare()
    asked = [(mine, left_out_mm.get(mine[0].lens_name, 0.0)) for mine in by_setting(plans)]
    count = {mine[0].key: len(mine) for mine, _ in asked}
    seconds = STATE_S * len(plans) / max(len(asked), 1)
    each = shared_out(_of_setting, asked, each_s=seconds, tick=lambda _, key="": tick(count[key], key), words=_key)
    found = {id(one.plan): one for mine in each for one in mine}
    return [found[id(plan)] for plan in plans]


def _of_setting(asked: tuple[tuple[State, ...], float]) -> tuple[FlaggedState, ...]:
    """All stops of a lens at one zoom and focus, the widest first: what holds for its beam holds for those that lie in it."""
    plans, left_out_mm = asked
    work, found = None, []
    for plan in plans:
        work = FlagBench(plan, left_out_mm=left_out_mm, wider=work)
        flags = tuple(_flag_state(work, place) for place in work.places)
        in_beam = in_beam_of(plan, work.stands_out) if plan is plans[0] and not work.rest_stands_out else ()
        fixed = work.rim.fixed if len(work.places) > 1 else None
        found.append(FlaggedState(plan=plan, flags=flags, in_beam=in_beam, fixed=fixed))
    return tuple(found)


def _key(asked: tuple[tuple[State, ...], float]) -> str:
    return asked[0][0].key


def _flag_state(work: FlagBench, place: FlagPlace) -> FlagState:
    bare = work.limits(place, place.bars.bare) if place.bars.extension_mm > 0.0 else None
    limits, near = work.limits(place, place.bars), work.focus_in_reach(place.hinge, place.bars)
    return FlagState(flag=place, plan=work.plan, limits=limits, bare=bare, focus_in_reach=near)


def states_between(ranges: Sequence[Ranged], flags: Sequence[FlagSummary]) -> Iterator[FlagState]:
    """States of lenses' ranges that ask more of a flag than any of its states that are known does."""
    prepare()
    asked = [(plan, one.left_out_mm) for one in ranges for plan in one.plans]
    held = {flag.name: _Held.of(flag) for flag in flags}
    for found in shared_out(partial(_asking_more, held), asked, each_s=STATE_S):
        yield from found


@dataclass(frozen=True, slots=True)
class _Held:
    """What all known states of a flag allow: from and up to which angle, and from which on without its extension."""

    clear_deg: float
    most_deg: float
    bare_deg: float

    @classmethod
    def of(cls, flag: FlagSummary) -> _Held | None:
        """What a flag's states allow; None where no angle clears any."""
        kept = flag.kept()
        if not kept.states:
            return None
        return cls(flag.clear_deg, flag.most_deg, kept.limit("clear_deg", bare=True)[0])


def _asking_more(held: Mapping[str, _Held | None], asked: tuple[State, float]) -> tuple[FlagState, ...]:
    plan, left_out_mm = asked
    work = FlagBench(plan, left_out_mm=left_out_mm)
    asking = (place for place in work.places if (known := held.get(place.name)) is not None and not _is_held(work, place, known))
    return tuple(_flag_state(work, place) for place in asking)


def _is_held(work: FlagBench, place: FlagPlace, flag: _Held) -> bool:
    """Whether a state is clear at both ends of what all others of a flag allow, with its extension and without."""
    asked = [(place.bars, flag.clear_deg), (place.bars, flag.most_deg), (place.bars.bare, flag.bare_deg)]
    return all(work.holds(place.hinge, bars, max(deg, LEAST_DEG)) for bars, deg in asked if deg < math.inf)


def joint_loss(states: Sequence[FlaggedState], flags: Sequence[FlagSummary]) -> tuple[float, State] | None:
    """The most that all flags together may cost, each at the angle where it alone costs the visible loss [stops], and where.

    Never less than they do cost: what each takes is added up. States that some flag cannot keep clear are left out, and those from
    which the rest of the box takes more than that by itself; None where no two flags are met.
    """
    angles = {flag.name: flag.kept().limit("visible_deg")[0] for flag in flags if flag.kept().states}
    shut = {state.plan.key for flag in flags for state in flag.hopeless}
    asked = []
    for state in states:
        met = tuple(place for place in flag_places(state.plan) if math.isfinite(angles.get(place.name, math.inf)))
        if len(met) > 1 and state.plan.key not in shut:
            asked.append((state.plan, met, state.fixed))
    losses = shared_out(partial(_joint_loss, angles), asked, each_s=JOINT_S)
    found = [(loss, plan) for (plan, *_), loss in zip(asked, losses, strict=True) if loss is not None]
    return max(found, key=lambda one: one[0], default=None)


def _joint_loss(
    angles: Mapping[str, float], asked: tuple[State, tuple[FlagPlace, ...], tuple[FloatArray, ...] | None]
) -> float | None:
    """What the flags of a state cost at their angles, added up [stops]; None where the rest of the box costs a visible loss."""
    plan, met, fixed = asked
    rim = Rim(plan, fixed)
    if rim.loss_stops(()) > plan.visible_loss_stops:
        return None
    return rim.loss_stops([boards(place.hinge, place.bars, angles[place.name]) for place in met])
