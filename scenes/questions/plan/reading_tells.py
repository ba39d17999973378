"""What the readings of one shot tell of what is not known: where the pupil lies, how wide the field is up close; in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from scenes.questions.plan.dark_places import narrower_percent
from scenes.questions.plan.expected import Expected, Reading, expected
from scenes.questions.plan.looked_at import SmallMap
from scenes.runtime.page import listed
from scenes.scene_file.tables.plan import Plan
from scenes.verdicts.test_plan import Shot

GUESS_PERCENT = 3.0  # a field guessed wider by less shifts the beam's edge by no more than a mount does
PUPIL, FIELD = "where the pupil lies", "how wide the field at this focus is"
REACH_PERCENT = 2.0  # of the picture: a shadow whose end moves by less is no reading


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a shadow reaches in from an edge, as a reading that tells how wide the field is."""

    side: str
    words: str


def told_by_reading(shot: Shot, readings: Expected, small: SmallMap, plan: Plan) -> Iterator[str]:
    """Which unknown a reading of this shot alone decides: none where both readings are as good as the same."""
    state, guide, guess = shot.state, shot.guide, guess_percent(shot)
    if not readings.loses:
        return
    narrow = narrower_reading(readings, small, plan) if guess else None
    by_pupil = readings.light.percent - readings.dark.percent > 2.0 * plan.reading_percent
    if len(state.pupils) > 1 and by_pupil:
        first = "once the field at this focus is measured, " if guess else ""
        dark = state.pupils[guide.pupil]
        yield f"Tells where the pupil lies: {first}{readings.dark.words} means {dark}; the lighter, the nearer the other end."
    if narrow is not None:
        wide = f"as wide as assumed ({guess:.0f} % wider than at infinity)"
        yield f"Tells whether the field at this focus is {wide}: about {narrow.words} means that it is no wider than at infinity."
    dumb = [PUPIL] if len(state.pupils) > 1 and not by_pupil else []
    dumb += [FIELD] if guess and narrow is None and reach_told(shot, readings, small, plan) is None else []
    if dumb:
        yield f"No reading here tells {listed(dumb, 'or')}: measure it."


def guess_percent(shot: Shot) -> float:
    """How much wider than at infinity the field is guessed to be; 0 where that is too little to show."""
    guess = max(shot.state.field_guess_percent or (0.0,))
    return guess if guess >= GUESS_PERCENT else 0.0


def narrower_reading(readings: Expected, small: SmallMap, plan: Plan) -> Reading | None:
    """What the places to look at read if the field is as at infinity; None where that is as good as the same reading."""
    lost = [spot.narrower_stops for spot in small.spots if spot.narrower_stops is not None]
    if not lost:
        return None
    there = expected(plan, max(lost), max(lost), max(lost)).dark
    return there if there.percent - readings.light.percent > 2.0 * plan.reading_percent else None


def reach_told(shot: Shot, readings: Expected, small: SmallMap, plan: Plan) -> Reach | None:
    """Where a place to look at is black whatever the field is, how far in its shadow reaches tells the field instead."""
    guess = guess_percent(shot)
    if not guess or not readings.loses or narrower_reading(readings, small, plan) is not None:
        return None
    wider = dict(zip(("across", "upright"), shot.state.field_guess_percent or (0.0, 0.0), strict=True))
    for place in small.dark:
        if place.ends_mm is not None:
            way = "across" if place.where in {"left", "right"} else "upright"
            now, narrow = place.in_percent[0], narrower_percent(place, small.extent_mm, wider[way] / 100.0)
            if now - narrow >= REACH_PERCENT:
                size = "width" if way == "across" else "height"
                other = f"{narrow:.0f} %" if narrow >= 1.0 else "none in frame"
                assumed = f"if the field is as assumed ({guess:.0f} % wider than at infinity)"
                return Reach(
                    place.where,
                    f"Tells how wide the field at this focus is by how far the shadow reaches in from the {place.where} edge: "
                    f"{now:.0f} % of the picture's {size} {assumed}, {other} if it is no wider.",
                )
    return None
