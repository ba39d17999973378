"""The stills of a shoot, measured on cells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np

from raytrace.optics.camera import Guide
from scenes.io.reading import read_bytes
from scenes.questions.compare.shoot import Notes, Shot
from scenes.scene_file.tables.shoot import Picture, repeats
from scenes.stills.bars import insist_on_no_bars
from scenes.stills.blocks import CELLS_ACROSS, Blocks, block_shape, blocks_of
from scenes.stills.cells import Measured, measured_pair
from scenes.stills.decode import decode, refusal
from scenes.stills.file_notes import SaidSetting, setting_notes
from scenes.stills.frame_lines import FrameLines, frame_lines
from scenes.stills.same_shot import same_shot_words

JPEG = {".jpg", ".jpeg"}
COARSE = 3  # cells that the way is found on are so many times larger, and have to come out even
READERS = 2  # stills in memory at a time
LARGEST_STILL = 1_000_000_000  # bytes
LINE_SLACK = 0.015  # of the size: lines are a few pixels thick
ASPECT_SLACK = 0.01  # a still scaled to whole pixels


def measured_shots(notes: Notes, across: int = CELLS_ACROSS) -> tuple[Measured, ...]:
    """Every shot of the notes, in their order."""
    prints: dict[str, bytes] = {}
    with ThreadPoolExecutor(READERS) as pool:  # numpy and the decoders work beside each other; the order stays
        found = tuple(pool.map(lambda shot: _measured(notes, shot, across, prints), notes.shots))
    _insist_on_no_copies([shot.picture for shot in notes.shots], prints)
    return found


def _insist_on_no_copies(pictures: Sequence[Picture], prints: Mapping[str, bytes]) -> None:
    """Refuse a still that is the picture of another row under another name: noise alone tells two exposures apart."""
    for one in repeats(pictures, prints.__getitem__):
        name = getattr(pictures[one.place], one.key)
        before = getattr(pictures[one.before], one.key_before)
        found = f"holds the same picture as {before}, {one.before_words}, to the last bit"
        raise refusal(name, f"{found}; name the still of picture[{one.place + 1}], or leave the row out")


def _measured(notes: Notes, shot: Shot, across: int, prints: dict[str, bytes]) -> Measured:
    """A shot on cells; the fingerprints of its files are added to `prints`."""
    cells = (max(1, round(across / COARSE * shot.area.height_mm / shot.area.width_mm)) * COARSE, across)
    picture = shot.picture
    with_box = _blocks(notes, shot, picture.with_box, cells)
    _insist_on_lines(shot, with_box)
    without = None if picture.without_box is None else _blocks(notes, shot, picture.without_box, cells)
    if without is not None and np.array_equal(with_box.light, without.light):  # noise alone tells two exposures apart
        way_out = "name the still that was shot without the box, or leave it out"
        raise refusal(picture.without_box or "", f"holds the same picture as {picture.with_box} to the last bit; {way_out}")
    insist_on_no_bars(with_box, without)
    both = [with_box] if without is None else [with_box, without]
    prints.update((one.name, one.fingerprint) for one in both)
    stated = SaidSetting(f_number=picture.f_number, focal_mm=shot.state.focal_mm)
    row_notes = setting_notes([(one.name, one.shot_at) for one in both], stated)
    twice = "" if without is None else same_shot_words(with_box, without)
    told = [*_kind_notes(picture), *row_notes, *filter(None, [twice])]
    with_box = replace(with_box, notes=(*with_box.notes, *told))
    return measured_pair(with_box, without, cells)


def _kind_notes(picture: Picture) -> tuple[str, ...]:
    """A pair of which one is a JPEG: cameras and developers give these a curve of their own, and the notes state one for both."""
    names = [name for name in (picture.with_box, picture.without_box) if name is not None]
    of_jpeg = [name for name in names if Path(name).suffix.lower() in JPEG]
    if len(of_jpeg) != 1 or len(names) != 2:
        return ()
    found = f"{of_jpeg[0]} is a JPEG and the other still of the pair is none, and one curve is stated for both"
    return (f"{found}: where theirs differ, that is told as a loss; hand in two of a kind",)


def _insist_on_lines(shot: Shot, still: Blocks) -> None:
    """Refuse a still whose frame lines do not lie where its guide has them: it was cropped or scaled."""
    lines = frame_lines(still.spots)
    if lines is None or not shot.state.scene.camera.guide:
        return
    shown = [(guide, *_shown(shot, guide, lines)) for guide in shot.state.guides]
    alike = [(guide, across) for guide, across, down in shown if abs(across / down - 1.0) < LINE_SLACK]
    if not alike:
        return
    guide, share = min(alike, key=lambda one: abs(one[1] - 1.0))
    if abs(share - 1.0) > LINE_SLACK:
        found = f"shows {100 * share:.0f} % of the {shot.picture.covers}, by the frame lines of {guide.name} in it"
        way_out = "hand it in as it was recorded, or let `covers` name a guide of that size"
        raise refusal(still.name, f"{found}: it was cropped or scaled; {way_out}")


def _shown(shot: Shot, guide: Guide, lines: FrameLines) -> tuple[float, float]:
    """Share of the area's width and height that a still shows, if its lines are those of a guide."""
    area = shot.area
    return 2 * guide.half_width_mm / area.width_mm / lines.width, 2 * guide.half_height_mm / area.height_mm / lines.height


def _blocks(notes: Notes, shot: Shot, name: str, cells: tuple[int, int]) -> Blocks:
    picture = shot.picture
    still = decode(read_bytes(notes.folder / name, LARGEST_STILL), name)
    width, height = still.size
    area = shot.area
    if abs(width / height / (area.width_mm / area.height_mm) - 1.0) > ASPECT_SLACK + 1.0 / min(width, height):
        found, wanted = f"{width} x {height} pixels, {width / height:.3f} to 1", f"{area.width_mm / area.height_mm:.3f} to 1"
        way_out = "hand in the still uncropped, or name the guide it covers"
        raise refusal(name, f"is {found}; {picture.covers} is {wanted}: {way_out}")
    return blocks_of(
        still, block_shape(still.size, cells), curve=picture.curve, table=picture.curve_table, code_range=picture.code_range
    )
