"""Build an instruction table row by row: an opcode, the text with its operands, the flow."""

from __future__ import annotations

import re

from romassay.cpus.model import SIZES, Flow, Form, Kind, Operand

_OPERAND = re.compile(r"\{(\w+)\}")


class Table:
    """Collects the rows of one instruction table; a row that is there already is replaced."""

    def __init__(self, rows: tuple[Form, ...] = ()) -> None:
        self._rows = {(row.code, row.tail): row for row in rows}

    def add(
        self,
        code: int | bytes,
        text: str,
        flow: Flow = "next",
        *,
        tail: int | None = None,
        target: int | None = None,
        skips: int = 0,
        swapped: bool = False,
    ) -> None:
        """Add a row.

        Args:
            code: the opcode, with its prefixes where it has some.
            text: with `{kind}` for each operand.
            flow: where it goes on.
            tail: the opcode byte behind the operand (Z80).
            target: where an opcode goes on that says so itself.
            skips: bytes that it may skip.
            swapped: True where the last operand of the text comes first in the code.
        """
        lead = bytes([code]) if isinstance(code, int) else code
        kinds = [_kind(name) for name in _OPERAND.findall(text)]
        order = list(reversed(range(len(kinds)))) if swapped else list(range(len(kinds)))
        place: dict[int, int] = {}
        at = len(lead)
        for index in order:
            place[index] = at
            at += SIZES[kinds[index]]
        self._rows[lead, tail] = Form(
            code=lead,
            text=_OPERAND.sub("{}", text),
            operands=tuple(Operand(kind, place[i]) for i, kind in enumerate(kinds)),
            size=at + (tail is not None),
            flow=flow,
            tail=tail,
            target=target,
            skips=skips,
        )

    def rows(self) -> tuple[Form, ...]:
        """Return the rows, by opcode."""
        return tuple(self._rows[key] for key in sorted(self._rows, key=lambda key: (key[0], key[1] or 0)))


def _kind(name: str) -> Kind:
    for kind in SIZES:
        if kind == name:
            return kind
    raise KeyError(name)
