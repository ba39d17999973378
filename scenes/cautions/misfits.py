"""Parts that do not fit what they are for: seals that do not close, bores moved off the barrel, glass that nothing holds."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import chain

from scenes.cautions.glass_index import filter_index_words
from scenes.rig.box import stage_name
from scenes.rig.openings import as_written
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box, Filter, Stage
from scenes.scene_file.tables.lens import Lens

RING_GAP_MM = 5.0  # less a lip of foam in the ring closes
THINNEST_RING_MM = 2.0
SOFT_GAP_MM = 0.5  # round a donut or bellows, which grip the barrel: they are made smaller than it (common practice)
HELD_MM = 0.5  # of glass on each side of a tray's opening; trays hold it by 2 mm and more (common practice)
THICKEST_GLASS_MM = 7.0  # filters are 2 to 6 mm thick (common practice)

Words = Iterator[tuple[str, str]]


def misfit_words(box: Box, lens: Lens) -> Words:
    """A caution for each part of a box on a lens that does not fit: its name, and the numbers that speak against each other."""
    of_lens = chain(_seal_words(box, lens), _off_bore_words(box, lens), _tilted_ring_words(box, lens))
    return chain(of_lens, _glass_words(box), filter_index_words(box))


def _seal_words(box: Box, lens: Lens) -> Words:
    """A seal that does not reach the barrel: the radius taken for a gap, or another lens's."""
    for seal in box.seal:
        gap_mm = ((seal.inner_mm or 0.0) - lens.front_diameter_mm) / 2
        if seal.kind != "none" and gap_mm > (RING_GAP_MM if seal.kind == "ring" else SOFT_GAP_MM):
            barrel = f"front_diameter_mm = {plain(lens.front_diameter_mm)}"
            gap = f"leaves a gap of {plain(round(gap_mm, 1))} mm all round the barrel, {barrel}, and lets light in"
            ask = "is it that of another lens?" if gap_mm > RING_GAP_MM else f"a {seal.kind} grips the barrel: measure it"
            yield seal.name or "seal", f"inner_mm = {plain(seal.inner_mm or 0.0)} {gap}; {ask}"


def _off_bore_words(box: Box, lens: Lens) -> Words:
    """A box that is moved so far off the lens axis that a rigid ring, or the bore of its plate, no longer goes round the barrel."""
    off_mm, front_mm = math.hypot(*box.offset_mm), lens.front_diameter_mm
    moved = f"offset_mm = {as_written(box.offset_mm)} moves it {off_mm:.1f} mm off the lens axis, farther than the"
    for seal in box.seal:
        inner_mm = seal.inner_mm or front_mm
        holes = [("a ring", inner_mm)] if seal.kind == "ring" else [("bore_mm", back.bore_mm) for back in box.back]
        for what, wide_mm in holes if seal.kind != "none" else ():
            spare_mm = max((wide_mm - front_mm) / 2, 0.0)
            if off_mm > spare_mm + SOFT_GAP_MM:
                hole = f"{what} of {plain(wide_mm)} mm round front_diameter_mm = {plain(front_mm)} lets it go"
                yield "box", f"{moved} {spare_mm:.1f} mm that {hole}; offset_mm counts right and up"


def _tilted_ring_words(box: Box, lens: Lens) -> Words:
    """A box tilted against a rigid ring that has no room to lean on the barrel: a ring of 2 mm needs d / cos + 2 sin inside."""
    tilt_rad = math.radians(abs(box.tilt_deg))
    for seal in box.seal:
        inner_mm = seal.inner_mm or lens.front_diameter_mm
        needed_mm = lens.front_diameter_mm / math.cos(tilt_rad) + THINNEST_RING_MM * math.sin(tilt_rad)
        if seal.kind == "ring" and inner_mm + SOFT_GAP_MM < lens.front_diameter_mm:
            text = (
                f"inner_mm = {plain(inner_mm)} of a rigid ring does not go over front_diameter_mm = {plain(lens.front_diameter_mm)}"
            )
            yield seal.name or "seal", f"{text}; measure both, or let it stand ahead of the front as a stage"
        elif seal.kind == "ring" and inner_mm + SOFT_GAP_MM < needed_mm:
            ring = f"a ring of {plain(inner_mm)} mm round front_diameter_mm = {plain(lens.front_diameter_mm)}"
            yield (
                "box",
                f"tilt_deg = {plain(box.tilt_deg)} leans {ring}, which stands square to its barrel; a donut or bellows gives way",
            )


def _glass_words(box: Box) -> Words:
    """Glass that its tray has nothing to hold by, as where the opening is told by the glass; and glass thicker than any."""
    for number, stage in enumerate(box.stage, 1):
        glass = stage.filter
        if glass is None:
            continue
        held_mm = _held_mm(stage, glass)
        if 0.0 <= held_mm < HELD_MM:
            size = f"opening_mm = {as_written(stage.opening_mm)}" if stage.opening_mm else "its opening"
            by = f"leaves {f'{held_mm:.1f} mm' if held_mm >= 0.05 else 'nothing'} of the glass to hold it by on a side"
            yield stage_name(stage, number), f"{size} {by}: is it the size of the glass, in place of what the tray leaves open?"
        if (sag_mm := _sag_mm(glass)) > glass.thickness_mm:
            stated = f"filter.thickness_mm = {plain(glass.thickness_mm)}"
            text = f"power_dioptre = {plain(glass.power_dioptre or 0.0)} {_curve_words(sag_mm)}, and {stated}"
            yield stage_name(stage, number), f"{text}: is a point in the wrong place, or the glass thicker?"
        if glass.thickness_mm >= THICKEST_GLASS_MM:
            thick = f"filter.thickness_mm = {plain(glass.thickness_mm)} is thicker than filters are, and lets more of the box clear"
            yield stage_name(stage, number), f"{thick}: is it the depth of the tray, or two filters?"


def _sag_mm(glass: Filter) -> float:
    """How much thinner a close-up lens is at its nearest edge than in its middle [mm]: R - sqrt(R^2 - h^2), R = (n - 1) / power."""
    if not glass.power_dioptre:
        return 0.0
    radius_mm = 1000.0 * (glass.index - 1.0) / abs(glass.power_dioptre)
    half_mm = min(glass.rectangle_mm or (glass.round_mm or 0.0,)) / 2
    return radius_mm - math.sqrt(radius_mm**2 - half_mm**2) if half_mm < radius_mm else math.inf


def _curve_words(sag_mm: float) -> str:
    return f"curves it by {sag_mm:.1f} mm to its nearest edge" if math.isfinite(sag_mm) else "curves it more than its width allows"


def _held_mm(stage: Stage, glass: Filter) -> float:
    """How much of a filter lies on its tray, on the side where least does [mm]; negative where the tray is of another shape."""
    if glass.round_mm is not None and stage.opening_diameter_mm is not None:
        return (glass.round_mm - stage.opening_diameter_mm) / 2
    if glass.rectangle_mm is None or stage.opening_mm is None:
        return -1.0
    return min((full - open_) / 2 for full, open_ in zip(glass.rectangle_mm, stage.opening_mm, strict=True))
