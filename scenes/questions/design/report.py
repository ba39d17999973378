"""From a scene with a design table to the best boxes, each judged as `check` does before it is handed over. Prints nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from geometry.notes import Severity
from scenes.questions.design.bends import Bends, bends_of, why_not_clear, with_spare
from scenes.questions.design.builds import build_share, for_builds
from scenes.questions.design.contradictions import Contradiction, contradiction, in_the_way
from scenes.questions.design.designer import Design, Designer, is_kept_off
from scenes.questions.design.outside import MEASURES
from scenes.questions.design.picks import counted, pick_words, rounded
from scenes.questions.design.reasons import Price, Reason, prices, reasons
from scenes.questions.design.wishes import Wishes, wishes_of
from scenes.runtime.progress import Tick, saying, silent
from scenes.runtime.stopping import heard
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import plain
from scenes.states.judgement import judge_state
from scenes.states.lens_judgement import lens_judgements
from scenes.states.load import Loaded, plans_of
from scenes.states.names import state_words
from scenes.states.state import State

MOST_PICKS = 100  # combinations of choices
MOST_DESIGNS = 5
FRONT_STEPS = 4  # designs between the two ends of a trade-off
MORE_MM = (0.0, 0.1, 0.2, 0.4, 0.8)  # room added where what lies between two settings could not be shown
BEND_STEPS = 3  # a box made larger for its bending bends more
NO_DESIGN = (
    'has no [design]; add one that says what is free, such as [[design.free]] with of = "box.hood.front_mm", from and to; '
    "brimline new box.toml --design writes a scene that has one"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A design that was judged clear in every state and between: its scene, its states, the nearest one, what holds it.

    room_mm is that of the nearest part of the nearest state, margin_percent the least of any state's frame. bends: how its rods
    bend with each lens; why_bent: what is not clear then, '' where all is.
    """

    design: Design
    loaded: Loaded
    states: tuple[State, ...]
    nearest: State
    room_mm: float
    margin_percent: float
    reasons: tuple[Reason, ...]
    clear_builds: float | None = None
    bends: Bends = ()
    why_bent: str = ""


@dataclass(slots=True, kw_only=True)
class Report:
    """The designs shown, the best first; what each wish of the first costs; why nothing fits. stopped: by Ctrl-C on the way."""

    loaded: Loaded
    wishes: Wishes
    needed_mm: float = 0.0
    shown: list[Shown] = field(default_factory=list)
    prices: list[Price] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    ruled_out: dict[str, str] = field(default_factory=dict)
    contradiction: Contradiction | None = None
    stopped: bool = False


def design_report(loaded: Loaded, tick: Tick = silent) -> Report:
    """The best designs of a scene; SceneError where it asks for none. Ctrl-C hands over what is found by then."""
    if loaded.scene.design is None:
        raise SceneError([Complaint(where="design", problem=NO_DESIGN, source=loaded.file_name)])
    report = Report(loaded=loaded, wishes=wishes_of(loaded.scene))
    designer = Designer(loaded, tick)
    _insist_on_few(designer)
    for pick in designer.picks:
        _insist_on_choice(designer, pick)
    try:
        _fill(report, designer)
    except KeyboardInterrupt:
        heard()
        partly = designer.so_far.get(report.wishes)
        if not report.shown and partly is not None:
            shown = _shown(designer, partly, report.wishes)
            report.shown = [_bent(designer, shown)] if isinstance(shown, Shown) else []
        if not report.shown and report.contradiction is None:
            raise
        report.stopped = True
    return report


def _insist_on_few(designer: Designer) -> None:
    """SceneError for more combinations of choices than can be looked through."""
    count = math.prod(len(row.choices) for row in designer.design.free if row.ends is None)
    if count > MOST_PICKS:
        problem = f"makes {count} combinations of choices, {MOST_PICKS} at most can be looked through; shorten the lists"
        raise SceneError([Complaint(where="design.free", problem=problem, source=designer.loaded.file_name)])


