"""Stray light against Mitsuba 3, a general-purpose renderer that shares no code with this project.

The renderer looks out of the pupil through the same surfaces; a black lid ahead keeps the front dark, the sky behind is white. It
takes the mean of s and p at every face, so mirrored leaks are asked for in the same way.
"""

import numpy as np
import pytest

from geometry import parts as build
from geometry.body import Assembly
from geometry.frame import light_direction
from geometry.openings import Slot
from geometry.walls import enclosure_of
from raytrace.lights import LightPlace
from raytrace.optics.camera import PixelGrid
from raytrace.stray.bounce import veil_of
from raytrace.stray.mirror import MirrorScene
from raytrace.stray.picture import leak_picture
from raytrace.stray.target import Target
from raytrace.stray.world import World
from tests.raytrace.made import plate_of_glass
from tests.raytrace.stray_made import BARREL_MM, PUPIL_BEHIND_MM, fit, lens, ring_box

pytestmark = [pytest.mark.renderer, pytest.mark.slow]
SPP = 2048
LID_MM = 400.0
GRID = PixelGrid(width_mm=36.0, height_mm=24.0, columns=36, rows=24)
BLACK = {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}}


def renderer():
    mi = pytest.importorskip("mitsuba")
    mi.set_variant("scalar_rgb")
    return mi


def walls_of(world, folder, lining=None):
    import trimesh

    shapes = {}
    for k, wall in enumerate(world.walls):
        mesh = trimesh.Trimesh(wall.body.vertices_mm, wall.body.faces, process=False)
        mesh.export(folder / f"wall{k}.ply")
        value = (lining or {}).get(wall.name, 0.0)
        bsdf = {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": value}}}
        shapes[f"wall{k}"] = {"type": "ply", "filename": str(folder / f"wall{k}.ply"), "face_normals": True, "bsdf": bsdf}
    return shapes


def leak_seen(mi, scene, state, folder):
    """The leak as the renderer's thin lens sees it, (H, W)."""
    from geometry.meshes import slab_mesh

    # The lens's own glass would stand in the camera's way: the rays start at the rim, so it is left out of what they can meet.
    world = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 40, "rr_depth": 40},
        "sky": {"type": "constant", "radiance": {"type": "rgb", "value": 1.0}},
        "lid": {
            "type": "rectangle",
            "to_world": mi.ScalarTransform4f().translate([0, 0, LID_MM]).scale([1e5, 1e5, 1]),
            "bsdf": BLACK,
        },
        "camera": {
            "type": "thinlens",
            "aperture_radius": state.pupil.half_size_mm[0],
            "focus_distance": 1e6,
            "fov": float(np.degrees(2 * np.arctan(GRID.width_mm / 2 / state.field_focal_mm))),
            "fov_axis": "x",
            "near_clip": PUPIL_BEHIND_MM + 0.5,
            "far_clip": 1e7,
            "to_world": mi.ScalarTransform4f().look_at(origin=[0, 0, -PUPIL_BEHIND_MM], target=[0, 0, 0], up=[0, 1, 0]),
            "film": {
                "type": "hdrfilm",
                "width": GRID.columns,
                "height": GRID.rows,
                "rfilter": {"type": "box"},
                "pixel_format": "luminance",
            },
            "sampler": {"type": "independent", "sample_count": SPP},
        },
        **walls_of(scene.world, folder),
    }
    for k, glass in enumerate(scene.glasses):
        slab_mesh(glass.slab).export(folder / f"glass{k}.ply")
        bsdf = {"type": "dielectric", "int_ior": glass.index, "ext_ior": 1.0}
        world[f"glass{k}"] = {"type": "ply", "filename": str(folder / f"glass{k}.ply"), "face_normals": True, "bsdf": bsdf}
    return np.array(mi.render(mi.load_dict(world), spp=SPP, seed=5))[..., 0].astype(np.float64)


def ours(scene, state):
    """The same picture from rays of this project, four points a pixel."""
    fine = PixelGrid(width_mm=36.0, height_mm=24.0, columns=72, rows=48)
    picture = leak_picture(state, fine, scene, rng=np.random.default_rng(8), log2_rays=8, most_mirrors=5, least_strength=1e-6)
    return picture.absolute.sum(axis=0).reshape(24, 2, 36, 2).mean(axis=(1, 3))


