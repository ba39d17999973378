"""Random lopsided scenes of kinds that ordinary boxes leave out, their parts close to the light or at the edge of losing some.

A scene is a plain dict as TOML would give it. Sizes follow the light itself, sampled by the caster.
"""

from __future__ import annotations

import tomllib
from copy import deepcopy
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.caster.cast import Case, disc, rim_points
from tests.caster.glass_rays import length_mm
from tests.caster.scene_parts import guides_of

KINDS = ("anamorphic", "projection", "distortion", "close-up", "mesh", "drawing", "magnification", "walk", "zoom", "traced")
EVERYTHING = "mixed"  # several of them at once, and a front glass or a back plate besides
BOX_KINDS = ("close-up", "mesh", "drawing")
GLASS = Path(__file__).parents[2] / "scenes" / "demo" / "glass"
TABLES = (("double-gauss-50.toml", 1.4, 21.0), ("retrofocus-28.toml", 3.5, 35.0))  # widest stop, half field [deg]
EDGE = 1e-9


def drawn(kind, rng):
    """A Case of one kind: close to the edge of losing light half of the time."""
    case = _case(kind, rng)
    return to_edge(case, rng) if rng.random() < 0.6 else case


def _case(kind, rng):
    if kind == EVERYTHING:
        return _mixed(rng)
    case = _with_lens(kind, rng)
    _box(case, {kind}, rng)
    return replace(case, scene=rounded(case.scene))


def _mixed(rng):
    """A lens of one kind with more that is odd about it, and a box with several odd parts."""
    u = rng.uniform
    lens_kind = str(rng.choice([kind for kind in KINDS if kind not in BOX_KINDS]))
    case = _with_lens(lens_kind, rng)
    (lens,) = case.scene["lens"]
    if lens_kind in ("anamorphic", "projection", "magnification", "zoom", "walk") and rng.random() < 0.4:
        lens["distortion"] = [u(-0.1, 0.04), u(-0.03, 0.02)]
    odd = {kind for kind in BOX_KINDS if rng.random() < 0.5} or {str(rng.choice(BOX_KINDS))}
    _box(case, odd, rng)
    if lens_kind != "traced" and rng.random() < 0.4:
        lens["front_glass_mm"] = lens["front_diameter_mm"] * u(0.75, 0.98)
    if rng.random() < 0.4:
        _back(case, rng)
    return replace(case, scene=rounded(case.scene))


def _back(case, rng):
    """A back plate round the front, as thick as leaves the first part free, sealed to it at times."""
    box, front = case.scene["box"], case.scene["lens"][0]["front_diameter_mm"]
    bore = front + rng.uniform(2, 30)
    box["back"] = {"bore_mm": bore, "width_mm": bore + 60, "height_mm": bore + 50, "thickness_mm": 1.5}
    if rng.random() < 0.5:
        box["seal"] = {"kind": "ring"}


def _with_lens(kind, rng):
    u = rng.uniform
    width = u(22, 55)
    camera = {"width_mm": width, "height_mm": width / rng.choice([1.33, 1.5, 1.78, 2.2])}
    if rng.random() < 0.3:
        camera["offset_mm"] = [u(-1.5, 1.5), u(-1.5, 1.5)]
    if rng.random() < 0.5:
        camera["guide"] = [{"name": "a", "aspect": u(1.2, 2.6), "scale": u(0.7, 1.0)}]
    lens = _lens(kind, rng, camera)
    scene = {"brimline": 1, "camera": camera, "lens": [lens], "check": {"focus_mm": ["infinity"]}, "box": {}}
    if kind in ("magnification", "close-up", "anamorphic", "distortion") and rng.random() < (
        1.0 if kind == "magnification" else 0.4
    ):
        _focus(scene, rng, magnification=kind == "magnification")
    if kind == "walk" and rng.random() < 0.4:
        _focus(scene, rng, magnification=False)
    case = Case(rounded(scene), {}, {})
    if kind == "zoom":
        case = zoomed(case, rng)
    return _traced(case, rng) if kind == "traced" else case


