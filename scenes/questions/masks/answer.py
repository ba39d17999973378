"""The masks as an answer: tables, JSON with the outlines, drawings to cut from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from geometry.cutouts import Shape, closed_rings_mm
from geometry.mask_sets import Split
from scenes.answers.answer import CLEAR, Files, Sheets, faults_of
from scenes.answers.blocks import Block, Gap, Heading, NextStep, Note, Paragraph
from scenes.answers.judged_by import judged_by_blocks
from scenes.answers.numbers import finite
from scenes.answers.table import Column, Table
from scenes.questions.masks.cut_files import as_drawn, dxf_bytes, pdf_bytes, scene_tables, svg_bytes
from scenes.questions.masks.report import (
    MM2_PER_CM2,
    SAME_MM,
    CutMask,
    LensMask,
    MaskReport,
    Rule,
    has_a_say,
    mask_report,
    rules_of,
    size_mm,
)
from scenes.questions.masks.wanted import CORNER_MM, Wanted
from scenes.runtime.page import WIDTH, wrapped
from scenes.states.numbers_used import NumbersUsed, numbers_used

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State

RULE = "an opening no smaller than the lens front diameter (common practice)"
COLUMNS_WORDS = (
    "its middle: to the right or left, then up (+) or down (-). mask now: room between the beam and the scene's own mask, below 0 "
    "it stands in the beam. margin: round the beam, in the mask's plane. empty: how much farther the beam reaches somewhere once "
    "filters come out."
)
SHARED_AT = 24  # column where the lenses that share a mask begin


def answer(
    show: Loaded,
    *,
    margin_mm: float | None = None,
    corner_mm: float = CORNER_MM,
    masks: int | None = None,
    split_anamorphic: bool = False,
    also_empty: bool = True,
    at_mm: float | None = None,
    lenses: Sequence[str] = (),
) -> MasksAnswer:
    """Masks for the named lenses of a scene, all where none is named; SceneError where a lens has no place for one."""
    wanted = Wanted(
        margin_mm=margin_mm,
        corner_mm=corner_mm,
        masks=masks,
        split_anamorphic=split_anamorphic,
        also_empty=also_empty,
        at_mm=at_mm,
    )
    return MasksAnswer(report=mask_report(show, wanted, lenses), title=show.scene.title)


@dataclass(frozen=True, slots=True, kw_only=True)
class MasksAnswer:
    """Every lens's own cut-out, what each number of masks costs, and the masks to cut."""

    name: ClassVar[str] = "masks"
    exit_status: ClassVar[int] = CLEAR
    cautions: ClassVar[Sequence[str]] = (
        "A prediction is no substitute for the test shoot: hold the printed template against the lens before metal is cut.",
    )

    report: MaskReport
    title: str

    @property
    def states(self) -> Sequence[State]:
        """The states whose beams the cut-outs hold."""
        return [state for mask in self.report.lenses for state in mask.states]

    @property
    def judged_by(self) -> Sequence[NumbersUsed]:
        """The numbers of each lens, where the box stands, and what its cut-out depends on in the box."""
        return [numbers_used(mask.states, partial(has_a_say, mask.place)) for mask in self.report.lenses]

    @property
    def next_step(self) -> str:
        """What to do once the files are there."""
        return next_step(self.report, written=True)

    def blocks(self, *, written: bool) -> Iterator[Block]:
        """Lens by lens, the rule of thumb, the sets of masks, the masks of the set chosen."""
        report = self.report
        yield Heading(f"Masks: {self.title}" if self.title else "Masks")
        yield Paragraph(answer_words(report))
        yield Gap()
        yield Paragraph(method_words(report))
        yield Gap()
        yield Table(columns=LENS_COLUMNS, rows=report.lenses)
        yield Paragraph(COLUMNS_WORDS)
        yield Gap()
        yield Paragraph(f"Rule of thumb: {RULE}. Here, lens by lens with its front diameter:")
        yield Table(columns=RULE_COLUMNS, rows=report.lenses, ruled=False, indent="  ")
        yield Gap()
        yield self.sets_table()
        excess = "excess: area that lenses get beyond their own cut-out, all lenses together. * is cut."
        yield Paragraph(f"{excess} {exactness_words(report.chosen)}")
        yield Gap()
        for mask in report.masks:
            yield from _mask_blocks(mask)
        yield from map(Note, report.notes)
        yield NextStep(next_step(report, written=written))
        yield from judged_by_blocks(self)
        yield from map(Paragraph, self.cautions)

    def sets_table(self) -> Table[Split]:
        """The best set of each number of masks."""

        def shared(split: Split) -> list[str]:
            return wrapped("; ".join(map(" + ".join, self._groups(split))), width=WIDTH - SHARED_AT) or [""]

        columns: list[Column[Split]] = [
            Column(key="masks", of=lambda split: len(split.groups)),
            Column(head="Masks", of=lambda split: f"{len(split.groups)} {'*' if split is self.report.chosen else ' '}", width=6),
            Column(head="Excess opening", key="excess_mm2", of=lambda split: split.excess_mm2, words=_cm2_unit, data=_hundredth),
            Column(key="exact", of=lambda split: split.exact),
            Column(key="chosen", of=lambda split: split is self.report.chosen),
            Column(head="Lenses that share one", of=lambda split: shared(split)[0], left=True),
            Column(key="groups", of=self._groups),
        ]

        def more(split: Split) -> list[str]:
            return [" " * SHARED_AT + line for line in shared(split)[1:]]

        return Table(columns=columns, rows=self.report.splits, ruled=False, notes_of=more)

    def _groups(self, split: Split) -> list[list[str]]:
        return [[self.report.lenses[k].lens.name for k in group] for group in sorted(split.groups)]

    def data(self) -> dict[str, Any]:
        """Lengths in mm, outlines as (right, up) of their corners."""
        report = self.report
        return {
            "margin_mm": max(mask.margin_mm for mask in report.lenses),
            "least_corner_mm": report.wanted.corner_mm,
            "filters": "in or out" if report.wanted.also_empty else "as fitted",
            "rule_of_thumb": RULE,
            "lenses": Table(columns=LENS_COLUMNS, rows=report.lenses).data(),
            "sets": self.sets_table().data(),
            "masks": [_mask_data(number, mask) for number, mask in enumerate(report.masks, 1)],
            "notes": list(report.notes),
        }

    def sheets(self) -> Sheets:
        """The masks side by side."""
        from scenes.questions.masks.figure import masks_figure

        yield "masks", lambda: masks_figure(self.report, self.title)

    def files(self, folder: str) -> Files:
        """DXF and SVG of each mask, pages at true size, and the scene's tables."""
        in_doubt = bool(faults_of(self))
        masks = [replace(mask, in_doubt=in_doubt) for mask in self.report.masks]
        for number, mask in enumerate(masks, 1):
            yield f"mask-{number}.dxf", dxf_bytes(mask)
            yield f"mask-{number}.svg", svg_bytes(mask)
        yield "masks.pdf", pdf_bytes(masks, self.title or "Masks")
        yield "box-masks.toml", (scene_tables(masks, folder or "masks") + "\n").encode()


