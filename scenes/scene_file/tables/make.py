"""The make table of a scene file: what the box is made of and from which sheets, how it is drawn, and what carries it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

from scenes.scene_file.catalogue import Material, materials
from scenes.scene_file.messages import did_you_mean, plain, shown
from scenes.scene_file.tables.box import Box, box_parts
from scenes.scene_file.tables.fields import Fault, Table, choice, mm, part, quantity, text

Joint = Literal["bend", "tabs", "panels"]
Paper = Literal["a4", "a3", "letter"]
Projection = Literal["first", "third"]

LEAST_BETWEEN_MM = 0.2  # of material beside a hole: thinner, and it falls out when it is cut

KINDS = {"back": "back plate", "seal": "seal", "stage": "stage", "mask": "mask", "hood": "hood", "flag": "flag", "solid": "solid"}


class OwnMaterial(Table):
    """A material of your own, by its data sheet."""

    name: str = text("What `material` calls it.")
    density_g_cm3: float = quantity("Density.", 0.01, 25.0, unit="g/cm3")
    modulus_gpa: float | None = quantity("Young's modulus, for rods.", 0.01, 1500.0, None, unit="GPa")
    bend_radius_mm: float | None = mm("Inside radius that it may be bent to; left out: it is not bent.", 0.0, 100.0, None)
    source: str = text("Where the numbers are from.", "your own value", longest=120)


class MakePart(Table):
    """A part made of something else, or joined otherwise, than the rest of the box."""

    of: str = text('The part, by its name or what it is: "hood", "rear tray", "top flag", "back plate".')
    material: str | None = text("Its material.", None)
    joint: Joint | None = choice("How the walls of a hood are joined.", None)
    bend_radius_mm: float | None = mm("Inside radius of its bends.", 0.0, 100.0, None)


class Hole(Table):
    """A round hole in a back plate: for rods, bolts, a bracket. Holes in other parts are not drawn."""

    of: str = text("The back plate, by its name or what it is.", "back plate")
    at_mm: tuple[float, float] = mm("Its middle from the plate's middle: right and up as the operator sees it.", -1000.0, 1000.0)
    diameter_mm: float = mm("Diameter.", 0.5, 300.0)


class Make(Table):
    """What `brimline make` makes the box from, and how it draws it; every key is optional."""

    material: str = text("Material of all parts, but those that say otherwise (`brimline list materials`).", "aluminium-5083")
    joint: Joint | None = choice(
        "How a hood's walls are joined: bent from one sheet, folded from one on scored lines with a tab, or four panels.",
        None,
    )
    bend_radius_mm: float | None = mm(
        "Inside radius of bends.", 0.0, 100.0, None, default_words="the least that the material takes"
    )
    k_factor: float | None = quantity(
        "Share of the thickness at which a bend neither stretches nor shrinks.", 0.2, 0.6, None, default_words="the material's"
    )
    tab_mm: float = mm("Width of the tab that closes a hood made of one sheet.", 3.0, 100.0, 12.0)
    rim_mm: float = mm("Of trays and masks without outer_mm: how far they reach past what they cover.", 1.0, 200.0, 6.0)
    glass_gap_mm: float = mm("Play of a filter in its tray, in width and height.", 0.0, 10.0, 0.5)
    screw_hole_mm: float = mm("Diameter of the four screw holes through a tray's frames; 0: none.", 0.0, 20.0, 3.2)
    sheet_mm: tuple[float, float] | None = mm(
        "Width and height of the sheets that parts are cut from.", 20.0, 10000.0, None, default_words="a usual size of the material"
    )
    gap_mm: float = mm("Between parts on a sheet.", 0.0, 100.0, 6.0)
    margin_mm: float = mm("Left free along the edges of a sheet.", 0.0, 200.0, 8.0)
    paper: Paper = choice("Paper of the drawings.", "a3")
    projection: Projection = choice("Projection of the drawings: third or first angle.", "third")
    owner: str = text("Legal owner, for the title block.", "", longest=60)
    drawn_by: str = text("Creator, for the title block.", "", longest=20)
    approved_by: str = text("Approval person, for the title block.", "", longest=20)
    date: str = text("Date of issue, for the title block.", "", longest=10)
    rod_length_mm: float | None = mm(
        "Free length of the rods, from the clamp that holds them to the box.",
        1.0,
        2000.0,
        None,
        default_words="from the image plane to the box",
    )
    rod_wall_mm: float | None = mm(
        "Wall of the rods; as thick as half the diameter: solid.", 0.2, 50.0, None, default_words="1.5, a thin tube"
    )
    rod_material: str = text("Material of the rods.", "aluminium-6061")
    camera_kg: float | None = quantity("Weight of the camera with its lens, for the balance point.", 0.1, 200.0, None, unit="kg")
    camera_balance_mm: float | None = mm("Its balance point behind the lens front, without the box.", -500.0, 2000.0, None)
    wind_m_s: float = quantity("Wind that the flags are reckoned for.", 0.0, 60.0, 10.0, unit="m/s")
    hole: tuple[Hole, ...] = part("Holes in back plates.", ())
    own: tuple[OwnMaterial, ...] = part("Materials of your own.", ())
    part: tuple[MakePart, ...] = part("Parts of another material or joint.", ())

    def faults(self) -> Iterator[Fault]:
        """Known materials; a camera with its balance point; nothing named twice."""
        known = materials_of(self)
        named: list[tuple[tuple[str | int, ...], str]] = [(("material",), self.material), (("rod_material",), self.rod_material)]
        named += [(("part", place, "material"), row.material) for place, row in enumerate(self.part) if row.material is not None]
        for path, name in named:
            if name not in known:
                yield path, f"{shown(name)} is no material known here; {_way_out(name, list(known))}"
        if (self.camera_kg is None) != (self.camera_balance_mm is None):
            missing, given = (
                ("camera_balance_mm", "camera_kg") if self.camera_balance_mm is None else ("camera_kg", "camera_balance_mm")
            )
            yield (missing,), f"is missing; {given} alone says nothing of the balance"
        yield from _twice("own", [row.name for row in self.own], "name", "material")
        yield from _twice("part", [row.of for row in self.part], "of", "part")
        if self.rod_material in known and known[self.rod_material].modulus_gpa is None:
            yield ("rod_material",), f"needs a material whose modulus_gpa is known, got {shown(self.rod_material)}"


def _way_out(name: str, known: Sequence[str]) -> str:
    return f"{did_you_mean(name, known)} (one of your own goes into [[make.own]])"


def _twice(key: str, names: Sequence[str], field: str, what: str) -> Iterator[Fault]:
    for place, name in enumerate(names):
        if name in names[:place]:
            yield (key, place, field), f"is used twice, {shown(name)}; say it once for each {what}"


def materials_of(make: Make) -> Mapping[str, Material]:
    """The catalogue's materials and the scene's own, which come first."""
    own = {
        row.name: Material(
            name=row.name,
            title=row.name,
            density_g_cm3=row.density_g_cm3,
            range_g_cm3=(row.density_g_cm3, row.density_g_cm3),
            modulus_gpa=row.modulus_gpa,
            bend=() if row.bend_radius_mm is None else ((1e9, 0.0),),
            bend_radius_mm=row.bend_radius_mm,
            joint="panels" if row.bend_radius_mm is None else "bend",
            source=row.source,
            confidence="",
        )
        for row in make.own
    }
    return {**own, **{name: one for name, one in materials().items() if name not in own}}


def called(kind: str, place: int, name: str | None, count: int) -> tuple[str, ...]:
    """What a part may be called in [make]: its name, its kind where there is one of them alone, and with its number."""
    word = KINDS[kind]
    return tuple(filter(None, (name, word if count == 1 else None, f"{word} {place + 1}")))


def names_of(box: Box) -> dict[str, tuple[str, int]]:
    """Every part of a box by each of the names that it may be called by in [make]: its key and place."""
    counts = {key: len(getattr(box, key)) for key in KINDS}
    found: dict[str, tuple[str, int]] = {}
    for key, place, item in box_parts(box):
        more = (item.name or f"{item.side} flag",) if key == "flag" else (item.name,)  # type: ignore[attr-defined]
        for name in called(key, place, more[0], counts[key]):
            found.setdefault(name, (key, place))
    return found


def make_faults(box: Box, make: Make) -> Iterator[Fault]:
    """Parts and holes that name no part of the box; holes that are no longer in their plate."""
    known = names_of(box)
    for key, names in (("part", [row.of for row in make.part]), ("hole", [row.of for row in make.hole])):
        for place, name in enumerate(names):
            if name not in known:
                problem = f"names no part of this box, {shown(name)}; {did_you_mean(name, list(known))}"
                yield ("make", key, place, "of"), problem
    for place, hole in enumerate(make.hole):
        if known.get(hole.of, ("", 0))[0] == "back":
            yield from _hole_faults(box.back[known[hole.of][1]], hole, place)
            yield from _near_holes(make.hole[:place], hole, place, known)
        elif hole.of in known:
            yield ("make", "hole", place, "of"), f"must name a back plate: holes in other parts are not drawn, got {shown(hole.of)}"


def _near_holes(others: Sequence[Hole], hole: Hole, place: int, known: Mapping[str, tuple[str, int]]) -> Iterator[Fault]:
    """Holes in the same plate that leave nothing between them, each pair once."""
    for number, other in enumerate(others, 1):
        apart = math.dist(hole.at_mm, other.at_mm) - (hole.diameter_mm + other.diameter_mm) / 2
        if known.get(other.of) == known[hole.of] and apart < LEAST_BETWEEN_MM:
            yield (
                ("make", "hole", place, "at_mm"),
                f"puts the hole into hole {number} or against it; leave {LEAST_BETWEEN_MM:g} mm between them, or drill one",
            )


def _hole_faults(back: Table, hole: Hole, place: int) -> Iterator[Fault]:
    half, radius = (getattr(back, "width_mm") / 2, getattr(back, "height_mm") / 2), hole.diameter_mm / 2  # noqa: B009
    if any(abs(at) + radius + LEAST_BETWEEN_MM > side for at, side in zip(hole.at_mm, half, strict=True)):
        size = f"{plain(2 * half[0])} x {plain(2 * half[1])} mm"
        yield (
            ("make", "hole", place, "at_mm"),
            f"puts the hole over the edge of its plate, {size}, or against it; move it in, or take a smaller one",
        )
    bore = getattr(back, "bore_mm") / 2  # noqa: B009
    if (hole.at_mm[0] ** 2 + hole.at_mm[1] ** 2) ** 0.5 - radius < bore + LEAST_BETWEEN_MM:
        yield ("make", "hole", place, "at_mm"), f"puts the hole into the bore, {plain(2 * bore)} mm, or against it; move it out"
