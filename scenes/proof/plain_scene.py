"""A scene as a proof's verifier reads it: lens, guide, openings, boards and glass from the file's own tables, by itself.

Takes nothing from the rest of the program but its catalogues, so that a slip in either is seen. Lengths in mm, the frame of
docs/nomenclature.md: x to the operator's left, y up, z toward the scene, origin in the lens front.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenes.proof.distortion import check_folds
from scenes.proof.errors import NotProvableError

FloatArray = NDArray[np.float64]
Table = Mapping[str, Any]

DATA = Path(__file__).parents[1] / "data"
ENDLESS_MM = 4000.0  # radius of what leaves no way round; the verifier holds the beam to be narrower
DRAWN_OUTER_SIDES = 6  # tangents of a donut's inner half
HONEST_SHARE = 1.1025  # by which a stated field may be narrower than its focal length says


@dataclass(frozen=True, slots=True)
class Lens:
    """A lens at a setting: depths ((least, most) across, upright) of its pupil, half sizes of it, plane in focus, its front ring.

    focals(depth across, depth upright) are the lengths by which picture points have to be divided for the tangents of the field,
    if it is rectilinear; distortion (k1, k2) is on top of the projection, 1 at the half diagonal. walk: rows of a pupil that walks
    with the field, by degrees: depth, tangential and sagittal size; the first depth is that on the axis.
    """

    depths: tuple[tuple[float, float], tuple[float, float]]
    half_sizes: tuple[float, float]
    object_z: float
    ring: float
    focals: Callable[[float, float], tuple[float, float]]
    projection: str = "rectilinear"
    distortion: tuple[float, float] = (0.0, 0.0)
    half_diagonal: float = 1.0
    walk: tuple[tuple[float, float, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Loop:
    """An opening in a plane: axes (3, 3) by columns, centre, half width, half height, corner radius; outside of the material."""

    axes: FloatArray
    centre: FloatArray
    opening: tuple[float, float, float]
    outside: tuple[float, float]
    round_outside: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """Material round openings, rear to front, each joined to the next by straight walls; or a board by its corners (8, 3)."""

    name: str
    loops: tuple[Loop, ...] = ()
    corners: FloatArray | None = None
    endless: bool = False


@dataclass(frozen=True, slots=True)
class Plate:
    """A filter: axes (3, 3) by columns, centre, thickness, index, half sizes of its outline; round_ if these are of a circle."""

    axes: FloatArray
    centre: FloatArray
    thickness: float
    index: float
    half: tuple[float, float]
    round_: bool


@dataclass(frozen=True, slots=True)
class Setting:
    """A state of a scene with one guide: the rectangle ((left, right), (low, high)) of the picture in the frame's x and y."""

    lens: Lens
    rectangle: tuple[tuple[float, float], tuple[float, float]]
    parts: tuple[Part, ...]
    plates: tuple[Plate, ...]


def setting_of(scene: Table, lens_name: str, guide: str, focal: float, focus: float, f_number: float) -> Setting:
    """What a scene's tables say of a lens at a setting (focus: inf for infinity). NotProvableError; KeyError for unknown names."""
    lens = next((lens for lens in scene["lens"] if lens["name"] == lens_name), None)
    camera = {**scene["camera"], **_size(scene["camera"])}
    if lens is None:
        raise KeyError(f"lens {lens_name}")
    rows = tables_of(lens, "state")
    travel = _between(rows, "front_travel_mm", focal, focus) or 0.0
    box = {**scene["box"], **lens.get("box", {})}
    box = {key: _fitted(box, key, lens_name) if key in KEYS else value for key, value in box.items()}
    seen = _lens(lens, rows, camera, focal, focus, f_number, travel)
    return Setting(seen, _rectangle(camera, guide), *_box(box, lens, travel))


# ---- camera and lens ----


def _size(camera: Table) -> Table:
    if "format" not in camera:
        return {}
    row = _catalogue("formats", "format", camera["format"])
    return {"width_mm": camera.get("width_mm", row["width_mm"]), "height_mm": camera.get("height_mm", row["height_mm"])}


