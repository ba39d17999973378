"""Names of the crew's as names of files."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

NOT_IN_NAMES = re.compile(r"[^\w.+-]+")


def file_name(words: str, otherwise: str) -> str:
    """Words as part of a file's name: what no file system minds; `otherwise` where nothing of them is left."""
    return NOT_IN_NAMES.sub("-", words).strip("-.") or otherwise


def file_names(names: Sequence[str], otherwise: str) -> dict[str, str]:
    """File names of different names, no two alike even where case does not count; those that would be are numbered."""
    plain = {name: file_name(name, otherwise) for name in names}
    count = Counter(name.casefold() for name in plain.values())
    taken = {name.casefold() for name in plain.values() if count[name.casefold()] == 1}
    return {name: made if made.casefold() in taken else _free(made, taken) for name, made in plain.items()}


def _free(name: str, taken: set[str]) -> str:
    """The name with the first number that makes it a new one, counted as taken from here on."""
    number = 1
    while f"{name}_{number}".casefold() in taken:
        number += 1
    taken.add(f"{name}_{number}".casefold())
    return f"{name}_{number}"
