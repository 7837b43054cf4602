r"""What a terminal program leaves in a log, taken off again: encodings, parity bits, control sequences, broken lines.

The result is plain 8-bit text, one character a byte, each line ended by one `\n`, so that line numbers stay those of
the file. Control sequences are those of ECMA-48 (5th edition, 1991), clause 5.4; the rest is common practice,
no source.
"""

from __future__ import annotations

import codecs
import re
import string

import numpy as np

from romassay.errors import BadValue
from romassay.formats.text.notation import with_plain_prefixes, without_leading_zeros
from romassay.formats.text.wrapped import unwrapped

_SAMPLE = 1 << 16
_PART = 1 << 16
_BOMS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
    (codecs.BOM_UTF8, "utf-8-sig"),
)
_LOW_SEVEN = bytes(i & 0x7F for i in range(256))
_EVEN = bytes(i for i in range(256) if not i.bit_count() % 2)
_ONE_PARITY = 0.97
_ENOUGH = 200
_DIGITS_AND_ENDS = string.hexdigits.encode() + b" \r\n"
_PLACEHOLDER = 0x9F
"""Stands for a character that has no place in one byte; nothing prints it."""

_MOVE = re.compile(rb"\x1b\[[0-9;]*[Hf]|\x1b[ED]")
_ESCAPES = re.compile(
    rb"\x1b\[[0-?]*[ -/]*[@-~]"  # control sequence
    rb"|\x1b[\]P_^X][^\x07\x1b\n]*(?:\x07|\x1b\\)"  # string: title, device control
    rb"|\x1b[ -/]+[0-~]|\x1b[0-Z\\`-~]"  # shorter ones
)
_LINE_END = re.compile(rb"\r*\n\r?|\r")
_PADDING = re.compile(rb"^[\x00-\x08\x0b-\x1a\x1c-\x1f\x7f]+|[\x00-\x07\x0b-\x1f\x7f]+$", re.MULTILINE)
_BACKSPACES = re.compile(rb"^[^\n\x08]*\x08[^\n]*", re.MULTILINE)
_FEW = 0.005


def clean(data: bytes, encoding: str | None = None) -> bytes:
    r"""Return a log's text as one byte a character, ASCII where it can be, lines ended by `\n`.

    Lines keep their numbers. Bytes that are no text stay in place as they are, so that columns do.

    Args:
        data: the file.
        encoding: a Python codec's name; None to tell from the content.

    Raises:
        BadValue: there is no such encoding.
    """
    text = _decode(data, encoding)
    return without_leading_zeros(with_plain_prefixes(unwrapped(_cleaned(text, eight_bits=text is data))))


def _cleaned(text: bytes, *, eight_bits: bool) -> bytes:
    """Return a text as a terminal shows it; where its characters had eight bits each, one may be for parity."""
    if _is_plain(text):
        return text
    text = text.replace(b"\r\n", b"\n")
    if _is_plain(text):
        return text
    if eight_bits and _has_parity(text):
        text = text.translate(_LOW_SEVEN)
    if text.count(b"\0") > _FEW * len(text):
        text = text.replace(b"\0", b"")
    text = _LINE_END.sub(b"\n", text)
    if b"\x1b" in text:
        text = _ESCAPES.sub(b"", _MOVE.sub(_line_unless_first(text), text))
    text = _PADDING.sub(b"", text)
    if b"\x08" in text:
        text = _BACKSPACES.sub(lambda match: _rub_out(match[0]), text)
    return text


def _is_plain(text: bytes) -> bool:
    """Tell whether a text is all printing characters, blanks, tabs and line ends."""
    over, flags = np.empty(_PART, np.uint8), np.empty(_PART, np.bool_)
    for at in range(0, len(text), _PART):
        part = np.frombuffer(text, np.uint8, min(_PART, len(text) - at), at)
        room, hits = over[: len(part)], flags[: len(part)]
        np.subtract(part, ord(" "), out=room)
        odd = np.count_nonzero(np.greater(room, ord("~") - ord(" "), out=hits))
        odd -= np.count_nonzero(np.equal(part, ord("\n"), out=hits))
        if odd and odd != np.count_nonzero(np.equal(part, ord("\t"), out=hits)):
            return False
    return True


