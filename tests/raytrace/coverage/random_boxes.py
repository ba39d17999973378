"""Valid boxes in front of valid lenses, drawn at random: every kind of part, glass, pupil and focus, sized to cut the beam."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
import trimesh

from geometry import flags
from geometry import parts as make
from geometry.body import Block, Kind, Loop, Part, Surface, Tube
from geometry.frame import Side, pose
from geometry.outline import Circle, Freeform, RoundedRectangle
from raytrace.box import Box, Glass, GlassKind
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, WalkingPupil, pencils_for
from raytrace.optics.pencil import Pencils

SIDES = tuple(Side)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A box, a lens and the size of the picture."""

    box: Box
    lens: LensState
    width_mm: float
    height_mm: float
    rims: bool

    def grid(self, columns, rows) -> PixelGrid:
        return PixelGrid(width_mm=self.width_mm, height_mm=self.height_mm, columns=columns, rows=rows)

    def pencils(self, points_mm) -> Pencils:
        bare = pencils_for(self.lens, points_mm)
        return with_rims(bare, points_mm, self.width_mm) if self.rims else bare


def with_rims(pencils: Pencils, points_mm, width_mm: float, angles: int = 48) -> Pencils:
    """The pencils cut by a round rim that shifts across the pupil with the field: a cat's eye."""
    angle = 2 * np.pi * np.arange(angles) / angles
    shift = 0.9 * points_mm / width_mm  # of a rim 1.1 pupil radii wide
    along = np.cos(angle) * shift[:, :1] + np.sin(angle) * shift[:, 1:]
    reach = along + np.sqrt(1.1**2 - (shift**2).sum(axis=1)[:, None] + along**2)
    return replace(pencils, rim_share=np.minimum(reach, 1.0))


def random_scene(rng: np.random.Generator) -> Scene:
    width = rng.choice([24.89, 36.0, 52.48])
    height = width / rng.choice([1.0, 1.5, 2.3])
    focal = width * rng.uniform(0.45, 1.6)
    lens = _lens(rng, focal)
    tangent = np.hypot(width * lens.squeeze, height) / 2 / lens.field_focal_mm
    parts, glasses = _box(rng, lens, min(tangent, 2.0))
    return Scene(box=Box(parts=parts, glasses=glasses), lens=lens, width_mm=width, height_mm=height, rims=rng.random() < 0.15)


def _lens(rng, focal) -> LensState:
    f_number = rng.choice([1.4, 2.0, 2.8, 5.6])
    radius, depth, squeeze = focal / f_number / 2, rng.uniform(20, 80), 1.0
    pupil = FixedPupil(behind_front_mm=(depth, depth), half_size_mm=(radius, radius))
    kind = rng.random()
    if kind < 0.2:
        squeeze = rng.choice([1.33, 1.8, 2.0])
        pupil = FixedPupil(behind_front_mm=(depth / squeeze, depth), half_size_mm=(radius / squeeze, radius))
    elif kind < 0.4:
        rows = ((0.0, depth, 1.0, 1.0), (20.0, depth + 1.2, 0.97, 1.01), (40.0, depth + 3.0, 0.9, 1.03))
        pupil = WalkingPupil(behind_front_mm=depth, half_size_mm=(radius, radius), rows=rows)
    near = rng.random() < 0.35
    object_z = rng.uniform(150, 900) if near else np.inf
    return LensState(
        name="drawn",
        focal_mm=focal,
        f_number=f_number,
        focus_mm=object_z + 100,
        field_focal_mm=focal * (1.1 if near else 1.0),
        object_z_mm=object_z,
        pupil=pupil,
        projection="equidistant" if rng.random() < 0.15 else "rectilinear",
        squeeze=squeeze,
        front_radius_mm=rng.uniform(0.8, 1.6) * (radius + 0.5 * depth) if rng.random() < 0.3 else np.inf,
    )


