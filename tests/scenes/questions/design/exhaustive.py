"""The smallest hood and mask by plain geometry and a grid that is searched to the end: shares nothing with the program.

A pupil is a disc of half f/N, square to the axis; a pencil of a distant point is a parallel cylinder about its chief ray.
"""

import numpy as np

STEP_MM = 0.5
WIDER_MM = 26.0
EDGE, RIM, CUT = 9, 12, 60


def least_hood_mm(focal, stop, depth, *, at, long, rear, room_mm):
    """Least front width and height of a hood: each pair of walls by itself, every width of the grid tried."""
    return tuple(
        _least_front(half / focal, focal / stop / 2, depth, at, long, back / 2, room_mm)
        for half, back in zip((18.0, 12.0), rear, strict=True)
    )


def _least_front(slope, radius, depth, at, long, back, room_mm):
    fronts = np.arange(60.0, 460.0, STEP_MM)
    clear = [front for front in fronts if _wall_room(slope, radius, depth, at, long, back, front / 2) >= room_mm]
    assert clear, "the rear edge alone stands in the way"
    return min(clear)


def _wall_room(slope, radius, depth, at, long, back, front):
    """Room [mm] of a straight wall from (at, back) to (at + long, front) beside the ray that runs outermost; below 0 inside it."""
    z = np.linspace(at, at + long, 400)
    wall = back + (front - back) * (z - at) / long
    ray = slope * (z + depth) + radius
    return float(((wall - ray) / np.hypot(1.0, slope)).min())


def least_mask_mm(focal, stop, depth, *, at, corner, room_mm, spans):
    """Width and height of the mask with the least sum of shares of their spans, over a grid from the bare beam's size on."""
    bare = [2 * (half / focal * (at + depth) + focal / stop / 2) for half in (18.0, 12.0)]
    rays = _rays(focal, focal / stop / 2, depth)
    grids = [np.arange(np.ceil(size / STEP_MM) * STEP_MM, size + WIDER_MM, STEP_MM) for size in bare]
    clear = [(w, h) for w in grids[0] for h in grids[1] if _mask_room(rays, at, w, h, corner) >= room_mm]
    return min(clear, key=lambda size: sum((side - low) / (high - low) for side, (low, high) in zip(size, spans, strict=True)))


def _rays(focal, radius, depth):
    """Starts on the pupil's rim and slopes of the rays of the frame's edge, one quarter of it."""
    edge = np.concatenate([[(18.0, y) for y in np.linspace(0, 12, EDGE)], [(x, 12.0) for x in np.linspace(0, 18, EDGE)]])
    turn = np.linspace(0, 2 * np.pi, RIM, endpoint=False)
    start = radius * np.column_stack([np.cos(turn), np.sin(turn)])
    starts = np.repeat(start[None], len(edge), axis=0).reshape(-1, 2)
    return starts, np.repeat(edge / focal, RIM, axis=0), depth


def _mask_room(rays, at, width, height, corner):
    """Least distance [mm] of the rays from the edge of the opening, minus infinity where one misses the opening."""
    starts, slopes, depth = rays
    points = starts + slopes * (at + depth)
    half = np.array([width, height]) / 2 - corner
    beyond = np.maximum(np.abs(points) - half, 0.0)
    inside = (np.hypot(*beyond.T) <= corner) & (np.abs(points) <= half + corner).all(axis=1)
    if not inside.all():
        return -np.inf
    rim = _quarter(width / 2, height / 2, corner)
    across = points[:, None] - rim[None]
    along = (across * slopes[:, None]).sum(axis=2) / (1 + (slopes**2).sum(axis=1))[:, None]
    return float(np.sqrt(np.maximum((across**2).sum(axis=2) - along**2 * (1 + (slopes**2).sum(axis=1))[:, None], 0.0)).min())


def _quarter(half_w, half_h, corner):
    """Points of a quarter of a rounded opening's edge."""
    turn = np.linspace(0, np.pi / 2, CUT // 2)
    bend = np.column_stack([half_w - corner + corner * np.cos(turn), half_h - corner + corner * np.sin(turn)])
    up = np.column_stack([np.full(CUT // 4, half_w), np.linspace(0, half_h - corner, CUT // 4)])
    side = np.column_stack([np.linspace(0, half_w - corner, CUT // 4), np.full(CUT // 4, half_h)])
    return np.vstack([up, bend, side])
