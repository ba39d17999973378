"""Words of a drawing that may speak against how it is read: at full size, in its own unit, as seen from behind the camera.

What plainly speaks against it refuses the drawing; what may as well say something else becomes a caution. Both quote the words.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator

from scenes.io.dxf.scale_words import plain_signs, possible_scale, stated_scale
from scenes.io.dxf.units import INCH_MM, LENGTH, POINT_MM, UNIT_NAMES, UNIT_WORDS, length_mm
from scenes.io.library_remarks import printable

SAID, SAID_UNSEEN = "its text says", "a remark or property in its file says"
LONGEST_QUOTE, MOST_CAUTIONS = 60, 3
MOST_LETTERS = 200_000  # of all texts: what follows takes some seconds for these
AT_ONCE, AGAIN = 300, 60  # letters of a long text that are looked at, and those of them that are once more with the next
STATES = r"dim(?:ension)?s?\.?|dimensioned|dimensioning|measure(?:ment)?s?|units?|sizes?|lengths?|numbers|values|drawn|drawing"
STATES += r"|ma(?:ß|ss)e|einheit(?:en)?|abmessungen|alle|all|cotes?|unit[ée]s?|mesures?|medidas?|cotas?"
STATES += r"|unidad(?:es)?|misure|quote|unit[àa]|maten|единиц\w*|размеры|单位|單位|単位"
WITHOUT_IN = "|".join(
    words if mm != INCH_MM else words.replace("in|", "", 1) for mm, words in UNIT_WORDS.items() if mm not in {1000.0, POINT_MM}
)
STATED_UNITS = [
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        rf"\b(?:{STATES})\b[^\d]{{0,40}}?(?<![\w.])(?P<unit>(?:{WITHOUT_IN})(?!\w))",
        rf"\b(?:{STATES})\s*(?:are\s+|sont\s+)?(?:in|en|[:=])\s*[\[(]?(?P<unit>{LENGTH})",
        rf"^\s*(?!foot\b)(?:all\s+)?(?:(?:in|en|unit)\s*:?\s+)?[\[(]?\s*(?P<unit>(?:{WITHOUT_IN})(?!\w))\s*[\])]?\.?\s*(?:only|nur)?\s*$",
    )
]
# Of the units without a number before them those that are no other word besides, as feet and in are.
ANY_UNIT = re.compile(
    rf"(?<![\d\w.])(?<!\d[\s-])(?P<unit>(?:{UNIT_WORDS[1.0]}|{UNIT_WORDS[10.0]}|inch(?:es)?)(?!\w))", re.IGNORECASE
)

SEEN = r"view(?:ed)?|seen|look(?:ing|ed)|drawn|shown|gesehen|ansicht|blick|gezeichnet|vue?s?|vist[oa]|gezien|aanzicht|dessin[ée]e?"
FROM = r"\s*(?:from|von|vom|de(?:puis)?|da|dal|desde|van|[:=])\s*(?:the\s+|der\s+|la\s+|l')?"
AHEAD = r"front|scene|subject|outside|set|world|object|target|hood|vorn(?:e)?|motiv\w*|szene\w*|objekt\w*|au(?:ß|ss)en"
AHEAD += r"|devant|avant|sc[èe]ne|frente|davanti|voren"
FROM_AHEAD = re.compile(
    rf"\b(?:{SEEN}){FROM}(?:{AHEAD})\b(?:[ -]+side)?|\b(?:ansicht|vue)\s+(?:{AHEAD})\b"
    r"|\blooking\s+(?:back\s+)?(?:in|at|(?:in)?to(?:wards?)?)\s*(?:the\s+)?(?:lens|camera|operator)\b"
    rf"|\bside\s+(?:to(?:wards?)?|facing|faces)\s+(?:the\s+)?(?:{AHEAD})\b",
    re.IGNORECASE,
)
PERHAPS_AHEAD = re.compile(
    r"^\s*(?:front|vorne?|avant|scene)\s*$"
    r"|\b(?:front|top|bottom|left|right|side|plan|under)[ -]?(?:side\s+)?(?:view|elevation|face)\b"
    r"|\bfront[ -]?side\b"
    r"|\b(?:scene|subject|outer|out)[ -]?side\b|\b(?:vorder|unter|seiten)(?:ansicht|seite)\b|\bdraufsicht\b"
    r"|\b(?:motiv|szenen|objekt)seite\b"
    r"|\bvue\s+de\s+(?:face|dessus|dessous|c[ôo]t[ée])\b|\bc[ôo]t[ée]\s+sc[èe]ne\b|\bvista\s+frontale?\b|\bprospetto\b|\balzado\b"
    r"|\bmirror(?:ed)?\b|\bflipped\b|\breversed\b|\bgespiegelt\b|\bspiegel(?:bild|verkehrt)\b|\bopposite[ -]hand(?:ed)?\b"
    r"|\bmiroir\b"
    rf"|\b(?:{SEEN}){FROM}\b(?:above|below|top|bottom|left|right|oben|unten|links|rechts)\b",
    re.IGNORECASE | re.MULTILINE,
)


def readable(texts: Iterable[str]) -> tuple[str, ...] | None:
    """Texts in plain signs, long ones in parts that overlap; None where they are too many to be read."""
    plain = list(dict.fromkeys(plain_signs(text) for text in texts))
    if sum(map(len, plain)) > MOST_LETTERS:
        return None
    return tuple(text[at : at + AT_ONCE] for text in plain for at in range(0, max(1, len(text) - AGAIN), AT_ONCE - AGAIN))


def words_against(texts: Iterable[str], unit_mm: float, said: str = SAID) -> str:
    """What is wrong with a drawing by its readable texts, with the way out; empty where none plainly speaks against how it is read.

    unit_mm: of the drawing, or 1 where it states none. said: where these texts are.
    """
    delete = "or delete those words if it is"
    for text in texts:
        if told := stated_scale(text, unit_mm):
            return f'is not drawn at full size: {said} "{_quote(told)}"; draw the cut-out at full size, {delete}'
        if told := _finer_unit(text, unit_mm):
            unit = UNIT_NAMES[unit_mm]
            return f'states {unit}, and {said} "{_quote(told)}"; set its unit to that of its numbers, {delete} {unit}'
    return ""


def side_against(texts: Iterable[str], said: str = SAID) -> str:
    """The same of the side that a drawing is seen from, for one whose cut-out is another seen from the other side."""
    seen = next((found for text in texts if (found := FROM_AHEAD.search(text))), None)
    if seen is None:
        return ""
    return (
        f'is not drawn as seen from behind the camera: {said} "{_quote(seen[0])}"; mirror the drawing and '
        "delete those words, or delete them alone if it is"
    )


def words_in_doubt(texts: Iterable[str], unit_mm: float, *, lopsided: bool) -> tuple[str, ...]:
    """A sentence for each text that may speak against how the drawing is read, as many as anybody reads."""
    found = [one for text in texts for one in _doubts(text, unit_mm, lopsided)]
    return tuple(dict.fromkeys(found))[:MOST_CAUTIONS]


def _doubts(text: str, unit_mm: float, lopsided: bool) -> Iterator[str]:
    if told := possible_scale(text, unit_mm):
        yield f'its drawing says "{_quote(told)}", and was read at full size; is it drawn to another scale?'
    if told := _other_unit(text, unit_mm):
        yield f'its drawing says "{_quote(told)}", and its lines were read in {UNIT_NAMES[unit_mm]}; which of the two is it?'
    seen = PERHAPS_AHEAD.search(text) if lopsided else None
    if seen:
        yield f'its drawing says "{_quote(seen[0])}", and was read as seen from behind the camera; mirror it if it is not'


def sheet_words_in_doubt(
    name: str, texts: Iterable[str], unit_mm: float, *, lopsided: bool, is_of_plot: Callable[[str], bool]
) -> tuple[str, ...]:
    """The same of a sheet of this name, for words that refuse a drawing elsewhere too: of a scale they may be that of the plot.

    is_of_plot: whether the scale that words state is that at which the sheet shows the model.
    """
    found = [one for text in texts for one in _sheet_doubts(f'its sheet "{_quote(name)}"', text, unit_mm, lopsided, is_of_plot)]
    return tuple(dict.fromkeys(found))[:MOST_CAUTIONS]


def _sheet_doubts(sheet: str, text: str, unit_mm: float, lopsided: bool, is_of_plot: Callable[[str], bool]) -> Iterator[str]:
    told = stated_scale(text, unit_mm) or possible_scale(text, unit_mm)
    if told and not is_of_plot(told):
        yield f'{sheet} says "{_quote(told)}", and its cut-out was read at full size; is it drawn to another scale?'
    if told := _other_unit(text, unit_mm):
        yield f'{sheet} says "{_quote(told)}", and its lines were read in {UNIT_NAMES[unit_mm]}; which of the two is it?'
    seen = (FROM_AHEAD.search(text) or PERHAPS_AHEAD.search(text)) if lopsided else None
    if seen:
        yield f'{sheet} says "{_quote(seen[0])}", and its cut-out was read as seen from behind the camera; mirror it if it is not'


def _finer_unit(text: str, unit_mm: float) -> str:
    """The line of a text that states a finer unit than the drawing's, in which its cut-out would be smaller, or nothing."""
    for line in text.splitlines():
        units = _units(STATED_UNITS, line)
        if units and max(units) < unit_mm:
            return line.strip()
    return ""


def _other_unit(text: str, unit_mm: float) -> str:
    """The line of a text that names a unit that is not the drawing's; empty where none does, or the drawing's stands beside it."""
    for line in text.splitlines():
        units = _units([*STATED_UNITS, ANY_UNIT], line)
        if units and unit_mm not in units:
            return line.strip()
    return ""


def _units(patterns: Iterable[re.Pattern[str]], line: str) -> set[float]:
    """The units that a line states, and where it does all that it names besides, as in mm [inch]."""
    stated = {length_mm(found["unit"]) for one in patterns for found in one.finditer(line)}
    named = {length_mm(found["unit"]) for found in ANY_UNIT.finditer(line)} if stated else set()
    return {mm for mm in stated | named if mm is not None}


def _quote(words: str) -> str:
    short = printable(" ".join(words.split()))
    return short if len(short) <= LONGEST_QUOTE else f"{short[:LONGEST_QUOTE]}..."
