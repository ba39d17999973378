"""Makes stills of a test shoot with known truth: Brimline's own map, then all that a camera adds, each from its standard's formula.

The curves are written out here from IEC 61966-2-1, BT.709 and BT.2100, apart from the program's own.
"""

import json
from pathlib import Path

import imagecodecs
import numpy as np
from scipy.ndimage import gaussian_filter

from scenes.questions.compare.shoot import read_notes
from scenes.states.load import load_scene
from scenes.unknowns.predicted import field_cosine, predicted

SCENE = """brimline = 1
title = "Quarry, night"

[camera]
format = "44x33"
pixels = [8000, 6009]

[[camera.guide]]
name = "scope"
aspect = 2.39
scale = 0.95

[[lens]]
name = "28"
focal_mm = 28
f_number = 2.8
front_diameter_mm = 120
front_to_sensor_mm = 190
pupil_behind_front_mm = 50  # from the maker's sheet

[box]
mount = "rods-19"
ahead_mm = 5 # by tape
seal = { kind = "donut" }

[box.back]
width_mm = 240
height_mm = 200
thickness_mm = 4
bore_mm = 136

[[box.mask]]
name = "mask"
at_mm = 38
opening_mm = [157, 121]
corner_mm = 8
thickness_mm = 1

[box.hood]
at_mm = 40
depth_mm = 80
rear_mm = [186, 142]
front_mm = [286, 218]

[[box.flag]]
name = "top flag"
side = "top"
angle_deg = 32
length_mm = 120
width_mm = 300

[check]
f_numbers = [2.8]
focus_mm = ["infinity"]
"""
ANOTHER_LENS = SCENE.replace("focal_mm = 28", "focal_mm = 24").replace("front_mm = 50 ", "front_mm = 44 ")
NOTES = """lens = "{notes_lens}"
unknown = {unknown}

[[picture]]
with_box = "with.png"
{without}focus_mm = "infinity"
f_number = 2.8
curve = "{curve}"
covers = "{covers}"
"""


def curve_of(light, curve):
    x = np.maximum(light, 0)
    if curve == "srgb":
        return np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)
    if curve == "rec709":
        return np.where(x < 0.018, 4.5 * x, 1.099 * x**0.45 - 0.099)
    if curve == "hlg":
        return np.where(x <= 1 / 12, np.sqrt(3 * x), 0.17883277 * np.log(np.maximum(12 * x - 0.28466892, 1e-9)) + 0.5599107295)
    return x


def make_shoot(
    folder: Path, *, true, unknown=("box.ahead_mm", "box.offset_mm.up"), scene=SCENE, true_scene=None, curve="srgb", reference=True,
    bits=16, columns=960, seed=1, exposure=0.5, planes=((0.1, -0.05), (0.04, 0.08)), power=3.6, orient="as shot", tint=(1.0,),
    logo=False,
    thing=None, dust=6, covers="recorded area", noise=1e-4, kind="png", lens="28", stated_curve=None,
    notes_lens="28",
):  # fmt: skip
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    (folder / "scene.toml").write_text(scene)
    without = 'without_box = "without.png"\n' if reference else ""
    stated = {"curve": stated_curve or curve, "covers": covers, "notes_lens": notes_lens}
    notes_text = NOTES.format(unknown=json.dumps(list(unknown)), without=without, **stated)
    (folder / "shoot.toml").write_text(notes_text)
    (folder / "true.toml").write_text(true_scene or scene)
    (folder / "true_shoot.toml").write_text(
        (folder / "shoot.toml").read_text().replace("unknown = ", f"unknown = {list(true)} #".replace("'", '"'))
    )
    if lens != "28":
        (folder / "true_shoot.toml").write_text((folder / "true_shoot.toml").read_text().replace('lens = "28"', f'lens = "{lens}"'))
    notes = read_notes(load_scene(folder / "true.toml"), folder / "true_shoot.toml")
    shot = notes.shots[0]
    width, height = columns, round(columns * shot.area.height_mm / shot.area.width_mm)
    seen_share = predicted(shot, notes.unknowns, list(true.values()), (height, width))
    share = seen_share.share * (1 if reference else seen_share.rims)
    cosine = field_cosine(shot, (height, width))
    x, y = np.meshgrid((np.arange(width) + 0.5) / width - 0.5, 0.5 - (np.arange(height) + 0.5) / height)
    spots = np.ones((height, width))
    for _ in range(dust):
        at = rng.uniform(0, 1, 2) * (width, height)
        spots *= 1 - rng.uniform(0.1, 0.4) * np.exp(
            -(((x + 0.5) * width - at[0]) ** 2 + ((0.5 - y) * height - at[1]) ** 2) / 2 / 2.0**2
        )
    for name, passes, (right, up), level in (
        ("with", share, planes[0], exposure),
        ("without", np.ones_like(share), planes[1], 0.45),
    ):
        if name == "without" and not reference:
            continue
        light = level * cosine**power * 2.0 ** (right * x + up * y) * spots * passes
        if thing is not None and name == "with":
            left, top, w, h = thing
            soft = gaussian_filter(
                ((x + 0.5 > left) & (x + 0.5 < left + w) & (0.5 - y > top) & (0.5 - y < top + h)).astype(float), 0.012 * width
            )
            light = light * (1 - 0.7 * soft)
        planes_of_colour = []
        for one in tint:
            seen = light * one + rng.normal(0, 1, light.shape) * np.sqrt(noise * light * one + 2e-7)
            planes_of_colour.append(curve_of(np.clip(seen, 0, 1), curve))
        signal = np.stack(planes_of_colour, axis=-1)
        if logo:
            burn(signal)
        signal = upright_to(signal, orient)
        top = 2**bits - 1
        codes = np.floor(np.clip(signal, 0, 1) * top + 0.5).astype(np.uint8 if bits == 8 else np.uint16)
        codes = codes[..., 0] if len(tint) == 1 else codes
        data = imagecodecs.jpeg8_encode(codes, level=30) if kind == "jpeg30" else imagecodecs.png_encode(codes)
        (folder / f"{name}.png").write_bytes(data)
    return folder


def burn(signal):
    """Frame lines two pixels wide, a line of letters, and a filled logo with a sharp edge."""
    height, width = signal.shape[:2]
    for row in (height // 10, height - height // 10):
        signal[row : row + 2, width // 10 : -width // 10] = 0.9
    for k in range(12):
        signal[height // 2 : height // 2 + 12, 40 + 14 * k : 43 + 14 * k] = 0.95
        signal[height // 2 : height // 2 + 3, 40 + 14 * k : 50 + 14 * k] = 0.95
    signal[-60:-30, -140:-60] = 0.02


def upright_to(picture, orient):
    return {"as shot": picture, "turned 180": picture[::-1, ::-1], "mirrored": picture[:, ::-1], "upside down": picture[::-1]}[
        orient
    ]
