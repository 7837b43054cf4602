"""A log's text in 7-bit characters, without what terminals add: what the record formats read."""

from __future__ import annotations

from romassay.formats.text.terminal import clean

_CONTROLS = bytes(sorted({*range(32), 127} - {9, 10, 13}))


_COMMON_CONTROLS = (0, 17, 19, 127)


_ESCAPE, _BACKSPACE = b"\x1b", b"\x08"


_TEXT = bytes([0, 8, 9, 10, 13, 27, *range(32, 127)])


_SAMPLE = 1 << 16


_FEW = 0.05


_STRIP_BIT_7 = bytes(i & 0x7F for i in range(256))


def plain(source: bytes, encoding: str | None = None) -> bytes:
    """Return a log's text in 7-bit characters, lines ended by LF, without the controls that terminals add.

    Byte order marks of UTF-8 and UTF-16 are honoured. Bytes above 7F are characters where they are valid UTF-8, else
    bit 7 is a parity bit and goes. Line numbers stay those that an editor shows: where the text has any LF, a lone CR
    ends no line.
    """
    if encoding is not None or ((_ESCAPE in source or _BACKSPACE in source) and _is_text(source)):
        source = clean(source, encoding)
    if source.startswith((b"\xff\xfe", b"\xfe\xff")):
        source = source.decode("utf-16", "replace").encode("ascii", "replace")
    elif not source.isascii():
        source = _seven_bits(source)
    if any(bytes((code,)) in source for code in _COMMON_CONTROLS):
        source = source.translate(None, _CONTROLS)
    if b"\r" in source and b"\n" not in source:
        source = source.replace(b"\r", b"\n")
    return source


def _is_text(source: bytes) -> bool:
    """Tell a terminal's log from binary junk, in which escapes mean nothing and cost much."""
    sample = source[:_SAMPLE].translate(_STRIP_BIT_7)
    return len(sample.translate(None, _TEXT)) < _FEW * len(sample)


def _seven_bits(source: bytes) -> bytes:
    try:
        return source.decode("utf-8-sig").encode("ascii", "replace")
    except UnicodeDecodeError:
        return source.translate(_STRIP_BIT_7)
