"""Ways to hand in bad stills: each gets a sentence or a right answer, never "as predicted", for the box is not as in the scene."""

import json

import pytest

from scenes.questions.compare.answer import answer
from scenes.scene_file.errors import SceneError
from scenes.states.load import load_scene
from tests.scenes.questions.compare.bad_stills import GOOD, WAYS, spoilt

REFUSED = {  # a part of the sentence
    "half size": "is 240 x 135 pixels, its reference without_box.png 480 x 270",
    "both clipped": "with_box.png: is clipped over",
    "reference clipped": "without_box.png: is clipped over",
    "box on clipped": "with_box.png: is clipped over",
    "reference missing": 'did you mean "without_box.png"?',
    "box on alone turned 180": "is turned by 180 degrees against without_box.png, by the dust in both",
    "turned 90": "is 270 x 480 pixels, 0.562 to 1",
    "nits as floats on a curve": 'write curve = "linear" if they are light, such as nits',
    "empty file": "is an empty file",
    "cut short": "is damaged or cut short",
    "text": "is no picture that can be read here",
    "50000 wide": "is 50000 x 28000 pixels, more than 20000",
    "palette": "has a palette of a few colours",
    "frame lines, then cropped to 90 %": "shows 90 % of the recorded area, by the frame lines of inner",
    "shrunk, black round it": "has black bars, 5% at the top and 5% at the bottom and 5% at the left and 5% at the right",
    "black bars": "has black bars, 13% at the top and 13% at the bottom",
    "black bars, no reference": "with_box.png: has black bars, 13% at the top and 13% at the bottom",
    "the tail white": "has the same code all over, 20% at the bottom",
    "the tail of one white": "with_box.png: has the same code all over, 20% at the bottom",
    "the tail grey": "has the same code all over, 20% at the bottom",
    "exchanged": "with_box and without_box are probably swapped",
    "copied": "holds the same picture as with_box.png to the last bit",
    "black": "is black all over",
    "white": "is the same all over",
    "a flat card": "is the same all over",
    "far too dark": "is black all over",
    "box on alone cropped to 90 %": "shows less of the field than its reference, by its fall-off",
    "curve: hlg instead of srgb": "or their curve is not the one stated",
}
RIGHT = {  # up, right, ahead as they are, within what truth.json allows, or 3 standard errors
    "a tint",
    "frame lines and a name",
    "no reference",
    "nits as floats",
    "a little clipped",
}
SAID = {  # part of the answer's page
    "curve: linear instead of srgb": "Check curve, code range, crop",
    "two lenses swapped": "the stills fit the 24, not the 40",
    "turned 180": "the stills would look the same turned by 180 degrees",
    "cropped to 90 %": "These stills do not tell whether they were cropped",
    "box never on": "Was the box on the lens?",
}
QUICK = {*REFUSED} - {"box on alone cropped to 90 %", "curve: hlg instead of srgb"} | {"a tint"}
TRUTH = json.loads((GOOD / "truth.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("way", [way if way in QUICK else pytest.param(way, marks=pytest.mark.slow) for way in WAYS])
def test_bad_stills_get_a_sentence_or_a_right_answer(way, tmp_path):
    folder = spoilt(way, tmp_path)
    if way in REFUSED:
        with pytest.raises(SceneError) as error:
            answer(load_scene(folder / "scene.toml"), shoot=folder / "shoot.toml")
        assert REFUSED[way] in str(error.value)
        assert "\n" not in str(error.value)
        return
    found = answer(load_scene(folder / "scene.toml"), shoot=folder / "shoot.toml")
    assert found.exit_status == 1
    assert found.data()["verdict"] != "nothing differs"
    page = " ".join(str(block) for block in found.blocks(written=False))
    assert SAID.get(way, "") in page
    if way in RIGHT:
        for value in found.values:
            path = value.unknown.path
            assert abs(value.value - TRUTH["values"][path]) <= max(TRUTH["allowed"][path], 3 * value.sigma), path