def _lens(kind, rng, camera):
    u = rng.uniform
    slope = u(0.3, 1.1)
    focal = camera["width_mm"] / 2 / slope
    lens = {"name": "x", "focal_mm": focal, "f_number": float(rng.choice([1.4, 2.0, 2.8, 4.0, 8.0]))}
    depth = u(20, 90)
    lens["pupil_behind_front_mm"] = depth if rng.random() < 0.7 else [depth, depth + u(1, 8)]
    if kind == "anamorphic":
        squeeze = float(rng.choice([1.25, 1.33, 1.5, 1.8, 2.0]))
        lens["focal_mm"], lens["squeeze"] = focal * squeeze, squeeze
        near = u(20, 70)
        lens["pupil_behind_front_mm"] = {"horizontal": near, "vertical": near + u(1, 120)}
        if rng.random() < 0.3:
            lens["pupil_width_factor"] = u(0.95 / squeeze, 1.0)
    if kind == "projection":
        lens["projection"] = str(rng.choice(["equidistant", "equisolid", "stereographic", "orthographic"]))
        corner = np.hypot(camera["width_mm"], camera["height_mm"]) / 2 + 2.2
        lens["focal_mm"] = max(focal, corner / 0.93) * u(1.0, 1.4)
    if kind == "walk":
        lens["pupil_behind_front_mm"] = depth
        lens["pupil_walk"] = [[0.0, depth, 1.0, 1.0]] + [
            [field, depth + u(-0.1, 0.1) * field, 1.0 - u(0.0, 0.009) * field, 1.0 + u(-0.001, 0.001) * field]
            for field in (20.0, 40.0, 65.0)
        ]
    if kind == "distortion":
        lens["distortion"] = [u(-0.12, 0.05), u(-0.03, 0.03)]
    return lens


def _focus(scene, rng, *, magnification):
    lens = scene["lens"][0]
    focal, told = lens["focal_mm"], lens["pupil_behind_front_mm"]
    deepest = max(told.values()) if isinstance(told, dict) else max(told) if isinstance(told, list) else told
    lens["front_to_sensor_mm"] = deepest + rng.uniform(1.0, 2.5) * focal + 20
    scene["check"]["focus_mm"] = [max(4.3 * focal, lens["front_to_sensor_mm"] + 350) + rng.exponential(900)]
    if magnification:
        lens["pupil_behind_front_mm"] = deepest
        lens["pupil_magnification"] = rng.uniform(0.8, 2.2)


def zoomed(case, rng):
    """The case with rows on both sides of its focal length, some at a near focus too, its setting between them."""
    u, scene = rng.uniform, deepcopy(case.scene)
    lens, edge = scene["lens"][0], scene["camera"]["width_mm"] / 2
    focal, deep = lens["focal_mm"], float(np.ravel(lens.pop("pupil_behind_front_mm"))[0])
    focals = [focal * u(0.6, 0.95), focal * u(1.05, 1.8)] + [focal * u(0.9, 1.1)] * (rng.random() < 0.3)
    lens["front_to_sensor_mm"] = deep + 40 + u(1.0, 2.0) * max(focals)
    near = max(4.5 * max(focals), lens["front_to_sensor_mm"] + 450)
    foci, bounds, fields, travels = ["infinity"], rng.random() < 0.2, rng.random() < 0.6, rng.random() < 0.6
    if rng.random() < 0.6:
        foci.append(near)
        scene["check"]["focus_mm"] = [near * u(1.05, 3.0)]
    magnification = not fields and rng.random() < 0.5
    lens["state"] = []
    for focus in foci:
        for one in focals:
            depth = deep + u(-12, 12)
            row = {"focal_mm": one, "focus_mm": focus, "pupil_behind_front_mm": [depth, depth + u(1, 5)] if bounds else depth}
            if travels:
                row["front_travel_mm"] = u(0, 12)
            if fields:
                wider = u(0.98, 1.02) if focus == "infinity" else u(1.0, 1.15)
                row["half_field_deg"] = float(np.degrees(np.arctan(edge / one * wider)))
            if magnification:
                row["pupil_magnification"] = u(0.8, 1.8)
            lens["state"].append(row)
    del lens["focal_mm"]
    return replace(case, scene=rounded(scene), focal_mm=focal)


