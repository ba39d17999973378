"""The main job: every state of a show traced and judged. Opens no file and prints nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from geometry.notes import Note, Severity, largest_of_each
from raytrace.beam.frame_margin import Margin
from raytrace.box import Box
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import LensState
from raytrace.shares import Made, Shares, VignetteMap
from scenes.cautions.focus_plane import focus_notes
from scenes.cautions.traced_notes import picture_notes
from scenes.io.writing import is_full
from scenes.runtime.engines import Engine, darkest_of, in_seconds, seed_of, sparing
from scenes.runtime.progress import Tick, silent
from scenes.states.clear_rule import (
    LOSING_NOTHING,
    RANK,
    UNSEEN_MM,
    UNSEEN_STOPS,
    Limits,
    Word,
    worst_word,
)
from scenes.states.judgement import doubts, without_glass
from scenes.states.keys import StateLabel
from scenes.states.names import OfState, in_a_sentence, state_words, the
from scenes.verdicts.darkest import SharesAt
from scenes.verdicts.in_glass import note_in_glass, parts_without_rooms, without_rooms
from scenes.verdicts.remedy import remedy_words
from scenes.verdicts.rooms import PartResult, guide_rooms, part_results, parts_apart, with_rooms
from scenes.verdicts.verdict import GuideVerdict, judge, never_clear, never_clear_beyond, no_remedy

if TYPE_CHECKING:
    from scenes.proof.verify import Finding
    from scenes.states.lens_judgement import LensJudgement
    from scenes.states.numbers_used import NumbersUsed
    from scenes.states.state import State

GUESS_PERCENT = 3.0  # a field guessed wider by less than this shifts the beam's edge by a mm or so: as much as a mount does
FOCUS_IN_BOX_COLUMNS = 256  # of the map where the plane in focus lies in the box: no block of it can be proven there
UNKNOWN_MARGIN = Margin(percent=0.0)  # where rooms could not be measured
FULL = "full"  # a map with every pixel of the camera


@dataclass(frozen=True, slots=True, kw_only=True)
class StateResult(OfState):
    """What was found for one lens, zoom, focus and stop."""

    plan: StateLabel
    pupils: tuple[str, ...]
    word: Word
    guides: tuple[GuideVerdict, ...]
    parts: tuple[PartResult, ...]
    notes: tuple[Note, ...]
    unlit_share: float  # of the map that the bare lens leaves dark
    columns: int
    rows: int
    made: Made
    files: tuple[str, ...] = ()
    field_guess_percent: tuple[float, float] | None = None  # how much wider than at infinity it is taken to be: across, upright

    @property
    def blamed(self) -> GuideVerdict:
        """The guide that fares worst."""
        return max(self.guides, key=lambda guide: (RANK[guide.word], guide.worst.worst_case_stops, -guide.margin.percent))


@dataclass(frozen=True, slots=True, kw_only=True)
class FailedState:
    """A state that could not be computed, and why in one sentence."""

    key: str
    lens_name: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckResult:
    """All states of a run, in the order of the scene; `tolerances` counts those that the scene gives and the run left out.

    lenses tell of each lens between its states; none where that was left out.
    numbers, lens by lens: what it was judged by.
    proofs, where asked for: what the verifier says of each state's clear guides, by its key.
    """

    states: tuple[StateResult, ...]
    failed: tuple[FailedState, ...]
    limits: Limits
    tolerances: int = 0
    lenses: tuple[LensJudgement, ...] = ()
    numbers: tuple[NumbersUsed, ...] = ()
    proofs: Mapping[str, tuple[Finding, ...]] | None = None

    @property
    def word(self) -> Word:
        """The worst word of all states."""
        return worst_word([state.word for state in self.states])

    @property
    def called_clear(self) -> dict[str, bool]:
        """By a state's key, whether it is clear; states with a fault, which may be of something else, are left out."""
        sound = [one for one in self.states if all(note.severity is not Severity.FAULT for note in one.notes)]
        return {one.plan.key: one.word is Word.CLEAR for one in sound}

    @property
    def faults(self) -> tuple[Note, ...]:
        """What keeps the box from being built or used as it stands, each once."""
        return largest_of_each(note for state in self.states for note in state.notes if note.severity is Severity.FAULT)

    @property
    def slips(self) -> tuple[Note, ...]:
        """Cautions about numbers that may be slips, each once."""
        return largest_of_each(note for state in self.states for note in state.notes if note.may_be_slip)

    @property
    def cautions(self) -> tuple[Note, ...]:
        """Every caution that a page lists, each once."""
        return largest_of_each(note for state in self.states for note in state.notes if note.severity is Severity.CAUTION)

    @property
    def exit_status(self) -> int:
        """0 all clear or tight, 1 a part darkens or enters a frame or the box has a fault, 2 a state could not be computed."""
        if self.failed or not self.states:
            return 2
        return 1 if self.faults or self.word in {Word.SHADING, Word.IN_FRAME} else 0


Keep = Callable[["State", StateResult, VignetteMap], tuple[str, ...]]


