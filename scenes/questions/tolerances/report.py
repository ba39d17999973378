"""How sure it is that nothing stands in the beam of a show whose measures are only known to a tolerance. Prints nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raytrace.tolerance import Effect, Spread, WorstCase, builds, share_range, spread_of, worst_case
from scenes.questions.tolerances.clearances import Build, LensBench, Pair, Reach
from scenes.questions.tolerances.inputs import Input, inputs_of, touches
from scenes.questions.tolerances.unbuilt import Unbuilt, fault_of, first_fault
from scenes.runtime.first_run import prepare_judge
from scenes.runtime.progress import Tick, silent
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.tables.scene import Scene
from scenes.states.clear_rule import has_room, room_needed_mm
from scenes.states.load import Loaded
from scenes.states.select import widest_stops
from scenes.states.state import State

LENS_S, TOLD_S, PIECES = 1.0, 0.1, 4  # what a lens takes, about, and what is told of it; pieces that its builds come in
BUILDS = 200  # half of them clear is then known to 7 in a hundred, all of them to 2
TOLD_MM = 0.005  # less than this is no effect: a hundredth is as fine as clearances are told
SCREEN_TICKS, BUILD_TICKS = 60, 40  # of 100 for each lens
NO_TOLERANCE = (
    "the scene gives none; add a table [[tolerance]] with lines such as "
    '`of = "box.ahead_mm"` and `plus_minus = 1`, or give a pupil position as bounds'
)
NO_PART = "the box has no part that could stand in a beam"


@dataclass(frozen=True, slots=True, kw_only=True)
class LensSurety:
    """How sure one lens is: as written, at the worst, what each input does, and how builds come out.

    spread is None where no build needed trying, because all come out alike (`always`, `never`). only_with_glass is the part that
    stands in the beam of the box as written once its trays are empty, and in which state; None where none does. unbuilt: the builds
    that cannot be built, none of which is clear.
    """

    lens_name: str
    inputs: tuple[Input, ...]
    nominal: Build
    worst: Build
    effects: tuple[Effect, ...]
    spread: Spread | None
    only_with_glass: Build | None = None
    unbuilt: Unbuilt | None = None

    @property
    def always(self) -> bool:
        """Whether every build is clear, by the worst of them and by what its inputs can do at most."""
        return self.spread is None and self.worst.clearance_mm > 0

    @property
    def never(self) -> bool:
        """Whether no build is clear."""
        return self.spread is None and self.worst.clearance_mm <= 0

    @property
    def clear_share(self) -> float:
        """Share of builds that are clear."""
        return self.spread.clear_share if self.spread is not None else float(self.always)

    @property
    def needed_mm(self) -> float:
        """The room that `check` asks for with this lens, whose pupil may be taken as fixed."""
        return room_needed_mm(self.worst.state.variants)

    @property
    def lacks_room(self) -> bool:
        """Whether the worst build is clear only if a pupil taken as fixed stands still."""
        return self.worst.clearance_mm > 0 and not has_room(self.worst.clearance_mm, self.needed_mm)

    @property
    def least_sure(self) -> str:
        """Path of the input that the answer hangs on most; '' where it hangs on none."""
        if self.spread is not None and self.spread.least_sure:
            return self.spread.least_sure
        return self.effects[0].name if self.effects and self.effects[0].swing > 0 else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surety:
    """How sure a whole show is: lens by lens, and all lenses on one and the same build."""

    scene: Scene
    inputs: tuple[Input, ...]
    lenses: tuple[LensSurety, ...]
    count: int
    seed: int
    spread: Spread | None  # of the least room with any lens; None where no lens was in doubt

    @property
    def clear_share(self) -> float:
        """Share of builds in which every lens is clear."""
        if any(lens.never for lens in self.lenses):
            return 0.0
        return self.spread.clear_share if self.spread is not None else 1.0

    @property
    def always(self) -> bool:
        """Whether every build is clear with every lens."""
        return all(lens.always for lens in self.lenses)

    @property
    def unbuilt(self) -> LensSurety | None:
        """The lens with which most builds cannot be built; None where all can."""
        found = [lens for lens in self.lenses if lens.unbuilt is not None]
        return max(found, key=lambda lens: lens.unbuilt.count if lens.unbuilt else 0, default=None)

    @property
    def worst(self) -> LensSurety:
        """The lens with the worst build."""
        return min(self.lenses, key=lambda lens: lens.worst.clearance_mm)

    @property
    def counted(self) -> tuple[LensSurety, ...]:
        """The lenses on which measures have a say: those that some build clears, all where none does."""
        return tuple(lens for lens in self.lenses if not lens.never) or self.lenses

    @property
    def nominal_mm(self) -> float:
        """The least room of any lens as written."""
        return min(lens.nominal.clearance_mm for lens in self.lenses)

    @property
    def effects(self) -> tuple[Effect, ...]:
        """What each input alone does to the least room of the lenses counted, the largest first."""
        found, nominal = [], min(lens.nominal.clearance_mm for lens in self.counted)
        for item in self.inputs:
            ends = [_ends(lens, item.path) for lens in self.counted]
            low, high = (min(answers) for answers in zip(*ends, strict=True))
            found.append(Effect(name=item.path, at_low=low, nominal=nominal, at_high=high))
        return tuple(sorted(found, key=lambda effect: -effect.swing))

    @property
    def least_sure(self) -> str:
        """Path of the input that the lenses counted hang on most; '' where they hang on none."""
        if self.spread is not None and self.spread.least_sure:
            return self.spread.least_sure
        return self.effects[0].name if self.effects and self.effects[0].swing > 0 else ""


def _ends(lens: LensSurety, path: str) -> tuple[float, float]:
    """A lens's answer at both ends of an input; as written where the input does not touch it."""
    nominal = lens.nominal.clearance_mm
    return next(((e.at_low, e.at_high) for e in lens.effects if e.name == path), (nominal, nominal))


