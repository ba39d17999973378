"""What a 3MF package says of its own shapes: how many triangles it builds, and that its reader passes over nothing in it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from xml.parsers import expat

import numpy as np

from scenes.io.meshes.damage import DamagedMeshError, few_enough_bodies, has_no_room, no_triangles, plain_number
from scenes.io.meshes.markup_3mf import Markup
from scenes.io.meshes.package_3mf import model_of

DEEPEST = 16  # parts within parts


def faces_of_3mf(data: bytes) -> int:
    """3MF: the triangles of each object, and how often the build asks for it, by way of other objects or not."""
    return _3mf_model(model_of(data))


# Words in the addresses of 3MF extensions that leave shapes alone, or are looked at here: production.
MF_PLAIN = ("material", "production", "trianglesets", "securecontent")


def _has_a_place(attributes: Mapping[str, str]) -> None:
    turned = np.array(
        [float(plain_number(word)) for word in attributes.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0").split()]
    ).reshape(4, 3)[:3]
    if has_no_room(turned):
        raise DamagedMeshError("a body of it shrinks to nothing; delete it, or give it its size, and export it again")


def _is_a_corner(attributes: Mapping[str, str]) -> None:
    try:
        for key in "xyz":
            float(attributes[key])
    except (KeyError, ValueError):
        raise DamagedMeshError("a corner of it has no plain number; export it again") from None


def _is_of_triangles(tag: str, attributes: Mapping[str, str]) -> None:
    """Refuse bodies that lie elsewhere or are more than triangles; of rough ones the 3MF slice extension tells (from memory)."""
    if tag in {"component", "item"} and any(key.endswith("path") for key in attributes):
        raise DamagedMeshError("its bodies lie in several files of the package; export it as one body or as STL")
    if any(key.rpartition(" ")[2] == "meshresolution" and value == "lowres" for key, value in attributes.items()):
        raise DamagedMeshError("a mesh of it is rough and stands for slices; export it as triangles alone")


def _3mf_model(model: bytes) -> int:
    own: dict[str, int] = defaultdict(int)
    components: dict[str, list[str]] = defaultdict(list)
    names: dict[str, str] = {}
    items: list[str] = []
    inside = ""
    lists = _CornerLists()
    spaces: dict[str, str] = {}

    def declare(prefix: str | None, address: str | None) -> None:
        spaces[prefix or ""] = address or ""

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal inside
        space, _, tag = tag.rpartition(" ")
        markup.enter(space, tag, attributes)
        _is_of_triangles(tag, attributes)
        match tag:
            case "model":
                _only_plain_extensions(attributes.get("requiredextensions", ""), spaces)
            case "object":
                inside = attributes["id"]
                own[inside] += 0
                names[inside] = attributes.get("name") or inside
            case "vertices":
                lists.begun.append(inside)
            case "triangle":
                own[inside] += 1
                lists.ask(inside, attributes)
            case "vertex":
                lists.add(inside, attributes)
            case "component":
                _has_a_place(attributes)
                components[inside].append(attributes["objectid"])
            case "item":
                _has_a_place(attributes)
                items.append(attributes["objectid"])

    parser = expat.ParserCreate(namespace_separator=" ")
    markup = Markup(parser)
    parser.StartElementHandler, parser.StartNamespaceDeclHandler = start, declare
    parser.Parse(model, True)
    markup.close()
    lists.hold_all()
    return _built_faces(own, components, names, items)


@dataclass(slots=True)
class _CornerLists:
    """Of each body the lists of corners begun, how many corners it has, and how many its triangles ask for."""

    begun: list[str] = field(default_factory=list)
    corners: Counter[str] = field(default_factory=Counter)
    asked: Counter[str] = field(default_factory=Counter)

    def add(self, body: str, corner: Mapping[str, str]) -> None:
        """Note a corner that is one."""
        _is_a_corner(corner)
        self.corners[body] += 1

    def ask(self, body: str, triangle: Mapping[str, str]) -> None:
        """Note the last corner that a triangle names."""
        self.asked[body] = max(self.asked[body], *(1 + int(triangle[key]) for key in ("v1", "v2", "v3")))

    def hold_all(self) -> None:
        """Refuse a body with two lists, and one whose triangles would take the corners of the next body."""
        if len(self.begun) > len(set(self.begun)):
            raise DamagedMeshError("a body of it has two lists of corners; export it again")
        if any(count > self.corners[body] for body, count in self.asked.items()):
            raise DamagedMeshError("a triangle of it names a corner that its body lacks; export it again")


def _built_faces(
    own: Mapping[str, int], components: Mapping[str, list[str]], names: Mapping[str, str], items: Sequence[str]
) -> int:
    """The triangles that the items of the build come to, each of the objects having so many of its own."""
    copies = _instances(dict.fromkeys(own, 1), components)
    few_enough_bodies(len(own) + sum(copies(item) for item in items))
    _none_empty(own, components, names)
    faces = _instances(own, components)
    _all_built(own, components, items)
    return sum(faces(item) for item in items)


def _none_empty(own: Mapping[str, int], components: Mapping[str, list[str]], names: Mapping[str, str]) -> None:
    """Refuse an object without triangles and parts: one at least is asked for (3MF core specification, chapter 4)."""
    for name, count in own.items():
        if not count and not components.get(name):
            raise no_triangles(names.get(name, name))


def _only_plain_extensions(prefixes: str, spaces: Mapping[str, str]) -> None:
    """3MF core specification, section 2.3.2: a reader must refuse a file that needs an extension which it does not know."""
    for prefix in prefixes.split():
        if not any(word in spaces.get(prefix, "") for word in MF_PLAIN):
            raise DamagedMeshError(f'it needs the extension "{prefix[:20]}" of 3MF; export it as plain triangles')


def _all_built(own: Mapping[str, int], components: Mapping[str, list[str]], items: Sequence[str]) -> None:
    """Refuse bodies that the build does not ask for: one that has lost its item may be the part that is meant."""
    built, waiting = set[str](), list(items)
    while waiting:
        name = waiting.pop()
        if name not in built:
            built.add(name)
            waiting += components.get(name, [])
    if any(count and name not in built for name, count in own.items()):
        raise DamagedMeshError("it holds bodies that are not in its build; delete them or put them in, and export it again")


def _instances(own: Mapping[str, int], components: Mapping[str, list[str]]) -> Callable[[str], int]:
    """What an object comes to, with the parts in it, where each has so much of its own."""

    @cache
    def faces(name: str, depth: int = 0) -> int:
        if name not in own or depth > DEEPEST:
            raise DamagedMeshError(f'its object "{name}" is missing or holds itself; export it again')
        return own[name] + sum(faces(part, depth + 1) for part in components.get(name, []))

    return faces
