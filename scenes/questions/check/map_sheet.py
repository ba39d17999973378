"""One state's loss as a picture a crew can act on: where, how much, and which part. Returns a figure; saves and shows nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from raytrace.optics.camera import Guide, whole_frame
from raytrace.shares import Made, VignetteMap
from scenes.questions.check.edge_rooms import EdgeRoom, edge_rooms
from scenes.questions.check.room_labels import write_rooms
from scenes.sheets.colours import BLACK, DARK_STOPS, HIGHLIGHT, INK, PAPER, SOFT_INK, loss_colours, loss_scale
from scenes.sheets.map_reading import (
    TOUCH_STOPS,
    Bite,
    bite_of,
    extent_mm,
    has_picture,
    inside_guides,
    known_loss,
    other_bites,
    readings,
    reduced,
    region_of,
    worst_bite,
)
from scenes.sheets.page import FONT, Box, Page, text_size_mm, wrapped
from scenes.sheets.pieces import (
    dash,
    draw_guides,
    draw_loss,
    fitted_frame,
    halo,
    isoline_levels,
    plate_style,
    shown_loss,
    to_page,
    write_badge,
)
from scenes.sheets.style import A5_MM, BODY_PT, FOOT_PT, LABEL_PT, NOTHING_STOPS, VERDICT_PT, stops_label
from scenes.states.names import state_words
from scenes.verdicts.in_glass import why_untold
from scenes.verdicts.loss_words import SHOWN_LOSS_STOPS
from scenes.verdicts.text import glass_words, guide_words, state_sentence

if TYPE_CHECKING:
    from scenes.states.state import State
    from scenes.verdicts.check import StateResult

_SPACE = Box(22.0, 31.0, 175.0, 120.0)  # where the picture may lie on the sheet [mm]
_SCALE_MM = (33.0, 109.0)  # foot and head of the scale: the same on every sheet, so that sheets can be laid side by side
CORNERS = ("top left", "top right", "bottom right", "bottom left")  # of a guide, as its verdict has them
SAME_CORNER_MM = 0.01
_LEADER_MM = 9.0  # a leader long enough to be seen


def map_sheet(plan: State, state: StateResult, map_: VignetteMap, visible_loss_stops: float) -> Figure:
    """The heatmap of a state on its sheet, with its verdict."""
    worst = state.blamed.worst
    lost = worst.blame is not None and worst.loss_stops >= SHOWN_LOSS_STOPS
    return map_figure(
        map_,
        plan.guides,
        title=state_words(state),
        subtitle=guide_words(state),
        verdict_word=str(state.word),
        blame=None if worst.blame is None else worst.blame.part,
        visible_loss_stops=visible_loss_stops,
        sentence=state_sentence(state),
        worst_stops=worst.loss_stops,
        worst_at=None if worst.blame is None else (worst.where, worst.x_mm, worst.y_mm),
        corners_stops=_corners_stops(plan, state),
        rooms=() if lost or why_untold(state.notes) else edge_rooms(plan, state.blamed.guide),
    )


def _corners_stops(plan: State, state: StateResult) -> dict[str, float]:
    """The losses that the verdict found at the frame's corners, closer than a map's pixels, where its guide is the whole frame."""
    guide, frame = next(guide for guide in plan.guides if guide.name == state.blamed.guide), whole_frame(plan.grid)
    same = np.allclose(guide.corners_mm(), frame.corners_mm(), atol=SAME_CORNER_MM)
    return dict(zip(CORNERS, state.blamed.corners_stops, strict=True)) if same else {}


def map_figure(
    map_: VignetteMap,
    guides: Sequence[Guide],
    *,
    title: str,
    subtitle: str = "",
    verdict_word: str,
    blame: str | None,
    visible_loss_stops: float,
    sentence: str = "",
    worst_stops: float | None = None,
    worst_at: tuple[str, float, float] | None = None,
    corners_stops: Mapping[str, float] | None = None,
    rooms: Sequence[EdgeRoom] = (),
) -> Figure:
    """Heatmap of the light a box takes in one state, on an A5 sheet.

    `title` names lens, focus and stop, `subtitle` the guide that the verdict is of; `blame` is the name of the part to blame, None
    where there is none; `sentence` follows the verdict word in place of what the map itself tells, and worst_stops is the loss that
    it tells, found between pixels too, worst_at where, in words and (right, up) [mm]: the callout then says the same number and
    place, and the frame's corners say those of corners_stops. `rooms`, of a guide that loses nothing, are written at its
    corners and edges. Axes labelled 'picture' carry loss in stops, clipped just above the scale's end; axes labelled 'scale'
    the colour bar, left out where rooms are shown and nothing is lost in the whole frame.
    """
    seen, page = reduced(map_), Page(*A5_MM)
    clean = bool(rooms) and float(known_loss(seen).max()) < NOTHING_STOPS
    bite, worst = None if rooms else _bite_of_blamed(seen, guides, blame), worst_bite(seen, inside_guides(seen, guides))
    if bite is not None and worst_stops is not None and worst is not None and (worst.part == blame or worst_at is not None):
        bite = replace(bite, loss_stops=worst_stops)
    if bite is not None and worst_at is not None:
        bite = replace(bite, where=worst_at[0], x_mm=worst_at[1], y_mm=worst_at[2])
    frame = fitted_frame(extent_mm(seen), _SPACE)
    axes = _draw_picture(page, seen, frame)
    levels = isoline_levels(visible_loss_stops)
    paths = _draw_isolines(axes, seen, levels)
    if not clean:
        _draw_scale(page, frame, levels)
    _write_head(page, title, subtitle, verdict_word, sentence or _sentence(bite, worst, guides, visible_loss_stops))
    if not clean:
        _write_sides(page, frame, {**readings(seen), **(corners_stops or {})})
    draw_guides(axes, guides)
    write_rooms(page, axes, frame, rooms)
    if bite is not None:
        _point_at(page, axes, frame, seen, bite)
    _name_guides(page, axes, frame, guides)
    _label_isolines(page, axes, frame, paths)
    others = other_bites(seen, guides, blame, visible_loss_stops)
    _write_foot(page, others, map_, ROOM_FOOT if rooms else _loss_foot(visible_loss_stops))
    return page.figure


def _bite_of_blamed(map_: VignetteMap, guides: Sequence[Guide], blame: str | None) -> Bite | None:
    return bite_of(map_, map_.part_names.index(blame), guides) if blame in map_.part_names else None


def _draw_picture(page: Page, map_: VignetteMap, frame: Box) -> Axes:
    axes = page.axes(frame, label="picture")
    draw_loss(axes, map_)
    axes.set_xlabel("right of the lens axis [mm]", fontsize=LABEL_PT, family=FONT, labelpad=13)
    axes.set_ylabel("above the lens axis [mm]", fontsize=LABEL_PT, family=FONT)
    axes.yaxis.set_label_coords(-9.2 / frame.width, 0.5)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(8, steps=[1, 2, 5, 10]))
    axes.tick_params(labelsize=FOOT_PT, length=2, pad=1.5, labelfontfamily=FONT)
    return axes


def _draw_isolines(axes: Axes, map_: VignetteMap, levels: Sequence[float]) -> dict[float, list[NDArray[np.float64]]]:
    """Draw the isolines that the map has; their paths (K, 2) in picture mm by level."""
    shown = shown_loss(map_)
    present = [level for level in levels if shown.count() and shown.min() < level < shown.max()]
    if min(shown.shape) < 2 or not present:
        return {}
    drawn = axes.contour(
        map_.x_mm, map_.y_mm, shown, levels=present, colors=INK, linewidths=0.9, linestyles=[dash(level) for level in present]
    )
    drawn.set_path_effects(halo())
    return {level: [path for path in paths if len(path) > 1] for level, paths in zip(present, drawn.allsegs, strict=True)}


def _draw_scale(page: Page, frame: Box, levels: Sequence[float]) -> None:
    box = Box(frame.right + 13.5, _SCALE_MM[0], frame.right + 17.0, _SCALE_MM[1])
    axes = page.axes(box, label="scale")
    steps = np.linspace(0.0, DARK_STOPS, 301)
    axes.imshow(
        (steps[:-1, None] + steps[1:, None]) / 2,
        origin="lower",
        extent=(0, 1, 0, DARK_STOPS),
        aspect="auto",
        cmap=loss_colours(),
        norm=loss_scale(),
    )
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_ylabel("light taken [stops]", fontsize=LABEL_PT, family=FONT, labelpad=2)
    for level in levels:
        axes.axhline(level, color=INK, linewidth=0.9, linestyle=dash(level), path_effects=halo(1.8))
    _write_scale(page, box, levels)


def _write_scale(page: Page, box: Box, levels: Sequence[float]) -> None:
    cap = Box(box.left, box.top, box.right, box.top + 5.5)
    page.figure.add_artist(
        Rectangle(
            (cap.left / page.width_mm, cap.bottom / page.height_mm),
            cap.width / page.width_mm,
            cap.height / page.height_mm,
            facecolor=BLACK,
            edgecolor=INK,
            transform=page.figure.transFigure,
        )
    )
    page.text(box.right + 1.2, cap.top - 1.2, "more", LABEL_PT, va="center")
    page.text(box.right + 1.2, box.bottom - 1.8, "none", LABEL_PT, va="center")
    for level in sorted({*levels, 2.0, DARK_STOPS}, reverse=True):
        words = "3 stops" if level == DARK_STOPS else stops_label(level)
        y = box.bottom + box.height * level / DARK_STOPS
        page.label_free([(box.right + 1.2 + text_size_mm(words, LABEL_PT)[0] / 2, y)], words, pad_mm=-0.35)


def _write_head(page: Page, title: str, subtitle: str, verdict_word: str, sentence: str) -> None:
    page.head(title, subtitle)
    after = write_badge(page, 8.0, page.height_mm - 19.5, verdict_word, VERDICT_PT)
    page.fit(after, page.height_mm - 19.5, sentence, VERDICT_PT, page.width_mm - 8.0 - after, va="center")


def _sentence(bite: Bite | None, worst: Bite | None, guides: Sequence[Guide], visible_loss_stops: float) -> str:
    area = f"inside {guides[0].name}" if len(guides) == 1 else ("inside the guides" if guides else "in the picture")
    if worst is None:
        outside = f"; {bite.part} stays outside it" if bite is not None else ""
        return f"no part takes light {area}{outside}"
    if worst.loss_stops < visible_loss_stops:
        return f"at most {stops_label(worst.loss_stops)} {area} ({worst.where}, {worst.part}): not visible"
    return f"worst {area}: {stops_label(worst.loss_stops)} at {worst.where}, taken by {worst.part}"


def _write_sides(page: Page, frame: Box, losses: Mapping[str, float]) -> None:
    """Name corners and sides around the picture, with the loss that each has: the frame's, which no guide's verdict is about."""
    told = {place: f"frame {place}: {'no picture' if np.isnan(value) else stops_label(value)}" for place, value in losses.items()}
    for row, y in (("top", frame.top + 1.8), ("bottom", frame.bottom - 7.2)):
        left, middle, right = told[f"{row} left"], told[row], told[f"{row} right"]
        roomy = sum(text_size_mm(words, LABEL_PT)[0] for words in (left, right)) + 3.0 < frame.width
        page.text(frame.left, y, left, LABEL_PT, ha="left" if roomy else "center")
        page.text(frame.right, y, right, LABEL_PT, ha="right" if roomy else "center")
        x = frame.at(0.5, 0)[0]
        if page.is_free(page.text_box(x, y, middle, LABEL_PT, ha="center")):
            page.text(x, y, middle, LABEL_PT, ha="center")
    page.text(frame.left - 13.4, frame.at(0, 0.5)[1], told["left"], LABEL_PT, ha="right", va="center", upright=False)
    page.text(frame.right + 2.6, frame.at(0, 0.5)[1], told["right"], LABEL_PT, va="center", upright=False)


def _name_guides(page: Page, axes: Axes, frame: Box, guides: Sequence[Guide]) -> None:
    """Name guides along their bottom or top edge, where there is room."""
    for guide in guides:
        name = wrapped(guide.name, LABEL_PT, frame.width * 0.45)
        half = text_size_mm(name, LABEL_PT)[0] / 2 + 1.5
        places = _along_guide(to_page(axes, frame, guide.corners_mm()), half)
        page.label_free(places, name, within=frame, pad_mm=0.3, bbox=plate_style(), zorder=4)


def _along_guide(corners: NDArray[np.float64], half_mm: float) -> Iterator[tuple[float, float]]:
    (left, top), (right, bottom) = corners[0], corners[2]
    for y in (bottom + 2.4, top - 2.4, bottom - 2.4, top + 2.4):
        for x in (left + half_mm, right - half_mm, (left + right) / 2, left + (right - left) / 4, right - (right - left) / 4):
            yield float(x), float(y)


def _point_at(page: Page, axes: Axes, frame: Box, map_: VignetteMap, bite: Bite) -> None:
    """Outline what the blamed part takes, and lead from its name to where it bites worst."""
    _outline_region(axes, map_, region_of(map_, map_.part_names.index(bite.part)))
    ((x, y),) = to_page(axes, frame, np.array([[bite.x_mm, bite.y_mm]]))
    axes.plot(
        bite.x_mm,
        bite.y_mm,
        marker="o",
        markersize=6,
        markerfacecolor="none",
        markeredgecolor=HIGHLIGHT,
        markeredgewidth=1.6,
        clip_on=False,
        zorder=5,
        path_effects=halo(3.0),
    )
    words = f"{wrapped(bite.part, BODY_PT, min(frame.width * 0.55, 55.0), 'bold')}\n{stops_label(bite.loss_stops)}, {bite.where}"
    place = _place_for_name(page, frame, (x, y), words)
    page.take(Box(x - 2.0, y - 2.0, x + 2.0, y + 2.0))
    if place is None:
        return  # a picture too small for the name: head and foot of the sheet carry it
    plate = {"facecolor": PAPER, "edgecolor": HIGHLIGHT, "linewidth": 1.2, "boxstyle": "round,pad=0.3"}
    page.text(*place, words, BODY_PT, ha="center", va="center", weight="bold", bbox=plate, zorder=6)
    page.take(_name_box(page, place, words))
    end = _nearest_on(page.taken[-1], x, y)
    page.line([(x, y), end], HIGHLIGHT, 1.4, zorder=2, path_effects=halo(2.8))
    for share in np.linspace(0.0, 1.0, 12):
        u, v = x + share * (end[0] - x), y + share * (end[1] - y)
        page.take(Box(u - 0.6, v - 0.6, u + 0.6, v + 0.6))


def _name_box(page: Page, place: tuple[float, float], words: str) -> Box:
    return page.text_box(*place, words, BODY_PT, ha="center", va="center", weight="bold", pad_mm=1.4)


def _nearest_on(box: Box, x: float, y: float) -> tuple[float, float]:
    """The place of a box nearest to a point [mm]."""
    return min(max(x, box.left), box.right), min(max(y, box.bottom), box.top)


def _place_for_name(page: Page, frame: Box, target: tuple[float, float], words: str) -> tuple[float, float] | None:
    """Where the name of the part to blame stands free, near the place it points at, toward the picture's middle first."""
    middle = frame.at(0.5, 0.5)

    def cost(place: tuple[float, float]) -> float:
        gap = float(np.hypot(*np.subtract(_nearest_on(_name_box(page, place, words), *target), target)))
        short = 20.0 * max(_LEADER_MM * 0.6 - gap, 0.0)
        return abs(gap - _LEADER_MM) + short + 0.3 * float(np.hypot(*np.subtract(place, middle)))

    places = [frame.at(r, u) for r in np.linspace(0.04, 0.96, 32) for u in np.linspace(0.05, 0.95, 24)]
    return next((p for p in sorted(places, key=cost) if page.is_free(_name_box(page, p, words), frame)), None)


