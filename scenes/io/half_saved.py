"""Texts that were saved or copied by half. Opens nothing."""

from __future__ import annotations

BLOCK_BYTES = 512  # of a disk's: buffers and blocks in which programs and systems save files are multiples of it (common practice)
BLANKS = (b"\0", b"\xff")  # what a disk or a card holds where nothing was written


def is_half_saved(data: bytes) -> bool:
    """Whether a text stops in a line and where a block does: cut so, a scene without its last flag is still a scene."""
    return bool(data) and len(data) % BLOCK_BYTES == 0 and not data.endswith((b"\n", b"\r"))


def has_blanks(data: bytes) -> bool:
    """Whether a text holds bytes of a disk that was never written: in a remark or a name they are more of its words."""
    return any(blank in data for blank in BLANKS)
