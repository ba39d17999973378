"""The box of a parsed scene as rows of numbers for the caster: written apart from the program, with nothing of it."""

from __future__ import annotations

import numpy as np

from tests.caster.kernel import BLOCK, CLOSE_UP, DRAWN, HOOD, MESH, PLATE, SEAL, SIZE, SLAB

OUTWARD = {"top": (0.0, 1.0, 0.0), "bottom": (0.0, -1.0, 0.0), "left": (1.0, 0.0, 0.0), "right": (-1.0, 0.0, 0.0)}


def tilted(deg):
    """Positive: the top leans toward the scene."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def turned(deg):
    """Positive: clockwise as the operator sees it, that is from +y toward -x."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def row(kind, rotation, origin, *own):
    """A part's numbers."""
    found = np.zeros(SIZE)
    found[0], found[1:10], found[10:13] = kind, np.asarray(rotation).ravel(), origin
    found[13 : 13 + len(own)] = own
    return found


def _opening(part):
    if "opening_diameter_mm" in part:
        return (0, part["opening_diameter_mm"] / 2, 0, 0)
    width, height = part["opening_mm"]
    return (1, width / 2, height / 2, part.get("corner_mm", 0.0))


def _outside(part):
    size = part.get("outer_mm")
    return (1, size[0] / 2, size[1] / 2) if size else (0, 0, 0)


def parts_of(scene, outlines=None, meshes=None):
    """Rows (P, SIZE) and triangles (T, 9).

    outlines: points (n, 2) of each drawn cut-out by its file, right and up as the operator sees it; meshes: triangles (n, 3, 3) in
    the frame by their file.
    """
    box, lens = scene["box"], scene["lens"][0]
    back = box.get("back")
    thick = back["thickness_mm"] if back else 0.0
    rotation, pivot = tilted(box.get("tilt_deg", 0.0)), np.array([0.0, 0.0, thick / 2])
    right, up = box.get("offset_mm", (0.0, 0.0))
    origin = pivot - rotation @ pivot + [-right, up, box.get("ahead_mm", 0.0)]
    rows, triangles = [], []

    def place(at, middle):
        return origin + rotation @ [0.0, 0.0, at + middle]

    def turn(part):
        return rotation @ tilted(part.get("tilt_deg", 0.0)) @ turned(part.get("turn_deg", 0.0))

    if back:
        half = thick / 2
        rows.append(
            row(PLATE, rotation, place(0, half), half, 0, back["bore_mm"] / 2, 0, 0, 1, back["width_mm"] / 2, back["height_mm"] / 2)
        )
        if "seal" in box:
            inner, outer = lens["front_diameter_mm"] / 2, back["bore_mm"] / 2
            rows.append(row(SEAL, rotation, origin, 2, outer, 0.0, inner, thick, inner))
    for stage in box.get("stage", ()):
        half = stage["depth_mm"] / 2
        at, own = place(stage["at_mm"], half), turn(stage)
        rows.append(row(PLATE, own, at, half, *_opening(stage), *_outside(stage)))
        glass = stage.get("filter")
        if glass and glass.get("kind") == "close-up":
            rows.append(row(CLOSE_UP, own, at, 0.0, glass["power_dioptre"]))
        elif glass:
            rows.append(row(SLAB, own, at, glass.get("thickness_mm", 4.0) / 2, glass.get("index", 1.5168)))
    for mask in box.get("mask", ()):
        half = mask.get("thickness_mm", 1.0) / 2
        at, own = place(mask["at_mm"], half), turn(mask)
        if "outline" in mask:
            points = np.asarray(outlines[mask["outline"]]) * [-1.0, 1.0]
            rows.append(row(DRAWN, own, at, half, len(points), *points.ravel()))
        else:
            rows.append(row(PLATE, own, at, half, *_opening(mask), *_outside(mask)))
    hood = box.get("hood")
    if hood:
        depth, wall = hood["depth_mm"], hood.get("thickness_mm", 1.5)
        rear, front = np.array(hood["rear_mm"]) / 2, np.array(hood["front_mm"]) / 2
        rim = wall * np.hypot(1, (front - rear) / depth)
        rows.append(row(HOOD, rotation, place(hood["at_mm"], depth / 2), depth / 2, *rear, *front, *(rear + rim), *(front + rim)))
    for flag in box.get("flag", ()):
        rows += _blades(flag, hood, rotation, origin)
    for solid in box.get("solid", ()):
        # "its coordinates are the frame's, origin at the back plate's centre", moved ahead from the plate's rear face
        corners = (
            np.asarray(meshes[solid["file"]]).reshape(-1, 3)
            @ (tilted(solid.get("tilt_deg", 0)) @ turned(solid.get("turn_deg", 0))).T
        )
        corners = (corners + np.array([0, 0, solid.get("at_mm", 0.0)])) @ rotation.T + origin
        found = corners.reshape(-1, 9)
        start = sum(map(len, triangles))
        triangles.append(found)
        rows.append(row(MESH, np.eye(3), np.zeros(3), start, start + len(found)))
    glass = sorted((r for r in rows if r[0] in (SLAB, CLOSE_UP)), key=lambda r: r[12])
    dark = [r for r in rows if r[0] not in (SLAB, CLOSE_UP)]
    return np.array(dark + glass), np.concatenate([np.zeros((0, 9)), *triangles])


def _blades(flag, hood, rotation, origin):
    out, ahead = np.array(OUTWARD[flag["side"]]), np.array([0.0, 0.0, 1.0])
    upright = flag["side"] in ("top", "bottom")
    hinge = flag.get("hinge_mm", hood["front_mm"][1 if upright else 0] / 2 if hood else None)
    at = flag.get("at_mm", hood["at_mm"] + hood["depth_mm"] if hood else None)
    plates = [(flag["angle_deg"], flag["length_mm"])]
    if "extension" in flag:
        plates.append((flag["angle_deg"] + flag["extension"].get("angle_deg", 0.0), flag["extension"]["length_mm"]))
    rows = []
    for angle, length in plates:
        s, c = np.sin(np.radians(angle)), np.cos(np.radians(angle))
        along, inward = c * ahead + s * out, c * out - s * ahead
        axes = np.column_stack([np.cross(along, inward), along, inward])
        half, thick = flag["width_mm"] / 2, flag.get("thickness_mm", 1.5)
        rows.append(row(BLOCK, rotation @ axes, origin + rotation @ (hinge * out + at * ahead), -half, 0, 0, half, length, thick))
        hinge, at = hinge + length * s, at + length * c
    return rows


def guides_of(scene):
    """Each guide as (centre, half size) [mm], right and up in the picture."""
    camera = scene["camera"]
    width, height = camera["width_mm"], camera["height_mm"]
    centre = np.array(camera.get("offset_mm", (0.0, 0.0)), dtype=np.float64)
    if not camera.get("guide"):
        return [(centre, np.array([width, height]) / 2)]
    found = []
    for guide in camera["guide"]:
        wide = min(width, height * guide["aspect"]) * guide.get("scale", 1.0)
        half = np.array([wide, wide / guide["aspect"]]) / 2
        found.append((centre + guide.get("offset_mm", (0.0, 0.0)), half))
    return found
