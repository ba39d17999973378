"""Designs beside each other: their cuts at one scale, and where they lie by what is to be small. Returns figures; saves nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import PathPatch
from matplotlib.ticker import MaxNLocator

from geometry.arrays import FloatArray
from geometry.body import Kind
from scenes.questions.design.figure import as_made
from scenes.questions.design.outside import MEASURES, Outside
from scenes.questions.design.picks import choices_words
from scenes.scene_file.tables.design import MASKS
from scenes.sheets.colours import GLASS_COLOUR, HIGHLIGHT, INK, PAPER, PART_COLOURS, RAY_CLEAR, RULE, SOFT_INK
from scenes.sheets.cut_shapes import SIDE, TOP, Cut, cut_box, flat_points
from scenes.sheets.page import FONT, Box, Page
from scenes.sheets.pieces import to_page
from scenes.sheets.section_of_state import beam_edges, beam_sections
from scenes.sheets.section_sheet import SectionRay, shape_path
from scenes.sheets.style import A4_MM, A5_MM, BODY_PT, LABEL_PT
from scenes.states.names import state_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from scenes.questions.design.report import Report, Shown

Span = tuple[float, float, float, float]  # ahead from and to, up from and to [mm]

LEFT_MM, HEAD_MM, FOOT_MM, GAP_MM = 12.0, 26.0, 16.0, 8.0
WORDS_MM = 34.0  # for what is written under a design's cuts
SIZE_MM = 7.0  # right of a cut, for its size
BEHIND_MM = 8.0  # of the lens that is shown behind its front
LENS_KINDS = {Kind.BARREL, Kind.FRONT_RING}
NOT_DRAWN = {Kind.ROD}
SIZED = {Kind.BACK, Kind.TRAY, Kind.MASK, Kind.HOOD}
WHOLE = "number"  # the unit of what has no halves
PLOT = Box(30.0, 30.0, 196.0, 118.0)
SPARE = 0.12  # about the outermost designs of a picture, by how far they lie apart
LEAST_SPARE = 0.02  # the same by their own size, where they lie together


@dataclass(frozen=True, slots=True)
class Scale:
    """One axis of a picture of designs: what it counts, in which unit, and how it is read off an outside."""

    name: str
    unit: str
    of: Callable[[Outside], float]


SCALES = {
    "front_area": Scale("front, width x height", "cm2", lambda outside: outside.front_area_mm2 / 100),
    "front_width": Scale("width", "mm", MEASURES["front_width"]),
    "front_height": Scale("height", "mm", MEASURES["front_height"]),
    "depth": Scale("depth", "mm", MEASURES["depth"]),
    "weight": Scale("weight", "kg", MEASURES["weight"]),
    "glass_sizes": Scale("sizes of glass", WHOLE, MEASURES["glass_sizes"]),
    "masks": Scale("masks", WHOLE, MEASURES["masks"]),
    "mask_area": Scale("openings of the masks, lens by lens", "cm2", lambda outside: outside.mask_area_mm2 / 100),
}
SKY = Scale("open sky", "percent of the half sky ahead", lambda outside: 100 * outside.sky_share)


def cuts_sheet(shown: Sequence[Shown]) -> Figure:
    """The level and the upright cut of each design with the beam nearest to it, all at one scale, and its size under it."""
    page = Page(*A4_MM)
    page.head("The designs side by side", f"All cuts at one scale, the scene to the right. {shown[0].loaded.scene.title}")
    planes = (TOP, SIDE)
    assemblies = [as_made(one) for one in shown]
    cuts = [[cut_box(assembly, plane) for assembly in assemblies] for plane in planes]
    beams = [beam_sections(one.nearest) for one in shown]
    spans = [_span(row) for row in cuts]
    width = (page.width_mm - 2 * LEFT_MM - GAP_MM * (len(shown) - 1)) / len(shown)
    scale, beside = _layout(spans, width, page.height_mm - HEAD_MM - FOOT_MM - WORDS_MM)
    for column, one in enumerate(shown):
        left, top, outside = LEFT_MM + column * (width + GAP_MM), page.height_mm - HEAD_MM, one.design.outside
        _write_size(page, left, FOOT_MM + WORDS_MM, width, column + 1, one)
        for row, (plane, span, size_mm) in enumerate(zip(planes, spans, (outside.width_mm, outside.height_mm), strict=True)):
            box = Box(left, top - scale * (span[3] - span[2]), left + scale * (span[1] - span[0]), top)
            _draw_cut(page, box, cuts[row][column], span, beam_edges(*beams[column], plane))
            _write_across(page, box, size_mm, scale * (_middle_mm(cuts[row][column]) - (span[2] + span[3]) / 2), scale)
            left, top = (box.right + SIZE_MM + GAP_MM, top) if beside else (left, box.bottom - GAP_MM)
    where = ("Left", "Right") if beside else ("Above", "Below")
    page.foot(
        f"{where[0]}: level cuts, the operator's left up, seen from above. {where[1]}: upright cuts, seen from the operator's "
        "right. Blue lines: the beam that comes nearest, of the lens named. Grey: that lens. Sizes in mm, outside, without flags."
    )
    return page.figure


def _layout(spans: Sequence[Span], width: float, high: float) -> tuple[float, bool]:
    """The scale of two cuts in a column of the page, and whether they stand beside each other: whichever makes them larger."""
    across, up = [z1 - z0 for z0, z1, _, _ in spans], [v1 - v0 for _, _, v0, v1 in spans]
    stacked = min((width - SIZE_MM) / max(across), (high - GAP_MM) / sum(up))
    beside = min((width - GAP_MM - len(spans) * SIZE_MM) / sum(across), high / max(up))
    return max(stacked, beside), beside > stacked


def _span(cuts: Sequence[Cut]) -> Span:
    """What all cuts of a row take up, and a little of the lens."""
    bounds = np.array([part.shape.bounds for cut in cuts for part in cut.parts if part.kind not in LENS_KINDS | NOT_DRAWN])
    (z0, v0), (z1, v1) = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    lens = np.array([part.shape.bounds for cut in cuts for part in cut.parts if part.kind in LENS_KINDS])
    v0, v1 = min(v0, lens[:, 1].min()), max(v1, lens[:, 3].max())
    more = 0.03 * max(z1 - z0, v1 - v0)
    return min(float(z0 - more), -BEHIND_MM), float(z1 + more), float(v0 - more), float(v1 + more)


def _draw_cut(page: Page, box: Box, cut: Cut, span: Span, edges: Sequence[SectionRay]) -> None:
    axes = page.axes(box, label=f"cut-{cut.plane.name}")
    axes.set_xlim(*span[:2])
    axes.set_ylim(*span[2:])
    axes.set_axis_off()
    axes.axhline(0.0, color=SOFT_INK, linewidth=0.6, linestyle=(0, (14, 3, 2, 3)))
    for edge in edges:
        axes.plot(*flat_points(edge.points_mm, cut.plane).T, color=RAY_CLEAR, linewidth=0.8, label="beam")
    for part in cut.parts:
        if part.kind in NOT_DRAWN:
            continue
        colour = GLASS_COLOUR if part.kind is None else PART_COLOURS[part.kind] + "66"
        axes.add_patch(PathPatch(shape_path(part.shape), facecolor=colour, edgecolor=INK, linewidth=0.8, label=part.name))


def _middle_mm(cut: Cut) -> float:
    """Half way between the upper and the lower end of a box, without flags."""
    bounds = np.array([part.shape.bounds for part in cut.parts if part.kind in SIZED])
    return float(bounds[:, 1].min() + bounds[:, 3].max()) / 2


def _write_across(page: Page, box: Box, size_mm: float, above: float, scale: float) -> None:
    """A design's outside size across, as long as it is drawn, right of its cut, so far above the middle of it."""
    x, middle, half = box.right + 1.5, (box.bottom + box.top) / 2 + above, scale * size_mm / 2
    for y in (middle - half, middle + half):
        page.line([(x - 1.0, y), (x + 1.0, y)], SOFT_INK, 0.6)
    page.line([(x, middle - half), (x, middle + half)], SOFT_INK, 0.6)
    page.text(x + 3.0, middle, f"{size_mm:.1f}", LABEL_PT, ha="center", va="center", upright=False)


