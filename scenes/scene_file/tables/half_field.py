"""A stated half field: one angle at the edge of the width, or one for the width and one for the height."""

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, PlainSerializer, WithJsonSchema
from pydantic_core import PydanticCustomError

from scenes.scene_file.messages import did_you_mean, shown
from scenes.scene_file.tables.fields import checked_number, fault

LIMITS: dict[str, Any] = {"x-unit": "deg", "minimum": 0.5, "maximum": 89.0}
WAYS = ("horizontal", "vertical")


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfFieldAngles:
    """Half field at the edge of the picture's width, and at that of its height where it is known [deg]."""

    horizontal: float
    vertical: float | None = None


def read_half_field(value: Any) -> HalfFieldAngles:
    """Half fields from a number, or from a table of horizontal and vertical."""
    if isinstance(value, HalfFieldAngles):
        return value
    if not isinstance(value, dict):
        return HalfFieldAngles(horizontal=checked_number(value, LIMITS))
    for key in value:
        if key not in WAYS:
            raise fault(f"has the unknown key {shown(key)}; {did_you_mean(key, WAYS)}")
    missing = [key for key in WAYS if key not in value]
    if missing:
        raise fault(f"must give both horizontal and vertical, {missing[0]} is missing; or write the horizontal one as a number")
    return HalfFieldAngles(**{key: _angle(value[key], key) for key in WAYS})


def _angle(value: Any, which: str) -> float:
    try:
        return checked_number(value, LIMITS)
    except PydanticCustomError as error:
        raise fault(f"{which} {(error.context or {}).get('problem')}") from None


def _written(field: HalfFieldAngles) -> Any:
    if field.vertical is None:
        return field.horizontal
    return {"horizontal": field.horizontal, "vertical": field.vertical}


_NUMBER: dict[str, Any] = {"type": "number", "minimum": LIMITS["minimum"], "maximum": LIMITS["maximum"]}
HalfField = Annotated[
    HalfFieldAngles,
    BeforeValidator(read_half_field),
    PlainSerializer(_written),
    WithJsonSchema(
        {
            "anyOf": [
                _NUMBER,
                {
                    "type": "object",
                    "properties": dict.fromkeys(WAYS, _NUMBER),
                    "required": list(WAYS),
                    "additionalProperties": False,
                },
            ]
        }
    ),
]
