"""The whole scene file, version 1, as frozen values; and what a scene says about one lens."""

import math
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from itertools import product
from typing import Any

from scenes.scene_file.messages import did_you_mean, plain, shown
from scenes.scene_file.tables.box import ONE_PER_LENS, PART_KEYS, Box, box_parts, fitted, is_fitted
from scenes.scene_file.tables.camera import Camera
from scenes.scene_file.tables.design import Design
from scenes.scene_file.tables.design_faults import design_faults
from scenes.scene_file.tables.fields import CLOSE, INFINITY, Fault, Focus, Table, focus, part, quantity, text
from scenes.scene_file.tables.lens import Lens, focal_lengths, nearest_focus_mm
from scenes.scene_file.tables.light import Light
from scenes.scene_file.tables.make import Make, make_faults
from scenes.scene_file.tables.plan import Plan
from scenes.scene_file.tables.tolerance import Tolerance
from scenes.scene_file.tables.tolerance_paths import tolerance_faults

SCENE_VERSION = 1
FOLDER_BREAKS = re.compile(r"[^\w.+-]+")
NEAREST_FOCUS_IN_FOCAL_LENGTHS = 4.0  # D = f (2 + m + 1/m) is least, 4 f, at life size


class Check(Table):
    """What `brimline check` computes for every lens."""

    f_numbers: tuple[float, ...] = quantity(
        "F-numbers to check. With a lens that does not open so far, its widest stands in.",
        0.5,
        128.0,
        (),
        default_words="each lens's widest",
    )
    focus_mm: tuple[Focus, ...] = focus(
        'Focus distances from the image plane to check; "infinity", and "close" for each lens\'s own nearest focus. '
        "Left out: both, the nearest where close_focus_mm, else a state row, and front_to_sensor_mm tell it.",
        (math.inf, CLOSE),
        words=(INFINITY, CLOSE),
    )
    visible_loss_stops: float = quantity("Loss of light that counts as visible.", 0.001, 3.0, 0.1, unit="stops")

    def faults(self) -> Iterator[Fault]:
        """A check has something to check, nothing twice."""
        if not self.focus_mm:
            yield ("focus_mm",), f'must give at least one focus, such as ["{INFINITY}"]; or leave it out'
        for key in ("f_numbers", "focus_mm"):
            values = getattr(self, key)
            if len(set(values)) < len(values):
                yield (key,), "gives one value twice"


class Scene(Table):
    """A show: camera, lenses, box, lights, and what to check."""

    brimline: int = quantity("Version of the scene file format.", 1, 1)
    title: str = text("What this scene is, for the heading of every result.", "", longest=120)
    camera: Camera = part("The camera.")
    lens: tuple[Lens, ...] = part("The lens set.")
    box: Box = part("The light-control box; every part of it is optional.")
    light: tuple[Light, ...] = part("Lights that must not reach the glass, or whose ghosts are asked for.", ())
    check: Check = part("What to check.", Check())
    tolerance: tuple[Tolerance, ...] = part("What may come out otherwise than written, for `brimline tolerances`.", ())
    plan: Plan = part("What `brimline plan` reckons with.", Plan())
    design: Design | None = part("What `brimline design` may change in the box, and what it is to be.", None)
    make: Make = part("What `brimline make` makes the box from, and how it draws it.", Make())

    def faults(self) -> Iterator[Fault]:
        """What parts, lenses and checks must agree on."""
        if not self.lens:
            yield ("lens",), "must hold at least one lens"
        yield from _repeated_names(self.lens, "lens")
        yield from _repeated_names(self.light, "light")
        yield from _unknown_lenses(self)
        yield from _parts_in_one_place(self)
        yield from _hingeless_flags(self)
        yield from _seals_without_room(self)
        yield from tolerance_faults(self, self.tolerance)
        if self.design is not None:
            yield from design_faults(self, self.design, [light.name for light in self.light])
        yield from make_faults(self.box, self.make)
        for place, lens in enumerate(self.lens):
            yield from _focus_faults(self.check, lens, place)


def folder_name(name: str) -> str:
    """A lens's name as results use it in file names; lenses must differ in it, upper and lower case apart."""
    return FOLDER_BREAKS.sub("-", name).strip("-.") or "lens"


