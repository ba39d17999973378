"""JSON whose keys each stand once in their object: readers take the last of two, and nobody can tell which one was meant."""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

from scenes.scene_file.messages import shown


def json_of(text: str | bytes) -> Any:
    """What the text holds; ValueError where it cannot be read, or has a key twice in one object."""
    return json.loads(text, object_pairs_hook=_object)


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    whole = dict(pairs)
    if len(whole) < len(pairs):
        twice = next(key for key, count in Counter(key for key, _ in pairs).items() if count > 1)
        raise ValueError(f"the key {shown(twice)} stands twice in one object")
    return whole
