"""Sets of choices by key path: which values they set, and in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from scenes.questions.design.masks import group_words, without_number
from scenes.scene_file.tables.design import MASKS, TRAYS, tray_of

ARRANGED = (TRAYS, MASKS)  # chosen as a whole, not as a value of a table


def values_of(pick: Mapping[str, Any]) -> dict[str, Any]:
    """What is set in a scene that has the trays and masks of a pick."""
    return {path: value for path, value in pick.items() if path not in ARRANGED}


def is_there(path: str, pick: Mapping[str, Any]) -> bool:
    """Whether what a path names is a value of a design whose trays are chosen: not the trays themselves, nor one left out."""
    return path != TRAYS and (TRAYS not in pick or not tray_of(path) or tray_of(path) in pick[TRAYS])


def is_of(own: str, path: str, pick: Mapping[str, Any]) -> bool:
    """Whether a key path of a design is one of the scene; of masks, where their number is chosen, each is."""
    return without_number(own) == without_number(path) if MASKS in pick else own == path


def counted(pick: Mapping[str, Any]) -> dict[str, Any]:
    """The choices as they were asked for: how many masks, whichever lens takes which."""
    return {path: value if path != MASKS or isinstance(value, int) else len(value) for path, value in pick.items()}


def rounded(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values by key path as a scene file says them."""
    return {path: round(value, 4) if isinstance(value, float) else value for path, value in values.items()}


def pick_words(pick: Mapping[str, Any]) -> str:
    """A set of choices, each by its key path."""
    return ", ".join(f"{path} = {choice_words(value)}" for path, value in counted(pick).items())


def choices_words(pick: Mapping[str, Any]) -> dict[str, str]:
    """What was chosen, by key path: of masks which lenses share one."""
    return {path: group_words(value) if path == MASKS else choice_words(value) for path, value in pick.items()}


def choice_words(value: Any) -> str:
    """A chosen value; of trays their names from the lens on."""
    if isinstance(value, list | tuple) and all(isinstance(one, str) for one in value):
        return " + ".join(value) or "no tray"
    return str(value)


def trying_words(picks: Sequence[Mapping[str, Any]], pick: Mapping[str, Any]) -> str:
    """'trying choices 2 of 9, box.stage[rear].filter.size = 4x5.65'."""
    asked = counted(pick)
    if not pick or asked not in picks:
        return "trying sizes"
    return f"trying choices {picks.index(asked) + 1} of {len(picks)}, {pick_words(asked)}"
