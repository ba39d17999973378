"""Solids as a STEP file (ISO 10303-21, AP214): every flat face of each as it is, one closed solid a product, in mm.

ISO 10303-42 and AP214, from memory; read back by Open CASCADE in the tests. Round surfaces are chords, as in the solids themselves.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geometry.arrays import FloatArray
from geometry.polyhedra import Polyhedron
from scenes.io.finite_numbers import NotFiniteError, all_finite

UNNAMED = "''"
SCHEMA = "AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }"
WRITTEN_AT = "1980-01-01T00:00:00"  # a file of the same solids is the same file, whenever it was written


class _Data:
    """Entities by number, each written once."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self._known: dict[str, str] = {}

    def add(self, text: str) -> str:
        self.lines.append(f"#{len(self.lines) + 1}={text};")
        return f"#{len(self.lines)}"

    def once(self, text: str) -> str:
        if text not in self._known:
            self._known[text] = self.add(text)
        return self._known[text]


def step_bytes(solids: Sequence[tuple[str, Polyhedron]], title: str) -> bytes:
    """A product of its own for each solid, all in one frame where they stand."""
    data = _Data()
    context = _context(data)
    application = data.add("APPLICATION_CONTEXT('core data for automotive mechanical design processes')")
    data.add(f"APPLICATION_PROTOCOL_DEFINITION('international standard','automotive_design',2000,{application})")
    for name, solid in solids:
        _product(data, name, solid, context, application)
    header = (
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION(('solids with flat faces, lengths in mm'),'2;1');\n"
        f"FILE_NAME({_text(title)},'{WRITTEN_AT}',(''),(''),'brimline','brimline','');\nFILE_SCHEMA(('{SCHEMA}'));\nENDSEC;\nDATA;\n"
    )
    return (header + "\n".join(data.lines) + "\nENDSEC;\nEND-ISO-10303-21;\n").encode("ascii")


def _text(words: str) -> str:
    r"""A string of ISO 10303-21: quotes doubled, other than ASCII as \\X2\\ or \\X4\\ hexadecimal."""
    found = ""
    for letter in words:
        if letter in "'\\":
            found += letter * 2
        elif " " <= letter <= "~":
            found += letter
        elif ord(letter) < 0x10000:
            found += f"\\X2\\{ord(letter):04X}\\X0\\"
        else:
            found += f"\\X4\\{ord(letter):08X}\\X0\\"
    return f"'{found}'"


def _context(data: _Data) -> str:
    length = data.add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))")
    angle = data.add("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))")
    solid = data.add("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())")
    near = data.add(f"UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-6),{length},'distance_accuracy_value','')")
    return data.add(
        f"(GEOMETRIC_REPRESENTATION_CONTEXT(3)GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT(({near}))"
        f"GLOBAL_UNIT_ASSIGNED_CONTEXT(({length},{angle},{solid}))REPRESENTATION_CONTEXT('',''))"
    )


def _product(data: _Data, name: str, solid: Polyhedron, context: str, application: str) -> None:
    words = _text(name)
    kind = data.once(f"PRODUCT_CONTEXT('',{application},'mechanical')")
    product = data.add(f"PRODUCT({words},{words},'',({kind}))")
    data.add(f"PRODUCT_RELATED_PRODUCT_CATEGORY('part',$,({product}))")
    formation = data.add(f"PRODUCT_DEFINITION_FORMATION('','',{product})")
    view = data.once(f"PRODUCT_DEFINITION_CONTEXT('part definition',{application},'design')")
    definition = data.add(f"PRODUCT_DEFINITION('design','',{formation},{view})")
    shape = data.add(f"PRODUCT_DEFINITION_SHAPE('','',{definition})")
    placement = data.add(f"AXIS2_PLACEMENT_3D('',{_point(data, np.zeros(3))},$,$)")
    brep = data.add(f"MANIFOLD_SOLID_BREP({words},{_shell(data, solid)})")
    representation = data.add(f"ADVANCED_BREP_SHAPE_REPRESENTATION({words},({placement},{brep}),{context})")
    data.add(f"SHAPE_DEFINITION_REPRESENTATION({shape},{representation})")


