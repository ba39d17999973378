"""Names that crews give parts and guides, against what the scene says of them: each slip is told, the right scene is not."""

import pytest
import shapely

from geometry.notes import Severity
from scenes.cautions.named_numbers import plain_name
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import DrawnOutline, Resources
from scenes.states.state import states_of

SCENE = """
brimline = 1
[camera]
format = "36x24"
[[camera.guide]]
name = "open gate"
aspect = 1.5
[[camera.guide]]
name = "safe 90 percent"
aspect = 1.5
scale = 0.9
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 94
pupil_behind_front_mm = 40
[[lens]]
name = "25 macro"
focal_mm = 25
f_number = 2.8
front_diameter_mm = 94
pupil_behind_front_mm = 48
[box]
ahead_mm = 4
[box.back]
width_mm = 190
height_mm = 160
bore_mm = 110
[[box.stage]]
name = "rear tray"
at_mm = 8
depth_mm = 8
opening_mm = [150, 120]
[[box.stage]]
name = "front tray"
at_mm = 18
depth_mm = 8
opening_mm = [150, 120]
[[box.mask]]
name = "mask 25 140x100"
at_mm = 28
opening_mm = [140, 100]
lenses = ["25"]
[[box.mask]]
name = "mask 25 macro"
at_mm = 28
opening_mm = [140, 101]
lenses = ["25 macro"]
[box.hood]
at_mm = 32
depth_mm = 60
rear_mm = [170, 120]
front_mm = [250, 170]
[[box.flag]]
name = "right flag 60 deg"
side = "right"
angle_deg = 60
length_mm = 80
width_mm = 170
"""
SLIPS = {
    "list of another lens": ('lenses = ["25"]', 'lenses = ["25 macro"]', "CAUTION", 'has the name of the lens "25", which its'),
    "flag on the other side": ('side = "right"', 'side = "left"', "CAUTION", 'side = "left" speaks against its name'),
    "trays the other way about": (
        "at_mm = 18", "at_mm = 2", "CAUTION", 'at_mm = 2 stands behind "rear tray" at 8; are the two swapped?'
    ),
    "open gate that is not": (
        "aspect = 1.5\n[[camera.guide]]", "aspect = 2.39\n[[camera.guide]]", "FAULT", "100 % of the width and 63 % of the height"
    ),
    "size": ("opening_mm = [140, 100]", "opening_mm = [170, 122]", "CAUTION", "opening_mm = [170, 122] speaks against its name"),
    "angle": ("angle_deg = 60", "angle_deg = 90", "CAUTION", "angle_deg = 90 speaks against its name"),
    "percent": ("scale = 0.9", "scale = 0.59", "FAULT", 'scale = 0.59 speaks against the name of its guide "safe 90 percent"'),
}  # fmt: skip


def told(text, severity, **drawings):
    outlines = {f"{name}.dxf": DrawnOutline(shapely.box(-w / 2, -h / 2, w / 2, h / 2)) for name, (w, h) in drawings.items()}
    states = states_of(parse_scene(text, source="s.toml"), Resources(outlines=outlines))
    return {note.text for state in states for note in state.notes if note.severity is severity}


