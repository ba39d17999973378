"""The 3D picture of one state, gathered as plain arrays: box, lens, a readable number of rays, heatmap. Draws and opens nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Assembly, Kind
from geometry.frame import UP, Side, pose
from raytrace.beam.beam import beam_of
from raytrace.beam.clearance import BEYOND_MM, farthest_mm
from raytrace.beam.solid import beam_solid
from raytrace.box import Box
from raytrace.optics.camera import Guide
from raytrace.optics.pencil import Pencils
from raytrace.shares import VignetteMap
from scenes.sheets.colours import GHOST_COLOUR, HIGHLIGHT, INK, RAY_CLEAR, rgb_of
from scenes.view3d.content import Label, Line, Place, RayPath, Scene3D, Solid, View
from scenes.view3d.heatmap import PicturePlane, guide_line, heatmap_of, on_plane, picture_frame, picture_plane
from scenes.view3d.rays import RIM_RAYS, WORST_RAYS, PencilsAt, field_points, rim_and_centre, shown_rays, worst_point
from scenes.view3d.section import section_of
from scenes.view3d.solids import solids_of

if TYPE_CHECKING:
    from raytrace.optics.camera import Guide
    from scenes.view3d.content import Scene3D, View


BEAM_SLICES = 12
BEAM_OPACITY = 0.15
MOST_NAMED = 3  # parts with a label; a fourth label is the worst place's
GHOST_SHARE, BLAMED_OPACITY = 0.35, 0.75
SIDE_SHARE = 0.22  # of the box's width: how far beside it its sides are written
LONGEST = 1.5  # rays that run nearly sideways end after this many times the size of the box

NOTES = {
    View.BESIDE: "Seen from the operator's left, a little behind the lens. "
    "The heatmap stands ahead of the box and is seen from behind, as on the monitor.",
    View.FRONT: "Seen from the scene, at the operator's left, looking back into the lens: "
    "the operator's right is at the left here. The faint blue body is the beam.",
    View.SECTION: "Cut through the lens axis, the scene to the right. "
    "All sizes in mm; the numbers below count ahead from the lens front.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Spotlight:
    """What a picture is about: the part to blame, or the one that comes nearest, and others in the beam, worst first.

    worst_mm is the darkest place of the picture, None where nothing is lost; `up` (x, y) a unit vector of the frame that the
    section's plane holds, `up_words` what that is in the operator's words.
    """

    parts: tuple[str, ...]
    blamed: bool
    worst_mm: tuple[float, float] | None = None
    up: tuple[float, float] = (0.0, 1.0)
    up_words: str = "top"


def scene3d_of(
    assembly: Assembly,
    box: Box,
    pencils_at: PencilsAt,
    map_: VignetteMap,
    *,
    guides: Sequence[Guide] = (),
    title: Sequence[str] = (),
    view: View = View.BESIDE,
    light: Spotlight | None = None,
) -> Scene3D:
    """The picture of one state from one place.

    `pencils_at` gives the lens's pencils for picture points (N, 2). The first of `guides` chooses the rays, and the beam that the
    view from the front shows as a body: over the heatmap it would change its colours. All guides are drawn on the heatmap;
    without any the whole of the map is the guide. `light` colours the parts that the picture is about, names the first few of them
    and ghosts the rest; without it every part is named.
    """
    shown = tuple(guides) or (_whole(map_),)
    if view is View.SECTION:
        return _section(assembly, box, pencils_at, shown[0], tuple(title), light)
    solids = solids_of(assembly)
    plane = picture_plane(solids, pencils_at, map_)
    worst_mm = worst_point(shown[0], map_) if light is None or light.worst_mm is None else np.array(light.worst_mm)
    rays = _rays(pencils_at, box, shown[0], worst_mm, plane)
    labels = part_labels(solids) + _pupil_label(pencils_at)
    if light is not None:
        solids, labels = lit(solids, light), (*named_parts(solids, light), *side_labels(solids, view))
    scene = Scene3D(
        view=view,
        title=tuple(title),
        note=NOTES[view],
        solids=solids if view is View.BESIDE else (*solids, *beam_solids(pencils_at, shown[0], box)),
        rays=rays,
        lines=pupil_lines(pencils_at),
        labels=labels,
    )
    lost = worst_mm if light is None or light.worst_mm is not None else None
    return scene if view is View.FRONT else _with_heatmap(scene, pencils_at, shown, map_, plane, lost)


def beam_solids(pencils_at: PencilsAt, guide: Guide, box: Box) -> tuple[Solid, ...]:
    """The beam of a guide from the lens front to the farthest part as a faint body; nothing where the beam has no extent."""
    far = farthest_mm(box.parts)
    depths = np.linspace(0.0, far, BEAM_SLICES)
    vertices, faces = beam_solid(beam_of(pencils_at, guide, box, far=pose(ahead_mm=far + BEYOND_MM)), depths.tolist())
    if not len(faces):
        return ()
    return (
        Solid(
            name="beam",
            kind="beam",
            vertices_mm=vertices,
            faces=faces,
            edges_mm=np.zeros((0, 2, 3)),
            colour=rgb_of(RAY_CLEAR),
            opacity=BEAM_OPACITY,
        ),
    )


def _whole(map_: VignetteMap) -> Guide:
    x, y = map_.x_mm, map_.y_mm
    half_x, half_y = (abs(float(a[-1] - a[0])) / 2 * len(a) / max(len(a) - 1, 1) for a in (x, y))
    return Guide(
        name="whole frame",
        half_width_mm=half_x,
        half_height_mm=half_y,
        centre_mm=(float(x[0] + x[-1]) / 2, float(y[0] + y[-1]) / 2),
    )


def _rays(pencils_at: PencilsAt, box: Box, guide: Guide, worst_mm: FloatArray, plane: PicturePlane) -> tuple[RayPath, ...]:
    """Rays of the guide's outstanding points, more of them at the worst place."""
    longest = abs(plane.z_mm) if plane.scale else LONGEST * (plane.reach_mm + abs(plane.z_mm))
    rays = shown_rays(pencils_at(field_points(guide)), rim_and_centre(RIM_RAYS), box, plane.z_mm, longest)
    worst = pencils_at(worst_mm[None])
    return rays + shown_rays(worst, rim_and_centre(WORST_RAYS), box, plane.z_mm, longest)


