"""Whether a box that comes out otherwise can be built, and tolerances whose ends cannot: a tray behind the lens front, say."""

from __future__ import annotations

from collections.abc import Iterator

from geometry.body import Assembly
from geometry.checks import assembly_notes, behind_notes
from geometry.errors import GeometryError
from geometry.notes import Note, Severity
from scenes.rig.box import build_box
from scenes.rig.placement import shifted_with_lenses
from scenes.scene_file.messages import plain
from scenes.scene_file.resources import Resources
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, box_for
from scenes.scene_file.tables.tolerance import Tolerance
from scenes.scene_file.tables.tolerance_paths import PathError, spots_of

BUILT = ("box", "lens")  # tables of which parts are made


def fault_words(assembly: Assembly, lens: Lens) -> str:
    """The first thing that `check` calls a fault of a box's shapes and places, without a way out; '' where there is none."""
    notes = assembly_notes(assembly, front_diameter_mm=lens.front_diameter_mm)
    return next((_cause(note) for note in notes if note.severity is Severity.FAULT), "")


def _cause(note: Note) -> str:
    return f"{note.part} {note.text.split('; ', maxsplit=1)[0]}"


def tolerance_end_notes(scene: Scene, lens: Lens, resources: Resources, travel_mm: float) -> tuple[Note, ...]:
    """A caution for each tolerance with an end at which a tray, mask or filter goes behind the lens front, as now none does."""
    if not scene.tolerance or _behind(scene, lens, resources, travel_mm):
        return ()
    found = (text for row in scene.tolerance for text in _end_words(scene, lens, resources, travel_mm, row))
    return tuple(Note("tolerance", text, Severity.CAUTION, may_be_slip=True) for text in found)


def _end_words(scene: Scene, lens: Lens, resources: Resources, travel_mm: float, row: Tolerance) -> Iterator[str]:
    try:
        spots = spots_of(scene, row.of)
    except PathError:  # refused where the scene is read
        return
    number = scene.lens.index(lens)
    for spot in spots:
        for by in (-row.low, row.high) if spot.table[0] in BUILT else ():
            shifted = shifted_with_lenses(scene, spot, by, {spot.place})
            if why := _behind(shifted, shifted.lens[number], resources, travel_mm):
                yield (
                    f"of {row.of} lets it come out at {plain(round(spot.nominal + by, 3))} {spot.unit}, with which the box "
                    f"cannot be built: {why}; is the tolerance too large, or a number wrong?"
                )
                return


def _behind(scene: Scene, lens: Lens, resources: Resources, travel_mm: float) -> str:
    """What stands in the barrel; '' where nothing does. Overlaps, which take long to look for, are left to `tolerances`."""
    try:
        assembly, _ = build_box(box_for(scene, lens), lens, resources, front_travel_mm=travel_mm)
    except GeometryError as error:
        return str(error)
    notes = behind_notes(assembly.parts, assembly.slabs, front_diameter_mm=lens.front_diameter_mm)
    return next((_cause(note) for note in notes if note.severity is Severity.FAULT), "")
