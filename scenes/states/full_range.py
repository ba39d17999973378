"""The states whose beams hold all others of a lens: zoom rows, nearest and farthest focus, what bulges between, the widest stop."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from geometry.notes import Severity
from scenes.cautions.traced_notes import picture_notes
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import CLAMP
from scenes.scene_file.tables.lens import Lens, nearest_focus_mm
from scenes.scene_file.tables.scene import Scene, box_for, can_focus, focal_lengths, focus_distances_of
from scenes.states.keys import Setting
from scenes.states.load import Loaded
from scenes.states.notes import NEAREST_BY_ROW
from scenes.states.state import State, guides_of, pixel_grid, plan_state
from scenes.states.widest_settings import bulging

RANGE_S = 0.2  # what the range of a lens takes to work out, about
STEPS_BETWEEN = 7  # focal lengths between two rows: a bulge between them is then missed by 1/64 of its height, a tenth of a mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranged:
    """A lens and the states that hold its whole range: worked out once, asked for many times.

    left_out_mm is how far beams at settings in between may still reach out of theirs, at corners.
    """

    lens: Lens
    plans: tuple[State, ...]
    left_out_mm: float = 0.0


def range_plans(loaded: Loaded, lens: Lens) -> tuple[State, ...]:
    """The states of `ranged` alone."""
    return ranged(loaded, lens).plans


def ranged(loaded: Loaded, lens: Lens) -> Ranged:
    """A lens's states over its whole range, whatever [check] asks for.

    A stop further closed lights less of the same pupil, so its beam lies inside the widest stop's. Zoom rows, infinity, the nearest
    focus and the focus of every row are always looked at, and between them whatever reaches farther: a field that is a guess may
    be widest at a focus in between (`scenes.states.widest_settings`).
    """
    scene = loaded.scene
    grid = pixel_grid(scene.camera)
    guides = guides_of(scene.camera, grid)
    settings = tuple(_settings(scene, lens))
    between, left_out_mm = bulging(
        lens,
        loaded.resources.glass_of(lens),
        grid=grid,
        guides=guides,
        settings=settings,
        usable=lambda focal_mm, focus_mm: can_focus(lens, focal_mm, focus_mm),
        moves_with_front=box_for(scene, lens).mount == CLAMP,
    )
    every = (*settings, *between)
    plans = tuple(plan_state(scene, lens, loaded.resources, setting, grid=grid, guides=guides) for setting in every)
    _refuse_beyond_picture(lens, plans)
    return Ranged(lens=lens, plans=plans, left_out_mm=left_out_mm)


def checked_ranges(plans: Iterable[State]) -> tuple[Ranged, ...]:
    """For each lens of the states given the range that they span, with the states besides them that hold it.

    From infinity to the nearest focus and from the shortest to the longest focal length among them, at the widest stop, whose
    beam holds those of the others. Few: the settings given hold all others but where rows of a zoom state fields, a guessed field
    is widest in between, or two pupils bend the beam's corners.
    """
    by_lens: dict[str, list[State]] = {}
    for plan in plans:
        by_lens.setdefault(plan.lens_name, []).append(plan)
    return tuple(shared_out(_checked_range, [tuple(mine) for mine in by_lens.values()], each_s=RANGE_S))


def settings_spanned(plans: Iterable[State]) -> tuple[tuple[State, ...], ...]:
    """For each lens of the states given those at its widest stop, and infinity, rows of the lens and zoom steps among them."""
    by_lens: dict[str, list[State]] = {}
    for plan in plans:
        by_lens.setdefault(plan.lens_name, []).append(plan)
    return tuple(_spanned(mine) for mine in by_lens.values())


def _spanned(plans: Sequence[State]) -> tuple[State, ...]:
    first, stop = plans[0], min(plan.f_number for plan in plans)
    have = {(plan.focal_mm, plan.focus_mm): plan for plan in plans if plan.f_number == stop}

    def state(focal_mm: float, focus_mm: float) -> State:
        setting = Setting(focal_mm=focal_mm, focus_mm=focus_mm, f_number=stop)
        return plan_state(first.scene, first.lens, first.resources, setting, grid=first.grid, guides=first.guides)

    return tuple(have.get(one) or state(*one) for one in dict.fromkeys(_span_settings(plans)))


def _checked_range(plans: tuple[State, ...]) -> Ranged:
    lens, first = plans[0].lens, plans[0]
    stop, settings = min(plan.f_number for plan in plans), tuple(dict.fromkeys(_span_settings(plans)))
    widest = [Setting(focal_mm=focal_mm, focus_mm=focus_mm, f_number=stop) for focal_mm, focus_mm in settings]
    between, left_out_mm = bulging(
        lens,
        first.resources.glass_of(lens),
        grid=first.grid,
        guides=first.guides,
        settings=widest,
        usable=lambda focal_mm, focus_mm: can_focus(lens, focal_mm, focus_mm),
        moves_with_front=first.fitted.mount == CLAMP,
    )
    have = {(plan.focal_mm, plan.focus_mm, plan.f_number) for plan in plans}
    more = [one for one in (*widest, *between) if (one.focal_mm, one.focus_mm, one.f_number) not in have]
    made = tuple(plan_state(first.scene, lens, first.resources, one, grid=first.grid, guides=first.guides) for one in more)
    return Ranged(lens=lens, plans=made, left_out_mm=left_out_mm)


def _span_settings(plans: Sequence[State]) -> Iterator[tuple[float, float]]:
    """Focal lengths and focus distances that hold what some states of a lens span, without what lies between [mm]."""
    lens, focals = plans[0].lens, [plan.focal_mm for plan in plans]
    nearest_mm = min(plan.focus_mm for plan in plans)
    rows_mm = [row.focus_mm for row in lens.state if isinstance(row.focus_mm, float) and row.focus_mm >= nearest_mm]
    focus_mm = dict.fromkeys((math.inf, *(plan.focus_mm for plan in plans), *rows_mm))
    for focal_mm in dict.fromkeys((*(f for f in zoomed_mm(lens) if min(focals) <= f <= max(focals)), *focals)):
        yield from ((focal_mm, distance) for distance in focus_mm if can_focus(lens, focal_mm, distance))


def _refuse_beyond_picture(lens: Lens, plans: Sequence[State]) -> None:
    """SceneError where a guide reaches beyond what the lens's table pictures: no cut-out or glass holds a beam nobody knows."""
    notes = [note for plan in plans for note in picture_notes(plan.lens_name, plan.variants, plan.guides)]
    faults = dict.fromkeys(note.text for note in notes if note.severity is Severity.FAULT)
    if faults:
        raise SceneError([Complaint(where=f'lens "{lens.name}"', problem=text) for text in faults])


