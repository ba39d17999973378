"""The sentences about ghosts of one state: where one lands, how strong and soft it is, what comes of a tilt, what to do."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from raytrace.ghosts.seen import ANYWHERE, TOGETHER_MM, SeenGhost
from raytrace.optics.camera import OUTSIDE
from raytrace.optics.fresnel import loss_stops
from scenes.changes.tilts import fit_words, lean_words
from scenes.questions.ghosts.report import GhostReport
from scenes.questions.ghosts.tilts import TiltAnswer

SHARP_MM = 0.01  # a blur no sensor resolves
NOT_BACK = "none of the mirrored light comes back into the pupil"


def place_words(place_mm: Sequence[float]) -> str:
    """A picture place for people: '12.0 right 3.0 up'."""
    right, up = place_mm
    if not (math.isfinite(right) and math.isfinite(up)):
        return OUTSIDE
    across = f"{abs(right):5.1f} {'right' if right >= 0.05 else 'left ' if right <= -0.05 else '     '}"
    return f"{across} {abs(up):5.1f} {'up' if up >= 0.05 else 'down' if up <= -0.05 else ''}"


def rest_words(report: GhostReport, ghosts: Sequence[SeenGhost]) -> str:
    """From which places alone a ghost comes, where not from all that are looked at."""
    if len(ghosts) == len(report.lights.lights):
        return ""
    return f"; only of a light at {', '.join(ghost.ghost.light for ghost in ghosts)}: from elsewhere {NOT_BACK}"


def is_opposite(ghost: SeenGhost) -> bool:
    """Whether a ghost lies straight opposite its light, as off an upright filter at infinity focus."""
    (right, up), (light_right, light_up) = ghost.ghost.picture_mm, ghost.ghost.light_mm
    return math.hypot(right + light_right, up + light_up) < TOGETHER_MM


def span_words(ghosts: Sequence[SeenGhost]) -> str:
    """Strengths from the strongest to the weakest."""
    least, most = (float(loss_stops(choice(ghost.share for ghost in ghosts))) for choice in (max, min))
    return f"{least:.1f} stops down" if most - least < 0.05 else f"{least:.1f} to {most:.1f} stops down"


def lands_words(ghost: SeenGhost) -> str:
    """Where a ghost lands, and by how much it misses the frame."""
    if ghost.in_frame:
        return "on its own light" if ghost.on_light else ghost.where
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
    short = "" if best.lights == ANYWHERE or not report.lights.is_grid else "; no tilt does it wherever the light stands"
    return f"set {keys} = {best.tilt_deg:g} ({side_words(best)}), which clears {best.lights}{short}; {confirm}."


def _without_answer(report: GhostReport) -> str:
    if all(answer.tilt_deg is None for answer in report.tilts):
        return "no tilt within 30 deg does it: take the filters out, coat them, or move the light out of the picture."
    if any(answer.beam and answer.beam.now_stops > 0.1 for answer in report.tilts):
        return "first mend what the box takes from the frame as it is (brimline check), then look for the tilt again."
    return "no such tilt fits and clears: make room between trays, mask and lens, coat the filters, or go without them."


def short_words(report: GhostReport) -> str:
    """What to do about one state's ghosts, in a few words."""
    best = best_answer(report)
    if best is None:
        return "no tilt that fits and clears"
    if best.is_present:
        return f"as it is, for {best.lights}"
    return f"{' and '.join(best.keys)} = {best.tilt_deg:g}, for {best.lights}"
