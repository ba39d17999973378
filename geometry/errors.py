"""The error that geometry raises for people to read."""


class GeometryError(ValueError):
    """A shape or place that cannot be; the text says the rule, what was found and the way out."""


def positive(name: str, what: str, value_mm: float) -> float:
    """The value back; GeometryError where a size of a part of that name is not above 0 [mm]."""
    if not value_mm > 0:
        raise GeometryError(f"{name}: {what} must be above 0 mm, found {value_mm:g}")
    return value_mm
