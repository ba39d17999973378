"""Scene -> states: one for each lens, zoom, focus and stop, ready for any of the three ways."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from geometry.body import Assembly
from geometry.frame import Pose
from geometry.notes import Note
from raytrace.box import Box
from raytrace.kept import KeptTogether
from raytrace.optics.camera import Guide, PixelGrid, guide_of_aspect, whole_frame
from raytrace.optics.lens import LensState
from scenes.cautions.box_notes import box_facts, box_notes
from scenes.cautions.contradictions import box_contradictions, lens_contradictions
from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.cautions.focus_plane import focus_notes
from scenes.cautions.light_places import lamp_notes
from scenes.cautions.traced_notes import traced_notes
from scenes.cautions.unbuildable import tolerance_end_notes
from scenes.rig.box import box_place, build_box
from scenes.rig.lens import field_guess_percent, front_travel_mm, lens_variants
from scenes.scene_file.resources import Resources
from scenes.scene_file.tables.box import Box as SceneBox
from scenes.scene_file.tables.camera import Camera
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, box_for, f_numbers_of, focal_lengths
from scenes.states.keys import Setting, StateLabel, key_of, settings_of
from scenes.states.lens_front import front_notes
from scenes.states.notes import field_notes, file_notes, lens_facts, nearest_focus_notes, walk_notes

KEPT = 64  # boxes kept in a process: those of all lenses of a show, with each place of their front rims
TRIED = 3  # boxes tried out on a lens that are kept: states are asked of one after the other


@dataclass(frozen=True, slots=True, kw_only=True)
class LensNotes:
    """What is told of a state whatever its box, by its place among the state's notes."""

    facts: tuple[Note, ...] = ()
    contradictions: tuple[Note, ...] = ()
    guesses: tuple[Note, ...] = ()
    traced: tuple[Note, ...] = ()

    def around(self, of_filters: tuple[Note, ...], of_focus: tuple[Note, ...]) -> tuple[Note, ...]:
        """All but the facts, and at their places among them those of a box's filters and of the plane in focus."""
        return (*self.contradictions, *of_filters, *self.guesses, *of_focus, *self.traced)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class State:
    """One lens at one zoom, focus and stop with its box: everything that a way needs, and what it was made from.

    `fitted` is the scene's box as it is on this lens, `box` and `assembly` what is built of it; `travel_mm` is how far the front
    rim has moved toward the scene. `variants` holds the lens once per pupil position that its stated bounds allow; the worst of
    them counts. field_guess_percent says how much wider than at infinity its field is taken to be, across and upright, where that
    is a guess; else None.
    """

    key: str
    scene: Scene
    resources: Resources
    lens: Lens
    focal_mm: float
    focus_mm: float
    f_number: float
    fitted: SceneBox
    travel_mm: float
    variants: tuple[LensState, ...]
    variant_names: tuple[str, ...]
    box: Box
    assembly: Assembly
    grid: PixelGrid
    guides: tuple[Guide, ...]
    notes: tuple[Note, ...]
    field_guess_percent: tuple[float, float] | None = None
    lens_notes: LensNotes = LensNotes()  # of its `notes` those that stay with another box

    def __repr__(self) -> str:
        """Its name for files: the whole would fill pages."""
        return f"State({self.key!r})"

    @property
    def lens_name(self) -> str:
        """The lens's name."""
        return self.lens.name

    @property
    def is_zoom(self) -> bool:
        """Whether the lens has several focal lengths, so that this one has to be said."""
        return len(focal_lengths(self.lens)) > 1

    @property
    def label(self) -> StateLabel:
        """What tells this state from any other."""
        return StateLabel(
            key=self.key,
            lens_name=self.lens_name,
            is_zoom=self.is_zoom,
            focal_mm=self.focal_mm,
            focus_mm=self.focus_mm,
            f_number=self.f_number,
        )

    @property
    def visible_loss_stops(self) -> float:
        """The loss that the scene calls visible."""
        return self.scene.check.visible_loss_stops

    @property
    def place(self) -> Pose:
        """Where the box stands in the frame of the lens front rim: the pose that every `at_mm` is measured in."""
        return box_place(self.fitted, self.travel_mm)

    def rebuilt(self, fitted: SceneBox) -> tuple[Assembly, Box]:
        """Another box in this one's place, as parts."""
        return _rebuilt(fitted, self.lens, self.resources, self.travel_mm)

    def with_box(self, fitted: SceneBox) -> State:
        """The state with another box, as it is on this lens; what that box is at fault with is among its notes."""
        scene = self.scene.model_copy(update={"box": fitted})
        assembly, box = self.rebuilt(fitted)
        of_box, of_lens = box_notes(fitted, self.lens, assembly, box, self.variants), self.lens_notes
        of_lamps = lamp_notes(self.scene, fitted, self.lens, assembly)
        notes = (*of_box.facts, *of_lamps, *of_lens.facts, *of_lens.around(of_box.contradictions, of_box.focus))
        return replace(self, scene=scene, fitted=fitted, assembly=assembly, box=box, notes=notes)


# What numbers of a scene tell about a lens wherever it is focused: the same for all of its states.
_doubtful_notes: KeptTogether[tuple[Note, ...]] = KeptTogether(doubtful_notes, most=KEPT)
_lens_contradictions: KeptTogether[tuple[Note, ...]] = KeptTogether(lens_contradictions, most=KEPT)


def states_of(scene: Scene, resources: Resources | None = None) -> tuple[State, ...]:
    """Every state that the scene's [check] asks for, lens by lens."""
    return tuple(_states(scene, resources or Resources()))


