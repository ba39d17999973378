"""How many masks a lens set shares: against every way to share them by closed forms, and against scenes written out by hand."""

import tomllib
from dataclasses import replace
from itertools import product

import pytest

from scenes.cli import main
from scenes.questions.design import contradictions
from scenes.questions.design.bench import LensBench
from scenes.questions.design.designer import Designer
from scenes.questions.design.wishes import wishes_of
from scenes.scene_file.errors import SceneError
from scenes.states.judgement import judge_state
from scenes.states.load import load_scene, plans_of
from tests.scenes.questions.design.made import designed, half_mm, lens, scene, written

LENSES = {"20": (20, 2.0, 20), "24": (24, 2.8, 30), "40": (40, 1.4, 60), "75": (75, 2.0, 90)}
AT, THICK, WALK_MM = 30, 0.1, 2.5  # room that a fixed pupil asks for: docs/physics.md, "Pupils taken as fixed"
MASK = """
[[box.mask]]                  # to be cut
name = "mask"
at_mm = 30
opening_mm = [200, 160]
corner_mm = {corner}
thickness_mm = 0.1
outer_mm = [400, 300]
"""
OPENING = '\n[[design.free]]\nof = "box.mask.opening_mm"   # as tight as can be\nfrom = [20, 20]\nto = [{wide}, 210]\n'
HOW_MANY = '\n[[design.free]]\nof = "box.mask"\nchoose = {}\n'


def text_of(names, counts, corner=0, more="", wide=260, small='small = ["front_area"]'):
    lenses = "".join(lens(name, *LENSES[name]) for name in names)
    return scene(lenses, MASK.format(corner=corner), OPENING.format(wide=wide) + HOW_MANY.format(counts), small, more)


def own_mm(name):
    return [2 * half_mm(half, *LENSES[name], AT + THICK, WALK_MM) for half in (18, 12)]


def opening_mm(group):
    return [max(own_mm(name)[side] for name in group) for side in (0, 1)]


def every_way(names, count):
    """Groups of lenses, none of them empty, by giving each lens a number."""
    for numbers in product(range(count), repeat=len(names)):
        groups = [tuple(name for name, own in zip(names, numbers, strict=True) if own == number) for number in range(count)]
        if all(groups):
            yield frozenset(groups)


def area_mm2(groups):
    return sum(len(group) * width * height for group in groups for width, height in [opening_mm(group)])


def test_lenses_share_masks_as_in_the_best_of_every_way_by_similar_triangles(tmp_path):
    report = designed(tmp_path, text_of(LENSES, [1, 2, 3, 4]))
    found = {len(one.design.scene.box.mask): one for one in report.shown}
    assert sorted(found) == [1, 2, 3, 4]
    for count, one in found.items():
        best = min(every_way(list(LENSES), count), key=area_mm2)
        masks = {mask.lenses or tuple(LENSES): mask.opening_mm for mask in one.design.scene.box.mask}
        assert set(masks) == best
        for group, size in masks.items():
            for side, by_hand in zip(size, opening_mm(group), strict=True):
                assert by_hand - 0.02 <= side <= by_hand + 0.25  # a notch of 0.1, and what the judgement's pads add
        assert one.design.outside.mask_area_mm2 == pytest.approx(area_mm2(best), rel=0.01)
        assert one.design.outside.masks == count
        assert one.design.found.is_proven


@pytest.mark.slow
def test_masks_with_round_corners_are_shared_as_in_the_best_of_scenes_written_out_by_hand(tmp_path):
    names = ("20", "40", "75")
    (one,) = designed(tmp_path, text_of(names, [2], corner=20)).shown
    by_hand = [designed(tmp_path, by_group(names, groups)).shown[0].design.outside for groups in every_way(names, 2)]
    assert one.design.outside.mask_area_mm2 == min(outside.mask_area_mm2 for outside in by_hand)


def by_group(names, groups):
    masks = "".join(
        MASK.format(corner=20).replace('"mask"', f'"{k}"') + f"lenses = {list(group)}\n" for k, group in enumerate(sorted(groups))
    )
    free = "".join(OPENING.format(wide=260).replace("mask.", f"mask[{k}].") for k in range(len(groups)))
    return scene("".join(lens(name, *LENSES[name]) for name in names), masks, free)


def test_the_fewest_masks_or_the_tightest_come_first_as_is_asked(tmp_path):
    few = designed(tmp_path, text_of(LENSES, [1, 3], small='small = ["masks", "mask_area"]')).shown
    tight = designed(tmp_path, text_of(LENSES, [1, 3], small='small = ["mask_area"]')).shown
    assert [one.design.outside.masks for one in few] == [1, 3]
    assert [one.design.outside.masks for one in tight] == [3, 1]


