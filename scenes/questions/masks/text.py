"""Masks as a table for people and as plain data for other programs."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from geometry.cutouts import closed_rings_mm
from geometry.mask_sets import Split
from scenes.questions.masks.cut_files import as_drawn
from scenes.questions.masks.report import SAME_MM, CutMask, LensMask, MaskReport, Rule, Wanted, rules_of, size_mm

WIDTH = 100
SCHEMA_VERSION = 1
MM2_PER_CM2 = 100.0
RULE = "an opening no smaller than the lens front diameter (common practice)"
CAUTION = "A prediction is no substitute for the test shoot: hold the printed template against the lens before metal is cut."
ROW = "{0:20} {1:>6} {2:>15} {3:>15} {4:>13} {5:>9} {6:>8}"
NAMES = 34


def masks_lines(report: MaskReport, title: str, *, cut: bool = False) -> list[str]:
    """The whole answer for people; `cut` says that files were written."""
    lines = [_clip(f"Masks: {title}" if title else "Masks"), *wrapped(method_words(report.wanted)), ""]
    lines += [*_lens_lines(report.lenses), "", *_rule_lines(report.lenses), "", *_split_lines(report), "", *_mask_lines(report)]
    lines += [line for note in report.notes for line in wrapped(f"- {note}")]
    return [line.rstrip() for line in [*lines, *wrapped(f"Next: {next_step(report, cut=cut)}"), *wrapped(CAUTION)]]


def method_words(wanted: Wanted) -> str:
    """What a cut-out holds."""
    filters = "with every filter in or out" if wanted.also_empty else "through the filters fitted"
    return (
        f"Each cut-out holds the beam of all guides at both faces of the mask, {filters}, at every zoom row, from infinity to the "
        f"nearest focus, at the widest stop; then {wanted.margin_mm:g} mm margin and inside corners of {wanted.corner_mm:g} mm at "
        "least. Lengths in mm, places as the operator sees them from the box's centre line."
    )


def _lens_lines(lenses: Sequence[LensMask]) -> Iterator[str]:
    head = ROW.format("lens", "at", "beam", "cut-out", "its middle", "mask now", "empty")
    yield from (head, "-" * len(head))
    for mask in lenses:
        place = mask.place
        now = "none" if mask.now_mm is None else f"{mask.now_mm:+.1f}"
        empty = f"{mask.empty_mm:+.1f}" if mask.empty_mm > SAME_MM else "0"
        sizes = (_by(size_mm(mask.need)), _by(size_mm(mask.cutout)), middle_words(mask.cutout))
        yield ROW.format(_clip(mask.lens.name, 20), f"{place.at_mm:g}", *sizes, now, empty)
    yield from wrapped(
        "its middle: to the right or left, then up (+) or down (-). mask now: room between the beam and the scene's own mask, "
        "below 0 it stands in the beam. empty: how much farther the beam reaches somewhere once filters come out."
    )


def _by(size: tuple[float, float]) -> str:
    return f"{size[0]:.1f} x {size[1]:.1f}"


def middle_words(shape: Any) -> str:
    """Where the middle of a cut-out lies: '2.1 left -1.0', the second number upward."""
    left, low, right, high = as_drawn(shape).bounds
    across, up = (left + right) / 2, (low + high) / 2
    side = "right " if across >= 0.05 else "left " if across <= -0.05 else ""
    return f"{abs(across):.1f} {side}{round(up, 1) + 0.0:+.1f}"


def _rule_lines(lenses: Sequence[LensMask]) -> Iterator[str]:
    yield from wrapped(f"Rule of thumb: {RULE}. Here, lens by lens with its front diameter:")
    for mask in lenses:
        across, upright = rules_of(mask)
        words = f"across {rule_words(across):27} upright {rule_words(upright)}"
        yield f"  {_clip(mask.lens.name, 20):20} {across.front_mm:>5g}  {words}"


def rule_words(rule: Rule) -> str:
    """Whether the rule is too lax or too strict, and the number that says so."""
    if rule.word == "too lax":
        return f"too lax: beam {rule.beam_mm:.1f}"
    return f"too strict: {rule.cutout_mm:.1f} will do" if rule.word == "too strict" else "about right"


def _split_lines(report: MaskReport) -> Iterator[str]:
    yield "Masks  Excess opening  Lenses that share one"
    for count, split in enumerate(report.splits, len(report.splits[0].groups)):
        mark = "*" if split is report.chosen else " "
        shared = "; ".join(" + ".join(report.lenses[k].lens.name for k in group) for group in sorted(split.groups))
        head = f"{count:>4} {mark}  {split.excess_mm2 / MM2_PER_CM2:>10.1f} cm2  "
        lines = textwrap.wrap(shared, WIDTH - len(head)) or [""]
        yield head + lines[0]
        yield from (" " * len(head) + line for line in lines[1:])
    yield from wrapped(
        f"excess: area that lenses get beyond their own cut-out, all lenses together. * is cut. {exactness_words(report.chosen)}"
    )


def exactness_words(split: Split) -> str:
    """Whether another split could be better."""
    if split.exact:
        return "Every way of sharing was looked at: none is better."
    return "Too many lenses to look at every way of sharing: the best found by joining and moving."


def _mask_lines(report: MaskReport) -> Iterator[str]:
    for mask in report.masks:
        size, middle = _by(size_mm(mask.cutout)), middle_words(mask.cutout)
        yield _clip(f"{mask.name}: cut-out {size}, middle {middle}; for {', '.join(mask.lens_names)}")
        if len(mask.members) > 1:
            more = ", ".join(f"{m.lens.name} {mask.excess_mm2(m) / MM2_PER_CM2:.1f}" for m in mask.members)
            yield from wrapped(f"more open than their own [cm2]: {more}", "  ")


def next_step(report: MaskReport, *, cut: bool) -> str:
    """What to do, worst first."""
    worst = max(report.lenses, key=lambda mask: mask.empty_mm - report.wanted.margin_mm)
    if worst.empty_mm > report.wanted.margin_mm:
        return (
            f"these masks hold only with the filters in: with a tray empty the beam of the {worst.lens.name} reaches "
            f"{worst.empty_mm:.1f} mm farther, beyond the margin. Where filters come and go, cut with --also-empty."
        )
    if not cut:
        return "name a folder with --out for DXF, SVG, a 1:1 PDF and the tables that put the masks into the scene."
    return "put box-masks.toml into the scene in place of its [[box.mask]] tables and run brimline check."


def wrapped(text: str, indent: str = "") -> list[str]:
    """A sentence on lines of `WIDTH`."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def _clip(text: str, width: int = WIDTH) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


