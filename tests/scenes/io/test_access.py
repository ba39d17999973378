"""A folder of results, and what people have in it, stays open to whom it was open to, and to nobody else."""

import errno
import json
import os
import shutil
import stat
import struct
import tempfile
from contextlib import contextmanager, redirect_stderr, suppress
from pathlib import Path

import pytest

from scenes.io.folders import kept_files
from scenes.io.folders import result_folder as folders
from scenes.io.folders.left_results import RESULTS_KEY
from scenes.io.folders.result_folder import result_folder

pytestmark = pytest.mark.skipif(os.name == "nt", reason="groups and rights as POSIX has them")

NOBODY, STRANGERS = 65534, 54321  # a user who is in no group but its own, and a group that nobody is in
ACCESS, DEFAULT, TAGS = "system.posix_acl_access", "system.posix_acl_default", "user.xdg.tags"
ROOT_ALONE = pytest.mark.skipif(os.name == "nt" or os.geteuid() != 0, reason="needs another user")


def write(out, text, meanwhile=lambda _: None, folder=""):
    with result_folder(out, "beam") as staging:
        names = [staging.write(f"{folder}page.txt", text), "beam.json"]
        staging.write("beam.json", json.dumps({RESULTS_KEY: "beam", "files": names}))
        meanwhile(staging.folder)


@pytest.fixture
def out(tmp_path):
    write(tmp_path / "out", "old")
    (tmp_path / "out/notes").mkdir()
    (tmp_path / "out/notes/n.txt").write_text("mine")
    return tmp_path / "out"


@pytest.fixture
def crew(out):
    """A group that the runner may give and that is not their first one."""
    others = [STRANGERS] if os.geteuid() == 0 else [group for group in os.getgroups() if group != os.getegid()]
    with suppress(OSError):
        os.chown(out, -1, others[0])
        return others[0]
    pytest.skip("no second group")


def access_list(*, user, may, group, mask, others=0):
    """Bytes as the kernel has them (linux/posix_acl_xattr.h): owner, one named user, group, mask, others."""
    none = 0xFFFFFFFF
    entries = [(0x01, 7, none), (0x02, may, user), (0x04, group, none), (0x10, mask, none), (0x20, others, none)]
    return struct.pack("<I", 2) + b"".join(struct.pack("<HHI", *entry) for entry in entries)


LIST = access_list(user=NOBODY, may=7, group=0, mask=7)  # one user may do all, the group nothing
MASK = 0o770  # which the group's bits of the mode show (acl(5)): as if the group might do all


def put_on(path, **attributes):
    try:
        for name, value in attributes.items():
            os.setxattr(path, {"access": ACCESS, "default": DEFAULT, "tags": TAGS}[name], value)
    except (AttributeError, OSError):
        pytest.skip("no such attributes on this system or drive")


def mode(path):
    return stat.S_IMODE(path.stat().st_mode)


def test_folders_keep_their_group_and_new_files_in_one_that_hands_its_group_down_get_it(out, crew):
    for folder in (out, out / "notes"):
        os.chown(folder, -1, crew)
        folder.chmod(0o2770)
    write(out, "new", folder="25/")
    assert [(path.stat().st_gid, mode(path)) for path in (out, out / "notes")] == [(crew, 0o2770)] * 2
    assert {path.stat().st_gid for path in (out / "25", out / "25/page.txt", out / "beam.json")} == {crew}


def test_folders_keep_their_access_list_and_tags_and_new_files_get_what_the_list_hands_down(out):
    for folder in (out, out / "notes"):
        put_on(folder, access=LIST, default=LIST, tags=b"keep")
    write(out, "new")
    for folder in (out, out / "notes"):
        assert [os.getxattr(folder, name) for name in (ACCESS, DEFAULT, TAGS)] == [LIST, LIST, b"keep"]
        assert mode(folder) == MASK
    named = struct.pack("<HHI", 0x02, 7, NOBODY)
    assert named in os.getxattr(out / "page.txt", ACCESS)


def test_a_folder_whose_list_was_taken_off_gets_none_from_the_folder_around_it(out):
    put_on(out.parent, default=LIST)
    out.chmod(0o750)
    write(out, "new")
    assert not {ACCESS, DEFAULT} & set(os.listxattr(out))
    assert mode(out) == 0o750


def test_a_private_folder_is_private_while_it_is_filled(out):
    out.chmod(0o500)
    seen = []
    write(out, "new", meanwhile=lambda stage: seen.append(mode(stage)))
    assert seen == [0o700]
    assert mode(out) == 0o500


def test_a_private_folder_made_while_the_two_change_names_stays_private(out, monkeypatch):
    def made():
        (out / "late/inside").mkdir(parents=True)
        (out / "late/inside/n.txt").write_text("mine")
        (out / "late").chmod(0o700)

    whole = folders.on_disk
    monkeypatch.setattr(folders, "on_disk", lambda folder: (whole(folder), made()))
    write(out, "new")
    assert (out / "late/inside/n.txt").read_text() == "mine"
    assert mode(out / "late") == 0o700


def no_links(*_, **__):
    raise PermissionError(errno.EPERM, "Operation not permitted")


