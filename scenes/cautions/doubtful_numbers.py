"""Numbers that may well be meant, but turn a dark frame clear where they are a slip: a caution each, which says what is left out.

Faults are for numbers that others speak against: scenes/cautions/contradictions.py.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence

from geometry.body import Part
from geometry.notes import Note, Severity
from scenes.cautions.contradictions import SLOWER_SHARE as FAULT_SHARE
from scenes.cautions.contradictions import TENFOLD, WIDEST_ASPECT, desqueezed_words, names_listed
from scenes.cautions.design_numbers import design_words
from scenes.cautions.far_walks import far_walk_words
from scenes.cautions.field_rows import field_row_words, field_run_words, pincushion_words
from scenes.cautions.flag_hinges import hinge_words
from scenes.cautions.front_fill import front_fill_words
from scenes.cautions.gauges import gauge_words
from scenes.cautions.idle_openings import behind_words, idle_opening_words, outer_words, rim_words
from scenes.cautions.left_out import left_out_words
from scenes.cautions.lens_limits import doubtful_pupil_words, doubtful_travel_words, narrower_words
from scenes.cautions.lens_names import lens_name_words
from scenes.cautions.light_numbers import light_number_words
from scenes.cautions.light_places import light_in_box_words
from scenes.cautions.make_numbers import make_words
from scenes.cautions.mesh_places import mesh_words
from scenes.cautions.mesh_sides import mesh_side_words
from scenes.cautions.named_numbers import kept_shares, named_aspects, same_aspect, t_number_words
from scenes.cautions.part_lengths import named_length_words
from scenes.cautions.part_names import (
    flag_angle_words,
    flag_side_words,
    lens_list_words,
    outline_words,
    power_words,
    size_words,
    tilt_words,
    tray_order_words,
)
from scenes.cautions.pupil_numbers import (
    copied_words,
    near_sensor_words,
    odd_magnification_words,
    same_lens_words,
    same_zoom_words,
    short_lens_words,
    short_rows_words,
    zoom_out_of_line_words,
)
from scenes.cautions.pupil_runs import run_words
from scenes.cautions.row_ends import far_rows_words
from scenes.cautions.safe_guides import safe_guide_words
from scenes.cautions.set_depths import set_depth_words
from scenes.cautions.siblings import copy_words, pair_words, placed_words, rod_words, rods_words, slot_words
from scenes.cautions.small_tolerances import small_tolerance_words
from scenes.cautions.titles import title_words
from scenes.cautions.travel_runs import zoom_travel_words
from scenes.cautions.walk_numbers import walk_out_of_line_words
from scenes.scene_file.catalogue import formats
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box
from scenes.scene_file.tables.camera import Camera, Guide
from scenes.scene_file.tables.lens import Lens, focal_lengths
from scenes.scene_file.tables.scene import Scene, box_for

SLOWER_SHARE = 1.9  # two stops, as they are rounded: more than the lenses of a set differ
# Of the focal length, a zoom's middle one. Lenses focus nearer than both: at 10 to 30 focal lengths, telephoto lenses at 10 to 20,
# zooms at up to 40 (common practice). A nearest focus ten times too far is 100 or more.
FAR_SHARE, FAR_MM = 50.0, 1500.0
# Widest stop: mirror lenses are the slowest to be had, at f/8 (common practice); probe lenses and pinholes are slower, and rare.
SLOW_STOP = 10.0
LEAST_FOCUS = 4.0  # focal lengths: half life size and more
OPEN_SHARE = 1.06  # stops are rounded by less
LEAST_SET = 2  # other lenses that make a set
SLOWER_IN_SET = 1.6  # a stop and a third: lenses of one set differ by that, as a wide or a long one does (common practice)
DEEP_SHARE, DEEPEST_SHARE = 10.0, 16.0  # of the widest stop: 6.6 and 8 stops closed
DEEP_STOPS, DEEP_STOP_SHARE = (11.0, 16.0, 22.0, 32.0, 45.0, 64.0), 1.04  # full stops, such as somebody does ask for
LEAST_GUIDE_SHARE = 0.3  # of the largest rectangle that fits: nobody extracts less
UPRIGHT_ASPECT = 0.5  # narrower than 9:16, the narrowest that is delivered (common practice)
FOR_SQUEEZE = re.compile(r"for (\d(?:\.\d+)?)x anamorphic")
SAME_SQUEEZE = 0.05
FISHEYE = re.compile(r"fish.?eye", re.IGNORECASE)
PROTECTION = re.compile(r"protect|shoot.?off|over.?scan|look.?around", re.IGNORECASE)
SAME_KEPT = 0.995  # of a width: guides are rounded by less
OFF_AREA_MM = 0.2  # guides are rounded by less
LARGE_LOSS_STOPS = 0.75  # seen by anybody; a tenth is usual (common practice)


def doubtful_notes(scene: Scene, lens: Lens) -> tuple[Note, ...]:
    """Cautions by the numbers of the scene about this lens, its range, what is looked at, and parts it goes without."""
    told = [(lens.name, text) for text in (*_stop_words(scene, lens), *_nearest_words(lens), *_bare_words(scene, lens))]
    told += [(lens.name, text) for text in (*_deep_words(scene, lens), *left_out_words(scene.box, lens, scene.lens))]
    told += [(lens.name, text) for text in (*t_number_words(lens), *doubtful_pupil_words(lens), *walk_out_of_line_words(lens))]
    told += [
        (lens.name, text)
        for text in (
            *odd_magnification_words(lens),
            *_length_words(scene, lens),
            *same_lens_words(scene, lens),
            *same_zoom_words(scene, lens),
        )
    ]
    told += [(lens.name, text) for text in (*doubtful_row_words(lens), *front_fill_words(lens, scene.camera))]
    told += [(lens.name, text) for text in (*field_row_words(lens, scene.camera), *pincushion_words(lens, scene.camera))]
    told += [(lens.name, text) for text in (*_unsqueezed_words(scene, lens), *far_walk_words(lens, scene.camera))]
    told += [
        ("camera", text) for text in (*_guide_words(scene), *_format_words(scene), *gauge_words(scene), *_mixed_words(scene, lens))
    ]
    told += [(lens.name, text) for text in _fisheye_words(lens)]
    told += [("check", text) for text in _loss_words(scene)]
    told += [(lens.name, text) for text in far_rows_words(scene, lens)]
    told += [("design", text) for text in design_words(scene)]
    told += [("tolerance", text) for text in small_tolerance_words(scene)]
    told += [
        (lens.name, text) for text in (*copied_words(scene, lens), *short_rows_words(scene, lens), *set_depth_words(scene, lens))
    ]
    told += [(lens.name, text) for text in (*copy_words(scene, lens), *_placed_words(scene, lens))]
    told += slot_words(scene)
    told += [("make", text) for text in (*rod_words(scene), *make_words(scene, lens))]
    told += [*lens_list_words(scene.box, lens), *outline_words(scene.box, lens, scene.lens)]
    told += [*named_length_words(scene, lens), *((lens.name, text) for text in lens_name_words(scene, lens))]
    told += title_words(scene, lens)
    told += [*light_in_box_words(scene, box_for(scene, lens), lens), *light_number_words(scene)]
    return tuple(Note(part, text, Severity.CAUTION, may_be_slip=True) for part, text in told)


def doubtful_row_words(lens: Lens) -> Iterator[str]:
    """What looks like a slip in one state row of a lens, by its other rows."""
    yield from (*narrower_words(lens), *field_run_words(lens), *doubtful_travel_words(lens), *zoom_travel_words(lens))
    yield from [*zoom_out_of_line_words(lens)] or run_words(lens)


def doubtful_box_notes(box: Box, parts: Sequence[Part]) -> tuple[Note, ...]:
    """Cautions by the numbers of a box as it is on a lens: what its parts would hang on, or be cut in."""
    told = [
        *flag_side_words(box),
        *flag_angle_words(box),
        *tilt_words(box),
        *tray_order_words(box),
        *power_words(box),
        *size_words(box, parts),
        *hinge_words(box),
        *behind_words(box),
        *idle_opening_words(box, parts),
        *rim_words(box, parts),
        *outer_words(box),
        *mesh_words(box, parts),
        *mesh_side_words(box, parts),
        *pair_words(box),
    ]
    return tuple(Note(part, text, Severity.CAUTION, may_be_slip=True) for part, text in told)


def _placed_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """One caution for where the box stands before a lens."""
    yield from [*placed_words(scene, lens)] or rods_words(scene, lens)


def _length_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """One caution for a front_to_sensor_mm that its own numbers, or the other lenses, speak against."""
    yield from [*near_sensor_words(scene, lens)] or short_lens_words(scene, lens)


def _stop_words(scene: Scene, lens: Lens) -> Iterator[str]:
    asked = min(scene.check.f_numbers, default=math.inf)
    least = OPEN_SHARE if _none_opens(scene, asked) else SLOWER_SHARE
    if "f_number" not in lens.confirmed and least <= lens.f_number / asked < FAULT_SHARE:
        yield (
            f"f_number = {plain(lens.f_number)} is its widest stop, so f/{plain(asked)} of [check] is not looked at; "
            "is it another lens's?"
        )
    elif "f_number" not in lens.confirmed and (others := _one_stop_of_others(scene, lens)) and lens.f_number > OPEN_SHARE * asked:
        yield (
            f"f_number = {plain(lens.f_number)} is its widest stop, so f/{plain(asked)} of [check] is not looked at, and the other "
            f"lenses all open to f/{plain(others)}; is a digit wrong?"
        )
    elif "f_number" not in lens.confirmed and math.isinf(asked) and (others := _one_stop_of_others(scene, lens)):
        yield (
            f"f_number = {plain(lens.f_number)} is its widest stop, and nothing wider is looked at, but the other lenses all "
            f"open to f/{plain(others)}; is a digit wrong?"
        )
    elif "f_number" not in lens.confirmed and SLOW_STOP <= lens.f_number < FAULT_SHARE * min(asked, _slowest_other(scene, lens)):
        yield (
            f"f_number = {plain(lens.f_number)} is its widest stop, and few lenses open no further; is a point missing? "
            f"It would be {plain(lens.f_number / TENFOLD)}, with a wider beam"
        )


def _one_stop_of_others(scene: Scene, lens: Lens) -> float:
    """The widest stop of a set in which every other prime opens as far, and this one does not; 0 where there is no such set."""
    others = [other.f_number for other in scene.lens if other is not lens and len(focal_lengths(other)) == 1]
    least, most = min(others, default=0.0), max(others, default=0.0)
    alike = len(others) >= LEAST_SET and most <= OPEN_SHARE * least and lens.f_number > SLOWER_IN_SET * most
    return least if alike and len(focal_lengths(lens)) == 1 else 0.0


def _slowest_other(scene: Scene, lens: Lens) -> float:
    """The largest f-number of the other lenses; infinite where there is none."""
    return max((other.f_number for other in scene.lens if other is not lens), default=math.inf)


def _none_opens(scene: Scene, f_number: float) -> bool:
    return all(lens.f_number > OPEN_SHARE * f_number for lens in scene.lens)


def _deep_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """Stops so deep, or so odd, that a point may be missing: 28 for 2.8. Just ten times the widest is a fault."""
    asked = min(scene.check.f_numbers, default=0.0)
    is_full = any(1 / DEEP_STOP_SHARE <= asked / stop <= DEEP_STOP_SHARE for stop in DEEP_STOPS)
    least = lens.f_number * (DEEPEST_SHARE if is_full else DEEP_SHARE)
    if "f_number" not in lens.confirmed and asked >= least and asked / TENFOLD >= lens.f_number * OPEN_SHARE:
        yield (
            f"f_numbers = [{plain(asked)}] of [check] is far closed for f_number = {plain(lens.f_number)}, and nothing wider is "
            f"looked at; is a point missing? It would be {plain(asked / TENFOLD)}"
        )


def _nearest_words(lens: Lens) -> Iterator[str]:
    nearest_mm, (shortest_mm, *_, longest_mm) = lens.close_focus_mm, (*focal_lengths(lens)[:1], *focal_lengths(lens))
    middle_mm = math.sqrt(shortest_mm * longest_mm)
    if nearest_mm is None or "close_focus_mm" in lens.confirmed or nearest_mm < max(FAR_SHARE * middle_mm, FAR_MM):
        return
    if nearest_mm / TENFOLD <= max(lens.front_to_sensor_mm or 0.0, LEAST_FOCUS * longest_mm):
        return  # a tenth of it would lie within the lens, or nearer than lenses focus
    yield (
        f"close_focus_mm = {plain(nearest_mm)} is far for focal_mm = {plain(shortest_mm)}, and nothing nearer is looked at; "
        f"is a point missing? {plain(nearest_mm / 10)} would be usual"
    )


def _bare_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A lens that every hood's list of lenses leaves out: it is checked without one."""
    if scene.box.hood and not box_for(scene, lens).hood:
        yield 'has no hood, for "lenses" of the hood does not name it; name it there if the hood stays on'


