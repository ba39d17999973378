"""Pictures that lie beside the stills of the notes and stand in no row."""

from __future__ import annotations

from pathlib import Path

from scenes.io.reading import file_names
from scenes.questions.compare.draft import HIDDEN
from scenes.questions.compare.shoot import Notes
from scenes.runtime.page import listed
from scenes.stills.decode import SUFFIXES

MOST_NAMED = 4


def beside_words(notes: Notes) -> tuple[str, ...]:
    """That there are such, in a sentence: a row may be lost. Cameras write a shot twice, as JPEG too, which is none of its own."""
    names = beside(notes)
    if not names:
        return ()
    more = [f"{len(names) - MOST_NAMED} more"] if len(names) > MOST_NAMED else []
    which = f"{listed([*names[:MOST_NAMED], *more])} {'lies' if len(names) == 1 else 'lie'} beside the stills"
    return (f"{which}, in no row of {notes.file_name}: add what is of this lens, for nothing was read of it.",)


def beside(notes: Notes) -> list[str]:
    """Names of such files, in their order; in the folders of the stills, of their kinds."""
    pictures = [shot.picture for shot in notes.shots]
    named = [notes.folder / name for one in pictures for name in (one.with_box, one.without_box) if name is not None]
    shots = {_shot(path) for path in named}
    kinds = {*SUFFIXES, *(path.suffix.lower() for path in named)}
    folders = sorted({path.parent for path in named})
    found = [folder / name for folder in folders for name in file_names(folder) if not name.startswith(HIDDEN)]
    return [path.name for path in found if path.suffix.lower() in kinds and _shot(path) not in shots]


def _shot(path: Path) -> tuple[Path, str]:
    """Folder and name without its kind; the disks of some machines tell no large letters from small ones."""
    return path.parent.resolve(), path.stem.casefold()
