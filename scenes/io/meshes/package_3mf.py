"""A 3MF package -> its one model, where nothing else in the package may hold shapes: readers pass over all other members."""

from __future__ import annotations

import io
import posixpath
import struct
import zipfile
from collections.abc import Iterator
from xml.parsers import expat

from scenes.io.library_remarks import printable
from scenes.io.meshes.damage import DamagedMeshError

LARGEST_UNPACKED = 200_000_000  # bytes of all members: a million triangles take half of it
MODEL_NAME = "3d/3dmodel.model"
MODEL_RELATION, MODEL_TYPE = "/3dmodel", "3dmanufacturing-3dmodel+xml"  # how relations and types of content end that name models
TYPES, RELATIONS_END = "[content_types].xml", ".rels"
SHAPES_END = (".model", ".stl", ".obj", ".ply", ".glb", ".gltf", ".3mf", ".amf", ".step", ".stp")
MODEL_WORDS = b"3dmanufacturing/core/"  # in the head of a model, whatever its file is called
HEAD_BYTES = 4_096
FINDER_NOTE, FINDER_NAME = b"\x00\x05\x16\x07", "._"  # what a Mac puts beside each file that it packs (RFC 1740, AppleDouble)
MEMBER = b"PK\x03\x04"  # how one begins; ZIP application note, section 4.3.7
MEMBER_HEAD, LENGTHS_AT = 30, 26


def model_of(data: bytes) -> bytes:
    """The text of a package's only model; DamagedMeshError where shapes may lie elsewhere in it."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        unpacked = sum(member.file_size for member in archive.infolist())
        if unpacked > LARGEST_UNPACKED:
            raise DamagedMeshError(
                f"it unpacks to {unpacked / 1e6:.0f} MB, at most {LARGEST_UNPACKED // 1_000_000} MB are read; export it coarser"
            )
        models = [name for name in archive.namelist() if MODEL_NAME in name.lower()]
        if not models:
            raise DamagedMeshError("it holds no 3D model; export it again")
        if len(models) > 1:
            raise _second_model(models[1])
        _only_that_model(archive, models[0])
        _no_other_shapes(archive, models[0])
        _no_lost_members(archive, data)
        return archive.read(models[0])


def _second_model(name: str) -> DamagedMeshError:
    return DamagedMeshError(f'it holds more than one model, "{printable(name[:60])}" too; export it as one model')


def _only_that_model(archive: zipfile.ZipFile, read: str) -> None:
    """Relations and types of content say which members are models (3MF core specification, section 2): only the one read may be."""
    other = next((name for name in _named_models(archive) if name.lower() != read.lower()), None)
    if other is not None:
        raise DamagedMeshError(
            f'its package names "{printable(other[:60])}" as its model, not "{printable(read[:60])}"; export it as one model'
        )


def _named_models(archive: zipfile.ZipFile) -> Iterator[str]:
    for name in archive.namelist():
        if name.lower() == TYPES:
            overrides = _elements(archive.read(name), "Override")
            yield from (one.get("PartName", "").lstrip("/") for one in overrides if _ends(one, "ContentType", MODEL_TYPE))
        elif name.lower().endswith(RELATIONS_END) and not posixpath.basename(name).startswith(FINDER_NAME):
            within = "/" + posixpath.dirname(posixpath.dirname(name))
            relations = _elements(archive.read(name), "Relationship")
            targets = (one.get("Target", "") for one in relations if _ends(one, "Type", MODEL_RELATION))
            yield from (posixpath.normpath(posixpath.join(within, target)).lstrip("/") for target in targets)


def _ends(attributes: dict[str, str], key: str, end: str) -> bool:
    return attributes.get(key, "").lower().endswith(end)


def _elements(text: bytes, name: str) -> list[dict[str, str]]:
    """The attributes of all elements of this name."""
    found: list[dict[str, str]] = []

    def start(tag: str, attributes: dict[str, str]) -> None:
        if tag.rpartition(" ")[2] == name:
            found.append(attributes)

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = start
    parser.Parse(text, True)
    return found


def _no_other_shapes(archive: zipfile.ZipFile, read: str) -> None:
    """Refuse another member that is a model or a mesh, as where the part that refers to it is lost; pictures and settings pass."""
    for member in archive.infolist():
        if member.is_dir() or member.filename == read:
            continue
        with archive.open(member) as stream:
            head = stream.read(HEAD_BYTES)
        if head.startswith(FINDER_NOTE):
            continue
        if member.filename.lower().endswith(SHAPES_END) or MODEL_WORDS in head.replace(b"\0", b""):
            raise _second_model(member.filename)


def _no_lost_members(archive: zipfile.ZipFile, data: bytes) -> None:
    """Refuse members that the package's own list leaves out, as of two files joined into one."""
    end = 0
    for member in sorted(archive.infolist(), key=lambda one: one.header_offset):
        _no_member_between(data, end, member.header_offset)
        lengths = struct.unpack_from("<HH", data, member.header_offset + LENGTHS_AT)  # of its name, and of what is noted of it
        end = member.header_offset + MEMBER_HEAD + sum(lengths) + member.compress_size
    _no_member_between(data, end, archive.start_dir)


def _no_member_between(data: bytes, start: int, end: int) -> None:
    if data.find(MEMBER, start, end) >= 0:
        raise DamagedMeshError("it holds files that its own list does not name, as where two are joined; export it again")
