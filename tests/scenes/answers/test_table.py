"""Tables: one row for people and programs, heads of two lines, cuts that are marked only where something was cut."""

from scenes.answers.table import Column, Table, as_named
from scenes.runtime.page import WIDTH


def column(text, head="head", **more):
    return Column(head=head, key=head, of=lambda _: text, left=True, **more)


def lines(*columns):
    return list(Table(columns=columns, rows=[None]).lines())


def test_room_left_over_in_the_last_column_is_no_cut():
    (_, rule, row) = lines(column("a", width=WIDTH), column("b", "last", width=20))
    assert len(rule) == WIDTH
    assert row.endswith("…")
    assert lines(column("a", width=70), column("b", width=40))[2] == "a" + " " * 71 + "b"


def test_a_head_of_two_lines_stands_above_its_column():
    assert lines(column("1", "flags off\nmask out"), column("2", "as set")) == [
        "flags off  as set",
        "mask out",
        "-----------------",
        "1          2",
    ]


def test_facts_under_their_own_names_are_for_programs_alone():
    table = Table(columns=as_named("real", "imag"), rows=[1 + 2j])
    assert table.data() == [{"real": 1.0, "imag": 2.0}]
