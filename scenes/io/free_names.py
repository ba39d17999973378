"""Names that nothing has yet."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

ENDS = ("", *(f"-{number}" for number in range(2, 1000)))  # that a name gets which is taken


def first_free(places: Iterable[Path]) -> Path:
    """The first of these places that nothing has; a link to nowhere is something."""
    return next(place for place in places if not os.path.lexists(place))
