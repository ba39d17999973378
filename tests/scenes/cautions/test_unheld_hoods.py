"""Hoods that nothing holds are told: by the sizes of plate and trays, and by where they begin; sums of sizes by hand."""

import pytest

from scenes.cautions.box_slips import slip_notes
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.tables.scene import box_for

SCENE = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 114
pupil_behind_front_mm = 40
[box]
ahead_mm = 4
back = { width_mm = 200, height_mm = 160, bore_mm = 130 }
[[box.stage]]
name = "tray"
at_mm = 10
depth_mm = 8
opening_mm = [138, 97]
filter = { size = "4x5.65" }
[[box.mask]]
name = "mask"
at_mm = 18
opening_mm = [146, 104]
[box.hood]
at_mm = 20
depth_mm = 70
rear_mm = [170, 120]
front_mm = [250, 170]
"""


def told(text):
    scene = parse_scene(text, source="s.toml")
    return [note.text for lens in scene.lens for note in slip_notes(box_for(scene, lens), lens) if note.part == "hood"]


def changed(*pairs):
    text = SCENE
    for right, wrong in pairs:
        assert right in text
        text = text.replace(right, wrong)
    return told(text)


@pytest.mark.parametrize(
    ("rear", "words"),
    [
        ([170, 120], ""),
        ([200, 160], ""),  # as large as the plate: it stands on its edge
        ([215, 120], ""),  # a little wider, and held above and below
        ([264, 220], "rear_mm = [264, 220] is larger inside than all that could hold it, 200 x 160 mm outside"),
        ([264, 120], "rear_mm = [264, 120] is wider inside than all that could hold it, 200 x 160 mm outside"),
        ([170, 212], "rear_mm = [170, 212] is higher inside than all that could hold it, 200 x 160 mm outside"),
    ],
)
def test_a_hood_whose_rear_is_larger_than_all_that_could_hold_it_is_told(rear, words):
    texts = changed(("rear_mm = [170, 120]\nfront_mm = [250, 170]", f"rear_mm = {rear}\nfront_mm = {[side + 60 for side in rear]}"))
    assert [words in text for text in texts] == ([True] if words else [])


def test_a_tray_or_mask_that_is_as_large_outside_holds_a_hood_larger_than_the_plate():
    wide = ("rear_mm = [170, 120]\nfront_mm = [250, 170]", "rear_mm = [230, 190]\nfront_mm = [300, 240]")
    assert len(changed(wide)) == 1
    assert changed(wide, ("[146, 104]", "[146, 104]\nouter_mm = [240, 200]")) == []


def test_a_hood_in_a_box_without_a_back_plate_is_not_told_so():
    wide = ("rear_mm = [170, 120]\nfront_mm = [250, 170]", "rear_mm = [264, 220]\nfront_mm = [350, 290]")
    assert changed(wide, ("back = { width_mm = 200, height_mm = 160, bore_mm = 130 }\n", "")) == []


@pytest.mark.parametrize("at_mm", [18, 20, 30])
def test_a_hood_that_begins_at_the_front_of_the_trays_or_ahead_of_it_is_not_told(at_mm):
    assert changed(("at_mm = 20\n", f"at_mm = {at_mm}\n")) == []


def test_a_hood_that_begins_behind_a_tray_which_has_no_outside_is_told():
    (text,) = changed(("at_mm = 20\n", "at_mm = 6\n"))
    assert 'at_mm = 6 begins it behind the front of "tray", at 18 mm: no filter slides into a tray inside a hood' in text


def test_a_tray_whose_outside_is_given_may_stand_in_a_hood():
    assert changed(("at_mm = 20\n", "at_mm = 6\n"), ("[138, 97]", "[138, 97]\nouter_mm = [156, 112]")) == []


def test_a_tray_takes_up_its_glass_and_a_rim_so_that_a_hood_as_wide_as_the_glass_does_not_go_round_it():
    """4 x 5.65 in glass is 101.6 mm by 143.5 (catalogues round 5.65 in to it); with 1 mm of rim on each side 145.5 x 103.6."""
    narrow = ("rear_mm = [170, 120]\nfront_mm = [250, 170]", "rear_mm = [144, 120]\nfront_mm = [210, 170]")
    (text,) = changed(("at_mm = 20\n", "at_mm = 10\n"), narrow)
    assert "takes up at least 145.5 x 103.6 mm where the hood is 144 x 120 mm inside" in text


def test_a_mask_stands_in_a_hood_unless_its_opening_is_as_wide_as_the_hood_there():
    """At 40 mm the hood is 170 + 80 (40 - 20) / 70 = 192.9 mm wide inside."""
    for opening, is_told in (("[150, 104]", False), ("[194, 104]", True)):
        texts = changed(("at_mm = 18\nopening_mm = [146, 104]", f"at_mm = 40\nopening_mm = {opening}"))
        assert [("takes up at least 196 x 106 mm" in text) for text in texts] == ([True] if is_told else [])
