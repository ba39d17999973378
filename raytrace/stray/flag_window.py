"""How far in a flag may swing: the widest opening angle at which it meets the beam. Pure plane geometry over sections of the beam.

The beam is cut by planes square to the box's axis. In each only what lies in the strip that the flag sweeps counts, and of that
only how near and how far from the axis it reaches. So a flag and its extension become two bars that turn about a point, and the
beam a shape in the same plane.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from geometry.arrays import FloatArray
from geometry.flags import LEAST_DEG, MOST_DEG, OPEN_DEG, Bars, Hinge
from geometry.frame import Side, where_in_words
from raytrace.beam.outline import Section

GRAZE_MM = 0.02  # the beam is taken larger by this much: more than a bar can graze it by between two angles tried
SWING_MM = 0.01  # how far the end of a bar may stray between two angles tried from the chord of its way
HALVINGS = 16  # of the last step: far below a hundredth of a degree
LOOKS_AT_ONCE = 15  # angles inside a step that are looked at together: four halvings
EDGE_MM = 0.1  # points of the beam this near to the outermost touch with it
STEP_MM = 15.0  # between sections; the beam's sides are straight or hollow, so that chords between them are on the safe side
LOOKS, LOOKS_ALONG, SIDES = 421, 65, ((0, 1), (3, 2))  # angles, half a degree apart, and places along both faces of a bar
LOOK_SHARE = 0.01  # of their reach: no place of theirs is farther from one looked at
FAR_ASIDE_MM = 1e5  # beyond any beam


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """The widest opening angle at which a flag meets the beam [deg], of those at which it stands out from the hinge or farther in.

    -inf where it meets it at no angle; inf where it does so even standing straight out. most_deg is how far it may be opened: less
    than MOST_DEG where a blade folded back reaches into a beam that passes close by its hinge. at_mm is where it meets: (ahead of,
    out from) the hinge; `blade` 0 for the flag, 1 for its extension; `where` the beam's own place, in the operator's words.
    """

    angle_deg: float
    most_deg: float = MOST_DEG
    at_mm: tuple[float, float] | None = None
    blade: int = 0
    where: str = ""


NEVER = Touch(angle_deg=-np.inf)

Sections = Mapping[float, Section]


def depths_mm(bars: Bars) -> FloatArray:
    """Places (K,) ahead of the hinge where the beam is to be cut for a flag [mm]: whole steps, so that flags share sections.

    As far behind the hinge as ahead of it: there a blade lies that is folded back.
    """
    steps = np.ceil(bars.reach_mm / STEP_MM)
    return STEP_MM * np.arange(-steps, steps + 1)


@lru_cache(maxsize=256)
def lowest_out_mm(bars: Bars, ahead_mm: float) -> float:
    """How far in toward the axis bars come, at any angle, behind the hinge and up to so far ahead of it [mm]; or a little less."""
    beside_mm = LOOK_SHARE * bars.reach_mm + bars.thickness_mm
    shapes = bars.shapes(np.linspace(LEAST_DEG, MOST_DEG, LOOKS))
    along = np.linspace(0.0, 1.0, LOOKS_ALONG)[:, None, None, None]
    places = np.concatenate([shapes[None, :, :, k] + along * (shapes[None, :, :, j] - shapes[None, :, :, k]) for k, j in SIDES])
    near = places[..., 0] <= ahead_mm + beside_mm
    return float(places[..., 1][near].min()) - beside_mm


Span = tuple[float, float]  # how near to the axis and how far out of a hinge something reaches [mm]


def profile(sections: Sections, hinge: Hinge, width_mm: float) -> BaseGeometry:
    """What a flag of that width can meet of the beam, as a shape in (ahead of, out from) the hinge [mm]; may be empty."""
    return profile_of({depth: span(section, hinge, width_mm) for depth, section in sections.items()})


def profile_of(spans: Mapping[float, Span | None]) -> BaseGeometry:
    """The same of what the beam takes up within the flag's width at places ahead of the hinge; None where nothing is."""
    runs: list[list[tuple[float, float, float]]] = [[]]
    for depth in sorted(spans):
        here = spans[depth]
        if here is None:
            runs.append([])
        else:
            runs[-1].append((depth, *here))
    shapes = [_filled(np.array(run)) for run in runs if run]
    return shapely.union_all(shapes).buffer(GRAZE_MM, quad_segs=2) if shapes else shapely.Polygon()


def span_of_rays(xy_mm: FloatArray, pad_mm: float, hinge: Hinge, width_mm: float) -> Span | None:
    """What points (N, 2) of such a plane, and so much about them, take up, if that all lies within the flag's width; else None."""
    out, along = hinge.out_and_along(xy_mm)
    if np.abs(along).max() + pad_mm > width_mm / 2:
        return None
    return float(out.min()) - pad_mm, float(out.max()) + pad_mm


def span(section: Section, hinge: Hinge, width_mm: float) -> Span | None:
    """What a section takes up within the flag's width; None where nothing."""
    strip = in_strip(section, hinge, width_mm)
    if strip.is_empty:
        return None
    out, _ = hinge.out_and_along(shapely.get_coordinates(strip))
    return float(out.min()), float(out.max())


def in_strip(section: Section, hinge: Hinge, width_mm: float) -> BaseGeometry:
    """What of a section lies within the flag's width."""
    half = width_mm / 2
    _, along = hinge.out_and_along(shapely.get_coordinates(section))
    if len(along) and np.abs(along).max() <= half:
        return section
    far = FAR_ASIDE_MM
    upright = hinge.side in (Side.TOP, Side.BOTTOM)
    return section.intersection(shapely.box(-half, -far, half, far) if upright else shapely.box(-far, -half, far, half))


