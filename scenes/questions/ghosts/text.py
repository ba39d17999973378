"""Ghosts and ways out as a table for people, as a next step in one sentence, and as plain data for other programs."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from raytrace.ghosts.mirrored import centred_tilt_deg
from raytrace.ghosts.paths import Route
from raytrace.optics.camera import Guide, PixelGrid
from raytrace.optics.fresnel import loss_stops
from scenes.changes.tilts import BOX_KEY, fit_words, lean_words
from scenes.questions.ghosts.places import TOGETHER_MM, GhostLights, SeenGhost, SeenLight, between_words, ghost_lights, notes_of
from scenes.questions.ghosts.set_text import set_dict, set_words
from scenes.questions.ghosts.set_tilt import GhostState, SetTilt, set_tilt
from scenes.questions.ghosts.tilts import ANYWHERE, Mover, TiltAnswer, TiltCurve, tilt_answers, tilt_curves_of, wanted_out
from scenes.states.load import Loaded
from scenes.states.names import OUTSIDE, middle_variant, state_words
from scenes.states.state import StatePlan

WIDTH = 100
SCHEMA_VERSION = 1
SHARP_MM = 0.01  # a blur no sensor resolves
SUN_CAUTION = (
    "The sun in the picture burns shutters, sensors and filters, and eyes at an optical finder: never look, keep it there only "
    "as long as the camera's maker and the rental house allow, cover the lens between takes."
)
CAUTIONS = (
    SUN_CAUTION,
    "Strengths are upper limits against the light's own image: what the lens takes on the way out and back is not counted.",
    "A prediction is no substitute for the test shoot: confirm it with the real lens, box and filters.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class GhostReport:
    """Lights, ghosts and ways out for one lens, zoom and focus, at the widest stop asked for."""

    key: str
    words: str
    lens_name: str
    focal_mm: float
    focus_mm: float
    f_number: float
    field_focal_mm: float
    grid: PixelGrid
    guides: tuple[Guide, ...]
    filters: tuple[str, ...]
    lights: GhostLights
    mover: Mover
    tilts: tuple[TiltAnswer, ...]
    curves: tuple[TiltCurve, ...]
    notes: tuple[str, ...]


def ghost_report(loaded: Loaded, plan: StatePlan, *, with_grid: bool = False) -> GhostReport:
    """Everything about ghosts in one state."""
    lights = ghost_lights(loaded.scene, plan, with_grid=with_grid)
    mover = Mover(loaded, plan)
    first = wanted_out(plan, lights)[0][1][0]
    return GhostReport(
        key=plan.key,
        words=state_words(plan),
        lens_name=plan.lens_name,
        focal_mm=plan.focal_mm,
        focus_mm=plan.focus_mm,
        f_number=plan.f_number,
        field_focal_mm=middle_variant(plan).field_focal_mm,
        grid=plan.grid,
        guides=plan.guides,
        filters=tuple(glass.name for glass in plan.box.glasses),
        lights=lights,
        mover=mover,
        tilts=tilt_answers(mover, lights),
        curves=tilt_curves_of(mover, first),
        notes=tuple(notes_of(loaded.scene, plan)),
    )


def report_lines(report: GhostReport) -> list[str]:
    """The report for people, `WIDTH` columns."""
    lines = [report.words, "-" * WIDTH]
    if not report.filters:
        return [*lines, "  no filter in the box: nothing mirrors light back to the lens", ""]
    lines += [_clip(f"  {light.name}: {OUTSIDE} of this lens, no ghost off the sensor") for light in report.lights.missed]
    rows = list(_grid_lines(report) if report.lights.is_grid else _own_lines(report))
    lines += [GHOST_ROW.format("", "ghost at", "lands", "stops", "width"), *rows] if len(rows) > 2 else rows
    lines += _pair_lines(report)
    lines += ["", *_tilt_lines(report), *wrapped(f"Next: {next_step(report)}", "  ")]
    return [line.rstrip() for line in [*lines, *(line for note in report.notes for line in wrapped(f"- {note}", "  ")), ""]]


def place_words(place_mm: Sequence[float]) -> str:
    """A picture place for people: '12.0 right 3.0 up'."""
    right, up = place_mm
    if not (math.isfinite(right) and math.isfinite(up)):
        return OUTSIDE
    across = f"{abs(right):5.1f} {'right' if right >= 0.05 else 'left ' if right <= -0.05 else '     '}"
    return f"{across} {abs(up):5.1f} {'up' if up >= 0.05 else 'down' if up <= -0.05 else ''}"


NOT_BACK = "none of the mirrored light comes back into the pupil"
GHOST_ROW = "    {0:30} {1:22} {2:19} {3:>5}  {4}"


def _own_lines(report: GhostReport) -> Iterator[str]:
    """Each light of the scene with its ghosts."""
    for light in report.lights.seen:
        ghosts = [ghost for ghost in report.lights.ghosts if ghost.ghost.light == light.name and not is_hidden(ghost)]
        if light.in_picture or any(ghost.in_frame for ghost in ghosts):
            yield _clip(f"  {light.name} at {place_words(light.picture_mm).strip()} mm ({light.where})")
            yield from (ghost_row(between_words(ghost), ghost) for ghost in ghosts)
            if light.in_picture and not any(ghost.ghost.route is Route.SENSOR for ghost in ghosts):
                yield f"    sensor and filter: {NOT_BACK}"


def _grid_lines(report: GhostReport) -> Iterator[str]:
    """Nine places, by what mirrors; in one line where every ghost lies straight opposite its light."""
    kinds: dict[str, list[SeenGhost]] = {}
    for ghost in report.lights.ghosts:
        if not is_hidden(ghost):
            kinds.setdefault(between_words(ghost), []).append(ghost)
    if len(kinds) == 1 and all(is_opposite(ghost) for ghosts in kinds.values() for ghost in ghosts):
        ((what, ghosts),) = kinds.items()
        opposite = "straight opposite the light, as far on the other side of the lens axis"
        yield from wrapped(f"{what}: {opposite}, {span_words(ghosts)}{_rest_words(report, ghosts)}", "  ")
        return
    for what, ghosts in kinds.items():
        yield _clip(f"  {what}, for a point light far away at:")
        yield from (ghost_row(ghost.ghost.light, ghost) for ghost in ghosts)
        if ghosts[0].ghost.route is Route.SENSOR and len(ghosts) < len(report.lights.lights):
            yield f"    from the other places {NOT_BACK}"
    if not kinds:
        yield f"  sensor and filter: {NOT_BACK}"


def _rest_words(report: GhostReport, ghosts: Sequence[SeenGhost]) -> str:
    """From which places alone a ghost comes, where not from all that are looked at."""
    if len(ghosts) == len(report.lights.lights):
        return ""
    return f"; of a light at {', '.join(ghost.ghost.light for ghost in ghosts)}: from the other places {NOT_BACK}"


def is_opposite(ghost: SeenGhost) -> bool:
    """Whether a ghost lies straight opposite its light, as off an upright filter at infinity focus."""
    (right, up), (light_right, light_up) = ghost.ghost.picture_mm, ghost.ghost.light_mm
    return math.hypot(right + light_right, up + light_up) < TOGETHER_MM


def span_words(ghosts: Sequence[SeenGhost]) -> str:
    """Strengths from the strongest to the weakest."""
    least, most = (float(loss_stops(choice(ghost.share for ghost in ghosts))) for choice in (max, min))
    return f"{least:.1f} stops down" if most - least < 0.05 else f"{least:.1f} to {most:.1f} stops down"


def ghost_row(what: str, ghost: SeenGhost) -> str:
    """One line of the table of ghosts."""
    place, lands = place_words(ghost.ghost.picture_mm), _clip(lands_words(ghost), 19)
    return _clip(GHOST_ROW.format(_clip(what, 30), place, lands, stops_words(ghost.share), size_words(ghost)))


def is_hidden(ghost: SeenGhost) -> bool:
    """Whether a ghost between filters falls on the light itself."""
    return ghost.on_light and ghost.ghost.route is Route.FILTERS


def lands_words(ghost: SeenGhost) -> str:
    """Where a ghost lands, and by how much it misses the frame."""
    if ghost.in_frame:
        return ghost.where
    return f"{ghost.outside_mm:.1f} mm out" if math.isfinite(ghost.outside_mm) else OUTSIDE


def stops_words(share: float) -> str:
    """A relative strength for people, stops below the light: '9.1'."""
    return f"{float(loss_stops(share)):.1f}" if share > 0 else "none"


def size_words(ghost: SeenGhost) -> str:
    """How large and how soft a ghost is."""
    if not math.isfinite(ghost.radius_mm):
        return ""
    if ghost.radius_mm < SHARP_MM:
        return "sharp"
    soft = "soft" if ghost.ghost.blur_mm > 0.2 * 2 * ghost.radius_mm else "sharp"
    return f"{2 * ghost.radius_mm:.1f} mm {soft}"


def _pair_lines(report: GhostReport) -> Iterator[str]:
    """Ghosts between parallel filters hide in the light itself: one line for all."""
    hidden = [ghost for ghost in report.lights.ghosts if is_hidden(ghost)]
    if hidden:
        yield f"  between filters: on the light itself, {span_words(hidden)} (they stand parallel)"


TILT_ROW = "    {0:15} {1:21} {2:>9}  {3}"


def _tilt_lines(report: GhostReport) -> Iterator[str]:
    for lights in dict.fromkeys(answer.lights for answer in report.tilts):
        yield from wrapped(f"To send the ghosts of {lights} out of the frame:", "  ")
        for answer in report.tilts:
            if answer.lights == lights:
                row = TILT_ROW.format(answer.what, side_words(answer), tilt_words(answer), outcome_words(answer))
                yield from _folded(row)
    if report.tilts:
        yield f"    rule of thumb for a light in the middle: half the half-height's angle, {rule_deg(report):.1f} deg"


def _folded(row: str) -> list[str]:
    """A row whose last column may run on under itself."""
    head = len(TILT_ROW.format("", "", "", ""))
    return [row[:head] + line if k == 0 else " " * head + line for k, line in enumerate(textwrap.wrap(row[head:], WIDTH - head))]


def rule_deg(report: GhostReport) -> float:
    """The tilt that the rule of thumb gives, atan(h / f) / 2 for the tallest guide [deg]."""
    return centred_tilt_deg(max(guide.half_height_mm for guide in report.guides), report.field_focal_mm)


def side_words(answer: TiltAnswer) -> str:
    """Which way a tilt goes."""
    if answer.is_present:
        return "as it is"
    return lean_words(toward_scene=answer.toward_scene)


def tilt_words(answer: TiltAnswer) -> str:
    """The tilt itself."""
    return "none does" if answer.tilt_deg is None else f"{answer.tilt_deg:+.1f} deg" if answer.tilt_deg else "0 deg"


def outcome_words(answer: TiltAnswer) -> str:
    """What comes of a tilt, worst first."""
    if answer.tilt_deg is None:
        return "not within 30 deg"
    found = [fit_words(answer.fit), *_left_words(answer)]
    return "; ".join(words for words in found if words) or "beam still clear"


def _left_words(answer: TiltAnswer) -> Iterator[str]:
    if answer.left:
        yield f"leaves in the frame: {', '.join(answer.left)}"


def best_answer(report: GhostReport) -> TiltAnswer | None:
    """The smallest change of tilt that works, for the most lights it is asked for."""
    for lights in reversed(list(dict.fromkeys(answer.lights for answer in report.tilts))):
        working = [answer for answer in report.tilts if answer.lights == lights and answer.works]
        if working:
            return min(working, key=lambda answer: abs((answer.tilt_deg or 0.0) - answer.present_deg))
    return None


def next_step(report: GhostReport) -> str:
    """What to do, in one sentence."""
    best = best_answer(report)
    if best is None:
        return _without_answer(report)
    if best.is_present:
        takes = best.beam is not None and best.beam.now_stops > 0
        already = ", though the box takes light at the frame's edge as it is" if takes else ""
        return f"leave the tilts as they are: the ghosts of {best.lights} stay outside the frame{already}."
    keys = " and ".join(best.keys)
    confirm = "then run brimline check: this looked at the frame's edge only"
    short = "" if best.lights == ANYWHERE or not report.lights.is_grid else "; nothing that clears does it for a light anywhere"
    return f"set {keys} = {best.tilt_deg:g} ({side_words(best)}), which clears {best.lights}{short}; {confirm}."


def _without_answer(report: GhostReport) -> str:
    if all(answer.tilt_deg is None for answer in report.tilts):
        return "no tilt within 30 deg does it: take the filters out, coat them, or move the light out of the picture."
    if any(answer.beam and answer.beam.now_stops > 0.1 for answer in report.tilts):
        return "first mend what the box takes from the frame as it is (brimline check), then look for the tilt again."
    return "no such tilt fits and clears: make room between trays, mask and lens, coat the filters, or go without them."


def wrapped(text: str, indent: str) -> list[str]:
    """A sentence on lines of `WIDTH`."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ")


