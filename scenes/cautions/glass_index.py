"""Refractive indices that no optical glass has, by themselves or with their Abbe number: a digit in the wrong place.

Catalogues of optical glass run from 1.43 (calcium fluoride) to 2.1 (dense lanthanum flint), and an index goes with a range of Abbe
numbers only. Both from memory; every row of the published lenses in scenes/demo and tests/data lies within.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from scenes.rig.box import stage_name
from scenes.scene_file.messages import plain
from scenes.scene_file.resources import GlassTable
from scenes.scene_file.tables.box import Box

FILTER_INDICES = (1.4, 1.95)  # plates and close-up lenses; resin 1.5, window glass 1.52, polycarbonate 1.59
TABLE_INDICES = (1.4, 2.15)
# (index, least and most Abbe number): plastics at the low end, fluor crown and lanthanum crown at the high one.
GLASS_MAP = (
    (1.40, 55.0, 100.0),
    (1.45, 55.0, 97.0),
    (1.50, 50.0, 86.0),
    (1.55, 36.0, 79.0),
    (1.60, 25.0, 72.0),
    (1.65, 18.0, 65.0),
    (1.70, 16.0, 60.0),
    (1.75, 16.0, 56.0),
    (1.80, 16.0, 51.0),
    (1.85, 15.0, 46.0),
    (1.90, 15.0, 42.0),
    (2.00, 14.0, 33.0),
    (2.15, 13.0, 27.0),
)


def filter_index_words(box: Box) -> Iterator[tuple[str, str]]:
    """Filters of a glass that does not exist: the higher its index, the more of the box seems clear."""
    least, most = FILTER_INDICES
    for number, stage in enumerate(box.stage, 1):
        if stage.filter is not None and not least <= stage.filter.index <= most:
            index = f"filter.index = {plain(stage.filter.index)} is that of no filter glass, {plain(least)} to {plain(most)}"
            yield stage_name(stage, number), f"{index}; 1.52 is usual: is a digit wrong?"


def table_index_words(glass: GlassTable) -> Iterator[str]:
    """The first row of a lens table whose glass does not exist; a lens for the infrared, of none but such glass, is left alone."""
    indices = [surface.index for surface in glass.prescription.surfaces]
    glasses = [index for index in indices if index != 1.0]
    if all(index > TABLE_INDICES[1] for index in glasses):
        return
    abbes: Sequence[float | None] = glass.abbes or (None,) * len(indices)
    for number, (index, abbe) in enumerate(zip(indices, abbes, strict=True), 1):
        least, most = TABLE_INDICES
        if index == 1.0:
            continue
        if not least <= index <= most:
            yield (
                f"its table has index = {plain(index)} in row {number}, and optical glass has {plain(least)} to {plain(most)}; is "
                "a digit wrong? Look the row up where it was published"
            )
            return
        if abbe is not None and not _exists(index, abbe):
            low, high = _abbe_limits(index)
            yield (
                f"its table has index = {plain(index)} with abbe = {plain(abbe)} in row {number}, and no glass has both: at that "
                f"index abbe is {low:.0f} to {high:.0f}; is a digit of one wrong? Look the row up where it was published"
            )
            return


def _exists(index: float, abbe: float) -> bool:
    low, high = _abbe_limits(index)
    return low <= abbe <= high


def _abbe_limits(index: float) -> tuple[float, float]:
    indices, low, high = zip(*GLASS_MAP, strict=True)
    return float(np.interp(index, indices, low)), float(np.interp(index, indices, high))
