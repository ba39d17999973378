"""Zooms, breathing and extending fronts: a lens's own rows of measured states, and what it is in between.

Between rows values run straight along the focal length, and straight along 1 / focus distance, which is how focusing mechanisms
and pupils move to first order. Half fields run straight along atan(w / 2f), the half field that the focal length says: rows that
say no more than their focal lengths then add nothing between them. Beyond the outermost rows the outermost values hold, and of the
field it is said where they do.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from raytrace.kept import Kept


@dataclass(frozen=True, slots=True, kw_only=True)
class StateRow:
    """What is known of a lens at one focal length and focus. None: not stated in this row.

    pupil_mm holds (horizontal low, horizontal high, vertical low, vertical high) depths behind the front.
    """

    focal_mm: float
    focus_mm: float
    pupil_mm: tuple[float, float, float, float] | None = None
    front_travel_mm: float | None = None
    half_field_deg: float | None = None
    half_field_up_deg: float | None = None
    pupil_magnification: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class InBetween:
    """A lens's own values at a focal length and focus; None where no row states them.

    half_field_deg is at the edge of the width, half_field_up_deg at that of the height. field_is_held says that they are those of
    another focal length or focus, field_from (focal length, focus distance) [mm], held beyond the rows that state one.
    """

    pupil_mm: tuple[float, float, float, float] | None
    front_travel_mm: float | None
    half_field_deg: float | None
    half_field_up_deg: float | None = None
    pupil_magnification: float | None = None
    field_from: tuple[float, float] | None = None
    field_is_held: bool = False


MOST_ANSWERED = 1000  # settings whose values are kept with their rows
NOTHING = InBetween(pupil_mm=None, front_travel_mm=None, half_field_deg=None)


def in_between(
    rows: Sequence[StateRow], focal_mm: float, focus_mm: float, edges_mm: tuple[float, float] | None = None
) -> InBetween:
    """Values of the lens at a focal length [mm] and focus distance [mm, inf allowed].

    edges_mm: half width (times the squeeze) and half height of the picture, along whose fields stated ones run; without them half
    fields run straight along the focal length.
    """
    if not rows:
        return NOTHING
    told = _columns_of(rows)
    fields = told.half_field_deg, told.half_field_up_deg
    asked = focal_mm, focus_mm, None if fields == (None, None) else edges_mm  # which make no difference else
    known = told.answered.get(asked)
    if known is None:
        if len(told.answered) >= MOST_ANSWERED:
            told.answered.clear()
        known = told.answered[asked] = _in_between(rows, told, focal_mm, focus_mm, edges_mm)
    return known


def _in_between(
    rows: Sequence[StateRow], told: Columns, focal_mm: float, focus_mm: float, edges_mm: tuple[float, float] | None
) -> InBetween:
    def of(column: Column | None, edge_mm: float | None = None) -> float | None:
        return None if column is None else column.at(focal_mm, focus_mm, edge_mm)

    across_mm, up_mm = edges_mm or (None, None)
    field_from = _field_from(rows, focal_mm, focus_mm)
    known = tuple(value for value in map(of, told.pupil_mm) if value is not None)
    return InBetween(
        pupil_mm=(known[0], known[1], known[2], known[3]) if len(known) == 4 else None,
        front_travel_mm=of(told.front_travel_mm),
        half_field_deg=of(told.half_field_deg, across_mm),
        half_field_up_deg=of(told.half_field_up_deg, up_mm),
        pupil_magnification=of(told.pupil_magnification),
        field_from=field_from,
        field_is_held=field_from is not None and field_from != (focal_mm, focus_mm),
    )


def _field_from(rows: Sequence[StateRow], focal_mm: float, focus_mm: float) -> tuple[float, float] | None:
    """The focal length and focus nearest to these within the rows that state a half field; None where none does."""
    stating = [row for row in rows if row.half_field_deg is not None]
    if not stating:
        return None
    focals, foci = [row.focal_mm for row in stating], [row.focus_mm for row in stating]
    return min(max(focal_mm, min(focals)), max(focals)), min(max(focus_mm, min(foci)), max(foci))


@dataclass(frozen=True, slots=True)
class Column:
    """What some rows state of one value: by nearness of their focus, rising, focal lengths [mm], rising, and their values."""

    nearness: tuple[float, ...]
    focals_mm: tuple[tuple[float, ...], ...]
    values: tuple[tuple[float, ...], ...]

    @classmethod
    def of(cls, rows: Sequence[StateRow], pick: Callable[[StateRow], float | None]) -> Column | None:
        """What rows state of a value; None where none does."""
        by_focus: dict[float, list[tuple[float, float]]] = defaultdict(list)
        for row in rows:
            value = pick(row)
            if value is not None:
                by_focus[_nearness(row.focus_mm)].append((row.focal_mm, value))
        nearness = tuple(sorted(by_focus))
        pairs = [sorted(by_focus[near]) for near in nearness]
        focals_mm, values = (tuple(tuple(float(pair[k]) for pair in some) for some in pairs) for k in range(2))
        return cls(nearness, focals_mm, values) if nearness else None

    def at(self, focal_mm: float, focus_mm: float, edge_mm: float | None) -> float:
        """The value at a focal length and focus [mm]; edge_mm as for `in_between`."""
        return _interpolated(_nearness(focus_mm), self.nearness, lambda row: self._along_focal(row, focal_mm, edge_mm))

    def _along_focal(self, row: int, focal_mm: float, edge_mm: float | None) -> float:
        """The value at a focal length [mm] and the focus of some rows."""
        focals_mm, values = self.focals_mm[row], self.values[row]
        if len(values) == 1:
            return values[0]
        if edge_mm is None:
            return _interpolated(focal_mm, focals_mm, values.__getitem__)
        around = max(bisect_right(focals_mm, focal_mm) - 1, 0)  # the place rises with the focal length
        near = slice(around, around + 2)
        places = [-float(np.arctan(edge_mm / one)) for one in focals_mm[near]]
        return _interpolated(-float(np.arctan(edge_mm / focal_mm)), places, values[near].__getitem__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Rows of a lens value by value; pupil_mm the four depths of `StateRow`. answered: what was asked of them lately."""

    pupil_mm: tuple[Column | None, ...]
    front_travel_mm: Column | None
    half_field_deg: Column | None
    half_field_up_deg: Column | None
    pupil_magnification: Column | None
    answered: dict[tuple[float, float, tuple[float, float] | None], InBetween] = field(default_factory=dict)


