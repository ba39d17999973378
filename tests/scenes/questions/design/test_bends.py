"""Rods that bend under a design: against the design without rods and handbook beams, and against what `make` says of it."""

import math

import pytest

from geometry.cantilever import Rod, sag
from scenes.cli import main
from scenes.questions.design.text import clear_words
from scenes.questions.make.answer import answer as made
from scenes.states.load import load_scene
from tests.scenes.questions.design.made import FREE_FRONT, designed, hood, lens, scene, written

LIMP = """
[make]
rod_length_mm = 260
rod_material = "limp"
[[make.own]]
name = "limp"
density_g_cm3 = 0.1
modulus_gpa = {}
"""
AT, DEPTH = 20, 60


def text_of(modulus_gpa, mount="rods-15", free=FREE_FRONT):
    box = hood(at=AT, depth=DEPTH, rear=(150, 110))
    return scene(lens("20", 20, 2.0, 40), box, free, more=LIMP.format(modulus_gpa), mount=mount)


def front_mm(shown):
    return [reason.value for reason in shown.reasons if "front" in reason.path]


def test_a_hood_is_higher_by_what_its_rods_bend_and_clear_as_make_judges_it(tmp_path, capsys):
    (rigid,) = designed(tmp_path, text_of(5, "clamp")).shown
    (bent,) = designed(tmp_path, text_of(5)).shown
    kg = sum(part.range_kg[1] for part in made(bent.loaded).report.parts.made)
    force = kg * 9.80665 / 2
    # a tube of 15 x 1.5 mm, the hood's middle of mass 52 mm ahead of its end: J. M. Gere, Mechanics of Materials, appendix
    by_hand = sag(Rod(diameter_mm=15, wall_mm=1.5, modulus_gpa=5, density_g_cm3=0.1), 260, force, force * 52)
    (width, height), (own_width, own_height) = front_mm(bent), front_mm(rigid)
    # the front edge drops with the rods' end, and as the box leans; its top moves forward, into a beam that opens by 12/20
    lower_mm = by_hand.drop_mm + by_hand.tilt_rad * (AT + DEPTH + height / 2 * 12 / 20)
    assert 2 * lower_mm - 0.1 <= height - own_height <= 2 * 1.06 * lower_mm + 0.2
    assert lower_mm > 2
    assert 0 <= width - own_width <= 2 * by_hand.tilt_rad * height / 2 * 18 / 20 + 0.2
    assert not bent.why_bent
    assert dict(bent.bends)["20"].drop_mm == pytest.approx(by_hand.drop_mm, rel=0.02)
    path = written(tmp_path, text_of(5))
    assert main(["design", str(path), "--out", str(tmp_path / "out")]) == 0
    assert "as it is made and hangs" in " ".join(capsys.readouterr().out.split())
    assert made(load_scene(tmp_path / "out" / "design-1.toml")).exit_status == 0


def test_a_clamped_box_has_room_for_the_round_corners_of_its_bent_hood(tmp_path):
    """A bend of radius R comes (sqrt 2 - 1) R into a right-angled corner: `make` calls the box that fits sharp ones not clear."""
    box = hood(at=AT, depth=DEPTH, rear=(150, 110))
    text = scene(lens("20", 20, 8.0, 40), box, FREE_FRONT, more="[make]\nbend_radius_mm = 20\n", mount="clamp")
    (sharp,) = designed(tmp_path, text.replace("radius_mm = 20\n", 'radius_mm = 20\njoint = "panels"\n')).shown
    report = designed(tmp_path, text)
    (shown,) = report.shown
    assert not shown.why_bent
    assert front_mm(shown) > front_mm(sharp)
    path = written(tmp_path, text)
    assert main(["design", str(path), "--out", str(tmp_path / "out")]) == 0
    assert made(load_scene(tmp_path / "out" / "design-1.toml")).exit_status == 0
    assert "with the corners of its hood as round as bent" in clear_words(report, shown)


def test_stiff_rods_ask_for_nothing(tmp_path):
    (rigid,) = designed(tmp_path, text_of(5, "clamp")).shown
    report = designed(tmp_path, text_of(1000))
    assert front_mm(report.shown[0]) == front_mm(rigid)
    assert not any(price.wish.kind == "bend" for price in report.prices)


def test_what_bent_rods_cost_is_the_box_on_a_clamp(tmp_path):
    (rigid,) = designed(tmp_path, text_of(5, "clamp")).shown
    report = designed(tmp_path, text_of(5))
    (price,) = (price for price in report.prices if price.wish.kind == "bend")
    assert price.height_mm == pytest.approx(report.shown[0].design.outside.height_mm - rigid.design.outside.height_mm)
    assert price.height_mm > 1


def test_where_no_box_that_is_allowed_is_clear_as_its_rods_bend_the_answer_says_so(tmp_path, capsys):
    (rigid,) = designed(tmp_path, text_of(5, "clamp")).shown
    most = math.ceil(front_mm(rigid)[1]) + 0.5
    path = written(tmp_path, text_of(1, free=FREE_FRONT.replace("320]", f"{most}]")))
    assert main(["design", str(path), "--out", str(tmp_path / "out")]) == 0
    page = " ".join(capsys.readouterr().out.split())
    assert "it is no longer clear, not with the 20, infinity, f/2, and no larger box that you allow is." in page
    assert made(load_scene(tmp_path / "out" / "design-1.toml")).exit_status == 1
