"""Squeezes that a name or a title tells: '2x', '1.8x', '2:1 squeeze', anamorphic, spherical."""

from __future__ import annotations

import re

A_SQUEEZE = r"(1\.[2-9]\d?|2(?:\.0)?)"
TIMES = re.compile(rf"(?<![\d.]){A_SQUEEZE}\s?[xX](?![\w])")  # as 1.33x, 1.8x or 2x stands after a focal length
SQUEEZE = re.compile(
    rf"(?<![\d.:]){A_SQUEEZE}(?:\s?:\s?1)?[\s-]squeeze(?!\w)|\bsqueeze\s?(?:of|=|:)?\s?{A_SQUEEZE}(?![\d.])", re.IGNORECASE
)
PICTURE = r"(?:extraction|release|deliver\w*|frame|framing|guide|crop|look)"
TO_ONE = re.compile(rf"(?<![\d.:]){A_SQUEEZE}\s?:\s?1\sana(?:morphic)?(?!\w)(?!\s{PICTURE})", re.IGNORECASE)
NO_SQUEEZE = re.compile(r"\b(?:ext\w*|tele\w*|conv\w*|tc|doubler|zoom)\b", re.IGNORECASE)  # a 2x that makes the focal length longer
ELSE_IN_TITLE = re.compile(r"\b(?:crop\w*|speed|fps|frames?|punch\w*|slow|cameras?|takes?|bodies|up-?scal\w*)\b", re.IGNORECASE)
NOT_ANAMORPHIC = re.compile(r"\b(?:non?|not|without)[\s-]?(?:an\s)?(?:ana\w*|squeeze)\b", re.IGNORECASE)
ANAMORPHIC = re.compile(rf"\b(?:ana|anamorph\w*)\b(?!\s{PICTURE})", re.IGNORECASE)
SPHERICAL = re.compile(r"\b(?:spherical|sphericals)\b", re.IGNORECASE)
SAME_SQUEEZE = 1.03


def named_squeezes(text: str) -> tuple[float, ...]:
    """Every squeeze that a name tells, but not where the numbers may be those of an extender or zoom."""
    told = [] if NO_SQUEEZE.search(text) else [float(number) for number in TIMES.findall(text)]
    told += [float(one or other) for one, other in SQUEEZE.findall(text)]
    return (*told, *(float(number) for number in TO_ONE.findall(text)))


def titled_squeezes(title: str) -> tuple[float, ...]:
    """Those of a title, where a bare 2x may count cameras or takes: it stands for a squeeze only where the title speaks of one."""
    speaks = says_anamorphic(title) or re.search(r"\bsqueeze\b", title, re.IGNORECASE) is not None
    plainly = not ELSE_IN_TITLE.search(title)
    return tuple(value for value in named_squeezes(title) if speaks or (value != round(value) and plainly))


def says_anamorphic(text: str) -> bool:
    """Whether a name or title speaks of anamorphic lenses."""
    return ANAMORPHIC.search(NOT_ANAMORPHIC.sub(" ", text)) is not None


def says_spherical(text: str) -> bool:
    """Whether a name or title says that its lenses do not squeeze, and of none that it does."""
    told = SPHERICAL.search(text) is not None or NOT_ANAMORPHIC.search(text) is not None
    return told and not says_anamorphic(text)


def tells_its_squeeze(name: str) -> bool:
    """Whether the name of a lens says that it squeezes."""
    return bool(named_squeezes(name)) or says_anamorphic(name)


def is_same_squeeze(one: float, other: float) -> bool:
    """Whether two squeezes are one, as they are rounded."""
    return 1 / SAME_SQUEEZE <= one / other <= SAME_SQUEEZE