def pupil_lines(pencils_at: PencilsAt) -> tuple[Line, ...]:
    """The entrance pupil of the axis: its outline, or where width and height have their own depths a bar for each."""
    return tuple(
        Line(points_mm=points, colour=rgb_of(INK), width_px=4.0) for points in _pupil_outlines(pencils_at(np.zeros((1, 2))))
    )


def _pupil_outlines(axial: Pencils) -> list[FloatArray]:
    angle = np.linspace(0, 2 * np.pi, 73)
    place = axial.crossing_mm(np.column_stack([np.cos(angle), np.sin(angle)]))[0]
    z = axial.reference_z_mm[0]
    if z[0] == z[1]:
        return [np.column_stack([place, np.full(len(place), z[0])])]
    bars = axial.crossing_mm(np.array([[-1.0, 0], [1, 0], [0, -1], [0, 1]]))[0]
    return [np.column_stack([bars[:2], np.full(2, z[0])]), np.column_stack([bars[2:], np.full(2, z[1])])]


def _pupil_label(pencils_at: PencilsAt) -> tuple[Label, ...]:
    outline = _pupil_outlines(pencils_at(np.zeros((1, 2))))[-1]
    return (Label(text="entrance pupil", anchor_mm=outline[int(np.argmin(outline[:, 1]))], place=Place.BELOW),)


def part_labels(solids: Iterable[Solid]) -> tuple[Label, ...]:
    """One label to each named part: at its top edge, or at the bottom edge of what lies below the axis; rods share one."""
    labels: dict[str, Label] = {}
    for solid in solids:
        name = "rods" if solid.kind == Kind.ROD else solid.name
        labels.setdefault(name, _part_label(name, solid))
    return tuple(labels.values())


def _part_label(name: str, solid: Solid) -> Label:
    places = solid.vertices_mm
    below = bool(places[:, 1].max() < 0)
    height = -places[:, 1] if below else places[:, 1]
    # Of the highest edge the end at the operator's left: nearest to the viewer in both views.
    candidates = places[height > height.max() - 1.0]
    return Label(text=name, anchor_mm=candidates[int(np.argmax(candidates[:, 0]))], place=Place.BELOW if below else Place.ABOVE)


def _with_heatmap(
    scene: Scene3D,
    pencils_at: PencilsAt,
    guides: Sequence[Guide],
    map_: VignetteMap,
    plane: PicturePlane,
    worst_mm: FloatArray | None,
) -> Scene3D:
    heatmap = heatmap_of(map_, pencils_at, plane)
    lines = [picture_frame(heatmap), *(guide_line(guide, pencils_at, plane) for guide in guides)]
    labels = (*_picture_labels(heatmap.corners_mm), *_darkest(map_, pencils_at, guides[0], plane, worst_mm))
    note = scene.note + (" The field is wider than that: the picture is drawn smaller." if plane.scale else "")
    return replace(scene, heatmap=heatmap, note=note, lines=(*scene.lines, *lines), labels=(*scene.labels, *labels))