def _write_size(page: Page, left: float, top: float, width: float, number: int, shown: Shown) -> None:
    outside, y = shown.design.outside, top - 2.0
    page.text(left, y, f"design-{number}", BODY_PT, weight="bold", va="top")
    lines = (
        f"{outside.width_mm:.1f} x {outside.height_mm:.1f} mm, {outside.depth_mm:.1f} deep",
        f"about {outside.weight_kg:.2f} kg; open sky {100 * outside.sky_share:.0f} %",
        f"least room {shown.room_mm:.1f} mm: {state_words(shown.nearest)}",
        *(_choice(path, words) for path, words in choices_words(shown.design.pick).items()),
    )
    for words in lines:
        y = page.taken[-1].bottom - 0.8
        page.fit(left, y, words, LABEL_PT, width, va="top")


def _choice(path: str, words: str) -> str:
    return words if path == MASKS else f"{path.removeprefix('box.')}: {words}"


def front_picture(report: Report) -> Figure:
    """Each design by the first two measures that are to be small, or by how much sky is open where one alone is."""
    shown, design = report.shown, report.loaded.scene.design
    assert design is not None
    across, up = scales_of(design.small)
    page, trade_off = Page(*A5_MM), design.is_trade_off
    what = "No design shown is beaten in both." if trade_off else "The best of each set of choices."
    page.head(f"{'Trade-off' if trade_off else 'Designs'}: {up.name} and {across.name}", f"{what} {shown[0].loaded.scene.title}")
    axes = page.axes(PLOT, label="front")
    places = np.array([[across.of(one.design.outside), up.of(one.design.outside)] for one in shown])
    _set_view(axes, places)
    axes.set_xlabel(f"{across.name} [{across.unit}]", fontsize=BODY_PT, fontfamily=FONT)
    axes.set_ylabel(f"{up.name} [{up.unit}]", fontsize=BODY_PT, fontfamily=FONT)
    axes.tick_params(labelsize=LABEL_PT)
    for axis, scale in ((axes.xaxis, across), (axes.yaxis, up)):
        if scale.unit == WHOLE:
            axis.set_major_locator(MaxNLocator(integer=True))
    axes.grid(color=RULE, linewidth=0.5)
    if trade_off:
        ordered = places[np.argsort(places[:, 0], kind="stable")]
        axes.step(*ordered.T, where="post", color=RAY_CLEAR, linewidth=1.2, label="front")
    for (x, y), one in zip(places, shown, strict=True):
        face = HIGHLIGHT if one.design.found.is_proven else PAPER
        axes.plot([x], [y], "o", markersize=7, color=HIGHLIGHT, markerfacecolor=face, label="design", clip_on=False)
    _write_numbers(page, axes, places)
    page.foot(
        "Left and down is smaller. 1: design-1, and so on. Filled: proven to be the smallest of its choices; open: smallest found."
    )
    return page.figure


def scales_of(small: Sequence[str]) -> tuple[Scale, Scale]:
    """What the picture counts across and up."""
    first, *rest = (SCALES[measure] for measure in small)
    return first, rest[0] if rest else SKY


def _set_view(axes: Axes, places: FloatArray) -> None:
    low, high = places.min(axis=0), places.max(axis=0)
    spare = np.maximum(SPARE * (high - low), LEAST_SPARE * np.maximum(np.abs(high), 1e-9))
    axes.set_xlim(low[0] - spare[0], high[0] + spare[0])
    axes.set_ylim(low[1] - spare[1], high[1] + spare[1])


def _write_numbers(page: Page, axes: Axes, places: FloatArray) -> None:
    """Each design's number beside its place; of those that lie together one below the other."""
    for number, (x, y) in enumerate(to_page(axes, PLOT, places), 1):
        ring = [
            (x + r * math.cos(t), y + r * math.sin(t)) for r in (5.0, 8.0, 11.0, 14.0) for t in np.radians([45, 135, -45, -135, 0])
        ]
        page.label_free(ring, str(number), BODY_PT, weight="bold")
