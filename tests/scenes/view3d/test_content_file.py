"""A 3D picture's way through a file of arrays, as to the process that draws it."""

import io
import json
from dataclasses import fields, is_dataclass
from enum import Enum

import numpy as np
import pytest

from scenes.view3d import content
from scenes.view3d.content import Heatmap, Label, Line, Place, RayFate, RayPath, Scene3D, Solid, View
from scenes.view3d.content_file import TREE, packed, unpacked

CORNER_MM = np.array([[0.0, 0.1, -57.0], [1 / 3, 2.0, -80.0], [4.0, 5.0, 6.0]])


def every_kind() -> Scene3D:
    """A scene that holds each class of scenes.view3d.content, with an empty group, an empty array and NaN among the values."""
    solid = Solid(
        name="flag", kind="flag", vertices_mm=CORNER_MM, faces=np.array([[0, 1, 2]]), edges_mm=np.empty((0, 2, 3)),
        colour=(0.1, 0.2, 0.3), opacity=1,
    )  # fmt: skip
    heatmap = Heatmap(
        loss_stops=np.array([[0.0, np.nan]]), corners_mm=np.arange(18.0).reshape(2, 3, 3),
        colour_table=np.arange(6, dtype=np.uint8).reshape(2, 3), dark_colour=(0, 0, 0), unlit_colour=(0.5, 0.5, 0.5), full_stops=3,
    )  # fmt: skip
    return Scene3D(
        view=View.SECTION, title=("24 mm, f/4", "Schärfe ∞"), note="", solids=(solid,),
        rays=(RayPath(points_mm=CORNER_MM, fate=RayFate.BLOCKED, stopped_by="flag"),),
        lines=(Line(points_mm=CORNER_MM[:2], colour=(1, 0, 0), dashed=True),),
        labels=(Label(text="20 mm", anchor_mm=CORNER_MM[0], place=Place.HERE),), heatmap=heatmap,
    )  # fmt: skip


def through_a_file(scene: Scene3D) -> Scene3D:
    held = io.BytesIO()
    np.savez(held, allow_pickle=False, **packed(scene))
    held.seek(0)
    with np.load(held, allow_pickle=False) as arrays:
        return unpacked(dict(arrays))


def assert_same(back, sent, seen):
    """Equal in value and class all the way down; classes come into `seen`."""
    assert type(back) is type(sent)
    seen.add(type(sent))
    if is_dataclass(sent):
        for field in fields(sent):
            assert_same(getattr(back, field.name), getattr(sent, field.name), seen)
    elif isinstance(sent, tuple):
        for one, other in zip(back, sent, strict=True):
            assert_same(one, other, seen)
    elif isinstance(sent, np.ndarray):
        assert (back.dtype, back.shape) == (sent.dtype, sent.shape)
        np.testing.assert_array_equal(back, sent)
    else:
        assert back == sent


def test_a_scene_of_every_kind_comes_back_from_a_file_without_pickles_with_the_same_values_and_classes():
    seen: set[type] = set()
    assert_same(through_a_file(every_kind()), every_kind(), seen)
    own = {kind for kind in vars(content).values() if isinstance(kind, type) and kind.__module__ == content.__name__}
    assert {kind for kind in own if is_dataclass(kind) or issubclass(kind, Enum)} == own <= seen
    assert len(own) == 9


def test_a_picture_without_a_heatmap_comes_back_without():
    bare = Scene3D(view=View.FRONT, title=(), note="", solids=(), rays=(), lines=(), labels=())
    assert through_a_file(bare) == bare


def test_a_file_cannot_name_a_class_that_is_not_part_of_a_picture():
    tree = json.dumps({"Popen": {"args": ["true"]}}).encode()
    with pytest.raises(KeyError, match="Popen"):
        unpacked({TREE: np.frombuffer(tree, dtype=np.uint8)})
