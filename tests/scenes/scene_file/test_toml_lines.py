"""Lines of keys, and keys that stand twice, also in texts that are no TOML further on."""

import pytest

from scenes.scene_file.toml_lines import Repeat, key_lines, repeats


def test_a_key_that_stands_twice_is_found_with_both_lines():
    text = "[box]\nahead_mm = 4\n\nahead_mm = 6 # again\n"
    assert repeats(text, 4) == [Repeat(("box", "ahead_mm"), 2, 4, is_heading=False, was_heading=False)]


def test_tables_of_an_array_do_not_repeat_each_other():
    assert repeats('[[lens]]\nname = "a"\n[[lens]]\nname = "b"\n', 4) == []


def test_a_table_written_in_both_forms_is_found():
    (found,) = repeats("box.back = { bore_mm = 3 }\n[box.back]\n", 2)
    assert (found.names, found.first, found.again, found.was_heading) == (("box", "back"), 1, 2, False)


@pytest.mark.parametrize("text", ["a = [}\n", "a = [1, }]\n", "]\n", "{ a\n", "a = [[}}\n"])
def test_reading_ends_where_brackets_make_no_sense(text):
    assert repeats(text, 1) == []


def test_lines_are_those_of_an_editor():
    assert key_lines("a = 1\n\n[t]\nb = [\n 1,\n 2]\n")[("t", "b", 1)] == 6