def _outline_region(axes: Axes, map_: VignetteMap, region: NDArray[np.bool_]) -> None:
    """Outline a region of pixels, along the picture's edge too."""
    if not region.any():
        return
    left, right, bottom, top = extent_mm(map_)
    padded = np.pad(region.astype(float), 1)
    x = np.concatenate([[left], map_.x_mm, [right]])
    y = np.concatenate([[top], map_.y_mm, [bottom]])
    drawn = axes.contour(x, y, padded, levels=[0.5], colors=HIGHLIGHT, linewidths=1.8)
    drawn.set_path_effects(halo(3.0))
    drawn.set_label("region to blame")


def _label_isolines(page: Page, axes: Axes, frame: Box, paths: dict[float, list[NDArray[np.float64]]]) -> None:
    """Write its level on each isoline once or twice where there is room; the dashes tell them apart elsewhere."""
    for level, lines in paths.items():
        for path in sorted(lines, key=_length, reverse=True)[:2]:
            places = to_page(axes, frame, path)
            if _length(places) > 12.0:
                order = np.argsort(np.abs(np.arange(len(places)) - len(places) / 2))
                page.label_free(
                    ((places[i, 0], places[i, 1]) for i in order),
                    stops_label(level),
                    within=frame,
                    pad_mm=0.2,
                    bbox=plate_style(),
                    zorder=4,
                )


