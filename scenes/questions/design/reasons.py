"""Why a measure of a design cannot be smaller, found by making it smaller; and what each wish costs, found by leaving it out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from scenes.questions.design.bench import Held
from scenes.questions.design.designer import Design, Designer
from scenes.questions.design.picks import counted
from scenes.questions.design.space import Knob
from scenes.questions.design.tries import Notches, Try
from scenes.questions.design.wishes import Wish, Wishes, each_wish
from scenes.rig.spot_words import input_words
from scenes.scene_file.tables.design import MASKS

WHERE_STEPS = 10  # notches farther in, where several settings refuse at once: the one that lacks most there holds it
SAME = 1e-6
LEAST = "the least that you allow"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One measure of a design and what holds it: a part of some state's beam, or `words` where it is something else."""

    path: str
    words: str
    value: float
    unit: str
    held: Held | None = None
    because: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """What a wish costs: how much less each measure, and the outside, would be without it; `cleared`: what works only without."""

    wish: Wish
    saves: tuple[tuple[Knob, str, float], ...]
    width_mm: float
    height_mm: float
    depth_mm: float
    weight_kg: float

    @property
    def is_free(self) -> bool:
        """Whether the design is the same without it."""
        return not self.saves and max(map(abs, (self.width_mm, self.height_mm, self.depth_mm, self.weight_kg))) < SAME


def reasons(design: Design) -> tuple[Reason, ...]:
    """What holds each measure, in the scene's order."""
    attempt = design.attempt
    return tuple(_reason(design, place) for place in range(len(attempt.space.knobs)))


def _reason(design: Design, place: int) -> Reason:
    attempt, knob, notch = design.attempt, design.attempt.space.knobs[place], design.notches[place]
    held, because = None, ""
    if knob.opens == 0:
        because = "the best place found by trial"
    elif knob.opens < 0:
        because = LEAST if notch == knob.last else "needed to keep the light off"
    elif notch == 0:
        because = LEAST
    else:
        held = held_by(attempt, place, design.notches)
        because = "" if held is not None else _other_reason(attempt, place, design.notches)
    words = input_words(attempt.scene, knob.spot)
    return Reason(path=knob.path, words=words, value=knob.values[notch], unit=knob.spot.unit, held=held, because=because)


def held_by(attempt: Try, place: int, notches: Notches) -> Held | None:
    """The state that refuses a measure one notch less, the one that lacks most where several do; None where none does."""
    less = _lower(notches, place, 1)
    refusing = [(bench, n) for bench in attempt.benches for n in range(len(bench.states)) if not attempt.clears(bench, n, less)]
    if len(refusing) > 1:
        farther = _lower(notches, place, WHERE_STEPS)
        found = [(attempt.held(bench, n, farther), bench, n) for bench, n in refusing]
        _, bench, number = min(found, key=lambda one: one[0].room_mm if one[0] else 0.0)
        refusing = [(bench, number)]
    return attempt.held(*refusing[0], less) if refusing else None


def _lower(notches: Notches, place: int, by: int) -> Notches:
    return (*notches[:place], max(notches[place] - by, 0), *notches[place + 1 :])


def _other_reason(attempt: Try, place: int, notches: Notches) -> str:
    less = _lower(notches, place, 1)
    if not attempt.holds(less):
        return "smaller, the box could not be built"
    if attempt.cost(less) > attempt.cost(notches):
        return "smaller, its walls would lean more and the outside be larger"
    return "held together with the other measures"


def prices(designer: Designer, design: Design, wishes: Wishes, held: Sequence[Reason]) -> Iterator[Price]:
    """What each wish costs that may hold the design."""
    wishes = replace(wishes, bends=tuple(design.attempt.bends.items()))
    used = replace(wishes, more_mm=design.attempt.asked.more_mm)  # what lies between settings and builds may have asked for more
    holding = {reason.held.state.lens_name for reason in held if reason.held is not None}
    for wish in each_wish(wishes, designer.needed_mm()):
        if wish.is_lens and wish.name not in holding and design.found.is_proven:
            continue  # every measure is held by others: the same design comes out
        designer.tick(0, f"without {wish.words}")
        rest = wish.left_out(used)
        if wish.kind == "room":
            rest = replace(rest, more_mm=used.more_mm - wishes.more_mm)
        elif wish.kind == "builds":
            rest = replace(rest, more_mm=wishes.more_mm)
        without = designer.solved(counted(design.pick), rest, designer.design.small)
        if without is not None:
            yield _price(wish, design, without)


def _price(wish: Wish, design: Design, without: Design) -> Price:
    scene, there = design.attempt.scene, _without(wish, design, without)
    pairs = ((knob, value, there(knob)) for knob, value in zip(design.attempt.space.knobs, design.measures.values(), strict=True))
    saves = tuple(
        (knob, input_words(scene, knob.spot), own - other)
        for knob, own, other in pairs
        if other is not None and abs(own - other) > SAME
    )
    own, other = design.outside, without.outside
    return Price(
        wish=wish,
        saves=saves,
        width_mm=own.width_mm - other.width_mm,
        height_mm=own.height_mm - other.height_mm,
        depth_mm=own.depth_mm - other.depth_mm,
        weight_kg=own.weight_kg - other.weight_kg,
    )


def _without(wish: Wish, design: Design, without: Design) -> Callable[[Knob], float | None]:
    """The value of a measure in the design without a wish; None of a mask where its lenses share another way then."""
    pairs = zip(without.attempt.space.knobs, without.measures.values(), strict=True)
    values = {knob.spot.place: value for knob, value in pairs}
    groups, others = (_groups(one) for one in (design, without))

    def value_of(knob: Knob) -> float | None:
        (*table, last), key, part = knob.spot.place
        if groups and "mask" in table and isinstance(last, int):
            left = groups[last] - {wish.name}
            if left not in others:
                return None
            last = others.index(left)
        return values.get(((*table, last), key, part))

    return value_of


def _groups(design: Design) -> list[frozenset[str]]:
    """Lenses that share each mask, where the number of masks is chosen."""
    return [frozenset(group) for group in design.pick.get(MASKS, ())]
