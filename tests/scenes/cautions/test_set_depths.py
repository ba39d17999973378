"""Depths of one anamorphic lens that the rest of its set speaks against get a word, and sets of one make none.

The depths are invented, by what cylinders ahead of a lens do: a vertical d + e is d/S + e/S^2 across (docs/physics.md).
"""

import pytest

from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene

SET = {40: (60, 125), 50: (63, 133), 75: (74, 158), 100: (82, 181)}
LENGTHS = {40: 210, 50: 216, 75: 232, 100: 262}


def told(depths, more="", squeezes=None):
    squeezes = squeezes or {}
    lenses = "".join(
        f'[[lens]]\nname = "{focal}"\nfocal_mm = {focal}\nf_number = 2.3\nfront_diameter_mm = 134\n'
        f"squeeze = {squeezes.get(focal, 2)}\n"
        f"front_to_sensor_mm = {LENGTHS[focal]}\npupil_behind_front_mm = {{ horizontal = {across}, vertical = {upright} }}\n{more}"
        for focal, (across, upright) in depths.items()
    )
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "anamorphic-35-4perf"\n{lenses}[box]\nahead_mm = 2\n', source="s.toml")
    notes = [note for lens in scene.lens for note in doubtful_notes(scene, lens)]
    return [(note.part, note.text) for note in notes if note.text.startswith("pupil_behind_front_mm")]


def test_a_set_of_one_make_gets_no_word_nor_do_two_lenses_that_are_near_it():
    assert told(SET) == []
    assert told({40: SET[40], 75: (56, 158)}) == []


def test_two_lenses_that_go_together_in_no_way_are_told_with_both_pairs():
    ((part, text),) = told({40: (36, 100), 75: (84, 158)})
    assert part == "40"
    assert "{ horizontal = 36, vertical = 100 } do not go together as those of the 75 do, { horizontal = 84" in text
    assert "horizontal = 53" in text


@pytest.mark.parametrize("focal", SET)
@pytest.mark.parametrize("digits", [(0.66, 1), (1.6, 1), (1, 0.55), (1, 1.6)])
def test_one_depth_of_two_that_is_off_is_told_with_what_would_be_in_line(focal, digits):
    across, upright = (round(depth * share) for depth, share in zip(SET[focal], digits, strict=True))
    words = dict(told({**SET, focal: (across, upright)}))
    assert f"{{ horizontal = {across}, vertical = {upright} }} do not go together" in words[f"{focal}"]
    in_line = [round(upright * ratio) for ratio in (82 / 181, 60 / 125)]  # of the least and the largest ratio of the set
    assert any(f"horizontal = {value}" in words[f"{focal}"] for value in range(in_line[0], in_line[1] + 1))


def test_both_depths_of_another_lens_are_told_as_copied():
    ((part, text),) = told({**SET, 100: SET[40]})
    assert part == "100"
    assert "are both those of the 40, of another focal length" in text


def test_a_long_lens_far_shallower_than_the_rest_is_told():
    (text,) = [text for part, text in told({**SET, 100: (43, 92)}) if part == "100"]
    assert "is far shallower than in any other lens with its squeeze, horizontal = 60, 63, 74, though the 40 is shorter" in text
    assert told({**SET, 40: (43, 92)}) == []  # the shortest may be


def test_lenses_of_another_squeeze_are_another_set():
    assert told({**SET, 100: (90, 150)}, squeezes={100: 1.5}) == []


def test_depths_that_were_measured_again_get_no_word():
    assert told({**SET, 75: (50, 158)}, 'confirmed = ["pupil_behind_front_mm"]\n') == []
