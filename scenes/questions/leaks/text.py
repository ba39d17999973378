"""A leak report in words: tables of at most 100 columns, the advice page, and the same as plain data. Opens nothing."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np

from geometry.arrays import FloatArray
from geometry.frame import where_in_words
from geometry.openings import OpeningKind
from raytrace.optics.camera import PixelGrid
from raytrace.stray.light_on_glass import Reach
from scenes.changes.flag_limits import FlagLimit
from scenes.questions.leaks.advice import Advice, LightAdvice, OpeningAdvice
from scenes.questions.leaks.report import GLARE, LeakReport, LightRow, OpeningRow
from scenes.states.names import state_words
from scenes.states.stray import angles_deg

WIDTH = 100
FAINT = 1e-6  # 20 stops under the picture: shown as nothing
NOTE = (
    "Strengths hold where it is as bright outside as in the picture; they grow with the real light.",
    "A prediction: confirm it with a light held at each gap. Never point a lens at the sun unprotected.",
)


def strength_words(value: float) -> str:
    """A strength as stops under the picture's own brightness: '4.9 stops under'."""
    if value < FAINT:
        return "nothing"
    stops = -math.log2(value)
    return f"{abs(stops):.1f} stops {'under' if stops >= 0 else 'over'}"


def percent(value: float) -> str:
    """A share as per cent, in three figures where it is small."""
    if value == 0:
        return "0"
    if value < 1e-5:
        return "< 0.001 %"
    return f"{100 * value:.0f} %" if value >= 1 else f"{100 * value:.3g} %"


def direction_words(direction: FloatArray) -> str:
    """A direction as the operator says it: '152 right, 12 up', in degrees."""
    azimuth, elevation = angles_deg(direction)
    side = "ahead" if abs(azimuth) < 0.5 else f"{abs(azimuth):.0f} {'right' if azimuth > 0 else 'left'}"
    return f"{side}, {abs(elevation):.0f} {'up' if elevation >= 0 else 'down'}"


def report_text(report: LeakReport, advice: Advice) -> str:
    """Everything about one state as text."""
    blocks = [_head(report), _openings(report), _paths(report), _lights(report), _worth(report), advice_text(report, advice)]
    return "\n\n".join("\n".join(_fitted(block)) for block in blocks if block) + "\n"


def _fitted(lines: Iterable[str]) -> Iterator[str]:
    """Lines broken where they are longer than the page, what follows set in by two more."""
    for line in lines:
        inset = " " * (len(line) - len(line.lstrip()) + 2)
        yield from textwrap.wrap(line, WIDTH, subsequent_indent=inset, drop_whitespace=True) if len(line) > WIDTH else [line]


def _head(report: LeakReport) -> list[str]:
    plan, target = report.plan, report.setup.target
    name = state_words(plan)
    share = report.open_sr / report.off_sr if report.off_sr else 0.0
    title = f"{name}: stray light on {target.name}"
    sky = f"Sky open to the glass outside the picture: {report.open_sr:.2f} sr, {100 * share:.0f} % of the bare lens's"
    return [title, "=" * min(WIDTH, len(title)), f"{sky} {report.off_sr:.2f} sr.", *_mirror_head(report)]


def _mirror_head(report: LeakReport) -> Iterator[str]:
    picture = report.picture
    if not picture.paths:
        yield "Mirrored leaks: none found."
        return
    yield (
        f"Mirrored leaks: {percent(float(picture.relative.mean()))} of the picture's brightness on average "
        f"(standard error {percent(picture.total_stderr)} of it),"
    )
    yield f"brightest place {percent(float(picture.relative.max()))}, {strength_words(float(picture.relative.max()))} the picture."
    low, high = report.mirrored_range
    if high > low * 1.01:
        yield f"The worst of the pupil depths that the lens may have is shown; over all of them {percent(low)} to {percent(high)}."


