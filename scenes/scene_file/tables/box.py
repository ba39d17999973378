"""The box of a scene file: every part in front of the lens, each optional, each fitted with all lenses or some."""

from collections.abc import Iterator
from typing import Literal, TypeVar

from geometry.flags import LEAST_DEG, MOST_DEG
from scenes.scene_file.catalogue import FilterSize, filter_sizes, rods, unknown_name
from scenes.scene_file.messages import plain, shown
from scenes.scene_file.tables.fields import Fault, Table, choice, deg, mm, part, path, quantity, text

Side = Literal["top", "bottom", "left", "right"]
Kind = Literal["clear", "density", "graduated", "polariser", "streak", "diffusion", "close-up"]
SealKind = Literal["ring", "donut", "bellows", "none"]
MeshUnit = Literal["mm", "cm", "m", "in"]

CLAMP = "clamp"
SIZES_OR = "give width_mm and height_mm, or "
DARK_LINING = 0.04  # flocked or matt black paint, a usual hood lining; common practice
SHEET_MM = 1.5  # sheet metal or carbon plate of hoods and flags; common practice
WAYS_IN = ("opening_mm", "opening_diameter_mm", "outline")


class BoxPart(Table):
    """What every part may carry: a name, and the lenses it is fitted with."""

    name: str | None = text("What the crew calls this part; also its name in results.", None)
    lenses: tuple[str, ...] | None = text(
        "Names of the lenses this part is fitted with; left out: all of them.", None, default_words="all lenses"
    )

    def faults(self) -> Iterator[Fault]:
        """A part is fitted with at least one lens."""
        if self.lenses == ():
            yield ("lenses",), "must name at least one lens; leave it out to fit the part with all of them"


AnyPart = TypeVar("AnyPart", bound=BoxPart)


class Filter(Table):
    """The glass in a stage: give `size`, or `width_mm` and `height_mm`, or `diameter_mm`."""

    name: str | None = text("What the crew calls this filter; also its name in results.", None)
    size: str | None = text(
        "Size from the catalogue (`brimline list filters`); or give width and height.", None, catalogue="filters"
    )
    width_mm: float | None = mm("Width of the glass, where size is not given.", 20.0, 500.0, None)
    height_mm: float | None = mm("Height of the glass, where size is not given.", 20.0, 500.0, None)
    diameter_mm: float | None = mm("Diameter of round glass, where size is not given.", 20.0, 500.0, None)
    thickness_mm: float = mm("Thickness of the glass.", 0.05, 30.0, 4.0)
    index: float = quantity("Refractive index of the glass.", 1.3, 2.2, 1.5168)
    kind: Kind = choice("What the filter does.", "clear")
    density: float = quantity(
        "Optical density: 0.3 takes one stop, 0.6 two; of a graduated filter that of its dark end. For kinds density and "
        "graduated, and for a polariser what it takes evenly.",
        0.0,
        6.0,
        0.0,
    )
    edge_mm: float = mm(
        "Graduated: middle of the transition above the glass's centre (below: negative); the dark end is above.",
        -250.0,
        250.0,
        0.0,
    )
    soft_mm: float = mm("Graduated: full length of the transition; 0 is a hard edge.", 0.0, 300.0, 0.0)
    power_dioptre: float | None = quantity("Close-up: power.", -10.0, 20.0, None, unit="dioptre")
    reflectance: float | None = quantity(
        "Share of light that each coated face mirrors; left out: bare glass, by its index.", 0.0, 1.0, None
    )
    confirmed: tuple[Literal["density"], ...] = choice("Keys that you have checked although their values look like a slip.", ())

    @property
    def catalogue_size(self) -> FilterSize | None:
        """The catalogue's entry for `size`, if given."""
        return filter_sizes()[self.size] if self.size is not None else None

    @property
    def rectangle_mm(self) -> tuple[float, float] | None:
        """Width and height of rectangular glass; None if it is round."""
        known = self.catalogue_size
        width, height = (known.width_mm, known.height_mm) if known else (self.width_mm, self.height_mm)
        return (width, height) if width is not None and height is not None else None

    @property
    def round_mm(self) -> float | None:
        """Diameter of round glass; None if it is rectangular."""
        known = self.catalogue_size
        return known.diameter_mm if known else self.diameter_mm

    def faults(self) -> Iterator[Fault]:
        """One way of giving the size; only the keys of its kind."""
        yield from self._size_faults()
        yield from self._kind_faults()

    def _size_faults(self) -> Iterator[Fault]:
        given = [key for key in ("size", "width_mm", "height_mm", "diameter_mm") if getattr(self, key) is not None]
        if self.size is not None and self.size not in filter_sizes():
            yield ("size",), unknown_name("filter size", self.size, filter_sizes(), SIZES_OR)
        elif given not in (["size"], ["width_mm", "height_mm"], ["diameter_mm"]):
            found = " and ".join(given) or "none of them"
            yield (), f"must give its size one way: size, or width_mm and height_mm, or diameter_mm; got {found}"

    def _kind_faults(self) -> Iterator[Fault]:
        if self.kind in {"density", "graduated"} and self.density == 0.0:
            yield ("density",), f'is missing; kind "{self.kind}" needs it, 0.3 for one stop'
        if self.kind == "close-up" and self.power_dioptre is None:
            yield ("power_dioptre",), 'is missing; kind "close-up" needs it'
        owners = {
            "density": ("density", "graduated", "polariser"),
            "edge_mm": ("graduated",),
            "soft_mm": ("graduated",),
            "power_dioptre": ("close-up",),
        }
        for key, kinds in owners.items():
            if key in self.model_fields_set and self.kind not in kinds:
                listed = " or ".join(f'"{kind}"' for kind in kinds)
                yield (key,), f'belongs to kind {listed}, but this filter is "{self.kind}"; set kind, or leave {key} out'