def _mixed_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """In a set of both kinds a guide may be the spherical lenses'; where all are anamorphic it is a fault."""
    if "squeeze" not in lens.confirmed and any(other.squeeze == 1.0 for other in scene.lens):
        yield from (f"{text}; give a guide for such lenses too" for text in desqueezed_words(scene, lens))


def _unsqueezed_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A lens under guides whose names only the larger squeeze of another makes true: its own squeeze may be left out."""
    if "squeeze" in lens.confirmed or not scene.camera.guide:
        return
    for guide in scene.camera.guide:
        named = named_aspects(guide.name)
        if not named or any(same_aspect(guide.aspect * lens.squeeze, aspect) for aspect in named):
            return
    guide = scene.camera.guide[0]
    for other in scene.lens:
        if other.squeeze > lens.squeeze and any(same_aspect(guide.aspect * other.squeeze, a) for a in named_aspects(guide.name)):
            yield (
                f'squeeze = {plain(lens.squeeze)} leaves aspect = {plain(guide.aspect)} of the guide "{guide.name}" at '
                f"{plain(round(guide.aspect * lens.squeeze, 2))}; its name is right only with squeeze = {plain(other.squeeze)}, as "
                f'"{other.name}" has it: put the squeeze right, or give a guide for this lens too'
            )
            return


def _loss_words(scene: Scene) -> Iterator[str]:
    stops = scene.check.visible_loss_stops
    if stops >= LARGE_LOSS_STOPS:
        yield (
            f"visible_loss_stops = {plain(stops)} calls a loss of {100 * (1 - 2**-stops):.0f} % of the light invisible, and such a "
            f"frame tight; is a point missing? It would be {plain(round(stops / 10, 4))}"
        )


def _format_words(scene: Scene) -> Iterator[str]:
    """A format for anamorphic lenses, of which the scene has none."""
    if "anamorphic" in (scene.camera.format or "") and all(lens.squeeze == 1.0 for lens in scene.lens):
        yield f'format = "{scene.camera.format}" is for anamorphic lenses, and no lens has a squeeze; is it left out?'
    known = formats().get(scene.camera.format or "")
    found = FOR_SQUEEZE.search(known.title) if known is not None else None
    off = [lens for lens in scene.lens if found and lens.squeeze > 1.0 and abs(lens.squeeze - float(found[1])) > SAME_SQUEEZE]
    if found and off:
        yield (
            f'format = "{scene.camera.format}" is for lenses with a squeeze of {found[1]}, and {names_listed(off)} has squeeze = '
            f"{plain(off[0].squeeze)}; is one of the two wrong?"
        )


def _fisheye_words(lens: Lens) -> Iterator[str]:
    """A fisheye with the picture of a lens that keeps straight lines straight: that sees far less."""
    if FISHEYE.search(lens.name) and lens.projection == "rectilinear" and lens.prescription is None and not any(lens.distortion):
        yield 'projection = "rectilinear" speaks against its name; a fisheye is "equidistant" or "equisolid", and sees farther'


def _guide_words(scene: Scene) -> Iterator[str]:
    guides = scene.camera.guide
    if guides and max(guide.scale for guide in guides) < LEAST_GUIDE_SHARE:
        yield (
            f'scale = {plain(guides[0].scale)} of its guide "{guides[0].name}" leaves out most of the picture, which is not '
            "looked at; 0.9 is nine tenths"
        )
    yield from safe_guide_words(scene.camera)
    for guide in guides:
        yield from _beyond_words(guide, scene.camera)
        yield from _protection_words(guide, scene.camera)
        if guide.aspect > WIDEST_ASPECT and all(lens.squeeze == 1.0 for lens in scene.lens):
            yield (
                f'aspect = {plain(guide.aspect)} of its guide "{guide.name}" is wider than any picture is shown, and leaves out '
                "much of the height, which is not looked at; is a digit wrong?"
            )
        if guide.aspect < UPRIGHT_ASPECT and scene.camera.width_mm > scene.camera.height_mm:
            yield (
                f'aspect = {plain(guide.aspect)} of its guide "{guide.name}" leaves out most of the picture, which is not looked '
                f"at; it is width over height, {plain(round(1 / guide.aspect, 2))} if it was turned over"
            )


def _protection_words(guide: Guide, camera: Camera) -> Iterator[str]:
    """A guide that is called a protection, and lies wholly inside what it is to protect."""
    own = kept_shares(guide, camera)
    for other in camera.guide if PROTECTION.search(guide.name) else ():
        if all(inner < SAME_KEPT * outer for inner, outer in zip(own, kept_shares(other, camera), strict=True)):
            yield (
                f'scale = {plain(guide.scale)} makes its guide "{guide.name}" smaller than "{other.name}", inside of which it asks '
                "for nothing; what protects a picture is larger than it"
            )
            return


def _beyond_words(guide: Guide, camera: Camera) -> Iterator[str]:
    """A guide that is shifted off the recorded area, so that less of its other side is looked at than is meant."""
    (right_mm, up_mm), (kept, high) = guide.offset_mm, kept_shares(guide, camera)
    over_mm = max(abs(right_mm) - (1.0 - kept) * camera.width_mm / 2, abs(up_mm) - (1.0 - high) * camera.height_mm / 2)
    if over_mm > OFF_AREA_MM:
        offset = f"offset_mm = [{plain(right_mm)}, {plain(up_mm)}]"
        yield (
            f'{offset} moves its guide "{guide.name}" {plain(round(over_mm, 2))} mm off the recorded area, where nothing is '
            "recorded; it counts right and up from the middle of that area"
        )
