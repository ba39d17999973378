"""A measure of a lens over its focus distances or focal lengths, which runs smoothly unless a row is wrong."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from raytrace.optics.zoom import StateRow

LEAST_ROWS = 3
# Than the other rows, against 1 / focus or at other focal lengths; 3.4 is the most of the patents (scenes.cautions.pupil_runs).
FASTER = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Values of rows, and where the rows stand on the line that these run smoothly along.

    way is " horizontal" or " vertical" where a lens has one value for each, else "".
    """

    rows: tuple[StateRow, ...]
    places: tuple[float, ...]
    values: tuple[float, ...]
    way: str

    @property
    def mean(self) -> float:
        """Of its values."""
        return sum(self.values) / len(self.values)

    def without(self, place: int) -> Run:
        """The other rows."""
        return Run(
            rows=(*self.rows[:place], *self.rows[place + 1 :]),
            places=(*self.places[:place], *self.places[place + 1 :]),
            values=(*self.values[:place], *self.values[place + 1 :]),
            way=self.way,
        )

    def steepest(self) -> float:
        """The most that the value changes on its way from one row to the next."""
        steps = zip(pairwise(self.places), pairwise(self.values), strict=True)
        return max((abs((d - c) / (b - a)) for (a, b), (c, d) in steps), default=0.0)

    def next_to(self, place: int) -> int:
        """The row beside the first or the last one."""
        return 1 if place == 0 else place - 1

    def off(self, place: int, at_least: float = 0.0) -> float:
        """How far a row lies outside of the two beside it; of the first and last, off the next by more than the others go on.

        `at_least` is what those may go on by anyway.
        """
        if 0 < place < len(self.rows) - 1:
            beside = self.values[place - 1], self.values[place + 1]
            return max(0.0, min(beside) - self.values[place], self.values[place] - max(beside))
        after = self.next_to(place)
        step, way = abs(self.values[place] - self.values[after]), abs(self.places[place] - self.places[after])
        return max(0.0, step - max(FASTER * self.without(place).steepest() * way, at_least))

    def in_line(self, place: int) -> float:
        """The value that the two rows nearest to a place have in store for it."""
        others = self.without(place)
        first = min(max(place - 1, 0), len(others.rows) - 2)
        (a, b), (c, d) = others.places[first : first + 2], others.values[first : first + 2]
        return c + (d - c) * (self.places[place] - a) / (b - a)