def _decode(data: bytes, encoding: str | None) -> bytes:
    if encoding is None:
        encoding = next((name for bom, name in _BOMS if data.startswith(bom)), None) or _utf_16_without_bom(data)
    if encoding is None:
        if data.isascii() or not _is_utf_8(data):
            return data
        encoding = "utf-8"
    try:
        text = data.decode(encoding, "replace")
    except LookupError as e:
        raise BadValue(f"there is no encoding '{encoding}'", advice="give a name such as utf-8, latin-1, cp437") from e
    return text.translate(_WIDE).encode("latin-1", "replace")


class _Wide(dict[int, int]):
    """Maps what does not fit one byte to the placeholder."""

    def __missing__(self, code: int) -> int:
        self[code] = code if code < 256 else _PLACEHOLDER
        return self[code]


_WIDE = _Wide()


def line_end_of(data: bytes) -> bytes:
    """Return the bytes of a line feed in a file: two in UTF-16, four in UTF-32, else one."""
    encoding = next((name for bom, name in _BOMS if data.startswith(bom)), None) or _utf_16_without_bom(data) or ""
    if not encoding.startswith("utf-16") and encoding != "utf-32":
        return b"\n"
    is_big = data.startswith((codecs.BOM_UTF16_BE, codecs.BOM_UTF32_BE)) or encoding == "utf-16-be"
    return "\n".encode(f"{encoding[:6]}-{'be' if is_big else 'le'}")


def _utf_16_without_bom(data: bytes) -> str | None:
    """Tell UTF-16 by its many NULs, all in even or all in odd places."""
    sample = data[:_SAMPLE]
    if len(sample) < 4:
        return None
    first, second = sample[0::2].count(0), sample[1::2].count(0)
    half = len(sample) // 2
    if second > 0.9 * half and first < 0.1 * half:
        return "utf-16-le"
    if first > 0.9 * half and second < 0.1 * half:
        return "utf-16-be"
    return None


def _is_utf_8(data: bytes) -> bool:
    sample = data[: 1 << 20]
    try:
        codecs.getincrementaldecoder("utf-8")().decode(sample, final=len(sample) == len(data))
    except UnicodeDecodeError:
        return False
    return True


def _has_parity(text: bytes) -> bool:
    """Tell whether bit 7 is a parity bit.

    Either nearly all characters have an even number of ones, or nearly all an odd one; or it is set in many of the
    characters that are digits or line ends without it.
    """
    sample = text[:_SAMPLE].translate(None, bytes(range(1)))
    high = sample.translate(None, bytes(range(128)))
    even = len(sample) - len(sample.translate(None, _EVEN))
    if high and len(sample) >= _ENOUGH and max(even, len(sample) - even) >= _ONE_PARITY * len(sample):
        return True
    digits = len(high) - len(high.translate(None, bytes(c | 0x80 for c in _DIGITS_AND_ENDS)))
    low = len(sample) - len(sample.translate(None, _DIGITS_AND_ENDS))
    return digits > 0.2 * (low + digits) and digits > 0.3 * len(high)


def _line_unless_first(text: bytes) -> bytes:
    """Return what a cursor movement becomes: a new line only where nothing else makes lines, else nothing."""
    return b"\n" if text.count(b"\n") < 2 else b""


def _rub_out(line: bytes) -> bytes:
    """Apply backspaces as a terminal does: what comes after them overwrites."""
    shown = bytearray()
    at = 0
    for piece in line.split(b"\x08"):
        shown[at : at + len(piece)] = piece
        at = max(0, at + len(piece) - 1)
    return bytes(shown)


def in_words(line: bytes, width: int = 120) -> str:
    """Return a line for showing: printable, cut to a screen's width."""
    text = line[: width + 1].decode("latin-1").replace("\t", " ")
    shown = text if text.isprintable() else "".join(c if c.isprintable() else "·" for c in text)
    return shown[: width - 1] + "…" if len(shown) > width else shown