def _repeated_names(items: tuple[Any, ...], key: str) -> Iterator[Fault]:
    seen: dict[str, str] = {}
    for place, item in enumerate(items):
        name = folder_name(unicodedata.normalize("NFC", item.name)).casefold()  # systems and people do not tell these apart
        if name in seen:
            found = "is used twice" if seen[name] == item.name else f"must differ more from {shown(seen[name])}"
            yield (key, place, "name"), f"{found}, got {shown(item.name)}; give each {key} its own name"
        seen.setdefault(name, item.name)


def unknown_lens_faults(names: Sequence[str], fittings: Iterable[tuple[str, int, Iterable[str]]]) -> Iterator[Fault]:
    """Lens names in parts (their key, their place, the names they give) that no lens of the scene has."""
    for key, place, wanted in fittings:
        for name in wanted:
            if name not in names:
                problem = f"names a lens that is not in this scene, {shown(name)}; {did_you_mean(name, names)}"
                yield ("box", key, place, "lenses"), problem


def _unknown_lenses(scene: Scene) -> Iterator[Fault]:
    fittings = ((key, place, item.lenses or ()) for key, place, item in box_parts(scene.box))
    return unknown_lens_faults([lens.name for lens in scene.lens], fittings)


def _parts_in_one_place(scene: Scene) -> Iterator[Fault]:
    """Back plate, seal and hood: at most one of each with any lens."""
    for key in ONE_PER_LENS:
        items = getattr(scene.box, key)
        for lens in scene.lens:
            places = [place for place, item in enumerate(items) if is_fitted(item, lens.name)]
            if len(places) > 1:
                yield (
                    ("box", key, places[1]),
                    f"is a second {key} with lens {shown(lens.name)}; say with `lenses` which one each is for",
                )
                break


def _hingeless_flags(scene: Scene) -> Iterator[Fault]:
    """A flag without its own hinge needs a hood to hang on, with every lens it is fitted with."""
    for place, flag in enumerate(scene.box.flag):
        if flag.hinge_mm is not None and flag.at_mm is not None:
            continue
        missing = "hinge_mm" if flag.hinge_mm is None else "at_mm"
        for lens in scene.lens:
            if is_fitted(flag, lens.name) and not fitted(scene.box.hood, lens.name):
                problem = (
                    f"is missing; with lens {shown(lens.name)} there is no hood whose front edge it could hang on: "
                    "give hinge_mm and at_mm, or a [box.hood]"
                )
                yield ("box", "flag", place, missing), problem
                break


def _seals_without_room(scene: Scene) -> Iterator[Fault]:
    """A seal lies between the barrel and the bore, so it must be wider outside than inside with every lens."""
    for (seal_place, seal), (back_place, back) in product(enumerate(scene.box.seal), enumerate(scene.box.back)):
        with_both = [lens for lens in scene.lens if is_fitted(seal, lens.name) and is_fitted(back, lens.name)]
        if seal.kind == "none" or not with_both:
            continue
        widest = max(with_both, key=lambda lens: lens.front_diameter_mm)
        inner, outer = seal.inner_mm or widest.front_diameter_mm, seal.outer_mm or back.bore_mm
        who = f"lens {shown(widest.name)}"
        if inner >= outer and seal.inner_mm is None and seal.outer_mm is None:
            rule = f"must be wider than the barrel of {who}, {plain(inner)} mm, for a seal between them"
            way_out = 'bore it wider, or say kind = "none" in the seal'
            yield ("box", "back", back_place, "bore_mm"), f"{rule}, got {plain(outer)}; {way_out}"
        elif inner >= outer:
            found = f"with {who} got {plain(inner)} mm inside, {plain(outer)} outside"
            problem = f"must be wider outside than inside, {found}; change inner_mm or outer_mm, or leave them out"
            yield ("box", "seal", seal_place), problem


def _focus_faults(check: Check, lens: Lens, place: int) -> Iterator[Fault]:
    if "focus_mm" not in check.model_fields_set:
        return
    for distance in check.focus_mm:
        problem = _focus_problem(distance, lens)
        if problem is not None:
            yield ("check", "focus_mm") if problem[0] is None else ("lens", place, problem[0]), problem[1]
            return


