"""What a person puts into a folder of results stays theirs, whatever its name, and so does what a run was given to read."""

import json
import multiprocessing
import os
from contextlib import nullcontext
from pathlib import Path

import pytest

from scenes.cli import main
from scenes.io.folders import folder_lock
from scenes.io.folders.folder_lock import is_held, lock_of, locked
from scenes.io.folders.kept_files import MANIFEST
from scenes.io.folders.left_results import RESULTS_KEY, results_name
from scenes.io.folders.result_folder import result_folder
from scenes.io.reading import read_bytes
from scenes.io.refusal import refusal
from scenes.scene_file.errors import SceneError

MINE = '{"mine": 1}'


@pytest.fixture
def out(tmp_path):
    return tmp_path / "out"


def run(out, command, meanwhile=lambda: None, **files):
    with result_folder(out, command) as staging:
        names = [staging.write(name.replace("__", "."), text) for name, text in files.items()]
        own = results_name(command)
        staging.write(own, json.dumps({RESULTS_KEY: command, "version": 2, "files": [*names, own]}))
        meanwhile()


def words_in(out):
    return {path.name: path.read_text() for path in out.iterdir() if path.name != MANIFEST}


@pytest.mark.parametrize("command", ["plan", "compare", "design", "masks", "make", "sun", "check"])
def test_a_persons_file_called_like_the_json_of_a_command_is_kept_beside_it_and_said(out, capsys, command):
    run(out, "sun" if command == "plan" else "plan", page__txt="1")
    own = out / results_name(command)
    own.write_text(MINE)
    run(out, command, other__txt="2")
    assert words_in(out)[f"{own.stem}.yours.json"] == MINE
    assert RESULTS_KEY in own.read_text()
    assert f"your version is kept as {own.stem}.yours.json" in capsys.readouterr().err


def test_a_persons_file_called_like_the_lock_of_a_folder_stays(out):
    lock = lock_of(out)
    lock.write_text(MINE)
    for text in "12":
        run(out, "check", page__txt=text)
        assert lock.read_text() == MINE
    assert words_in(out)["page.txt"] == "2"


def test_a_persons_file_called_like_the_lock_keeps_a_second_run_out_and_stays(out):
    lock = lock_of(out)
    lock.write_text(MINE)
    with locked(lock), pytest.raises(SceneError, match="is being written by another run"):
        run(out, "check", page__txt="1")
    assert lock.read_text() == MINE


@pytest.mark.parametrize("how", ["into it", "in its place", "empty, in its place"])
def test_what_a_person_saves_under_the_name_of_the_lock_during_a_run_stays(out, how):
    lock, other = lock_of(out), out.parent / "saved"

    def save():
        if how == "into it":
            lock.write_text(MINE)
        else:
            other.write_text("" if "empty" in how else MINE)
            other.replace(lock)

    run(out, "check", meanwhile=save, page__txt="1")
    assert lock.read_text() == ("" if "empty" in how else MINE)
    assert words_in(out)["page.txt"] == "1"


def test_an_empty_lock_that_a_killed_run_has_left_goes_with_the_next(out):
    lock_of(out).touch()
    run(out, "check", page__txt="1")
    assert not lock_of(out).exists()


@pytest.mark.skipif(os.name == "nt" or os.getuid() != 0, reason="only an administrator can give a file away")
def test_an_empty_file_of_somebody_else_called_like_the_lock_stays(out):
    lock_of(out).touch()
    os.chown(lock_of(out), 4711, -1)
    run(out, "check", page__txt="1")
    assert lock_of(out).exists()


@pytest.mark.skipif(os.name == "nt", reason="users of other systems")
def test_on_a_drive_that_gives_new_files_to_somebody_else_the_lock_goes_all_the_same(out, monkeypatch):
    own = os.getuid()
    monkeypatch.setattr(folder_lock.os, "getuid", lambda: own + 1)
    with locked(lock_of(out.parent)):
        pass
    assert not lock_of(out.parent).exists()


@pytest.mark.skipif(os.name == "nt", reason="links and pipes of other systems")
@pytest.mark.parametrize(
    ("kind", "said"), [("link", "a link"), ("dangling link", "a link"), ("pipe", "no plain file"), ("folder", "a folder")]
)
def test_a_link_pipe_or_folder_called_like_the_lock_is_told_before_any_work_and_stays(out, kind, said):
    lock, mine = lock_of(out), out.parent / "mine.txt"
    if "link" in kind:
        lock.symlink_to(mine)
        if kind == "link":
            mine.write_text(MINE)
    else:
        os.mkfifo(lock) if kind == "pipe" else lock.mkdir()
    before = sorted(path.name for path in out.parent.iterdir())
    with pytest.raises(
        SceneError, match=rf"out: cannot be written: beside it \.out\.lock, which is {said}, has the name of its lock"
    ):
        run(out, "check", page__txt="1")
    assert sorted(path.name for path in out.parent.iterdir()) == before


@pytest.mark.skipif(os.name == "nt", reason="pipes of other systems")
def test_a_pipe_called_like_a_lock_within_the_folder_is_not_waited_for(out):
    run(out, "check", page__txt="1")
    os.mkfifo(out / ".notes.lock")
    child = multiprocessing.get_context("spawn").Process(target=is_held, args=(out / ".notes.lock",))
    child.start()
    child.join(60)
    waits = child.is_alive()
    child.kill()
    child.join()
    assert not waits


