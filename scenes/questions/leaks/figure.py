"""Pictures of stray light: the leak picture, the sky as the glass sees it, and the strongest ways through the box."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap, Normalize
from matplotlib.figure import Figure
from matplotlib.image import AxesImage
from matplotlib.patches import Circle
from matplotlib.patheffects import Normal, Stroke
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.body import Part, Surface
from geometry.meshes import slab_mesh
from raytrace.optics.in_frame import frame_slopes
from raytrace.stray.direct import Sky, direction_to_chart
from raytrace.stray.picture import LeakPath
from scenes.io.pictures import PRINT_DPI
from scenes.questions.leaks.report import LeakReport, LightRow
from scenes.questions.leaks.text import opening_words, percent
from scenes.sheets.colours import GLASS_EDGE, HIGHLIGHT, INK, OPENING_COLOURS, PAPER, SOFT_INK, leak_colours, part_colour
from scenes.sheets.map_reading import middle_of_largest
from scenes.sheets.page import Box, Page, wrapped
from scenes.sheets.pieces import plate_style, to_page
from scenes.sheets.style import BODY_PT, FOOT_PT, LABEL_PT, MM_PER_INCH, TITLE_PT

PAGE_MM = (210.0, 148.0)
FAINTEST_STOPS = 13.0  # under the picture's own brightness: the scale ends where a black level hides all
WAYS = 6
WAYS_BOX = Box(18.0, 24.0, 136.0, 124.0)
BEHIND_MM, AHEAD_MM, ABOVE_MM, BELOW_MM = 60.0, 40.0, 30.0, 15.0  # shown around what the ways meet
AROUND = (
    (0.0, 2.6),
    (0.0, -2.6),
    (8.0, 0.0),
    (-8.0, 0.0),
    (8.0, 3.0),
    (-8.0, 3.0),
)  # of a cut's corner [mm], where its name may stand
ROWS_SHOWN = 5
NAME_REACH = (0.65, 0.3)  # of a light's name about its star, the same
WORD_REACH = 0.6  # of the word in the middle of a sky, in lengths of its chart
DARK_RIM = [Stroke(linewidth=2.4, foreground="#202020"), Normal()]  # white words and lines also stand on bright ground
FOOT = "Seen from behind the camera, upright; right and left as the operator has them."


def _page() -> Figure:
    return Figure(figsize=(PAGE_MM[0] / MM_PER_INCH, PAGE_MM[1] / MM_PER_INCH), dpi=PRINT_DPI, facecolor=PAPER)


def _written(figure: Figure, title: str, subtitle: str, foot: str) -> None:
    figure.text(0.04, 0.945, title, fontsize=TITLE_PT, fontweight="bold", color=INK, parse_math=False)
    figure.text(0.04, 0.905, subtitle, fontsize=BODY_PT, color=SOFT_INK, parse_math=False)
    lines = "\n".join(wrapped(line, FOOT_PT, 0.92 * PAGE_MM[0]) for line in foot.split("\n"))
    figure.text(0.04, 0.015, lines, fontsize=FOOT_PT, color=SOFT_INK, va="bottom", parse_math=False)


def leak_figure(report: LeakReport, title: str, subtitle: str) -> Figure:
    """The leak picture in stops against the same brightness in front, with the brightest place of each opening named."""
    picture, figure = report.picture, _page()
    _written(figure, title, subtitle, f"{FOOT} Brightness outside taken as that of the picture.")
    high = min(0.7, 0.76 * PAGE_MM[0] * picture.grid.height_mm / picture.grid.width_mm / PAGE_MM[1])
    axes = figure.add_axes((0.08, 0.84 - high, 0.76, high), label="picture")
    with np.errstate(divide="ignore"):
        shown = np.log2(picture.relative)
    half_w, half_h = picture.grid.width_mm / 2, picture.grid.height_mm / 2
    x, y = picture.grid.offset_mm
    image = axes.imshow(
        shown,
        origin="upper",
        extent=(x - half_w, x + half_w, y - half_h, y + half_h),
        cmap=leak_colours(),
        norm=Normalize(-FAINTEST_STOPS, max(0.0, float(shown.max(initial=-1.0)))),
        interpolation="nearest",
    )
    axes.set_xlabel("right of the lens axis [mm]", fontsize=LABEL_PT)
    axes.set_ylabel("above the lens axis [mm]", fontsize=LABEL_PT)
    axes.tick_params(labelsize=LABEL_PT)
    for guide in report.plan.guides:
        corners = guide.corners_mm()
        axes.plot(*np.vstack([corners, corners[:1]]).T, color="#FFFFFF", linewidth=0.7, linestyle=(0, (4, 3)))
    _name_leaks(axes, report)
    bar = figure.colorbar(image, cax=figure.add_axes((0.87, 0.84 - high, 0.02, high)))
    bar.set_label("leak against the picture [stops]", fontsize=LABEL_PT)
    bar.ax.tick_params(labelsize=LABEL_PT)
    _write_openings(figure, report, 0.84 - high - 0.13)
    return figure


def _write_openings(figure: Figure, report: LeakReport, top: float) -> None:
    """The gaps and what they let in, as far as the page has room."""
    room = max(0, int((top - 0.06) / 0.035))
    for k, row in enumerate(report.openings[: min(room, ROWS_SHOWN)]):
        brightest = f"{-math.log2(row.peak):.1f} stops under the picture at its brightest" if row.peak > 0 else "mirrors nothing in"
        words = f"{row.name}: {brightest}; {row.open_sr:.3f} sr of sky on the glass"
        figure.text(0.08, top - 0.035 * k, words, fontsize=BODY_PT, color=INK, parse_math=False)


def _name_leaks(axes: Axes, report: LeakReport) -> None:
    plate = {"facecolor": PAPER, "edgecolor": HIGHLIGHT, "linewidth": 1.0, "boxstyle": "round,pad=0.3"}
    seen = [row for row in report.openings if row.peak > 0]
    if not seen:
        axes.text(0.5, 0.5, "no mirrored leak", transform=axes.transAxes, ha="center", va="center", fontsize=BODY_PT, bbox=plate)
    for k, row in enumerate(seen[:3]):
        relative = report.picture.absolute[report.picture.opening_names.index(row.name)] / report.picture.front
        down, across = np.unravel_index(int(relative.argmax()), relative.shape)
        place = (float(report.picture.grid.x_mm[across]), float(report.picture.grid.y_mm[down]))
        words = f"{row.name}\n{-math.log2(row.peak):.1f} stops under the picture"
        axes.annotate(
            words,
            xy=place,
            xytext=(0.5, 0.62 - 0.2 * k),
            textcoords="axes fraction",
            ha="center",
            va="center",
            fontsize=BODY_PT,
            bbox=plate,
            arrowprops={"arrowstyle": "-", "color": HIGHLIGHT, "linewidth": 1.2},
            parse_math=False,
        )


def sky_figure(report: LeakReport, title: str, subtitle: str) -> Figure:
    """Which parts of the sky light the glass, and by which opening: straight ahead in the middle, behind on the rim."""
    figure = _page()
    foot = (
        "Straight ahead in the middle, dashed square to the lens axis, the rim straight behind; right and left as the operator's."
    )
    _written(figure, title, subtitle, f"{foot}\nWith no box all inside the dashed circle lights all of the glass.")
    share = figure.add_axes((0.02, 0.17, 0.44, 0.68), label="share")
    by = figure.add_axes((0.51, 0.17, 0.44, 0.68), label="opening")
    image = _share_chart(share, report.sky)
    _opening_chart(by, report)
    for axes in (share, by):
        _sky_marks(axes, report)
    share.set_title("share of the glass that each direction lights", fontsize=BODY_PT)
    by.set_title("by which opening", fontsize=BODY_PT)
    bar = figure.colorbar(image, cax=figure.add_axes((0.06, 0.145, 0.36, 0.018)), orientation="horizontal")
    bar.ax.tick_params(labelsize=FOOT_PT)
    return figure


def _share_chart(axes: Axes, sky: Sky) -> AxesImage:
    picture = sky.chart.spread(sky.share.sum(axis=0))
    return axes.imshow(
        picture, origin="upper", extent=(-2, 2, -2, 2), cmap=leak_colours(PAPER), norm=Normalize(0.0, 1.0), interpolation="nearest"
    )


def _opening_chart(axes: Axes, report: LeakReport) -> None:
    sky = report.sky
    names = report.setup.world.opening_names
    lit = sky.share.max(axis=0) > 0
    first = np.where(lit, sky.share.argmax(axis=0), -1).astype(np.float64)
    used = sorted({int(k) for k in first if k >= 0})
    colours = ListedColormap(["#202020", *(OPENING_COLOURS[k % len(OPENING_COLOURS)] for k in range(len(used)))])
    numbered = np.searchsorted(used, first) + 1.0
    picture = sky.chart.spread(np.where(first < 0, 0.0, numbered))
    axes.imshow(
        picture,
        origin="upper",
        extent=(-2, 2, -2, 2),
        cmap=colours,
        norm=BoundaryNorm(np.arange(-0.5, len(used) + 1.5), len(used) + 1),
        interpolation="nearest",
    )
    for k, opening in enumerate(used):
        colour = OPENING_COLOURS[k % len(OPENING_COLOURS)]
        y = -2.12 - 0.14 * k
        axes.text(-1.95, y, "\u25a0", color=colour, fontsize=LABEL_PT, va="top")
        axes.text(-1.8, y, f"{k + 1}  {opening_words(names[opening])}", color=INK, fontsize=LABEL_PT, va="top", parse_math=False)
        _number_patch(axes, picture == k + 1.0, k + 1, [_light_place(row) for row in report.lights])


def _number_patch(axes: Axes, chosen: NDArray[np.bool_], number: int, lights: Sequence[FloatArray]) -> None:
    """The number in the middle of an opening's largest patch: printed grey, colours alone would not tell it from the next."""
    if not chosen.any():
        return
    down, across = (4.0 * (np.arange(count) + 0.5) / count - 2.0 for count in chosen.shape)
    aside = chosen & (np.hypot(down[:, None], across) > WORD_REACH)  # off the word in the middle and the lights, where it can be
    for x, y in lights:
        aside &= (np.abs(across - x) > NAME_REACH[0]) | (np.abs(-down[:, None] - y) > NAME_REACH[1])
    row, column = middle_of_largest(aside if aside.any() else chosen)
    place = float(across[column]), -float(down[row])
    plate = {"facecolor": PAPER, "edgecolor": "none", "boxstyle": "circle,pad=0.15", "alpha": 0.85}
    axes.text(*place, str(number), color=INK, fontsize=FOOT_PT, ha="center", va="center", weight="bold", bbox=plate, zorder=5)