def _box(rng, lens, tangent):
    depth = lens.pupil.behind_front_mm
    depth = depth[1] if isinstance(depth, tuple) else depth
    radius = lens.pupil.half_size_mm[1]

    def half(z):
        """About half the beam's size at z."""
        return max((z + depth) * tangent * rng.uniform(0.55, 1.0) + radius * rng.uniform(0.5, 1.5), 8.0)

    place = make.box_pose(
        ahead_mm=rng.uniform(0, 8),
        offset_right_mm=rng.normal() * 2,
        offset_up_mm=rng.normal() * 2,
        tilt_deg=rng.choice([0.0, 0.0, rng.uniform(-6, 6)]),
        back_thickness_mm=4.0,
    )
    parts, glasses, at = [], [], 0.0
    if rng.random() < 0.5:
        bore = 2 * half(4.0)
        parts.append(make.back_plate(place, width_mm=bore + 60, height_mm=bore + 40, thickness_mm=4, bore_mm=bore))
        if rng.random() < 0.6:
            kind = rng.choice(["ring", "donut", "bellows"])
            parts += make.seal(place, kind=kind, inner_mm=bore * 0.8, outer_mm=bore, back_thickness_mm=4.0)
        at = 6.0
    for k in range(rng.integers(0, 3)):
        at = _stage(rng, place, at, half, parts, glasses, k)
    if rng.random() < 0.7:
        at = _mask(rng, place, at, half, parts)
    if rng.random() < 0.6:
        at = _hood(rng, place, at, half, parts)
    for k in range(rng.integers(0, 4)):
        parts.append(_flag(rng, place, at, half, k))
    if rng.random() < 0.35:
        parts.append(_solid(rng, at, half))
    if rng.random() < 0.15:
        parts.append(_rod(rng, half))
    if not parts:
        _mask(rng, place, at, half, parts)
    return tuple(parts), tuple(glasses)


def _opening(rng, w, h):
    kind = rng.random()
    if kind < 0.25:
        return Circle(max(w, h))
    if kind < 0.6:
        return RoundedRectangle(2 * w, 2 * h)
    return RoundedRectangle(2 * w, 2 * h, min(w, h) * rng.uniform(0.05, 0.9))


def _lean(rng):
    return rng.choice([0.0, 0.0, rng.uniform(-15, 15)])


def _outer(rng, outline, w, h):
    reach = max(w, h) if isinstance(outline, Circle) else 0.0
    return (2 * max(w, reach) + rng.uniform(4, 40), 2 * max(h, reach) + rng.uniform(4, 40)) if rng.random() < 0.6 else None


def _stage(rng, place, at, half, parts, glasses, k):
    depth, w, h = rng.uniform(5, 10), half(at), half(at) * rng.uniform(0.6, 1.0)
    outline, turn, tilt = _opening(rng, w, h), rng.choice([0.0, rng.uniform(-30, 30)]), rng.choice([0.0, rng.uniform(-3, 3)])
    outer = _outer(rng, outline, w, h)
    lean = {"at_mm": at, "depth_mm": depth, "turn_deg": turn, "tilt_deg": tilt}
    parts.append(make.tray(place, opening=outline, outer_mm=outer, name=f"tray {k}", **lean))
    if rng.random() < 0.7:
        reach = 2 * max(w, h) + 24  # the glass reaches beyond its opening on all sides
        slab = make.filter_slab(place, outline=RoundedRectangle(reach, reach), thickness_mm=4.0, name=f"filter {k}", **lean)
        kind = rng.choice([GlassKind.CLEAR, GlassKind.DENSITY, GlassKind.CLOSE_UP], p=[0.6, 0.3, 0.1])
        glasses.append(
            Glass(
                slab=slab,
                index=rng.uniform(1.48, 1.6),
                kind=kind,
                density=0.6 if kind == GlassKind.DENSITY else 0.0,
                power_dioptre=rng.choice([0.5, 1.0]) if kind == GlassKind.CLOSE_UP else 0.0,
            )
        )
    return at + depth + 8 + 0.1 * max(w, h)  # leaning trays keep clear of each other