def _catalogue(file: str, key: str, name: str) -> Table:
    return next(row for row in tomllib.loads((DATA / f"{file}.toml").read_text(encoding="utf-8"))[key] if row["name"] == name)


def _rectangle(camera: Table, guide: str) -> tuple[tuple[float, float], tuple[float, float]]:
    width, height, (right, up) = camera["width_mm"], camera["height_mm"], camera.get("offset_mm", (0.0, 0.0))
    if sum(one["name"] == guide for one in tables_of(camera, "guide")) > 1:
        raise KeyError(f"two guides {guide}")
    for one in tables_of(camera, "guide"):
        if one["name"] == guide:
            more, scale, aspect = one.get("offset_mm", (0.0, 0.0)), one.get("scale", 1.0), one["aspect"]
            width, right, up = min(width, height * aspect) * scale, right + more[0], up + more[1]
            height = width / aspect
            break
    else:
        if "guide" in camera:
            raise KeyError(f"guide {guide}")
    return (-right - width / 2, -right + width / 2), (up - height / 2, up + height / 2)


def _between(rows: list[Table], key: str, focal: float, focus: float, pick: int | None = None) -> float | None:
    """A value of a lens's rows: straight along the focal length, then along 1 / focus."""
    found: dict[float, list[tuple[float, float]]] = {}
    for row in rows:
        if key in row:
            value = row[key] if pick is None else _four(row[key])[pick]
            found.setdefault(1.0 / focus_of(row.get("focus_mm", "infinity")), []).append((row.get("focal_mm", focal), value))
    if not found:
        return None
    near = sorted(found)
    values = [float(np.interp(focal, *np.array(sorted(found[at])).T)) for at in near]
    return float(np.interp(1.0 / focus, near, values))


def focus_of(value: float | str) -> float:
    """A focus distance of a scene: inf for its word."""
    return math.inf if isinstance(value, str) else float(value)


def _four(depth: Any) -> tuple[float, float, float, float]:
    """(across least, most, upright least, most) of a pupil depth as scenes write it."""
    ways = (depth["horizontal"], depth["vertical"]) if isinstance(depth, dict) else (depth, depth)
    ends = [(way[0], way[-1]) if isinstance(way, list) else (way, way) for way in ways]
    return (*ends[0], *ends[1])


def _lens(lens: Table, rows: list[Table], camera: Table, focal: float, focus: float, f_number: float, travel: float) -> Lens:
    if "prescription" in lens:
        raise NotProvableError("it is traced through its prescription")
    projection, distortion = lens.get("projection", "rectilinear"), tuple(lens.get("distortion", (0.0, 0.0)))
    walk = tuple((row[0], row[1], row[2], row[3]) for row in lens.get("pupil_walk", ()))
    bent = projection != "rectilinear" or any(distortion)
    check_folds(distortion, camera)
    if (bent or walk) and lens.get("squeeze", 1.0) != 1.0:
        raise NotProvableError("it is anamorphic, and its picture is distorted or its pupil walks")
    if bent and any("half_field_deg" in row for row in rows):
        raise NotProvableError("its picture is distorted, and its half field is stated")
    focals = {row["focal_mm"] for row in rows if "focal_mm" in row} or {lens["focal_mm"]}
    if focal not in focals or f_number < lens["f_number"]:
        raise KeyError(f"setting {focal:g} mm f/{f_number:g}")
    inner = [_between(rows, "pupil_behind_front_mm", focal, focus, pick) for pick in range(4)]
    if walk:
        inner = [walk[0][1]] * 4
    h0, h1, v0, v1 = _four(lens["pupil_behind_front_mm"]) if inner[0] is None else [float(value or 0.0) for value in inner]
    if math.isfinite(focus) and (h0, v0) != (h1, v1) and (h0, h1) != (v0, v1):
        raise NotProvableError("both of its pupils are known within bounds only")
    if math.isfinite(focus) and bent and (h0, v0) != (h1, v1):
        raise NotProvableError("its picture is distorted, and its pupil known within bounds only")
    if walk and lens.get("pupil_width_factor", 1.0) != 1.0:
        raise NotProvableError("its pupil walks, and is not round")
    squeeze, length = lens.get("squeeze", 1.0), lens.get("front_to_sensor_mm", 0.0) + travel
    radius = focal / f_number / 2
    return Lens(
        depths=((h0, h1), (v0, v1)),
        half_sizes=(radius * lens.get("pupil_width_factor", 1.0 / squeeze), radius),
        object_z=focus - length,
        ring=lens.get("front_glass_mm", math.inf) / 2,
        focals=_focals(lens, rows, camera, focal, focus, length),
        projection=projection,
        distortion=distortion,
        half_diagonal=math.hypot(camera["width_mm"], camera["height_mm"]) / 2,
        walk=walk,
    )


