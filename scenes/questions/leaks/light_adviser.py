"""Which flag keeps a light off, and how far in it has to come; every angle is put into the box and measured again."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from raytrace.box import Box as RayBox
from raytrace.optics.lens import pencils_for
from raytrace.reference import reference_shares
from raytrace.shares import loss_stops
from raytrace.stray.direct import lit_share
from raytrace.stray.light_on_glass import Reach, reach_of
from scenes.changes.angle_steps import rounded_down
from scenes.changes.flag_collisions import come_in, with_flag
from scenes.changes.flag_cuts import Cut, sides_of
from scenes.changes.flag_limits import FlagLimit, FlagLimits
from scenes.changes.flag_places import set_flags
from scenes.changes.tilts import Refit
from scenes.changes.trial import Change
from scenes.questions.leaks.advice import FlagToOpen, LightAdvice
from scenes.questions.leaks.advice_limits import AdviceLimits
from scenes.questions.leaks.report import LeakReport, LightRow
from scenes.rig.box import flag_name
from scenes.scene_file.tables.box import Box
from scenes.states.stray import setup_of

FLAG_STEP_DEG = 4.0  # how a flag that cannot keep a light off is brought in, down to its limit
ALIKE_SHARE = 0.005  # of the target: a setting that lets in less by no more than this is not worth bringing the flag in for


def flags_to_open(box: Box, limits: FlagLimits) -> Iterator[FlagToOpen]:
    """Flags that stand farther in than keeps every state clear that they can keep clear."""
    for flag in box.flag:
        limit = limits.of(flag_name(flag))
        if flag.angle_deg < limit.clear_deg < math.inf:
            yield FlagToOpen(flag=flag_name(flag), angle_deg=flag.angle_deg, limit=limit)


class LightAdviser:
    """One report's box, ready to have its flags set otherwise and to be measured again."""

    def __init__(self, report: LeakReport, target: str, keeping: AdviceLimits) -> None:
        self.report, self.plan, self.target, self.keeping = report, report.plan, target, keeping
        self.box, self.refit = self.plan.fitted, Refit(self.plan)
        self._shares: dict[tuple[str, int, float], float] = {}  # by light, flag and angle

    def advice(self, row: LightRow) -> Iterator[LightAdvice | str]:
        """What keeps a light off; nothing of one that is in the picture, or reaches nothing."""
        if row.in_frame or not row.lit:
            return
        tried = [self._closed_flag(row, place) for place in self._flags_for(row)]
        if not tried:
            yield f"{row.light.name}: no flag stands on its side ({' or '.join(_sides_of(row))}); hinge one there"
        else:
            yield self._judged(min(tried, key=lambda one: (not one.keeps_off, one.to_share, one.angle_deg - one.to_angle_deg)))

    def _flags_for(self, row: LightRow) -> tuple[int, ...]:
        """Flags on the sides that the light comes from."""
        return tuple(k for k, flag in enumerate(self.box.flag) if flag.side in _sides_of(row))

    def _closed_flag(self, row: LightRow, place: int) -> LightAdvice:
        """The flag come in until the light is off, or as far as keeps clear every state that it can keep clear.

        So set it is put into the boxes of all lenses and judged: where a state that is clear no longer were, it stays as it is.
        """
        flag = self.box.flag[place]
        name, now = flag_name(flag), flag.angle_deg
        limit = self.keeping.limits.of(name)
        if math.isinf(limit.clear_deg):
            return self._told(row, place, limit, now, "")
        apart = come_in(self.refit, self.box, place, min(limit.clear_deg, now))
        least = max(limit.clear_deg, apart.angle_deg)
        off = self._off(row, place)
        best = self._kept_off_at(row, place, limit, least, off.angle_deg)
        if any(self.keeping.kept.spoilt(_set_by_name(name, best))):
            best = now
        return self._told(row, place, limit, best, apart.meets)

    def _told(self, row: LightRow, place: int, limit: FlagLimit, to_deg: float, meets: str) -> LightAdvice:
        flag = self.box.flag[place]
        share, reach = self._seen_at(row, place, to_deg)
        return LightAdvice(
            light=row.light.name,
            flag=flag_name(flag),
            angle_deg=flag.angle_deg,
            to_angle_deg=to_deg,
            share=row.seen.share,
            to_share=share,
            loss_stops=self._loss_of(place, to_deg),
            limit=limit,
            meets=meets,
            to_reach=reach,
            off=self._off(row, place),
        )

    def _judged(self, found: LightAdvice) -> LightAdvice:
        """The advice with the states that are not clear with the flag so set."""
        return replace(found, not_clear=self.keeping.kept.not_clear(_set_by_name(found.flag, found.to_angle_deg)))

    def _off(self, row: LightRow, place: int) -> Cut:
        """The widest angle at which the flag alone keeps a light off with this lens, as `brimline flags` has it."""
        found = self.keeping.cuts(self.target).of(flag_name(self.box.flag[place]), row.light, self.plan.lens_name)
        return replace(found, angle_deg=rounded_down(found.angle_deg))

    def _kept_off_at(self, row: LightRow, place: int, limit: FlagLimit, least_deg: float, off_deg: float) -> float:
        """The widest angle at which the flag alone keeps a light off, within what it may be set to; else one that lets least in."""
        now = max(min(self.box.flag[place].angle_deg, limit.most_deg), least_deg)
        cut = min(now, off_deg)
        return cut if cut >= least_deg else self._least_lit_at(row, place, now, least_deg)

    def _least_lit_at(self, row: LightRow, place: int, now_deg: float, least_deg: float) -> float:
        """The widest angle of those that let least of a light in."""
        angles = [now_deg, *_steps_down(now_deg, least_deg, FLAG_STEP_DEG)]
        return _widest_of_the_least([(angle, self._share_at(row, place, angle)) for angle in angles])[0]

    def _seen_at(self, row: LightRow, place: int, angle_deg: float) -> tuple[float, Reach]:
        """The share of the target that a light lights with a flag so set, and whether it is on it at all."""
        share = self._share_at(row, place, angle_deg)
        aim = self.report.setup.target
        if share > 0 or aim.face is None:
            return share, Reach.SOME
        box = with_flag(self.box, place, angle_deg)
        setup = setup_of(self.plan, self.report.lens, box, target=aim, rng=np.random.default_rng(3))
        return share, reach_of(aim.face, row.light, setup.world, set_flags(box, self.plan))

    def _share_at(self, row: LightRow, place: int, angle_deg: float) -> float:
        key = (row.light.name, place, angle_deg)
        if key not in self._shares:
            self._shares[key] = self._share_with(row, place, angle_deg)
        return self._shares[key]

    def _share_with(self, row: LightRow, place: int, angle_deg: float) -> float:
        rng = np.random.default_rng(3)
        aim = self.report.setup.target
        setup = setup_of(self.plan, self.report.lens, with_flag(self.box, place, angle_deg), target=aim, rng=rng)
        return lit_share(setup.target, setup.world, row.light, rng=rng)

    def _loss_of(self, place: int, angle_deg: float) -> float:
        """Stops that this flag alone, so set, takes at the worst place of the guides' edges, over all pupil depths."""
        plan = self.plan
        _, box = plan.rebuilt(with_flag(self.box, place, angle_deg))
        group = f"box.flag[{place + 1}]"
        only = RayBox(parts=tuple(part for part in box.parts if part.group.startswith(group)), glasses=box.glasses)
        edge = np.concatenate([guide.rim_points_mm(17) for guide in plan.guides])
        shares = [
            reference_shares(pencils_for(state, edge), only, log2_rays=6, rng=np.random.default_rng(1)).clear_share.min()
            for state in plan.variants
        ]
        return float(loss_stops(np.array(min(shares))))


def _set_by_name(name: str, angle_deg: float) -> Change:
    """A box with its flags of that name at another angle: lenses may have flags of their own."""

    def changed(box: Box) -> Box:
        flags = tuple(flag.model_copy(update={"angle_deg": angle_deg}) if flag_name(flag) == name else flag for flag in box.flag)
        return box if flags == box.flag else box.model_copy(update={"flag": flags})

    return changed


def _steps_down(from_deg: float, to_deg: float, step_deg: float) -> list[float]:
    """Angles from the step after the first one down to the last, which is among them; none where it is not below the first."""
    if not to_deg < from_deg:
        return []
    return [*np.arange(from_deg - step_deg, to_deg + 1e-9, -step_deg).round(6).tolist(), to_deg]


def _widest_of_the_least(found: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Of angles with what they let in the widest that lets in next to the least."""
    least = min(share for _, share in found)
    return max(one for one in found if one[1] <= least + ALIKE_SHARE)


def _sides_of(row: LightRow) -> tuple[str, ...]:
    """Sides that a light comes from, the stronger first."""
    return tuple(side.value for side in sides_of(row.light))