def _settings(scene: Scene, lens: Lens) -> Iterator[Setting]:
    for focal_mm in zoomed_mm(lens):
        for focus_mm in focus_range_mm(scene, lens, focal_mm):
            yield Setting(focal_mm=focal_mm, focus_mm=focus_mm, f_number=lens.f_number)


def zoomed_mm(lens: Lens) -> tuple[float, ...]:
    """Focal lengths to look at: the lens's rows, and steps between them where these state the field, rising.

    Half the frame in a plane z ahead is tan(field) (depth + z). With field ~ 1 / f and a depth that runs straight in f it runs one
    way; with a stated field that itself runs straight in f it can bulge in between.
    """
    rows = focal_lengths(lens)
    if len(rows) < 2 or all(row.half_field_deg is None for row in lens.state):
        return rows
    between = [np.linspace(low, high, STEPS_BETWEEN + 2)[:-1].tolist() for low, high in pairwise(rows)]
    return (*(focal_mm for some in between for focal_mm in some), rows[-1])


def focus_range_mm(scene: Scene, lens: Lens, focal_mm: float) -> tuple[float, ...]:
    """Infinity, the nearest focus where the scene tells enough to use it, and what [check] and the lens's own rows name."""
    rows = [row.focus_mm for row in lens.state if isinstance(row.focus_mm, float)]
    near = nearest_focus_mm(lens)
    asked = [math.inf, *focus_distances_of(scene, lens), *rows, *([] if near is None else [near])]
    return tuple(dict.fromkeys(distance for distance in asked if can_focus(lens, focal_mm, distance)))


def focus_note(lens: Lens) -> str | None:
    """What keeps a lens's nearest focus out of account; None where nothing does."""
    near = nearest_focus_mm(lens)
    if near is None:
        return f"{lens.name}: close_focus_mm is not given, so only the focus distances of [check] and infinity were looked at"
    if not all(can_focus(lens, focal_mm, near) for focal_mm in focal_lengths(lens)):
        why = "front_to_sensor_mm is not given" if lens.front_to_sensor_mm is None else "it is nearer than 4 focal lengths"
        return f"{lens.name}: its nearest focus, {plain(near)} mm, was left out: {why}"
    if lens.close_focus_mm is None:
        return f"{lens.name}: {NEAREST_BY_ROW} {plain(near)} mm"
    return None
