"""Safe areas that are larger than all that they could be safe areas of: what lies between the two is not looked at.

Action safe lies inside the picture and title safe inside action safe (SMPTE ST 2046-1, from memory).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from scenes.cautions.named_numbers import kept_shares
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.camera import Camera, Guide

SAFE = re.compile(r"\bsafe\b", re.IGNORECASE)  # "safety" is room beside the picture
TITLE, ACTION = re.compile(r"\btitles?\b", re.IGNORECASE), re.compile(r"\baction\b", re.IGNORECASE)
LARGER = 1.005  # of a width: guides are rounded by less


def safe_guide_words(camera: Camera) -> Iterator[str]:
    """A caution for each safe area that reaches past every other guide, or for titles past the one for action."""
    pictures = [guide for guide in camera.guide if not SAFE.search(guide.name)]
    for guide in (guide for guide in camera.guide if SAFE.search(guide.name)):
        if pictures and all(_is_larger(guide, other, camera) for other in pictures):
            yield _words(guide, max(pictures, key=lambda other: other.scale))
            continue
        action = [other for other in camera.guide if TITLE.search(guide.name) and _is_for_action(other)]
        larger = next((other for other in action if _is_larger(guide, other, camera)), None)
        if larger is not None:
            yield _words(guide, larger)


def _is_for_action(guide: Guide) -> bool:
    return bool(SAFE.search(guide.name) and ACTION.search(guide.name)) and not TITLE.search(guide.name)


def _is_larger(guide: Guide, other: Guide, camera: Camera) -> bool:
    """Whether a guide is wider and higher than another."""
    own, its = kept_shares(guide, camera), kept_shares(other, camera)
    return all(mine > LARGER * theirs for mine, theirs in zip(own, its, strict=True))


def _words(guide: Guide, other: Guide) -> str:
    return (
        f'scale = {plain(guide.scale)} makes its guide "{guide.name}" larger than "{other.name}", scale = {plain(other.scale)}, '
        "and a safe area lies inside what it is safe in: is one of the two wrong?"
    )