def _openings(report: LeakReport) -> list[str]:
    lines = ["Openings, the worst first", _row("opening", "area", "open sky", "on the glass", "mirrored", "brightest")]
    lines.append(_row("", "mm2", "sr", "of picture's", "mean", "place"))
    lines += [
        _row(
            row.name,
            f"{row.area_mm2:.0f}",
            f"{row.open_sr:.4f}",
            percent(row.glass_share),
            percent(row.mirrored),
            percent(row.peak),
        )
        for row in report.openings
    ]
    return lines


def _row(name: str, *cells: str) -> str:
    return f"  {_cut(name, 40):<40}" + "".join(f"{cell:>{w}}" for cell, w in zip(cells, (8, 10, 14, 12, 12), strict=True))


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _paths(report: LeakReport) -> list[str]:
    if not report.picture.paths:
        return []
    lines = ["Ways of mirrored light", f"  {'opening and mirror':<54}{'brightest':>10}  {'shows':<13}from [deg]"]
    for found in report.picture.paths[:8]:
        name = f"{report.picture.opening_names[found.opening]}, {found.name}"
        shows = _place_words(report.picture.grid, found.place_mm)
        lines.append(f"  {_cut(name, 53):<54}{percent(found.peak):>10}  {shows:<13}{direction_words(found.direction)}"[:WIDTH])
    left = len(report.picture.paths) - 8
    if left > 0:
        lines.append(f"  and {left} weaker; what lies below these adds at most {percent(report.picture.left_out)}")
    return lines


def _place_words(grid: PixelGrid, place_mm: tuple[float, float]) -> str:
    right = (place_mm[0] - grid.offset_mm[0]) / (grid.width_mm / 2)
    return where_in_words(right, (place_mm[1] - grid.offset_mm[1]) / (grid.height_mm / 2))


def _lights(report: LeakReport) -> list[str]:
    if not report.lights:
        return []
    lines = ["Lights", f"  {'light':<18}{'stands [deg]':<22}{'on the glass':>13}{'by way of':>22}{'bounced veil':>22}"]
    for row in report.lights:
        lines.append(_light_line(row, report))
        if row.in_frame:
            lines.append("    in the picture: its ghosts are another matter")
        elif row.lit and row.seen.cut_by:
            at = f"{row.seen.cut_at_deg:.1f} deg farther" if row.seen.cut_at_deg else "its edge is there already"
            lines.append(f"    the first part that would cut it: {row.seen.cut_by}, {at}")
        elif row.seen.stopped_by:
            proof = "" if row.reach is Reach.NONE else f"; {row.seen.rays} rays were followed, more may slip by"
            lines.append(f"    kept off first by: {row.seen.stopped_by}{proof}")
        lines += _veil_lines(row, report)
    return lines


def _light_line(row: LightRow, report: LeakReport) -> str:
    where = direction_words(row.light.direction)
    by = report.setup.world.opening_names[int(row.seen.by_opening.argmax())] if row.seen.share > 0 else "-"
    veil = f"{percent(row.veil.total)} +- {percent(row.veil.total_stderr)}"
    return f"  {_cut(row.light.name, 17):<18}{where:<22}{_share_words(row):>13}{_cut(by, 20):>22}{veil:>22}"


def _share_words(row: LightRow) -> str:
    """How much of the target it lights; 0 only where that is proven."""
    if row.seen.share > 0 or row.reach is Reach.NONE:
        return percent(row.seen.share)
    return f"< {row.seen.least_seen:.2%}".replace("%", " %")


def _veil_lines(row: LightRow, report: LeakReport) -> list[str]:
    parts = row.veil.by_part.sum(axis=1)
    names = report.setup.world.wall_names
    most = [f"{names[k]} {percent(float(parts[k]))}" for k in np.argsort(-parts)[:4] if parts[k] > FAINT]
    return [_cut(f"    bounced by {', '.join(most)}", WIDTH)] if most else []


