"""The words of a comparison."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from scenes.answers.numbers import distance_words
from scenes.questions.compare.beside import beside_words
from scenes.questions.compare.fit import GOOD_SHARE
from scenes.questions.compare.hidden import hidden_of
from scenes.questions.compare.registration import framing_doubts, framing_words
from scenes.questions.compare.surprises import Surprise
from scenes.questions.compare.verdict import Comparison, Verdict
from scenes.runtime.page import listed
from scenes.stills.cells import ORIENTATIONS, WAY_WORDS
from scenes.unknowns.telling import HARD, TOLD_SIGMA
from scenes.unknowns.unknown import Unknown

NOT_ALIKE = 0.5  # mm or degrees
NO_LOSS = 0.97  # of the light: a still that shows as much everywhere has no box on it
FAR_MM = 10.0  # mm or degrees: so far off is likelier a mistake in the notes than in the box
BEYOND_SIGMAS, BEYOND_MM = 3.0, 1.0  # out of stated bounds by more than this is no slip of a reading
LIKE_SHARE = 0.08  # of a focal length: about the same
METHOD = (
    "Each still was brought to linear light by the curve that the notes state, averaged to cells and divided by its reference. "
    "Exposure and a plane of uneven light were fitted to each still, clipped pixels, dust and burnt-in letters and lines left out."
)
NO_REFERENCE = (
    "Without a reference still the lens's own fall-off and the evenness of the light are guessed (a power of the cosine, a plane): "
    "a loss that is as smooth as these cannot be told from them. Shoot the same frame with the box taken off."
)
CROP = "A crop that nobody noted hides the corners, which boxes darken first: make sure that the stills show all of `covers`."
CAUTION = "Fitted values rest on these stills alone: measure what can be measured before metal is cut."


def value_words(value: float, sigma: float, unit: str) -> str:
    """'41.99 ± 0.01 mm', with as many digits as the error bears."""
    digits = int(np.clip(1 - np.floor(np.log10(max(sigma, 1e-3))), 0, 2))
    return f"{value:.{digits}f} ± {max(sigma, 10.0**-digits):.{digits}f} {unit}"


def summary(found: Comparison) -> str:
    """The verdict as one sentence."""
    match found.verdict:
        case Verdict.NOTHING:
            rest = ", but for a thing in frame that is no part of the scene" if found.surprises else ""
            if hidden := hidden_of(found):
                return f"As predicted{rest}, where the stills can tell; of {hidden[0].words} nothing can be seen."
            return f"As predicted{rest}: the stills show what the scene predicts, within what they can tell."
        case Verdict.OTHER_LENS:
            return other_lens_words(found)
    if found.framing is not None and found.framing.is_cropped:
        return f"Not as noted. {framing_words(found.framing)} {_put_right_words(found)}"
    if found.rivals and not _not_shaded(found):
        return _rivals_words(found)
    moved = _moved(found)
    unlike = _unexplained(found, found.fit.rms, agree=bool(moved))
    return unlike or f"Not as predicted: {_differing(moved)}. With the fitted values the stills agree."


def _rivals_words(found: Comparison) -> str:
    """That a fit is not the only explanation."""
    rows = zip(found.notes.unknowns, found.fit.values, strict=True)
    off = [f"{item.path} is {value:.1f} {item.unit}" for item, value in rows if abs(value - item.nominal) > NOT_ALIKE]
    others = ", or ".join(one.words for one in found.rivals)
    return f"Not as predicted, and the stills do not tell why: either {listed(off)}, or {others}. Do not rely on either yet."


def _put_right_words(found: Comparison) -> str:
    """What cropped stills come to once they are put right; where nothing moved the scene's values stand, and are looked at."""
    moved = _moved(found)
    if unlike := _unexplained(found, found.fit.rms if moved else max(found.fit.rms, found.nominal.rms), agree=True):
        return unlike
    if moved:
        return f"Put right, {_differing(moved)}."
    rest = ", but for a thing in frame that is no part of the scene" if found.surprises else ""
    return f"Put right, they are as predicted{rest}."


def _unexplained(found: Comparison, rms: float, *, agree: bool) -> str:
    """Why the values do not account for stills of which so much is left over, or that cannot `agree`; '' where they do."""
    if shaded := _not_shaded(found):
        return (
            f"Not as predicted: the stills show no loss anywhere, and {shaded:.1f} stops were predicted. "
            "Was the box on the lens? Do the stills show all of what `covers` says?"
        )
    if not agree or rms > 2 * GOOD_SHARE:
        return _left_over(found, rms)
    if far := _far(found):
        return (
            f"Not as predicted: only with {listed(far)} would the stills agree, and that is far off. "
            "Check curve, code range, crop, focus, stop and lens in the notes first, then the box."
        )
    return ""


