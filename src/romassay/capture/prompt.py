"""Prompts: how the end of what a host says is known for one, through parity, fill, empty lines and blanks."""

from __future__ import annotations

import re

from romassay.dialogue import Dialogue

_DIGITS = bytes.maketrans(b"123456789abcdefABCDEF", b"0" * 21)
_WORD = 3
"""Characters from which on a prompt is a word, such as 'READY.', behind which the host may begin a new line."""
_NEAR = 512
"""Characters at the end of a text in which a prompt stands, with all the fill behind it."""


class Prompt:
    """The prompt of a host, as it is compared: lines without parity and fill, digits alike where any may come.

    Where a dialogue has none, it is false and nothing ends with it.
    """

    def __init__(self, dialogue: Dialogue) -> None:
        self._any_digits = dialogue.any_digits
        self.text = self._as_lines(b"\n" + dialogue.prompt.encode("latin-1", "replace")).lstrip(b"\n")

    def __bool__(self) -> bool:
        return bool(self.text)

    def on_new_line(self, text: bytes | bytearray) -> bool:
        """Tell whether a text ends with the prompt on a line of its own, behind a line end."""
        return bool(self) and self._ends(self._as_lines(text[-_NEAR:]))

    def on_last_line(self, text: bytes | bytearray) -> bool:
        """Tell whether the last line is the prompt, be it behind a line end or the first that came."""
        return bool(self) and self._ends(b"\n" + self._as_lines(text[-_NEAR:]))

    def _ends(self, lines: bytes) -> bool:
        wanted = b"\n" + self.text
        return lines.endswith(wanted) or (len(self.text) >= _WORD and lines.endswith(wanted + b"\n"))

    def _as_lines(self, text: bytes | bytearray) -> bytes:
        """Return text as prompts are compared: without parity, fill, empty lines and blanks behind, digits alike."""
        lines = plain(text).replace(b"\r", b"\n").replace(b"\x7f", b"")
        lines = re.sub(rb"\n[ \n]*", b"\n", lines).rstrip(b" ")
        return lines.translate(_DIGITS) if self._any_digits else lines


def plain(data: bytes | bytearray) -> bytes:
    """Return characters without their parity bits, and without fill."""
    return bytes(byte & 0x7F for byte in data if byte & 0x7F)
