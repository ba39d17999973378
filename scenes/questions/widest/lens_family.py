"""A family of lenses: one lens of a scene at any focal length, its measures stated, held or scaled. Opens no file."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from geometry.errors import GeometryError
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import LensState
from raytrace.optics.prescription import first_order
from raytrace.optics.traced_picture import traced_picture
from scenes.rig.lens import front_travel_mm, lens_variants
from scenes.rig.stated_field import rows_of
from scenes.rig.traced_focus import check_focal_mm, traced_focus
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import plain
from scenes.scene_file.resources import GlassTable, Resources
from scenes.scene_file.tables.lens import Interval, Lens, PupilDepth, WalkRow, nearest_focus_mm
from scenes.scene_file.tables.lens import LensState as Row
from scenes.scene_file.tables.scene import NEAREST_FOCUS_IN_FOCAL_LENGTHS, Scene, can_focus, focal_lengths
from scenes.states.clear_rule import WALK_MM
from scenes.states.load import chosen_lenses

SHORTEST_SHARE, LONGEST_SHARE = 1 / 3, 6.0  # of the reference lens's focal length: beyond these it says nothing of a lens
SAME_FIELD = 0.999  # and its inverse: less of a difference is rounding of half_field_deg, used but not worth a sentence
CORNER_STEPS = 32  # from the axis to the corner, at which a traced field is looked up
NEAR_SLACK = 1.0001  # a finite focus is asked for this little beyond four focal lengths


class Rule(StrEnum):
    """How a measure that is not stated goes with focal length: as in the reference lens, in proportion, or the worse of both."""

    HELD = "held"
    SCALED = "scaled"
    WORSE = "worse"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """What a family's lenses measure: stated [mm], or a rule where a value is None."""

    pupil: Rule = Rule.WORSE
    pupil_mm: Interval | None = None
    front: Rule = Rule.HELD
    front_mm: float | None = None
    length: Rule = Rule.HELD
    length_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldStated:
    """What the rows of a family's own lens say of its field, as shares of what its focal length says.

    wider: the most at its shortest focal length, 1 at least. narrower: the least there, 1 at most. The family takes what they
    say at each focus. longer: the most at its longer focal lengths, 1 at least. unheld_mm: focus distances of rows that nothing
    can be held against. by_table says that a traced lens's table, not its rows, told `wider`.
    """

    wider: float = 1.0
    narrower: float = 1.0
    longer: float = 1.0
    unheld_mm: tuple[float, ...] = ()
    by_table: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """A reference lens at its shortest focal length, freed of its rows and its front glass, and what its relatives measure.

    depth_mm is its pupil (None where pupil_walk tells it); rows are its own, without what they say of the pupil.
    """

    lens: Lens
    depth_mm: PupilDepth | None
    walk: tuple[WalkRow, ...] | None
    measures: Measures
    travel_mm: float
    field: FieldStated
    traced: bool
    rows: tuple[Row, ...] = ()

    @property
    def focal_mm(self) -> float:
        """Focal length of the reference lens."""
        return self.lens.focal_mm


def family_of(scene: Scene, resources: Resources, name: str | None, measures: Measures, grid: PixelGrid) -> Family:
    """The family of a scene's lens of this name; of its widest lens where none is named."""
    own = chosen_lenses(scene, [name])[0] if name is not None else min(scene.lens, key=_horizontal_mm)
    focal = focal_lengths(own)[0]
    glass = resources.glass_of(own)
    free = own.model_copy(
        update={
            "focal_mm": focal,
            "state": (),
            "front_glass_mm": None,
            "prescription": None,
            "close_focus_mm": nearest_focus_mm(own),
        }
    )
    stated = measures.pupil_mm
    depth = PupilDepth(horizontal=stated, vertical=stated) if stated else _depth_of(own, glass, focal)
    return Family(
        lens=free,
        depth_mm=depth,
        walk=own.pupil_walk if depth is None else None,
        measures=measures,
        travel_mm=front_travel_mm(own, focal, math.inf),
        field=_field_stated(own, free, grid) if glass is None else _field_traced(own, glass, grid),
        traced=glass is not None,
        rows=() if glass is not None else tuple(row.model_copy(update={"pupil_behind_front_mm": None}) for row in own.state),
    )


def _horizontal_mm(lens: Lens) -> float:
    return focal_lengths(lens)[0] / lens.squeeze


