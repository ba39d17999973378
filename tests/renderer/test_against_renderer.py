"""Whole pictures against Mitsuba 3, a general-purpose renderer that shares no code with this project.

Its thin-lens camera looks out of the pupil into a constant white world; parts are black, filters smooth dielectrics, and a black
plate stands behind the pupil: the pixel is then the transmission of the box.
"""

import numpy as np
import pytest
import trimesh

from geometry.meshes import slab_mesh, trace_mesh
from raytrace.coverage.engine import coverage_shares
from raytrace.optics.fresnel import face_reflectance
from raytrace.optics.lens import pencils_for
from raytrace.reference import reference_shares
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import MeshArrays, Resources
from scenes.states.state import states_of
from tests.renderer import scenes_for_renderer as scenes

pytestmark = [pytest.mark.renderer, pytest.mark.slow]
SPP = 2048
SUB = 5  # our points per pixel along each side: the renderer averages over the pixel too


def lopsided_bracket():
    body = trimesh.creation.icosphere(subdivisions=1, radius=34.0).apply_translation([-70.0, 38.0, 0.0])
    arm = trimesh.creation.box([12.0, 90.0, 8.0]).apply_translation([62.0, -20.0, 10.0])
    return trimesh.util.concatenate([body, arm])


def state_of(text):
    mesh = lopsided_bracket()
    arrays = MeshArrays(vertices=np.asarray(mesh.vertices), faces=np.asarray(mesh.faces), unit="mm")
    return states_of(parse_scene(text, "renderer.toml"), Resources(meshes={"bracket.ply": arrays}))[0]


def rendered(mi, plan, folder):
    lens = plan.variants[0]
    pupil_z = -lens.pupil.behind_front_mm[0]
    black = {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "uniform", "value": 0.0}}}
    world = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 1 + 2 * len(plan.box.glasses), "rr_depth": 64},
        "sky": {"type": "constant", "radiance": {"type": "uniform", "value": 1.0}},
        "behind": {
            "type": "rectangle",
            "to_world": mi.ScalarTransform4f().translate([0, 0, pupil_z - 5]).scale([5000, 5000, 1]),
            "bsdf": black,
        },
        "camera": {
            "type": "thinlens",
            "aperture_radius": lens.pupil.half_size_mm[0],
            "focus_distance": lens.object_z_mm - pupil_z,
            "fov": float(np.degrees(2 * np.arctan(plan.grid.width_mm / 2 / lens.field_focal_mm))),
            "fov_axis": "x",
            "near_clip": 1.0,
            "far_clip": 1e6,
            "to_world": mi.ScalarTransform4f().look_at(origin=[0, 0, pupil_z], target=[0, 0, 0], up=[0, 1, 0]),
            "film": {
                "type": "hdrfilm",
                "width": plan.grid.columns,
                "height": plan.grid.rows,
                "rfilter": {"type": "box"},
                "pixel_format": "luminance",
            },
            "sampler": {"type": "independent", "sample_count": SPP},
        },
    }
    for k, part in enumerate(plan.box.parts):
        trace_mesh(part, reach_mm=3000.0).export(folder / f"part{k}.ply")
        world[f"part{k}"] = {"type": "ply", "filename": str(folder / f"part{k}.ply"), "face_normals": True, "bsdf": black}
    for k, glass in enumerate(plan.box.glasses):
        slab_mesh(glass.slab).export(folder / f"glass{k}.ply")
        bsdf = {"type": "dielectric", "int_ior": glass.index, "ext_ior": 1.0}
        world[f"glass{k}"] = {"type": "ply", "filename": str(folder / f"glass{k}.ply"), "face_normals": True, "bsdf": bsdf}
    picture = np.array(mi.render(mi.load_dict(world), spp=SPP, seed=7))[..., 0].astype(np.float64)
    for name in [key for key in world if key.startswith(("part", "glass", "behind"))]:
        del world[name]
    white = np.array(mi.render(mi.load_dict(world), spp=64, seed=7))[..., 0].astype(np.float64)
    return picture / white.mean()


def ours(plan, way):
    grid = plan.grid
    fine = grid.__class__(
        width_mm=grid.width_mm, height_mm=grid.height_mm, columns=grid.columns * SUB, rows=grid.rows * SUB, offset_mm=grid.offset_mm
    )
    pencils = pencils_for(plan.variants[0], fine.points_mm)
    if way == "coverage":
        shares = coverage_shares(pencils, plan.box, with_alone=False)
    else:
        shares = reference_shares(pencils, plan.box, log2_rays=9, rng=np.random.default_rng(3))
    values = shares.clear_share * shares.glass * straight_through(plan, pencils)
    return values.reshape(grid.rows, SUB, grid.columns, SUB).mean(axis=(1, 3))


def straight_through(plan, pencils):
    """Share of a plate's transmission that goes straight through both faces, for the renderer's paths stop there.

    What is mirrored to and fro inside a plate is image light and ours; between two plates it is a ghost and nobody's here.
    Summed over inner reflections T = (1 - R)^2 / (1 - R^2), straight through (1 - R)^2: the share is 1 - R^2 for s and for p.
    """
    ray = np.column_stack([pencils.slope, np.ones(len(pencils))])
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    share = np.ones((2, len(pencils)))
    for glass in plan.box.glasses:
        normal = glass.slab.pose.vectors_to_frame(np.array([0.0, 0.0, 1.0]))
        share *= 1 - np.array(face_reflectance(np.arccos(np.clip(ray @ normal, -1, 1)), glass.index)) ** 2
    return share.mean(axis=0)


@pytest.mark.parametrize("way", ["coverage", "reference"])
@pytest.mark.parametrize(
    "name", ["SIDE_FLAG", "CLOSE_AND_FAST", "TILTED_GLASS_PAIR", "TURNED_TRAY", "RAISED_AND_TILTED", "IMPORTED_MESH"]
)
def test_the_picture_agrees_with_a_general_purpose_renderer(name, way, tmp_path):
    mi = pytest.importorskip("mitsuba")
    plan = state_of(getattr(scenes, name))
    # Slanted glass polarises, and what the second plate passes depends on it; the plain variant would use mean reflectances.
    mi.set_variant("scalar_spectral_polarized" if plan.box.glasses else "scalar_rgb")
    theirs, mine = rendered(mi, plan, tmp_path), ours(plan, way)
    assert np.mean(mine < 0.98 * mine.max()) > 0.05, "the scene must have a penumbra to compare"
    noise = np.sqrt(np.clip(theirs * (1 - theirs), 0, None) / SPP)
    difference = mine - theirs
    assert abs(difference.mean()) < 0.003
    # Ours: 512 stratified rays a point, the same for all points, so about 0.003 at an edge and nothing averages out.
    assert np.sqrt(np.mean(difference**2)) < np.sqrt(np.mean(noise**2) + 0.003**2) * 1.15
    assert np.abs(difference).max() < 6 * np.hypot(noise.max(), 0.003)