def surety(loaded: Loaded, plans: Sequence[State], count: int = BUILDS, seed: int = 0, tick: Tick = silent) -> Surety:
    """How sure the states of a show are over everything that may come out otherwise; `tick` counts to 100 for each lens."""
    items = inputs_of(loaded.scene)
    if not items:
        raise _no_answer(loaded, NO_TOLERANCE)
    tried = builds([item.tolerance for item in items], count, np.random.default_rng(seed))
    benches = _benches(loaded, items, plans)
    own = [tried[:, [items.index(item) for item in bench.items]] for bench in benches]
    lenses = lens_sureties(benches, own, tick)
    sampled = [lens.spread.values for lens in lenses if lens.spread is not None]
    spread = spread_of(tuple(item.path for item in items), tried, np.min(sampled, axis=0)) if sampled else None
    not_built = [lens.unbuilt.rows for lens in lenses if lens.unbuilt is not None]
    if spread is not None and not_built:
        spread = _less_unbuilt(spread, np.any(not_built, axis=0))
    return Surety(scene=loaded.scene, inputs=items, lenses=lenses, count=count, seed=seed, spread=spread)


def _less_unbuilt(spread: Spread, unbuilt: NDArray[np.bool_]) -> Spread:
    """How builds come out of which some cannot be built: those are not clear."""
    clear, count = int(((spread.values > 0) & ~unbuilt).sum()), len(unbuilt)
    return replace(spread, clear_share=clear / count, share_range=share_range(clear, count))


def _no_answer(loaded: Loaded, problem: str) -> SceneError:
    return SceneError([Complaint(where="tolerance", problem=problem, source=loaded.file_name)])


def _benches(loaded: Loaded, items: Sequence[Input], plans: Sequence[State]) -> list[LensBench]:
    """A bench for each lens that is asked for and has parts in front of it."""
    found = []
    for lens in loaded.scene.lens:
        own = tuple(plan for plan in widest_stops(plans) if plan.lens_name == lens.name and plan.box.parts)
        moving = tuple(item for item in items if touches(loaded.scene, item, lens))
        if own:
            found.append(LensBench(plans=own, items=moving))
    if not found:
        raise _no_answer(loaded, NO_PART)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Screened:
    """What is known of a lens before any build is drawn: between which numbers all answers lie, and the worst of the corners."""

    low_mm: float
    high_mm: float
    reaches: dict[Pair, Reach]
    worst: WorstCase
    fault: tuple[str, dict[str, float]] | None  # of a build that cannot be built

    @property
    def in_doubt(self) -> bool:
        """Whether builds may be clear or not."""
        return self.high_mm > 0 and (self.low_mm <= 0 or self.fault is not None)

    def on(self, bench: LensBench) -> LensBench:
        """A bench that measures builds by what is known."""
        return LensBench(plans=bench.plans, items=bench.items, reaches=self.reaches)


