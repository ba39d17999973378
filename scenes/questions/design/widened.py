"""Measures allowed beyond the ends given for them, to see what they would need."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from scenes.questions.design.picks import is_of
from scenes.questions.design.space import Knob, Space

WIDER = (3.0, 2.0, 1.4, 1.1)  # how far beyond its end a measure is tried that is asked what it would need
HasShape = Callable[[Space], bool]


def widened(space: Space, wide: Sequence[tuple[str, float | None]], pick: Mapping[str, Any], has_shape: HasShape) -> Space:
    """The space with some measures allowed beyond the end that leaves most room, as far as there is such a box."""
    for path, end in wide:
        for more in WIDER:
            tried = replace(
                space, knobs=tuple(_wide(one, end, more) if is_of(one.path, path, pick) else one for one in space.knobs)
            )
            if end is not None or has_shape(tried):
                space = tried
                break
    return space


def _wide(knob: Knob, end: float | None, more: float) -> Knob:
    least, most = knob.spot.limits
    if knob.opens < 0:
        return replace(knob, low=max(least, min(knob.low / more, knob.low)) if end is None else end)
    return replace(knob, high=min(most, max(knob.high * more, knob.high)) if end is None else end)