def _columns(rows: Sequence[StateRow]) -> Columns:
    return Columns(
        pupil_mm=tuple(Column.of(rows, lambda row, k=k: None if row.pupil_mm is None else row.pupil_mm[k]) for k in range(4)),  # type: ignore[misc]
        front_travel_mm=Column.of(rows, lambda row: row.front_travel_mm),
        half_field_deg=Column.of(rows, lambda row: row.half_field_deg),
        half_field_up_deg=Column.of(rows, lambda row: row.half_field_up_deg),
        pupil_magnification=Column.of(rows, lambda row: row.pupil_magnification),
    )


_columns_of: Kept[Sequence[StateRow], Columns] = Kept(_columns)


def _interpolated(at: float, places: Sequence[float], value_of: Callable[[int], float]) -> float:
    """As `numpy.interp` of one place, which takes ten times as long to be called as to be worked out; values on demand."""
    k = bisect_right(places, at) - 1
    if k < 0 or k == len(places) - 1 or places[k] == at:
        return value_of(max(k, 0))
    low = value_of(k)
    return (value_of(k + 1) - low) / (places[k + 1] - places[k]) * (at - places[k]) + low


def _nearness(focus_mm: float) -> float:
    return 1.0 / focus_mm if math.isfinite(focus_mm) else 0.0