def _insist_on_choice(designer: Designer, pick: dict[str, object]) -> None:
    """SceneError, in one sentence, for a choice that the scene file does not allow."""
    try:
        designer.base(pick)
    except SceneError as error:
        problem = f"{pick_words(pick)} cannot be: {error.complaints[0].problem}"
        raise SceneError([Complaint(where="design.free", problem=problem, source=designer.loaded.file_name)]) from None


def _fill(report: Report, designer: Designer) -> None:
    designer.prepare()
    report.needed_mm = designer.needed_mm()
    known = {} if designer.design.is_trade_off else _judged_on_the_way(designer, report)
    found: list[Shown] = []
    for design in _wanted(designer, report.wishes):
        shown = known[id(design)] if id(design) in known else _judged(designer, design, report)
        if shown is not None and all(_written(shown) != _written(one) for one in found):  # as its rods bend it may be another's
            found.append(shown)
            report.shown = found
            designer.tick(0, f"best so far {words_of(found[0].design)}")
    report.shown = found
    report.ruled_out = dict(designer.ruled_out)
    if report.shown:
        best = report.shown[0]
        report.prices.extend(prices(designer, best.design, report.wishes, best.reasons))
    elif not report.refused or report.wishes.clear_builds is not None:
        report.contradiction = in_the_way(designer, report.wishes)  # handed over where the rest is stopped
        designer.tick = saying(designer.tick, _no_box_words(report.contradiction))
        report.contradiction = contradiction(designer, report.wishes, report.contradiction)


def _no_box_words(obstacles: Contradiction) -> str:
    """Said while it is worked out why: 'no box does all: 20, infinity, f/2: hood in the way; Ctrl-C ends the search for why'."""
    held = next(iter(obstacles.blocked), None)
    where = "" if held is None else f": {state_words(held.state)}: {held.part} in the way"
    return f"no box does all that is asked{where}; looking for why, Ctrl-C ends that"


def _written(shown: Shown) -> tuple[object, ...]:
    """What its scene file says of a design."""
    return dict(shown.design.pick), rounded(shown.design.measures)


def _judged_on_the_way(designer: Designer, report: Report) -> dict[int, Shown | None]:
    """Each design that is better than those before it, judged at once: so that there is something to hand over when stopped."""
    known: dict[int, Shown | None] = {}
    for pick in designer.picks:
        design = designer.solved(pick, report.wishes, designer.design.small)
        if design is None or (report.shown and design.found.cost >= report.shown[0].design.found.cost):
            continue
        known[id(design)] = shown = _judged(designer, design, report)
        if shown is not None:
            report.shown = [shown]
    return known


def _wanted(designer: Designer, wishes: Wishes) -> Iterator[Design]:
    """The designs to show: the best of each set of choices, or those of a trade-off that no other beats in both."""
    if not designer.design.is_trade_off:
        yield from designer.best(wishes)[:MOST_DESIGNS]
        return
    yield from trade_off(designer, wishes)


def trade_off(designer: Designer, wishes: Wishes) -> list[Design]:
    """Designs of which none is worse than another in both of the first two of `small`, from one end of the front to the other."""
    first, second, *rest = designer.design.small
    found = [*designer.best(wishes), *designer.best(wishes, (second, first, *rest))]
    if found:
        ends = [MEASURES[first](one.outside) for one in found]
        low, high = min(ends), max(ends)
        for step in range(1, FRONT_STEPS):
            limits = (*wishes.limits, (first, low + (high - low) * step / FRONT_STEPS))
            found += designer.best(replace(wishes, limits=limits), (second, first, *rest))
    return _front(found, first, second)[:MOST_DESIGNS]


def _front(found: Sequence[Design], first: str, second: str) -> list[Design]:
    at = {id(one): (MEASURES[first](one.outside), MEASURES[second](one.outside)) for one in found}
    ordered = sorted(found, key=lambda one: at[id(one)])
    front: list[Design] = []
    for one in ordered:
        if not front or at[id(one)][1] < at[id(front[-1])][1] - 1e-9:
            front.append(one)
    return front


