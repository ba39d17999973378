"""What is fitted in front of each lens, part by part, and what changes from one set-up to the next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scenes.questions.plan.order import Order, best_order
from scenes.rig.stated_field import rows_of
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import CLAMP, PART_KEYS, Box, BoxPart, Extension, Filter, Flag, Mask, Seal, Stage
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.plan import Minutes
from scenes.scene_file.tables.scene import Scene, box_for
from scenes.states.state import State

NONE = "none"


@dataclass(frozen=True, slots=True)
class Piece:
    """One thing that goes on or comes off by itself: its kind (a key of [plan.minutes]), its name, what it is, where it sits."""

    kind: str
    name: str
    words: str = ""
    place: str = ""

    @property
    def told(self) -> str:
        """'rear tray: clear glass, 6.6x6.6'."""
        words = "" if self.words in self.name else self.words
        return f"{self.name}{words and f', {words}'}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """A lens with everything in front of it, from the lens outward.

    `placement` is where its box stands, in words; `set_at` with which focus and zoom that is measured. from_sensor_mm is where on
    its rods the box stands then, from the image plane; None where that is not known, or the box goes with the lens.
    """

    lens: str
    pieces: tuple[Piece, ...]
    placement: str
    set_at: str
    from_sensor_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """From one set-up to the next: what comes off, what goes on, where the box goes, and how long it takes."""

    off: tuple[Piece, ...]
    on: tuple[Piece, ...]
    lens: str
    placement: str
    minutes: float


def setups_of(states: Sequence[State]) -> dict[str, Setup]:
    """The set-up of each lens by its name, in the scene's order."""
    lenses = {state.lens_name: state for state in states}
    return {name: setup_of(state.scene, box_for(state.scene, state.lens), state.lens) for name, state in lenses.items()}


def setup_of(scene: Scene, box: Box, lens: Lens) -> Setup:
    """What of the scene's box is fitted with a lens."""
    placed = sorted(_pieces_at(scene, box), key=lambda one: one[0])
    pieces = tuple(piece for _, pieces in placed for piece in pieces)
    on_rods = box.mount != CLAMP and lens.front_to_sensor_mm is not None
    return Setup(
        lens=lens.name,
        pieces=pieces,
        placement=placement_words(box),
        set_at=set_at_words(box, lens),
        from_sensor_mm=(lens.front_to_sensor_mm or 0.0) + box.ahead_mm if on_rods else None,
    )


def placement_words(box: Box) -> str:
    """Where the box stands: 'rear face of the back plate 4 mm ahead of the lens front, centre 1 mm above the lens axis'."""
    right, up = box.offset_mm
    ahead = f"{plain(abs(box.ahead_mm))} mm {'ahead of' if box.ahead_mm >= 0 else 'behind'} the lens front"
    aside = [
        f"{plain(abs(value))} mm {ways[value < 0]}"
        for value, ways in ((right, ("right of", "left of")), (up, ("above", "below")))
        if value
    ]
    centre = f"centre {' and '.join(aside)} the lens axis" if aside else "centred on the lens axis"
    tilt = [f"tilted {plain(abs(box.tilt_deg))} deg, top {'forward' if box.tilt_deg > 0 else 'back'}"] if box.tilt_deg else []
    return ", ".join([f"{'rear face of the back plate' if box.back else 'rear of the box'} {ahead}", centre, *tilt])


def set_at_words(box: Box, lens: Lens) -> str:
    """With which focus and zoom the box's place is measured, and how a front that moves changes it."""
    rows = [(row.focal_mm, row.focus_mm, row.front_travel_mm or 0.0) for row in rows_of(lens)]
    moved = max(rows, key=lambda row: abs(row[2]), default=(0.0, 0.0, 0.0))
    if not moved[2]:
        return "measured with the lens at infinity"
    still = sorted((row for row in rows if not row[2]), key=lambda row: (-row[1], row[0]))
    several = len({row[0] for row in rows}) > 1
    at = setting_at(still[0][0] if several else None, still[0][1]) if still else "where its front is farthest back"
    all_far = {row[0] for row in rows} == {row[0] for row in still if math.isinf(row[1])}
    at = "infinity" if all_far else at
    way = f"its front {'comes out' if moved[2] > 0 else 'goes in'} {plain(abs(moved[2]))} mm by {setting_at(None, moved[1])}"
    if box.mount == CLAMP:
        return f"measured with the lens at {at}; {way}, and the box with it"
    left_mm = box.ahead_mm - moved[2]
    left = f"leaves {plain(left_mm)} mm" if left_mm >= 0.0 else f"brings it {plain(-left_mm)} mm into the box"
    return f"measured with the lens at {at}; {way}, which {left}"


def setting_at(focal_mm: float | None, focus_mm: float) -> str:
    """A focus, with its focal length where that is given: '45 mm, infinity', 'focus 900 mm'."""
    focus = "infinity" if math.isinf(focus_mm) else f"focus {plain(focus_mm)} mm"
    return focus if focal_mm is None else f"{plain(focal_mm)} mm, {focus}"


def _pieces_at(scene: Scene, box: Box) -> list[tuple[tuple[float, int], list[Piece]]]:
    """Each part's pieces with its place from the lens outward; flags last, since they hang on the hood."""
    found = []
    for order, key in enumerate(("seal", "back", "stage", "mask", "hood", "solid", "flag")):
        assert key in PART_KEYS
        for item in getattr(box, key):
            number = getattr(scene.box, key).index(item) + 1
            at = {"seal": -2e4, "back": -1e4, "flag": 1e6}.get(key, getattr(item, "at_mm", None) or 0.0)
            found.append(((at, order * 100 + number), list(_pieces(key, item, number, len(getattr(scene.box, key))))))
    return found


