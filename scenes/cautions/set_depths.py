"""Pupil depths of one anamorphic lens against the others of its set: swapped, another lens's, or one of its two misread.

Cylinders ahead of a lens bring its horizontal pupil to d/S + e/S^2 of the vertical d + e, so a set with one squeeze and one make of
cylinders has much the same ratio all through, and its longer lenses are deeper (common practice; those of the demo shows and of the
sets in tests are within a quarter).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens, PupilDepth
from scenes.scene_file.tables.scene import Scene

LEAST_SET = 2  # other lenses that agree
SAME_SQUEEZE = 0.01
ALIKE_SHARE = 1.25  # of the ratios of the others, from the least to the most
OFF_SHARE = 0.75  # of the least of the others, or of their most the other way
LONGER_SHARE = 1.1  # of the focal length of a lens that is not the shortest


def set_depth_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A caution where the two depths of a lens, or one of them, are no others of its set."""
    own, others = _depth_of(lens), [other for other in scene.lens if other is not lens and _same_kind(lens, other)]
    if own is None or "pupil_behind_front_mm" in lens.confirmed:
        return
    depths = [(other, depth) for other in others if (depth := _depth_of(other)) is not None]
    told = [*_copied_words(lens, own, depths)]
    if len(depths) >= LEAST_SET:
        told = told or [*_ratio_words(own, depths)] or [*_shallow_words(lens, own, depths)]
    yield from told[:1]


Depths = Sequence[tuple[Lens, PupilDepth]]


def _same_kind(lens: Lens, other: Lens) -> bool:
    return lens.squeeze > 1.0 and abs(other.squeeze - lens.squeeze) < SAME_SQUEEZE


def _depth_of(lens: Lens) -> PupilDepth | None:
    """The two depths of an anamorphic prime; None of a zoom, a walk, a table, and of a lens with one depth both ways."""
    depth = lens.pupil_behind_front_mm
    if depth is None or depth.is_round or lens.state or lens.pupil_walk is not None or lens.prescription is not None:
        return None
    return depth if min(*depth.horizontal, *depth.vertical) > 0.0 else None


def _ratio_words(own: PupilDepth, depths: Depths) -> Iterator[str]:
    ratios = [_ratio(depth) for _, depth in depths]
    least, most = min(ratios), max(ratios)
    if most > ALIKE_SHARE * least or OFF_SHARE * least <= _ratio(own) <= most / OFF_SHARE:
        return
    listed = ", ".join(f"{_both(depth)} of the {other.name}" for other, depth in depths)
    meant = f"{plain(round(_middle(own.horizontal) / own_share(ratios)))} vertical or {plain(round(_middle(own.vertical) * own_share(ratios)))} horizontal"
    yield (
        f"pupil_behind_front_mm = {_both(own)} is out of line with the other lenses of squeeze, {listed} (horizontal and vertical): "
        f"{meant} would be in line; measure both again"
    )


def _shallow_words(lens: Lens, own: PupilDepth, depths: Depths) -> Iterator[str]:
    shorter = [other for other, _ in depths if lens.focal_mm > LONGER_SHARE * other.focal_mm]
    for which, value, values in (
        ("horizontal", own.horizontal, [depth.horizontal for _, depth in depths]),
        ("vertical", own.vertical, [depth.vertical for _, depth in depths]),
    ):
        least_mm = min(map(_middle, values))
        if shorter and _middle(value) < OFF_SHARE * least_mm:
            yield (
                f"pupil_behind_front_mm = {plain(_middle(value))} {which} is far shallower than any other of its set, the next "
                f"{plain(least_mm)}, although the {shorter[0].name} is shorter; is it another lens's? Measure it again"
            )
