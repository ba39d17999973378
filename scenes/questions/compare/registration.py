"""What of the sensor the stills show: cropped or scaled against the notes, one of a pair against the other, or as noted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from scenes.questions.compare.fit import GOOD_SHARE, Fit, finders, fit_from, start_cost, with_errors
from scenes.questions.compare.measure import COARSE
from scenes.questions.compare.shoot import Notes
from scenes.stills.decode import refusal
from scenes.unknowns.model import PLANE, Model, Seen, seen_coarser
from scenes.unknowns.predicted import Values
from scenes.unknowns.unknown import Unknown, framed, framing

Floats = NDArray[np.float64]

SCALE_STARTS = (80.0, 90.0, 100.0, 111.0, 125.0)  # percent
BETTER = 0.5  # of the cost: other framing is believed
AS_GOOD = 1.15  # of the cost: explains the stills as well
LEAST_PERCENT, SIGMAS = 3.0, 4.0  # that a size has to be off by
TOLD_PERCENT = 1.0  # standard error of a size that the stills tell
POWER_OFF = 0.25  # of the cosine, left over between the stills of a pair
FELT_MM = 0.3  # mm or degrees that a value moves by, if the stills were cropped by 1 %


@dataclass(frozen=True, slots=True, kw_only=True)
class Framing:
    """What the stills seem to show of their area: its size [%] and the error of it, its middle off right and up [% of the width].

    `cost_share` is the cost with this framing by that as noted; `powers` (K,) of the cosine are what the fall-off of pairs is left
    with, `names` their stills. `three_less` is the cost, by that of this framing, with 3 % less of the width and all values fitted
    anew, `per_percent` (U,) what the values then move by for each per cent.
    """

    size: float
    size_error: float
    right: float
    up: float
    cost_share: float
    three_less: float
    powers: Floats
    names: tuple[str, ...]
    per_percent: Floats

    @property
    def told(self) -> bool:
        """Whether the stills tell the size: other values do not make up for a crop."""
        return self.size_error <= TOLD_PERCENT and self.three_less > AS_GOOD

    @property
    def is_cropped(self) -> bool:
        """Whether the stills show another part of the field than noted, beyond doubt."""
        off = abs(self.size - 100.0) > max(LEAST_PERCENT, SIGMAS * self.size_error)
        return bool(self.told and off and self.cost_share < BETTER)

    @property
    def is_as_noted(self) -> bool:
        """Whether nothing speaks against the notes: neither a crop beyond doubt, nor pairs unlike each other."""
        return not self.is_cropped and self.unlike is None

    @property
    def unlike(self) -> tuple[str, float] | None:
        """The first still that shows more or less of the field than its reference, and the power that tells so."""
        if self.cost_share >= BETTER:
            return None
        return next(((n, float(p)) for n, p in zip(self.names, self.powers, strict=True) if abs(p) > POWER_OFF), None)


def framing_of(notes: Notes, fit: Fit) -> Framing | None:
    """How pairs of stills are framed, a few of them, all that was not measured left free; None where no still has a reference."""
    few = tuple(replace(one, radial=True) for one in finders(fit.model.stills) if one.measured.has_reference)
    if not few:
        return None
    unknowns, count = (*notes.unknowns, *framing()), len(notes.unknowns)
    as_noted = fit_from(Model(notes.unknowns, tuple(replace(one, radial=False) for one in few), rough=True), fit.values)
    model = Model(unknowns, few, rough=True)  # how good a value is counts here, not its last digit
    found = with_errors(fit_from(model, _start(unknowns, few, fit)))
    size, right, up = (float(value) for value in found.values[count:])
    smaller = _three_less(notes, few, found)
    return Framing(
        size=size,
        size_error=float(np.sqrt(found.covariance[count, count])),
        three_less=float(smaller.cost / max(found.cost, 1e-9)),
        right=right,
        up=up,
        cost_share=float(found.cost / max(as_noted.cost, 1e-9)),
        powers=np.array([found.vector[model.own(k)][PLANE] for k in range(len(few))]),
        names=tuple(one.measured.name for one in few),
        per_percent=(smaller.values - found.values[:count]) / LEAST_PERCENT,
    )


def _three_less(notes: Notes, few: Sequence[Seen], found: Fit) -> Fit:
    """The fit as if the stills showed 3 % less of the width than was found."""
    count = len(notes.unknowns)
    size, right, up = found.values[count:]
    stills = tuple(replace(one, shot=framed(one.shot, framing(), (size - LEAST_PERCENT, right, up))) for one in few)
    return fit_from(Model(notes.unknowns, stills, rough=True), found.values[:count])


def _start(unknowns: tuple[Unknown, ...], few: tuple[Seen, ...], fit: Fit) -> Values:
    """Where to begin: the fit as noted; where it is poor, the likeliest of several sizes on large cells."""
    here = (*fit.values, 100.0, 0.0, 0.0)
    if fit.rms <= GOOD_SHARE:
        return here
    coarse = Model(unknowns, tuple(seen_coarser(one, COARSE) for one in few), rough=True)
    nominal = tuple(item.nominal for item in fit.model.unknowns)
    tried = [(*values, size, 0.0, 0.0) for values, size in product((tuple(fit.values), nominal), SCALE_STARTS)]
    best = min(tried, key=lambda values: start_cost(coarse, values))
    return fit_from(coarse, best).values


def reframed(stills: Sequence[Seen], found: Framing) -> list[Seen]:
    """The stills with the part of the sensor that they seem to show."""
    values = (found.size, found.right, found.up)
    return [replace(one, shot=framed(one.shot, framing(), values)) for one in stills]


def insist_on_pairs(found: Framing) -> None:
    """Refuse pairs of which one still shows more of the field than the other: what that does to the light looks like a box."""
    if found.unlike is None:
        return
    name, power = found.unlike
    which = "less" if power < 0 else "more"
    raise refusal(
        name,
        f"shows {which} of the field than its reference, by its fall-off: one of them was cropped or scaled, is of another lens "
        "or stop, or light got into one; or their curve is not the one stated. Hand in both as they were recorded",
    )


def framing_words(found: Framing) -> str:
    """What the stills show, where it is not what the notes say."""
    ways = [_off(found.right, "right", "left"), _off(found.up, "up", "down")]
    aside = " and ".join(way for way in ways if way)
    middle = f", their middle off by {aside} of the width" if aside else ""
    return f"The stills show about {found.size:.0f} % of what `covers` says{middle}: they were cropped or scaled."


def _off(percent: float, plus: str, minus: str) -> str:
    return f"{abs(percent):.0f} % {plus if percent > 0 else minus}" if abs(percent) > LEAST_PERCENT / 2 else ""


def framing_doubts(notes: Notes, found: Framing) -> Iterator[str]:
    """What a crop that nobody noted would do to the values, where the stills would not show it."""
    if found.told:
        return
    moved = [(item, float(by)) for item, by in zip(notes.unknowns, found.per_percent, strict=True) if abs(by) >= FELT_MM]
    if moved:
        words = ", ".join(f"{item.path} by {abs(by):.1f} {item.unit}" for item, by in moved)
        yield f"These stills do not tell whether they were cropped: each per cent of the width that is lacking moves {words}."
