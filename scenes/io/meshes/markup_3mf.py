"""Where the tags of a 3MF model stand, and what stands between them: a body in the wrong place, or in words, is passed over."""

from __future__ import annotations

import re
from collections.abc import Mapping
from difflib import get_close_matches
from html import unescape
from typing import Any

from scenes.io.library_remarks import printable
from scenes.io.meshes.damage import DamagedMeshError

MF_CORE = "http://schemas.microsoft.com/3dmanufacturing/core"
# Elements of the core specification (chapters 3 to 5), and what each may stand in; extensions' own have another address.
MF_WITHIN = {
    "model": ("",), "metadata": ("model", "metadatagroup"), "metadatagroup": ("object", "item"), "resources": ("model",),
    "basematerials": ("resources",), "base": ("basematerials",), "object": ("resources",), "mesh": ("object",),
    "vertices": ("mesh",), "vertex": ("vertices",), "triangles": ("mesh",), "triangle": ("triangles",),
    "components": ("object",), "component": ("components",), "build": ("model",), "item": ("build",),
}  # fmt: skip
MF_SHAPES = {"object", "mesh", "vertices", "vertex", "triangles", "triangle", "components", "component", "build", "item"}
MF_PLAIN_IN_BODIES = {"trianglesets", "settings"}  # of extensions: triangles that are there, and how to print a body
MF_BODIES = {
    "beamlattice", "booleanshape", "displacementmesh", "volumetricstack", "levelset", "implicitfunction", "alternatives",
}  # fmt: skip
MF_PLACES = {"item": {"objectid", "transform", "partnumber", "printable"}, "component": {"objectid", "transform"}}
MF_STATES = ("unit", "requiredextensions", "recommendedextensions")
# A body as words: in a remark, a note, or what an extension tells.
MF_IN_WORDS = re.compile(
    r"<\s*(?:[\w.-]+:)?(?:object\s[^<>]*\bid|vertex\s[^<>]*\bx|triangle\s[^<>]*\bv1|(?:component|item)\s[^<>]*\bobjectid)\s*="
)


class Markup:
    """Goes along with a parser of XML, and raises DamagedMeshError at what the mesh reader would pass over."""

    def __init__(self, parser: Any) -> None:
        self._open: list[str] = [""]  # tags of the core by their names, those of extensions as ":"
        self._core = MF_CORE
        self._words: list[str] = []
        parser.buffer_text = True
        parser.CharacterDataHandler, parser.CommentHandler = self._text, self._words.append
        parser.ProcessingInstructionHandler = lambda _, words: self._words.append(words)
        parser.StartDoctypeDeclHandler = _no_entities
        parser.EndElementHandler = lambda _: self._open.pop()

    def enter(self, space: str, tag: str, attributes: Mapping[str, str]) -> None:
        """Judge a tag by what it stands in."""
        if len(self._open) == 1:
            self._core = space  # that of the format's first years differs
        within = self._open[-1]
        if space and space != self._core and not space.startswith(MF_CORE):
            self._open.append(":")
            _no_foreign_body(tag, within)
            return
        self._open.append(tag)
        _is_known(tag, attributes)
        if within not in MF_WITHIN[tag]:
            raise DamagedMeshError(f'it holds a "{tag}" where 3MF has none; export it again')

    def close(self) -> None:
        """Judge the words of remarks, notes and extensions, once all are read."""
        found = MF_IN_WORDS.search(unescape(" ".join(self._words)))
        if found:
            raise DamagedMeshError(
                f'a remark or note of it holds a body as words, "{printable(found[0][:20])}"; delete it, or make it one of its '
                "bodies, and export the file again"
            )

    def _text(self, text: str) -> None:
        if self._open[-1] in (":", "metadata"):
            self._words.append(text)
        elif text.strip():
            raise DamagedMeshError(
                f'words stand between its parts, "{printable(text.strip()[:20])}", where 3MF has none; export it again'
            )


def _no_entities(*_: Any) -> None:
    raise DamagedMeshError("it declares entities, which 3MF forbids; export it again")


def _no_foreign_body(tag: str, within: str) -> None:
    """Refuse an extension's element that is a body, or part of one: it is made of what the mesh reader does not know."""
    part = within in MF_SHAPES and tag not in MF_PLAIN_IN_BODIES
    if tag in MF_BODIES or tag in MF_SHAPES or part:
        raise DamagedMeshError(f"its bodies are made of more than triangles ({printable(tag[:20])}); export them as triangles")


def _is_known(tag: str, attributes: Mapping[str, str]) -> None:
    """Refuse a name that the core of 3MF does not know: a spoilt letter loses a triangle, a copy or a place without a word."""
    if tag not in MF_WITHIN:
        raise DamagedMeshError(f'it holds a "{printable(tag[:20])}", which 3MF does not know; export it again')
    own = [key for key in attributes if " " not in key]
    foreign = set(own) - MF_PLACES.get(tag, set(own))
    if tag == "model":
        foreign = {key for key in own if key not in MF_STATES and get_close_matches(key, MF_STATES, 1, 0.7)}
    if foreign:
        raise DamagedMeshError(
            f'its {tag} has an attribute "{printable(min(foreign)[:20])}", which 3MF does not know; export it again'
        )
