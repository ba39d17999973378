"""Everything that a workshop asks of a box: parts, sheets, weights, wind. Values; no words, no files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from geometry.cantilever import plate_drag_n
from geometry.errors import GeometryError
from geometry.flats import Flat
from geometry.nesting import Laid, Piece, nested
from scenes.questions.make.joints import joints_of
from scenes.questions.make.made_part import Made, Parts
from scenes.questions.make.parts import parts_of
from scenes.questions.make.shapes import Cut, PlateShape
from scenes.questions.make.weights import Carried, carried
from scenes.rig.box import flag_name
from scenes.rig.rods_in_plate import RodMeeting, rods_in_plate
from scenes.runtime.progress import Tick, silent
from scenes.scene_file.catalogue import Material
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.make import Make
from scenes.scene_file.tables.scene import Scene
from scenes.states.load import Loaded
from scenes.states.state import State

AIR_KG_M3 = 1.225  # 15 degrees C at sea level, ISO 2533
DRAG, CAREFUL_DRAG = 1.2, 1.3  # flat plate square to the wind, side ratio up to 5, and up to 10: F. M. White, Fluid Mechanics
# Off square: the force across a plate keeps up down to some 45 degrees; on a nearly square one it may peak a quarter higher there.
# From memory: O. Flachsbart's measurements of 1932, as S. F. Hoerner, Fluid-Dynamic Drag, has them.


@dataclass(frozen=True, slots=True, kw_only=True)
class OnSheet:
    """A flat on a sheet: which part and cut, where it lies."""

    made: Made
    cut: Cut
    laid: Laid

    @property
    def flat(self) -> Flat:
        """Its lines where they lie on the sheet."""
        return self.cut.flat.laid(self.laid.left_mm, self.laid.low_mm, turned=self.laid.turned)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One sheet of stock with what is cut from it."""

    number: int
    material: Material
    thickness_mm: float
    size_mm: tuple[float, float]
    placed: tuple[OnSheet, ...]

    @property
    def used_share(self) -> float:
        """Share of the sheet that becomes parts."""
        return sum(one.cut.flat.area_mm2 for one in self.placed) / (self.size_mm[0] * self.size_mm[1])

    @property
    def offcut_mm(self) -> tuple[float, float]:
        """Width and height of a piece that would do, with the same room along its edges as the sheet."""
        right = max(one.laid.left_mm + one.laid.size_mm[0] for one in self.placed)
        high = max(one.laid.low_mm + one.laid.size_mm[1] for one in self.placed)
        return right + min(one.laid.left_mm for one in self.placed), high + min(one.laid.low_mm for one in self.placed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wind:
    """A flag and its extension in line, square to the wind: force by the usual and the careful drag [N], hinge moments [N m]."""

    name: str
    area_mm2: float
    force_n: float
    careful_n: float
    hinge_n_m: float
    careful_n_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bought:
    """Something that is not made here: what, how many, what for."""

    name: str
    count: int
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeReport:
    """The whole folder in values."""

    loaded: Loaded
    parts: Parts
    sheets: tuple[Sheet, ...]
    bought: tuple[Bought, ...]
    carried: tuple[Carried, ...]
    wind: tuple[Wind, ...]
    rods_in_plate: tuple[RodMeeting, ...]

    @property
    def make(self) -> Make:
        """How the scene wants it made."""
        return self.loaded.scene.make

    @property
    def all_clear(self) -> bool:
        """Whether every lens is clear in its states and between, as drawn and with the rods bent."""
        return all(box.clear and box.clear_bent for box in self.carried)


def make_report(show: Loaded, states: Sequence[State], tick: Tick = silent) -> MakeReport:
    """Parts, sheets, weights with each lens of the states, wind on the flags; SceneError where something cannot be made."""
    scene = show.scene
    try:
        parts = parts_of(scene, show.resources)
        if not parts.made:
            raise GeometryError(
                "the box has no part that could be made; give it a [box.back], [box.hood], [[box.mask]] or the like"
            )
        tick(1, "sheets")
        sheets = tuple(sheets_of(parts.made, scene.make))
    except GeometryError as error:
        raise SceneError([Complaint(where="make", problem=str(error), source=show.file_name)]) from None
    tick(1, "weights")
    return MakeReport(
        loaded=show,
        parts=parts,
        sheets=sheets,
        bought=tuple(bought_of(scene, parts.made)),
        carried=carried(states, parts.made),
        wind=tuple(wind_on(scene)),
        rods_in_plate=rods_in_plate(scene),
    )


def sheets_of(made: Sequence[Made], make: Make) -> Iterator[Sheet]:
    """Sheets of stock with all flats on them, material by material and thickness by thickness."""
    flats = sorted(((part, cut) for part in made for cut in part.cuts), key=lambda one: _stock(one[0]))
    number = 0
    for (_, thickness), group in groupby(flats, key=lambda one: _stock(one[0])):
        some = {f"{part.number} {cut.name}": (part, cut) for part, cut in group}
        material = next(iter(some.values()))[0].material
        size = make.sheet_mm or material.sheet_mm
        pieces = [Piece(name=name, width_mm=cut.flat.size_mm[0], height_mm=cut.flat.size_mm[1]) for name, (_, cut) in some.items()]
        laid = nested(pieces, size, gap_mm=make.gap_mm, margin_mm=make.margin_mm)
        for count in range(max(one.sheet for one in laid) + 1):
            number += 1
            placed = (OnSheet(made=some[o.piece.name][0], cut=some[o.piece.name][1], laid=o) for o in laid if o.sheet == count)
            yield Sheet(
                number=number,
                material=material,
                thickness_mm=thickness,
                size_mm=size,
                placed=tuple(sorted(placed, key=lambda one: (one.made.number, one.cut.name))),
            )


def _stock(part: Made) -> tuple[str, float]:
    return part.material.name, round(part.thickness_mm, 6)


def bought_of(scene: Scene, made: Sequence[Made]) -> Iterator[Bought]:
    """Filters, seals, hinges, screws, rods, meshes: counted, not drawn."""
    for stage in scene.box.stage:
        if stage.filter is not None:
            size = stage.filter.rectangle_mm
            words = f"{size[0]:g} x {size[1]:g}" if size is not None else f"{stage.filter.round_mm:g} round"
            yield Bought(
                name=f"filter, {words} x {stage.filter.thickness_mm:g} mm", count=1, note=stage.filter.name or stage.filter.kind
            )
    for seal in scene.box.seal:
        if seal.kind != "none":
            yield Bought(name=f"seal, {seal.kind}", count=1, note=seal.name or "between barrel and bore")
    hinges = sum(1 + (flag.extension is not None) for flag in scene.box.flag)
    if hinges:
        note = "two a flag and extension; yours to choose"
        yield Bought(name="friction hinge", count=2 * hinges, note=note)
    screws = sum({part.key: part.shape.screws for part in made if isinstance(part.shape, PlateShape)}.values())
    if screws:
        name = f"screw and nut for {plain(scene.make.screw_hole_mm)} mm holes"
        yield Bought(name=name, count=screws, note="four through each screwed stack of tray frames")
    for joint in joints_of(scene):
        note = f"{_apart_words(joint.apart_mm)}; yours to choose"
        yield Bought(name=f"joint, {joint.rear} to {joint.front}", count=1, note=note)
    if scene.box.mount != "clamp":
        yield Bought(name=f"rod, {scene.box.mount}", count=2, note="with a bracket for the back plate")
    for solid in scene.box.solid:
        yield Bought(name=f"mesh {solid.file}", count=1, note=solid.name or "as its own file has it")


def _apart_words(apart_mm: float) -> str:
    if apart_mm < 0:
        return f"{plain(-apart_mm)} mm into each other"
    return f"{plain(apart_mm)} mm apart" if apart_mm else "face to face"


def wind_on(scene: Scene) -> Iterator[Wind]:
    """Wind square on each flag with its extension in line: F = rho/2 v^2 Cd A at the middle, F length/2 about the hinge."""
    for flag in scene.box.flag:
        length = flag.length_mm + (flag.extension.length_mm if flag.extension else 0.0)
        area = length * flag.width_mm
        usual, careful = (plate_drag_n(area, scene.make.wind_m_s, drag, AIR_KG_M3) for drag in (DRAG, CAREFUL_DRAG))
        yield Wind(
            name=flag_name(flag),
            area_mm2=area,
            force_n=usual,
            careful_n=careful,
            hinge_n_m=usual * length / 2000,
            careful_n_m=careful * length / 2000,
        )


def set_ups(report: MakeReport) -> dict[tuple[str, ...], list[str]]:
    """Lenses by the numbers of the parts that are fitted with them."""
    found: dict[tuple[str, ...], list[str]] = {}
    for box in report.carried:
        fitted = tuple(part.number for part in report.parts.made if part.is_fitted(box.lens_name))
        found.setdefault(fitted, []).append(box.lens_name)
    return found
