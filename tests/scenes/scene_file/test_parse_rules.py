"""Rules between keys: each broken once, with the exact complaint."""

import pytest

from scenes.scene_file.errors import SceneError
from scenes.scene_file.parse import parse_scene

HEAD = 'brimline = 1\n[camera]\nformat = "36x24"\n'
LENS = 'name = "18"\nfocal_mm = 18\nf_number = 2.0\nfront_diameter_mm = 114\n'
PUPIL = "pupil_behind_front_mm = 38\n"
MASK = "at_mm = 4\nopening_mm = [90, 60]\n"
HOOD = "at_mm = 5\ndepth_mm = 60\nrear_mm = [160, 120]\nfront_mm = [250, 170]\n"


def found(*, camera="", lens=PUPIL, more="", box="", after=""):
    """Complaints without file and line about a scene with these additions."""
    text = f"{HEAD}{camera}\n[[lens]]\n{LENS}{lens}\n{more}\n[box]\n{box}\n{after}\n"
    with pytest.raises(SceneError) as caught:
        parse_scene(text, "s.toml")
    return [f"{complaint.where}: {complaint.problem}" for complaint in caught.value.complaints]


def rows(*settings, key="front_travel_mm = 0"):
    return "".join(f"[[lens.state]]\n{setting}\n{key}\n" for setting in settings)


def test_state_rows_fill_a_grid():
    settings = ['focal_mm = 24\nfocus_mm = "infinity"', "focal_mm = 24\nfocus_mm = 600", 'focal_mm = 70\nfocus_mm = "infinity"']
    assert found(more=rows(*settings)) == [
        'lens[1 "18"].state: must have every focal length with every focus; add the row focal_mm = 70, focus_mm = 600'
    ]


GRID = [(24, '"infinity"'), (24, 700), (70, '"infinity"'), (70, 700)]
TWO_OR_THREE = [*GRID, (24, 1500), (70, 1500)]


@pytest.mark.parametrize(
    ("grid", "place", "slip", "words"),
    [
        (
            GRID,
            0,
            (42, '"infinity"'),
            "focal_mm = 42, focus_mm = 700; or is focal_mm = 42 of row 1 or focal_mm = 24 of row 2 wrong?",
        ),
        (GRID, 1, (42, 700), "focal_mm = 24, focus_mm = 700; or is focal_mm = 24 of row 1 or focal_mm = 42 of row 2 wrong?"),
        (GRID, 3, (70, 900), "focal_mm = 24, focus_mm = 900; or is focus_mm = 700 of row 2 or focus_mm = 900 of row 4 wrong?"),
        (TWO_OR_THREE, 0, (42, '"infinity"'), "focal_mm = 42, focus_mm = 700; or is focal_mm = 42 of row 1 wrong?"),
        (TWO_OR_THREE, 4, (42, 1500), "focal_mm = 24, focus_mm = 1500; or is focal_mm = 42 of row 5 wrong?"),
    ],
)
def test_a_row_of_a_grid_with_a_slipped_number_is_named(grid, place, slip, words):
    """Of two rows either may be wrong; of three the one that stands alone."""
    slipped = [*grid[:place], slip, *grid[place + 1 :]]
    (complaint,) = found(more=rows(*(f"focal_mm = {focal}\nfocus_mm = {focus}" for focal, focus in slipped)))
    assert complaint == f'lens[1 "18"].state: must have every focal length with every focus; add the row {words}'


def test_state_rows_give_the_same_keys():
    uneven = rows("focal_mm = 24") + "[[lens.state]]\nfocal_mm = 70\n"
    assert found(more=uneven) == [
        'lens[1 "18"].state[2].front_travel_mm: is missing; what one state row gives, every row must give'
    ]


def test_state_rows_differ():
    assert found(more=rows("focal_mm = 24", "focal_mm = 24")) == [
        'lens[1 "18"].state[2]: repeats the setting of row 1; leave one of them out'
    ]


def test_a_state_row_stands_for_a_setting():
    assert found(more=rows("half_field_deg = 40")) == [
        'lens[1 "18"].state[1]: must give focal_mm or focus_mm, the setting that the row stands for'
    ]


