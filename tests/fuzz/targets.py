"""What is fed with damaged input, and what may come of it: a value or a SceneError of one-line sentences, within bounds."""

from __future__ import annotations

import io
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.resources import files

import ezdxf
import trimesh

from scenes.io.dxf.outline import read_outline
from scenes.io.meshes.arrays import MESH_KINDS, mesh_arrays
from scenes.scene_file.errors import SceneError
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.tables.prescription import parse_prescription

TEXT_SCRAPS = [
    b"nan",
    b"-inf",
    b"1e308",
    b"9" * 30,
    b"[[",
    b"]]",
    b'"""',
    b"\x00",
    b"\xff\xfe",
    b"{ a = 1 }",
    b"-1",
    b"0",
    b"\n",
    b"\x1b",
]
DXF_SCRAPS = [b"0\nINSERT\n", b"1e300", b"nan", b"0\nEOF\n", b"0\nENDSEC\n", b"-1", b"0", b"HATCH", b"SPLINE", b"\n", b"999999999"]


@dataclass(frozen=True)
class Target:
    """Whole inputs by name, scraps to put in, and what reads them."""

    seeds: Sequence[tuple[str, bytes]]
    scraps: Sequence[bytes]
    read: Callable[[str, bytes], object]


def mutated(data: bytes, scraps: Sequence[bytes], rng: random.Random) -> bytes:
    """The bytes with one to six places cut, doubled, moved, overwritten or spoilt, or cut short."""
    for _ in range(rng.randint(1, 6)):
        a, b = sorted(rng.randrange(len(data) + 1) for _ in range(2))
        b = min(b, a + rng.choice([1, 4, 40, 400, 4000]))
        spoilt = bytes([rng.randrange(256)])
        data = rng.choice(
            [
                data[:a] + data[b:],
                data[:b] + data[a:],
                data[:a] + spoilt + data[a + 1 :],
                data[:a] + rng.choice(scraps) + data[b if rng.random() < 0.5 else a :],
                data[: len(data) - rng.randrange(len(data) // 2 + 1)] if rng.random() < 0.3 else data,
            ]
        )
    return data


def outcome(target: Target, name: str, data: bytes) -> str:
    """How the input ended: "value", or "refused" in sentences; every other end raises."""
    try:
        target.read(name, data)
    except SceneError as error:
        return _in_sentences([str(complaint) for complaint in error.complaints])
    return "value"


def _in_sentences(complaints: Sequence[str]) -> str:
    assert complaints
    for complaint in complaints:
        assert "\n" not in complaint, complaint
        assert len(complaint) < 1500, complaint
    return "refused"


def _own(*parts: str) -> bytes:
    return files("scenes").joinpath(*parts).read_bytes()


def _toml() -> Target:
    seeds = [
        ("demo", _own("demo", "demo.toml")),
        ("small", _own("demo", "demo-36x24.toml")),
        ("starter", _own("data", "starter.toml")),
    ]
    return Target(seeds, TEXT_SCRAPS, lambda _, data: parse_scene(data.decode("utf-8", "replace"), "s.toml"))


def _prescription() -> Target:
    seed = _own("demo", "glass", "retrofocus-28.toml")
    return Target([("glass", seed)], TEXT_SCRAPS, lambda _, data: parse_prescription(data.decode("utf-8", "replace"), "g.toml"))


def _mesh() -> Target:
    bracket = trimesh.creation.icosphere(subdivisions=1, radius=30.0)
    written = [(kind, bracket.export(file_type=kind)) for kind in (*MESH_KINDS, "stl_ascii")]
    seeds = [(kind.partition("_")[0], data.encode() if isinstance(data, str) else data) for kind, data in written]
    return Target(seeds, TEXT_SCRAPS, lambda kind, data: mesh_arrays(data, kind, f"m.{kind}"))


def _dxf() -> Target:
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 4
    block = document.blocks.new("CUT")
    block.add_lwpolyline([(-40, -25, 0), (40, -25, 0.4), (40, 25, 0), (-40, 25, 0.4)], format="xyb", close=True)
    document.modelspace().add_blockref("CUT", (0, 0))
    plain = ezdxf.new("R12")
    for a, b in (((-40, -25), (40, -25)), ((40, -25), (40, 25)), ((40, 25), (-40, 25)), ((-40, 25), (-40, -25))):
        plain.modelspace().add_line(a, b)
    seeds = []
    for name, drawing in (("block", document), ("lines", plain)):
        stream = io.StringIO()
        drawing.write(stream)
        seeds.append((name, stream.getvalue().encode()))
    return Target(seeds, DXF_SCRAPS, lambda _, data: read_outline(data, "m.dxf"))


TARGETS: dict[str, Callable[[], Target]] = {"toml": _toml, "prescription": _prescription, "mesh": _mesh, "dxf": _dxf}