def _filled(run: FloatArray) -> BaseGeometry:
    outline = np.concatenate([run[:, [0, 1]], run[::-1][:, [0, 2]]])
    return shapely.MultiPoint(outline).convex_hull if len(run) == 1 else shapely.Polygon(outline).buffer(0)


def widest_touch(bars: Bars, region: BaseGeometry) -> Touch:
    """The widest angle at which bars meet a region of (ahead, out): found from wide open inward, a small step at a time.

    Where they meet it folded back as well, wholly or on the way, the angles about straight out count.
    """
    if region.is_empty:
        return NEVER
    shapely.prepare(region)
    step = np.degrees(2 * np.arccos(1 - min(SWING_MM / bars.reach_mm, 0.5)))
    angles = np.linspace(MOST_DEG, LEAST_DEG, int(np.ceil((MOST_DEG - LEAST_DEG) / step)) + 1)
    met = _meets(bars, region, angles)
    straight = int(np.argmin(np.abs(angles - OPEN_DEG)))
    start = straight if met[0] or (met[:straight].any() and not met[straight]) else 0
    if met[start]:
        return Touch(angle_deg=np.inf)
    outer, inner = np.flatnonzero(met[:start]), start + np.flatnonzero(met[start:])
    most = _edge(bars, region, angles[outer[-1] + 1], angles[outer[-1]]) if len(outer) else MOST_DEG
    if not len(inner):
        return replace(NEVER, most_deg=most)
    least = _edge(bars, region, angles[inner[0] - 1], angles[inner[0]])
    return replace(_placed(bars, region, least), most_deg=most)


def _edge(bars: Bars, region: BaseGeometry, clear_deg: float, met_deg: float) -> float:
    """The angle just clear of a region between one that is clear and one that meets it."""
    shares = np.arange(LOOKS_AT_ONCE + 2) / (LOOKS_AT_ONCE + 1)
    for _ in range(round(HALVINGS / np.log2(LOOKS_AT_ONCE + 1))):
        tried = clear_deg + (met_deg - clear_deg) * shares
        met = np.append(_meets(bars, region, tried[1:-1]), True)
        first = int(np.argmax(met))
        clear_deg, met_deg = float(tried[first]), float(tried[first + 1])
    return clear_deg


def hinge_clearance_mm(region: BaseGeometry) -> float:
    """How far a hinge stays out of a region of (ahead, out); negative: how deep it stands in it [mm]."""
    hinge = shapely.Point(0.0, 0.0)
    return float(-region.boundary.distance(hinge) if region.contains(hinge) else region.distance(hinge))


def farther_out_mm(bars: Bars, region: BaseGeometry) -> float:
    """How much farther from the axis a hinge has to be for its flag to fold right back past a region; 0 where it does [mm]."""
    folded = shapely.union_all(shapely.polygons(bars.shapes(np.array([MOST_DEG]))[:, 0]))
    low, high = 0.0, float(max(region.bounds[3] - folded.bounds[1], 0.0)) if not region.is_empty else 0.0
    for _ in range(HALVINGS if folded.intersects(region) else 0):
        middle = (low + high) / 2
        meets = affinity.translate(folded, yoff=middle).intersects(region)
        low, high = (middle, high) if meets else (low, middle)
    return high if folded.intersects(region) else 0.0


def _meets(bars: Bars, region: BaseGeometry, angles: FloatArray) -> NDArray[np.bool_]:
    met = np.asarray(shapely.intersects(region, np.asarray(shapely.polygons(bars.shapes(angles)))))
    return np.asarray(met.any(axis=0))


def _placed(bars: Bars, region: BaseGeometry, angle_deg: float) -> Touch:
    """The touch at an angle just clear of it."""
    blades = np.asarray(shapely.polygons(bars.shapes(np.array([angle_deg]))[:, 0]))
    blade = int(np.argmin(shapely.distance(region, blades)))
    at = shapely.get_coordinates(shapely.shortest_line(region, blades[blade]))[0]
    return Touch(angle_deg=angle_deg, at_mm=(float(at[0]), float(at[1])), blade=blade)


def touch_of(bars: Bars, hinge: Hinge, cuts: Sequence[Sections], profiles: Sequence[BaseGeometry] | None = None) -> Touch:
    """The widest touch of a flag over several beams, each given by its sections; profiles: of these, where they are known."""
    regions = [profile(sections, hinge, bars.width_mm) for sections in cuts] if profiles is None else profiles
    touches = [widest_touch(bars, region) for region in regions]
    worst = max(range(len(touches)), key=lambda k: touches[k].angle_deg, default=None)
    if worst is None:
        return NEVER
    touch = replace(touches[worst], most_deg=min(one.most_deg for one in touches))
    if touch.angle_deg >= touch.most_deg:
        return Touch(angle_deg=np.inf)
    return touch if touch.at_mm is None else replace(touch, where=_words(cuts[worst], hinge, bars.width_mm, touch))


def _words(sections: Sections, hinge: Hinge, width_mm: float, touch: Touch) -> str:
    """Which corner or edge of the beam is met, from the section nearest to the touch."""
    assert touch.at_mm is not None
    ahead = touch.at_mm[0]
    section = sections[min(sections, key=lambda depth: abs(depth - ahead))]
    points = shapely.get_coordinates(in_strip(section, hinge, width_mm))
    out, _ = hinge.out_and_along(points)
    left, low, right, high = section.bounds
    outermost = points[out > out.max() - EDGE_MM]
    middle = (outermost.min(axis=0) + outermost.max(axis=0)) / 2 - [(left + right) / 2, (low + high) / 2]
    share = middle / np.maximum([(right - left) / 2, (high - low) / 2], 1e-9)
    return where_in_words(float(-share[0]), float(share[1]), 0.3)