def _sky_marks(axes: Axes, report: LeakReport) -> None:
    """Frame, lights, the circle square to the axis, and the sides' names."""
    axes.set_xlim(-2.05, 2.05)
    axes.set_ylim(-2.05, 2.05)
    axes.set_axis_off()
    axes.add_patch(Circle((0, 0), 2.0, fill=False, edgecolor=INK, linewidth=1.0))
    axes.add_patch(Circle((0, 0), math.sqrt(2), fill=False, edgecolor="#FFFFFF", linewidth=0.7, linestyle=(0, (2, 2))))
    slopes = frame_slopes(report.lens, report.plan.grid)
    rim = np.column_stack([slopes, np.ones(len(slopes))])
    rim /= np.linalg.norm(rim, axis=1, keepdims=True)
    chart = direction_to_chart(rim)
    axes.plot(*np.vstack([chart, chart[:1]]).T, color="#FFFFFF", linewidth=1.2, path_effects=DARK_RIM)
    axes.text(0, 0, "picture", color=INK, fontsize=FOOT_PT, ha="center", va="center")
    for words, place in {"top": (0, 1.3), "bottom": (0, -1.3), "left": (-1.2, 0), "right": (1.2, 0)}.items():
        axes.text(*place, words, color="#FFFFFF", fontsize=FOOT_PT, ha="center", va="center", path_effects=DARK_RIM)
    for row in report.lights:
        _light_mark(axes, row)


