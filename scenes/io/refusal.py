"""The error of a file or folder that cannot be read, written or used."""

from __future__ import annotations

from scenes.scene_file.errors import Complaint, SceneError


def refusal(where: str, problem: str) -> SceneError:
    """A SceneError of one sentence about the file or folder of that name."""
    return SceneError([Complaint(where="", problem=problem, source=where)])