def _worth(report: LeakReport) -> list[str]:
    if not report.worth_sr:
        return []
    lines = ["What each part keeps off (open sky that taking it away would add)"]
    lines += [f"  {_cut(name, 40):<40}{value:>10.3f} sr" for name, value in report.worth_sr]
    return lines


def advice_text(report: LeakReport, advice: Advice) -> list[str]:
    """The advice page."""
    lines = ["Advice, every change put into the box and measured again"]
    if not any(row.veil > 0 for row in report.openings if row.kind is not OpeningKind.MOUTH):
        lines.append("  no gap lets anything in: nothing to close")
    shown = ""
    for item in advice.openings:
        if item.opening != shown:
            lines.append(f"  {_cut(item.opening, 60)}: adds {percent(item.before)} to the picture")
        shown = item.opening
        lines.append(f"    {_change_words(item)}")
    for light in advice.lights:
        lines += [f"  {light}"] if isinstance(light, str) else _light_advice(light)
    mouth = next((row for row in report.openings if row.kind is OpeningKind.MOUTH), None)
    if mouth is not None:
        lines.append(f"  mouth: {mouth.open_sr:.2f} sr of sky outside the picture; flags and a deeper hood close it, see above")
    return [*lines, *NOTE, f"What falls on the glass counts with {GLARE:g}, the usual share that a lens spreads over its picture."]


def _change_words(item: OpeningAdvice) -> str:
    change = item.change.removeprefix("or ")
    if item.against:
        return f"do not {change}: {item.against}"
    if not item.helps:
        return f"of no help: {change}; all gaps {_from_to(item)}"
    return f"{item.change}: {percent(item.after)} left; all gaps {_from_to(item)}"


def _from_to(item: OpeningAdvice) -> str:
    return f"{percent(item.all_before)} -> {percent(item.all_after)}"


def _light_advice(light: LightAdvice) -> list[str]:
    limit = light.limit
    head = f"  {light.light}: lights {percent(light.share)}; the {light.flag}"
    if math.isinf(limit.clear_deg):
        return [f"{head} stands in the picture at any angle: brimline flags says with what"]
    if light.is_too_far_in:
        return [
            f"{head} stands too far in as it is: open it from {light.angle_deg:g} to {limit.clear_deg:g} deg{_held_words(limit)}"
        ]
    if light.to_angle_deg == light.angle_deg and not light.keeps_off:
        return [f"{head} keeps off no more of it farther in{_held_words(limit, ', nor may it come in past {:g} deg')}"]
    first = f"  {light.light}: bring the {light.flag} from {light.angle_deg:g} to {light.to_angle_deg:g} deg: "
    left = "off the glass" if light.keeps_off else f"{percent(light.share)} -> {percent(light.to_share)} of the glass"
    lines = [f"{first}{left}; {_clear_words(limit)}"]
    if not light.keeps_off:
        lines.append(f"    {_no_farther(light)}: a longer flag or extension, a deeper hood, or a flag on a stand")
    return lines


def _held_words(limit: FlagLimit, words: str = ", the least") -> str:
    """Which state holds a flag up."""
    said = words.format(limit.clear_deg)
    return f"{said} that keeps {state_words(limit.decided_by)} clear" if limit.decided_by else ""


def _clear_words(limit: FlagLimit) -> str:
    if not limit.shut:
        return "every state stays clear of it"
    more = f" and {len(limit.shut) - 1} more" if len(limit.shut) > 1 else ""
    return f"it clears every state but {state_words(limit.shut[0])}{more}, which no angle of it does"


def _no_farther(light: LightAdvice) -> str:
    """Why a flag comes no farther in."""
    if light.meets:
        return f"farther in it meets the {light.meets}"
    if light.to_angle_deg > light.limit.clear_deg:
        return "farther in it lets in no less"
    if light.limit.decided_by is None:
        return "a flag folds in no farther"
    return f"{state_words(light.limit.decided_by)} lets it come no farther"