def lens_sureties(
    benches: Sequence[LensBench], tried: Sequence[NDArray[np.float64]], tick: Tick = silent
) -> tuple[LensSurety, ...]:
    """Every lens, on all cores: which parts can come nearest and the worst corner, then builds where the answer is in doubt."""
    prepare_judge()
    steps = {bench.lens.name: _Steps(tick, bench.lens.name) for bench in benches}

    def counted(share: float) -> Tick:
        return lambda _, name="": steps[name](share)

    screened = shared_out(_screened, benches, each_s=LENS_S, tick=counted(SCREEN_TICKS), words=_name, elsewhere=True)
    ready = [known.on(bench) for bench, known in zip(benches, screened, strict=True)]
    asked = [
        (bench, some, known.fault is not None)
        for bench, known, rows in zip(ready, screened, tried, strict=True)
        if known.in_doubt
        for some in np.array_split(rows, PIECES)
    ]
    pieces = shared_out(
        _answers, asked, each_s=LENS_S / PIECES, tick=counted(BUILD_TICKS / PIECES), words=lambda one: _name(one[0]), elsewhere=True
    )
    answers: dict[str, list[NDArray[np.float64]]] = {bench.lens.name: [] for bench in benches}
    for (bench, *_), piece in zip(asked, pieces, strict=True):
        answers[bench.lens.name].append(piece)
    found = [
        (bench, known, rows, np.concatenate(answers[bench.lens.name]) if known.in_doubt else None)
        for bench, known, rows in zip(ready, screened, tried, strict=True)
    ]
    return tuple(shared_out(_told, found, each_s=TOLD_S, elsewhere=True))


def _name(bench: LensBench) -> str:
    return bench.lens.name


def _screened(bench: LensBench) -> _Screened:
    low, high = bench.screen()
    worst = worst_case(bench.answer_mm, [item.tolerance for item in bench.items], bench.worst_corners())
    return _Screened(low_mm=low, high_mm=high, reaches=bench.reaches, worst=worst, fault=first_fault(bench, worst.inputs))


def _told(asked: tuple[LensBench, _Screened, NDArray[np.float64], NDArray[np.float64] | None]) -> LensSurety:
    """One lens, by the answers of its builds where it is in doubt."""
    bench, known, tried, answers = asked
    found = known.worst
    worst, spread, unbuilt = bench.build(found.inputs), None, None
    if answers is not None:
        spread = spread_of(tuple(bench.nominal), tried, answers[:, 0])
        if known.fault is not None:
            unbuilt = Unbuilt(rows=tuple((answers[:, 1] > 0).tolist()), why=known.fault[0], values=known.fault[1])
            spread = _less_unbuilt(spread, answers[:, 1] > 0)
        if spread.values.min() < found.worst:
            worst = bench.build(_row(bench, tried[int(spread.values.argmin())]))
    return LensSurety(
        lens_name=bench.lens.name,
        inputs=bench.items,
        nominal=bench.build(bench.nominal),
        worst=_plainest(bench, worst, found.effects),
        effects=found.effects,
        spread=spread,
        only_with_glass=bench.only_with_glass(),
        unbuilt=unbuilt,
    )


def _plainest(bench: LensBench, worst: Build, effects: Sequence[Effect]) -> Build:
    """The worst build with everything as written that does nothing to it."""
    idle = {effect.name for effect in effects if effect.swing < TOLD_MM}
    plain = bench.build({path: bench.nominal[path] if path in idle else value for path, value in worst.values.items()})
    return plain if plain.clearance_mm <= worst.clearance_mm + TOLD_MM else worst


def _row(bench: LensBench, row: NDArray[np.float64]) -> dict[str, float]:
    return dict(zip(bench.nominal, row.tolist(), strict=True))


def _answers(asked: tuple[LensBench, NDArray[np.float64], bool]) -> NDArray[np.float64]:
    """The answers of some builds [mm], and 1 for each that cannot be built, where that is looked for (n, 2)."""
    bench, tried, looks = asked
    rows = [_row(bench, row) for row in tried]
    found = [(bench.answer_mm(values), float(looks and bool(fault_of(bench, values)))) for values in rows]
    return np.array(found).reshape(-1, 2)


class _Steps:
    """Turns shares of the work on one lens into the whole steps that a tick counts."""

    def __init__(self, tick: Tick, words: str) -> None:
        self._tick, self._words, self._done = tick, words, 0.0

    def __call__(self, steps: float) -> None:
        before, self._done = int(self._done), self._done + steps
        self._tick(int(self._done) - before, self._words)