def keep_nothing(plan: State, state: StateResult, map_: VignetteMap) -> tuple[str, ...]:  # noqa: ARG001 - a Keep
    """A Keep that writes no files."""
    return ()


def run_check(
    plans: Sequence[State],
    engine: Engine,
    *,
    columns: int | str | None = None,
    limits: Limits | None = None,
    threads: int = 1,
    rooms: bool = False,
    tick: Tick = silent,
    keep: Keep = keep_nothing,
) -> CheckResult:
    """Every state traced and judged, by what their scene calls visible unless `limits` are given; one that fails leaves the others.

    `rooms` asks for every part's room_percent.

    `keep` gets each state's plan, result and map as soon as they are there and answers with the names of the files it made.
    `tick` counts to 100 for each state.
    """
    limits = limits or Limits(visible_loss_stops=plans[0].visible_loss_stops)
    states, failed = [], []
    for plan in plans:
        counted = _Counted(tick, state_words(plan))
        try:
            known = keep is not keep_nothing
            done = check_state(
                plan, engine, columns=columns, limits=limits, threads=threads, rooms=rooms, map_glass=known, tick=counted
            )
            states.append(_with_files(*done, plan, keep))
        except Exception as error:
            if is_full(error):
                raise
            failed.append(FailedState(key=plan.key, lens_name=plan.lens_name, why=in_a_sentence(error)))
        counted.finish()
    return CheckResult(states=tuple(states), failed=tuple(failed), limits=limits)


def check_state(
    plan: State,
    engine: Engine,
    *,
    columns: int | str | None,
    limits: Limits | None = None,
    threads: int = 1,
    rooms: bool = False,
    map_glass: bool = True,
    tick: Tick = silent,
) -> tuple[StateResult, VignetteMap]:
    """One state's result, by what its scene calls visible unless `limits` are given, and its map.

    Both are of the worst case over the pupil depths that the lens may have. No verdict hangs on what the glass takes in the map, so
    that a map which nobody keeps need not tell it.
    """
    limits = limits or Limits(visible_loss_stops=plan.visible_loss_stops)
    spared = sparing(engine, parts_apart(plan, rooms=rooms), glass=map_glass)
    maps = _maps(plan, spared, _grid(plan, engine, spared, columns), threads, tick)
    map_ = darkest_of(maps)
    parts, trouble = part_results(plan, rooms=rooms)
    guides = _guides(plan, engine, spared, maps, limits, rooms=rooms)
    guides = _doubted(plan, guides, parts, trouble, sampled=map_.made.rays_per_point > 0)
    if (fault := note_in_glass(plan.notes)) is not None:
        guides, parts = without_rooms(guides, fault), parts_without_rooms(parts)
    return _result(plan, guides, parts, trouble, map_), map_


def _grid(plan: State, engine: Engine, spared: Engine, columns: int | str | None) -> PixelGrid:
    grid = map_grid(plan, engine, columns)
    return in_seconds(spared, plan.variants, grid, plan.box) if columns is None else grid


def _maps(plan: State, spared: Engine, grid: PixelGrid, threads: int, tick: Tick) -> list[VignetteMap]:
    """The map at each pupil depth."""
    seed, share_of_work = seed_of(plan.key), _Shared(tick, len(plan.variants))
    return [spared.map(lens, grid, plan.box, seed=seed, threads=threads, tick=share_of_work) for lens in plan.variants]


def _guides(
    plan: State, engine: Engine, spared: Engine, maps: Sequence[VignetteMap], limits: Limits, *, rooms: bool
) -> tuple[GuideVerdict, ...]:
    """The verdict of each guide by the maps, the points looked at and the rooms."""
    seed, bare_box = seed_of(plan.key), without_glass(plan.box)
    remedy = no_remedy if note_in_glass(plan.notes) is not None else cache(partial(_remedy, plan))  # none is told of such a state
    shares_at = [_asker(spared, lens, plan.box, seed) for lens in plan.variants]
    bare = [_asker(engine, lens, bare_box, seed) for lens in plan.variants]
    kinds = [part.kind for part in plan.box.parts]
    return tuple(
        with_rooms(
            judge(
                guide,
                shares_at=shares_at,
                maps=maps,
                kinds=kinds,
                limits=limits,
                margin=UNKNOWN_MARGIN if known.fitted is None or known.fitted.margin is None else known.fitted.margin,
                doubtful_mm=known.doubtful_mm(plan),
                remedy=remedy,
            ),
            plan,
            guide,
            known,
            bare,
        )
        for guide, known in zip(plan.guides, guide_rooms(plan, rooms=rooms), strict=True)
    )


def _doubted(
    plan: State, guides: tuple[GuideVerdict, ...], parts: Sequence[PartResult], trouble: Sequence[Note], *, sampled: bool
) -> tuple[GuideVerdict, ...]:
    """The verdicts, none of which calls a frame clear that something leaves in doubt."""
    guides = field_first(guides, plan.field_guess_percent)
    guides = never_clear_beyond(guides, picture_notes(plan.lens_name, plan.variants, plan.guides))
    return never_clear(not_between_points(guides, parts, sampled=sampled), (*doubts(plan), *trouble))


