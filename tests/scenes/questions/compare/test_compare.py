"""Stills with a known truth through `brimline compare`; the stills are the program's own maps with all that a camera adds."""

import json
import re
import tomllib
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import trimesh
from click.testing import CliRunner
from PIL import Image
from scipy.interpolate import RegularGridInterpolator

from scenes.cli import brimline
from scenes.questions.compare.answer import answer
from scenes.questions.compare.text import doubts
from scenes.scene_file.errors import SceneError
from scenes.states.load import load_scene
from tests.scenes.questions.compare.made_shoot import ANOTHER_LENS, SCENE, make_shoot

MOVED = {"box.ahead_mm": 9, "box.offset_mm.up": -2}
SAME = {"box.ahead_mm": 5, "box.offset_mm.up": 0}
FLAGGED = {"box.ahead_mm": 9, "box.flag[top flag].angle_deg": 27}
STILLS = Path(__file__).parents[3] / "data" / "stills"


def compared(folder):
    return answer(load_scene(folder / "scene.toml"), shoot=folder / "shoot.toml")


def made(folder, **how):
    return compared(make_shoot(folder, **{"true": MOVED, "columns": 480, **how}))


def assert_near(found, true):
    for value in found.values:
        assert abs(value.value - true[value.unknown.path]) <= 3 * max(value.sigma, 0.02), value.unknown.path


@pytest.mark.slow
def test_values_that_differ_are_found_within_their_errors(tmp_path):
    found = made(tmp_path, curve="hlg", bits=16)
    assert found.data()["verdict"] == "fit"
    assert found.exit_status == 1
    assert_near(found, MOVED)
    assert found.rows[0].fitted_rms < 0.03 < found.rows[0].nominal_rms


def test_nothing_differs_is_said_as_predicted(tmp_path):
    found = made(tmp_path, true=SAME, bits=8)
    assert (found.data()["verdict"], found.exit_status) == ("nothing differs", 0)
    assert found.rows[0].word == "as predicted"


@pytest.mark.slow
def test_a_logo_and_frame_lines_are_left_out_and_are_no_surprise(tmp_path):
    found = made(tmp_path, logo=True, columns=960)
    assert_near(found, MOVED)
    assert found.data()["surprises"] == []
    assert found.rows[0].left_out > 0.01


@pytest.mark.slow
def test_a_thing_in_frame_is_outlined_and_left_out(tmp_path):
    found = made(tmp_path, thing=(0.6, 0.1, 0.15, 0.3))
    (box,) = found.data()["surprises"]
    assert box["left"] == pytest.approx(0.6, abs=0.06)
    assert box["top"] == pytest.approx(0.1, abs=0.08)
    assert box["width"] == pytest.approx(0.15, abs=0.09)
    assert_near(found, MOVED)


def test_the_folder_holds_fit_maps_and_a_scene_that_loads_with_its_comments(tmp_path):
    folder, out = make_shoot(tmp_path, true=MOVED, columns=480), tmp_path / "out"
    argv = ["compare", str(folder / "scene.toml"), "--shoot", str(folder / "shoot.toml"), "--out", str(out)]
    CliRunner().invoke(brimline, argv, catch_exceptions=False)
    text = (out / "fitted.toml").read_text()
    assert "# from the maker's sheet" in text
    assert "fitted to the stills of shoot.toml" in text
    assert "by tape" in text
    box = tomllib.loads(text)["box"]
    assert box["ahead_mm"] == pytest.approx(9, abs=0.1)
    assert box["offset_mm"] == pytest.approx([0.0, -2.0], abs=0.1)
    load_scene(out / "fitted.toml")
    fit = json.loads((out / "fit.json").read_text())
    assert fit["orientation"] == "as shot"
    with np.load(out / fit["loss_map"][0]) as maps:
        assert maps["loss_stops"].shape == (len(maps["y_mm"]), len(maps["x_mm"]))
        assert maps["y_mm"][0] > maps["y_mm"][-1]
    page = (out / "compare.html").read_text()
    assert not re.findall(r'(?:src|href)="(?!data:)', page)  # nothing from outside
    assert "measured less predicted" in page
    assert "left out:" in page


def test_the_fitted_scene_finds_the_files_that_the_scene_names_though_it_lies_in_another_folder(tmp_path):
    """A name that leads out of the scene's folder would lead to nothing from the results', or to an old copy of a mesh."""
    folder, parts, out = tmp_path / "shoot", tmp_path / "parts", tmp_path / "results" / "out"
    folder.mkdir()
    parts.mkdir()
    make_shoot(folder, true=MOVED, columns=480)
    trimesh.creation.box((20, 30, 10)).apply_translation((0, 400, 50)).export(parts / "bracket.stl")
    with (folder / "scene.toml").open("a") as scene:
        scene.write('\n[[box.solid]]\nname = "bracket"\nfile = "../parts/bracket.stl"  # on the top rod\n')
    found = answer(load_scene(folder / "scene.toml"), shoot=folder / "shoot.toml")
    files = dict(found.files("out"))
    (solid,) = tomllib.loads(files["fitted.toml"].decode())["box"]["solid"]
    assert files[solid["file"]] == (parts / "bracket.stl").read_bytes()
    out.mkdir(parents=True)
    for name, data in files.items():
        (out / name).write_bytes(data)
    assert load_scene(out / "fitted.toml").resources


