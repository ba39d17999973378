"""A small box, with a tray on rods or without one on the lens, and a scene around it."""

from scenes.states.load import load_scene

HEAD = """
brimline = 1
title = "Small"
[camera]
format = "36x24"
pixels = [60, 40]
[[lens]]
name = "50"
focal_mm = 50
f_number = 2.8
front_diameter_mm = 100
front_to_sensor_mm = 150
pupil_behind_front_mm = 40
[check]
focus_mm = ["infinity"]
"""

BACK = "back = { width_mm = 200, height_mm = 170, thickness_mm = 4, bore_mm = 120 }"
PARTS = """
[[box.mask]]
name = "mask"
at_mm = 20
opening_mm = [160, 120]
corner_mm = 6
outer_mm = [200, 160]
[box.hood]
name = "hood"
at_mm = 24
depth_mm = 60
rear_mm = [190, 150]
front_mm = [300, 230]
thickness_mm = 2
[[box.flag]]
name = "top flag"
side = "top"
angle_deg = 70
length_mm = 100
width_mm = 250
"""
BOX = f"""
[box]
mount = "rods-15"
ahead_mm = 3
{BACK}
[[box.stage]]
name = "tray"
at_mm = 8
depth_mm = 8
opening_mm = [150, 110]
corner_mm = 4
outer_mm = [190, 160]
filter = {{ width_mm = 160, height_mm = 120, thickness_mm = 4 }}
{PARTS}extension = {{ length_mm = 60 }}
"""
SMALL = f"""
[box]
mount = "clamp"
{BACK}
{PARTS}"""


def loaded(tmp_path, make="", box=BOX):
    path = tmp_path / "scene.toml"
    path.write_text(HEAD + box + make)
    return load_scene(path)
