"""What closes each opening, and what keeps each light off; every change is put into the box and measured again."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from geometry.errors import GeometryError
from geometry.openings import OpeningKind
from raytrace.box import Box as RayBox
from raytrace.optics.in_frame import in_frame
from raytrace.optics.lens import pencils_for
from raytrace.reference import reference_shares
from raytrace.shares import loss_stops
from raytrace.stray.direct import lit_share, sky_of
from raytrace.stray.light_on_glass import Reach, reach_of
from raytrace.stray.picture import leak_picture
from scenes.changes.angle_steps import rounded_down
from scenes.changes.flag_collisions import come_in, with_flag
from scenes.changes.flag_cuts import NO_LIGHT, Cut, FlagCuts, sides_of
from scenes.changes.flag_limits import FlagLimit, FlagLimits
from scenes.changes.flag_places import set_flags
from scenes.changes.tilts import Refit, TiltRoom, lean_words
from scenes.changes.trial import Change, Kept, is_dark, spoilt_words
from scenes.questions.leaks.report import GLARE, LOOK_COLUMNS, WORTH_SIZE, LeakReport, LightRow, OpeningRow, opening_rows
from scenes.rig.box import flag_name, stage_name
from scenes.runtime.progress import Tick, silent
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.errors import SceneError
from scenes.scene_file.tables.box import Back, Box, Seal
from scenes.states.full_range import checked_ranges
from scenes.states.select import widest_stops
from scenes.states.state import State
from scenes.states.stray import setup_of

LEAST_VEIL = 1e-7  # of the picture's brightness: below 23 stops under it nothing is worth a change
HELPS = 0.98  # of all gaps: a change that leaves more does nothing that could be seen
FLAG_STEP_DEG = 4.0  # how a flag that cannot keep a light off is brought in, down to its limit
ALIKE_SHARE = 0.005  # of the target: a setting that lets in less by no more than this is not worth bringing the flag in for
TILTS_DEG = (8.0, 5.0, 3.0)  # of a tray, to either side: the largest that fits is measured
BORE_ROOM_MM = 8.0  # between barrel and bore of a back plate that is proposed; common practice, a donut needs it
SOFT = "donut"
TARGETS = ("glass", "lens")
ADVICE_S = 2.0  # what the openings of a lens, or a light, take, about
OPENINGS = -1  # stands for all openings where a light has its place


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


@dataclass(frozen=True, slots=True)
class _Changed:
    """A change in words, the box with it, what speaks against it, and what it costs: room that a clear frame has."""

    words: str
    box: Box
    against: str = ""
    but: str = ""


class AdviceLimits:
    """What advice goes by in every state and between them: clear states, the room for tilts and flags. Shared between reports."""

    def __init__(self, plans: Sequence[State]) -> None:
        ranges = checked_ranges(plans)
        states = (*widest_stops(plans), *(plan for one in ranges for plan in one.plans))
        self.limits, self.tilts, self.kept = FlagLimits(plans, ranges), TiltRoom(states), Kept(states)
        self._cuts = {target: FlagCuts(plans, ranges, self.limits, target=target) for target in TARGETS}

    def look(self) -> None:
        """Work out what all advice asks for, on all cores, before each process would do so by itself."""
        self.limits.all()
        self.kept.look()

    def cuts(self, target: str) -> FlagCuts:
        """How far in flags keep lights off a target, by the same states as their limits."""
        return self._cuts[target]

    def judged(self, change: _Changed, lens_name: str) -> _Changed:
        """A change with what the judgement of its lens's states says against it: it cannot be built, or one is no longer clear."""
        own = [state for state in self.kept.states if state.lens_name == lens_name]
        try:
            spoilt = self.kept.worst_spoilt(lambda _: change.box, own)
        except (GeometryError, SceneError) as error:
            return replace(change, against=f"cannot be built: {' '.join(str(error).split())}")
        if spoilt is None:
            return change
        words = spoilt_words(spoilt)
        return replace(change, against=words) if is_dark(spoilt) else replace(change, but=words)


