"""What is kept of a stopped run is whole or not there, bounded in size, and in a folder that nobody else can write."""

import os
import time

import numpy as np
import pytest

from scenes.io import kept_work as module
from scenes.io.kept_work import PLACE, KeptWork, kept_work
from scenes.io.value_digest import value_digest
from tests.scenes.check_made import plan, wall_on_the_right


@pytest.fixture
def work():
    return kept_work()


def test_a_piece_comes_back_as_it_was_put_and_goes_by_the_start_of_its_name(work):
    assert work.put("ab", b"state") == work.put("ab-box", b"picture") == work.put("cd", b"other") == ""
    assert (work.get("ab"), work.get("ab-box"), work.get("ef")) == (b"state", b"picture", None)
    work.drop(["ab"])
    assert (work.get("ab"), work.get("ab-box"), work.get("cd")) == (None, None, b"other")


@pytest.mark.parametrize("damage", [lambda data: data[:-1], lambda _: b"", lambda data: data[:-1] + b"\0", lambda data: data[1:]])
def test_a_damaged_piece_is_none(work, damage):
    work.put("ab", b"state")
    (path,) = work.folder.iterdir()
    path.write_bytes(damage(path.read_bytes()))
    assert work.get("ab") is None


def test_a_piece_under_the_name_of_another_is_none(work):
    work.put("ab", b"state")
    (work.folder / "ab.kept").rename(work.folder / "cd.kept")
    assert work.get("cd") is None


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_in_the_place_of_a_piece_is_none_and_not_waited_for(work):
    os.mkfifo(work.folder / "ab.kept")
    assert work.get("ab") is None


def test_the_oldest_pieces_make_room(work, monkeypatch):
    monkeypatch.setattr(module, "MOST_BYTES", 250)
    for age, name in enumerate(("new", "older", "oldest")):
        work.put(name, bytes(68))  # and 32 bytes of a checksum
        path = work.folder / f"{name}.kept"
        if path.exists():
            os.utime(path, (time.time() - 100 * age,) * 2)
    work.put("newest", bytes(68))
    assert sorted(path.stem for path in work.folder.iterdir()) == ["new", "newest"]
    assert "the disk is nearly full" in work.put("too large", bytes(300))


def test_what_is_older_than_two_weeks_goes_with_the_next_piece(work):
    work.put("old", b"state")
    then = time.time() - 15 * 86400
    os.utime(work.folder / "old.kept", (then, then))
    work.put("new", b"state")
    assert [path.stem for path in work.folder.iterdir()] == ["new"]


def test_a_nearly_full_disk_is_left_alone(work, monkeypatch):
    monkeypatch.setattr(module, "LEAST_FREE_BYTES", 10**18)
    assert work.put("ab", b"state") == (
        f"finished states cannot be kept in {work.folder} (the disk is nearly full): "
        "a run that is stopped starts from the beginning"
    )
    assert list(work.folder.iterdir()) == []


def test_where_no_folder_can_be_made_a_sentence_says_so(tmp_path, monkeypatch):
    (tmp_path / "file").touch()
    for place in (str(tmp_path / "file/inside"), "~/relative"):
        monkeypatch.setenv(PLACE, place)
        work = kept_work()
        assert work.trouble.startswith("finished states cannot be kept (")
        assert (work.put("ab", b"state"), work.get("ab")) == (work.trouble, None)


@pytest.mark.skipif(os.name == "nt", reason="rights as Unix has them")
def test_a_folder_that_others_can_write_is_not_used(work):
    work.folder.chmod(0o777)
    assert "others can write there" in kept_work().trouble


def test_a_folder_that_is_gone_costs_nothing_but_the_piece(tmp_path):
    work = KeptWork(tmp_path / "gone")
    assert work.put("ab", b"state")
    assert work.get("ab") is None
    work.drop(["ab"])


def test_digests_tell_values_apart_that_look_alike():
    values = [
        1, 1.0, True, "1", b"1", (1,), (1, None), ((1,), None), {"a": 1}, {"a": 1.0}, frozenset({1}), np.array([1]),
        np.array([1.0]), np.array([[1]]), -0.0, 0.0, float("nan"), 0.1, np.nextafter(0.1, 1.0), ("ab", "c"), ("a", "bc"),
        plan(), plan(wall_on_the_right(20.0)), plan(wall_on_the_right(20.000001)),
    ]  # fmt: skip
    assert len({value_digest(value) for value in values}) == len(values)
    assert value_digest(plan(wall_on_the_right(20.0))) == value_digest(plan(wall_on_the_right(20.0)))
