"""General ray engines on the same triangles and the same rays: million rays a second, on two threads at most."""

from __future__ import annotations

from time import perf_counter

import numpy as np
import trimesh

from benchmarks.reference_scene import DEPTH_MM, FOCAL_MM, FULL, RADIUS_MM, box, pencils_at
from geometry.meshes import assembly_mesh
from raytrace.optics.camera import PixelGrid
from raytrace.optics.sampling import sunflower_disc

RAYS_PER_PIXEL = 256
CROP = 96  # pixels down and across of the crop that is traced, spread over the picture


def crop_rays(pixels=CROP):
    """Origins and directions (N, 3) of 256 rays from each of pixels x pixels places spread evenly over the picture."""
    grid = PixelGrid(width_mm=FULL.width_mm, height_mm=FULL.height_mm, columns=pixels, rows=pixels)
    pencil = pencils_at()(grid.points_mm)
    crossing = pencil.crossing_mm(sunflower_disc(RAYS_PER_PIXEL))
    slope = pencil.ray_slope(crossing)
    origin = np.concatenate([crossing, np.full((*crossing.shape[:2], 1), -DEPTH_MM)], axis=2).reshape(-1, 3)
    direction = np.concatenate([slope, np.ones((*slope.shape[:2], 1))], axis=2).reshape(-1, 3)
    return origin, direction / np.linalg.norm(direction, axis=1, keepdims=True)


def triangles():
    vertices, faces, _ = assembly_mesh(box().parts, for_tracing=True)
    return vertices, faces


def rate(work, rays, repeats=3):
    """Million rays a second, the best of some runs."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return rays / min(times) / 1e6


def open3d_rate(origin, direction):
    import open3d

    vertices, faces = triangles()
    scene = open3d.t.geometry.RaycastingScene(nthreads=2)
    scene.add_triangles(vertices.astype(np.float32), faces.astype(np.uint32))
    rays = open3d.core.Tensor(np.concatenate([origin, direction], axis=1).astype(np.float32))
    return rate(lambda: scene.test_occlusions(rays, nthreads=2), len(origin))


def embree_rate(origin, direction):
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    caster = RayMeshIntersector(trimesh.Trimesh(*triangles(), process=False))
    return rate(lambda: caster.intersects_any(origin, direction), len(origin))


def numpy_rate(origin, direction, rays=20_000):
    from trimesh.ray.ray_triangle import RayMeshIntersector

    caster = RayMeshIntersector(trimesh.Trimesh(*triangles(), process=False))
    pick = np.linspace(0, len(origin) - 1, rays).astype(np.int64)
    return rate(lambda: caster.intersects_any(origin[pick], direction[pick]), rays, repeats=1)


def mitsuba_rate(width=256, height=112):
    """A thin-lens camera in a white world before black parts: one camera ray and its first hit per sample."""
    import mitsuba

    mitsuba.set_variant("scalar_rgb")
    vertices, faces = triangles()
    mesh = mitsuba.Mesh("box", len(vertices), len(faces))
    fields = mitsuba.traverse(mesh)
    fields["vertex_positions"] = vertices.astype(np.float32).ravel()
    fields["faces"] = faces.astype(np.uint32).ravel()
    fields.update()
    scene = mitsuba.load_dict(
        {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": 1},
            "world": {"type": "constant"},
            "box": mesh,
            "sensor": {
                "type": "thinlens",
                "fov": float(np.degrees(2 * np.arctan(FULL.width_mm / 2 / FOCAL_MM))),
                "fov_axis": "x",
                "aperture_radius": RADIUS_MM,
                "focus_distance": 1e6,
                "near_clip": 1e-3,
                "to_world": mitsuba.ScalarTransform4f().look_at([0, 0, -DEPTH_MM], [0, 0, 0], [0, 1, 0]),
                "sampler": {"type": "independent", "sample_count": RAYS_PER_PIXEL},
                "film": {"type": "hdrfilm", "width": width, "height": height, "rfilter": {"type": "box"}},
            },
        }
    )
    return rate(lambda: mitsuba.render(scene), width * height * RAYS_PER_PIXEL, repeats=2)


def all_rates():
    """(name, million rays a second) of every peer; a peer that is not installed is left out, with a word."""
    origin, direction = crop_rays()
    peers = (
        ("Embree through Open3D, two threads", lambda: open3d_rate(origin, direction)),
        ("Embree through trimesh and embreex", lambda: embree_rate(origin, direction)),
        ("Mitsuba 3, scalar_rgb", mitsuba_rate),
        ("trimesh's own numpy caster", lambda: numpy_rate(origin, direction)),
    )
    found = []
    for name, measure in peers:
        try:
            found.append((name, measure()))
        except ImportError as missing:
            print(f"left out: {name} ({missing})")
    return found