def words_of(design: Design) -> str:
    """'238.8 x 165.9 mm in front'."""
    return f"{design.outside.width_mm:.1f} x {design.outside.height_mm:.1f} mm in front"


def _judged(designer: Designer, design: Design, report: Report) -> Shown | None:
    """A design as it is shown, and it, or as little larger as may be, as its rods bend; None, and why, where it is not clear."""
    shown = _shown(designer, design, report.wishes)
    if isinstance(shown, Shown):
        first = _bent(designer, shown)
        report.shown = report.shown or [first]  # to hand over when stopped
        return _with_bends(designer, first, report.wishes)
    report.refused.append(shown)
    return None


def _with_bends(designer: Designer, first: Shown, wishes: Wishes) -> Shown:
    """A design that stays clear as its rods bend; where none does the one that is clear as drawn, with what is not."""
    tried = first
    for _ in range(BEND_STEPS):
        if not tried.why_bent:
            return tried
        asked = replace(wishes, bends=with_spare(tried.bends))
        design = designer.solved(counted(tried.design.pick), asked, designer.design.small)
        again = "" if design is None else _shown(designer, design, asked)
        if not isinstance(again, Shown):
            break
        tried = _bent(designer, again)
    return first if tried.why_bent else tried


def _bent(designer: Designer, shown: Shown) -> Shown:
    designer.tick(0, "judging it as its rods bend")
    bends = bends_of(shown.loaded, shown.states)
    return replace(shown, bends=bends, why_bent=why_not_clear(shown.states, bends))


def _shown(designer: Designer, design: Design, wishes: Wishes) -> Shown | str:
    """A design with room added until all that is asked is proven, builds too; why not where it cannot be."""
    pick, why, wanted = counted(design.pick), "", wishes.clear_builds
    if wanted is not None:
        found = for_builds(designer, pick, wishes)
        if found is None:
            share, _ = build_share(designer, design, wishes)
            return f"{words_of(design)}: {plain(round(100 * share, 1))} % of builds clear, {plain(100 * wanted)} % wanted"
        design, wishes = found.design, found.wishes
    for more_mm in MORE_MM:
        asked = replace(wishes, more_mm=wishes.more_mm + more_mm)
        tried = design if not more_mm else designer.solved(pick, asked, designer.design.small)
        if tried is None:
            break
        shown = judged(tried, designer)
        if isinstance(shown, Shown):
            return shown if wanted is None else replace(shown, clear_builds=build_share(designer, tried, wishes)[0])
        why = shown
    return f"{words_of(design)}: {why}"


def judged(design: Design, designer: Designer) -> Shown | str:
    """A design judged as a scene file of its own: every state that [check] asks for and all between; else why it is not clear."""
    designer.tick(0, f"judging {words_of(design)}")
    loaded = designer.remade(design)
    states = plans_of(loaded)
    found = {id(state): judge_state(state) for state in states}
    for state in states:
        faults = [note for note in state.notes if note.severity is Severity.FAULT]
        if faults:
            return f"{faults[0].part}: {faults[0].text}"
        if not found[id(state)].clear:
            return f"not clear with the {state_words(state)}"
    for lens in lens_judgements(states):
        if not lens.clear:
            return f"the {lens.lens.name} is {lens.words}"
    for name in loaded.scene.design.want.keep_off if loaded.scene.design else ():
        if not all(is_kept_off(state, name) for state in states):
            return f"{name} is not proven off the glass"
    nearest = min(states, key=lambda state: found[id(state)].room_mm)
    return Shown(
        design=design,
        loaded=loaded,
        states=states,
        nearest=nearest,
        room_mm=found[id(nearest)].room_mm,
        margin_percent=min(g.margin.percent for one in found.values() for g in one.fitted if g.margin is not None),
        reasons=reasons(design),
    )