def masks_dict(report: MaskReport, title: str) -> dict[str, Any]:
    """The whole answer of `brimline masks --json`; lengths in mm, outlines as (right, up) of their corners."""
    wanted = report.wanted
    return {
        "brimline_masks": SCHEMA_VERSION,
        "scene": title,
        "margin_mm": wanted.margin_mm,
        "least_corner_mm": wanted.corner_mm,
        "filters": "in or out" if wanted.also_empty else "as fitted",
        "rule_of_thumb": RULE,
        "lenses": [_lens_dict(mask) for mask in report.lenses],
        "sets": [_split_dict(report, split) for split in report.splits],
        "masks": [_mask_dict(number, mask) for number, mask in enumerate(report.masks, 1)],
        "next_step": next_step(report, cut=True),
        "notes": list(report.notes),
        "cautions": [CAUTION],
    }


def _lens_dict(mask: LensMask) -> dict[str, Any]:
    return {
        "lens": mask.lens.name,
        "at_mm": mask.place.at_mm,
        "thickness_mm": mask.place.thickness_mm,
        "mask_now": mask.place.now,
        "mask_now_room_mm": None if mask.now_mm is None else round(mask.now_mm, 3),
        "widest_state": mask.widest,
        "empty_trays_reach_mm": round(mask.empty_mm, 3),
        "beam": _shape_dict(mask.need),
        "cut_out": _shape_dict(mask.cutout),
        "rule": dict(zip(("across", "upright"), (_rule_dict(rule) for rule in rules_of(mask)), strict=True)),
    }


def _rule_dict(rule: Rule) -> dict[str, Any]:
    return {
        "word": rule.word,
        "front_diameter_mm": rule.front_mm,
        "beam_mm": round(rule.beam_mm, 3),
        "cut_out_mm": round(rule.cutout_mm, 3),
    }


def _shape_dict(shape: Any) -> dict[str, Any]:
    drawn = as_drawn(shape)
    left, low, right, high = drawn.bounds
    return {
        "width_mm": round(right - left, 3),
        "height_mm": round(high - low, 3),
        "right_mm": round((left + right) / 2, 3) + 0.0,
        "up_mm": round((low + high) / 2, 3) + 0.0,
        "area_mm2": round(drawn.area, 2),
        "outlines_mm": [ring.round(4).tolist() for ring in closed_rings_mm(drawn)],
    }


def _split_dict(report: MaskReport, split: Split) -> dict[str, Any]:
    return {
        "masks": len(split.groups),
        "excess_mm2": round(split.excess_mm2, 2),
        "exact": split.exact,
        "chosen": split is report.chosen,
        "groups": [[report.lenses[k].lens.name for k in group] for group in sorted(split.groups)],
    }


def _mask_dict(number: int, mask: CutMask) -> dict[str, Any]:
    return {
        "mask": mask.name,
        "lenses": list(mask.lens_names),
        "cut_out": _shape_dict(mask.cutout),
        "only_with_filters_in": mask.filters_in,
        "excess_mm2": {member.lens.name: round(mask.excess_mm2(member), 2) for member in mask.members},
        "files": [f"mask-{number}.dxf", f"mask-{number}.svg"],
    }