@pytest.mark.parametrize(("first", "second"), [("50 A", "50 a"), ("50 a", "50-a"), ("50/2", "50 2")])
def test_lens_names_make_different_folders(first, second):
    another = f"[[lens]]\n{LENS}{PUPIL}"
    text = HEAD + another.replace("18", first, 1) + another.replace("18", second, 1) + "[box]\n"
    with pytest.raises(SceneError) as caught:
        parse_scene(text, "s.toml")
    assert len(caught.value.complaints) == 1


@pytest.mark.parametrize(
    ("lens", "complaint"),
    [
        (PUPIL + "front_glass_mm = 120", '.front_glass_mm: must not exceed front_diameter_mm = 114, got 120'),
        (PUPIL + "front_to_sensor_mm = 168\nclose_focus_mm = 150",
         (".close_focus_mm: must lie in front of the lens, beyond front_to_sensor_mm = 168, got 150; "
         "it is measured from the image plane")),
        ("squeeze = 2.0\npupil_walk = [[0, 38, 1, 1], [20, 39, 1, 1]]",
         ".pupil_walk: describes a round lens, so squeeze must be 1, got 2"),
        ("pupil_walk = [[5, 38, 1, 1], [20, 39, 1, 1]]",
         ".pupil_walk: must have rows of rising field from 0 deg, got 5, 20"),
        ("pupil_walk = [[0, 38, 1], [20, 39, 1, 1]]",
         ".pupil_walk: row 1 must be [field_deg, depth_mm, tangential_size, sagittal_size], got an array of 3"),
        ('prescription = "a.toml"\npupil_walk = [[0, 38, 1, 1], [20, 39, 1, 1]]',
         ".pupil_walk: must be left out where prescription is given: the walk is then traced"),
        ('prescription = "glass\\\\a.toml"',
         '.prescription: must use forward slashes, got "glass\\\\a.toml"; write "glass/a.toml"'),
        ("pupil_behind_front_mm = { horizontal = 38, vertcal = 40 }",
         '.pupil_behind_front_mm: has the unknown key "vertcal"; did you mean "vertical"?'),
        ("pupil_behind_front_mm = { horizontal = 38 }",
         ".pupil_behind_front_mm: must give both horizontal and vertical, vertical is missing"),
        ("pupil_behind_front_mm = 38000", (".pupil_behind_front_mm: must be -100 to 1000 mm, got 38000; "
         "for example pupil_behind_front_mm = [38, 44]")),
    ],
)  # fmt: skip
def test_lenses(lens, complaint):
    assert found(lens=lens) == ['lens[1 "18"]' + complaint]


@pytest.mark.parametrize(
    ("box", "complaint"),
    [
        ('mount = "rod-15"', 'box.mount: "rod-15" is no mount of the catalogue; did you mean "rods-15"?'),
        ('seal = { kind = "none", inner_mm = 100 }',
         'box.seal.kind: is "none", so inner_mm and outer_mm must be left out; or say which kind it is'),
        ('seal = { kind = "ring", inner_mm = 130, outer_mm = 114 }',
         "box.seal.inner_mm: must be smaller than outer_mm = 114, got 130"),
        (f"[[box.hood]]\n{HOOD}[[box.hood]]\n{HOOD}",
         'box.hood[2]: is a second hood with lens "18"; say with `lenses` which one each is for'),
        (f'[[box.mask]]\nname = "m"\n{MASK}[[box.mask]]\nname = "m"\n{MASK}',
         'box.mask[2 "m"].name: is used twice, "m"; give each part its own name'),
        (f"[box.mask]\nlenses = []\n{MASK}",
         "box.mask.lenses: must name at least one lens; leave it out to fit the part with all of them"),
        (f"[box.mask]\ncorner_mm = 31\n{MASK}",
         "box.mask.corner_mm: must be at most half the opening's shorter side, 30 mm, got 31"),
        (f"[box.mask]\nouter_mm = [100, 50]\n{MASK}",
         "box.mask.outer_mm: must be larger than the opening, 90 x 60 mm, got 100 x 50"),
        ("[box.mask]\nat_mm = 4\n",
         "box.mask: must give its opening one way: opening_mm, opening_diameter_mm or outline; got none of them"),
        (f"[box.stage]\ndepth_mm = 8\nslot_mm = 0.5\n{MASK}",
         'box.stage.slot_sides: is missing; a slot needs the sides where it is open, such as ["top"]'),
        (f'[box.stage]\ndepth_mm = 8\nslot_sides = ["top"]\n{MASK}',
         "box.stage.slot_mm: is missing or 0; slot_sides is of no use without it"),
        (f'[box.stage]\ndepth_mm = 8\nfilter = {{ size = "4x4", width_mm = 100 }}\n{MASK}',
         "box.stage.filter: must give its size one way: size, or width_mm and height_mm, or diameter_mm; got size and width_mm"),
        (f'[box.stage]\ndepth_mm = 8\nfilter = {{ size = "4x4", kind = "close-up" }}\n{MASK}',
         'box.stage.filter.power_dioptre: is missing; kind "close-up" needs it'),
        (f'[box.stage]\ndepth_mm = 8\nfilter = {{ size = "4x4", kind = "graduated" }}\n{MASK}',
         'box.stage.filter.density: is missing; kind "graduated" needs it, 0.3 for one stop'),
        ('[box.solid]\nfile = "bracket.step"',
         'box.solid.file: must end in .stl, .obj, .ply, .3mf or .glb, got "bracket.step"'),
    ],
)  # fmt: skip
def test_boxes(box, complaint):
    assert found(box=box) == [complaint]


