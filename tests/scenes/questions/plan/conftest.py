"""The plan of one show, made once for all tests that read it."""

import pytest

from scenes.questions.plan.answer import answer
from scenes.states.load import load_scene
from tests.scenes.questions.plan.weir import SCENE


@pytest.fixture(scope="package")
def show(tmp_path_factory):
    path = tmp_path_factory.mktemp("weir") / "weir.toml"
    path.write_text(SCENE.replace("STATED", ""))
    return load_scene(path)


@pytest.fixture(scope="package")
def made(show):
    return answer(show)


@pytest.fixture(scope="package")
def papers(made):
    return dict(made.files("out"))