def _mask(rng, place, at, half, parts):
    w, h = half(at), half(at) * rng.uniform(0.5, 1.0)
    outline = _opening(rng, w, h)
    if rng.random() < 0.3:
        outline = Freeform(_notched(rng, w, h))
    thick = rng.uniform(0.5, 2.0)
    outer = None if isinstance(outline, Freeform) else _outer(rng, outline, w, h)
    lean = {"turn_deg": rng.choice([0.0, rng.uniform(-20, 20)]), "tilt_deg": _lean(rng)}
    parts.append(make.mask(place, at_mm=at, thickness_mm=thick, opening=outline, outer_mm=outer, name="mask", **lean))
    return at + 4.0


def _notched(rng, w, h):
    """An outline that is not convex, now and then with an island of material in it."""
    angle = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(5, 14)))
    reach = rng.uniform(0.65, 1.1, len(angle))
    star = shapely.Polygon(np.column_stack([w * reach * np.cos(angle), h * reach * np.sin(angle)])).union(
        shapely.box(-0.3 * w, -0.3 * h, 0.3 * w, 0.3 * h)
    )
    return star.difference(shapely.box(0.1 * w, 0.05 * h, 0.2 * w, 0.2 * h)) if rng.random() < 0.4 else star


def _hood(rng, place, at, half, parts):
    depth = rng.uniform(30, 80)
    rear, front = (half(at), half(at) * rng.uniform(0.5, 1)), (half(at + depth), half(at + depth) * rng.uniform(0.5, 1))
    parts.append(
        make.hood(
            place,
            at_mm=at,
            depth_mm=depth,
            rear_mm=(2 * rear[0], 2 * rear[1]),
            front_mm=(2 * front[0], 2 * front[1]),
            corner_mm=rng.choice([0.0, 5.0]),
        )
    )
    return at + depth


def _flag(rng, place, at, half, k):
    make_flag = {
        "side": SIDES[rng.integers(4)],
        "hinge_mm": half(at),
        "at_mm": at,
        "length_mm": rng.uniform(30, 120),
        "width_mm": rng.uniform(60, 260),
    }
    return flags.flag(place, angle_deg=rng.uniform(-20, 90), name=f"flag {k}", **make_flag)


def _solid(rng, at, half):
    """A small mesh: closed, dented or open."""
    size = rng.uniform(5, 25)
    kind = rng.integers(4)
    mesh = [
        lambda: trimesh.creation.icosphere(2, size),
        lambda: trimesh.creation.torus(size, size * 0.3, major_sections=16, minor_sections=8),
        lambda: trimesh.creation.box((size, 2 * size, size / 2)),
        lambda: trimesh.creation.cone(size, 2 * size, sections=12),
    ][kind]()
    faces = mesh.faces[: len(mesh.faces) * 2 // 3] if rng.random() < 0.3 else mesh.faces
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    way = rng.uniform(0, 2 * np.pi)
    centre = np.array([half(at) * np.cos(way), half(at) * np.sin(way), at + rng.uniform(0, 40)])
    vertices = mesh.vertices @ turn.T + centre
    return Part(name="solid", kind=Kind.SOLID, body=Surface(np.asarray(vertices), np.asarray(faces, dtype=np.int64)))


def _rod(rng, half):
    """A long bar beside the axis, from far behind the pupil to far ahead."""
    y, x = -half(10.0), rng.uniform(-30, 30)
    corners = np.array([[x + i * 7, y - j * 15, z] for i in (-1, 1) for j in (0, 1) for z in (-150.0, rng.uniform(60, 150))])
    return Part(name="rod", kind=Kind.ROD, body=Block(corners))


def edge_on_tube(half_mm: float, z_mm: float) -> Part:
    """An opening that stands along the axis, seen edge-on: nothing gets through its inside."""
    place = pose(ahead_mm=z_mm, tilt_deg=90.0)
    loop, rim = Loop(place, RoundedRectangle(2 * half_mm, 2 * half_mm)), Loop(place, RoundedRectangle(3 * half_mm, 3 * half_mm))
    return Part(name="edge on", kind=Kind.MASK, body=Tube(inner=(loop,), outer=(rim,), bounded=False))