def _pieces(key: str, item: BoxPart, number: int, count: int) -> list[Piece]:
    usual = {"back": "back plate", "stage": "tray", "solid": "other part"}.get(key, key)
    if isinstance(item, Flag):
        usual = f"{item.side} flag"
    name = item.name or (f"{usual} {number}" if count > 1 and not isinstance(item, Flag) else usual)
    if isinstance(item, Seal) and item.kind == NONE:
        return []
    pieces = [Piece(key, name, _words(item), _place(item))]
    if isinstance(item, Stage) and item.filter is not None:
        words = ", ".join([filter_words(item.filter), *(f"tray {turn}" for turn in _turn_words(item))])
        pieces.append(Piece("filter", item.filter.name or item.filter.kind, words, name))
    return pieces


def _words(item: BoxPart) -> str:
    if isinstance(item, Seal):
        size = f" {plain(item.inner_mm)} mm inside" if item.inner_mm else ""
        return f"{item.kind}{size}"
    if isinstance(item, Flag):
        extension = item.extension
        more = _extension_words(item.angle_deg, extension) if extension else ""
        side = "" if item.name and item.side in item.name else f"{item.side}, "
        return f"{side}{plain(item.angle_deg)} deg{more}"
    if isinstance(item, Stage | Mask):
        return ", ".join([*_opening_words(item), *_turn_words(item)])
    return ""


def _extension_words(flag_deg: float, extension: Extension) -> str:
    """An extension's angle as the gauge reads it, from the lens axis, and against its flag as the scene file has it."""
    from_axis = f"{plain(round(flag_deg + extension.angle_deg, 2))} deg from the lens axis"
    return f", extension {plain(extension.length_mm)} mm at {from_axis} ({plain(extension.angle_deg)} deg against the flag)"


def _opening_words(item: Stage | Mask) -> list[str]:
    what, inside = ("cut-out ", "") if isinstance(item, Mask) else ("", " inside")
    if item.opening_mm is not None:
        return [f"{what}{plain(item.opening_mm[0])} x {plain(item.opening_mm[1])} mm{inside}"]
    if item.opening_diameter_mm is not None:
        return [f"{what}{plain(item.opening_diameter_mm)} mm across{inside}"]
    return [f"cut to {item.outline}"] if isinstance(item, Mask) and item.outline else []


def _turn_words(item: Stage | Mask) -> list[str]:
    turn = (
        [f"turned {plain(abs(item.turn_deg))} deg {'clockwise' if item.turn_deg > 0 else 'anticlockwise'}"] if item.turn_deg else []
    )
    tilt = [f"tilted {plain(abs(item.tilt_deg))} deg, top {'forward' if item.tilt_deg > 0 else 'back'}"] if item.tilt_deg else []
    return [*turn, *tilt]


def _place(item: BoxPart) -> str:
    at = getattr(item, "at_mm", None)
    return f"its rear face {plain(at)} mm ahead of the back plate's rear face" if at is not None else ""


def filter_words(glass: Filter) -> str:
    """What a filter is: 'graduated 0.6, dark end up in the tray, edge 10 mm above centre, 6.6x6.6, 4 mm thick'."""
    kind = {"density": f"density {plain(glass.density)}", "graduated": f"graduated {plain(glass.density)}"}.get(
        glass.kind, glass.kind
    )
    words = [] if kind in (glass.name or glass.kind) else [kind]
    if glass.kind == "graduated":
        side = "above" if glass.edge_mm >= 0 else "below"
        words += ["dark end up in the tray", f"edge {plain(abs(glass.edge_mm))} mm {side} centre"]
    return ", ".join([*words, size_words(glass), f"{plain(glass.thickness_mm)} mm thick"])


def size_words(glass: Filter) -> str:
    """Its size: '6.6x6.6', '100 x 120 mm', '138 mm round'."""
    if glass.size:
        return glass.size
    if glass.rectangle_mm:
        return f"{plain(glass.rectangle_mm[0])} x {plain(glass.rectangle_mm[1])} mm"
    return f"{plain(glass.round_mm)} mm round" if glass.round_mm else ""


def change(before: Setup | None, after: Setup, minutes: Minutes) -> Change:
    """What takes one set-up to another, or a bare camera to the first."""
    had = () if before is None else before.pieces
    off = tuple(piece for piece in reversed(had) if piece not in after.pieces)
    on = tuple(piece for piece in after.pieces if piece not in had)
    moved = before is None or (before.placement, before.from_sensor_mm) != (after.placement, after.from_sensor_mm)
    swapped = before is None or before.lens != after.lens
    taken = sum(getattr(minutes, piece.kind) for piece in (*off, *on))
    taken += (minutes.lens if swapped else 0.0) + (minutes.slide if moved else 0.0)
    lens, place = after.lens if swapped else "", after.placement if moved else ""
    return Change(off=off, on=on, lens=lens, placement=place, minutes=taken)


def order_of(setups: Sequence[Setup], minutes: Minutes) -> Order:
    """The order of set-ups that takes the crew least time."""
    cost = np.array([[change(a, b, minutes).minutes for b in setups] for a in setups]).reshape(len(setups), len(setups))
    return best_order(cost, np.array([change(None, one, minutes).minutes for one in setups]))