def _traced(case, rng):
    """The case with a published table for its lens, another size, and a picture that it fills in part."""
    u, scene = rng.uniform, deepcopy(case.scene)
    name, widest, field = TABLES[int(rng.integers(len(TABLES)))]
    table = tomllib.loads((GLASS / name).read_text())
    table["scale"] = round(table["scale"] * u(0.8, 1.3), 5)
    table["vertex_behind_front_mm"] = round(u(1, 7), 3)
    focal = 100.0 * table["scale"]
    camera, lens = scene["camera"], scene["lens"][0]
    half = focal * np.tan(np.radians(field * u(0.6, 1.0)))
    smaller = half / (np.hypot(camera["width_mm"], camera["height_mm"]) / 2 + 2.2)
    for key in ("width_mm", "height_mm"):
        camera[key] *= smaller
    del lens["pupil_behind_front_mm"]
    lens["focal_mm"] = focal
    lens["f_number"] = round(widest * float(rng.choice([1.0, 1.4, 2.0, 2.8])) * 1.02, 3)
    lens["prescription"] = name
    if rng.random() < 0.4:
        lens["front_to_sensor_mm"] = length_mm(table)
        scene["check"]["focus_mm"] = [focal * u(8, 60) + 300]
    return replace(case, scene=rounded(scene), tables={name: table})


def extents(case, z):
    """How far the light of all guides reaches across, up and outward at a depth, without glass [mm]."""
    circle, found = disc(0, rim=24), []
    for lens in case.lenses():
        for guide in case.guides():
            origins, ways, _ = lens.rays(rim_points(guide, 1.0, 9), circle)
            found.append(origins[:, :2] + (z - origins[:, 2:]) * ways[:, :2])
    at = np.concatenate(found)
    return np.abs(at[:, 0]).max(), np.abs(at[:, 1]).max(), np.hypot(*at.T).max()


def _box(case, kinds, rng):
    u, scene = rng.uniform, case.scene
    box, lens = scene["box"], scene["lens"][0]
    box["ahead_mm"] = ahead = round(u(-4, 9), 2)
    if rng.random() < 0.6:
        box["offset_mm"] = [rng.normal(0, 2.0), rng.normal(0, 2.0)]
    if rng.random() < 0.35:
        box["tilt_deg"] = u(-5, 5)
    slack = abs(np.sin(np.radians(box.get("tilt_deg", 0.0)))) + 1e-9
    room = rng.choice([u(0, 3), u(3, 12), u(-8, 1)])

    def gap():
        return room + rng.exponential(3.0)

    def size(z):
        across, up, outward = extents(case, z + ahead)
        more = max(np.abs(box.get("offset_mm", [0, 0]))) + slack * (abs(z) + up)
        return across + more, up + more, outward + more

    front = 2 * (extents(case, 0.0)[2] + 4)
    longest = max([row["focal_mm"] for row in lens.get("state", ())] or [lens.get("focal_mm", 0.0)])
    lens["front_diameter_mm"] = float(np.clip(max(front, 30.0, longest / lens["f_number"] + 6), 15, 490))
    at = _stages(kinds, box, size, gap, rng)
    if "drawing" in kinds or rng.random() < 0.4:
        at = _mask(kinds, case, at + 8.0, size, gap, rng)
    if rng.random() < 0.4:
        depth = u(15, 90)
        rear, far = size(at), size(at + depth)
        box["hood"] = {
            "at_mm": at, "depth_mm": depth,
            "rear_mm": [2 * (rear[k] + abs(gap())) for k in (0, 1)], "front_mm": [2 * (far[k] + gap()) for k in (0, 1)],
        }  # fmt: skip
        at += depth
    flags = [
        _flag(str(side), at + u(0, 8), size, gap, rng) for side in rng.choice(list("tblr"), int(rng.integers(0, 3)), replace=False)
    ]
    if flags:
        box["flag"] = flags
    if "mesh" in kinds:
        case.meshes["solid.stl"] = _solid(size, at, gap, rng)
        box["solid"] = [
            {"file": "solid.stl", "unit": "mm", "at_mm": round(at + 6.0, 3), "turn_deg": float(rng.choice([0.0, u(-20, 20)]))}
        ]
    if not {"stage", "mask", "hood", "flag", "solid"} & set(box):
        _mask(kinds, case, at, size, gap, rng)


