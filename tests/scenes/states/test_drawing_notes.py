"""What a mask's drawing says of another scale, unit or side is told of the mask, beside whatever rests on it."""

import ezdxf

from scenes.states.judgement import slips
from scenes.states.load import load_scene
from scenes.states.state import states_of
from tests.scenes.states.test_numbers_used import SCENE, loaded


def told(tmp_path, *texts):
    loaded(tmp_path)
    drawing = ezdxf.readfile(tmp_path / "cut.dxf")
    for text in texts:
        drawing.modelspace().add_text(text)
    drawing.saveas(tmp_path / "cut.dxf")
    (tmp_path / "a.toml").write_text(SCENE)
    show = load_scene(tmp_path / "a.toml")
    return {
        state.lens_name: [(note.part, note.text) for note in slips(state) if "its drawing says" in note.text]
        for state in states_of(show.scene, show.resources)
    }


def test_words_of_a_drawing_are_a_caution_of_the_lenses_that_its_mask_stands_before(tmp_path):
    """The scene has the mask with the 35 alone."""
    text = 'its drawing says "1:15", and was read at full size; is it drawn to another scale?'
    assert told(tmp_path, "1:15", "AL 2 mm") == {"35": [("mask", text)], "50": []}
    assert told(tmp_path, "AL 2 mm") == {"35": [], "50": []}
