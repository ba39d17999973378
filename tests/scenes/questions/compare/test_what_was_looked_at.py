"""What stills cannot tell, or what was not read of them, is said: hidden corners, pictures in no row, one picture in two rows."""

import imagecodecs
import numpy as np
import pytest
import tifffile

from scenes.questions.compare.answer import answer
from scenes.questions.compare.beside import beside, beside_words
from scenes.questions.compare.hidden import hidden_places
from scenes.questions.compare.measure import measured_shots
from scenes.questions.compare.shoot import read_notes
from scenes.scene_file.errors import SceneError
from scenes.states.load import load_scene
from tests.scenes.questions.compare.cast_stills import cast_shoot, mask_share

CELLS = (64, 96)


def looked_at(*left_out):
    found = np.ones(CELLS, dtype=bool)
    for rows, columns in left_out:
        found[rows, columns] = False
    return list(hidden_places(found))


def test_corners_and_edges_without_a_cell_that_was_looked_at_are_named():
    """Three of 96 cells deep; an edge by its middle third."""
    assert looked_at() == []
    assert looked_at((slice(0, 3), slice(93, 96))) == ["the top right corner"]
    assert looked_at((slice(0, 3), slice(93, 96)), (slice(61, 64), slice(0, 3))) == [
        "the top right corner",
        "the bottom left corner",
    ]
    assert looked_at((slice(21, 43), slice(0, 3))) == ["the middle of the left edge"]
    assert looked_at((slice(51, 64), slice(None))) == [
        "the middle of the bottom edge",
        "the bottom left corner",
        "the bottom right corner",
    ]
    assert looked_at((slice(0, 2), slice(93, 96))) == []


def whiten(path, rows, columns):
    codes = imagecodecs.png_decode(path.read_bytes()).copy()
    codes[rows, columns] = 65535
    path.write_bytes(imagecodecs.png_encode(codes))


def test_a_corner_that_is_white_is_named_before_anything_is_called_as_predicted(tmp_path):
    folder = cast_shoot(tmp_path, mask_share(18, 38, at_mm=30), 18, at_mm=30)
    whiten(folder / "with.png", slice(400, None), slice(600, None))
    (folder / "with-close.png").write_bytes(b"")
    found = answer(load_scene(folder / "scene.toml"), shoot=folder / "shoot.toml")
    assert found.data()["summary"] == (
        "As predicted, where the stills can tell; of the bottom right corner of with.png nothing can be seen."
    )
    assert any("the bottom right corner of with.png" in words for words in found.cautions)
    assert any("with-close.png lies beside the stills" in words for words in found.cautions)
    assert found.next_step.startswith("shoot with.png again")
    assert found.exit_status == 1


def shoot_of(folder, *rows):
    """Notes with a row (with_box, without_box, f_number) each, of stills that are all lit alike."""
    cast_shoot(folder, 1.0, 18)
    head, row = (folder / "shoot.toml").read_text().split("[[picture]]")
    texts = [
        row.replace('"with.png"', f'"{one}"').replace('"without.png"', f'"{bare}"').replace("f_number = 2.0", f"f_number = {stop}")
        for one, bare, stop in rows
    ]
    (folder / "shoot.toml").write_text("[[picture]]".join([head, *texts]))
    return lambda: read_notes(load_scene(folder / "scene.toml"), folder / "shoot.toml")


def test_pictures_beside_the_stills_that_are_in_no_row_are_named(tmp_path):
    notes = shoot_of(tmp_path, ("with.png", "without.png", 2.0))()
    assert beside_words(notes) == ()
    for name in ("with-close.png", "without-close.TIF", "with.jpg", "._with-close.png", "list.txt"):
        (tmp_path / name).write_bytes(b"")
    assert beside(notes) == ["with-close.png", "without-close.TIF"]
    (words,) = beside_words(notes)
    assert words.startswith("with-close.png and without-close.TIF lie beside the stills, in no row of shoot.toml: ")
    for k in range(9):
        (tmp_path / f"with-{k}.png").write_bytes(b"")
    assert "with-0.png, with-1.png, with-2.png, with-3.png and 7 more lie beside" in beside_words(notes)[0]


TWICE = {
    "at another stop": (("with.png", "without.png", 2.0), ("with.png", "w.png", 2.8)),
    "at the same stop": (("with.png", "without.png", 2.0), ("with.png", "w.png", 2.0)),
    "by another way to it": (("with.png", "without.png", 2.0), ("./with.png", "w.png", 2.8)),
    "the reference of another stop": (("with.png", "without.png", 2.0), ("a.png", "without.png", 2.8)),
    "as the reference of another": (("with.png", "without.png", 2.0), ("a.png", "with.png", 2.0)),
}


@pytest.mark.parametrize("rows", TWICE.values(), ids=TWICE.keys())
def test_a_still_that_is_named_in_two_rows_is_refused(rows, tmp_path):
    with pytest.raises(SceneError, match=r"picture\[2\]\.with(out)?_box: names the same file as picture\[1\]\.with(out)?_box"):
        shoot_of(tmp_path, *rows)()


def test_a_reference_may_serve_again_at_the_setting_that_it_was_shot_at(tmp_path):
    rows = ("with.png", "without.png", 2.0), ("with-2.png", "without.png", 2.0)
    notes = shoot_of(tmp_path, *rows)()
    codes = imagecodecs.png_decode((tmp_path / "with.png").read_bytes())
    (tmp_path / "with-2.png").write_bytes(imagecodecs.png_encode(np.maximum(codes, 1) - np.uint16(1)))
    assert [one.name for one in measured_shots(notes)] == ["with.png", "with-2.png"]


def test_the_same_picture_under_two_names_is_refused(tmp_path):
    notes = shoot_of(tmp_path, ("with.png", "without.png", 2.0), ("with-2.png", "without-2.png", 2.8))()
    for name in ("with", "without"):
        codes = imagecodecs.png_decode((tmp_path / f"{name}.png").read_bytes())
        (tmp_path / f"{name}-2.png").write_bytes(imagecodecs.png_encode(codes, level=1))
    with pytest.raises(
        SceneError, match=r"with-2\.png: holds the same picture as with\.png, picture\[1\]\.with_box, to the last bit"
    ):
        measured_shots(notes)


def test_a_still_that_says_another_stop_than_its_row_is_told(tmp_path):
    notes = shoot_of(tmp_path, ("with.tif", "without.png", 2.0))()
    codes = imagecodecs.png_decode((tmp_path / "with.png").read_bytes())
    told = [(33437, 5, 1, (8, 1), True), (37386, 5, 1, (18, 1), True)]  # ISO 12234-2: FNumber, FocalLength
    tifffile.imwrite(tmp_path / "with.tif", codes, extratags=told, metadata=None)
    (one,) = measured_shots(notes)
    assert [words for words in one.notes if "says of itself" in words] == [
        "with.tif says of itself f/8, and the notes say f/2: find out which it was, for the box darkens each otherwise."
    ]
