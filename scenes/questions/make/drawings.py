"""All drawings as one PDF: assembly, parts list, a sheet for each part, flats of hoods, sheets of stock."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from scenes.questions.make.allowed import Allowed
from scenes.questions.make.assembly_sheets import draw_apart, draw_list, draw_together, part_rows
from scenes.questions.make.drawing_paper import PAPERS_MM, Title, draw_paper, views_space
from scenes.questions.make.made_part import Made
from scenes.questions.make.part_sheets import ROW_MM, draw_flat, draw_hood, draw_plate
from scenes.questions.make.pen import PT, Pen
from scenes.questions.make.report import MakeReport, set_ups
from scenes.questions.make.shapes import HoodShape
from scenes.questions.make.stock_sheets import draw_stock
from scenes.runtime.page import counted
from scenes.scene_file.messages import plain
from scenes.sheets.page import Box
from scenes.sheets.pdf_letters import use_letters

SAME_SCALE = "-"
HASH = 8  # letters of the scene's own in a drawing's number: another scene is another drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One sheet: what draws its views (the scale comes back), and what its title block says."""

    draw: Callable[[Pen, Box], str]
    title: str
    number: str
    kind: str
    material: str = ""
    mass: str = ""


def drawings_pdf(report: MakeReport) -> bytes:
    """The drawings; the same bytes for the same scene."""
    from reportlab.pdfgen.canvas import Canvas

    use_letters()
    stream = io.BytesIO()
    make = report.make
    width, height = PAPERS_MM[make.paper]
    canvas = Canvas(stream, pagesize=(width * PT, height * PT), pageCompression=1, invariant=1)
    canvas.setTitle(report.loaded.scene.title or report.loaded.file_name)
    canvas.setViewerPreference("PrintScaling", "None")
    pages = list(_pages(report))
    for number, page in enumerate(pages, 1):
        pen = Pen(canvas)
        scale = page.draw(pen, views_space(make.paper))
        draw_paper(pen, make.paper, _title(report, page, scale, number, len(pages)))
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def _title(report: MakeReport, page: Page, scale: str, number: int, count: int) -> Title:
    make, sha = report.make, report.loaded.sha256[:HASH]
    return Title(
        title=page.title[:1].upper() + page.title[1:],
        more=report.loaded.scene.title,
        number=f"{page.number}-{sha}" if sha else page.number,
        kind=page.kind,
        scale=scale,
        material=page.material,
        mass=page.mass,
        owner=make.owner,
        creator=make.drawn_by,
        approved=make.approved_by,
        date=make.date,
        sheet=number,
        sheets=count,
        third_angle=make.projection == "third",
    )


def _pages(report: MakeReport) -> Iterator[Page]:
    third, allowed = report.make.projection == "third", Allowed(report.loaded.scene)
    yield from _assembly(report, third_angle=third)
    yield from _lists(report)
    for part in report.parts.made:
        yield from _part(part, allowed, third_angle=third)
    for sheet in report.sheets:
        yield Page(
            draw=lambda pen, space, sheet=sheet: draw_stock(pen, space, sheet),  # type: ignore[misc]
            title=f"sheet of stock {sheet.number}",
            number=f"S{sheet.number:02}",
            kind="cutting plan",
            material=f"{sheet.material.title}, {plain(round(sheet.thickness_mm, 3))} mm",
        )


def _assembly(report: MakeReport, *, third_angle: bool) -> Iterator[Page]:
    sets = set_ups(report)
    numbers, lenses = max(sets.items(), key=lambda one: len(one[0]))
    made = [part for part in report.parts.made if part.number in numbers]
    kilos = next(box.kg for box in report.carried if box.lens_name == lenses[0])
    others = len(report.parts.made) - len(made)
    more = f" {counted(others, 'part')} more for other lenses: see the parts list." if others else ""
    words = f"As fitted with {', '.join(lenses)}.{more} Filters, seal, hinges and screws not drawn."
    common = {"material": "see the parts list", "mass": f"{kilos:.2f} kg with filters"}
    yield Page(
        draw=lambda pen, space: draw_apart(pen, space, made, words),
        title="box, drawn apart",
        number="A01",
        kind="assembly",
        **common,
    )
    yield Page(
        draw=lambda pen, space: draw_together(pen, space, made, words, third_angle=third_angle),
        title="box, assembled",
        number="A02",
        kind="assembly",
        **common,
    )


def _lists(report: MakeReport) -> Iterator[Page]:
    rows, space = part_rows(report), views_space(report.make.paper)
    most = int((space.height - 10.0) / ROW_MM) - 2
    for number, start in enumerate(range(0, len(rows), most), 1):
        some = rows[start : start + most]

        def draw(pen: Pen, space: Box, some: list[tuple[str, ...]] = some) -> str:
            draw_list(pen, space, some)
            return SAME_SCALE

        yield Page(draw=draw, title="parts list", number=f"L{number:02}", kind="parts list")


def _part(part: Made, allowed: Allowed, *, third_angle: bool) -> Iterator[Page]:
    common = {"material": f"{part.material.title}, {plain(round(part.thickness_mm, 3))} mm", "mass": f"{part.kg:.3f} kg"}
    draw = draw_hood if isinstance(part.shape, HoodShape) else draw_plate
    yield Page(
        draw=lambda pen, space: draw(pen, space, part, allowed, third_angle=third_angle),
        title=part.name,
        number=part.number,
        kind="part drawing",
        **common,
    )
    if isinstance(part.shape, HoodShape):
        tab = (
            ""
            if part.shape.joint == "panels"
            else "The tab at the end is bent over the outside of the top wall and glued or riveted there."
        )
        for number, cut in enumerate(part.cuts, 1):
            yield Page(
                draw=lambda pen, space, cut=cut: draw_flat(pen, space, part, cut, tab),  # type: ignore[misc]
                title=f"{cut.name}, flat",
                number=f"{part.number}.F{number}",
                kind="flat pattern",
                **common,
            )
