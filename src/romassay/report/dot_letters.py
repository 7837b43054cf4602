"""Letters of 3 by 5 dots for pictures that have no text: what stands where, in a picture of few colours."""

from __future__ import annotations

from collections.abc import Sequence

HIGH = 5
ACROSS = 4
"""Dots from one letter to the next."""

_NAMES = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ+"
_DRAWN = (
    "75557262276124761216557117461674757711227575775711"
    "25755656563444365556746477464434553557557222711152"
    "55655444475775565555255526564425563656553421672222"
    "55557555225577555255552227124702720"
)
"""Five lines of each, the left dot of three is worth 4; our own drawing."""

_LINES = {name: _DRAWN[HIGH * i : HIGH * (i + 1)] for i, name in enumerate(_NAMES)}


def write(rows: Sequence[bytearray], text: str, left: int, top: int, colour: int, scale: int = 2) -> None:
    """Write a text into rows of pixels, one byte a pixel; what reaches beyond their ends is cut off.

    Args:
        rows: from the top, all of one length.
        text: digits, capital letters, '+' and blanks.
        left: pixels before it.
        top: rows above it.
        colour: the number of its colour.
        scale: pixels of one dot.
    """
    for number, letter in enumerate(text):
        for line, dots in enumerate(_LINES.get(letter, "00000")):
            for dot in range(3):
                if int(dots) >> (2 - dot) & 1:
                    at = left + (number * ACROSS + dot) * scale
                    for row in rows[top + line * scale : top + (line + 1) * scale]:
                        row[at : at + scale] = bytes([colour]) * len(row[at : at + scale])
