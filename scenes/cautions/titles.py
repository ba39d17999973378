"""What the title of a scene tells of its lenses, its stops and its box, against their numbers.

Of its sensor and its frame: scenes/cautions/gauges.py.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from scenes.cautions.contradictions import names_listed
from scenes.cautions.lens_names import is_same_focus, nearest_told_mm
from scenes.cautions.named_lengths import told_lengths
from scenes.cautions.named_numbers import STOP_SHARE, plain_name
from scenes.cautions.named_squeezes import is_same_squeeze, says_anamorphic, says_spherical, tells_its_squeeze, titled_squeezes
from scenes.cautions.part_lengths import told_off
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens, focal_lengths
from scenes.scene_file.tables.scene import Scene, focus_distances_of

CLAUSE = re.compile(r"\s*(?:[,;|+&]|\s[-\u2013\u2014]\s|\band\b)\s*", re.IGNORECASE)
PARTS = (  # what crews call parts, and their key in the box
    (re.compile(r"\b(?:flags?|eye ?brows?|siders?)\b", re.IGNORECASE), "flag"),
    (re.compile(r"\bhoods?\b", re.IGNORECASE), "hood"),
    (re.compile(r"\bmasks?\b", re.IGNORECASE), "mask"),
    (re.compile(r"\btrays?\b", re.IGNORECASE), "stage"),  # a stage is a studio's
    (re.compile(r"\b(?:donuts?|rings?|bellows)\b", re.IGNORECASE), "seal"),
    (re.compile(r"\bback plates?\b", re.IGNORECASE), "back"),  # plates are also shot
)
STOP = re.compile(r"(?<![^\W_])[ft]\s?/?\s?(\d{1,2}(?:\.\d{1,2})?)(?![\w.]*\w)", re.IGNORECASE)
SPHERICAL_TOO = re.compile(r"\b(?:spherical\w*|mixed|non?[\s-]ana\w*)\b", re.IGNORECASE)
FLAGS = re.compile(  # a flag alone may be the film's
    r"(?<!no )(?<!without )(?<!without a )\b(?:(?:french|top|side)[ -]?flags?|eye ?brows?)\b(?! (?:off|out|up|away|removed))",
    re.IGNORECASE,
)
WIDE_OPEN = re.compile(r"\bwide[ -]open\b", re.IGNORECASE)
CLOSE_WORK = re.compile(r"\b(?:macros?|inserts?|close[ -]?ups?|close[ -]focus|minimum focus)\b", re.IGNORECASE)
FAR_SHARE = 2.0  # of the nearest focus of a lens, for close work
NOT_TITLED = {"", "out", "corner"}  # EXT 14 is a scene out of doors
PUT_RIGHT = "put the wrong one right, or the title"


def title_words(scene: Scene, lens: Lens) -> Iterator[tuple[str, str]]:
    """What the title says otherwise than the numbers of a lens, of [check] or of the parts of the box."""
    if not scene.title:
        return
    yield from (("title", text) for text in _squeeze_words(scene, lens))
    yield from (("check", text) for text in (*_stop_words(scene), *_nearest_words(scene)))
    yield from (("box", text) for text in _flag_words(scene))
    yield from _part_words(scene)


def _squeeze_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """One sentence for all lenses of one squeeze that is not the title's."""
    title = plain_name(scene.title)
    off = [other for other in scene.lens if other.squeeze == lens.squeeze and _is_off(scene, other, title)]
    if lens in off:
        wider = ", and a lens with a squeeze sees farther to the sides" if lens.squeeze == 1.0 else ""
        says = f'squeeze = {plain(lens.squeeze)} of {names_listed(off)} speaks against the scene\'s title "{scene.title}"'
        yield f"{says}{wider}; {PUT_RIGHT}"


def _is_off(scene: Scene, lens: Lens, title: str) -> bool:
    told = titled_squeezes(title)
    if "squeeze" in lens.confirmed or tells_its_squeeze(plain_name(lens.name)):
        return False
    if lens.squeeze > 1.0:
        return says_spherical(title) or (bool(told) and not any(is_same_squeeze(lens.squeeze, value) for value in told))
    return (bool(told) or says_anamorphic(title)) and not SPHERICAL_TOO.search(title) and _stands_out(scene)


