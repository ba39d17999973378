"""Notes that say the same of one part at several settings are told once, by the largest."""

from geometry.notes import Note, Severity, largest_of_each


def note(part, text, size=0.0, severity=Severity.FAULT):
    return Note(part, text, severity, size=size)


def test_of_notes_alike_but_for_their_numbers_the_largest_is_told_in_the_place_of_the_first():
    near, far = note("tray", "overlaps mask by up to 3.1 mm", 3.1), note("tray", "overlaps mask by up to 2 mm (at infinity)", 2.0)
    other, hood = note("tray", "overlaps hood by up to 1 mm", 1.0), note("hood", "overlaps mask by up to 9 mm", 9.0)
    assert largest_of_each([far, other, near, hood, far]) == (near, other, hood)


def test_notes_without_a_size_are_told_apart_by_every_number():
    one, two = note("20", "pupil 27 is out of line"), note("20", "pupil 37 is out of line")
    assert largest_of_each([one, two, one]) == (one, two)


def test_a_fault_never_goes_for_a_caution():
    fault, caution = note("a", "is 2 mm off", 2.0), note("a", "is 3 mm off", 3.0, Severity.CAUTION)
    assert largest_of_each([fault, caution]) == (fault, caution)
