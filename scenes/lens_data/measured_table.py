"""A plain table of measured focus, pupil and field (CSV) -> readings. The head names the columns, keys of state rows among them."""

from __future__ import annotations

import csv
import io
import math
import re

from scenes.lens_data.reading import Reading, refusal
from scenes.scene_file.messages import did_you_mean, shown

COLUMNS = {
    "focus_mm": "focus_mm",
    "focal_mm": "nominal_mm",
    "pupil_behind_front_mm": "pupil_behind_front_mm",
    "pupil_from_sensor_mm": "pupil_from_sensor_mm",
    "half_field_deg": "half_field_deg",
    "half_field_vertical_deg": "half_field_vertical_deg",
    "front_travel_mm": "front_travel_mm",
    "pupil_magnification": "pupil_magnification",
    "f_number": "f_number",
}
INFINITY = ("infinity", "inf", "∞")
SEPARATORS = ",;\t"
REMARK = "#"
LEFT_OUT = re.compile(rf"{REMARK}(?:\s.*|[\d.+-]+|{'|'.join(INFINITY)})", re.IGNORECASE | re.DOTALL)
MOST_ROWS = 10_000


def read_table(text: str, source: str) -> list[Reading]:
    """A reading of each row. Separators may be commas, semicolons or tabs; a decimal comma goes with the latter two."""
    written = [line for line in text.lstrip("\ufeff").splitlines() if line.strip()]
    head = next((line for line in written if not line.lstrip().startswith(REMARK)), "")
    separator = max(SEPARATORS, key=head.count)
    lines = [line for line in written if not _is_remark(line, separator, head.count(separator))]
    if len(lines) < 2:
        raise refusal(source, "", f"must have a head of column names and a row for each setting; columns: {', '.join(COLUMNS)}")
    try:
        rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=separator))
    except csv.Error as error:
        raise refusal(source, "", f"is no table that can be read ({error}); export it as plain CSV") from None
    names = [name.strip() for name in rows[0]]
    _insist_on_names(names, source)
    if len(rows) > MOST_ROWS:
        raise refusal(source, "", f"must have at most {MOST_ROWS} rows, got {len(rows) - 1}")
    remarked = tuple(line.strip() for line in written if line not in lines and _is_row(line, separator, len(names)))
    return [_reading(names, row, f"{source}, row {number}", separator, remarked) for number, row in enumerate(rows[1:], 1)]


def _is_remark(line: str, separator: str, separators: int) -> bool:
    """Whether a line is none of the table's: one of words, or a row that somebody has left out.

    A row whose first cell is a spreadsheet's error, "#REF!", or was too narrow to be written, "###", is still a row.
    """
    if not line.lstrip().startswith(REMARK):
        return False
    first = line.split(separator, maxsplit=1)[0].strip()
    return line.count(separator) != separators or separators == 0 or LEFT_OUT.fullmatch(first) is not None


def _is_row(line: str, separator: str, columns: int) -> bool:
    """Whether a remark has a row's cells behind its first: one left out, or one whose remark has lost its line end."""
    cells = line.split(separator)
    return len(cells) == columns and columns > 1 and any(map(str.strip, cells[1:])) and all(map(_is_cell, cells[1:]))


def _is_cell(cell: str) -> bool:
    try:
        float(cell.strip().replace(",", ".") or "0")
    except ValueError:
        return cell.strip().lower() in INFINITY
    return True


def _insist_on_names(names: list[str], source: str) -> None:
    for name in names:
        if name not in COLUMNS:
            raise refusal(source, "", f"has the unknown column {shown(name)}; {did_you_mean(name, tuple(COLUMNS))}")
        if names.count(name) > 1:
            raise refusal(source, name, "stands twice in the head; leave one of them out")


def _reading(names: list[str], row: list[str], source: str, separator: str, remarked: tuple[str, ...]) -> Reading:
    if len(row) != len(names):
        raise refusal(source, "", f"must have {len(names)} values as the head has, got {len(row)}")
    cells = {name: cell.strip() for name, cell in zip(names, row, strict=True) if cell.strip()}
    values = {COLUMNS[name]: _value(name, cell, source, separator) for name, cell in cells.items()}
    return Reading(source=source, keys={COLUMNS[name]: name for name in cells}, remarked=remarked, **values)  # type: ignore[arg-type]


def _value(name: str, cell: str, source: str, separator: str) -> float:
    if name == "focus_mm" and cell.lower() in INFINITY:
        return math.inf
    try:
        value = math.nan if "_" in cell else float(cell if separator == "," else cell.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise refusal(source, name, f"must be a number{' or infinity' if name == 'focus_mm' else ''}, got {shown(cell)}")
    return value
