"""The tables of a comparison: a row for each value left free, and one for each still."""

from __future__ import annotations

from scenes.answers.numbers import distance, distance_words, finite
from scenes.answers.table import Column
from scenes.questions.compare.rows import Row, Value
from scenes.questions.compare.text import value_words


def _told_words(value: Value) -> str:
    return value_words(value.value, value.sigma, value.unknown.unit) if value.told else "not told by these stills"


def _to_four(value: float | None) -> float | None:
    return finite(value, 4)


VALUES: tuple[Column[Value], ...] = (
    Column(head="not measured", key="of", of=lambda one: one.unknown.path, left=True, most=46),
    Column(head="scene", key="as_written", of=lambda one: one.unknown.nominal, words="{:g}".format),
    Column(head="stills say", of=_told_words, left=True),
    Column(key="unit", of=lambda one: one.unknown.unit),
    Column(key="value", of=lambda one: one.value if one.told else None, data=_to_four),
    Column(key="standard_error", of=lambda one: one.sigma, data=_to_four),
)
STILLS: tuple[Column[Row], ...] = (
    Column(key="key", of=lambda row: row.shot.state.key),
    Column(key="lens", of=lambda row: row.shot.state.lens_name),
    Column(key="focal_mm", of=lambda row: row.shot.state.focal_mm, data=distance),
    Column(key="focus_mm", of=lambda row: row.shot.state.focus_mm, data=distance),
    Column(key="f_number", of=lambda row: row.shot.state.f_number),
    Column(head="still", key="with_box", of=lambda row: row.shot.picture.with_box, left=True, most=24),
    Column(head="focus", of=lambda row: distance_words(row.shot.state.focus_mm)),
    Column(head="f/", of=lambda row: f"{row.shot.state.f_number:g}"),
    Column(
        head="reference",
        key="without_box",
        of=lambda row: row.shot.picture.without_box,
        words=lambda name: "yes" if name else "none",
        left=True,
    ),
    Column(head="before", key="as_written_rms_stops", of=lambda row: row.nominal_rms, words="{:.3f}".format, data=_to_four),
    Column(head="after", key="fitted_rms_stops", of=lambda row: row.fitted_rms, words="{:.3f}".format, data=_to_four),
    Column(head="worst", key="worst_stops", of=lambda row: row.worst_stops, words="{:+.2f}".format, data=finite),
    Column(key="worst_right_mm", of=lambda row: row.worst_mm[0], data=finite),
    Column(key="worst_up_mm", of=lambda row: row.worst_mm[1], data=finite),
    Column(key="orientation", of=lambda row: row.orientation),
    Column(key="left_out_share", of=lambda row: row.left_out, data=finite),
    Column(head="verdict", key="word", of=lambda row: row.word, left=True),
)
