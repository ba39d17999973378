"""What each state is called in files and folders: no two alike."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

from scenes.io.file_names import file_name
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, f_numbers_of, focal_lengths, focus_distances_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A zoom, focus and stop: focal length and focus distance from the image plane [mm], f-number."""

    focal_mm: float
    focus_mm: float
    f_number: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StateLabel:
    """What tells a state from any other, where all that it was made from is not needed."""

    key: str
    lens_name: str
    is_zoom: bool
    focal_mm: float
    focus_mm: float
    f_number: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A state to be named: its lens, by number from 1 and name, and its setting."""

    number: int
    lens_name: str
    is_zoom: bool
    setting: Setting


def settings_of(scene: Scene, lens: Lens) -> Iterator[Setting]:
    """Every setting of a lens that the scene's [check] asks for."""
    for focal_mm in focal_lengths(lens):
        for focus_mm, f_number in product(focus_distances_of(scene, lens, focal_mm), f_numbers_of(scene, lens)):
            yield Setting(focal_mm=focal_mm, focus_mm=focus_mm, f_number=f_number)


def key_of(scene: Scene, lens: Lens, setting: Setting) -> str:
    """A state's name for files: '18_inf_f2', '25-50_35mm_at_600_f2.8'.

    States of the scene that would share a name say their numbers in full, and where that is not enough which lens they are of. A
    setting that the scene does not ask for always says its numbers in full.
    """
    number = next(number for number, other in enumerate(scene.lens, 1) if other.name == lens.name)
    one = _asked(number, lens, setting)
    known = _keys(tuple(_asked(k, other, s) for k, other in enumerate(scene.lens, 1) for s in settings_of(scene, other)))
    return known[one] if one in known else _free(one, {key.casefold() for key in known.values()})


def _asked(number: int, lens: Lens, setting: Setting) -> _Asked:
    return _Asked(number=number, lens_name=lens.name, is_zoom=len(focal_lengths(lens)) > 1, setting=setting)


@lru_cache(maxsize=8)
def _keys(asked: tuple[_Asked, ...]) -> dict[_Asked, str]:
    found: dict[_Asked, str] = {}
    for write in (_short, _full, _of_lens):
        left = {one: write(one) for one in asked if one not in found}
        count = Counter(key.casefold() for key in left.values())
        taken = {key.casefold() for key in found.values()}
        found |= {one: key for one, key in left.items() if count[key.casefold()] == 1 and key.casefold() not in taken}
    for one in asked:
        if one not in found:
            found[one] = _free(one, {key.casefold() for key in found.values()})
    return found


def _free(one: _Asked, taken: set[str]) -> str:
    """The state's name in full, longer where that is taken."""
    key = _full(one)
    if key.casefold() in taken:
        key = _of_lens(one)
    while key.casefold() in taken:
        key += "_"
    return key


def _short(one: _Asked) -> str:
    return _written(one, "", lambda value: f"{value:g}")


def _full(one: _Asked) -> str:
    return _written(one, "", _in_full)


def _of_lens(one: _Asked) -> str:
    return _written(one, f"_lens{one.number}", _in_full)


def _in_full(value: float) -> str:
    """The shortest number that is this value and no other."""
    short = f"{value:g}"
    return short if float(short) == value else repr(float(value))


def _written(one: _Asked, which: str, number: Callable[[float], str]) -> str:
    setting = one.setting
    focal = f"_{number(setting.focal_mm)}mm" if one.is_zoom else ""
    focus = "inf" if math.isinf(setting.focus_mm) else f"at_{number(setting.focus_mm)}"
    return f"{file_name(one.lens_name, 'lens')}{which}{focal}_{focus}_f{number(setting.f_number)}"