def _result(
    plan: State,
    guides: tuple[GuideVerdict, ...],
    parts: tuple[PartResult, ...],
    trouble: Sequence[Note],
    map_: VignetteMap,
) -> StateResult:
    rows, columns = map_.lens.shape
    return StateResult(
        plan=plan.label,
        pupils=tuple(plan.variant_names),
        word=worst_word([guide.word for guide in guides]),
        guides=guides,
        parts=parts,
        notes=(*plan.notes, *trouble),
        unlit_share=float(np.mean(~(map_.lens > 0.0))),
        columns=columns,
        rows=rows,
        made=map_.made,
        field_guess_percent=plan.field_guess_percent,
    )


def field_first(guides: tuple[GuideVerdict, ...], guess_percent: tuple[float, float] | None) -> tuple[GuideVerdict, ...]:
    """The verdicts, whose next step starts with measuring the field where the loss may be no more than a field guessed too wide."""
    if guess_percent is None or max(guess_percent) < GUESS_PERCENT:
        return guides
    wider = f"{max(guess_percent):.0f} % wider than at infinity"
    first = f"first measure the field at this focus (assumed {wider}); if that holds, "
    return tuple(
        replace(guide, next_step=first + guide.next_step) if guide.word not in LOSING_NOTHING and guide.next_step else guide
        for guide in guides
    )


def not_between_points(
    guides: tuple[GuideVerdict, ...], parts: Sequence[PartResult], *, sampled: bool = True
) -> tuple[GuideVerdict, ...]:
    """The verdicts, none of which calls a frame clear where a part stands deep in the beam and no point looked at has seen it.

    A thin part can stand between the rays of points that are sampled; its clearance tells of it all the same. Exact areas round
    the very places where it should stand deepest do not miss it: there its depth is one of the widest that the beam may be, or all
    that it takes is the little told.
    """
    deep = min((part for part in parts if part.clearance_mm is not None), key=lambda part: part.clearance_mm or 0.0, default=None)
    if deep is None or deep.clearance_mm is None or deep.clearance_mm > -UNSEEN_MM:
        return guides
    if any(guide.worst.loss_stops >= UNSEEN_STOPS for guide in guides):
        return guides
    depth = f"{-deep.clearance_mm:.1f} mm"
    if sampled:
        step = f"trace more rays: {the(deep.name)} stands {depth} in the beam, between those looked at"
        return tuple(replace(guide, word=worst_word([guide.word, Word.SHADING]), next_step=step) for guide in guides)
    step = f"confirm it on the test shoot: no light is seen to be lost, but {the(deep.name)} may stand up to {depth} in the beam"
    return tuple(guide if guide.room_mm is not None and guide.room_mm > 0.0 else _tight_at_best(guide, step) for guide in guides)


def _tight_at_best(guide: GuideVerdict, step: str) -> GuideVerdict:
    """The verdict, tight where it was clear; with this step where it sees no light lost."""
    seen = guide.worst.blame is not None
    return replace(guide, word=worst_word([guide.word, Word.TIGHT]), next_step=guide.next_step if seen else step)


def _remedy(plan: State) -> str:
    """What is to be done; '' where working that out fails, which must not cost the verdict."""
    try:
        return remedy_words(plan)
    except Exception:  # noqa: BLE001 - the verdict does not rest on it
        return ""


def _asker(engine: Engine, lens: LensState, box: Box, seed: int) -> SharesAt:
    def shares_at(points_mm: NDArray[np.float64], fine: bool) -> Shares:
        return engine.shares(lens, points_mm, box, seed=seed, fine=fine)

    return shares_at


def _with_files(state: StateResult, map_: VignetteMap, plan: State, keep: Keep) -> StateResult:
    return replace(state, files=keep(plan, state, map_))


class _Counted:
    """A tick that names the state and makes sure that it counts exactly 100."""

    def __init__(self, tick: Tick, words: str) -> None:
        self._tick, self._words, self._done = tick, words, 0

    def __call__(self, steps: int, doing: str = "") -> None:
        self._done += steps
        self._tick(steps, doing or self._words)

    def finish(self) -> None:
        self._tick(100 - self._done, self._words)


class _Shared:
    """A tick that counts `count` whole maps as 100 together."""

    def __init__(self, tick: Tick, count: int) -> None:
        self._tick, self._count, self._done = tick, count, 0

    def __call__(self, steps: int, doing: str = "") -> None:
        before, self._done = self._done // self._count, self._done + steps
        self._tick(self._done // self._count - before, doing)


def map_grid(plan: State, engine: Engine, columns: int | str | None) -> PixelGrid:
    """The grid of a state's map: every pixel, so many across, or as many as the engine does in seconds."""
    if columns == FULL:
        return plan.grid
    if columns is None:
        columns = engine.columns(plan.grid)
        columns = min(columns, FOCUS_IN_BOX_COLUMNS) if focus_notes(plan.box, plan.variants) else columns
    return plan.grid.resized(int(columns))
