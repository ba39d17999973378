"""What a tolerance may name, and what is said where it names nothing: rules of the scene file, so the sentences are the claim."""

import json
import re
from pathlib import Path

import pytest

from scenes.questions.tolerances.inputs import built, inputs_of
from scenes.scene_file.errors import SceneError
from scenes.scene_file.examples import example_text
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.tables.tolerance_paths import spot_path, spots_of

PAGE = Path(__file__).parents[4] / "docs" / "tolerances.md"
GIVEN = 'of = "box.ahead_mm"\nplus_minus = 1\n'


def scene_with(of, amounts="plus_minus = 0.5"):
    assert GIVEN in example_text()
    return parse_scene(example_text().replace(GIVEN, f"of = '''{of}'''\n{amounts}\n"), "river.toml")


def complaint(of, amounts="plus_minus = 0.5"):
    with pytest.raises(SceneError) as raised:
        scene_with(of, amounts)
    (found,) = raised.value.complaints
    assert found.line is not None
    return f"{found.where}: {found.problem}"


@pytest.mark.parametrize(
    ("of", "path", "nominal"),
    [
        ("box.tilt_deg", "box.tilt_deg", 0.0),
        ("box.offset_mm.up", "box.offset_mm.up", 0.0),
        ("box.hood.depth_mm", "box.hood[1].depth_mm", 60.0),
        ("box.flag[2].angle_deg", "box.flag[right flag].angle_deg", 60.0),
        ('box.stage[2 "front tray"].opening_mm.height', "box.stage[front tray].opening_mm.height", 97.0),
        ("box.flag[top flag].extension.angle_deg", "box.flag[top flag].extension.angle_deg", 10.0),
        ("lens['21'].front_to_sensor_mm", "lens[21].front_to_sensor_mm", 160.0),
        ("lens[28-45].state[2].pupil_behind_front_mm", "lens[28-45].state[2].pupil_behind_front_mm", 72.0),
        ("camera.guide.offset_mm.right", "camera.guide[extraction].offset_mm.right", 0.0),
    ],
)
def test_a_path_leads_to_the_value_that_the_scene_has(of, path, nominal):
    first = inputs_of(scene_with(of))[0]
    assert (first.path, first.nominal) == (path, nominal)


def test_each_and_pairs_stand_for_every_one_on_its_own():
    items = inputs_of(scene_with("box.stage[each].opening_mm"))[:4]
    assert [item.words for item in items] == [
        "opening width of the rear tray",
        "opening height of the rear tray",
        "opening width of the front tray",
        "opening height of the front tray",
    ]


TWO_MASKS = """
[[box.mask]]
lenses = ["21"]
at_mm = 28
opening_mm = [146, 104]
[[box.mask]]
lenses = ["28-45"]
at_mm = 29
opening_mm = [148, 106]
"""


@pytest.mark.parametrize(
    "names",
    [(None, None), ("2", None), ("2", "1"), ("each", "mask"), ("'a'", '"a"'), ('2 "b"', "b"), ("a] .b", "a]"), (None, '1 ""')],
    ids=str,
)
def test_the_path_of_a_part_leads_back_to_it_whatever_it_is_called(names):
    """A part called by a number that is another's place: what was fitted or designed for one was written to the other."""
    text = example_text()
    mask = text[text.index("[[box.mask]]") : text.index("[box.hood]")]
    masks = TWO_MASKS
    for name, place in zip(names, ("at_mm = 28", "at_mm = 29"), strict=True):
        masks = masks.replace(place, place if name is None else f"{place}\nname = {json.dumps(name)}")
    scene = parse_scene(text.replace(mask, masks), "river.toml")
    spots = spots_of(scene, "box.mask[each].at_mm")
    assert [spot.nominal for spot in spots] == [28, 29]
    assert [spots_of(scene, spot_path(scene, spot)) for spot in spots] == [(spot,) for spot in spots]


def test_bounds_of_a_pupil_join_in_by_themselves():
    last = inputs_of(scene_with("box.tilt_deg"))[-1]
    assert (last.words, last.nominal, last.tolerance.ends, last.bounds) == ("pupil position of the 21", 41.0, (38.0, 44.0), True)


def test_a_name_of_its_own_stands_in_place_of_the_programs_words():
    assert inputs_of(scene_with("box.tilt_deg", 'plus_minus = 1\nname = "sag of the rods"'))[0].words == "sag of the rods"


def test_only_what_is_named_changes_in_a_build():
    scene = scene_with("box.flag[right flag].angle_deg")
    items = inputs_of(scene)
    values = {item.path: item.nominal for item in items} | {"box.flag[right flag].angle_deg": 58.5}
    moved = built(scene, items, values)
    assert [flag.angle_deg for flag in moved.box.flag] == [50, 58.5]
    assert moved.box.flag[1].model_copy(update={"angle_deg": 60.0}) == scene.box.flag[1]
    assert (moved.box.stage, moved.box.mask, moved.camera) == (scene.box.stage, scene.box.mask, scene.camera)
    assert moved.lens[0].pupil_behind_front_mm.horizontal == (41.0, 41.0)


