"""The errors that scene files raise for people to read."""

from dataclasses import dataclass
from typing import Self

from geometry.errors import GeometryError


@dataclass(frozen=True, slots=True)
class Complaint:
    """One fault of a scene file: where it stands and what to do about it."""

    where: str
    problem: str
    line: int | None = None
    source: str = "scene"

    def __str__(self) -> str:
        """One sentence: file, line where known, key path, rule, found value, way out."""
        place = f"{self.source}:{self.line}" if self.line is not None else self.source
        return f"{place}: {self.where}: {self.problem}" if self.where else f"{place}: {self.problem}"


class ItemError(GeometryError):
    """A table of a scene that nothing can be built from, found while building; `item` is the table as a value."""

    def __init__(self, item: object, problem: str) -> None:
        self.item = item
        super().__init__(problem)


class SceneError(ValueError):
    """A scene that cannot be used; carries every complaint found, not only the first."""

    def __init__(self, complaints: list[Complaint] | tuple[Complaint, ...]) -> None:
        self.complaints = tuple(complaints)
        super().__init__("\n".join(str(complaint) for complaint in self.complaints))

    def __reduce__(self) -> tuple[type[Self], tuple[tuple[Complaint, ...]]]:
        """From its complaints: another process that works on a part of the question may raise it."""
        return type(self), (self.complaints,)