def _left_over(found: Comparison, rms: float) -> str:
    """That the stills are not explained, and the way on."""
    rest = f"{100 * rms:.1f} % of the light"
    if not found.notes.unknowns:
        return f"Not as predicted: {rest} (rms) is left over. Leave free in `unknown` what was not measured, and compare again."
    words = f"Not as predicted, and the values left free do not explain it: {rest} (rms) is left over."
    return f"{words} Check curve, focus, stop and scene, or leave free in `unknown` what else was not measured."


def _not_shaded(found: Comparison) -> float:
    """Stops that were predicted at most, where no still shows any; else 0."""
    shares = []
    for k, one in enumerate(found.nominal.model.stills):
        lit = found.nominal.model.lit(k, found.fit.vector[found.fit.model.own(k)])
        if np.quantile((one.measured.light / lit)[one.use], 0.01) < NO_LOSS:
            return 0.0
        shares.append(float(np.quantile(found.nominal.model.share(k, ())[one.use], 0.01)))
    return 0.0 if min(shares, default=1.0) > 2 * NO_LOSS - 1 else float(-np.log2(max(min(shares), 1e-3)))


def _far(found: Comparison) -> list[str]:
    """Told values that moved far, or out of the bounds that the scene states, and how far."""
    rows = zip(found.notes.unknowns, found.told, found.values, found.sigmas, strict=True)
    return [words for item, told, value, sigma in rows if told and (words := _far_words(item, float(value), float(sigma)))]


def _far_words(item: Unknown, value: float, sigma: float) -> str:
    off, bound = abs(value - item.nominal), item.spot.width / 2
    if bound > 0 and off - bound > max(BEYOND_SIGMAS * sigma, BEYOND_MM):
        return f"{item.path} {off - bound:.1f} {item.unit} outside its stated bounds"
    return f"{item.path} {off:.0f} {item.unit} off" if off > FAR_MM else ""


def _differing(moved: Sequence[str]) -> str:
    return f"{listed(moved)} differ{'s' if len(moved) == 1 else ''} from the scene"


def _moved(found: Comparison) -> list[str]:
    """Paths of told values that lie off the scene's by more than their error."""
    return [item.path for item, told, off in _moves(found) if told and off]


def _moves(found: Comparison) -> Iterator[tuple[Unknown, bool, bool]]:
    for item, told, value, sigma in zip(found.notes.unknowns, found.told, found.values, found.sigmas, strict=True):
        yield item, told, bool(abs(value - item.nominal) > max(2 * sigma, 0.1))


def other_lens_words(found: Comparison) -> str:
    """Why the stills are refused."""
    other, name = found.other, found.notes.lens.name
    if other is not None and other.name is not None:
        return f"Another lens: the stills fit the {other.name}, not the {name} of the notes. No value was fitted; correct `lens`."
    if other is not None and other.focal_mm is not None:
        return (
            f"Another lens: the stills fit a focal length of about {other.focal_mm:.0f} mm{_like_words(found, other.focal_mm)}, "
            f"not the {name}. "
            "No value was fitted; find out which lens was on the camera."
        )
    rest = "" if other is None or other.rms > 0.5 else f" ({100 * other.rms:.0f} % of the light is left over, rms)"
    return (
        f"Another lens or set-up: no values of what was left free make the {name} in this box show these stills{rest}. "
        "Check lens, focus, stop and curve in the notes."
    )


def _like_words(found: Comparison, focal_mm: float) -> str:
    """Another lens of the scene that has about this focal length: ', as the 21 has'."""
    near = [lens for lens in found.notes.shots[0].state.scene.lens if abs(lens.focal_mm - focal_mm) <= LIKE_SHARE * focal_mm]
    names = [lens.name for lens in near if lens.name != found.notes.lens.name]
    return f", as the {listed(names)} {'has' if len(names) == 1 else 'have'}" if names else ""


def next_step(found: Comparison) -> str:
    """What to do now."""
    if found.rivals:
        return f"{_settle_words(found)}, then compare again."
    match found.verdict:
        case Verdict.OTHER_LENS:
            return "find out which lens, focus and stop the stills are of, and compare again."
        case Verdict.NOTHING:
            if hidden := hidden_of(found):
                return (
                    f"shoot {listed([one.still for one in hidden])} again, with nothing over corners and edges, and compare again."
                )
            return "go on with the scene as it is." if all(found.told) else _tell_more(found)
    return (
        "measure the values that moved, and put them, or fitted.toml, in place of the scene's."
        if all(found.told)
        else _tell_more(found)
    )


