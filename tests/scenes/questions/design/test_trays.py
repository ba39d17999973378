"""Trays as a choice: which there are and in which order, each design against the same scene written out by hand."""

import tomllib

import pytest

from scenes.cli import main
from scenes.questions.design.trays import places_mm
from scenes.scene_file.errors import SceneError
from scenes.states.judgement import judge_state
from scenes.states.load import load_scene, plans_of
from tests.scenes.questions.design.made import FREE_FRONT, designed, hood, lens, scene, written

REAR = """
[[box.stage]]                 # for the clear glass
name = "rear"
at_mm = 4
depth_mm = 8
opening_mm = [150, 110]
filter = { width_mm = 160, height_mm = 130, thickness_mm = 4 }
"""
FRONT = """
[[box.stage]]                 # slides
name = "front"
at_mm = 14                    # two mm ahead
depth_mm = 6
opening_mm = [170, 130]
"""
CHOOSE = """
[[design.free]]
of = "box.stage"
choose = [["rear", "front"], ["front", "rear"], ["front"], []]
"""
OPENING = '\n[[design.free]]\nof = "box.stage[rear].opening_mm"\nfrom = [100, 80]\nto = [200, 160]\n'
PLACES = {
    ("rear", "front"): {"rear": 4, "front": 14},
    ("front", "rear"): {"front": 4, "rear": 12},
    ("front",): {"front": 4},
    (): {},
}


def text_of(stages, free=FREE_FRONT, more=""):
    return scene(lens("20", 20, 2.0, 20), hood(at=30, rear=(190, 150)) + stages, free, more=more)


def test_trays_stand_one_behind_the_other_from_the_first_place_on_with_the_least_gap():
    trays = {"a": {"at_mm": 5, "depth_mm": 8}, "b": {"at_mm": 15.5, "depth_mm": 6}, "c": {"at_mm": 23, "depth_mm": 10}}
    # gaps of 2.5 and 1.5 mm
    assert places_mm(trays, ["c", "a", "b"]) == {"c": 5, "a": 16.5, "b": 26}
    assert places_mm(trays, ["b"]) == {"b": 5}


def test_each_choice_of_trays_gives_the_design_of_the_scene_written_out_with_them(tmp_path):
    report = designed(tmp_path, text_of(REAR + FRONT, FREE_FRONT + OPENING + CHOOSE))
    found = {tuple(one.design.pick["box.stage"]): one for one in report.shown}
    assert set(found) == set(PLACES), report.ruled_out
    for names, one in found.items():
        own = {"rear": REAR.replace("at_mm = 4", f"at_mm = {PLACES[names].get('rear')}")}
        own["front"] = FRONT.replace("at_mm = 14", f"at_mm = {PLACES[names].get('front')}")
        by_hand = designed(
            tmp_path, text_of("".join(own[name] for name in names), FREE_FRONT + (OPENING if "rear" in names else ""))
        )
        assert one.design.outside == by_hand.shown[0].design.outside
        assert one.design.measures == by_hand.shown[0].design.measures


def test_a_design_is_written_with_its_trays_in_order_and_the_comments_of_those_that_stay(tmp_path, capsys):
    more = '[[tolerance]]\nof = "box.stage[rear].at_mm"\nplus_minus = 0.2\n[[tolerance]]\nof = "box.ahead_mm"\nplus_minus = 0.3\n'
    path = written(tmp_path, text_of(REAR + FRONT, FREE_FRONT + OPENING + CHOOSE, more))
    assert main(["design", str(path), "--out", str(tmp_path / "out")]) == 0
    page = capsys.readouterr().out
    assert "front + rear" in page
    assert "no tray" in page
    seen = set()
    for file in sorted((tmp_path / "out").glob("design-*.toml")):
        text = file.read_text()
        tables = tomllib.loads(text)
        names = tuple(row["name"] for row in tables["box"].get("stage", ()))
        assert {row["name"]: row["at_mm"] for row in tables["box"].get("stage", ())} == PLACES[names]
        assert ("# for the clear glass" in text, "# slides" in text) == ("rear" in names, "front" in names)
        assert [row["of"] for row in tables["tolerance"]] == (["box.stage[rear].at_mm"] if "rear" in names else []) + [
            "box.ahead_mm"
        ]
        assert all(judge_state(state).clear for state in plans_of(load_scene(file)))
        seen.add(names)
    assert seen == set(PLACES)


@pytest.mark.parametrize(
    ("free", "said"),
    [
        (CHOOSE.replace('["front"]', '["frnt"]'), 'must hold lists of trays in their order from the lens on, of "rear", "front"'),
        (CHOOSE.replace('["front"]', '["front", "front"]'), "none twice"),
        (CHOOSE.replace('["front"]', '"front"'), "must hold lists of trays"),
        ('\n[[design.free]]\nof = "box.stage"\nfrom = 1\nto = 2\n', "is a list of trays; give choose"),
        (CHOOSE + OPENING.replace("[rear]", "[1]"), "must name its tray, as box.stage[rear], where trays are chosen"),
        (
            CHOOSE + '\n[[tolerance]]\nof = "box.stage[1].opening_mm"\nplus_minus = 1\n',
            'must name its tray, as box.stage[rear], where trays are chosen; got "box.stage[1].opening_mm"',
        ),
    ],
)
def test_a_choice_of_trays_that_cannot_be_is_told_in_a_sentence(tmp_path, free, said):
    with pytest.raises(SceneError) as caught:
        load_scene(written(tmp_path, text_of(REAR + FRONT, FREE_FRONT + free)))
    assert any(said in str(one.problem) for one in caught.value.complaints)
