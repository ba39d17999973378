"""`check --prove` and `verify` as a person meets them."""

import json

import pytest

from scenes.cli import main
from tests.scenes.proof.test_verify import SCENE

QUICK = ("--engine", "reference", "--pixels", "6", "--no-pictures", "--threads", "1")
BENT = '[[lens]]\nname = "40"\nfocal_mm = 40\nf_number = 4\nfront_diameter_mm = 90\nfront_to_sensor_mm = 120\n'
BENT += "squeeze = 1.33\ndistortion = [-0.01, 0.0]\npupil_behind_front_mm = 38\n[box]\nahead"
ROOMY = SCENE.replace('25"\nfocal_mm = 25', '32"\nfocal_mm = 32').replace("[box]\nahead", BENT).replace(', "close"', "")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("proved")
    (place / "show.toml").write_text(ROOMY)
    assert main(["check", str(place / "show.toml"), "--prove", "--out", str(place / "out"), *QUICK]) == 0
    return place


def test_check_leaves_proofs_and_says_of_each_clear_guide_whether_it_is_proved(folder):
    results = json.loads((folder / "out/results.json").read_text())
    fixed, bent = results["states"]
    assert [state["verdict"] for state in results["states"]] == ["clear", "clear"]
    assert fixed["proofs"][0]["proved"]
    assert 2.49 < fixed["proofs"][0]["room_mm"] <= fixed["guides"][0]["room"]["mm"] + 0.005
    assert bent["proofs"] == [
        {
            "guide": "whole frame",
            "proved": False,
            "room_mm": None,
            "why": "it is anamorphic, and its picture is distorted or its pupil walks",
        }
    ]
    assert "proof.json" in results["files"]
    proof = json.loads((folder / "out/proof.json").read_text())
    assert [entry["proof"] is None for entry in proof["guides"]] == [False, True]
    assert proof["scene"] == results["scene"]


def test_the_table_tells_of_proofs_only_where_they_were_asked_for(folder, capsys):
    main(["check", str(folder / "show.toml"), *QUICK])
    assert "proved" not in capsys.readouterr().out
    main(["check", str(folder / "show.toml"), "--prove", *QUICK])
    said = " ".join(capsys.readouterr().out.split())
    assert "proved, no part nearer than" in said
    assert "rests on the judgement alone: it is anamorphic, and its picture is distorted or its pupil walks" in said


def test_verify_says_a_line_for_each_guide_and_ends_with_0_where_all_proofs_hold(folder, capsys):
    assert main(["verify", str(folder / "show.toml"), str(folder / "out")]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split(":")[0] for line in lines] == ["32_inf_f2.8, whole frame", "40_inf_f4, whole frame"]


def test_verify_reads_a_scene_as_windows_saves_it(folder):
    """The Unicode Standard, 23.8: a byte order mark may begin a UTF-8 file; as check reads it."""
    (folder / "marked.toml").write_bytes("\ufeff".encode() + ROOMY.replace("\n", "\r\n").encode())
    assert main(["verify", str(folder / "marked.toml"), str(folder / "out")]) == 0


def test_verify_ends_with_1_for_another_scene_and_with_2_where_there_is_nothing_to_read(folder, capsys):
    (folder / "other.toml").write_text(ROOMY.replace("angle_deg = 48", "angle_deg = 15"))
    assert main(["verify", str(folder / "other.toml"), str(folder / "out/proof.json")]) == 1
    assert "32_inf_f2.8, whole frame: refused" in capsys.readouterr().out
    assert main(["verify", str(folder / "none.toml"), str(folder / "out")]) == 2
    assert "none.toml" in capsys.readouterr().err
    assert main(["verify", str(folder / "show.toml"), str(folder)]) == 2


@pytest.mark.parametrize(("right", "wrong"), [("[[box.flag]]", "[[box.flags]]"), ("angle_deg", "angle")])
def test_verify_takes_no_scene_that_check_refuses(folder, capsys, right, wrong):
    dark = '[[box.flag]]\nname = "new"\nside = "top"\nangle_deg = 0\nlength_mm = 200\nwidth_mm = 260\nhinge_mm = 10\nat_mm = 70\n'
    (folder / "misspelt.toml").write_text(f"{ROOMY}\n{dark.replace(right, wrong)}")
    assert main(["verify", str(folder / "misspelt.toml"), str(folder / "out")]) == 2
    said = capsys.readouterr()
    assert not said.out
    assert wrong.strip("[]") in said.err


def test_verify_ends_with_1_where_nothing_is_proved(folder, capsys):
    data = json.loads((folder / "out/proof.json").read_text())
    (folder / "alone.json").write_text(json.dumps({**data, "guides": data["guides"][1:]}))
    assert main(["verify", str(folder / "show.toml"), str(folder / "alone.json")]) == 1
    assert "rests on the judgement alone" in capsys.readouterr().out