def _stages(kinds, box, size, gap, rng):
    """Trays, some with glass, the first with a close-up lens where that is the kind; where they end."""
    u, at, stages = rng.uniform, 2.0, []
    for number in range(int(rng.integers(0, 3)) + ("close-up" in kinds)):
        stage = {"at_mm": at, "depth_mm": u(4, 12)}
        _opening(stage, size(at + stage["depth_mm"]), gap, rng)
        wide = max(stage.get("opening_mm", [stage.get("opening_diameter_mm", 0)]))
        glass = min(1.3 * (wide + 40), 499.0)
        if "close-up" in kinds and number == 0:
            stage.pop("tilt_deg", None)
            power = float(rng.choice([0.5, 1.0, 2.0, 3.0]))
            stage["filter"] = {"diameter_mm": glass, "thickness_mm": 2.0, "kind": "close-up", "power_dioptre": power}
        elif rng.random() < 0.5:
            thick = min(u(1, 5), stage["depth_mm"])
            stage["filter"] = {"width_mm": glass, "height_mm": glass, "thickness_mm": thick, "index": u(1.4, 1.7)}
        lean = 1.4 * (wide / 2 + 40) * np.sin(np.radians(abs(stage.get("tilt_deg", 0.0))))
        stage["at_mm"] = at + lean
        at = stage["at_mm"] + stage["depth_mm"] + lean + u(1, 6)
        stages.append(stage)
    if stages:
        box["stage"] = stages
    return at


def _mask(kinds, case, at, size, gap, rng):
    mask = {"at_mm": at, "thickness_mm": rng.uniform(0.3, 3)}
    if "drawing" in kinds:
        mask["outline"] = "cut.dxf"
        case.outlines["cut.dxf"] = _dented(size(at + 1), gap, rng)
        if rng.random() < 0.5:
            mask["turn_deg"] = rng.uniform(-10, 10)
    else:
        _opening(mask, size(at + 1), gap, rng)
    case.scene["box"]["mask"] = [mask]
    return at + mask["thickness_mm"] + 10


def _opening(part, size, gap, rng):
    across, up, outward = size
    if rng.random() < 0.25:
        part["opening_diameter_mm"] = float(np.clip(2 * (outward + gap()), 8, 590))
    else:
        part["opening_mm"] = [float(np.clip(2 * (side + gap()), 8, 590)) for side in (across, up)]
        if rng.random() < 0.4:
            part["corner_mm"] = rng.uniform(0, 0.3) * min(part["opening_mm"])
    if rng.random() < 0.25:
        part["turn_deg"] = rng.uniform(-8, 8)
    if rng.random() < 0.25:
        part["tilt_deg"] = rng.uniform(-4, 4)


def _flag(side, at, size, gap, rng):
    u, k = rng.uniform, 0 if side in "lr" else 1
    length = u(20, 110)
    hinge = size(at)[k] + abs(gap()) + 1
    reach = size(at + 0.8 * length)[k] - hinge + gap()
    flag = {
        "side": {"t": "top", "b": "bottom", "l": "left", "r": "right"}[side],
        "length_mm": length, "width_mm": u(15, 2.2 * size(at)[1 - k] + 20),
        "thickness_mm": u(0.5, 3), "hinge_mm": float(np.clip(hinge, 6, 990)), "at_mm": at,
        "angle_deg": float(np.clip(np.degrees(np.arcsin(np.clip(reach / length, -0.5, 0.98))), -25, 120)),
    }  # fmt: skip
    if rng.random() < 0.4:
        flag["extension"] = {"length_mm": u(10, 60), "angle_deg": u(-15, 40)}
    return flag