@pytest.mark.parametrize(
    ("right", "wrong", "words"),
    [
        ('name = "front tray"', 'name = "4x4 tray"', "opening_mm = [150, 120] is larger than the glass of its name, 4x4, 101.6"),
        ('name = "front tray"', 'name = "6.6x6.6 tray"', None),
        (
            'opening_mm = [150, 120]\n[[box.mask]]\nname = "mask 25 140',
            'opening_mm = [90, 90]\nfilter = { name = "4x4 clear", size = "6.6x6.6" }\n[[box.mask]]\nname = "mask 25 140',
            "its filter of 167.6 x 167.6 mm is larger than its name says, 4x4, 101.6 x 101.6 mm",
        ),
        (
            'opening_mm = [150, 120]\n[[box.mask]]\nname = "mask 25 140',
            'opening_mm = [90, 90]\nfilter = { name = "4x4 clear", size = "4x4" }\n[[box.mask]]\nname = "mask 25 140',
            None,
        ),
        ("scale = 0.9", "scale = 0.9\n[[camera.guide]]\nname = 'protection'\naspect = 1.5\nscale = 0.5",
         'scale = 0.5 makes its guide "protection" smaller than "open gate"'),
        ("scale = 0.9", "scale = 0.9\n[[camera.guide]]\nname = 'protection'\naspect = 1.5\nscale = 1", None),
        ("bore_mm = 110\n", "bore_mm = 110\n[box.seal]\nkind = 'donut'\n", None),
        ("[box]\nahead_mm = 4\n", "[box]\nahead_mm = -60\n", "ahead_mm = -60 puts the back plate 60 mm behind the lens front"),
        ("[box]\nahead_mm = 4\n", "[box]\nahead_mm = 4\ntilt_deg = -10\nseal = { kind = 'ring' }\n",
         "tilt_deg = -10 leans a ring of 94 mm round front_diameter_mm = 94"),
        ("[box]\nahead_mm = 4\n", "[box]\nahead_mm = 4\ntilt_deg = -3\nseal = { kind = 'ring' }\n", None),
        ("[box]\nahead_mm = 4\n", "[box]\nahead_mm = 4\nseal = { kind = 'ring', inner_mm = 78 }\n",
         "inner_mm = 78 of a rigid ring does not go over front_diameter_mm = 94"),
        ("[box]\nahead_mm = 4\n", "[box]\nahead_mm = 4\ntilt_deg = -10\nseal = { kind = 'donut' }\n", None),
        ("[box]\nahead_mm = 4\n", "[box]\nahead_mm = 4\noffset_mm = [3, 14]\nseal = { kind = 'donut' }\n",
         "offset_mm = [3, 14] moves it 14.3 mm off the lens axis, farther than the 8.0 mm that bore_mm of 110 mm round"),
        ("[box]\nahead_mm = 4\n", "[box]\nahead_mm = 4\noffset_mm = [0, 7]\nseal = { kind = 'ring' }\n",
         "moves it 7.0 mm off the lens axis, farther than the 0.0 mm that a ring of 94 mm round"),
        ("[box]\nahead_mm = 4\n", "[box]\nahead_mm = 4\noffset_mm = [3, 7]\nseal = { kind = 'donut' }\n", None),
    ],
)  # fmt: skip
def test_glass_guides_and_bores_that_do_not_fit_what_they_are_for_are_told(right, wrong, words):
    """Inches are 25.4 mm; (110 - 94) / 2 mm of play; 3 right and 14 up is 14.3 mm off, by Pythagoras."""
    assert SCENE.count(right) == 1
    found = told(SCENE.replace(right, wrong), Severity.CAUTION) - told(SCENE, Severity.CAUTION)
    assert any(words in text for text in found) if words else not found


@pytest.mark.parametrize(("right", "wrong", "severity", "words"), SLIPS.values(), ids=SLIPS.keys())
def test_a_name_that_speaks_against_the_scene_is_told(right, wrong, severity, words):
    """36 / 2.39 mm of 24 mm high is 63 %."""
    assert SCENE.count(right) == 1
    assert not any(words in text for kind in Severity for text in told(SCENE, kind))
    assert any(words in text for text in told(SCENE.replace(right, wrong), Severity[severity]))


def test_names_that_fit_are_not_doubted():
    assert told(SCENE, Severity.FAULT) == set()
    assert not any("its name" in text or "swapped" in text for text in told(SCENE, Severity.CAUTION))


def test_a_lens_copied_from_another_with_its_focal_length_alone_changed_is_told():
    measures = "f_number = 2.0\nfront_to_sensor_mm = 150\nclose_focus_mm = 400\n"
    copied = SCENE.replace("f_number = 2.0\n", measures).replace("f_number = 2.8\n", measures)
    copied = copied.replace('name = "25 macro"\nfocal_mm = 25', 'name = "25 macro"\nfocal_mm = 21')
    assert not any("was it copied" in text for text in told(copied, Severity.CAUTION))
    slipped = copied.replace("pupil_behind_front_mm = 48", "pupil_behind_front_mm = 40")
    assert any('close_focus_mm of "25", at another focal length; was it copied' in text for text in told(slipped, Severity.CAUTION))


def test_a_fisheye_that_keeps_lines_straight_and_an_anamorphic_format_without_a_squeeze_are_told():
    fisheye = SCENE.replace('name = "25 macro"', 'name = "25 fisheye"').replace('"25 macro"', '"25 fisheye"')
    assert any('projection = "rectilinear" speaks against its name' in text for text in told(fisheye, Severity.CAUTION))
    right = fisheye.replace("f_number = 2.8", 'f_number = 2.8\nprojection = "equidistant"')
    assert not any("speaks against its name" in text for text in told(right, Severity.CAUTION))
    format_ = SCENE.replace('format = "36x24"', 'format = "anamorphic-35-4perf"')
    assert any("is for anamorphic lenses, and no lens has a squeeze" in text for text in told(format_, Severity.CAUTION))