def _length(path: NDArray[np.float64]) -> float:
    return float(np.hypot(*np.diff(path, axis=0).T).sum())


ROOM_FOOT = "In mm: least distance in space from the light of that corner or edge of the guide to any part."


def _loss_foot(visible_loss_stops: float) -> str:
    outline = f"Orange line: where the part named takes most, from {TOUCH_STOPS:g} stop on."
    return f"{outline} Visible: from {stops_label(visible_loss_stops)} on."


def _write_foot(page: Page, others: Sequence[Bite], map_: VignetteMap, told: str) -> None:
    width = page.width_mm - 16.0
    if others:
        page.fit(8.0, 12.4, _others_words(others, width), LABEL_PT, width)
    told += "" if has_picture(map_).all() else " Hatched: the lens gives no picture."
    page.fit(8.0, 8.2, f"Seen from behind the camera. {told}", FOOT_PT, width, colour=SOFT_INK)
    filters = glass_words(glass_in_corners(map_))
    last = f"{provenance(map_)} Not shown: {filters}." if filters else provenance(map_)
    page.fit(8.0, 4.0, last, FOOT_PT, width, colour=SOFT_INK)


def _others_words(others: Sequence[Bite], width_mm: float) -> str:
    """The other parts that take light, as many as fit a line, and how many more there are."""
    told = [f"{bite.part} ({stops_label(bite.loss_stops)} at {bite.where})" for bite in others]
    for count in range(len(told), 0, -1):
        rest = f"; and {len(told) - count} more" if count < len(told) else ""
        words = f"Takes light too: {'; '.join(told[:count])}{rest}"
        if text_size_mm(words, LABEL_PT)[0] <= width_mm:
            return words
    return words