def advise_all(reports: Sequence[LeakReport], *, target: str, keeping: AdviceLimits, tick: Tick = silent) -> list[Advice]:
    """Changes for every gap and every light that reaches the target, each recomputed, none at the cost of a state of `keeping`.

    For several lenses, on all cores; `tick` counts openings of a lens, and each of its lights.
    """
    keeping.look()
    states = keeping.kept.states
    asked = [(report, light, states) for report in reports for light in (OPENINGS, *range(len(report.lights)))]
    each = iter(shared_out(partial(_advised, target, keeping), asked, each_s=ADVICE_S, tick=tick, elsewhere=True))
    found = []
    for report in reports:
        openings, *lights = (next(each) for _ in range(1 + len(report.lights)))
        too_far_in = tuple(_Work(report, target, keeping).too_far_in())
        found.append(Advice(openings=openings, lights=tuple(one for some in lights for one in some), too_far_in=too_far_in))
    return found


def _advised(target: str, keeping: AdviceLimits, asked: tuple[LeakReport, int, object]) -> tuple[Any, ...]:
    """What is advised for all openings of a report, or for one of its lights, by its place: none or one."""
    report, light, _ = asked
    work = _Work(report, target, keeping)
    return tuple(work.openings()) if light == OPENINGS else tuple(work.light(report.lights[light]))