def test_a_link_called_like_the_json_of_a_command_is_kept(out, tmp_path):
    (tmp_path / "mine.json").write_text(MINE)
    run(out, "check", page__txt="1")
    (out / "plan.json").symlink_to("../mine.json")
    run(out, "plan", other__txt="2")
    assert (out / "plan.yours.json").readlink() == Path("../mine.json")


def test_a_file_saved_during_a_commands_first_run_under_the_name_of_its_json_is_kept(out):
    run(out, "check", page__txt="1")
    run(out, "plan", meanwhile=lambda: (out / "plan.json").write_text(MINE))
    assert words_in(out)["plan.yours.json"] == MINE


def test_an_edited_json_in_a_copy_without_the_hidden_list_is_kept(out):
    run(out, "check", page__txt="1")
    (out / MANIFEST).unlink()
    edited = (out / "results.json").read_text().replace("{", '{"note": "mine",', 1)
    (out / "results.json").write_text(edited)
    run(out, "check", page__txt="1")
    assert words_in(out)["results.yours.json"] == edited


def test_an_unedited_json_goes_with_its_result(out):
    for text in "12":
        run(out, "plan", **{f"page{text}__txt": text})
    assert set(words_in(out)) == {"plan.json", "page2.txt"}


def test_a_persons_file_that_a_result_copies_under_its_own_name_never_becomes_the_programs(out, capsys):
    # a mesh beside a scene in the folder of results: `design` copies it there beside its designs, into its very place
    run(out, "design", design__txt="1")
    (out / "bracket.stl").write_text("mine")
    for _ in range(2):
        run(out, "design", design__txt="1", bracket__stl="mine")
    run(out, "design", design__txt="2")
    assert words_in(out)["bracket.stl"] == "mine"
    assert not capsys.readouterr().err


def test_a_file_that_the_run_read_keeps_its_name_where_the_new_result_has_none_of_it(out):
    run(out, "design", design__toml="given", other__toml="1")
    read_bytes(out / "design.toml")
    run(out, "design", page__txt="none found")
    assert words_in(out).keys() == {"design.toml", "page.txt", "design.json"}
    run(out, "design", page__txt="none found")
    assert words_in(out)["design.toml"] == "given"


def test_a_file_that_the_run_read_is_kept_beside_a_new_one_of_its_name(out, capsys):
    run(out, "design", design__toml="given")
    read_bytes(out / "design.toml")
    run(out, "design", design__toml="new")
    assert {words_in(out)[name] for name in ("design.toml", "design.yours.toml")} == {"given", "new"}
    assert "design.toml was read by this run; it is kept as design.yours.toml beside the new one" in capsys.readouterr().err


def test_a_file_that_the_run_read_keeps_its_name_in_a_copy_without_the_hidden_list(out):
    run(out, "design", design__toml="given")
    (out / MANIFEST).unlink()
    read_bytes(out / "design.toml")
    run(out, "design", page__txt="none found")
    assert words_in(out)["design.toml"] == "given"


def not_to_be_reached(*_, **__):
    raise AssertionError("the work was begun")


@pytest.mark.parametrize("trouble", ["other files", "below a file", "held"])
def test_a_folder_that_cannot_be_had_is_refused_before_the_work(tmp_path, monkeypatch, capsys, trouble):
    monkeypatch.setattr("scenes.questions.beam.answer.answer", not_to_be_reached)
    assert main(["new", str(tmp_path / "scene.toml")]) == 0
    out = tmp_path / "out"
    (out / "mine.txt" if trouble == "other files" else tmp_path / "file").parent.mkdir(exist_ok=True)
    (out / "mine.txt" if trouble == "other files" else tmp_path / "file").write_text("mine")
    to = tmp_path / "file" / "out" if trouble == "below a file" else out
    with locked(lock_of(out)) if trouble == "held" else nullcontext():
        assert main(["beam", str(tmp_path / "scene.toml"), "--at", "20", "--out", str(to)]) == 2
    words = {"other files": "holds other files", "below a file": "cannot be written", "held": "is being written by another run"}
    assert words[trouble] in capsys.readouterr().err


def test_a_folder_is_held_from_before_the_work_and_given_back_after_it(tmp_path, monkeypatch):
    from scenes.questions.beam import answer as beam

    made, out, seen = beam.answer, tmp_path / "out", []

    def looks(*given, **more):
        seen.append(is_held(lock_of(out)))
        return made(*given, **more)

    monkeypatch.setattr(beam, "answer", looks)
    assert main(["new", str(tmp_path / "scene.toml")]) == 0
    assert main(["beam", str(tmp_path / "scene.toml"), "--at", "20", "--out", str(out)]) in {0, 1}
    assert seen == [True]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "scene.toml"]


def test_an_answer_is_printed_though_its_folder_cannot_be_written_in_the_end(tmp_path, monkeypatch, capsys):
    def fails(*_):
        raise refusal("out", "cannot be written")

    monkeypatch.setattr("scenes.answers.answer.save", fails)
    assert main(["new", str(tmp_path / "scene.toml")]) == 0
    assert main(["beam", str(tmp_path / "scene.toml"), "--at", "20", "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr()
    assert "all of them" in said.out
    assert said.err.endswith("error: out: cannot be written\n")
