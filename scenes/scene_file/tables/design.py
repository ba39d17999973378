"""The design table of a scene file: which lengths and choices of the box are free, what is asked of it and what is to be small."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Literal

from pydantic import create_model

from scenes.scene_file.messages import plain, shown
from scenes.scene_file.tables.fields import LONGEST_TEXT, Fault, Table, choice, is_number, loose, part, quantity, text
from scenes.scene_file.tables.tolerance_paths import PathError, Spot, places_of, spots_of

Small = Literal["front_area", "front_width", "front_height", "depth", "weight", "glass_sizes", "masks", "mask_area"]
ALUMINIUM = 2.70  # g/cm3, 6061-T6: data sheets, docs/design.md
MOST_FREE, MOST_CHOICES = 12, 40
TRAYS = "box.stage"  # of a row that chooses which trays there are, and in which order
MASKS = "box.mask"  # of a row that chooses how many masks the lenses share
MASK = re.compile(r"box\.mask(\[[^\]]*\])?\.")
OPENINGS = ("opening_mm", "opening_diameter_mm")
TRAY = re.compile(r"box\.stage\[([^\]]*)\]")
NUMBER_OR_PAIR = [{"type": "number"}, {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}]


def _free(meaning: str) -> Any:
    return loose(meaning, None, {"anyOf": NUMBER_OR_PAIR}, "number or array of 2 numbers")


def _choices(meaning: str) -> Any:
    names = {"type": "array", "items": {"type": "string"}}
    shape = {"type": "array", "items": {"anyOf": [*NUMBER_OR_PAIR, {"type": "string"}, names]}, "minItems": 1}
    return loose(meaning, None, shape, "array of values")


def _key(table: Table, key: str) -> Any:
    """A key that only the made model of a table has."""
    return getattr(table, key)


class FreeRow(Table):
    """A length, angle or choice of the box that the design may set: `from` and `to`, or `choose`."""

    of: str = text(
        "What is free, by its tables and key as in a [[tolerance]]: "
        '"box.hood.front_mm", "box.stage[rear tray].filter.size", "box.flag[top flag].angle_deg". Of a pair give two numbers, '
        "or name one of the two: box.hood.front_mm.width.",
        longest=LONGEST_TEXT,
    )

    @property
    def ends(self) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
        """Least and largest values; None where it is a choice."""
        low, high = _key(self, "from"), _key(self, "to")
        return None if low is None or high is None else (_numbers(low), _numbers(high))

    @property
    def choices(self) -> tuple[Any, ...]:
        """The values to choose from; none where it has ends."""
        found = _key(self, "choose")
        return () if found is None else tuple(found)

    def faults(self) -> Iterator[Fault]:
        """Ends in their order, or some choices."""
        ends = [key for key in ("from", "to") if _key(self, key) is not None]
        if _key(self, "choose") is not None:
            yield from self._choice_faults(ends)
        elif len(ends) < 2:
            missing = "to" if ends == ["from"] else "from"
            yield (missing,), f"is missing; give from and to of {self.of}, or what to choose from"
        else:
            yield from self._end_faults()

    def _choice_faults(self, ends: list[str]) -> Iterator[Fault]:
        found = _key(self, "choose")
        if ends:
            yield (ends[0],), "must be left out where choose is given"
        least = 1 if self.of == MASKS else 2  # of one number of masks it is open which lenses share one
        if not isinstance(found, list | tuple) or len(found) < least:
            yield ("choose",), f"must be an array of at least {('one number', 'two values')[least - 1]}, got {shown(found)}"
        elif len(found) > MOST_CHOICES:
            yield ("choose",), f"must hold at most {MOST_CHOICES} values, got {len(found)}"
        elif len({repr(value) for value in found}) < len(found):
            yield ("choose",), "names one value twice"

    def _end_faults(self) -> Iterator[Fault]:
        low, high = _key(self, "from"), _key(self, "to")
        for key, value in (("from", low), ("to", high)):
            if not _is_number_or_pair(value):
                yield (key,), f"must be a number, or an array of 2 numbers for a pair, got {shown(value)}"
                return
        if isinstance(low, list | tuple) != isinstance(high, list | tuple):
            yield ("to",), f"must be of the same kind as from, {_listed(low)}, got {_listed(high)}"
        elif any(a > b for a, b in zip(_numbers(low), _numbers(high), strict=True)):
            yield ("to",), f"must not be less than from = {_listed(low)}, got {_listed(high)}; the limits stand the wrong way round"


def _is_number_or_pair(value: Any) -> bool:
    if isinstance(value, list | tuple):
        return len(value) == 2 and all(is_number(item) for item in value)
    return is_number(value)


def _listed(value: Any) -> str:
    """A number or a pair as it is written."""
    numbers = ", ".join(map(plain, _numbers(value)))
    return f"[{numbers}]" if isinstance(value, list | tuple) else numbers


def _numbers(value: Any) -> tuple[float, ...]:
    return tuple(map(float, value)) if isinstance(value, list | tuple) else (float(value),)


if TYPE_CHECKING:
    Free = FreeRow
else:  # `from` is no name that Python lets a class have
    Free = create_model(
        "Free",
        __base__=FreeRow,
        __doc__=FreeRow.__doc__,
        **{
            "from": (Any, _free("Its least value; two of them for a pair.")),
            "to": (Any, _free("Its largest value; two of them for a pair.")),
            "choose": (Any, _choices("The values that it may have, in place of from and to.")),
        },
    )


class Want(Table):
    """What is asked of a design besides a clear frame with every lens, at every focus and zoom."""

    room_mm: float = quantity("Room beyond what bounds and a fixed pupil already ask of a clear frame.", 0.0, 100.0, 0.0, unit="mm")
    clear_builds: float | None = quantity("Share of tolerance builds ([[tolerance]]) that must be clear.", 0.0, 1.0, None)
    keep_off: tuple[str, ...] = choice("Names of lights that must be kept off the glass.", ())


class Limits(Table):
    """What a design must not exceed, outside, flags and rods not counted."""

    width_mm: float | None = quantity("Largest outside width.", 20.0, 2000.0, None, unit="mm")
    height_mm: float | None = quantity("Largest outside height.", 20.0, 2000.0, None, unit="mm")
    depth_mm: float | None = quantity("Largest depth, from the back plate's rear face to the front.", 5.0, 2000.0, None, unit="mm")
    weight_kg: float | None = quantity("Largest weight, filters included.", 0.01, 100.0, None, unit="kg")


class DesignRow(Table):
    """What `brimline design` may change in the box, what is asked of it, and what is to be small."""

    free: tuple[Free, ...] = part("What is free.", ())
    want: Want = part("What is asked.", Want())
    limits: Limits = part("What must not be exceeded.", Limits())
    small: tuple[Small, ...] = choice(
        "What is to be small, the most important first. Areas, widths and heights are those of the outside, seen from the front.",
        ("front_area", "depth", "weight"),
    )
    material_density: float = quantity("Density of the box's material, for weights.", 0.1, 12.0, ALUMINIUM, unit="g/cm3")

    @property
    def is_trade_off(self) -> bool:
        """Whether the whole front between the first two of `small` is asked for."""
        return bool(_key(self, "trade-off"))

    def faults(self) -> Iterator[Fault]:
        """Something is free, something is to be small, nothing twice."""
        if not self.free:
            yield ("free",), 'is missing; name what is free, such as [[design.free]] with of = "box.hood.front_mm", from and to'
        count = len({"box.mask" if MASK.match(row.of) else place for place, row in enumerate(self.free)})  # masks as one
        if count > MOST_FREE:
            yield ("free",), f"must be at most {MOST_FREE} tables, got {count}"
        if not self.small or len(set(self.small)) < len(self.small):
            yield ("small",), "must name at least one thing, and none twice"
        if self.is_trade_off and len(self.small) < 2:
            yield ("trade-off",), "needs two things in small to trade one against the other"


if TYPE_CHECKING:
    Design = DesignRow
else:
    Design = create_model(
        "Design",
        __base__=DesignRow,
        __doc__=DesignRow.__doc__,
        **{
            "trade-off": (
                bool,
                choice("Show the front between the first two of `small` instead of the best by their order.", False),
            )
        },
    )


def tray_of(of: str) -> str:
    """What stands in brackets after box.stage in a key path; '' where nothing does."""
    found = TRAY.match(of)
    return found[1].strip() if found else ""


def named_by(scene: Table, row: FreeRow) -> tuple[object, ...]:
    """What a free row names; PathError where that is nothing that a design may set."""
    if row.of in {TRAYS, MASKS}:
        return (row.of,)
    if not row.of.startswith("box"):
        raise PathError(f"must begin with box: a design sets the box and nothing else, got {shown(row.of)}")
    if row.ends is None:
        return tuple(places_of(scene, row.of))
    return tuple(spot.place for spot in spots_in(scene, row))


def spots_in(scene: Table, row: FreeRow) -> tuple[Spot, ...]:
    """The lengths or angles of a row with ends, one for each number of `from`."""
    assert row.ends is not None
    spots = spots_of(scene, row.of)
    tables = len({spot.table for spot in spots})
    if tables > 1:
        raise PathError(f"names {tables} tables; give each a [[design.free]] of its own")
    if len(spots) != len(row.ends[0]):
        raise PathError(
            f"names {_count(len(spots))}, but from and to hold {_count(len(row.ends[0]))}"
            + ("; write from = [width, height]" if len(spots) == 2 else "")
        )
    return spots


def _count(number: int) -> str:
    return "a pair" if number == 2 else "one number"
