"""Scene -> states: one for each lens, zoom, focus and stop, ready for any of the three ways."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

from geometry.body import Assembly
from geometry.notes import Note
from raytrace.box import Box
from raytrace.optics.camera import Guide, PixelGrid, guide_of_aspect, whole_frame
from raytrace.optics.lens import LensState
from scenes.scene_file.resources import Resources
from scenes.scene_file.tables.camera import Camera
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, box_for, f_numbers_of, focal_lengths, focus_distances_of
from scenes.states.box import build_box
from scenes.states.focus_plane import focus_notes
from scenes.states.lens import field_guess_percent, front_travel_mm, lens_variants
from scenes.states.lens_front import front_notes
from scenes.states.notes import facts_of, field_notes, walk_notes


@dataclass(frozen=True, slots=True, kw_only=True)
class StatePlan:
    """Everything a way needs for one state.

    `variants` holds the lens once per pupil position that its stated bounds allow; the worst of them counts. field_guess_percent
    says how much wider than at infinity its field is taken to be, across and upright, where that is a guess; else None.
    """

    key: str
    lens_name: str
    focal_mm: float
    focus_mm: float
    f_number: float
    variants: tuple[LensState, ...]
    variant_names: tuple[str, ...]
    box: Box
    assembly: Assembly
    grid: PixelGrid
    guides: tuple[Guide, ...]
    notes: tuple[Note, ...]
    field_guess_percent: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A zoom, focus and stop: focal length and focus distance from the image plane [mm], f-number."""

    focal_mm: float
    focus_mm: float
    f_number: float


def states_of(scene: Scene, resources: Resources | None = None) -> tuple[StatePlan, ...]:
    """Every state that the scene's [check] asks for, lens by lens."""
    return tuple(_states(scene, resources or Resources()))


def _states(scene: Scene, resources: Resources) -> Iterator[StatePlan]:
    for lens in scene.lens:
        yield from states_of_lens(scene, lens, resources)


def states_of_lens(scene: Scene, lens: Lens, resources: Resources) -> Iterator[StatePlan]:
    """Every state of one lens; GeometryError or ItemError where its box or the lens itself cannot be built."""
    grid = pixel_grid(scene.camera)
    guides = guides_of(scene.camera, grid)
    notes = _facts(scene, lens, resources)
    stops = f_numbers_of(scene, lens)
    for focal_mm, focus_mm, f_number in product(focal_lengths(lens), focus_distances_of(scene, lens), stops):
        setting = Setting(focal_mm=focal_mm, focus_mm=focus_mm, f_number=f_number)
        yield plan_state(scene, lens, resources, setting, grid=grid, guides=guides, notes=notes)


def plan_state(
    scene: Scene,
    lens: Lens,
    resources: Resources,
    setting: Setting,
    *,
    grid: PixelGrid,
    guides: tuple[Guide, ...],
    notes: tuple[Note, ...] = (),
) -> StatePlan:
    """One state of one lens."""
    focal_mm, focus_mm, f_number = setting.focal_mm, setting.focus_mm, setting.f_number
    glass = resources.prescriptions[lens.prescription] if lens.prescription is not None else None
    variants = lens_variants(lens, grid, glass, focal_mm=focal_mm, focus_mm=focus_mm, f_number=f_number)
    states = tuple(variant.lens for variant in variants)
    own_box = box_for(scene, lens)
    assembly, box = build_box(own_box, lens, resources, front_travel_mm=front_travel_mm(lens, focal_mm, focus_mm))
    guess = field_guess_percent(lens, variants, grid, focal_mm, focus_mm)
    return StatePlan(
        key=state_key(lens, focal_mm, focus_mm, f_number),
        lens_name=lens.name,
        focal_mm=focal_mm,
        focus_mm=focus_mm,
        f_number=f_number,
        variants=states,
        variant_names=tuple(variant.name for variant in variants),
        box=box,
        assembly=assembly,
        grid=grid,
        guides=guides,
        notes=(
            *notes,
            *walk_notes(lens.name, states),
            *field_notes(lens.name, focus_mm, guess),
            *front_notes(lens, states, guides, field_is_guess=guess is not None),
            *focus_notes(box, states),
        ),
        field_guess_percent=guess,
    )


def _facts(scene: Scene, lens: Lens, resources: Resources) -> tuple[Note, ...]:
    """What shapes and numbers alone tell about a lens in this box, at its shortest focal length."""
    focal_mm = focal_lengths(lens)[0]
    own_box = box_for(scene, lens)
    assembly, _ = build_box(own_box, lens, resources, front_travel_mm=front_travel_mm(lens, focal_mm, math.inf))
    glass = resources.prescriptions[lens.prescription] if lens.prescription is not None else None
    return facts_of(own_box, lens, assembly, glass, min(f_numbers_of(scene, lens)))


def pixel_grid(camera: Camera) -> PixelGrid:
    """The camera's photosites."""
    return PixelGrid(
        width_mm=camera.width_mm,
        height_mm=camera.height_mm,
        columns=camera.pixels[0],
        rows=camera.pixels[1],
        offset_mm=camera.offset_mm,
    )


def guides_of(camera: Camera, grid: PixelGrid) -> tuple[Guide, ...]:
    """What has to stay clear: the scene's guides, else the whole recorded area."""
    guides = tuple(
        guide_of_aspect(guide.name, grid, guide.aspect, scale=guide.scale, offset_mm=guide.offset_mm) for guide in camera.guide
    )
    return guides or (whole_frame(grid),)


def state_key(lens: Lens, focal_mm: float, focus_mm: float, f_number: float) -> str:
    """A name for files: '18_inf_f2', '25-50_35mm_at_600_f2.8'."""
    name = re.sub(r"[^\w.+-]+", "-", lens.name).strip("-.") or "lens"
    focal = f"_{focal_mm:g}mm" if len(focal_lengths(lens)) > 1 else ""
    focus = "inf" if math.isinf(focus_mm) else f"at_{focus_mm:g}"
    return f"{name}{focal}_{focus}_f{f_number:g}"
