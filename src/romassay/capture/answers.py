"""How a host spells its answers: by its dialogue, or learnt from what came. No port, no clock.

A layout is learnt anew with each answer until there were enough lines; a host file that names another layout than the
host prints is told by the answers themselves.
"""

from __future__ import annotations

from romassay.address import Range
from romassay.dialogue import Dialogue
from romassay.errors import BadInput
from romassay.formats.answers import Heard, heard, learnt_habit, learnt_layout
from romassay.formats.layout import Layout, parse_layout
from romassay.formats.text.respelt import Habit

_FIRMLY_LEARNT = 64
"""Lines of answers from which a layout is learnt once and for all, while it fits."""
_KEPT_FOR_LEARNING = 1 << 15
_NEARLY = 0.9
"""Share of the characters that answers took so far, before which the end of one is not looked for."""
_LOOKED_AT_EACH = 16
"""Characters, a line or two, after which the end of an answer is looked for again."""
_MISFITS = 3
"""Answers that another layout reads far better, after which the host file's is given up."""


class LostLine(BadInput):
    """The host does not answer as its dialogue says."""


class Answers:
    """Reads the answers of one conversation.

    Attributes:
        layout: of the host's lines; None as long as it is neither said nor learnt.
    """

    def __init__(self, dialogue: Dialogue) -> None:
        self.layout: Layout | None = parse_layout(dialogue.layout) if dialogue.layout else None
        self._dialogue = dialogue
        self._habit: Habit | None = None
        self._learnt_from = bytearray()
        self._lines_learnt = 0
        self._characters_per_byte = 0.0
        self._misfits = 0
        self._tried_at = 0

    def take_layout(self, layout: str) -> None:
        """Read answers by a layout that was learnt before."""
        self.layout = parse_layout(layout)
        self._lines_learnt = _FIRMLY_LEARNT

    def learn(self, text: bytes) -> bool:
        """Learn the layout of the answers, and how they spell numbers, until there were enough of them.

        Returns:
            True where the layout is another than before.
        """
        if self._dialogue.format or self._lines_learnt >= _FIRMLY_LEARNT:
            return False
        self._learnt_from += text + b"\n"
        del self._learnt_from[:-_KEPT_FOR_LEARNING]
        self._lines_learnt = self._learnt_from.count(b"\n")
        self._habit = learnt_habit(bytes(self._learnt_from))
        if self._dialogue.layout:
            return False
        found = learnt_layout(bytes(self._learnt_from))
        if not found or found == self.layout:
            return False
        self.layout = found
        return True

    def heard(self, text: bytes, asked: Range) -> tuple[Heard, ...]:
        """Return the bytes that an answer holds of what was asked.

        Raises:
            LostLine: answer after answer is read far better by another layout than the host file's.
        """
        found = heard(text, asked, layout=self.layout, format_name=self._dialogue.format, habit=self._habit)
        self._see_that_the_layout_fits(text, asked, found)
        return found

    def cover(self, text: bytearray, asked: Range) -> bool:
        """Tell whether the answer of a host that prints on has come to the end of what was asked, or beyond it.

        Looked at anew when a line or two more has come, and not before about as much came as the answers before had.
        """
        least = max(2.0, _NEARLY * self._characters_per_byte) * asked.size
        more = _LOOKED_AT_EACH if self.layout else len(text) // 2
        if len(text) < self._tried_at:
            self._tried_at = 0
        if len(text) < least or len(text) < self._tried_at + more:
            return False
        self._tried_at = len(text)
        layout = self.layout or learnt_layout(bytes(text))
        beyond = Range(asked.first, asked.last + (2 * layout.line_bytes if layout else 0))
        habit = self._habit or learnt_habit(bytes(text))
        found = heard(bytes(text), beyond, layout=layout, format_name=self._dialogue.format, habit=habit)
        over = any(piece.first + len(piece.values) > asked.last for piece in found)
        if over:
            self._characters_per_byte = len(text) / asked.size
        return over

    def _see_that_the_layout_fits(self, text: bytes, asked: Range, found: tuple[Heard, ...]) -> None:
        """Raise LostLine where answer after answer is read far better by another layout than the host file's."""
        if not self._dialogue.layout or 5 * _count(found) > 4 * asked.size:
            self._misfits = 0
            return
        learnt = learnt_layout(text)
        if learnt is None:
            return
        other = heard(text, asked, layout=learnt, format_name="", habit=self._habit)
        self._misfits += 2 * _count(other) > 3 * _count(found)
        if self._misfits >= _MISFITS:
            raise LostLine(
                f"the lines of the host are not of the layout {self._dialogue.layout}, but of {learnt}",
                advice="mend layout in the host file, or leave it out; then go on with --resume and --host",
            )


def _count(found: tuple[Heard, ...]) -> int:
    return sum(len(piece.values) for piece in found)
