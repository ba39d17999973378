"""How sure a show is, in sentences."""

from __future__ import annotations

from raytrace.tolerance import Spread
from scenes.cautions.focus_plane import BEYOND
from scenes.questions.tolerances.clearances import ENDLESS_MM, IN_DOUBT, Build
from scenes.questions.tolerances.inputs import Input
from scenes.questions.tolerances.report import LensSurety, Surety
from scenes.runtime.page import listed
from scenes.scene_file.messages import plain
from scenes.states.clear_rule import lack_words
from scenes.states.names import state_words, the

CAUTION = (
    "A prediction is no substitute for the test shoot: measure what the answer hangs on, and confirm the frame with the real lens, "
    "box and filters before metal is cut or a truck is loaded."
)
METHOD = (
    "A build stays out of frame when no part reaches into the beam of any guide, as [check] asks, at the widest stop, with "
    "the filters that the scene has. That is less than the clear of `check`, which asks for room as well: here the tolerances are "
    "the room, and what a pupil taken as fixed can be out by is told apart. Every dimension is as likely anywhere between its "
    "limits (the cautious reading of +/-), each on its own; a pupil known by bounds joins in."
)
SET = "all lenses"
MOST_TOLD = 12


def share_words(found: LensSurety | Surety) -> str:
    """A share of builds in a table: 'all' and 'none' only where it is settled, else in percent."""
    if found.always:
        return "all"
    if isinstance(found, LensSurety) and found.never:
        return "none"
    if isinstance(found, Surety) and any(lens.never for lens in found.lenses):
        return "none"
    return f"{percent(found.clear_share)} %"


def percent(share: float) -> str:
    """A share in percent, to a tenth, never rounded to 0 or 100 where it is neither."""
    shown = f"{100 * share:.1f}"
    if shown == "100.0" and share < 1:
        return "99.9"
    return "0.1" if shown == "0.0" and share > 0 else shown.removesuffix(".0")


def range_of_share_words(spread: Spread | None) -> str:
    """The confidence range of a share of builds in percent: '91.2-98.4'; '' where the share is settled."""
    return "" if spread is None else f"{percent(spread.share_range[0])}-{percent(spread.share_range[1])}"


def room_words(value_mm: float) -> str:
    """A room in a table: '+3.2 mm', '-0.31 mm'."""
    if value_mm <= -ENDLESS_MM:
        return "no room"
    return f"{value_mm:+.1f} mm" if abs(value_mm) >= 0.95 else f"{value_mm:+.2f} mm"


def input_words(found: Surety, path: str) -> str:
    """What an input is called, by its path."""
    return next((item.words for item in found.inputs if item.path == path), "-")


def range_words(item: Input) -> str:
    """Limits of an input: '38 to 44 mm'."""
    low, high = item.tolerance.ends
    return f"{plain(round(low, 2))} to {plain(round(high, 2))} {item.unit}"


def worst_words(lens: LensSurety) -> str:
    """The worst build in a sentence: what stands where, in which state, and what came out how."""
    worst = lens.worst
    off = [_off_words(item, worst) for item in lens.inputs if abs(worst.values[item.path] - item.nominal) > 1e-9]
    how = f", with {listed(off)}" if off else ", all dimensions nominal"
    return f"{nearest_words(worst)} ({state_words(worst.state)}){how}."


def nearest_words(build: Build) -> str:
    """What stands nearest to the beam, or deepest in it."""
    nearest = build.nearest
    place = f" at {nearest.where}" if nearest.where else ""
    if nearest.where == BEYOND:
        return f"{the(nearest.part)} reaches {BEYOND}, where nothing is looked at"
    if nearest.where == IN_DOUBT:
        return "its light is in doubt with nominal dimensions: brimline check says why"
    if build.clearance_mm <= 0:
        return f"{the(nearest.part)} stands {-build.clearance_mm:.2f} mm in the beam{place}"
    return f"{the(nearest.part)} stays {build.clearance_mm:.2f} mm outside the beam{place}"


def _off_words(item: Input, build: Build) -> str:
    value = build.values[item.path]
    return f"{item.words} {plain(round(value, 2))} {item.unit} ({value - item.nominal:+.3g})"


