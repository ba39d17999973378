"""What a map means in words: how bad, where, whose fault, and what to do about it. Plain values in, plain values out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.body import Kind
from geometry.frame import where_in_words
from geometry.notes import Note, Severity
from raytrace.beam.frame_margin import WIDEST_PERCENT, Margin, pessimistic_share
from raytrace.optics.camera import Guide
from raytrace.shares import Shares, VignetteMap, loss_stops
from scenes.cautions.focus_plane import BEYOND
from scenes.states.clear_rule import LOSING_NOTHING, Limits, Word, has_room, lack_words, word_for, worst_word
from scenes.states.names import the
from scenes.verdicts.darkest import NO_PLACES, SharesAt, black_inmost_mm, darkest_mm
from scenes.verdicts.loss_words import lost_words

ALIKE_STOPS = 0.05  # corners this close to each other are named together,
SHOWN_ROOM_MM = 0.05  # rooms are told to a tenth of a mm: less than this is no difference
ALIKE_LEAST = 0.5  # if each loses at least this share of what the worst place does
MOST_ALIKE = 4096  # pixels of a wholly dark patch that are looked at to find its innermost
ALIKE_SHARE = 1e-4  # places that differ by less than this are equally dark
ALIKE_DIGITS = 6  # of half the guide: places as far out as each other but for rounding
ASIDE = 0.15  # of half the guide, by which a black patch beside the lines lies further in before it counts more
CANDIDATES = 6  # worst map pixels and rim points that are looked at again with more rays
ALL_ROOM = Margin(percent=WIDEST_PERCENT, capped=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLoss:
    """A part and the loss at the worst place if only it were there [stops]."""

    part: str
    kind: Kind
    alone_stops: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Worst:
    """The darkest place of a guide.

    loss_stops is the best estimate, worst_case_stops adds two standard errors and the engine's own bounds; range_stops holds
    the least and the most over the pupil depths that the lens may have. x_mm, y_mm are picture coordinates, right and up.
    """

    loss_stops: float
    worst_case_stops: float
    range_stops: tuple[float, float]
    where: str
    x_mm: float
    y_mm: float
    blame: PartLoss | None
    others: tuple[PartLoss, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TraysEmpty:
    """How a guide fares with the glass taken out: the least room of any part, which and where, and whether that is enough.

    loss_stops is the loss at the darkest place, None where the room is enough and nothing is lost. filters: how many are fitted.
    """

    room_mm: float
    part: str
    where: str
    enough: bool
    loss_stops: float | None = None
    filters: int = 0

    @property
    def filter_words(self) -> str:
        """'filter' where one is fitted, 'filters'."""
        return "filter" if self.filters == 1 else "filters"


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideVerdict:
    """How one guide fares in one state; of several pupil depths, with the worst.

    room_mm is the least clearance of any part from its beam, None where that was not or could not be measured; room_needed_mm is
    what scenes.states.clear_rule asks for. trays_empty is None where there is no glass to take out.
    """

    guide: str
    word: Word
    worst: Worst
    corners_stops: tuple[float, float, float, float]  # top left, top right, bottom right, bottom left
    on_axis_stops: float
    glass_axis_stops: float
    glass_corner_minus_axis_stops: float
    margin: Margin
    next_step: str
    pupil: int = 0  # which of the pupil depths in question the worst was found with
    room_mm: float | None = None
    room_needed_mm: float = 0.0
    trays_empty: TraysEmpty | None = None

    @property
    def lacks_room(self) -> bool:
        """Whether nothing visible is lost, but with less room than a pupil taken as fixed may be wrong by."""
        return self.word in LOSING_NOTHING and not has_room(self.room_mm, self.room_needed_mm)

    @property
    def lost_by_empty_trays(self) -> TraysEmpty | None:
        """How it fares with the trays empty, where that leaves too little room and less than the glass does; else None."""
        empty = self.trays_empty
        if empty is None or empty.enough:
            return None
        return None if self.room_mm is not None and self.room_mm - empty.room_mm < SHOWN_ROOM_MM else empty

    @property
    def lack_words(self) -> str:
        """In words; '' where there is room."""
        return lack_words(self.room_mm, self.room_needed_mm) if self.lacks_room else ""


def with_room(guide: GuideVerdict, *, room_mm: float | None, needed_mm: float, nearest: str) -> GuideVerdict:
    """The verdict with its room: never plain clear where a pupil taken as fixed may be wrong by more than that.

    `nearest` is the part that comes nearest to the beam, with its place, in words.
    """
    told = replace(guide, room_mm=room_mm, room_needed_mm=needed_mm)
    if not told.lacks_room or guide.word is not Word.CLEAR:
        return told
    where = f"tightest at {the(nearest)}" if nearest else "every corner and edge"
    step = f"confirm it on the test shoot ({where}), or measure the pupil off axis too (pupil_walk)"
    return replace(told, word=Word.TIGHT, next_step=step)


def with_trays_empty(guide: GuideVerdict, empty: TraysEmpty | None) -> GuideVerdict:
    """The verdict with how it fares without the glass: never plain clear where it is clear only with the filters in."""
    told = replace(guide, trays_empty=empty)
    if empty is None:
        return told
    if empty.enough:
        losing = guide.word not in LOSING_NOTHING and guide.next_step
        return replace(told, next_step=f"{guide.next_step}; with the trays empty it is clear") if losing else told
    keep = f"keep the {empty.filter_words} in"
    if guide.word is not Word.CLEAR:
        first = f"{guide.next_step}; for now " if guide.next_step else ""
        worse = guide.word in LOSING_NOTHING and empty.room_mm <= 0.0
        return replace(told, next_step=f"{first}{keep}: {only_with_glass(empty)}") if worse else told
    return replace(told, word=Word.TIGHT, next_step=f"{keep}, or other glass as thick: {only_with_glass(empty)}")


def only_with_glass(empty: TraysEmpty) -> str:
    """Why a frame is clear with its filters only: 'with the trays empty the mask stands 1.7 mm in the beam, top right, ...'."""
    loss = f", and {lost_words(empty.loss_stops)}" if empty.loss_stops is not None and empty.loss_stops > 0.0 else ""
    return f"{room_without_glass(empty)}, {empty.where}{loss}"


def room_without_glass(empty: TraysEmpty) -> str:
    """The same in short: 'with the trays empty the mask has 2.2 mm of room'."""
    how = f"stands {-empty.room_mm:.1f} mm in the beam" if empty.room_mm <= 0.0 else f"has {empty.room_mm:.1f} mm of room"
    return f"with the trays empty {the(empty.part)} {how}"


Remedy = Callable[[], str]  # what takes every part out of the light, in words; '' where that is not known


def no_remedy() -> str:
    """A Remedy that knows none."""
    return ""


def judge(
    guide: Guide,
    *,
    shares_at: Sequence[SharesAt],
    maps: Sequence[VignetteMap],
    kinds: Sequence[Kind],
    limits: Limits,
    margin: Margin = ALL_ROOM,
    doubtful_mm: NDArray[np.float64] = NO_PLACES,
    remedy: Remedy = no_remedy,
) -> GuideVerdict:
    """The verdict on a guide: searched over its map pixels, its edge and exact corners, and every pupil depth in question.

    shares_at and maps hold one entry per pupil depth; kinds names the parts by index. `margin` is how much the guide may grow;
    doubtful_mm (N, 2) are places in the picture whose light a part comes close to.
    """
    looks = [_Look.of(guide, at, map_, kinds, limits, doubtful_mm) for at, map_ in zip(shares_at, maps, strict=True)]
    pupil = max(range(len(looks)), key=lambda k: (looks[k].worst_case_stops, looks[k].loss_stops))
    worst_look = looks[pupil]
    worst = worst_look.worst(guide, (min(k.loss_stops for k in looks), max(k.loss_stops for k in looks)))
    nothing = all(look.nothing_lost for look in looks)
    word = word_for(nothing, worst.worst_case_stops, margin.percent, limits)
    return GuideVerdict(
        guide=guide.name,
        word=word,
        worst=worst,
        corners_stops=worst_look.corners_stops,
        on_axis_stops=max(look.on_axis_stops for look in looks),
        glass_axis_stops=worst_look.glass_axis_stops,
        glass_corner_minus_axis_stops=worst_look.glass_corner_stops - worst_look.glass_axis_stops,
        margin=margin,
        next_step=next_step(word, worst, margin, kinds, worst_look.names, remedy),
        pupil=pupil,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """A guide seen with one pupil depth."""

    point_mm: NDArray[np.float64]
    loss_stops: float
    worst_case_stops: float
    nothing_lost: bool
    blame: PartLoss | None
    others: tuple[PartLoss, ...]
    corners_stops: tuple[float, float, float, float]
    on_axis_stops: float
    glass_axis_stops: float
    glass_corner_stops: float
    names: tuple[str, ...]

    @classmethod
    def of(
        cls,
        guide: Guide,
        shares_at: SharesAt,
        map_: VignetteMap,
        kinds: Sequence[Kind],
        limits: Limits,
        doubtful_mm: NDArray[np.float64],
    ) -> _Look:
        rim_mm = guide.rim_points_mm()
        rim = shares_at(rim_mm, False)
        start_mm = np.concatenate([rim_mm[_lowest(guide, rim.clear_share, rim_mm)], _worst_pixels_mm(guide, map_)])
        found_mm = darkest_mm(guide, shares_at, start_mm, doubtful_mm)
        black_mm = black_inmost_mm(guide, shares_at) if (rim.clear_share <= 0.0).any() else NO_PLACES
        points_mm = np.concatenate([black_mm, start_mm, found_mm, guide.corners_mm(), [[0.0, 0.0]]])
        seen = shares_at(points_mm, True)
        axis, corners = len(points_mm) - 1, slice(len(points_mm) - 5, len(points_mm) - 1)
        k = _told(guide, pessimistic_share(seen)[:axis], points_mm[:axis], black=len(black_mm) > 0)
        blame, others = _blamed(seen, k, kinds, limits)
        losses, glass = loss_stops(seen.clear_share), loss_stops(seen.glass)
        corner_losses = losses[corners]
        return cls(
            point_mm=points_mm[k],
            loss_stops=float(losses[k]),
            worst_case_stops=float(loss_stops(pessimistic_share(seen))[k]),
            nothing_lost=bool(np.all(1.0 - seen.clear_share[:axis] + 2 * seen.stderr[:axis] <= limits.nothing_share)),
            blame=blame,
            others=others,
            corners_stops=(float(corner_losses[0]), float(corner_losses[1]), float(corner_losses[2]), float(corner_losses[3])),
            on_axis_stops=float(losses[axis]),
            glass_axis_stops=float(glass[axis]),
            glass_corner_stops=float(glass[corners].max()),
            names=seen.part_names,
        )

    def worst(self, guide: Guide, range_stops: tuple[float, float]) -> Worst:
        return Worst(
            loss_stops=self.loss_stops,
            worst_case_stops=self.worst_case_stops,
            range_stops=range_stops,
            where="" if self.blame is None else place_words(guide, self.point_mm, self.corners_stops, self.loss_stops),
            x_mm=float(self.point_mm[0]),
            y_mm=float(self.point_mm[1]),
            blame=self.blame,
            others=self.others,
        )


def _lowest(guide: Guide, shares: NDArray[np.float64], points_mm: NDArray[np.float64]) -> NDArray[np.intp]:
    """The darkest few; of those equally dark the ones furthest in, for there stands the part that takes most of the frame.

    Of those as far in as each other the upper, then the left one: the order hangs on nothing but the place.
    """
    darkest = shares <= shares.min() + ALIKE_SHARE
    sideways, up = ((points_mm - np.asarray(guide.centre_mm)) / [guide.half_width_mm, guide.half_height_mm]).T
    out = np.round(np.hypot(sideways, up), ALIKE_DIGITS)
    return np.lexsort((np.round(sideways, ALIKE_DIGITS), -np.round(up, ALIKE_DIGITS), out, np.where(darkest, 0.0, shares)))[
        :CANDIDATES
    ]


def _told(guide: Guide, shares: NDArray[np.float64], points_mm: NDArray[np.float64], *, black: bool) -> int:
    """The place that is told of, by index: the darkest; where much is black the first, which hangs on no pixel, is told of it.

    A black patch that lies clearly further in than the first place, away from the lines that it was looked for on, is told instead.
    """
    k = int(_lowest(guide, shares, points_mm)[0])
    if not black or shares[0] > shares[k]:
        return k
    first, found = np.linalg.norm((points_mm[[0, k]] - guide.centre_mm) / [guide.half_width_mm, guide.half_height_mm], axis=1)
    return 0 if first - found <= ASIDE else k


def _worst_pixels_mm(guide: Guide, map_: VignetteMap) -> NDArray[np.float64]:
    """Places of the guide's darkest pixels; a pixel that straddles the guide's edge is moved onto it."""
    centre, half = np.asarray(guide.centre_mm), np.array([guide.half_width_mm, guide.half_height_mm])
    column, row = pixel_pitch_mm(map_.x_mm), pixel_pitch_mm(map_.y_mm)
    across = np.flatnonzero(np.abs(map_.x_mm - centre[0]) < half[0] + column / 2)
    upright = np.flatnonzero(np.abs(map_.y_mm - centre[1]) < half[1] + row / 2)
    if not len(across) or not len(upright):
        return np.zeros((0, 2))
    inside = map_.clear_share[upright[0] : upright[-1] + 1, across[0] : across[-1] + 1]
    if not (inside < 1.0).any():
        return np.zeros((0, 2))
    count = min(CANDIDATES, inside.size)
    rows, columns = np.nonzero(inside <= np.partition(inside, count - 1, axis=None)[count - 1])
    step = max(len(rows) // MOST_ALIKE, 1)
    rows, columns = rows[::step], columns[::step]
    points = np.column_stack([map_.x_mm[across[columns]], map_.y_mm[upright[rows]]])
    picked = _lowest(guide, inside[rows, columns].astype(np.float64), points)
    return np.asarray(np.clip(points[picked], centre - half, centre + half))


def pixel_pitch_mm(centres_mm: NDArray[np.float64]) -> float:
    """Distance of neighbouring pixel centres [mm]; inf for a single pixel, which covers everything."""
    return float(abs(centres_mm[1] - centres_mm[0])) if len(centres_mm) > 1 else np.inf


def _blamed(seen: Shares, k: int, kinds: Sequence[Kind], limits: Limits) -> tuple[PartLoss | None, tuple[PartLoss, ...]]:
    """The part that stops most light first at place k, and every other part that would take something visible alone."""
    alone = loss_stops(seen.alone[k])
    losses = [PartLoss(part=seen.part_names[i], kind=kinds[i], alone_stops=float(alone[i])) for i in range(len(seen.part_names))]
    first = int(seen.blocked_by[k])
    if first < 0 or 1.0 - seen.clear_share[k] <= 0.0:
        return None, ()
    others = sorted(
        (loss for i, loss in enumerate(losses) if i != first and 1.0 - seen.alone[k, i] > limits.nothing_share),
        key=lambda loss: -loss.alone_stops,
    )
    return losses[first], tuple(others)


def place_words(guide: Guide, point_mm: NDArray[np.float64], corners_stops: Sequence[float], loss: float) -> str:
    """Where the worst place lies, as the operator says it; corners that fare alike are named together."""
    right, up = (point_mm - np.asarray(guide.centre_mm)) / [guide.half_width_mm, guide.half_height_mm]
    together = _corners_together(corners_stops, loss)
    return together if together and min(abs(right), abs(up)) > 0.9 else where_in_words(float(right), float(up))


def _corners_together(corners_stops: Sequence[float], loss: float) -> str:
    a, b, c, d = (_is_alike(corner, loss) for corner in corners_stops)
    return {
        (True, True, True, True): "all corners",
        (True, True, False, False): "both top corners",
        (False, False, True, True): "both bottom corners",
        (True, False, False, True): "both left corners",
        (False, True, True, False): "both right corners",
    }.get((a, b, c, d), "")


def _is_alike(corner_stops: float, loss: float) -> bool:
    """Whether a corner fares like the worst place: never where it loses nothing and that loses something."""
    return corner_stops >= loss or (loss - corner_stops <= ALIKE_STOPS and corner_stops >= ALIKE_LEAST * loss)


def at_words(where: str) -> str:
    """A place with its article: 'the right edge', 'the top right corner', 'both top corners'."""
    if where.startswith(("all ", "both ")):
        return where
    return f"the {where}" if where == "centre" else f"the {where} {'corner' if ' ' in where else 'edge'}"


def next_step(
    word: Word,
    worst: Worst,
    margin: Margin,
    kinds: Sequence[Kind],
    names: Sequence[str],
    remedy: Remedy = no_remedy,
) -> str:
    """What to do, in a sentence; empty where nothing needs doing."""
    if word is Word.CLEAR:
        return ""
    if word is Word.TIGHT and margin.percent > 0:
        return _keep_away(margin, kinds, names)
    blamed = f"take {the(worst.blame.part)} out of the light" if worst.blame else ""
    return remedy() or blamed or _keep_away(margin, kinds, names)


def _keep_away(margin: Margin, kinds: Sequence[Kind], names: Sequence[str]) -> str:
    if margin.part is None:
        return "shoot a test before trusting it: the errors of this way of computing reach the limit"
    part, place = names[margin.part], at_words(margin.where)
    if kinds[margin.part] in {Kind.FLAG, Kind.EXTENSION}:
        return f"do not bring {the(part)} any further in, and confirm {place} on the test shoot"
    return f"{the(part)} only just clears {place}: leave box and lens as they are, and confirm it on the test shoot"


def never_clear(guides: tuple[GuideVerdict, ...], notes: Sequence[Note]) -> tuple[GuideVerdict, ...]:
    """The verdicts of a state with these notes: tight at best where one of them doubts the light, which is then the next step."""
    fault = next((note for note in notes if note.doubts_light), None)
    if fault is None:
        return guides
    return _tight_at_best(guides, fault_step(fault))


def never_clear_beyond(guides: tuple[GuideVerdict, ...], notes: Sequence[Note]) -> tuple[GuideVerdict, ...]:
    """The verdicts of a state with these notes of its lens's picture: tight at best, where any is a fault."""
    if all(note.severity is not Severity.FAULT for note in notes):
        return guides
    return _tight_at_best(guides, "give the lens a picture or a guide that its table holds: see its fault")


def _tight_at_best(guides: tuple[GuideVerdict, ...], step: str) -> tuple[GuideVerdict, ...]:
    return tuple(
        replace(guide, word=worst_word([guide.word, Word.TIGHT]), next_step=step) if guide.word in LOSING_NOTHING else guide
        for guide in guides
    )


def fault_step(fault: Note) -> str:
    """What to do first, where a fault leaves the light in doubt."""
    told = fault.text.partition("; ")[0].partition(": ")[0]
    if BEYOND in fault.text:
        return f"check a farther focus too, or bring {the(fault.part)} back: it {told}"
    return f"first clear up the fault of {fault.part}: {told}"