class Opening(BoxPart):
    """A part with an opening: what a stage and a mask share."""

    at_mm: float = mm("Its rear face, ahead of the back plate's rear face.", -100.0, 1000.0)
    opening_mm: tuple[float, float] | None = mm("Width and height of the opening.", 5.0, 600.0, None)
    opening_diameter_mm: float | None = mm("Diameter of a round opening, instead of opening_mm.", 5.0, 600.0, None)
    corner_mm: float = mm("Corner radius of the opening.", 0.0, 300.0, 0.0)
    turn_deg: float = deg("Turn about its own centre, clockwise as the operator sees it.", -360.0, 360.0, 0.0)
    tilt_deg: float = deg("Tilt about its own centre: positive when its top edge leans toward the scene.", -45.0, 45.0, 0.0)
    outer_mm: tuple[float, float] | None = mm(
        "Outside width and height; left out: large enough to leave no way round it.",
        10.0,
        1500.0,
        None,
        default_words="large enough to leave no way round",
    )
    lining: float = quantity("Share of light that its dark surfaces scatter back.", 0.0, 1.0, DARK_LINING)

    def faults(self) -> Iterator[Fault]:
        """One opening, with corners that fit it, inside the outside."""
        yield from BoxPart.faults(self)
        ways = [key for key in WAYS_IN if getattr(self, key, None) is not None]
        if len(ways) != 1:
            known = [key for key in WAYS_IN if key in type(self).model_fields]
            found = " and ".join(ways) or "none of them"
            yield (), f"must give its opening one way: {', '.join(known[:-1])} or {known[-1]}; got {found}"
        if self.opening_mm is not None and self.corner_mm > min(self.opening_mm) / 2:
            most = plain(min(self.opening_mm) / 2)
            yield ("corner_mm",), f"must be at most half the opening's shorter side, {most} mm, got {plain(self.corner_mm)}"
        if "corner_mm" in self.model_fields_set and self.opening_mm is None and self.corner_mm > 0:
            yield ("corner_mm",), "belongs to opening_mm; leave it out"
        yield from self._outer_faults()

    def _outer_faults(self) -> Iterator[Fault]:
        if self.outer_mm is None:
            return
        width, height = self.opening_mm or (self.opening_diameter_mm or 0.0,) * 2
        if width > self.outer_mm[0] or height > self.outer_mm[1]:
            yield (
                ("outer_mm",),
                (
                    f"must be larger than the opening, {plain(width)} x {plain(height)} mm, "
                    f"got {plain(self.outer_mm[0])} x {plain(self.outer_mm[1])}"
                ),
            )


class Stage(Opening):
    """A tray for a filter: a tunnel of the tray's depth. Give `opening_mm` or `opening_diameter_mm`."""

    depth_mm: float = mm("Depth of the tray along the lens axis.", 0.5, 200.0)
    slot_mm: float = mm("Width of the open gap beside the tray, at the slot sides.", 0.0, 50.0, 0.0)
    slot_sides: tuple[Side, ...] = choice("Sides where the gap is open, as the operator sees them.", ())
    filter: Filter | None = part("The glass in this stage; left out: an empty tray.", None)

    def faults(self) -> Iterator[Fault]:
        """A slot has a width and a side; the glass fits the tray's depth."""
        yield from Opening.faults(self)
        if self.slot_mm > 0 and not self.slot_sides:
            yield ("slot_sides",), 'is missing; a slot needs the sides where it is open, such as ["top"]'
        if self.slot_sides and self.slot_mm == 0:
            yield ("slot_mm",), "is missing or 0; slot_sides is of no use without it"
        if len(set(self.slot_sides)) < len(self.slot_sides):
            yield ("slot_sides",), "names one side twice"
        if self.filter is not None and self.filter.thickness_mm > self.depth_mm:
            yield (
                ("filter", "thickness_mm"),
                f"must fit the tray, depth_mm = {plain(self.depth_mm)}, got {plain(self.filter.thickness_mm)}",
            )


