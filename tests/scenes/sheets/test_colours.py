"""The ramp of lost light as people see it: lightness by CIE L*, colour vision by the published matrices.

L*a*b* and its difference: CIE 15:2004, Colorimetry, sections 8.2.1 and 8.2.1.3 (1976 formula), white D65; sRGB: IEC 61966-2-1.
Simulations: Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE TVCG
15 (2009) 1291, table 1, severity 1.0, on linear RGB. The limits on differences are common practice: 2.3 is just noticeable
(Mahy, Van Eycken and Oosterlinck, Color Res. Appl. 19 (1994) 105); 10 is seen at a glance.
"""

import itertools
import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from scenes.sheets import colours
from scenes.sheets.colours import DARK_STOPS, PART_COLOURS, RAMP_STEPS, loss_colours, loss_ramp, loss_scale, rgb_of, srgb_of
from scenes.sheets.style import VERDICT_ORDER, badge_of

SIMULATIONS = {
    "red missing": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "green missing": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "blue missing": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}
KINDS = [None, *SIMULATIONS]
GLANCE, NOTICEABLE = 10.0, 2.3
OVERLAYS = {"what stops light": colours.HIGHLIGHT, "clear ray": colours.RAY_CLEAR, "dimmed ray": colours.RAY_DIMMED}
NAMED = {
    **OVERLAYS,
    **{f"badge {word}": badge_of(word).ground for word in VERDICT_ORDER},
    **{f"part {kind}": colour for kind, colour in PART_COLOURS.items()},
    "glass": colours.GLASS_COLOUR,
    "guide": colours.GUIDE,
}


def linear(rgb):
    rgb = np.asarray(rgb, dtype=float)
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def lab(rgb, kind=None):
    """CIE L*a*b* (N, 3) of sRGB (N, 3), as somebody with that colour vision sees it."""
    light = linear(rgb)
    if kind is not None:
        light = np.clip(light @ np.array(SIMULATIONS[kind]).T, 0.0, 1.0)
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])  # IEC 61966-2-1
    relative = light @ to_xyz.T / [0.9505, 1.0, 1.0890]
    f = np.where(relative > (6 / 29) ** 3, np.cbrt(relative), relative / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.column_stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])])


def apart(some, others, kind=None):
    """Differences (N, M) between colours."""
    return np.linalg.norm(lab(some, kind)[:, None] - lab(others, kind)[None], axis=-1)


@pytest.mark.parametrize("kind", KINDS)
def test_more_loss_is_darker_in_even_steps_with_any_colour_vision(kind):
    steps = -np.diff(lab(loss_ramp(), kind)[:, 0])
    assert steps.min() > 0.75 * steps.mean()
    assert steps.max() < 1.25 * steps.mean()


def test_the_ramp_runs_from_a_clean_card_to_black():
    first, last = lab(loss_ramp())[[0, -1]]
    assert first[0] > 95
    assert np.hypot(*first[1:]) < 1  # no tint
    assert last[0] < 12
    assert to_rgb(loss_colours().get_over()) == (0.0, 0.0, 0.0)
    assert loss_scale()(DARK_STOPS) == 1.0
    assert tuple(loss_colours()(loss_scale()(10.0))[:3]) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("kind", KINDS)
def test_a_tenth_of_a_stop_is_seen_from_none_and_every_third_from_the_next(kind):
    at = np.round(np.array([0.0, 0.1, *(k / 3 for k in range(1, 10))]) / DARK_STOPS * (RAMP_STEPS - 1)).astype(int)
    shown = loss_ramp()[at]
    gaps = apart(shown, shown, kind)[np.arange(len(at) - 1), np.arange(1, len(at))]
    assert gaps[0] > NOTICEABLE
    assert gaps[2:].min() > GLANCE * 0.9


def test_the_ramp_prints_grey_in_even_steps():
    grey = 0.2126 * linear(loss_ramp())[:, 0] + 0.7152 * linear(loss_ramp())[:, 1] + 0.0722 * linear(loss_ramp())[:, 2]
    steps = -np.diff(116 * np.cbrt(grey[grey > (6 / 29) ** 3]) - 16)
    assert steps.max() / steps.min() < 1.1


@pytest.mark.parametrize("name", NAMED)
def test_no_badge_part_or_ray_looks_like_the_ramp(name):
    assert apart([rgb_of(NAMED[name])], loss_ramp()).min() > GLANCE


@pytest.mark.parametrize("kind", SIMULATIONS)
@pytest.mark.parametrize("name", OVERLAYS)
def test_what_is_drawn_over_the_ramp_stands_out_with_any_colour_vision(name, kind):
    assert apart([rgb_of(OVERLAYS[name])], loss_ramp(), kind).min() > GLANCE


@pytest.mark.parametrize("kind", SIMULATIONS)
@pytest.mark.parametrize("passing", ["clear ray", "dimmed ray"])
def test_light_that_gets_through_is_told_at_a_glance_from_what_stops_it_with_any_colour_vision(passing, kind):
    assert apart([rgb_of(OVERLAYS[passing])], [rgb_of(colours.HIGHLIGHT)], kind)[0, 0] > 4 * GLANCE


def test_badges_parts_and_rays_look_like_none_of_each_other():
    alike = [(a, b) for a, b in itertools.combinations(NAMED, 2) if apart([rgb_of(NAMED[a])], [rgb_of(NAMED[b])])[0, 0] < GLANCE]
    assert alike == []


@pytest.mark.parametrize("kind", KINDS)
def test_badges_are_told_apart_with_any_colour_vision(kind):
    grounds = [rgb_of(badge_of(word).ground) for word in VERDICT_ORDER]
    assert min(apart([a], [b], kind)[0, 0] for a, b in itertools.combinations(grounds, 2)) > GLANCE


def test_lab_turns_back_into_the_colour_it_came_from():
    given = np.array([[0.2, 0.5, 0.7], [1.0, 1.0, 1.0], [0.9, 0.3, 0.0]])
    assert srgb_of(lab(given)) == pytest.approx(given, abs=2e-3)


def test_hex_colours_are_read_as_matplotlib_reads_them():
    assert all(rgb_of(colour) == pytest.approx(to_rgb(colour)) for colour in NAMED.values())


def test_no_other_module_of_the_pictures_makes_a_colour_of_its_own():
    folder = Path(colours.__file__).parents[1]
    drawn = [*folder.glob("sheets/*.py"), *folder.glob("view3d/*.py"), *folder.glob("questions/*/*.py")]
    texts = {path: path.read_text() for path in drawn if path.name != "colours.py"}
    named = [(path.name, word) for path, text in texts.items() for word in re.findall(r'"(#[0-9A-Fa-f]{6})"', text)]
    assert [(name, word) for name, word in named if np.hypot(*lab([rgb_of(word)])[0, 1:]) > 3.0] == []  # greys are free
    assert [path.name for path, text in texts.items() if re.search(r'cmap="|colormaps', text)] == []
