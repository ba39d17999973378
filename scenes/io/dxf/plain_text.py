"""The text of a DXF without what systems put at its ends, and with ends of lines that its readers know."""

from __future__ import annotations

UTF8_MARK = b"\xef\xbb\xbf"  # Unicode Standard, 23.8: byte-order mark
DOS_END = b"\x1a"  # Control-Z, with which DOS ended texts


def plain_text(data: bytes) -> bytes:
    """The same drawing: neither byte-order mark nor end mark, and a line end in place of a carriage return that stands alone."""
    body = data.removeprefix(UTF8_MARK)
    ended = body.rstrip(b"\r\n \0" + DOS_END)
    if DOS_END in body[len(ended) :]:
        body = ended + b"\n"
    return body if b"\n" in body.rstrip() else body.replace(b"\r", b"\n")
