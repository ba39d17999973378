"""Builds that nobody can build: `check` finds a fault in their box. They are not clear, wherever their light goes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from geometry.errors import GeometryError
from scenes.cautions.unbuildable import fault_words
from scenes.questions.tolerances.clearances import LensBench
from scenes.questions.tolerances.inputs import built
from scenes.rig.box import build_box
from scenes.rig.lens import front_travel_mm
from scenes.scene_file.tables.scene import box_for


@dataclass(frozen=True, slots=True, kw_only=True)
class Unbuilt:
    """Builds that cannot be built with one lens: which of those tried, and of the first found why, and what came out how."""

    rows: tuple[bool, ...]
    why: str
    values: dict[str, float]

    @property
    def count(self) -> int:
        """How many of the builds tried."""
        return sum(self.rows)


def fault_of(bench: LensBench, values: Mapping[str, float]) -> str:
    """Why a build cannot be built, wherever the front of its lens stands; '' where it can."""
    scene = built(bench.scene, bench.items, values)
    lens = scene.lens[bench.scene.lens.index(bench.lens)]
    resources, zooms = bench.plans[0].resources, any(row.focal_mm is not None for row in lens.state)
    focused = {(plan.focal_mm if zooms else lens.focal_mm, plan.focus_mm) for plan in bench.plans}
    for travel_mm in sorted({front_travel_mm(lens, focal_mm, focus_mm) for focal_mm, focus_mm in focused}):
        try:
            assembly, _ = build_box(box_for(scene, lens), lens, resources, front_travel_mm=travel_mm)
        except GeometryError as error:
            return str(error)
        if why := fault_words(assembly, lens):
            return why
    return ""


def first_fault(bench: LensBench, worst: Mapping[str, float]) -> tuple[str, dict[str, float]] | None:
    """Why a build cannot be built, and what came out how: of the nominal one, each end alone, all low, all high, the worst."""
    for values in _looked_at(bench, worst):
        if why := fault_of(bench, values):
            return why, values
    return None


def _looked_at(bench: LensBench, worst: Mapping[str, float]) -> Iterator[dict[str, float]]:
    ends: Sequence[tuple[str, tuple[float, float]]] = [(item.path, item.tolerance.ends) for item in bench.items]
    yield bench.nominal
    yield from (bench.nominal | {path: end} for path, pair in ends for end in pair)
    yield from ({path: pair[k] for path, pair in ends} for k in (0, 1))
    yield dict(worst)