def _clip(text: str, width: int = WIDTH) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


def number(value: float, digits: int = 3) -> float | None:
    """A rounded number, None where there is none."""
    return round(float(value), digits) + 0.0 if math.isfinite(value) else None


def report_dict(report: GhostReport) -> dict[str, Any]:
    """One state as plain data."""
    return {
        "key": report.key,
        "lens": report.lens_name,
        "focal_mm": report.focal_mm,
        "focus_mm": report.focus_mm if math.isfinite(report.focus_mm) else "infinity",
        "f_number": report.f_number,
        "filters": list(report.filters),
        "lights_are_a_grid": report.lights.is_grid,
        "lights": [_light_dict(light) for light in (*report.lights.seen, *(report.lights.missed if report.lights.is_grid else ()))],
        "ghosts": [_ghost_dict(ghost) for ghost in report.lights.ghosts],
        "tilts": [_tilt_dict(answer) for answer in report.tilts],
        "rule_of_thumb_deg": number(rule_deg(report)),
        "next_step": next_step(report),
        "notes": list(report.notes),
    }


def _light_dict(light: SeenLight) -> dict[str, Any]:
    return {
        "name": light.name,
        "right_mm": number(light.picture_mm[0]),
        "up_mm": number(light.picture_mm[1]),
        "in_picture": light.in_picture,
        "where": light.where,
        "width_mm": number(2 * light.radius_mm),
    }


