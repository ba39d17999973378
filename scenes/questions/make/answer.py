"""The workshop's folder as an answer: page, JSON, solids, flats, sheets, lists, drawings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from geometry.flats import Flat
from scenes.answers.answer import CLEAR, IN_FRAME, Answer, Files, faults_of
from scenes.answers.blocks import Block, Gap, Heading, NextStep, Note, Paragraph
from scenes.answers.judged_by import judged_by_blocks
from scenes.answers.numbers import finite
from scenes.answers.options import Wanted
from scenes.answers.table import Column, Table
from scenes.io.file_names import file_names
from scenes.questions.make.lists import bill_csv, cut_list_csv
from scenes.questions.make.made_part import Made
from scenes.questions.make.report import Bought, MakeReport, Sheet, Wind, make_report, set_ups
from scenes.questions.make.shapes import DRAWN_SAGITTA_MM, Cut
from scenes.questions.make.text import (
    CAUTIONS,
    ENTIRE,
    clear_words,
    next_words,
    plate_words,
    rod_words,
    sheet_words,
    summary,
    taken_words,
)
from scenes.questions.make.weights import Carried, Sagged
from scenes.rig.box import rod_spec
from scenes.runtime.progress import Tick, silent
from scenes.scene_file.messages import plain
from scenes.states.names import state_words
from scenes.states.numbers_used import NumbersUsed, numbers_by_lens

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State


def answer(show: Loaded, *, wanted: Wanted | None = None, tick: Tick = silent) -> MakeAnswer:
    """Everything to make a scene's box from; the wanted states are those that it is weighed and judged with."""
    states = (wanted or Wanted()).of(show)
    return MakeAnswer(report=make_report(show, states, tick), title=show.scene.title, states=states)


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeAnswer(Answer):
    """Parts, sheets, weights and wind, and the files to make the box from."""

    name: ClassVar[str] = "make"
    is_built: ClassVar[bool] = True  # whatever the box is at fault with keeps it from being cut

    report: MakeReport
    title: str
    states: Sequence[State]

    @property
    def judged_by(self) -> Sequence[NumbersUsed]:
        """The numbers of each lens and of the whole box, which its states are judged by as drawn and as bent."""
        return numbers_by_lens(self.states)

    @property
    def exit_status(self) -> int:
        """0 where every lens is clear in its states and between, as drawn and with the rods bent."""
        return CLEAR if self.report.all_clear else IN_FRAME

    @property
    def next_step(self) -> str:
        """What to do now."""
        return next_words(self.report)

    @property
    def cautions(self) -> Sequence[str]:
        """What could hurt or mislead."""
        open_sided = any(
            item.outer_mm is None for item in (*self.report.loaded.scene.box.stage, *self.report.loaded.scene.box.mask)
        )
        return (*CAUTIONS, ENTIRE) if open_sided else CAUTIONS

    def blocks(self, *, written: bool) -> Iterator[Block]:
        """What is made, from what, what it weighs, what was taken by default."""
        report = self.report
        yield Heading(f"Make: {self.title}" if self.title else "Make")
        yield Paragraph(summary(report))
        yield Paragraph(clear_words(report))
        for words in plate_words(report):
            yield Paragraph(words)
        yield Gap()
        yield Table(columns=PART_COLUMNS, rows=report.parts.made)
        yield Gap()
        yield Heading("Sheets")
        for sheet in report.sheets:
            yield Paragraph(f"{sheet.number}: {sheet_words(sheet)}", hanging="   ")
        yield Gap()
        yield from self._weight_blocks()
        yield from self._wind_blocks()
        yield Heading("Taken by default: change it in [make]")
        for words in taken_words(report):
            yield Note(words)
        yield Gap()
        yield NextStep(self.next_step if written else "give --out DIR for the folder: solids, flats, sheets, lists and drawings.")
        yield from judged_by_blocks(self)
        for words in self.cautions:
            yield Note(words)

    def _weight_blocks(self) -> Iterator[Block]:
        report = self.report
        spec = rod_spec(report.loaded.scene.box)
        yield Heading("Weight and balance with each lens")
        yield Table(columns=CARRIED_COLUMNS if spec is not None else CARRIED_COLUMNS[:6], rows=report.carried)
        yield Paragraph(
            "ahead, up: centre of mass from the middle of the lens front [mm]. front: moment there, as if clamped to it [N m]."
        )
        if spec is not None:
            yield Paragraph(
                f"{rod_words(report.make, spec.diameter_mm)} at rods: moment where they are held, both together [N m]. drop, "
                "tilt: of the box, which leans forward. least room: of any part with the rods bent, and as drawn in brackets [mm]."
            )
        if any(box.shift_mm is not None for box in report.carried):
            told = ", ".join(f"{box.lens_name} {box.shift_mm:.0f} mm" for box in report.carried if box.shift_mm is not None)
            yield Paragraph(f"The camera's balance point moves ahead when the box goes on: {told}.")
        yield Gap()

    def _wind_blocks(self) -> Iterator[Block]:
        if not self.report.wind:
            return
        yield Heading(f"Wind of {plain(self.report.make.wind_m_s)} m/s square on the flags")
        yield Table(columns=WIND_COLUMNS, rows=self.report.wind, ruled=False)
        yield Paragraph(
            "careful: with the drag of a slender plate. Off square the force does not fall before about 45 degrees; on a nearly "
            "square flag it may be a quarter more there."
        )
        yield Gap()

    def data(self) -> dict[str, Any]:
        """Lengths in mm, masses in kg, forces in N (_n), moments in N m (_nm), stress in N/mm2 (_mpa)."""
        report = self.report
        return {
            "answer": f"{summary(report)} {clear_words(report)}",
            "rods_in_plate": list(plate_words(report)),
            "taken": list(taken_words(report)),
            "parts": [_part_data(part) for part in report.parts.made],
            "sheets": [_sheet_data(sheet) for sheet in report.sheets],
            "bought": Table(columns=BOUGHT_COLUMNS, rows=report.bought).data(),
            "lenses": [_carried_data(box) for box in report.carried],
            "wind": [_wind_data(wind) for wind in report.wind],
        }

    def files(self, folder: str) -> Files:  # noqa: ARG002 - nothing of it names the folder
        """Solids, flats, sheets of stock, lists."""
        from scenes.io.solid_files import stl_bytes, threemf_bytes
        from scenes.io.step_text import step_bytes
        from scenes.questions.make.drawings import drawings_pdf

        report = self.report
        names = {part.number: name for part, name in zip(report.parts.made, self._names(), strict=True)}
        for part in report.parts.made:
            own, stem = part.own_solid(), f"solids/{names[part.number]}"
            yield f"{stem}-mm.stl", stl_bytes(own)
            yield f"{stem}.3mf", threemf_bytes([(_called(part), own)], _called(part))
            coarse = part.own_solid(DRAWN_SAGITTA_MM)
            yield f"{stem}.step", step_bytes([(_called(part), coarse)], _called(part))
        yield from self._boxes()
        yield from self._flats(names)
        yield from self._stock()
        yield "drawings.pdf", drawings_pdf(report)
        yield "cut-list.csv", cut_list_csv(report).encode()
        yield "bill-of-materials.csv", bill_csv(report).encode()

    def _names(self) -> list[str]:
        words = [f"{part.number} {part.name}" for part in self.report.parts.made]
        return list(file_names(words, "part").values())

    def _boxes(self) -> Files:
        """The whole box with each set of parts that lenses have."""
        from scenes.io.solid_files import threemf_bytes
        from scenes.io.step_text import step_bytes

        sets = set_ups(self.report)
        stems = file_names([lenses[0] for lenses in sets.values()], "lens")
        for numbers, lenses in sets.items():
            solids = [(_called(part), part.solid()) for part in self.report.parts.made if part.number in numbers]
            stem = "box" if len(sets) == 1 else f"box-{stems[lenses[0]]}"
            title = f"{self.title or 'box'}, with {', '.join(lenses)}"
            yield f"{stem}.3mf", threemf_bytes(solids, title)
            coarse = [(_called(part), part.solid(DRAWN_SAGITTA_MM)) for part in self.report.parts.made if part.number in numbers]
            yield f"{stem}.step", step_bytes(coarse, title)

    def _flats(self, names: dict[str, str]) -> Files:
        from scenes.io.flat_files import dxf_of, svg_of
        from scenes.questions.make.engraving import drawn_cut

        in_doubt = bool(faults_of(self))
        for part in self.report.parts.made:
            for cut in part.cuts:
                wall = "" if cut.name == part.name else f"-{cut.name.removeprefix(part.name).strip(', ').replace(' ', '-')}"
                drawn = drawn_cut(part, cut, in_doubt=in_doubt)
                yield f"flats/{names[part.number]}{wall}.dxf", dxf_of(drawn)
                yield f"flats/{names[part.number]}{wall}.svg", svg_of(drawn, f"{part.number} {cut.name}")

    def _stock(self) -> Files:
        from scenes.io.flat_files import dxf_of, svg_of
        from scenes.questions.make.engraving import drawn_sheet

        in_doubt = bool(faults_of(self))
        for sheet in self.report.sheets:
            drawn = drawn_sheet(sheet, in_doubt=in_doubt)
            yield f"sheets/sheet-{sheet.number}.dxf", dxf_of(drawn)
            yield f"sheets/sheet-{sheet.number}.svg", svg_of(drawn, sheet_words(sheet))

    def sheets(self) -> Iterator[Any]:
        """No figures: the drawings are a file of their own."""
        return iter(())


