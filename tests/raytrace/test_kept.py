"""Answers kept with what they are about."""

from raytrace.kept import Kept, KeptTogether


def test_an_answer_is_worked_out_once_for_an_object_and_anew_for_one_that_only_looks_like_it():
    asked = []
    kept = Kept(lambda thing: asked.append(thing) or len(asked))
    one, other = [1, 2], [1, 2]
    assert (kept(one), kept(one), kept(other), kept(one)) == (1, 1, 2, 1)


def test_no_more_than_so_many_objects_are_kept():
    asked = []
    kept = Kept(lambda thing: asked.append(thing) or len(asked), most=2)
    things = [[1], [2], [3]]
    assert [kept(thing) for thing in things] == [1, 2, 3]
    assert (kept(things[2]), kept(things[0])) == (3, 4)


def test_an_answer_about_several_objects_is_worked_out_once_for_these_very_ones_in_their_order():
    asked = []
    kept = KeptTogether(lambda *things: asked.append(things) or len(asked), most=2)
    one, other = [1], [1]
    assert (kept(one, other), kept(one, other), kept(other, one), kept(one, other)) == (1, 1, 2, 1)
    assert (kept([2], one), kept(one, other)) == (3, 4)
