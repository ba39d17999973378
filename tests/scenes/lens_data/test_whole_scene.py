"""What the reader writes, put into a whole scene: the field and pupil of its check are those of a pinhole model made here.

The model is OpenLensIO 1.0.0's: a pinhole in the entrance pupil, the picture's points undistorted by eq. 16, then straight lines
(eq. 2 to 5). Nothing of the reader is used to make it.
"""

import json
import re
from dataclasses import dataclass

import numpy as np
import pytest

from raytrace.optics.lens import field_slopes
from scenes.cli import main
from scenes.rig.lens import lens_variants
from scenes.scene_file.examples import starter_text
from scenes.scene_file.parse import parse_scene
from scenes.states.state import pixel_grid
from tests.scenes.lens_data.samples_made import written

LENGTH_MM = 150.0
OWN = ["--name", "25", "--front-to-sensor-mm", "150", "--front-travel-mm", "4", "--close-focus-mm", "400", "--f-number", "2"]
OWN += ["--front-diameter-mm", "114"]


@dataclass(frozen=True)
class Pinhole:
    """A lens at one focus: pupil from the sensor, focal length [mm], k1 of the undistorting series [mm^-2]."""

    focus_mm: float
    pupil_mm: float
    focal_mm: float
    k1: float

    def tangents(self, points_mm):
        r = np.hypot(*points_mm.T)
        return points_mm * (1.0 + self.k1 * r**2)[:, None] / self.focal_mm

    def sample(self):
        camera = {"activeSensorPhysicalDimensions": {"width": 36.0, "height": 24.0}}
        lens = {
            "focusDistance": min(self.focus_mm, 1e6 * 2) / 1000.0,
            "entrancePupilOffset": self.pupil_mm / 1000.0,
            "pinholeFocalLength": self.focal_mm,
            "distortion": [{"model": "Brown-Conrady D-U", "radial": [self.k1]}],
        }
        return {"static": {"camera": camera, "lens": {"nominalFocalLength": 25.0}}, "lens": lens}


FOCI = [Pinhole(np.inf, 104.0, 25.0, 6e-5), Pinhole(1000.0, 105.0, 24.6, 6e-5), Pinhole(400.0, 107.0, 24.0, 6e-5)]


def scene_with(lens):
    """The starter scene, its lens put out for another."""
    text = starter_text()
    first, last = text.index("[[lens]]"), text.index("# ---- the box")
    return text[:first] + lens + "\n" + text[last:]


def written_lens(tmp_path, capsys, samples=None, own=OWN):
    path = written(tmp_path, samples or [one.sample() for one in FOCI])
    status = main(["lens", str(path), *own])
    told = capsys.readouterr()
    assert status == 0, told.err
    return told.out


def picture_points():
    x, y = np.meshgrid(np.linspace(-18, 18, 9), np.linspace(-12, 12, 7))
    return np.column_stack([x.ravel(), y.ravel()])


@pytest.mark.parametrize("model", FOCI, ids=["infinity", "1 m", "0.4 m"])
def test_field_and_pupil_of_the_scene_are_the_pinhole_s_and_nowhere_narrower(tmp_path, capsys, model):
    scene = parse_scene(scene_with(written_lens(tmp_path, capsys)), "show.toml")
    (lens,) = scene.lens
    variants = lens_variants(lens, pixel_grid(scene.camera), None, focal_mm=25.0, focus_mm=model.focus_mm, f_number=2.0)
    moved = {np.inf: (0.0, 0.0), 1000.0: (0.0, 4.0), 400.0: (4.0, 4.0)}[model.focus_mm]
    depths = sorted(one.lens.pupil.behind_front_mm[0] for one in variants)
    assert [depths[0], depths[-1]] == pytest.approx([LENGTH_MM + travel - model.pupil_mm for travel in moved])
    points = picture_points()
    for variant in variants:
        field = field_slopes(variant.lens, points[:, 0], points[:, 1])
        scene_tan, true = np.hypot(field.tan_right, field.tan_up), np.hypot(*model.tangents(points).T)
        assert (scene_tan >= true * (1 - 1e-6)).all()
        assert (scene_tan <= true * 1.003 + 1e-9).all()
        # the plane in focus counts from the image plane
        if np.isfinite(model.focus_mm):
            assert variant.lens.object_z_mm == pytest.approx(model.focus_mm - LENGTH_MM - 4.0)


def test_a_check_of_the_whole_scene_runs_with_the_lens_as_written(tmp_path, capsys):
    path = tmp_path / "show.toml"
    path.write_text(scene_with(written_lens(tmp_path, capsys)), encoding="utf-8")
    out = tmp_path / "out"
    quick = ("--engine", "reference", "--pixels", "6", "--no-pictures", "--no-range", "--threads", "1", "--out", str(out))
    assert main(["check", str(path), *quick]) in {0, 1}
    said = capsys.readouterr()
    assert "fault" not in said.out
    states = json.loads((out / "results.json").read_text(encoding="utf-8"))["states"]
    assert {(state["focal_mm"], state["focus_mm"]) for state in states} == {(25.0, "infinity"), (25.0, 400.0)}
    assert all(state["field_guess_percent"] is None for state in states)  # told, not guessed
    assert all(state["pupils"] == ["pupil as stated"] for state in states)


def test_the_lens_is_written_whole_to_a_new_file_and_never_over_another(tmp_path, capsys):
    path, out = written(tmp_path, [one.sample() for one in FOCI]), tmp_path / "25.toml"
    assert main(["lens", str(path), *OWN, "-o", str(out)]) == 0
    said = capsys.readouterr()
    assert said.out == f"wrote {out}: a lens with 3 rows; put it into your scene file\n"
    assert said.err.count("check: ") == said.err.count("\n") == out.read_text(encoding="utf-8").count("# Check: ")
    before = out.read_bytes()
    assert main(["lens", str(path), *OWN, "-o", str(out)]) == 2
    assert capsys.readouterr().err.endswith("is there already; give another name, or move it away first\n")
    assert out.read_bytes() == before


def test_a_lens_that_a_scene_would_refuse_is_never_written(tmp_path, capsys):
    path, out = written(tmp_path, [one.sample() for one in FOCI]), tmp_path / "25.toml"
    assert main(["lens", str(path), *OWN, "--front-glass-mm", "120", "-o", str(out)]) == 2
    assert "front_glass_mm: must not exceed front_diameter_mm = 114" in capsys.readouterr().err
    assert not out.exists()


def test_a_file_s_name_cannot_put_lines_into_the_scene(tmp_path, capsys):
    path = written(tmp_path, FOCI[0].sample(), "a\nf_number = 9\n#.json")
    assert main(["lens", str(path), *OWN]) == 0
    told = capsys.readouterr().out
    assert re.findall("^f_number.*", told, re.MULTILINE) == ["f_number = 2.0"]


def test_the_starter_s_own_lens_is_not_left_in(tmp_path, capsys):
    scene = parse_scene(scene_with(written_lens(tmp_path, capsys)), "show.toml")
    assert [len(lens.state) for lens in scene.lens] == [3]
