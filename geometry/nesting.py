"""Rectangles laid on sheets of stock with a gap between them: as few sheets as are found, the same each time.

Largest free rectangles, the best short side first (Jylanki, "A thousand ways to pack the bin", 2010), over several orders; a few
parts are then tried in every corner that others leave, which finds layouts that no straight cut goes through.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from geometry.errors import GeometryError

MOST_TRIED, MOST_STEPS = 8, 20000  # parts that are tried in every corner, and how often one is laid down for it
EPS_MM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A rectangle to lay down: its name, size [mm], and whether it may be turned by a quarter."""

    name: str
    width_mm: float
    height_mm: float
    may_turn: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A piece on a sheet, counted from 0: its lower left corner [mm], and whether it was turned by a quarter."""

    piece: Piece
    sheet: int
    left_mm: float
    low_mm: float
    turned: bool

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height as it lies."""
        size = self.piece.width_mm, self.piece.height_mm
        return size[::-1] if self.turned else size


Rect = tuple[float, float, float, float]  # left, low, width, height
Key = Callable[[Piece], tuple[float, ...]]
ORDERS: tuple[Key, ...] = (
    lambda piece: (-piece.width_mm * piece.height_mm,),
    lambda piece: (-max(piece.width_mm, piece.height_mm), -min(piece.width_mm, piece.height_mm)),
    lambda piece: (-min(piece.width_mm, piece.height_mm), -max(piece.width_mm, piece.height_mm)),
    lambda piece: (-piece.width_mm - piece.height_mm,),
)


def nested(
    pieces: Sequence[Piece], sheet_mm: tuple[float, float], *, gap_mm: float = 0.0, margin_mm: float = 0.0
) -> tuple[Laid, ...]:
    """Every piece on a sheet; GeometryError for one that fits on none. The gap lies between pieces, the margin along the edges."""
    room = sheet_mm[0] - 2 * margin_mm + gap_mm, sheet_mm[1] - 2 * margin_mm + gap_mm
    for piece in pieces:
        if not _sizes(piece, gap_mm, room):
            size = f"{piece.width_mm:.1f} x {piece.height_mm:.1f} mm"
            raise GeometryError(
                f"{piece.name} is {size} and does not fit a sheet of {sheet_mm[0]:g} x {sheet_mm[1]:g} mm "
                f"with {margin_mm:g} mm left along its edges; give a larger sheet"
            )
    found = min((_by_order(sorted(pieces, key=key), room, gap_mm) for key in ORDERS), key=_worth)
    least = sum(p.width_mm * p.height_mm for p in pieces) / (room[0] * room[1])
    if _count(found) > max(1, least) and len(pieces) <= MOST_TRIED:
        found = _on_one_sheet(pieces, room, gap_mm) or found
    return tuple(
        Laid(piece=one.piece, sheet=one.sheet, left_mm=one.left_mm + margin_mm, low_mm=one.low_mm + margin_mm, turned=one.turned)
        for one in found
    )


def _worth(laid: Sequence[Laid]) -> tuple[float, ...]:
    """Fewer sheets first, then the least used of the last."""
    last = _count(laid) - 1
    return (last, max((one.left_mm + one.size_mm[0] for one in laid if one.sheet == last), default=0.0))


def _count(laid: Sequence[Laid]) -> int:
    return max((one.sheet for one in laid), default=-1) + 1


def _sizes(piece: Piece, gap_mm: float, room: tuple[float, float]) -> list[tuple[float, float, bool]]:
    """The ways a piece fits on an empty sheet: width, height with the gap, and whether it is turned."""
    w, h = piece.width_mm + gap_mm, piece.height_mm + gap_mm
    ways = [(w, h, False), *([(h, w, True)] if piece.may_turn else [])]
    return [way for way in ways if way[0] <= room[0] + EPS_MM and way[1] <= room[1] + EPS_MM]