def _states(scene: Scene, resources: Resources) -> Iterator[State]:
    for lens in scene.lens:
        yield from states_of_lens(scene, lens, resources)


def states_of_lens(scene: Scene, lens: Lens, resources: Resources, settings: Iterable[Setting] | None = None) -> Iterator[State]:
    """States of one lens, every one without `settings`; GeometryError or ItemError where its box or the lens cannot be built."""
    grid = pixel_grid(scene.camera)
    guides = guides_of(scene.camera, grid)
    facts: dict[float, tuple[Note, ...]] = {}  # by how far the front rim has come out: it may run into the box
    for setting in settings_of(scene, lens) if settings is None else settings:
        travel_mm = front_travel_mm(lens, setting.focal_mm, setting.focus_mm)
        if travel_mm not in facts:
            facts[travel_mm] = _facts(scene, lens, resources, travel_mm)
        yield plan_state(scene, lens, resources, setting, grid=grid, guides=guides, notes=facts[travel_mm])


def plan_state(
    scene: Scene,
    lens: Lens,
    resources: Resources,
    setting: Setting,
    *,
    grid: PixelGrid,
    guides: tuple[Guide, ...],
    notes: tuple[Note, ...] = (),
) -> State:
    """One state of one lens."""
    focal_mm, focus_mm, f_number = setting.focal_mm, setting.focus_mm, setting.f_number
    variants = lens_variants(lens, grid, resources.glass_of(lens), focal_mm=focal_mm, focus_mm=focus_mm, f_number=f_number)
    states = tuple(variant.lens for variant in variants)
    travel_mm = front_travel_mm(lens, focal_mm, focus_mm)
    fitted, assembly, box = _box_with(scene, lens, resources, travel_mm)
    guess = field_guess_percent(lens, variants, grid, focal_mm, focus_mm)
    glass, share = resources.glass_of(lens), 1.0 + max(guess or (0.0,)) / 100.0
    lens_notes = LensNotes(
        facts=(
            *lens_facts(lens, glass, min(f_numbers_of(scene, lens))),
            *_doubtful_notes(scene, lens),
            *file_notes(fitted, resources),
        ),
        contradictions=_lens_contradictions(scene, lens, grid),
        guesses=(
            *walk_notes(lens.name, states),
            *field_notes(lens.name, focus_mm, guess),
            *front_notes(lens, states, guides, field_is_guess=guess is not None, guess_share=share),
        ),
        traced=traced_notes(lens, glass, states, guides, focus_mm),
    )
    return State(
        key=key_of(scene, lens, setting),
        scene=scene,
        resources=resources,
        lens=lens,
        focal_mm=focal_mm,
        focus_mm=focus_mm,
        f_number=f_number,
        fitted=fitted,
        travel_mm=travel_mm,
        variants=states,
        variant_names=tuple(variant.name for variant in variants),
        box=box,
        assembly=assembly,
        grid=grid,
        guides=guides,
        notes=(*notes, *lens_notes.around(box_contradictions(fitted), focus_notes(box, states))),
        lens_notes=lens_notes,
        field_guess_percent=guess,
    )


_boxes: OrderedDict[tuple[int, int, int, float], tuple[tuple[object, ...], SceneBox, Assembly, Box]] = OrderedDict()


def _box_with(scene: Scene, lens: Lens, resources: Resources, travel_mm: float) -> tuple[SceneBox, Assembly, Box]:
    """The scene's box on a lens whose front rim has moved so far; the same one for all states of which that is true.

    What is worked out for a box, by whoever knows it by being the same, is then worked out once for all of its stops.
    """
    key = (id(scene), id(lens), id(resources), travel_mm)
    held = _boxes.get(key)
    if held is None:
        fitted = box_for(scene, lens)
        built = build_box(fitted, lens, resources, front_travel_mm=travel_mm)
        held = _boxes[key] = ((scene, lens, resources), fitted, *built)  # with these, so that no others get their ids
        if len(_boxes) > KEPT:
            _boxes.popitem(last=False)
    return held[1:]


_trials: OrderedDict[tuple[int, int, float], list[tuple[tuple[Lens, Resources, SceneBox], tuple[Assembly, Box]]]] = OrderedDict()


def _rebuilt(fitted: SceneBox, lens: Lens, resources: Resources, travel_mm: float) -> tuple[Assembly, Box]:
    """A box that is tried out on a lens; the same one for all states that try the same, if it was among the last few."""
    key = (id(lens), id(resources), travel_mm)
    tried = _trials.setdefault(key, [])
    _trials.move_to_end(key)
    found = next((built for held, built in tried if held[2] == fitted), None)
    if found is None:
        found = build_box(fitted, lens, resources, front_travel_mm=travel_mm)
        tried.append(((lens, resources, fitted), found))  # with these, so that no others get their ids
        del tried[:-TRIED]
    if len(_trials) > KEPT:
        _trials.popitem(last=False)
    return found


def _facts(scene: Scene, lens: Lens, resources: Resources, travel_mm: float) -> tuple[Note, ...]:
    """What shapes and numbers alone tell about a lens in this box, with its front rim moved so far."""
    own_box, assembly, _ = _box_with(scene, lens, resources, travel_mm)
    told = (*box_facts(own_box, lens, assembly), *lens_facts(lens, resources.glass_of(lens), min(f_numbers_of(scene, lens))))
    told = (*told, *_doubtful_notes(scene, lens), *lamp_notes(scene, own_box, lens, assembly), *file_notes(own_box, resources))
    told = (*told, *tolerance_end_notes(scene, lens, resources, travel_mm))
    return (*told, *nearest_focus_notes(lens, focus_is_named="focus_mm" in scene.check.model_fields_set))


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