def _focals(
    lens: Table, rows: list[Table], camera: Table, focal: float, focus: float, length: float
) -> Callable[[float, float], tuple[float, float]]:
    """By its focal length, as a thin lens or by its pupil magnification; or by the half field that a row states here."""
    squeeze, p = lens.get("squeeze", 1.0), _between(rows, "pupil_magnification", focal, focus)
    p = lens.get("pupil_magnification") if p is None else p
    stating = any("half_field_deg" in row for row in rows)
    here = [row for row in rows if row.get("focal_mm", focal) == focal and focus_of(row.get("focus_mm", "infinity")) == focus]
    if stating and not here:
        raise NotProvableError("its field is held from another focal length or focus")

    def guessed(depth: float) -> float:
        if math.isinf(focus):
            return float(focal)
        apart = 0.0 if p is None else length - depth - 2.0 * focal + focal / p
        moved = p is not None and "front_to_sensor_mm" in lens and focus - apart >= 4.0 * focal
        b = max((focus - (apart if moved else 0.0)) / focal, 4.0 if stating else 0.0) - 2.0
        m = 2.0 / (b + math.sqrt(b * b - 4.0))
        return float(focal * (1.0 + m / p)) if moved and p is not None else min(m * (focus - length + depth), float(focal))

    def focals(across: float, upright: float) -> tuple[float, float]:
        guess = guessed(upright)
        if not stating:
            return guess / squeeze, guess
        turned = 1.0 if math.isinf(focus) else (focus - length + across) / (focus - length + upright)
        field = here[0]["half_field_deg"]
        ways = field if isinstance(field, dict) else {"horizontal": field}
        wide = squeeze * camera["width_mm"] / 2 / (math.tan(math.radians(ways["horizontal"])) * turned)
        high = camera["height_mm"] / 2 / math.tan(math.radians(ways["vertical"])) if "vertical" in ways else wide
        if max(wide, high) > HONEST_SHARE * guess:
            raise NotProvableError("its stated half field is much narrower than its focal length says")
        return wide / squeeze, high

    return focals


# ---- the box ----

KEYS = ("back", "seal", "stage", "mask", "hood", "flag", "solid")
OUTWARD = {"top": (0.0, 1.0, 0.0), "bottom": (0.0, -1.0, 0.0), "left": (1.0, 0.0, 0.0), "right": (-1.0, 0.0, 0.0)}
AHEAD = np.array([0.0, 0.0, 1.0])


def tables_of(table: Table, key: str) -> list[Table]:
    """The tables of a key that may stand once or several times."""
    found = table.get(key, [])
    return [found] if isinstance(found, dict) else list(found)


def _fitted(box: Table, key: str, lens_name: str) -> list[Table]:
    return [part for part in tables_of(box, key) if lens_name in part.get("lenses", (lens_name,))]


def _turn(turn_deg: float, tilt_deg: float) -> FloatArray:
    a, b = math.radians(turn_deg), math.radians(tilt_deg)
    turn = np.array([[math.cos(a), -math.sin(a), 0.0], [math.sin(a), math.cos(a), 0.0], [0.0, 0.0, 1.0]])
    return np.array([[1.0, 0.0, 0.0], [0.0, math.cos(b), -math.sin(b)], [0.0, math.sin(b), math.cos(b)]]) @ turn


