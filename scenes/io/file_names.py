"""Names of the crew's as names of files."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence

NOT_IN_NAMES = re.compile(r"[^\w.+-]+")
LONGEST_BYTES = 120  # of 255 that file systems take, for more comes behind it; Windows counts the whole path, to 260
# Names of devices on Windows, whatever ending they have ("Naming Files, Paths, and Namespaces", learn.microsoft.com; from memory).
RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in "0123456789¹²³")}


def file_name(words: str, otherwise: str) -> str:
    """Words as the beginning of a file's name: what no file system minds; `otherwise` where nothing of them is left."""
    plain = NOT_IN_NAMES.sub("-", unicodedata.normalize("NFC", words)).strip("-.")  # macOS takes é for one letter, however written
    short = plain.encode()[:LONGEST_BYTES].decode(errors="ignore").rstrip("-.")
    return f"_{short}" if short.partition(".")[0].casefold() in RESERVED else short or otherwise


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
