"""What a box weighs and pulls with each lens: mass, balance, moments, how its rods bend, and what that does to the frame."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Kind, Surface
from geometry.cantilever import GRAVITY_M_S2, Rod, Sag, sag
from geometry.frame import frame_to_right_up
from geometry.meshes import body_mesh
from geometry.outline import area_mm2
from raytrace.box import Glass
from scenes.questions.make.bends import with_bends_round
from scenes.questions.make.made_part import KG_PER_MM3, Made
from scenes.rig.box import rod_spec
from scenes.scene_file.catalogue import Material
from scenes.scene_file.tables.box import Box
from scenes.scene_file.tables.make import Make, materials_of
from scenes.states.judgement import StateJudgement, judge_state
from scenes.states.lens_judgement import LensJudgement, lens_judgements
from scenes.states.names import OfState
from scenes.states.select import widest_stops
from scenes.states.state import State

if TYPE_CHECKING:
    from trimesh import Trimesh

RODS = 2
USUAL_WALL_MM = 1.5  # a thin tube bends most; common practice
BACK_TO_SENSOR_MM = 200.0  # rods of a lens that does not say how long it is: from image plane to front, from memory
GLASS_SHARE = 0.01  # by which the density of one kind of glass differs
NEAR = 0.05  # of an index: glasses and plastics that a filter of it may be made of
# Index at 587.6 nm and density [g/cm3]: makers' catalogues as refractiveindex.info keeps them; M: from memory.
GLASSES = (
    (1.4585, 2.20),  # silica, M
    (1.491, 1.19),  # acrylic, M
    (1.5168, 2.51),  # N-BK7
    (1.523, 2.50),  # float glass, M
    (1.586, 1.20),  # polycarbonate, M
    (1.6200, 3.599),  # F2
    (1.6727, 2.858),  # N-SF5
    (1.6727, 4.07),  # SF5
    (1.7847, 3.224),  # N-SF11
    (1.7847, 4.74),  # SF11
    (1.8052, 5.18),  # SF6
)


def glass_g_cm3(index: float) -> tuple[float, float]:
    """The least and the most that glass or plastic of an index weighs, of those near to it in the table [g/cm3]."""
    nearest = min(abs(known - index) for known, _ in GLASSES)
    near = [density for known, density in GLASSES if abs(known - index) <= max(NEAR, nearest) + 1e-9]
    return min(near), max(near)


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """One thing that hangs in the box: mass and its range by the material [kg], centre of mass (3,) in the frame [mm]."""

    name: str
    kind: str
    kg: float
    range_kg: tuple[float, float]
    centre_mm: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Sagged(OfState):
    """A state as made and with its rods bent: least room [mm], whether it is clear and the nearest part, of each.

    sharp_clear: whether it would be clear with the corners of its hood sharp, as `check` takes them.
    """

    plan: State
    room_mm: float
    clear: bool
    sharp_clear: bool
    sagged_room_mm: float | None
    sagged_clear: bool | None
    part: str
    sagged_part: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """The box as fitted with one lens: what hangs, its mass and balance, moments, the rods' sag; states judged.

    right_mm, up_mm, ahead_mm: centre of mass from the middle of the lens front. lens_front_n_m: moment there, as if clamped to it;
    rods_n_m: about the rods' clamp. sag: with everything as heavy as it may be. shift_mm: by how much the camera's balance point
    moves ahead, where the camera is known. between: the lens from infinity to the nearest focus, and between rows of a zoom, as
    drawn; between_bent: the same with the rods bent.
    """

    lens_name: str
    things: tuple[Weighed, ...]
    kg: float
    range_kg: tuple[float, float]
    right_mm: float
    up_mm: float
    ahead_mm: float
    lens_front_n_m: float
    rods_n_m: float | None
    rod_length_mm: float | None
    sag: Sag | None
    shift_mm: float | None
    states: tuple[Sagged, ...]
    between: LensJudgement
    between_bent: LensJudgement | None

    @property
    def clear(self) -> bool:
        """Whether it is clear as drawn, in every state and between."""
        return all(one.clear for one in self.states) and self.between.clear

    @property
    def clear_bent(self) -> bool:
        """Whether it is clear with the rods bent, where there are any."""
        return all(one.sagged_clear is not False for one in self.states) and (self.between_bent is None or self.between_bent.clear)


def rod_of(make: Make, diameter_mm: float) -> Rod:
    """One rod of the mount, by its material and wall."""
    material = materials_of(make)[make.rod_material]
    assert material.modulus_gpa is not None
    wall = USUAL_WALL_MM if make.rod_wall_mm is None else make.rod_wall_mm
    return Rod(
        diameter_mm=diameter_mm,
        wall_mm=None if 2 * wall >= diameter_mm else wall,
        modulus_gpa=material.modulus_gpa,
        density_g_cm3=material.density_g_cm3,
    )


def carried(states: Sequence[State], made: Sequence[Made]) -> tuple[Carried, ...]:
    """Every lens of some states, at the widest stop of each."""
    by_lens: dict[str, list[State]] = {}
    for state in widest_stops(states):
        by_lens.setdefault(state.lens_name, []).append(state)
    return tuple(_carried(some, made) for some in by_lens.values())


def _carried(drawn: Sequence[State], made: Sequence[Made]) -> Carried:
    states = [bent_state(one) for one in drawn]
    state = states[0]
    make = state.scene.make
    things = tuple(_things(state, made))
    kg, centre = _balance([(thing.kg, thing.centre_mm) for thing in things])
    range_kg = (sum(t.range_kg[0] for t in things), sum(t.range_kg[1] for t in things))
    right, up = (float(value) for value in frame_to_right_up(centre[:2]))
    spec, place = rod_spec(state.fitted), state.place
    length = None if spec is None else rod_length_mm(state)
    bent = _bend(state, things)
    return Carried(
        lens_name=state.lens_name,
        things=things,
        kg=kg,
        range_kg=range_kg,
        right_mm=right,
        up_mm=up,
        ahead_mm=float(centre[2]),
        lens_front_n_m=kg * GRAVITY_M_S2 * float(centre[2]) / 1000,
        rods_n_m=None if length is None else kg * GRAVITY_M_S2 * (float(centre[2] - place.origin_mm[2]) + length) / 1000,
        rod_length_mm=length,
        sag=bent,
        shift_mm=_shift_mm(make, kg, float(centre[2])),
        states=tuple(_sagged(one, sharp, bent) for one, sharp in zip(states, drawn, strict=True)),
        between=_between(states),
        between_bent=None if bent is None else _between([sagged_state(one, bent) for one in states]),
    )


def bend_of(state: State, made: Sequence[Made]) -> Sag | None:
    """How rods bend that carry the box as fitted with a state's lens; None of a box that is clamped, or weighs nothing."""
    return _bend(state, tuple(_things(state, made)))


