"""What of a scene a proof does not speak of: a state that is left out of it is not proved, however many others are."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product
from pathlib import Path

from scenes.proof.plain_scene import Table, focus_of, tables_of


def asked_of(scene: Table, lens: Table) -> tuple[list[float], list[float]]:
    """Focus distances (inf for infinity) and stops at which the scene looks at a lens, by [check] or in its place."""
    check = scene.get("check", {})
    stops = [max(stop, lens["f_number"]) for stop in check.get("f_numbers", ())] or [lens["f_number"]]
    rows = [focus_of(row["focus_mm"]) for row in tables_of(lens, "state") if "focus_mm" in row]
    near = lens.get("close_focus_mm", min((at for at in rows if math.isfinite(at)), default=math.inf))
    words = {"infinity": math.inf, "close": near}
    return [words[at] if isinstance(at, str) else at for at in check.get("focus_mm", tuple(words))], stops


def is_asked(scene: Table, lens_name: str, focus: float, f_number: float) -> bool:
    """Whether the scene looks at a lens at this focus and stop; KeyError for an unknown lens."""
    lens = next((lens for lens in scene["lens"] if lens["name"] == lens_name), None)
    if lens is None:
        raise KeyError(f"lens {lens_name}")
    foci, stops = asked_of(scene, lens)
    return any(_same(f_number, stop) for stop in stops) and any(_same(focus, at) for at in foci)


def _same(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=1e-9)


def missing_file(scene: Table, folder: Path) -> str:
    """A file that the scene names and that is not there, so that check refuses it; empty where all are."""
    named = [lens.get("prescription") for lens in scene.get("lens", ())]
    for table, key in (("mask", "outline"), ("solid", "file")):
        named += [part.get(key) for part in tables_of(scene.get("box", {}), table)]
    return next((name for name in named if name and not (folder / name).exists()), "")


def not_spoken_of(scene: Table, entries: list[Table]) -> list[str]:
    """In words each lens with its settings and guides that the scene looks at, and no entry of the proof is of."""
    spoken = {_numbers(entry) for entry in entries}
    told = []
    for lens in scene["lens"]:
        left = [words for numbers, words in _looked_at(scene, lens) if numbers not in spoken]
        told += [f"{lens['name']}: {' | '.join(dict.fromkeys(left))}"] if left else []
    return told


Numbers = tuple[str, str, float, float, float]  # lens, guide, focal length, focus (inf for infinity), stop


def _numbers(entry: Table) -> Numbers:
    focus = entry.get("focus_mm")
    numbers = (entry.get("focal_mm"), math.inf if focus == "infinity" else focus, entry.get("f_number"))
    focal, distance, stop = (round(float(value), 3) if isinstance(value, int | float) else math.nan for value in numbers)
    return str(entry.get("lens")), str(entry.get("guide")), focal, distance, stop


def _looked_at(scene: Table, lens: Table) -> Iterator[tuple[Numbers, str]]:
    """What the scene looks at of a lens, as numbers and in words."""
    guides = [guide["name"] for guide in tables_of(scene["camera"], "guide")] or ["whole frame"]
    focals = sorted({row["focal_mm"] for row in tables_of(lens, "state") if "focal_mm" in row} or {lens["focal_mm"]})
    foci, stops = asked_of(scene, lens)
    for focal, focus, stop, guide in product(focals, dict.fromkeys(foci), dict.fromkeys(stops), guides):
        zoom = f"{focal:g} mm, " if len(focals) > 1 else ""
        at = "infinity" if math.isinf(focus) else f"focus {focus:g} mm"
        numbers = (str(lens["name"]), str(guide), round(float(focal), 3), round(float(focus), 3), round(float(stop), 3))
        yield numbers, f"{zoom}{at}, f/{stop:g}, {guide}"