@pytest.mark.parametrize(
    ("light", "complaint"),
    [
        ("azimuth_deg = 20", "light.elevation_deg: is missing; azimuth_deg is of no use without it"),
        ("position_mm = [0, 0, 1000]",
         "light.size_mm: is missing; a light at a place in the set needs both position_mm and size_mm"),
        ('name = "sun"',
         'light: must give one of: azimuth_deg with elevation_deg, position_mm with size_mm, sun; got none of them'),
        ("position_mm = [0, 0, 1000]\nsize_mm = 100\nwidth_deg = 1",
         "light.width_deg: must be left out where position_mm is given; size_mm says how wide the light is"),
    ],
)  # fmt: skip
def test_lights(light, complaint):
    assert [line.replace('light "sun"', "light") for line in found(after=f"[light]\n{light}")] == [complaint]


@pytest.mark.parametrize(
    ("check", "complaint"),
    [
        ("focus_mm = []", 'check.focus_mm: must give at least one focus, such as ["infinity"]; or leave it out'),
        ("f_numbers = [2, 2.0]", "check.f_numbers: gives one value twice"),
        ('focus_mm = ["close"]', ('lens[1 "18"].close_focus_mm: is missing; check.focus_mm asks for "close": '
     "write the nearest focus from the image plane")),
        ('focus_mm = ["350 mm"]',
         'check.focus_mm: value 1 must be a plain number in mm or "infinity" or "close", got "350 mm"; write 350'),
        ("focus_mm = [inf]", 'check.focus_mm: value 1 must be a finite number, got inf; write "infinity"'),
    ],
)  # fmt: skip
def test_checks(check, complaint):
    assert found(after=f"[check]\n{check}") == [complaint]


def test_focus_beyond_life_size():
    # D = f (2 + m + 1/m) has its least, 4 f, at m = 1 (thin lens, any textbook)
    assert found(lens=PUPIL + "front_to_sensor_mm = 20", after="[check]\nfocus_mm = [60]") == [
        'check.focus_mm: must be at least 4 focal lengths, 72 mm, with lens "18", got 60; or give half_field_deg in state rows'
    ]


def test_cameras():
    guide = '[[camera.guide]]\nname = "a"\naspect = 2\n'
    assert found(camera=guide + guide) == ['camera.guide[2 "a"].name: is used twice, "a"; give each guide its own name']
    assert found(camera="width_mm = 36.0") == [
        'camera.width_mm: must be left out where format is given ("36x24"); or leave format out'
    ]


def test_two_names_that_look_alike_are_one():
    """One letter with its accent, and the same as two signs (Unicode, canonical equivalence): nobody sees the difference."""
    twins = [
        f'[[lens]]\nname = "{name}"\nfocal_mm = 18\nf_number = 2.0\nfront_diameter_mm = 114\n{PUPIL}'
        for name in ("\u00e9", "e\u0301")
    ]
    (said,) = found(more="".join(twins))
    assert said.startswith("lens[3")
    assert "must differ more from" in said
