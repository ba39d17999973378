"""Boxes by chance: a lens, a back plate, one or two trays with glass, a hood, two flags, and four lights of every kind."""

import numpy as np


def random_scene(seed):
    """A scene file's text."""
    rng = np.random.default_rng(seed)
    width, height = [(36.0, 24.0), (54.12, 25.58), (24.0, 13.5)][seed % 3]
    focal = float(rng.uniform(20, 50))
    pupil, stop, front = rng.uniform(28, 50), rng.choice([1.8, 2.8, 4.0]), rng.uniform(80, 115)
    tilt = rng.choice([0.0, rng.uniform(-3, 3)])

    def beam(z):
        return 2 * (focal / stop / 2 + (z + pupil) * np.array([width, height]) / focal / 2)

    at, text = 8.0, ""
    for number in range(rng.integers(1, 3)):
        w, h = beam(at + 14) + rng.uniform(4, 16)
        corner, own = rng.choice([0.0, 4.0]), rng.choice([0.0, 0.0, rng.uniform(-2, 2)])
        text += f"""
[[box.stage]]
name = "t{number + 1}"
at_mm = {at}
depth_mm = 8
opening_mm = [{w:.3f}, {h:.3f}]
corner_mm = {corner}
tilt_deg = {own:.3f}
filter = {{ width_mm = {w + 10:.3f}, height_mm = {h + 10:.3f}, thickness_mm = {rng.choice([2, 4])} }}
"""
        at += 14.0
    depth = rng.uniform(30, 80)
    rear, mouth = beam(at + 8) + rng.uniform(8, 30), beam(at + depth + 10) + rng.uniform(15, 60)
    mouth = np.maximum(mouth, rear + 5)
    text += f"""
[box.hood]
at_mm = {at + 4}
depth_mm = {depth:.3f}
rear_mm = [{rear[0]:.3f}, {rear[1]:.3f}]
front_mm = [{mouth[0]:.3f}, {mouth[1]:.3f}]
"""
    for side in ("top", str(rng.choice(["left", "right"]))):
        extension = "extension = { length_mm = 50, angle_deg = -12 }\n" if rng.random() < 0.3 else ""
        text += f"""
[[box.flag]]
side = "{side}"
angle_deg = {rng.uniform(30, 70):.2f}
length_mm = {rng.uniform(70, 150):.2f}
width_mm = {rng.uniform(0.9, 1.6) * mouth[0 if side == "top" else 1]:.2f}
{extension}"""
    for number in range(4):
        far = rng.uniform(0, 1) < 0.7
        azimuth, elevation = rng.uniform(-70, 70), rng.uniform(-15, 70)
        if far:
            where = f"azimuth_deg = {azimuth:.2f}\nelevation_deg = {elevation:.2f}\nwidth_deg = {rng.choice([0.0, 0.53, 2.0, 8.0])}"
        else:
            a, e, r = np.radians(azimuth), np.radians(elevation), rng.uniform(900, 3000)
            place = r * np.array([np.cos(e) * np.sin(a), np.sin(e), np.cos(e) * np.cos(a)])
            where = f"position_mm = [{place[0]:.1f}, {place[1]:.1f}, {place[2]:.1f}]\nsize_mm = 50"
        text += f'\n[[light]]\nname = "L{number}"\n{where}\n'
    return f"""brimline = 1
[camera]
width_mm = {width}
height_mm = {height}
pixels = [{round(width * 20)}, {round(height * 20)}]
[[lens]]
name = "a"
focal_mm = {focal:.3f}
f_number = {stop}
front_diameter_mm = {front:.1f}
front_to_sensor_mm = 150
pupil_behind_front_mm = {pupil:.3f}
close_focus_mm = 500
[box]
mount = "clamp"
ahead_mm = 3
tilt_deg = {tilt:.3f}
back = {{ width_mm = 260, height_mm = 230, bore_mm = {front + 12:.1f} }}
seal = {{ kind = "donut" }}
{text}
[check]
focus_mm = ["infinity"]
"""
