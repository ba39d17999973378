"""Flat pictures of a run, each a function from results to a figure: nothing here opens, saves or shows anything."""

from scenes.figure_map import map_figure
from scenes.figure_section import SectionLens, SectionRay, section_figure
from scenes.figure_sheet import SheetEntry, contact_sheet
from scenes.figure_style import badge_of, figure_png, part_colour, stops_label

__all__ = [
    "SectionLens",
    "SectionRay",
    "SheetEntry",
    "badge_of",
    "contact_sheet",
    "figure_png",
    "map_figure",
    "part_colour",
    "section_figure",
    "stops_label",
]
