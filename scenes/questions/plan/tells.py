"""Which shots of a plan tell what was not measured, how well, and what none of them tells; in words too."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenes.answers.numbers import error_words
from scenes.rig.spot_words import input_words
from scenes.runtime.page import listed
from scenes.states.names import setting_words
from scenes.states.state import State
from scenes.unknowns.telling import HARD, TOLD_SIGMA, WORTH, Telling, covariance_of, fewest, known_alone, sigmas_of
from scenes.unknowns.unknown import Unknown
from scenes.unknowns.usual import usual_unknowns

Floats = NDArray[np.float64]

FELT = 0.2  # mm or degrees: an error smaller than this is not worth one more shot
MEASURE = "Measure it: see Measure first."
HOW_STILLS = (
    "The program lays the stills of each shot, box off and box on, over the prediction and works these values out afterwards "
    "(brimline compare). The errors (±) are standard errors, predicted from the scene's values: no still tells of a part that "
    "those leave out of frame."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LensTells:
    """What stills of a lens's shots would tell of its unknown values.

    `numbers` are the fewest shots that tell what all of them tell, `sigmas` (U,) the errors with stills of these, `covariance`
    theirs. `alone` (U,) are the errors that all shots give each value if the others were known. `more` is one more state that is
    worth a shot, `more_sigmas` (U,) the errors with it.
    """

    lens: str
    unknowns: tuple[Unknown, ...]
    words: tuple[str, ...]
    numbers: tuple[int, ...]
    sigmas: Floats
    covariance: Floats
    alone: Floats
    more: State | None
    more_sigmas: Floats

    @property
    def told(self) -> NDArray[np.bool_]:
        """Which values (U,) stills of these shots tell."""
        return np.asarray(self.sigmas <= TOLD_SIGMA)

    @property
    def hidden(self) -> NDArray[np.bool_]:
        """Which values (U,) move nothing that is in frame in any shot."""
        return np.asarray(self.alone > TOLD_SIGMA)

    @property
    def silent(self) -> bool:
        """Whether no still of the lens tells a value."""
        return bool(not self.told.any() and self.hidden.all() and self.more is None)


def lens_tells(states: Sequence[State], planned: Mapping[str, int], tellings: Mapping[str, Telling | None]) -> LensTells | None:
    """What stills of one lens tell: of its states, those planned by their number, and what a still of each tells; None for none.

    A state without an entry shows nothing of the box.
    """
    scene, unknowns = states[0].scene, usual_unknowns(states[0].scene, states[0].lens)
    count = len(unknowns)
    if not count or any(tellings.get(key, ...) is None for key in planned):  # one that is planned could not be computed
        return None
    shown = [(state, one) for state in states if (one := tellings.get(state.key)) is not None]
    made = sorted(((planned[state.key], one) for state, one in shown if state.key in planned), key=lambda pair: pair[0])
    all_made = [one for _, one in made]
    few = fewest(all_made, count)
    known = covariance_of([all_made[place] for place in few], count)
    sigmas = np.sqrt(np.diag(known))
    others = [(state, one) for state, one in shown if state.key not in planned]
    more, more_sigmas = _more(others, all_made, count)
    return LensTells(
        lens=states[0].lens_name,
        unknowns=unknowns,
        words=tuple(input_words(scene, item.spot) for item in unknowns),
        numbers=tuple(made[place][0] for place in few),
        sigmas=sigmas,
        covariance=known,
        alone=_alone(all_made, count),
        more=more,
        more_sigmas=more_sigmas,
    )


def _alone(some: Sequence[Telling], count: int) -> Floats:
    """Errors (U,) of each value by all these stills, the others known; infinite where they show nothing of it."""
    known = sum((np.diag(known_alone(one)) for one in some), np.zeros(count))
    return np.where(known > 0.0, 1.0 / np.sqrt(np.maximum(known, 1e-12)), np.inf)


def _more(others: Sequence[tuple[State, Telling]], made: Sequence[Telling], count: int) -> tuple[State | None, Floats]:
    """The one more still that is worth most with those planned, and the errors with it; None where none is worth it."""
    before = sigmas_of(made, count)
    if not others:
        return None, before
    tried = [(state, sigmas_of([*made, one], count)) for state, one in others]
    state, after = min(tried, key=lambda pair: float(np.log(np.minimum(pair[1], TOLD_SIGMA)).sum()))
    return (state, after) if gains(before, after).any() else (None, before)


def gains(before: Floats, after: Floats) -> NDArray[np.bool_]:
    """Which values (U,) a further still tells, or tells far better, where that is worth it."""
    better = (before > FELT) & (after < WORTH * before)
    return np.asarray((after <= TOLD_SIGMA) & ((before > TOLD_SIGMA) | better))


def tells_lines(lenses: Sequence[LensTells]) -> Iterator[str]:
    """What stills of the shots tell, lens by lens, and what they do not; lenses of which they tell nothing together."""
    silent = [one for one in lenses if one.silent]
    for one in lenses:
        if one not in silent:
            yield from _lens_lines(one)
    if silent:
        names = listed([one.lens for one in silent])
        yield f"{names}: stills show that the frame is as predicted, no more: too little of the box is in it to tell a value."


def _lens_lines(found: LensTells) -> Iterator[str]:
    told = np.flatnonzero(found.told).tolist()
    if told:
        numbers = listed([str(number) for number in found.numbers])
        who = f"a still of shot {numbers} tells" if len(found.numbers) == 1 else f"stills of shots {numbers} tell"
        yield f"{found.lens}: {who}{' apart' if len(told) > 1 else ''}: {_values(found, told, found.sigmas)}."
    yield from _hard_lines(found, told)
    yield from _untold_lines(found)
    if found.more is not None:
        yield _more_line(found)


def _values(found: LensTells, places: Sequence[int], sigmas: Floats) -> str:
    return "; ".join(f"{found.words[place]} ± {error_words(sigmas[place], found.unknowns[place].unit)}" for place in places)


def _hard_lines(found: LensTells, told: Sequence[int]) -> Iterator[str]:
    """Pairs of told values that stay hard to tell apart."""
    alike = found.covariance / np.outer(found.sigmas, found.sigmas)
    for a, b in ((a, b) for a in told for b in told if a < b and abs(alike[a, b]) >= HARD):
        yield (
            f"{found.lens}: {found.words[a]} and {found.words[b]} stay hard to tell apart ({alike[a, b]:+.2f}); measuring one of "
            "them settles both."
        )


def _untold_lines(found: LensTells) -> Iterator[str]:
    """What no shot tells: nothing of it is in frame, or it looks like something else."""
    out = [words for place, words in enumerate(found.words) if found.hidden[place]]
    mixed = [words for place, words in enumerate(found.words) if not found.told[place] and not found.hidden[place]]
    if out:
        why = "what it moves is out of frame, or nearly"
        yield f"{found.lens}: no shot of this plan tells {listed(out, 'or')}: {why}. {MEASURE}"
    if mixed:
        yield f"{found.lens}: no shot of this plan tells {listed(mixed, 'or')} apart from the rest. {MEASURE}"


def _more_line(found: LensTells) -> str:
    assert found.more is not None
    gained = np.flatnonzero(gains(found.sigmas, found.more_sigmas)).tolist()
    return f"{found.lens}: one more still at {setting_words(found.more)} would tell {_values(found, gained, found.more_sigmas)}."


def shot_tells_words(shot: State, telling: Telling | None) -> str:
    """What a still of one shot tells by itself, all else unknown; '' where that is nothing."""
    if telling is None:
        return ""
    unknowns = usual_unknowns(shot.scene, shot.lens)
    sigmas = sigmas_of([telling], len(unknowns))
    told = [
        f"{input_words(shot.scene, item.spot)} ± {error_words(sigma, item.unit)}"
        for item, sigma in zip(unknowns, sigmas, strict=True)
        if sigma <= TOLD_SIGMA
    ]
    return f"A still of it, box on and off, tells by itself: {'; '.join(told)}." if told else ""


def tells_data(found: LensTells) -> dict[str, object]:
    """A lens's row for programs: errors in mm or degrees, null where the stills do not tell the value."""
    return {
        "lens": found.lens,
        "shots": list(found.numbers),
        "values": [
            {
                "of": item.path,
                "what": words,
                "unit": item.unit,
                "as_written": round(item.nominal, 4),
                "standard_error": round(float(sigma), 3) if sigma <= TOLD_SIGMA else None,
                "why_not": "" if sigma <= TOLD_SIGMA else "out of frame" if hidden else "not apart from others",
            }
            for item, words, sigma, hidden in zip(found.unknowns, found.words, found.sigmas, found.hidden, strict=True)
        ],
        "one_more": "" if found.more is None else found.more.key,
    }
