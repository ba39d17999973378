"""Tolerances of a scene file: which length or angle may come out otherwise than written, and by how much."""

from collections.abc import Iterator

from scenes.scene_file.tables.fields import LONGEST_TEXT, Fault, Table, quantity, text

LARGEST = 500.0  # mm or degrees: more is no tolerance


class Tolerance(Table):
    """A length or angle that may come out otherwise than written: `brimline tolerances` says how sure the frame is over all."""

    of: str = text(
        "The length or angle, by its tables and key, with the name or number of a repeated table in brackets: "
        '"box.ahead_mm", "lens[21].pupil_behind_front_mm", "box.flag[top flag].angle_deg". [each] stands for every one of them, '
        "each on its own; .width, .height or .right, .up picks one of a pair.",
        longest=LONGEST_TEXT,
    )
    plus_minus: float | None = quantity("By how much it may come out larger or smaller, in its own unit.", 0.0, LARGEST, None)
    plus: float | None = quantity(
        "By how much it may come out larger, where that differs.", 0.0, LARGEST, None, default_words="0 where minus is given"
    )
    minus: float | None = quantity(
        "By how much it may come out smaller, where that differs.", 0.0, LARGEST, None, default_words="0 where plus is given"
    )
    name: str | None = text("What the crew calls it, in place of the program's own words.", None)

    @property
    def low(self) -> float:
        """By how much it may come out smaller."""
        return self.plus_minus if self.plus_minus is not None else self.minus or 0.0

    @property
    def high(self) -> float:
        """By how much it may come out larger."""
        return self.plus_minus if self.plus_minus is not None else self.plus or 0.0

    def faults(self) -> Iterator[Fault]:
        """One way of saying how much, and more than nothing."""
        apart = [key for key in ("plus", "minus") if getattr(self, key) is not None]
        if self.plus_minus is None and not apart:
            yield ("plus_minus",), "is missing; say by how much it may come out otherwise, or plus and minus apart"
        elif self.plus_minus is not None and apart:
            yield (apart[0],), "must be left out where plus_minus is given"
        elif self.low == 0.0 and self.high == 0.0:
            yield ("plus_minus" if not apart else apart[0],), "must be more than 0; leave the tolerance out where there is none"