def _light_place(row: LightRow) -> FloatArray:
    """Where a light stands on the chart of the sky."""
    (place,) = direction_to_chart(row.light.direction[None])
    return place


def _light_mark(axes: Axes, row: LightRow) -> None:
    place = _light_place(row)
    axes.plot(*place, marker="*", markersize=9, color="#FFFFFF", markeredgecolor=HIGHLIGHT, markeredgewidth=1.0)
    words = f"{row.light.name} {100 * row.seen.share:.0f} %"
    plate = {"facecolor": PAPER, "edgecolor": "none", "boxstyle": "round,pad=0.15", "alpha": 0.85}
    below = place[1] > 0.2
    axes.text(
        place[0],
        place[1] + (0.14 if below else -0.14),
        words,
        fontsize=FOOT_PT,
        ha="center",
        va="center",
        bbox=plate,
        parse_math=False,
    )


def ways_figure(report: LeakReport, title: str, subtitle: str) -> Figure:
    """The strongest mirrored ways through the box, each laid into the plane of the lens axis that the strongest one leaves in.

    Parts are named where they stand, the ways in a list beside the drawing.
    """
    page = Page(*PAGE_MM)
    page.head(title, subtitle)
    paths = report.picture.paths[:WAYS]
    axes = _way_axes(page, paths)
    azimuth = _azimuth(paths[0].corners_mm)
    cuts = _draw_parts(axes, report.setup.world.walls, azimuth)
    for glass in report.setup.mirror.glasses:
        mesh = slab_mesh(glass.slab)
        _draw_cut(axes, np.asarray(mesh.vertices)[mesh.faces], azimuth, GLASS_EDGE)
    for number, found in enumerate(paths):
        line = _in_own_plane(found)
        width = 0.7 + 2.3 * math.sqrt(found.peak / paths[0].peak)
        axes.plot(*line.T, color=_way_colour(number), linewidth=width, zorder=3)
        _number_way(page, axes, line, number + 1)
    _list_ways(page, report, paths)
    _name_parts(page, axes, cuts)
    page.foot(
        "The box is cut along the lens axis where the strongest path leaves; the others are turned into that plane. Thicker lines: "
        "more light. The scene lies toward the right."
    )
    return page.figure


