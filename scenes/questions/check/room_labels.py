"""The room at a guide's corners and edges, written inside it on its picture."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from scenes.questions.check.edge_rooms import EdgeRoom
from scenes.sheets.colours import INK, PAPER, SOFT_INK, loss_colours
from scenes.sheets.page import Box, Page, text_size_mm, wrapped
from scenes.sheets.pieces import to_page
from scenes.sheets.style import BODY_PT, LABEL_PT
from scenes.verdicts.text import room_label

LEAST_WIDTH_MM = 14.0  # a part's name is not folded narrower


def write_rooms(page: Page, axes: Axes, frame: Box, rooms: Sequence[EdgeRoom]) -> None:
    """The room at each corner and edge of its guide with the part that ends it, the least first and framed."""
    if not rooms:
        return
    inside = _guide_box(axes, frame, rooms)
    width = max(inside.width / 3 - 5.0, LEAST_WIDTH_MM)
    for room in sorted(rooms, key=lambda room: not room.least):
        inset = 3.5 if room.least else 2.5
        look = {"facecolor": PAPER, "edgecolor": INK} if room.least else {"facecolor": loss_colours()(0), "edgecolor": "none"}
        plate = {**look, "linewidth": 1.2, "boxstyle": "round,pad=0.3"}
        for words in (f"{room_label(room.room_mm)}\n{wrapped(room.part, BODY_PT, width)}", room_label(room.room_mm)):
            wide, high = text_size_mm(words, BODY_PT, "bold" if room.least else "normal")
            x, y = inside.at(0.5 + 0.5 * room.right, 0.5 + 0.5 * room.up)
            place = x - room.right * (wide / 2 + inset), y - room.up * (high / 2 + inset)
            weight = "bold" if room.least else "normal"
            if page.label_free([place], words, BODY_PT, within=frame, pad_mm=0.5, weight=weight, bbox=plate, zorder=6):
                break
    words = wrapped("room between the beam and the nearest part", LABEL_PT, width)
    page.label_free([inside.at(0.5, 0.5)], words, LABEL_PT, within=frame, colour=SOFT_INK)


def _guide_box(axes: Axes, frame: Box, rooms: Sequence[EdgeRoom]) -> Box:
    """Where the guide that the rooms are of lies on the sheet, as far as the picture shows it [mm]."""
    places = to_page(axes, frame, np.array([room.picture_mm for room in rooms]))
    low, high = (np.clip(some, (frame.left, frame.bottom), (frame.right, frame.top)) for some in (places.min(0), places.max(0)))
    return Box(float(low[0]), float(low[1]), float(high[0]), float(high[1]))
