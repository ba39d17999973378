"""The crew's notes of a test shoot, `shoot.toml`: which still is which state, and what was not measured."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from posixpath import normpath
from typing import Literal

from scenes.scene_file.messages import plain
from scenes.scene_file.tables.fields import LONGEST_TEXT, Fault, Focus, Table, choice, focus, part, path, quantity, text

Curve = Literal["linear", "srgb", "rec709", "bt1886", "pq", "pq-camera", "hlg", "table"]
CodeRange = Literal["full", "narrow"]
RECORDED = "recorded area"
MOST_UNKNOWN, MOST_PICTURES = 12, 64


class Picture(Table):
    """A still with the box on, its reference without the box, and how both were shot."""

    with_box: str = path("The still with the box on the lens.")
    without_box: str | None = path("The same shot with the box taken off; leave it out where there is none.", None)
    focus_mm: Focus = focus('Focus distance from the image plane, or "infinity".', words=("infinity",))
    f_number: float = quantity("Stop it was shot at.", 0.5, 64.0)
    focal_mm: float | None = quantity("Focal length that a zoom was set to.", 1.0, 2000.0, None, unit="mm")
    curve: Curve = choice("Transfer function of the stills: linear, srgb, rec709, bt1886, pq, pq-camera, hlg or table.")
    curve_table: tuple[tuple[float, float], ...] = part(
        'With curve = "table": rows of [signal, light], both rising, signal 0 to 1.', ()
    )
    code_range: CodeRange = choice("Code values of whole-number files: full, or narrow as on a video link.", "full")
    covers: str = text('What the still shows of the sensor: "recorded area", or the name of a guide.', RECORDED)

    @property
    def setting(self) -> tuple[float | str, float, float | None]:
        """Focus, stop and, of a zoom, focal length."""
        return self.focus_mm, self.f_number, self.focal_mm

    def faults(self) -> Iterator[Fault]:
        """A table where the curve is one, and only there; stills of different names."""
        if (self.curve == "table") != bool(self.curve_table):
            yield (
                ("curve_table",),
                'goes with curve = "table", and curve = "table" needs it; write rows such as [[0, 0], [0.5, 0.2], [1, 1]]',
            )
        elif problem := table_problem(self.curve_table):
            yield ("curve_table",), problem
        if self.without_box is not None and self.without_box == self.with_box:
            yield (
                ("without_box",),
                "names the same file as with_box; name the still that was shot without the box, or leave it out",
            )


def table_problem(rows: Sequence[tuple[float, float]]) -> str:
    """What is wrong with the rows of a curve; '' where nothing is."""
    if not rows:
        return ""
    if len(rows) < 2 or any(not (math.isfinite(signal) and math.isfinite(light)) for signal, light in rows):
        return f"must have two rows or more of finite numbers, got {len(rows)} row{'s' if len(rows) != 1 else ''}"
    for (signal, light), (next_signal, next_light) in pairwise(rows):
        if next_signal <= signal or next_light <= light:
            found = f"[{plain(next_signal)}, {plain(next_light)}] after [{plain(signal)}, {plain(light)}]"
            return f"must rise from row to row, got {found}"
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """A still of the notes that stood in another row before: the key and the place of both rows."""

    place: int
    key: str
    before: int
    key_before: str

    @property
    def before_words(self) -> str:
        """Where it stood, as notes are spoken of."""
        return f"picture[{self.before + 1}].{self.key_before}"


def repeats(pictures: Sequence[Picture], identity: Callable[[str], Hashable]) -> Iterator[Repeat]:
    """Stills of several rows by what tells a still of a name; a reference may serve again for a still of the same setting."""
    first: dict[Hashable, tuple[int, str]] = {}
    for place, picture in enumerate(pictures):
        for key, name in (("with_box", picture.with_box), ("without_box", picture.without_box)):
            if name is None:
                continue
            before, key_before = first.setdefault(identity(name), (place, key))
            serves_again = key == key_before == "without_box" and picture.setting == pictures[before].setting
            if before != place and not serves_again:
                yield Repeat(place=place, key=key, before=before, key_before=key_before)


class Shoot(Table):
    """Notes of a test shoot of one lens."""

    lens: str = text("Name of the lens in the scene.")
    unknown: tuple[str, ...] = text(
        "Lengths and angles that were not measured and may differ from the scene, as in [[tolerance]] of.", (), longest=LONGEST_TEXT
    )
    picture: tuple[Picture, ...] = part("A still, or a pair of stills with and without the box.")

    def faults(self) -> Iterator[Fault]:
        """Something to look at, and no more than can be fitted."""
        if not self.picture:
            yield ("picture",), "must have one still at least; begin one with [[picture]]"
        if len(self.picture) > MOST_PICTURES:
            yield ("picture",), f"must be at most {MOST_PICTURES}, got {len(self.picture)}"
        if len(self.unknown) > MOST_UNKNOWN:
            yield ("unknown",), f"must be at most {MOST_UNKNOWN} key paths, got {len(self.unknown)}"
        if len(set(self.unknown)) < len(self.unknown):
            yield ("unknown",), "names a key path twice; keep one of them"
        for one in repeats(self.picture, normpath):
            found = f"names the same file as {one.before_words}, and no still counts twice"
            yield ("picture", one.place, one.key), f"{found}; name the still of this row, or leave the row out"
