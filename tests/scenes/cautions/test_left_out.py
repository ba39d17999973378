"""A lens that lists leave out, names of close-up lenses (+2: common practice), and tolerances that nobody builds to."""

import pytest

from scenes.cautions.left_out import left_out_words
from scenes.cautions.part_names import power_words
from scenes.cautions.small_tolerances import small_tolerance_words
from scenes.scene_file.parse import parse_scene

NAMES = ("21", "35", "75")


def scene_of(box, more=""):
    lenses = "".join(
        f'[[lens]]\nname = "{name}"\nfocal_mm = {name}\nf_number = 2\nfront_diameter_mm = 94\n'
        f"pupil_behind_front_mm = {30 + int(name) // 3}\n"
        for name in NAMES
    )
    return parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{lenses}[box]\nahead_mm = 2\n{box}{more}', source="s.toml")


def masks(*lists):
    return "".join(
        f'[[box.mask]]\nname = "m{at}"\nat_mm = {20 + at}\nopening_mm = [120, 80]\n{f"lenses = {list(names)}" if names else ""}\n'
        for at, names in enumerate(lists)
    ).replace("'", '"')


@pytest.mark.parametrize(
    ("lists", "left_out"),
    [
        ((["21"], ["35"]), "75"),
        ((["21"], ["75"]), "35"),
        ((["35"], ["75"]), None),  # the widest lens goes without many a mask or tray
        ((["21"], ["35", "75"]), None),
        ((["35", "75"],), None),  # the only mask may well be for two of them
        ((["21"], ["35"], []), None),  # the third is for all
        ((["21"], ["21"]), None),  # two are left out: that is meant
    ],
)
def test_a_lens_that_the_lists_of_masks_leave_out_alone_is_told(lists, left_out):
    scene = scene_of(masks(*lists))
    told = [lens.name for lens in scene.lens if any("has no mask" in text for text in left_out_words(scene.box, lens, scene.lens))]
    assert told == ([left_out] if left_out else [])


def test_flags_count_by_their_side():
    flag = '[[box.flag]]\nname = "{0} {2}"\nside = "{0}"\nangle_deg = {3}\nlenses = ["{1}"]\n'
    flag += "length_mm = 90\nwidth_mm = 190\nhinge_mm = 90\nat_mm = 80\n"
    scene = scene_of(flag.format("left", "21", 1, 40) + flag.format("left", "35", 2, 60))
    assert [text for lens in scene.lens for text in left_out_words(scene.box, lens, scene.lens) if "has no left flag" in text]
    scene = scene_of(flag.format("left", "21", 1, 40) + flag.format("right", "35", 2, 60))
    assert not [text for lens in scene.lens for text in left_out_words(scene.box, lens, scene.lens)]


@pytest.mark.parametrize(
    ("name", "power", "is_told"),
    [
        ("+2", 0.2, True),
        ("close-up +2", 2, False),
        ("close-up +.5", 0.5, False),
        ("close-up +.5", 5, True),
        ("2 dioptre", 1, True),
        ("half dioptre", 2, True),
        ("half-diopter", 0.5, False),
        ("2 diopter", 2, False),
        ("-1", 1, True),
        ("close-up 2", 1, False),  # the second of them
        ("close-up 4x5.65", 1, False),
    ],
)
def test_a_close_up_lens_of_another_power_than_its_name_is_told(name, power, is_told):
    glass = f'{{ name = "{name}", size = "4x5.65", thickness_mm = 6, kind = "close-up", power_dioptre = {power} }}'
    box = scene_of(f"[[box.stage]]\nat_mm = 8\ndepth_mm = 8\nopening_mm = [130, 95]\nfilter = {glass}\n").box
    assert any("speaks against the name of its filter" in text for _, text in power_words(box)) == is_told


@pytest.mark.parametrize(
    ("of", "plus_minus", "is_told"),
    [
        ("box.ahead_mm", 0.0005, True),
        ("box.ahead_mm", 0.05, False),
        ("lens[21].pupil_behind_front_mm", 0.002, True),
        ("box.tilt_deg", 0.005, False),
    ],
)
def test_a_tolerance_finer_than_anything_is_built_is_told(of, plus_minus, is_told):
    scene = scene_of("", f'[[tolerance]]\nof = "{of}"\nplus_minus = {plus_minus}\n')
    assert any("finer than anything is built" in text for text in small_tolerance_words(scene)) == is_told