def answer_words(report: MaskReport) -> str:
    """What to cut, in a sentence."""
    cut = "; ".join(f"{_by(mask.cutout)} mm for the {', '.join(mask.lens_names)}" for mask in report.masks)
    count = len(report.masks)
    return f"Cut {'one mask' if count == 1 else f'{count} masks'}: {cut}."


def method_words(report: MaskReport) -> str:
    """What a cut-out holds, and what holding empty trays costs."""
    wanted, costs_mm = report.wanted, max(mask.empty_mm for mask in report.lenses)
    cost = f" (that costs up to {costs_mm:.1f} mm a side; --as-fitted saves it)" if costs_mm > SAME_MM else ""
    filters = f"with every filter in or out{cost}" if wanted.also_empty else "through the filters fitted, which have to stay in"
    return (
        f"Each cut-out holds the beam of all guides at both faces of the mask, {filters}, at every zoom row, from infinity to the "
        f"nearest focus, at the widest stop; then {_margin_words(report)} and inside corners of {wanted.corner_mm:g} mm at least. "
        "Lengths in mm, places as the operator sees them from the box's centre line."
    )


def _margin_words(report: MaskReport) -> str:
    if report.wanted.margin_mm is not None:
        return f"{report.wanted.margin_mm:g} mm margin"
    least, most = (some(mask.margin_mm for mask in report.lenses) for some in (min, max))
    told = f"{least:g} mm" if least == most else f"{least:g} to {most:g} mm"
    return f"the margin that `check` asks for ({told})"


def exactness_words(split: Split) -> str:
    """Whether another split could be better."""
    if split.exact:
        return "Every way of sharing was looked at: none is better."
    return "Too many lenses to look at every way of sharing: the best found by joining and moving."


def next_step(report: MaskReport, *, written: bool) -> str:
    """What to do, worst first."""
    worst = max(report.lenses, key=lambda mask: mask.short_empty_mm - mask.margin_mm)
    if worst.short_empty_mm > worst.margin_mm:
        return (
            f"these masks hold only with the filters in: with a tray empty the beam of the {worst.lens.name} reaches "
            f"{worst.empty_mm:.1f} mm farther, beyond the margin. Where filters come and go, leave --as-fitted out."
        )
    if not written:
        return "name a folder with --out for DXF, SVG, a 1:1 PDF and the tables that put the masks into the scene."
    return (
        "cut from mask-1.dxf and so on, or print masks.pdf; then put box-masks.toml into the scene in place of its [[box.mask]] "
        "tables and run brimline check."
    )