def test_a_still_whose_reference_is_of_another_kind_gets_a_caution_for_one_curve_is_stated_for_both(tmp_path):
    """A camera that writes each shot twice: TIFF with the box on, its JPEG with the box off."""
    folder = make_shoot(tmp_path, true=SAME, columns=480, bits=8)
    words = "without.jpg is a JPEG and the other still of the pair is none"
    assert not any("is a JPEG" in note for note in compared(folder).cautions)
    with Image.open(folder / "without.png") as picture:
        picture.convert("RGB").save(folder / "without.jpg", quality=98)
    notes = (folder / "shoot.toml").read_text()
    (folder / "shoot.toml").write_text(notes.replace("without.png", "without.jpg"))
    assert any(words in note for note in compared(folder).cautions)


def test_a_scene_that_is_saved_while_stills_are_compared_costs_no_result(tmp_path):
    found = made(tmp_path)
    (tmp_path / "scene.toml").write_text("[half saved")
    assert "# from the maker's sheet" in dict(found.files("out"))["fitted.toml"].decode()


@pytest.mark.slow
def test_a_value_that_no_still_shows_is_not_claimed(tmp_path):
    found = made(tmp_path, true={"box.ahead_mm": 9}, unknown=("box.ahead_mm", "box.back.height_mm"))
    assert not found.values[1].told
    assert found.data()["values"][1]["value"] is None


@pytest.mark.slow
def test_a_still_turned_upside_down_is_named_and_put_upright(tmp_path):
    found = made(tmp_path, true=FLAGGED, unknown=tuple(FLAGGED), orient="turned 180")
    assert found.rows[0].orientation == "turned 180"
    assert_near(found, FLAGGED)


@pytest.mark.slow
def test_another_lens_is_refused_and_no_value_is_given(tmp_path):
    found = made(tmp_path, true={}, true_scene=ANOTHER_LENS)
    assert found.data()["verdict"] == "another lens"
    assert found.values == ()
    assert "24 mm" in found.data()["summary"]


@pytest.mark.slow
def test_without_a_reference_the_fall_off_is_fitted_and_the_cost_is_said(tmp_path):
    found = made(tmp_path, reference=False, curve="rec709", bits=8, power=3.2)
    assert_near(found, MOVED)
    assert any("Without a reference" in words for words in found.cautions)


@pytest.mark.slow
def test_a_wrong_curve_is_never_as_predicted(tmp_path):
    shaded = SCENE.replace("ahead_mm = 5", "ahead_mm = 12")
    found = made(tmp_path, true={}, unknown=(), scene=shaded, curve="srgb", stated_curve="linear")
    assert found.exit_status == 1


@pytest.mark.slow
def test_jpeg_of_quality_30_with_a_tint_is_measured(tmp_path):
    found = made(tmp_path, kind="jpeg30", bits=8, tint=(1.0, 0.8, 0.6), columns=960)
    assert found.data()["verdict"] == "fit"
    for value in found.values:
        assert value.value == pytest.approx(MOVED[value.unknown.path], abs=0.5)


@pytest.mark.slow
@pytest.mark.parametrize("case", ["easy-onedepth", "medium-lowrods", "hard-noref"])
def test_stills_of_another_renderer_give_back_their_truth(case, tmp_path):
    """Source: rendered with Mitsuba 3 (thin lens, black parts, dielectric glass), none of the program's code; noise, curve and
    uneven light were added. True values and errors allowed are its maker's. Every fourth pixel, but of the one set
    without a reference all.
    """
    truth = json.loads((STILLS / case / "truth.json").read_text(encoding="utf-8"))
    argv = [
        "compare",
        str(STILLS / case / "scene.toml"),
        "--shoot",
        str(STILLS / case / "shoot.toml"),
        "--out",
        str(tmp_path / "out"),
    ]
    CliRunner().invoke(brimline, argv, catch_exceptions=False)
    fit = json.loads((tmp_path / "out" / "fit.json").read_text(encoding="utf-8"))
    assert (fit["verdict"], fit["orientation"], fit["surprises"]) == ("fit", "as shot", [])
    assert set(fit["values"]) == set(truth["values"])
    for path, true in truth["values"].items():
        found = fit["values"][path]
        assert abs(found["value"] - true) <= min(truth["allowed"][path], 3 * max(found["sigma"], 0.1)), path
        assert found["sigma"] >= truth["sigma_noise"][path], path
    (measured,) = fit["loss_map"]
    assert loss_rms(np.load(tmp_path / "out" / measured), np.load(STILLS / case / "truth.npz")) <= 0.05


