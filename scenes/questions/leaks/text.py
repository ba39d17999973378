"""The sentences about leaks: strengths, directions, what a light does, what a change comes to."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from geometry.arrays import FloatArray
from geometry.frame import where_in_words
from geometry.openings import OpeningKind
from raytrace.optics.camera import PixelGrid
from raytrace.stray.light_on_glass import Reach
from scenes.changes.flag_limits import FlagLimit
from scenes.questions.leaks.advice import FlagToOpen, LightAdvice, OpeningAdvice
from scenes.questions.leaks.report import LeakReport, LightRow
from scenes.runtime.page import listed
from scenes.states.names import state_words
from scenes.states.stray import angles_deg

OPENINGS_NAMED = 3  # in the first sentence
FAINT = 1e-6  # 20 stops under the picture: shown as nothing


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


def answer_words(reports: Sequence[LeakReport]) -> str:
    """Where stray light gets in, the worst opening first, in a sentence."""
    most: dict[str, float] = {}
    for report in reports:
        for row in report.openings:
            most[row.name] = max(most.get(row.name, 0.0), row.veil)
    worst = sorted(((share, name) for name, share in most.items() if share > FAINT), reverse=True)
    lit = list(dict.fromkeys(row.light.name for report in reports for row in report.lights if row.lit and not row.in_frame))
    reach = f"{listed(lit)} reach{'es' if len(lit) == 1 else ''} the target" if lit else ""
    if not worst:
        return f"Nothing to speak of gets in by the openings looked at{f'; {reach}' if reach else ''}."
    named = "; ".join(f"{opening_words(name)}, {percent(share)}" for share, name in worst[:OPENINGS_NAMED])
    more = f"; and {len(worst) - OPENINGS_NAMED} smaller" if len(worst) > OPENINGS_NAMED else ""
    return f"Stray light gets in by: {named}{more}. That is what it adds to the picture if all around is as bright."


def opening_words(name: str) -> str:
    """An opening's name, and what that is where the word alone would not tell."""
    return f"{name} (the open front)" if name == OpeningKind.MOUTH else name


def mirror_words(report: LeakReport) -> Iterator[str]:
    """How much is mirrored into the picture."""
    picture = report.picture
    if not picture.paths:
        yield "Mirrored leaks: none found."
        return
    mean, peak = float(picture.relative.mean()), float(picture.relative.max())
    error = f"(standard error {percent(picture.total_stderr)} of it)"
    brightest = f"brightest place {percent(peak)}, {strength_words(peak)} the picture."
    yield f"Mirrored leaks: {percent(mean)} of the picture's brightness on average {error}, {brightest}"
    low, high = report.mirrored_range
    if high > low * 1.01:
        yield f"The worst of the pupil depths that the lens may have is shown; over all of them {percent(low)} to {percent(high)}."


def light_words(row: LightRow, report: LeakReport) -> Iterator[str]:
    """What becomes of a light: what would cut it, or keeps it off, and which linings bounce it."""
    if row.in_frame:
        yield "in the picture: its ghosts are another matter"
    elif row.lit and row.seen.cut_by:
        at = f"{row.seen.cut_at_deg:.1f} deg farther" if row.seen.cut_at_deg else "already at its limit"
        yield f"nearest part that could block it: {row.seen.cut_by}, {at}"
    elif row.seen.stopped_by:
        proof = "" if row.reach is Reach.NONE else f"; {row.seen.rays} rays were followed, more may slip by"
        yield f"kept off first by: {row.seen.stopped_by}{proof}"
    parts = row.veil.by_part.sum(axis=1)
    names = report.setup.world.wall_names
    most = [f"{names[k]} {percent(float(parts[k]))}" for k in np.argsort(-parts)[:4] if parts[k] > FAINT]
    if most:
        yield f"bounced by {', '.join(most)}"


def share_words(row: LightRow) -> str:
    """How much of the target a light lights; 0 only where that is proven."""
    less_than = share_less_than(row)
    return percent(row.seen.share) if less_than is None else f"< {100 * less_than:.2f} %"


def share_less_than(row: LightRow) -> float | None:
    """What share of the target the rays would have found, where they found none and it is not proven that there is none."""
    return None if row.seen.share > 0 or row.reach is Reach.NONE else row.seen.least_seen


def way_in(row: LightRow, report: LeakReport) -> str:
    """The opening that most of a light comes in by."""
    return report.setup.world.opening_names[int(row.seen.by_opening.argmax())] if row.seen.share > 0 else "-"