def test_a_design_with_masks_for_groups_is_a_scene_file_with_all_that_named_the_mask_told_of_each(tmp_path, capsys):
    more = '[[tolerance]]\nof = "box.mask[mask].at_mm"\nplus_minus = 0.2\n[make]\n[[make.part]]\nof = "mask"\nmaterial = "abs"\n'
    assert main(["design", str(written(tmp_path, text_of(LENSES, [2], more=more))), "--out", str(tmp_path / "out")]) == 0
    page = capsys.readouterr().out
    assert "It has 2 masks: 20, 24, 75; 40." in " ".join(page.split())  # the best by similar triangles too
    text = (tmp_path / "out" / "design-1.toml").read_text()
    tables = tomllib.loads(text)
    assert text.count("# to be cut") == text.count("# as tight as can be") == 2
    assert [(row["name"], row["lenses"]) for row in tables["box"]["mask"]] == [("mask 1", ["20", "24", "75"]), ("mask 2", ["40"])]
    assert [row["of"] for row in tables["tolerance"]] == ["box.mask[mask 1].at_mm", "box.mask[mask 2].at_mm"]
    assert [row["of"] for row in tables["make"]["part"]] == ["mask 1", "mask 2"]
    assert all(judge_state(state).clear for state in plans_of(load_scene(tmp_path / "out" / "design-1.toml")))


def test_an_opening_that_no_mask_may_have_is_named_with_the_least_that_is_enough(tmp_path):
    width, _ = own_mm("20")
    text = text_of(("20", "75"), [2], wide=round(width) - 10)  # three times as wide there is no such mask: its outside is given
    found = designed(tmp_path, text).contradiction
    assert {wish.kind for wish in found.wishes} >= {"end"}
    (way,) = (way for way in found.ways if way.wishes[0].kind == "end")
    assert float(way.words.split()[0]) == pytest.approx(width, abs=0.3)


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ("choose = [1, 2]", "choose = [1, 5]", "whole numbers of masks, 1 to 2 with 2 lenses, got 5"),
        ("choose = [1, 2]", "choose = [1.5, 2]", "whole numbers of masks"),
        ("choose = [1, 2]", "from = 1\nto = 2", "is a number of masks; give choose"),
        ("choose = [1, 2]", "choose = []", "must be an array of at least one number"),
        ("thickness_mm = 0.1", 'thickness_mm = 0.1\nlenses = ["20"]', "needs one [[box.mask]]"),
        (OPENING.format(wide=260), "", 'of = "box.mask.opening_mm", from and to'),
        (
            "[20, 20]\nto = [260, 210]",
            '[20, 20]\nto = [99, 99]\n[[design.free]]\nof = "box.mask.at_mm"\nfrom = 1\nto = 2',
            "must leave the mask but for its opening",
        ),
    ],
)
def test_a_number_of_masks_that_cannot_be_is_told_in_a_sentence(tmp_path, right, wrong, said):
    text = text_of(("20", "75"), [1, 2])
    assert right in text
    with pytest.raises(SceneError) as caught:
        load_scene(written(tmp_path, text.replace(right, wrong)))
    assert any(said in str(one.problem) for one in caught.value.complaints), caught.value


@pytest.mark.parametrize(
    ("wide", "want"),
    [(round(own_mm("20")[0]) - 10, ""), (130, "[design.want]\nroom_mm = 20\n"), (260, "[design.limits]\nwidth_mm = 399\n")],
)
def test_what_contradicts_is_found_with_less_where_a_mask_for_each_lens_would_not_do_either(tmp_path, monkeypatch, wide, want):
    text = text_of(("20", "40", "75"), [1, 2, 3], wide=wide, small=f'small = ["front_area"]\n{want}')
    built, build = [], LensBench.boxes
    monkeypatch.setattr(LensBench, "boxes", lambda *scene: built.append(1) or build(*scene))
    quick, few = designed(tmp_path, text).contradiction, len(built)
    monkeypatch.setattr(contradictions, "hopeful", lambda designer, _: designer.picks)
    slow, many = designed(tmp_path, text).contradiction, len(built) - few
    assert quick.wishes
    assert [told(found) for found in (quick, slow)] == [told(slow)] * 2
    assert few < many


def told(found):
    ways = [(way.wishes, way.share, way.words, way.design and way.design.found.cost) for way in found.ways]
    return found.wishes, found.alike, found.more, found.stuck, ways


def test_a_box_is_judged_once_whatever_limits_and_lights_are_asked_of_it(tmp_path, monkeypatch):
    designer = Designer(load_scene(written(tmp_path, text_of(("20", "75"), [1]))))
    designer.prepare()
    wishes = wishes_of(designer.loaded.scene)
    asked, clears = [], LensBench.clears
    monkeypatch.setattr(LensBench, "clears", lambda *box: asked.append(1) or clears(*box))
    found = designer.best(wishes)
    count = len(asked)
    assert count > 0
    limited = designer.best(replace(wishes, limits=(("depth", 500.0),)))
    assert len(asked) == count
    assert [one.notches for one in limited] == [one.notches for one in found]