def _called(part: Made) -> str:
    return f"{part.number} {part.name}"


def _size_words(part: Made) -> str:
    if len(part.cuts) > 1:
        return f"{len(part.cuts)} flats"
    return " x ".join(f"{side:.1f}" for side in part.cuts[0].flat.size_mm)


PART_COLUMNS: tuple[Column[Made], ...] = (
    Column(head="no.", key="number", of=attrgetter("number"), left=True),
    Column(head="part", key="name", of=attrgetter("name"), left=True, most=36),
    Column(head="flat, mm", of=_size_words),
    Column(head="thick", key="thickness_mm", of=attrgetter("thickness_mm"), words=lambda value: plain(round(value, 3))),
    Column(head="kg", key="kg", of=attrgetter("kg"), words="{:.3f}".format),
    Column(head="material", key="material", of=lambda part: part.material.title, left=True, most=24),
)


def _drop(box: Carried) -> str:
    return "-" if box.sag is None else f"{box.sag.drop_mm:.2f} mm"


def _tilt(box: Carried) -> str:
    return "-" if box.sag is None else f"{np.degrees(box.sag.tilt_rad):.2f} deg"


def _least(box: Carried) -> Sagged:
    return min(box.states, key=lambda one: one.room_mm if one.sagged_room_mm is None else one.sagged_room_mm)