@dataclass(frozen=True, slots=True)
class _Place:
    """Where the box stands; `at` gives axes and centre of a part of it."""

    axes: FloatArray
    origin: FloatArray

    def at(self, part: Table, middle_mm: float) -> tuple[FloatArray, FloatArray]:
        axes = self.axes @ _turn(part.get("turn_deg", 0.0), part.get("tilt_deg", 0.0))
        return axes, self.axes @ (middle_mm * AHEAD) + self.origin


def _box(box: Table, lens: Table, travel: float) -> tuple[tuple[Part, ...], tuple[Plate, ...]]:
    if box.get("solid"):
        raise NotProvableError("its box holds a mesh")
    thick = box["back"][0].get("thickness_mm", 4.0) if box.get("back") else 0.0
    ahead = box.get("ahead_mm", 0.0) - (0.0 if box.get("mount") == "clamp" else travel)
    axes, (right, up) = _turn(0.0, box.get("tilt_deg", 0.0)), box.get("offset_mm", (0.0, 0.0))
    place = _Place(axes, thick / 2 * AHEAD - axes @ (thick / 2 * AHEAD) + np.array([-right, up, ahead]))
    parts = tuple(_parts(box, lens, place, ahead))
    plates = [_plate(stage, place) for stage in box.get("stage", ()) if "filter" in stage]
    return parts, tuple(sorted(plates, key=lambda plate: float(plate.centre[2])))


def _parts(box: Table, lens: Table, place: _Place, ahead: float) -> Iterator[Part]:
    for back in box.get("back", ()):
        thick, bore = back.get("thickness_mm", 4.0), back["bore_mm"] / 2
        yield _tube("back plate", back, place, 0.0, thick, (bore,) * 3, (back["width_mm"] / 2, back["height_mm"] / 2))
        for seal in box.get("seal", ()):
            if seal["kind"] != "none":
                radii = seal.get("inner_mm", lens["front_diameter_mm"]) / 2, seal.get("outer_mm", 2 * bore) / 2
                yield _seal(seal, place, radii, thick, ahead)
    for number, stage in enumerate(box.get("stage", ()), 1):
        yield _tube(f"stage {number}", stage, place, stage["at_mm"], stage["depth_mm"], _opening(stage), _outer(stage))
    for mask in box.get("mask", ()):
        yield _tube("mask", mask, place, mask["at_mm"], mask.get("thickness_mm", 1.0), _opening(mask), _outer(mask))
    for hood in box.get("hood", ()):
        yield _hood(hood, place)
    for flag in box.get("flag", ()):
        yield from _flag(flag, box.get("hood", ()), place)


def _opening(part: Table) -> tuple[float, float, float]:
    if "outline" in part:
        raise NotProvableError(f"the opening of its {part.get('name', 'mask')} is a drawing")
    if "opening_diameter_mm" in part:
        return (part["opening_diameter_mm"] / 2,) * 3
    return part["opening_mm"][0] / 2, part["opening_mm"][1] / 2, part.get("corner_mm", 0.0)


def _outer(part: Table) -> tuple[float, float] | None:
    return (part["outer_mm"][0] / 2, part["outer_mm"][1] / 2) if "outer_mm" in part else None


Opening = tuple[float, float, float]


def _tube(
    name: str, part: Table, place: _Place, at: float, depth: float, opening: Opening, outside: tuple[float, float] | None
) -> Part:
    """A plate or tunnel: the same opening at both faces."""
    axes, centre = place.at(part, at + depth / 2)
    faces = [centre + axes @ (z * AHEAD) for z in (-depth / 2, depth / 2)]
    endless = outside is None
    loops = tuple(Loop(axes, face, opening, outside or (ENDLESS_MM, ENDLESS_MM), round_outside=endless) for face in faces)
    return Part(part.get("name", name), loops, endless=endless)


