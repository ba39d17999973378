"""The scene file's reference page in Markdown: every table and key, made from the models."""

import math
from collections.abc import Iterable, Iterator
from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from scenes.scene_file.examples import example_text
from scenes.scene_file.messages import plain, shown
from scenes.scene_file.tables.box import BoxPart
from scenes.scene_file.tables.fields import Table, bare, table_of
from scenes.scene_file.tables.half_field import HalfFieldAngles
from scenes.scene_file.tables.lens import PupilDepth
from scenes.scene_file.tables.prescription import GlassFile
from scenes.scene_file.tables.scene import Scene

INFINITE = '"infinity"'
HEAD = """# Scene file

A scene is one TOML file. Lengths are plain numbers in mm, angles in degrees, light loss in stops. Left, right, top and
bottom are as the operator sees them from behind the camera; pairs run right, up. Azimuth counts from straight ahead,
positive to the operator's right.

Only `brimline`, `camera`, one `lens` and `box` are required, and every part of the box may be left out: a bare hood or
a single flag is a scene. Any part may carry `name`, and `lenses = ["18", "21"]`: it is then fitted with these lenses only.
Where a heading has double brackets, as `[[lens]]`, there may be several such tables; one alone may also be written with
single brackets. Back plate, seal and hood are one per lens, so several of them must say with `lenses` which is whose.

A table inside a repeated one belongs to the one above it: `[box.stage.filter]` is the filter of the `[[box.stage]]` that
stands last above it, `[box.flag.extension]` the extension of the last `[[box.flag]]`, `[[lens.state]]` a row of the last
`[[lens]]`, `[light.sun]` the sun of the last `[[light]]`. So each filter stands directly below its stage. Written in one
line inside the stage it is the same: `filter = { size = "4x5.65" }`.

A part moves with its box: first its own turn and tilt about its own centre, then `at_mm`, then the box's tilt about the
back plate's centre, then the box's `offset_mm` and `ahead_mm`.

Any length or angle of camera, lens or box may come out otherwise than written: a `[[tolerance]]` names it and says by how
much, and `brimline tolerances` says how sure the frame is then ([tolerances](tolerances.md)).

Any length, angle or choice of the box may be left to the program: `[design]` says what is free and what is asked, and
`brimline design` finds the smallest box ([design](design.md)).

What the box is made of, the sheets it is cut from and what carries it stand in `[make]`: `brimline make` writes the
workshop's files, and says every default that it took ([make](make.md)).

A key that is not listed here is an error. Complaints name the file, the line, and the key; places in arrays count from 1
and carry the name that is written there: `box.stage[2 "front tray"].filter.thickness_mm`. Files that a scene names are
looked for relative to the scene file, with forward slashes.

`brimline new scene.toml` writes a commented scene to start from, `brimline schema` a JSON Schema for your editor.
"""
EXAMPLE_HEAD = """## A complete scene

Two lenses, a box with every kind of part but a mesh, tolerances, a light, and what to check. The lenses and the box are
invented. Saved as `river.toml` it runs as it stands: `brimline check river.toml --out river`.

"""
GLASS_HEAD = """## Prescription file

The file that `prescription` of a lens names: the surface table of a published lens. Lengths of the rows are multiplied by
`scale`; rows run from the scene to the image.
"""


def scene_file_reference() -> str:
    """The whole page."""
    example = f"{EXAMPLE_HEAD}```toml\n{example_text().rstrip()}\n```\n"
    sections = [HEAD, example, *_sections(Scene, ""), GLASS_HEAD + "\n" + _table(GlassFile)]
    sections += [section.replace("### ", "### In a prescription file: ") for section in _inner_sections(GlassFile, "")]
    return "\n".join(sections).rstrip() + "\n"


def _sections(model: type[Table], path: str) -> Iterator[str]:
    yield f"## At the top of the file\n\n{_table(model)}"
    yield from _inner_sections(model, path)


def _inner_sections(model: type[Table], path: str) -> Iterator[str]:
    for name, field in model.model_fields.items():
        inner = table_of(field.annotation)
        if inner is not None:
            here = f"{path}.{name}".removeprefix(".")
            many = get_origin(bare(field.annotation)) is tuple
            heading = f"[[{here}]]" if many else f"[{here}]"
            yield f"### `{heading}`\n\n{(inner.__doc__ or '').strip()}\n\n{_table(inner)}"
            yield from _inner_sections(inner, here)


def _table(model: type[Table]) -> str:
    head = "| key | type | unit | limits | default | meaning |\n|---|---|---|---|---|---|\n"
    return head + "".join(_row(name, field) for name, field in _own_keys(model))


def _own_keys(model: type[Table]) -> Iterable[tuple[str, FieldInfo]]:
    """Keys in the order of the model, with what every part may carry at the end."""
    fields = model.model_fields
    shared = set(BoxPart.model_fields) if issubclass(model, BoxPart) else set()
    return [(name, fields[name]) for name in sorted(fields, key=lambda name: name in shared)]


def _row(name: str, field: FieldInfo) -> str:
    notes = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
    cells = (f"`{name}`", _type_words(field, notes), str(notes.get("x-unit", "")), _limits(notes), _default(field, notes))
    meaning = (field.description or "").replace("|", "\\|")
    return f"| {' | '.join(cells)} | {meaning} |\n"


def _type_words(field: FieldInfo, notes: dict[str, Any]) -> str:
    if notes.get("x-kind"):
        return str(notes["x-kind"])
    if notes.get("x-words"):
        words = " or ".join(f'`"{word}"`' for word in notes["x-words"])
        return f"array of numbers or {words}" if get_origin(bare(field.annotation)) is tuple else f"number or {words}"
    return _kind_words(field.annotation)


def _kind_words(annotation: Any) -> str:
    kind = bare(annotation)
    if kind is PupilDepth:
        return "number, `[least, most]` or table"
    if kind is HalfFieldAngles:
        return "number or table"
    if table_of(kind) is not None:
        return "tables" if get_origin(kind) is tuple else "table"
    if get_origin(kind) is Literal:
        return ", ".join(f'`"{word}"`' for word in get_args(kind))
    if get_origin(kind) is tuple:
        items = get_args(kind)
        several = "" if Ellipsis in items else f"{len(items)} "
        return f"array of {several}{_plural(items[0])}"
    return {float: "number", int: "whole number", str: "text", bool: "true or false"}.get(kind, "date and time")


def _plural(annotation: Any) -> str:
    kind = bare(annotation)
    if get_origin(kind) is tuple:
        return f"rows of {len(get_args(kind))} numbers"
    if get_origin(kind) is Literal:
        return _kind_words(kind)
    return {float: "numbers", int: "whole numbers", str: "texts"}.get(kind, "values")


def _limits(notes: dict[str, Any]) -> str:
    if "minimum" in notes:
        return f"{plain(notes['minimum'])} to {plain(notes['maximum'])}"
    return f"1 to {notes['maxLength']} characters" if "maxLength" in notes else ""


def _default(field: FieldInfo, notes: dict[str, Any]) -> str:
    if "x-default" in notes:
        return str(notes["x-default"])
    if field.is_required():
        return "required"
    return _value_words(field.default)


def _value_words(value: Any) -> str:
    match value:
        case None | () | Table():
            return "none"
        case bool():
            return "true" if value else "false"
        case float():
            return plain(value)
        case str():
            return shown(value)
        case tuple():
            return f"[{', '.join(INFINITE if item == math.inf else _value_words(item) for item in value)}]"
    return str(value)