def place_words(grid: PixelGrid, place_mm: tuple[float, float]) -> str:
    """Where in the picture something shows."""
    right = (place_mm[0] - grid.offset_mm[0]) / (grid.width_mm / 2)
    return where_in_words(right, (place_mm[1] - grid.offset_mm[1]) / (grid.height_mm / 2))


def change_words(item: OpeningAdvice) -> str:
    """What a change of the box comes to."""
    change = item.change.removeprefix("or ")
    if item.against:
        return f"do not {change}: {item.against}"
    if not item.helps:
        return f"of no help: {change}; all gaps {_from_to(item)}"
    but = f"; but {item.but}" if item.but else ""
    return f"{item.change}: {percent(item.after)} left; all gaps {_from_to(item)}{but}"


def _from_to(item: OpeningAdvice) -> str:
    return f"{percent(item.all_before)} -> {percent(item.all_after)}"


def light_advice_words(light: LightAdvice) -> list[str]:
    """What a flag can do about a light, in one sentence or two."""
    limit = light.limit
    head = f"{light.light}: lights {_lit_words(light.share)}; the {light.flag}"
    if math.isinf(limit.clear_deg):
        return [f"{head} stands in the picture at any angle: brimline flags says with what"]
    left = _left_words(light)
    if light.is_too_far_in:
        opened = f"open it from {light.angle_deg:g} to {light.to_angle_deg:g} deg{_held_words(limit)}"
        return [f"{head} stands too far in as it is: {opened}; {left}; {_clear_words(light)}"]
    if light.to_angle_deg == light.angle_deg and not light.keeps_off:
        return [f"{head} keeps off no more of it farther in{_held_words(limit, ', nor may it come in past {:g} deg, to keep')}"]
    first = f"{light.light}: bring the {light.flag} from {light.angle_deg:g} to {light.to_angle_deg:g} deg: "
    lines = [f"{first}{left}; {_clear_words(light)}"]
    if not light.keeps_off:
        lines.append(f"{_no_farther(light)}: a longer flag or extension, a deeper hood, or a flag on a stand")
    return lines


def _left_words(light: LightAdvice) -> str:
    """What is left of a light: told of the state at hand, and whether another one keeps some."""
    if light.only_here:
        with_others = f", not with {state_words(light.off.decided_by)}" if light.off.decided_by else ""
        return f"off the glass here{with_others}"
    return "off the glass" if light.keeps_off else f"{_lit_words(light.share)} -> {_lit_words(light.to_share)} of the glass"


def joint_words(lights: Sequence[LightAdvice | str]) -> str:
    """One setting for each flag that several lights ask for in different places; '' where none is."""
    asked: dict[str, set[float]] = {}
    for light in lights:
        if not isinstance(light, str) and not math.isinf(light.limit.clear_deg):
            asked.setdefault(light.flag, set()).add(light.to_angle_deg)
    told = [f"the {flag} to {min(angles):g} deg" for flag, angles in asked.items() if len(angles) > 1]
    return f"for all of these lights at once set {' and '.join(told)}" if told else ""


def flag_to_open_words(flag: FlagToOpen) -> str:
    """What to do first about a flag that stands too far in."""
    to = f"from {flag.angle_deg:g} to {flag.limit.clear_deg:g} deg"
    return f"first open the {flag.flag} {to}: it stands too far in{_held_words(flag.limit, ' to keep', '')}"


def _lit_words(share: float) -> str:
    """How much of the target is lit, where some of it is: rays may have found none of that."""
    return percent(share) if share > 0 else "a little"


def _held_words(limit: FlagLimit, words: str = ", the least that keeps", nothing: str = "") -> str:
    """Which state holds a flag up."""
    return f"{words.format(limit.clear_deg)} {state_words(limit.decided_by)} clear" if limit.decided_by else nothing


def _clear_words(light: LightAdvice) -> str:
    """What `check` says with the flag so set: judged over every focus and zoom between the states checked."""
    left = light.not_clear
    if not left:
        return "then every state is clear"
    shut = {state.key for state in light.limit.shut}
    others = [state for state in left if state.key not in shut]
    named, rest = (others or list(left))[0], len(left) - 1
    more = f" and {rest} more" if rest else ""
    if not others:
        return f"every state is then clear but {state_words(named)}{more}, which no angle of it clears"
    return f"clear states stay clear; other parts keep {state_words(named)}{more} from being clear: see brimline check"


def _no_farther(light: LightAdvice) -> str:
    """Why a flag comes no farther in."""
    if light.meets:
        return f"farther in it meets the {light.meets}"
    if light.to_angle_deg > light.limit.clear_deg:
        return "farther in it lets in no less"
    if light.limit.decided_by is None:
        return "a flag folds in no farther"
    return f"{state_words(light.limit.decided_by)} lets it come no farther"
