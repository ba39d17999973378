"""What closes each opening, and what keeps each light off; every change is put into the box and measured again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geometry.openings import OpeningKind
from raytrace.box import Box as RayBox
from raytrace.lens import pencils_for
from raytrace.reference import reference_shares
from raytrace.shares import loss_stops
from raytrace.stray_direct import lit_share, sky_of
from raytrace.stray_picture import leak_picture
from scenes.build_box import build_box, stage_name
from scenes.build_lens import front_travel_mm
from scenes.leaks import GLARE, LOOK_COLUMNS, WORTH_SIZE, LeakReport, LightRow, OpeningRow, in_frame, opening_rows, setup_of
from scenes.model import Scene
from scenes.model_box import Back, Box, Flag, Seal
from scenes.model_lens import Lens
from scenes.resources import Resources

LEAST_VEIL = 1e-7  # of the picture's brightness: below 23 stops under it nothing is worth a change
OFF_SHARE = 0.002  # of the target: a light that reaches no more counts as kept off
HELPS = 0.98  # of all gaps: a change that leaves more does nothing that could be seen
LEAST_LEAN = 0.087  # sine of 5 deg
FLAG_STEPS_DEG = (4.0, 1.0)  # how a flag is brought in: in large steps, then in small ones up to the picture
LEAST_ANGLE_DEG = -20.0  # farther in a flag stands in any picture
TILTS_DEG = (-8.0, 8.0)
BORE_ROOM_MM = 8.0  # between barrel and bore of a back plate that is proposed; common practice, a donut needs it
SOFT = "donut"


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningAdvice:
    """A change that closes an opening, and all gaps of the box before and after it.

    before and after are veils against the picture's brightness; closes says whether nothing of this opening is left.
    """

    opening: str
    change: str
    before: float
    after: float
    all_before: float
    all_after: float

    @property
    def closes(self) -> bool:
        """Whether nothing of the opening is left."""
        return self.after < LEAST_VEIL

    @property
    def helps(self) -> bool:
        """Whether the gaps of the box together let in less than before, or this one nothing."""
        return self.closes or self.all_after < HELPS * self.all_before


@dataclass(frozen=True, slots=True, kw_only=True)
class LightAdvice:
    """How far in a flag has to come to keep a light off the target, and what that does to the picture."""

    light: str
    flag: str
    angle_deg: float
    to_angle_deg: float
    share: float
    to_share: float
    loss_stops: float

    @property
    def keeps_off(self) -> bool:
        """Whether the light no longer reaches the target."""
        return self.to_share <= OFF_SHARE


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """The whole page: openings from the worst on, then lights."""

    openings: tuple[OpeningAdvice, ...]
    lights: tuple[LightAdvice | str, ...]


def advise(scene: Scene, report: LeakReport, resources: Resources, *, target: str) -> Advice:
    """Changes for every gap and every light that reaches the target, each recomputed."""
    work = _Work(scene, report, resources, target)
    return Advice(openings=tuple(work.openings()), lights=tuple(work.lights()))


class _Work:
    """One report's box, ready to be changed and measured again."""

    def __init__(self, scene: Scene, report: LeakReport, resources: Resources, target: str) -> None:
        self.report, self.resources, self.target = report, resources, target
        self.visible_loss_stops = scene.check.visible_loss_stops
        self.lens: Lens = next(lens for lens in scene.lens if lens.name == report.plan.lens_name)
        self.box = report.setup.own_box
        self._measured: dict[str, tuple[OpeningRow, ...]] = {}

    def openings(self) -> Iterator[OpeningAdvice]:
        gaps = [row for row in self.report.openings if row.kind is not OpeningKind.MOUTH and row.veil > 0]
        total = sum(row.veil for row in self._after("as it is", self.box) if row.kind is not OpeningKind.MOUTH) if gaps else 0.0
        for row in gaps:
            for words, box in self._changes(row):
                after = [other for other in self._after(words, box) if other.kind is not OpeningKind.MOUTH]
                left = sum(other.veil for other in after if other.kind is row.kind and _same_place(other, row))
                yield OpeningAdvice(
                    opening=row.name,
                    change=words,
                    before=row.veil,
                    after=left,
                    all_before=total,
                    all_after=sum(other.veil for other in after),
                )

    def _changes(self, row: OpeningRow) -> Iterator[tuple[str, Box]]:
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
                bore = self.lens.front_diameter_mm + BORE_ROOM_MM
                back = Back(width_mm=bore + 80, height_mm=bore + 60, bore_mm=bore)
                yield "fit a back plate and a donut seal", self.box.model_copy(update={"back": (back,), "seal": (Seal(kind=SOFT),)})
            case _:
                return

    def _seal_changes(self) -> Iterator[tuple[str, Box]]:
        now = self.box.seal[0] if self.box.seal else None
        was = f"{now.name or now.kind}" if now and now.kind != "none" else "nothing"
        sealed = Seal(kind=SOFT).model_copy(update={"name": now.name if now else None})
        yield f"seal with a donut in place of {was}", self.box.model_copy(update={"seal": (sealed,)})

    def _tilts(self, row: OpeningRow) -> Iterator[tuple[str, Box]]:
        """The stage whose glass mirrors most of this leak, leaned the better of two ways."""
        opening = self.report.setup.world.opening_names.index(row.name)
        paths = [found for found in self.report.picture.paths if found.opening == opening]
        if not paths:
            return
        glass = self.report.setup.mirror.glasses[paths[0].path.mirrors[0] // 2].name
        named = [
            (k, stage)
            for k, stage in enumerate(self.box.stage)
            if stage.filter is not None and glass in (stage.filter.name, f"{stage_name(stage, k + 1)} filter")
        ]
        if not named:
            return
        place, stage = named[0]
        made = []
        for tilt in TILTS_DEG:
            stages = list(self.box.stage)
            stages[place] = stage.model_copy(update={"tilt_deg": stage.tilt_deg + tilt})
            words = f"or, if it fits, tilt {stage_name(stage, place + 1)} to {stage.tilt_deg + tilt:+g} deg"
            box = self.box.model_copy(update={"stage": tuple(stages)})
            made.append((sum(r.veil for r in self._after(words, box) if r.kind is row.kind), words, box))
        _, words, box = min(made, key=lambda item: item[0])
        yield words, box

    def _taped(self, row: OpeningRow) -> Iterator[tuple[str, Box]]:
        stages = [
            stage.model_copy(update={"slot_mm": 0.0, "slot_sides": ()}) if stage_name(stage, k) == row.part else stage
            for k, stage in enumerate(self.box.stage, 1)
        ]
        yield f"tape the slot of {row.part}", self.box.model_copy(update={"stage": tuple(stages)})

    def _closed_joint(self, row: OpeningRow) -> Iterator[tuple[str, Box]]:
        """The joint closed all round: as if no part in the row had a stated outside."""
        update = {key: tuple(p.model_copy(update={"outer_mm": None}) for p in getattr(self.box, key)) for key in ("stage", "mask")}
        yield f"close the {row.name} all round (bellows or tape)", self.box.model_copy(update=update)

    def _after(self, words: str, box: Box) -> tuple[OpeningRow, ...]:
        if words not in self._measured:
            self._measured[words] = self._measure(box)
        return self._measured[words]

    def _measure(self, box: Box) -> tuple[OpeningRow, ...]:
        plan, state = self.report.plan, self.report.lens
        rng = np.random.default_rng(7)
        setup = setup_of(box, self.lens, state, plan, self.resources, target=self.target, rng=rng)
        picture = leak_picture(
            state, plan.grid.resized(min(LOOK_COLUMNS, plan.grid.columns)), setup.mirror, rng=rng, most_mirrors=1
        )
        sky = sky_of(setup.target, setup.world, WORTH_SIZE)
        return opening_rows(setup, picture, sky, in_frame(state, plan.grid, sky.direction), rng)

    def lights(self) -> Iterator[LightAdvice | str]:
        for row in self.report.lights:
            if row.in_frame or row.seen.share <= OFF_SHARE:
                continue
            tried = [self._closed_flag(row, place) for place in self._flags_for(row)]
            if not tried:
                yield f"{row.light.name}: no flag stands on its side ({' or '.join(_sides_of(row))}); hinge one there"
            else:
                yield min(tried, key=lambda one: (not one.keeps_off, one.to_share, one.angle_deg - one.to_angle_deg))

    def _flags_for(self, row: LightRow) -> tuple[int, ...]:
        """Flags on the sides that the light comes from."""
        return tuple(k for k, flag in enumerate(self.box.flag) if flag.side in _sides_of(row))

    def _closed_flag(self, row: LightRow, place: int) -> LightAdvice:
        """The flag come in until the light is off, or as far as the picture allows."""
        flag = self.box.flag[place]
        best, share, loss = flag.angle_deg, row.seen.share, self._loss_of(place, flag.angle_deg)
        for step in FLAG_STEPS_DEG:
            while share > OFF_SHARE and best - step >= LEAST_ANGLE_DEG:
                lost = self._loss_of(place, best - step)
                if lost > self.visible_loss_stops:
                    break
                best, share, loss = best - step, self._share_at(row, place, best - step), lost
        return LightAdvice(
            light=row.light.name,
            flag=flag.name or f"{flag.side} flag",
            angle_deg=flag.angle_deg,
            to_angle_deg=best,
            share=row.seen.share,
            to_share=share,
            loss_stops=loss,
        )

    def _at(self, place: int, angle_deg: float) -> Box:
        flags: list[Flag] = list(self.box.flag)
        flags[place] = flags[place].model_copy(update={"angle_deg": angle_deg})
        return self.box.model_copy(update={"flag": tuple(flags)})

    def _share_at(self, row: LightRow, place: int, angle_deg: float) -> float:
        rng = np.random.default_rng(3)
        plan, state = self.report.plan, self.report.lens
        aim = self.report.setup.target
        setup = setup_of(self._at(place, angle_deg), self.lens, state, plan, self.resources, target=aim, rng=rng)
        return lit_share(setup.target, setup.world, row.light, rng=rng)

    def _loss_of(self, place: int, angle_deg: float) -> float:
        """Stops that this flag alone, so set, takes at the worst place of the guides' edges, over all pupil depths."""
        plan = self.report.plan
        travel = front_travel_mm(self.lens, plan.focal_mm, plan.focus_mm)
        _, box = build_box(self._at(place, angle_deg), self.lens, self.resources, front_travel_mm=travel)
        group = f"box.flag[{place + 1}]"
        only = RayBox(parts=tuple(part for part in box.parts if part.group.startswith(group)), glasses=box.glasses)
        edge = np.concatenate([guide.rim_points_mm(17) for guide in plan.guides])
        shares = [
            reference_shares(pencils_for(state, edge), only, log2_rays=6, rng=np.random.default_rng(1)).clear_share.min()
            for state in plan.variants
        ]
        return float(loss_stops(np.array(min(shares))))


def _same_place(first: OpeningRow, second: OpeningRow) -> bool:
    """Whether two rows are one gap before and after a change: a ring gap may be renamed with its seal."""
    return first.kind is OpeningKind.RING or first.name == second.name


def _sides_of(row: LightRow) -> tuple[str, ...]:
    """Sides that a light comes from, the stronger first; one that it leans to by less than 5 deg is left out."""
    x, y = row.light.direction[:2]
    sides = [(abs(x), "left" if x > 0 else "right"), (abs(y), "top" if y > 0 else "bottom")]
    return tuple(side for lean, side in sorted(sides, reverse=True) if lean > LEAST_LEAN)


__all__ = ["GLARE", "Advice", "LightAdvice", "OpeningAdvice", "advise"]