def report_dict(report: LeakReport, advice: Advice) -> dict[str, Any]:
    """The same as plain data."""
    plan = report.plan
    return {
        "state": plan.key,
        "lens": plan.lens_name,
        "focal_mm": plan.focal_mm,
        "focus_mm": None if math.isinf(plan.focus_mm) else plan.focus_mm,
        "f_number": plan.f_number,
        "target": report.setup.target.name,
        "open_sky_sr": report.open_sr,
        "open_sky_without_box_sr": report.off_sr,
        "mirrored": {
            "mean": float(report.picture.relative.mean()),
            "peak": float(report.picture.relative.max()),
            "stderr_of_mean": report.picture.total_stderr,
            "range_over_pupils": list(report.mirrored_range),
            "left_out_at_most": report.picture.left_out,
        },
        "openings": [_opening_dict(row) for row in report.openings],
        "paths": [
            {
                "opening": report.picture.opening_names[found.opening],
                "mirrors": found.name,
                "mean": found.strength,
                "peak": found.peak,
                "place_mm": list(found.place_mm),
                "from_azimuth_elevation_deg": list(angles_deg(found.direction)),
            }
            for found in report.picture.paths
        ],
        "lights": [_light_dict(row, report) for row in report.lights],
        "worth_sr": dict(report.worth_sr),
        "advice": {
            "openings": [
                {
                    "opening": a.opening,
                    "change": a.change,
                    "before": a.before,
                    "after": a.after,
                    "all_gaps_after": a.all_after,
                    "helps": a.helps,
                    "against": a.against or None,
                }
                for a in advice.openings
            ],
            "lights": [a if isinstance(a, str) else _light_advice_dict(a) for a in advice.lights],
        },
    }


def _opening_dict(row: OpeningRow) -> dict[str, Any]:
    return {
        "name": row.name,
        "kind": str(row.kind),
        "part": row.part,
        "area_mm2": row.area_mm2,
        "open_sky_sr": row.open_sr,
        "open_sky_stderr_sr": row.open_stderr_sr,
        "on_the_glass": row.glass_share,
        "mirrored_mean": row.mirrored,
        "mirrored_peak": row.peak,
        "veil": row.veil,
    }


def _light_dict(row: LightRow, report: LeakReport) -> dict[str, Any]:
    names = report.setup.world
    return {
        "name": row.light.name,
        "azimuth_deg": row.azimuth_deg,
        "elevation_deg": row.elevation_deg,
        "in_picture": row.in_frame,
        "share": row.seen.share,
        "share_less_than": None if row.seen.share > 0 or row.reach is Reach.NONE else row.seen.least_seen,
        "share_without_box": row.off_share,
        "by_opening": {name: float(v) for name, v in zip(names.opening_names, row.seen.by_opening, strict=True) if v},
        "stopped_by": row.seen.stopped_by or None,
        "cut_by": row.seen.cut_by or None,
        "cut_at_deg": row.seen.cut_at_deg,
        "veil": row.veil.total,
        "veil_stderr": row.veil.total_stderr,
        "veil_by_part": {name: float(v) for name, v in zip(names.wall_names, row.veil.by_part.sum(axis=1), strict=True) if v},
    }


def _light_advice_dict(light: LightAdvice) -> dict[str, Any]:
    return {
        "light": light.light,
        "flag": light.flag,
        "angle_deg": light.angle_deg,
        "to_angle_deg": light.to_angle_deg,
        "share": light.share,
        "to_share": light.to_share,
        "loss_stops": light.loss_stops,
        "meets": light.meets or None,
        "clear_deg": light.limit.clear_deg if math.isfinite(light.limit.clear_deg) else None,
        "clear_decided_by": light.limit.decided_by.key if light.limit.decided_by else None,
        "states_that_no_angle_clears": [plan.key for plan in light.limit.shut],
    }