def _bend(state: State, things: Sequence[Weighed]) -> Sag | None:
    """How rods bend with everything as heavy as it may be."""
    spec = rod_spec(state.fitted)
    heaviest, middle = _balance([(thing.range_kg[1], thing.centre_mm) for thing in things])
    if spec is None or heaviest <= 0:
        return None
    force = heaviest * GRAVITY_M_S2 / RODS
    rod, moment = rod_of(state.scene.make, spec.diameter_mm), force * float(middle[2] - state.place.origin_mm[2])
    return sag(rod, rod_length_mm(state), force, moment)


def _between(states: Sequence[State]) -> LensJudgement:
    (judged,) = lens_judgements(states)
    return judged


def rod_length_mm(state: State) -> float:
    """Free length of the rods: as the scene has it, else from the image plane to the back plate, which is longer than most [mm]."""
    make = state.scene.make
    if make.rod_length_mm is not None:
        return make.rod_length_mm
    return max((state.lens.front_to_sensor_mm or BACK_TO_SENSOR_MM) + float(state.place.origin_mm[2]), 1.0)


def _shift_mm(make: Make, kg: float, ahead_mm: float) -> float | None:
    if make.camera_kg is None or make.camera_balance_mm is None:
        return None
    return kg * (ahead_mm + make.camera_balance_mm) / (kg + make.camera_kg)


