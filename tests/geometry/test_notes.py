"""Notes that say the same of one part at several settings are told once, by the largest."""

from geometry.frame import pose
from geometry.notes import Note, Severity, largest_of_each
from geometry.overlap import overlap_notes
from geometry.parts import opening, tray

WINDOW = opening(size_mm=(138, 97), corner_mm=4)


def note(part, text, size=0.0, severity=Severity.FAULT, again=""):
    return Note(part, text, severity, said_again=again, size=size)


def test_of_what_is_said_again_of_a_part_the_largest_is_told_in_the_place_of_the_first():
    far, near = (note("tray", f"overlaps mask by up to {mm} mm", mm, again="overlaps mask") for mm in (2.0, 3.1))
    other, hood = (
        note("tray", "overlaps hood by up to 1 mm", 1.0, again="overlaps hood"),
        note("hood", "x", 9.0, again="overlaps mask"),
    )
    assert largest_of_each([far, other, near, hood, far]) == (near, other, hood)


def test_two_parts_whose_names_differ_by_a_number_alone_are_both_told():
    stages = [tray(pose(), at_mm=at, depth_mm=8, opening=WINDOW, name=f"stage {k}") for k, at in enumerate((10, 14, 13), 1)]
    found = largest_of_each(overlap_notes(stages))
    assert [one.text.partition(" by")[0] for one in found] == ["overlaps stage 2", "overlaps stage 3", "overlaps stage 3"]


def test_other_notes_are_told_apart_by_every_number():
    one, two = note("20", "pupil 27 is out of line"), note("20", "pupil 37 is out of line")
    assert largest_of_each([one, two, one]) == (one, two)


def test_a_fault_never_goes_for_a_caution():
    fault, caution = note("a", "is 2 mm off", 2.0, again="is off"), note("a", "is 3 mm off", 3.0, Severity.CAUTION, "is off")
    assert largest_of_each([fault, caution]) == (fault, caution)
