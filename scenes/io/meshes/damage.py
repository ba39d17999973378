"""What is wrong with a mesh file that contradicts itself."""

from typing import Any

import numpy as np

from scenes.io.library_remarks import printable

FLAT_SHARE = 1e-9  # of the box that three axes span: flatter than that is flat
MOST_BODIES = 2_000  # copies counted: mesh readers take seconds for these, and minutes for ten times as many
STATED_SHARE = 1e-3  # of the farthest corner that is stated: exporters round both ends


class DamagedMeshError(ValueError):
    """A file that contradicts itself; the text is what is wrong with it."""


def few_enough_bodies(count: int) -> None:
    """Refuse more bodies, copies counted, than a mesh reader gets through in a moment."""
    if count > MOST_BODIES:
        raise DamagedMeshError(f"it comes to {count} bodies, and at most {MOST_BODIES} are read; export it as one body")


def no_triangles(name: str) -> DamagedMeshError:
    """What to raise for a body that the file names and that has none: it may be the part that is meant."""
    return DamagedMeshError(
        f'its body "{printable(name[:40])}" has no triangles; delete it, or bring its triangles back, and export the file again'
    )


def all_corners_used(used: int, corners: int) -> None:
    """Refuse corners that no face uses: they are what is left where faces are lost."""
    if used < corners:
        raise DamagedMeshError(
            f"{corners - used} of its {corners} corners belong to no face, as where faces are lost; delete loose corners, or "
            "bring the faces back, and export the file again"
        )


def plain_number(word: str) -> str:
    """The word of a number; refused where it holds an underscore, which Python's readers pass over."""
    if "_" in word:
        raise DamagedMeshError(f'it holds "{printable(word[:20])}" for a number; export it again')
    return word


def has_no_room(turned: Any) -> bool:
    """Whether a (3, 3) matrix presses bodies flat or to a point."""
    sizes = np.linalg.norm(turned, axis=0)
    return bool(abs(np.linalg.det(turned)) <= FLAT_SHARE * np.prod(sizes))


def unlike_stated(found: Any, stated: Any) -> tuple[Any, Any] | None:
    """The first end of a list of corners (2, 3) that lies elsewhere than the file states by more than rounding, and that."""
    slack = STATED_SHARE * float(np.abs(stated).max())
    pairs = zip(found, stated, strict=True)
    return next(
        ((there, told) for there, told in pairs if not np.allclose(told, there, rtol=0.0, atol=slack, equal_nan=True)), None
    )