def _number_way(page: Page, axes: Axes, flat: FloatArray, number: int) -> None:
    """The way's number on it, at the first of its pieces' middles and quarters that is free."""
    along = [flat[:-1] + share * np.diff(flat, axis=0) for share in (0.5, 0.3, 0.7, 0.15, 0.85)]
    places = [(float(x), float(y)) for x, y in to_page(axes, WAYS_BOX, np.concatenate(along))]
    page.label_free(places, str(number), FOOT_PT, within=WAYS_BOX, pad_mm=-0.2, weight="bold", bbox=plate_style(0.9), zorder=5)


def _in_own_plane(path: LeakPath) -> FloatArray:
    """The corners of a way (K, 2), laid into the drawing's plane: ahead of the lens front and from the axis [mm]."""
    return np.column_stack([path.corners_mm[:, 2], path.corners_mm[:, :2] @ _azimuth(path.corners_mm)])


def _way_axes(page: Page, paths: Sequence[LeakPath]) -> Axes:
    axes = page.axes(WAYS_BOX, label="ways")
    axes.set_xlabel("ahead of the lens front rim [mm]", fontsize=LABEL_PT)
    axes.set_ylabel("from the lens axis [mm]", fontsize=LABEL_PT)
    axes.tick_params(labelsize=FOOT_PT)
    corners = np.concatenate([_in_own_plane(path) for path in paths])
    inside = corners[corners[:, 0] > -BEHIND_MM / 2]  # off the filters and out by the gap
    front_mm, tall = float(inside[:, 0].max()) + AHEAD_MM, WAYS_BOX.height / WAYS_BOX.width
    wide_mm = max(front_mm + BEHIND_MM, (float(inside[:, 1].max()) + ABOVE_MM + BELOW_MM) / tall)
    axes.set_xlim(front_mm - wide_mm, front_mm)
    axes.set_ylim(-BELOW_MM, wide_mm * tall - BELOW_MM)  # of true shape
    axes.axhline(0.0, color=SOFT_INK, linewidth=0.6, linestyle=(0, (8, 3, 2, 3)))
    return axes


