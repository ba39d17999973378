"""Draws docs/pictures/rooms.png: the rooms of `raytrace` and `scenes` floor by floor, with the imports between them as arrows.

    python docs/rooms_picture.py        # from the top of the repository

Floors come from tests/test_layers.py, which holds them; arrows from the imports as they are.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.test_layers import FLOORS, inner_imports, modules_of, room_of  # noqa: E402

INK, PAPER, WALL, FLOOR = "#1B1B1B", "#FFFFFF", "#FFFFFF", "#F1F3F5"
WIDE, HIGH = 11.0, 8.0  # inches
ROOM_HIGH = 0.34  # of the height of a floor


def main() -> None:
    """Write the picture."""
    figure = Figure(figsize=(WIDE, HIGH), facecolor=PAPER)
    left, right = figure.subplots(1, 2, width_ratios=[2, 3])
    for axes, package in ((left, "raytrace"), (right, "scenes")):
        draw(axes, package)
    figure.subplots_adjust(left=0.01, right=0.99, top=0.95, bottom=0.02, wspace=0.02)
    figure.savefig(ROOT / "docs" / "pictures" / "rooms.png", dpi=130)


def draw(axes: Axes, package: str) -> None:
    """One package: a line of rooms a floor, lower floors below; an arrow goes from who imports to what is imported."""
    sizes, arrows = counted(package)
    places = {}
    for floor in range(len(FLOORS[package])):
        axes.axhspan(floor - 0.42, floor + 0.42, color=FLOOR, zorder=0)
    for floor, rooms in enumerate(FLOORS[package]):
        there = sorted(room for room in rooms if room in sizes)
        for at, room in enumerate(there):
            places[room] = ((at + 0.5) / len(there), floor)
    for (user, used), count in arrows.items():
        axes.annotate(
            "",
            xy=(places[used][0], places[used][1] + ROOM_HIGH / 2),
            xytext=(places[user][0], places[user][1] - ROOM_HIGH / 2),
            arrowprops={"arrowstyle": "->", "color": INK, "alpha": min(0.15 + 0.05 * count, 0.7), "lw": 0.8},
        )
    for room, (x, y) in places.items():
        words = f"{room.removeprefix('questions.')}\n{sizes[room]}"
        axes.text(x, y, words, ha="center", va="center", fontsize=8, color=INK, bbox={"boxstyle": "round", "fc": WALL, "ec": INK})
    axes.set(xlim=(0, 1), ylim=(-0.6, len(FLOORS[package]) - 0.4), xticks=[], yticks=[])
    axes.set_title(f"{package}: rooms and their modules; each uses lower floors alone", fontsize=9, loc="left")
    axes.set_frame_on(False)


def counted(package: str) -> tuple[Counter[str], Counter[tuple[str, str]]]:
    """Modules of each room, and imports from one room into another."""
    modules = modules_of(package)
    inner = {module: path for module, path in modules.items() if path.name != "__init__.py"}
    sizes = Counter(room_of(module) for module in inner)
    pairs = ((room_of(module), room_of(used)) for module, path in inner.items() for used in inner_imports(path, set(inner)))
    return sizes, Counter((user, used) for user, used in pairs if user != used)


if __name__ == "__main__":
    main()