def _settle_words(found: Comparison) -> str:
    """What settles which explanation holds."""
    asked = []
    if any(one.size is not None for one in found.rivals):
        asked.append("ask who exported the stills whether they are whole")
    if any(one.focal_mm is not None for one in found.rivals):
        asked.append("find out which lens was on the camera")
    open_values = [item.path for item, told in zip(found.notes.unknowns, found.told, strict=True) if not told]
    return f"{listed(asked)}, or measure {listed(open_values) if open_values else 'what moved'}"


def _tell_more(found: Comparison) -> str:
    open_values = [item.path for item, told in zip(found.notes.unknowns, found.told, strict=True) if not told]
    if found.next_shots:
        return f"these stills do not tell {listed(open_values)}: {_next_words(found)}."
    return f"these stills do not tell {listed(open_values)}: measure, or shoot one more still with the part well into the frame."


def doubts(found: Comparison) -> Iterator[str]:
    """What the stills do not tell, and what they tell only together."""
    if found.verdict is Verdict.OTHER_LENS:
        return
    unknowns, sigmas = found.notes.unknowns, found.sigmas
    for item, told in zip(unknowns, found.told, strict=True):
        if not told:
            yield f"{item.path}: these stills do not tell it. The scene's value stands, and nothing is claimed."
    if found.alike:
        way, values = found.alike[0]
        pairs = zip(unknowns, values, found.values, strict=True)
        words = ", ".join(f"{item.path} {value:.1f} {item.unit}" for item, value, here in pairs if abs(value - here) > NOT_ALIKE)
        yield f"With {words} the stills would look the same {WAY_WORDS[way]}: make sure that they are the right way up."
    if found.framing is not None:
        yield from framing_doubts(found.notes, found.framing)
    more = f"; {_next_words(found)}" if found.next_shots else ""
    for first, second, alike in correlated(found):
        a, b = unknowns[first].path, unknowns[second].path
        other = "larger" if alike > 0 else "smaller"
        yield (
            f"{a} and {b} are hard to tell apart ({alike:+.2f}): with {a} larger and {b} {other} the stills look nearly "
            "the same. "
            f"Alone they are known to {sigmas[first]:.2f} {unknowns[first].unit} and {sigmas[second]:.2f} {unknowns[second].unit}; "
            f"measuring one of them settles both{more}."
        )


def _next_words(found: Comparison) -> str:
    """What the next stills would bring: of one alone all errors, of several how many values."""
    shot = found.next_shots[0]
    told = shot.sigmas <= TOLD_SIGMA
    if not told.any():
        return "no setting that the scene checks would tell them"
    worst = int(np.argmax(np.where(told, shot.sigmas, 0.0)))
    at = f"focus {distance_words(shot.state.focus_mm)}, f/{shot.state.f_number:g}"
    error = f"{shot.sigmas[worst]:.2g} {found.notes.unknowns[worst].unit}"
    every = "every error" if told.all() else "the errors of those that it tells"
    return f"one more still at {at} would bring {every} to about {error} or less"


def is_vague(found: Comparison) -> bool:
    """Whether some value is not told, or only together with another."""
    return not all(found.told) or bool(correlated(found))


def correlated(found: Comparison) -> list[tuple[int, int, float]]:
    """Pairs of told values with a correlation that matters."""
    sigmas = np.maximum(found.sigmas, 1e-12)
    alike = found.fit.covariance / np.outer(sigmas, sigmas)
    places = [k for k, told in enumerate(found.told) if told]
    return [(i, j, float(alike[i, j])) for i in places for j in places if i < j and abs(alike[i, j]) >= HARD]


def orientation_notes(found: Comparison) -> Iterator[str]:
    """Stills that were not as shot."""
    for shot, way in zip(found.notes.shots, found.orientations, strict=True):
        if way != ORIENTATIONS[0]:
            yield f"{shot.picture.with_box} is {WAY_WORDS[way]}: it was put upright first. Check how it was exported."


def surprise_words(found: Comparison, one: Surprise) -> str:
    """A thing in the frame."""
    name = found.notes.shots[one.picture].picture.with_box
    return (
        f"{name}: something at the {one.words} takes up to {one.stops:.1f} stop and is no part of the scene "
        f"({one.width:.0%} x {one.height:.0%} of the frame). It was left out of the fit: look what it is."
    )


def cautions(found: Comparison) -> Sequence[str]:
    """What could mislead."""
    notes = [CROP, CAUTION] if found.verdict is Verdict.NOTHING else [CAUTION]
    if any(shot.picture.without_box is None for shot in found.notes.shots):
        notes.append(NO_REFERENCE)
    notes += [*(one.caution for one in hidden_of(found)), *beside_words(found.notes)]
    for one in found.fit.model.stills:
        notes += one.measured.notes
        left = 1.0 - float(one.use.mean())
        if left > 0.05:
            notes.append(f"{one.measured.name}: {left:.0%} of the frame was left out (clipped, dust, letters, lines, surprises).")
    return tuple(dict.fromkeys(notes))