def _depth_of(lens: Lens, glass: GlassTable | None, focal_mm: float) -> PupilDepth | None:
    """The pupil of the reference lens at its shortest focal length, infinity; None where a table of its walk tells it."""
    if glass is not None:
        middle = glass.vertex_behind_front_mm + first_order(glass.prescription).entrance_pupil_mm
        bounds = (middle - WALK_MM, middle + WALK_MM)
        return PupilDepth(horizontal=bounds, vertical=bounds)
    at_shortest = [row for row in lens.state if row.pupil_behind_front_mm and row.focal_mm in {focal_mm, None}]
    if at_shortest:
        depths = [row.pupil_behind_front_mm for row in at_shortest if row.pupil_behind_front_mm]
        return _around(depths)
    return None if lens.pupil_walk is not None else lens.pupil_behind_front_mm


def _around(depths: Sequence[PupilDepth]) -> PupilDepth:
    """Bounds that hold all of several."""
    return PupilDepth(
        horizontal=(min(d.horizontal[0] for d in depths), max(d.horizontal[1] for d in depths)),
        vertical=(min(d.vertical[0] for d in depths), max(d.vertical[1] for d in depths)),
    )


def _field_stated(own: Lens, free: Lens, grid: PixelGrid) -> FieldStated:
    """How the fields that a lens's own rows state stand to those that its focal lengths say."""
    stating = [row for row in rows_of(own) if row.half_field_deg is not None]
    known: dict[bool, list[float]] = {True: [], False: []}  # at the shortest focal length, and at longer ones
    unheld: set[float] = set()
    for row in stating:
        near = math.isfinite(row.focus_mm)
        if near and (own.front_to_sensor_mm is None or row.focus_mm < NEAREST_FOCUS_IN_FOCAL_LENGTHS * row.focal_mm):
            unheld.add(row.focus_mm)
        else:
            known[row.focal_mm <= free.focal_mm].append(_wider_share(own, free, grid, row.focal_mm, row.focus_mm))
    return FieldStated(
        wider=max([1.0, *known[True]]),
        narrower=min([1.0, *known[True]]),
        longer=max([1.0, *known[False]]),
        unheld_mm=tuple(sorted(unheld)),
    )


def _field_traced(own: Lens, glass: GlassTable, grid: PixelGrid) -> FieldStated:
    """How much wider a traced lens sees out to the picture's corners than its focal length says."""
    corner_mm = float(np.hypot(*(np.abs(grid.offset_mm) + np.array([grid.width_mm, grid.height_mm]) / 2)))
    try:
        check_focal_mm(glass.prescription, own.focal_mm)
        picture = traced_picture(glass.prescription, traced_focus(glass, math.inf))
    except GeometryError as error:
        raise SceneError([Complaint(where=f'lens "{own.name}"', problem=str(error))]) from None
    if corner_mm > picture.end_mm:
        problem = f"pictures nothing beyond {picture.end_mm:.2f} mm from the axis, so it is no reference for {corner_mm:.2f} mm"
        raise SceneError([Complaint(where=f'lens "{own.name}"', problem=problem)])
    radius_mm = corner_mm * np.arange(1, CORNER_STEPS + 1) / CORNER_STEPS
    wider = float((np.tan(picture.field_at(radius_mm)) * own.focal_mm / radius_mm).max())
    return FieldStated(wider=max(1.0, wider), by_table=True)


def _wider_share(own: Lens, free: Lens, grid: PixelGrid, focal_mm: float, focus_mm: float) -> float:
    """How much wider a lens's rows say it sees at a setting than its focal length says."""
    nought = PupilDepth(horizontal=(0, 0), vertical=(0, 0))
    held = free.model_copy(update={"focal_mm": focal_mm, "pupil_walk": None, "pupil_behind_front_mm": nought})
    rows = held.model_copy(update={"state": own.state})
    setting = {"focal_mm": focal_mm, "focus_mm": focus_mm, "f_number": own.f_number}
    measured, said = (lens_variants(lens, grid, None, **setting)[0].lens for lens in (rows, held))
    return said.field_focal_mm / measured.field_focal_mm


