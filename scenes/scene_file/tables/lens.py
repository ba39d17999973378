"""The lens of a scene file: front, pupil, projection, states; and where this lens wants the box otherwise."""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, PlainSerializer, WithJsonSchema, model_validator
from pydantic_core import PydanticCustomError

from scenes.scene_file.messages import did_you_mean, plain, shown
from scenes.scene_file.tables.fields import Fault, Table, checked_number, choice, deg, fault, focus, mm, part, path, quantity, text
from scenes.scene_file.tables.half_field import HalfField

Interval = tuple[float, float]
Projection = Literal["rectilinear", "equidistant", "equisolid", "stereographic", "orthographic"]
WalkRow = tuple[float, float, float, float]

PUPIL_LIMITS: dict[str, Any] = {"x-unit": "mm", "minimum": -100.0, "maximum": 1000.0}
MOST_UNCERTAIN_SHARE = 0.5  # of a depth: nobody measures it worse
WALK_COLUMNS: tuple[dict[str, Any], ...] = (
    {"x-unit": "deg", "minimum": 0.0, "maximum": 89.0},
    PUPIL_LIMITS,
    {"minimum": 0.05, "maximum": 20.0},
    {"minimum": 0.05, "maximum": 20.0},
)
WALK_WORDS = "[field_deg, depth_mm, tangential_size, sagittal_size]"
PUPIL_MAGNIFICATIONS = (0.1, 10.0)  # of lenses that are made: 0.3 (telephoto) to 5 (very wide retrofocus); common practice
Checked = Literal[
    "focal_mm",
    "f_number",
    "front_glass_mm",
    "front_to_sensor_mm",
    "close_focus_mm",
    "pupil_behind_front_mm",
    "pupil_magnification",
    "pupil_walk",
    "half_field_deg",
    "squeeze",
    "distortion",
    "front_travel_mm",
]
SAFE_NAME = re.compile(r"[^/\\:*?\"<>|]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class PupilDepth:
    """How far the entrance pupil lies behind the front rim, least and most, for either direction [mm]."""

    horizontal: Interval
    vertical: Interval

    @property
    def is_round(self) -> bool:
        """Whether both directions share one depth, as in a spherical lens."""
        return self.horizontal == self.vertical

    @property
    def is_certain(self) -> bool:
        """Whether the depth is one value rather than bounds."""
        return self.horizontal[0] == self.horizontal[1] and self.vertical[0] == self.vertical[1]


def read_pupil_depth(value: Any) -> PupilDepth:
    """A depth from a number, from [least, most], or from a table of horizontal and vertical."""
    if isinstance(value, PupilDepth):
        return value
    if not isinstance(value, dict):
        both = _read_interval(value, "")
        return PupilDepth(horizontal=both, vertical=both)
    known = ("horizontal", "vertical")
    for key in value:
        if key not in known:
            raise fault(f"has the unknown key {shown(key)}; {did_you_mean(key, known)}")
    missing = [key for key in known if key not in value]
    if missing:
        raise fault(f"must give both horizontal and vertical, {missing[0]} is missing")
    return PupilDepth(**{key: _read_interval(value[key], f"{key} ") for key in known})


def _read_interval(value: Any, which: str) -> Interval:
    try:
        ends = [checked_number(end, PUPIL_LIMITS) for end in (value if isinstance(value, list | tuple) else [value])]
    except PydanticCustomError as error:
        raise fault(which + str((error.context or {}).get("problem"))) from None
    if len(ends) not in {1, 2}:
        raise fault(f"{which}must be a number or [least, most], got {shown(value)}")
    if ends[0] > ends[-1]:
        raise fault(f"{which}must be [least, most], got {_pair(ends[0], ends[1])}; write {_pair(ends[1], ends[0])}{_around(*ends)}")
    return ends[0], ends[-1]


def _pair(least: float, most: float) -> str:
    return f"[{plain(least)}, {plain(most)}]"


def _around(middle: float, off: float) -> str:
    """What a value and how far it may be off would be as bounds; '' where the second number is no such."""
    likely = 0.0 < off < middle * MOST_UNCERTAIN_SHARE
    return f", or {_pair(middle - off, middle + off)} if {plain(middle)} +- {plain(off)} is meant" if likely else ""


def _pupil_text(depth: PupilDepth) -> Any:
    if depth.is_round:
        return depth.horizontal[0] if depth.is_certain else list(depth.horizontal)
    return {"horizontal": list(depth.horizontal), "vertical": list(depth.vertical)}


_NUMBER_OR_BOUNDS: dict[str, Any] = {
    "anyOf": [
        {"type": "number", "minimum": -100, "maximum": 1000},
        {
            "type": "array",
            "items": {"type": "number", "minimum": -100, "maximum": 1000},
            "minItems": 1,
            "maxItems": 2,
        },
    ]
}
Pupil = Annotated[
    PupilDepth,
    BeforeValidator(read_pupil_depth),
    PlainSerializer(_pupil_text),
    WithJsonSchema(
        {
            "anyOf": [
                *_NUMBER_OR_BOUNDS["anyOf"],
                {
                    "type": "object",
                    "properties": {"horizontal": _NUMBER_OR_BOUNDS, "vertical": _NUMBER_OR_BOUNDS},
                    "required": ["horizontal", "vertical"],
                    "additionalProperties": False,
                },
            ]
        }
    ),
]


def read_walk(value: Any) -> tuple[WalkRow, ...]:
    """Rows of a walking pupil, fields rising from 0."""
    if not isinstance(value, list | tuple) or len(value) < 2:
        raise fault(f"must be at least two rows {WALK_WORDS}, got {shown(value)}")
    rows = tuple(_read_walk_row(row, place) for place, row in enumerate(value, 1))
    fields = [row[0] for row in rows]
    if fields[0] != 0.0 or any(b <= a for a, b in pairwise(fields)):
        raise fault(f"must have rows of rising field from 0 deg, got {', '.join(map(plain, fields[:8]))}")
    return rows


def _read_walk_row(row: Any, place: int) -> WalkRow:
    if not isinstance(row, list | tuple) or len(row) != 4:
        raise fault(f"row {place} must be {WALK_WORDS}, got {shown(row)}")
    try:
        a, b, c, d = (checked_number(value, limits) for value, limits in zip(row, WALK_COLUMNS, strict=True))
    except PydanticCustomError as error:
        raise fault(f"row {place}: one value {(error.context or {}).get('problem')}") from None
    return a, b, c, d


Walk = Annotated[
    tuple[WalkRow, ...],
    BeforeValidator(read_walk),
    WithJsonSchema(
        {
            "type": "array",
            "minItems": 2,
            "items": {"type": "array", "items": {"type": "number"}, "minItems": 4, "maxItems": 4},
        }
    ),
]


class BoxPlacement(Table):
    """Where one lens wants the box otherwise; what is left out stays as in [box]."""

    ahead_mm: float | None = mm("As ahead_mm in [box], for this lens only.", -200.0, 500.0, None)
    offset_mm: tuple[float, float] | None = mm("As offset_mm in [box], for this lens only.", -100.0, 100.0, None)
    tilt_deg: float | None = deg("As tilt_deg in [box], for this lens only.", -30.0, 30.0, None)


class LensState(Table):
    """One setting of a zoom, of focus, or both, and what the lens measures there; between rows it is interpolated."""

    focal_mm: float | None = mm("Focal length at this setting.", 2.0, 2000.0, None)
    focus_mm: float | None = focus('Focus distance from the image plane at this setting, or "infinity".', None)
    pupil_behind_front_mm: Pupil | None = mm(
        "Entrance pupil behind the front rim at this setting: a number, [least, most], or { horizontal, vertical }.",
        -100.0,
        1000.0,
        None,
    )
    front_travel_mm: float | None = mm(
        "How far the front rim has moved toward the scene at this setting, against the lens's other measures.",
        -200.0,
        200.0,
        None,
    )
    half_field_deg: HalfField | None = deg(
        "Measured half field angle at the edge of the picture's width at this setting, on the object side, seen from the pupil "
        "(an anamorphic lens's horizontal one); or { horizontal, vertical } at the edges of width and height.",
        0.5,
        89.0,
        None,
    )
    pupil_magnification: float | None = quantity(
        "As pupil_magnification of the lens, at this setting.", *PUPIL_MAGNIFICATIONS, None
    )

    def faults(self) -> Iterator[Fault]:
        """A row stands for a focal length, a focus, or both."""
        if self.focal_mm is None and self.focus_mm is None:
            yield (), "must give focal_mm or focus_mm, the setting that the row stands for"


class Lens(Table):
    """One lens of the set, as far as a box in front of it is concerned."""

    name: str = text('Short name, used in `lenses = ["..."]` and for result folders.')
    focal_mm: float = mm(
        "Focal length; of an anamorphic lens the vertical one (the longer).",
        2.0,
        2000.0,
        0.0,
        default_words="that of the first state row",
    )
    f_number: float = quantity("Widest f-number; drives the pupil diameter, focal_mm / f_number.", 0.5, 64.0)
    front_diameter_mm: float = mm("Outside of the barrel at the front.", 15.0, 500.0)
    front_glass_mm: float | None = mm(
        "Clear opening of the front ring, where known: the lens's own front vignetting.", 5.0, 500.0, None
    )
    front_to_sensor_mm: float | None = mm(
        "Front rim to image plane, at infinity focus; needed for every finite focus.", 15.0, 1500.0, None
    )
    pupil_behind_front_mm: Pupil | None = mm(
        "Entrance pupil behind the front rim: a number; [least, most] when only bounds are known (worst case and range "
        "are reported); or { horizontal = ..., vertical = ... } for an anamorphic lens.",
        -100.0,
        1000.0,
        None,
        default_words="from pupil_walk, prescription or the state rows",
    )
    close_focus_mm: float | None = mm("Nearest focus, from the image plane.", 20.0, 20000.0, None)
    projection: Projection = choice("How field angles map to the picture.", "rectilinear")
    distortion: tuple[float, float] = quantity(
        "[k1, k2] on top of the projection: r becomes r (1 + k1 r^2 + k2 r^4), r = 1 at the half diagonal.",
        -1.0,
        1.0,
        (0.0, 0.0),
    )
    squeeze: float = quantity("Anamorphic squeeze: the horizontal angle grows by this; 1 is spherical.", 1.0, 2.5, 1.0)
    pupil_width_factor: float = quantity(
        "Width of the entrance pupil over its height; a front anamorphic's pupil is narrower by the squeeze.",
        0.2,
        2.0,
        lambda data: 1.0 / data.get("squeeze", 1.0),
        default_words="1 / squeeze",
    )
    pupil_magnification: float | None = quantity(
        "Diameter of the exit pupil, seen from behind, over that of the entrance pupil, seen from the front; an anamorphic lens's "
        "vertical ones. With it the field at close focus is worked out, not guessed, for a lens that focuses as a whole.",
        *PUPIL_MAGNIFICATIONS,
        None,
        default_words="from the state rows, else not known",
    )
    pupil_walk: Walk | None = part(
        "How the pupil walks with field: rows [field_deg, depth_mm, tangential_size, sagittal_size]; depth where the real "
        "chief ray crosses the axis, behind the front rim; sizes against the pupil on axis. Fields rise from 0.",
        None,
    )
    prescription: str | None = path(
        "Prescription file (TOML), relative to the scene file: pupil and field are then traced, not assumed.", None
    )
    confirmed: tuple[Checked, ...] = choice(
        "Keys of this lens whose values you have checked although other numbers of the scene speak against them: they then "
        "count as they stand, without a fault.",
        (),
    )
    box: BoxPlacement = part("Where this lens wants the box otherwise.", BoxPlacement())
    state: tuple[LensState, ...] = part(
        "Zoom and focus settings: a row for each focal length, each focus, or every pair of both.", ()
    )

    @model_validator(mode="before")
    @classmethod
    def _focal_from_states(cls, data: Any) -> Any:
        """A zoom's focal length, where not given, is that of its first state row."""
        if not isinstance(data, dict) or "focal_mm" in data:
            return data
        rows = data.get("state")
        first = rows[0] if isinstance(rows, list) and rows else rows
        focal = first.get("focal_mm") if isinstance(first, dict) else None
        return data if focal is None else {**data, "focal_mm": focal}

    def faults(self) -> Iterator[Fault]:
        """What a lens's own numbers must agree on."""
        if SAFE_NAME.fullmatch(self.name) is None or self.name.strip(". ") != self.name:
            rule = 'must do as a folder name, without / \\ : * ? " < > | and without a dot or space at its ends'
            yield ("name",), f"{rule}, got {shown(self.name)}"
        yield from self._front_faults()
        yield from self._pupil_faults()
        yield from _state_faults(self.state)

    def _front_faults(self) -> Iterator[Fault]:
        opening, barrel = self.front_glass_mm, self.front_diameter_mm
        pupil = max(focal_lengths(self)) / self.f_number
        if self.focal_mm == 0.0:
            yield ("focal_mm",), "is missing; give it here or in every state row"
        if opening is not None and opening > barrel:
            yield ("front_glass_mm",), f"must not exceed front_diameter_mm = {plain(barrel)}, got {plain(opening)}"
        elif pupil > (opening or barrel):
            yield (
                ("f_number",),
                (
                    f"makes the pupil {plain(pupil)} mm wide (focal_mm / f_number), more than the front's "
                    f"{plain(opening or barrel)} mm; one of the three is wrong"
                ),
            )
        length = self.front_to_sensor_mm
        rows = [(("state", place, "focus_mm"), row.focus_mm) for place, row in enumerate(self.state)]
        for where, near in [(("close_focus_mm",), self.close_focus_mm), *rows]:
            if isinstance(near, float) and length is not None and near <= length:
                yield (
                    where,
                    (
                        f"must lie in front of the lens, beyond front_to_sensor_mm = {plain(length)}, got {plain(near)}; "
                        "it is measured from the image plane"
                    ),
                )

    def _pupil_faults(self) -> Iterator[Fault]:
        sources = [key for key in ("pupil_walk", "prescription") if getattr(self, key) is not None]
        in_states = [row.pupil_behind_front_mm is not None for row in self.state]
        if self.pupil_behind_front_mm is None and not sources and not (in_states and all(in_states)):
            yield (
                ("pupil_behind_front_mm",),
                (
                    "is missing; give the entrance pupil's depth behind the front rim, [least, most] if only bounds are "
                    "known, or pupil_walk, or prescription"
                ),
            )
        if len(sources) == 2:
            yield ("pupil_walk",), "must be left out where prescription is given: the walk is then traced"
        if sources and self.squeeze != 1.0:
            yield (sources[0],), f"describes a round lens, so squeeze must be 1, got {plain(self.squeeze)}"
        if "prescription" in sources and any(in_states):
            yield ("prescription",), "describes one setting, so no state row may give pupil_behind_front_mm"


def nearest_focus_mm(lens: Lens) -> float | None:
    """The nearest focus that a lens is looked at [mm from the image plane]: its own, else its nearest row's; None without."""
    rows = [row.focus_mm for row in lens.state if isinstance(row.focus_mm, float) and not math.isinf(row.focus_mm)]
    return lens.close_focus_mm if lens.close_focus_mm is not None else min(rows, default=None)


def focal_lengths(lens: Lens) -> tuple[float, ...]:
    """Focal lengths that a lens has a setting for, rising; a prime has one."""
    given = {row.focal_mm for row in lens.state if row.focal_mm is not None}
    return tuple(sorted(given)) or (lens.focal_mm,)


def stated_depths(lens: Lens) -> tuple[PupilDepth, ...]:
    """The pupil depths that a lens's rows state, or its own."""
    rows = tuple(row.pupil_behind_front_mm for row in lens.state if row.pupil_behind_front_mm is not None)
    return rows or ((lens.pupil_behind_front_mm,) if lens.pupil_behind_front_mm is not None else ())


STATE_AXES = ("focal_mm", "focus_mm")
Setting = tuple[float | None, float | None]
MOST_SLIPPED, LARGEST_GRID = 4, 60  # more rows that may be wrong are no help; larger grids are written by programs
STATE_VALUES = ("pupil_behind_front_mm", "front_travel_mm", "half_field_deg", "pupil_magnification")


def _state_faults(rows: tuple[LensState, ...]) -> Iterator[Fault]:
    """Rows fill a whole grid: the same keys in all of them, every focal length with every focus, none twice."""
    for key in (*STATE_AXES, *STATE_VALUES):
        missing = [place for place, row in enumerate(rows) if getattr(row, key) is None]
        if missing and len(missing) < len(rows):
            yield ("state", missing[0], key), "is missing; what one state row gives, every row must give"
            return
    settings = [(row.focal_mm, row.focus_mm) for row in rows]
    for place, setting in enumerate(settings):
        if setting in settings[:place]:
            yield ("state", place), f"repeats the setting of row {settings.index(setting) + 1}; leave one of them out"
            return
    for focal in dict.fromkeys(setting[0] for setting in settings):
        for distance in dict.fromkeys(setting[1] for setting in settings):
            if (focal, distance) not in settings:
                yield ("state",), f"{_missing_setting(focal, distance)}{_or_slipped(settings)}"
                return


def _missing_setting(focal: float | None, distance: float | None) -> str:
    words = f"focal_mm = {plain(focal or 0.0)}, focus_mm = {_shown_number(distance)}"
    return f"must have every focal length with every focus; add the row {words}"


def _or_slipped(settings: list[Setting]) -> str:
    """Which rows of a grid with a gap may be wrong: those that would fill it with one number of another row; '' for none."""
    found = []
    for place, (focal, distance) in enumerate(settings if len(settings) <= LARGEST_GRID else ()):
        others = [*settings[:place], *settings[place + 1 :]]
        focals, distances = ({setting[axis] for setting in others} for axis in (0, 1))
        for key, own, meant in (
            *(("focal_mm", focal, (other, distance)) for other in focals),
            *(("focus_mm", distance, (focal, other)) for other in distances),
        ):
            filled = {*others, meant}
            if len(filled) == len(settings) == len({one[0] for one in filled}) * len({one[1] for one in filled}):
                found.append((place + 1, key, own))
    if not found or len(found) > MOST_SLIPPED:
        return ""
    rows = " or ".join(f"{key} = {_shown_number(own)} of row {row}" for row, key, own in found)
    return f"; or is {rows} wrong?"


def _shown_number(value: float | None) -> str:
    return f'"{plain(math.inf)}"' if value == math.inf else plain(value or 0.0)