def _ghost_dict(seen: SeenGhost) -> dict[str, Any]:
    ghost = seen.ghost
    return {
        "light": ghost.light,
        "between": str(ghost.route),
        "filters": list(seen.names),
        "right_mm": number(ghost.picture_mm[0]),
        "up_mm": number(ghost.picture_mm[1]),
        "where": seen.where,
        "in_frame": seen.in_frame,
        "outside_frame_mm": number(seen.outside_mm),
        "on_light": seen.on_light,
        "strength_stops": number(float(loss_stops(seen.share))),
        "brightest_stops": number(float(loss_stops(seen.peak_share))),
        "one_pair_of_faces_stops": number(float(loss_stops(ghost.nearest_share))),
        "incidence_deg": number(ghost.incidence_deg),
        "width_mm": number(2 * seen.radius_mm),
        "blur_mm": number(ghost.blur_mm),
    }


def _tilt_dict(answer: TiltAnswer) -> dict[str, Any]:
    beam = answer.beam
    return {
        "lights": answer.lights,
        "what": answer.what,
        "keys": list(answer.keys),
        "present_deg": answer.present_deg,
        "side": side_words(answer),
        "tilt_deg": answer.tilt_deg,
        "exact_deg": None if answer.exact_deg is None else number(answer.exact_deg, 4),
        "works": answer.works,
        "outcome": outcome_words(answer),
        "leaves": list(answer.left),
        "loss_now_stops": None if beam is None else number(beam.now_stops),
        "loss_then_stops": None if beam is None else number(beam.then_stops),
        "added_loss_stops": None if beam is None else number(beam.added_stops),
        "part": None if beam is None else beam.part,
        "parts_that_meet": [] if beam is None else [list(pair) for pair in beam.meets],
    }


