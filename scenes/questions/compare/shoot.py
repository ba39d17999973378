"""`shoot.toml` beside a scene: the notes checked against it, the states that were shot, the values that were not measured."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from geometry.errors import GeometryError
from raytrace.optics.camera import PixelGrid
from scenes.io.reading import read_text
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import KeyPath, did_you_mean, key_words, shown
from scenes.scene_file.parse import read_model, read_toml
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, focal_lengths
from scenes.scene_file.tables.shoot import RECORDED, Picture, Shoot
from scenes.scene_file.tables.tolerance_paths import PathError
from scenes.scene_file.toml_lines import key_lines, line_of
from scenes.states.keys import Setting
from scenes.states.load import Loaded
from scenes.states.state import guides_of, pixel_grid, plan_state
from scenes.unknowns.unknown import Unknown, View
from scenes.unknowns.usual import unknowns_at

Complain = Callable[[KeyPath, str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot(View):
    """A picture of the notes with its state and the part of the sensor that it shows."""

    picture: Picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Notes:
    """The notes of a test shoot, checked: the lens, what was not measured, and the shots; `folder` is where the stills are."""

    lens: Lens
    unknowns: tuple[Unknown, ...]
    shots: tuple[Shot, ...]
    folder: Path
    file_name: str


def read_notes(show: Loaded, path: Path) -> Notes:
    """The notes at a path; SceneError with every complaint about them."""
    text = read_text(path)
    data = read_toml(text, path.name, Shoot)
    if not data:
        raise SceneError(
            [
                Complaint(
                    "", "holds no keys; name the lens, what was not measured, and a [[picture]] for each still", None, path.name
                )
            ]
        )
    shoot = read_model(Shoot, data, text, path.name)
    lines = key_lines(text)
    lens = next((lens for lens in show.scene.lens if lens.name == shoot.lens), None)
    found: list[Complaint] = []

    def complain(where: KeyPath, problem: str) -> None:
        found.append(Complaint(key_words(where, data), problem, line_of(where, lines), path.name))

    if lens is None:
        near = did_you_mean(shoot.lens, [lens.name for lens in show.scene.lens])
        complain(("lens",), f"names no lens of {show.file_name}, {shown(shoot.lens)}; {near}")
    unknowns = _unknowns(show.scene, shoot, complain)
    shots = [] if lens is None else [shot for k, one in enumerate(shoot.picture) for shot in _shots(show, lens, one, k, complain)]
    if found or lens is None:
        raise SceneError(found)
    return Notes(lens=lens, unknowns=unknowns, shots=tuple(shots), folder=path.parent, file_name=path.name)


def _unknowns(scene: Scene, shoot: Shoot, complain: Complain) -> tuple[Unknown, ...]:
    found: list[Unknown] = []
    for place, path in enumerate(shoot.unknown):
        try:
            found += unknowns_at(scene, path)
        except PathError as error:
            complain(("unknown", place), str(error))
    return tuple(found)


def _shots(show: Loaded, lens: Lens, picture: Picture, place: int, complain: Complain) -> Iterator[Shot]:
    grid = pixel_grid(show.scene.camera)
    area = _area(show.scene, picture.covers)
    if area is None:
        names = [RECORDED, *(guide.name for guide in show.scene.camera.guide)]
        complain(
            ("picture", place, "covers"),
            f"names no guide of {show.file_name}, {shown(picture.covers)}; {did_you_mean(picture.covers, names)}",
        )
        return
    known = focal_lengths(lens)
    if picture.focal_mm is None and len(known) > 1:
        complain(("picture", place, "focal_mm"), f"is missing; the {lens.name} is a zoom: write the focal length it was set to")
        return
    setting = Setting(focal_mm=picture.focal_mm or known[0], focus_mm=float(picture.focus_mm), f_number=picture.f_number)
    if picture.f_number < 0.99 * lens.f_number:
        complain(("picture", place, "f_number"), f"is wider than the lens opens, f/{lens.f_number:g}, got {picture.f_number:g}")
        return
    try:
        state = plan_state(show.scene, lens, show.resources, setting, grid=grid, guides=guides_of(show.scene.camera, grid))
    except GeometryError as error:
        complain(("picture", place), str(error))
        return
    yield Shot(picture=picture, state=state, area=area)


def _area(scene: Scene, covers: str) -> PixelGrid | None:
    """The part of the sensor that a still shows, on no particular pixels; None where no guide has that name."""
    grid = pixel_grid(scene.camera)
    if covers == RECORDED:
        return grid
    guide = next((guide for guide in guides_of(scene.camera, grid) if guide.name == covers), None)
    if guide is None:
        return None
    width, height = 2 * guide.half_width_mm, 2 * guide.half_height_mm
    columns = max(1, round(grid.columns * width / grid.width_mm))
    return PixelGrid(
        width_mm=width, height_mm=height, columns=columns, rows=max(1, round(columns * height / width)), offset_mm=guide.centre_mm
    )
