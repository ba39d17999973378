"""`brimline compare --stills`: notes to fill in."""

import tomllib

import pytest

from scenes.cli import main
from scenes.questions.compare.answer import answer
from scenes.questions.compare.draft import Pair, paired
from scenes.scene_file.errors import SceneError
from scenes.states.load import load_scene
from tests.scenes.questions.compare.made_shoot import SCENE


def run(*argv):
    return main(["compare", *map(str, argv)])


@pytest.fixture
def shoot(tmp_path):
    (tmp_path / "scene.toml").write_text(SCENE)
    stills = tmp_path / "stills"
    stills.mkdir()
    for name in ("inf_with.tif", "inf_without.tif", "near.PNG", "notes.txt"):
        (stills / name).write_bytes(b"")
    return tmp_path


@pytest.mark.parametrize(
    ("names", "pairs", "alone"),
    [
        (["a_with.tif", "a_without.tif"], [Pair("a_with.tif", "a_without.tif")], []),
        (["with_box_2.png", "without_box_2.png"], [Pair("with_box_2.png", "without_box_2.png")], []),
        (["A001-28-on.tif", "A001-28-off.tif"], [Pair("A001-28-on.tif", "A001-28-off.tif")], []),
        (["one.tif", "two.tif"], [Pair("one.tif", None), Pair("two.tif", None)], []),
        (["x_no_box.tif", "x.tif", "y_ref.tif"], [Pair("x.tif", "x_no_box.tif")], ["y_ref.tif"]),
        (
            ["a_off.jpg", "a_off.tif", "a_on.jpg", "a_on.TIFF"],
            [Pair("a_on.jpg", "a_off.jpg"), Pair("a_on.TIFF", "a_off.tif")],
            [],
        ),
        (["a_off.jpg", "a_on.tif"], [Pair("a_on.tif", None)], ["a_off.jpg"]),
        (["a_clean.tif", "a_ref.tif", "a_with.tif"], [Pair("a_with.tif", "a_clean.tif")], ["a_ref.tif"]),
    ],
)
def test_stills_are_paired_by_their_names(names, pairs, alone):
    assert paired(names) == (pairs, alone)


def test_notes_list_the_stills_and_ask_what_only_the_crew_can_tell(shoot):
    assert run(shoot / "scene.toml", "--stills", shoot / "stills") == 0
    text = (shoot / "stills" / "shoot.toml").read_text()
    notes = tomllib.loads(text)
    assert [one["with_box"] for one in notes["picture"]] == ["inf_with.tif", "near.PNG"]
    assert notes["picture"][0]["without_box"] == "inf_without.tif"
    assert "without_box" not in notes["picture"][1]
    assert {one[key] for one in notes["picture"] for key in ("curve", "code_range", "covers")} == {"?"}
    assert notes["lens"] == "28"
    assert notes["picture"][0]["focus_mm"] == "infinity"  # the only one that the scene checks
    taken = [line for line in text.splitlines() if line.startswith(("focus_mm", "f_number"))]
    assert len(taken) == 4
    assert all(line.endswith("# from the scene: look whether it was shot at it") for line in taken)
    assert '# "box.flag[top flag].angle_deg",' in text


def test_what_a_mac_leaves_beside_each_still_on_a_card_is_no_still(shoot):
    for name in ("inf_with.tif", "inf_without.tif"):
        (shoot / "stills" / f"._{name}").write_bytes(b"\0\5\x16\7")  # AppleDouble, RFC 1740
    assert run(shoot / "scene.toml", "--stills", shoot / "stills") == 0
    notes = tomllib.loads((shoot / "stills" / "shoot.toml").read_text())
    assert [(one["with_box"], one.get("without_box")) for one in notes["picture"]] == [
        ("inf_with.tif", "inf_without.tif"),
        ("near.PNG", None),
    ]


def test_the_next_command_names_the_scene_by_a_path_that_is_there(shoot, capsys):
    run(shoot / "scene.toml", "--stills", shoot / "stills")
    notes = shoot / "stills" / "shoot.toml"
    command = f"brimline compare {shoot / 'scene.toml'} --shoot {notes} --out compare"
    assert command in capsys.readouterr().out
    assert command in notes.read_text()


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("curve", r"curve: must be one of linear, srgb"),
        ("code_range", r"code_range: must be one of full, narrow"),
        ("covers", r'covers: names no guide of scene.toml, "\?"'),
    ],
)
def test_what_nobody_stated_is_not_guessed(shoot, key, words):
    run(shoot / "scene.toml", "--stills", shoot / "stills")
    notes = shoot / "stills" / "shoot.toml"
    text = notes.read_text()
    for stated, value in {"curve": "srgb", "code_range": "full", "covers": "recorded area"}.items():
        text = text if stated == key else text.replace(f'{stated} = "?"', f'{stated} = "{value}"')
    notes.write_text(text)
    with pytest.raises(SceneError, match=words):
        answer(load_scene(shoot / "scene.toml"), shoot=notes)


def test_notes_that_are_there_are_kept(shoot, capsys):
    (shoot / "stills" / "shoot.toml").write_text("mine")
    assert run(shoot / "scene.toml", "--stills", shoot / "stills") == 2
    assert (shoot / "stills" / "shoot.toml").read_text() == "mine"
    assert "is there already" in capsys.readouterr().err


@pytest.mark.parametrize(("what", "words"), [("nowhere", "nowhere"), ("empty", "holds no stills"), ("scene.toml", "is a file")])
def test_a_folder_without_stills_is_said(shoot, capsys, what, words):
    (shoot / "empty").mkdir()
    assert run(shoot / "scene.toml", "--stills", shoot / what) == 2
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1


def test_notes_or_a_folder_are_asked_for(shoot, capsys):
    assert run(shoot / "scene.toml") == 2
    assert "--stills FOLDER writes such notes first" in capsys.readouterr().err
