"""Pupil depths of one anamorphic lens against the others of its set: swapped, another lens's, or one of its two misread.

Cylinders ahead of a lens bring its horizontal pupil to d/S + e/S^2 of the vertical d + e, so a set with one squeeze and one make of
cylinders has much the same ratio all through, and its longer lenses are deeper (common practice; those of the demo shows and of the
sets in tests are within a quarter).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import median

from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens, PupilDepth
from scenes.scene_file.tables.scene import Scene

LEAST_SET = 2  # other lenses that agree
SAME_SQUEEZE = 0.01
PAIR_SHARE = 0.7  # of two lenses the lesser ratio to the greater, from which on one is in doubt
ALIKE_SHARE = 1.25  # of the ratios of the others, from the least to the most
OFF_SHARE = 0.75  # of the least of the others, or of their most the other way
LONGER_SHARE = 1.1  # of the focal length of a lens that is not the shortest


Depths = Sequence[tuple[Lens, PupilDepth]]


def set_depth_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A caution where the two depths of a lens, or one of them, are no others of its set."""
    own = _depth_of(lens)
    if own is None or lens.squeeze == 1.0 or "pupil_behind_front_mm" in lens.confirmed:
        return
    alike = [other for other in scene.lens if other is not lens and abs(other.squeeze - lens.squeeze) < SAME_SQUEEZE]
    depths = [(other, depth) for other in alike if (depth := _depth_of(other)) is not None]
    told = [*_copied_words(scene, lens, own, depths)]
    if len(depths) >= LEAST_SET:
        told = told or [*_ratio_words(own, depths)] or [*_shallow_words(lens, own, depths)]
    elif len(depths) == 1:
        told = told or [*_pair_words(own, *depths[0])]
    yield from told[:1]


def _depth_of(lens: Lens) -> PupilDepth | None:
    """The two depths of an anamorphic prime; None of a zoom, a walk, a table, and of a lens with one depth both ways."""
    depth = lens.pupil_behind_front_mm
    if depth is None or depth.is_round or lens.state or lens.pupil_walk is not None or lens.prescription is not None:
        return None
    return depth if min(*depth.horizontal, *depth.vertical) > 0.0 else None


def _copied_words(scene: Scene, lens: Lens, own: PupilDepth, depths: Depths) -> Iterator[str]:
    """Two numbers that are both those of a lens before it; with its length too it was copied whole (copied_words)."""
    before = scene.lens[: scene.lens.index(lens)]
    for other, depth in depths:
        longer = max(lens.focal_mm, other.focal_mm) / min(lens.focal_mm, other.focal_mm)
        if other in before and depth == own and longer > LONGER_SHARE and lens.front_to_sensor_mm != other.front_to_sensor_mm:
            yield (
                f"pupil_behind_front_mm = {_both(own)} are both those of the {other.name}, of another focal length; is one copied? "
                "Measure it"
            )
            return


def _pair_words(own: PupilDepth, other: Lens, depth: PupilDepth) -> Iterator[str]:
    """Of two lenses the one whose horizontal depth is the lesser part of its vertical one: one of the four is wrong."""
    if _ratio(own) < PAIR_SHARE * _ratio(depth):
        yield (
            f"pupil_behind_front_mm = {_both(own)} do not go together as those of the {other.name} do, {_both(depth)}; in line "
            f"would be horizontal = {_middle(own.vertical) * _ratio(depth):.0f}: measure both lenses again"
        )


def _ratio_words(own: PupilDepth, depths: Depths) -> Iterator[str]:
    """One of the two is wrong where all others agree on how they go together."""
    ratios = [_ratio(depth) for _, depth in depths]
    least, most = min(ratios), max(ratios)
    if most > ALIKE_SHARE * least or OFF_SHARE * least <= _ratio(own) <= most / OFF_SHARE:
        return
    usual = median(ratios)
    listed = ", ".join(f"{plain(_middle(depth.horizontal))} and {plain(_middle(depth.vertical))}" for _, depth in depths)
    yield (
        f"pupil_behind_front_mm = {_both(own)} do not go together as those of the other lenses with its squeeze do, {listed}; "
        f"in line would be horizontal = {_middle(own.vertical) * usual:.0f}, or vertical = {_middle(own.horizontal) / usual:.0f}: "
        "measure both again"
    )


def _shallow_words(lens: Lens, own: PupilDepth, depths: Depths) -> Iterator[str]:
    """A lens that is not the shortest of its set, and has by far the shallowest pupil."""
    shorter = [other for other, _ in depths if lens.focal_mm > LONGER_SHARE * other.focal_mm]
    for which in ("horizontal", "vertical"):
        depth_mm, others_mm = _middle(getattr(own, which)), [_middle(getattr(depth, which)) for _, depth in depths]
        if shorter and depth_mm < OFF_SHARE * min(others_mm):
            yield (
                f"pupil_behind_front_mm = {_both(own)} is far shallower than in any other lens with its squeeze, {which} = "
                f"{', '.join(map(plain, others_mm))}, though the {shorter[0].name} is shorter; is it another's? Measure it again"
            )
            return


def _ratio(depth: PupilDepth) -> float:
    return _middle(depth.horizontal) / _middle(depth.vertical)


def _middle(interval: tuple[float, float]) -> float:
    return sum(interval) / 2


def _both(depth: PupilDepth) -> str:
    return f"{{ horizontal = {plain(_middle(depth.horizontal))}, vertical = {plain(_middle(depth.vertical))} }}"
