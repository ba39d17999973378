"""Facts about a box worth telling before any ray is traced. Rules of thumb are common practice and say so."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.apart import slab_corners
from geometry.body import Assembly, Block, Kind, Part, Slab, Surface, Tube
from geometry.mesh_checks import mesh_notes
from geometry.mesh_import import LARGEST_MM, MM_PER_UNIT, SMALLEST_MM
from geometry.notes import Note, Severity
from geometry.outline import Freeform, apart_mm, half_size_mm, to_shape
from geometry.overlap import TOUCH_MM, assembly_overlaps, glass_overlap_notes, holds

LOPSIDED_MM = 1.0  # a drawing this far from its mirror image is meant to have two sides
FIT_MM = 0.1  # play that a sheet of glass has in its holder anyway
COVER_MM = 0.01  # by which an opening may pass its glass on each side: sizes in inches, rounded
LEAST_TOLD_MM = 0.05  # less reads as 0.0 mm
SLIVER_MM2 = 1e-3  # an area this small is arithmetic, not a gap
COARSE_SAGITTA_MM = 0.05  # for places and weights of round parts
THINNEST_OPENING_MM = 10.0  # no opening in front of a lens is smaller; 4 x 5.65 typed in inches is
_SIZES = ("narrower", "lower")


def assembly_notes(assembly: Assembly, *, front_diameter_mm: float | None = None) -> tuple[Note, ...]:
    """All that shapes and places alone can tell: overlaps, filters against holders, places behind the lens front, sizes, masks."""
    fixed = tuple(p for p in assembly.fixtures if p.kind is not Kind.ROD)
    return (
        *assembly_overlaps(assembly),
        *glass_overlap_notes((*assembly.parts, *assembly.fixtures), assembly.slabs),
        *(note for slab in assembly.slabs for tray in _trays_of(assembly, slab) for note in filter_notes(tray, slab)),
        *behind_notes(assembly.parts, assembly.slabs, front_diameter_mm=front_diameter_mm),
        *size_notes((*assembly.parts, *fixed), assembly.slabs),
        *(note for p in assembly.parts for note in mask_notes(p, front_diameter_mm)),
        *mesh_notes(assembly.parts),
        *(note for p in assembly.parts for note in drawn_notes(p)),
    )


def filter_notes(tray: Part, slab: Slab) -> tuple[Note, ...]:
    """Whether a filter covers its tray's opening, and fits into its height and depth."""
    return (*_cover_notes(tray, slab), *_height_notes(tray, slab), *_depth_notes(tray, slab))


def behind_notes(parts: Sequence[Part], slabs: Sequence[Slab] = (), *, front_diameter_mm: float | None = None) -> tuple[Note, ...]:
    """Trays, masks and filters that reach behind the lens front rim, where only the lens should be.

    A fault where their opening is smaller than the lens front: no such part goes over a barrel, and no light can be told there.
    """
    plates = [p for p in parts if p.kind in (Kind.TRAY, Kind.MASK)]
    places = [(p.name, _opening_points(p), _too_narrow(p, front_diameter_mm)) for p in plates]
    places += [(s.name, slab_corners(s), "") for s in slabs]
    depths = [(name, -float(points[:, 2].min()), narrow) for name, points, narrow in places]
    return tuple(
        Note(
            name,
            f"reaches {depth:.1f} mm behind the lens front rim{narrow}; "
            f"move it or the box ahead by {depth:.1f} mm, or tilt it less",
            Severity.FAULT if narrow else Severity.CAUTION,
            doubts_light=bool(narrow),
            may_be_slip=not narrow,
            said_again="reaches behind the lens front",
            size=depth,
        )
        for name, depth, narrow in depths
        if depth > TOUCH_MM
    )


def _too_narrow(part: Part, front_diameter_mm: float | None) -> str:
    """Words for an opening that does not go over the lens front; '' where it does."""
    if front_diameter_mm is None or not isinstance(part.body, Tube):
        return ""
    width, height = 2 * half_size_mm(part.body.inner[0].outline)
    if min(width, height) >= front_diameter_mm - FIT_MM:
        return ""
    return f", where its opening of {width:g} x {height:g} mm does not go over the lens front of {front_diameter_mm:g} mm"