class _Work:
    """One report's box, ready to be changed and measured again."""

    def __init__(self, report: LeakReport, target: str, keeping: AdviceLimits) -> None:
        self.report, self.plan, self.target, self.keeping = report, report.plan, target, keeping
        self.box, self.refit = self.plan.fitted, Refit(self.plan)
        self._measured: dict[str, tuple[OpeningRow, ...]] = {}
        self._shares: dict[tuple[str, int, float], float] = {}  # by light, flag and angle

    def openings(self) -> Iterator[OpeningAdvice]:
        gaps = [row for row in self.report.openings if row.kind is not OpeningKind.MOUTH and row.veil > 0]
        total = sum(row.veil for row in self._after("as it is", self.box) if row.kind is not OpeningKind.MOUTH) if gaps else 0.0
        for row in gaps:
            for one in self._changes(row):
                change = one if one.against else self.keeping.judged(one, self.plan.lens_name)
                after = [] if change.against else self._gaps_after(change)
                left = sum(other.veil for other in after if other.kind is row.kind and _same_place(other, row))
                yield OpeningAdvice(
                    opening=row.name,
                    change=change.words,
                    before=row.veil,
                    after=row.veil if change.against else left,
                    all_before=total,
                    all_after=total if change.against else sum(other.veil for other in after),
                    against=change.against,
                    but=change.but,
                )

    def _gaps_after(self, change: _Changed) -> list[OpeningRow]:
        return [row for row in self._after(change.words, change.box) if row.kind is not OpeningKind.MOUTH]

    def _changes(self, row: OpeningRow) -> Iterator[_Changed]:
        match row.kind:
            case OpeningKind.RING:
                yield from self._seal_changes()
                if row.mirrored > LEAST_VEIL:
                    yield from self._tilts(row)
            case OpeningKind.SLOT:
                yield from self._taped(row)
            case OpeningKind.JOINT:
                yield from self._closed_joint(row)
            case OpeningKind.REAR:
                bore = self.plan.lens.front_diameter_mm + BORE_ROOM_MM
                back = Back(width_mm=bore + 80, height_mm=bore + 60, bore_mm=bore)
                fitted = self.box.model_copy(update={"back": (back,), "seal": (Seal(kind=SOFT),)})
                yield _Changed("fit a back plate and a donut seal", fitted)
            case _:
                return

    def _seal_changes(self) -> Iterator[_Changed]:
        now = self.box.seal[0] if self.box.seal else None
        was = f"{now.name or now.kind}" if now and now.kind != "none" else "nothing"
        sealed = Seal(kind=SOFT).model_copy(update={"name": now.name if now else None})
        yield _Changed(f"seal with a donut in place of {was}", self.box.model_copy(update={"seal": (sealed,)}))

    def _tilts(self, row: OpeningRow) -> Iterator[_Changed]:
        """The stage whose glass mirrors most of this leak, leaned the better of two ways, as far as there is room for it."""
        place = self._mirroring_stage(row)
        if place is None:
            return
        found = [self._roomiest(place, side) for side in (-1.0, 1.0)]
        free = [change for change in found if not change.against]
        if free:
            yield min(free, key=lambda one: sum(r.veil for r in self._after(one.words, one.box) if r.kind is row.kind))
        else:
            yield found[0]

    def _mirroring_stage(self, row: OpeningRow) -> int | None:
        """Which stage's filter mirrors most of what comes through an opening."""
        opening = self.report.setup.world.opening_names.index(row.name)
        paths = [found for found in self.report.picture.paths if found.opening == opening]
        if not paths:
            return None
        glass = self.report.setup.mirror.glasses[paths[0].path.mirrors[0] // 2].name
        named = (
            k
            for k, stage in enumerate(self.box.stage)
            if stage.filter is not None and glass in (stage.filter.name, f"{stage_name(stage, k + 1)} filter")
        )
        return next(named, None)

    def _roomiest(self, place: int, side: float) -> _Changed:
        """The largest of the tilts to one side that fits and clears in every state; else the smallest, and what is against it."""
        change = None
        for tilt in TILTS_DEG:
            change = self._tilted(place, self.box.stage[place].tilt_deg + side * tilt)
            if not change.against:
                break
        assert change is not None
        return change

    def _tilted(self, place: int, tilt_deg: float) -> _Changed:
        stages = list(self.box.stage)
        name = stage_name(stages[place], place + 1)
        stages[place] = stages[place].model_copy(update={"tilt_deg": tilt_deg})
        return _Changed(
            f"or tilt {name} to {tilt_deg:+g} deg ({lean_words(toward_scene=tilt_deg >= 0)})",
            self.box.model_copy(update={"stage": tuple(stages)}),
            self.keeping.tilts.against_tray(name, tilt_deg),
        )

    def _taped(self, row: OpeningRow) -> Iterator[_Changed]:
        stages = [
            stage.model_copy(update={"slot_mm": 0.0, "slot_sides": ()}) if stage_name(stage, k) == row.part else stage
            for k, stage in enumerate(self.box.stage, 1)
        ]
        yield _Changed(f"tape the slot of {row.part}", self.box.model_copy(update={"stage": tuple(stages)}))

    def _closed_joint(self, row: OpeningRow) -> Iterator[_Changed]:
        """The joint closed all round: as if no part in the row had a stated outside."""
        update = {key: tuple(p.model_copy(update={"outer_mm": None}) for p in getattr(self.box, key)) for key in ("stage", "mask")}
        yield _Changed(f"close the {row.name} all round (bellows or tape)", self.box.model_copy(update=update))

    def _after(self, words: str, box: Box) -> tuple[OpeningRow, ...]:
        if words not in self._measured:
            self._measured[words] = self._measure(box)
        return self._measured[words]

    def _measure(self, box: Box) -> tuple[OpeningRow, ...]:
        plan, pupil = self.plan, self.report.lens
        rng = np.random.default_rng(7)
        setup = setup_of(plan, pupil, box, target=self.target, rng=rng)
        picture = leak_picture(
            pupil, plan.grid.resized(min(LOOK_COLUMNS, plan.grid.columns)), setup.mirror, rng=rng, most_mirrors=1
        )
        sky = sky_of(setup.target, setup.world, WORTH_SIZE)
        return opening_rows(setup, picture, sky, in_frame(pupil, plan.grid, sky.direction), rng)

    def too_far_in(self) -> Iterator[FlagToOpen]:
        """Flags that stand farther in than keeps every state clear that they can keep clear."""
        for flag in self.box.flag:
            limit = self.keeping.limits.of(flag_name(flag))
            if flag.angle_deg < limit.clear_deg < math.inf:
                yield FlagToOpen(flag=flag_name(flag), angle_deg=flag.angle_deg, limit=limit)

    def light(self, row: LightRow) -> Iterator[LightAdvice | str]:
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


def _same_place(first: OpeningRow, second: OpeningRow) -> bool:
    """Whether two rows are one gap before and after a change: a ring gap may be renamed with its seal."""
    return first.kind is OpeningKind.RING or first.name == second.name


def _sides_of(row: LightRow) -> tuple[str, ...]:
    """Sides that a light comes from, the stronger first."""
    return tuple(side.value for side in sides_of(row.light))


__all__ = ["GLARE", "Advice", "LightAdvice", "OpeningAdvice", "advise_all"]