def provenance(map_: VignetteMap) -> str:
    """How a map was made and how far it may be off, in one plain line; results.json holds every bound."""
    made: Made = map_.made
    how = f"with {made.rays_per_point} rays a point" if made.rays_per_point else "by areas"
    noise = 2 * float(np.max(np.nan_to_num(map_.stderr), initial=0.0))
    off = noise + sum(bound.size for bound in made.bounds if bound.unit == "share")
    accurate = f"; accurate to {_rounded_up(off)} of the light" if off > 0 else ""
    return f"Computed {how}{accurate}."


def _rounded_up(share: float) -> str:
    """A bound to one digit, never smaller than it is."""
    step = 10.0 ** np.floor(np.log10(share) + 1e-9)
    return f"{np.ceil(share / step - 1e-9) * step:.6f}".rstrip("0")


def glass_in_corners(map_: VignetteMap) -> float:
    """What the filters take more in the picture's worst corner than in its middle, of corners that get light at all [stops]."""
    seen = has_picture(map_) & (map_.glass > 0) & (map_.clear_share > 0)
    rows, columns = map_.glass.shape
    corners = [(r, c) for r in (0, rows - 1) for c in (0, columns - 1) if seen[r, c]]
    middle = rows // 2, columns // 2
    if not corners or not seen[middle]:
        return 0.0
    return float(np.log2(map_.glass[middle] / min(map_.glass[corner] for corner in corners)))