def _stands_out(scene: Scene) -> bool:
    """Whether lenses without a squeeze may be those of the title: none has one, or most have that are not called so themselves."""
    squeezed = [lens for lens in scene.lens if lens.squeeze > 1.0]
    marked = any(tells_its_squeeze(plain_name(lens.name)) for lens in squeezed)
    return not squeezed or (not marked and 2 * len(squeezed) > len(scene.lens))


def _stop_words(scene: Scene) -> Iterator[str]:
    """Stops of the title that are wider than all that are looked at, although lenses open to them."""
    yield from _wide_open_words(scene)
    told, asked = [float(stop) for stop in STOP.findall(plain_name(scene.title))], scene.check.f_numbers
    widest = min(told, default=0.0)
    if told and asked and min(asked) > STOP_SHARE * widest and any(lens.f_number <= STOP_SHARE * widest for lens in scene.lens):
        listed = ", ".join(map(plain, asked))
        yield (
            f'f_numbers = [{listed}] of [check] leaves out the stop of the scene\'s title "{scene.title}", {plain(widest)}, '
            f"where the light is wider; {PUT_RIGHT}"
        )


def _wide_open_words(scene: Scene) -> Iterator[str]:
    """A show shot wide open, of which only closed stops are looked at."""
    asked, opens = scene.check.f_numbers, min((lens.f_number for lens in scene.lens), default=math.inf)
    if asked and WIDE_OPEN.search(plain_name(scene.title)) and min(asked) > STOP_SHARE * opens and not STOP.search(scene.title):
        listed = ", ".join(map(plain, asked))
        yield (
            f'f_numbers = [{listed}] of [check] is not wide open, as the scene\'s title "{scene.title}" says: the lenses open to '
            f"f/{plain(opens)}, where the light is wider; {PUT_RIGHT}"
        )


def _nearest_words(scene: Scene) -> Iterator[str]:
    """A nearest focus in the title that no lens and no row has, nearer than all of them."""
    title = plain_name(scene.title)
    is_close = CLOSE_WORK.search(title) is not None
    told = nearest_told_mm(title, bare=is_close)
    own = [lens.close_focus_mm for lens in scene.lens if lens.close_focus_mm is not None]
    every = [near for lens in scene.lens for mm in focal_lengths(lens) for near in focus_distances_of(scene, lens, mm)]
    nearest = "infinity" if min(every, default=0.0) == math.inf else f"{plain(min(every, default=0.0))} mm"
    if told and every and min(told) < min(every) and not any(is_same_focus(one, value) for one in told for value in every):
        yield (
            f'the scene\'s title "{scene.title}" tells of focus at {plain(round(min(told)))} mm, but nothing nearer than '
            f"{nearest} is looked at; {PUT_RIGHT}"
        )
    elif is_close and not told and every and own and min(every) > FAR_SHARE * max(own):
        yield (
            f'focus_mm of [check] looks at nothing nearer than {nearest}, but the scene\'s title "{scene.title}" speaks of close '
            f"work, and every lens focuses to {plain(max(own))} mm or nearer; {PUT_RIGHT}"
        )


def _flag_words(scene: Scene) -> Iterator[str]:
    """Flags that the title speaks of, and the box has none."""
    found = FLAGS.search(plain_name(scene.title))
    if found and not scene.box.flag:
        yield f'has no flag, but the scene\'s title "{scene.title}" speaks of one; add it, or put the title right'


def _part_words(scene: Scene) -> Iterator[tuple[str, str]]:
    """Lengths and places that the title gives a part, and no part of that kind has."""
    for clause in CLAUSE.split(scene.title):
        kinds = [key for words, key in PARTS if words.search(clause)]
        if len(kinds) == 1:
            told = tuple(one for one in told_lengths(clause) if one.what not in NOT_TITLED)
            where = f'the scene\'s title "{scene.title}"'
            yield from ((name, f"{text}; {PUT_RIGHT}") for name, text in told_off(scene, kinds[0], told, where))
