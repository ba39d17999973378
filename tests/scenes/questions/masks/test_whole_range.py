"""A cut-out holds the beam at every focus and focal length of a lens's range: straight rays by plain similar triangles.

A thin lens focused at D from the sensor images at the magnification m of D = f (2 + m + 1/m) (Jacobson et al., Manual of
Photography). A picture point (x, y) is the image of (squeeze x / m, y / m) in the object plane, and a ray runs straight from a
place of the entrance pupil to that point; an anamorphic lens has one pupil for x and another for y.
"""

import numpy as np
import pytest
import shapely

from scenes.questions.masks.report import mask_report
from scenes.questions.masks.wanted import Wanted
from scenes.scene_file.errors import SceneError
from scenes.states.load import load_scene

SCENE = """
brimline = 1

[camera]
width_mm = 36
height_mm = 24
pixels = [600, 400]

[[lens]]
name = "a"
{lens}

[box]
mount = "clamp"
ahead_mm = 4

[[box.mask]]
at_mm = {at}
thickness_mm = 2
opening_mm = [300, 200]

[check]
focus_mm = ["infinity"]
"""
TWO = """focal_mm = {f}
f_number = {n}
squeeze = {squeeze}
front_diameter_mm = 140
front_to_sensor_mm = {length}
close_focus_mm = {close}
pupil_behind_front_mm = {{ horizontal = {across}, vertical = {up} }}
"""
ZOOM = """f_number = 2.8
squeeze = 1.8
front_diameter_mm = 140
front_to_sensor_mm = 250
close_focus_mm = 900
[[lens.state]]
focal_mm = 40
pupil_behind_front_mm = { horizontal = 40, vertical = 80 }
[[lens.state]]
focal_mm = 80
pupil_behind_front_mm = { horizontal = 50, vertical = 300 }
"""
ROUND = """focal_mm = 35
f_number = 2.8
front_diameter_mm = 100
front_to_sensor_mm = 160
close_focus_mm = 230
pupil_behind_front_mm = 40
"""
STRONG = {"f": 40, "n": 2.0, "squeeze": 1.8, "length": 250, "close": 500, "across": 40, "up": 200}
MILD = {"f": 50, "n": 2.0, "squeeze": 2.0, "length": 200, "close": 700, "across": 50, "up": 120}
LENSES = {  # text; focal lengths; pupil depths at the shortest and the longest; stop, squeeze, front to sensor, nearest focus
    "strong": (TWO.format(**STRONG), (40, 40), ((40, 200), (40, 200)), 2.0, 1.8, 250, 500),
    "mild": (TWO.format(**MILD), (50, 50), ((50, 120), (50, 120)), 2.0, 2.0, 200, 700),
    "zoom": (ZOOM, (40, 80), ((40, 80), (50, 300)), 2.8, 1.8, 250, 900),
    "round": (ROUND, (35, 35), ((40, 40), (40, 40)), 2.8, 1.0, 160, 230),
}
SETTINGS, RAYS = 200, 2000


def crossings_mm(lens, z_mm, rng):
    """Where rays of random settings, field points and places on the pupil's rim cross z (SETTINGS, RAYS, 2), x to the left."""
    _, focals, depths, stop, squeeze, length, close = lens
    share = np.concatenate([[0.0, 0.0, 1.0, 1.0], rng.uniform(0, 1, SETTINGS - 4)])  # the ends of the range, and between them
    focal = focals[0] + share * (focals[1] - focals[0])
    across, up = (depths[0][k] + share * (depths[1][k] - depths[0][k]) for k in (0, 1))
    distance = close / np.concatenate([[1e-4, 1.0, 1e-4, 1.0], rng.uniform(1e-4, 1, SETTINGS - 4)])
    b = distance / focal - 2
    m = 2 / (b + np.sqrt(b * b - 4))
    edge = np.sign(rng.uniform(-1, 1, (SETTINGS, RAYS, 2)))
    picture = np.where(rng.uniform(0, 1, (SETTINGS, RAYS, 1)) < 0.5, edge, rng.uniform(-1, 1, edge.shape)) * [18.0, 12.0]
    thing = picture * [-squeeze, 1] / m[:, None, None]
    turn = rng.uniform(0, 2 * np.pi, (SETTINGS, RAYS))
    radius = (focal / stop / 2)[:, None]
    pupil = np.stack([radius * np.cos(turn) / squeeze, radius * np.sin(turn)], axis=-1)
    depth = np.stack([across, up], axis=-1)[:, None]
    return pupil + (thing - pupil) * (z_mm + depth) / ((distance - length)[:, None, None] + depth)


@pytest.mark.parametrize("name", LENSES)
@pytest.mark.parametrize("at_mm", [6, pytest.param(40, marks=pytest.mark.slow)])
def test_a_cut_out_without_margin_lets_every_ray_of_random_settings_of_the_range_through(tmp_path, name, at_mm):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE.format(lens=LENSES[name][0], at=at_mm))
    (mask,) = mask_report(load_scene(path), Wanted(margin_mm=0.0, corner_mm=0.0)).lenses
    rng = np.random.default_rng(7)
    for z_mm in (4.0 + at_mm, 6.0 + at_mm):
        rays = crossings_mm(LENSES[name], z_mm, rng).reshape(-1, 2)
        past = rays[~shapely.contains_xy(mask.cutout, rays[:, 0], rays[:, 1])]
        assert not len(past), f"{float(shapely.distance(shapely.points(past), mask.cutout).max()):.2f} mm outside"
    if name == "round":  # where a lens has two pupils its field across may be taken wider than this law gives it
        assert mask.cutout.area < 1.02 * shapely.MultiPoint(rays).convex_hull.area


TRAY = '[[box.stage]]\nname = "rear tray"\nat_mm = 10\ndepth_mm = 8\nopening_mm = [200, 160]\n\n[check]'


@pytest.mark.parametrize(("at_mm", "free"), [(9.0, True), (9.5, False), (14.0, False), (17.9, False), (18.0, True)])
def test_a_mask_is_not_cut_for_a_place_inside_a_tray(tmp_path, at_mm, free):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE.format(lens=LENSES["round"][0], at=40).replace("[check]", TRAY))
    if free:
        assert mask_report(load_scene(path), Wanted(at_mm=at_mm)).lenses
    else:
        with pytest.raises(SceneError, match="inside the rear tray, which reaches from 10 to 18 mm"):
            mask_report(load_scene(path), Wanted(at_mm=at_mm))
