"""Stills of a box with one mask, cast here ray by ray from the pupil through the mask's opening: none of the program's optics.

A rectilinear lens focused at infinity sees a pixel x mm right of the middle along the slope x / focal length; its pupil is a disc
of focal length over f-number, so deep behind the front rim. Noise, exposure, fall-off and uneven light are added, all stated here.
"""

import json
import math

import imagecodecs
import numpy as np

SCENE = """brimline = 1
title = "Cast"

[camera]
format = "36x24"
pixels = [6000, 4000]
{lenses}
[box]
mount = "rods-15"
ahead_mm = 4
seal = {{ kind = "donut" }}
back = {{ width_mm = 240, height_mm = 200, thickness_mm = 4, bore_mm = 130 }}

[[box.mask]]
name = "mask"
at_mm = {at}
opening_mm = [184, 124]
corner_mm = 6
thickness_mm = 1

[check]
f_numbers = [{stop}]
focus_mm = ["infinity"]
"""
LENS = """
[[lens]]
name = "{name}"
focal_mm = {focal}
f_number = 2.0
front_diameter_mm = 114
front_to_sensor_mm = 168
pupil_behind_front_mm = {pupil}
"""
NOTES = """lens = "{lens}"
unknown = {unknown}

[[picture]]
with_box = "with.png"
without_box = "without.png"
focus_mm = "infinity"
f_number = {stop}
curve = "linear"
covers = "recorded area"
"""
DISC = 400  # points of the pupil, evenly spread (golden angle; H. Vogel, Math. Biosci. 44 (1979) 179)
COLUMNS, ROWS = 720, 480


def mask_share(focal_mm, pupil_mm, *, at_mm=76.0, shown=1.0, up_mm=0.0, f_number=2.0):
    """Share of the pupil (ROWS, COLUMNS) that the mask's two faces let through; `shown` is how much of the frame a crop keeps."""
    x = ((np.arange(COLUMNS) + 0.5) / COLUMNS - 0.5) * 36 * shown / focal_mm
    y = (0.5 - (np.arange(ROWS) + 0.5) / ROWS)[:, None] * 24 * shown / focal_mm
    radius = focal_mm / f_number / 2
    share = np.zeros((ROWS, COLUMNS))
    for k in range(DISC):
        r, angle = radius * math.sqrt((k + 0.5) / DISC), k * math.pi * (3 - math.sqrt(5))
        free = np.ones((ROWS, COLUMNS), dtype=bool)
        for z in (4 + at_mm, 5 + at_mm):
            across = np.abs(r * math.cos(angle) + x * (z + pupil_mm)) - (92 - 6)
            upright = np.abs(r * math.sin(angle) + y * (z + pupil_mm) - up_mm) - (62 - 6)
            free &= np.hypot(np.maximum(across, 0), np.maximum(upright, 0)) <= 6
        share += free
    return share / DISC


def cast_shoot(
    folder, share, focal_mm, *, lenses=(("18", 18, 38),), noted="18", unknown=(), at_mm=76, f_number=2.0, shown=1.0, seed=3
):
    """Scene, notes and stills of such a share of light in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    told = "".join(LENS.format(name=name, focal=focal, pupil=pupil) for name, focal, pupil in lenses)
    (folder / "scene.toml").write_text(SCENE.format(lenses=told, at=at_mm, stop=f_number))
    (folder / "shoot.toml").write_text(NOTES.format(lens=noted, unknown=json.dumps(list(unknown)), stop=f_number))
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid((np.arange(COLUMNS) + 0.5) / COLUMNS - 0.5, 0.5 - (np.arange(ROWS) + 0.5) / ROWS)
    cosine = 1 / np.sqrt(1 + ((x * 36 * shown) ** 2 + (y * 24 * shown) ** 2) / focal_mm**2)
    for name, part, exposure, (right, up) in (("with", share, 0.8, (0.05, -0.03)), ("without", 1.0, 0.75, (-0.04, 0.06))):
        light = exposure * cosine**3.4 * 2.0 ** (right * x + up * y) * part
        noisy = light + rng.normal(size=light.shape) * np.sqrt(4e-5 * light + 1e-7)
        codes = np.floor(65535 * np.clip(noisy, 0, 1) + 0.5).astype(np.uint16)
        (folder / f"{name}.png").write_bytes(imagecodecs.png_encode(codes))
    return folder