def _things(state: State, made: Sequence[Made]) -> Iterator[Weighed]:
    for part in made:
        if part.is_fitted(state.lens_name):
            yield _part(part, state)
    yield from map(_glass, state.box.glasses)
    material = materials_of(state.scene.make)[state.scene.make.material]
    for body in state.assembly.parts:
        if body.kind is Kind.SOLID and isinstance(body.body, Surface):
            yield _mesh(body.name, body_mesh(body.body), material)


def _part(part: Made, state: State) -> Weighed:
    centre = state.place.points_to_frame(part.centre_mm)
    return Weighed(name=part.name, kind="part", kg=part.kg, range_kg=part.range_kg, centre_mm=centre)


def _glass(glass: Glass) -> Weighed:
    slab, (low, high) = glass.slab, glass_g_cm3(glass.index)
    mm3 = area_mm2(slab.outline) * slab.thickness_mm * KG_PER_MM3
    least, most = (1 - GLASS_SHARE) * low, (1 + GLASS_SHARE) * high
    return Weighed(name=slab.name, kind="glass", kg=mm3 * high, range_kg=(mm3 * least, mm3 * most), centre_mm=slab.pose.origin_mm)


def _mesh(name: str, mesh: Trimesh, material: Material) -> Weighed:
    """An imported mesh, solid throughout; one that is not closed weighs nothing."""
    if not mesh.is_volume:
        return Weighed(name=name, kind="mesh", kg=0.0, range_kg=(0.0, 0.0), centre_mm=np.zeros(3))
    mm3 = float(mesh.volume) * KG_PER_MM3
    low, high = material.range_g_cm3
    centre = np.asarray(mesh.center_mass, dtype=np.float64)
    return Weighed(name=name, kind="mesh", kg=mm3 * material.density_g_cm3, range_kg=(mm3 * low, mm3 * high), centre_mm=centre)


def _balance(masses: Sequence[tuple[float, FloatArray]]) -> tuple[float, FloatArray]:
    """Mass and centre of mass: the sum of m r over the sum of m."""
    kg = sum(mass for mass, _ in masses)
    return kg, sum((mass * place for mass, place in masses), np.zeros(3)) / kg if kg > 0 else np.zeros(3)


def _sagged(state: State, sharp: State, bent: Sag | None) -> Sagged:
    before = judge_state(state)
    after = None if bent is None else judge_state(sagged_state(state, bent))
    return Sagged(
        plan=state,
        room_mm=before.room_mm,
        clear=before.clear,
        sharp_clear=before.clear or (sharp is not state and judge_state(sharp).clear),
        sagged_room_mm=None if after is None else after.room_mm,
        sagged_clear=None if after is None else after.clear,
        part=_nearest(before),
        sagged_part=None if after is None else _nearest(after),
    )


def _nearest(judged: StateJudgement) -> str:
    return "" if judged.nearest is None else judged.nearest.part


def bent_state(state: State) -> State:
    """The state with the corners of its bent hood as round as they are made."""
    fitted = with_bends_round(state.scene, state.fitted)
    return state if fitted is state.fitted else state.with_box(fitted)


def sagged_state(state: State, bent: Sag) -> State:
    """The state with its box as low and as far tilted as its rods let it; so it stays at other settings of the lens."""
    place = hung_place(state.fitted, bent)
    lens = state.lens.model_copy(update={"box": state.lens.box.model_copy(update=place)})
    lenses = tuple(lens if one.name == lens.name else one for one in state.scene.lens)
    hanging = state.with_box(state.fitted.model_copy(update=place))
    return replace(hanging, lens=lens, scene=hanging.scene.model_copy(update={"lens": lenses}))


def hung_place(fitted: Box, bent: Sag) -> dict[str, Any]:
    """Where a box hangs, lower and leaning forward: its offset_mm and tilt_deg."""
    right, up = fitted.offset_mm
    return {"offset_mm": (right, up - bent.drop_mm), "tilt_deg": fitted.tilt_deg + math.degrees(bent.tilt_rad)}