def _seal(seal: Table, place: _Place, radii: tuple[float, float], thick: float, ahead: float) -> Part:
    inner, outer = radii
    rear = 0.0 if seal["kind"] == "ring" else min(0.0, -ahead - 5.0)
    axes, centre = place.at({}, (rear + thick) / 2)
    half, middle, swell = (thick - rear) / 2, (outer + inner) / 2, (outer - inner) / 2
    if seal["kind"] == "ring":
        rows = [(-half, inner, outer), (half, inner, outer)]
    elif seal["kind"] == "bellows":
        wall = min(1.0, swell)
        rows = [(-half, inner, inner + wall), (half, outer - wall, outer)]
    else:  # an oval section, held by tangents round its inner half
        step = math.pi / DRAWN_OUTER_SIDES
        turns = [step * (k + 0.5) - math.pi / 2 for k in range(DRAWN_OUTER_SIDES)]
        rows = [(half * math.sin(t) / math.cos(step / 2), middle - swell * math.cos(t) / math.cos(step / 2), outer) for t in turns]
    oval = seal["kind"] == "donut"
    loops = [Loop(axes, centre + axes @ (z * AHEAD), (a, a, a), (b, b), round_outside=not oval) for z, a, b in rows]
    return Part(seal.get("name", "seal"), tuple(loops))


def _hood(hood: Table, place: _Place) -> Part:
    depth, wall = hood["depth_mm"], hood.get("thickness_mm", 1.5)
    axes, centre = place.at({}, hood["at_mm"] + depth / 2)
    rear, front = np.array(hood["rear_mm"]) / 2, np.array(hood["front_mm"]) / 2
    rim = wall * np.hypot(1.0, (front - rear) / depth)
    ends = [(-depth / 2, rear), (depth / 2, front)]
    loops = [Loop(axes, centre + axes @ (z * AHEAD), (float(s[0]), float(s[1]), 0.0), tuple(s + rim)) for z, s in ends]
    return Part(hood.get("name", "hood"), tuple(loops))


def _flag(flag: Table, hoods: list[Table], place: _Place) -> Iterator[Part]:
    out, at = flag.get("hinge_mm"), flag.get("at_mm")
    if out is None:
        out = hoods[0]["front_mm"][1 if flag["side"] in ("top", "bottom") else 0] / 2
    if at is None:
        at = hoods[0]["at_mm"] + hoods[0]["depth_mm"]
    angle, thick, name = math.radians(flag["angle_deg"]), flag.get("thickness_mm", 1.5), flag.get("name", f"{flag['side']} flag")
    outward, more = np.array(OUTWARD[flag["side"]]), flag.get("extension")

    def board(out_mm: float, at_mm: float, angle: float, length: float) -> FloatArray:
        along, off = math.cos(angle) * AHEAD + math.sin(angle) * outward, math.cos(angle) * outward - math.sin(angle) * AHEAD
        across, hinge = np.cross(outward, AHEAD) * flag["width_mm"] / 2, out_mm * outward + at_mm * AHEAD
        corners = [hinge + w * across + a * length * along + t * thick * off for w in (-1, 1) for a in (0, 1) for t in (0, 1)]
        return np.array(corners) @ place.axes.T + place.origin

    length = flag["length_mm"]
    yield Part(name, corners=board(out, at, angle, length))
    if more:
        far = out + length * math.sin(angle), at + length * math.cos(angle)
        yield Part(f"{name} extension", corners=board(*far, angle + math.radians(more.get("angle_deg", 0.0)), more["length_mm"]))


def _plate(stage: Table, place: _Place) -> Plate:
    glass = stage["filter"]
    if glass.get("kind") == "close-up":
        raise NotProvableError("a close-up lens bends its light")
    size = _catalogue("filters", "filter", glass["size"]) if "size" in glass else glass
    is_round = "diameter_mm" in size
    half = (size["diameter_mm"] / 2,) * 2 if is_round else (size["width_mm"] / 2, size["height_mm"] / 2)
    axes, centre = place.at(stage, stage["at_mm"] + stage["depth_mm"] / 2)
    return Plate(axes, centre, glass.get("thickness_mm", 4.0), glass.get("index", 1.5168), half, is_round)