def relatives(family: Family, focal_mm: float) -> tuple[Lens, ...]:
    """The lens of the family at a focal length: one, or two where pupil walks are taken both as they are and scaled."""
    share = focal_mm / family.focal_mm
    wanted = family.measures
    common = {
        "focal_mm": focal_mm,
        "front_diameter_mm": _measure(wanted.front, wanted.front_mm, family.lens.front_diameter_mm, share),
        "front_to_sensor_mm": _length_mm(family, share),
    }
    if family.walk is not None:
        return tuple(
            family.lens.model_copy(update={**common, "pupil_walk": tuple((a, depth * s, t, r) for a, depth, t, r in family.walk)})
            for s in _shares(wanted.pupil, share)
        )
    assert family.depth_mm is not None
    shares = (1.0,) if wanted.pupil_mm else _shares(wanted.pupil, share)
    depth = _around([_times(family.depth_mm, s) for s in shares])
    return (family.lens.model_copy(update={**common, "pupil_walk": None, "pupil_behind_front_mm": depth}),)


def _shares(rule: Rule, share: float) -> tuple[float, ...]:
    return {Rule.HELD: (1.0,), Rule.SCALED: (share,), Rule.WORSE: tuple(dict.fromkeys((1.0, share)))}[rule]


def _times(depth: PupilDepth, share: float) -> PupilDepth:
    (a, b), (c, d) = (sorted(end * share for end in ends) for ends in (depth.horizontal, depth.vertical))
    return PupilDepth(horizontal=(a, b), vertical=(c, d))


def _measure(rule: Rule, stated_mm: float | None, own_mm: float, share: float) -> float:
    if stated_mm is not None:
        return stated_mm
    return own_mm * share if rule is Rule.SCALED else own_mm


def _length_mm(family: Family, share: float) -> float | None:
    own, wanted = family.lens.front_to_sensor_mm, family.measures
    if own is None:
        return wanted.length_mm
    return _measure(wanted.length, wanted.length_mm, own + family.travel_mm, share)


def family_states(family: Family, grid: PixelGrid, focal_mm: float, focus_mm: float, f_number: float) -> tuple[LensState, ...]:
    """The family's lens at one setting, once for each end of what its pupil's place may be: between them nothing is worse."""
    found = []
    for lens in relatives(family, focal_mm):
        variants = lens_variants(lens, grid, None, focal_mm=focal_mm, focus_mm=focus_mm, f_number=f_number)
        ends = [variant.lens for variant in variants if _is_end(variant.lens, lens)]
        found += [_seeing_as(end, family, grid) for end in ends]
    return tuple(found)


def _seeing_as(state: LensState, family: Family, grid: PixelGrid) -> LensState:
    """A lens whose field stands to what its focal length says as the reference lens's does at the same focus."""
    upright, across = _field_shares(family, grid, state)
    return replace(state, field_focal_mm=state.field_focal_mm / upright, squeeze=state.squeeze * across / upright)


def _field_shares(family: Family, grid: PixelGrid, state: LensState) -> tuple[float, float]:
    """How much wider (upright, across) the reference lens sees at a focus than its focal length says there: as its rows have it."""
    stated = any(row.half_field_deg is not None for row in family.rows)
    if not stated or not can_focus(family.lens, family.focal_mm, state.focus_mm):
        return family.field.wider, family.field.wider
    across_mm, upright_mm = _on_axis_mm(state)
    depth = PupilDepth(horizontal=(across_mm, across_mm), vertical=(upright_mm, upright_mm))
    held = family.lens.model_copy(update={"pupil_walk": None, "pupil_behind_front_mm": depth})
    setting = {"focal_mm": family.focal_mm, "focus_mm": state.focus_mm, "f_number": state.f_number}
    rows = held.model_copy(update={"state": family.rows})
    measured, said = (lens_variants(lens, grid, None, **setting)[0].lens for lens in (rows, held))
    upright = said.field_focal_mm / measured.field_focal_mm
    return upright, upright * measured.squeeze / said.squeeze


def _on_axis_mm(state: LensState) -> tuple[float, float]:
    """Depth of a lens's pupil on the axis, (across, upright) [mm]."""
    depth = state.pupil.behind_front_mm
    return (depth, depth) if isinstance(depth, float | int) else depth


def _is_end(state: LensState, lens: Lens) -> bool:
    bounds = lens.pupil_behind_front_mm
    if bounds is None or lens.pupil_walk is not None or isinstance(state.pupil.behind_front_mm, float):
        return True
    across, upright = state.pupil.behind_front_mm
    return across in bounds.horizontal and upright in bounds.vertical