@pytest.mark.parametrize(
    ("name", "plainly"),
    [
        ("zoom_28_45", "zoom 28-45"),
        ("28\u201345", "28-45"),
        ("mask_90\u00d760", "mask 90x60"),
        ("AX_50_1.8x", "AX 50 1.8x"),
        ("2,39:1", "2.39:1"),
        ("mask 35,50", "mask 35 50"),
        ("prime21", "prime 21"),
        ("B28", "B28"),
        ("50 f1.4 2x", "50 f1.4 2x"),
        ("lens10", "lens10"),
        ("Lens 3 (21)", "Lens 3 21"),
        ("set B.21", "set B 21"),
        ("2024_11_21", "2024 11 21"),
    ],
)
def test_a_name_is_made_plain_before_it_is_matched(name, plainly):
    assert plain_name(name) == plainly


TRAY, HOOD, FLAG = 'name = "rear tray"', "[box.hood]\n", 'name = "right flag 60 deg"\nside = "right"'
MASK = 'name = "mask 25 140x100"\nat_mm = 28\nopening_mm = [140, 100]'
MACRO = 'name = "mask 25 macro"\nat_mm = 28\nopening_mm = [140, 101]'
OF_25, OF_MACRO = f'{MASK}\nlenses = ["25"]', f'{MASK}\nlenses = ["25 macro"]'
NAMES = {  # what is put in place of what, part of the sentence; None where nothing is to be said
    "underscore lens": (OF_25, OF_MACRO.replace("mask 25 140x100", "mask_25"), "lists"),
    "mm before": (OF_25, OF_MACRO.replace("mask 25 140x100", "25mm mask"), "lists"),
    "mask letter": (OF_25, OF_MACRO.replace("mask 25 140x100", "M25"), "lists"),
    "flag": (FLAG, 'name = "25mm flag"\nside = "right"\nlenses = ["25 macro"]', "lists"),
    "thick flag": (FLAG, 'name = "25mm flag"\nside = "right"\nthickness_mm = 25\nlenses = ["25 macro"]', None),
    "other size": (MASK, MASK.replace("mask 25 140x100", "mask_25_100x80"), "speaks against its name, 100 x 80"),
    "limit size": (MASK, MASK.replace("mask 25 140x100", "mask 25, max 170x120"), None),
    "recorded area": (MASK, MASK.replace("mask 25 140x100", "mask 25 36x24"), None),
    "inches": (MASK, MASK.replace("mask 25 140x100", "mask 25, 4x5.65"), None),
    "one of three": (MASK, MASK.replace("mask 25 140x100", "mask 2 of 3"), None),
    "tray": (TRAY, 'name = "rear tray 90 x 60"', "opening_mm = [150, 120] speaks against its name, 90 x 60"),
    "tray turned": (TRAY, 'name = "rear tray 120x150"', None),
    "tray by its glass": (TRAY, 'name = "rear tray 170x170"', None),
    "tray in inches": (TRAY, 'name = "6.6x6.6 rear tray"', None),
    "hood": (HOOD, HOOD + 'name = "hood, front 200 by 150"\n', "front_mm = [250, 170] speak against its name, 200 x 150"),
    "hood by its rear": (HOOD, HOOD + 'name = "hood 170x120"\n', None),
    "hood by its outside": (HOOD, HOOD + 'name = "hood 253x173"\n', None),
    "French flag": (FLAG, 'name = "French flag"\nside = "right"', "which means top"),
    "eyebrow": (FLAG, 'name = "eyebrow_2"\nside = "right"', "which means top"),
    "siders": (FLAG, 'name = "siders"\nside = "top"', "which means left or right"),
    "side flag": (FLAG, 'name = "side-flag A"\nside = "bottom"', "which means left or right"),
    "left French flag": (FLAG, 'name = "French flag, right"\nside = "right"', None),
    "sider": (FLAG, 'name = "sider"\nside = "right"', None),
    "underscore angle": (FLAG, 'name = "right_flag_20deg"\nside = "right"', "angle_deg = 60 speaks against its name, 20 deg"),
    "in": (FLAG, 'name = "flag, 60 deg in"\nside = "right"', "angle_deg = 60 speaks against its name, -60 deg"),
    "out": (FLAG, 'name = "flag, 60 deg out"\nside = "right"', None),
    "way not told": (FLAG, 'name = "flag 60 deg below level"\nside = "right"', None),
    "limit": (FLAG, 'name = "right flag, max 90 deg"\nside = "right"', None),
    "limit after": (FLAG, 'name = "right flag 90\u00b0 max"\nside = "right"', None),
    "range": (FLAG, 'name = "right flag from 20 to 80 deg"\nside = "right"', None),
    "bare range": (FLAG, 'name = "right flag 20-80 deg"\nside = "right"', None),
    "rods": (FLAG, 'name = "flag on 15 mm rods"\nside = "right"', None),
    "screw": (FLAG, 'name = "M3 plate"\nside = "right"', None),
}  # fmt: skip


