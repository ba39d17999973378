"""Lamps that flags go through, masks that mask nothing, safe areas, designs and [make] against the box: only slips are told.

Places by hand: a flag hinged 95 mm up and 76 mm ahead (4 + 12 + 60), set to 60 degrees, runs 105 mm ahead at a height of
95 + 29 tan 60 = 145 mm. Where rods run is the catalogue's; their holes are counted from the plate's middle.
"""

import pytest

from geometry.notes import Severity
from scenes.scene_file.catalogue import rods
from scenes.scene_file.parse import parse_scene
from scenes.states.state import states_of

HEAD = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
pixels = [60, 40]
{guides}
[[lens]]
name = "21"
focal_mm = 21
f_number = 2.8
front_diameter_mm = 114
front_to_sensor_mm = 160
pupil_behind_front_mm = 40
close_focus_mm = 700
{lens}
[check]
focus_mm = ["infinity"]
"""
BOX = """
[box]
mount = "rods-15-wide"
ahead_mm = 4
[box.back]
width_mm = 190
height_mm = 160
bore_mm = 130
[box.seal]
kind = "bellows"
"""
HOOD = """
[box.hood]
at_mm = 12
depth_mm = 60
rear_mm = [150, 110]
front_mm = [260, 190]
"""
FLAG = '[[box.flag]]\nname = "top flag"\nside = "top"\nangle_deg = {angle}\nlength_mm = 110\nwidth_mm = 250\n'
LAMP = '[[light]]\nname = "practical"\nposition_mm = [{place}]\nsize_mm = 60\n'
FREE = '[[design.free]]\nof = "{of}"\nfrom = {low}\nto = {high}\n'


def told(*tables, guides="", lens="", box=BOX):
    """The cautions of a scene, by part and words."""
    text = HEAD.format(guides=guides, lens=lens) + box + "".join(tables)
    (state, *_) = states_of(parse_scene(text, source="s.toml"))
    return {note.part: note.text for note in state.notes if note.severity is Severity.CAUTION and note.may_be_slip}


@pytest.mark.parametrize(
    ("angle", "place", "is_told"),
    [
        (60, "0, 145, 105", True),
        (12, "0, 145, 105", False),
        (60, "0, 185, 105", False),  # above the flag: 40 mm up are 20 mm square to it, where the lamp's core is 15 mm
        (60, "160, 145, 105", False),  # beside it
    ],
)
def test_a_lamp_that_a_flag_goes_through_as_it_is_set_is_told(angle, place, is_told):
    words = told(HOOD, FLAG.format(angle=angle), LAMP.format(place=place)).get("practical", "")
    assert ('"top flag" goes through it, set to angle_deg = 60' in words) == is_told
    assert bool(words) == is_told


def test_a_lamp_that_an_extension_or_a_hood_wall_goes_through_is_told_once():
    longer = FLAG.format(angle=12) + "extension = { length_mm = 60, angle_deg = 78 }\n"
    assert "extension" in told(HOOD, longer, LAMP.format(place="0, 140, 184"))["practical"]
    assert "goes through" not in told(HOOD, LAMP.format(place="0, 0, 50"))["practical"]  # in the box: told as that


@pytest.mark.parametrize(
    ("at", "opening", "is_told"),
    [
        (20, "180, 130", True),
        (20, "108, 78", False),
        (20, "150, 105", False),  # a little wider, as the beam is there
        (20, "180, 90", False),  # masks above and below
        (6, "180, 130", True),
        (60, "180, 130", False),
    ],
)
def test_a_mask_wider_than_the_tray_next_to_it_is_told(at, opening, is_told):
    tray = '[[box.stage]]\nname = "tray"\nat_mm = 8\ndepth_mm = 10\nopening_mm = [138, 97]\nfilter = { size = "4x5.65" }\n'
    words = told(tray, f'[[box.mask]]\nname = "mask"\nat_mm = {at}\nopening_mm = [{opening}]\n').get("mask", "")
    assert ('wider and higher than that of "tray", 138 x 97 mm' in words) == is_told


@pytest.mark.parametrize(
    ("guides", "is_told"),
    [
        ([("extraction", 1.5, 0.95), ("title safe", 1.5, 0.8)], False),
        ([("extraction", 1.5, 0.59), ("title safe", 1.5, 0.8)], True),
        ([("action safe", 1.5, 0.8), ("title safe", 1.5, 0.9)], True),
        ([("action safe", 1.5, 0.9), ("title safe", 1.5, 0.8)], False),
        ([("2.39", 2.39, 0.8), ("4:3 safe", 1.3333, 0.8)], False),  # higher, but not wider: what is kept for another screen
        ([("extraction", 1.5, 0.8), ("safety", 1.5, 0.9)], False),  # room beside the picture
        ([("title safe", 1.5, 0.9)], False),
    ],
)
def test_a_safe_area_larger_than_all_that_it_may_lie_in_is_told(guides, is_told):
    tables = "".join(f'[[camera.guide]]\nname = "{name}"\naspect = {aspect}\nscale = {scale}\n' for name, aspect, scale in guides)
    assert ("a safe area lies inside" in told(guides=tables).get("camera", "")) == is_told


@pytest.mark.parametrize(("angle", "is_told"), [(18, False), (40, False), (81, True)])
def test_a_part_set_outside_of_what_the_design_may_set_is_told(angle, is_told):
    words = told(HOOD, FLAG.format(angle=angle), FREE.format(of="box.flag[top flag].angle_deg", low=10, high=40)).get("design", "")
    assert ("is set to 81 deg, outside of 10 to 40 of its [[design.free]]" in words) == is_told


@pytest.mark.parametrize(
    ("limit", "free", "is_told"),
    [
        (300, FREE.format(of="box.hood.depth_mm", low=20, high=60), False),
        (220, FREE.format(of="box.hood.depth_mm", low=20, high=60), True),
        (
            220,
            FREE.format(of="box.hood.front_mm.width", low=200, high=300) + FREE.format(of="box.back.width_mm", low=200, high=300),
            False,
        ),
    ],
)
def test_a_limit_that_nothing_free_can_keep_is_told(limit, free, is_told):
    words = told(HOOD, "[design]\n", f"limits = {{ width_mm = {limit} }}\n", free).get("design", "")
    assert ("no [[design.free]] sets that" in words) == is_told


@pytest.mark.parametrize(("off_mm", "diameter_mm", "is_told"), [(0, 15.2, False), (22.5, 15.2, True), (22.5, 6, False)])
def test_holes_for_rods_where_no_rod_goes_are_told_and_bolts_are_not(off_mm, diameter_mm, is_told):
    spec = rods()["rods-15-wide"]
    holes = [
        f"[[make.hole]]\nat_mm = [{sign * spec.spacing_mm / 2}, {off_mm - spec.drop_mm}]\ndiameter_mm = {diameter_mm}\n"
        for sign in (-1, 1)
    ]
    larger = BOX.replace("width_mm = 190\nheight_mm = 160", "width_mm = 260\nheight_mm = 250")
    words = told(HOOD, "[make]\n", *holes, box=larger).get("make", "")
    assert ("is for rods of 15 mm, and the left rod meets the plate at" in words) == is_told


@pytest.mark.parametrize(("sheet", "is_told"), [("300, 280", False), ("240, 230", True)])
def test_a_stated_sheet_that_an_edge_does_not_fit_is_told(sheet, is_told):
    words = told(HOOD, f'[make]\njoint = "panels"\nsheet_mm = [{sheet}]\n').get("make", "")
    assert ("an edge of" in words) == is_told


@pytest.mark.parametrize(("ahead_mm", "is_told"), [(25, False), (2.5, True)])
def test_a_tolerance_that_puts_a_tray_into_the_barrel_is_told(ahead_mm, is_told):
    """From 2.5 - 12 + 5 = -4.5 mm on."""
    tray = '[[box.stage]]\nname = "tray"\nat_mm = 5\ndepth_mm = 8\nopening_mm = [112, 84]\n'
    text = HEAD.format(guides="", lens="") + BOX.replace("ahead_mm = 4", f"ahead_mm = {ahead_mm}") + tray
    text += '[[tolerance]]\nof = "box.ahead_mm"\nplus_minus = 12\n'
    (state, *_) = states_of(parse_scene(text, source="s.toml"))
    words = [note.text for note in state.notes if note.part == "tolerance"]
    assert ["tray reaches 4.5 mm behind the lens front rim" in text for text in words] == [True] * is_told


@pytest.mark.parametrize(("projection", "asked"), [("rectilinear", False), ("equidistant", True)])
def test_a_short_wide_hood_is_asked_for_softly_before_a_fisheye(projection, asked):
    hood = "[box.hood]\nat_mm = 12\ndepth_mm = 14\nrear_mm = [150, 110]\nfront_mm = [201, 161]\n"
    words = told(hood, lens=f'projection = "{projection}"')["hood"]
    assert "walls flare 61 deg" in words
    assert ("right where a lens sees as far to the side" in words) == asked