def longest_mm(focus_mm: float, wanted_mm: float) -> float:
    """The longest focal length that can be focused so near, and no longer than wanted [mm]."""
    return min(wanted_mm, focus_mm / NEAREST_FOCUS_IN_FOCAL_LENGTHS / NEAR_SLACK) if math.isfinite(focus_mm) else wanted_mm


def checked(family: Family, grid: PixelGrid, focus_mm: Sequence[float], f_number: float) -> None:
    """Refuse a family that cannot be worked out at its own focal length, in the words of whoever asked for it."""
    for distance in focus_mm:
        try:
            family_states(family, grid, min(family.focal_mm, longest_mm(distance, family.focal_mm)), distance, f_number)
        except GeometryError as error:
            raise SceneError([Complaint(where=f'lens "{family.lens.name}"', problem=str(error))]) from None


def assumed(family: Family) -> tuple[str, ...]:
    """What stands behind the family's lenses, one sentence for each measure."""
    name, wanted = f'the "{family.lens.name}"', family.measures
    front = _rule_words(wanted.front, wanted.front_mm, family.lens.front_diameter_mm, name)
    length = _rule_words(wanted.length, wanted.length_mm, family.lens.front_to_sensor_mm, name)
    found = [f"pupil: {_pupil_words(family, name)}", f"front diameter: {front}; its glass cuts nothing off the beam"]
    found.append(f"front to sensor: {length}; nearest focus as in {name}")
    return (*found, *_field_words(family.field, name))


def _field_words(field: FieldStated, name: str) -> Iterator[str]:
    """What of the fields that rows state is used, and what is not."""
    if field.wider > 1 / SAME_FIELD:
        told_by = "table" if field.by_table else "rows"
        up_to = "" if field.by_table else "up to "
        yield f"field: {up_to}{_percent(field.wider)} wider than the focal length says, as in {name}'s {told_by}"
    if field.narrower < SAME_FIELD:
        yield (
            f"field: up to {_percent(field.narrower)} narrower than the focal length says, where {name}'s rows measure it so: "
            "another lens may see wider there"
        )
    if field.longer > field.wider / SAME_FIELD:
        yield (
            f"field: {name}'s rows at longer focal lengths state it up to {_percent(field.longer)} wider than those say, which is "
            "left out: check the lens itself there"
        )
    if field.unheld_mm:
        at = " and ".join(f"{focus_mm:g} mm" for focus_mm in field.unheld_mm)
        yield (
            f"field: what {name}'s rows state at {at} is left out, for nothing is known to hold it against so near or without "
            "front_to_sensor_mm; a lens may see wider there: check it itself"
        )


def _percent(share: float) -> str:
    return f"{100 * abs(share - 1):.1f} %"


def _rule_words(rule: Rule, stated_mm: float | None, own_mm: float | None, name: str) -> str:
    if stated_mm is not None:
        return f"{plain(stated_mm)} mm, as stated"
    if own_mm is None:
        return "not known; infinity only"
    how = f"scaled with focal length from {name}'s" if rule is Rule.SCALED else f"as in {name}, at every focal length,"
    return f"{how} {plain(own_mm)} mm"


def _pupil_words(family: Family, name: str) -> str:
    if family.measures.pupil_mm is not None:
        return f"{_interval_words(family.measures.pupil_mm)} behind the front, as stated; the worse end counts"
    own = "its walk" if family.depth_mm is None else _depth_words(family.depth_mm)
    source = f"{name}'s {own}" + (", traced on the axis and 2.5 mm either way" if family.traced else "")
    how = {
        Rule.HELD: "at every focal length",
        Rule.SCALED: "scaled with focal length",
        Rule.WORSE: "both as it is and scaled with focal length, the worse of the two at each",
    }
    return f"{source}, {how[family.measures.pupil]}"


def _depth_words(depth: PupilDepth) -> str:
    if depth.is_round:
        return f"{_interval_words(depth.horizontal)} behind the front"
    return f"{_interval_words(depth.horizontal)} (horizontal) and {_interval_words(depth.vertical)} (vertical) behind the front"


def _interval_words(bounds: Interval) -> str:
    low, high = bounds
    return f"{plain(low)} mm" if low == high else f"{plain(round(low, 2))} to {plain(round(high, 2))} mm"