@pytest.mark.parametrize(("right", "wrong", "words"), NAMES.values(), ids=NAMES.keys())
def test_names_of_parts_are_read_as_crews_write_them(right, wrong, words):
    assert SCENE.count(right) == 1
    found = told(SCENE.replace(right, wrong), Severity.CAUTION)
    doubts = {text for text in found if "its name" in text or "lists swapped" in text}
    assert any(words in text for text in doubts) if words else not doubts


@pytest.mark.parametrize(
    ("name", "lens", "of_take"),
    [
        ("mask 25 take 21", "21", True),
        ("mask 25, 90 x 60", "60", True),
        ("mask 25 super 35", "35", True),
        ("mask 21", "21", False),
        ("mask S35", "S35", False),
        ("mask 40 2x 140x100", "40 2x", False),
    ],
)
def test_numbers_that_are_no_lenses_are_not_held_against_lists(name, lens, of_take):
    """Takes, sizes and film backs have numbers, as lenses do."""
    scene = SCENE.replace("mask 25 140x100", name).replace('"25 macro"\nfocal_mm = 25', f'"{lens}"\nfocal_mm = 25')
    scene = scene.replace('lenses = ["25 macro"]', f'lenses = ["{lens}"]')
    assert any(f'has the name of the lens "{lens}"' in text for text in told(scene, Severity.CAUTION)) != of_take


def drawn(file, size, name="mask 25", twin=None):
    text = SCENE.replace(MASK, f'name = "{name}"\nat_mm = 28\noutline = "{file}.dxf"')
    if twin is not None:
        text = text.replace(MACRO, MACRO.replace("opening_mm = [140, 101]", f'outline = "{twin}.dxf"'))
    sizes = dict.fromkeys([file, twin or file], size)
    return {text for text in told(text, Severity.CAUTION, **sizes) if "its name" in text or text.startswith("outline")}


@pytest.mark.parametrize(
    ("file", "size", "name", "twin", "words"),
    [
        ("cut", (140, 100), "mask 25 100x80", None, "drawn opening of 140 x 100 mm speaks against its name, 100 x 80"),
        ("m88x62", (172, 120), "mask 25", None, 'outline = "m88x62.dxf" draws 172 x 120 mm, larger than its name, 88 x 62'),
        ("m25_macro", (140, 100), "mask 25", None, 'has the name of the lens "25 macro", but is for "25"'),
        ("mask21", (140, 100), "mask 25", None, 'outline = "mask21.dxf" has 21 where its name has 25'),
        ("cut", (140, 100), "mask 25", "cut", 'outline = "cut.dxf" is also that of "mask 25 macro", which is for another lens'),
        ("m140x100", (140, 100), "mask 25", None, None),
        ("blank-170x130", (140, 100), "mask 25", None, None),  # the plate that it is cut from
        ("m25", (140, 100), "mask 25", "m25_macro", None),
        ("mask-25-r30-v21", (140, 100), "mask 25", None, None),
        ("2026-11-21 cut", (140, 100), "mask 25", None, None),
        ("m6044", (60, 44), "mask 25", None, None),
    ],
)
def test_a_drawing_of_another_size_or_lens_than_names_say_is_told(file, size, name, twin, words):
    found = drawn(file, size, name, twin)
    assert any(words in text for text in found) if words else not found


