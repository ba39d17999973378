"""`brimline masks`: the tightest cut-out for each lens, the set of masks that serves them all, and files to cut them from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from scenes.questions.masks.report import MaskReport

MARGIN_MM, CORNER_MM = 2.5, 3.0  # as in scenes.questions.masks.report, which --help must not load; a test holds them together


@click.command("masks", short_help="The tightest mask for each lens, the best set of masks, and files to cut.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--masks", "count", type=click.IntRange(1, 99), metavar="K", help="Masks to cut.  [default: as many as now]")
@click.option("--margin", type=click.FloatRange(0, 50), default=MARGIN_MM, show_default=True, help="Room round the beam, mm.")
@click.option("--corner", type=click.FloatRange(0, 50), default=CORNER_MM, show_default=True, help="Least inside radius, mm.")
@click.option("--at", "at_mm", type=float, metavar="MM", help="Where the masks stand, ahead of the back plate.  [default: as now]")
@click.option("--lens", "lenses", multiple=True, metavar="NAME", help="Only this lens; may be given more than once.")
@click.option("--split-anamorphic", is_flag=True, help="Anamorphic and spherical lenses share no mask.")
@click.option("--also-empty", is_flag=True, help="Cut for empty trays too: each filter in or out.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for DXF, SVG, PDF, picture and tables.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the table; outlines included.")
def command(
    scene: Path,
    count: int | None,
    margin: float,
    corner: float,
    at_mm: float | None,
    lenses: tuple[str, ...],
    split_anamorphic: bool,
    also_empty: bool,
    out: Path | None,
    as_json: bool,
) -> int:
    """Find the tightest cut-out for each lens of SCENE at its mask's place, over every guide, zoom, focus and stop.

    Then the K masks that serve all lenses with the least excess opening, each as DXF and SVG (mm, layers CUT and ENGRAVE) and on
    a page at true size. A drawing can be given to a mask of the scene as its `outline`.
    """
    from scenes.io.files import as_json as json_text
    from scenes.questions.masks.report import Wanted, mask_report
    from scenes.questions.masks.text import masks_dict, masks_lines
    from scenes.states.load import load_scene

    loaded = load_scene(scene)
    wanted = Wanted(
        margin_mm=margin, corner_mm=corner, masks=count, split_anamorphic=split_anamorphic, also_empty=also_empty, at_mm=at_mm
    )
    report = mask_report(loaded, wanted, lenses)
    title = loaded.scene.title
    lines = masks_lines(report, title, cut=out is not None)
    click.echo(json_text(masks_dict(report, title)) if as_json else "\n".join(lines) + "\n", nl=False)
    if out is not None:
        written = write_masks(out, report, title)
        click.echo(f"wrote {len(written)} files to {out}", err=as_json)
    return 0


def write_masks(out: Path, report: MaskReport, title: str) -> list[Path]:
    """DXF and SVG of each mask, pages at true size, a picture, the scene's tables, and the answer as JSON."""
    from scenes.io.files import as_json, write_whole
    from scenes.questions.masks.cut_files import dxf_bytes, pdf_bytes, scene_tables, svg_bytes
    from scenes.questions.masks.figure import masks_figure
    from scenes.questions.masks.text import masks_dict
    from scenes.sheets.style import figure_png

    files: dict[str, bytes] = {}
    for number, mask in enumerate(report.masks, 1):
        files[f"mask-{number}.dxf"] = dxf_bytes(mask)
        files[f"mask-{number}.svg"] = svg_bytes(mask)
    files["masks.pdf"] = pdf_bytes(report.masks, title or "Masks")
    files["masks.png"] = figure_png(masks_figure(report, title))
    files["masks.json"] = as_json(masks_dict(report, title)).encode("utf-8")
    files["box-masks.toml"] = (scene_tables(report.masks, out.name or "masks") + "\n").encode("utf-8")
    for name, data in files.items():
        write_whole(out / name, data)
    return [out / name for name in files]