def size_notes(parts: Sequence[Part], slabs: Sequence[Slab] = ()) -> tuple[Note, ...]:
    """Sizes that suggest a mistaken unit: openings and filters no larger than a thumb, or parts larger than a room is high."""
    openings = [(p.name, 2 * half_size_mm(p.body.inner[0].outline)) for p in parts if isinstance(p.body, Tube)]
    flats = [*openings, *((s.name, 2 * half_size_mm(s.outline)) for s in slabs)]
    small = [Note(name, _small_text(size), Severity.CAUTION) for name, size in flats if size.min() < THINNEST_OPENING_MM]
    spans = [(p.name, float(np.ptp(_outer_points(p), axis=0).max())) for p in parts]
    tiny = [_tiny_note(name, span) for name, span in _solid_spans(parts) if span < SMALLEST_MM]
    meshes = {p.name for p in parts if p.kind is Kind.SOLID}
    large = [_large_note(name, span, doubted=name in meshes) for name, span in spans if span > LARGEST_MM]
    return (*small, *tiny, *large)


def drawn_notes(mask: Part) -> tuple[Note, ...]:
    """Drawn cut-outs that are no longer the same from the other side, or hold holes beside the one for the light."""
    shape = mask.body.inner[0].outline if isinstance(mask.body, Tube) else None
    if not isinstance(shape, Freeform):
        return ()
    told: list[str] = []
    if apart_mm(shape.shape, shapely.transform(shape.shape, lambda xy: xy * (-1.0, 1.0))) > LOPSIDED_MM:
        right, _, left, _ = shape.shape.bounds
        told.append(
            f"its cut-out is not the same left and right: drawn as seen from behind the camera it reaches {left:.0f} mm to the "
            f"left and {-right:.0f} mm to the right; if it is drawn from the scene's side, mirror the drawing"
        )
    if len(shapely.get_parts(shape.shape)) > 1:
        told.append(
            f"its drawing holds {len(shapely.get_parts(shape.shape))} cut-outs, and light passes through each of them; "
            "delete what is filled, such as screw holes, and what is no cut-out"
        )
    return tuple(Note(mask.name, text, Severity.CAUTION, may_be_slip=True) for text in told)


def mask_notes(mask: Part, front_diameter_mm: float | None) -> tuple[Note, ...]:
    """The rule of thumb (common practice): a mask opening smaller than the lens front is suspect. Nothing for other parts.

    A fact, no caution: narrow frames do not use all of the front, and a mask cut close to them is smaller; the light decides.
    """
    if front_diameter_mm is None or mask.kind is not Kind.MASK or not isinstance(mask.body, Tube):
        return ()
    size = 2 * half_size_mm(mask.body.inner[0].outline)
    short = [
        f"{front_diameter_mm - s:.1f} mm {word}" for s, word in zip(size, _SIZES, strict=True) if s < front_diameter_mm - FIT_MM
    ]
    if not short:
        return ()
    text = (
        f"the opening of {size[0]:g} x {size[1]:g} mm is {' and '.join(short)} than the lens front "
        f"({front_diameter_mm:g} mm): by rule of thumb expect underexposure or misshapen bokeh; "
        "the traced loss decides, since a narrow frame does not use all of the front"
    )
    return (Note(mask.name, text, Severity.FACT),)


def seal_notes(parts: Sequence[Part], *, barrel_mm: float, bore_mm: float) -> tuple[Note, ...]:
    """An open gap between barrel and bore, or a barrel that does not fit the bore."""
    if barrel_mm > bore_mm + FIT_MM:
        text = f"the bore of {bore_mm:g} mm is {barrel_mm - bore_mm:.1f} mm too narrow for the barrel of {barrel_mm:g} mm"
        return (Note("back plate", f"{text}; bore it wider or keep the plate ahead of the lens", Severity.CAUTION),)
    if any(p.kind is Kind.SEAL for p in parts) or bore_mm - barrel_mm <= 2 * FIT_MM:
        return ()
    text = f"the gap of {(bore_mm - barrel_mm) / 2:.1f} mm all round the barrel lets light in; seal it by ring, donut or bellows"
    return (Note("back plate", text, Severity.CAUTION),)


def _trays_of(assembly: Assembly, slab: Slab) -> tuple[Part, ...]:
    """The trays that share the slab's centre and turn: that is how glass is put into a tray."""
    return tuple(part for part in assembly.parts if part.kind is Kind.TRAY and holds(part, slab))