def _dented(size, gap, rng):
    """Points of a cut-out with dents between its corners, right and up."""
    across, up, _ = size
    count = int(rng.integers(8, 40))
    angle = np.sort(rng.uniform(0, 2 * np.pi, count))
    angle = angle[np.concatenate([[True], np.diff(angle) > 0.02])]
    c, s = np.cos(angle), np.sin(angle)
    box = np.array([across, up])
    out = 1 / np.maximum(np.abs(c) / box[0], np.abs(s) / box[1])
    out = out * rng.uniform(1.0, 1.5, len(angle)) + np.array([gap() for _ in angle]) + 2
    points = np.column_stack([out * c, out * s])
    far = np.abs(np.diff(np.append(angle, angle[0] + 2 * np.pi))).max()
    return np.round(points if far < 2.8 else box * 1.2 * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]), 3)


def _solid(size, at, gap, rng):
    """Triangles of a small lopsided tetrahedron beside the light, its origin at the plate's centre, moved ahead by at + 6."""
    across, up, outward = size(at + 8)
    angle = rng.uniform(0, 2 * np.pi)
    away = min(across / max(abs(np.cos(angle)), 1e-9), up / max(abs(np.sin(angle)), 1e-9), outward) + gap() + 6
    middle = np.array([away * np.cos(angle), away * np.sin(angle), rng.uniform(0, 10)])
    corners = middle + rng.uniform(-9, 9, (4, 3))
    if np.linalg.det(corners[1:] - corners[0]) < 0:
        corners = corners[[0, 2, 1, 3]]
    return np.round(corners[[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]], 3)


def moved(case, which, by):
    """The case with one part's opening larger by so many mm all round, or a flag opened by that at its end."""
    scene, (table, number) = deepcopy(case.scene), which
    outlines = dict(case.outlines)
    part = scene["box"][table] if number is None else scene["box"][table][number]
    if table == "flag":
        part["angle_deg"] = float(np.clip(part["angle_deg"] + np.degrees(by / part["length_mm"]), -29, 170))
    elif table == "hood":
        part["front_mm"] = [side + 2 * by for side in part["front_mm"]]
    elif "outline" in part:
        points = outlines["cut.dxf"]
        outlines["cut.dxf"] = np.round(points * (1 + by / np.hypot(*points.T))[:, None], 3)
    elif "opening_mm" in part:
        part["opening_mm"] = [side + 2 * by for side in part["opening_mm"]]
    else:
        part["opening_diameter_mm"] += 2 * by
    return replace(case, scene=rounded(scene), outlines=outlines)


def to_edge(case, rng):
    """One part moved until the frame, or a frame 2 % larger, is at the edge of losing, and a little at random."""
    box = case.scene["box"]
    parts = [(table, number) for table in ("stage", "mask", "flag") for number in range(len(box.get(table, ())))]
    parts += [("hood", None)] * ("hood" in box)
    if not parts:
        return case
    which, scale = parts[int(rng.integers(len(parts)))], float(rng.choice([1.0, 1.02]))
    points = np.concatenate([rim_points(guide, scale, 9) for guide in guides_of(case.scene)])
    circle, low, high = disc(64, rim=64), -6.0, 40.0

    def loses(by):
        return moved(case, which, by).lost(points, circle).max() > EDGE

    if loses(high) or not loses(low):
        return case
    for _ in range(9):
        middle = (low + high) / 2
        low, high = (middle, high) if loses(middle) else (low, middle)
    return moved(case, which, high + float(rng.normal(0.1, 0.3)))


def rounded(scene):
    """Numbers as a person would write them, within the limits of the scene file."""
    if isinstance(scene, dict):
        found = {key: rounded(value) for key, value in scene.items()}
        if "opening_mm" in found:
            found["opening_mm"] = [float(np.clip(side, 5.5, 599)) for side in found["opening_mm"]]
            if "corner_mm" in found:
                found["corner_mm"] = round(min(found["corner_mm"], min(found["opening_mm"]) / 2 - 0.01), 3)
        if "opening_diameter_mm" in found:
            found["opening_diameter_mm"] = float(np.clip(found["opening_diameter_mm"], 5.5, 599))
        for key in ("rear_mm", "front_mm"):
            if key in found:
                found[key] = [float(np.clip(side, 21, 999)) for side in found[key]]
        return found
    if isinstance(scene, list | tuple):
        return [rounded(value) for value in scene]
    return round(float(scene), 3) if isinstance(scene, float) and np.isfinite(scene) else scene
