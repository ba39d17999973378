"""Who may open a folder or file, and what people have noted on it: group, access list and tags go along to the new one."""

from __future__ import annotations

import errno
import os
import stat
import struct
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import reduce
from operator import and_
from pathlib import Path

OF_ACCESS, OF_PEOPLE = "system.", "user."  # how names of extended attributes begin, xattr(7): access lists, and people's tags
ACCESS_LIST = "system.posix_acl_access"  # four bytes, then an entry each: tag, rights, whose; linux/posix_acl_xattr.h
ENTRY, GROUP, OTHERS = struct.Struct("<HHI"), 0x04, 0x20
NOT_TAKEN = {errno.EPERM, errno.ENOTSUP, errno.ENODATA, errno.EINVAL, errno.EACCES}  # by the drive, as `shutil.copystat` has it
SHARED = 0o077  # the rights of group and others


def give_access(old: Path, new: Path) -> list[str]:
    """Give a folder or file the group, access list, tags, mode and owner of an old one; in words what could not be given of them.

    Without the group or the list the new one is closed rather than opened to anybody who could not open the old. OSError where
    the mode cannot be given.
    """
    lost = share(old, new)
    was = old.stat()
    is_theirs = _given(new, was.st_uid, -1)
    if not is_theirs and was.st_mode >> 3 & ~was.st_mode & 0o070:  # the owner could do more than the group
        lost.append(f"its owner {_name_of(was.st_uid, 'user')}")
    return lost


def share(old: Path, new: Path, *, more: int = 0) -> list[str]:
    """All of that but the owner, with `more` rights beside; what comes to lie in a folder from then on inherits it."""
    was, lost = old.stat(), []
    bits, lists = stat.S_IMODE(was.st_mode), _attributes(old, OF_ACCESS)
    if not _given(new, -1, was.st_gid):
        closed = _closed_to_group(bits, lists)
        if closed != (bits, lists) or bits & stat.S_ISGID:
            lost.append(f"its group {_name_of(was.st_gid, 'group')}")
        bits, lists = closed
    if not _lists_given(lists, new):
        lost.append("its access list")
        bits &= ~SHARED
    _give_tags(old, new)
    if stat.S_IMODE(new.stat().st_mode) != bits | more:  # drives that know no rights take none, and have one kind for all
        new.chmod(bits | more)
    return lost


def not_kept(lost: Mapping[str, Sequence[str]]) -> list[str]:
    """A sentence for what could not be given, by the names of files and folders; one for all that lack the same."""
    alike: dict[str, list[str]] = {}
    for name, things in lost.items():
        if things:
            alike.setdefault(" and ".join(things), []).append(name)
    return [
        f"{names[0]}{f' and {len(names) - 1} more' * (len(names) > 1)} could not keep {things}, so people who had access by that "
        "may be shut out; set it again, or ask an administrator to"
        for things, names in alike.items()
    ]


def _given(path: Path, user: int, group: int) -> bool:
    """Whether a path belongs to that user and group now; -1 for as it is. Systems without have the same numbers for all."""
    found = path.stat()
    if user in {-1, found.st_uid} and group in {-1, found.st_gid}:
        return True
    with suppress(OSError):
        os.chown(path, user, group)
        return True
    return False


def _attributes(path: Path, kind: str) -> dict[str, bytes]:
    """Extended attributes of a kind by name; none where the system or the drive knows no such thing."""
    found: dict[str, bytes] = {}
    with suppress(OSError):
        for name in os.listxattr(path) if hasattr(os, "listxattr") else ():
            if name.startswith(kind):
                found[name] = os.getxattr(path, name)
    return found


def _closed_to_group(bits: int, lists: Mapping[str, bytes]) -> tuple[int, dict[str, bytes]]:
    """Mode and lists for another group: it and others may do only what both could, for people have come and gone between them."""
    if ACCESS_LIST not in lists:
        both = bits >> 3 & bits & 7
        return bits & ~SHARED | both << 3 | both, dict(lists)
    head, entries = lists[ACCESS_LIST][:4], list(ENTRY.iter_unpack(lists[ACCESS_LIST][4:]))
    both = reduce(and_, (may for tag, may, _ in entries if tag in {GROUP, OTHERS}))
    closed = b"".join(ENTRY.pack(tag, both if tag in {GROUP, OTHERS} else may, who) for tag, may, who in entries)
    return bits & ~7 | both, {**lists, ACCESS_LIST: head + closed}


def _lists_given(wanted: Mapping[str, bytes], path: Path) -> bool:
    """Whether a path has these access lists now, and none that the folder around it has handed down."""
    found = _attributes(path, OF_ACCESS)
    try:
        for name in sorted(found.keys() - wanted.keys()):
            os.removexattr(path, name)
        for name in sorted(wanted):
            if wanted[name] != found.get(name):
                os.setxattr(path, name, wanted[name])
    except OSError:
        return False
    return True


def _give_tags(old: Path, new: Path) -> None:
    for name, value in _attributes(old, OF_PEOPLE).items():
        try:
            os.setxattr(new, name, value)
        except OSError as error:
            if error.errno not in NOT_TAKEN:
                raise


def _name_of(number: int, kind: str) -> str:
    """Of a user or group; the number where it has no name."""
    with suppress(ImportError, KeyError):
        if kind == "group":
            import grp

            return grp.getgrgid(number).gr_name
        import pwd

        return pwd.getpwuid(number).pw_name
    return str(number)