class Mask(Opening):
    """A thin plate with a cut-out close around the beam. Give `opening_mm`, `opening_diameter_mm` or `outline`."""

    thickness_mm: float = mm("Thickness of the plate.", 0.1, 30.0, 1.0)
    outline: str | None = path("DXF file of the cut-out, relative to the scene file, instead of opening_mm.", None)


class Hood(BoxPart):
    """Four tapered walls from a rear opening to a front opening."""

    at_mm: float = mm("Its rear edge, ahead of the back plate's rear face.", -100.0, 1000.0)
    depth_mm: float = mm("Depth along the lens axis, rear edge to front edge.", 1.0, 1000.0)
    rear_mm: tuple[float, float] = mm("Inside width and height at the rear edge.", 20.0, 1000.0)
    front_mm: tuple[float, float] = mm("Inside width and height at the front edge.", 20.0, 1500.0)
    thickness_mm: float = mm("Thickness of the walls.", 0.1, 30.0, SHEET_MM)
    lining: float = quantity("Share of light that the inside scatters back (diffuse reflectance).", 0.0, 1.0, DARK_LINING)


class Extension(Table):
    """A plate that swings out from a flag's far end."""

    length_mm: float = mm("Length from the flag's end.", 5.0, 1000.0)
    angle_deg: float = deg(
        "Angle against the flag: 0 carries straight on, positive swings away from the lens axis.", -150.0, 150.0, 0.0
    )


class Flag(BoxPart):
    """A plate hinged on the side named: at the hood's front edge, or at `hinge_mm` and `at_mm`."""

    side: Side = choice("Side it is hinged on, as the operator sees it.")
    angle_deg: float = deg("0 lies along the lens axis, 90 stands straight out from it, negative leans in.", LEAST_DEG, MOST_DEG)
    length_mm: float = mm("From hinge to far end.", 5.0, 1000.0)
    width_mm: float = mm("Along the hinge.", 5.0, 1500.0)
    thickness_mm: float = mm("Thickness of the plate.", 0.1, 30.0, SHEET_MM)
    extension: Extension | None = part("Plate that swings out from the flag's end.", None)
    hinge_mm: float | None = mm(
        "Hinge's distance from the box's centre line.", 5.0, 1000.0, None, default_words="the hood's front edge"
    )
    at_mm: float | None = mm(
        "Hinge, ahead of the back plate's rear face.", -100.0, 2000.0, None, default_words="the hood's front edge"
    )
    lining: float = quantity("Share of light that its dark faces scatter back.", 0.0, 1.0, DARK_LINING)


class Back(BoxPart):
    """The back plate, with a round bore for the lens."""

    width_mm: float = mm("Outside width.", 40.0, 1000.0)
    height_mm: float = mm("Outside height.", 40.0, 1000.0)
    thickness_mm: float = mm("Thickness of the plate.", 0.5, 60.0, 4.0)
    bore_mm: float = mm("Diameter of the bore.", 15.0, 600.0)
    lining: float = quantity("Share of light that its dark front scatters back.", 0.0, 1.0, DARK_LINING)

    def faults(self) -> Iterator[Fault]:
        """The bore leaves a plate around it."""
        yield from BoxPart.faults(self)
        if self.bore_mm >= min(self.width_mm, self.height_mm):
            size = f"{plain(self.width_mm)} x {plain(self.height_mm)} mm"
            yield ("bore_mm",), f"must be smaller than the plate, {size}, got {plain(self.bore_mm)}"


class Seal(BoxPart):
    """What closes the gap between the barrel and the bore."""

    kind: SealKind = choice("ring (rigid), donut (soft), bellows, or none.")
    inner_mm: float | None = mm("Inner diameter, where it differs from the barrel.", 5.0, 600.0, None, default_words="the barrel")
    outer_mm: float | None = mm("Outer diameter, where it differs from the bore.", 5.0, 800.0, None, default_words="the bore")

    def faults(self) -> Iterator[Fault]:
        """Inside is inside outside, and no seal has no size."""
        yield from BoxPart.faults(self)
        inner, outer = self.inner_mm, self.outer_mm
        if inner is not None and outer is not None and inner >= outer:
            yield ("inner_mm",), f"must be smaller than outer_mm = {plain(outer)}, got {plain(inner)}"
        if self.kind == "none" and (inner is not None or outer is not None):
            yield ("kind",), 'is "none", so inner_mm and outer_mm must be left out; or say which kind it is'


