"""The blanks of a shot: what is read at each place, box off, box on, and with the filters out where that is asked for."""

from __future__ import annotations

from dataclasses import dataclass, replace

from scenes.questions.plan.report import PlannedShot

OFF, ON, OUT = "box off", "box on", "filters out"
KEYS = {OFF: "off", ON: "reads", OUT: "out"}


@dataclass(frozen=True, slots=True)
class ReadRow:
    """A place that is read, in words, and the names of its blanks by column; '' for one that is not asked for."""

    words: str
    blanks: tuple[str, ...]


def columns_of(shot: PlannedShot) -> tuple[str, ...]:
    """What is read of each place."""
    return (OFF, ON, OUT) if shot.again else (OFF, ON)


def rows_of_shot(shot: PlannedShot) -> tuple[ReadRow, ...]:
    """A row for each place to look at, then the middle where filters are in, then how far a shadow reaches in.

    Where the frame is tightest elsewhere with the filters out, that place has a row of its own.
    """
    columns = columns_of(shot)
    words = [spot.words.removeprefix("the ") for spot in shot.map.spots] or ["darkest corner or edge"]
    rows = [
        ReadRow(f"{place}, %", tuple(f"{KEYS[column]}{_number(number)}" for column in columns))
        for number, place in enumerate(words, 1)
    ]
    if shot.again and shot.map.bare_spot is not None:
        rows = [replace(row, blanks=tuple("" if key.startswith("out") else key for key in row.blanks)) for row in rows]
        place = shot.map.bare_spot.words.removeprefix("the ")
        rows.append(ReadRow(f"filters out: {place}, %", ("bare_off", "", "bare_out")))
    if shot.plan.box.glasses:
        rows.append(ReadRow("middle, %", ("middle", *("" for _ in columns[1:]))))
    if shot.reach is not None:
        size = "width" if shot.reach.side in {"left", "right"} else "height"
        rows.append(ReadRow(f"shadow in from the {shot.reach.side}, % of {size}", ("", "reach", *("" for _ in columns[2:]))))
    return tuple(rows)


def _number(number: int) -> str:
    return "" if number == 1 else f"_{number}"