def summary(found: Surety) -> str:
    """The answer in a sentence or two."""
    never = [lens.lens_name for lens in found.lenses if lens.never]
    who = "all lenses" if len(found.lenses) > 1 else f"the {found.lenses[0].lens_name}"
    if never:
        others = f" {_others(found)}" if len(never) < len(found.lenses) else ""
        return f"No build stays out of frame with the {listed(never)}.{others}"
    if found.always:
        room = room_words(found.worst.worst.clearance_mm)
        return f"Every build within the tolerances stays out of frame with {who}; the worst leaves {room} of room."
    assert found.spread is not None
    low, high = (percent(share) for share in found.spread.share_range)
    sure = f"least sure: {input_words(found, found.least_sure)}"
    if found.clear_share == 1.0:
        found_bad = found.worst.worst.clearance_mm <= 0
        but = (
            "but not the worst one"
            if found_bad
            else f"and the worst found leaves {room_words(found.worst.worst.clearance_mm)} of room"
        )
        return f"Out of frame with {who} in all {found.count} builds tried (more than {low} % of all), {but}; {sure}."
    return f"Out of frame with {who} in {percent(found.clear_share)} % of builds (between {low} and {high}); {sure}."


def unbuilt_words(found: Surety) -> str:
    """How many builds cannot be built, and why one of them cannot; '' where all can."""
    lens = found.unbuilt
    if lens is None or lens.unbuilt is None:
        return ""
    off = [item for item in lens.inputs if abs(lens.unbuilt.values[item.path] - item.nominal) > 1e-9]
    how = [f"{item.words} {plain(round(lens.unbuilt.values[item.path], 2))} {item.unit}" for item in off]
    of_tried = f"{lens.unbuilt.count or 'None'} of the {found.count} builds tried"
    count = f"{of_tried}{'' if lens.unbuilt.count else ', but others within the tolerances,'}"
    whose = f" with the {lens.lens_name}" if len(found.lenses) > 1 else ""
    what = f"with {listed(how) or 'all dimensions nominal'} {lens.unbuilt.why}"
    return f"{count} cannot be built{whose}, and no such build counts as clear: {what}."


def glass_words(found: Surety) -> str:
    """Which lenses the box as written stays out of only while the filters are in; '' where none are."""
    told = [lens for lens in found.lenses if lens.only_with_glass is not None]
    if not told:
        return ""
    worst = min(told, key=lambda lens: lens.only_with_glass.clearance_mm if lens.only_with_glass else 0.0)
    assert worst.only_with_glass is not None
    what = f"{nearest_words(worst.only_with_glass)} ({state_words(worst.only_with_glass.state)})"
    return f"Keep the filters in with the {listed([lens.lens_name for lens in told])}: with the trays empty {what}."


def fixed_words(found: Surety) -> str:
    """With which lenses the worst build stays out of frame only if their pupils, taken as fixed, stand still; '' where none are."""
    lacking = [lens for lens in found.lenses if lens.lacks_room]
    if not lacking:
        return ""
    least = min(lacking, key=lambda lens: lens.worst.clearance_mm)
    why = lack_words(least.worst.clearance_mm, least.needed_mm)
    return f"`check` would call the worst build tight with {listed([lens.lens_name for lens in lacking])}: {why}."


def _others(found: Surety) -> str:
    rest = [lens for lens in found.lenses if not lens.never]
    least = min(rest, key=lambda lens: (lens.clear_share, lens.worst.clearance_mm))
    if least.always:
        return "With the other lenses every build stays out of frame."
    return f"Of the others the {least.lens_name} is least sure: out of frame in {percent(least.clear_share)} % of builds."


def next_step(found: Surety) -> str:
    """What to do about the worst."""
    worst = found.worst
    if found.always and fixed_words(found):
        return "confirm on the test shoot the lenses that may be tight, or give them pupil_walk."
    if found.always:
        return "nothing needs doing within these tolerances."
    if found.unbuilt is not None and worst.worst.clearance_mm > 0:
        return "give the parts that meet more room, or their dimensions closer tolerances; then run this again."
    part = worst.worst.nearest.part
    room = max(-worst.worst.clearance_mm, 0.0)
    if worst.never and worst.nominal.clearance_mm <= 0:
        if worst.nominal.nearest.where in {BEYOND, IN_DOUBT}:
            return f"see what brimline check says of the {worst.lens_name}: a fault leaves its light in doubt."
        how = f"with nominal dimensions {the(part)} stands in its beam"
        return f"see what brimline check says of the {worst.lens_name}: {how}."
    item = next((item for item in found.inputs if item.path == worst.least_sure), None)
    more = f"give {the(part)} {room:.1f} mm more room" if room > 0 else f"keep the room at {the(part)}"
    return f"{more}, or know the {item.words} better than {range_words(item)}; then run this again." if item else f"{more}."