def scene_of(box, assembly, glasses, slots=()):
    world = World.of(enclosure_of(assembly, fit(box, slots=slots)))
    return MirrorScene(glasses=glasses, world=world, caught_radius_mm=BARREL_MM / 2, polarised=False)


def slotted():
    """A box sealed at the barrel, its tray standing 30 mm ahead of the plate, with a wide slot on the operator's top side."""
    box = build.box_pose(ahead_mm=-6.0, back_thickness_mm=1.0)
    parts = (
        build.back_plate(box, width_mm=150, height_mm=130, thickness_mm=1.0, bore_mm=BARREL_MM + 0.002),
        build.tray(box, at_mm=40.0, depth_mm=10.0, opening=build.opening(size_mm=(130, 110))),
        build.hood(box, at_mm=52.0, depth_mm=40.0, rear_mm=(140, 118), front_mm=(200, 150)),
    )
    return box, Assembly(parts=parts)


def named(case):
    glass = (plate_of_glass(18.0, size_mm=(226, 196)),)
    if case == "ring":
        return scene_of(*ring_box(), glass)
    if case == "off-centre":
        return scene_of(*ring_box(right_mm=3.0, up_mm=-2.0), glass)
    if case == "two filters":
        return scene_of(*ring_box(), (*glass, plate_of_glass(30.0, size_mm=(226, 196), tilt_deg=5.0)))
    return scene_of(*slotted(), (plate_of_glass(39.0, size_mm=(129, 109)),), slots=(Slot(tray="tray", side="top", width_mm=26.0),))


@pytest.mark.parametrize("case", ["ring", "off-centre", "slot", "two filters"])
def test_the_leak_agrees_with_a_general_purpose_renderer(case, tmp_path):
    mi, scene = renderer(), named(case)
    state = lens(focal_mm=16.0, f_number=2.0)
    theirs, mine = leak_seen(mi, scene, state, tmp_path), ours(scene, state)
    assert mine.sum() > 0
    assert mine.mean() == pytest.approx(theirs.mean(), rel=0.02)
    noise = np.sqrt(theirs.mean() * 1.0 / SPP)  # each sample carries 0 or about 1: the renderer picks one way at each face
    assert np.sqrt(np.mean((mine - theirs) ** 2)) < 1.3 * noise
    assert np.corrcoef(mine.ravel(), theirs.ravel())[0, 1] > 0.9


def test_the_veil_of_a_lined_hood_agrees_with_a_general_purpose_renderer(tmp_path):
    mi = renderer()
    box, assembly = ring_box(seal="ring", ahead_mm=-6.0, stage=False)
    world = World.of(enclosure_of(assembly, fit(box)))
    point = np.array([5.0, -4.0, 12.0])
    target = Target(name="t", points_mm=point[None], rear_points_mm=np.zeros((0, 3)), normal=np.array([0.0, 0, 1]), area_mm2=1.0)
    light = LightPlace(name="sun", direction=light_direction(62.0, 18.0))
    mine = veil_of(target, world, light, {"hood": 0.5}, rng=np.random.default_rng(2), log2_samples=18)
    scene = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 2, "rr_depth": 40},  # one lining, then the light
        "sun": {"type": "directional", "direction": (-light.direction).tolist(), "irradiance": {"type": "rgb", "value": 1.0}},
        "sensor": {
            "type": "rectangle",
            "to_world": mi.ScalarTransform4f().translate(point.tolist()).scale([0.05, 0.05, 1]),
            "bsdf": BLACK,
            "meter": {
                "type": "irradiancemeter",
                "film": {"type": "hdrfilm", "width": 1, "height": 1, "rfilter": {"type": "box"}, "pixel_format": "luminance"},
                "sampler": {"type": "independent", "sample_count": 1 << 18},
            },
        },
        **walls_of(world, tmp_path, {"hood": 0.5}),
    }
    theirs = float(np.array(mi.render(mi.load_dict(scene), spp=1 << 18, seed=3)).ravel()[0])
    assert mine.total > 1e-3
    assert mine.total == pytest.approx(theirs, rel=0.02)