def _focus_problem(distance: Focus, lens: Lens) -> tuple[str | None, str] | None:
    """What keeps a lens from this focus: the lens's key at fault (None: the check itself) and the sentence."""
    if distance == CLOSE:
        nearest = nearest_focus_mm(lens)
        if nearest is None:
            return "close_focus_mm", 'is missing; check.focus_mm asks for "close": write the nearest focus from the image plane'
        distance = nearest
    if distance == math.inf or not isinstance(distance, float):
        return None
    who, wanted = f"with lens {shown(lens.name)}", f"got {plain(distance)}"
    if lens.front_to_sensor_mm is None:
        return (
            "front_to_sensor_mm",
            f"is missing; the finite focus {plain(distance)} in check.focus_mm needs it: measure from front rim to image plane",
        )
    if distance <= lens.front_to_sensor_mm:
        length = plain(lens.front_to_sensor_mm)
        rule = f"must lie beyond the front rim, {length} mm from the image plane {who}, {wanted}"
        return None, f"{rule}; focus counts from the image plane"
    if lens.close_focus_mm is not None and distance < lens.close_focus_mm:
        near = plain(lens.close_focus_mm)
        return None, f'must not be nearer than close_focus_mm = {near} {who}, {wanted}; "close" stands for each lens\'s own'
    return _beyond_life_size(distance, lens, f"{who}, {wanted}")


def _beyond_life_size(distance: float, lens: Lens, words: str) -> tuple[str | None, str] | None:
    least = NEAREST_FOCUS_IN_FOCAL_LENGTHS * max(focal_lengths(lens))
    if distance >= least or any(row.half_field_deg is not None for row in lens.state):
        return None
    return None, f"must be at least 4 focal lengths, {plain(least)} mm, {words}; or give half_field_deg in state rows"


def f_numbers_of(scene: Scene, lens: Lens) -> tuple[float, ...]:
    """F-numbers checked with this lens: those of [check], its widest in place of any that it does not open to.

    Skipping those instead would leave the widest beam unchecked.
    """
    return tuple(dict.fromkeys(max(stop, lens.f_number) for stop in scene.check.f_numbers)) or (lens.f_number,)


def focus_distances_of(scene: Scene, lens: Lens, focal_mm: float | None = None) -> tuple[float, ...]:
    """Focus distances checked with this lens at a focal length, its shortest where none is given [mm from the image plane].

    Infinity is math.inf. Where [check] names none: infinity, and the nearest focus if the scene tells enough to look at it.
    """
    near = nearest_focus_mm(lens) or math.inf
    if "focus_mm" not in scene.check.model_fields_set:
        shortest = focal_lengths(lens)[0] if focal_mm is None else focal_mm
        return tuple(distance for distance in dict.fromkeys((math.inf, near)) if can_focus(lens, shortest, distance))
    distances = (near if isinstance(distance, str) else distance for distance in scene.check.focus_mm)
    return tuple(dict.fromkeys(distances))


def can_focus(lens: Lens, focal_mm: float, focus_mm: float) -> bool:
    """Whether the scene tells enough of a lens to look at a focus distance."""
    if math.isinf(focus_mm):
        return True
    if lens.front_to_sensor_mm is None or focus_mm <= lens.front_to_sensor_mm:
        return False
    return focus_mm >= NEAREST_FOCUS_IN_FOCAL_LENGTHS * focal_mm or any(row.half_field_deg is not None for row in lens.state)


def box_for(scene: Scene, lens: Lens) -> Box:
    """The box as it is with this lens: only the parts fitted with it, placed where this lens wants it."""
    parts = {key: fitted(getattr(scene.box, key), lens.name) for key in PART_KEYS}
    placement = {key: value for key, value in lens.box if value is not None}
    return scene.box.model_copy(update={**parts, **placement})


__all__ = [
    "SCENE_VERSION",
    "Box",
    "Camera",
    "Check",
    "Design",
    "Lens",
    "Light",
    "Make",
    "Plan",
    "Scene",
    "Tolerance",
    "box_for",
    "can_focus",
    "f_numbers_of",
    "focal_lengths",
    "focus_distances_of",
]
