"""What is fitted in front of each lens, part by part, and what changes from one set-up to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scenes.questions.plan.order import Order, best_order
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import PART_KEYS, Box, BoxPart, Filter, Flag, Mask, Seal, Stage
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
        return f"{self.name}{self.words and f', {self.words}'}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """A lens with everything in front of it, from the lens outward; `placement` is where its box stands, in words."""

    lens: str
    pieces: tuple[Piece, ...]
    placement: str


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
    return {name: setup_of(state.scene, box_for(state.scene, state.lens), name) for name, state in lenses.items()}


def setup_of(scene: Scene, box: Box, lens: str) -> Setup:
    """What of the scene's box is fitted with a lens."""
    placed = sorted(_pieces_at(scene, box), key=lambda one: one[0])
    return Setup(lens=lens, pieces=tuple(piece for _, pieces in placed for piece in pieces), placement=placement_words(box))


def placement_words(box: Box) -> str:
    """Where the box stands: 'back plate 4 mm ahead of the lens front, 1 mm up'."""
    right, up = box.offset_mm
    ahead = f"{plain(abs(box.ahead_mm))} mm {'ahead of' if box.ahead_mm >= 0 else 'behind'} the lens front"
    aside = [
        f"{plain(abs(value))} mm {ways[value < 0]}" for value, ways in ((right, ("right", "left")), (up, ("up", "down"))) if value
    ]
    tilt = [f"tilted {plain(box.tilt_deg)} deg, top {'forward' if box.tilt_deg > 0 else 'back'}"] if box.tilt_deg else []
    return ", ".join([f"rear face of the back plate {ahead}", *aside, *tilt])


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
        more = f", extension {plain(extension.length_mm)} mm at {plain(extension.angle_deg)} deg" if extension else ""
        side = "" if item.name and item.side in item.name else f"{item.side}, "
        return f"{side}{plain(item.angle_deg)} deg{more}"
    if isinstance(item, Stage | Mask):
        return ", ".join([*_opening_words(item), *_turn_words(item)])
    return ""


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
    return f"{plain(at)} mm ahead of the back plate's rear face" if at is not None else ""


def filter_words(glass: Filter) -> str:
    """What a filter is: 'graduated 0.6, dark end up in the tray, edge 10 mm above centre, 6.6x6.6, 4 mm thick'."""
    kind = {"density": f"density {plain(glass.density)}", "graduated": f"graduated {plain(glass.density)}"}.get(
        glass.kind, glass.kind
    )
    words = [] if (glass.name or glass.kind) == kind else [kind]
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
    moved = before is None or before.placement != after.placement
    swapped = before is None or before.lens != after.lens
    taken = sum(getattr(minutes, piece.kind) for piece in (*off, *on))
    taken += (minutes.lens if swapped else 0.0) + (minutes.slide if moved else 0.0)
    lens, place = after.lens if swapped else "", after.placement if moved else ""
    return Change(off=off, on=on, lens=lens, placement=place, minutes=taken)


def order_of(setups: Sequence[Setup], minutes: Minutes) -> Order:
    """The order of set-ups that takes the crew least time."""
    cost = np.array([[change(a, b, minutes).minutes for b in setups] for a in setups]).reshape(len(setups), len(setups))
    return best_order(cost, np.array([change(None, one, minutes).minutes for one in setups]))
