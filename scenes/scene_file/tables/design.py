"""The design table of a scene file: which lengths and choices of the box are free, what is asked of it and what is to be small."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Literal

from pydantic import create_model

from scenes.scene_file.messages import did_you_mean, plain, shown
from scenes.scene_file.tables.fields import LONGEST_TEXT, Fault, Table, choice, is_number, loose, part, quantity, text
from scenes.scene_file.tables.tolerance_paths import PathError, Spot, places_of, spots_of

Small = Literal["front_area", "front_width", "front_height", "depth", "weight", "glass_sizes"]
ALUMINIUM = 2.70  # g/cm3, 6061-T6: data sheets, docs/design.md
MOST_FREE, MOST_CHOICES = 12, 40
TRAYS = "box.stage"  # of a row that chooses which trays there are, and in which order
TRAY = re.compile(r"box\.stage\[([^\]]*)\]")
NUMBER_OR_PAIR = [{"type": "number"}, {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}]


def _free(meaning: str) -> Any:
    return loose(meaning, None, {"anyOf": NUMBER_OR_PAIR}, "number or array of 2 numbers")


def _choices(meaning: str) -> Any:
    names = {"type": "array", "items": {"type": "string"}}
    shape = {"type": "array", "items": {"anyOf": [*NUMBER_OR_PAIR, {"type": "string"}, names]}, "minItems": 2}
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
        if not isinstance(found, list | tuple) or len(found) < 2:
            yield ("choose",), f"must be an array of at least two values, got {shown(found)}"
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
        if len(self.free) > MOST_FREE:
            yield ("free",), f"must be at most {MOST_FREE} tables, got {len(self.free)}"
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


def design_faults(scene: Table, design: DesignRow, lights: Sequence[str]) -> Iterator[Fault]:
    """What is wrong with a design: places that are none, ends beyond what the scene file allows, lights that are not there."""
    seen: set[object] = set()
    for place, row in enumerate(design.free):
        if row.of == TRAYS:
            yield from _tray_faults(scene, design, row, place)
        try:
            for found in named_by(scene, row):
                if found in seen:
                    yield ("design", "free", place, "of"), f"names {row.of} a second time; keep one of them"
                seen.add(found)
        except PathError as error:
            yield ("design", "free", place, "of"), str(error)
            continue
        if row.ends is not None and row.of != TRAYS:
            yield from _limit_faults(scene, row, place)
    for name in design.want.keep_off:
        if name not in lights:
            yield (
                ("design", "want", "keep_off"),
                f"names a light that is not in this scene, {shown(name)}; {did_you_mean(name, lights)}",
            )


def tray_of(of: str) -> str:
    """What stands in brackets after box.stage in a key path; '' where nothing does."""
    found = TRAY.match(of)
    return found[1].strip() if found else ""


def _tray_faults(scene: Any, design: DesignRow, row: FreeRow, place: int) -> Iterator[Fault]:
    """Choices of trays are lists of their names; whatever else is free of a tray names it so too."""
    names = [stage.name for stage in scene.box.stage]
    where = ("design", "free", place)
    if row.ends is not None:
        yield (*where, "of"), "is a list of trays; give choose, with the names of those to have in each list"
        return
    if not names or None in names or len(set(names)) < len(names):
        yield (*where, "of"), "needs [[box.stage]] tables that each have a name of their own"
        return
    for choice_ in row.choices:
        if not isinstance(choice_, list | tuple) or any(name not in names for name in choice_) or len(set(choice_)) < len(choice_):
            listed = ", ".join(shown(name) for name in names)
            yield (
                (*where, "choose"),
                f"must hold lists of trays in their order from the lens on, of {listed}, none twice; got {shown(choice_)}",
            )
            return
    if all(other.of == TRAYS or tray_of(other.of) for other in design.free):
        yield (*where, "of"), "needs something else that is free and not of a tray, such as box.hood.front_mm"
    for other, free in enumerate(design.free):
        if free.of != TRAYS and free.of.startswith(TRAYS) and tray_of(free.of) not in names:
            yield (
                ("design", "free", other, "of"),
                f"must name its tray, as box.stage[{names[0]}], where trays are chosen; got {shown(free.of)}",
            )


def named_by(scene: Table, row: FreeRow) -> tuple[object, ...]:
    """What a free row names; PathError where that is nothing that a design may set."""
    if row.of == TRAYS:
        return (TRAYS,)
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


def _limit_faults(scene: Table, row: FreeRow, place: int) -> Iterator[Fault]:
    assert row.ends is not None
    for spot, low, high in zip(spots_in(scene, row), *row.ends, strict=True):
        least, most = spot.limits
        for key, end in (("from", low), ("to", high)):
            if not least <= end <= most:
                problem = f"takes {spot.key} beyond its limits, {plain(least)} to {plain(most)} {spot.unit}, got {plain(end)}"
                yield ("design", "free", place, key), problem
                return
