"""`brimline beam`: the beam's section where `at_mm` of the scene lies."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from raytrace.beam.outline import SectionSize
    from scenes.questions.beam.report import BeamInPlane, PartInPlane, StateInPlane

CLEAR, IN_FRAME = 0, 1
NAME_COLUMNS = 20


@click.command("beam", short_help="Size of the beam in a plane of the box, over the parts that stand there.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--at", "at_mm", type=float, required=True, metavar="MM", help="Ahead of the back plate's rear face, as at_mm is.")
@click.option("--lens", "lenses", multiple=True, metavar="NAME", help="Only this lens; may be given more than once.")
@click.option("--focus", multiple=True, metavar="MM", help='Only this focus: mm from the image plane, "infinity" or "close".')
@click.option("--f-number", "f_numbers", multiple=True, type=float, metavar="N", help="Only this stop.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of a table; outlines included.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the picture and the JSON.")
def command(
    scene: Path,
    at_mm: float,
    lenses: tuple[str, ...],
    focus: tuple[str, ...],
    f_numbers: tuple[float, ...],
    as_json: bool,
    out: Path | None,
) -> int:
    """Outline the beam of SCENE in the plane MM ahead of the back plate: all guides, all states, through the glass before it.

    Exit status: 0 no part in this plane is in the beam, 1 one is, 2 the input is at fault.
    """
    from scenes.questions.beam.report import beam_in_plane
    from scenes.states.load import load_scene, plans_of
    from scenes.states.select import selected

    loaded = load_scene(scene)
    plans = selected(plans_of(loaded), lenses=lenses, focus=focus, f_numbers=f_numbers)
    beam = beam_in_plane(loaded.scene, plans, at_mm)
    text = json.dumps(beam_json(beam), indent=1, allow_nan=False)
    click.echo(text if as_json else "\n".join(table(beam)))
    if out is not None:
        _write(out, beam, loaded.scene.title or scene.stem, text)
    return IN_FRAME if any(part.clearance_mm <= 0 for part in beam.parts) else CLEAR


def _write(out: Path, beam: BeamInPlane, title: str, text: str) -> None:
    from scenes.io.files import write_whole
    from scenes.questions.beam.figure import beam_figure
    from scenes.sheets.style import figure_png

    name = f"beam_at_{beam.at_mm:g}"
    write_whole(out / f"{name}.png", figure_png(beam_figure(beam, title)))
    write_whole(out / f"{name}.json", text.encode())
    click.echo(f"{out / name}.png and .json written", err=True)


def table(beam: BeamInPlane) -> list[str]:
    """The beam's sizes by state, and the parts in the plane, as lines of at most 100 columns."""
    from geometry.frame import ahead_in_words

    head = (
        f"{'lens':{NAME_COLUMNS}} {'mm':>6} {'focus':>9} {'f/':>5} {'width':>8} {'height':>8} {'corner':>7} {'right':>7} {'up':>7}"
    )
    place = ahead_in_words(beam.at_mm, "the back plate's rear face", "g")
    lines = [f"Beam {place} [mm]", "", head, "-" * len(head)]
    lines += [_row(state) for state in beam.states]
    if len(beam.states) > 1:
        lines += ["-" * len(head), f"{'all of them':{NAME_COLUMNS}} {'':>6} {'':>9} {'':>5} {_size_words(beam.size)}"]
    lines += ["", "corner: largest corner radius of an opening of that size that still lets the beam through"]
    return [*lines, "", *_part_lines(beam.parts)]


def _row(state: StateInPlane) -> str:
    plan = state.plan
    focus = "infinity" if math.isinf(plan.focus_mm) else f"{plan.focus_mm:g}"
    name = plan.lens_name if len(plan.lens_name) <= NAME_COLUMNS else f"{plan.lens_name[: NAME_COLUMNS - 1]}…"
    size = "no beam there" if state.section.is_empty else _size_words(state.size)
    return f"{name:{NAME_COLUMNS}} {plan.focal_mm:>6g} {focus:>9} {plan.f_number:>5g} {size}"


def _size_words(size: SectionSize) -> str:
    right, up = (round(value, 1) + 0.0 for value in (size.right_mm, size.up_mm))
    return f"{size.width_mm:>8.1f} {size.height_mm:>8.1f} {size.corner_mm:>7.1f} {right:>7.1f} {up:>7.1f}"


def _part_lines(parts: Sequence[PartInPlane]) -> list[str]:
    if not parts:
        return ["No part stands in this plane."]
    rows = sorted(parts, key=lambda part: part.clearance_mm)
    return [
        "Parts in this plane, least clearance over all states (negative: in the beam by so much) [mm]",
        *(f"  {part.name:<40.40} {_clear_words(part.clearance_mm):>9}" for part in rows),
    ]


def _clear_words(clearance_mm: float) -> str:
    return "-" if math.isinf(clearance_mm) else f"{clearance_mm:.1f}"


def beam_json(beam: BeamInPlane) -> dict[str, Any]:
    """The same as plain values; lengths in mm, outlines as (right, up) of their corners."""
    return {
        "at_mm": beam.at_mm,
        "beam": _size_json(beam.size) | {"outlines_mm": _outlines(beam.section)},
        "states": [
            {
                "state": state.plan.key,
                "lens": state.plan.lens_name,
                "focal_mm": state.plan.focal_mm,
                "focus_mm": "infinity" if math.isinf(state.plan.focus_mm) else state.plan.focus_mm,
                "f_number": state.plan.f_number,
                **_size_json(state.size),
                "parts": {part.name: _finite(part.clearance_mm) for part in state.parts},
            }
            for state in beam.states
        ],
        "parts": [{"part": part.name, "kind": part.kind.value, "clearance_mm": _finite(part.clearance_mm)} for part in beam.parts],
    }


def _size_json(size: SectionSize) -> dict[str, float]:
    return {
        "width_mm": round(size.width_mm, 3),
        "height_mm": round(size.height_mm, 3),
        "corner_mm": round(size.corner_mm, 3),
        "right_mm": round(size.right_mm, 3),
        "up_mm": round(size.up_mm, 3),
    }


def _outlines(section: Any) -> list[list[list[float]]]:
    from shapely import get_parts

    from geometry.frame import frame_to_right_up

    return [frame_to_right_up(part.exterior.coords).round(3).tolist() for part in get_parts(section) if not part.is_empty]


def _finite(value_mm: float) -> float | None:
    return None if math.isinf(value_mm) else round(value_mm, 3)