class Solid(BoxPart):
    """Any mesh: its coordinates are the frame's, origin at the back plate's centre."""

    file: str = path("STL, OBJ, PLY, 3MF or GLB file, relative to the scene file.")
    unit: MeshUnit | None = choice("Unit of the file's numbers; left out: mm, and asked for where its size looks odd.", None)
    at_mm: float = mm(
        "Its origin, ahead of the back plate's centre (half its thickness ahead of its rear face).", -1000.0, 3000.0, 0.0
    )
    turn_deg: float = deg("Turn about its origin, clockwise as the operator sees it.", -360.0, 360.0, 0.0)
    tilt_deg: float = deg("Tilt about its origin: positive when its top leans toward the scene.", -180.0, 180.0, 0.0)

    def faults(self) -> Iterator[Fault]:
        """A file of a kind that can be read."""
        yield from BoxPart.faults(self)
        if not self.file.lower().endswith((".stl", ".obj", ".ply", ".3mf", ".glb")):
            yield ("file",), f"must end in .stl, .obj, .ply, .3mf or .glb, got {shown(self.file)}"


class Box(Table):
    """The box: how it is mounted and every part it has."""

    mount: str = text(
        'What carries it: rods from the catalogue (`brimline list rods`), or "clamp" on the lens.',
        "rods-15",
        catalogue="mounts",
    )
    rod_drop_mm: float | None = mm(
        "Rod centres below the lens axis, where yours differ.", 20.0, 400.0, None, default_words="that of mount"
    )
    rod_spacing_mm: float | None = mm(
        "Spacing between rod centres, where yours differ.", 20.0, 400.0, None, default_words="that of mount"
    )
    ahead_mm: float = mm(
        "Rear face of the back plate ahead of the lens front rim; negative: the barrel reaches in.", -200.0, 500.0, 0.0
    )
    offset_mm: tuple[float, float] = mm(
        "Box centre against the lens axis: right and up as the operator sees it (rod height mismatch and the like).",
        -100.0,
        100.0,
        (0.0, 0.0),
    )
    tilt_deg: float = deg(
        "Tilt of the whole box about its back plate's centre: positive when its top leans toward the scene.",
        -30.0,
        30.0,
        0.0,
    )
    back: tuple[Back, ...] = part("Back plate; one for all lenses, or one for some of them each.", ())
    seal: tuple[Seal, ...] = part("Seal at the barrel; one for all lenses, or one for some of them each.", ())
    stage: tuple[Stage, ...] = part("Filter stages, any order.", ())
    mask: tuple[Mask, ...] = part("Masks.", ())
    hood: tuple[Hood, ...] = part("Hood; one for all lenses, or one for some of them each.", ())
    flag: tuple[Flag, ...] = part("Flags.", ())
    solid: tuple[Solid, ...] = part("Imported meshes, such as brackets.", ())

    def faults(self) -> Iterator[Fault]:
        """A known mount; names that are not used twice."""
        known = {**rods(), CLAMP: None}
        if self.mount not in known:
            yield ("mount",), unknown_name("mount", self.mount, known)
        seen: set[str] = set()
        for place, name in _given_names(self):
            if name in seen:
                yield place, f"is used twice, {shown(name)}; give each part its own name"
            seen.add(name)


PART_KEYS = ("back", "seal", "stage", "mask", "hood", "flag", "solid")
ONE_PER_LENS = ("back", "seal", "hood")


def box_parts(box: Box) -> Iterator[tuple[str, int, BoxPart]]:
    """Every part of a box: its key, its place under that key counted from 0, and the part."""
    for key in PART_KEYS:
        for place, item in enumerate(getattr(box, key)):
            yield key, place, item


def _given_names(box: Box) -> Iterator[tuple[tuple[str | int, ...], str]]:
    for key, place, item in box_parts(box):
        if item.name is not None:
            yield (key, place, "name"), item.name
        if isinstance(item, Stage) and item.filter is not None and item.filter.name is not None:
            yield (key, place, "filter", "name"), item.filter.name


def is_fitted(item: BoxPart, lens_name: str) -> bool:
    """Whether a part is fitted with this lens."""
    return item.lenses is None or lens_name in item.lenses


def fitted(items: tuple[AnyPart, ...], lens_name: str) -> tuple[AnyPart, ...]:
    """The parts among these that are fitted with this lens, in file order."""
    return tuple(item for item in items if is_fitted(item, lens_name))