@pytest.mark.parametrize(
    ("of", "problem"),
    [
        ("box.tilt_dg", 'names no key of box, "tilt_dg"; did you mean "tilt_deg"?'),
        ("bax.tilt_deg", 'must begin with camera, lens or box, got "bax"; did you mean "box"?'),
        ("light.azimuth_deg", 'must begin with camera, lens or box: "light" moves neither the beam nor a part'),
        ("box.flag[topflag].angle_deg", 'names no box.flag of this scene, "topflag"; did you mean "top flag"?'),
        (
            "box.stage.opening_mm",
            "must say which of the 2: box.stage[rear tray], or box.stage[each] for each on its own",
        ),
        ("box.stage[3].at_mm", 'names no box.stage of this scene, "3"; known: rear tray, front tray'),
        ('box.stage[1 "front tray"].at_mm', 'names no box.stage of this scene, "1 \\"front tray\\""; did you mean "front tray"?'),
        ("box[1].tilt_deg", "names one of several box, but there is only one: leave out [1]"),
        ("box.solid[1].at_mm", "names box.solid, which this scene does not have"),
        ("box.flag[1].hinge_mm", "names hinge_mm, which this scene does not give; write it into box.flag first"),
        ("box.offset_mm.left", 'names no part of offset_mm, "left"; known: right, up'),
        ("box.tilt_deg.x", 'names no part of tilt_deg, "x"; it is one number'),
        ("box..tilt", 'must name tables and a key, such as box.flag[top flag].angle_deg, got "box..tilt"'),
        (
            "box.hood",
            "must go on to a length or angle of box.hood; known: at_mm, depth_mm, rear_mm, front_mm, thickness_mm",
        ),
        (
            "lens[21].pupil_behind_front_mm",
            "names lens[21].pupil_behind_front_mm, which is given by bounds: they are its tolerance; leave this out",
        ),
        (
            "lens[28-45].pupil_behind_front_mm",
            "names pupil_behind_front_mm, but state rows stand in its place; write lens[28-45].state[each].pupil_behind_front_mm",
        ),
        (
            "lens[28-45].state[1].focal_mm",
            "names focal_mm, which is a setting of the lens and not a measure of it; it is taken as it is set",
        ),
    ],
)
def test_a_path_that_leads_nowhere_is_told_with_the_way_out(of, problem):
    assert complaint(of) == f"tolerance[1].of: {problem}"


def test_a_quantity_without_length_or_angle_is_refused():
    assert complaint("lens[21].f_number").startswith(
        "tolerance[1].of: must name a length or an angle, and f_number is none; known: "
    )


@pytest.mark.parametrize(
    ("amounts", "where", "problem"),
    [
        ("", "plus_minus", "is missing; say by how much it may come out otherwise, or plus and minus apart"),
        ("plus_minus = 1\nplus = 2", "plus", "must be left out where plus_minus is given"),
        ("plus_minus = 0", "plus_minus", "must be more than 0; leave the tolerance out where there is none"),
        ("minus = -1", "minus", "must be 0 to 500, got -1; write 1, without the minus"),
    ],
)
def test_amounts_are_given_one_way_and_are_more_than_nothing(amounts, where, problem):
    place, _, said = complaint("box.tilt_deg", amounts).partition(": ")
    assert (place, said.partition("; it is")[0]) == (f"tolerance[1].{where}", problem)


def test_a_misspelt_key_of_a_tolerance_is_told_with_the_nearest():
    with pytest.raises(SceneError, match=r'tolerance\[1\]\.plus_minos: is no key of this table; did you mean "plus_minus"\?'):
        scene_with("box.tilt_deg", "plus_minos = 1")


def test_a_tolerance_stays_within_what_the_scene_file_allows():
    assert complaint("box.tilt_deg", "plus_minus = 40") == (
        "tolerance[1].of: takes tilt_deg from 0 to -40, beyond its limits -30 to 30"
    )
    assert complaint("box.mask.corner_mm", "plus = 60") == (
        "tolerance[1].of: takes corner_mm to 66, where corner_mm must be at most half the opening's shorter side, 52 mm, got 66"
    )


def test_one_place_has_one_tolerance():
    assert complaint("box.flag[each].angle_deg").startswith("tolerance[2].of: names box.flag[top flag].angle_deg a second time")


def test_the_examples_of_the_page_are_accepted():
    tables = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    assert tables
    before = example_text().partition("[[tolerance]]")[0]
    scene = parse_scene(before + "".join(tables), "river.toml")
    assert len(inputs_of(scene)) > len(scene.tolerance) > 3


@pytest.mark.parametrize(
    ("stated", "of", "moved"),
    [
        ("40.6", "lens[21].state.half_field_deg", (41.1, None)),
        ("{ horizontal = 40.6, vertical = 29.7 }", "lens[21].state.half_field_deg.vertical", (40.6, 30.2)),
    ],
)
def test_a_stated_half_field_is_off_one_way_or_both(stated, of, moved):
    row = f'close_focus_mm = 700\n[[lens.state]]\nfocus_mm = "infinity"\nhalf_field_deg = {stated}\n'
    text = example_text().replace("close_focus_mm = 700\n", row).replace(GIVEN, f'of = "{of}"\nplus_minus = 0.5\n')
    scene = parse_scene(text, "river.toml")
    item = inputs_of(scene)[0]
    angles = built(scene, [item], {item.path: item.nominal + 0.5}).lens[0].state[0].half_field_deg
    assert (angles.horizontal, angles.vertical) == pytest.approx(moved)