def _way_colour(number: int) -> str:
    return OPENING_COLOURS[number % len(OPENING_COLOURS)]


def _list_ways(page: Page, report: LeakReport, paths: Sequence[LeakPath]) -> None:
    """Each way by its number and colour: how bright it is at most, the opening it comes through, what mirrors it."""
    left, y = WAYS_BOX.right + 6.0, WAYS_BOX.top
    page.fit(left, y, "brightest place, opening, mirrors", LABEL_PT, page.width_mm - 8.0 - left, weight="bold", va="top")
    for number, found in enumerate(paths):
        y -= 15.5 if number else 7.0
        page.line([(left, y - 1.6), (left + 6.0, y - 1.6)], _way_colour(number), 2.6)
        page.text(left + 7.5, y, str(number + 1), LABEL_PT, va="top", weight="bold")
        words = f"{percent(found.peak)}: {report.picture.opening_names[found.opening]}, {found.name}"
        page.fit(left + 11.0, y, words, LABEL_PT, page.width_mm - 8.0 - left - 11.0, lines=4, va="top")


def _name_parts(page: Page, axes: Axes, cuts: Mapping[str, FloatArray]) -> None:
    """The name of each part beside its cut, where there is room; the drawing's ways are kept free."""
    for name, points in cuts.items():
        seen = points[(points[:, 0] > axes.get_xlim()[0]) & (points[:, 0] < axes.get_xlim()[1])]
        seen = seen[(seen[:, 1] > 0) & (seen[:, 1] < axes.get_ylim()[1])]
        order = np.argsort(
            np.linalg.norm(seen - points.mean(axis=0), axis=1)
        )  # the middle of a part first: its ends may be another's
        at = to_page(axes, WAYS_BOX, seen[order])
        places = [(x + right, y + up) for x, y in at[:: max(len(at) // 12, 1)] for right, up in AROUND]
        page.label_free(places, name, FOOT_PT, within=WAYS_BOX, pad_mm=0.0, colour=INK, bbox=plate_style(), zorder=4)


def _azimuth(corners_mm: FloatArray) -> FloatArray:
    """Unit vector (2,) from the lens axis toward where a way leaves."""
    last = corners_mm[-1, :2]
    return np.asarray(last / max(float(np.hypot(*last)), 1e-9))


def _draw_parts(axes: Axes, walls: Sequence[Part], azimuth: FloatArray) -> dict[str, FloatArray]:
    """Every wall cut by the half plane of the lens axis toward an azimuth; where each part is cut (N, 2), by name."""
    cuts: dict[str, list[FloatArray]] = {}
    for wall in walls:
        if isinstance(wall.body, Surface):
            found = _draw_cut(axes, wall.body.vertices_mm[wall.body.faces], azimuth, part_colour(wall.kind))
            cuts.setdefault(wall.name, []).extend(found)
    return {name: np.concatenate([np.mean(found, axis=1), *found]) for name, found in cuts.items() if found}


def _draw_cut(axes: Axes, corners: FloatArray, azimuth: FloatArray, colour: str) -> list[FloatArray]:
    pieces = [
        np.column_stack([piece[:, 2], piece[:, :2] @ azimuth])
        for piece in _cut_at_axis(corners, np.array([-azimuth[1], azimuth[0], 0.0]))
    ]
    for piece in pieces:
        axes.plot(*piece.T, color=colour, linewidth=1.3, solid_capstyle="round")
    return pieces


def _cut_at_axis(corners: FloatArray, normal: FloatArray) -> list[FloatArray]:
    """Segments (2, 3) in which triangles (F, 3, 3) meet the plane through the origin with this normal."""
    value = corners @ normal + 1e-6
    crossing = np.flatnonzero((value.min(axis=1) < 0) & (value.max(axis=1) > 0))
    return [_segment(corners[k], value[k]) for k in crossing]


def _segment(triangle: FloatArray, value: FloatArray) -> FloatArray:
    pairs = [(a, b) for a, b in ((0, 1), (1, 2), (2, 0)) if value[a] * value[b] < 0]
    return np.array([triangle[a] + (triangle[b] - triangle[a]) * (value[a] / (value[a] - value[b])) for a, b in pairs])
