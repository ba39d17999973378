"""What closes each opening of a box; every change is put into the box and measured again."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geometry.openings import OpeningKind
from raytrace.optics.in_frame import in_frame
from raytrace.stray.direct import sky_of
from raytrace.stray.picture import leak_picture
from scenes.changes.tilts import lean_words
from scenes.questions.leaks.advice import LEAST_VEIL, OpeningAdvice
from scenes.questions.leaks.advice_limits import AdviceLimits, Changed
from scenes.questions.leaks.report import LOOK_COLUMNS, WORTH_SIZE, LeakReport, OpeningRow, opening_rows
from scenes.rig.box import stage_name
from scenes.scene_file.tables.box import Back, Box, Seal
from scenes.states.stray import setup_of

TILTS_DEG = (8.0, 5.0, 3.0)  # of a tray, to either side: the largest that fits is measured
BORE_ROOM_MM = 8.0  # between barrel and bore of a back plate that is proposed; common practice, a donut needs it
SOFT = "donut"


class OpeningAdviser:
    """One report's box, ready to have its openings closed and to be measured again."""

    def __init__(self, report: LeakReport, target: str, keeping: AdviceLimits) -> None:
        self.report, self.plan, self.target, self.keeping = report, report.plan, target, keeping
        self.box = self.plan.fitted
        self._measured: dict[str, tuple[OpeningRow, ...]] = {}

    def advice(self) -> Iterator[OpeningAdvice]:
        """Changes that close each opening, from the worst on, with what all gaps let in before and after."""
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

    def _gaps_after(self, change: Changed) -> list[OpeningRow]:
        return [row for row in self._after(change.words, change.box) if row.kind is not OpeningKind.MOUTH]

    def _changes(self, row: OpeningRow) -> Iterator[Changed]:
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
                yield Changed("fit a back plate and a donut seal", fitted)
            case _:
                return

    def _seal_changes(self) -> Iterator[Changed]:
        now = self.box.seal[0] if self.box.seal else None
        was = f"{now.name or now.kind}" if now and now.kind != "none" else "nothing"
        sealed = Seal(kind=SOFT).model_copy(update={"name": now.name if now else None})
        yield Changed(f"seal with a donut in place of {was}", self.box.model_copy(update={"seal": (sealed,)}))

    def _tilts(self, row: OpeningRow) -> Iterator[Changed]:
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

    def _roomiest(self, place: int, side: float) -> Changed:
        """The largest of the tilts to one side that fits and clears in every state; else the smallest, and what is against it."""
        change = None
        for tilt in TILTS_DEG:
            change = self._tilted(place, self.box.stage[place].tilt_deg + side * tilt)
            if not change.against:
                break
        assert change is not None
        return change

    def _tilted(self, place: int, tilt_deg: float) -> Changed:
        stages = list(self.box.stage)
        name = stage_name(stages[place], place + 1)
        stages[place] = stages[place].model_copy(update={"tilt_deg": tilt_deg})
        return Changed(
            f"or tilt {name} to {tilt_deg:+g} deg ({lean_words(toward_scene=tilt_deg >= 0)})",
            self.box.model_copy(update={"stage": tuple(stages)}),
            self.keeping.tilts.against_tray(name, tilt_deg),
        )

    def _taped(self, row: OpeningRow) -> Iterator[Changed]:
        stages = [
            stage.model_copy(update={"slot_mm": 0.0, "slot_sides": ()}) if stage_name(stage, k) == row.part else stage
            for k, stage in enumerate(self.box.stage, 1)
        ]
        yield Changed(f"tape the slot of {row.part}", self.box.model_copy(update={"stage": tuple(stages)}))

    def _closed_joint(self, row: OpeningRow) -> Iterator[Changed]:
        """The joint closed all round: as if no part in the row had a stated outside."""
        update = {key: tuple(p.model_copy(update={"outer_mm": None}) for p in getattr(self.box, key)) for key in ("stage", "mask")}
        yield Changed(f"close the {row.name} all round (bellows or tape)", self.box.model_copy(update=update))

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


def _same_place(first: OpeningRow, second: OpeningRow) -> bool:
    """Whether two rows are one gap before and after a change: a ring gap may be renamed with its seal."""
    return first.kind is OpeningKind.RING or first.name == second.name