def test_a_file_that_has_to_be_copied_keeps_its_group(out, crew, monkeypatch):
    os.chown(out / "notes/n.txt", -1, crew)
    (out / "notes/n.txt").chmod(0o640)
    monkeypatch.setattr(kept_files.os, "link", no_links)
    write(out, "new")
    assert ((out / "notes/n.txt").stat().st_gid, mode(out / "notes/n.txt")) == (crew, 0o640)


@ROOT_ALONE
def test_run_by_an_administrator_folders_and_copied_files_stay_with_their_owner(out, monkeypatch):
    for path in (out, out / "notes", out / "notes/n.txt"):
        os.chown(path, NOBODY, NOBODY)
    monkeypatch.setattr(kept_files.os, "link", no_links)
    write(out, "new")
    assert {path.stat().st_uid for path in (out, out / "notes", out / "notes/n.txt")} == {NOBODY}


def test_on_a_system_without_access_lists_or_groups_nothing_is_asked_of_it(out, monkeypatch):
    for name in ("listxattr", "getxattr", "setxattr", "removexattr", "chown"):
        monkeypatch.delattr(os, name, raising=False)
    monkeypatch.setattr(shutil, "_copyxattr", lambda *_, **__: None)  # as it is there
    write(out, "new")
    assert (out / "page.txt").read_text() == "new"


def test_a_link_in_the_place_of_a_folder_whose_name_has_a_dot_is_kept_under_all_of_its_name(tmp_path, capsys):
    out = tmp_path / "out"
    write(out, "old", folder="25_inf_f2.8/")
    (out / "25_inf_f2.8").rename(tmp_path / "elsewhere")
    (out / "25_inf_f2.8").symlink_to("../elsewhere")
    write(out, "new", folder="25_inf_f2.8/")
    assert (out / "25_inf_f2.8.yours").readlink() == Path("../elsewhere")
    assert (out / "25_inf_f2.8/page.txt").read_text() == "new"
    assert "your version is kept as 25_inf_f2.8.yours beside the new one" in capsys.readouterr().err


@contextmanager
def shared_by_root():
    """A folder in which everybody may write, with a folder of results in it that NOBODY left."""
    with tempfile.TemporaryDirectory() as home:  # pytest's own folders are private
        os.chmod(home, 0o777)  # noqa: PTH101
        out = Path(home, "out")
        assert as_nobody(lambda: write(out, "old")) == ""
        yield out


def as_nobody(act):
    """What is said when somebody who is not root does something."""
    ends = os.pipe()
    child = os.fork()
    if not child:
        try:
            os.setgroups([])
            os.setgid(NOBODY)
            os.setuid(NOBODY)
            with open(ends[1], "w") as stream, redirect_stderr(stream):  # noqa: PTH123
                act()
        finally:
            os._exit(0)
    os.close(ends[1])
    with open(ends[0]) as stream:  # noqa: PTH123
        said = stream.read()
    os.waitpid(child, 0)
    return said


@ROOT_ALONE
@pytest.mark.parametrize(("before", "after"), [(0o770, 0o700), (0o775, 0o755), (0o705, 0o700)])
def test_where_a_group_cannot_be_given_the_folder_is_closed_to_another_and_it_is_told(before, after):
    with shared_by_root() as out:
        os.chown(out, -1, STRANGERS)
        out.chmod(before)
        said = as_nobody(lambda: write(out, "new"))
        assert (out.stat().st_gid, mode(out), (out / "page.txt").read_text()) == (NOBODY, after, "new")
        assert said == (
            f"note: {out} could not keep its group {STRANGERS}, so people who had access by that may be shut out; set it again, "
            "or ask an administrator to\n"
        )


@ROOT_ALONE
def test_where_a_group_cannot_be_given_a_list_lets_in_whom_it_names_and_not_another_group():
    with shared_by_root() as out:
        os.chown(out, -1, STRANGERS)
        put_on(out, access=access_list(user=1, may=7, group=7, mask=7))
        said = as_nobody(lambda: write(out, "new"))
        assert os.getxattr(out, ACCESS) == access_list(user=1, may=7, group=0, mask=7)
        assert f"could not keep its group {STRANGERS}" in said


@ROOT_ALONE
def test_where_all_may_do_what_the_group_may_nothing_is_lost_or_told():
    with shared_by_root() as out:
        os.chown(out, -1, STRANGERS)
        out.chmod(0o755)
        assert as_nobody(lambda: write(out, "new")) == ""
        assert mode(out) == 0o755


@ROOT_ALONE
def test_an_owner_who_loses_the_folder_is_told():
    with shared_by_root() as out:
        os.chown(out, 1, NOBODY)
        said = as_nobody(lambda: write(out, "new"))
        assert (out.stat().st_uid, (out / "page.txt").read_text()) == (NOBODY, "new")
        assert "could not keep its owner " in said


@pytest.mark.parametrize("refused", [errno.ENOTSUP, errno.EPERM])
def test_where_a_list_cannot_be_given_the_folder_is_closed_to_all_but_its_owner_and_it_is_told(out, monkeypatch, capsys, refused):
    put_on(out, access=LIST)

    def refuses(*_, **__):
        raise OSError(refused, os.strerror(refused))

    monkeypatch.setattr(os, "setxattr", refuses)
    write(out, "new")
    assert mode(out) == 0o700
    assert (out / "page.txt").read_text() == "new"
    assert capsys.readouterr().err.startswith(f"note: {out} could not keep its access list, so people")
