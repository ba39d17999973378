"""The tree over a web's edges: a walk that leaves nothing out meets every edge once, and boxes and cones hold what they claim."""

import numpy as np
import pytest
import trimesh

from raytrace.coverage.tables.branches import AXIS, SINE, branches, spatial_order
from raytrace.coverage.tables.edge_webs import NO_FACE, surface_web


def tree_of(mesh):
    points = np.asarray(mesh.vertices)
    web = surface_web(points, np.asarray(mesh.faces, dtype=np.int64))
    edges = web.edges[spatial_order(points, web.edges)]
    return points, edges, branches(points, np.zeros(len(points), dtype=np.int64), edges)


def walked(tree):
    """Edges met by a walk that passes nothing over."""
    twigs = [(first, last) for k, (first, last, after) in enumerate(tree.span) if after == k + 1]
    return np.concatenate([np.arange(first, last) for first, last in twigs])


@pytest.mark.parametrize("faces", [1, 5, 11, 12, 85, 170, 171, 320])
def test_every_edge_is_met_once(faces):
    mesh = trimesh.creation.icosphere(2, 10.0)
    _, edges, tree = tree_of(trimesh.Trimesh(mesh.vertices, mesh.faces[:faces], process=False))
    assert walked(tree).tolist() == list(range(len(edges)))


def test_a_branch_passed_over_goes_on_behind_all_its_edges():
    _, edges, tree = tree_of(trimesh.creation.icosphere(3, 10.0))
    for k, (_, last, after) in enumerate(tree.span):
        assert after > k
        assert after == len(tree.span) or tree.span[after, 0] == last
    assert tree.span[0].tolist() == [0, len(edges), len(tree.span)]


def test_boxes_hold_their_points():
    points, edges, tree = tree_of(trimesh.creation.torus(20.0, 6.0))
    for box, (first, last, _) in zip(tree.box, tree.span, strict=True):
        corners = points[edges[first:last][edges[first:last] != NO_FACE]]
        assert np.all(corners >= box[:3] - 1e-12)
        assert np.all(corners <= box[3:6] + 1e-12)


def test_views_clear_of_a_cone_see_no_fold():
    # An edge is a fold where its two faces lie on one side of it in the view: checked face by face, along random views.
    points, edges, tree = tree_of(trimesh.creation.icosphere(3, 10.0))
    checked = 0
    views = np.random.default_rng(2).normal(size=(20, 3))
    for view in views / np.linalg.norm(views, axis=1, keepdims=True):
        a, b, c, d = (points[edges[:, k]] for k in range(4))
        fold = np.sum(np.cross(b - a, c - a) * view, axis=1) * np.sum(np.cross(d - a, b - a) * view, axis=1) < 0
        for box, (first, last, _) in zip(tree.box, tree.span, strict=True):
            if abs(view @ box[AXIS : AXIS + 3]) > box[SINE]:
                checked += 1
                assert not fold[first:last].any()
    assert checked > 100