def _mask_blocks(mask: CutMask) -> Iterator[Block]:
    size, middle = _by(mask.cutout), middle_words(mask.cutout)
    yield Heading(f"{mask.name}: cut-out {size}, middle {middle}; for {', '.join(mask.lens_names)}")
    if len(mask.members) > 1:
        more = ", ".join(f"{m.lens.name} {mask.excess_mm2(m) / MM2_PER_CM2:.1f}" for m in mask.members)
        yield Paragraph(f"more open than their own [cm2]: {more}", "  ")


def _by(shape: Shape) -> str:
    return "{:.1f} x {:.1f}".format(*size_mm(shape))


def middle_words(shape: Shape) -> str:
    """Where the middle of a cut-out lies: '2.1 left -1.0', the second number upward."""
    left, low, right, high = as_drawn(shape).bounds
    across, up = (left + right) / 2, (low + high) / 2
    side = "right " if across >= 0.05 else "left " if across <= -0.05 else ""
    return f"{abs(across):.1f} {side}{round(up, 1) + 0.0:+.1f}"


def rule_words(rule: Rule) -> str:
    """Whether an opening as large as the front is not enough, or a smaller one works, and the number that says so."""
    if rule.word == "too lax":
        return f"not enough: beam is {rule.beam_mm:.1f}"
    return f"smaller works: cut-out {rule.cutout_mm:.1f}" if rule.word == "too strict" else "about right"


def _rule_data(rules: tuple[Rule, Rule]) -> dict[str, Any]:
    return {
        way: {
            "word": rule.word,
            "front_diameter_mm": rule.front_mm,
            "beam_mm": finite(rule.beam_mm),
            "cut_out_mm": finite(rule.cutout_mm),
        }
        for way, rule in zip(("across", "upright"), rules, strict=True)
    }


def _shape_data(shape: Shape) -> dict[str, Any]:
    drawn = as_drawn(shape)
    left, low, right, high = drawn.bounds
    return {
        "width_mm": finite(right - left),
        "height_mm": finite(high - low),
        "right_mm": finite((left + right) / 2),
        "up_mm": finite((low + high) / 2),
        "area_mm2": _hundredth(drawn.area),
        "outlines_mm": [ring.round(4).tolist() for ring in closed_rings_mm(drawn)],
    }


def _mask_data(number: int, mask: CutMask) -> dict[str, Any]:
    return {
        "mask": mask.name,
        "lenses": list(mask.lens_names),
        "cut_out": _shape_data(mask.cutout),
        "only_with_filters_in": mask.filters_in,
        "excess_mm2": [{"lens": member.lens.name, "excess_mm2": _hundredth(mask.excess_mm2(member))} for member in mask.members],
        "files": [f"mask-{number}.dxf", f"mask-{number}.svg"],
    }


def _hundredth(value: float) -> float | None:
    return finite(value, 2)


def _cm2_unit(value_mm2: float) -> str:
    return f"{value_mm2 / MM2_PER_CM2:.1f} cm2"


LENS_COLUMNS: tuple[Column[LensMask], ...] = (
    Column(head="lens", key="lens", of=lambda mask: mask.lens.name, left=True, width=16, most=16),
    Column(head="at", key="at_mm", of=lambda mask: mask.place.at_mm, words="{:g}".format, width=6),
    Column(key="thickness_mm", of=lambda mask: mask.place.thickness_mm),
    Column(key="mask_now", of=lambda mask: mask.place.now),
    Column(key="widest_state", of=lambda mask: mask.widest),
    Column(head="beam", key="beam", of=lambda mask: mask.need, words=_by, data=_shape_data, width=14),
    Column(head="cut-out", key="cut_out", of=lambda mask: mask.cutout, words=_by, data=_shape_data, width=14),
    Column(head="margin", key="margin_mm", of=lambda mask: mask.margin_mm, words="{:g}".format, data=finite, width=6),
    Column(head="its middle", of=lambda mask: mask.cutout, words=middle_words, width=12),
    Column(
        head="mask now", key="mask_now_room_mm", of=lambda mask: mask.now_mm, data=finite,
        words=lambda room_mm: "none" if room_mm is None else f"{room_mm:+.1f}",
    ),
    Column(
        head="empty", key="empty_trays_reach_mm", of=lambda mask: mask.empty_mm, data=finite,
        words=lambda empty_mm: f"{empty_mm:+.1f}" if empty_mm > SAME_MM else "0",
    ),
    Column(key="rule", of=rules_of, data=_rule_data),
)  # fmt: skip
RULE_COLUMNS: tuple[Column[LensMask], ...] = (
    Column(head="lens", of=lambda mask: mask.lens.name, left=True, width=20, most=20),
    Column(head="front", of=lambda mask: mask.lens.front_diameter_mm, words="{:g}".format),
    Column(head="across", of=lambda mask: rules_of(mask)[0], words=rule_words, left=True, width=28),
    Column(head="upright", of=lambda mask: rules_of(mask)[1], words=rule_words, left=True),
)
