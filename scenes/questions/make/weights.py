"""What a box weighs and pulls with each lens: mass, balance, moments, how its rods bend, and what that does to the frame."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Kind, Surface
from geometry.cantilever import GRAVITY_M_S2, Rod, Sag, sag
from geometry.frame import frame_to_right_up
from geometry.meshes import body_mesh
from geometry.outline import area_mm2
from geometry.polyhedra import centre_mm, volume_mm3
from scenes.questions.make.parts import Made
from scenes.rig.box import rod_spec
from scenes.scene_file.tables.box import CLAMP
from scenes.scene_file.tables.make import Make, materials_of
from scenes.states.judgement import judge_state
from scenes.states.names import OfState
from scenes.states.select import widest_stops
from scenes.states.state import State

KG_PER_MM3 = 1e-6  # times g/cm3
RODS = 2
USUAL_WALL_MM = 1.5  # a thin tube bends most; common practice
BACK_TO_SENSOR_MM = 200.0  # rods of a lens that does not say how long it is: from image plane to front, from memory
# Glass by its index at 587.6 nm: density [g/cm3]. Data sheets of N-BK7 and float glass; silica, flints, plastics from memory.
GLASSES = ((1.458, 2.20), (1.491, 1.19), (1.5168, 2.51), (1.523, 2.50), (1.586, 1.20), (1.620, 3.60), (1.673, 3.22), (1.785, 4.74))


def glass_g_cm3(index: float) -> float:
    """Density of glass of an index: that of the nearest in the table, the heavier of two as near."""
    return max(GLASSES, key=lambda row: (-round(abs(row[0] - index), 4), row[1]))[1]


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
    """A state as drawn and with its rods bent: least room [mm] and whether it is clear, of each."""

    plan: State
    room_mm: float
    clear: bool
    sagged_room_mm: float | None
    sagged_clear: bool | None
    part: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """The box as fitted with one lens: what hangs, its mass and balance, moments, the rods' sag; states judged.

    right_mm, up_mm, ahead_mm: centre of mass from the middle of the lens front. lens_front_n_m: moment there, as if clamped to it;
    rods_n_m: about the rods' clamp. shift_mm: by how much the camera's balance point moves ahead, where the camera is known.
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


def _carried(states: Sequence[State], made: Sequence[Made]) -> Carried:
    state = states[0]
    make = state.scene.make
    things = tuple(_things(state, made))
    kg, centre = _balance(things)
    right, up = (float(value) for value in frame_to_right_up(centre[:2]))
    spec, place = rod_spec(state.fitted), state.place
    length = None if spec is None else rod_length_mm(state)
    bent = None
    if spec is not None and length is not None and kg > 0:
        ahead_of_rods = float(centre[2] - place.origin_mm[2])
        force = kg * GRAVITY_M_S2 / RODS
        bent = sag(rod_of(make, spec.diameter_mm), length, force, force * ahead_of_rods)
    return Carried(
        lens_name=state.lens_name,
        things=things,
        kg=kg,
        range_kg=(sum(t.range_kg[0] for t in things), sum(t.range_kg[1] for t in things)),
        right_mm=right,
        up_mm=up,
        ahead_mm=float(centre[2]),
        lens_front_n_m=kg * GRAVITY_M_S2 * float(centre[2]) / 1000,
        rods_n_m=None if length is None else kg * GRAVITY_M_S2 * (float(centre[2] - place.origin_mm[2]) + length) / 1000,
        rod_length_mm=length,
        sag=bent,
        shift_mm=_shift_mm(make, kg, float(centre[2])),
        states=tuple(_sagged(one, bent) for one in states),
    )


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
    for glass in state.box.glasses:
        kg = area_mm2(glass.slab.outline) * glass.slab.thickness_mm * glass_g_cm3(glass.index) * KG_PER_MM3
        yield Weighed(
            name=glass.slab.name, kind="glass", kg=kg, range_kg=(0.99 * kg, 1.01 * kg), centre_mm=glass.slab.pose.origin_mm
        )
    material = materials_of(state.scene.make)[state.scene.make.material]
    for body in state.assembly.parts:
        if body.kind is Kind.SOLID and isinstance(body.body, Surface):
            mesh = body_mesh(body.body)
            if mesh.is_volume:
                low, high = material.range_g_cm3
                mm3 = float(mesh.volume) * KG_PER_MM3
                centre = np.asarray(mesh.center_mass, dtype=np.float64)
                yield Weighed(
                    name=body.name,
                    kind="mesh",
                    kg=mm3 * material.density_g_cm3,
                    range_kg=(mm3 * low, mm3 * high),
                    centre_mm=centre,
                )


def _part(part: Made, state: State) -> Weighed:
    solid = part.solid()
    mm3 = volume_mm3(solid) * KG_PER_MM3
    low, high = part.material.range_g_cm3
    return Weighed(
        name=part.name,
        kind="part",
        kg=mm3 * part.material.density_g_cm3,
        range_kg=(mm3 * low, mm3 * high),
        centre_mm=state.place.points_to_frame(centre_mm(solid)),
    )


def _balance(things: Sequence[Weighed]) -> tuple[float, FloatArray]:
    """Mass and centre of mass: the sum of m r over the sum of m."""
    kg = sum(thing.kg for thing in things)
    return kg, sum((thing.kg * thing.centre_mm for thing in things), np.zeros(3)) / kg if kg > 0 else np.zeros(3)


def _sagged(state: State, bent: Sag | None) -> Sagged:
    before = judge_state(state)
    after = None if bent is None else judge_state(sagged_state(state, bent))
    nearest = (after or before).nearest
    return Sagged(
        plan=state,
        room_mm=before.room_mm,
        clear=before.clear,
        sagged_room_mm=None if after is None else after.room_mm,
        sagged_clear=None if after is None else after.clear,
        part=nearest.part if nearest is not None else "",
    )


def sagged_state(state: State, bent: Sag) -> State:
    """The state with its box as low and as far tilted as its rods let it."""
    right, up = state.fitted.offset_mm
    box = {"offset_mm": (right, up - bent.drop_mm), "tilt_deg": state.fitted.tilt_deg + math.degrees(bent.tilt_rad)}
    return state.with_box(state.fitted.model_copy(update=box))


def hangs_on_the_lens(state: State) -> bool:
    """Whether the box is clamped to the lens front."""
    return state.fitted.mount == CLAMP