def covers(slab: Slab, tray: Part) -> bool:
    """Whether a filter covers the opening of its tray."""
    assert isinstance(tray.body, Tube)
    hole = to_shape(tray.body.inner[0].outline, COARSE_SAGITTA_MM)
    return bool(hole.difference(to_shape(slab.outline).buffer(COVER_MM)).area <= SLIVER_MM2)


def _cover_notes(tray: Part, slab: Slab) -> tuple[Note, ...]:
    assert isinstance(tray.body, Tube)
    hole = tray.body.inner[0].outline
    if covers(slab, tray):
        return ()
    short = 2 * (half_size_mm(hole) - half_size_mm(slab.outline))
    ways = [
        f"{s:.1f} mm too small from {way}" if s >= LEAST_TOLD_MM else f"a little too small from {way}"
        for s, way in zip(short, ("side to side", "top to bottom"), strict=True)
        if s > COVER_MM
    ]
    text = f"does not cover the opening of {tray.name}: {' and '.join(ways) or 'the corners stay open'}"
    return (Note(slab.name, f"{text}; light passes beside the glass: take a larger filter or a smaller opening", Severity.FAULT),)


def _height_notes(tray: Part, slab: Slab) -> tuple[Note, ...]:
    """Common practice: a holder takes filters of its own height, narrower ones too, but no taller ones."""
    if not (isinstance(tray.body, Tube) and tray.body.bounded):
        return ()
    over = 2 * float(half_size_mm(slab.outline)[1] - half_size_mm(tray.body.outer[0].outline)[1])
    if over <= FIT_MM:
        return ()
    text = f"is {over:.1f} mm taller than its holder {tray.name}; take a filter of the holder's height or a taller holder"
    return (Note(slab.name, text, Severity.FAULT),)


def _depth_notes(tray: Part, slab: Slab) -> tuple[Note, ...]:
    assert isinstance(tray.body, Tube)
    depth = tray.body.inner[-1].z_mm - tray.body.inner[0].z_mm
    if slab.thickness_mm <= depth + FIT_MM:
        return ()
    text = (
        f"is {slab.thickness_mm:g} mm thick and stands {slab.thickness_mm - depth:.1f} mm out of {tray.name}; make the tray deeper"
    )
    return (Note(slab.name, text, Severity.CAUTION),)


def _opening_points(part: Part) -> NDArray[np.float64]:
    if not isinstance(part.body, Tube):
        return _outer_points(part)
    return np.concatenate([points for loop in part.body.inner for points in loop.points_mm(COARSE_SAGITTA_MM)])


def _outer_points(part: Part) -> NDArray[np.float64]:
    body = part.body
    if isinstance(body, Block):
        return body.corners_mm
    if isinstance(body, Surface):
        return body.vertices_mm
    return np.concatenate([points for loop in body.outer for points in loop.points_mm(COARSE_SAGITTA_MM)])


def _solid_spans(parts: Sequence[Part]) -> list[tuple[str, float]]:
    kinds = (Kind.SOLID, Kind.FLAG, Kind.EXTENSION)
    return [(p.name, float(np.ptp(_outer_points(p), axis=0).max())) for p in parts if p.kind in kinds]


def _small_text(size_mm: NDArray[np.float64]) -> str:
    inches = size_mm * MM_PER_UNIT["in"]
    return (
        f"measures only {size_mm[0]:g} x {size_mm[1]:g} mm; if that was meant in inches, write {inches[0]:.1f} x {inches[1]:.1f} mm"
    )


def _tiny_note(name: str, span_mm: float) -> Note:
    inches = f"{span_mm * MM_PER_UNIT['in']:.0f} mm"
    text = f'is only {span_mm:.3g} mm across; if that is in inches (unit = "in" of a mesh), it is {inches} across'
    return Note(name, text, Severity.CAUTION, may_be_slip=True)


def _large_note(name: str, span_mm: float, *, doubted: bool) -> Note:
    """A mesh too large has grown away from the light it would take: nothing is clear until its unit is put right."""
    text = f"is {span_mm / 1000:.1f} m across, larger than anything on a camera; check its unit"
    return Note(name, text, Severity.FAULT if doubted else Severity.CAUTION, doubts_light=doubted, may_be_slip=not doubted)
