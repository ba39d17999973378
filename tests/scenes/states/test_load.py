"""Faults that only building finds are told like those of the file: name, line and key path."""

import numpy as np
import pytest
import trimesh

from scenes.scene_file.errors import SceneError
from scenes.scene_file.messages import plain
from scenes.states.load import changed, load_scene, plans_of, wanted_states
from scenes.states.state import plan_state
from tests.scenes.scene_file.test_parse_mistakes import SCENE


def complaint_about(text, tmp_path):
    path = tmp_path / "show.toml"
    path.write_text(text)
    with pytest.raises(SceneError) as caught:
        plans_of(load_scene(path))
    return str(caught.value)


def test_a_mesh_whose_unit_is_in_doubt_is_asked_for_where_it_is_named(tmp_path):
    trimesh.creation.box((4, 2, 1)).export(tmp_path / "bracket.stl")  # a bracket of 4 inches
    solid = '[[box.solid]]\nname = "bracket"\nfile = "bracket.stl"\n[check]'
    told = complaint_about(SCENE.replace("[check]", solid), tmp_path)
    assert told.startswith('show.toml:43: box.solid[1 "bracket"]: ')
    assert 'set unit to one of "in"' in told


def test_a_cut_out_larger_than_its_mask_is_told_with_the_masks_line(tmp_path, monkeypatch):
    def fails(*_, **__):
        raise GeometryError("mask: the outside must be larger than the opening; make the outside larger")

    from geometry.errors import GeometryError

    monkeypatch.setattr("scenes.rig.box.build.mask", fails)
    told = complaint_about(SCENE, tmp_path)
    assert told == "show.toml:29: box.mask[1]: mask: the outside must be larger than the opening; make the outside larger"


def test_a_lens_that_cannot_be_built_is_told_with_its_line(tmp_path, monkeypatch):
    from geometry.errors import GeometryError

    def fails(*_, focal_mm, **__):
        if np.isclose(focal_mm, 25):
            raise GeometryError("no such pupil; give another")
        return ()

    monkeypatch.setattr("scenes.states.state.lens_variants", fails)
    assert complaint_about(SCENE, tmp_path) == 'show.toml:13: lens[2 "25"]: no such pupil; give another'


def test_asked_of_one_state_no_other_is_built(tmp_path, monkeypatch):
    built = []

    def counted(scene, lens, resources, setting, **rest):
        built.append((lens.name, setting.focus_mm, setting.f_number))
        return plan_state(scene, lens, resources, setting, **rest)

    path = tmp_path / "show.toml"
    path.write_text(SCENE)
    show = load_scene(path)
    every = {(plan.lens_name, plan.focus_mm, plan.f_number): plan.key for plan in plans_of(show)}
    monkeypatch.setattr("scenes.states.state.plan_state", counted)
    (name, focus_mm, f_number), key = list(every.items())[-1]
    (plan,) = wanted_states(show, lenses=[name], focus=[plain(focus_mm)], f_numbers=[f_number])
    assert (plan.key, built) == (key, [(name, focus_mm, f_number)])
    assert len(every) > 1


def test_a_changed_scene_has_the_files_as_they_were_when_it_was_read(tmp_path):
    path = tmp_path / "show.toml"
    trimesh.creation.box((40, 20, 10)).export(tmp_path / "bracket.stl")
    path.write_text(SCENE.replace("[check]", '[[box.solid]]\nname = "bracket"\nfile = "bracket.stl"\nunit = "mm"\n[check]'))
    loaded = load_scene(path)
    (tmp_path / "bracket.stl").write_bytes(b"half exported")
    again = changed(loaded, {"box.ahead_mm": 7.0})
    assert (again.resources.meshes["bracket.stl"].vertices == loaded.resources.meshes["bracket.stl"].vertices).all()