def _by_order(pieces: Sequence[Piece], room: tuple[float, float], gap_mm: float) -> list[Laid]:
    free: list[list[Rect]] = []
    found = []
    for piece in pieces:
        ways = _sizes(piece, gap_mm, room)
        place = next((best for sheet in range(len(free)) if (best := _best(free[sheet], ways, sheet)) is not None), None)
        if place is None:
            free.append([(0.0, 0.0, *room)])
            place = _best(free[-1], ways, len(free) - 1)
        assert place is not None
        sheet, (left, low, w, h), turned = place
        free[sheet] = _without(free[sheet], (left, low, w, h))
        found.append(Laid(piece=piece, sheet=sheet, left_mm=left, low_mm=low, turned=turned))
    return found


def _best(free: Sequence[Rect], ways: Sequence[tuple[float, float, bool]], sheet: int) -> tuple[int, Rect, bool] | None:
    """The free rectangle that leaves the least beside the piece."""
    fits = [
        ((min(fw - w, fh - h), max(fw - w, fh - h), left, low), (left, low, w, h), turned)
        for left, low, fw, fh in free
        for w, h, turned in ways
        if w <= fw + EPS_MM and h <= fh + EPS_MM
    ]
    if not fits:
        return None
    _, rect, turned = min(fits, key=lambda fit: (fit[0], fit[2]))
    return sheet, rect, turned


def _without(free: Sequence[Rect], used: Rect) -> list[Rect]:
    """Free rectangles after one was used: what is left of each on all sides, none inside another."""
    left, low, w, h = used
    rest: list[Rect] = []
    for rect in free:
        a, b, fw, fh = rect
        if left >= a + fw - EPS_MM or left + w <= a + EPS_MM or low >= b + fh - EPS_MM or low + h <= b + EPS_MM:
            rest.append(rect)
            continue
        rest += [
            (a, b, left - a, fh),
            (left + w, b, a + fw - left - w, fh),
            (a, b, fw, low - b),
            (a, low + h, fw, b + fh - low - h),
        ]
    rest = [rect for rect in dict.fromkeys(rest) if rect[2] > EPS_MM and rect[3] > EPS_MM]
    return [rect for rect in rest if not any(other != rect and _holds(other, rect) for other in rest)]


def _holds(outer: Rect, inner: Rect) -> bool:
    return (
        outer[0] <= inner[0] + EPS_MM
        and outer[1] <= inner[1] + EPS_MM
        and outer[0] + outer[2] >= inner[0] + inner[2] - EPS_MM
        and outer[1] + outer[3] >= inner[1] + inner[3] - EPS_MM
    )


def _on_one_sheet(pieces: Sequence[Piece], room: tuple[float, float], gap_mm: float) -> list[Laid] | None:
    """All pieces on one sheet, by trying each in every corner that the others leave; None where that is not found."""
    steps = 0

    def lay(laid: list[Laid], used: list[Rect], rest: list[Piece]) -> list[Laid] | None:
        nonlocal steps
        if not rest:
            return laid
        tried: set[tuple[float, float, bool]] = set()
        for place, piece in enumerate(rest):
            if (piece.width_mm, piece.height_mm, piece.may_turn) in tried:
                continue
            tried.add((piece.width_mm, piece.height_mm, piece.may_turn))
            for w, h, turned in _sizes(piece, gap_mm, room):
                for left, low in _corners(used):
                    steps += 1
                    if steps > MOST_STEPS:
                        return None
                    if left + w > room[0] + EPS_MM or low + h > room[1] + EPS_MM or _meets((left, low, w, h), used):
                        continue
                    one = Laid(piece=piece, sheet=0, left_mm=left, low_mm=low, turned=turned)
                    found = lay([*laid, one], [*used, (left, low, w, h)], [*rest[:place], *rest[place + 1 :]])
                    if found is not None:
                        return found
        return None

    return lay([], [], sorted(pieces, key=ORDERS[0]))


def _corners(used: Sequence[Rect]) -> list[tuple[float, float]]:
    xs = sorted({0.0, *(left + w for left, _, w, _ in used)})
    ys = sorted({0.0, *(low + h for _, low, _, h in used)})
    return [(x, y) for y in ys for x in xs]


def _meets(rect: Rect, used: Sequence[Rect]) -> bool:
    a, b, w, h = rect
    return any(a < c + e - EPS_MM and c < a + w - EPS_MM and b < d + f - EPS_MM and d < b + h - EPS_MM for c, d, e, f in used)
