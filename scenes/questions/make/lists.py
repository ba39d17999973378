"""The cut list and the bill of materials as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from scenes.questions.make.report import MakeReport

CUT_HEADS = (
    "sheet", "part", "name", "material", "thickness mm", "width mm", "height mm", "cut mm", "bends", "left mm", "low mm", "turned",
)  # fmt: skip
BILL_HEADS = ("no.", "name", "count", "material", "thickness mm", "mass kg", "for", "remarks")


def cut_list_csv(report: MakeReport) -> str:
    """A line for each flat, in the order of the sheets that it is cut from."""
    rows = [
        (
            sheet.number,
            one.made.number,
            one.cut.name,
            sheet.material.title,
            f"{sheet.thickness_mm:g}",
            *(f"{side:.2f}" for side in one.cut.flat.size_mm),
            f"{one.cut.flat.cut_mm:.0f}",
            len(one.cut.flat.bends),
            f"{one.laid.left_mm:.1f}",
            f"{one.laid.low_mm:.1f}",
            "yes" if one.laid.turned else "no",
        )
        for sheet in report.sheets
        for one in sheet.placed
    ]
    return _csv(CUT_HEADS, rows)


def bill_csv(report: MakeReport) -> str:
    """A line for each part that is made, then what is bought, then sheets of stock."""
    rows: list[Sequence[object]] = [
        (
            part.number,
            part.name,
            1,
            part.material.title,
            f"{part.thickness_mm:g}",
            f"{part.kg:.4f}",
            ", ".join(part.lenses) if part.lenses else "all lenses",
            "made",
        )
        for part in report.parts.made
    ]
    rows += [("", one.name, one.count, "", "", "", one.note, "bought") for one in report.bought]
    rows += [
        (
            "",
            f"sheet {sheet.number}, {sheet.size_mm[0]:g} x {sheet.size_mm[1]:g} mm",
            1,
            sheet.material.title,
            f"{sheet.thickness_mm:g}",
            "",
            f"an offcut of {sheet.offcut_mm[0]:.0f} x {sheet.offcut_mm[1]:.0f} mm is enough",
            f"{100 * sheet.used_share:.1f} % used",
        )
        for sheet in report.sheets
    ]
    return _csv(BILL_HEADS, rows)


def _csv(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows(rows)
    return text.getvalue()
