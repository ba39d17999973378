"""A table of notes to fill in, from the names of the stills in a folder: what the names tell is put down, the rest asked."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from scenes.io.reading import file_names
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, f_numbers_of, focal_lengths, focus_distances_of
from scenes.scene_file.tables.shoot import MOST_PICTURES, RECORDED
from scenes.stills.decode import SUFFIXES
from scenes.unknowns.usual import usual_paths

ASKED = '"?"'
WITHOUT = {"without", "wo", "off", "ref", "reference", "bare", "nobox", "clean", "open"}  # words of a name: shot without the box
WITH = {"with", "w", "on", "box"}
FROM_SCENE = "from the scene: look whether it was shot at it"
COMMENT_AT = 46  # column
HIDDEN = "."  # Macs leave a "._IMG_1.tif" beside each IMG_1.tif on cards and servers, which holds no picture
SAME_KIND = {".tiff": ".tif", ".jpeg": ".jpg"}


@dataclass(frozen=True, slots=True)
class Pair:
    """A still and, where one is named like it, its reference."""

    with_box: str
    without_box: str | None


def draft_text(scene: Scene, scene_name: str, path: Path) -> str:
    """The notes at a path of the stills in its folder, with a question mark wherever only the crew can tell."""
    folder = path.parent
    names = [name for name in file_names(folder) if Path(name).suffix.lower() in SUFFIXES and not name.startswith(HIDDEN)]
    if not names:
        kinds = ", ".join(SUFFIXES)
        raise SceneError([Complaint("", f"holds no stills; put them there ({kinds}), or name their folder", None, str(folder))])
    pairs, alone = paired(names)
    if len(pairs) > MOST_PICTURES:
        problem = f"holds {len(pairs)} stills, more than {MOST_PICTURES}; put each lens's stills into a folder of their own"
        raise SceneError([Complaint("", problem, None, str(folder))])
    lines = [*_head(scene, scene_name, path), *_unknown(scene)]
    for place, pair in enumerate(pairs):
        lines += _picture(scene, pair, first=place == 0)
    if alone:
        lines += ["", f"# named like stills without the box, and the reference of none above: {', '.join(alone)}"]
    return "\n".join(lines) + "\n"


def paired(names: Sequence[str]) -> tuple[list[Pair], list[str]]:
    """Stills with the box, each with the first reference of its kind that is named like it, and all references that are left over.

    Cameras write each shot twice, as JPEG too: against that a still of another curve would tell losses that there are not.
    """
    bare = [name for name in names if _words(name) & WITHOUT]
    references = {_shot(name): name for name in reversed(bare)}
    shots = [name for name in names if not _words(name) & WITHOUT]
    if not shots:  # every name has such a word: it tells nothing
        return [Pair(name, None) for name in names], []
    pairs = [Pair(name, references.get(_shot(name))) for name in shots]
    used = {pair.without_box for pair in pairs}
    return pairs, [name for name in bare if name not in used]


def _words(name: str) -> set[str]:
    return set(_split(name))


def _split(name: str) -> list[str]:
    return re.findall(r"[a-z]+|\d+(?:\.\d+)?", Path(name).stem.lower().replace("no_box", "nobox").replace("no-box", "nobox"))


def _shot(name: str) -> tuple[str, ...]:
    """The kind of file, and what its name says but for with and without: alike for a still and its reference."""
    kind = Path(name).suffix.lower()
    return SAME_KIND.get(kind, kind), *(word for word in _split(name) if word not in WITHOUT | WITH)


def _head(scene: Scene, scene_name: str, path: Path) -> Iterator[str]:
    yield '# Notes of the test shoot. Put an answer in place of every "?", then:'
    yield f"#   brimline compare {scene_name} --shoot {path} --out compare"
    yield "# One lens to a table of notes. What the scene checks of each:"
    for lens in scene.lens:
        focus = ", ".join(focus_value(one) for one in focus_distances_of(scene, lens))
        stops = ", ".join(plain(stop) for stop in f_numbers_of(scene, lens))
        yield f"#   {lens.name}: focus_mm {focus}; f_number {stops}"
    yield ""
    yield _line("lens", json.dumps(scene.lens[0].name) if len(scene.lens) == 1 else ASKED, "name of the lens, as in the scene")


def _unknown(scene: Scene) -> Iterator[str]:
    yield ""
    yield "# What was not measured and may differ from the scene: take the # off its line. Few at a time; none: the stills are only"
    yield "# held against the scene."
    yield "unknown = ["
    for path in _candidates(scene):
        yield f"  # {json.dumps(path, ensure_ascii=False)},"
    yield "]"


def _candidates(scene: Scene) -> Iterator[str]:
    return iter(dict.fromkeys(path for lens in scene.lens for path in usual_paths(scene, lens)))


def _picture(scene: Scene, pair: Pair, *, first: bool) -> Iterator[str]:
    """A still; what a key means stands at the first one."""
    lens = scene.lens[0] if len(scene.lens) == 1 else None

    def line(key: str, value: str, comment: str) -> str:
        return _line(key, value, comment if first else "")

    yield ""
    yield "[[picture]]"
    yield line("with_box", json.dumps(pair.with_box, ensure_ascii=False), "the still with the box on the lens")
    if pair.without_box:
        name = json.dumps(pair.without_box, ensure_ascii=False)
        yield line("without_box", name, "the same shot, box off; paired by its name: look whether it is")
    else:
        yield (f"# without_box = {ASKED}".ljust(COMMENT_AT) + "  # the same shot, box off: tells far more; none has such a name")
    for key, known, comment in (
        ("focus_mm", _only(lens, scene, focus=True), 'focus distance from the image plane, or "infinity"'),
        ("f_number", _only(lens, scene, focus=False), "stop that it was shot at"),
    ):
        yield line(key, ASKED, comment) if known is None else _line(key, known, FROM_SCENE)
    if lens is None or len(focal_lengths(lens)) > 1:
        yield f"# focal_mm = {ASKED}".ljust(COMMENT_AT) + "  # what a zoom was set to"
    yield line("curve", ASKED, "transfer function: linear, srgb, rec709, bt1886, pq, pq-camera, hlg or table; ask who exported it")
    yield line("code_range", ASKED, '"full", or "narrow" as on a video link')
    guides = "".join(f", {json.dumps(guide.name, ensure_ascii=False)}" for guide in scene.camera.guide)
    yield line("covers", ASKED, f"what of the sensor it shows: {json.dumps(RECORDED)}{guides}")


def _only(lens: Lens | None, scene: Scene, *, focus: bool) -> str | None:
    """The one focus or stop that the scene knows of the lens; None where it knows several, or there are several lenses."""
    if lens is None:
        return None
    if focus:
        known = tuple(focus_value(one) for one in focus_distances_of(scene, lens))
    else:
        known = tuple(plain(one) for one in f_numbers_of(scene, lens))
    return known[0] if len(known) == 1 else None


def focus_value(focus_mm: float) -> str:
    """A focus distance as notes have it."""
    return '"infinity"' if focus_mm == float("inf") else plain(focus_mm)


def _line(key: str, value: str, comment: str) -> str:
    text = f"{key} = {value}"
    return f"{text.ljust(COMMENT_AT)}  # {comment}" if comment else text