def _room(box: Carried) -> str:
    one = _least(box)
    now = one.room_mm if one.sagged_room_mm is None else one.sagged_room_mm
    return f"{_mm(now)} ({_mm(one.room_mm)})" if np.isfinite(now) else "-"


def _mm(value: float) -> str:
    return f"{value:.2f}" if abs(value) < 10 else f"{value:.0f}"


CARRIED_COLUMNS: tuple[Column[Carried], ...] = (
    Column(head="lens", key="lens", of=attrgetter("lens_name"), left=True, most=20),
    Column(key="kg", of=attrgetter("kg")),
    Column(head="kg", of=lambda box: f"{box.kg:.2f} ({box.range_kg[0]:.2f} - {box.range_kg[1]:.2f})"),
    Column(head="ahead", key="ahead_mm", of=attrgetter("ahead_mm"), words="{:.0f}".format),
    Column(head="up", key="up_mm", of=attrgetter("up_mm"), words=lambda value: f"{round(value):+d}"),
    Column(head="front", key="lens_front_nm", of=attrgetter("lens_front_n_m"), words="{:.2f}".format),
    Column(head="at rods", of=lambda box: "-" if box.rods_n_m is None else f"{box.rods_n_m:.1f}"),
    Column(head="drop", of=_drop),
    Column(head="tilt", of=_tilt),
    Column(head="least room", of=_room),
)
WIND_COLUMNS: tuple[Column[Wind], ...] = (
    Column(head="flag", key="flag", of=attrgetter("name"), left=True, most=30),
    Column(head="cm2", of=lambda wind: wind.area_mm2 / 100, words="{:.0f}".format),
    Column(head="N", key="force_n", of=attrgetter("force_n"), words="{:.1f}".format),
    Column(head="careful", of=attrgetter("careful_n"), words="{:.1f}".format),
    Column(head="at the hinge, N m", key="hinge_nm", of=attrgetter("hinge_n_m"), words="{:.2f}".format),
    Column(head="careful", of=attrgetter("careful_n_m"), words="{:.2f}".format),
)
BOUGHT_COLUMNS: tuple[Column[Bought], ...] = (
    Column(head="what", key="name", of=attrgetter("name"), left=True),
    Column(head="count", key="count", of=attrgetter("count")),
    Column(head="for", key="note", of=attrgetter("note"), left=True),
)


