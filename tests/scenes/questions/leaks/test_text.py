"""The first sentence of `leaks`: it claims nothing of what was not looked at."""

from types import SimpleNamespace

from scenes.questions.leaks.text import answer_words


def report(*veils, lit=(), in_frame=()):
    names = (*lit, *in_frame, "moon")
    lights = [SimpleNamespace(light=SimpleNamespace(name=name), lit=name in lit, in_frame=name in in_frame) for name in names]
    return SimpleNamespace(openings=[SimpleNamespace(name=f"gap {k}", veil=veil) for k, veil in enumerate(veils)], lights=lights)


def test_where_openings_let_nothing_in_only_they_are_spoken_of():
    assert answer_words([report(0.0)]) == "Nothing to speak of gets in by the openings looked at."


def test_a_light_on_the_target_is_named_though_no_opening_lets_anything_in():
    assert answer_words([report(0.0, lit=("lamp",))]).endswith("looked at; lamp reaches the target.")
    assert answer_words([report(lit=("lamp", "low sun"), in_frame=("sky",))]).endswith("; lamp and low sun reach the target.")


def test_openings_come_worst_first():
    assert answer_words([report(0.01, 0.2)]).startswith("Stray light gets in by: gap 1, 20 %; gap 0, 1 %.")