def set_answer(reports: Sequence[GhostReport]) -> SetTilt | None:
    """The one tilt for all states with filters; None where there are not two of them."""
    return set_tilt([GhostState(mover=report.mover, lights=report.lights) for report in reports])


def ghosts_dict(
    reports: Sequence[GhostReport], title: str, sensor_reflectance: float, for_all: SetTilt | None = None
) -> dict[str, Any]:
    """The whole answer of `brimline ghosts --json`."""
    return {
        "brimline_ghosts": SCHEMA_VERSION,
        "scene": title,
        "sensor_reflectance": sensor_reflectance,
        "cautions": list(CAUTIONS),
        "states": [report_dict(report) for report in reports],
        "all_states": set_dict(for_all),
    }


def ghosts_lines(reports: Sequence[GhostReport], title: str, for_all: SetTilt | None = None) -> list[str]:
    """The whole answer for people: every state, then what is to be said once."""
    lines = [_clip(f"Ghosts: {title}" if title else "Ghosts")]
    lines += ["Places: mm from the lens axis, as the operator sees them. Strengths: stops below the light itself.", ""]
    lines += [line for report in reports for line in report_lines(report)]
    return [*lines, *_set_lines(reports, for_all), *(line for caution in CAUTIONS for line in wrapped(caution, ""))]


def _set_lines(reports: Sequence[GhostReport], for_all: SetTilt | None) -> list[str]:
    """Every state with filters again, in a line: what to set, so that the set can be packed by one look; then one tilt for all."""
    told = [report for report in reports if report.filters]
    if len(told) < 2:
        return []
    one = ["", *wrapped(set_words(for_all), "  ")] if for_all else []
    return ["All of them in short", "-" * WIDTH, *(line for report in told for line in _short_lines(report)), *one, ""]


def _short_lines(report: GhostReport) -> list[str]:
    """A state and what to do about its ghosts, the latter on as many lines as it takes."""
    state = f"  {report.words:37} "
    return textwrap.wrap(short_words(report), WIDTH, initial_indent=state, subsequent_indent=" " * len(state))


def short_words(report: GhostReport) -> str:
    """What to do about one state's ghosts, in a few words."""
    best = best_answer(report)
    if best is None:
        return "no tilt that fits and clears"
    if best.is_present:
        return f"as it is, for {best.lights}"
    return f"{' and '.join(best.keys)} = {best.tilt_deg:g}, for {best.lights}"


__all__ = ["BOX_KEY", "GhostReport", "best_answer", "ghost_report", "ghosts_dict", "ghosts_lines", "next_step", "report_lines"]