def _part_data(part: Made) -> dict[str, Any]:
    return {
        "number": part.number,
        "name": part.name,
        "of": f"box.{part.key[0]}[{part.key[1] + 1}]",
        "lenses": list(part.lenses or ()),
        "material": part.material.name,
        "density_g_cm3": part.material.density_g_cm3,
        "thickness_mm": finite(part.thickness_mm),
        "volume_mm3": finite(part.volume_mm3),
        "kg": finite(part.kg, 6),
        "centre_mm": [finite(float(value)) for value in part.centre_mm],
        "flats": [_flat_data(cut) for cut in part.cuts],
    }


def _flat_data(cut: Cut) -> dict[str, Any]:
    flat: Flat = cut.flat
    bends = [{"turn_deg": finite(bend.turn_deg), "radius_mm": finite(bend.radius_mm)} for bend in flat.bends]
    width, height = flat.size_mm
    return {
        "name": cut.name,
        "seen": cut.seen,
        "width_mm": finite(width),
        "height_mm": finite(height),
        "area_mm2": finite(flat.area_mm2),
        "cut_mm": finite(flat.cut_mm),
        "bends": bends,
    }


def _sheet_data(sheet: Sheet) -> dict[str, Any]:
    return {
        "number": sheet.number,
        "material": sheet.material.name,
        "thickness_mm": finite(sheet.thickness_mm),
        "width_mm": finite(sheet.size_mm[0]),
        "height_mm": finite(sheet.size_mm[1]),
        "used_share": finite(sheet.used_share, 4),
        "offcut_width_mm": finite(sheet.offcut_mm[0]),
        "offcut_height_mm": finite(sheet.offcut_mm[1]),
        "flats": [
            {
                "part": one.made.number,
                "name": one.cut.name,
                "left_mm": finite(one.laid.left_mm),
                "low_mm": finite(one.laid.low_mm),
                "turned": one.laid.turned,
            }
            for one in sheet.placed
        ],
    }


def _carried_data(box: Carried) -> dict[str, Any]:
    return {
        "lens": box.lens_name,
        "kg": finite(box.kg, 4),
        "least_kg": finite(box.range_kg[0], 4),
        "most_kg": finite(box.range_kg[1], 4),
        "right_mm": finite(box.right_mm),
        "up_mm": finite(box.up_mm),
        "ahead_mm": finite(box.ahead_mm),
        "lens_front_nm": finite(box.lens_front_n_m, 4),
        "rods_nm": finite(box.rods_n_m, 4),
        "rod_length_mm": finite(box.rod_length_mm),
        "rod_drop_mm": None if box.sag is None else finite(box.sag.drop_mm, 4),
        "rod_tilt_deg": None if box.sag is None else finite(float(np.degrees(box.sag.tilt_rad)), 4),
        "rod_stress_mpa": None if box.sag is None else finite(box.sag.stress_n_mm2),
        "balance_shift_mm": finite(box.shift_mm),
        "things": [{"name": thing.name, "kind": thing.kind, "kg": finite(thing.kg, 6)} for thing in box.things],
        "states": [_state_data(one) for one in box.states],
        "clear_between": box.between.clear,
        "between": box.between.words,
        "sagged_clear_between": None if box.between_bent is None else box.between_bent.clear,
        "sagged_between": None if box.between_bent is None else box.between_bent.words,
    }


def _state_data(one: Sagged) -> dict[str, Any]:
    return {
        "key": one.key,
        "words": state_words(one),
        "clear": one.clear,
        "room_mm": finite(one.room_mm),
        "sagged_clear": one.sagged_clear,
        "sagged_room_mm": finite(one.sagged_room_mm),
        "part": one.part,
        "sagged_part": one.sagged_part,
    }


def _wind_data(wind: Wind) -> dict[str, Any]:
    return {
        "flag": wind.name,
        "area_mm2": finite(wind.area_mm2),
        "force_n": finite(wind.force_n),
        "careful_force_n": finite(wind.careful_n),
        "hinge_nm": finite(wind.hinge_n_m, 4),
        "careful_hinge_nm": finite(wind.careful_n_m, 4),
    }
