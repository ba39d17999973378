"""Pages of answers: paragraphs that hang, tables that go on and columns that fold."""

from scenes.answers.blocks import NextStep, Paragraph, page_lines
from scenes.answers.table import Column, Table
from scenes.runtime.page import WIDTH

LONG = " ".join(f"word{k}" for k in range(40))


def test_a_paragraph_hangs_under_what_stands_before_its_first_line():
    first, *more = page_lines([Paragraph(LONG, "  -> ", "     ")])
    assert first.startswith("  -> word0")
    assert more
    assert all(line.startswith("     word") for line in more)
    assert " ".join([first.removeprefix("  -> "), *(line.strip() for line in more)]) == LONG


def test_a_next_step_set_in_hangs_by_as_much_again():
    first, second, *_ = page_lines([NextStep(LONG, "  ")])
    assert first.startswith("  Next: word0")
    assert second.startswith("    word")


def test_a_last_column_that_folds_loses_no_word_and_stands_under_itself():
    columns = (
        Column(head="name", of=lambda row: row[0], left=True),
        Column(head="says", of=lambda row: row[1], left=True, folds=True),
    )
    rows = [("a", LONG), ("longer", "short")]
    lines = page_lines([Table(columns=columns, rows=rows, heads=False, indent="  ")])
    assert max(map(len, lines)) <= WIDTH
    assert lines[0].startswith("  a       word0")
    assert all(line.startswith(" " * 10 + "word") for line in lines[1:-1])
    assert lines[-1] == "  longer  short"
    assert " ".join(" ".join(lines[:-1]).split()) == f"a {LONG}"


def test_a_table_without_heads_goes_on_in_the_columns_of_one_with_heads():
    columns = (Column(head="name", of=str, left=True, width=12), Column(head="half", of=lambda n: n / 2, width=8))
    table, more = Table(columns=columns, rows=[8], gap=" "), Table(columns=columns, rows=[10], heads=False, gap=" ")
    assert page_lines([table, more]) == ["name             half", "-" * 21, "8                 4.0", "10                5.0"]
