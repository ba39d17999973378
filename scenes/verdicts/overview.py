"""What a check says first: the answer in one line, a row for each lens, what to do; the states one by one are in `text`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scenes.runtime.page import clipped, counted, wrapped
from scenes.states.clear_rule import Word
from scenes.states.names import lens_words, setting_words, state_words
from scenes.verdicts.in_glass import UNTOLD, why_untold
from scenes.verdicts.loss_words import TOLD_LOSS_STOPS, loss_words
from scenes.verdicts.proof_words import proof_words
from scenes.verdicts.text import (
    PLAIN_SYMBOLS,
    SYMBOLS,
    blame_words,
    notes_lines,
    numbers_lines,
    range_lines,
    state_rank,
    tolerance_sentence,
)

if TYPE_CHECKING:
    from scenes.verdicts.check import CheckResult, StateResult

ROW = "{0:1} {1:13} {2:28} {3:8} {4:>10}  {5:19} {6}"
HEADINGS = ("", "lens", "worst at", "verdict", "loss", "where", "part")
VIGNETTES = (Word.SHADING, Word.IN_FRAME)


def answer_line(checks: Sequence[CheckResult]) -> str:
    """The answer for a whole run in one sentence or two: '3 of 56 states vignette. Worst: 18, focus 450 mm, f/2: ...'."""
    states = [state for check in checks for state in check.states]
    failed, faults = sum(len(check.failed) for check in checks), sum(len(check.faults) for check in checks)
    if not states:
        return f"None of {counted(failed, 'state')} could be computed."
    fault = [f"The box has {counted(faults, 'fault')} and cannot be used as it stands."] if faults else []
    dark = any(state.word in VIGNETTES for state in states)  # which no fault explains away
    empty = [state for check in checks for state in check.states if loses_with_trays_empty(state, check)]
    verdict = _verdict_sentence(states, empty)
    sentences = [verdict, *fault] if dark else [*fault, _apart_from(faults, verdict, states)]
    doubts = sum(len(check.cautions) for check in checks)
    if any(check.slips for check in checks) and not (dark or faults):
        sentences.append(f"First read the {'caution' if doubts == 1 else f'{doubts} cautions'}.")
    if failed:
        sentences.append(f"{counted(failed, 'state')} could not be computed.")
    return " ".join(sentences)


def _apart_from(faults: int, verdict: str, states: Sequence[StateResult]) -> str:
    """A verdict of light after faults: a box with one is never just called clear."""
    if not faults or any(why_untold(state.notes) for state in states):
        return verdict
    told = verdict[0].lower() + verdict[1:] if len(states) > 1 else verdict  # one state's begins with its lens
    return f"Apart from the {'fault' if faults == 1 else 'faults'}, {told}"


def loses_with_trays_empty(state: StateResult, check: CheckResult) -> bool:
    """Whether a state that is tight loses visible light in some guide once its filters are out."""
    empty = (guide.trays_empty for guide in state.guides)
    lost = [one.loss_stops for one in empty if one is not None and not one.enough and one.loss_stops is not None]
    return state.word is Word.TIGHT and max(lost, default=0.0) >= check.limits.visible_loss_stops


def _verdict_sentence(states: Sequence[StateResult], empty: Sequence[StateResult]) -> str:
    """Of all states; `empty` are those that are tight, and lose light with the trays empty."""
    untold = [why for state in states if (why := why_untold(state.notes))]
    if untold:
        return _untold_sentence(states, untold)
    total, bad = len(states), [state for state in states if state.word in VIGNETTES]
    tight = [state for state in states if state.word is Word.TIGHT]
    worst = max(states, key=state_rank)
    if total == 1:
        return _one_states_sentence(worst, loses_empty=bool(empty))
    if bad:
        many = "vignettes" if len(bad) == 1 else "vignette"
        also = f", {len(tight)} more {'is' if len(tight) == 1 else 'are'} tight" if tight else ""
        return f"{_of_all(len(bad), total)} {many}{also}. Worst: {state_words(worst)}: {blame_words(worst)}."
    if tight:
        told = f"{_of_all(len(tight), total).lower()} {'is' if len(tight) == 1 else 'are'} tight"
        return f"No vignetting, but {told}{_empty_words(len(empty), len(tight))}. Tightest: {state_words(worst)}."
    return f"{_of_all(total, total)} are clear: the box stays out of every frame."


def _untold_sentence(states: Sequence[StateResult], untold: Sequence[str]) -> str:
    """That a part stands in glass, and what is found of the other states."""
    if len(states) == 1:
        return f"{state_words(states[0])}: {untold[0]}."
    told = [state for state in states if not why_untold(state.notes)]
    first = f"{_of_all(len(untold), len(states))}: {untold[0]}."
    return f"{first} {_others_sentence(told)}" if told else first


def _others_sentence(states: Sequence[StateResult]) -> str:
    """What is found of the states beside those that nothing is told of: 'The 5 other states are clear: ...'."""
    worst = max(states, key=state_rank)
    if len(states) == 1:
        return f"The other state: {_one_states_sentence(worst, loses_empty=False)}"
    if worst.word is Word.CLEAR:
        return f"The {len(states)} other states are clear: the box stays out of their frames."
    bad, tight = ([state for state in states if state.word in words] for words in (VIGNETTES, {Word.TIGHT}))
    also = f" and {len(tight)} {'is' if len(tight) == 1 else 'are'} tight" if tight else ""
    if bad:
        many = f"{len(bad)} {'vignettes' if len(bad) == 1 else 'vignette'}"
        return f"Of the {len(states)} other states {many}{also}. Worst: {state_words(worst)}: {blame_words(worst)}."
    none = f"Of the {len(states)} other states none vignettes, but {len(tight)} {'is' if len(tight) == 1 else 'are'} tight"
    return f"{none}. Tightest: {state_words(worst)}."


def _empty_words(count: int, tight: int) -> str:
    """How many of the states that are tight lose light with the trays empty; '' for none."""
    if not count:
        return ""
    lose = f"{'loses' if count == 1 else 'lose'} light with the trays empty"
    return f" and {lose}" if count == tight else f", and {count} of them {lose}"


def _of_all(count: int, total: int) -> str:
    """'3 of 56 states', 'All 4 states', 'Both states'."""
    if count == total:
        return "Both states" if total == 2 else f"All {total} states"
    return f"{count} of {counted(total, 'state')}"


def _one_states_sentence(state: StateResult, *, loses_empty: bool) -> str:
    if state.word in VIGNETTES:
        return f"{state_words(state)} vignettes: {blame_words(state)}."
    if state.word is Word.TIGHT:
        return f"{state_words(state)} does not vignette, but is tight{_empty_words(int(loses_empty), 1)}."
    return f"{state_words(state)} is clear: the box stays out of the frame."


def overview_lines(check: CheckResult, *, plain: bool = False) -> list[str]:
    """A row for each lens with its worst state, what needs attention with what to do, and the clear states in one line."""
    symbols = PLAIN_SYMBOLS if plain else SYMBOLS
    lines = (
        [ROW.format(*HEADINGS).rstrip(), *(_lens_row(group, symbols) for group in _by_lens(check.states))] if check.states else []
    )
    lines += ["", *_attention(check, symbols)]
    if clear := [state for state in check.states if state.word is Word.CLEAR]:
        lines += wrapped(f"Clear: {'; '.join(_listed(clear))}.", hanging="  ")
    if told := proof_lines(check):
        lines += ["", *told]
    if told := range_lines(check):
        lines += ["", *told]
    if told := numbers_lines(check):
        lines += ["", *told]
    if told := notes_lines(check):
        lines += ["", *told]
    return lines


def proof_lines(check: CheckResult) -> list[str]:
    """A line for each state whose clear guides a proof was asked for."""
    told = [(state_words(state), proof_words(check.proofs, state.key)) for state in check.states]
    return [line for state, words in told if words for line in wrapped(f"{state}: {words}", hanging="    ")]


def end_lines(check: CheckResult) -> list[str]:
    """What the answer leaves out, for the end of a page."""
    return wrapped(told) if (told := tolerance_sentence(check)) else []


def _by_lens(states: Sequence[StateResult]) -> list[list[StateResult]]:
    groups: dict[str, list[StateResult]] = {}
    for state in states:
        groups.setdefault(state.lens_name, []).append(state)
    return list(groups.values())


def _lens_row(states: Sequence[StateResult], symbols: dict[Word, str]) -> str:
    worst = max(states, key=state_rank)
    found = worst.blamed.worst
    setting = f"{worst.focal_mm:g} mm, {setting_words(worst)}" if worst.is_zoom else setting_words(worst)
    untold = bool(why_untold(worst.notes))
    lost = found.blame if found.loss_stops >= TOLD_LOSS_STOPS and not untold else None
    return ROW.format(
        symbols[worst.word],
        clipped(worst.lens_name, 13),
        clipped(setting, 28),
        str(worst.word),
        UNTOLD if untold else loss_words(found.loss_stops),
        clipped(found.where if lost else "-", 19),
        clipped(lost.part if lost else "-", 14),
    ).rstrip()


@dataclass(frozen=True, slots=True, kw_only=True)
class Attention:
    """States of one lens with one verdict and one thing to do about them."""

    lens: str
    word: Word
    step: str
    states: tuple[StateResult, ...]

    @property
    def settings(self) -> str:
        """'infinity, f/2.8 | infinity, f/5.6'."""
        return " | ".join(setting_words(state) for state in self.states)


def attention(check: CheckResult) -> tuple[Attention, ...]:
    """States that are not clear, the worst first; those of one lens with the same thing to do stand together."""
    groups: dict[tuple[str, Word, str], list[StateResult]] = {}
    for state in sorted(check.states, key=state_rank, reverse=True):
        if state.word is not Word.CLEAR:
            groups.setdefault((lens_words(state), state.word, state.blamed.next_step), []).append(state)
    return tuple(Attention(lens=lens, word=word, step=step, states=tuple(of)) for (lens, word, step), of in groups.items())


def _attention(check: CheckResult, symbols: dict[Word, str]) -> Iterator[str]:
    for group in attention(check):
        yield from wrapped(f"{symbols[group.word]} {group.lens}: {group.settings}", hanging="    ")
        yield from wrapped(group.step, "    -> ", hanging="       ")
    for failed in check.failed:
        yield from wrapped(f"? {failed.key}: could not be computed: {failed.why}", hanging="    ")


def _listed(states: Sequence[StateResult]) -> Iterator[str]:
    """Each lens with its clear settings."""
    groups: dict[str, list[StateResult]] = {}
    for state in states:
        groups.setdefault(lens_words(state), []).append(state)
    for lens, group in groups.items():
        yield f"{lens}: {' | '.join(setting_words(state) for state in group)}"
