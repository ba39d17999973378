"""The program's judgement of random scenes against counted rays: `one(kind, seed, folder)`.

Wrong is: a guide called clear that loses light; a margin up to which light is lost; a room and a margin of different sign.
"""

from __future__ import annotations

import json
import time

import numpy as np

from scenes.states.keys import Setting
from scenes.states.load import load_scene, plans_of
from scenes.states.notes import Severity
from scenes.states.state import plan_state
from tests.caster.cast import disc, inside_points, rim_points
from tests.caster.kinds import drawn

SEEN = 0.0005  # of the light of a point
SEEN_AT_MARGIN = 0.002
SHORT_OF_MARGIN = 0.999
LOSS_STOPS = 0.02
BORDER_STOPS = 0.005
MILDEST = {"clear": 0.003, "tight": 0.1, "shading": 1.0, "in frame": np.inf}  # the most that each word may lose: its stated border


def toml_of(scene):
    """A scene as TOML text, tables in order."""
    lines = []

    def emit(path, table, head):
        if head:
            lines.append(head)
        nested = []
        for key, value in table.items():
            if isinstance(value, dict) and key == "pupil_behind_front_mm":
                lines.append(f"{key} = {{ {', '.join(f'{k} = {v}' for k, v in value.items())} }}")
            elif isinstance(value, dict) or (isinstance(value, list) and value and isinstance(value[0], dict)):
                nested.append((key, value))
            else:
                lines.append(f"{key} = {json.dumps(value)}")
        for key, value in nested:
            name = f"{path}{key}"
            for item in value if isinstance(value, list) else [value]:
                emit(f"{name}.", item, f"[[{name}]]" if isinstance(value, list) else f"[{name}]")

    emit("", scene, "")
    return "\n".join(lines) + "\n"


def written(case, folder):
    """The scene's file, with those that it names beside it."""
    import ezdxf

    for name, points in case.outlines.items():
        drawing = ezdxf.new(units=4)
        drawing.modelspace().add_lwpolyline(points, close=True)
        drawing.saveas(folder / name)
    for name, triangles in case.meshes.items():
        text = ["solid part"]
        for corners in triangles:
            text += ["facet normal 0 0 0", "outer loop", *(f"vertex {x} {y} {z}" for x, y, z in corners), "endloop", "endfacet"]
        (folder / name).write_text("\n".join([*text, "endsolid part"]))
    for name, table in case.tables.items():
        (folder / name).write_text(toml_of(table))
    path = folder / "scene.toml"
    path.write_text(toml_of(case.scene))
    return path


def state_of(case, path):
    """The program's state of the scene written at `path`: a zoom's between its rows."""
    loaded = load_scene(path)
    if case.focal_mm is None:
        (state,) = plans_of(loaded)
        return state
    first = plans_of(loaded)[0]
    setting = Setting(focal_mm=case.focal_mm, focus_mm=first.focus_mm, f_number=first.f_number)
    return plan_state(loaded.scene, first.lens, loaded.resources, setting, grid=first.grid, guides=first.guides)


def one(kind, seed, folder, *, words=False):
    """What the program says of a random scene, and what the rays say: a dict with `wrong`, a list of words.

    words: the verdict and the darkest place of `check` as well, which costs about a second a scene.
    """
    from raytrace.judge.judgement import judge

    rng = np.random.default_rng([seed, *map(ord, kind)])
    case = drawn(kind, rng)
    found = {"kind": kind, "seed": seed, "guides": [], "wrong": []}
    path = written(case, folder)
    try:
        state = state_of(case, path)
    except Exception as error:  # noqa: BLE001 - a scene that the program refuses is counted
        return {**found, "refused": f"{type(error).__name__}: {error}"[:200]}
    found["faults"] = [note.text[:90] for note in state.notes if note.severity is Severity.FAULT]
    for guide, own in zip(state.guides, case.guides(), strict=True):
        began = time.process_time()
        got = judge(state.variants, guide, state.box)
        took = time.process_time() - began
        beyond = any(part.beyond_focus for part in got.parts)
        points = np.concatenate([rim_points(own, 1.0, 61), inside_points(own, 1.0, 60, rng)])
        lost = float(case.lost(points, disc(300, rim=200)).max())
        row = {"clear": got.clear, "room": got.room_mm, "margin": got.margin_percent, "lost": lost, "s": took, "beyond": beyond}
        if got.clear and not beyond and lost > SEEN:
            found["wrong"].append("clear")
        if got.margin_percent is not None and got.margin_percent > 0.1 and not beyond:
            at = rim_points(own, 1 + got.margin_percent / 100 * SHORT_OF_MARGIN, 61)
            row["lost_at_margin"] = float(case.lost(at, disc(200, rim=200)).max())
            if row["lost_at_margin"] > SEEN_AT_MARGIN:
                found["wrong"].append("margin")
        if got.margin_percent is not None and (got.room_mm > 0) != (got.margin_percent > 0):
            found["wrong"].append("sign")
        if not got.clear and lost == 0.0:
            row["strict"] = float(case.lost(rim_points(own, 1.02, 61), disc(200, rim=200)).max()) == 0.0
        found["guides"].append(row)
    if words:
        try:
            checked = _checked(state)
        except ValueError as error:  # a state that could not be computed, with its sentence
            return {**found, "refused": str(error)[:200]}
        found["words"] = [_worded(case, own, told, found) for own, told in zip(case.guides(), checked, strict=True)]
    if found["wrong"]:
        found["text"] = toml_of(case.scene)
    return found


def _checked(state):
    from scenes.runtime.engines import engine_of
    from scenes.states.clear_rule import Limits
    from scenes.verdicts.check import check_state

    limits = Limits(visible_loss_stops=state.visible_loss_stops)
    return check_state(state, engine_of("coverage"), columns=None, limits=limits)[0].guides


def _worded(case, own, told, found):
    """The darkest place of a guide by the program and by rays along its rim; `wrong` gets what is told too mildly."""
    points = rim_points(own, 1.0, 121)
    lost = case.lost(points, disc(400))
    darkest = points[np.argsort(lost)[-3:]]
    here = np.array([[told.worst.x_mm, told.worst.y_mm]])
    loss = -np.log2(np.maximum(1.0 - case.lost(np.concatenate([here, darkest]), disc(100_000)), 1e-9))
    row = {"word": told.word.value, "told": told.worst.loss_stops, "there": float(loss[0]), "darkest": float(loss.max())}
    if row["darkest"] < 6 and row["told"] < row["darkest"] - LOSS_STOPS:
        found["wrong"].append("loss too small")
    if row["darkest"] > MILDEST[told.word.value] + BORDER_STOPS:
        found["wrong"].append("word")
    return row
