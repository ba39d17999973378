"""The error that geometry raises for people to read."""


class GeometryError(ValueError):
    """A shape or place that cannot be; the text says the rule, what was found and the way out."""
