"""Small scenes with a design table, and what comes out of them by closed forms that share nothing with the program."""

import math

from scenes.questions.design.report import design_report
from scenes.states.load import load_scene

KNOWN = "pupil_walk = [[0, {depth}, 1, 1], [75, {depth}, 1, 1]]"  # a pupil that is known to stand still: nothing to allow for


def lens(name, focal, stop, depth, *, known=False, more=""):
    walk = KNOWN.format(depth=depth) if known else ""
    return f"""
[[lens]]
name = "{name}"
focal_mm = {focal}
f_number = {stop}
front_diameter_mm = 80
pupil_behind_front_mm = {depth}
{walk}
{more}
"""


def hood(at=20, depth=60, rear=(300, 240), front=(400, 300)):
    return f"""
[box.hood]                    # the workshop's drawing
at_mm = {at}
depth_mm = {depth}
rear_mm = [{rear[0]}, {rear[1]}]
front_mm = [{front[0]}, {front[1]}]   # free
thickness_mm = 2
"""


FREE_FRONT = """
[[design.free]]
of = "box.hood.front_mm"
from = [60, 50]
to = [420, 320]
"""


def scene(
    lenses, box, free=FREE_FRONT, design='small = ["front_area"]', more="", camera="width_mm = 36\nheight_mm = 24", mount="clamp"
):
    return f"""brimline = 1
title = "To be built"

[camera]
{camera}
pixels = [36, 24]
{lenses}
[box]
mount = "{mount}"
{box}
[check]
focus_mm = ["infinity"]
{more}
[design]
{design}
{free}
"""


def written(folder, text, name="scene.toml"):
    path = folder / name
    path.write_text(text)
    return path


def designed(folder, text):
    """The report of a scene's text."""
    return design_report(load_scene(written(folder, text)))


def half_mm(half_frame, focal, stop, depth, ahead, room_mm, grown=1.0):
    """How far an edge must stand off the axis: similar triangles from the pupil, the pupil's own half, room square to the ray."""
    slope = grown * half_frame / focal
    return slope * (depth + ahead) + focal / stop / 2 + room_mm * math.hypot(1.0, slope)


TWO_MASKS = """
[[box.mask]]
name = "mask"
at_mm = 14
opening_mm = [250, 200]
"""
FREE_MASKS = """
[[design.free]]
of = "box.mask.opening_mm"
from = [60, 50]
to = [300, 240]
[[design.free]]
of = "box.mask"
choose = [2]
"""


def asked_in_many_ways():
    """Scenes that bring out every kind of answer: a box, masks, one choice ruled out, limits that cannot hold, no room at all."""
    two = lens("20", 20, 2.0, 40) + lens("27", 27, 1.4, 60)
    places = FREE_FRONT + '[[design.free]]\nof = "box.hood.at_mm"\nchoose = [10, 20, 40]\n'
    narrow = 'small = ["front_area"]\n[design.want]\nroom_mm = 1\n[design.limits]\nwidth_mm = 236'
    yield scene(two, hood() + TWO_MASKS, FREE_FRONT + FREE_MASKS)
    yield scene(two, hood())
    yield scene(two, hood(rear=(160, 120)), places)
    yield scene(two, hood(rear=(170, 120)), design=narrow)
    yield scene(two, hood(rear=(60, 50)))