def _darkest(
    map_: VignetteMap, pencils_at: PencilsAt, guide: Guide, plane: PicturePlane, point: FloatArray | None
) -> tuple[Label, ...]:
    """A label at the guide's worst place; none where nothing is lost. How much is lost stands in the title, more exactly."""
    from scenes.sheets.style import NOTHING_STOPS

    if point is None:
        return ()
    row, column = int(np.argmin(np.abs(map_.y_mm - point[1]))), int(np.argmin(np.abs(map_.x_mm - point[0])))
    loss = float(map_.loss_stops[row, column])
    place = on_plane(point[None], pencils_at, plane)[0]
    if loss < NOTHING_STOPS or not np.isfinite(place).all():
        return ()
    return (Label(text=f"worst of {guide.name}", anchor_mm=place, strong=True),)


def _section(
    assembly: Assembly, box: Box, pencils_at: PencilsAt, guide: Guide, title: tuple[str, ...], light: Spotlight | None
) -> Scene3D:
    if light is None:
        return section_of(assembly, box, pencils_at, guide, title=title, note=NOTES[View.SECTION])
    note = f"{NOTES[View.SECTION]} Up is {light.up_words}."
    scene = section_of(assembly, box, pencils_at, guide, title=title, note=note, up=light.up, named=light.parts[:MOST_NAMED])
    return replace(scene, solids=tuple(_coloured(solid, light) for solid in scene.solids))


def lit(solids: Sequence[Solid], light: Spotlight) -> tuple[Solid, ...]:
    """The parts that the picture is about in colour, the one to blame in that of what stops light; the others as ghosts."""
    return tuple(_lit(solid, light) for solid in solids)


def _lit(solid: Solid, light: Spotlight) -> Solid:
    shown = _coloured(solid, light)
    if solid.name not in light.parts:
        return replace(shown, opacity=GHOST_SHARE * solid.opacity)
    return shown if shown is solid else replace(shown, opacity=max(solid.opacity, BLAMED_OPACITY))


def _coloured(solid: Solid, light: Spotlight) -> Solid:
    """A solid in the colour of its role."""
    if solid.name not in light.parts:
        return replace(solid, colour=rgb_of(GHOST_COLOUR))
    return replace(solid, colour=rgb_of(HIGHLIGHT)) if light.blamed and solid.name == light.parts[0] else solid


def named_parts(solids: Iterable[Solid], light: Spotlight) -> tuple[Label, ...]:
    """A label to each of the first parts that the picture is about."""
    found = {label.text: label for label in part_labels(solids)}
    return tuple(found[name] for name in light.parts[:MOST_NAMED] if name in found)


def side_labels(solids: Sequence[Solid], view: View) -> tuple[Label, ...]:
    """Left, right and up in the operator's words, beside the box as it stands: where no heatmap has them written."""
    if view is not View.FRONT or not solids:
        return ()
    places = np.concatenate([solid.vertices_mm for solid in solids if solid.kind != Kind.ROD] or [np.zeros((1, 3))])
    (x0, y0, _), (x1, y1, z1) = places.min(axis=0), places.max(axis=0)
    level, away = (y0 + y1) / 2, SIDE_SHARE * (x1 - x0)
    marks = {
        "operator's left": (x1 + away, level, z1), "operator's right": (x0 - away, level, z1), "up": (0.0, y1 + 0.6 * away, z1)
    }  # fmt: skip
    return tuple(Label(text=words, anchor_mm=np.array(place), place=Place.HERE, strong=True) for words, place in marks.items())


def _picture_labels(corners_mm: FloatArray) -> tuple[Label, ...]:
    """The sides of the picture in the operator's words, above its upper corners, where nothing stands before them."""
    if not np.isfinite(corners_mm[[0, 0, -1], [0, -1, 0]]).all():
        return ()
    up = 0.07 * (corners_mm[0, 0, 1] - corners_mm[-1, 0, 1]) * UP
    middle = corners_mm[0, corners_mm.shape[1] // 2]
    top = (Label(text="up", anchor_mm=middle + up, place=Place.HERE, strong=True),) if np.isfinite(middle).all() else ()
    sides = tuple(
        Label(text=f"operator's {side}", anchor_mm=corners_mm[0, column] + up, place=Place.HERE, strong=True)
        for side, column in ((Side.LEFT, 0), (Side.RIGHT, -1))
    )
    return sides + top


VIEW_SIZE = (1600, 1000)
