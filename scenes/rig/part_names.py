"""Names of parts that speak against what the scene says of them: lenses that they are for, a flag's side or angle, trays' order."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box, Flag, box_parts
from scenes.scene_file.tables.lens import Lens

WORD = re.compile(r"[^\W_]+(?:[.\-][^\W_]+)*")  # '25', '24-70', 'top'
LEAST_NAME = 2  # letters of a lens's name: 'mask 1' counts masks
NAMED_SIZE = re.compile(r"(?<![\w.])(\d{2,4}(?:\.\d+)?)\s?[x×]\s?(\d{2,4}(?:\.\d+)?)(?![\w.]*\d)")
NAMED_SHARE, LEAST_SIZE_MM = 0.03, 20.0  # names round sizes; smaller numbers are ratios, as 16x9
NAMED_ANGLE, SAME_DEG = re.compile(r"(?<![\w.])(-?\d{1,3}(?:\.\d+)?)\s?(?:deg\b|degrees?\b|°)", re.IGNORECASE), 1.0
SIDES = ("top", "bottom", "left", "right")
REAR, FRONT = {"rear", "back"}, {"front"}


def lens_list_words(box: Box, lens: Lens) -> Iterator[tuple[str, str]]:
    """Parts whose name has this lens's name in it, and whose list of lenses leaves it out."""
    if len(lens.name) < LEAST_NAME:
        return
    for _, _, part in box_parts(box):
        name = part.name or ""
        longer = any(lens.name in other and _says(name, other) for other in part.lenses or ())  # '35 macro', not the '35'
        if part.lenses and lens.name not in part.lenses and not longer and _says(name, lens.name):
            listed = ", ".join(f'"{other}"' for other in part.lenses)
            yield name, f'has the name of the lens "{lens.name}", which its lenses = [{listed}] leave out; are two lists swapped?'


def _says(name: str, word: str) -> bool:
    """Whether a word, or some in a row, stand in a name by themselves."""
    return re.search(rf"(?<![\w.\-]){re.escape(word)}(?![\w\-]|\.\d)", name, re.IGNORECASE) is not None


def mask_size_words(box: Box) -> Iterator[tuple[str, str]]:
    """Masks called by another size than theirs, such as 'mask 144 x 98'."""
    for mask in box.mask:
        named = NAMED_SIZE.search(mask.name or "")
        sizes = [size for size in (mask.opening_mm, mask.outer_mm) if size is not None]
        if named is None or not sizes:
            continue
        told = float(named[1]), float(named[2])
        same = [all(abs(a / b - 1.0) <= NAMED_SHARE for a, b in zip(told, size, strict=True)) for size in sizes]
        if not any(same) and min(told) >= LEAST_SIZE_MM:
            opening = f"opening_mm = [{plain(sizes[0][0])}, {plain(sizes[0][1])}]"
            yield mask.name or "", f"{opening} speaks against its name; give it the right size, or another name"


def flag_side_words(box: Box) -> Iterator[tuple[str, str]]:
    """Flags called by another side than theirs."""
    for flag in box.flag:
        named = _sides_in(flag)
        if len(named) == 1 and flag.side not in named:
            yield flag.name or "", f'side = "{flag.side}" speaks against its name; sides are as the operator sees them'


def flag_angle_words(box: Box) -> Iterator[tuple[str, str]]:
    """Flags called by another angle than theirs, such as 'top flag 20 deg'."""
    for flag in box.flag:
        named = NAMED_ANGLE.search(flag.name or "")
        if named is not None and abs(float(named[1]) - flag.angle_deg) > SAME_DEG:
            yield (
                flag.name or "",
                f"angle_deg = {plain(flag.angle_deg)} speaks against its name; give it the right angle, or another name",
            )


def _sides_in(flag: Flag) -> set[str]:
    words = {word.lower() for word in WORD.findall(flag.name or "")}
    return words & set(SIDES)


def tray_order_words(box: Box) -> Iterator[tuple[str, str]]:
    """Two trays that stand the other way about than their names say."""
    placed = sorted((stage for stage in box.stage if stage.name), key=lambda stage: stage.at_mm)
    for behind, ahead in pairwise(placed):
        first, second = ({word.lower() for word in WORD.findall(stage.name or "")} for stage in (behind, ahead))
        if first & FRONT and second & REAR:
            text = f'at_mm = {plain(behind.at_mm)} stands behind "{ahead.name}" at {plain(ahead.at_mm)}; are the two swapped?'
            yield behind.name or "", text
