"""What metadata says beside its fields by which they may be wider than they are taken: a caution each.

Source of the values: SMPTE RIS OSVP camdkit, its schema of version 1.0 (overscan, custom) and of 0.9 (focalLength).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np

from scenes.lens_data.fields import FieldCase
from scenes.lens_data.given import Told
from scenes.lens_data.reading import Polynomial, Reading
from scenes.scene_file.messages import plain

NO_OVERSCAN = 1.005  # programs that need none state 1
NOTHING_SHARE, SOMETHING_SHARE = 1e-4, 5e-3  # of the corner's radius: a distortion of zeros, and one that is seen
SQUARE_SHARE = 0.02  # active areas and their photosites are told rounded, or with a few more on one side
LONGER_SHARE = 0.05  # a focal length against that of the pinhole: they differ by breathing and by how they are measured
PLAIN_RADIUS_MM = 15.0  # where the size of the picture is not told: about the corner of a motion picture frame
MEASURE = "measure half_field_deg at the edge of the frame to be sure"


def say_what_contradicts(readings: Sequence[Reading], case: FieldCase, told: Told) -> None:
    """A caution for each thing by which the field may be wider than it was taken, once."""
    radius_mm = PLAIN_RADIUS_MM if case.picture is None else case.picture.half_diagonal_mm
    with_pinhole = [reading for reading in readings if reading.pinhole_mm is not None]
    for sentences in (
        _of_overscan(with_pinhole, radius_mm),
        _of_lost_terms(with_pinhole, radius_mm),
        _of_custom_terms(with_pinhole),
        _of_focal_lengths(with_pinhole),
        () if case.given.width_mm is not None else _of_photosites(readings),
    ):
        for sentence in list(sentences)[:1]:
            told.say(sentence)


@lru_cache(maxsize=4096)
def _bends(polynomial: Polynomial | None, radius_mm: float) -> float:
    """By how much of its radius a point at the picture's corner is moved."""
    if polynomial is None:
        return 0.0
    bent = abs(float(polynomial.at(np.array([radius_mm]))[0]) / radius_mm - 1.0)
    return bent if np.isfinite(bent) else 1.0


def _of_overscan(readings: Sequence[Reading], radius_mm: float) -> Iterator[str]:
    """A picture made larger for a distortion that is none."""
    for reading in readings:
        if (reading.overscan or 0.0) > NO_OVERSCAN and _bends(reading.polynomial, radius_mm) <= NOTHING_SHARE:
            yield (
                f"the files state an overscan of {plain(reading.overscan or 0.0)}, which a lens without distortion needs none of, "
                f"and no distortion: if that was lost, barrel makes the field wider; {MEASURE}"
            )


def _of_lost_terms(readings: Sequence[Reading], radius_mm: float) -> Iterator[str]:
    """Samples without distortion among others that have one."""
    bends = [_bends(reading.polynomial, radius_mm) for reading in readings]
    if max(bends, default=0.0) < SOMETHING_SHARE:
        return
    for reading, bent in zip(readings, bends, strict=True):
        if bent <= NOTHING_SHARE:
            yield (
                f"{reading.source} has no distortion, or one of zeros, and others move the corner by up to "
                f"{max(bends) * 100:.1f} %: if it was lost there, barrel makes the field wider; {MEASURE}"
            )


def _of_custom_terms(readings: Sequence[Reading]) -> Iterator[str]:
    if any(reading.has_custom_terms for reading in readings):
        yield f"terms of the maker's own (custom) go on where the lens model ends, and are not read: {MEASURE}"


def _of_focal_lengths(readings: Sequence[Reading]) -> Iterator[str]:
    """A pinhole longer than the focal length of the same sample."""
    for reading in readings:
        focal_mm, pinhole_mm = reading.sample_focal_mm or 0.0, reading.pinhole_mm or 0.0
        if focal_mm > 0.0 and pinhole_mm > (1.0 + LONGER_SHARE) * focal_mm:
            yield (
                f"{reading.source} says a focal length of {plain(focal_mm)} mm, and of {plain(pinhole_mm)} mm for the pinhole that "
                f"the field is taken from: the shorter one sees more; {MEASURE}"
            )


def _of_photosites(readings: Sequence[Reading]) -> Iterator[str]:
    """An active area and a number of photosites that make these oblong, as where one is another recording mode's."""
    for reading in readings:
        width_mm, height_mm, pixels = reading.width_mm or 0.0, reading.height_mm or 0.0, reading.pixels
        if pixels is None or not min(width_mm, height_mm, *pixels) > 0.0:
            continue
        across_um, up_um = (1000.0 * side / count for side, count in zip((width_mm, height_mm), pixels, strict=True))
        if abs(across_um / up_um - 1.0) > SQUARE_SHARE:
            yield (
                f"an active area of {plain(width_mm)} x {plain(height_mm)} mm with {pixels[0]} x {pixels[1]} photosites would have "
                f"oblong ones, {across_um:.2f} x {up_um:.2f} um: one of them is likely another recording mode's; give "
                "--width-mm and --height-mm as you record"
            )
