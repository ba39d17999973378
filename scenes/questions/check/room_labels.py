"""The room at a frame's corners and edges, written on its picture."""

from __future__ import annotations

from collections.abc import Sequence

from scenes.questions.check.edge_rooms import EdgeRoom
from scenes.sheets.colours import INK, PAPER, SOFT_INK, loss_colours
from scenes.sheets.page import Box, Page, text_size_mm, wrapped
from scenes.sheets.style import BODY_PT, LABEL_PT
from scenes.verdicts.text import room_label


def write_rooms(page: Page, frame: Box, rooms: Sequence[EdgeRoom]) -> None:
    """The room at each corner and edge with the part that ends it, the least first and framed."""
    width = frame.width / 3 - 5.0
    for room in sorted(rooms, key=lambda room: not room.least):
        inset = 3.5 if room.least else 2.5
        look = {"facecolor": PAPER, "edgecolor": INK} if room.least else {"facecolor": loss_colours()(0), "edgecolor": "none"}
        plate = {**look, "linewidth": 1.2, "boxstyle": "round,pad=0.3"}
        for words in (f"{room_label(room.room_mm)}\n{wrapped(room.part, BODY_PT, width)}", room_label(room.room_mm)):
            wide, high = text_size_mm(words, BODY_PT, "bold" if room.least else "normal")
            x, y = frame.at(0.5 + 0.5 * room.right, 0.5 + 0.5 * room.up)
            place = x - room.right * (wide / 2 + inset), y - room.up * (high / 2 + inset)
            weight = "bold" if room.least else "normal"
            if page.label_free([place], words, BODY_PT, within=frame, pad_mm=0.5, weight=weight, bbox=plate, zorder=6):
                break
    if rooms:
        words = wrapped("room between the beam and the nearest part", LABEL_PT, width)
        page.label_free([frame.at(0.5, 0.5)], words, LABEL_PT, within=frame, colour=SOFT_INK)