def loss_rms(found, true):
    """Stops between a measured map and the noise-free one, where that loses less than 2.5."""
    at = RegularGridInterpolator(
        (found["y_mm"][::-1], found["x_mm"]), np.minimum(found["loss_stops"][::-1], 10), bounds_error=False, fill_value=np.nan
    )
    y, x = np.meshgrid(true["y_mm"], true["x_mm"], indexing="ij")
    off = at((y, x)) - true["loss_stops"]
    known = np.isfinite(off) & (true["loss_stops"] < 2.5)
    assert known.mean() > 0.5
    return np.sqrt(np.mean(off[known] ** 2))


BAD = {  # how the notes are spoilt: (what, by what), a part of the sentence
    "lens": (('lens = "28"', 'lens = "82"'), 'names no lens of scene.toml, "82"; did you mean "28"?'),
    "key path": (("box.ahead_mm", "box.ahed_mm"), 'did you mean "ahead_mm"?'),
    "curve": (('"srgb"', '"sRGB "'), "must be one of linear, srgb"),
    "no curve": (('curve = "srgb"\n', ""), "curve: is missing"),
    "misspelt key": (("with_box", "withbox"), 'did you mean "with_box"?'),
    "guide": (("recorded area", "scop"), 'did you mean "scope"?'),
    "wrong area": (("recorded area", "scope"), "is 2.390 to 1: hand in the still uncropped"),
    "missing file": (("without.png", "witout.png"), 'did you mean "without.png"?'),
    "same file": (("without.png", "with.png"), "names the same file as with_box"),
    "stop": (("f_number = 2.8", "f_number = 1.4"), "is wider than the lens opens, f/2.8, got 1.4"),
    "focus": (('"infinity"', '"inf"'), "must be a plain number in mm"),
    "near focus": (('"infinity"', "60"), "picture[1]"),
    "table": (('"srgb"', '"table"'), "curve_table"),
    "twice": (('"box.offset_mm.up"', '"box.ahead_mm"'), "names a key path twice"),
    "no picture": (("[[picture]]", "[[pictures]]"), 'did you mean "picture"?'),
    "empty": (None, "holds no keys"),
    "not toml": (("lens =", "lens"), "is no valid TOML"),
}


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    return make_shoot(tmp_path_factory.mktemp("good"), true=MOVED, columns=480)


@pytest.mark.parametrize("kind", BAD)
def test_bad_notes_get_one_sentence_that_says_the_way_out(good, kind):
    swap, words = BAD[kind]
    notes = good / f"bad-{kind.replace(' ', '-')}.toml"
    text = (good / "shoot.toml").read_text()
    notes.write_text("" if swap is None else text.replace(*swap))
    with pytest.raises(SceneError) as error:
        answer(load_scene(good / "scene.toml"), shoot=notes)
    assert words in str(error.value)
    assert len(error.value.complaints) == 1


def test_a_copy_of_the_still_with_the_box_is_no_reference(good):
    # two exposures of one scene differ by their noise; against a copy of itself a still looks as if the box took nothing
    (good / "copied.png").write_bytes((good / "with.png").read_bytes())
    notes = good / "copied.toml"
    notes.write_text((good / "shoot.toml").read_text().replace('"without.png"', '"copied.png"'))
    with pytest.raises(SceneError, match=r"copied\.png: holds the same picture as with\.png to the last bit"):
        answer(load_scene(good / "scene.toml"), shoot=notes)


def test_with_and_without_swapped_is_said(good):
    notes = good / "swapped.toml"
    text = (good / "shoot.toml").read_text().replace('"with.png"', '"x"').replace('"without.png"', '"with.png"')
    notes.write_text(text.replace('"x"', '"without.png"'))
    with pytest.raises(SceneError, match="with_box and without_box are probably swapped"):
        answer(load_scene(good / "scene.toml"), shoot=notes)


def test_of_a_length_and_an_angle_that_move_together_each_is_told_in_its_own_unit():
    unknowns = [SimpleNamespace(path="box.offset_mm.up", unit="mm"), SimpleNamespace(path="box.tilt_deg", unit="deg")]
    found = SimpleNamespace(
        verdict=None,
        notes=SimpleNamespace(unknowns=unknowns),
        sigmas=np.array([1.48, 1.53]),
        told=(True, True),
        alike=(),
        framing=None,
        fit=SimpleNamespace(covariance=np.outer([1.48, 1.53], [1.48, 1.53])),
        next_shots=(),
    )
    (said,) = doubts(found)
    assert "Alone they are known to 1.48 mm and 1.53 deg" in said
    state = SimpleNamespace(focus_mm=600.0, f_number=2.8)
    found.next_shots = (SimpleNamespace(state=state, sigmas=np.array([0.12, 0.34])),)
    (said,) = doubts(found)
    assert "would bring every error to about 0.34 deg or less" in said