def _shell(data: _Data, solid: Polyhedron) -> str:
    corners = [
        data.add(f"VERTEX_POINT('',{data.add(f'CARTESIAN_POINT({UNNAMED},{_triple(point)})')})") for point in solid.vertices_mm
    ]
    edges: dict[tuple[int, int], str] = {}
    faces = [_face(data, solid, face, corners, edges) for face in solid.faces]
    return data.add(f"CLOSED_SHELL('',({','.join(faces)}))")


def _face(
    data: _Data, solid: Polyhedron, face: tuple[tuple[int, ...], ...], corners: Sequence[str], edges: dict[tuple[int, int], str]
) -> str:
    bounds = []
    for place, loop in enumerate(face):
        oriented = [_oriented(data, solid, a, b, corners, edges) for a, b in zip(loop, (*loop[1:], loop[0]), strict=True)]
        ring = data.add(f"EDGE_LOOP('',({','.join(oriented)}))")
        bounds.append(data.add(f"{'FACE_BOUND' if place else 'FACE_OUTER_BOUND'}('',{ring},.T.)"))
    points = solid.vertices_mm[list(face[0])]
    after = np.concatenate([points[1:], points[:1]])
    normal, edges_mm = _normal(points, after), after - points
    across = edges_mm[int(np.argmax((edges_mm**2).sum(axis=1)))]
    axes = f"{_direction(data, normal)},{_direction(data, across)}"
    plane = data.add(f"PLANE('',{data.add(f'AXIS2_PLACEMENT_3D({UNNAMED},{_point(data, points[0])},{axes})')})")
    return data.add(f"ADVANCED_FACE('',({','.join(bounds)}),{plane},.T.)")


def _normal(points: FloatArray, after: FloatArray) -> FloatArray:
    """Square to a loop, by Newell's sums over its corners and those after them."""
    away, both = points - after, points + after
    return np.array([float(away[:, k - 2] @ both[:, k - 1]) for k in range(3)])


def _oriented(data: _Data, solid: Polyhedron, a: int, b: int, corners: Sequence[str], edges: dict[tuple[int, int], str]) -> str:
    """An edge as a loop runs along it: one curve for both faces that it parts."""
    forward = (a, b) not in edges and (b, a) not in edges
    if forward:
        start, way = solid.vertices_mm[a], solid.vertices_mm[b] - solid.vertices_mm[a]
        vector = data.add(f"VECTOR('',{_direction(data, way)},1.)")
        line = data.add(f"LINE('',{_point(data, start)},{vector})")
        edges[a, b] = data.add(f"EDGE_CURVE('',{corners[a]},{corners[b]},{line},.T.)")
    curve, sense = (edges[a, b], ".T.") if (a, b) in edges else (edges[b, a], ".F.")
    return data.add(f"ORIENTED_EDGE('',*,*,{curve},{sense})")


def _point(data: _Data, point: FloatArray) -> str:
    return data.once(f"CARTESIAN_POINT('',{_triple(point)})")


def _direction(data: _Data, way: FloatArray) -> str:
    length = float(np.linalg.norm(way))
    if not length > 0.0:
        raise NotFiniteError("an edge or face of a STEP file has no size, and so no direction; the file was not written")
    return data.once(f"DIRECTION('',{_triple(way / length, 12)})")


def _triple(values: FloatArray, digits: int = 9) -> str:
    return f"({','.join(_real(float(value), digits) for value in values)})"


def _real(value: float, digits: int) -> str:
    """A real number as ISO 10303-21 wants it: with a point, no minus zero; that has none for what is not finite."""
    all_finite(value, "a STEP file")
    return f"{round(value, digits) + 0.0:.{digits}f}".rstrip("0")
