"""What stands on flats: part number, name, material, bends; each part's own drawing, and a sheet with all that is cut from it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
import shapely.affinity

from geometry.flats import Flat
from geometry.rings import chords
from scenes.io.flat_files import LINE_SHARE, Drawn, Words
from scenes.questions.make.made_part import Made
from scenes.questions.make.report import Sheet
from scenes.questions.make.shapes import Cut
from scenes.scene_file.messages import plain

DO_NOT_CUT = "do not cut: the scene has a fault"
LEAST_MM, MOST_MM = 1.2, 4.0  # letters that a laser or an engraver still writes, and as large as they need be
WIDE = 0.95  # of their height: how wide capitals of a plain script run, at most
CLEAR_MM = 1.0  # from letters to any cut
ON_BEND_MM = 2.5
STEP_MM = 4.0


def drawn_cut(part: Made, cut: Cut, *, in_doubt: bool = False) -> Drawn:
    """One flat with its words on it where there is room, else above it; in_doubt: with the word that nobody is to cut it."""
    return Drawn(flats=(cut.flat,), words=(*_words(part, cut, cut.flat), *(_not_to_be_cut(cut.flat) if in_doubt else ())))


def drawn_sheet(sheet: Sheet, *, in_doubt: bool = False) -> Drawn:
    """A sheet of stock with every flat where it is cut; words that do not fit on theirs are left out."""
    words = tuple(one for on in sheet.placed for one in _words(on.made, on.cut, on.flat) if _material(on.flat).covers(_block(one)))
    flats = tuple(placed.flat for placed in sheet.placed)
    return Drawn(flats=flats, words=(*words, *(_not_to_be_cut(*flats) if in_doubt else ())), sheet_mm=sheet.size_mm)


def _not_to_be_cut(*flats: Flat) -> Iterator[Words]:
    """Below all flats that nobody is to cut them."""
    left, low, right, _ = shapely.union_all([_material(flat) for flat in flats]).bounds
    yield Words(lines=(DO_NOT_CUT,), at_mm=((left + right) / 2, low - 2 * MOST_MM), height_mm=MOST_MM, turn_deg=0.0)


def _material(flat: Flat) -> shapely.Polygon:
    return shapely.Polygon(chords(flat.outer, 0.1), [chords(hole, 0.1) for hole in flat.holes])


def _block(words: Words) -> shapely.Geometry:
    """What a block of lines takes, at most."""
    (x, y), (w, h) = words.at_mm, _half_mm(words.lines, words.height_mm)
    return shapely.affinity.rotate(shapely.box(x - w, y - h, x + w, y + h), words.turn_deg, origin=words.at_mm)


def _half_mm(lines: tuple[str, ...], height: float) -> tuple[float, float]:
    """Half the width and height of lines."""
    return max(map(len, lines)) * WIDE * height / 2, len(lines) * LINE_SHARE * height / 2


def _words(part: Made, cut: Cut, flat: Flat) -> Iterator[Words]:
    lines = (
        f"{part.number} {cut.name}",
        f"{part.material.title}, {plain(round(part.thickness_mm, 3))} mm",
        cut.seen,
        *filter(None, [part.lenses_words]),
    )
    yield _fitted(flat, lines)
    for bend in flat.bends:
        start, end = bend.line_mm
        along = end - start
        turn = float(np.degrees(np.arctan2(along[1], along[0])))
        turn = turn - 180.0 if turn > 90.0 else turn + 180.0 if turn <= -90.0 else turn
        away = np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))]) * (ON_BEND_MM + 1.0)
        x, y = (start + end) / 2 + away
        words = (
            f"up {bend.turn_deg:.1f} deg, R {plain(round(bend.radius_mm, 2))}"
            if bend.radius_mm
            else f"score, up {bend.turn_deg:.1f} deg"
        )
        yield Words(lines=(words,), at_mm=(float(x), float(y)), height_mm=ON_BEND_MM, turn_deg=turn)


def _fitted(flat: Flat, lines: tuple[str, ...]) -> Words:
    """The lines as large as they fit into the material, one line where three do not; above the flat where none does."""
    kept = _material(flat).difference(
        shapely.union_all([shapely.LineString(bend.line_mm).buffer(2 * ON_BEND_MM + 2.0) for bend in flat.bends])
    )
    for some in (lines, lines[:1], (lines[0].split(" ", 1)[0],)):
        for height in np.arange(MOST_MM, LEAST_MM - 0.01, -0.4):
            for turn in (0.0, 90.0):
                place = _place(kept, some, float(height), turn)
                if place is not None:
                    return Words(lines=some, at_mm=place, height_mm=float(height), turn_deg=turn)
    left, _, right, high = flat.bounds_mm
    return Words(lines=lines, at_mm=((left + right) / 2, high + 3 * LINE_SHARE * MOST_MM), height_mm=MOST_MM)


def _place(material: shapely.Geometry, lines: tuple[str, ...], height: float, turn: float) -> tuple[float, float] | None:
    """A middle about which a block of lines lies on the material, nearest to its lower left; None where there is none."""
    wide, tall = (half + CLEAR_MM for half in _half_mm(lines, height))
    w, h = (tall, wide) if turn else (wide, tall)
    left, low, right, high = shapely.bounds(material).tolist()
    if right - left < 2 * w or high - low < 2 * h:
        return None
    xs = np.unique([*np.arange(left + w, right - w, STEP_MM), right - w, (left + right) / 2])
    ys = np.unique([*np.arange(low + h, high - h, STEP_MM), high - h, (low + high) / 2])
    shapely.prepare(material)
    x, y = (grid.ravel() for grid in np.meshgrid(xs, ys))
    fits = shapely.contains(material, shapely.box(x - w, y - h, x + w, y + h))
    if not fits.any():
        return None
    middle = (left + right) / 2
    best = min(np.flatnonzero(fits), key=lambda k: (round(float(y[k]), 3), round(abs(float(x[k]) - middle), 3), float(x[k])))
    return float(x[best]), float(y[best])
