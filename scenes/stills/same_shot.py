"""Whether two stills are of one exposure: their noise tells, for that of two exposures has nothing in common.

Of JPEGs most noise is gone: by their files' own words both may be of one moment, in which nobody puts a box on or takes it off.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter

from scenes.io.library_remarks import printable
from scenes.stills.blocks import Blocks, Floats

LIT_SHARE, LIT_QUANTILE = 0.1, 0.99  # of the light: darker blocks are mostly of the sensor's own pattern
EVEN_SHARE = 0.05  # a block further off its neighbours holds an edge, dust or letters
LEAST_BLOCKS = 500
# Of the deviations of two stills' blocks. Two exposures of an even surface: under 0.25 in the pairs of another renderer
# (tests/data/stills); one still saved as 8-bit PNG and as 16-bit TIFF: 0.95, as JPEG and as TIFF: 0.7.
ALIKE = 0.6
LONGEST_NUMBER = 40  # of an image, shown
EITHER_WAY = (slice(None), slice(None, None, -1))  # as it is, and turned over


def same_shot_words(with_box: Blocks, without: Blocks) -> str:
    """A sentence where both stills of a pair may be of one exposure; '' where they are not, or too little of them is even."""
    if told := _same_moment_words(with_box, without):
        return told
    if with_box.light.shape != without.light.shape:
        return ""
    one, other = _deviations(with_box.light), _deviations(without.light)
    turned = [other[rows, columns] for rows in EITHER_WAY for columns in EITHER_WAY]
    alike = max(_correlation(one, each) for each in turned)
    if alike < ALIKE:
        return ""
    return (
        f"{with_box.name} and {without.name} have the same grain (correlation {alike:.2f}), which two exposures have only of a "
        "surface with a texture: are both of one shot, saved twice? Then the box is in both of them or in none"
    )


def _same_moment_words(with_box: Blocks, without: Blocks) -> str:
    """The same by what their files say of the shot."""
    one, other = with_box.shot_at, without.shot_at
    if one.image and one.image == other.image:
        found = f"of one image, number {printable(one.image)[:LONGEST_NUMBER]}"
    elif one.moment and one.moment == other.moment:
        found = f"shot in the same second, {one.moment}, in which nobody puts a box on"
    else:
        return ""
    return (
        f"{with_box.name} and {without.name} say of themselves that they are {found}: are both of one shot, saved twice? Then the "
        "box is in both of them or in none"
    )


def _deviations(light: Floats) -> Floats:
    """How far blocks lie off the mean of those round them, as a share of it; nan where that is no grain."""
    around = uniform_filter(light, 3)
    lit = light > LIT_SHARE * np.quantile(light, LIT_QUANTILE)
    share = np.where(lit, light, 1.0) / np.where(lit, around, 1.0) - 1.0
    return np.where(lit & (np.abs(share) < EVEN_SHARE), share, np.nan)


def _correlation(one: Floats, other: Floats) -> float:
    both = np.isfinite(one) & np.isfinite(other)
    if np.count_nonzero(both) < LEAST_BLOCKS or min(np.ptp(one[both]), np.ptp(other[both])) == 0.0:
        return 0.0
    return float(np.corrcoef(one[both], other[both])[0, 1])