GUIDE = 'name = "safe 90 percent"\naspect = 1.5\nscale = 0.9'
GUIDES = [
    ("2,39:1", 2.93, 1.0, "aspect = 2.93 speaks"),
    ("2,39:1", 2.39, 1.0, None),
    ("square", 2.39, 1.0, "aspect = 2.39 speaks"),
    ("square pixels", 2.39, 1.0, None),
    ("square", 1.0, 0.9, None),
    ("5700x3800", 1.78, 1.0, "aspect = 1.78 speaks"),
    ("5700x3800", 1.5, 0.59, "keeps 3540 pixels across of 6000"),
    ("5700x3800", 1.5, 0.95, None),
    ("3840x2160", 1.78, 0.5, None),  # as delivered: enlarged from fewer pixels
    ("90 pct safe", 1.5, 0.5, "scale = 0.5 speaks"),
    ("safe 90", 1.5, 0.5, "scale = 0.5 speaks"),
    ("title_safe_80", 1.5, 0.5, "scale = 0.5 speaks"),
    ("action safe 90", 1.5, 0.9, None),
    ("16:9 safe", 1.78, 0.5, None),
    ("extraction 0.95", 1.5, 0.59, "scale = 0.59 speaks"),
    ("extraction 0,95", 1.5, 0.95, None),
    ("vertical 0.56", 0.5625, 0.5, None),
    ("16x9 guide", 1.78, 0.6, None),
]  # 0.59 of 6000 pixels is 3540


@pytest.mark.parametrize(("name", "aspect", "scale", "words"), GUIDES)
def test_names_of_guides_are_read_as_crews_write_them(name, aspect, scale, words):
    text = SCENE.replace('format = "36x24"', 'format = "36x24"\npixels = [6000, 4000]')
    found = told(text.replace(GUIDE, f'name = "{name}"\naspect = {aspect}\nscale = {scale}'), Severity.FAULT)
    assert any(words in one for one in found) if words else found == set()


def test_a_safe_area_may_be_counted_against_another_guide():
    """0.9 of an extraction of 0.9 is 0.81 of the picture."""
    inside = f'{GUIDE.replace("safe 90 percent", "extraction")}\n[[camera.guide]]\nname = "safe 90"\naspect = 1.5\nscale = 0.81'
    assert told(SCENE.replace(GUIDE, inside), Severity.FAULT) == set()


LENS = 'name = "25 macro"\nfocal_mm = 25\nf_number = 2.8'
LENSES = [
    ("A_25", 35, 2.8, "focal_mm = 35 speaks"),
    ("prime25", 35, 2.8, "focal_mm = 35 speaks"),
    ("Lens 3 (25)", 35, 2.8, "focal_mm = 35 speaks"),
    ("set B.25", 35, 2.8, "focal_mm = 35 speaks"),
    ("25 1.4", 25, 4.0, "f_number = 4, the widest stop, speaks"),
    ("A_25_1,4", 25, 4.0, "f_number = 4, the widest stop, speaks"),
    ("40_anamorphic", 40, 2.8, "squeeze = 1, that of a spherical lens, speaks"),
    ("25 1.4", 25, 1.4, None),
    ("35 0.9 m", 35, 2.8, None),
    ("35 1.8x", 35, 2.8, "squeeze = 1 speaks"),
    ("set_2_35mm", 35, 2.8, None),
    ("set_21_35mm", 35, 2.8, None),
    ("lens12", 35, 2.8, None),
    ("take 21", 35, 2.8, None),
    ("Lens 3", 35, 2.8, None),
    ("B28", 35, 2.8, None),
]


@pytest.mark.parametrize(("name", "focal", "stop", "words"), LENSES)
def test_names_of_lenses_are_read_as_crews_write_them(name, focal, stop, words):
    text = SCENE.replace(LENS, f'name = "{name}"\nfocal_mm = {focal}\nf_number = {stop}')
    text = text.replace('lenses = ["25 macro"]', f'lenses = ["{name}"]')
    found = told(text, Severity.FAULT)
    assert any(words in one for one in found) if words else found == set()


def test_an_anamorphic_lens_may_have_its_squeeze_after_its_focal_length():
    text = SCENE.replace(LENS, 'name = "AX 50 1.8"\nfocal_mm = 50\nf_number = 2.8\nsqueeze = 1.8')
    assert not any("f_number" in one for one in told(text.replace('["25 macro"]', '["AX 50 1.8"]'), Severity.FAULT))
